"""A plan from the linear relaxation: the chain that it takes the largest part of is taken whole, and so on (diving),
until few enough runs are left to be decided by themselves.

After each step the program is solved again without the runs and ports that are taken, with new chains for what is left.
Source: Sadykov, Vanderbeck, Pessoa, Tahiri, Uchoa (2019), Primal heuristics for branch and price, INFORMS Journal on
Computing 31.
"""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import numpy as np

from patcher.chains.boards import Floats
from patcher.chains.bounds import FAR, Duals
from patcher.chains.chains import Route, universes
from patcher.chains.columns import LinearAnswer, OutOfTimeError, Rows, columns_of, fits_universes, linear
from patcher.chains.master import Choice, Relaxation, choice
from patcher.chains.pricing import price
from patcher.propose.regions import back, decided, region
from patcher.propose.tasks import LABELS, STEPS, Task, share

_ROUNDS = 4
"""So often new chains are sought after each step."""
_WHOLE = 0.95
"""Chains that are taken by so much are all taken."""
_RUNS = 36
"""So many runs are decided by themselves."""
_FOR_REST, _FOR_DIVE = 0.8, 0.5
"""The parts of what is left of the time: for those runs, and for the dive before."""
_PRICELESS = -FAR / 1e6
"""What a run or port is worth that is taken already."""
_Pool = dict[tuple[int, tuple[tuple[int, int], ...]], Route]


def dived(of: Task, relaxed: Relaxation, deadline: float) -> Task:
    """The choice with a better plan, where the dive and a local search from it find one.

    Args:
        of: the choice.
        relaxed: its linear relaxation.
        deadline: the time of `perf_counter` at which it stops.
    """
    given = of.fixed.given
    taken = dive(of, relaxed.routes, share(deadline, _FOR_DIVE))
    allowed = sorted({int(outlet) for board in of.some for outlet in board.outlets})
    rest = region(given, (), taken, allowed)
    routes = [*taken, *back(rest, decided(rest, share(deadline, _FOR_REST)))] if rest.outlets and rest.runs else taken
    found = replace(of, plan=choice(of.fixed, routes), chains=()).searched(deadline, STEPS * len(given.runs))
    chains = (*of.chains, *found.chains)
    return replace(of, plan=min(of.plan, found.plan, key=_cost), chains=chains)


def _cost(plan: Choice) -> int:
    return plan.cost


def dive(of: Task, pool: tuple[Route, ...], deadline: float) -> list[Route]:
    """Chains of a good plan, until few runs are left."""
    fixed, taken = of.fixed, list[Route]()
    routes = {(each.outlet, each.stops): each for each in pool if len({r for r, _ in each.stops}) == len(each.stops)}
    try:
        while routes and _absent(fixed, taken) > _RUNS and perf_counter() < deadline:
            answer = _solved(of, routes, taken, deadline)
            left = list(routes.values())
            order = [int(n) for n in np.argsort(-answer.taken, kind="stable") if answer.taken[n] > 1e-6]
            for place, number in enumerate(order):
                if place and (answer.taken[number] < _WHOLE or _absent(fixed, taken) <= _RUNS):
                    break
                if fits_universes(fixed, [*taken, left[number]]):
                    taken.append(left[number])
            if not order:
                break
            routes = _others(fixed, routes, taken, without=left[order[0]])
    except OutOfTimeError:
        pass
    return taken


def _absent(fixed: Rows, taken: list[Route]) -> int:
    return len(fixed.given.runs) - sum(len(route.stops) for route in taken)


def _others(fixed: Rows, routes: _Pool, taken: list[Route], without: Route) -> _Pool:
    """The chains that may still be taken."""
    hung = {run for route in taken for run, _ in route.stops}
    free = _free(fixed, taken)
    return {
        key: each for key, each in routes.items()
        if each is not without and free[each.outlet] > 0.5 and not any(run in hung for run, _ in each.stops)
    }  # fmt: skip


def _free(fixed: Rows, taken: list[Route]) -> Floats:
    """The ports of each outlet that are left."""
    return fixed.counts - np.bincount([route.outlet for route in taken], minlength=len(fixed.counts))


def _solved(of: Task, routes: _Pool, taken: list[Route], deadline: float) -> LinearAnswer:
    """The linear program without what is taken, over some chains and new ones, which are added to them."""
    fixed = of.fixed
    given, capped = fixed.given, dict(fixed.capped)
    for route in taken:
        if (box := given.outlets[route.outlet].box) in capped:
            capped[box] = max(0.0, capped[box] - universes(given, route))
    rest = replace(fixed, counts=_free(fixed, taken), capped=capped)
    hung = sorted({run for route in taken for run, _ in route.stops})
    for _ in range(_ROUNDS):
        answer = linear(rest, columns_of(given, list(routes.values())), deadline - perf_counter())
        runs, outlets = answer.duals.runs.copy(), answer.duals.outlets.copy()
        runs[hung] = outlets[rest.counts < 0.5] = _PRICELESS
        duals = Duals(runs, outlets, answer.duals.universes)
        found = price(given, of.some, duals, exact=False, most=LABELS, deadline=deadline).routes
        new = {(each.outlet, each.stops): each for each in found if (each.outlet, each.stops) not in routes}
        if not new or not taken:
            return answer
        routes |= new
    return linear(rest, columns_of(given, list(routes.values())), deadline - perf_counter())
