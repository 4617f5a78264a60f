"""Wire against the drawing: what does not reach is said with the distance, and what reaches is not.

The judge is a second, slow sum over the drawing; slack and what is too much are common practice, no source.
"""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.errors import Finding
from patcher.limits.findings import check
from rig.examples import examples
from rig.shipped import wired

RULES = ("lead-reach", "string-length", "feed-reach")


def tables_of(runs: dict, box: dict | None = None, units: str = "m", pitch: float | None = 0.1, **more: dict) -> dict:
    """One box with all runs on port 1, but for tees."""
    pixel = {"colour_order": "RGB"} | ({} if pitch is None else {"pitch": pitch})
    controller = {
        "address": "192.0.2.1",
        "ports": 2,
        "port": {"1": [n for n, r in runs.items() if "same_data_as" not in r]},
    }
    return {
        "show": {"title": "lengths", "units": units}, "pixel": {"lamp": pixel},
        "controller": {"box": controller | (box or {})},
        "run": {name: {"pixel": "lamp"} | run for name, run in runs.items()}, **more,
    }  # fmt: skip


def line(*path: list[float], pixels: int = 11, **more: object) -> dict:
    return {"shape": "line", "path": list(path), "pixels": pixels} | more


def found(tables: dict) -> list[Finding]:
    return [finding for finding in check(wired(tables))[1] if finding.rule in RULES]


def where(tables: dict) -> list[str]:
    return [finding.where for finding in found(tables)]


BOX = {"at": [0.0, 0.0]}


def test_the_lead_that_people_typed() -> None:
    # Source: found in use: a lead of 0.2 m to a corner 1.9 m away was "sound"
    (finding,) = found(tables_of({"a": line([0.0, 1.9], [1.0, 1.9], lead=0.2)}, BOX))
    assert (finding.rule, finding.where, finding.severity) == ("lead-reach", "run.a.lead", "warning")
    assert "0.2 m of lead" in finding.says
    assert "1.9 m from the box box" in finding.says


def test_the_string_that_people_drew() -> None:
    # Source: found in use: 120 pixels of 50 mm pitch on a path of 9.45 m were "sound": 119 × 0.05 m is 5.95 m
    (finding,) = found(tables_of({"a": line([0.0, 0.0], [9.45, 0.0], pixels=120)}, pitch=0.05))
    assert (finding.rule, finding.where) == ("string-length", "run.a")
    assert "9.45 m long" in finding.says
    assert "5.95 m" in finding.says
    assert "does not reach" in finding.says


