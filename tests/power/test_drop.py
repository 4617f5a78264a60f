"""The voltage at every pixel, against ngspice, closed forms, Kirchhoff's laws and the practice of the trade."""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from math import sqrt

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from patcher.power.circuit import Circuit, circuit
from patcher.power.drop import Drop, solve
from patcher.power.wires import Wire, wire_of
from rig.examples import examples, seeds, tries
from rig.networks import network, string, supplies_of_stretches, uncut
from rig.ngspice import NoOperatingPointError, Tables, ask, joints, netlist, ohms_a_metre, run_ngspice
from rig.shipped import wired

JUDGED = 1e-5
"""Volts by which a pixel may differ from ngspice."""
NETWORKS = tries(25, 80)


def solved(tables: Tables, level: float = 1.0, celsius: float = 20.0) -> tuple[Circuit, Drop]:
    copper = circuit(wired(tables), celsius=celsius)
    return copper, solve(copper, level)


# --- random networks, against ngspice -----------------------------------------------------------------------------


@pytest.mark.parametrize("cut", [True, False])
@pytest.mark.parametrize("seed", seeds(14, 60))
def test_random_networks_as_ngspice_has_them(seed: int, *, cut: bool) -> None:
    # Judge: ngspice 39, on a netlist built from the same tables by tests/rig/ngspice.py.
    tables, level, celsius = network(seed)
    tables = tables if cut else uncut(tables)
    copper, drop = solved(tables, level, celsius)
    assert not drop.collapsed.any(), "the loads of `network` are chosen so that none asks too much"
    verdict = ask(netlist(tables, level, celsius))
    assert list(copper.runs) == list(verdict.volts)
    for run, where in copper.runs.items():
        np.testing.assert_allclose(drop.volts[where], verdict.volts[run], rtol=0, atol=JUDGED, err_msg=run)
        np.testing.assert_array_equal(drop.fed[where], ~np.isnan(verdict.volts[run]), err_msg=run)
    for name, amps in zip(copper.supplies, drop.supply_amps, strict=True):
        assert (0.0 if np.isnan(amps) else amps) == pytest.approx(verdict.amps[name], rel=1e-5, abs=1e-4), name


@pytest.mark.parametrize("seed", seeds(8, 40))
def test_what_asks_too_much_has_no_solution_in_ngspice_either(seed: int) -> None:
    # Judge: ngspice 39. Below a quarter of its rated volts a regulated pixel of rig/ngspice.py draws no more current,
    # so that what has no solution ends down there.
    tables, _, celsius = network(seed)
    for kind in tables["pixel"].values():
        kind["draw"] = "power"
    for level in (2.0, 4.0, 8.0):
        copper, drop = solved(tables, level, celsius)
        verdict = ask(netlist(tables, level, celsius))
        for run, where in copper.runs.items():
            rated = kind_of(tables, run)["volts"]
            sound = ~drop.collapsed[where]
            np.testing.assert_allclose(drop.volts[where][sound], verdict.volts[run][sound], rtol=0, atol=JUDGED)
            assert not (verdict.volts[run][sound] < rated / 4).any()
            assert np.isnan(drop.volts[where][~sound]).all()
        assert drop.collapsed.any() == any(
            (verdict.volts[run] < kind_of(tables, run)["volts"] / 4).any() for run in copper.runs
        )


@pytest.mark.many
def test_the_random_networks_have_everything_in_them() -> None:
    found: Counter[str] = Counter()
    for seed in range(NETWORKS):
        tables, level, celsius = network(seed)
        runs, feeds = tables["run"].values(), tables["feed"]
        net = netlist(tables, level, celsius)
        fed = net.fed()
        found += Counter({
            "unhung": any(not run.get("hung", True) for run in runs),
            "tee": any("same_data_as" in run for run in runs),
            "cut": any("power_cuts" in run for run in runs),
            "not joined": any(not run.get("power_joined", True) for run in runs),
            "gaps": any(run.get("gaps") and run.get("data_in") == "last" for run in runs),
            "nulls": any(run.get("nulls") for run in runs),
            "both draws": len({tables["pixel"][run["pixel"]]["draw"] for run in runs}) == 2,
            "dimmed box": any(box["level"] < 1 for box in tables["controller"].values()),
            "warm": celsius > 30, "cold": celsius < 0, "feet": tables["show"]["units"] == "ft",
            "branch": any("from" in feed for feed in feeds.values()),
            "trunk": any(len(feed["taps"]) > 1 for feed in feeds.values()),
            "every": any(len(tap) > 2 for feed in feeds for tap in joints(tables, feed)),
            "ring": "ring" in feeds,
            "unfed": any(plus not in fed for plus, *_ in net.loads),
            "several supplies on a stretch": max(supplies_of_stretches(net)) > 1,
        })  # fmt: skip
    assert len(found) == 17
    assert min(found.values()) >= NETWORKS // 10, found


