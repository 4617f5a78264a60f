"""Drawings held against the show, its patch and its power: what is counted, where it stands, what it is made of."""

from __future__ import annotations

import re
import time
from collections import Counter
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from patcher.charts.cable_chart import cable_chart
from patcher.charts.universe_map import universe_bars
from patcher.drawing.show_drawing import UNSEEN, box_drawing, prop_drawing, show_drawing
from patcher.phone.dark_drawing import night_drawing
from patcher.shapes import positions
from patcher.show.show_file import read_show
from patcher.wiring import wire
from rig.drawing_scenes import SHOW_SEEDS, WIDE, Scene, at_random, edges_of, joints_of, one_box, scene, shipped
from rig.examples import examples, later
from rig.grid_walk import CORNERS, walk
from rig.shipped import wired
from rig.sketches import COLOUR_BLIND_SAFE, SPACE, Drawn, points, sketch


@pytest.fixture(scope="module")
def heron() -> Scene:
    return shipped()


def all_drawings(found: Scene, wide: float = 180.0) -> dict[str, str]:
    """Every drawing of a show, by what it is of."""
    show = found[0].show
    drawings = {"show": show_drawing(*found, wide=wide)}
    drawings |= {f"box {box}": box_drawing(*found, box, wide=wide) for box in show.controllers}
    drawings |= {f"chart {box}": cable_chart(*found, box, wide=wide) for box in show.controllers}
    drawings |= {f"prop {prop}": prop_drawing(*found, prop, wide=wide) for prop in show.prop_runs()}
    pages = universe_bars(found[0], found[1], wide=wide)
    return drawings | {f"map {page}": text for page, text in enumerate(pages, start=1)}


@cache
def pages(wide: float) -> dict[str, str]:
    """Every drawing of the shipped show, for paper or for a phone."""
    return all_drawings(shipped(), wide)


def check_counts(drawn: Drawn, found: Scene, runs: set[str]) -> None:
    """Every run, end, edge and tap of some runs is in a drawing once, and nothing else."""
    show = found[0].show
    hung = {run for run in runs if show.runs[run].hung}
    assert {run for (run,) in drawn.data("run")} == hung
    ends = Counter(drawn.data("run", "end", "pixel"))
    assert ends == Counter(
        end for run in hung for end in ((run, "first", "1"), (run, "last", str(show.runs[run].pixels)))
    )
    edges = Counter(drawn.data("run", "pixel", "universe"))
    assert edges == Counter(edge for run in hung for edge in edges_of(found, run))
    assert Counter(drawn.data("feed", "run", "pixel")) == joints_of(found, hung)
    assert len(drawn.data("edge")) == edges.total()


# --- what is counted ----------------------------------------------------------------------------------------------


def check_ways(drawn: Drawn, found: Scene) -> None:
    """Every run shows the way of its data, but for those whose pixels all lie in one point."""
    show = found[0].show
    shown = {run for run in show.runs if show.runs[run].hung and show.runs[run].pixels > 1}
    ways = {element.get("data-run") for element in drawn.root.iter(f"{SPACE}g") if element.get("class") == "way"}
    still = {
        run for run in shown if (at := positions(show, show.runs[run])) is not None and np.ptp(at, axis=0).max() == 0
    }
    assert shown - still <= ways <= shown


def centre(element) -> np.ndarray:
    """The middle of a mark for a first pixel."""
    circle = next(element.iter(f"{SPACE}circle"))
    return np.array([float(circle.get("cx")), float(circle.get("cy"))])


def check_places(drawn: Drawn, found: Scene) -> None:
    """First pixels stand where they hang (`patcher.shapes`, held against slow definitions), x and y alike."""
    show = found[0].show
    marks = {
        element.get("data-run"): centre(element)
        for element in drawn.root.iter(f"{SPACE}g")
        if element.get("data-end") == "first"
    }
    flat = [run for run in marks if getattr(show.runs[run], "passes", 1) == 1]  # passes are drawn apart
    known = [(marks[run], at[0]) for run in flat if (at := positions(show, show.runs[run])) is not None]
    rulers = [each for each in drawn.root.iter(f"{SPACE}g") if each.get("class") == "ruler"]
    if len(known) < 2 or len(rulers) != 1:
        return
    paper, metres = (np.array(column) for column in zip(*known, strict=True))
    apart = int(np.argmax(np.hypot(*(metres - metres[0]).T)))
    if np.hypot(*(metres[apart] - metres[0])) < 0.5:
        return
    scale = np.hypot(*(paper[apart] - paper[0])) / np.hypot(*(metres[apart] - metres[0]))
    upright = (metres - metres[0]) * [scale, -scale]
    assert np.abs(paper - paper[0] - upright).max() < 0.05