@pytest.mark.parametrize(
    ("runs", "box", "said"),
    [
        ({"a": line([0.0, 1.0], [1.0, 1.0])}, None, []),  # where the box stands is not said
        ({"a": line([0.0, 0.2], [1.0, 0.2])}, BOX, []),  # within what people measure
        ({"a": line([0.0, 1.0], [1.0, 1.0])}, BOX, ["run.a.lead"]),
        ({"a": line([0.0, 1.0], [1.0, 1.0], lead=0.8)}, BOX, []),
        ({"a": line([0.0, 10.0], [1.0, 10.0], lead=9.1)}, BOX, []),
        ({"a": line([0.0, 10.0], [1.0, 10.0], lead=8.9)}, BOX, ["run.a.lead"]),
        ({"a": line([0.0, 0.1], [1.0, 0.1], lead=40.0)}, BOX, []),  # a cable may lie coiled, or go a long way round
        # from the end of the run before, whichever end its data enters
        ({"a": line([0.0, 0.0], [1.0, 0.0]), "b": line([1.0, 0.1], [2.0, 0.1])}, BOX, []),
        ({"a": line([0.0, 0.0], [1.0, 0.0]), "b": line([1.0, 0.1], [2.0, 0.1], data_in="last")}, BOX, ["run.b.lead"]),
        ({"a": line([0.0, 0.0], [1.0, 0.0], data_in="last", lead=1.0), "b": line([1.0, 0.1], [2.0, 0.1])}, BOX,
         ["run.b.lead"]),
        # a run that is not up, or has no picture, lies between
        ({"a": line([0.0, 0.0], [1.0, 0.0]), "b": line([9.0, 9.0], [8.0, 9.0], hung=False)}, BOX, []),
        ({"a": {"pixels": 11}, "b": line([1.0, 0.0], [2.0, 0.0])}, BOX, []),  # its own metre of wire reaches
        ({"a": {"pixels": 11}, "b": line([2.0, 0.0], [3.0, 0.0])}, BOX, ["run.b.lead"]),
        ({"a": {"pixels": 11, "lead": 1.0}, "b": line([2.0, 0.0], [3.0, 0.0])}, BOX, []),
        # a tee begins somewhere in the lead of its run
        ({"a": line([0.0, 2.0], [1.0, 2.0], lead=2.0), "t": line([0.0, 3.0], [1.0, 3.0], lead=1.0, same_data_as="a")},
         BOX, []),
        ({"a": line([0.0, 2.0], [1.0, 2.0], lead=2.0), "t": line([0.0, 5.0], [1.0, 5.0], lead=1.0, same_data_as="a")},
         BOX, ["run.t.lead"]),
        ({"a": line([0.0, 2.0], [1.0, 2.0], lead=2.0), "t": line([0.0, 9.0], [1.0, 9.0], lead=1.0, same_data_as="a")},
         None, ["run.t.lead"]),
        ({"a": {"pixels": 11, "lead": 2.0}, "t": line([0.0, 3.0], [1.0, 3.0], lead=1.0, same_data_as="a")}, BOX, []),
        ({"a": {"pixels": 11, "lead": 2.0}, "t": line([0.0, 4.0], [1.0, 4.0], lead=1.0, same_data_as="a")}, BOX,
         ["run.t.lead"]),
        # null pixels sit in the lead, and make it no longer
        ({"a": line([0.0, 4.0], [1.0, 4.0], lead=4.0, nulls=1, nulls_at=[2.0])}, BOX, []),
        ({"a": line([0.0, 4.0], [1.0, 4.0], lead=2.0, nulls=1, nulls_at=[2.0])}, BOX, ["run.a.lead"]),
    ],
)  # fmt: skip
def test_leads(runs: dict, box: dict | None, said: list[str]) -> None:
    # Source: the straight line is the shortest way (Euclid, Elements I.20); slack: common practice, no source
    assert where(tables_of(runs, box)) == said


SQUARE = {"shape": "grid", "area": [[0.0, 0.0], [0.9, 0.9]], "columns": 10, "rows": 10, "lines": "rows",
          "turns": "serpentine", "data_in": "bottom-left"}  # fmt: skip


