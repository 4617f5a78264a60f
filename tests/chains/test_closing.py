"""The gap between the relaxation and the best plan: the bound is never above the cheapest, however it is closed."""

from __future__ import annotations

from math import inf
from time import perf_counter

import pytest

from patcher.chains import master
from patcher.chains.instance import instance
from patcher.chains.master import closed, closing
from patcher.propose.tasks import task
from rig.unhung_shows import unhung, wiring_of


@pytest.mark.parametrize("seed", range(4))
def test_the_bound_is_never_above_the_cheapest_plan_however_few_chains_may_be_listed(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Judge: the same show with room for every chain, which tests/propose/test_judge.py holds against CP-SAT
    of = task(instance(wiring_of(unhung(seed, runs=18, boxes=3, ports=3, width=24.0))))
    late = perf_counter() + 60
    relaxed = of.relaxed((), inf, late)
    whole = closed(closing(of.fixed, of.some, relaxed, of.plan.routes), inf, late)
    assert whole.bound == whole.best.cost
    reached = []
    for many in (20, 100, 500, 2_500):
        monkeypatch.setattr(master, "_MANY", many)
        found = closed(closing(of.fixed, of.some, relaxed, of.plan.routes), inf, late)
        assert relaxed.bound - 1 < found.bound <= whole.best.cost <= found.best.cost
        assert found.stuck or found.bound == found.best.cost
        reached.append(found.bound)
    assert reached[0] < whole.bound or reached[-1] == whole.bound


def test_some_gap_is_closed_where_the_first_guess_has_too_many_chains(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of it is tried, and half of that, instead of none."""
    raised = 0
    for seed in range(4):
        of = task(instance(wiring_of(unhung(seed, runs=18, boxes=3, ports=3, width=24.0))))
        late = perf_counter() + 60
        relaxed = of.relaxed((), inf, late)
        monkeypatch.setattr(master, "_FIRST_GAP", 0.5)
        monkeypatch.setattr(master, "_MANY", 300)
        found = closed(closing(of.fixed, of.some, relaxed, of.plan.routes), inf, late)
        raised += found.bound > relaxed.bound + 1
    assert raised
