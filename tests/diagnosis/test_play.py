"""What moves: how long it takes, what runs, and that nothing is said of it that was not shown."""

from __future__ import annotations

import json
import threading
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher import eye
from patcher.answers.terminal_answers import Person
from patcher.diagnosis import frame_timing
from patcher.diagnosis.case import Question, question
from patcher.diagnosis.frame_timing import LONGEST, Play, lasts, passes_of, seconds, too_early
from patcher.diagnosis.moving_questions import in_turn
from patcher.diagnosis.question_frame import Frame
from patcher.diagnosis.questions import Repertoire, narrowing
from patcher.diagnosis.scene import build_scene
from patcher.faults import planned
from patcher.frames.levels import Levels
from patcher.phone.frame_thread import SMALL
from patcher.phone.state import Act
from patcher.placement.allocation import allocate
from rig.examples import examples
from rig.one_run import string
from rig.phones import Rig, evening, until
from rig.shipped import SHOWS, wired

PASSES = st.lists(st.integers(1, 4), min_size=1, max_size=4)


def moving(lengths: Sequence[int]) -> Frame:
    """One channel at a time, in passes of so many steps."""
    goes = eye.goes_of(lengths)
    return Frame("it moves", tuple(np.array([step]) for step in range(len(goes))), tuple(goes.tolist()))


@given(PASSES, st.lists(st.floats(0, 0.6), max_size=200))
def test_nothing_is_left_out_and_it_is_whole_only_once_its_last_moment_was_shown(
    lengths: list[int], pauses: list[float]
) -> None:
    frame = moving(lengths)
    play, steps, now, sent = Play.of(frame), frame_timing.moments(frame), 100.0, []
    for pause in (*pauses, *[0.05] * 200):
        place = play.at(now)
        sent.append(place)
        shown = {steps[one] for one in sent if one is not None} - {None}
        for number in range(1, len(lengths) + 1):
            first = sum(lengths[: number - 1])
            assert (too_early(number, play.begun, play.whole) == "") == (first in shown)
        assert not play.whole or shown == set(range(sum(lengths)))
        assert (too_early(eye.WHOLE, play.begun, play.whole) == "") == play.whole
        now += pause
    assert [one for n, one in enumerate(sent) if n == 0 or one != sent[n - 1]][: len(steps)] == list(range(len(steps)))
    often = len(pauses) + 200
    assert play.whole == (None in sent) or often
    ended = sent.index(None) if None in sent else len(sent)
    assert all(one is None for one in sent[ended:])


@given(PASSES)
def test_what_runs_is_said_and_the_pause_too(lengths: list[int]) -> None:
    frame, said = moving(lengths), []
    play, now = Play.of(frame), 0.0
    while play.at(now) is not None:
        said.append(play.says)
        now += frame_timing.FRAME
    last = len(lengths)
    numbers = range(1, last + 1)
    expected = [words for n in numbers for words in (f"Pause; next: pass {n} of {last}", f"Pass {n} of {last}")]
    assert [word for n, word in enumerate(said) if n == 0 or word != said[n - 1]] == expected
    assert play.says.startswith("Finished")
    assert seconds(frame) == pytest.approx(now, abs=2 * frame_timing.FRAME)
    assert f"about {max(1, round(seconds(frame)))} s" in lasts(frame)
    assert len(passes_of(frame)) == len(frame_timing.moments(frame))
    play.again()
    assert play.at(now) == 0
    assert play.whole, "what was shown once was shown"


def test_what_stands_still_is_whole_at_once() -> None:
    play = Play.of(Frame("still", (np.array([1]),)))
    assert play.whole
    assert [play.at(now) for now in (0.0, 1.0, 9.0)] == [0, 0, 0]
    assert (play.says, lasts(Frame("still", (np.array([1]),)))) == ("", "")


class Hands:
    """Keys that are pressed one after the other, however early."""

    ended = False

    def __init__(self, keys: Sequence[str | None]) -> None:
        self.keys = list(keys)

    def __call__(self, seconds: float) -> str | None:
        return self.keys.pop(0) if self.keys else "q"


class Record:
    """What was sent: the lit channels of each frame."""

    def __init__(self) -> None:
        self.sent: list[frozenset[int]] = []

    def send(self, levels: Levels) -> None:
        self.sent.append(frozenset(np.flatnonzero(levels.slots.ravel()).tolist()))


