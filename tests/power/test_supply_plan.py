"""Supplies that a plan chooses: how many, of which kind, in which box; what is written holds."""

import json
import re
import tomllib
from itertools import combinations_with_replacement, product

import numpy as np
import pytest
import tomli_w
from hypothesis import Phase, given
from hypothesis import strategies as st

from patcher.power import shortfalls
from patcher.power.flow import power
from patcher.power.plan import Plan
from patcher.power.supply_choice import Kind, Load, choose, fewest
from patcher.power.supply_plan import plan
from patcher.show.parser import read
from patcher.show.text_edits import edited, with_feeds, with_supplies
from patcher.wiring import Wiring, wire
from rig.any_power import anything, wired_or_none
from rig.examples import examples
from rig.feed_lines import line, shows
from rig.ngspice import ask, netlist
from rig.power_show import show
from rig.shipped import wired

OF_POWER = {
    "low-volts", "collapse", "wire", "fuse", "fuse-reserve", "tap-fuse", "overload", "joined-supplies", "other-volts",
    "unfed", "no-fuse",
}  # fmt: skip
KINDS = (Kind(12.0, 30.0), Kind(12.0, 12.5), Kind(5.0, 60.0), Kind(5.0, 20.0))
SLOW = [Phase.reuse, Phase.generate]
"""No shrinking: an example takes long."""


def line_at(x: float, pixels: int, y: float = 0.0) -> dict:
    return line(pixels) | {"path": [[x, y], [x + pixels * 0.1, y]]}


def row(runs: dict[str, dict], *, at: tuple[float, float] | None = (0.0, 0.0), **more: object) -> dict:
    """Runs on one port of one box, without supplies."""
    tables = show(runs, {}, supplies={}, **more)
    if at is not None:
        tables["controller"]["box"]["at"] = list(at)
    return tables


def as_written(tables: dict, found: Plan) -> Wiring:
    """The show as it is read back once the plan is in its file."""
    text, made = tomli_w.dumps(tables), found.after.show
    text = edited(text, found.before.show, made, "")
    text = with_supplies(text, map(made.supplies.get, found.new.names), "chosen")
    reading = read(with_feeds(text, found.before.show, map(made.feeds.get, found.feeds), "planned"))
    assert not reading.findings
    return wire(reading.show)


def wrong(wiring: Wiring, **keys: float) -> list[str]:
    found = shortfalls.findings(wiring, power(wiring, **keys))
    return [f"{each.rule} {each.where}" for each in found if each.rule in OF_POWER]


# --- one show, with a pencil ------------------------------------------------------------------------------------------


def test_a_row_too_long_for_one_supply_is_cut_between_its_runs() -> None:
    # By hand: a pixel draws 61 mA at full white; 100 draw 6.1 A, three runs 18.3 A. A supply of 12 V and 12.5 A gives
    # 10 A at most: two carry 20 A. Whole runs: one supply takes a (6.1 A), one b and c? No: 12.2 A are more than 10. So
    # one run more is cut between pixels: 163 pixels draw 9.943 A, 164 draw 10.004 A.
    runs = {name: line_at(10.0 * at, 100) for at, name in enumerate("abc")}
    tables = row(runs, kinds={"lamp": {"awg": 14, "min_volts": 6.0}})
    found = plan(wired(tables), [Kind(12.0, 12.5)])
    assert found.open == ()
    bought = [found.after.show.supplies[name] for name in found.new.names]
    assert [(each.amps, each.box) for each in bought] == [(12.5, "box"), (12.5, "box")]
    assert (found.new.bound, found.new.cuts) == (2, (("b", 64),))
    assert [round(load.amps, 3) for load in found.after.supplies] == [9.943, 8.357]
    written = as_written(tables, found)
    assert written.show.runs["b"].power_cuts == (64,)
    assert wrong(written) == []
    # With 12.2 A to give, one takes two runs whole, and V+ is cut in the lead between runs: no string is cut.
    found = plan(wired(tables), [Kind(12.0, 15.25)])
    assert found.new.cuts == (("c", 1),)
    assert as_written(tables, found).show.runs["c"].power_joined is False
    assert [round(load.amps, 3) for load in found.after.supplies] == [12.2, 6.1]