@pytest.mark.many
def test_joins_are_where_the_file_puts_them() -> None:
    for seed in range(NETWORKS):
        tables, _, _ = network(seed)
        copper = circuit(wired(tables))
        metre = 0.3048 if tables["show"]["units"] == "ft" else 1.0
        for feed, joins in copper.joins.items():
            named = [tap["run"] for tap in tables["feed"][feed]["taps"]]
            taps = enumerate(joints(tables, feed), start=1)
            wanted = [(number, named[number - 1], *joint[1:]) for number, tap in taps for joint in tap]
            assert [(join.tap, join.run, join.pixel) for join in joins] == [joint[:3] for joint in wanted]
            assert [join.metres for join in joins] == pytest.approx([joint[3] * metre for joint in wanted])
            for join in joins:
                assert copper.ends[join.wire, 1] == join.point
                assert join.run not in copper.runs or join.point == copper.runs[join.run].start + join.pixel - 1
        for run, wires in copper.strings.items():
            points = np.arange(copper.runs[run].start, copper.runs[run].stop)
            np.testing.assert_array_equal(copper.ends[wires], np.column_stack([points[:-1], points[1:]]))
        for run, lead in copper.leads.items():
            assert copper.ends[lead, 1] == copper.runs[run].start
            own = wire_of(tables["run"][run].get("lead_awg"), tables["run"][run].get("lead_mm2"))
            assert copper.bears[lead] == (own or wire_in(kind_of(tables, run))).bears
        for run, wires in copper.strings.items():
            assert (copper.bears[wires] == wire_in(kind_of(tables, run)).bears).all()
        for feed, joins in copper.joins.items():
            assert {copper.bears[join.wire] for join in joins} == {wire_in(tables["feed"][feed]).bears}


def kind_of(tables: Tables, run: str) -> Tables:
    return tables["pixel"][tables["run"][run]["pixel"]]


def wire_in(table: Tables) -> Wire:
    return Wire(table.get("awg"), table.get("mm2"))


# --- Kirchhoff and the balance of energy --------------------------------------------------------------------------


@pytest.mark.many
@pytest.mark.parametrize("draw", ["current", "power", None])
def test_currents_and_energy_balance(draw: str | None) -> None:
    # Source: Kirchhoff's current law at both conductors of every point; conservation of energy (Tellegen's theorem).
    for seed in range(NETWORKS):
        tables, level, celsius = network(seed)
        for kind in tables["pixel"].values():
            kind["draw"] = draw or kind["draw"]
        copper, drop = solved(tables, level, celsius)
        load = np.array([amps for _, _, amps, _ in netlist(tables, level, celsius).loads])
        drawn = np.where(copper.regulated, load * copper.rated / drop.volts, load) * np.where(drop.fed, 1, np.nan)
        drawn, amps, ground = (np.nan_to_num(column) for column in (drawn, drop.amps, drop.ground_amps))
        given_ = np.nan_to_num(drop.supply_amps)
        for along, sign in ((amps, 1), (ground, -1)):
            out = np.zeros(copper.points)
            np.add.at(out, copper.ends[:, 0], sign * along)
            np.add.at(out, copper.ends[:, 1], -sign * along)
            out[: copper.pixels] += sign * drawn
            out[list(copper.supplies.values())] -= sign * given_
            assert np.abs(out).max() < 1e-5
        if draw == "current":
            assert given_.sum() == pytest.approx(drawn.sum(), abs=1e-5)
        warm = (copper.ohms * (amps**2 + ground**2)).sum()
        into = (copper.volts * given_).sum()
        assert into == pytest.approx(np.nansum(drop.volts * drawn) + warm, rel=1e-6, abs=1e-5)


# --- closed forms -------------------------------------------------------------------------------------------------


def test_the_judge_on_the_worked_ladder() -> None:
    # Source: the same string. The netlist here is by hand: it holds tests/rig/ngspice.py's reading of ngspice.
    cells = [f"r{n} a{n} a{n + 1} {2 * 0.03331 * 0.0508}\ni{n} a{n} 0 0.06" for n in range(1, 101)]
    deck = "\n".join(["*", "v1 s 0 5", "rs1 s a1 0.1m", "rs2 s a100 0.1m", *cells, ".op", ".end", ""])
    found = run_ngspice(deck)
    assert min(found[f"v(a{n})"] for n in range(1, 101)) == pytest.approx(4.750954244, abs=5e-10)


