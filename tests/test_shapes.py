"""Every shape against a second, slow definition of it, written from the design and not from the code."""

import math
from itertools import pairwise

import numpy as np
import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.shapes import positions
from patcher.show.parser import read
from patcher.show.schema import Show
from rig.examples import examples
from rig.grid_walk import CORNERS, walk

corners = st.sampled_from(CORNERS)
ways = st.sampled_from(("rows", "columns"))
turnings = st.sampled_from(("serpentine", "same-way"))
ends = st.sampled_from(("first", "last"))
# Sixteenths of a metre: exact in binary, so that a test's arithmetic adds no doubt of its own.
coordinates = st.integers(-160, 160).map(lambda sixteenths: sixteenths / 16)
points = st.tuples(coordinates, coordinates)


def show_of(runs: dict, props: dict | None = None, units: str = "m") -> Show:
    tables = {
        "show": {"title": "shapes", "units": units},
        "pixel": {"lamp": {"colour_order": "RGB"}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": list(runs)}}},
        "run": {name: {"pixel": "lamp"} | run for name, run in runs.items()},
        "prop": props or {},
    }
    reading = read(tomli_w.dumps(tables))
    assert reading.findings == ()
    assert reading.show is not None
    return reading.show


def places_of(run: dict, props: dict | None = None, units: str = "m") -> list[tuple[float, float]]:
    show = show_of({"run-a": run}, props, units)
    found = positions(show, show.runs["run-a"])
    assert found is not None
    assert len(found) == show.runs["run-a"].pixels
    return [(float(x), float(y)) for x, y in found]


def same(found, wanted) -> None:
    assert len(found) == len(wanted)
    for one, two in zip(found, wanted, strict=True):
        assert one == pytest.approx(two, abs=1e-9)


def lamps(drawn: list, gaps: list[int], data_in: str = "first") -> list:
    """What is left of the drawn places, from the end where the data enters."""
    kept = [place for number, place in enumerate(drawn, start=1) if number not in gaps]
    if data_in == "last":
        kept.reverse()
    return kept


@st.composite
def gaps_of(draw, drawn: int) -> list[int]:
    if drawn == 1:
        return []
    return draw(st.lists(st.integers(1, drawn), unique=True, max_size=min(drawn - 1, 5)))


# --- grids --------------------------------------------------------------------------------------------------------


def cell_place(area, columns: int, rows: int, cell: tuple[int, int]) -> tuple[float, float]:
    """`area` joins the centres of corner pixels; column 0 is the leftmost, row 0 the lowest."""
    (x0, y0), (x1, y1) = area
    left, right, low, high = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
    x = left if columns == 1 else left + (right - left) * cell[0] / (columns - 1)
    y = low if rows == 1 else low + (high - low) * cell[1] / (rows - 1)
    return x, y


def test_a_small_grid_written_out_by_hand():
    # Source: the design: grid; a 2 × 3 grid drawn on paper
    grid = {"shape": "grid", "area": [[0, 0], [1, 2]], "columns": 2, "rows": 3}
    up_and_down = grid | {"lines": "columns", "turns": "serpentine", "data_in": "top-right"}
    assert places_of(up_and_down) == [(1, 2), (1, 1), (1, 0), (0, 0), (0, 1), (0, 2)]
    each_to_the_left = grid | {"lines": "rows", "turns": "same-way", "data_in": "bottom-right"}
    assert places_of(each_to_the_left) == [(1, 0), (0, 0), (1, 1), (0, 1), (1, 2), (0, 2)]
    snake = grid | {"lines": "rows", "turns": "serpentine", "data_in": "bottom-left"}
    assert places_of(snake) == [(0, 0), (1, 0), (1, 1), (0, 1), (0, 2), (1, 2)]


@examples(40, 80)
@given(st.data())
def test_any_grid_with_any_gaps(data):
    # Source: the design: grid; `gaps`: drawn places that have no pixel
    columns, rows = data.draw(st.integers(1, 7)), data.draw(st.integers(1, 7))
    x0, y0 = data.draw(points)
    width = data.draw(st.integers(1, 9)) * data.draw(st.sampled_from((1, -1)))
    height = data.draw(st.integers(1, 9)) * data.draw(st.sampled_from((1, -1)))
    area = [[x0, y0], [x0 + width * (columns > 1), y0 + height * (rows > 1)]]
    lines, turns, data_in = data.draw(ways), data.draw(turnings), data.draw(corners)
    gaps = data.draw(gaps_of(columns * rows))
    run = {
        "shape": "grid", "area": area, "columns": columns, "rows": rows, "lines": lines, "turns": turns,
        "data_in": data_in, "gaps": gaps,
    }  # fmt: skip
    drawn = [cell_place(area, columns, rows, cell) for cell in walk(columns, rows, lines, turns, data_in)]
    same(places_of(run), lamps(drawn, gaps))


# --- bands --------------------------------------------------------------------------------------------------------


def band_cells(columns, rows, lines, turns, prop_in, band, data_in) -> list[tuple[int, int]]:
    """A band is the rectangle of its whole lines, counted from the prop's corner, and is entered at a corner of its
    own."""
    if lines == "columns":
        numbered = list(range(columns))
        if prop_in in ("bottom-right", "top-right"):
            numbered.reverse()
        mine = sorted(numbered[band[0] - 1 : band[1]])
        return [(x + mine[0], y) for x, y in walk(len(mine), rows, lines, turns, data_in)]
    numbered = list(range(rows))
    if prop_in in ("top-left", "top-right"):
        numbered.reverse()
    mine = sorted(numbered[band[0] - 1 : band[1]])
    return [(x, y + mine[0]) for x, y in walk(columns, len(mine), lines, turns, data_in)]


@examples(12, 40)
@given(corners, corners, ways, turnings)
def test_bands_of_a_grid_entered_at_any_corner(prop_in, data_in, lines, turns):
    # Source: the design: band: line numbers run through the prop; data_in is the band's own corner
    area = [[0.0, 0.0], [5.0, 4.0]]
    prop = {"area": area, "columns": 6, "rows": 5, "lines": lines, "turns": turns, "data_in": prop_in}
    last = 6 if lines == "columns" else 5
    bands = {"run-a": [1, 2], "run-b": [3, 3], "run-c": [4, last]}
    runs = {
        name: {"shape": "band", "of": "gate", "band": band, "data_in": data_in, "gaps": [2] if name == "run-c" else []}
        for name, band in bands.items()
    }
    show = show_of(runs, {"gate": prop})
    seen = []
    for name, band in bands.items():
        cells = band_cells(6, 5, lines, turns, prop_in, band, data_in)
        drawn = [cell_place(area, 6, 5, cell) for cell in cells]
        same(positions(show, show.runs[name]).tolist(), lamps(drawn, runs[name]["gaps"]))
        seen += cells
    # the bands together are the whole grid, each cell once
    assert sorted(seen) == sorted((x, y) for x in range(6) for y in range(5))


def test_the_first_line_of_a_prop_is_at_its_data_in():
    # Source: the design: band; by hand
    prop = {
        "area": [[0, 0], [2, 1]], "columns": 3, "rows": 2, "lines": "columns", "turns": "serpentine",
        "data_in": "bottom-right",
    }  # fmt: skip
    run = {"shape": "band", "of": "gate", "band": [1, 1], "data_in": "top-left"}
    assert places_of(run, {"gate": prop}) == [(2, 1), (2, 0)]


@examples(40, 80)
@given(st.data())
def test_any_band(data):
    # Source: the design: a band is whole lines of a grid that is drawn once
    columns, rows, lines = data.draw(st.integers(2, 7)), data.draw(st.integers(2, 7)), data.draw(ways)
    count = columns if lines == "columns" else rows
    first = data.draw(st.integers(1, count))
    band = [first, data.draw(st.integers(first, count))]
    turns, prop_in, data_in = data.draw(turnings), data.draw(corners), data.draw(corners)
    area = [[0.0, 0.0], [float(columns - 1), float(rows - 1)]]
    gaps = data.draw(gaps_of((band[1] - band[0] + 1) * (columns * rows // count)))
    prop = {"area": area, "columns": columns, "rows": rows, "lines": lines, "turns": turns, "data_in": prop_in}
    run = {"shape": "band", "of": "gate", "band": band, "data_in": data_in, "gaps": gaps}
    own = data.draw(st.none() | turnings)  # a band may turn otherwise than its prop
    run |= {} if own is None else {"turns": own}
    cells = band_cells(columns, rows, lines, own or turns, prop_in, band, data_in)
    same(places_of(run, {"gate": prop}), lamps([(float(x), float(y)) for x, y in cells], gaps))


# --- lines and loops ----------------------------------------------------------------------------------------------


def on_path(path: list[tuple[float, float]], distance: float) -> tuple[float, float]:
    """The point so far along a path, one straight piece after the other."""
    for (x0, y0), (x1, y1) in pairwise(path):
        piece = math.dist((x0, y0), (x1, y1))
        if distance <= piece and piece > 0:
            return x0 + (x1 - x0) * distance / piece, y0 + (y1 - y0) * distance / piece
        distance -= piece
    return path[-1]


def length_of(path) -> float:
    return sum(math.dist(one, two) for one, two in pairwise(path))


def close(found, wanted) -> None:
    assert len(found) == len(wanted)
    for one, two in zip(found, wanted, strict=True):
        assert one == pytest.approx(two, abs=1e-7)


@examples(40, 80)
@given(st.lists(points, min_size=2, max_size=5), st.integers(1, 40), ends, st.data())
def test_a_line_has_equal_arc_lengths_and_both_ends_lit(path, pixels, data_in, data):
    # Source: the design: line: along the path, equal arc lengths, both ends lit; data_in, gaps
    if len(set(path)) == 1:
        return
    gaps = data.draw(gaps_of(pixels))
    run = {"shape": "line", "path": [list(p) for p in path], "pixels": pixels, "gaps": gaps, "data_in": data_in}
    step = length_of(path) / (pixels - 1) if pixels > 1 else 0.0
    drawn = [on_path(path, step * number) for number in range(pixels)]
    found = places_of(run)
    close(found, lamps(drawn, gaps, data_in))
    if not gaps and pixels > 1:
        wanted = (path[0], path[-1]) if data_in == "first" else (path[-1], path[0])
        close([found[0], found[-1]], wanted)


def test_a_line_of_one_pixel_stands_where_the_path_begins():
    # From memory: “both ends lit” cannot hold for one pixel; the path's first point is where its wire comes from
    run = {"shape": "line", "path": [[1, 2], [3, 4]], "pixels": 1}
    assert places_of(run) == [(1, 2)]


def test_gaps_count_drawn_places_from_the_first_whichever_end_the_data_enters():
    # Source: the design: gaps are drawn places; data_in is an end as drawn; pixel numbers count pixels
    run = {"shape": "line", "path": [[0, 0], [4, 0]], "pixels": 5, "gaps": [2]}
    assert [x for x, _ in places_of(run)] == [0, 2, 3, 4]
    assert [x for x, _ in places_of(run | {"data_in": "last"})] == [4, 3, 2, 0]
    assert [x for x, _ in places_of(run | {"gaps": [1, 5]})] == [1, 2, 3]


@examples(40, 80)
@given(st.lists(points, min_size=3, max_size=6), st.integers(1, 40), ends, st.data())
def test_a_loop_goes_round_from_its_first_corner(outline, pixels, data_in, data):
    # Source: the design: loop: round the closed outline from its first corner, in the order of the corners
    if len(set(outline)) == 1:
        return
    gaps = data.draw(gaps_of(pixels))
    run = {"shape": "loop", "corners": [list(p) for p in outline], "pixels": pixels, "gaps": gaps, "data_in": data_in}
    closed = [*outline, outline[0]]
    step = length_of(closed) / pixels
    drawn = [on_path(closed, step * number) for number in range(pixels)]
    close(places_of(run), lamps(drawn, gaps, data_in))


@examples(20, 40)
@given(st.data())
def test_a_loop_may_be_entered_at_any_place_and_gone_round_either_way(data):
    # Source: the design: a loop entered at another of its places, in either direction; a finger on the outline
    count, backwards = data.draw(st.integers(3, 12)), data.draw(st.booleans())
    gaps = sorted(data.draw(st.sets(st.integers(1, count), max_size=count - 1)))
    place = data.draw(st.integers(1, count))
    run = {"shape": "loop", "corners": [[0.0, 0.0], [0.1, 1.1], [2.4, 1.0], [2.2, -0.1]], "pixels": count}
    drawn = places_of(run)
    passed = []
    for _ in range(count):
        passed += [drawn[place - 1]] if place not in gaps else []
        place += -1 if backwards else 1
        place = count if place == 0 else 1 if place > count else place
    run |= {"gaps": gaps, "backwards": backwards, "data_in": place}
    same(places_of(run), passed)


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("corner", CORNERS)
def test_a_loop_entered_at_a_corner_begins_where_that_is(corner, backwards):
    # Source: the drawing: a window that was not measured quite square; its corners are where anybody would point
    outline = [[0.0, 0.0], [0.05, 1.2], [1.4, 1.25], [1.42, 0.02]]
    at = outline[{"bottom-left": 0, "top-left": 1, "top-right": 2, "bottom-right": 3}[corner]]
    run = {"shape": "loop", "corners": outline, "pixels": 52, "data_in": corner, "backwards": backwards}
    first, second = places_of(run)[:2]
    assert math.dist(first, at) < 0.06
    # The corners are drawn clockwise, so clockwise is forward: the cross product about the middle says which way it is.
    turn = (first[0] - 0.7) * (second[1] - 0.6) - (first[1] - 0.6) * (second[0] - 0.7)
    assert (turn < 0) is not backwards


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"data_in": 9}, "names place 9, but 8 places are drawn"),
        ({"data_in": 0}, "data_in"),
        ({"data_in": "middle"}, "cannot be 'middle'"),
        ({"data_in": "bottom-left"}, "is no corner of it"),
        ({"data_in": "last", "backwards": True}, "backwards already"),
        ({"corners": [[0, 1], [1, 2], [2, 1], [1, 0]], "data_in": "top-left"}, "is no corner of it"),
        ({"corners": [[0, 0.3], [0.3, 0], [2, 0], [2, 2]], "data_in": "bottom-left"}, "more than one of its corners"),
    ],
)
def test_a_loop_that_does_not_say_where_it_is_entered_is_refused(keys, says):
    # Source: the design: refuse where it is ambiguous; the design: place, what is wrong, what to do
    run = {"pixel": "lamp", "shape": "loop", "corners": [[0, 1], [2, 1], [1, 0]], "pixels": 8} | keys
    tables = {
        "show": {"title": "shapes"}, "pixel": {"lamp": {"colour_order": "RGB"}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["a"]}}}, "run": {"a": run},
    }  # fmt: skip
    (finding,) = read(tomli_w.dumps(tables)).findings
    assert finding.where.startswith("run.a")
    assert says in f"{finding.where} {finding.says}"
    assert finding.remedy


