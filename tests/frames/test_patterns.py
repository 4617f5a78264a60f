"""The patterns, against slow definitions written from the design, pixel by pixel; and what pixels show of them."""

import re
from itertools import groupby, pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher.errors import PatcherError
from patcher.faults import Built, build, parse
from patcher.frames import patterns, still_patterns
from patcher.frames.levels import levels
from patcher.frames.looks import COLOURS, Look
from patcher.frames.looks import colour as colour_of
from patcher.frames.pattern_choice import named
from patcher.frames.request import LEAST_EVERY, SEEN, Asked, PatternName
from patcher.patch.patch import Patch, Start
from patcher.patch.thing import Thing, find, whole_show
from patcher.placement.allocation import allocate
from patcher.wiring import Wiring
from patcher.yard.yard import Yard, differences
from rig.examples import examples, later
from rig.grid_walk import CORNERS, walk
from rig.heron_lock import heron
from rig.levels_pencil import ORDERS, box_of, data_order, pencil, shows, size
from rig.one_run import show_file, string
from rig.shipped import Patcher, laid
from rig.yard_process import a_yard, colours_of, document
from rig.yard_show import one_grid, send

Lamp = tuple[str, int]
slow = examples(8, 20)


def whole(tables: dict) -> tuple[Wiring, Patch, Thing]:
    """A show of these tables with its patch, and all of it as a thing."""
    wiring, patch = laid(tables)
    return wiring, patch, whole_show(wiring)


GREEN, BLUE, YELLOW = {"G": 1.0}, {"B": 1.0}, {"R": 1.0, "G": 1.0}


def white(order: str, level: float = 1.0) -> dict[str, float]:
    """Source: README: white is a pixel's own white where it has one, else its red, green and blue together."""
    return {"W": level} if "W" in order else dict.fromkeys("RGB", level)


def shown(tables: dict, wiring: Wiring, patch: Patch, look: Look) -> dict[Lamp, dict[str, float]]:
    """What each pixel of the yard shows of a look, dark channels left out, parts of full."""
    yard = Yard(wiring, patch, Built())
    send(yard, wiring, patch, look)
    return lamps_of(tables, yard)


def lamps_of(tables: dict, yard: Yard) -> dict[Lamp, dict[str, float]]:
    return {
        (run, number): {
            letter: value / 255 for letter, value in zip(ORDERS[table["pixel"]], lamp.tolist(), strict=True) if value
        }
        for run, table in tables["run"].items()
        for number, lamp in enumerate(yard.pixels[run], start=1)
    }


def same(lamp: dict[str, float], wanted: dict[str, float]) -> bool:
    """Equal but for the rounding to 255 steps."""
    letters = {letter for letter, part in wanted.items() if part > 0.002}
    return lamp.keys() == letters and all(abs(lamp[letter] - wanted[letter]) < 0.002 for letter in letters)


# --- steady, primaries, dot, ports --------------------------------------------------------------------------------


@slow
@given(shows(most=25))
def test_a_dot_lights_each_lamp_once_in_data_order_and_says_which(tables: dict) -> None:
    # Source: the design: a run is a chain in data order; columns count from the left, rows from the bottom.
    _, patch, _ = show = whole(tables)
    where = pencil(tables, patch)
    pattern = patterns.dot(*show, COLOURS["green"])
    wanted = data_order(tables)
    assert pattern.steps == len(wanted)
    for step, (run, pixel) in enumerate(wanted):
        look = pattern.look(step)
        (glow,) = look.glows
        assert (glow.run, glow.pixels.tolist(), glow.colour.name) == (run, [pixel - 1], "green")
        (says,) = look.says
        words = says.replace(",", " ").split()
        universe, channel = where[run, pixel]
        assert words[:3] == ["green:", f"{run}/{pixel}", f"{universe}/{channel}"]
        table = tables["run"][run]
        if "columns" in table:
            column, row = (place + 1 for place in walk(**table)[pixel - 1])
            assert (words[words.index("column") + 1], words[words.index("row") + 1]) == (str(column), str(row))
        else:
            assert "column" not in words
        tees = [name for name, other in tables["run"].items() if other.get("same_data_as") == run]
        assert [word for word in words[3:] if "/" in word] == [f"{tee}/{pixel}" for tee in tees]


@slow
@given(shows(most=25))
def test_primaries_show_every_channel_of_every_lamp_once_and_end_dark(tables: dict) -> None:
    # Source: the design: `primaries`: each colour of a chip must be seen on its own to prove the colour order.
    pattern = patterns.primaries(*whole(tables))
    seen: list[tuple[str, int, str]] = []
    for step in range(pattern.steps):
        for glow in pattern.look(step).glows:
            order = ORDERS[tables["run"][glow.run]["pixel"]]
            lit = [letter for letter, part in zip(order, glow.colour.on(order), strict=True) if part]
            assert len(lit) == (step < pattern.steps - 1)
            seen += [(glow.run, int(pixel) + 1, letter) for pixel in glow.pixels for letter in lit]
    wanted = [(run, n, letter) for run, n in data_order(tables) for letter in ORDERS[tables["run"][run]["pixel"]]]
    assert sorted(seen) == sorted(wanted)
    assert pattern.flashes


