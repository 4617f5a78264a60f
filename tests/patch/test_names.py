"""Names: a box and a prop may share one, and each command can be told which; a place of a grid has a name too."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.errors import PatcherError
from patcher.faults import parse
from patcher.patch.thing import Thing, called, find
from patcher.placement.allocation import allocate
from patcher.remedies.remedies import remedy
from patcher.show.parser import read
from rig.examples import examples
from rig.grid_walk import CORNERS, walk
from rig.shipped import Patcher, wired

HOUSE = {
    "show": {"title": "One name"},
    "pixel": {"lamp": {"colour_order": "RGB", "volts": 12.0, "channel_ma": 5.0, "idle_ma": 0.5, "min_volts": 9.0,
                       "awg": 18, "pitch": 0.1}},
    "controller": {
        "roof": {"address": "192.0.2.1", "ports": 2, "port": {"1": ["eaves"], "2": ["ridge"]}, "at": [0.0, 0.0]},
        "shelf": {"spare": True, "ports": 2},
    },
    "run": {
        "eaves": {"pixel": "lamp", "pixels": 9, "shape": "line", "path": [[0.0, 0.0], [0.8, 0.0]]},
        "ridge": {"pixel": "lamp", "pixels": 5, "shape": "line", "path": [[0.0, 1.0], [0.4, 1.0]], "lead": 1.0},
        "door": {"pixel": "lamp", "pixels": 9, "same_data_as": "eaves"},
    },
    "prop": {"roof": {"runs": ["ridge"]}, "door": {"runs": ["door"]}},
    "supply": {"roof": {"volts": 12.0, "amps": 10.0, "box": "roof"},
               "shelf": {"volts": 12.0, "amps": 10.0, "spare": True}},
    "feed": {"roof": {"supply": "roof", "awg": 14, "fuse": 5, "taps": [{"run": "eaves", "pixel": 1, "length": 0.5}]},
             "ridge": {"supply": "roof", "awg": 14, "fuse": 5, "taps": [{"run": "ridge", "pixel": 1, "length": 1.5}]},
             "door": {"from": "roof", "tap": 1, "awg": 14, "taps": [{"run": "door", "pixel": 1, "length": 0.5}]}},
}  # fmt: skip
"""A box, a prop, a supply and a feed called roof; a run, a prop and a feed called door."""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    path = tmp_path / "house.toml"
    path.write_text(tomli_w.dumps(HOUSE))
    return path


def named(name: str) -> Thing:
    wiring = wired(HOUSE)
    return find(name, wiring, allocate(wiring).patch)


@pytest.mark.parametrize(
    ("name", "kind", "runs"),
    [
        ("controller.roof", "box", ["eaves", "ridge"]), ("prop.roof", "prop", ["ridge"]),
        ("roof/1", "port", ["eaves"]), ("controller.roof/2", "port", ["ridge"]),
        ("eaves", "run", ["eaves"]), ("run.eaves", "run", ["eaves"]), ("run.eaves/3", "pixel", ["eaves"]),
        ("door", "run", ["door"]), ("prop.door", "prop", ["door"]), ("door/2-4", "pixels", ["door"]),
    ],
)  # fmt: skip
def test_each_thing_has_a_name_that_is_its_own(name: str, kind: str, runs: list[str]) -> None:
    # Source: found in use: box roof and prop roof is what anybody writes
    thing = named(name)
    assert (thing.kind, [part.run for part in thing.parts]) == (kind, runs)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("roof", ("two things", "the box roof and the prop roof", "controller.roof or prop.roof")),
        ("prop.roof/1", ("prop", "ridge/1")),
        ("run.roof", ("no run is named “roof”",)),
        ("supply.roof", ("no box, run or prop is named “supply.roof”",)),
    ],
)
def test_a_name_of_two_things_says_which_names_tell_them_apart(name: str, words: tuple[str, ...]) -> None:
    # Source: the same; a message says what is wrong, where, and what to do
    with pytest.raises(PatcherError) as refused:
        named(name)
    (finding,) = refused.value.findings
    assert all(word in f"{finding.says} {finding.remedy}" for word in words)


def test_called_is_what_find_understands() -> None:
    show = wired(HOUSE).show
    assert called("controller", "roof", show) == "controller.roof"
    assert called("controller", "shelf", show) == "shelf"


@pytest.mark.parametrize(
    ("tables", "where"),
    [
        ({"run": {"shelf": {"pixel": "lamp", "pixels": 1, "same_data_as": "spot"},
                  "spot": {"pixel": "lamp", "pixels": 1}}}, "run.shelf"),
        ({"prop": {"eaves": {"runs": ["ridge"]}}}, "prop.eaves"),
        ({"prop": {"eaves": {"runs": ["eaves", "ridge"]}}}, "prop.eaves"),
    ],
)  # fmt: skip
def test_what_nothing_could_tell_apart_is_an_error(tables: dict, where: str) -> None:
    # Source: the design: BOX/PORT and RUN/PIXEL; a run that no prop names is a prop of its own
    changed = {**HOUSE, **{key: HOUSE[key] | value for key, value in tables.items()}}
    found = [finding for finding in read(tomli_w.dumps(changed)).findings if finding.rule == "same-name"]
    assert [finding.where for finding in found] == [where]
    assert "rename" in found[0].remedy


def test_every_command_can_be_told_which_is_meant(here: Patcher, house: Path) -> None:
    # Source: found in use: where, --on, faults, swap, power, sheet, verify and its record
    assert here("check", house).returncode == 0
    assert here("patch", house).returncode == 0
    assert "controller.roof or prop.roof" in here("where", house, "roof").stderr
    assert len(json.loads(here("where", house, "prop.roof", "--json").stdout)) == 1
    assert len(json.loads(here("where", house, "controller.roof", "--json").stdout)) == 2
    assert here("send", "dot", house, "--on", "prop.roof", "--dry-run").stdout.count("ridge/") == 5
    assert here("send", "dot", house, "--on", "roof", "--dry-run").returncode == 2
    assert "ridge" in here("power", house, "prop.roof").stdout
    assert "two things" in here("swap", house, "roof", "shelf").stderr
    assert "takes the place of roof at 192.0.2.1" in here("swap", house, "controller.roof", "shelf").stdout
    assert "roof" in here("swap", house, "supply.roof", "supply.shelf").stdout
    ran = here("sheet", house, "--out", "out")
    assert ran.returncode == 0
    labels = (house.parent / "out" / "tables" / "labels.csv").read_text()
    assert "feed.door" in labels
    assert "run.door" in labels
    assert "feed.ridge" in labels
    assert here("verify", house, "prop.roof", "--note", "wet").returncode == 0
    assert "prop.roof" in here("verify", house, "--report").stdout


@examples(10, 50)
@given(st.data())
def test_a_place_of_a_grid_is_the_pixel_that_the_wiring_has_there(data: st.DataObject) -> None:
    # Judge: a finger that follows the wiring cell by cell. Found in use: where by place of a grid
    columns, rows = data.draw(st.integers(1, 6)), data.draw(st.integers(1, 6))
    lines, turns = (
        data.draw(st.sampled_from(["rows", "columns"])),
        data.draw(st.sampled_from(["serpentine", "same-way"])),
    )
    corner = data.draw(st.sampled_from(CORNERS))
    gaps = data.draw(st.sets(st.integers(1, columns * rows), max_size=columns * rows - 1))
    grid = {"area": [[0.0, 0.0], [5.0, 4.0]], "columns": columns, "rows": rows, "lines": lines, "turns": turns}
    run = {"pixel": "lamp", "shape": "grid", "data_in": corner, "gaps": sorted(gaps)} | grid
    wiring = wired({
        "show": {"title": "g"}, "pixel": {"lamp": {"colour_order": "RGB"}}, "run": {"g": run},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["g"]}}},
    })  # fmt: skip
    patch = allocate(wiring).patch
    passed = [
        cell for place, cell in enumerate(walk(columns, rows, lines, turns, corner), start=1) if place not in gaps
    ]
    for column, row in np.ndindex(columns, rows):
        name = f"g/{column + 1},{row + 1}"
        if (column, row) in passed:
            (part,) = find(name, wiring, patch).parts
            assert (part.run, part.first, part.last) == ("g", *[passed.index((column, row)) + 1] * 2)
        else:
            with pytest.raises(PatcherError, match="no pixel"):
                find(name, wiring, patch)
    for name in (f"g/{columns + 1},1", f"g/1,{rows + 1}", "g/0,1", "g/1,0"):
        with pytest.raises(PatcherError, match="outside"):
            find(name, wiring, patch)


def test_a_place_of_a_prop_is_a_pixel_of_its_band(here: Patcher, heron_lock: Path) -> None:
    # Source: by hand: the gate's columns are wired up and down from its left foot; column 2 runs down, 20 rows
    (span,) = json.loads(here("where", heron_lock, "gate/2,19", "--json").stdout)
    assert (span["run"], span["first_pixel"], span["last_pixel"]) == ("gate-left", 22, 22)
    assert json.loads(here("where", heron_lock, "gate-left/2,19", "--json").stdout) == [span]
    assert "outside" in here("where", heron_lock, "gate/51,1").stderr
    assert "no pixel" in here("where", heron_lock, "gate-left/50,1").stderr
    assert "no grid" in here("where", heron_lock, "gable/1,1").stderr


@pytest.mark.parametrize("options", [("--typed", "controller.roof"), ("--told", "prop.roof"), ("--told", "run.eaves")])
def test_todo_takes_the_names_that_every_command_takes(here: Patcher, house: Path, options: tuple[str, str]) -> None:
    # Source: `help names`: every command takes the same names; found in use: "controller.hall is not a box"
    here("patch", house)
    assert here("todo", house, *options).returncode == 0
    wrong = here("todo", house, options[0], "supply.roof")
    assert (wrong.returncode, "supply.roof" in wrong.stderr) == (2, True)


def test_what_is_printed_to_be_typed_names_one_thing(here: Patcher, house: Path, tmp_path: Path) -> None:
    # Source: found in use: the sheet of a box said `verify … hall`, which is refused: hall is a prop too
    here("sheet", house, "--out", tmp_path / "paper")
    text = (tmp_path / "paper" / "sheets.html").read_text()
    assert "patcher verify … controller.roof: every step passed" in text
    steps = " ".join(here("swap", house, "controller.roof", "shelf").stdout.split())
    assert f"patcher swap {house} controller.roof shelf --write" in steps
    wiring = wired(HOUSE)
    dead = remedy("house.toml", wiring, parse("dead:roof", wiring)).says
    assert "patcher swap house.toml controller.roof shelf" in dead


def test_a_box_of_one_name_with_a_prop_is_diagnosed_in_a_walk_through(here: Patcher, house: Path) -> None:
    # A no that names nothing is about the whole box: its name alone is that of two things
    answers = house.with_name("answers.txt")
    answers.write_text("x roof: no\n")
    name = here("verify", house, "--answers", answers).stderr.split("the step is “")[1].split("”")[0]
    answers.write_text(f"{name}: no\n")
    steps = here("verify", house, "--answers", answers)
    assert "two things" not in steps.stderr
    assert "Diagnosis of controller.roof:" in steps.stdout


@pytest.mark.parametrize(("place", "where"), [("high/1,1", "rows 3 to 4 of gate"), ("low/1,3", "rows 1 to 2 of gate")])
def test_a_place_outside_a_band_is_said_to_count_from_the_whole_grid(place: str, where: str) -> None:
    # Source: found in use: "no run of screen-right is wired there", and screen-right is itself a run
    band = {"pixel": "lamp", "shape": "band", "of": "gate", "data_in": "bottom-left"}
    tables = {
        "show": {"title": "Bands"}, "pixel": {"lamp": {"colour_order": "RGB"}},
        "controller": {"mill": {"address": "192.0.2.1", "ports": 2, "port": {"1": ["low"], "2": ["high"]}}},
        "run": {"low": band | {"band": [1, 2]}, "high": band | {"band": [3, 4], "gaps": [2]}},
        "prop": {"gate": {"area": [[0, 0], [3, 3]], "columns": 4, "rows": 4, "lines": "rows", "turns": "serpentine",
                          "data_in": "bottom-left"}},
    }  # fmt: skip
    wiring = wired(tables)
    patch = allocate(wiring).patch
    with pytest.raises(PatcherError) as refused:
        find(place, wiring, patch)
    (finding,) = refused.value.findings
    assert finding.says.endswith(where)
    assert find(finding.remedy.split(", or ")[1].split()[0], wiring, patch).pixels == 1
    with pytest.raises(PatcherError) as gap:
        find("high/2,3", wiring, patch)
    assert "a gap of high" in gap.value.findings[0].says


@given(st.integers(-2, 14), st.integers(-2, 14), st.sampled_from(["", "run."]), st.sampled_from("-–"))
def test_a_range_is_taken_or_told_what_to_write(first: int, last: int, kind: str, dash: str) -> None:
    # Source: eaves has pixels 1 to 9. Found by a reader: of eaves/5-2 it was said that it is not in the run
    inside = min(first, last) >= 1 and max(first, last) <= 9
    if inside and first <= last:
        assert named(f"{kind}eaves/{first}{dash}{last}").pixels == last - first + 1
        return
    with pytest.raises(PatcherError) as refused:
        named(f"{kind}eaves/{first}{dash}{last}")
    (finding,) = refused.value.findings
    assert (finding.remedy == f"write eaves/{last}-{first}") == inside
    assert ("1 to 9" in finding.says) <= (not inside)
