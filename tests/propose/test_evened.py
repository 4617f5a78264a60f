"""A plan made even is no worse at anything that comes before; and trees hang alike."""

from __future__ import annotations

from math import inf
from time import perf_counter

import pytest

from patcher.chains.chains import route, route_ms
from patcher.chains.instance import instance
from patcher.propose.evened import evened, likenesses, value
from patcher.propose.tasks import task
from propose.test_search import keeps_the_rules, mixed
from rig.unhung_shows import unhung, wiring_of


@pytest.mark.parametrize("seed", range(8))
def test_a_plan_made_even_is_no_worse_in_boxes_cable_and_rate(seed: int) -> None:
    # Source: both plans, measured by the parts that know nothing of evening
    begin = task(mixed(seed, 20)).searched(inf, 200)
    given, plan = begin.fixed.given, begin.plan
    after = evened(begin.fixed, plan.routes, perf_counter() + 60)
    keeps_the_rules(begin.fixed, after, len(plan.left_over))
    boxes = [{given.outlets[each.outlet].box for each in routes} for routes in (after, plan.routes)]
    assert boxes[0] <= boxes[1]
    assert sum(each.price for each in after) <= sum(each.price for each in plan.routes)
    if sum(each.price for each in after) == sum(each.price for each in plan.routes):
        slowest = [max(route_ms(given, each) for each in routes) for routes in (after, plan.routes)]
        assert slowest[0] <= slowest[1]


@pytest.mark.parametrize(
    ("chains", "evenly"),
    [
        ([(0, 1, 2, 3), (4, 5)], [3, 3]),
        # three in one chain would be more alike, and slower
        ([(0, 1), (2,)], [1, 2]),
    ],
)
def test_trees_hang_alike_as_long_as_no_port_is_slower(chains: list[tuple[int, ...]], evenly: list[int]) -> None:
    # Source: trees at one place each, in a ring about the box: every plan costs the same
    tables = unhung(1, runs=1, boxes=1, ports=2)
    tree = {"pixel": "bulb", "shape": "line", "path": [[0.0, 0.0], [0.0, 2.0]], "pixels": 60}
    tables["run"] = {f"tree-{n}": tree for n in range(sum(map(len, chains)))}
    tables["controller"]["box-1"]["at"] = [0.0, 0.0]
    given = instance(wiring_of(tables))
    fixed = task(given).fixed
    begin = [route(given, 0, tuple((n, n % 2) for n in chain)) for chain in chains]
    after = evened(fixed, begin, perf_counter() + 60)
    assert sorted(len(each.stops) for each in after) == evenly
    assert sum(each.price for each in after) <= sum(each.price for each in begin)


def test_likeness_counts_where_cable_and_rate_are_the_same() -> None:
    # Source: two trees and two hedges of as many pixels: tree with hedge twice is one pattern, apart they are two
    tables = unhung(1, runs=1, boxes=1, ports=2)
    tree = {"pixel": "bulb", "shape": "line", "path": [[0.0, 0.0], [0.0, 2.0]], "pixels": 60}
    tables["run"] = {"tree-1": tree, "tree-2": tree}
    tables["run"] |= {f"hedge-{n}": tree | {"path": [[0.0, 0.0], [3.0, 0.0]]} for n in (1, 2)}
    given = instance(wiring_of(tables))
    like = likenesses(given)
    assert like == [0, 0, 1, 1]
    apart, alike = (
        [route(given, 0, tuple((n, 0) for n in chain)) for chain in chains]
        for chains in (((0, 1), (2, 3)), ((0, 2), (3, 1)))
    )
    assert value(given, apart, like)[2] == 2
    assert value(given, alike, like)[2] == 1
