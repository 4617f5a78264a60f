"""The parts of the search: what each changes keeps every rule, and is no worse than what it was given."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from time import perf_counter

import numpy as np
import pytest

from patcher.chains.chains import Route, feasible, prices, route, via
from patcher.chains.columns import Rows, fits_universes
from patcher.chains.instance import Instance, instance
from patcher.propose.regions import region_by_region
from patcher.propose.ruin import local_search
from patcher.propose.tasks import Task, task
from rig.unhung_shows import unhung, wiring_of


def keeps_the_rules(fixed: Rows, routes: Sequence[Route], left_over: int) -> None:
    """No run twice, no port twice, and what ports and boxes hold; prices as worked out from the start."""
    given = fixed.given
    runs = [run for each in routes for run, _ in each.stops]
    assert len(runs) == len(set(runs)) == len(given.runs) - left_over
    for outlet, count in Counter(each.outlet for each in routes).items():
        assert count <= len(given.outlets[outlet].ports)
    assert all(feasible(given, each) for each in routes)
    assert [each.price for each in routes] == [route(given, each.outlet, each.stops).price for each in routes]
    assert fits_universes(fixed, routes)


def mixed(seed: int, runs: int) -> Instance:
    """A show with pixels and boxes of every kind."""
    kinds = ("bulb", "dot", "foam", "quick")
    tables = unhung(seed, runs=runs, boxes=2 + runs // 8, ports=4, width=runs * 1.0, kinds=kinds, odd_boxes=True)
    return instance(wiring_of(tables))


def begun(seed: int, runs: int) -> Task:
    """The first plan of such a show."""
    return task(mixed(seed, runs))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("fewest_boxes", [False, True])
def test_the_local_search_keeps_every_rule_and_is_no_worse(seed: int, fewest_boxes: bool) -> None:
    begin = begun(seed, 24)
    found = local_search(
        begin.fixed.given, begin.plan.routes, steps=300, deadline=perf_counter() + 60, fewest_boxes=fewest_boxes
    )
    keeps_the_rules(begin.fixed, found.routes, found.left_over)
    assert found.left_over <= len(begin.plan.left_over)
    given = begin.fixed.given
    boxes = [len({given.outlets[each.outlet].box for each in routes}) for routes in (found.routes, begin.plan.routes)]
    if found.left_over == len(begin.plan.left_over):
        assert boxes[0] <= boxes[1] or not fewest_boxes
        assert fewest_boxes or sum(each.price for each in found.routes) <= begin.plan.cost
    assert all(feasible(given, each) for each in found.chains)


def test_the_local_search_leaves_out_what_boxes_it_is_told_to() -> None:
    begin = task(mixed(1, 16), (0,))
    found = local_search(begin.fixed.given, (), steps=200, deadline=perf_counter() + 60, without=(0,))
    assert found.routes
    assert all(begin.fixed.given.outlets[each.outlet].box != 0 for each in found.routes)


@pytest.mark.parametrize("seed", range(2))
def test_regions_keep_every_rule_and_make_a_large_plan_cheaper(seed: int) -> None:
    begin = begun(seed, 60).searched(perf_counter() + 60, 5)
    better = region_by_region(begin, perf_counter() + 6)
    keeps_the_rules(begin.fixed, better.plan.routes, len(better.plan.left_over))
    assert better.plan.cost < begin.plan.cost


def test_a_lead_beyond_what_a_booster_helps_is_differential_and_counts_for_two() -> None:
    leads = [500, 501, 1000, 1001]
    assert [via(each) for each in leads] == ["cable", "booster", "booster", "differential"]
    assert prices(np.array(leads), 10.0).tolist() == [500, 1501, 2000, 3001]