@slow
@given(shows(most=5))
def test_ports_have_colours_of_their_own(tables: dict) -> None:
    # Source: the design: `ports`, by which a person proves which lead is in which socket.
    pattern = patterns.ports(*whole(tables))
    check_ports(tables, pattern)


def test_the_words_for_ports_say_that_two_boxes_show_the_same_colours() -> None:
    # Judge: the pattern itself on two boxes of one port each
    boxes = {f"box-{n}": {"address": f"192.0.2.{n}", "ports": 1, "port": {"1": [f"run-{n}"]}} for n in (1, 2)}
    runs = {f"run-{n}": {"pixel": "bulb", "pixels": 2} for n in (1, 2)}
    tables = {
        "show": {"title": "two"}, "pixel": {"bulb": {"colour_order": "RGB"}}, "controller": boxes, "run": runs,
    }  # fmt: skip
    says = patterns.ports(*whole(tables)).look(0).says
    assert len({words.partition(":")[0] for words in says}) == 1
    assert "each port of a box its own colour" in SEEN[PatternName.ports]


def check_ports(tables: dict, pattern: patterns.Pattern) -> None:
    lit: list[tuple[str, int]] = []
    for step in range(pattern.steps):
        look = pattern.look(step)
        colour_of: dict[tuple[str, str], set[str]] = {}
        for glow in look.glows:
            box = box_of(tables, glow.run)
            ports = tables["controller"][box]["port"]
            port = next(port for port, chain in ports.items() if glow.run in chain)
            colour_of.setdefault((box, port), set()).add(glow.colour.name)
            lit += [(glow.run, int(pixel) + 1) for pixel in glow.pixels]
        assert all(len(names) == 1 for names in colour_of.values())
        for box in {box for box, _ in colour_of}:
            names = [min(own) for (other, _), own in colour_of.items() if other == box]
            assert len(set(names)) == len(names)
        said = {tuple(line.split(" ")[:2]) for line in look.says}
        assert said == {(f"{min(names)}:", f"{box}/{port}") for (box, port), names in colour_of.items()}
    assert sorted(lit) == sorted(data_order(tables))


@pytest.mark.parametrize("count", [6, 7, 12, 13])
def test_a_box_of_many_ports_takes_turns(count: int) -> None:
    # Source: as above; an eye tells few colours apart from afar, so a box of many ports shows them in turns.
    chains = {str(port + 1): [f"run-{port}"] for port in range(count)}
    tables = string(1, ports=count, port=chains)
    tables["run"] = {run: {"pixel": "rgb", "pixels": 2} for (run,) in chains.values()}
    pattern = patterns.ports(*whole(tables))
    check_ports(tables, pattern)
    assert all(pattern.look(step).glows for step in range(pattern.steps)), "a turn in which nothing is lit"


@examples(20, 40)
@given(
    st.fixed_dictionaries({
        "columns": st.integers(1, 9), "rows": st.integers(1, 9), "lines": st.sampled_from(("rows", "columns")),
        "turns": st.sampled_from(("serpentine", "same-way")), "data_in": st.sampled_from(CORNERS),
    }),
    st.sampled_from(("rows", "columns")),
)  # fmt: skip
def test_a_sweep_goes_line_by_line_and_lights_each_lamp_once(grid: dict, by: str) -> None:
    # Source: the design: grid; columns from the left and rows from the bottom, whatever the wiring.
    area = [[0.0, 0.0], [float(grid["columns"] > 1), float(grid["rows"] > 1)]]
    wiring, patch = laid(one_grid(grid | {"area": area}))
    pattern = patterns.sweep(wiring, patch, find("wall", wiring, patch), COLOURS["blue"], by)
    assert pattern.steps == grid[by]
    for step in range(pattern.steps):
        look = pattern.look(step)
        (glow,) = look.glows
        wanted = [n for n, (column, row) in enumerate(walk(**grid)) if (row if by == "rows" else column) == step]
        assert sorted(glow.pixels.tolist()) == wanted
        assert f"{by[:-1]} {step + 1} from the" in look.says[0]
        assert f"wall ({len(wanted)} pixels)" in look.says[0]


def test_a_prop_with_a_tee_is_walked_once() -> None:
    # Source: the design: a tee has no channels of its own; no two steps of a dot may be the same frame.
    tables = string(3)
    tables["run"]["far"] = tables["run"]["line"] | {"same_data_as": "line"}
    wiring, patch = laid(tables | {"prop": {"rails": {"runs": ["line", "far"]}}})
    pattern = patterns.dot(wiring, patch, find("rails", wiring, patch), COLOURS["white"])
    frames = [levels(pattern.look(s), wiring, patch, [1], 1.0).slots.tobytes() for s in range(pattern.steps)]
    assert len(set(frames)) == len(frames) == 3


# --- milestones ---------------------------------------------------------------------------------------------------


def milestone(order: str, number: int, every: int, first: int = 1, last: int = 1 << 30) -> dict[str, float]:
    """Source: the design: each ten one lit pixel, each fifty two side by side, each hundred three; the rest dark."""
    for width, times in ((1, 1), (2, 5), (3, 10)):
        for at in range(number, number + width):
            if at % (every * times) == 0 and first <= number <= at <= last:
                return white(order)
    return {}