def asked(lengths: Sequence[int]) -> Question:
    ask = eye.together(("line",), eye.goes_of(lengths), np.arange(20))
    return question(wired(string(20)), moving(lengths), ask)


def allowed(question: Question, key: str, lengths: Sequence[int], lit: set[int]) -> bool:
    """Whether an answer speaks of nothing but what was lit."""
    place = [answer.key for answer in question.answers].index(key)
    if place < len(lengths):
        return sum(lengths[:place]) in lit
    return key == "?" or lit >= set(range(sum(lengths)))


# The property: who presses anything at any time is heard only of what was lit.
@examples(15, 30)
@given(lengths=PASSES, data=st.data())
def test_at_the_keys_no_answer_about_what_was_not_lit_is_taken(
    lengths: list[int], data: st.DataObject, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(frame_timing, "FRAME", 0.001)
    question, record, said = asked(lengths), Record(), []
    keys = [answer.key for answer in question.answers]
    pressed = data.draw(st.lists(st.sampled_from([None, None, None, *keys[:-1], "r", "x"]), max_size=150))
    person = Person(Hands(pressed), record, [1], 1000.0, lambda: False, said.append)  # type: ignore[arg-type]
    key = person.question(question)
    lit = {channel for one in record.sent for channel in one}
    if key is not None:
        assert allowed(question, key, lengths, lit)
    assert any("about 1 s" in line or "passes" in line or "1 pass" in line for line in said)


def test_never_is_refused_until_the_last_pass_has_finished_and_it_plays_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(frame_timing, "FRAME", 0.001)
    lengths, record, said = [2, 2], Record(), []
    question = asked(lengths)
    never = next(answer.key for answer in question.answers if answer.says == "they never came apart")

    class Patient(Hands):
        def __call__(self, seconds: float) -> str | None:
            finished = sum(line.endswith("shown.") for line in said)
            if finished == 0:
                return never if len(record.sent) % 5 == 0 else None
            return self.keys.pop() if finished == 1 and self.keys else never if finished == 2 else None

    person = Person(Patient(["r"]), record, [1], 1000.0, lambda: False, said.append)  # type: ignore[arg-type]
    assert person.question(question) == never
    assert sum("only once the last pass has finished" in line for line in said) >= 1
    runs = [line.strip() for line in said if line.endswith("of 2")]
    assert runs == [
        "Pause; next: pass 1 of 2", "Pass 1 of 2", "Pause; next: pass 2 of 2", "Pass 2 of 2",
    ] * 2  # fmt: skip
    assert record.sent.count(frozenset([3])) >= 2, "the last step was sent twice"


@pytest.fixture(scope="module")
def rig(tmp_path_factory: pytest.TempPathFactory):
    import shutil

    folder = tmp_path_factory.mktemp("plays")
    for name in ("heron-lock.toml", "willow.csv"):
        shutil.copyfile(SHOWS / name, folder / name)
    with evening(folder / "heron-lock.toml") as rig:
        yield rig


# The same by the phone's server: a tap that comes too early is refused in words.
def test_a_tap_that_comes_too_early_is_refused_in_words(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(frame_timing, "FRAME", 0.02)
    lengths, show = [3, 3], rig.plan.wiring.show
    gable = show.runs["gable"].pixels
    _, at = rig.plan.patch.link_of("gable")
    goes = eye.goes_of(lengths)
    frame = Frame("Lit on gable", tuple(np.array([at + 3 * step]) for step in range(6)), tuple(goes.tolist()))
    own = question(rig.plan.wiring, frame, eye.together(("gable",), goes, np.arange(gable)))
    answers, told, refused = [], [], set()
    with rig.page() as page:
        rig.desk.tap(Act("resume"))
        thread = threading.Thread(target=lambda: answers.append(rig.walks.question(own)))
        thread.start()
        assert until(lambda: rig.desk.screen is not None and rig.desk.screen.kind == "question")
        screen = rig.desk.screen
        assert screen is not None
        while thread.is_alive():
            page.send(json.dumps({"do": "answer", "text": "3", "number": screen.number}))
            told.append(json.loads(rig.desk.document()))
            refused.add(told[-1]["problem"])
            until(lambda: not thread.is_alive(), 0.01)
        thread.join()
        rig.desk.tap(Act("dark"))
    assert answers == ["3"]
    assert "That can be said only once the last pass has finished. Watch to the end, then answer." in refused
    assert any("about 1 s: 2 passes" in line for line in screen.asks), "how long it takes is said before"
    assert screen.marks == (("gable", 0, gable // 8),)
    assert {"Pause; next: pass 1 of 2", "Pass 1 of 2", "Pause; next: pass 2 of 2", "Pass 2 of 2"} <= {
        one["go"] for one in told
    }
    assert {one["begun"] for one in told} >= {0, 1, 2}
    assert until(lambda: not rig.lit())


@pytest.mark.long
def test_after_a_blackout_it_plays_from_its_beginning_and_nothing_was_seen_meanwhile(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(frame_timing, "FRAME", 0.05)
    _, at = rig.plan.patch.link_of("gable")
    goes = eye.goes_of([8])
    frame = Frame("Lit on gable", tuple(np.array([at + 3 * step]) for step in range(8)), tuple(goes.tolist()))
    own = question(rig.plan.wiring, frame, eye.vanish(("gable",), goes))
    answers: list[str | None] = []
    rig.desk.tap(Act("resume"))
    thread = threading.Thread(target=lambda: answers.append(rig.walks.question(own)))
    thread.start()
    assert until(lambda: rig.lit() == {"gable/3"})
    rig.desk.tap(Act("dark"))
    assert until(lambda: not rig.lit())
    assert not until(lambda: rig.desk.shown.whole and rig.desk.shown.screen > 0, 1.0)
    rig.desk.tap(Act("resume"))
    assert until(lambda: rig.lit() == {"gable/1"})
    assert until(lambda: rig.desk.shown.go == "Finished.")
    screen = rig.desk.screen
    assert screen is not None
    rig.walks.take(Act("answer", "r", number=screen.number))
    assert until(lambda: rig.lit() == {"gable/1"}), "it plays again"
    rig.walks.take(Act("answer", "2", number=screen.number))
    thread.join(10)
    assert answers == ["2"]
    rig.desk.tap(Act("dark"))
    assert until(lambda: not rig.lit())


def sound(pixels: int, letters: str) -> Repertoire:
    """What may be asked of one long run of which nothing is known to be wrong."""
    tables = string(pixels)
    tables["pixel"]["rgb"]["colour_order"] = letters
    wiring = wired(tables)
    plan = planned(wiring, allocate(wiring).patch)
    return Repertoire(build_scene(plan, ["line"], [()], [None]))


# Source: found in use: a walk of two pixels took four minutes.
@examples(15, 25)
@given(st.integers(2, 2400), st.sampled_from(("RGB", "GRBW", "W", "RG")), st.data())
def test_nothing_that_moves_takes_longer_than_a_person_watches_or_is_a_flash(
    pixels: int, letters: str, data: st.DataObject
) -> None:
    repertoire = sound(pixels, letters)
    places = np.array(data.draw(st.lists(st.integers(0, pixels - 1), min_size=1, max_size=30)))
    single = np.array(data.draw(st.lists(st.booleans(), min_size=len(places), max_size=len(places))))
    takes = repertoire.scene.plan.takes["line"].astype(np.int64)
    offered = [*repertoire.fixed("line"), *narrowing(repertoire, "line", places, single, np.ones(len(places)))]
    followed = repertoire.followed({"line": repertoire.along("line", takes)})
    moves = [one.frame for one in (*offered, *followed) if one.frame.goes]
    assert max(seconds(frame) for frame in moves) <= LONGEST
    assert max(frame.stacked.shape[1] for frame in moves) <= SMALL
    assert 1 / frame_timing.FRAME <= 10 + 1e-9
    # Judge: all that there is to be seen: every pixel in every colour, every two side by side.
    lit = {tuple(step) for one in followed for step in one.frame.stacked.tolist()}
    assert {channel for step in lit for channel in step} == set(takes.ravel().tolist())
    owner = {channel: pixel for pixel, own in enumerate(takes.tolist()) for channel in own}
    assert {(owner[a], owner[b]) for a, b in lit} == {(pixel, pixel + 1) for pixel in range(pixels - 1)}


@given(st.sets(st.integers(0, 40), min_size=1), st.integers(1, 4))
def test_two_that_share_a_pixel_share_its_colours_out(twos: set[int], colours: int) -> None:
    first = np.array(sorted(twos))
    chosen = in_turn(first, colours)
    assert chosen.any(axis=1).all()
    for pixel in {*first, *(first + 1)}:
        assert chosen[(first == pixel) | (first + 1 == pixel)].any(axis=0).all()
