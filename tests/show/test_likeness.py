"""Runs and props that are like another: where their pixels are, what they say themselves, and what is wrong."""

import copy
import tomllib
from typing import Any

import numpy as np
import pytest
import tomli_w
from hypothesis import assume, given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from patcher.diagnosis.hypotheses import singles
from patcher.errors import PatcherError
from patcher.faults import Planned, planned
from patcher.placement.allocation import allocate
from patcher.remedies.rewrite import rewritten
from patcher.shapes import positions
from patcher.show.likeness import expanded
from patcher.show.parser import ParsedShow, no_points, read
from patcher.show.schema import json_schema
from patcher.show.text_edits import edited
from patcher.wiring import wire
from rig.any_show import any_show
from rig.examples import examples

GRID = {
    "pixel": "dot", "shape": "grid", "area": [[1.0, 1.0], [4.0, 2.0]], "columns": 7, "rows": 3, "lines": "columns",
    "turns": "serpentine", "data_in": "top-left",
}  # fmt: skip
LINE = {"pixel": "dot", "shape": "line", "path": [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0]], "pixels": 13, "lead": 1.5}


def tables(runs: dict[str, dict], **more: Any) -> dict[str, Any]:
    return {
        "show": {"title": "Trees"}, "pixel": {"dot": {"colour_order": "GRB"}}, "run": runs,
        "controller": {"box": {"address": "192.0.2.1", "ports": 4, "port": {"1": [*runs]}}}, **more,
    }  # fmt: skip


def reading(runs: dict[str, dict], **more: Any) -> ParsedShow:
    return read(tomli_w.dumps(tables(runs, **more)))


def places(found: ParsedShow, run: str) -> np.ndarray:
    """Where pixels are, as complex numbers."""
    assert found.findings == ()
    assert found.show is not None
    at = positions(found.show, found.show.runs[run])
    assert at is not None
    return at @ np.array([1, 1j])


def put(at: np.ndarray, given_places: list, moved: tuple[float, float], mirrored: bool, turned: float) -> np.ndarray:
    """Source: plane geometry with complex numbers: mirrored by the conjugate, turned by multiplying."""
    spots = np.array(given_places, dtype=float)
    middle = complex(*(spots.min(axis=0) + spots.max(axis=0)) / 2)
    away = at - middle
    away = -away.conjugate() if mirrored else away
    return middle + away * np.exp(1j * np.radians(turned)) + complex(*moved)


