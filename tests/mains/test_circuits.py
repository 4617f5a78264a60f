"""What sockets and circuits take: sums with a pencil, and over any shows."""

import io
import math
import random
import re
from contextlib import redirect_stdout

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.mains.circuit_findings import findings
from patcher.mains.circuits import MainsCircuit, mains, watts
from patcher.mains.energy import Season
from patcher.power.flow import Power, SupplyLoad, power
from patcher.reports.mains_report import document, say
from patcher.show.schema import Supply
from rig.any_power import anything, wired_or_none
from rig.examples import examples
from rig.mains_shows import hut
from rig.shipped import wired


def circuits_of(tables: dict, **keys: float) -> dict[str, MainsCircuit]:
    return {circuit.name: circuit for circuit in mains(power(wired(tables), **keys))}


QUAY = hut(
    {"gable": 100, "jetty": 200},
    {"gable": {"socket": "hut", "efficiency": 0.8}, "jetty": {"socket": "jetty", "power_factor": 0.5}},
    {
        "hut": {"volts": 230.0, "breaker": 16.0, "rcd_ma": 30.0, "circuit": "garden", "other_amps": 2.0},
        "jetty": {"circuit": "garden"},
    },
    level=0.5,
)


def test_a_worked_example() -> None:
    # By hand. A pixel draws 1 mA dark and 60 mA more at full white: 31 mA at level 0.5, 61 mA at 1.
    #   gable: 100 pixels: 0.1 A, 3.1 A, 6.1 A at 12 V: 1.2 W, 37.2 W, 73.2 W; over 0.8: 1.5 W, 46.5 W, 91.5 W.
    #   jetty: 200 pixels: 2.4 W, 74.4 W, 146.4 W; over the usual 0.85: 2.8235 W, 87.529 W, 172.235 W.
    #   At 230 V: gable, the usual power factor 0.6: 46.5 / 138 = 0.33696 A;
    #   jetty, power factor 0.5: 87.529 / 115 = 0.76112 A; other loads 2 A.
    garden = circuits_of(QUAY)["garden"]
    hut_socket, jetty = garden.sockets
    assert hut_socket.watts == pytest.approx((1.5, 46.5, 91.5))
    assert jetty.watts == pytest.approx((2.82353, 87.52941, 172.23529))
    assert garden.watts == pytest.approx((4.32353, 134.02941, 263.73529))
    assert hut_socket.amps.at_level == pytest.approx(2.33696, abs=1e-5)
    assert jetty.amps.at_level == pytest.approx(0.76112, abs=1e-5)
    assert garden.amps.at_level == pytest.approx(3.09808, abs=1e-5)
    assert (garden.volts, garden.breaker, garden.continuous, garden.rcd) == (230, 16, 12.8, True)
    assert (garden.inrush, garden.leakage, garden.most_leakage) == (120, 2, 10)
    assert garden.switch_on == ("jetty", "gable")


def test_energy_of_the_worked_example() -> None:
    # By hand: 6 hours on 30 days are 180 h: 4.32353 W make 0.778235 kWh, 134.02941 W 24.12529 kWh; at 0.30: 7.23759
    season, circuits = Season(6.0, 30, 0.30), list(circuits_of(QUAY).values())
    assert season.energy(circuits) == pytest.approx((0.778235, 24.125294, 47.472353), abs=1e-6)
    assert season.cost(circuits) == pytest.approx((0.2334706, 7.2375882, 14.2417059), abs=1e-6)
    assert Season(6.0, 30, None).cost(circuits) is None


def test_a_level_that_is_asked_for_is_that_of_the_middle_number() -> None:
    whole = circuits_of(QUAY, level=1.0)["garden"]
    assert whole.watts.at_level == pytest.approx(whole.watts.full_white)
    assert circuits_of(QUAY, level=0.0)["garden"].watts.at_level == pytest.approx(whole.watts.dark)


def test_what_is_not_said_is_not_counted_as_nothing() -> None:
    tables = hut({"gable": 10}, {"gable": {"socket": "hut"}}, {"hut": {"other_amps": 1.0}, "shed": {"other_amps": 3.0}})
    found = circuits_of(tables)
    assert math.isnan(found["hut"].amps.at_level)
    assert found["hut"].watts.known
    assert (found["hut"].breaker, found["hut"].rcd, found["hut"].most_leakage) == (None, None, None)
    assert found["shed"].amps == (3.0, 3.0, 3.0)
    assert found["shed"].watts == (0.0, 0.0, 0.0)


def test_a_supply_on_the_shelf_or_without_a_socket_takes_nothing() -> None:
    tables = hut({"gable": 10, "jetty": 10}, {"gable": {"socket": "hut"}, "jetty": {}}, {"hut": {"volts": 120.0}})
    tables["supply"]["shelf"] = {"volts": 12.0, "amps": 30.0, "spare": True, "socket": "hut"}
    assert circuits_of(tables)["hut"].switch_on == ("gable",)


