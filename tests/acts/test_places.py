"""Where things are after an act: what is asked for is where it is asked to be, and all else where it was."""

import re
import tomllib
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher.acts.act import read_act
from patcher.acts.acting import acted
from patcher.errors import PatcherError
from patcher.shapes import positions
from patcher.show.likeness import expanded
from patcher.show.parser import no_points
from patcher.show.schema import Show
from rig.act_shows import names_of, parsed, spots, texts
from rig.examples import examples
from rig.shipped import SHOWS

PLACES = ("path", "corners", "feet", "area", "at")
METRES = {"m": 1.0, "ft": 0.3048}


def places(show: Show) -> dict[str, np.ndarray]:
    """Where the pixels of every drawn run are, in metres."""
    every = {name: positions(show, run) for name, run in show.runs.items()}
    return {name: at for name, at in every.items() if at is not None}


def unit_of(text: str) -> float:
    return METRES[tomllib.loads(text)["show"].get("units", "m")]


def given_places(text: str, kind: str, name: str) -> np.ndarray | None:
    """The places by which a run or prop is drawn, in metres."""
    table = expanded(tomllib.loads(text), no_points)[0][kind][name]
    key = next((key for key in PLACES if key in table), None)
    return None if key is None else np.array(table[key], dtype=float) * unit_of(text)


def written(by: Any, text: str) -> np.ndarray:
    """A length in metres as a file holds it: to the millimetre, or to a ten-thousandth of a foot."""
    unit = unit_of(text)
    return np.round(np.array(by) / unit, 3 if unit == 1.0 else 4) * unit


def done(text: str, **act: Any) -> str:
    return acted(text, read_act(act))


@examples(25, 250)
@given(texts(), st.data(), spots)
def test_a_corner_is_where_it_is_put_and_the_others_where_they_were(text: str, data: Any, to: Any) -> None:
    # Source: the places by which it is drawn, before and after
    name = data.draw(st.sampled_from(names_of(text, "run", "prop")))
    kind = "run" if name in names_of(text, "run") else "prop"
    before = given_places(text, kind, name)
    if before is None:
        with pytest.raises(PatcherError):
            done(text, act="corner", thing=name, corner=0, to=to)
        return
    corner = data.draw(st.integers(0, len(before) - 1))
    expected = before.copy()
    expected[corner] = written(to, text)
    try:
        new = done(text, act="corner", thing=name, corner=corner, to=to)
    except PatcherError as refused:
        says = " ".join(finding.says for finding in refused.findings)
        reasons = ("no width", "no height", "one point", "hang", "more than one", "no corner")
        all_in_one_point = np.ptp(expected, axis=0).max() < 1e-6
        assert any(words in says for words in reasons) or ("no length" in says and all_in_one_point)
        return
    after = given_places(new, kind, name)
    assert after is not None
    assert np.abs(after - expected).max() < 1e-6
    own = tomllib.loads(new)[kind][name]
    assert not own.keys() & {"moved", "mirrored", "turned", "about"}


@examples(25, 250)
@given(texts(), st.data())
def test_a_copy_whose_corner_is_put_where_it_is_stays_in_its_place(text: str, data: Any) -> None:
    # Source: the pixels, before and after; a copy says its places itself now
    copies = [name for name, run in tomllib.loads(text)["run"].items() if "like" in run]
    assume(copies)
    name = data.draw(st.sampled_from(copies))
    before = given_places(text, "run", name)
    assert before is not None
    new = done(text, act="corner", thing=name, corner=1, to=before[1].tolist()) if len(before) > 1 else text
    here, there = places(parsed(text))[name], places(parsed(new))[name]
    assert np.abs(here - there).max() < 1e-3


@examples(15, 150)
@given(texts(), st.data(), spots)
def test_a_corner_comes_in_and_goes_out_again(text: str, data: Any, to: Any) -> None:
    drawn = {name: run for name, run in tomllib.loads(text)["run"].items() if run.keys() & {"path", "corners", "at"}}
    assume(drawn)
    name = data.draw(st.sampled_from([*drawn]))
    before = given_places(text, "run", name)
    assert before is not None
    at = data.draw(st.integers(0, len(before)))
    try:
        new = done(text, act="corner-in", thing=name, before=at, to=to)
    except PatcherError:  # an outline that is entered at a corner's name
        assume(False)
    after = given_places(new, "run", name)
    assert after is not None
    assert np.abs(after - np.insert(before, at, written(to, text), axis=0)).max() < 1e-6
    back = done(new, act="corner-out", thing=name, corner=at)
    assert tomllib.loads(back) == tomllib.loads(text)


