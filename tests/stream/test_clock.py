"""The clock and the playing of patterns, with a clock of the tests' own."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.frames import patterns
from patcher.frames.levels import Levels
from patcher.frames.looks import Look
from patcher.stream.clock import Clock, Lateness
from patcher.stream.player import Move, Playing
from rig.examples import examples
from rig.loopback import Time


@pytest.mark.parametrize("rate", [40.0, 23.976])
def test_the_clock_does_not_drift_in_an_hour(rate: float) -> None:
    # Source: arithmetic: frame n is due n periods after the beginning, however late the others were.
    time = Time(wakes_late=0.001)
    clock = Clock(rate, time.now)
    for number, elapsed in enumerate(clock.frames(time.wait)):
        assert number / rate - 1e-6 <= elapsed <= number / rate + 0.001 + 1e-6
        if elapsed >= 3600:
            break
    assert number == pytest.approx(3600 * rate, abs=1)
    assert elapsed == pytest.approx(time.seconds - time.begin)
    assert clock.late.most <= 0.001 + 1e-6
    assert clock.dropped == 0
    assert clock.late.frames == number  # the last one was not sent


def test_frames_that_are_late_are_dropped_and_not_queued() -> None:
    # Source: arithmetic: a stall of 50 frames at 50 a second costs 50 frames; none of them is sent in a burst.
    time = Time()
    clock = Clock(50.0, time.now)
    sent: list[float] = []
    for elapsed in clock.frames(time.wait):
        sent.append(elapsed)
        if len(sent) == 11:
            time.seconds += 1.01
        if elapsed > 2:
            break
    gaps = [after - before for before, after in pairwise(sent)]
    assert [round(gap, 3) for gap in gaps if gap > 0.021] == [1.01]
    behind = sent.index(next(at for at in sent if at > 0.9))
    assert sent[behind + 1] - sent[behind] == pytest.approx(0.01)  # back on the beat, not a period after the late one
    assert all(gap > 0.019 for gap in gaps[behind + 1 :])
    assert clock.late.most <= 0.02
    assert len(sent) + clock.dropped - 1 == pytest.approx(sent[-1] * 50, abs=1)
    assert clock.dropped == 49


WAITS = st.tuples(st.integers(1, 80), st.sampled_from([False, False, True]))
"""How much of what it is given a wait lets pass, in 64ths, more than 64 being too long; whether it asks for a frame."""


@examples(60, 400)
@given(st.lists(st.lists(WAITS, max_size=4), min_size=1, max_size=12), st.data())
def test_each_frame_has_its_beat(frames: list[list[tuple[int, bool]]], data: st.DataObject) -> None:
    # Source: the definition, beat by beat, in whole parts of a second, which floats hold exactly: a frame goes out at
    # its beat or where one is asked for, beside the beats; a beat is left out once the next one has come.
    rate, beat, sent = 32, 1 << 15, []
    now, waits = 0, []

    def wait(seconds: float) -> bool:
        nonlocal now
        left = round(seconds * rate * beat)
        part, asked = waits.pop(0) if waits else (64, False)
        now += max(1, left * part // 64)
        return asked

    clock = Clock(float(rate), lambda: now / rate / beat)
    ticking = clock.frames(wait)
    wanted, late, dropped = 0, [], 0
    for each in frames:
        waits = list(each)
        begin, asked = now, False
        while now < wanted * beat and not asked:  # the same waits, one after another
            part, asked = each.pop(0) if each else (64, False)
            now += max(1, (wanted * beat - now) * part // 64)
        out, now = now, begin
        assert next(ticking) == clock.elapsed == out / rate / beat
        assert now == out
        late.append(out - wanted * beat)
        sent.append(out)
        now += data.draw(st.sampled_from([0, 0, 9, beat // 3, beat - 1, beat, beat + 5, 3 * beat + 7]))
        after = wanted if asked else wanted + 1
        while (after + 1) * beat <= now:
            after, dropped = after + 1, dropped + 1
        wanted = after
    next(ticking)
    assert clock.dropped == dropped
    assert clock.late.frames == len(sent)
    assert clock.late.most == max(0, *late) / rate / beat


class Wall:
    """Takes what a sender would send."""

    def __init__(self) -> None:
        self.taken: list[int] = []

    def send(self, frame: Levels) -> None:
        self.taken.append(int(frame.slots[0, 0]))

    def keep_alive(self) -> None:
        pass

    def news(self) -> tuple[()]:
        return ()


def played(moves: list[Move | None], steps: int = 5) -> tuple[list[int], list[int]]:
    """The steps told and the steps sent when a person makes these moves, one a frame."""
    wall, told, time = Wall(), [], Time()
    waiting = list(moves)

    def hands(seconds: float) -> Move | None:
        time.seconds += seconds
        return waiting.pop(0) if waiting else None

    def look(step: int) -> Look:
        return Look((), (str(step),))

    def render(look: Look) -> Levels:
        return Levels((1,), np.full((1, 512), int(look.says[0]), dtype=np.uint8))

    pattern = patterns.Pattern(steps, 1.0, False, look)
    playing = Playing(pattern, 1.0, None, None, lambda: not waiting, hands)
    playing.play(wall, Clock(40.0, time.now), render, lambda step, _: told.append(step), print)  # type: ignore[arg-type]
    return told, wall.taken


def test_hands_move_the_pattern_on_back_and_to() -> None:
    # Source: the design: steps by keys; the steps of a pattern follow each other round.
    told, sent = played([Move(by=1), Move(by=1), Move(by=-1), Move(to=4), Move(by=1), Move(by=-1), None])
    assert told == [0, 1, 2, 1, 4, 0, 4]
    assert sorted(set(sent)) == [0, 1, 2, 4]


@given(st.lists(st.floats(0, 100), max_size=300), st.floats(0, 1))
def test_percentiles_of_lateness_are_those_of_a_sorted_list(late: list[float], part: float) -> None:
    # Source: the definition: at most that part of the frames is later; kept to one part in a hundred and a microsecond.
    counted = Lateness()
    for seconds in late:
        counted.add(seconds)
    exact = sorted(late)[min(len(late) - 1, int(part * len(late)))] if late else 0.0
    assert exact * 1000 - 0.002 <= counted.percentile(part) <= exact * 1000 * 1.0101 + 0.002
    assert counted.most == max(late, default=0.0)
    assert counted.percentile(part) <= round(counted.most * 1000, 3)  # nothing is said to be later than the latest


def test_a_key_is_on_the_wire_with_the_next_frame() -> None:
    # Source: the design: from a key press in --step to the first packet, one frame at most; at 4 frames a second.
    time, pressed, frames = Time(), [], []

    class Watching(Wall):
        def send(self, frame: Levels) -> None:
            frames.append((time.now(), int(frame.slots[0, 0])))

    def hands(seconds: float) -> Move | None:
        # A press comes in the middle of a wait, at another moment of the frame each time.
        time.seconds += max(seconds * 0.37, 0.001)
        if len(frames) > 2 * len(pressed) + 1:
            pressed.append(time.now())
            return Move(by=1)
        return None

    pattern = patterns.Pattern(1000, 1.0, False, lambda step: Look((), (str(step),)))
    playing = Playing(pattern, 1.0, None, None, lambda: len(pressed) == 40, hands)

    def render(look: Look) -> Levels:
        return Levels((1,), np.full((1, 512), int(look.says[0]) % 256, dtype=np.uint8))

    playing.play(Watching(), Clock(4.0, time.now), render, lambda *_: None, print)  # type: ignore[arg-type]
    for number, at in enumerate(pressed[:-1], start=1):
        first = next(sent for sent, value in frames if value == number)
        assert 0 <= first - at <= 0.25


def test_frames_without_a_pause_leave_the_keys_heard() -> None:
    # Source: as above: frames that take longer than their period leave no time to wait for keys.
    time, asked = Time(), []

    class Slow(Wall):
        def send(self, frame: Levels) -> None:
            time.seconds += 0.3

    def hands(seconds: float) -> Move | None:
        asked.append(seconds)
        return None

    pattern = patterns.Pattern(5, 1.0, False, lambda step: Look((), (str(step),)))
    playing = Playing(pattern, 1.0, None, None, lambda: len(asked) > 3 or time.now() > time.begin + 60, hands)
    playing.play(Slow(), Clock(4.0, time.now), lambda look: Levels((), np.zeros((0, 512), np.uint8)), print, print)  # type: ignore[arg-type]
    assert len(asked) > 3


@pytest.mark.parametrize("stall", [0.7, 5.0, 3600.0])
def test_a_pause_of_the_machine_is_not_made_up_for_by_flashing(stall: float, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: WCAG 2.2, 2.3.1: at most three flashes in any second. A machine that sleeps, or a program that was stopped
    # by kill -STOP, comes back long after; a pattern of one step a second must not run through all that it has missed.
    wall, time, paused = Wall(), Time(), [stall]
    told: list[tuple[int, float]] = []
    monkeypatch.setattr("patcher.stream.player.time.sleep", time.wait)

    def tell(step: int, look: Look) -> None:
        told.append((step, time.seconds))
        if step == 3 and paused:
            time.seconds += paused.pop()

    def render(look: Look) -> Levels:
        return Levels((1,), np.zeros((1, 512), dtype=np.uint8))

    pattern = patterns.Pattern(1000, 1.0, (), lambda step: Look((), (str(step),)))
    playing = Playing(pattern, 1.0, stall + 12.0, None, lambda: False)
    playing.play(wall, Clock(40.0, time.now), render, tell, print)  # type: ignore[arg-type]
    assert [step for step, _ in told] == list(range(len(told)))
    for place, (_, at) in enumerate(told):
        assert sum(at <= later < at + 1 for _, later in told[place:]) <= 4
    assert len(told) >= 10
