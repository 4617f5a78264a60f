"""The plan of feeds: its counts against every way of wiring short rails, and what it writes against the whole show."""

import random
from itertools import combinations, pairwise

import numpy as np
import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial.distance import cdist

from patcher.power import shortfalls
from patcher.power.feed_plan import GAUGES, Plan, plan
from patcher.power.feeds import least_borne
from patcher.power.flow import power
from patcher.power.stretches import roots
from patcher.power.strip import pixel_places, supply_place
from patcher.power.wire_trees import cheapest_tree, trunks
from patcher.power.wires import Wire
from patcher.show.parser import read
from patcher.show.text_edits import with_feeds
from patcher.wiring import problems, wire
from rig.examples import examples, seeds
from rig.feed_lines import AT_BOX, BOX, line, shows
from rig.power_show import cut_as_said, fed, show, tap
from rig.shipped import wired
from rig.wirings import Bench

SIZES = [Wire(awg=18), Wire(awg=16), Wire(awg=14), Wire(awg=12), Wire(awg=10), Wire(mm2=1.5), Wire(mm2=2.5)]

# ─── The count, against every way of wiring ──────────────────────────────────────────────────────────────────────────


def rail(pick: random.Random) -> tuple[dict, tuple[Wire, ...]]:
    """A show of one rail of up to 8 pixels, in one run or two, with the wires to choose from."""
    pixels, pitch = pick.randint(1, 8), round(pick.uniform(0.1, 1.5), 2)
    form = pick.choice(("line", "fold", "anywhere"))
    at = [[round(number * pitch, 3), 0.0] for number in range(pixels)]
    if form == "fold":
        at = [[x, 0.0] if 2 * n < pixels else [at[pixels - 1 - n][0], 0.2] for n, (x, _) in enumerate(at)]
    elif form == "anywhere":
        at = [[round(pick.uniform(0, 4), 2), round(pick.uniform(0, 4), 2)] for _ in range(pixels)]
    first = pick.randint(1, pixels)
    ma = round(10 ** pick.uniform(1.5, 3.2), 1)
    kinds = {
        "lamp": {"channel_ma": ma, "idle_ma": 0.0, "min_volts": round(pick.uniform(8, 11.8), 2), "pitch": pitch,
                 "awg": pick.choice((12, 18, 20, 22, 24, 26))},
        "other": {"channel_ma": round(ma * pick.choice((1, 0.3, 3)), 1), "idle_ma": 0.0, "pitch": pitch,
                  "min_volts": round(pick.uniform(8, 11.8), 2), "awg": pick.choice((18, 22, 26))},
    }  # fmt: skip
    runs = {"a": {"shape": "points", "at": at[:first]}}
    if first < pixels:
        lead = {"lead": round(pick.uniform(0.1, 4), 1), "lead_awg": pick.choice((14, 22))}
        runs["b"] = {"shape": "points", "at": at[first:], "pixel": pick.choice(("lamp", "other"))} | lead
    box = {"at": [round(pick.uniform(-8, 8), 1), round(pick.uniform(-8, 8), 1)]}
    supplies = {"s": {"volts": 12.0, "amps": 400.0, "box": "box"}}
    return show(runs, {}, kinds=kinds, box=box, supplies=supplies), tuple(pick.sample(SIZES, pick.randint(1, 3)))


def bench(tables: dict, gauges: tuple[Wire, ...], margin: float = 0.0) -> Bench:
    ohms, bears, amps, least, strings, places = [], [], [], [], [], [tuple(tables["controller"]["box"]["at"])]
    regulated = []
    for run in tables["run"].values():
        kind = tables["pixel"][run["pixel"]]
        string, lead = Wire(awg=kind["awg"]), Wire(awg=run.get("lead_awg", kind["awg"]))
        pixels = len(run["at"])
        if amps:
            ohms.append(run["lead"] * lead.ohms())
            bears.append(lead.bears)
        ohms += [kind["pitch"] * string.ohms()] * (pixels - 1)
        bears += [string.bears] * (pixels - 1)
        amps += [3 * kind["channel_ma"] / 1000] * pixels
        regulated += [kind.get("draw") == "power"] * pixels
        least += [kind["min_volts"] + margin * kind["volts"]] * pixels
        strings += [string.bears] * pixels
        places += [tuple(place) for place in run["at"]]
    wires = [(gauge.ohms(), gauge.bears) for gauge in gauges]
    return Bench(ohms, bears, amps, least, strings, 12.0, places, wires, 0.15, regulated)


