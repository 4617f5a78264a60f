"""The cheapest plan of a list of chains: cuts raise the bound, what is too dear is struck out, the rest is decided."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil
from time import perf_counter

import numpy as np

from patcher.chains.boards import Floats, Ints
from patcher.chains.chains import Route
from patcher.chains.columns import (
    Columns,
    LinearAnswer,
    Rows,
    integer,
    linear,
    reduced_costs,
)
from patcher.chains.cuts import violated
from patcher.chains.pricing import Candidates

_FEW = 600
"""Chains that are decided without more cuts."""
_SLOW = 0.03
"""Part of what the bound lacks that a round of cuts must bring."""
_ROUNDS = 4
"""So many rounds of larger cuts are looked at together."""
_LIKELY, _SECONDS = 1_500, 2.0
"""So many of the likeliest chains are decided first, for at most so many seconds."""
_MOST = 6_000
"""Chains that an integer program is made of at most: a larger one may not stop in time."""
_FIRST = 2_000
_MORE = 1_000


@dataclass(frozen=True, eq=False)
class Listed:
    """What a list of chains gives.

    Attributes:
        routes: the cheapest plan below the goal, None where there is none or none was found.
        bound: what every plan costs at least, where it costs less than the goal; else the goal.
        reached: the cost of the last linear program, cuts included.
        likely: chains that the last linear program takes a part of.
    """

    routes: tuple[Route, ...] | None
    bound: int
    reached: float
    likely: tuple[Route, ...]


def best_of_list(fixed: Rows, listed: Candidates, goal: int, bound: float, deadline: float) -> Listed:
    """The cheapest plan below a goal that a complete list of chains gives.

    Raises:
        OutOfTimeError: nothing was found in time.
    """
    left = np.arange(len(listed.columns))
    active = np.zeros(len(left), dtype=bool)
    active[np.argsort(listed.reduced, kind="stable")[:_FIRST]] = True
    reached, larger = [-np.inf], False
    best: tuple[Route, ...] | None = None
    while True:
        columns = listed.columns.take(left)
        answer, values, active = _linear(fixed, columns, active, deadline)
        bound = max(bound, answer.value)
        used = left[active][answer.taken > 1e-6]
        if whole(bound) >= goal:
            return Listed(best, goal, bound, _routes(listed, used))
        larger = larger or answer.value - reached[-1] < _SLOW * (goal - bound)
        cuts = violated(columns.runs[active], answer.taken, larger=larger)
        # Left-over runs cost more than any plan below the goal; so they are no part of it.
        stays = values < goal - 1 - answer.value + 0.01
        left, active, values = left[stays], active[stays], values[stays]
        slow = larger and answer.value - reached[-_ROUNDS:][0] < _ROUNDS * _SLOW * (goal - bound)
        late = perf_counter() > deadline
        if len(left) <= _FEW or slow or late or not len(cuts):
            break
        reached.append(answer.value)
        fixed = replace(fixed, cuts=fixed.cuts.take(answer.cuts < -1e-9).and_more(cuts))
    if len(left) > _LIKELY:
        # A good plan strikes out more: it is sought among the likeliest chains.
        likely = left[np.sort(np.argsort(values, kind="stable")[:_LIKELY])]
        best, _ = _decided(fixed, listed, likely, goal, min(_SECONDS, deadline - perf_counter()))
        if best is not None:
            goal = _cost(best)
            left = left[values < goal - 1 - answer.value + 0.01]
    if len(left) > _MOST or perf_counter() > deadline:
        return Listed(best, min(goal, whole(bound)), bound, _routes(listed, used))
    better, proved = _decided(fixed, listed, left, goal, deadline - perf_counter())
    best, goal = (best, goal) if better is None else (better, _cost(better))
    return Listed(best, goal if proved else min(goal, whole(bound)), bound, _routes(listed, used))


def whole(bound: float) -> int:
    """A bound in whole centimetres."""
    return ceil(bound - 1e-4)


def _routes(listed: Candidates, which: Ints) -> tuple[Route, ...]:
    return tuple(listed.route(int(column)) for column in which)


def _cost(routes: tuple[Route, ...]) -> int:
    return sum(route.price for route in routes)


def _decided(
    fixed: Rows, listed: Candidates, left: Ints, goal: int, seconds: float
) -> tuple[tuple[Route, ...] | None, bool]:
    """The cheapest plan below a goal of some of the chains, and whether that is proved."""
    taken, proved = integer(fixed, listed.columns.take(left), seconds, goal)
    return (None if taken is None else _routes(listed, left[taken])), proved


def _linear(
    fixed: Rows, columns: Columns, active: np.ndarray, deadline: float
) -> tuple[LinearAnswer, Floats, np.ndarray]:
    """The linear program over a list, solved over few of it and more as they are wanted; and all reduced costs."""
    parts = fixed.cuts.of(columns.runs)
    while True:
        answer = linear(fixed, columns.take(active), deadline - perf_counter())
        values = reduced_costs(fixed, columns, answer, parts)
        wanted = np.flatnonzero((values < -1e-6) & ~active)
        if not len(wanted):
            return answer, values, active
        active = active.copy()
        active[wanted[np.argsort(values[wanted], kind="stable")[:_MORE]]] = True