@slow
@given(shows(most=130), st.integers(4, 12))
def test_milestones_are_counted_from_the_data_in_of_each_run_and_said(tables: dict, every: int) -> None:
    # Source: as above; pixels count from 1 in data order, in every run anew. What is said is what is lit.
    wiring, patch, _ = show = whole(tables)
    pattern = still_patterns.milestones(*show, COLOURS["white"], every)
    assert pattern.steps == 1
    lit: dict[str, set[int]] = {run: set() for run in tables["run"]}
    for (run, number), lamp in shown(tables, wiring, patch, pattern.look(0)).items():
        order, last = ORDERS[tables["run"][run]["pixel"]], size(tables["run"][run])
        assert same(lamp, milestone(order, number, every, last=last)), (run, number)
        lit[run] |= {number} if lamp else set()
    lines = pattern.look(0).says
    assert [line.split(" ")[0] for line in lines] == list(dict.fromkeys(run for run, _ in data_order(tables)))
    for line in lines:
        run, said = line.split(" ")[0], set()
        for word, width in (("one", 1), ("two", 2), ("three", 3)):
            for places in re.findall(rf"{word} at ([^;]*);", line):
                for place in re.findall(r"[0-9–]+", places):
                    ends = [int(number) for number in place.split("–")]
                    assert ends[-1] - ends[0] + 1 == width
                    said |= set(range(ends[0], ends[-1] + 1))
        assert said <= lit[run]
        assert said == lit[run] or "…" in line
        assert line.endswith("the rest dark")
        # Source: found by a reader: "one at 10, 20, 30 … 60; two at 49–50" seemed to say both of 50
        assert ("one at the other multiples" in line) == bool(re.search(r"one at [^;]*…", line))
        tees = [name for name, other in tables["run"].items() if other.get("same_data_as") == run]
        assert all(f"(and {tee})" in line for tee in tees)


@pytest.mark.parametrize("every", range(LEAST_EVERY, 13))
def test_no_two_milestones_run_together(every: int) -> None:
    # Source: the design: the count shows by width alone, so a dark pixel stands between any two marks.
    lit = [bool(milestone("RGB", number, every)) for number in range(1, 25 * every)]
    assert max(len(list(group)) for on, group in groupby(lit) if on) == 3


@pytest.mark.parametrize("colour", ["red", "#ff8000", "white"])
def test_milestones_have_the_colour_that_is_asked_for(colour: str) -> None:
    # Source: the design: in --colour; pixels that cannot show it light all that they have.
    for order, wanted in (("RGB", colour_of(colour).on("RGB")), ("W", [1.0])):
        tables = string(10)
        tables["pixel"]["rgb"]["colour_order"] = order
        (glow,) = still_patterns.milestones(
            *whole(tables), colour_of(colour)
        ).look(0).glows  # fmt: skip
        assert glow.pixels.tolist() == [9]
        assert glow.colour.on(order) == wanted


def test_milestones_of_a_part_of_a_run_keep_the_numbers_of_the_run() -> None:
    # Source: the design: RUN/FIRST-LAST are pixels of the run, numbered from its data-in.
    tables = string(120)
    wiring, patch = laid(tables)
    for first, last in ((37, 104), (50, 99), (99, 100)):
        part = find(f"line/{first}-{last}", wiring, patch)
        look = still_patterns.milestones(wiring, patch, part, COLOURS["white"]).look(0)
        for (_, number), lamp in shown(tables, wiring, patch, look).items():
            assert same(lamp, milestone("RGB", number, 10, first, last)), number


# --- edges --------------------------------------------------------------------------------------------------------


@slow
@given(shows(most=400))
def test_edges_are_where_the_universe_changes(tables: dict) -> None:
    # Source: the design: colours change at each universe; here the first pixel of each is white, too.
    wiring, patch, _ = show = whole(tables)
    where = pencil(tables, patch)
    pattern = still_patterns.edges(*show)
    assert pattern.steps == 1
    look = pattern.look(0)
    lamps = shown(tables, wiring, patch, look)
    together: dict[tuple[str, int], list[int]] = {}
    for (run, number), (universe, _) in where.items():
        together.setdefault((run, universe), []).append(number)
    of_universe: dict[tuple[int, bool], dict[str, float]] = {}
    for (run, universe), numbers in together.items():
        order = ORDERS[tables["run"][run]["pixel"]]
        coloured = set("RGB") <= set(order)
        if len(numbers) > 1:
            assert same(lamps[run, numbers[0]], white(order))
        for number in numbers[1:] or numbers:
            lamp = lamps[run, number]
            assert lamp
            assert not same(lamp, white(order))
            assert of_universe.setdefault((universe, coloured), lamp) == lamp
        line = next(line for line in look.says if line.split(": ")[1].startswith(f"{box_source(tables, run)} "
                    f"{numbers[0]}–{numbers[-1]}, universe {universe}, "))  # fmt: skip
        assert f", from {universe}/{where[run, numbers[0]][1]}" in line
        assert (f"{box_source(tables, run)}/{numbers[0]} itself" in line) is (len(numbers) > 1)
        name = line.split(":")[0]
        assert not coloured or lamp == {letter: 1.0 for letter in "RGBW" if COLOURS[name].parts.get(letter)}
    for (universe, coloured), lamp in of_universe.items():
        assert lamp != of_universe.get((universe + 1, coloured))