def test_a_circuit_of_the_name_of_a_socket_is_that_sockets() -> None:
    # A socket without a circuit is one of its own name, so that another one can join it
    tables = hut({"gable": 10}, {"gable": {"socket": "shed"}}, {"hut": {"volts": 230.0}, "shed": {"circuit": "hut"}})
    [found] = circuits_of(tables).values()
    assert [load.socket.name for load in found.sockets] == ["hut", "shed"]
    assert found.amps.known


def test_a_supply_into_which_current_flows_gives_nothing_back_to_the_mains() -> None:
    # Where two supplies share one V+ (an error of its own), the stronger one may drive current into the weaker one
    supply = Supply(volts=12.0, amps=5.0, efficiency=0.5)
    assert watts(SupplyLoad(supply, -1.0, -0.5, 2.0, None)) == (0.0, 0.0, 48.0)
    assert math.isnan(watts(SupplyLoad(supply, math.nan, 0.0, 0.0, None)).dark)


def test_a_supply_of_unknown_load_is_switched_on_by_its_rating() -> None:
    # By hand: the unknown one is rated 360 W; 300 pixels take 300 · 0.061 A · 12 V / 0.85 = 258 W, one takes less
    plugged = {name: {"socket": "hut"} for name in ("little", "unknown", "much")}
    tables = hut({"little": 1, "unknown": 1, "much": 300}, plugged, {"hut": {"volts": 230.0}})
    tables["pixel"]["odd"] = {"colour_order": "RGB", "volts": 12.0}
    tables["run"]["run-unknown"]["pixel"] = "odd"
    assert circuits_of(tables)["hut"].switch_on == ("unknown", "much", "little")


numbers = st.fixed_dictionaries(
    {},
    optional={
        "efficiency": st.floats(0.01, 1), "power_factor": st.floats(0.01, 1), "inrush_amps": st.floats(0, 1e6),
        "leakage_ma": st.floats(0, 1e6), "socket": st.sampled_from(["a", "b", "c"]),
    },
)  # fmt: skip
outlets = st.fixed_dictionaries(
    {"volts": st.just(230.0)},
    optional={"other_amps": st.floats(0, 1e6), "circuit": st.sampled_from(["x", "y"]), "breaker": st.just(16.0)},
)


@st.composite
def shows(draw: st.DrawFn, *, wild: bool = False) -> dict:
    """Any show with supplies on any of three sockets."""
    tables = draw(anything(wild=wild))
    for supply in tables["supply"].values():
        supply |= draw(numbers)
    return tables | {"socket": {name: draw(outlets) for name in "abc"}}


def solved(tables: dict) -> Power | None:
    wiring = wired_or_none(tables)
    return None if wiring is None else power(wiring)


@examples(25, 200)
@given(shows())
def test_the_watts_of_all_sockets_are_those_of_all_supplies_on_them(tables: dict) -> None:
    # By arithmetic: volts times amperes of each supply, over its efficiency; amperes over volts and power factor
    if (state := solved(tables)) is None:
        return
    loads = [load for load in state.supplies if load.supply.socket is not None]
    raw = tables["supply"]
    watts = [load.supply.volts * max(load.amps, 0) / raw[load.supply.name].get("efficiency", 0.85) for load in loads]
    factors = [raw[load.supply.name].get("power_factor", 0.6) for load in loads]
    found = mains(state)
    assert sum(circuit.watts.at_level for circuit in found) == pytest.approx(math.fsum(watts), nan_ok=True)
    others = sum(socket.get("other_amps", 0) for socket in tables["socket"].values())
    amps = math.fsum(w / 230 / factor for w, factor in zip(watts, factors, strict=True)) + others
    assert sum(circuit.amps.at_level for circuit in found) == pytest.approx(amps, nan_ok=True)
    assert sorted(name for circuit in found for name in circuit.switch_on) == sorted(x.supply.name for x in loads)


@examples(25, 200)
@given(shows(), st.randoms(use_true_random=False))
def test_the_order_of_the_tables_does_not_matter(tables: dict, chance: random.Random) -> None:
    if (state := solved(tables)) is None:
        return

    def mixed(table: dict) -> dict:
        return dict(chance.sample(sorted(table.items()), len(table)))

    other = solved(tables | {"socket": mixed(tables["socket"]), "supply": mixed(tables["supply"])})
    assert other is not None

    def facts(state: Power) -> dict:
        return {
            circuit.name: (
                pytest.approx([*circuit.watts, *circuit.amps, circuit.inrush, circuit.leakage], nan_ok=True, rel=1e-4,
                              abs=1e-4),
                sorted(circuit.switch_on), circuit.breaker, circuit.rcd_ma,
            )
            for circuit in mains(state)
        }  # fmt: skip

    first, second = facts(state), {
        circuit.name: (
            [*circuit.watts, *circuit.amps, circuit.inrush, circuit.leakage],
            sorted(circuit.switch_on), circuit.breaker, circuit.rcd_ma,
        )
        for circuit in mains(other)
    }  # fmt: skip
    assert second == first