def against_every_wiring(seed: int, *, regulated: bool = False) -> str:
    """How a plan came out beside the fewest taps of all wirings; a claim of it that is wrong fails the test."""
    tables, gauges = rail(random.Random(seed))
    if regulated:
        for kind in tables["pixel"].values():
            kind["draw"] = "power"
        for run in tables["run"].values():
            run["at"] = run["at"][:3]
    margin = (0.0, 0.05, 0.01)[seed % 3]
    found, every = plan(wired(tables), gauges=gauges, margin=margin), bench(tables, gauges, margin)
    if not found.feeds:
        assert found.open
        return "none" if every.fewest(9) is None else "missed"
    [one] = found.rails
    count = len(one.taps)
    assert 1 <= one.bound <= count
    fewer = every.fewest(count)
    if fewer is not None:
        least, edges, back = fewer
        assert least >= one.bound or back, (seed, least, edges)
        return "beaten"
    return "proved" if one.proved else "fewest, not proved"


@pytest.mark.parametrize("seed", [36, *seeds(6, 36)])
def test_no_wiring_does_with_fewer_taps_than_a_plan_that_is_proved(seed: int) -> None:
    against_every_wiring(seed)


@pytest.mark.parametrize("seed", seeds(5, 12))
def test_nor_where_pixels_are_regulated(seed: int) -> None:
    against_every_wiring(seed, regulated=True)


@pytest.mark.long
def test_plans_are_nearly_always_the_fewest_and_nearly_always_proved() -> None:
    every = [against_every_wiring(seed) for seed in range(1000, 1150)]
    # Where no wiring of up to nine taps is enough, for no fuse fits a thin string, there is none to plan.
    outcomes = [outcome for outcome in every if outcome != "none"]
    assert len(outcomes) > 0.6 * len(every)
    shares = {outcome: outcomes.count(outcome) / len(outcomes) for outcome in set(outcomes)}
    print(shares)
    assert shares["proved"] > 0.85
    assert shares.get("missed", 0.0) + shares.get("beaten", 0.0) < 0.05


JUMPER = show(
    {"a": {"pixel": "thick", "shape": "points", "at": [[0.0, 0.05], [8.0, 0.0]]},
     "b": {"pixel": "heavy", "shape": "points", "at": [[8.5 + 0.05 * n, 0.0] for n in range(4)],
           "lead": 9.0, "lead_awg": 26}},
    {}, box={"at": [0.0, 0.0]}, supplies={"s": {"volts": 12.0, "amps": 100.0, "box": "box"}},
    kinds={"thick": {"channel_ma": 3.3, "idle_ma": 0.0, "min_volts": 6.0, "awg": 8, "pitch": 2.0},
           "heavy": {"channel_ma": 400.0, "idle_ma": 0.0, "min_volts": 11.52, "awg": 8, "pitch": 0.02}},
)  # fmt: skip


def test_only_a_jumper_out_of_a_thick_rail_may_do_with_fewer_than_the_bound() -> None:
    # The premise of the bound (rail.py, 2): taps give current. Here one takes it out of a rail as thick as a bar.
    gauges = (Wire(awg=18),)
    [one] = plan(wired(JUMPER), gauges=gauges, margin=0.0).rails
    least, _, back = bench(JUMPER, gauges).fewest(len(one.taps))
    assert (least, back) == (4, True)
    assert one.bound == len(one.taps) == 5