@pytest.mark.parametrize(
    ("kinds", "chosen"),
    [
        # By hand: 12.2 A are asked for. One of 30 A gives 24, one of 16 A gives 12.8: as few, and fewer watts.
        ((Kind(12.0, 30.0), Kind(12.0, 16.0)), [16.0]),
        # One of 15 A gives 12 A: too little; two would be more supplies than one of 30 A.
        ((Kind(12.0, 30.0), Kind(12.0, 15.0)), [30.0]),
        # There is none of 30 A, and only one of 15 A (12 A) and many of 5 A (4 A).
        ((Kind(12.0, 30.0, 0), Kind(12.0, 15.0, 1), Kind(12.0, 5.0)), [5.0, 15.0]),
        # Those of other volts are none.
        ((Kind(5.0, 60.0), Kind(12.0, 50.0)), [50.0]),
    ],
)
def test_the_fewest_then_the_fewest_watts_are_chosen(kinds: tuple[Kind, ...], chosen: list[float]) -> None:
    tables = row({"a": line_at(1.0, 200)}, kinds={"lamp": {"awg": 12, "min_volts": 6.0}})
    found = plan(wired(tables), kinds)
    assert sorted(found.after.show.supplies[name].amps for name in found.new.names) == chosen
    assert len(chosen) == found.new.bound
    assert wrong(as_written(tables, found)) == []


def test_kinds_that_are_not_enough_are_said_so_and_nothing_is_added() -> None:
    tables = row({"a": line_at(1.0, 200)})
    for kinds in ([Kind(12.0, 5.0, 2)], [Kind(5.0, 60.0)]):
        found = plan(wired(tables), kinds)
        assert (found.new.names, found.feeds) == ((), ())
        assert [(each.rule, each.where) for each in found.open] == [("no-plan", "run.a")]
        assert "add a supply of 12 V, in the file or with --supplies" in found.open[0].remedy


def test_a_supply_that_is_there_is_kept_and_takes_what_it_has_room_for() -> None:
    # By hand: it gives 24 A at most; a and b draw 6.1 A each.
    tables = row({"a": line_at(1.0, 100), "b": line_at(12.0, 100) | {"power_joined": False}})
    tables["supply"] = {"old": {"volts": 12.0, "amps": 30.0, "box": "box"}}
    found = plan(wired(tables), [Kind(12.0, 30.0)])
    assert found.new.names == ()
    assert {feed.supply for feed in found.after.show.feeds.values()} == {"old"}
    # With 8 A left for one of the two, one new supply is bought.
    tables["supply"]["old"]["amps"] = 10.0
    found = plan(wired(tables), [Kind(12.0, 30.0)])
    assert len(found.new.names) == found.new.bound == 1
    assert found.after.show.supplies["old"].amps == 10.0
    assert wrong(as_written(tables, found)) == []


def test_a_supply_stands_in_the_box_of_the_port_or_in_the_nearest_one() -> None:
    # By hand: two runs of 6.1 A on two boxes. b hangs at box two, 30 m away, but 1 m from box one: one supply for both.
    tables = row({"a": line_at(1.0, 100)}, kinds={"lamp": {"awg": 14}})
    tables["controller"]["two"] = {"address": "192.0.2.2", "ports": 1, "port": {"1": ["b"]}, "at": [40.0, 0.0]}
    tables["run"]["b"] = {"pixel": "lamp"} | line_at(1.0, 100, 1.0)
    found = plan(wired(tables), [Kind(12.0, 30.0)])
    assert [found.after.show.supplies[name].box for name in found.new.names] == ["box"]
    # 40 m away: one for each, though one could carry both.
    tables["run"]["b"] = {"pixel": "lamp"} | line_at(41.0, 100, 1.0)
    found = plan(wired(tables), [Kind(12.0, 30.0)])
    assert [found.after.show.supplies[name].box for name in found.new.names] == ["box", "two"]
    assert (found.new.bound, found.new.best) == (1, True)
    assert wrong(as_written(tables, found)) == []


def test_each_run_is_fed_by_the_supply_that_was_chosen_for_it() -> None:
    # By hand: supplies give 10 A. a (6.1 A) and c (2.44 A) each have one box near; b (6.71 A) hangs at box two, and box
    # one is nearer. a and b together are too much for one, so b is fed from its own box.
    tables = row({"a": line_at(1.0, 100)}, kinds={"lamp": {"awg": 12, "min_volts": 6.0}})
    tables["controller"]["two"] = {"address": "192.0.2.2", "ports": 1, "port": {"1": ["b", "c"]}, "at": [30.0, 0.0]}
    tables["run"]["b"] = {"pixel": "lamp"} | line_at(1.0, 110, 1.0)
    tables["run"]["b"]["path"] = [[-8.0, 1.0], [2.9, 1.0]]
    tables["run"]["c"] = {"pixel": "lamp", "power_joined": False} | line_at(31.0, 40, 1.0)
    found = plan(wired(tables), [Kind(12.0, 12.5)])
    fed_by = {tap.run: feed.supply for feed in found.after.show.feeds.values() for tap in feed.taps}
    assert fed_by == {"a": "box-12v", "b": "two-12v", "c": "two-12v"}
    assert wrong(as_written(tables, found)) == []


