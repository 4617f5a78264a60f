"""Boxes that may stand in several places: the best of all ways to place them, and what no way to place them beats."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from itertools import combinations
from math import inf
from time import perf_counter

import pytest

from patcher.chains.instance import Instance, instance
from patcher.chains.listing import whole
from patcher.chains.places import full_sets, named, sets_of, together
from patcher.propose import box_sets, searches
from patcher.propose.proposal import Kind, Proposal, propose
from patcher.propose.regions import inside_boxes, region_by_region
from patcher.propose.tasks import task
from patcher.show.tables import same_place
from propose.cp_sat import least
from rig.standing_shows import every_placement, standing
from rig.unhung_shows import Tables, hung, unhung, wiring_of

LIMIT = 800
KINDS: tuple[Kind, ...] = ("least cable", "fewest boxes")


def small(seed: int) -> Tables:
    """A show of up to five runs on two boxes, fewer than there are places; or on three, more than there are."""
    few = seed % 3 == 2
    return standing(seed, runs=3 + seed % 3, boxes=2 + few, places=4 - 2 * few, ports=1 + seed % 2)


@cache
def best_of_small(seed: int, kind: Kind) -> tuple[int, int] | None:
    return best_of_all(small(seed), kind)


def best_of_all(tables: Tables, kind: Kind) -> tuple[int, int] | None:
    """Boxes (0 where they do not count) and centimetres of the best plan on any placement; None where none hangs all
    runs.
    """
    found, seen = [], set()
    for placed in every_placement(tables):
        stand = tuple(sorted(tuple(box["at"]) for box in placed["controller"].values()))
        if stand in seen:  # all boxes of these shows are alike
            continue
        seen.add(stand)
        given = instance(wiring_of(placed))
        pixels = sum(run.pixels for run in given.runs)
        if pixels > LIMIT * sum(len(outlet.ports) for outlet in given.outlets):
            continue
        try:
            found.append(least(given, LIMIT, fewest_boxes=kind == "fewest boxes"))
        except AssertionError:  # it cannot hang every run
            continue
    return min(found, default=None)


def one_place_each(tables: Tables, made: Proposal) -> None:
    """Every box that is used stands somewhere, in a place of its own list, and no two in one."""
    boxes = tables["controller"]
    assert len({stand.box for stand in made.stands}) == len(made.stands)
    at = {stand.box: list(stand.at) for stand in made.stands}
    for box, place in at.items():
        assert place in boxes[box]["stands"] or place == boxes[box].get("at")
    at |= {box: boxes[box]["at"] for box in boxes if "stands" not in boxes[box]}
    used = {place.box for place in made.places}
    assert used <= at.keys()
    assert {stand.box for stand in made.stands} <= used
    moves = [at[box] for box in used if "stands" in boxes[box]]
    assert all(not same_place(a, b) for a, b in combinations(moves, 2))
    assert all(not same_place(a, boxes[b]["at"]) for a in moves for b in boxes if "stands" not in boxes[b])


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("kind", KINDS)
def test_a_small_show_costs_what_the_best_of_all_placements_costs(seed: int, kind: Kind) -> None:
    # Source: every placement there is, each decided by OR-Tools CP-SAT over single leads
    tables = small(seed)
    made = propose(instance(wiring_of(tables)), kind)
    one_place_each(tables, made)
    wanted = best_of_small(seed, kind)
    assert (made.left_over == ()) == (wanted is not None)
    if wanted is not None:
        assert (made.boxes if kind == "fewest boxes" else 0, round(made.cost * 100)) == wanted
        assert made.proved
        assert made.bound == made.cost


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_decided_in_one_program_is_the_best_of_all_placements_too(
    seed: int, kind: Kind, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Source: every placement, by CP-SAT. So are decided the sets of boxes of a show in which there are too many
    monkeypatch.setattr(searches, "_PLACES", -1)
    monkeypatch.setattr(box_sets, "_SETS", -1)
    tables = small(seed)
    made = propose(instance(wiring_of(tables)), kind)
    one_place_each(tables, made)
    wanted = best_of_small(seed, kind)
    if wanted is not None:
        assert (made.boxes if kind == "fewest boxes" else 0, round(made.cost * 100)) == wanted
        assert made.proved


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("kind", KINDS)
def test_without_time_the_bound_holds_over_all_placements_and_no_more_is_claimed(seed: int, kind: Kind) -> None:
    tables = small(seed)
    made = propose(instance(wiring_of(tables)), kind, seconds=0.0)
    one_place_each(tables, made)
    wanted = best_of_small(seed, kind)
    if wanted is not None and made.left_over == ():
        found = (made.boxes if kind == "fewest boxes" else 0, round(made.cost * 100))
        assert found >= wanted
        assert not made.proved or found == wanted
        if found[0] == wanted[0]:
            assert round(made.bound * 100) <= wanted[1]


def placed_somehow(seed: int) -> Tables:
    """A show whose boxes stand somewhere, each with places where it might stand instead, hung as is best there."""
    chance = random.Random(seed)
    tables = unhung(seed, runs=3, boxes=3, ports=2, width=16.0, pixels=(200, 400))
    every = [[round(chance.uniform(0, 16), 2), 0.5] for _ in range(3)]
    for box in list(tables["controller"].values())[: 2 + seed % 2]:
        box["stands"] = every if chance.random() < 0.6 else [*every[:1], box["at"]]
    return hung(tables, propose(instance(wiring_of(bare(tables))), KINDS[seed % 2]).places)


def bare(tables: Tables) -> Tables:
    boxes = tables["controller"].items()
    return tables | {"controller": {name: {key: box[key] for key in box if key != "stands"} for name, box in boxes}}


@pytest.mark.parametrize("seed", range(8))
def test_afresh_boxes_stay_or_move_never_for_the_worse_and_as_is_best(seed: int) -> None:
    # Source: the same plan at the places of today; every placement, by CP-SAT
    tables, kind = placed_somehow(seed), KINDS[seed % 2]
    given = instance(wiring_of(tables), afresh=True)
    now = propose(instance(wiring_of(bare(tables)), afresh=True), kind)
    quick = propose(given, kind, seconds=0.0)
    assert quick.present == now.cost
    assert quick.left_over == ()
    assert (quick.boxes if kind == "fewest boxes" else 0, quick.cost) <= (
        now.boxes if kind == "fewest boxes" else 0, now.cost
    )  # fmt: skip
    made = propose(given, kind)
    one_place_each(tables, made)
    for box in tables["controller"].values():
        box.pop("port", None)
    assert (made.boxes if kind == "fewest boxes" else 0, round(made.cost * 100)) == best_of_all(tables, kind)
    assert made.proved


def test_where_nothing_is_better_every_box_stays_where_it_stands() -> None:
    tables = placed_somehow(3)
    first = propose(instance(wiring_of(tables), afresh=True), "least cable")
    for stand in first.stands:
        tables["controller"][stand.box]["at"] = list(stand.at)
    for box in tables["controller"].values():
        box.pop("port", None)
    again = propose(instance(wiring_of(hung(tables, first.places)), afresh=True), "least cable")
    assert again.present == again.cost == first.cost
    assert set(again.stands) == set(first.stands)


# --- which boxes may be moved, and where to ---------------------------------------------------------------------------


def row(boxes: int, **keys: object) -> Tables:
    """Runs in a row, and boxes that may stand at 0, 5 or 10 m."""
    tables = unhung(1, runs=1, boxes=boxes, ports=2)
    line = {"pixel": "bulb", "shape": "line", "pixels": 50}
    tables["run"] = {f"run-{n}": line | {"path": [[5.0 * n, 1.0], [5.0 * n, 2.0]]} for n in range(3)}
    for box in tables["controller"].values():
        del box["at"]
        box |= {"stands": [[0.0, 0.0], [5.0, 0.0], [10.0, 0.0]]} | keys
    return tables


def places(given: Instance) -> set[tuple[float, float] | None]:
    return {box.place for box in given.boxes}


def test_a_box_with_a_place_keeps_it_and_nobody_else_is_put_there() -> None:
    # Source: where a box stands is what the file says
    tables = row(3)
    tables["controller"]["box-1"]["at"] = [5.0, 0.0]
    tables["controller"]["box-2"] |= {"at": [10.0, 0.001], "spare": True}
    given = instance(wiring_of(tables))
    assert [box.names for box in given.boxes if box.place is None] == [("box-1",)]
    assert places(given) == {None, (0.0, 0.0)}
    afresh = instance(wiring_of(tables), afresh=True)
    assert places(afresh) == {(0.0, 0.0), (5.0, 0.0)}


def test_boxes_that_are_alike_stand_for_one_another_and_unlike_ones_do_not() -> None:
    tables = row(4)
    tables["controller"]["box-3"]["port_pixels"] = 300
    tables["controller"]["box-4"]["stands"] = [[0.0, 0.0], [5.0, 0.0]]
    given = instance(wiring_of(tables))
    assert {box.names for box in given.boxes} == {("box-1", "box-2"), ("box-3",), ("box-4",)}
    assert sorted(len(boxes) for boxes, _ in given.few) == [2, 2, 3, 3, 3, 3]


def test_a_box_on_which_a_run_stays_is_not_moved() -> None:
    # Source: a run without a picture: nobody knows how far its lead would reach
    tables = row(2, at=[2.0, 0.0])
    tables["controller"]["box-2"]["at"] = [7.0, 0.0]
    tables["run"]["blind"] = {"pixel": "bulb", "pixels": 20}
    tables["controller"]["box-1"]["port"] = {"1": ["blind"]}
    tables["controller"]["box-2"]["port"] = {"1": ["run-0"]}
    given = instance(wiring_of(tables), afresh=True)
    assert [box.names for box in given.boxes if box.place is None] == [("box-1",)]
    assert {box.names for box in given.boxes if box.place is not None} == {("box-2",)}
    del tables["controller"]["box-1"]["at"]
    given = instance(wiring_of(tables), afresh=True)
    assert [(left.name, "runs that stay hang on it" in left.why) for left in given.left_out] == [("box-1", True)]


def test_sets_that_may_be_used_together_are_all_there_are() -> None:
    # Source: every set of boxes, looked at one by one
    tables = row(4)
    tables["controller"]["box-3"]["port_pixels"] = 300
    tables["controller"]["box-4"] |= {"at": [1.0, 0.0]}
    given = instance(wiring_of(tables), afresh=True)
    every = range(len(given.boxes))
    may = [set(s) for size in range(8) for s in combinations(every, size) if together(given, s)]
    fixed = {box for box in every if given.boxes[box].place is None}
    full = [s for s in may if fixed <= s and not any(s < other for other in may)]
    assert len(full) > 3
    assert sorted(map(sorted, full)) == sorted(map(sorted, full_sets(given, 100) or ()))
    assert full_sets(given, len(full) - 1) is None
    assert [set(s) for s in sets_of(given, list(every), 2, 100) or ()] == [s for s in may if len(s) == 2]
    for used in full:
        names = named(given, used)
        assert len(set(names.values())) == len(used)
        assert all(name in given.boxes[box].names for box, name in names.items())


@pytest.mark.parametrize("seed", range(6))
def test_no_bound_of_a_set_of_places_is_above_what_the_set_costs(seed: int) -> None:
    # Source: each set by itself, by CP-SAT. It begins with a first plan, so that the bounds have to do it
    given = instance(wiring_of(standing(seed, runs=5, boxes=2, places=4)))
    begin, sets, late = task(given), full_sets(given, 100), perf_counter() + 60
    assert sets is not None
    chosen = box_sets.Chosen(begin, sets, begin.relaxed((), inf, late), late)
    costs = []
    for boxes in sets:
        outlets = tuple(outlet for outlet in given.outlets if outlet.box in boxes)
        costs.append(least(replace(given, outlets=outlets), LIMIT)[1])
    assert all(bound <= cost + 1e-3 for bound, cost in zip(chosen.bounds, costs, strict=True))
    found = chosen.cheapest()
    assert found.plan.cost == found.bound == min(costs)
    assert all(whole(bound) <= max(cost, min(costs)) for bound, cost in zip(chosen.bounds, costs, strict=True))


def test_of_boxes_that_are_alike_the_one_that_stands_there_is_named() -> None:
    tables = row(3)
    tables["controller"]["box-3"]["at"] = [5.0, 0.0]
    given = instance(wiring_of(tables), afresh=True)
    at = {box.place: number for number, box in enumerate(given.boxes)}
    used = {at[0.0, 0.0], at[5.0, 0.0]}
    assert named(given, used) == {at[0.0, 0.0]: "box-1", at[5.0, 0.0]: "box-3"}


@pytest.mark.parametrize("fewest_boxes", [False, True])
@pytest.mark.parametrize("seed", range(2))
def test_in_a_larger_show_every_search_puts_one_box_in_one_place(seed: int, fewest_boxes: bool) -> None:
    tables = standing(seed, runs=50, boxes=9, places=11, ports=4, width=50.0)
    begin = task(instance(wiring_of(tables)))
    given = begin.fixed.given
    found = begin.searched(perf_counter() + 60, 500, fewest_boxes=fewest_boxes)
    better = inside_boxes(found, range(len(given.boxes)), perf_counter() + 3)
    loose = region_by_region(begin, perf_counter() + 3)
    for plan in (begin.plan, found.plan, better.plan, loose.plan):
        assert together(given, {given.outlets[route.outlet].box for route in plan.routes})
    assert better.plan.cost <= found.plan.cost or fewest_boxes
    one_place_each(tables, propose(given, "fewest boxes" if fewest_boxes else "least cable", seconds=3.0))