@examples(40, 400)
@given(
    st.integers(0, 10_000), st.tuples(st.floats(-9, 9), st.floats(-9, 9)), st.booleans(),
    st.one_of(st.sampled_from([0, 90, 180, 270, -90]), st.floats(-80, 80)), st.sampled_from(["m", "ft"]),
)  # fmt: skip
def test_each_pixel_of_a_copy_is_where_that_of_the_other_is_put(
    seed: int, moved: tuple[float, float], mirrored: bool, turned: float, units: str
) -> None:
    # Source: `put`, pixel by pixel, for any shape wherever its data enters
    shows = any_show(seed)
    drawn = {name: run for name, run in shows["run"].items() if "shape" in run}
    assume(drawn)
    name, run = next(iter(drawn.items()))
    if run["shape"] == "grid":
        turned = 90 * round(turned / 90)
    if run["shape"] == "arch":
        assume(abs(turned) < 90)
    key = next(key for key in ("path", "corners", "feet", "area", "at") if key in run)
    other = {"like": name, "moved": list(moved), "mirrored": mirrored, "turned": turned}
    whole = shows | {"run": {name: run, "other": other}, "prop": {}, "show": {"title": "Any", "units": units}}
    whole["controller"] = {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": [name, "other"]}}}
    found = read(tomli_w.dumps(whole))
    unit = {"m": 1.0, "ft": 0.3048}[units]
    meant = put(places(found, name) / unit, run[key], moved, mirrored, turned)
    assert np.abs(places(found, "other") / unit - meant).max() < 1e-9


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turned", [0, 90, 180, 270])
@pytest.mark.parametrize("corner", ["top-left", "bottom-left", "top-right", "bottom-right"])
def test_a_grid_and_its_data_go_along(corner: str, turned: int, mirrored: bool) -> None:
    # Source: `put`
    grid = GRID | {"data_in": corner}
    found = reading({"one": grid, "two": {"like": "one", "turned": turned, "mirrored": mirrored, "moved": [5, 0]}})
    meant = put(places(found, "one"), grid["area"], (5, 0), mirrored, turned)
    assert np.abs(places(found, "two") - meant).max() < 1e-9


@pytest.mark.parametrize("data_in", ["top-right", "bottom-left", "last", 5])
def test_an_outline_is_entered_at_the_same_place(data_in: str | int) -> None:
    # Source: `put`
    ring = {"pixel": "dot", "shape": "loop", "corners": [[0, 0], [4, 0], [4, 3], [0, 3]], "pixels": 44,
            "data_in": data_in}  # fmt: skip
    found = reading({"one": ring, "two": {"like": "one", "turned": 200, "mirrored": True}})
    assert np.abs(places(found, "two") - put(places(found, "one"), ring["corners"], (0, 0), True, 200)).max() < 1e-9


def test_the_parts_of_a_prop_are_turned_about_its_middle() -> None:
    # Source: `put`, with the middle of both
    runs = {"up": LINE, "down": LINE | {"path": [[5.0, -2.0], [8.0, -1.0]]}}
    copies = {f"{name}-2": {"like": name, "about": "tree", "turned": 45, "mirrored": True} for name in runs}
    found = reading(runs | copies, prop={"tree": {"runs": ["up", "down"]}})
    every = [spot for run in runs.values() for spot in run["path"]]
    for name in runs:
        meant = put(places(found, name), every, (0, 0), True, 45)
        assert np.abs(places(found, f"{name}-2") - meant).max() < 1e-9


def test_a_grid_that_is_a_prop_may_be_like_another() -> None:
    # Source: arithmetic
    grid = {key: value for key, value in GRID.items() if key not in ("pixel", "shape")}
    band = {"pixel": "dot", "shape": "band", "of": "wall", "band": [1, 7], "data_in": "top-left"}
    props = {"wall": grid, "wall-2": {"like": "wall", "moved": [10, 0]}}
    found = reading({"band": band, "band-2": {"like": "band", "of": "wall-2"}}, prop=props)
    assert np.abs(places(found, "band-2") - places(found, "band") - 10).max() < 1e-9


def test_what_a_copy_says_itself_stands_and_one_change_to_the_first_changes_all() -> None:
    # Source: the issue: one change to the first changes all, and each may depart
    runs = {"one": LINE, "two": {"like": "one", "moved": [3, 0], "lead": 2.0}, "three": {"like": "two", "pixels": 9}}
    found = reading(runs)
    assert found.show is not None
    two, three = found.show.runs["two"], found.show.runs["three"]
    assert (two.lead, two.pixels, three.lead, three.pixels) == (2.0, 13, 2.0, 9)
    assert places(found, "three")[0] == places(found, "two")[0] == 3
    changed = reading(runs | {"one": LINE | {"pixels": 30, "path": [[1.0, 0.0], [2.0, 0.0]]}})
    assert changed.show is not None
    assert [run.pixels for run in changed.show.runs.values()] == [30, 30, 9]
    assert places(changed, "three")[0] == 4


def test_a_copy_that_gives_a_shape_has_a_picture_of_its_own() -> None:
    # Source: a grid has no path
    own = {key: value for key, value in GRID.items() if key != "pixel"}
    found = reading({"one": LINE, "two": {"like": "one"} | own})
    assert found.findings == ()
    assert found.show is not None
    assert (found.show.runs["two"].lead, found.show.runs["two"].pixels) == (1.5, 21)


ARCH = {"pixel": "dot", "shape": "arch", "feet": [[0, 0], [2, 0]], "height": 1.0, "pixels": 9}
WRONG = [
    ({"one": LINE, "two": {"like": "onne"}}, "run.two.like", "no run is named", "one"),
    ({"one": LINE, "two": {"like": "box"}}, "run.two.like", "is a controller, not a run", "run"),
    ({"one": LINE, "two": {"like": 3}}, "run.two.like", "is not what this key holds", 'like = "tree-1"'),
    ({"one": LINE, "two": {"like": "one", "moved": 3}}, "run.two.moved", "is not what this key", "moved = [2.0, 0.0]"),
    ({"one": LINE, "two": {"like": "one", "turned": "left"}}, "run.two.turned", "is not what this key", "turned = 15"),
    ({"one": {"like": "two"}, "two": {"like": "one"}}, "run.one.like", "is like itself: one → two → one", "let one"),
    ({"one": GRID, "two": {"like": "one", "turned": 45}}, "run.two.turned", "a grid stands upright", "90"),
    ({"one": ARCH, "two": {"like": "one", "turned": 180}}, "run.two.turned", "would let the arch hang", "points"),
    ({"one": {"pixel": "dot", "pixels": 5}, "two": {"like": "one", "moved": [1, 0]}}, "run.two.moved",
     "takes over no places", "take moved out"),
    ({"one": LINE, "two": {"like": "one", "path": [[0, 0], [1, 1]], "mirrored": True}}, "run.two.mirrored",
     "takes over no places", "take mirrored out"),
    ({"one": LINE, "two": {"like": "one", "about": "oak", "turned": 5}}, "run.two.about", "“oak” has no places",
     "name a run or a prop"),
    ({"one": LINE | {"moved": [1, 0]}}, "run.one.moved", "is a key of what is like another", 'like = "NAME"'),
]  # fmt: skip


@pytest.mark.parametrize(("runs", "where", "says", "remedy"), WRONG)
def test_what_is_wrong_is_said_once_in_words(runs: dict, where: str, says: str, remedy: str) -> None:
    found = reading(runs).findings
    assert [finding.where for finding in found if finding.where.startswith("run.")] == [where]
    (finding,) = (finding for finding in found if finding.where == where)
    assert says in finding.says
    assert remedy in finding.remedy
    assert finding.line is not None


def test_what_is_wrong_with_the_first_is_not_said_of_its_copies() -> None:
    # Source: six equal trees with one mistake are one mistake
    bad = LINE | {"pixels": 0, "colour": "red", "pixel": "dott"}
    runs = {"one": bad, "two": {"like": "one", "moved": [1, 0]}, "three": {"like": "two", "lead": -1.0}}
    found = [finding.where for finding in reading(runs).findings]
    assert sorted(found) == ["run.one.colour", "run.one.pixel", "run.one.pixels", "run.three.lead"]


def test_a_long_row_of_copies_of_copies_ends_in_words() -> None:
    # Source: written from the last to the first, so that none is written out before the one that is like it
    row = {f"r{n}": {"like": f"r{n - 1}"} for n in range(3000, 0, -1)}
    found = read(tomli_w.dumps(tables({**row, "r0": LINE}))).findings
    assert any("is like another by way of more than 100 others" in finding.says for finding in found)


@pytest.mark.parametrize("more", [{"prop": 3}, {"prop": {"oak": 3}}, {"prop": {"oak": {"runs": [3, "one"]}}}])
def test_a_middle_is_looked_for_only_where_there_are_tables(more: dict) -> None:
    # Source: any text gives a show or words
    points = {"pixel": "dot", "shape": "points", "file": 3}
    runs = {"one": points, "two": {"like": "one", "turned": 9, "about": "oak"}, "three": {"like": "one", "turned": 9}}
    assert reading(runs, **more).findings


@examples(60, 600)
@given(st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.floats(-5, 5) | st.sampled_from(["one", "two", "top-left", ""]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["x", "like"]), inner, max_size=2),
).filter(lambda value: value is not None), st.sampled_from([LINE, GRID, ARCH]),
    st.sampled_from(
        ["like", "moved", "mirrored", "turned", "about", "path", "area", "feet", "data_in", "pixels", "rows"]
    ),
    st.booleans())  # fmt: skip
