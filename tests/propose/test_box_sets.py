"""One set of dual prices bounds every set of boxes: no bound is above what the set really costs."""

from __future__ import annotations

from itertools import combinations
from math import inf
from time import perf_counter

import pytest

from patcher.chains.instance import instance
from patcher.propose.box_sets import bound_of_sets
from patcher.propose.tasks import task
from rig.unhung_shows import unhung, wiring_of


@pytest.mark.parametrize("seed", range(3))
def test_no_bound_of_a_set_of_boxes_is_above_what_the_set_costs(seed: int) -> None:
    # Source: each set decided by itself, as the least cable with the other boxes left out
    tables = unhung(seed, runs=10, boxes=4, ports=3, width=24.0, pixels=(150, 300), odd_boxes=True)
    for box in tables["controller"].values():
        box |= {"port_pixels": 800, "universes": 9}
    given = instance(wiring_of(tables))
    late, closest = perf_counter() + 60, []
    begin = task(given)
    bounds = {}
    for chosen in (None, *combinations(range(4), 2)):
        some = task(given, [box for box in range(4) if chosen and box not in chosen], begin.fixed)
        relaxed = some.searched(late, 200).relaxed((), inf, late)
        bounds[chosen] = bound_of_sets(begin.fixed, begin.some, relaxed.duals, chosen)
        if chosen:
            found = some.solved(relaxed, inf, late)
            assert found.bound == found.plan.cost
            bounds[chosen] = (bounds[chosen], found.plan.cost)
    every = bounds.pop(None)
    for chosen, (own, cost) in bounds.items():
        assert every.of(chosen) <= cost + 1e-3
        assert all(other.of(chosen) <= cost + 1e-3 for other, _ in bounds.values())
        closest.append(own.of(chosen) / cost)
    assert max(closest) > 0.9