def test_a_loop_by_hand_and_from_its_last_place():
    # Source: the design: loop; `data_in = "last"` goes round from the last place drawn
    run = {"shape": "loop", "corners": [[0, 0], [2, 0], [2, 2], [0, 2]], "pixels": 8}
    round_it = [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1)]
    close(places_of(run), round_it)
    close(places_of(run | {"data_in": "last"}), round_it[::-1])


# --- arches -------------------------------------------------------------------------------------------------------

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)


def arc(half_width: float, height: float, begin: float, end: float) -> float:
    """Length of an ellipse between two angles: the integral of its speed, by Gauss–Legendre on short pieces."""
    total = 0.0
    edges = np.linspace(begin, end, 9)
    for one, two in pairwise(edges):
        angles = (one + two) / 2 + (two - one) / 2 * _NODES
        speed = np.hypot(half_width * np.sin(angles), height * np.cos(angles))
        total += (two - one) / 2 * float(np.dot(_WEIGHTS, speed))
    return total


def angles_of(places, feet, height) -> list[float]:
    """The angle of each place in the ellipse's own frame, 0 at the first foot; each must lie on the ellipse."""
    (x0, y0), (x1, y1) = feet
    middle, half = ((x0 + x1) / 2, (y0 + y1) / 2), math.dist(feet[0], feet[1]) / 2
    along = ((x0 - x1) / 2 / half, (y0 - y1) / 2 / half)
    across = (-along[1], along[0])
    if across[1] < 0:  # the top of an arch is up
        across = (-across[0], -across[1])
    found = []
    for x, y in places:
        u = ((x - middle[0]) * along[0] + (y - middle[1]) * along[1]) / half
        v = ((x - middle[0]) * across[0] + (y - middle[1]) * across[1]) / height
        assert u * u + v * v == pytest.approx(1.0, abs=1e-6)
        assert v > -1e-6
        found.append(math.atan2(max(v, 0.0), u))
    return found


