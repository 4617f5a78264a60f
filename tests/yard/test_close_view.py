"""A yard that can be seen: the picture of one thing, read back from what is written to the terminal."""

import fcntl
import io
import json
import os
import pty
import re
import select
import signal
import struct
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.faults import Built
from patcher.patch.thing import find
from patcher.placement.allocation import allocate
from patcher.yard.close_view import Close
from patcher.yard.line_updates import LineUpdates
from patcher.yard.yard import Yard
from rig.examples import examples
from rig.grid_walk import walk
from rig.nursery import nursery
from rig.phones import until
from rig.shipped import Patcher, laid, wired
from rig.yard_show import one_grid

PATIENCE = 30.0
NONE = (0, 0, 0)
Halves = dict[tuple[int, int], tuple[int, int, int]]


def halves(lines: list[str]) -> Halves:
    """The half-blocks of some lines with their colours: column and half line from the top left.

    Source: ECMA-48, 8.3.117 (SGR); 38;2 and 48;2: ITU-T T.416; Unicode: U+2580 upper half, U+2584 lower, U+2588 full.
    """
    found: Halves = {}
    for number, line in enumerate(lines):
        ink, ground, column = NONE, NONE, 0
        for told, mark in re.findall(r"\x1b\[([0-9;]*)m|(.)", line):
            if mark:
                upper = ink if mark in "▀█" else ground
                lower = ink if mark in "▄█" else ground
                for half, colour in enumerate((upper, lower)):
                    if colour != NONE:
                        found[column, 2 * number + half] = colour
                column += 1
            elif told == "0":
                ink = ground = NONE
            else:
                numbers = [int(word) for word in told.split(";")]
                while numbers:
                    plane, two, *colour = numbers[:5]
                    assert two == 2
                    ink, ground = (tuple(colour), ground) if plane == 38 else (ink, tuple(colour))
                    numbers = numbers[5:]
    return found


def lit(found: Halves) -> set[tuple[int, int]]:
    """Where something is lit: dark pixels are grey, and darker."""
    return {place for place, colour in found.items() if max(colour) >= 110}


def close(tables: dict, on: str, columns: int, lines: int, colours: str = "truecolor") -> tuple[Yard, Close]:
    wiring, patch = laid(tables)
    yard = Yard(wiring, patch, Built())
    return yard, Close(yard, wiring.show, find(on, wiring, patch), columns, lines, colours)  # type: ignore[arg-type]


def caption(drawn: Close) -> str:
    """What is said below the picture."""
    return " ".join(line for line in drawn.lines() if "\x1b" not in line and not line[:1].isspace()).strip()


def alone(yard: Yard, drawn: Close, run: str, columns: int, lines: int) -> list[set[tuple[int, int]]]:
    """Where each pixel of a run is seen, lit by itself in green; and that the rest stays grey."""
    found = []
    dark = halves(drawn.lines())
    assert not lit(dark)
    for pixel in range(len(yard.pixels[run])):
        yard.pixels[run][:] = 0
        yard.pixels[run][pixel, 1] = 77
        shown = drawn.lines()
        assert len(shown) <= lines
        seen = halves(shown)
        assert max(column for column, _ in seen) < columns
        assert seen.keys() == dark.keys()
        found.append(lit(seen))
        assert {seen[place] for place in found[-1]} == {(0, 255, 0)}
    yard.pixels[run][:] = 0
    return found