@examples(30, 300)
@given(texts(), st.data(), spots)
def test_what_is_shifted_moves_by_so_much_and_all_else_stays(text: str, data: Any, by: Any) -> None:
    # Source: the pixels, before and after
    tables = tomllib.loads(text)
    can = [name for name in names_of(text, "run") if given_places(text, "run", name) is not None]
    can += [name for name in tables["prop"] if name.startswith("wall") or {*tables["prop"][name]["runs"]} & {*can}]
    things = data.draw(st.lists(st.sampled_from([*can, "box0"]), min_size=1, max_size=4))
    new = done(text, act="shift", things=things, by=by)
    before, after = parsed(text), parsed(new)
    moved = {run for name in things for run in before.prop_runs().get(name, ())} | {*things}
    was, now = places(before), places(after)
    for name, at in was.items():
        meant = at + written(by, text) if name in moved else at
        assert np.abs(now[name] - meant).max() < 1e-6, name
    for name, box in before.controllers.items():
        meant = np.array(box.at) + (written(by, text) if name in things else 0)
        assert np.abs(np.array(after.controllers[name].at) - meant).max() < 1e-6
    for prop in ("wall", "wall-2"):
        here, there = given_places(text, "prop", prop), given_places(new, "prop", prop)
        assert here is not None
        assert there is not None
        assert np.abs(there - here - (written(by, text) if prop in things else 0)).max() < 1e-6


def put(at: np.ndarray, middle: np.ndarray, mirrored: bool, turned: float, by: np.ndarray) -> np.ndarray:
    """Source: plane geometry with matrices: mirrored in an upright line, turned against the clock, then moved."""
    angle = np.radians(turned)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    mirror = np.array([[-1.0 if mirrored else 1.0, 0.0], [0.0, 1.0]])
    return (at - middle) @ (turn @ mirror).T + middle + by


def middle_of(text: str, show: Show, thing: str) -> np.ndarray:
    """The middle of all places by which a thing is drawn."""
    runs = show.prop_runs().get(thing, (thing,))
    things = [("run", run) for run in runs] + ([("prop", thing)] if thing in show.props else [])
    every = [at for kind, name in things if (at := given_places(text, kind, name)) is not None]
    both = np.concatenate(every)
    middle: np.ndarray = (both.min(axis=0) + both.max(axis=0)) / 2
    return middle


@examples(30, 300)
@given(texts(), st.data(), spots, st.booleans(), st.sampled_from([0.0, 0.0, 90.0, 180.0, 40.0]), st.integers(1, 3))
def test_a_copy_is_where_the_first_is_put(
    text: str, data: Any, by: Any, mirrored: bool, turned: float, count: int
) -> None:
    show = parsed(text)
    drawn = places(show)
    things = [name for name in drawn if show.runs[name].shape_name != "band"]
    things += [name for name in show.props if {*show.prop_runs()[name]} & {*drawn}]
    thing, refused = data.draw(st.sampled_from(things)), ""
    try:
        new = done(text, act="copy", thing=thing, by=by, count=count, mirrored=mirrored, turned=turned)
    except PatcherError as error:
        refused = str(error)
    if refused:
        assert turned
        assert "stands upright" in refused or "hang from its feet" in refused
        return
    before, after = tomllib.loads(text), tomllib.loads(new)
    kind = "run" if thing in before["run"] else "prop"
    assert all(after[each][name] == table for each in ("run", "prop") for name, table in before[each].items())
    copies = [name for name in after[kind] if name not in before[kind]]
    assert len(copies) == count
    now, middle = places(parsed(new)), middle_of(text, show, thing)
    for number, copy in enumerate(copies, start=1):
        whole = parsed(new)
        pairs = zip(show.prop_runs().get(thing, (thing,)), whole.prop_runs().get(copy, (copy,)), strict=True)
        for first, second in pairs:
            assert whole.runs[second].pixels == show.runs[first].pixels
            if first in drawn:
                meant = put(drawn[first], middle, mirrored, turned, written(np.array(by) * number, text))
                assert np.abs(now[second] - meant).max() < 1e-6


