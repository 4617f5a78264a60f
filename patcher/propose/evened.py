"""A plan made even: of plans with no more boxes and no more cable, one that keeps a higher frame rate; and of those one
in which like runs hang alike, as six trees do in two chains of three.

Runs that lie near each other change places, or one goes beside the other, as long as that makes the plan better so.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from math import hypot
from time import perf_counter

from patcher.chains.chains import Route, feasible, route_ms
from patcher.chains.columns import Rows, fits_universes
from patcher.chains.instance import Instance, OpenRun
from patcher.propose.slots import Slots, near_runs, oriented, slots

_NEAR = 10
"""So many of the nearest runs a run changes places with."""
Value = tuple[int, float, int]
Runs = tuple[int, ...]


def evened(fixed: Rows, routes: Sequence[Route], deadline: float, without: Collection[int] = ()) -> tuple[Route, ...]:
    """A plan of the same runs that is no worse in what it costs, then its slowest port, then how unlike its chains are.

    Args:
        fixed: the rows.
        routes: the plan.
        deadline: the time of `perf_counter` at which it stops.
        without: boxes that nothing may be hung on.
    """
    plan = tuple(routes)
    if len(plan) < 2 or perf_counter() > deadline:
        return plan
    given = fixed.given
    of, like = slots(given, without), likenesses(given)
    near, here = near_runs(of), value(given, plan, like)
    better = True
    while better:
        better = False
        for run in range(len(given.runs)):
            for other in near[run][1 : _NEAR + 1]:
                if perf_counter() > deadline:
                    return plan
                for new in _moved(of, plan, run, other):
                    now = value(given, new, like)
                    if now < here and fits_universes(fixed, new):
                        plan, here, better = new, now, True
    return plan


def value(given: Instance, plan: Sequence[Route], like: Sequence[int]) -> Value:
    """What a plan costs, milliseconds of its slowest port, and how many unlike chains it has."""
    patterns = set()
    for each in plan:
        kinds = tuple(like[run] for run, _ in each.stops)
        patterns.add(min(kinds, kinds[::-1]))
    return sum(each.price for each in plan), max(route_ms(given, each) for each in plan), len(patterns)


def likenesses(given: Instance) -> list[int]:
    """A number for each run, the same for those of the same kind, pixels and size."""

    def looks(run: OpenRun) -> tuple[object, ...]:
        ways = sorted(round(hypot(e.last[0] - e.first[0], e.last[1] - e.first[1]), 2) for e in run.entries)
        return run.kind, run.reset_us, run.pixels, tuple(ways)

    numbers: dict[tuple[object, ...], int] = {}
    return [numbers.setdefault(looks(run), len(numbers)) for run in given.runs]


def _moved(of: Slots, plan: tuple[Route, ...], run: int, other: int) -> Iterator[tuple[Route, ...]]:
    """The plan with two runs of different chains in each other's place, and with the first beside the second."""
    at = {number: chain for chain, each in enumerate(plan) for number, _ in each.stops}
    here, there = at.get(run), at.get(other)
    if here is None or there is None or here == there:
        return
    mine, theirs = (tuple(number for number, _ in plan[chain].stops) for chain in (here, there))
    swapped = tuple(other if each == run else each for each in mine)
    place = theirs.index(other)
    yield from _with(of, plan, {here: swapped, there: (*theirs[:place], run, *theirs[place + 1 :])})
    left = tuple(each for each in mine if each != run)
    for begin in (place, place + 1):
        yield from _with(of, plan, {here: left, there: (*theirs[:begin], run, *theirs[begin:])})


def _with(of: Slots, plan: tuple[Route, ...], changed: dict[int, Runs]) -> Iterator[tuple[Route, ...]]:
    """The plan with other runs in some of its chains, if their ports take them and it costs no more."""
    new: dict[int, Route] = {}
    for chain, runs in changed.items():
        if not runs:
            continue
        outlet = plan[chain].outlet
        nodes = oriented(of, outlet, runs)
        price = sum(of.rows[a][b] for a, b in zip((of.source + outlet, *nodes), nodes, strict=False))
        new[chain] = Route(outlet, tuple((of.run[node], of.way[node]) for node in nodes), price)
    if sum(each.price for each in new.values()) > sum(plan[chain].price for chain in changed):
        return
    if all(feasible(of.given, each) for each in new.values()):
        after = (new.get(number, each) for number, each in enumerate(plan) if number in new or number not in changed)
        yield tuple(after)