def check_document(name: str, drawn: Drawn, wide: float) -> None:
    """A drawing stands alone, may be inlined twice, and is legible.

    Source: SVG 2, 2.7 (external references); WCAG 2.2, 1.1.1 (a text alternative); 7 points are 2.47 mm.
    """
    assert drawn.wide == wide
    assert drawn.high <= 240.01, name
    assert drawn.root.get("role") == "img"
    children = list(drawn.root)
    assert [child.tag for child in children[:2]] == [f"{SPACE}title", f"{SPACE}desc"]
    assert all(child.text for child in children[:2])
    for element in drawn.root.iter():
        assert element.tag.removeprefix(SPACE) in {"svg", "title", "desc", "rect", "g", "path", "circle", "text"}
        assert not {"id", "style"} & element.attrib.keys()
        assert not any(key.startswith("on") or "href" in key or "url(" in value for key, value in element.items())
    for text in drawn.texts():
        assert float(text.get("font-size")) >= 2.47
    hues = {element.get(key) for element in drawn.root.iter() for key in ("stroke", "fill")}
    assert hues - {None, "none", "#ffffff", "#595959", "#c8c8c8"} <= COLOUR_BLIND_SAFE


@examples(4, 30)
@example(seed=18993, wide=90.0)  # four runs with no picture under one that has
@given(SHOW_SEEDS, WIDE)
def test_any_show_is_drawn_whole(seed: int, wide: float) -> None:
    # Source: the show file's tables and the patch's starts, read pixel by pixel; and as each check says.
    found = at_random(seed)
    wiring = found[0]
    drawn = {name: Drawn(document) for name, document in all_drawings(found, wide).items()}
    for name, each in drawn.items():
        check_document(name, each, wide)
    check_counts(drawn["show"], found, set(wiring.show.runs))
    check_ways(drawn["show"], found)
    for box in wiring.show.controllers:
        check_counts(drawn[f"box {box}"], found, {run for run in wiring.show.runs if wiring.ports[run][0] == box})
        check_places(drawn[f"box {box}"], found)
    for prop, runs in wiring.show.prop_runs().items():
        check_counts(drawn[f"prop {prop}"], found, set(runs))


def test_the_shipped_show_is_drawn_whole(heron: Scene) -> None:
    # Source: the show file's tables and the patch's starts, read pixel by pixel.
    check_counts(Drawn(show_drawing(*heron)), heron, set(heron[0].show.runs))
    words = Drawn(show_drawing(*heron)).said()
    for run in heron[0].show.runs:
        assert run in words
    for box in ("lockhouse", "gatepost", "weirside", "mooring"):
        assert box in words


LINE = {"shape": "line", "path": [[0.0, 0.0], [9.0, 0.0]], "pixels": 91}


@pytest.mark.parametrize("data_in", ["first", "last"])
def test_arrows_point_from_data_in_to_data_out(data_in: str) -> None:
    # Source: the show file: data enters at the first or the last place drawn, here the left or the right end.
    drawn = Drawn(prop_drawing(*odd(LINE | {"data_in": data_in}), "a"))
    (way,) = [each for each in drawn.root.iter(f"{SPACE}g") if each.get("class") == "way"]
    heads = [points(path.get("d"))[0] for path in way.iter(f"{SPACE}path")]
    assert len(heads) > 3
    for corners in heads:
        # The tip is the corner on the line that is farther from the pair of corners beside the line.
        level = np.mean([y for _, y in corners])
        pair = [x for x, y in corners if abs(y - level) > 0.1]
        tip = max((x for x, y in corners if abs(y - level) <= 0.1), key=lambda x: abs(x - pair[0]))
        assert len(pair) == 2
        assert (tip > pair[0]) == (data_in == "first")