@pytest.mark.parametrize(
    ("run", "pitch", "said"),
    [
        (line([0.0, 0.0], [1.0, 0.0]), 0.1, []),
        (line([0.0, 0.0], [1.0, 0.0]), None, []),
        (line([0.0, 0.0], [9.0, 0.0]), 0.1, ["run.a"]),
        (line([0.0, 0.0], [1.2, 0.0]), 0.1, []),  # within what people measure
        (line([0.0, 0.0], [9.0, 0.0], pixels=101, gaps=list(range(2, 101))), 0.05, []),  # spliced: nothing goes on
        (line([0.0, 0.0], [0.01, 0.0], pixels=1), 0.1, []),
        (line([0.0, 0.0], [0.28, 0.0]), 0.1, []),  # in the holes of a panel
        (line([0.0, 0.0], [1.0, 0.0], pixels=101), 0.5, ["run.a"]),  # 50 m of wire on a metre
        ({"shape": "loop", "corners": [[0, 0], [1, 0], [1, 1], [0, 1]], "pixels": 40}, 0.1, []),
        ({"shape": "loop", "corners": [[0, 0], [1, 0], [1, 1], [0, 1]], "pixels": 20}, 0.1, ["run.a"]),
        ({"shape": "arch", "feet": [[0, 0], [2, 0]], "height": 1.0, "passes": 2, "pixels": 64}, 0.1, []),
        ({"shape": "arch", "feet": [[0, 0], [8, 0]], "height": 4.0, "passes": 2, "pixels": 64}, 0.1, ["run.a"]),
        (SQUARE, 0.1, []),
        (SQUARE, 0.05, ["run.a"]),
        (SQUARE, 0.45, ["run.a"]),
        (SQUARE | {"turns": "same-way"}, 0.1, []),  # each line is joined to the next by a wire of its own
        (SQUARE | {"area": [[0.0, 0.0], [0.9, 9.0]]}, 0.1, []),  # likewise
        (SQUARE | {"area": [[0.0, 0.0], [0.9, 9.0]], "lines": "columns"}, 0.1, ["run.a"]),
        (SQUARE | {"gaps": [3, 4, 50]}, 0.1, []),
        ({"shape": "points", "at": [[0, 0], [0.1, 0], [0.1, 0.1]]}, 0.1, []),
        ({"shape": "points", "at": [[0.05 * n, 0] for n in range(50)] + [[3.5, 0]]}, 0.1, ["run.a"]),
        ({"shape": "points", "at": [[0.05 * n, 0] for n in range(50)] + [[3.5, 0]], "gaps": [50]}, 0.1, []),
        ({"pixels": 400}, 0.1, []),
    ],
)  # fmt: skip
@pytest.mark.parametrize("units", ["m", "ft"])
def test_strings(run: dict, pitch: float | None, said: list[str], units: str) -> None:
    # Source: arithmetic: pixels − 1 times the pitch; slack, and what is too much: common practice, no source
    scale = 1 / 0.3048 if units == "ft" else 1.0

    def scaled(value: object) -> object:
        return [scaled(part) for part in value] if isinstance(value, list) else value * scale  # type: ignore[operator]

    lengths = {
        key: scaled(value) for key, value in run.items() if key in ("path", "corners", "feet", "height", "area", "at")
    }
    tables = tables_of({"a": run | lengths}, units=units, pitch=None if pitch is None else pitch * scale)
    assert where(tables) == said
    assert all(re.search(rf"[\d.]+ {units}\b", finding.says) for finding in found(tables))


FEED = {"supply": {"s": {"volts": 12.0, "amps": 30.0, "box": "box"}}}


def fed(*taps: dict, more: dict | None = None) -> dict:
    runs = {"a": line([1.0, 0.0], [3.0, 0.0], pixels=21, lead=1.0), "plain": {"pixels": 9, "lead": 1.0}}
    feeds = {"f": {"supply": "s", "taps": list(taps)}} | (more or {})
    return tables_of(runs, BOX, **FEED, feed=feeds)


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        (fed({"run": "a", "pixel": 1, "length": 1.0}), []),
        (fed({"run": "a", "pixel": 1, "length": 0.2}), ["feed.f.taps[1].length"]),
        (fed({"run": "a", "pixel": 1, "length": 1.0}, {"run": "a", "pixel": "last", "length": 0.5}),
         ["feed.f.taps[2].length"]),
        (fed({"run": "plain", "pixel": 1, "length": 1.0}, {"run": "a", "pixel": "last", "length": 2.0}), []),
        (fed({"run": "plain", "pixel": 1, "length": 1.0}, {"run": "a", "pixel": "last", "length": 1.0}),
         ["feed.f.taps[2].length"]),
        (fed({"run": "a", "every": 10, "length": 1.0}), []),
        (fed({"run": "a", "every": 10, "length": 0.1}), ["feed.f.taps[1].length"]),
        (fed({"run": "a", "pixel": 1, "length": 1.0},
             more={"g": {"from": "f", "tap": 1, "taps": [{"run": "a", "pixel": 21, "length": 0.5}]}}),
         ["feed.g.taps[1].length"]),
        (fed({"run": "a", "pixel": 1, "length": 1.0},
             more={"g": {"from": "f", "tap": 1, "taps": [{"run": "a", "pixel": 21, "length": 2.0}]}}), []),
    ],
)  # fmt: skip
def test_feeds(tables: dict, said: list[str]) -> None:
    # Source: the straight line is the shortest way; a feed's lengths are one way, from the tap before (`help file`)
    assert where(tables) == said