def test_copies_of_copies_are_like_the_first_where_they_say_nothing_themselves() -> None:
    # Source: the issue
    first = '[run.a]\npixel = "p"\nshape = "line"\npath = [[0.0, 0.0], [1.0, 0.5]]\npixels = 5\n'
    text = f'[show]\ntitle = "T"\n\n[pixel.p]\ncolour_order = "RGB"\n\n{first}'
    once = done(text, act="copy", thing="a", by=[2.0, 0.0], count=1, mirrored=True)
    twice = done(once, act="copy", thing="a-2", by=[2.0, 1.0], count=2)
    runs = tomllib.loads(twice)["run"]
    assert runs["a-3"] == {"like": "a", "moved": [4.0, 1.0], "mirrored": True}
    assert runs["a-4"] == {"like": "a", "moved": [6.0, 2.0], "mirrored": True}
    apart = done(once, act="set", thing="a-2", key="lead", value=2.0)
    assert tomllib.loads(done(apart, act="copy", thing="a-2", by=[2.0, 0.0], count=1))["run"]["a-3"]["like"] == "a-2"
    back = done(once, act="copy", thing="a-2", by=[2.0, 0.0], count=1, mirrored=True)
    assert tomllib.loads(back)["run"]["a-3"] == {"like": "a", "moved": [4.0, 0.0]}


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(
    ("prop", "turned"), [("cottage", 0.0), ("cottage", 25.0), ("footbridge", -30.0), ("gate", 90.0)]
)
def test_the_parts_of_a_prop_stay_together(prop: str, turned: float, mirrored: bool) -> None:
    # Source: `put`, about the middle of all its parts; a tee's copy is a tee of the copy
    text = (SHOWS / "heron-lock.toml").read_text(encoding="utf-8")
    text = re.sub(r'shape = "points"\nfile = .*', "pixels = 500", text)
    again = done(text, act="copy", thing=prop, by=[3.0, 1.0], count=1, mirrored=mirrored, turned=turned)
    show, copied = parsed(text), parsed(again)
    middle, by = middle_of(text, show, prop), np.array([3.0, 1.0])
    was, now = places(show), places(copied)
    for run in show.prop_runs()[prop]:
        assert np.abs(now[f"{run}-2"] - put(was[run], middle, mirrored, turned, by)).max() < 1e-6
        tee = show.runs[run].same_data_as
        assert copied.runs[f"{run}-2"].same_data_as == (tee and f"{tee}-2")
    thrice = done(again, act="copy", thing=f"{prop}-2", by=[3.0, 0.0], count=1)
    own = tomllib.loads(thrice)["run"]
    for run in show.prop_runs()[prop]:
        assert np.abs(places(parsed(thrice))[f"{run}-3"] - now[f"{run}-2"] - np.array([3.0, 0.0])).max() < 1e-6
        assert own[f"{run}-3"]["like"] == run


@pytest.mark.parametrize("name", ["heron-lock", "bench", "village"])
def test_the_shipped_shows_move_as_asked(name: str) -> None:
    text = (SHOWS / f"{name}.toml").read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    run = next(run for run, table in tables["run"].items() if "path" in table)
    new = acted(text, read_act({"act": "shift", "things": [run], "by": [0.25, -1.0]}))
    after = tomllib.loads(new)
    moved = np.array(tables["run"][run].pop("path")) + np.array([0.25, -1.0])
    assert np.abs(np.array(after["run"][run].pop("path")) - moved).max() < 1e-6
    assert after == tables
    box = next(iter(tables["controller"]))
    assert acted(text, read_act({"act": "shift", "things": [box], "by": [0.0, 0.0]})) == text
    fresh = [new for old, new in zip(text.split("\n"), new.split("\n"), strict=True) if old != new]
    assert len(fresh) == 1


@pytest.mark.parametrize("act", [
    {"act": "corner", "thing": "willow", "corner": 0, "to": [0.0, 0.0]},
    {"act": "corner-in", "thing": "willow", "before": 0, "to": [0.0, 0.0]},
    {"act": "shift", "things": ["willow"], "by": [1.0, 0.0]},
])  # fmt: skip
def test_places_in_a_file_are_not_changed_here(act: dict) -> None:
    text = (SHOWS / "heron-lock.toml").read_text(encoding="utf-8")
    with pytest.raises(PatcherError, match="points file"):
        acted(text, read_act(act))
    copied = acted(text, read_act({"act": "copy", "thing": "willow", "by": [3.0, 0.0], "count": 1}))
    moved = acted(copied, read_act({"act": "shift", "things": ["willow-2"], "by": [1.0, 0.0]}))
    assert tomllib.loads(moved)["run"]["willow-2"] == {"like": "willow", "moved": [4.0, 0.0]}