def test_whatever_stands_there_there_are_words(value: Any, run: dict, key: str, of_the_first: bool) -> None:
    one, two = copy.deepcopy(run), {"like": "one", "turned": 90, "mirrored": True}
    (one if of_the_first else two)[key] = value
    try:
        text = tomli_w.dumps(tables({"one": one, "two": two}))
    except (TypeError, ValueError):
        assume(False)
    assert all(finding.says and finding.remedy for finding in read(text).findings)


def test_editors_know_it_by_the_schema() -> None:
    # Judge: jsonschema, draft 2020-12
    schema = Draft202012Validator(json_schema())
    for runs in ({"one": LINE, "two": {"like": "one", "moved": [1.0, 0.0], "lead": 2.0}}, {"one": LINE}):
        assert not list(schema.iter_errors(tables(runs)))
    for runs, *_ in (WRONG[2], WRONG[3], WRONG[4]):
        assert list(schema.iter_errors(tables(runs)))


# --- edits ----------------------------------------------------------------------------------------------------------


TEXT = """
[show]
title = "Trees"
[pixel.dot]
colour_order = "GRB"
[controller.box]
address = "192.0.2.1"
ports = 4
[controller.box.port]
1 = ["one", "two", "three"]
[run.one]  # the first
pixel = "dot"
shape = "line"
path = [[0.0, 0.0], [2.0, 0.0]]
pixels = 5
data_in = "last"  # by the hedge
[run.two]
like = "one"  # but further on
moved = [3.0, 0.0]
[run.three]
like = "two"
moved = [3.0, 0.0]
"""


