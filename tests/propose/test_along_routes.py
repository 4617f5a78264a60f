"""Proposals for shows that draw routes: their leads and proofs against judges, and what is written against `check`."""

from __future__ import annotations

from math import ceil

import numpy as np
import pytest
import tomli_w

from patcher.chains.boards import boards
from patcher.chains.chains import leads_cm, prices
from patcher.chains.instance import Instance, instance
from patcher.limits.findings import check
from patcher.offers.comparison import compared
from patcher.propose.proposal import Kind, propose
from patcher.propose.slots import slots
from propose.cp_sat import least
from rig.examples import seeds
from rig.route_judge import judged
from rig.shipped import wired
from rig.unhung_shows import Tables, hung, unhung, wiring_of, with_routes

WIDTH = 16.0


def routed(seed: int, runs: int = 6, boxes: int = 2, ports: int = 2) -> Tables:
    tables = unhung(seed, runs=runs, boxes=boxes, ports=ports, width=WIDTH, pixels=(100, 380))
    return with_routes(tables, seed, WIDTH)


def paths(tables: Tables) -> list[list[tuple[float, float]]]:
    return [[(x, y) for x, y in route["path"]] for route in tables["route"].values()]


def ends(given: Instance) -> tuple[np.ndarray, np.ndarray]:
    """Where leads may begin, and where they may end."""
    entries = [entry for run in given.runs for entry in run.entries]
    return np.array([*(e.last for e in entries), *(o.at for o in given.outlets)]), np.array([e.first for e in entries])


@pytest.mark.parametrize("seed", range(3))
def test_every_table_of_leads_has_the_ways_that_another_geometry_finds(seed: int) -> None:
    # Judge: shapely and networkx; a tenth of slack, in whole centimetres
    tables = routed(seed)
    given = instance(wiring_of(tables))
    begins, goals = ends(given)
    metres = judged(paths(tables))
    expected = [
        [ceil(round(metres(tuple(here), tuple(to)) * 110, 3)) for to in goals.tolist()] for here in begins.tolist()
    ]
    found = leads_cm(given, begins, goals)
    assert np.abs(found - np.array(expected)).max() <= 1  # a way of 1.1000000001 m is rounded up
    assert (found != np.array(expected)).mean() < 0.02
    assert (found > leads_cm(instance(wiring_of(tables | {"route": {}})), begins, goals)).mean() > 0.2
    assert (slots(given).price[:-1, :-1] == prices(found, given.booster)).all()
    (board,) = boards(given)
    assert (board.between == prices(found, given.booster)[: len(goals)]).all()
    assert (board.first == prices(found, given.booster)[len(goals) :]).all()


@pytest.mark.parametrize("seed", seeds(5, 24))
@pytest.mark.parametrize("kind", ["least cable", "fewest boxes"])
def test_a_proposal_along_routes_costs_what_cp_sat_finds_the_least(seed: int, kind: Kind) -> None:
    # Source: OR-Tools CP-SAT over single leads; their lengths by shapely and networkx
    tables = routed(seed, runs=5)
    given = instance(wiring_of(tables))
    made = propose(given, kind)
    assert made.left_over == ()
    assert made.proved
    assert made.bound == made.cost
    boxes, cm = least(given, 800, fewest_boxes=kind == "fewest boxes", metres=judged(paths(tables)))
    assert boxes in (0, made.boxes)
    assert round(made.cost * 100) == pytest.approx(cm, abs=len(given.runs))  # a centimetre a lead, of rounding


@pytest.mark.parametrize("seed", range(2))
def test_a_middling_proposal_along_routes_costs_what_cp_sat_finds_the_least(seed: int) -> None:
    tables = routed(seed, runs=13, boxes=3, ports=3)
    given = instance(wiring_of(tables))
    made = propose(given, "least cable")
    assert made.proved
    assert round(made.cost * 100) == pytest.approx(least(given, 800, metres=judged(paths(tables)))[1], abs=13)


@pytest.mark.parametrize("seed", range(8))
def test_without_time_a_bound_along_routes_still_holds(seed: int) -> None:
    tables = routed(seed)
    given = instance(wiring_of(tables))
    made = propose(given, "least cable", seconds=0.0)
    cm = least(given, 800, metres=judged(paths(tables)))[1]
    assert made.left_over == ()
    assert round(made.bound * 100) <= cm + len(given.runs)
    assert round(made.cost * 100) >= cm - len(given.runs)
    assert not made.proved or made.cost == made.bound


@pytest.mark.parametrize("seed", range(4))
def test_check_has_nothing_against_a_proposal_along_routes_and_what_is_written_has_its_leads(seed: int) -> None:
    # Source: the program's own check, which knows nothing of proposals
    tables = routed(seed)
    found = compared(tomli_w.dumps(tables), wiring_of(tables), None, lambda name: [], seconds=30.0)
    for offer in found.offers:
        wiring = offer.rehung.wiring
        assert [each for each in check(wiring)[1] if each.severity != "note" and each.area != "power"] == []
        leads = {place.run: place.lead for place in offer.made.places}
        assert {name: run.lead for name, run in wiring.show.runs.items()} == pytest.approx(leads)


def test_leads_that_are_straight_do_not_reach_along_routes() -> None:
    # Source: the same plan without routes, whose leads are shorter
    tables = routed(1)
    straight = propose(instance(wiring_of(tables | {"route": {}})), "least cable")
    found = check(wired(hung(tables, straight.places)))[1]
    assert any(each.rule == "lead-reach" and "along the routes" in each.says for each in found)


def test_a_lead_that_was_measured_stays_where_its_way_is_no_longer() -> None:
    tables = routed(0)
    best = propose(instance(wiring_of(tables)), "least cable")
    now = hung(tables, best.places)
    found = compared(tomli_w.dumps(now), wiring_of(now), None, lambda name: [], afresh=True, kinds=("least cable",))
    assert [offer.rehung.moved for offer in found.offers] == [()]
