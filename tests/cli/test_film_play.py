"""`film` from end to end: a receiver of the tests' own hears the code on the loopback and reads each pixel's word."""

import json
import os
import signal
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from patcher.cli.film import frames_a_second
from patcher.cli.inputs import load, load_patch
from patcher.frames.code_words import SYMBOLS, words
from patcher.frames.film_code import BIN, Code, code_of
from patcher.stream.clock import Clock
from patcher.stream.player import Playing
from rig.examples import later
from rig.loopback import E131, HOST, Time, ear, heard, terminated, universe
from rig.shipped import SHOWS, Patcher
from rig.yard_process import PATIENCE, a_yard, document, refused, running

SHOW = """\
[show]
title = "Three things"
frame_rate = 20
[pixel.rgb]
colour_order = "GRB"
[pixel.white]
colour_order = "W"
[controller.near]
address = "192.0.2.1"
ports = 3
start_per = "port"
reorders = false
port = { 1 = ["line"], 2 = ["wall"], 3 = ["lantern"] }
[run.line]
pixel = "rgb"
pixels = 6
shape = "line"
path = [[0.0, 0.0], [0.5, 0.0]]
[run.twin]
pixel = "rgb"
pixels = 6
same_data_as = "line"
[run.wall]
pixel = "rgb"
shape = "grid"
area = [[0.0, 0.0], [0.6, 0.2]]
columns = 4
rows = 2
lines = "rows"
turns = "serpentine"
data_in = "bottom-left"
nulls = 1
[run.lantern]
pixel = "white"
pixels = 3
"""
KEYS = {"frames", "packets", "seconds", "late_ms_p50", "late_ms_p99", "dropped", "universes", "unreachable"}


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "three.toml"
    path.write_text(SHOW)
    return path


class Listening:
    """Packets with the seconds at which they came."""

    def __init__(self, sock: socket.socket) -> None:
        self._sock = sock
        self.found: list[tuple[float, bytes]] = []

    def take(self) -> None:
        now = time.monotonic()
        self.found += [(now, packet) for packet in heard(self._sock)]

    def until(self, ended: Callable[[], bool]) -> None:
        last = time.monotonic() + 2 * PATIENCE
        while not ended():
            assert time.monotonic() < last
            self.take()
            time.sleep(0.004)
        self.take()

    def levels(self) -> list[tuple[float, int, np.ndarray]]:
        return [(at, universe(p), np.frombuffer(p[126:638], dtype=np.uint8)) for at, p in self.found]

    def check_dark(self) -> None:
        last = {universe(packet): packet for _, packet in self.found}
        assert last
        for packet in last.values():
            assert not any(packet[126:])
            assert terminated(packet)


@contextmanager
def receiver() -> Iterator[Listening]:
    """Takes what arrives at the tests' own address."""
    with ear(HOST, E131) as sock:
        yield Listening(sock)