def box_source(tables: dict, run: str) -> str:
    """A tee is lit, and told, with its run."""
    return tables["run"][run].get("same_data_as", run)


@examples(20, 40)
@given(st.lists(st.integers(2, 500), min_size=1, max_size=4), st.sampled_from(("fresh", "follow", "whole")), st.data())
def test_a_start_that_is_off_shows_at_its_first_lamps(lengths: list[int], placement: str, data: st.DataObject) -> None:
    # Source: the design: a wrong start shows at once: a box typed one universe or three channels off lights
    # otherwise, and of its first two pixels one is wrong.
    ports = {str(n + 1): [f"run-{n}"] for n in range(len(lengths))}
    tables = string(1) | {"run": {f"run-{n}": {"pixel": "rgb", "pixels": size} for n, size in enumerate(lengths)}}
    tables["controller"]["box"] |= {"ports": len(lengths), "port": ports}
    tables["show"] |= {"first_universe": 9, "placement": placement}
    wiring, patch, _ = show = whole(tables)
    look = still_patterns.edges(*show).look(0)
    wrong = data.draw(st.integers(0, len(lengths) - 1))
    universes, channels = data.draw(st.sampled_from([(1, 0), (-1, 0), (0, 3), (0, -3)]))
    start = patch.starts[wrong]
    assume(start.channel + channels >= 1)
    typed = list(patch.starts)
    typed[wrong] = Start(start.chain, start.universe + universes, start.channel + channels)
    yard = Yard(wiring, Patch(tuple(typed)), Built())
    send(yard, wiring, patch, look)  # to the universes of the plan
    (found,) = [one for one in differences(look, 1.0, wiring, yard) if one.run == f"run-{wrong}"]
    assert {1, 2} & {*found.missing, *found.extra, *found.odd}


def test_edges_of_a_part_mark_no_edge_that_is_none() -> None:
    # Source: the design: 170 RGB pixels a universe: pixel 171 is the first of the next.
    tables = string(400)
    wiring, patch = laid(tables)
    look = still_patterns.edges(wiring, patch, find("line/100-200", wiring, patch)).look(0)
    lamps = shown(tables, wiring, patch, look)
    assert [number for (_, number), lamp in lamps.items() if same(lamp, white("RGB"))] == [171]
    assert [number for (_, number), lamp in lamps.items() if lamp] == list(range(100, 201))
    assert [line.split(": ")[1].split(", ")[:3] for line in look.says] == [
        ["line 100–170", "universe 1", "from 1/298"], ["line 171–200", "universe 2", "from 2/1"]
    ]  # fmt: skip


# --- ends ---------------------------------------------------------------------------------------------------------

SHORT = {1: [1], 2: [1], 3: [1], 4: [1, 3, 4], 5: [1, 3, 4, 5]}


@slow
@given(shows(most=30))
def test_ends_light_one_lamp_at_the_data_in_and_three_at_the_other_end(tables: dict) -> None:
    # Source: the design: white: one pixel at the data-in end, three at the other; shorter runs by the table above.
    wiring, patch, _ = show = whole(tables)
    pattern = still_patterns.ends(*show, COLOURS["white"])
    assert pattern.steps == 1
    look = pattern.look(0)
    for (run, number), lamp in shown(tables, wiring, patch, look).items():
        last = size(tables["run"][run])
        lit = number in SHORT.get(last, [1, last - 2, last - 1, last])
        assert same(lamp, white(ORDERS[tables["run"][run]["pixel"]]) if lit else {}), (run, number, last)
    for run in {run for run, _ in data_order(tables)}:
        last = size(tables["run"][run])
        (line,) = [line for line in look.says if line.startswith(f"white: {run}/1 at the data-in end")]
        assert (f"{run} {max(3, last - 2)}–{last} at the other end" in line) is (last > 3)


@pytest.mark.parametrize("pixels", [1, 2, 3, 4, 5, 6, 7, 50, 171])
def test_a_run_that_hangs_the_wrong_way_round_has_other_ends(pixels: int) -> None:
    # Source: the design: ends; the design: reversed: the data enters at its other end. One pixel has one end.
    wiring, patch, _ = show = whole(string(pixels))
    look = still_patterns.ends(*show, COLOURS["white"]).look(0)
    yard = Yard(wiring, patch, build(wiring, [parse("reversed:line", wiring)]))
    send(yard, wiring, patch, look)
    assert bool(differences(look, 1.0, wiring, yard)) is (pixels > 1)


@pytest.mark.parametrize(
    ("path", "data_in", "sides"),
    [
        ([[0, 0], [4, 1]], "first", ("left", "right")),
        ([[0, 0], [4, 1]], "last", ("right", "left")),
        ([[0, 3], [1, 0]], "first", ("top", "bottom")),
        ([[0, 0], [0, 2]], "first", ("bottom", "top")),
    ],
)
def test_ends_say_on_which_side_each_is(path: list, data_in: str, sides: tuple[str, str]) -> None:
    # Source: the design: x to the right and y up as the audience sees it.
    tables = string(9)
    path = [[float(place) for place in point] for point in path]
    tables["run"]["line"] |= {"shape": "line", "path": path, "data_in": data_in}
    (line,) = still_patterns.ends(*whole(tables), COLOURS["white"]).look(0).says
    assert line == f"white: line/1 at the data-in end ({sides[0]}), line 7–9 at the other end ({sides[1]})"


