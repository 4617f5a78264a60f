"""Large shows, region by region: chains that lie near each other are decided anew by themselves, and the rest stays.

Source: Taillard, Voss (2002), POPMUSIC: partial optimization metaheuristic under special intensification conditions,
Essays and Surveys in Metaheuristics.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from random import Random
from time import perf_counter

import numpy as np

from patcher.chains.boards import Ints
from patcher.chains.chains import Route, universes
from patcher.chains.instance import Instance, Outlet, one_order
from patcher.chains.master import choice
from patcher.propose.slots import near_runs, slots
from patcher.propose.tasks import Task, task

_RUNS = 32
"""Runs of a region, about."""
_OUTLETS = 10
"""Outlets with free ports that a region may use besides its own: those that lie nearest."""
_STEPS = 5
"""Steps of the local search in a region, for each run."""
_VAIN = 6
"""One region after another is tried in vain for each so many runs, before it is left."""
_SECONDS = 1.5
"""The time for one region."""


@dataclass(frozen=True, eq=False)
class Region:
    """A part of an instance, as an instance.

    Attributes:
        given: the part.
        runs: the number of each of its runs in the whole.
        outlets: the number of each of its outlets in the whole.
        routes: the chains that are decided anew, in its own numbers.
    """

    given: Instance
    runs: tuple[int, ...]
    outlets: tuple[int, ...]
    routes: tuple[Route, ...]


def region(given: Instance, anew: Sequence[Route], stay: Sequence[Route], near: Sequence[int]) -> Region:
    """The part of an instance that some chains are.

    Args:
        given: the instance.
        anew: chains that are to be decided anew.
        stay: those that stay.
        near: outlets that may be used besides those of the chains.
    """
    hung = {run for route in stay for run, _ in route.stops}
    mine = {run for route in anew for run, _ in route.stops}
    absent = [run for run in range(len(given.runs)) if run not in hung | mine]
    runs = (*sorted(mine), *absent)
    taken = list(given.universes_taken)
    used = [0] * len(given.outlets)
    for route in stay:
        taken[given.outlets[route.outlet].box] += universes(given, route)
        used[route.outlet] += 1
    outlets: list[int] = []
    parts: list[Outlet] = []
    for number in sorted({*(route.outlet for route in anew), *near}):
        each = given.outlets[number]
        if _barred(given, number, stay) or len(each.ports) <= used[number]:
            continue
        outlets.append(number)
        parts.append(replace(each, ports=each.ports[used[number] :]))
    part = replace(
        given,
        runs=tuple(given.runs[run] for run in runs),
        outlets=tuple(parts),
        universes_taken=tuple(taken),
        left_out=(),
        present=(),
        few=tuple(_few(given, stay)),
    )
    new = {run: number for number, run in enumerate(runs)}
    routes = tuple(
        Route(outlets.index(route.outlet), tuple((new[run], way) for run, way in route.stops), route.price)
        for route in anew
    )
    return Region(part, runs, tuple(outlets), routes)


def _few(given: Instance, stay: Sequence[Route]) -> Iterator[tuple[tuple[int, ...], int]]:
    """How few of each set of boxes may be used besides those of chains that stay."""
    here = {given.outlets[route.outlet].box for route in stay}
    for boxes, most in given.few:
        yield tuple(box for box in boxes if box not in here), most - len(here.intersection(boxes))


def _barred(given: Instance, number: int, stay: Sequence[Route]) -> bool:
    """Whether the box of an outlet takes one colour order, and chains that stay use another."""
    box = given.boxes[given.outlets[number].box]
    if not one_order(box.start_per, box.reorders):
        return False
    others = {route.outlet for route in stay if given.outlets[route.outlet].box == given.outlets[number].box}
    return any(given.outlets[o].colour_order != given.outlets[number].colour_order for o in others)


def back(of: Region, routes: Sequence[Route]) -> list[Route]:
    """Chains of a region in the numbers of the whole."""
    return [
        Route(of.outlets[route.outlet], tuple((of.runs[run], way) for run, way in route.stops), route.price)
        for route in routes
    ]


def region_by_region(whole: Task, deadline: float, seed: int = 1) -> Task:
    """A task with a better plan, where one is found; small ones are left as they are."""
    given = whole.fixed.given
    if len(given.runs) < 1.5 * _RUNS or not whole.plan.routes:
        return whole
    table = slots(given, whole.without)
    near, chance = near_runs(table), Random(seed)  # noqa: S311  (no secret)
    allowed = {int(o) for o in table.outlet[~table.barred]}
    idle: set[frozenset[Route]] = set()
    chains: list[Route] = []
    plan, vain = whole.plan, 0
    while perf_counter() < deadline and vain < max(8, len(given.runs) // _VAIN):
        anew = _near_chains(plan.routes, near, chance.randrange(len(near)))
        vain += 1
        if frozenset(anew) in idle:
            continue
        idle.add(frozenset(anew))
        stay = [route for route in plan.routes if route not in anew]
        part = region(given, anew, stay, _near_outlets(given, table.price, anew, allowed, table.nodes))
        found = back(part, decided(part, min(deadline, perf_counter() + _SECONDS)))
        new = choice(whole.fixed, [*stay, *found])
        if new.cost < plan.cost:
            plan, vain = new, 0
            chains += found
    return replace(whole, plan=plan, chains=(*whole.chains, *chains))


def inside_boxes(better: Task, idle: Sequence[int], deadline: float, seed: int = 1) -> Task:
    """A task with a better plan, region by region, on the boxes of its plan; `idle` are those that it need not use."""
    used = {better.fixed.given.outlets[route.outlet].box for route in better.plan.routes}
    without = [box for box in idle if box not in used]
    if not without:
        return region_by_region(better, deadline, seed)
    inside = replace(task(better.fixed.given, without, better.fixed), plan=better.plan)
    inside = region_by_region(inside, deadline, seed)
    return replace(better, plan=inside.plan, chains=(*better.chains, *inside.chains))


def _near_chains(routes: Sequence[Route], near: Sequence[Sequence[int]], run: int) -> list[Route]:
    """The chains of the runs nearest to one, so many that a region is full."""
    of = {r: route for route in routes for r, _ in route.stops}
    found: list[Route] = []
    count = 0
    for other in near[run]:
        route = of.get(other)
        if route is not None and route not in found:
            if count + len(route.stops) > _RUNS and found:
                break
            found.append(route)
            count += len(route.stops)
    return found


def _near_outlets(
    given: Instance, price: np.ndarray, anew: Sequence[Route], allowed: set[int], nodes: Sequence[tuple[int, int]]
) -> list[int]:
    firsts: Ints = np.array([nodes[run][0] for route in anew for run, _ in route.stops])
    least = price[price.shape[1] - 1 : -1, firsts].min(axis=1)
    order = [int(o) for o in np.argsort(least, kind="stable") if int(o) in allowed]
    return order[:_OUTLETS]


def decided(part: Region, deadline: float) -> tuple[Route, ...]:
    """The chains of a region, decided anew."""
    begin = task(part.given)
    now = choice(begin.fixed, part.routes)
    begin = replace(begin, plan=min(now, begin.plan, key=lambda plan: plan.cost))
    better = begin.searched(deadline, _STEPS * len(part.runs))
    relaxed = better.relaxed((), better.plan.cost, deadline)
    return better.solved(relaxed, float("inf"), deadline).plan.routes