def test_an_edit_of_the_first_leaves_its_copies_as_they_are() -> None:
    # Source: what was found wired otherwise was found of one run
    before = read(TEXT).show
    assert before is not None
    one = before.runs["one"]
    after = before.model_copy(update={"runs": {**before.runs, "one": one.model_copy(update={"data_in": "first"})}})
    new = edited(TEXT, before, after, "")
    assert read(new).show == after
    assert [line for line in TEXT.split("\n") if line not in new.split("\n")] == ['data_in = "last"  # by the hedge']
    assert tomllib.loads(new)["run"]["two"] == {"like": "one", "moved": [3.0, 0.0], "data_in": "last"}
    assert "data_in" not in tomllib.loads(new)["run"]["three"]


def test_an_edit_of_a_copy_is_written_into_its_own_table() -> None:
    # Source: the same
    before = read(TEXT).show
    assert before is not None
    two = before.runs["two"].model_copy(update={"data_in": "first", "lead": 2.0})
    after = before.model_copy(update={"runs": {**before.runs, "two": two}})
    new = edited(TEXT, before, after, "")
    assert read(new).show == after
    assert tomllib.loads(new)["run"]["one"] == tomllib.loads(TEXT)["run"]["one"]


SHED = {
    "ledge": LINE | {"gaps": [4], "nulls": 1},
    "ledge-2": {"like": "ledge", "moved": [0.0, 2.0], "mirrored": True},
    "pane": GRID,
    "pane-2": {"like": "pane", "moved": [5.0, 0.0], "turned": 90},
    "pane-3": {"like": "pane-2", "lead": 1.0},
    "ring": {"pixel": "dot", "shape": "loop", "corners": [[0, 5], [4, 5], [4, 8]], "pixels": 30,
             "data_in": "top-right"},
    "ring-2": {"like": "ring", "moved": [6.0, 0.0], "mirrored": True},
}  # fmt: skip


def plan_of(text: str) -> Planned:
    show = read(text).show
    assert show is not None
    wiring = wire(show)
    return planned(wiring, allocate(wiring).patch)


@pytest.mark.parametrize("kind", ["reversed", "data-in", "lines", "turns", "missing", "shift", "colour-order"])
def test_what_is_mended_in_a_file_with_copies_is_what_is_mended_where_all_is_written_out(kind: str) -> None:
    # Source: the same show with every copy written out, by whoever writes shows
    text = tomli_w.dumps(tables(SHED))
    plan = plan_of(text)
    written = tomli_w.dumps(expanded(tomllib.loads(text), no_points)[0])
    assert plan_of(written).wiring.show == plan.wiring.show
    some = [f for f, _ in singles(plan, list(plan.takes), lambda run: (2, 7)) if f.kind == kind]
    mended = 0
    for fault in some[:: max(1, len(some) // 4)]:
        try:
            meant = rewritten(written, plan, [fault])
        except PatcherError:
            with pytest.raises(PatcherError):
                rewritten(text, plan, [fault])
            continue
        mended += 1
        assert rewritten(text, plan, [fault]).wiring.show == meant.wiring.show, fault
    assert mended


@pytest.mark.parametrize("runs", ["3", '"tree-1"', "[3]", "{ a = 1 }"])
def test_a_prop_whose_runs_are_no_list_of_names_gives_words_where_a_copy_turns_about_it(runs: str) -> None:
    text = (
        '[show]\ntitle = "a"\n[pixel.bead]\ncolour_order = "RGB"\n'
        '[run.tree-1]\npixel = "bead"\nshape = "line"\npath = [[0, 0], [1, 1]]\npixels = 5\n'
        f'[prop.tree]\nruns = {runs}\n[run.tree-2]\nlike = "tree-1"\nturned = 20\nabout = "tree"\n'
    )
    assert any("prop.tree" in finding.where for finding in read(text).findings)