@pytest.mark.parametrize(("data_in", "sides"), [("first", ("left", "right")), ("last", ("right", "left"))])
@pytest.mark.parametrize(("first", "last"), [(1, 50), (30, 60), (60, 101), (7, 7), (7, 9)])
def test_the_ends_of_a_part_are_called_so_and_their_sides_are_its_own(
    first: int, last: int, data_in: str, sides: tuple[str, str]
) -> None:
    # Source: found in use: "towpath 48–50 at the other end (left)", though 50 is in the middle of the run
    tables = string(101)
    tables["run"]["line"] |= {"shape": "line", "path": [[0.0, 0.0], [4.0, 1.0]], "data_in": data_in}
    wiring, patch, _ = whole(tables)
    part = find(f"line/{first}-{last}", wiring, patch)
    (line,) = still_patterns.ends(wiring, patch, part, COLOURS["white"]).look(0).says
    near, far = (f" (at their {side})" if last > first else "" for side in sides)
    assert line.startswith(f"white: line/{first} where these pixels begin{near}")
    assert (f"line {last - 2}–{last} where they end{far}" in line) is (last - first > 3)
    assert "data-in" not in line
    assert "other end" not in line


@pytest.mark.parametrize("order", ["A", "RG", "UV"])
def test_lamps_that_cannot_be_white_show_marks_all_the_same(order: str) -> None:
    # Source: the design: a colour order is any letters; a pixel with neither white nor all of red, green and blue shows
    # marks with all that it has, and the rest dimmer.
    tables = string(24)
    tables["pixel"]["rgb"]["colour_order"] = order
    wiring, patch = laid(tables)
    show = (wiring, patch, whole_show(wiring))
    marks = still_patterns.milestones(*show, COLOURS["white"])
    for pattern, bright, rest in ((marks, {10, 20}, False), (still_patterns.edges(*show), {1}, True)):
        yard = Yard(wiring, patch, Built())
        send(yard, wiring, patch, pattern.look(0))
        lamps = yard.pixels["line"]
        assert lamps.all() or not rest
        assert {number for number, lamp in enumerate(lamps, start=1) if (lamp == 255).all()} == bright
        assert "white" not in pattern.look(0).says[0]


# --- sweep by position --------------------------------------------------------------------------------------------

MIXED = {
    "show": {"title": "mixed"}, "pixel": {"rgb": {"colour_order": "RGB"}},
    "controller": {"box": {"address": "192.0.2.1", "ports": 5, "port": {
        "1": ["wall"], "2": ["rail"], "3": ["arch"], "4": ["tree"], "5": ["heap"]}}},
    "run": {
        "wall": {"pixel": "rgb", "shape": "grid", "area": [[1.0, 0.5], [3.0, 2.5]], "columns": 7, "rows": 6,
                 "lines": "columns", "turns": "serpentine", "data_in": "top-right"},
        "rail": {"pixel": "rgb", "shape": "line", "path": [[-1.0, 0.0], [5.5, 0.3]], "pixels": 40, "data_in": "last"},
        "arch": {"pixel": "rgb", "shape": "arch", "feet": [[2.0, 0.0], [6.0, 0.0]], "height": 3.1, "passes": 2,
                 "pixels": 60},
        "tree": {"pixel": "rgb", "shape": "points", "at": [[0.1, 0.2], [0.3, 1.9], [0.2, 2.8], [4.4, 1.1]]},
        "heap": {"pixel": "rgb", "pixels": 12},
    },
}  # fmt: skip


@pytest.mark.parametrize("by", ["x", "y"])
def test_a_sweep_by_position_goes_over_every_prop_as_one_bar(by: str) -> None:
    # Source: the design: x to the right, y up; a strip is a 24th of the way from the first pixel to the last.
    from patcher.shapes import positions  # held against a slow definition in test_shapes.py

    wiring, patch, _ = show = whole(MIXED)
    pattern = patterns.sweep(*show, COLOURS["green"], by)
    axis = "xy".index(by)
    where = {
        (name, number): float(place[axis])
        for name, run in wiring.show.runs.items() if name != "heap"
        for number, place in enumerate(positions(wiring.show, run), start=1)  # type: ignore[arg-type]
    }  # fmt: skip
    low, high = min(where.values()), max(where.values())
    seen: list[Lamp] = []
    last = 0
    for step in range(pattern.steps):
        look = pattern.look(step)
        strip = int(look.says[0].split("strip ")[1].split(" ")[0])
        assert last < strip <= 24
        last = strip
        lit = [lamp for lamp, parts in shown(MIXED, wiring, patch, look).items() if parts]
        edges = (low + (high - low) * (strip - 1) / 24, low + (high - low) * strip / 24)
        assert all(edges[0] - 1e-9 <= where[lamp] <= edges[1] + 1e-9 for lamp in lit)
        assert lit
        assert "dark: heap" in look.says[0]
        seen += lit
    assert sorted(seen) == sorted(where)


