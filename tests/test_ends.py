"""Where a question says to begin: a place that nobody takes for another one, and a direction that is so."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher import ends
from patcher.diagnosis.question_words import asks, marks
from patcher.eye import few, gap, goes_of, outer, together, vanish, whole
from patcher.shapes import Lattice, along, cell_positions, lattice, positions
from patcher.show.parser import read
from patcher.show.run_tables import GridRun
from rig.examples import examples

ACROSS, UP = st.floats(0.5, 6.0), st.floats(0.5, 6.0)
CORNERS = {"bottom left": (0, 0), "bottom right": (1, 0), "top left": (0, 1), "top right": (1, 1)}


@st.composite
def paths(draw: st.DrawFn) -> np.ndarray:
    """Pixels along zigzags of rows, icicles, spirals, arches with passes, scattered points, any crooked line."""
    wide, high, turns = draw(ACROSS), draw(UP), draw(st.integers(1, 7))
    match draw(st.sampled_from(("rows", "icicles", "spiral", "arch", "scattered", "crooked", "straight"))):
        case "rows":
            corners = [(wide * (n // 2 % 2 != n % 2), high * (n // 2) / turns) for n in range(2 * turns + 2)]
        case "icicles":
            corners = [(wide * n / (2 * turns), -high * (n % 2)) for n in range(2 * turns + 1)]
        case "spiral":
            corners = [
                (wide * (1 - n / 90) * np.cos(n * turns / 12), high * (1 - n / 90) * np.sin(n * turns / 12))
                for n in range(80)
            ]
        case "arch":
            one = [(-wide * np.cos(angle), high * np.sin(angle)) for angle in np.linspace(0, np.pi, 60)]
            corners = [point for n in range(turns) for point in (one[::-1] if n % 2 else one)]
        case "scattered":
            points = draw(st.lists(st.tuples(st.floats(-3, 3), st.floats(-3, 3)), min_size=8, max_size=60))
            return np.array(points)
        case "straight":
            corners = [(0.0, 0.0), (wide, high - 3)]
        case _:
            corners = draw(st.lists(st.tuples(st.floats(-3, 3), st.floats(-3, 3)), min_size=2, max_size=9))
    points = np.array(corners, dtype=float)
    assume(np.hypot(*np.diff(points, axis=0).T).sum() > 0.1)
    return along(points, np.linspace(0, 1, draw(st.integers(8, 250))))


@st.composite
def outlines(draw: st.DrawFn) -> tuple[np.ndarray, bool]:
    """Pixels round a closed outline that is seen whole from its middle, and whether they go anticlockwise."""
    wide, high, corners = draw(ACROSS), draw(UP), draw(st.integers(3, 12))
    radii = draw(st.lists(st.floats(0.6, 1.0), min_size=corners, max_size=corners))
    turned = draw(st.floats(0, 6.28))
    angles = [turned + 2 * np.pi * n / corners for n in range(corners)]
    points = [(wide * r * np.cos(a), high * r * np.sin(a)) for r, a in zip(radii, angles, strict=True)]
    if draw(st.booleans()):
        points = [(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)]
    anticlockwise = draw(st.booleans())
    points = points if anticlockwise else points[::-1]
    count = draw(st.integers(16, 250))
    first = draw(st.sampled_from((0.0, draw(st.floats(0, 1)))))
    return along(np.array([*points, points[0]]), (np.arange(count) / count + first) % 1), anticlockwise


def pitch_of(places: np.ndarray) -> float:
    return float(np.median(np.hypot(*np.diff(places, axis=0).T)))


def scaled(places: np.ndarray) -> np.ndarray:
    """The picture as a square from 0 to 1."""
    size = np.ptp(places, axis=0)
    return (places - places.min(axis=0)) / np.where(size > 0, size, 1)


def far_from(places: np.ndarray, place: int) -> np.ndarray:
    """The pixels that nobody takes for this one, for they lie a quarter of the picture away."""
    return np.hypot(*(places - places[place]).T) > np.hypot(*np.ptp(places, axis=0)) / 4


# Judge: whoever looks for the pixel that lies farthest to the side, or nearest to the corner, that is named.
@examples(33, 100)
@given(paths())
def test_an_end_is_named_by_a_side_only_where_no_other_pixel_lies_there(places: np.ndarray) -> None:
    whole, size, read_from = scaled(places), np.ptp(places, axis=0), ends.readings(places)
    if read_from[0].way in ("clockwise", "anticlockwise"):
        return  # it ends where it began: see below
    for place, reading in zip((0, len(places) - 1), read_from, strict=True):
        far = far_from(places, place)
        if side := re.fullmatch(r"its (left|right|lower|upper) end", reading.begin):
            axis, high = {"left": (0, 0), "right": (0, 1), "lower": (1, 0), "upper": (1, 1)}[side[1]]
            apart = abs(places[0, axis] - places[-1, axis])
            assert apart > 1.5 * pitch_of(places)
            assert apart >= 0.3 * size[axis]
            away = np.abs(whole[:, axis] - high)
            assert away[place] <= away.min() + 0.25
            assert (away[far] > away[place] - 0.001).all()
        elif corner := re.fullmatch(r"its (\w+ \w+) end", reading.begin):
            away = np.abs(whole - CORNERS[corner[1]]).sum(axis=1)
            assert (away[far] > away[place]).all()
        elif part := re.fullmatch(r"its end (?:in|at) the (.+)", reading.begin):
            assert part[1] == ends.part_of(places[place], places)
            assert part[1] != ends.part_of(places[-1 - place if place == 0 else 0], places)
        else:
            assert "lead" in reading.begin


@examples(33, 100)
@given(paths(), st.integers(0, 1))
def test_ends_that_lie_beside_each_other_are_never_told_apart_by_sides(there: np.ndarray, apart: int) -> None:
    places = np.concatenate([there, there[::-1][: len(there) - apart]])
    assume(np.hypot(*np.ptp(places, axis=0)) > 6 * pitch_of(places))
    first, last = ends.readings(places)
    assert "lead" in first.begin or first.begin == last.begin
    assert not re.match(r"its [\w ]+ end$", first.begin)


# Judge: the angles at which the pixels are seen from the middle, added up step by step; not the formula of areas.
@examples(33, 100)
@given(outlines())
def test_a_closed_outline_is_read_from_a_place_of_it_and_the_way_that_it_goes(drawn: tuple[np.ndarray, bool]) -> None:
    places, anticlockwise = drawn
    first, last = ends.readings(places)
    middle = np.zeros(2) if places.min() < 0 else places.mean(axis=0)
    seen = np.arctan2(*(places - middle).T[::-1])
    turned = np.sum((np.diff(seen, append=seen[0]) + np.pi) % (2 * np.pi) - np.pi)
    assert (turned > 0) == anticlockwise
    assert first.begin == last.begin
    assert " end" not in first.begin.replace("the end where its lead", "")
    assert (first.way, last.way) == (
        ("anticlockwise", "clockwise") if anticlockwise else ("clockwise", "anticlockwise")
    )
    whole, far = scaled(places), far_from(places, 0)
    if corner := re.fullmatch(r"its (\w+ \w+) corner", first.begin):
        away = np.abs(whole - CORNERS[corner[1]]).sum(axis=1)
        assert (away[far] > away[0]).all()
    elif point := re.fullmatch(r"its (leftmost|rightmost|lowest|highest) point", first.begin):
        axis, high = {"leftmost": (0, 0), "rightmost": (0, 1), "lowest": (1, 0), "highest": (1, 1)}[point[1]]
        away = np.abs(whole[:, axis] - high)
        assert (away[far] > away[0]).all()
    elif hour := re.match(r"(\d+) o’clock", first.begin):
        x, y = places[0] - (places.max(axis=0) + places.min(axis=0)) / 2
        towards = np.radians(90 - 30 * int(hour[1]))
        assert np.cos(np.arctan2(y, x) - towards) > np.cos(np.radians(16))
    else:
        assert first.begin.startswith("where its lead comes in")


MIRRORED = {"left": "right", "leftmost": "rightmost", "clockwise": "anticlockwise"}
MIRRORED |= {other: word for word, other in MIRRORED.items()}


# Judge: a mirror.
@examples(33, 100)
@given(st.one_of(paths(), outlines().map(lambda drawn: drawn[0])))
def test_in_a_mirror_left_is_right_and_clockwise_anticlockwise(places: np.ndarray) -> None:
    for seen, mirrored in zip(ends.readings(places), ends.readings(places * [-1, 1]), strict=True):
        words = re.sub(r"\w+", lambda word: MIRRORED.get(word[0], word[0]), str(seen))
        if "o’clock" not in words and "middle" not in words:
            assert str(mirrored) == words


@given(
    st.integers(2, 9), st.integers(2, 9), st.sampled_from(("rows", "columns")),
    st.sampled_from(("serpentine", "same-way")), st.sampled_from([corner.replace(" ", "-") for corner in CORNERS]),
)  # fmt: skip
def test_a_grid_is_read_from_the_corners_where_its_wiring_begins_and_ends(
    columns: int, rows: int, lines: str, turns: str, data_in: str
) -> None:
    wired = Lattice(0, 0, columns, rows, lines, turns, data_in)  # type: ignore[arg-type]
    placed = wired.cells()
    first, last = ends.readings(placed.astype(float), wired)
    for reading, cell in ((first, placed[0]), (last, placed[-1])):
        corner = CORNERS[reading.begin.removeprefix("its ").removesuffix(" corner")]
        assert tuple(cell) == (corner[0] * (columns - 1), corner[1] * (rows - 1))
        by_line, turning = reading.way.split(", ")
        assert by_line == ("row by row" if lines == "rows" else "column by column")
        assert turning == ("back and forth" if turns == "serpentine" else "each in the same direction")


PANEL = 'shape = "grid"\narea = [[0, 0], [4, 2]]\ncolumns = 9\nrows = 6\nlines = "rows"\n'


def shown(**tables: str) -> object:
    names = ", ".join(f'"{name}"' for name in tables)
    text = (
        '[show]\ntitle = "x"\n[pixel.p]\ncolour_order = "RGB"\nvolts = 12.0\nchannel_ma = 9.0\n'
        '[controller.box]\naddress = "192.0.2.1"\n'
        f"ports = 1\n[controller.box.port]\n1 = [{names}]\n"
    )
    text += "".join(f'[run.{name}]\npixel = "p"\n{table}\n' for name, table in tables.items())
    reading = read(text, lambda name: [])
    assert reading.show is not None, reading.findings
    return reading.show


# Source: found in use: places that nobody could point at
def test_what_nobody_could_tell_is_said_so_that_it_can_be_pointed_at() -> None:
    show = shown(
        zigzag='shape = "line"\npath = [[4, 0], [0, 0.3], [4, 0.6], [0, 0.9], [4, 1.2], [0, 1.5]]\npixels = 90',
        panel=PANEL + 'data_in = "top-left"\nturns = "serpentine"',
        window='shape = "loop"\ncorners = [[0, 0], [0, 2], [1, 2], [1, 0]]\npixels = 60',
        arch='shape = "arch"\nfeet = [[0, 0], [3, 0]]\nheight = 2\npasses = 2\npixels = 80',
        hedge="pixels = 50",
    )
    said = {run: [asks(show, outer(run, end)) for end in (0, -1)] for run in show.runs}  # type: ignore[attr-defined]
    assert "from its right end" not in said["zigzag"][0]
    assert "begin at its bottom right end" in said["zigzag"][0]
    assert "On panel, begin at its top left corner and go row by row, back and forth." in said["panel"][0]
    assert "On panel, begin at its bottom left corner and go row by row, back and forth." in said["panel"][1]
    assert "begin at its bottom left corner and go clockwise." in said["window"][0]
    back = "begin beside the pixel at its bottom left corner and go anticlockwise, so that this pixel comes last."
    assert back in said["window"][1]
    assert "begin at the end where its lead comes in (bottom left) and go along the cable." in said["arch"][0]
    assert "begin at its other end, beside the one where its lead comes in" in said["arch"][1]
    assert "begin at the end where its lead comes in" in said["hedge"][0]
    assert "begin at the end away from its lead" in said["hedge"][1]
    for end, runs in ((0, said), (-1, said)):
        for run in runs:
            (mark,) = marks(show, outer(run, end))  # type: ignore[arg-type]
            last = show.runs[run].pixels - 1  # type: ignore[attr-defined]
            assert (mark.run, mark.pixel) == (run, last if end else 0)
            assert 0 <= mark.towards <= last
            assert mark.towards != mark.pixel


@examples(30, 150)
@given(
    st.floats(0.5, 4), st.floats(0.5, 4), st.sampled_from([*CORNERS]), st.booleans(), st.integers(20, 90),
    st.sampled_from([0, -1]),
)  # fmt: skip
def test_who_goes_round_an_outline_by_the_words_meets_its_pixels_in_order(
    wide: float, high: float, corner: str, against: bool, pixels: int, end: int
) -> None:
    # Judge: the angle of each place as seen from the middle. Source: a reader who began at the corner, where the last
    # pixel was meant, and met the first one
    entry = f'data_in = "{corner.replace(" ", "-")}"\n' + "backwards = true\n" * against
    path = f"corners = [[0, 0], [0, {high}], [{wide}, {high}], [{wide}, 0]]"
    show = shown(window=f'shape = "loop"\n{path}\npixels = {pixels}\n{entry}')
    places = positions(show, show.runs["window"])  # type: ignore[attr-defined]
    assert places is not None
    words = asks(show, outer("window", end))  # type: ignore[arg-type]
    named = re.search(r"at its (\w+ \w+) corner and go (anti)?clockwise(, so that this pixel comes last)?", words)
    assume(named)  # a flat one is named by another place
    at = np.array(CORNERS[named[1]]) * [wide, high]
    x, y = (places - np.array([wide, high]) / 2).T
    from_corner = np.hypot(*(places - at).T)
    there, pitch = int(from_corner.argmin()), 2 * (wide + high) / pixels
    turn = (np.arctan2(y, x) - np.arctan2(*(at - [wide / 2, high / 2])[::-1])) * (1 if named[2] else -1) % (2 * np.pi)
    assume(from_corner[there] < 0.33 * pitch)  # it is at the corner
    turn[there] = 2 * np.pi if named[3] else 0.0
    met = np.argsort(turn)
    assert np.array_equal(met, np.arange(pixels)[:: -1 if end else 1])


def test_what_is_read_from_a_place_has_a_mark_there_and_nothing_else_has() -> None:
    show = shown(one="pixels = 50", two="pixels = 60")
    goes = goes_of([3, 3])
    quarters = np.zeros(60, dtype=np.int8)
    read_off = few(("one", "two"), (((1,), ()),), (None, quarters))
    dark = few(("one", "two"), (((), ()),), (None, quarters))
    moving = (vanish(("one", "two"), goes), together(("one", "two"), goes, np.arange(110), parts=("two",)))
    marked = {ask.kind: [mark.run for mark in marks(show, ask)] for ask in (  # type: ignore[arg-type]
        whole("one"), gap("one", ("red",)), read_off, *moving
    )}  # fmt: skip
    assert marked == {"whole": [], "gap": ["one"], "few": ["one"], "vanish": ["one", "two"], "together": ["one"]}
    assert "a part of two" in asks(show, moving[1])  # type: ignore[arg-type]
    assert marks(show, dark) == ()  # type: ignore[arg-type]
    assert asks(show, dark).startswith("Nothing should be lit on one and two.")  # type: ignore[arg-type]


@pytest.mark.parametrize("end", [0, -1])
def test_the_mark_lies_where_the_words_say(end: int) -> None:
    # Judge: the corner that the words name, on the picture.
    show = shown(panel=PANEL + 'data_in = "bottom-right"\nturns = "same-way"')
    run = show.runs["panel"]  # type: ignore[attr-defined]
    assert isinstance(run, GridRun)
    (mark,) = marks(show, outer("panel", end))  # type: ignore[arg-type]
    places = positions(show, run)  # type: ignore[arg-type]
    wired = lattice(show, run)  # type: ignore[arg-type]
    assert places is not None
    assert wired is not None
    corner = asks(show, outer("panel", end)).split("begin at its ")[1].split(" corner")[0]  # type: ignore[arg-type]
    assert np.allclose(places[mark.pixel], np.array(CORNERS[corner]) * [4, 2])
    assert np.allclose(places, cell_positions(run, wired.cells()))


@examples(33, 100)
@given(ACROSS, UP, st.integers(40, 200), st.floats(0.3, 0.9))
def test_what_crosses_itself_is_no_outline_that_goes_one_way_round(
    wide: float, high: float, count: int, lobe: float
) -> None:
    # Judge: a figure of eight, one lobe clockwise and one anticlockwise, by construction.
    angles = np.arange(count) * 2 * np.pi / count
    far = np.where(np.sin(angles) > 0, 1.0, lobe)
    places = np.column_stack([wide * np.sin(angles) * far, high * np.sin(2 * angles) * far])
    for reading in ends.readings(places):
        assert "clockwise" not in reading.way
        assert "lead" in reading.begin