def test_what_wire_lies_between_is_said() -> None:
    # By hand: a metre to a run with no picture, and as much to one that is drawn
    (finding,) = found(fed({"run": "plain", "pixel": 1, "length": 1.0}, {"run": "a", "pixel": "last", "length": 1.0}))
    assert "with 1 m of other wire between them" in finding.says


@examples(25, 100)
@given(
    st.tuples(st.floats(-9, 9), st.floats(-9, 9)), st.tuples(st.floats(-9, 9), st.floats(-9, 9)), st.floats(0, 20),
    st.sampled_from(["m", "ft"]),
)  # fmt: skip
def test_a_lead_as_long_as_the_way_is_enough_and_half_of_a_long_way_is_not(box, first, extra, units) -> None:
    # Judge: math.dist; a lead that reaches is never complained of, whatever it has to spare
    way = math.dist(box, first)
    run = line(list(first), [first[0] + 1, first[1]])

    def said(lead: float) -> list[str]:
        return where(tables_of({"a": run | {"lead": lead}}, {"at": list(box)}, units, None))

    assert said(way + extra) == []
    if way > 2.0:
        assert said(way / 2) == ["run.a.lead"]


# --- along routes -----------------------------------------------------------------------------------------------------

GUTTER = {"route": {"gutter": {"path": [[0.0, 0.0], [0.0, 4.0], [8.0, 4.0], [8.0, 0.0]]}}}


@pytest.mark.parametrize(
    ("runs", "said"),
    [
        # Source: a pencil: 4 m up, 8 m along, 3 m down are 15 m; straight they are 8.1 m
        ({"a": line([8.0, 1.0], [9.0, 1.0], lead=15.0)}, []),
        ({"a": line([8.0, 1.0], [9.0, 1.0], lead=13.6)}, []),
        ({"a": line([8.0, 1.0], [9.0, 1.0], lead=13.0)}, ["run.a.lead"]),
        ({"a": line([0.5, 0.2], [1.5, 0.2], lead=0.55)}, []),  # a hop
        # from the end of a run: 1 m up, 6 m along, 1 m down
        ({"a": line([1.0, 1.0], [1.0, 3.0], pixels=21, lead=2.0), "b": line([7.0, 3.0], [7.5, 3.0], lead=7.5)}, []),
        ({"a": line([1.0, 1.0], [1.0, 3.0], pixels=21, lead=2.0), "b": line([7.0, 3.0], [7.5, 3.0], lead=6.5)},
         ["run.b.lead"]),
        # over a run that is not drawn nobody knows the way: the straight one is the shortest
        ({"a": {"pixels": 2, "lead": 8.0}, "b": line([8.0, 1.0], [9.0, 1.0], lead=0.5)}, []),
        # a tee's lead begins somewhere along the other: only straight is it sure to be too short
        ({"a": line([8.0, 1.0], [9.0, 1.0], lead=15.0),
          "b": line([5.0, -3.0], [6.0, -3.0], lead=2.0, same_data_as="a")}, []),
    ],
)  # fmt: skip
def test_a_lead_is_held_against_its_way_along_the_routes(runs: dict, said: list[str]) -> None:
    assert where(tables_of(runs, BOX, **GUTTER)) == said


def test_it_is_said_that_a_way_goes_along_the_routes() -> None:
    (finding,) = found(tables_of({"a": line([8.0, 1.0], [9.0, 1.0], lead=9.0)}, BOX, **GUTTER))
    assert "its first pixel is drawn 15 m from the box box along the routes" in finding.says


def test_feeds_stay_straight() -> None:
    tables = fed({"run": "a", "pixel": 1, "length": 1.0})
    assert where(tables | GUTTER) == where(tables)