@pytest.mark.parametrize("by", ["x", "y"])
def test_the_last_lamp_is_in_the_last_strip(by: str) -> None:
    # Source: arithmetic: 25 pixels a metre apart are 24 strips of a metre; the last strip has both its ends.
    tables = string(25)
    tables["run"]["line"] |= {"shape": "line", "path": [[0.0, 0.0], [24.0, 24.0]]}
    pattern = patterns.sweep(*whole(tables), COLOURS["white"], by)
    # where the pixels stand in floating point, those in between may fall on either side of a border
    lit = [{n for glow in pattern.look(step).glows for n in glow.pixels.tolist()} for step in range(pattern.steps)]
    assert lit[-1] >= {24}
    assert all("strip 25 " not in pattern.look(step).says[0] for step in range(pattern.steps))
    assert sorted(n for own in lit for n in own) == list(range(25))


@examples(20, 40)
@given(st.fixed_dictionaries({
    "columns": st.integers(2, 8), "rows": st.integers(2, 8), "lines": st.sampled_from(("rows", "columns")),
    "turns": st.sampled_from(("serpentine", "same-way")), "data_in": st.sampled_from(CORNERS),
}), st.sampled_from((("rows", "columns"), ("y", "x"))))  # fmt: skip
def test_wrong_turns_break_the_line_of_a_sweep(grid: dict, bars: tuple[str, str]) -> None:
    # Source: the design: sweep: a wrong serpentine breaks the line. Every second line runs back, so a
    # bar across the lines falls apart into two places, mirror images; a bar along the lines stays whole.
    wiring, patch, _ = show = whole(one_grid(grid))
    other = "same-way" if grid["turns"] == "serpentine" else "serpentine"
    passed = walk(**grid)
    for faults, across in (([], None), ([f"turns:wall={other}"], grid["lines"] == "rows")):
        for is_columns, by in enumerate(bars):
            pattern = patterns.sweep(*show, COLOURS["green"], by)
            places = grid["columns" if is_columns else "rows"]
            yard = Yard(wiring, patch, build(wiring, [parse(fault, wiring) for fault in faults]))
            assert pattern.steps == places
            for step in range(places):
                send(yard, wiring, patch, pattern.look(step), sequence=step + 1)
                lit = {passed[n][0 if is_columns else 1] for n in np.flatnonzero(yard.pixels["wall"].any(axis=1))}
                broken = across is not None and across == bool(is_columns)
                assert lit == ({step, places - 1 - step} if broken else {step})


# --- ramp ---------------------------------------------------------------------------------------------------------


@examples(20, 40)
@given(st.floats(0.5, 100), st.floats(0.05, 20), st.sampled_from(sorted(COLOURS)))
def test_a_ramp_goes_evenly_from_dark_to_full_and_back(frames: float, seconds: float, name: str) -> None:
    # Source: the design: 0 to full and back; even means that each frame differs from the next by the same part.
    pattern = patterns.ramp(*whole(string(3, "rgbw")), COLOURS[name], frames, seconds)
    assert pattern.rate == frames
    assert seconds - 1e-6 <= pattern.steps / pattern.rate < seconds + 2 / frames + 1e-6
    parts = []
    for step in range(pattern.steps):
        (glow,) = pattern.look(step).glows
        assert glow.pixels.tolist() == [0, 1, 2]
        now, full = np.array(glow.colour.on("RGBW")), np.array(COLOURS[name].on("RGBW"))
        part = glow.colour.level
        assert now == pytest.approx(full * part)
        parts.append(part)
    half = pattern.steps // 2
    assert pattern.steps == 2 * half
    assert parts == pytest.approx([n / half for n in range(half)] + [1 - n / half for n in range(half)])
    assert (parts[0], parts[half]) == (0.0, 1.0)


def test_a_ramp_by_default_is_smooth_to_the_eye_of_a_chip() -> None:
    # Source: arithmetic: 255 levels up in 4 s at 40 frames a second are 1.6 levels a frame: one or two, never more.
    tables = string(2, "grb")
    wiring, patch, _ = show = whole(tables)
    pattern = patterns.ramp(*show, COLOURS["white"], 40.0)
    looks = [pattern.look(step) for step in range(pattern.steps)]
    slots = [int(levels(look, wiring, patch, [1], 1.0).slots[0, 0]) for look in looks]
    assert (min(slots), max(slots)) == (0, 255)
    assert {abs(after - before) for before, after in pairwise([*slots, slots[0]])} == {1, 2}
    # what is said: each tenth of full once on the way up and once on the way down
    said = [look.says[0].split(", ")[0] for look in looks if look.says]
    up = [f"white at {n}0 %" for n in range(1, 10)]
    assert said == ["dark", *up, "white", *reversed(up)]
    for look, slot in zip(looks, slots, strict=True):
        if look.says and "%" in look.says[0]:
            assert abs(int(look.says[0].split(" ")[2]) / 100 * 255 - slot) <= 2


@pytest.mark.parametrize("name", ["ramp", "edges"])
@pytest.mark.parametrize("sent", [1.0, 0.3, 0.2, 0.02])
@pytest.mark.parametrize("kind", ["rgb", "white"])
def test_percent_that_are_said_are_percent_of_full_on_the_wire(name: str, sent: float, kind: str) -> None:
    # Judge: the slots that are sent. Found in use: at --level 0.2 a ramp said "white at 90 %" where 18 % is sent
    tables = string(40)
    tables["pixel"][tables["run"]["line"]["pixel"]]["colour_order"] = "RGB" if kind == "rgb" else "W"
    wiring, patch, _ = show = whole(tables)
    asked = Asked(PatternName(name), "white", "rows", 10, None, 40.0, step=False, flashing=True, level=sent)
    pattern = named(asked, *show)
    said = 0
    for step in range(pattern.steps):
        look = pattern.look(step)
        for part in re.findall(r"at ([\d.]+) %", " ".join(look.says)):
            slots = levels(look, wiring, patch, [1], sent).slots
            assert np.abs(slots.astype(float) - float(part) / 100 * 255).min() <= 2.6
            assert float(part) <= sent * 100
            said += 1
    assert said or (name, kind) == ("edges", "rgb")