@examples(15, 25)
@given(st.deferred(lambda: GRIDS))
def test_chevrons_point_along_each_line_of_a_grid(grid: dict) -> None:
    # Source: a finger that follows the wiring cell by cell, line after line.
    drawn = Drawn(prop_drawing(*one_grid(grid), "net"))
    order = np.array(walked(grid))
    length = grid["columns"] if grid["lines"] == "rows" else grid["rows"]
    if length == 1 or not drawn.path("chevrons"):
        return
    corners = np.array([c for path in drawn.path("string")[:1] for piece in points(path.get("d")) for c in piece])
    low, high = corners.min(axis=0), corners.max(axis=0)
    across = (high - low) / np.maximum([grid["columns"] - 1, grid["rows"] - 1], 1)
    seen = set()
    for left, tip, right in points(drawn.path("chevrons")[0].get("d")):
        behind = (np.array(left) + np.array(right)) / 2
        way = np.array([tip[0] - behind[0], behind[1] - tip[1]])
        at = [behind[0] - low[0], high[1] - behind[1]]
        axis = 1 if grid["lines"] == "rows" else 0
        line = round(at[axis] / across[axis]) + 1 if across[axis] else 1
        here = order[order[:, axis] == line]
        step = here[1] - here[0]
        assert way @ step > 0.9 * np.hypot(*way) * np.hypot(*step)
        seen.add(line)
    assert seen == set(order[:, 1 if grid["lines"] == "rows" else 0].tolist())


# --- where it stands ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["m", "ft"])
def test_a_ruler_reads_in_the_shows_units(units: str, heron_lock: Path) -> None:
    # Source: heron-lock.toml: the gable's first pixel is at x = −0.3, the eaves' at 7.3, in either unit.
    text = heron_lock.read_text(encoding="utf-8")
    heron_lock.write_text(text.replace("frame_rate = 40", f'units = "{units}"'), encoding="utf-8")
    found = read_show(heron_lock).show
    assert found is not None
    drawn = Drawn(prop_drawing(*scene(wire(found)), "cottage"))
    ticks = [(float(text.get("x")), text.text) for text in drawn.texts() if text.get("class") == "metres"]
    (x0, first), *_, (x1, last) = ticks
    scale = (x1 - x0) / (float(last) - float(first.removesuffix(f" {units}").replace("−", "-")))
    for run, right in (("gable", -0.3), ("eaves", 7.3)):
        (mark,) = [
            each
            for each in drawn.root.iter(f"{SPACE}g")
            if (each.get("data-run"), each.get("data-end")) == (run, "first")
        ]
        read_off = (centre(mark)[0] - x0) / scale + float(first.removesuffix(f" {units}"))
        assert read_off == pytest.approx(right, abs=0.02)


@pytest.mark.parametrize("data_in", ["first", "last"])
def test_taps_edges_and_cuts_stand_at_their_pixels(data_in: str) -> None:
    # Source: 200 pixels evenly spaced over 9 m, so pixel p is (p − 1) · 9 / 199 from data-in; read off the ruler.
    run = LINE | {"pixels": 200, "data_in": data_in, "power_cuts": [120]}
    taps = [{"run": "a", "pixel": pixel, "length": 1.0} for pixel in (1, 50, 131, "last")]
    lamp = {"volts": 12.0, "channel_ma": 1.0, "idle_ma": 0.1, "awg": 18, "pitch": 0.05}
    drawn = Drawn(prop_drawing(*one_box({"a": run}, lamp, taps=taps), "a"))
    ticks = [
        (float(text.get("x")), float(text.text.removesuffix(" m")))
        for text in drawn.texts()
        if text.get("class") == "metres"
    ]
    (x0, first), *_, (x1, last) = ticks

    def pixel(x: float) -> float:
        metres = first + (x - x0) / (x1 - x0) * (last - first)
        return (metres if data_in == "first" else 9 - metres) * 199 / 9 + 1

    told: dict[str, list[tuple[float, float]]] = {"data-feed": [], "data-edge": [], "data-cut": []}
    for mark in drawn.root.iter(f"{SPACE}g"):
        for kind in told.keys() & mark.attrib.keys():
            strokes = [points(path.get("d"))[0] for path in mark.iter(f"{SPACE}path")]
            x = strokes[0][0][0] if kind == "data-feed" else np.mean([x for stroke in strokes for x, _ in stroke])
            told[kind].append((float(mark.get("data-pixel") or mark.get("data-cut")), pixel(float(x))))
    assert sorted(right for right, _ in told["data-feed"]) == [1, 50, 131, 200]
    assert all(at == pytest.approx(right, abs=0.1) for right, at in told["data-feed"])
    # The edge of a universe, and a cut before a pixel, lie half way from the pixel before.
    assert [right for right, _ in told["data-edge"]] == [171]
    assert [right for right, _ in told["data-cut"]] == [120]
    assert all(at == pytest.approx(right - 0.5, abs=0.1) for right, at in told["data-edge"] + told["data-cut"])