@examples(12, 40)
@given(st.data())
def test_fewer_taps_than_wires_can_bear_are_never_enough(data: st.DataObject) -> None:
    pixels = data.draw(st.integers(1, 7))
    amps = np.array(data.draw(st.lists(st.integers(0, 9), min_size=pixels, max_size=pixels)), float)
    bears = np.array(data.draw(st.lists(st.integers(1, 12), min_size=pixels - 1, max_size=pixels - 1)), float)
    gauge = data.draw(st.sampled_from([Wire(awg=18), Wire(awg=14), Wire(mm2=0.5)]))
    bound = least_borne(bears, amps, (gauge,))
    # From memory: the largest blade that protects each, rated for 125 % of what it carries (NFPA 70, 210.20(A), 215.3).
    limit = {18: 5.0, 14: 15.0, None: 3.0}[gauge.awg] / 1.25

    def borne(taps: tuple[int, ...]) -> bool:
        # Judge: HiGHS, by scipy's linprog: currents of the taps with which no wire of the rail carries too much.
        onward = np.tril(np.ones((pixels, pixels)))[:-1][:, list(taps)]
        drawn = np.cumsum(amps)[:-1]
        rows, right = np.vstack([onward, -onward]), np.concatenate([bears + drawn, bears - drawn])
        found = linprog(
            np.zeros(len(taps)), A_ub=rows if pixels > 1 else None, b_ub=right if pixels > 1 else None,
            A_eq=np.ones((1, len(taps))), b_eq=[amps.sum()], bounds=(None, limit),
        )  # fmt: skip
        return bool(found.success)

    for count in range(1, min(bound, pixels + 1)):
        assert not any(borne(taps) for taps in combinations(range(pixels), count))
    along = least_borne(bears, amps, (Wire(awg=10),)) if amps.sum() <= 24 else 0
    if 1 <= along <= pixels:
        limit = 24.0
        assert any(borne(taps) for taps in combinations(range(pixels), along))


@pytest.mark.parametrize(("amps", "bound"), [(0.0, 1), (4.0, 1), (4.01, 2), (8.0, 2), (8.01, 3)])
def test_as_many_taps_as_their_fuses_ask_for(amps: float, bound: int) -> None:
    # By hand: a blade of 5 A is the largest that protects AWG 18, and carries 4 A for hours.
    assert least_borne(np.full(2, 100.0), np.full(3, amps / 3), (Wire(awg=18),)) == bound


# ─── The tree ────────────────────────────────────────────────────────────────────────────────────────────────────────


@examples(25, 100)
@given(st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20)), min_size=2, max_size=12))
def test_trunks_are_the_cheapest_tree_and_begin_where_an_earlier_one_has_a_tap(spots: list) -> None:
    places = np.array(spots)
    paths = trunks(cheapest_tree(places))
    passed = [point for path in paths for point in path[1:]]
    assert sorted(passed) == list(range(1, len(places)))
    reached = {0}
    for path in paths:
        assert path[0] in reached
        reached |= set(path)
    length = sum(np.hypot(*(places[a] - places[b])) for path in paths for a, b in pairwise(path))
    # Judge: scipy.sparse.csgraph. Points in one place stand a hair apart there, since it takes 0 for no edge.
    assert length == pytest.approx(minimum_spanning_tree(cdist(places, places) + 1e-6).sum(), abs=2e-5)


def test_at_a_fork_the_path_goes_on_where_most_wire_hangs() -> None:
    places = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, -0.5], [1.0, 5.0], [1.0, 9.0]])
    assert trunks(cheapest_tree(places)) == [(0, 1, 3, 4), (1, 2)]


# ─── Whole shows ─────────────────────────────────────────────────────────────────────────────────────────────────────


def written(tables: dict, end: str = "\n") -> tuple[str, str, Plan]:
    text = ("# by hand\n" + tomli_w.dumps(tables) + "# the end\n").replace("\n", end)
    wiring = wire(read(text).show)
    found = plan(wiring)
    return text, with_feeds(text, wiring.show, [found.after.show.feeds[name] for name in found.feeds], "planned"), found


