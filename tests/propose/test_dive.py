"""Diving: a plan from the linear relaxation, held against the rules of ports and against what no plan goes below."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from math import inf
from time import perf_counter

import pytest

from patcher.chains.chains import feasible, route
from patcher.chains.columns import fits_universes
from patcher.chains.instance import instance
from patcher.chains.master import choice
from patcher.propose.dive import dive, dived
from patcher.propose.tasks import Task, task
from rig.unhung_shows import unhung, wiring_of

RUNS = 46
"""More than are decided by themselves, so that chains are taken before."""


def of_show(seed: int) -> Task:
    """A choice with its first plan, on boxes with few universes."""
    tables = unhung(seed, runs=RUNS, boxes=4, ports=4, width=32.0, odd_boxes=True)
    for box in tables["controller"].values():
        box |= {"universes": 24}
    return task(instance(wiring_of(tables)))


def keeps_the_rules(of: Task, routes: list) -> bool:
    given = of.fixed.given
    hung = Counter(run for each in routes for run, _ in each.stops)
    ports = Counter(each.outlet for each in routes)
    return (
        all(count == 1 for count in hung.values())
        and all(count <= of.fixed.counts[outlet] for outlet, count in ports.items())
        and all(feasible(given, each) and route(given, each.outlet, each.stops) == each for each in routes)
        and fits_universes(of.fixed, routes)
    )


@pytest.mark.parametrize("seed", range(2))
def test_the_chains_that_a_dive_takes_keep_every_rule_and_leave_few_runs(seed: int) -> None:
    of = of_show(seed)
    relaxed = of.relaxed((), inf, perf_counter() + 60)
    taken = dive(of, relaxed.routes, perf_counter() + 60)
    assert taken
    assert keeps_the_rules(of, taken)
    assert 0 < RUNS - sum(len(each.stops) for each in taken) <= 36


@pytest.mark.parametrize("seed", range(2))
def test_a_dive_comes_near_what_no_plan_goes_below_and_is_never_worse(seed: int) -> None:
    of = of_show(seed)
    relaxed = of.relaxed((), inf, perf_counter() + 60)
    found = dived(of, relaxed, perf_counter() + 60)
    assert keeps_the_rules(of, list(found.plan.routes))
    assert not found.plan.left_over
    assert relaxed.bound - 1e-3 <= found.plan.cost < 1.1 * relaxed.bound < of.plan.cost
    again = dived(replace(of, plan=found.plan), relaxed, perf_counter())
    assert again.plan.cost <= found.plan.cost


def test_a_dive_without_time_takes_nothing_and_leaves_the_plan() -> None:
    of = of_show(0)
    relaxed = of.relaxed((), inf, perf_counter() + 60)
    assert dive(of, relaxed.routes, perf_counter()) == []
    assert dived(of, relaxed, perf_counter()).plan.cost <= choice(of.fixed, of.plan.routes).cost