@examples(15, 40)
@given(
    points,
    st.integers(1, 160),
    st.integers(-40, 40),
    st.sampled_from((1, -1)),
    st.integers(1, 160),
    st.integers(2, 30),
    st.integers(1, 4),
    ends,
    st.data(),
)
def test_an_arch_is_half_an_ellipse_at_equal_arc_lengths(foot, wide, rise, way, tall, each, passes, data_in, data):
    # Source: the design: arch: half an ellipse, equal arc lengths; each pass retraces the last one backwards
    feet = [foot, (foot[0] + way * wide / 16, foot[1] + rise / 16)]
    height, half = tall / 16, math.dist(foot, (foot[0] + wide / 16, foot[1] + rise / 16)) / 2
    run = {"shape": "arch", "feet": [list(f) for f in feet], "height": height}
    whole = places_of(run | {"pixels": each})
    angles = angles_of(whole, feet, height)
    # both feet are lit, and between neighbours lies the same length of wire
    close([whole[0], whole[-1]], feet)
    total = arc(half, height, 0.0, math.pi)
    for one, two in pairwise(angles):
        assert arc(half, height, one, two) == pytest.approx(total / (each - 1), rel=1e-5, abs=1e-6)
    drawn = []
    for number in range(passes):
        drawn += whole if number % 2 == 0 else whole[::-1]
    gaps = data.draw(gaps_of(each * passes))
    close(
        places_of(run | {"pixels": each * passes, "passes": passes, "gaps": gaps, "data_in": data_in}),
        lamps(drawn, gaps, data_in),
    )