@examples(5, 40)
@given(shows(), st.sampled_from(["\n", "\r\n"]))
def test_a_plan_as_written_holds_and_leaves_all_else_as_it_was(tables: dict, end: str) -> None:
    text, new, found = written(tables, end)
    if found.feeds:
        assert new.startswith(text)
        assert new.count("\n") == new.count(end)
    reading = read(new)
    assert reading.findings == ()
    wiring = wire(reading.show)
    assert problems(wiring) == []
    show_, before = wiring.show, read(text).show
    assert {name: feed for name, feed in show_.feeds.items() if name not in found.feeds} == before.feeds
    assert set(show_.feeds) == {*before.feeds, *found.feeds}
    state = power(wiring)
    added = [feed for feed in show_.feeds.values() if feed.name in found.feeds]
    # Not overloaded by the plan: what was below 80 % of the rating is so still.
    old = {load.supply.name: load for load in found.before.supplies}
    for load in state.supplies:
        assert load.amps <= load.limit + 1e-6 or old[load.supply.name].amps > load.limit - 1e-6
    assert all(not show_.supplies[feed.supply].spare for feed in added if feed.supply)
    for feed in added:
        for run in (show_.runs[joint.run] for joint in feed.taps):
            assert run.hung
            assert show_.supplies[roots(show_)[feed.name].supply].volts == show_.type_of(run).volts
    # What is unfed or sags is planned or said.
    wrong = {finding.rule for finding in shortfalls.findings(found.after.wiring, found.after)}
    assert bool(wrong & {"unfed", "low-volts", "collapse"}) == any(f.severity != "note" for f in found.open)
    again = plan(wiring)
    assert again.feeds == ()
    assert {finding.where for finding in again.open} == {finding.where for finding in found.open}
    for name, load in {load.feed.name: load for load in found.after.feeds}.items():
        assert load.amps == pytest.approx({load.feed.name: load for load in state.feeds}[name].amps, rel=1e-4, abs=1e-6)


def test_lengths_are_straight_lines_with_slack_rounded_up_in_the_files_unit() -> None:
    for units, metre in (("m", 1.0), ("ft", 0.3048)):
        runs = {"a": {"shape": "line", "path": [[0.0, 4.0], [30.0, 4.0]], "pixels": 80}}
        tables = show(runs, {}, box={"at": [0.0, 0.0]}, supplies={"s": {"volts": 12.0, "amps": 90.0, "box": "box"}},
                      units=units)  # fmt: skip
        wiring = wired(tables)
        found = plan(wiring, slack=0.15)
        spots = {("", 0): np.zeros(2)}
        for name in found.feeds:
            feed = found.after.show.feeds[name]
            here = spots["", 0] if feed.supply else spots[feed.source, feed.tap]
            for number, joint in enumerate(feed.taps, start=1):
                there = pixel_places(wiring, joint.run)[joint.pixel - 1]
                tenths = joint.length / metre * 10
                assert tenths == pytest.approx(round(tenths))
                straight = float(np.hypot(*(there - here))) / metre * 11.5
                assert straight - 1e-6 <= tenths < straight + 1 or round(tenths) == 1
                spots[name, number] = here = there
        assert sum(found.metres.values()) == pytest.approx(
            sum(tap.length for name in found.feeds for tap in found.after.show.feeds[name].taps)
        )


@pytest.mark.long
def test_feeds_that_do_not_suffice_are_added_to_from_their_own_supply() -> None:
    supplies = {"far": {"volts": 12.0, "amps": 90.0}, **AT_BOX}
    box = BOX | {"logic": {"supply": "far", "amps": 0.1}}
    # A string that a fuse of 20 A protects: only the volts count.
    kinds = {"lamp": {"awg": 12, "min_volts": 10.5}}
    tables = show({"a": line(200)}, {"f": fed(tap("a"), supply="far")}, supplies=supplies, box=box, kinds=kinds)
    found = plan(wired(tables))
    assert found.open == ()
    assert found.after.show.feeds["f"] == wired(tables).show.feeds["f"]
    assert {found.after.show.feeds[name].supply for name in found.feeds} == {"far"}
    assert found.rails[0].supply == "far"
    assert len(found.rails[0].taps) == sum(len(found.after.show.feeds[name].taps) for name in found.feeds) == 1
    assert len(plan(wired(tables | {"feed": {}})).rails[0].taps) == 2


@pytest.mark.long
def test_feeds_that_are_there_count_where_the_voltage_collapses() -> None:
    kinds = {"foam": {"draw": "power", "channel_ma": 25.0, "min_volts": 11.0}}
    tables = show({"a": line(150) | {"pixel": "foam"}}, {"f": fed(tap("a"), awg=10, fuse=30)}, kinds=kinds,
                  supplies=AT_BOX, box=BOX)  # fmt: skip
    assert power(wired(tables)).drop.collapsed.all()
    found = plan(wired(tables), margin=0.0)
    assert found.open == ()
    alone = plan(wired(tables | {"feed": {}}), margin=0.0)
    assert found.rails[0].bound < alone.rails[0].bound
    assert len(found.rails[0].taps) < len(alone.rails[0].taps)


