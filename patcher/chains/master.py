"""The master program: which chains to take, so that every run is in one, no port has two, and the least is paid.

Its linear relaxation grows by the chains that the pricing finds (column generation); the last relaxation is a bound on
every plan, and its duals say which chains a better plan could still have. Those are listed, cuts raise the bound over
the list, and an integer program over what is left of it is exact. Sources: Baldacci, Christofides, Mingozzi (2008), An
exact algorithm for the vehicle routing problem based on the set partitioning formulation, Mathematical Programming 115;
Jepsen, Petersen, Spoorendonk, Pisinger (2008), Subset-row inequalities, Operations Research 56.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf
from time import perf_counter

import numpy as np

from patcher.chains.boards import Board
from patcher.chains.bounds import Duals
from patcher.chains.chains import Route, route
from patcher.chains.columns import OutOfTimeError, Rows, columns_of, integer, linear
from patcher.chains.listing import best_of_list, whole
from patcher.chains.pricing import all_below, price


@dataclass(frozen=True, eq=False)
class Relaxation:
    """The linear relaxation.

    Attributes:
        bound: what every plan costs at least.
        duals: the prices that belong to the bound.
        routes: the chains that it was solved over.
        finished: whether no chain of negative reduced cost is left.
        useful: the chains that it takes a part of.
    """

    bound: float
    duals: Duals
    routes: tuple[Route, ...]
    finished: bool
    useful: tuple[Route, ...]


def relax(
    fixed: Rows, some: list[Board], start: Iterable[Route], *, cutoff: float, deadline: float, most: int
) -> Relaxation:
    """The linear relaxation, by column generation.

    Args:
        fixed: the rows.
        some: the boards.
        start: chains to begin with.
        cutoff: a bound from which on nothing more need be known.
        deadline: the time of `perf_counter` at which it stops.
        most: labels at which one search stops.
    """
    pool = {(route.outlet, route.stops): route for route in start}
    best, best_duals, exact = -inf, None, False
    useful: tuple[Route, ...] = ()
    slowest = 0.0
    # A bound for runs that are cheap to leave over holds also where they are dear, and is found sooner.
    cheap = replace(fixed, left_over=max(1, int(fixed.left_over / max(1, len(fixed.given.runs)) * _CHEAP)))
    while True:
        routes = tuple(pool.values())
        try:
            answer = linear(cheap, columns_of(fixed.given, routes), deadline - perf_counter())
        except OutOfTimeError:
            return Relaxation(best, best_duals or _no_prices(fixed), routes, False, useful)
        useful = tuple(route for route, part in zip(routes, answer.taken, strict=True) if part > 1e-6)
        best_duals = answer.duals if best_duals is None else best_duals
        if perf_counter() > deadline:
            return Relaxation(best, best_duals, routes, False, useful)
        begun = perf_counter()
        late = begun > deadline - _FOR_BOUND * slowest
        exact = exact or late
        found = price(fixed.given, some, answer.duals, exact=exact, most=most, deadline=deadline)
        slowest = max(slowest, perf_counter() - begun)
        late = late or (exact and perf_counter() > deadline - slowest)
        if found.least is not None and (bound := answer.value + float(fixed.counts @ found.least)) > best:
            best, best_duals = bound, answer.duals
        new = {(route.outlet, route.stops): route for route in found.routes}
        new = {key: route for key, route in new.items() if key not in pool}
        pool |= new
        if exact and not new and answer.left_over > 1e-6 and cheap.left_over < fixed.left_over and best < cutoff:
            cheap = replace(fixed, left_over=min(fixed.left_over, cheap.left_over * 10))
            exact = late
            continue
        if exact and not new and found.least is None and not late:
            most *= 4  # nothing is proved by a search that was stopped
            continue
        if late or best >= cutoff or (exact and not new):
            return Relaxation(best, best_duals, tuple(pool.values()), found.least is not None and not new, useful)
        exact = len(new) < _FEW


def _no_prices(fixed: Rows) -> Duals:
    """Prices that say nothing: every plan costs at least nothing."""
    return Duals(np.zeros(len(fixed.given.runs)), np.zeros(len(fixed.counts)), np.zeros(len(fixed.given.boxes)))


_FOR_BOUND = 1.5
"""So many times the slowest search for chains is kept for the one that makes the last prices a bound."""
_CHEAP = 0.3
"""Leaving a run over at first costs this part of ten times the dearest lead."""
_DEARER = 1.02
"""A cover may be so much dearer: it becomes cheaper where a run is taken off one of its chains."""
_MOST = 4_000
"""The likeliest so many chains are looked at for any good plan."""
_FEW = 30
"""So few new chains of a quick search mean that the next one is exact."""


@dataclass(frozen=True, eq=False)
class Choice:
    """A plan.

    Attributes:
        routes: the chains taken.
        left_over: the runs that are not hung.
        cost: what it costs.
    """

    routes: tuple[Route, ...]
    left_over: tuple[int, ...]
    cost: int


def choice(fixed: Rows, routes: Sequence[Route]) -> Choice:
    """The plan of some chains."""
    hung = {run for route in routes for run, _ in route.stops}
    left = tuple(run for run in range(len(fixed.given.runs)) if run not in hung)
    return Choice(tuple(routes), left, sum(route.price for route in routes) + fixed.left_over * len(left))


_MANY = 250_000
_FOR_ANY = 0.2
"""The part of the time that is kept for finding any good plan."""
_FIRST_GAP, _FOR_RUNS = 0.015, 60
"""The gap that is guessed first, as a part of the bound, with so many runs; less of it with more."""
_NARROW = 0.15
"""Where a wider gap has too many chains, one is tried that is by such a part wider than what is done."""
_WIDER, _LEAST_WIDER, _BEYOND = ((3_000, 1.5), (8_000, 1.25)), 1.15, 0.35
"""A gap in which no plan was found is made so many times wider, where it gave fewer chains than this."""


@dataclass(frozen=True, eq=False)
class Closing:
    """The gap between the best plan and the bound, on its way to nothing.

    Attributes:
        fixed: the rows.
        some: the boards.
        relaxed: the linear relaxation.
        best: the best plan so far.
        bound: what every plan costs at least.
        gap: how far above the relaxation a plan is sought next.
        done: how far above it none is.
        stuck: whether no more can be proved in this way.
        likely: chains that good plans may have.
    """

    fixed: Rows
    some: list[Board]
    relaxed: Relaxation
    best: Choice
    bound: int
    gap: float
    done: float
    stuck: bool
    likely: tuple[Route, ...] = ()


def closing(fixed: Rows, some: list[Board], relaxed: Relaxation, start: Sequence[Route]) -> Closing:
    """The gap of a linear relaxation and a plan."""
    gap = _FIRST_GAP * max(relaxed.bound, 1.0) * min(1.0, _FOR_RUNS / max(1, len(fixed.given.runs)))
    bound = whole(max(relaxed.bound, 0.0))
    return Closing(fixed, some, relaxed, choice(fixed, start), bound, gap, 0.0, not relaxed.finished)


def closed_more(of: Closing, cutoff: float, deadline: float) -> Closing:
    """The gap made smaller: either a plan is found within the guessed one, and is the cheapest, or there is none, and
    the bound rises; no plan is sought that costs as much as a cutoff.
    """
    base = of.relaxed.bound
    goal = int(min(of.best.cost, cutoff, base + of.gap + 1))
    # A plan that costs less than the goal has no chain of a greater reduced cost.
    listed = all_below(of.fixed.given, of.some, of.relaxed.duals, goal - 1 - base + 0.01, _MANY, deadline)
    if listed is None:
        gap = (of.done + of.gap) / 2
        return replace(of, gap=gap, stuck=gap < max(1.0, (1 + _NARROW) * of.done) or perf_counter() > deadline)
    try:
        found = best_of_list(of.fixed, listed, goal, base, deadline)
    except OutOfTimeError:
        return replace(of, stuck=True)
    best = of.best
    if found.routes is not None and (new := choice(of.fixed, found.routes)).cost < best.cost:
        best = new
    wider = next((by for most, by in _WIDER if len(listed.columns) < most), _LEAST_WIDER)
    done = max(of.done, min(found.bound, goal) - base)
    gap = max(of.gap * wider, min(found.reached - base + _BEYOND * of.gap, of.gap * _WIDER[0][1]))
    return replace(
        of,
        best=best,
        bound=max(of.bound, min(found.bound, best.cost)),
        gap=gap,
        done=done,
        stuck=found.bound < goal and best is of.best,  # a better plan is a lower goal
        likely=(*of.likely, *found.likely),
    )


def closed(of: Closing, cutoff: float, deadline: float, ahead: float = 0.0) -> Closing:
    """The gap made smaller until nothing more is to be proved, or time is short.

    Args:
        of: the gap.
        cutoff: what the plan must cost less than.
        deadline: the time of `perf_counter` at which it stops.
        ahead: so many times as long as the last step took must be left for the next.
    """
    now, begun, took = of, perf_counter(), 0.0
    while not now.stuck and now.bound < min(now.best.cost, cutoff) and begun + ahead * took < deadline:
        now = closed_more(now, cutoff, deadline)
        begun, took = perf_counter(), perf_counter() - begun
    return now


def optimum(of: Closing, cutoff: float, deadline: float) -> Closing:
    """The cheapest plan that is found in time; nothing more is sought where none is below a cutoff."""
    now = closed(of, cutoff, deadline - _FOR_ANY * (deadline - perf_counter()))
    best = quick_plan(now, deadline) if now.bound < min(now.best.cost, cutoff) else now.best
    return replace(now, best=best, bound=min(now.bound, best.cost))


def quick_plan(of: Closing, deadline: float) -> Choice:
    """The best plan of the chains that the relaxation was solved over and some more, the likeliest of them."""
    fixed, relaxed, best = of.fixed, of.relaxed, of.best
    every = (*best.routes, *of.likely, *relaxed.routes)
    routes = list({(route.outlet, route.stops): route for route in every}.values())
    routes = [route for route in routes if len({run for run, _ in route.stops}) == len(route.stops)]
    columns = columns_of(fixed.given, routes)
    values = columns.price - columns.runs @ relaxed.duals.runs - relaxed.duals.outlets[columns.outlet]
    values -= relaxed.duals.universes[fixed.box[columns.outlet]] * columns.universes
    likely = np.sort(np.argsort(values, kind="stable")[:_MOST])
    taken, _ = integer(
        fixed, columns.take(likely), max(0.3, deadline - perf_counter()), _DEARER * best.cost, cover=True
    )
    if taken is None:
        return best
    routes = _once(fixed, [routes[likely[column]] for column in taken])
    return min(choice(fixed, routes), best, key=lambda plan: plan.cost)


def _once(fixed: Rows, routes: Sequence[Route]) -> list[Route]:
    """Chains without the runs that others of them have too: each stays where it saves the least to leave it out."""
    found = list(routes)
    while True:
        of: dict[int, list[int]] = {}
        for number, each in enumerate(found):
            for run, _ in each.stops:
                of.setdefault(run, []).append(number)
        several = [run for run, numbers in of.items() if len(numbers) > 1]
        if not several:
            return [each for each in found if each.stops]
        run = several[0]
        less = {number: _without(fixed, found[number], run) for number in of[run]}
        number = max(less, key=lambda number: found[number].price - less[number].price)
        found[number] = less[number]


def _without(fixed: Rows, of: Route, run: int) -> Route:
    stops = tuple(stop for stop in of.stops if stop[0] != run)
    return route(fixed.given, of.outlet, stops) if stops else Route(of.outlet, (), 0)