def walked(grid: dict) -> list[tuple[int, int]]:
    """The cells of a grid as a finger would follow the data: column and row from 1 at the bottom left."""
    keys = ("columns", "rows", "lines", "turns", "data_in")
    return [(column + 1, row + 1) for column, row in walk(*(grid[key] for key in keys))]


GRIDS = st.fixed_dictionaries({
    "columns": st.integers(1, 30), "rows": st.integers(1, 30), "lines": st.sampled_from(["rows", "columns"]),
    "turns": st.sampled_from(["serpentine", "same-way"]), "data_in": st.sampled_from(CORNERS),
})  # fmt: skip


def one_grid(grid: dict, **more: object) -> Scene:
    """A show of one grid, 3 m wide and 2 m high."""
    run = {"shape": "grid", "area": [[1.0, 1.0], [4.0, 3.0]]} | grid | more
    return one_box({"net": run}, box={"universes": 5000})


@examples(10, 40)
@given(GRIDS)
def test_the_ribbon_of_a_grid_follows_its_wiring(grid: dict) -> None:
    # Source: a finger that follows the wiring cell by cell, line after line.
    drawn = Drawn(prop_drawing(*one_grid(grid), "net"))
    order = walked(grid)
    if len(order) == 1:
        return
    strings = [piece for path in drawn.path("string")[:1] for piece in points(path.get("d"))]
    corners = np.array([corner for piece in strings for corner in piece])
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = [
        (high[0] - low[0]) / max(grid["columns"] - 1, 1) or 1.0,
        (high[1] - low[1]) / max(grid["rows"] - 1, 1) or 1.0,
    ]
    told = [(round((x - low[0]) / scale[0]) + 1, round((high[1] - y) / scale[1]) + 1) for x, y in corners]
    length = grid["columns"] if grid["lines"] == "rows" else grid["rows"]
    ends = [cell for line in range(0, len(order), length) for cell in (order[line], order[line + length - 1])]
    if length == 1:
        assert told == [order[0], order[-1]]
        return
    assert told == ends
    assert len(strings) == (1 if grid["turns"] == "serpentine" else len(ends) // 2)


@examples(10, 40)
@given(GRIDS)
def test_numbers_at_the_ends_of_lines(grid: dict) -> None:
    # Source: a finger that follows the wiring: the count at which it enters and leaves each line.
    drawn = Drawn(prop_drawing(*one_grid(grid), "net"))
    length = grid["columns"] if grid["lines"] == "rows" else grid["rows"]
    count = grid["columns"] * grid["rows"]
    ends = {str(pixel) for line in range(0, count, length) for pixel in (line + 1, line + length)}
    shown = [text.text for text in drawn.texts() if text.get("class") == "line-end"]
    assert len(shown) == len(set(shown))
    assert set(shown) <= ends
    if length > 1 and count > length:
        assert {"1", str(length)} <= set(shown)


@pytest.mark.parametrize("corner", ["bottom-left", "bottom-right", "top-left", "top-right"])
@pytest.mark.parametrize("lines", ["rows", "columns"])
def test_columns_count_from_the_left_and_rows_from_the_bottom(corner: str, lines: str) -> None:
    # Source: the design: x to the right and y up as the audience sees it.
    grid = {"columns": 12, "rows": 8, "lines": lines, "turns": "serpentine", "data_in": corner}
    drawn = Drawn(prop_drawing(*one_grid(grid), "net"))
    columns = [(float(text.get("x")), int(text.text)) for text in drawn.texts() if text.get("class") == "column"]
    rows = [(-float(text.get("y")), int(text.text)) for text in drawn.texts() if text.get("class") == "row"]
    for axis, last in ((columns, 12), (rows, 8)):
        assert axis == sorted(axis)
        assert (axis[0][1], axis[-1][1]) == (1, last)
        assert np.ptp(np.diff([place for place, _ in axis]) / np.diff([number for _, number in axis])) < 0.02


# --- what it says -------------------------------------------------------------------------------------------------


def test_amperes_and_volts_are_those_of_the_power(heron: Scene) -> None:
    # Source: the solved circuit of the show, which test_power holds against sums and ngspice.
    wiring, _, state = heron
    assert state is not None
    words = Drawn(box_drawing(*heron, "lockhouse")).said()
    for run in ("gable", "eaves", "window-left", "window-right"):
        volts = state.volts(run)[-1]
        assert f"{wiring.show.runs[run].pixels} · {volts:.1f} V" in words
    amps = Drawn(show_drawing(*heron)).data("feed", "joint", "amps")
    loads = {load.feed.name: load for load in state.feeds}
    assert len(amps) == sum(len(load.into) for load in loads.values())
    for feed, joint, given_ in amps:
        assert float(given_) == pytest.approx(loads[feed].into[int(joint) - 1], abs=0.0006)


def test_a_far_end_with_too_few_volts_says_what_it_needs() -> None:
    # Source: the show file's min_volts.
    lamp = {"volts": 12.0, "channel_ma": 20.0, "idle_ma": 1.0, "min_volts": 10.0, "awg": 22, "pitch": 0.1}
    run = {"shape": "line", "path": [[0.0, 0.0], [9.9, 0.0]], "pixels": 100}
    found = one_box({"a": run}, lamp, taps=[{"run": "a", "pixel": 1, "length": 1.0}])
    assert found[2] is not None
    assert found[2].volts("a")[-1] < 10
    assert "needs 10 V" in Drawn(prop_drawing(*found, "a")).said()


def test_what_is_not_drawn_is_listed() -> None:
    # Source: the design: hung = false is not up this season; a run without a shape has no picture.
    up = {"shape": "line", "path": [[0.0, 0.0], [1.0, 0.0]], "pixels": 10}
    found = one_box({"up": up, "plain": {"pixels": 10}, "down": {"pixels": 10, "hung": False}})
    for document in (show_drawing(*found), box_drawing(*found, "box")):
        drawn = Drawn(document)
        assert "Not hung this season: down" in drawn.said()
        assert "No place (at) in the file: box" in drawn.said()
        assert "no picture:" in drawn.said()
        assert UNSEEN in " ".join(drawn.said().splitlines())
        assert {run for (run,) in drawn.data("run")} == {"up", "plain"}
    assert "Not hung this season: down" in Drawn(cable_chart(*found, "box")).said()
    assert "Nothing to draw" in Drawn(prop_drawing(*found, "down")).said()
    assert "No picture in the file" not in Drawn(prop_drawing(*found, "up")).said()


# --- the document -------------------------------------------------------------------------------------------------


def test_a_title_is_a_title() -> None:
    # Source: XML 1.0, 2.4: < and & are escaped in text.
    tables = sketch(3)
    title = "<script>alert('a&b')</script>\x0b"
    tables["show"]["title"] = title.replace("\x0b", "")
    found = scene(wired(tables))
    document = show_drawing(*found)
    assert "<script" not in document
    assert Drawn(document).root.find(f"{SPACE}title").text == tables["show"]["title"]


def test_no_colour_without_a_dash_of_its_own(heron: Scene) -> None:
    # Source: WCAG 2.2, 1.4.1: colour is not the only visual means.
    from patcher.drawing.svg import look

    assert len({(look(number).colour, look(number).dash) for number in range(56)}) == 56
    assert len({look(number).dash for number in range(8)}) == 8
    drawn = Drawn(box_drawing(*heron, "mooring"))
    dashes = {}
    for element in drawn.root.iter(f"{SPACE}g"):
        if element.get("class") == "run":
            line, thread = [each for each in element if each.tag == f"{SPACE}path"][:2]
            dashes[element.get("data-port")] = line.get("stroke"), thread.get("stroke-dasharray")
    assert len(set(dashes.values())) == len({dash for _, dash in dashes.values()}) == 4


@pytest.mark.long
@pytest.mark.parametrize("wide", [180.0, 90.0])
def test_the_same_show_is_drawn_the_same(wide: float) -> None:
    # Common practice, no source: a page that did not change has no diff.
    assert pages(wide) == all_drawings(shipped(), wide)


@pytest.mark.long
def test_a_hundred_thousand_pixels() -> None:
    # Source: the plan's own bounds: under 5 MB and 3 s.
    found = shipped("village.toml")
    assert sum(run.pixels for run in found[0].show.runs.values()) == 100_000
    for draw, wide in (
        (show_drawing, 180.0),
        (lambda *scene_, wide: box_drawing(*scene_, "house-03", wide=wide), 90.0),
    ):
        began = time.process_time()
        document = draw(*found, wide=wide)
        assert time.process_time() - began < 3
        assert len(document.encode()) < 5_000_000
        if wide == 180.0:
            drawn = Drawn(document)
            assert len({run for (run,) in drawn.data("run")}) == len(found[0].show.runs)
            assert {box for (box,) in drawn.data("box")} <= set(drawn.said().split("\n"))
    began = time.process_time()
    pages = universe_bars(found[0], found[1])
    assert time.process_time() - began < 3
    assert sum(len(page.encode()) for page in pages) < 5_000_000


# --- odd shows ----------------------------------------------------------------------------------------------------


def odd(run: dict, **more: object) -> Scene:
    return one_box({"a": run}, box=more)


@pytest.mark.parametrize(
    "run",
    [
        {"shape": "line", "path": [[0.0, 0.0], [1.0, 0.0]], "pixels": 1},
        {"shape": "points", "at": [[3.0, 3.0]] * 5},
        {"pixels": 1},
        {"pixels": 1, "lead": 200.0},
        {"shape": "grid", "area": [[0.0, 0.0], [0.2, 15.0]], "columns": 5, "rows": 300, "lines": "columns",
         "turns": "serpentine", "data_in": "bottom-left"},
        *later({"shape": "grid", "area": [[0.0, 0.0], [15.0, 15.0]], "columns": 40, "rows": 300, "lines": "rows",
                "turns": "same-way", "data_in": "top-right"}),
        {"shape": "grid", "area": [[0.0, 0.0], [0.0, 2.0]], "columns": 1, "rows": 30, "lines": "columns",
         "turns": "serpentine", "data_in": "bottom-left"},
        {"shape": "line", "path": [[-1e6, 0.0], [1e6, 1e6]], "pixels": 300},
        {"shape": "line", "path": [[0.0, 0.0], [0.0, 90.0]], "pixels": 300},
        {"shape": "line", "path": [[0.0, 0.0], [1e-6, 0.0]], "pixels": 3},
        {"pixels": 30_000, "nulls": 1000},
    ],
)  # fmt: skip
def test_odd_runs_are_drawn(run: dict) -> None:
    # Common practice, no source: whatever a show file may hold has a drawing.
    for wide, more in ((180.0, {}), (90.0, {"at": [0.0, 0.0]})):
        for name, document in all_drawings(odd(run, **more), wide).items():
            drawn = Drawn(document)
            assert drawn.high <= 240.01
            if not name.startswith("map"):
                assert len(drawn.data("end")) == 2


def test_a_show_with_nothing_in_it() -> None:
    # Common practice, no source: a show that is just begun has drawings too.
    found = one_box({})
    for document in all_drawings(found).values():
        assert Drawn(document).high < 60


def test_what_is_not_there_has_no_drawing(heron: Scene) -> None:
    # Common practice, no source: KeyError, as the docstrings say.
    for draw in (box_drawing, cable_chart, prop_drawing):
        with pytest.raises(KeyError):
            draw(*heron, "nobody")


# --- the legend, and leaders --------------------------------------------------------------------------------------

SIGNS = (
    ("first", ".//*[@data-end='first']"), ("last", ".//*[@data-end='last']"),
    ("way", ".//*[@class='way']/*[@stroke-width='0.2']"),
    ("chevrons", ".//*[@class='chevrons']"), ("pixels", ".//*[@class='pixels']"),
    ("wire", ".//*[@class='run']/*[@class='wire']"),
    ("edge", ".//*[@data-edge]"), ("tap", ".//*[@data-joint]"), ("cut", ".//*[@data-cut]"), ("gap", ".//*[@data-gap]"),
    ("box", ".//*[@class='mark'][@data-box]"), ("null", ".//*[@class='null']"), ("supply", ".//*[@data-supply]"),
    ("string", ".//*[@class='lane']//*[@class='string']"), ("feed", ".//*[@class='feed']/*[@class='wire']"),
)  # fmt: skip
"""Marks by their keys, and where an SVG has them."""


def check_legend(name: str, drawn: Drawn) -> None:
    """Every mark of a drawing stands in its legend, and no other does."""
    keys = [element.get("data-key") for element in drawn.root.iter() if element.get("data-key")]
    assert len(set(keys)) == len(keys), name
    for key, where in SIGNS:
        if key in {"string": "way", "way": "string"} and (key == "way") == name.startswith("chart"):
            continue  # a chart's heads lie among its lines; only a chart has a sample of a string
        assert (key in keys) == (drawn.root.find(where) is not None), (name, key)
    taps = [mark.find(f"{SPACE}path") for mark in drawn.root.iterfind(".//*[@data-joint]")]
    assert {tap.get("fill") for tap in taps} <= {"#000000"}, name
    if not name.startswith("chart"):
        leads = {("booster" if "Z" in after else "lead") for after in lead_marks(drawn)}
        assert leads == {"lead", "booster"} & set(keys), name
    words = drawn.said()
    labels = {kind for element in drawn.root.iter() for kind in (element.get("class") or "").split()[1:]}
    if not name.startswith("chart"):
        assert ("new universe (pixel" in words) == ("edge" in labels), name
        assert ("and its volts" not in words) or "last" in labels, name
        assert ("tap and its current" in words or "tap: feed and current" in words) == ("feed" in labels), name


def lead_marks(drawn: Drawn) -> list[str]:
    """Behind each lead, the outline of a booster where it has one."""
    parts = list(drawn.root)
    found = []
    for place, part in enumerate(parts):
        if part.get("class") == "lead":
            after = parts[place + 1] if place + 1 < len(parts) else part
            is_booster = after.tag.endswith("path") and not after.get("class")
            found.append(after.get("d") if is_booster else "")
    return found


def check_leaders(name: str, drawn: Drawn) -> None:
    """No two leaders cross, and each ends on its own run and not on another's."""
    leaders = [
        (label.get("data-of"), label.get("class"), points(path.get("d"))[0])
        for label in drawn.root.iterfind(".//*[@data-of]")
        for path in label
        if path.get("class") == "leader"
    ]
    for place, (one, _, line) in enumerate(leaders):
        for other, _, second in leaders[place + 1 :]:
            assert not crossing(line, second), (name, one, other)
    lines: dict[str, list] = {}
    for run in drawn.root.iterfind(".//*[@class='run'][@data-run]"):
        for path in run:
            if path.get("class") in ("string", "wire"):
                lines.setdefault(run.get("data-run"), []).extend(points(path.get("d")))
    for of, kind, line in leaders:
        if kind == "label box" or of not in lines:
            continue
        away = {run: min(distance(line[0], piece) for piece in pieces) for run, pieces in lines.items()}
        assert min(away, key=away.get) == of or away[of] <= min(away.values()) + 0.01, (name, of, away)


def crossing(one: list, two: list) -> bool:
    def turn(a: tuple, b: tuple, c: tuple) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    (a, b), (c, d) = one, two
    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


def distance(at: tuple[float, float], piece: list[tuple[float, float]]) -> float:
    """How far a place is from a line of straight pieces."""
    found = [np.hypot(at[0] - piece[0][0], at[1] - piece[0][1])]
    for (x, y), (u, v) in pairwise(piece):
        length = (u - x) ** 2 + (v - y) ** 2
        part = min(1.0, max(0.0, ((at[0] - x) * (u - x) + (at[1] - y) * (v - y)) / length)) if length else 0.0
        found.append(np.hypot(at[0] - x - part * (u - x), at[1] - y - part * (v - y)))
    return float(min(found))


def check_names(name: str, drawn: Drawn) -> None:
    """Every run that is drawn is named beside it or under the drawing; what is left out is counted."""
    runs = {run.get("data-run") for run in drawn.root.iterfind("./*[@class='run']")}
    named = {label.get("data-of") for label in drawn.root.iterfind("./*[@class='label run']")}
    says = " ".join(text.text for text in drawn.texts() if text.get("class") == "says")
    if "Runs are named in" in says or re.search(r"and \d+ more", says):
        return
    assert [run for run in runs - named if len(run) < 30 and run not in says] == [], name


def check_signs(drawings: dict[str, str]) -> None:
    for name, document in drawings.items():
        if name.startswith("map"):
            continue
        drawn = Drawn(document)
        check_legend(name, drawn)
        if not name.startswith("chart"):
            check_leaders(name, drawn)
            check_names(name, drawn)
        assert re.search(r"\b1 labels", drawn.said()) is None


@examples(3, 40)
@example(seed=320, wide=180.0)  # a grid's name beyond its numbers, with another run between
@given(SHOW_SEEDS, WIDE)
def test_legends_have_the_marks_that_are_drawn_and_leaders_end_on_their_own_run(seed: int, wide: float) -> None:
    # Source: the elements of the SVG; geometry by a second, slow definition
    check_signs(all_drawings(at_random(seed), wide))


@pytest.mark.parametrize("wide", [*later(180.0), 90.0])
def test_legends_and_leaders_of_the_shipped_show(wide: float) -> None:
    # Found in use: on the phone two names read as exchanged, for their leaders ended on each other's run
    check_signs(pages(wide))
    for name, document in pages(wide).items():
        # Source: the design: what a colour stands for, a box or a port, is said in words on each page
        drawn = Drawn(document)
        ports = {run.get("data-port") for run in drawn.root.iterfind("./*[@class='run']")}
        words = {f"box {port.partition('/')[0]}" if name == "show" else f"port {port}" for port in ports}
        assert words <= set(drawn.said().splitlines()), name


def test_the_phone_says_which_names_found_no_space(heron: Scene) -> None:
    # Source: the paper's drawing, in which every run that is drawn has a name or a note
    night = Drawn(night_drawing(show_drawing(*heron, wide=90.0)))
    runs = {run.get("data-run") for run in night.root.iterfind("./*[@class='run']")}
    boxes = {mark.get("data-box") for mark in night.root.iterfind("./*[@class='mark']")} - {None}
    named = {label.get("data-of") for label in night.root.iterfind("./*[@data-of]")}
    assert len(runs) == 14
    told = " ".join(text.text for text in night.texts() if text.get("class") == "unnamed")
    assert set(re.findall(r"[\w-]+", told.partition(": ")[2])) - {"box"} == (runs | boxes) - named


# --- no label over another ----------------------------------------------------------------------------------------

_MEASURE = """() => [...document.querySelectorAll('svg')].map(svg => {
  const whole = svg.getBoundingClientRect(), scale = whole.width / svg.viewBox.baseVal.width;
  return [...svg.querySelectorAll('text')].map(text => {
    const at = text.getBoundingClientRect();
    return [text.textContent, (at.left - whole.left) / scale, (at.top - whole.top) / scale,
            (at.right - whole.left) / scale, (at.bottom - whole.top) / scale, text.hasAttribute('transform')];
  });
})"""


def measured(drawings: dict[str, str], folder: Path) -> dict[str, list[tuple]]:
    """Where Chromium puts every text of some drawings, in millimetres."""
    sync_api = pytest.importorskip("playwright.sync_api")
    page_file = folder / "page.html"
    page_file.write_text("<meta charset=utf-8><body>" + "\n".join(drawings.values()), encoding="utf-8")
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        page = browser.new_page()
        page.goto(page_file.as_uri())
        found = page.evaluate(_MEASURE)
        browser.close()
    return dict(zip(drawings, found, strict=True))


def overlaps(drawings: dict[str, str], folder: Path) -> list[str]:
    """Texts that lie over each other, and texts outside their drawing."""
    wrong = []
    for name, texts in measured(drawings, folder).items():
        drawn = Drawn(drawings[name])
        trimmed = []
        for text, left, top, right, bottom, turned in texts:
            # What is measured has room for accents above and tails below every letter; a sixth of it on each side.
            across, down = ((right - left) / 6, 0.0) if turned else (0.0, (bottom - top) / 6)
            trimmed.append((text, left + across, top + down, right - across, bottom - down))
            if left < -0.1 or top < -0.1 or right > drawn.wide + 0.1 or bottom > drawn.high + 0.1:
                wrong.append(f"{name}: {text!r} is outside")
        for place, (text, left, top, right, bottom) in enumerate(trimmed):
            wrong += [
                f"{name}: {text!r} over {other!r}"
                for other, left2, top2, right2, bottom2 in trimmed[place + 1 :]
                if min(right, right2) - max(left, left2) > 0.05 and min(bottom, bottom2) - max(top, top2) > 0.05
            ]
    return wrong


@pytest.mark.parametrize("wide", [*later(180.0), 90.0])
def test_no_label_lies_over_another(wide: float, tmp_path: Path) -> None:
    # Judge: Chromium, which measures every text in its own font.
    assert overlaps(pages(wide), tmp_path) == []


@pytest.mark.long
@pytest.mark.parametrize("wide", [180.0, 90.0])
def test_no_label_lies_over_another_on_random_shows(wide: float, tmp_path: Path) -> None:
    # Judge: Chromium, which measures every text in its own font.
    drawings = {
        f"{seed} {name}": text for seed in range(12) for name, text in all_drawings(at_random(seed, 12), wide).items()
    }
    assert overlaps(drawings, tmp_path) == []


def test_sizes_of_print_and_phone() -> None:
    # Source: 1 pt = 1/72 in; a phone 360 pixels wide shows 90 mm at 4 pixels a millimetre.
    for wide in (180.0, 90.0):
        for document in pages(wide).values():
            head = re.match(r"<svg [^>]*>", document)[0]
            assert f'width="{wide:g}mm"' in head
            assert min(float(text.get("font-size")) for text in Drawn(document).texts()) * 72 / 25.4 >= 7