@examples(25, 100)
@given(
    pixels=st.integers(1, 300), milliamperes=st.floats(0.1, 5), pitch=st.floats(0.01, 0.2), celsius=st.floats(-30, 70)
)
def test_a_ladder_fed_at_one_end(pixels: int, milliamperes: float, pitch: float, celsius: float) -> None:
    # Source: the arithmetic series: the k-th pair of wires from the far end bears k pixels, so the drop is
    # i·r·(1 + 2 + … + n) where the feed's wire is as long as a pitch, r being both conductors of one.
    tables = string(pixels, length=pitch, channel_ma=milliamperes, pitch=pitch)
    tables["feed"]["feed-1"]["awg"] = tables["pixel"]["lamp"]["awg"]
    _, drop = solved(tables, celsius=celsius)
    each = 2 * pitch * ohms_a_metre({"awg": 20}, celsius)
    number = np.arange(1, pixels + 1)
    before = number * pixels - number * (number - 1) / 2
    np.testing.assert_allclose(drop.volts, 5 - 3 * milliamperes / 1000 * each * before, atol=1e-9)
    last = 5 - 3 * milliamperes / 1000 * each * pixels * (pixels + 1) / 2
    assert drop.volts[-1] == pytest.approx(last, abs=1e-9)


@examples(30, 100)
@given(
    volts=st.floats(3, 48), metres=st.floats(0.1, 200), awg=st.integers(10, 28),
    part=st.one_of(st.floats(0, 9), st.sampled_from([1 - 1e-9, 1 - 1e-6, 1 + 1e-6, 1 + 1e-9, 2.0, 4.0])),
)  # fmt: skip
@example(volts=13.3, metres=1.0, awg=13, part=2.0)
@example(volts=3.0, metres=1.0, awg=13, part=2.0)
@example(volts=4.0, metres=1.0, awg=20, part=4.0)
def test_one_regulated_pixel_behind_one_wire(volts: float, metres: float, awg: int, part: float) -> None:
    # Source: u = E − R·P/u, a quadratic equation: u = (E + √(E² − 4RP)) / 2, and nothing beyond 4RP = E².
    ohms = 2 * metres * ohms_a_metre({"awg": awg}, 20.0)
    watts = part * volts**2 / (4 * ohms)
    assume(watts <= 300_000)  # a show file takes no more amperes of a pixel
    tables = string(1, length=metres, volts=12.0, channel_ma=watts / 12.0 / 3 * 1000, draw="power")
    tables["supply"]["supply"]["volts"], tables["feed"]["feed-1"]["awg"] = volts, awg
    _, drop = solved(tables)
    if abs(part - 1) < 1e-12:
        return
    assert drop.collapsed.tolist() == [part > 1]
    if part < 1:
        assert drop.volts[0] == pytest.approx((volts + sqrt(volts**2 * (1 - part))) / 2, rel=1e-6)
        assert drop.supply_amps[0] == pytest.approx(watts / drop.volts[0], rel=1e-5, abs=1e-9)
    else:
        assert np.isnan(drop.volts[0])


@examples(25, 100)
@given(st.floats(0.02, 0.9), st.floats(0.01, 0.99), st.integers(1, 40))
def test_a_regulated_pixel_beside_those_that_sink_the_volts(left: float, part: float, metres: int) -> None:
    # Source: as above, with E' = what the current of the others leaves of E: low volts are no collapse while there is
    # a solution.
    ohms = 2 * metres * ohms_a_metre({"awg": 12}, 20.0)
    rest = 12 * left
    watts, amps = part * rest**2 / (4 * ohms), (12 - rest) / ohms
    none: dict = {}
    copper = Circuit(
        3, {"a": slice(0, 2)}, {"s": 2}, np.array([12.0]), np.array([[2, 0], [0, 1]]), np.array([ohms / 2, 1e-9]),
        np.ones(2, bool), np.full(2, np.inf), none, none, none, np.zeros(2), np.array([watts / 12, amps]),
        np.full(2, 12.0), np.array([True, False]),
    )  # fmt: skip
    drop = solve(copper, 1.0)
    assert not drop.collapsed.any()
    assert drop.volts[0] == pytest.approx((rest + sqrt(rest**2 * (1 - part))) / 2, abs=1e-5)