@examples(15, 100)
@given(st.integers(1, 60), st.integers(2, 5), st.floats(0.05, 1))
def test_so_many_times_the_pixels_take_so_many_times_the_watts(pixels: int, times: int, level: float) -> None:
    def watts(count: int) -> float:
        tables = hut({"gable": count}, {"gable": {"socket": "hut"}}, {"hut": {"volts": 230.0}}, level=level)
        return circuits_of(tables)["hut"].watts.at_level

    assert watts(pixels * times) == pytest.approx(times * watts(pixels), abs=1e-4)  # the solver’s own slack


@examples(25, 200)
@given(shows(wild=True), st.booleans())
def test_whatever_the_file_says_is_said_in_words(tables: dict, priced: bool) -> None:
    tables["socket"]["c"].pop("volts")
    if (state := solved(tables)) is None:
        return
    printed = io.StringIO()
    with redirect_stdout(printed):
        say(mains(state), state.level, Season(6.0, 30, 0.3) if priced else None)
    found = findings(state.wiring, state)
    words = [printed.getvalue(), *(f"{each.says} {each.remedy}" for each in found)]
    assert not re.search(r"\b(nan|inf|None)\b|−", " ".join(words))
    assert all(each.says and each.remedy and each.where.startswith("socket.") for each in found)
    assert all(name in words[0] for name in "abc")


@examples(25, 200)
@given(shows(wild=True), st.floats(0, 24), st.integers(0, 366), st.none() | st.floats(0, 1e6))
def test_the_document_is_finite_and_whole(tables: dict, hours: float, days: int, price: float | None) -> None:
    if (state := solved(tables)) is None:
        return
    found = document(mains(state), Season(hours, days, price))

    def leaves(value: object) -> list[object]:
        if isinstance(value, dict):
            return [leaf for each in value.values() for leaf in leaves(each)]
        return [leaf for each in value for leaf in leaves(each)] if isinstance(value, list) else [value]

    assert all(math.isfinite(leaf) for leaf in leaves(found) if isinstance(leaf, float))
    assert [each["socket"] for each in found["sockets"]] != []


@examples(25, 200)
@given(
    st.lists(
        st.tuples(st.integers(0, 2), st.sampled_from(["", "board", "shed"]), st.floats(0, 20)), min_size=1, max_size=5
    ),
    st.floats(1, 100),
)
def test_behind_one_device_the_leakage_of_all_its_circuits_adds_up(
    sockets: list[tuple[int, str, float]], trips: float
) -> None:
    # Source: the sum over all supplies whose circuit has the device, one by one
    named: dict[int, str] = {}
    for circuit, device, _ in sockets:
        if device:
            named.setdefault(circuit, device)
    plugged, outlets, of = {}, {}, {}
    for at, (circuit, device, leaks) in enumerate(sockets):
        own = named.get(circuit, f"c{circuit}")
        of[f"s{at}"] = own
        said = {"rcd_name": own} if device else {}
        outlets[f"p{at}"] = {"volts": 230.0, "circuit": f"c{circuit}", "rcd_ma": trips} | said
        plugged[f"s{at}"] = {"socket": f"p{at}", "leakage_ma": leaks}
    found = circuits_of(hut(dict.fromkeys(plugged, 1), plugged, outlets))
    for name, circuit in found.items():
        device = named.get(int(name[1:]), name)
        assert circuit.rcd_name == device
        assert circuit.rcd_leakage == pytest.approx(
            sum(leaks for at, (_, _, leaks) in enumerate(sockets) if of[f"s{at}"] == device)
        )
        assert circuit.leakage == pytest.approx(sum(leaks for number, _, leaks in sockets if f"c{number}" == name))
        assert circuit.most_leakage == pytest.approx(trips / 3)


def test_what_one_circuit_says_of_a_shared_device_holds_for_the_others() -> None:
    tables = hut(
        {"gable": 1, "jetty": 1}, {"gable": {"socket": "hut"}, "jetty": {"socket": "quay"}},
        {"hut": {"rcd_ma": 30.0, "rcd_name": "board"}, "quay": {"rcd_name": "board"}},
    )  # fmt: skip
    found = circuits_of(tables)
    assert (found["quay"].rcd_ma, found["quay"].rcd, found["quay"].rcd_name) == (30.0, True, "board")