def test_a_box_without_a_place_and_a_run_without_one_are_said() -> None:
    [words] = plan(wired(row({"a": line_at(1.0, 50)}, at=None)), [Kind(12.0, 30.0)]).new.places
    assert words == "box box has no place (at) in the file: its supply is put into box, the box of its port"
    [words] = plan(wired(row({"a": {"pixels": 50}})), [Kind(12.0, 30.0)]).new.places
    assert words == "a is not drawn: its supply is put into box, the box of its port"


def test_a_row_of_two_volts_is_cut_where_they_change_and_gets_a_supply_of_each() -> None:
    kinds = {"dot": {"volts": 5.0, "min_volts": 4.0, "awg": 14}, "lamp": {"awg": 14}}
    tables = row({"a": line_at(1.0, 30), "b": line_at(4.0, 30) | {"pixel": "dot"}}, kinds=kinds)
    found = plan(wired(tables), KINDS)
    assert found.new.cuts == (("b", 1),)
    assert sorted(found.after.show.supplies[name].volts for name in found.new.names) == [5.0, 12.0]
    assert wrong(as_written(tables, found)) == []


def test_like_runs_are_fed_alike_and_at_their_ends_where_that_costs_nothing() -> None:
    # Four runs alike in everything but their place along the wall; each by itself, and each needs two taps.
    runs = {name: line_at(6.0 * at, 50) | {"power_joined": False} for at, name in enumerate("abcd")}
    ports = {str(at): [name] for at, name in enumerate(runs, start=1)}
    tables = row(runs, kinds={"lamp": {"awg": 22, "min_volts": 10.6}}, at=(12.0, -2.0), ports=ports)
    found = plan(wired(tables), [Kind(12.0, 30.0)])
    taps = {name: sorted(tap.pixel for feed in found.after.show.feeds.values() for tap in feed.taps if tap.run == name)
            for name in runs}  # fmt: skip
    assert set(map(tuple, taps.values())) == {(1, 50)}
    assert all(rail.proved for rail in found.rails)


# --- any show ---------------------------------------------------------------------------------------------------------


def held(tables: dict, found: Plan) -> None:
    """What every plan keeps: the file read back has nothing wrong but where the plan says that it could not plan."""
    written = as_written(tables, found)
    state = power(written)
    said = {each.where for each in found.open}
    before = set(wrong(found.before.wiring))
    lacking = {part.parts for part in state.stretches if f"run.{part.parts[0][0]}" in said}
    runs = {f"run.{run}" for parts in lacking for run, _, _ in parts}
    feeds = {f"feed.{name}" for name in found.before.show.feeds}
    mine = [each for each in wrong(written) if each not in before]
    assert [each for each in mine if each.split()[1].removesuffix(".lead") not in runs | feeds] == []
    for part in state.stretches:
        old = any(run == one and a <= last and first <= b for each in found.before.stretches if len(each.supplies) > 1
                  for one, a, b in each.parts for run, first, last in part.parts)  # fmt: skip
        assert len(part.supplies) < 2 or old
    for load in state.supplies:
        if load.supply.name in found.new.names:
            if np.isnan(load.amps):  # what its ground is joined with collapses, or is not known: that is said
                assert said or before
                continue
            assert load.amps <= 0.8 * load.supply.amps + 1e-6  # Common practice, no source: at most 80 %
            assert any(feed.supply == load.supply.name for feed in written.show.feeds.values())
    for name, run in found.before.show.runs.items():  # nothing else of a run is changed, and no cut is taken out
        now = written.show.runs[name]
        assert set(now.power_cuts) >= set(run.power_cuts)
        assert run.power_joined or not now.power_joined
        assert now.model_copy(update={"power_cuts": run.power_cuts, "power_joined": run.power_joined}) == run


@examples(4, 80, phases=SLOW)
@given(shows(), st.booleans())
def test_what_is_planned_holds_once_it_is_in_the_file(tables: dict, bare: bool) -> None:
    # Judge: `power`'s findings on the file as it is read back.
    if bare:
        tables = tables | {"supply": {}, "feed": {}}
        for box in tables["controller"].values():
            box.pop("logic", None)
    held(tables, plan(wire(read(tomli_w.dumps(tables)).show), KINDS))


