"""One choice of chains: the steps from a first plan to the cheapest one, and what each has found.

A plan is made by insertion, made better by local search, and then the columns decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from time import perf_counter

from patcher.chains.boards import Board, boards
from patcher.chains.chains import Route, feasible, route
from patcher.chains.columns import Rows, fits_universes, rows
from patcher.chains.instance import Instance
from patcher.chains.master import Choice, Closing, Relaxation, choice, closing, optimum, relax
from patcher.propose.ruin import local_search
from patcher.propose.start import seated, start_plan, start_routes


@dataclass(frozen=True, eq=False)
class Found:
    """A plan with what is proved of it.

    Attributes:
        given: the instance that it solves.
        fixed: the rows.
        plan: the plan.
        bound: what no plan with as few boxes, or at the same frame rate, goes below.
        first_proved: whether what the kind puts first is proved.
        chains: chains that good plans may have.
    """

    given: Instance
    fixed: Rows
    plan: Choice
    bound: int
    first_proved: bool = True
    chains: tuple[Route, ...] = ()


LABELS = 60_000
"""Labels at which one search for chains stops."""
LARGE = 150
"""More runs than this make a large show, whose gap is seldom closed in time: its plan is made better by regions."""
STEPS = 25
"""Steps of the local search for each run."""


def _dearest(some: Sequence[Board]) -> int:
    return max((int(max(board.first.max(), board.between.max())) for board in some), default=0)


@dataclass(frozen=True, eq=False)
class Task:
    """The choice of chains with some boxes left out.

    Attributes:
        fixed: the rows.
        some: the boards.
        plan: the best plan so far.
        chains: chains of good plans.
        without: the boxes left out.
    """

    fixed: Rows
    some: list[Board]
    plan: Choice
    chains: tuple[Route, ...]
    without: tuple[int, ...]

    def searched(self, deadline: float, steps: int, *, fewest_boxes: bool = False) -> Task:
        """The same with a plan that a local search has made better."""
        given = self.fixed.given
        if not self.some:
            return self
        found = local_search(
            given,
            self.plan.routes,
            steps=steps,
            deadline=deadline,
            without=self.without,
            fewest_boxes=fewest_boxes,
        )
        plan = choice(self.fixed, found.routes)
        return replace(self, plan=plan, chains=(*self.chains, *found.chains))

    def relaxed(self, pool: Sequence[Route], cutoff: float, deadline: float) -> Relaxation:
        """Its linear relaxation, begun with chains that others were found with."""
        given = self.fixed.given
        start = [*start_routes(given, self.some, list(self.plan.routes)), *self.chains]
        start += seated(given, self.some, pool)
        return relax(self.fixed, self.some, start, cutoff=cutoff, deadline=deadline, most=LABELS)

    def solved(self, relaxed: Relaxation, cutoff: float, deadline: float) -> Found:
        """Its cheapest plan."""
        return self.found(optimum(closing(self.fixed, self.some, relaxed, self.plan.routes), cutoff, deadline))

    def found(self, of: Closing) -> Found:
        """What is known of it by its gap."""
        return Found(self.fixed.given, self.fixed, of.best, of.bound, chains=(*self.chains, *of.relaxed.useful))


def task(given: Instance, without: Sequence[int] = (), fixed: Rows | None = None) -> Task:
    """The choice of chains with some boxes left out, begun with a first plan."""
    some = boards(given, without)
    fixed = fixed or rows(given, _dearest(some))
    plan = choice(fixed, start_plan(given, some))
    if plan.left_over or not fits_universes(fixed, plan.routes):
        plan = _filled(fixed, plan.routes, without)
    now = present(fixed, without)
    return Task(fixed, some, plan if now is None or plan.cost <= now.cost else now, (), tuple(without))


def _filled(fixed: Rows, routes: Sequence[Route], without: Sequence[int]) -> Choice:
    """The plan of the chains that their boxes' universes let be, and of what hangs beside them where it fits."""
    kept: list[Route] = []
    for each in sorted(routes, key=lambda each: -len(each.stops)):
        if fits_universes(fixed, [*kept, each]):
            kept.append(each)
    if any(outlet.box not in without for outlet in fixed.given.outlets):
        found = local_search(fixed.given, kept, steps=1, deadline=inf, without=without)
        return choice(fixed, found.routes)
    return choice(fixed, kept)


def present(fixed: Rows, without: Sequence[int] = ()) -> Choice | None:
    """The plan of today; None where it hangs no run, uses a box that is left out, or does not keep the rules."""
    given = fixed.given
    routes = [route(given, outlet, stops) for outlet, stops in given.present]
    keeps = all(feasible(given, each) and given.outlets[each.outlet].box not in without for each in routes)
    if not routes or not keeps or not fits_universes(fixed, routes):
        return None
    return choice(fixed, routes)


def share(deadline: float, part: float) -> float:
    """The time at which a part of what is left is used up."""
    return perf_counter() + part * max(0.0, deadline - perf_counter())