def test_half_a_circle_by_hand():
    # Source: the design: arch; height = half the width is half a circle: equal arcs, equal angles
    run = {"shape": "arch", "feet": [[-2, 1], [2, 1]], "height": 2, "passes": 2, "pixels": 10}
    r = math.sqrt(2)
    over = [(-2, 1), (-r, 1 + r), (0, 3), (r, 1 + r), (2, 1)]
    close(places_of(run), over + over[::-1])


@pytest.mark.parametrize("feet", [[[-2, 1], [2, 1]], [[2, 1], [-2, 1]]])
def test_an_arch_stands_upright_whichever_foot_is_first(feet):
    # Source: the design: y up as the audience sees it
    found = places_of({"shape": "arch", "feet": feet, "height": 3, "pixels": 3})
    close(found, [feet[0], (0, 4), feet[1]])


# --- points, no picture, feet -------------------------------------------------------------------------------------


@examples(20, 40)
@given(st.lists(points, min_size=1, max_size=30), ends, st.data())
def test_points_are_as_listed(at, data_in, data):
    # Source: the design: points: as listed
    gaps = data.draw(gaps_of(len(at)))
    run = {"shape": "points", "at": [list(p) for p in at], "gaps": gaps, "data_in": data_in}
    assert places_of(run) == lamps(at, gaps, data_in)