def test_where_no_supply_is_strong_enough_it_is_cut_as_said_and_planned_again() -> None:
    supplies = {name: {"volts": 12.0, "amps": 6.0, "box": "box"} for name in ("r", "s", "t")}
    tables = show({"a": line(100), "b": line(100, 1.0)}, {}, supplies=supplies, box=BOX)
    cuts = 0
    while (found := plan(wired(tables))).open:
        [wrong] = list(found.open)
        assert (wrong.rule, wrong.severity) == ("no-plan", "warning")
        assert "most left, 4.8 A of 80 % of its rating" in wrong.says
        assert "or lower the level" in wrong.remedy
        cuts += 1
        assert cuts < 3
        tables = cut_as_said(tables, wrong)
        feeds = {name: found.after.show.feeds[name] for name in found.feeds}
        tables |= {"feed": {n: f.model_dump(by_alias=True, exclude_none=True) for n, f in feeds.items()}}
        for feed in tables["feed"].values():
            feed["taps"] = [dict(joint) for joint in feed["taps"]]
    assert cuts == 2
    assert {feed.supply for feed in found.after.show.feeds.values() if feed.supply} == {"r", "s", "t"}
    assert all(load.amps <= load.limit + 1e-6 for load in found.after.supplies)


@pytest.mark.parametrize("amps", [(6.0, 6.0), (6.0, 6.0, 1.0), (6.0,), (9.0, 7.0), (3.0, 13.0), (0.2, 0.2, 0.2)])
def test_a_cut_is_said_only_where_all_of_it_can_then_be_fed(amps: tuple[float, ...]) -> None:
    # Source: found by a reader: what was behind the cut needed a new supply, which alone would have done for all. 200
    # pixels draw 12.2 A, and each supply is loaded to 80 %.
    supplies = {f"s{number}": {"volts": 12.0, "amps": most, "box": "box"} for number, most in enumerate(amps)}
    tables = show({"a": line(100), "b": line(100, 1.0)}, {}, supplies=supplies, box=BOX)
    [wrong] = plan(wired(tables)).open
    assert ("cut V+" in wrong.remedy) == (0.8 * sum(amps) > 12.2)
    assert "add a supply of 12 V" in wrong.remedy
    while "cut V+" in wrong.remedy:
        tables = cut_as_said(tables, wrong)
        left = plan(wired(tables)).open
        if not left:
            break
        [wrong] = left
        assert "cut V+" in wrong.remedy


@pytest.mark.parametrize(("idle", "most", "helps"), [(1.0, 1.0, True), (1.0, 0.2, False), (60.0, 6.0, False)])
def test_a_lower_level_is_a_remedy_only_where_it_is_one(idle: float, most: float, helps: bool) -> None:
    # Source: found by a reader: "or lower the level", also at 0.05, and where the file had no supply at all. 200 dark
    # pixels draw 0.2 A, or 12 A.
    supplies = {"s": {"volts": 12.0, "amps": most, "box": "box"}}
    kinds = {"lamp": {"idle_ma": idle}}
    for supplies_, word in ((supplies, helps), ({"s": {"volts": 5.0, "amps": 40.0}}, False), ({}, False)):
        tables = show({"a": line(200)}, {}, supplies=supplies_, box=BOX, kinds=kinds)
        [wrong] = plan(wired(tables)).open
        assert ("lower the level" in wrong.remedy) == word
        if word:
            assert plan(wired(tables), level=0.0).open == ()


@pytest.mark.parametrize("feeds", [{}, {"f": fed(tap("a"))}])
@pytest.mark.parametrize("least", [12.0, 13.0])
def test_a_least_that_no_wire_can_give_is_to_be_corrected(least: float, feeds: dict) -> None:
    # Source: found by a reader: "allow a thicker wire", "lower the level": 12 V are not there at the end of any wire
    tables = show({"a": line(20)}, feeds, supplies=AT_BOX, box=BOX, kinds={"lamp": {"min_volts": least}})
    [wrong] = plan(wired(tables), margin=0.0).open
    assert wrong.remedy == "correct min_volts in [pixel.lamp]"
    tables["pixel"]["lamp"]["min_volts"] = 11.5
    assert plan(wired(tables), margin=0.0).open == ()