@examples(8, 120, phases=SLOW)
@given(anything(), st.lists(st.sampled_from([*KINDS, Kind(12.0, 5.0, 2), Kind(5.0, 8.0, 1)]), min_size=1, max_size=3))
def test_any_show_gets_supplies_or_words(tables: dict, kinds: list[Kind]) -> None:
    wiring = wired_or_none(tables)
    if wiring is None:
        return
    found = plan(wiring, list(dict.fromkeys(kinds)))
    held(tables, found)
    lit = {run for part in found.after.stretches if part.trees for run, _, _ in part.parts}
    said = {each.where for each in found.open}
    for part in found.after.stretches:
        assert part.trees or f"run.{part.parts[0][0]}" in said or part.parts[0][0] in lit
    for kind in kinds:
        if kind.count is not None:
            bought = [found.after.show.supplies[name] for name in found.new.names]
            assert sum((each.volts, each.amps) == (kind.volts, kind.amps) for each in bought) <= kind.count


@pytest.mark.parametrize("pixels", [(100, 100, 100), (60, 140, 90, 30)])
def test_the_volts_of_a_planned_show_are_those_of_ngspice(pixels: tuple[int, ...]) -> None:
    # Judge: ngspice, on a netlist that tests/rig/ngspice.py makes from the tables of the written file.
    runs = {f"r{at}": line_at(3.0 * at, each, 0.5 * at) for at, each in enumerate(pixels)}
    tables = row(runs, kinds={"lamp": {"awg": 18, "min_volts": 10.0}}, level=0.8)
    found = plan(wired(tables), [Kind(12.0, 12.5)])
    assert len(found.new.names) > 1
    assert found.new.cuts
    state = power(as_written(tables, found))
    text = with_feeds(
        with_supplies(edited(tomli_w.dumps(tables), found.before.show, found.after.show, ""),
                      map(found.after.show.supplies.get, found.new.names), "x"),
        found.before.show, map(found.after.show.feeds.get, found.feeds), "x",
    )  # fmt: skip
    volts = ask(netlist(tomllib.loads(text), 0.8, 20.0)).volts
    for name in runs:
        assert np.abs(state.volts(name) - volts[name]).max() < 1e-4
        assert volts[name].min() >= 10.0 + 0.05 * 12 - 1e-6


# --- the choice, against every choice ---------------------------------------------------------------------------------


@examples(40, 400)
@given(
    st.lists(st.tuples(st.floats(0.5, 12.0), st.sampled_from(["one", "both", "two"])), min_size=1, max_size=4),
    st.lists(st.tuples(st.sampled_from([5.0, 8.0, 12.5, 20.0]), st.sampled_from([None, 1, 2])), min_size=1, max_size=2,
             unique_by=lambda each: each[0]),
)  # fmt: skip
def test_no_fewer_supplies_and_no_fewer_watts_would_do(
    wanted: list[tuple[float, str]], sizes: list[tuple[float, int | None]]
) -> None:
    # Judge: every way to share the loads out to boxes, and every set of supplies. Loads are cut finely, into 2000.
    places = {"one": ("one",), "two": ("two",), "both": ("one", "two")}
    kinds = [Kind(12.0, amps, count) for amps, count in sizes]
    loads = [
        Load(np.full(2000, amps / 2000), amps, (), dict.fromkeys(places[where], 1.0), {}) for amps, where in wanted
    ]
    best = None
    for way in product(*(places[where] for _, where in wanted)):
        asked = {
            box: sum(amps for (amps, _), mine in zip(wanted, way, strict=True) if mine == box) for box in ("one", "two")
        }
        margin = 1e-6
        for sets in product(*([_sets(kinds, asked[box] - margin) for box in ("one", "two")])):
            both = [*sets[0], *sets[1]]
            if all(kind.count is None or both.count(kind) <= kind.count for kind in kinds):
                cost = (len(both), sum(kind.amps for kind in both))
                best = cost if best is None else min(best, cost)
    found = choose(loads, kinds, {})
    if best is None:
        assert found is None
        return
    assert found is not None
    cost = (len(found.supplies), sum(kind.amps for _, kind in found.supplies))
    assert cost[0] >= best[0]
    if found.best:
        assert cost[0] == best[0]
        assert cost[1] == pytest.approx(best[1])
    assert fewest(sum(amps for amps, _ in wanted), kinds) <= best[0]
    # Every pixel once, no supply over its 80 %.
    given_ = [0.0] * len(found.supplies)
    taken = [np.zeros(2000, int) for _ in loads]
    for piece in found.pieces:
        given_[piece.supply] += float(loads[piece.load].amps[piece.first : piece.end].sum())
        taken[piece.load][piece.first : piece.end] += 1
        assert found.supplies[piece.supply][0] in loads[piece.load].away
    assert all((each == 1).all() for each in taken)
    assert all(amps <= 0.8 * kind.amps + 1e-5 for amps, (_, kind) in zip(given_, found.supplies, strict=True))


