"""Proposals against every assignment there is, against another solver, and against `check`."""

from __future__ import annotations

import tomllib
from collections import Counter
from dataclasses import replace
from itertools import permutations, product
from math import ceil, hypot
from time import perf_counter

import pytest

from patcher.chains.instance import Instance, instance
from patcher.limits.findings import check
from patcher.limits.refresh import port_times
from patcher.propose.proposal import Proposal, _bounded, proposals, propose
from patcher.shapes import positions
from patcher.show.schema import Show
from rig.shipped import SHOWS, wired
from rig.unhung_shows import Tables, hung, unhung, wiring_of

SMALL = range(24)


# --- every assignment, by code of its own -----------------------------------------------------------------------------


def every_split(runs: list[str], ports: int):
    """Every way to share out runs over ports."""
    for at in product(range(-1, ports), repeat=len(runs)):
        yield [[run for run, port in zip(runs, at, strict=True) if port == each] for each in range(-1, ports)]


def ends(show: Show, name: str) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """First and last place of a run for every way to enter it."""
    run = show.runs[name]
    corners = ("bottom-left", "bottom-right", "top-left", "top-right")
    ways = {"grid": corners, "loop": (*run.corner_places, "first")} if run.shape == "loop" else {"grid": corners}
    found = []
    for way in ways.get(run.shape, ("first", "last")):
        at = positions(show, run.model_copy(update={"data_in": way}))
        found.append((tuple(at[0].tolist()), tuple(at[-1].tolist())))
    return found


def lead(here: tuple[float, float], to: tuple[float, float]) -> int:
    """What a lead costs in centimetres: a tenth more than straight; ten metres more where longer than five, twenty
    where longer than ten.
    """
    cm = ceil(round(hypot(here[0] - to[0], here[1] - to[1]) * 110, 6))
    return cm + 1000 * (cm > 500) + 1000 * (cm > 1000)


def cheapest_chain(show: Show, box: tuple[float, float], chain: list[str]) -> int:
    """The least cost of the runs of one port, by all orders and ends."""
    best = 10**9
    for order in permutations(chain):
        at = {box: 0}
        for name in order:
            after: dict[tuple[float, float], int] = {}
            for here, cost in at.items():
                for first, last in ends(show, name):
                    after[last] = min(after.get(last, 10**9), cost + lead(here, first))
            at = after
        best = min(best, *at.values())
    return best


def port_takes(show: Show, box: str, chain: list[str]) -> bool:
    """Whether a port can take some runs, by the trade's rules."""
    controller, kinds = show.controllers[box], [show.type_of(show.runs[name]) for name in chain]
    pixels = sum(show.runs[name].pixels for name in chain)
    if len({kind.bit_rate for kind in kinds}) > 1 or len({kind.channels for kind in kinds}) > 1:
        return False
    if controller.reorders and controller.start_per != "run" and len({kind.colour_order for kind in kinds}) > 1:
        return False
    ms = pixels * kinds[0].channels * 8 / kinds[0].bit_rate * 1e3 + max(kind.reset_us for kind in kinds) / 1e3
    return ms <= 1000 / show.settings.frame_rate and pixels <= (controller.port_pixels or pixels)