@pytest.mark.parametrize(
    ("volts", "ohms", "watts"),
    [(6.3, 3.72, 4.075330910353944), (32.2, 0.1, 3960.376391045591), (42.2, 1.05, 647.8289061663213),
     (30.4, 1.48, 238.51196551141703), (31.8, 3.92, 98.53553806544807)],
)  # fmt: skip
def test_where_the_first_step_of_newton_has_no_slope_there_is_still_an_answer(
    volts: float, ohms: float, watts: float
) -> None:
    # Source: as above: beyond 4RP = E² there is no solution. These were looked for: at the volts of the first step the
    # wire's conductance is that of the pixel to the last digit, and their difference is no matrix that can be factored
    assert 4 * ohms * watts > volts**2
    none: dict = {}
    copper = Circuit(
        2, {"a": slice(0, 1)}, {"s": 1}, np.array([volts]), np.array([[1, 0]]), np.array([ohms / 2]), np.ones(1, bool),
        np.full(1, np.inf), none, none, none, np.zeros(1), np.array([watts / volts]), np.full(1, volts),
        np.array([True]),
    )  # fmt: skip
    drop = solve(copper, 1.0)
    assert drop.collapsed.all()
    assert np.isnan(drop.volts).all()


def test_a_long_regulated_string_up_to_the_edge_and_beyond() -> None:
    # Judge: ngspice 39, a thousandth of the level before the edge that the program finds, and a thousandth behind it.
    tables = string(60, length=3.0, channel_ma=60.0, draw="power")
    tables["run"]["b"] = {"pixel": "lamp", "pixels": 5}
    tables["controller"]["box"]["port"]["2"] = ["b"]
    tables["supply"]["other"] = {"volts": 5.0, "amps": 5.0}
    tables["feed"]["other-wire"] = {"supply": "other", "awg": 14, "taps": [{"run": "b", "pixel": 3, "length": 1.0}]}
    copper = circuit(wired(tables))
    low, high = 0.0, 2.0
    assert solve(copper, high).collapsed[:60].all()
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if solve(copper, middle).collapsed.any() else (middle, high)
    before, behind = solve(copper, low * 0.999), solve(copper, low * 1.001)
    np.testing.assert_allclose(before.volts[:60], ask(netlist(tables, low * 0.999)).volts["a"], rtol=0, atol=JUDGED)
    assert before.volts[59] < 4.0
    with suppress(NoOperatingPointError):
        assert ask(netlist(tables, low * 1.001)).volts["a"].min() < 5.0 / 4
    assert behind.collapsed.tolist() == [True] * 60 + [False] * 5
    np.testing.assert_allclose(behind.volts[60:], ask(netlist(tables, low * 1.001)).volts["b"], rtol=0, atol=JUDGED)


@pytest.mark.parametrize(("milliamperes", "volts"), [(1.0, 12.0), (5.0, 12.0), (20.0, 12.0), (20.0, 5.0)])
def test_regulated_runs_joined_by_a_lead_of_no_length_have_a_solution(milliamperes: float, volts: float) -> None:
    # Judge: ngspice 39. A lead is of length 0 where the file says nothing: so little copper must not let rounding keep
    # Newton's method from its end.
    tables = string(60, channel_ma=milliamperes, volts=volts, draw="power")
    tables["supply"]["supply"]["volts"] = volts
    tables["run"]["b"] = {"pixel": "lamp", "pixels": 60}
    tables["controller"]["box"]["port"]["1"] = ["a", "b"]
    _, drop = solved(tables)
    assert not drop.collapsed.any()
    verdict = ask(netlist(tables, 1.0))
    np.testing.assert_allclose(drop.volts, np.concatenate(list(verdict.volts.values())), rtol=0, atol=JUDGED)


# --- what is not fed, and what is not known -----------------------------------------------------------------------


def two_strings(**first: object) -> Tables:
    """Run a of pixels of a kind of its own, run b on another port, each with its own supply and feed."""
    tables = string(6)
    tables["pixel"]["other"] = tables["pixel"]["lamp"] | {"idle_ma": 1.0}
    tables["run"]["a"] |= {"pixel": "other"} | first
    tables["run"]["b"] = {"pixel": "lamp", "pixels": 4}
    tables["controller"]["box"]["port"]["2"] = ["b"]
    tables["supply"]["second"] = {"volts": 5.0, "amps": 5.0}
    tables["feed"]["wire-b"] = {"supply": "second", "awg": 14, "taps": [{"run": "b", "pixel": 1, "length": 1.0}]}
    return tables