def _sets(kinds: list[Kind], amps: float) -> list[tuple[Kind, ...]]:
    """Every set of supplies, none of which could be left out, that carries so much."""
    if amps <= 0:
        return [()]
    most = int(amps / min(0.8 * kind.amps for kind in kinds)) + 1
    every = (some for size in range(1, most + 1) for some in combinations_with_replacement(kinds, size))
    return [some for some in every if sum(0.8 * kind.amps for kind in some) >= amps]


# --- the file and the command -----------------------------------------------------------------------------------------


def test_the_file_keeps_its_comments_and_its_order(tmp_path, here) -> None:
    runs = {name: line_at(10.0 * at, 100) for at, name in enumerate("abc")}
    text = "# the wall\n" + tomli_w.dumps(row(runs, kinds={"lamp": {"awg": 14, "min_volts": 6.0}})) + "# the end\n"
    text = text.replace("[run.b]\n", "[run.b]   # over the door\n")
    file = tmp_path / "wall.toml"
    file.write_text(text)
    said = here("power", file, "--plan", "--supplies", "12v12.5a", "--write")
    assert said.returncode == 0, said.stdout + said.stderr
    assert "Where two supplies meet, cut V+ just before b/64 (power_cuts = [64] in [run.b]); leave" in said.stdout
    assert "fewer cannot carry it" in said.stdout
    new = file.read_text()
    for line_ in text.splitlines():
        assert line_ in new
    assert re.search(r"\[supply\.box-12v\]\nvolts = 12.0\namps = 12.5\nbox = \"box\"\n", new)
    assert here("power", file).returncode == 0
    again = here("power", file, "--plan", "--supplies", "12V12.5A")
    assert "no extra feed is needed" in again.stdout


def test_scripts_get_the_new_supplies_the_cuts_and_the_proof(tmp_path, here) -> None:
    runs = {name: line_at(10.0 * at, 100) for at, name in enumerate("abc")}
    file = tmp_path / "wall.toml"
    file.write_text(tomli_w.dumps(row(runs, kinds={"lamp": {"awg": 14, "min_volts": 6.0}})))
    document = json.loads(here("power", file, "--plan", "--supplies", "12V12.5A", "--json").stdout)
    new = document["new_supplies"]
    assert new == {
        "supplies": ["box-12v", "box-12v-2"], "lower_bound": 2, "proved": True, "fewest_by_rule": True,
        "cuts": [{"run": "b", "pixel": 64}],
    }  # fmt: skip
    loads = {each["supply"]: each for each in document["supplies"]}
    assert all(loads[name]["amps_at_level"] <= 0.8 * loads[name]["amps"] for name in new["supplies"])
    assert json.loads(here("power", file, "--plan", "--json").stdout)["new_supplies"] is None


def test_a_cut_where_volts_change_is_written_though_no_supply_is_bought(tmp_path, here) -> None:
    kinds = {"dot": {"volts": 5.0, "min_volts": 4.0, "awg": 14}, "lamp": {"awg": 14}}
    tables = row({"a": line_at(1.0, 30), "b": line_at(4.0, 30) | {"pixel": "dot"}}, kinds=kinds)
    tables["supply"] = {f"s{volts:g}": {"volts": volts, "amps": 30.0, "box": "box"} for volts in (5.0, 12.0)}
    file = tmp_path / "wall.toml"
    file.write_text(tomli_w.dumps(tables))
    said = here("power", file, "--plan", "--supplies", "12V5A", "--write")
    assert said.returncode == 0, said.stdout + said.stderr
    assert "cut V+ just before b/1 (power_joined = false in [run.b])" in said.stdout
    new = tomllib.loads(file.read_text())
    assert new["run"]["b"]["power_joined"] is False
    assert [*new["supply"]] == ["s5", "s12"]
    assert here("power", file).returncode == 0


@pytest.mark.parametrize("words", ["", "12V", "30A", "12V30A:", "12V30A:x", "0V30A", "12V0A", "12V-3A"])
def test_a_kind_of_supply_that_is_none_is_refused_in_words(words: str, tmp_path, here) -> None:
    file = tmp_path / "wall.toml"
    file.write_text(tomli_w.dumps(row({"a": line_at(1.0, 10)})))
    said = here("power", file, "--plan", "--supplies", words)
    assert said.returncode == 2
    assert "write volts and amperes of each kind" in said.stderr
    assert here("power", file, "--supplies", "12V30A").returncode == 2