ONE_MORE = AT_BOX | {"r": {"volts": 12.0, "amps": 9.0}}


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        (show({"a": line(10)}, {}, supplies={"s": {"volts": 5.0, "amps": 9.0}}, box=BOX),
         "needs 0.6 A at 12 V, and the file has no supply of 12 V"),
        (show({"a": line(100)}, {}, supplies=AT_BOX, box={"at": [-4000.0, 0.0]}),
         "no feeds were found that keep a/1–100 supplied from s, even with AWG 10"),
        (show({"a": line(100)}, {"f": {"supply": "s", "taps": [tap("a")]}}, supplies=AT_BOX, box=BOX),
         "does not say all of what hangs on s"),
        (show({"a": line(100)}, {"f": fed(tap("a")), "g": fed(tap("a", 100), supply="r")}, supplies=ONE_MORE, box=BOX),
         "r and s share its V+"),
    ],
)  # fmt: skip
def test_what_cannot_be_planned_is_said(tables: dict, words: str) -> None:
    found = plan(wired(tables))
    [wrong] = found.open
    assert (wrong.where, found.feeds) == ("run.a", ())
    assert words in wrong.says


def test_the_nearest_supply_that_can_is_taken() -> None:
    boxes = {name: {"address": f"192.0.2.{number}", "ports": 1, "at": [x, 0.0]} | keys
             for number, (name, x, keys) in enumerate(
                 [("here", 0.5, {"port": {"1": ["a"]}}),
                  ("there", 3.0, {"spare": True}), ("away", 9.0, {"spare": True})]
             )}  # fmt: skip
    supplies = {box: {"volts": 12.0, "amps": amps, "box": box} for box, amps in
                (("away", 40.0), ("there", 40.0), ("here", 1.0))}  # fmt: skip
    supplies = {f"s-{name}": supply for name, supply in supplies.items()}
    tables = show({"a": line(20)}, {}, supplies=supplies) | {"controller": boxes}
    boxes["here"]["address"] = "192.0.2.9"
    assert plan(wired(tables)).rails[0].supply == "s-there"
    supplies["s-here"]["amps"] = 30.0
    assert plan(wired(tables)).rails[0].supply == "s-here"


@pytest.mark.long
def test_a_regulated_rail_keeps_its_supply_within_80_percent() -> None:
    kinds = {"foam": {"draw": "power", "channel_ma": 30.0, "min_volts": 8.0}}
    for amps in (11.4, 11.9, 12.4, 14.5):
        supplies = {"s": {"volts": 12.0, "amps": float(amps), "box": "box"}}
        tables = show({"a": line(100) | {"pixel": "foam"}}, {}, kinds=kinds, supplies=supplies, box=BOX)
        found = plan(wired(tables))
        assert bool(found.feeds) != bool(found.open)
        assert found.after.supplies[0].amps <= amps * 0.8 + 1e-9


@pytest.mark.long
def test_what_the_file_does_not_say_of_one_run_leaves_the_others_planned() -> None:
    tables = show({"a": line(100), "b": line(10) | {"pixel": "odd"}}, {}, supplies=AT_BOX, box=BOX,
                  ports={"1": ["a"], "2": ["b"]}, kinds={"odd": {}})  # fmt: skip
    del tables["pixel"]["odd"]["min_volts"]
    found = plan(wired(tables))
    assert {rail_.parts[0][0] for rail_ in found.rails} == {"a"}
    assert [(finding.where, "min_volts" in finding.says) for finding in found.open] == [("run.b", True)]


def test_tees_and_what_is_not_hung() -> None:
    runs = {"a": line(60), "t": line(60, 2.0) | {"same_data_as": "a"}, "u": line(60, 3.0) | {"hung": False}}
    found = plan(wired(show(runs, {}, supplies=AT_BOX, box=BOX)))
    assert {rail_.parts[0][0] for rail_ in found.rails} == {"a", "t"}
    assert all(run.holds for run in found.after.runs)


def test_names_are_new_and_short_enough() -> None:
    long = "a" * 60
    runs = {long: line(10), "b": line(10, 2.0), f"{long[:50]}-feed": line(10, 3.0)}
    ports = {str(number): [name] for number, name in enumerate(runs, start=1)}
    tables = show(runs, {}, supplies=AT_BOX | {"b-feed": {"volts": 12.0, "amps": 1.0}}, box=BOX, ports=ports)
    _, new, found = written(tables)
    assert read(new).findings == ()
    assert len(set(found.feeds)) == len(found.feeds) == 3