# --- flashing -----------------------------------------------------------------------------------------------------

LUMINANCE = {"R": 0.2126, "G": 0.7152, "B": 0.0722, "W": 1.0, "A": 0.5}
"""From memory: WCAG 2.2, relative luminance; for a white or amber channel, which it does not know, a guess."""


def brightenings(course: list[float]) -> list[int]:
    """At which steps a light that goes on and on like this has clearly grown brighter after it had grown darker.

    Source (from memory): WCAG 2.2, general flash: a pair of opposing changes of a tenth of the maximum.
    """
    most = max(course)
    kept: list[tuple[int, float]] = [(0, course[0])]
    found = []
    for step, value in enumerate(course[1:], start=1):
        if len(kept) > 1 and (value - kept[-1][1]) * (kept[-1][1] - kept[-2][1]) >= 0:
            kept[-1] = (step, value)
        elif abs(value - kept[-1][1]) >= most / 10:
            kept.append((step, value))
            if value > kept[-2][1] and len(kept) > 2:
                found.append(step)
    return found if most else []


def flashes(tables: dict, pattern: patterns.Pattern, seconds: float = 4.0) -> int:
    """The most flashes of any pixel, or of all together, in any one second, told from the looks alone."""
    rounds = max(2, int(np.ceil(seconds * pattern.rate / pattern.steps)) + 1)
    names = {lamp: row for row, lamp in enumerate(data_order(tables))}
    course = np.zeros((len(names) + 1, pattern.steps))
    for step in range(pattern.steps):
        for glow in pattern.look(step).glows:
            order = ORDERS[tables["run"][glow.run]["pixel"]]
            light = sum(LUMINANCE[c] * part for c, part in zip(order, glow.colour.on(order), strict=True))
            for pixel in glow.pixels.tolist():
                course[names[glow.run, pixel + 1], step] = light
    course[-1] = course[:-1].sum(axis=0)
    worst = 0
    for one in np.unique(course, axis=0).tolist():
        at = [step / pattern.rate for step in brightenings(one * rounds)]
        worst = max([worst, *(sum(begin <= other < begin + 1 - 1e-9 for other in at) for begin in at)])
    return worst


def every_pattern(wiring: Wiring, patch: Patch, frames: float = 40.0) -> dict[str, patterns.Pattern]:
    """Each pattern of the whole show at its default rate; sweeps where there is something to sweep."""
    show = (wiring, patch, whole_show(wiring))
    found = {
        "steady": patterns.steady(*show, COLOURS["white"]), "primaries": patterns.primaries(*show),
        "dot": patterns.dot(*show, COLOURS["white"]), "ports": patterns.ports(*show),
        "milestones": still_patterns.milestones(*show, COLOURS["white"]), "edges": still_patterns.edges(*show),
        "ends": still_patterns.ends(*show, COLOURS["white"]), "ramp": patterns.ramp(*show, COLOURS["white"], frames),
    }  # fmt: skip
    if any("grid" in run.shape_name for run in wiring.show.runs.values()):
        found |= {f"sweep {by}": patterns.sweep(*show, COLOURS["white"], by) for by in patterns.SWEEPS}
    return found


@slow
@given(shows(most=12))
def test_no_pattern_flashes_more_than_three_times_a_second_by_default(tables: dict) -> None:
    # From memory: W3C, WCAG 2.2, 2.3.1: no more than three flashes in any one second; here not even of one pixel.
    for name, pattern in every_pattern(*laid(tables)).items():
        assert flashes(tables, pattern) <= 3, name
        assert pattern.flashes <= 3, name


def test_the_heron_lock_does_not_flash_by_default() -> None:
    # Source: as above, on the shipped show; that the number is never too small is proved below.
    from patcher.cli.inputs import load
    from rig.shipped import SHOWS

    wiring = load(SHOWS / "heron-lock.toml")
    found = every_pattern(wiring, allocate(wiring).patch)
    assert len(found) == 12
    assert all(pattern.flashes <= 3 for pattern in found.values())


@examples(20, 60)
@given(shows(most=12), st.floats(0.1, 60), st.data())
def test_what_a_pattern_says_of_its_flashes_is_never_too_few(tables: dict, rate: float, data: st.DataObject) -> None:
    # Source: as above, at any rate; a dot, one pixel by itself, is no large part.
    known = every_pattern(*laid(tables))
    name = data.draw(st.sampled_from(sorted(known.keys() - {"dot"})))
    pattern = known[name].at(rate)
    assert flashes(tables, pattern, 2.0) <= pattern.flashes, name