def box_takes(show: Show, box: str, chains: list[list[str]]) -> bool:
    """Whether a box has the universes for its chains, and one colour order for its one start."""
    controller, used = show.controllers[box], 0.0
    orders = {show.type_of(show.runs[name]).colour_order for chain in chains for name in chain}
    if controller.start_per == "controller" and controller.reorders and len(orders) > 1:
        return False
    for chain in chains:
        each = [show.runs[name].pixels / (512 // show.type_of(show.runs[name]).channels) for name in chain]
        match controller.start_per:
            case "run":
                used += sum(map(ceil, each))
            case "port":
                used += ceil(sum(each) - 1e-9)
            case "controller":
                used += sum(each)
    return controller.universes is None or used <= controller.universes + 1e-9


def brute_force(show: Show, fewest_boxes: bool) -> tuple[int, int, int]:
    """Runs left over, boxes (0 where they do not count), and centimetres of the best assignment."""
    ports = [(box.name, number) for box in show.controllers.values() for number in range(box.ports)]
    costs: dict[tuple[str, tuple[str, ...]], int | None] = {}
    best = (len(show.runs), 0, 0)
    for left, *chains in every_split(list(show.runs), len(ports)):
        total = 0
        for (box, _), chain in zip(ports, chains, strict=True):
            if not chain:
                continue
            key = (box, tuple(chain))
            if key not in costs:
                fits = port_takes(show, box, chain)
                costs[key] = cheapest_chain(show, show.controllers[box].at, chain) if fits else None
            if costs[key] is None:
                break
            total += costs[key]
        else:
            of = {
                name: [c for (box, _), c in zip(ports, chains, strict=True) if box == name and c] for name, _ in ports
            }
            boxes = sum(map(bool, of.values())) if fewest_boxes else 0
            found = (len(left), boxes, total)
            if found < best and all(box_takes(show, name, own) for name, own in of.items()):
                best = found
    return best


def small(seed: int) -> Tables:
    """A show of up to five runs on two boxes with two ports, one with mixed pixels in every second."""
    kinds = ("bulb", "bulb", "dot", "foam", "quick") if seed % 2 else ("bulb",)
    return unhung(
        seed, runs=3 + seed % 3, boxes=2, ports=2, width=14.0, pixels=(60, 420), kinds=kinds, odd_boxes=seed % 4 > 1
    )


@pytest.mark.parametrize("seed", SMALL)
@pytest.mark.parametrize("kind", ["least cable", "fewest boxes"])
def test_a_small_proposal_costs_what_the_best_of_all_assignments_costs(seed: int, kind: str) -> None:
    # Source: every assignment, order and end, with the trade's rules written out once more
    wiring = wiring_of(small(seed))
    made = propose(instance(wiring), kind)
    left, boxes, cm = brute_force(wiring.show, kind == "fewest boxes")
    assert len(made.left_over) == left
    assert kind == "least cable" or made.boxes == boxes
    assert round(made.cost * 100) == cm
    assert made.proved
    assert made.bound == made.cost


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("kind", ["least cable", "fewest boxes"])
def test_without_time_the_bound_still_holds_and_no_more_is_claimed(seed: int, kind: str) -> None:
    wiring = wiring_of(small(seed))
    made = propose(instance(wiring), kind, seconds=0.0)
    left, boxes, cm = brute_force(wiring.show, kind == "fewest boxes")
    found = (len(made.left_over), made.boxes if kind == "fewest boxes" else 0, round(made.cost * 100))
    assert found >= (left, boxes, cm)
    assert not made.proved or found == (left, boxes, cm)
    if found[:2] == (left, boxes):
        assert round(made.bound * 100) <= cm


# --- check ------------------------------------------------------------------------------------------------------------


def judged(tables: Tables, made: Proposal) -> None:
    """What `check` says of a proposal that is written into its show: no error, no warning of wiring or timing."""
    tables = hung(tables, made.places)
    for run in made.left_over:
        del tables["run"][run]
    wiring = wired(tables)
    found = [each for each in check(wiring)[1] if each.severity != "note" and each.area != "power"]
    assert found == []
    times = [time.frame_ms for time in port_times(wiring)]
    assert max(times) == pytest.approx(made.frame_ms)
    assert sum(run.lead for run in wiring.show.runs.values()) == pytest.approx(made.metres)
    assert sum(run.lead_via == "booster" for run in wiring.show.runs.values()) == made.boosters
    assert sum(run.lead_via == "differential" for run in wiring.show.runs.values()) == made.differentials
    assert len({box for box, _ in wiring.chains}) == made.boxes


@pytest.mark.parametrize("seed", range(6))
def test_check_has_nothing_against_any_proposal(seed: int) -> None:
    # Source: the program's own check, which knows nothing of proposals
    tables = unhung(
        seed, runs=14, boxes=3, ports=4, width=25.0, kinds=("bulb", "dot", "foam", "quick"), odd_boxes=seed % 2 > 0
    )
    made = proposals(instance(wiring_of(tables)), seconds=45)
    assert made
    for each in made:
        judged(tables, each)
        assert each.bound <= each.cost


def test_the_same_show_gives_the_same_proposal() -> None:
    given = instance(wiring_of(unhung(3, runs=16, boxes=3, ports=4)))
    assert propose(given) == propose(given)


# --- kept runs --------------------------------------------------------------------------------------------------------


def half_hung(seed: int) -> tuple[Tables, Instance]:
    """A show of which every second run is hung as once proposed, so that chains can go on behind it."""
    tables = unhung(seed, runs=10, boxes=2, ports=3, width=18.0)
    first = propose(instance(wiring_of(tables)), "least cable")
    chains: dict[tuple[str, int], list] = {}
    for place in first.places:
        chains.setdefault((place.box, place.port), []).append(place)
    kept = [place for chain in chains.values() for place in chain[: len(chain) // 2]]
    tables = hung(tables, kept)
    return tables, instance(wiring_of(tables))


@pytest.mark.parametrize("seed", range(4))
def test_what_hangs_stays_and_the_rest_goes_on_behind_it(seed: int) -> None:
    tables, given = half_hung(seed)
    before = wiring_of(tables)
    made = propose(given, "least cable")
    after = wired(hung(tables, made.places))
    for port, chain in before.chains.items():
        assert after.chains[port][: len(chain)] == chain
    for run in (name for chain in before.chains.values() for name in chain):
        assert after.show.runs[run] == before.show.runs[run]
    again = propose(instance(before, afresh=True), "least cable")
    kept = sum(lead_cost(before.show.runs[name].lead) for chain in before.chains.values() for name in chain)
    assert again.cost == pytest.approx(made.cost + kept)
    assert len(again.places) == 10


def lead_cost(lead: float) -> float:
    """Metres that a lead counts for."""
    return lead + 10 * (lead > 5.0) + 10 * (lead > 10.0)


def heron_lock() -> Tables:
    """The shipped show with a run of points without a way to turn, and one that does not hang this season."""
    tables = tomllib.loads((SHOWS / "heron-lock.toml").read_text(encoding="utf-8"))
    tables["run"]["willow"] = {"pixel": "bulb-12v", "shape": "points", "at": [[20.0, 1.0], [20.1, 1.0]]}
    tables["feed"] = {}
    tables["run"]["towpath"]["hung"] = False
    return tables


def test_decided_anew_are_all_runs_but_those_without_a_picture_and_those_not_hung() -> None:
    # Source: hedge has no picture; a tee hangs on no port of its own
    wiring = wired(heron_lock())
    given = instance(wiring, afresh=True)
    chains = [run for chain in wiring.chains.values() for run in chain]
    assert Counter(run.name for run in given.runs) == Counter(set(chains) - {"hedge", "towpath"})
    assert all(chain[:1] in {("hedge",), ("towpath",)} for outlet in given.outlets if (chain := outlet.behind))
    stay = [port for port, chain in wiring.chains.items() if {"hedge", "towpath"} & set(chain)]
    free = {(given.boxes[outlet.box].names[0], port) for outlet in given.outlets if not outlet.behind
            for port in outlet.ports}  # fmt: skip
    assert stay
    assert not free & set(stay)


def test_what_hangs_now_is_a_start_also_where_a_run_without_a_picture_stays_on_its_port() -> None:
    # Source: the trade's rules: a chain that is full with the run that stays is full without a look at its picture
    tables = unhung(5, runs=8, boxes=2, ports=4, width=16.0)
    best = propose(instance(wiring_of(tables)), "least cable")
    tables = hung(tables, best.places)
    tables["run"]["blind"] = {"pixel": "bulb", "pixels": 700}
    free = next(port for port in "1234" if port not in tables["controller"]["box-1"].get("port", {}))
    tables["controller"]["box-1"].setdefault("port", {})[free] = ["blind"]
    given = instance(wiring_of(tables), afresh=True)
    assert len(given.present) == len({(place.box, place.port) for place in best.places})
    made = propose(given, "least cable", seconds=0)
    assert made.present == best.cost
    assert made.cost == best.cost
    assert all((place.box, str(place.port)) != ("box-1", free) for place in made.places)


# --- time -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seconds", [0.0, 4.0])
def test_time_is_kept_in_a_large_show_and_every_run_hangs(seconds: float) -> None:
    # Source: the clock. Boxes whose universes a plan of short leads alone would not keep
    tables = unhung(1, runs=150, boxes=12, ports=4, width=110.0, kinds=("bulb", "foam"))
    for box in tables["controller"].values():
        box["universes"] = 17
    given = instance(wiring_of(tables))
    begun = perf_counter()
    made = proposals(given, seconds=seconds)
    assert perf_counter() - begun < 1.3 * seconds + 6
    assert [each.left_over for each in made] == [()] * 3


def test_what_is_found_of_the_least_cable_is_known_for_every_kind() -> None:
    given = instance(wiring_of(unhung(2, runs=12, boxes=3, ports=3, width=18.0)))
    made = proposals(given, seconds=60)
    assert [each.kind for each in made] == ["fewest boxes", "least cable", "best frame rate"]
    assert all(each.bound >= made[1].bound for each in made)


def test_the_bound_of_least_cable_holds_for_every_kind() -> None:
    # Source: a plan with fewer boxes, or a faster one, is a plan
    made = propose(instance(wiring_of(unhung(2, runs=5, boxes=2, ports=3, width=14.0))), "least cable")
    assert made.proved
    loose = replace(made, kind="fewest boxes", bound=0.0, proved=False)
    assert _bounded(loose, made).proved
    assert _bounded(loose, made).bound == made.cost
    assert not _bounded(replace(loose, boxes_proved=False), made).proved
    assert not _bounded(replace(loose, left_over=("run-1",)), made).proved
    assert not _bounded(replace(loose, cost=made.cost + 1), made).proved
    assert _bounded(replace(loose, cost=made.cost + 1), made).bound == made.cost