@examples(7, 25)
@given(data=st.data())
def test_each_pixel_of_a_grid_is_at_least_one_half_block_of_its_own(data: st.DataObject) -> None:
    # Source: found in use: the picture was too coarse to practise on. Judge: a walk along the wire, cell by cell.
    columns, rows = data.draw(st.integers(1, 12)), data.draw(st.integers(1, 9))
    corner = data.draw(st.sampled_from(["bottom-left", "top-right", "bottom-right", "top-left"]))
    tables = one_grid({"columns": columns, "rows": rows, "data_in": corner})
    width, height = data.draw(st.integers(columns, 90)), data.draw(st.integers(-(-rows // 2) + 1, 40))
    yard, drawn = close(tables, "wall", width, height)
    seen = alone(yard, drawn, "wall", width, height)
    step = min(width // columns, (height - 1) * 2 // rows)
    for places, (x, y) in zip(seen, walk(**tables["run"]["wall"]), strict=True):
        assert len(places) == max(1, step - 1) ** 2
        assert {(column // step, row // step) for column, row in places} == {(x, rows - 1 - y)}
    if step > 1:  # neighbours can be counted: nothing that is lit touches another's
        every = set().union(*seen)
        assert all((column + 1) % step for column, _ in every)
        assert all((row + 1) % step for _, row in every)


@pytest.mark.parametrize(("columns", "rows"), [(55, 43), (40, 7), (9, 60)])
def test_the_window_that_a_grid_asks_for_is_large_enough(columns: int, rows: int) -> None:
    tables = one_grid({"columns": columns, "rows": rows})
    _, small = close(tables, "wall", 100, 3)
    wants = re.search(r"each pixel needs a window of (\d+) columns and (\d+) lines", caption(small))
    assert wants
    width, height = map(int, wants.groups())
    yard, drawn = close(tables, "wall", width, height)
    yard.pixels["wall"][:] = 9
    assert len(lit(halves(drawn.lines()))) == columns * rows
    assert "wants" not in caption(drawn)


LINE = {"shape": "line", "path": [[0.0, 0.0], [3.0, 1.5], [4.0, 0.5]], "pixel": "rgb"}


def a_string(**keys: object) -> dict:
    tables = one_grid({"columns": 2, "rows": 2})
    tables["run"] = {"wall": {"pixel": "rgb"} | keys}
    return tables


@pytest.mark.parametrize("keys", [
    LINE | {"pixels": 30}, LINE | {"pixels": 200}, {"pixels": 130},
    {"shape": "arch", "feet": [[0.0, 0.0], [2.0, 0.0]], "height": 1.0, "passes": 2, "pixels": 60},
])  # fmt: skip
def test_neighbours_on_a_string_can_be_counted(keys: dict) -> None:
    # Source: found in use: 'each pixel alone, and apart from its neighbours, somewhere in the window'.
    yard, drawn = close(a_string(**keys), "wall", 100, 40)
    seen = alone(yard, drawn, "wall", 100, 40)
    own = [min(places, key=lambda place: (-place[1], place[0])) for places in seen]  # the lowest: unrolled, if it is
    assert len(set(own)) == len(own)
    for before, after in pairwise(own):
        assert max(abs(before[0] - after[0]), abs(before[1] - after[1])) >= 2
    assert "not fit" not in caption(drawn)


def test_what_does_not_fit_is_said_and_can_be_named() -> None:
    tables = a_string(pixels=900)
    _, drawn = close(tables, "wall", 80, 12)
    shown = len(halves(drawn.lines()))
    left = re.search(r"(\d+) pixels do not fit: --on wall/(\d+)-900", caption(drawn))
    assert left
    assert (shown + int(left[1]), shown + 1) == (900, int(left[2]))
    rest, drawn = close(tables, f"wall/{left[2]}-900", 80, 60)
    assert len(halves(drawn.lines())) == int(left[1])
    rest.pixels["wall"][shown] = (0, 0, 200)
    assert len(lit(halves(drawn.lines()))) == 1
    assert drawn.lines()[0].split()[0] == left[2]


def test_of_many_strings_it_says_how_many_pixels_hide() -> None:
    tables = a_string(**LINE, pixels=400)
    tables["run"]["twin"] = {**LINE, "pixels": 400, "pixel": "rgb"}
    tables["controller"]["box"]["port"]["1"] = ["wall", "twin"]
    _, drawn = close(tables, "box", 80, 24)
    assert "800 of 800 pixels touch another or hide behind it" in caption(drawn)

    assert "not drawn" not in caption(drawn)


def test_a_run_without_a_shape_is_named_where_it_is_not_drawn() -> None:
    tables = a_string(**LINE, pixels=400)
    tables["run"]["bush"] = {"pixels": 400, "pixel": "rgb"}
    tables["controller"]["box"]["port"]["1"] = ["wall", "bush"]
    _, drawn = close(tables, "box", 70, 24)
    assert "not drawn, for want of a shape: bush" in caption(drawn)
    assert len(drawn.lines()) <= 24


def test_a_lit_pixel_is_seen_even_where_it_shares_its_place() -> None:
    yard, drawn = close(one_grid({"columns": 30, "rows": 20}), "wall", 11, 5)
    for pixel in range(600):
        yard.pixels["wall"][:] = 0
        yard.pixels["wall"][pixel, 2] = 1
        assert {halves(drawn.lines())[place] for place in lit(halves(drawn.lines()))} == {(0, 0, 255)}


def test_no_picture_is_drawn_before_the_last_one_was_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    from patcher.cli import yard
    from patcher.terminal import output

    written = io.StringIO()
    written.isatty = lambda: True  # type: ignore[method-assign]
    monkeypatch.setattr("sys.stdout", written)
    wiring = wired(one_grid({"columns": 3, "rows": 2}))
    draw = yard._picture(Yard(wiring, allocate(wiring).patch, Built()), wiring, None)
    monkeypatch.setattr(output, "busy", lambda: True)
    draw()
    assert written.getvalue() == ""
    monkeypatch.setattr(output, "busy", lambda: False)
    draw()
    assert "·" in written.getvalue()


def test_colours_are_true_and_dim_ones_stay_dimmer() -> None:
    yard, drawn = close(one_grid({"columns": 6, "rows": 1}), "wall", 6, 4)
    yard.pixels["wall"][:] = [(100, 0, 0), (0, 100, 0), (0, 0, 100), (100, 100, 100), (25, 25, 25), (0, 0, 0)]
    row = [halves(drawn.lines())[column, 0] for column in range(6)]
    assert row[:4] == [(255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 255)]
    # Source: IEC 61966-2-1: a quarter of the light is 137 of 255 on a screen.
    assert row[4] == (137, 137, 137)
    assert max(row[5]) < 110


@pytest.mark.parametrize(("colours", "says"), [
    ("256", ["38;5;196", "38;5;46", "38;5;21", "38;5;231"]), ("8", ["31", "32", "34", "37"]), ("", ["RGBWWY"]),
])  # fmt: skip
def test_terminals_with_fewer_colours(colours: str, says: list[str]) -> None:
    # From memory: xterm's 256 colours, checked against its palette in tmux; ECMA-48 for the eight.
    yard, drawn = close(one_grid({"columns": 6, "rows": 1}), "wall", 6, 4, colours)
    yard.pixels["wall"][:] = [(9, 0, 0), (0, 9, 0), (0, 0, 9), (9, 9, 9), (9, 9, 9), (9, 9, 0)]
    first = drawn.lines()[0]
    for words in says:
        assert words in first
    assert ("\x1b" in first) is bool(colours)


class Terminal:
    """What a terminal shows, of what the yard writes: placed lines, cleared ends."""

    def __init__(self) -> None:
        self.lines: dict[int, str] = {}

    def write(self, text: str) -> None:
        for told in re.split(r"(?=\x1b\[(?:\d+;1H|2J))", text):
            if told == "\x1b[2J":
                self.lines.clear()
            elif placed := re.fullmatch(r"\x1b\[(\d+);1H(.*?)(\x1b\[K|\x1b\[J)?", told, re.DOTALL):
                if placed[3] == "\x1b[J":
                    self.lines = {n: line for n, line in self.lines.items() if n < int(placed[1])}
                elif placed[3]:
                    self.lines[int(placed[1])] = placed[2]


@given(st.lists(st.lists(st.sampled_from(["a", "bb", "", "ccc"]), max_size=5), min_size=1, max_size=12), st.booleans())
def test_a_screen_shows_the_picture_and_writes_what_has_changed_alone(frames: list[list[str]], wide: bool) -> None:
    showing: list[str] = []
    size = [80, 24]
    screen, terminal = LineUpdates(lambda: (size[0], size[1]), lambda columns, lines: lambda: showing), Terminal()
    for number, frame in enumerate(frames):
        before, showing[:] = list(showing), frame
        if wide:
            size[0] += number % 2
        text = screen.text(number / 10)
        terminal.write(text)
        assert [terminal.lines.get(n + 1, "") for n in range(len(frame))] == frame
        assert max(terminal.lines, default=0) <= len(frame) or not any(
            terminal.lines[n] for n in terminal.lines if n > len(frame)
        )
        if number and not wide and before == frame and frame:
            assert text == ""
        if number and not wide and before and len(before) == len(frame):
            assert text.count("\x1b[K") == sum(a != b for a, b in zip(before, frame, strict=True))


# --- as a program -------------------------------------------------------------------------------------------------


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "mill.toml"
    path.write_text(tomli_w.dumps(one_grid({"columns": 20, "rows": 15})))
    return path


def a_window(columns: int, lines: int) -> tuple[int, int]:
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
    return ours, theirs


@contextmanager
def a_yard(show: Path, theirs: int, *options: object) -> Iterator[int]:
    """A yard that shows its picture on a terminal."""
    known = {"TERM": "xterm-256color", "COLORTERM": "truecolor", "NO_COLOR": "", "COLUMNS": "", "LINES": ""}
    errors, terminal = show.with_name("errors"), Path(f"/proc/{os.getpid()}/fd/{theirs}")
    yard = nursery().run("yard", show, "--on", "wall", *options, said=terminal, errors=errors, known=known)
    assert until(lambda: errors.exists() and "ready" in errors.read_text())
    try:
        yield yard
    finally:
        with suppress(ProcessLookupError):
            os.kill(yard, signal.SIGKILL)


def test_the_yard_fills_a_real_terminal(show: Path, tmp_path: Path) -> None:
    terminal, seen = Terminal(), ""
    ours, theirs = a_window(60, 20)
    call = ("send", "steady", show, "--on", "wall/1-20", "--colour", "red", "--yard", "--seconds", 20)
    with a_yard(show, theirs):
        sending = nursery().run(*call, said=tmp_path / "said")
        limit = time.monotonic() + PATIENCE
        while "20 of 300 pixels lit" not in seen:
            assert time.monotonic() < limit
            if select.select([ours], [], [], 0.1)[0]:
                seen += os.read(ours, 65536).decode()
        os.kill(sending, signal.SIGTERM)
        nursery().wait(sending)
    terminal.write(seen)
    shown = halves([terminal.lines.get(number, "") for number in range(1, 20)])
    assert len(shown) == 300
    assert {row for _, row in lit(shown)} == {28}  # the lowest of 15 rows, two half-blocks each
    assert {shown[place] for place in lit(shown)} == {(255, 0, 0)}
    for end in (ours, theirs):
        os.close(end)


@pytest.mark.long
def test_a_terminal_that_nobody_reads_holds_up_no_reception(show: Path, tmp_path: Path, here: Patcher) -> None:
    # Source: found in use: a reader that stops reading held up the work
    kept = tmp_path / "kept.json"
    ours, theirs = a_window(60, 20)
    os.set_blocking(theirs, False)
    with suppress(BlockingIOError):
        while True:
            os.write(theirs, b"." * 100)
    os.set_blocking(theirs, True)
    with a_yard(show, theirs, "--snapshot", kept) as yard:
        said = here("send", "dot", show, "--yard", "--rate", 40, "--seconds", 1).stdout
        sent = int(re.findall(r"(\d+) packets", said)[-1])
        time.sleep(0.2)
        os.kill(yard, signal.SIGTERM)
        assert nursery().wait(yard) == 2  # what it had to say could not be written
    (box,) = json.loads(kept.read_text())["boxes"]
    assert box["packets"] == {"taken": sent}
    for end in (ours, theirs):
        os.close(end)