def test_rows_of_unlike_length_flash() -> None:
    # Source: arithmetic: at 10 steps a second between 9 pixels and 1 the whole grows brighter five times a second.
    at = [[float(x), float(y)] for y in range(24) for x in range(9 if y % 2 else 1)]
    tables = string(1)
    tables["run"]["line"] = {"pixel": "rgb", "shape": "points", "at": at}
    pattern = patterns.sweep(*whole(tables), COLOURS["white"], "y")
    assert pattern.at(10.0).flashes == 5
    assert pattern.at(2.0).flashes <= 3


# --- from the command line to the pixels ---------------------------------------------------------------------------


@pytest.fixture
def show(tmp_path: Path) -> Path:
    runs = {"line": 11, "white": {"pixel": "gwrb", "pixels": 4}, "long": 172}
    art = {"chains": [["long"]], "protocol": "artnet"}
    return show_file(tmp_path / "yard.toml", runs, near={"chains": [["line"], ["white"]]}, art=art)


def wanted_in_the_yard(name: str) -> dict[str, dict[str, float]]:
    """What lights, worked out by hand from the table of patterns; 170 RGB pixels fill a universe."""
    orders = {"line": ("RGB", 11), "white": ("GWRB", 4), "long": ("RGB", 172)}
    every = {(run, n): (order, count) for run, (order, count) in orders.items() for n in range(1, count + 1)}
    if name == "milestones":
        marks = {f"{run}/{n}": milestone(order, n, 5, last=count) for (run, n), (order, count) in every.items()}
        return {place: lamp for place, lamp in marks.items() if lamp}
    if name == "ends":
        return {
            f"{run}/{n}": white(order)
            for (run, n), (order, count) in every.items()
            if n in SHORT.get(count, [1, count - 2, count - 1, count])
        }
    # universes 1, 2 for line and white, 3 and 4 for the long one, one after the other in the colours' order
    colours = {"line": GREEN, "white": BLUE, "long": YELLOW}
    found = {f"{run}/{n}": colours[run] if n > 1 else white(order) for (run, n), (order, _) in every.items()}
    return found | {"long/171": white("RGB"), "long/172": {"R": 1.0, "B": 1.0}}


@pytest.mark.parametrize("name", ["edges", *later("milestones", "ends")])
def test_what_is_sent_lights_in_the_yard(here: Patcher, show: Path, name: str) -> None:
    # Source: the design: send --yard through real sockets to the simulated boxes; the slow definitions above.
    with a_yard(show) as yard:
        document(here("send", name, show, "--every", 5, "--yard", "--seconds", 0.4, "--level", 1, "--json"))
        found = colours_of(yard.end())
    wanted = wanted_in_the_yard(name)
    assert found.keys() == wanted.keys()
    for lamp, colours in found.items():
        (one,) = colours
        assert same({letter: value / 255 for letter, value in one.items() if value}, wanted[lamp]), lamp


@pytest.mark.long
def test_a_ramp_in_the_yard_is_every_level_on_the_way(here: Patcher, show: Path) -> None:
    # Source: arithmetic: up in half a second at 44 frames a second: 22 frames, and as many down.
    with a_yard(show) as yard:
        call = ("--on", "line", "--yard", "--fps", 44, "--rate", 1, "--loops", 1, "--level", 1)
        sent = document(here("send", "ramp", show, *call, "--json"))
        found = colours_of(yard.end())
    assert set(found) == {f"line/{n}" for n in range(1, 12)}
    seen = {colour["R"] for colour in found["line/1"]}
    assert seen == {int(255 * n / 22 + 0.5) for n in range(1, 9)}  # the yard keeps a pixel's first eight colours
    assert sent["frames"] == 44


@pytest.mark.parametrize(
    ("call", "refused"),
    [
        (("ramp", "--rate", 3), False),
        (("ramp", "--rate", 3.5), True),
        (("ramp", "--rate", 3.5, "--flashing"), False),
        (("ramp", "--rate", 10, "--fps", 4), False),
        (("primaries", "--rate", 3), False),
        (("primaries", "--rate", 3.5), True),
        (("dot", "--rate", 50), False),
        (("milestones", "--every", 1), True),
        (("milestones", "--every", 7), False),
    ],
)
def test_what_would_flash_is_refused(here: Patcher, show: Path, call: tuple, refused: bool) -> None:
    # From memory: WCAG 2.2, 2.3.1; the design: exit 2: the call is wrong. At 40 frames a second 3.5
    # ramps of 12 frames are more than three a second; at 4 frames a second there can be two at most.
    name, *options = call
    ran = here("send", name, show, *options, "--dry-run")
    assert (ran.returncode == 2) is refused, ran.stderr
    if refused:
        assert "→" in ran.stderr or "--every" in ran.stderr


def test_a_sweep_that_needs_a_grid_names_the_ways_that_do_not() -> None:
    # Source: found in use: whoever swept a line was told that it needs a grid, and not how to sweep a line
    wiring, patch, _, _ = heron()
    for thing, drawn in (("willow", True), ("hedge", False)):  # a line that is drawn; a run that is not
        with pytest.raises(PatcherError) as refused:
            patterns.sweep(wiring, patch, find(thing, wiring, patch), COLOURS["red"], "rows")
        assert ("--by x" in refused.value.findings[0].remedy) == drawn
    assert patterns.sweep(wiring, patch, find("willow", wiring, patch), COLOURS["red"], "x").steps > 1