def check_words(code: Code, listening: Listening, level: float, symbols: int) -> None:
    """Reads each pixel's word from the packets by its channels, as a camera would by its light.

    Source: a symbol is 0.2 s; in its middle that shows which was heard last before it. Late ones are none here.
    """
    packets = listening.levels()
    begin = next(at for at, _, slots in packets if slots.any())
    middles = begin + 0.1 + 0.2 * np.arange(symbols)
    full, low = (int(part * level * 255 + 0.5) for part in (1.0, 0.25))
    every = words(code.segments).reshape(-1, SYMBOLS * code.segments)
    every = np.concatenate([every, every], axis=1)[:, :symbols]
    for first, width, number in zip(code.first, code.width, code.number, strict=True):
        own = [(at, slots[first % 512 : first % 512 + width]) for at, to, slots in packets if to == first // 512 + 1]
        seen = np.stack([next(slots for at, slots in reversed(own) if at < middle) for middle in middles])
        assert {*(seen > 0).sum(axis=1).tolist()} == {1}
        assert {*seen.max(axis=1).tolist()} == {full, low}
        segment = np.arange(symbols) // SYMBOLS % code.segments
        assert np.array_equal(seen.argmax(axis=1), (segment + number) % width)
        (word,) = (every == (seen.max(axis=1) == full)).all(axis=1).nonzero()[0]
        assert word == number


@pytest.mark.parametrize("symbols", later(SYMBOLS, 3 * SYMBOLS + 10))
def test_a_receiver_reads_the_word_of_each_pixel(show: Path, symbols: int) -> None:
    # Source: the design: every address has a word of its own in time, which begins anew without a gap; a segment tells
    seconds = symbols * 0.2 + 0.3
    with receiver() as listening, running("film", show, "--to", HOST, "--seconds", seconds, "--json") as playing:
        listening.until(lambda: playing.poll() is not None)
        said, errors = playing.communicate()
    found = json.loads(said)
    assert found.keys() == KEYS | {"pixels", "cycle_seconds"}, errors
    assert (found["pixels"], found["cycle_seconds"]) == (17, 18.6)
    check_words(code_of(load_patch(show, load(show))), listening, 0.3, symbols)
    listening.check_dark()
    # Each change is sent twice at least, for packets are lost: 20 frames a second, two a bin.
    assert found["frames"] + found["dropped"] == pytest.approx(seconds * 20, abs=2)


def test_it_says_how_to_film_and_ctrl_c_ends_dark(show: Path) -> None:
    # Source: the design: how far away at most (370 times 0.1 m), for how long, and the usual caution
    with receiver() as listening, running("film", show, "--to", HOST) as playing:
        listening.until(lambda: any(slots.any() for _, _, slots in listening.levels()))
        os.kill(playing.pid, signal.SIGINT)
        listening.until(lambda: playing.poll() is not None)
        said, errors = playing.communicate()
    listening.check_dark()
    assert "Traceback" not in errors
    for words_ in (
        "17 pixels",
        "18.6 s",
        "at least 19 s",
        "37 m",
        "line are closest, 0.1 m",
        "stabilisation",
        "seizures",
        "road",
    ):
        assert words_ in said, words_
    assert "now dark" in said


@pytest.mark.long
def test_on_lights_that_alone(show: Path) -> None:
    # Source: the design: --on THING; a tee lights with its run, and everything else stays dark
    patch = load_patch(show, load(show))
    wall = next(span for span in patch.run_spans("wall"))
    with receiver() as listening:
        with running("film", show, "--to", HOST, "--seconds", 1, "--on", "wall", "--level", 1, "--json") as playing:
            listening.until(lambda: playing.poll() is not None)
            assert json.loads(playing.communicate()[0])["pixels"] == 8
        lit = np.zeros((70, 513), dtype=bool)
        for _, number, slots in listening.levels():
            lit[number, 1:] |= slots > 0
        own = set(range(wall.first_channel, wall.last_channel + 1))
        assert {(wall.universe, int(channel)) for channel in lit[wall.universe].nonzero()[0]} <= {
            (wall.universe, channel) for channel in own
        }
        assert lit.sum() == lit[wall.universe].sum() >= 8
        listening.check_dark()


@pytest.mark.parametrize(("thing", "pixels"), [("near", 17), ("near/1", 6), ("twin", 6), ("line/1-6", 6)])
def test_things_that_it_plays(show: Path, here: Patcher, thing: str, pixels: int) -> None:
    # Source: the design: a box, a port, a run; a tee lights by its run
    ran = here("film", show, "--on", thing, "--dry-run")
    assert ran.returncode == 0
    assert f"Each of {pixels} pixels" in ran.stdout
    assert "Nothing is sent" in ran.stdout


@pytest.mark.parametrize(
    ("call", "words_"),
    [
        (("--on", "wall/2"), ("wall/2", "part of wall", "film wall")),
        (("--on", "wal"), ("wal", "wall")),
        (("--to", "here"), ("--to", "127.0.0.1")),
        (("--yard", "--to", "127.0.0.1"), ("--yard", "--to")),
        (("--yard",), ("no yard is running",)),
        (("--level", "2"), ("--level",)),
        (("--seconds", "nan"), ("--seconds",)),
    ],
)
def test_what_it_refuses(show: Path, here: Patcher, call: tuple[str, ...], words_: tuple[str, ...]) -> None:
    # Source: the design: exit 2: the call is wrong, in words
    refused(here("film", show, *call), *words_)


def test_more_pixels_than_words(here: Patcher) -> None:
    # Source: `test_code.py`: 27 167 words of four segments; the village has 100 000 pixels
    wiring = SHOWS / "village.toml"
    box = next(iter(load(wiring).show.controllers))
    refused(here("film", wiring, "--dry-run"), "27167", "100000", "--on")
    assert here("film", wiring, "--dry-run", "--on", box).returncode == 0


@pytest.mark.long
def test_the_yard_shows_it(show: Path, here: Patcher) -> None:
    # Source: the design: --yard; the yard's pixels, each lit and at the end dark
    here("patch", show)
    with a_yard(show) as yard:
        sent = document(here("film", show, "--yard", "--seconds", 1.5, "--json"))
        found = yard.end()
    assert sent["packets"] > 0
    names = {f"{run}/{pixel}" for run, many in (("line", 6), ("twin", 6), ("wall", 8), ("lantern", 3))
             for pixel in range(1, many + 1)}  # fmt: skip
    assert set(found["order"]) == names


def test_a_dry_run_for_scripts(show: Path, here: Patcher) -> None:
    # Source: the keys of `send --dry-run --json`
    found = document(here("film", show, "--dry-run", "--json"))
    assert found.keys() == {"steps", "says", "targets"}
    assert found["steps"] == 186
    assert {target["host"] for target in found["targets"]} == {"192.0.2.1"}


def test_feet(show: Path, here: Patcher) -> None:
    # Source: arithmetic: 370 × 0.1 ft is 37 ft, in the show's own units
    show.write_text(SHOW.replace("frame_rate = 20", 'frame_rate = 20\nunits = "ft"'))
    assert "37 ft" in here("film", show, "--dry-run").stdout


def test_a_port_that_is_too_slow_is_named(show: Path, here: Patcher) -> None:
    # Source: data sheet of WS2811: 800 kb/s, so 24 bits take 30 µs, and 2 000 pixels 60 ms; half a bin is 50 ms
    show.write_text(SHOW.replace('path = [[0.0, 0.0], [0.5, 0.0]]', "path = [[0.0, 0.0], [200.0, 0.0]]")
                    .replace("pixels = 6", "pixels = 2000"))  # fmt: skip
    ran = here("film", show, "--dry-run")
    assert "near/1 60 ms" in ran.stderr
    assert "near/2" not in ran.stderr
    assert ran.stderr.count("Too slow") == 1
    assert "Too slow" not in here("film", show, "--dry-run", "--on", "wall").stderr


def test_a_run_that_is_not_drawn_is_named_before_it_is_filmed(show: Path, here: Patcher) -> None:
    told = here("film", show, "--dry-run").stderr
    assert "Not drawn in the show file: lantern. " in told
    assert "--measure" in told
    assert "Not drawn" not in here("film", show, "--dry-run", "--on", "wall").stderr


@pytest.mark.parametrize(("rate", "frames"), [(40, 40), (44, 40), (25, 20), (20, 20), (5, 20), (30, 30), (39.9, 30)])
def test_whole_frames_a_bin(rate: float, frames: float) -> None:
    # Source: the design: at the show's frame rate or at least 20 a second; a bin is 0.1 s and begins with a frame
    assert frames_a_second(rate, BIN) == pytest.approx(frames)


def test_after_a_pause_the_code_is_on_the_clock() -> None:
    # Source: the film's clock goes on while the machine stands still
    time_, shown = Time(), []

    class Steps:
        steps = 50

        @staticmethod
        def look(step: int) -> int:
            return step

    class Nobody:
        def send(self, levels: object) -> None:
            shown.append((round(time_.now() - time_.begin, 3), levels))
            if len(shown) == 30:
                time_.seconds += 3.33

        def keep_alive(self) -> None: ...

        def news(self) -> tuple[()]:
            return ()

    playing = Playing(Steps(), 10.0, 12.0, None, lambda: False, lambda left: time_.wait(left) or None, keeps_time=True)
    playing.hands = None
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("patcher.stream.player.time.sleep", time_.wait)
        playing.play(Nobody(), Clock(20.0, time_.now), lambda step: step, lambda *_: None, lambda _: None)  # type: ignore[arg-type]
    assert len(shown) > 150
    assert all(step == int(at * 10 + 1e-3) % 50 for at, step in shown)
    assert any(later - earlier > 3 for (earlier, _), (later, _) in pairwise(shown))