def test_a_run_without_a_shape_has_no_picture():
    # Source: the design: none: a run with no picture
    show = show_of({"run-a": {"pixels": 5}})
    assert positions(show, show.runs["run-a"]) is None
    assert show.runs["run-a"].pixels == 5


GATE = {
    "area": [[0, 0], [3, 4]], "columns": 3, "rows": 3, "lines": "rows", "turns": "same-way", "data_in": "top-left",
}  # fmt: skip
GRID = GATE | {"shape": "grid"}


@pytest.mark.parametrize(
    "run",
    [
        {"shape": "line", "path": [[3, 4], [6, 8]], "pixels": 1},
        {"shape": "loop", "corners": [[3, 4], [6, 8], [0, 9]], "pixels": 1},
        {"shape": "arch", "feet": [[3, 4], [6, 4]], "height": 1, "pixels": 1},
        GRID | {"area": [[3, 4], [3, 4]], "columns": 1, "rows": 1},
        {"shape": "points", "at": [[3, 4]]},
    ],
    ids=lambda run: run["shape"],
)
def test_a_run_of_one_pixel_stands_at_its_first_place(run):
    # Source: the design: every order begins at the first point, corner or foot
    close(places_of(run), [(3, 4)])


@pytest.mark.parametrize(
    ("run", "props"),
    [
        ({"shape": "line", "path": [[0, 0], [1, 2], [5, 2]], "pixels": 9}, None),
        ({"shape": "loop", "corners": [[0, 0], [3, 0], [3, 3]], "pixels": 9}, None),
        ({"shape": "arch", "feet": [[0, 0], [8, 1]], "height": 3, "pixels": 9}, None),
        ({"shape": "points", "at": [[0, 1], [2, 3]]}, None),
        (GRID, None),
        ({"shape": "band", "of": "gate", "band": [2, 2], "data_in": "top-left"}, {"gate": GATE}),
    ],
    ids=lambda value: value.get("shape", "") if value else "",
)
def test_feet_are_read_and_metres_come_out(run, props):
    # Source: international foot of 1959, 0.3048 m exactly; the design: lengths in metres, or in feet
    in_metres, in_feet = places_of(run, props), places_of(run, props, units="ft")
    close(in_feet, [(x * 0.3048, y * 0.3048) for x, y in in_metres])