def test_wires_are_sorted_by_what_they_resist() -> None:
    # Source: IEC 60228, 6 mm² of class 5 has 3.30 Ω/km; HyperPhysics, AWG 10 has 0.9989 Ω per 1000 ft, 3.28 Ω/km.
    tables = show({"a": line(100)}, {}, supplies=AT_BOX, box={"at": [-12.0, 0.0]}, kinds={"lamp": {"min_volts": 11.0}})
    both = plan(wired(tables), gauges=(Wire(awg=10), Wire(mm2=6.0)))
    alone = plan(wired(tables), gauges=(Wire(awg=10),))
    assert both.rails[0].bound == alone.rails[0].bound
    assert len(both.rails[0].taps) <= len(alone.rails[0].taps)


def test_the_thinnest_wire_that_holds_is_planned() -> None:
    tables = show({"a": line(30)}, {}, supplies=AT_BOX, box=BOX)
    assert {str(Wire(feed.awg)) for feed in plan(wired(tables)).after.show.feeds.values()} == {"AWG 18"}
    assert list(plan(wired(tables)).metres) == ["AWG 18"]


@pytest.mark.long
def test_a_higher_level_wants_no_fewer_taps() -> None:
    kinds = {"lamp": {"min_volts": 11.4}}
    tables = show({"a": line(150)}, {}, supplies=AT_BOX, box=BOX, kinds=kinds)
    counts = [len(plan(wired(tables), level=level, margin=0.0).rails[0].taps) for level in (0.1, 0.4, 0.7, 1.0)]
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]


# ─── Where things stand ──────────────────────────────────────────────────────────────────────────────────────────────


def test_a_run_with_no_picture_lies_to_the_right_from_where_its_lead_ends() -> None:
    runs = {"a": {"pixels": 5, "lead": 2.0}, "b": {"pixels": 3, "lead": 1.0}}
    wiring = wired(show(runs, {}, box={"at": [1.0, 7.0]}))
    assert pixel_places(wiring, "a")[:, 0] == pytest.approx([3.0, 3.1, 3.2, 3.3, 3.4])
    assert pixel_places(wiring, "b")[:, 0] == pytest.approx([4.4, 4.5, 4.6])
    assert set(pixel_places(wiring, "b")[:, 1]) == {7.0}


def test_where_a_supply_stands_is_known_or_what_is_assumed_is_said() -> None:
    def of(box: dict, supply: dict) -> tuple:
        runs = {"a": line(5, 3.0) | {"lead": 4.0}}
        stand = supply_place(wired(show(runs, {}, box=box, supplies={"s": supply})), "s", "a")
        assert stand.cable == (0.0 if "at" in box else 4.0)
        return tuple(stand.place), stand.assumed

    supply = {"volts": 12.0, "amps": 1.0}
    assert of({"at": [1.0, 2.0]}, supply | {"box": "box"}) == ((1.0, 2.0), None)
    assert of({"at": [1.0, 2.0]}, supply) == ((1.0, 2.0), "s has no box in the file: taken to stand at box")
    assert of({}, supply | {"box": "box"})[0] == (0.0, 3.0)
    assert "box box has no place" in of({}, supply | {"box": "box"})[1]
    assert of({}, supply)[1].startswith("s has no box in the file: taken to stand at box; box box has no place")


# ─── Thin wire ───────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("pixels", "level"), [(60, 0.9), (90, 0.6), (120, 0.45)])
@pytest.mark.parametrize("at", [[3.0, 6.0], [-3.0, 2.0]])
def test_no_thinner_wire_would_do_with_as_few_taps(pixels: int, level: float, at: list[float]) -> None:
    # Source: the plan itself, offered the thinner wires alone. Found in use: AWG 10 at an end, where AWG 18 did
    wiring = wired(show({"a": line(pixels)}, {}, supplies=AT_BOX, box={"at": at}, level=level))
    found = plan(wiring)
    thickest = max(GAUGES.index(load.wire) for load in found.after.feeds)
    assert not found.open
    for thinner in range(1, thickest + 1):
        other = plan(wiring, gauges=GAUGES[:thinner])
        assert other.open or len(other.rails[0].taps) > len(found.rails[0].taps)