@pytest.mark.parametrize("lacks", ["awg", "pitch", "channel_ma", "idle_ma", "volts of power", "feed"])
@pytest.mark.parametrize("together", [False, True])
def test_what_is_not_said_leaves_unknown_what_hangs_together_with_it(lacks: str, together: bool) -> None:
    tables = two_strings()
    if lacks == "feed":
        del tables["feed"]["feed-1"]["awg"]
    elif lacks == "volts of power":
        del tables["pixel"]["other"]["volts"]
        tables["pixel"]["other"]["draw"] = "power"
    else:
        del tables["pixel"]["other"][lacks]
    if together:
        tables["controller"]["box"]["port"] = {"1": ["a", "b"]}
    copper, drop = solved(tables)
    assert drop.fed.all()
    assert not drop.collapsed.any()
    a, b = copper.runs["a"], copper.runs["b"]
    assert not drop.known[a].any()
    assert np.isnan(drop.volts[a]).all()
    assert (drop.known[b] == (not together)).all()
    assert (np.isnan(drop.volts[b]) == together).all()
    if not together:
        assert drop.supply_amps[1] == pytest.approx(4 * 0.06)


def test_volts_that_nothing_needs_may_stay_unsaid() -> None:
    tables = two_strings()
    del tables["pixel"]["other"]["volts"]
    _, drop = solved(tables)
    assert drop.known.all()
    assert not np.isnan(drop.volts).any()


def unfed(case: str) -> tuple[Tables, list[bool]]:
    """A show, and whether each pixel of its runs a and b is fed."""
    tables = two_strings()
    if case == "no feed":
        del tables["feed"]["feed-1"]
        return tables, [False] * 6 + [True] * 4
    if case == "cut":
        tables["run"]["a"]["power_cuts"] = [4]
        return tables, [True] * 3 + [False] * 3 + [True] * 4
    del tables["feed"]["wire-b"]
    if case == "not joined":
        tables["controller"]["box"]["port"] = {"1": ["a", "b"]}
        tables["run"]["b"]["power_joined"] = False
    elif case == "tee":
        del tables["controller"]["box"]["port"]["2"]
        tables["run"]["b"] |= {"same_data_as": "a", "pixels": 6}
        return tables, [True] * 6 + [False] * 6
    return tables, [True] * 6 + [False] * 4


@pytest.mark.parametrize("draw", ["current", "power"])
@pytest.mark.parametrize("case", ["no feed", "cut", "not joined", "tee", "port of its own"])
def test_what_no_supply_reaches_is_not_fed_and_draws_nothing(case: str, draw: str) -> None:
    # Judge: ngspice 39, without the pixels to which no V+ leads.
    tables, fed = unfed(case)
    for kind in tables["pixel"].values():
        kind["draw"] = draw
    copper, drop = solved(tables)
    assert drop.fed.tolist() == fed
    assert np.isnan(drop.volts).tolist() == [not there for there in fed]
    assert drop.known.all()
    assert not drop.collapsed.any()
    verdict = ask(netlist(tables, 1.0))
    np.testing.assert_allclose(drop.volts, np.concatenate(list(verdict.volts.values())), rtol=0, atol=JUDGED)
    assert np.nan_to_num(drop.supply_amps) == pytest.approx(list(verdict.amps.values()), abs=1e-6)
    assert len(drop.volts) == sum(where.stop - where.start for where in copper.runs.values())


@pytest.mark.parametrize("case", ["cut", "not joined", "tee"])
def test_what_is_not_fed_makes_nothing_else_unknown(case: str) -> None:
    tables, fed = unfed(case)
    tables["pixel"]["dark"] = {"colour_order": "RGB", "awg": 20, "pitch": 0.05}
    if case == "cut":
        tables["controller"]["box"]["port"]["1"] = ["a", "c"]
        tables["run"]["c"] = {"pixel": "dark", "pixels": 2}
        fed += [False] * 2
    else:
        tables["run"]["b"]["pixel"] = "dark"
    _, drop = solved(tables)
    assert drop.fed.tolist() == fed
    assert np.isnan(drop.volts).tolist() == [not there for there in fed]


def test_a_show_without_copper() -> None:
    tables = string(3)
    del tables["feed"], tables["supply"]
    _, drop = solved(tables)
    assert not drop.fed.any()
    assert np.isnan(drop.volts).all()
    assert drop.supply_amps.tolist() == []


def test_a_wire_to_a_run_that_is_not_up_carries_on_to_one_that_is() -> None:
    # Source: Ohm's law: the trunk's whole length, through the joint on the run that is not hung.
    tables = two_strings(hung=False)
    taps = [{"run": "a", "pixel": 6, "length": 3.0}, {"run": "b", "pixel": 1, "length": 2.0}]
    tables["feed"] = {"wire": {"supply": "second", "awg": 14, "taps": taps}}
    _, drop = solved(tables)
    assert drop.volts[0] == pytest.approx(5.0 - 4 * 0.06 * 2 * 5.0 * ohms_a_metre({"awg": 14}, 20.0), abs=1e-9)
