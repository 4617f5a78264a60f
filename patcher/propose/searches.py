"""The searches behind each kind of proposal: which boxes, which frame rate, and then the least cable."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import ceil
from time import perf_counter

from patcher.limits.refresh import OFFERED
from patcher.propose.boards import Board, boards
from patcher.propose.chains import Route
from patcher.propose.columns import Rows, fits_universes, rows
from patcher.propose.instance import Instance
from patcher.propose.master import Choice, Relaxation, choice, optimum, relax
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
    """

    given: Instance
    fixed: Rows
    plan: Choice
    bound: int
    first_proved: bool = True


_LABELS = 60_000
"""Labels at which one search for chains stops."""


def _dearest(some: Sequence[Board]) -> int:
    return max((int(max(board.first.max(), board.between.max())) for board in some), default=0)


@dataclass(frozen=True, eq=False)
class _Task:
    """The choice of chains with some boxes left out.

    Attributes:
        fixed: the rows.
        some: the boards.
        plan: a plan to begin with.
    """

    fixed: Rows
    some: list[Board]
    plan: Choice

    def relaxed(self, pool: Sequence[Route], cutoff: float, deadline: float) -> Relaxation:
        """Its linear relaxation, begun with chains that others were found with."""
        given = self.fixed.given
        start = [*start_routes(given, self.some, list(self.plan.routes)), *seated(given, self.some, pool)]
        return relax(self.fixed, self.some, start, cutoff=cutoff, deadline=deadline, most=_LABELS)

    def solved(self, relaxed: Relaxation, cutoff: float, deadline: float) -> Found:
        """Its cheapest plan."""
        begin = self.plan.routes
        found = optimum(self.fixed, self.some, relaxed, start=begin, cutoff=cutoff, deadline=deadline)
        return Found(self.fixed.given, self.fixed, found.choice, found.bound)


def _task(given: Instance, without: Sequence[int] = (), fixed: Rows | None = None) -> _Task:
    some = boards(given, without)
    fixed = fixed or rows(given, _dearest(some))
    plan = choice(fixed, start_plan(given, some))
    return _Task(fixed, some, plan if fits_universes(fixed, plan.routes) else choice(fixed, []))


def least_cable(given: Instance, deadline: float) -> Found:
    """The least cable, with any boxes."""
    task = _task(given)
    if not task.some or not given.runs:
        return Found(given, task.fixed, task.plan, task.plan.cost)
    relaxed = task.relaxed((), float("inf"), deadline)
    return task.solved(relaxed, float("inf"), deadline)


# --- fewest boxes -----------------------------------------------------------------------------------------------------


def _left_over(given: Instance, deadline: float) -> tuple[int, bool, Found | None]:
    """How many runs are left over at the least, whether that is proved, and the plan that shows it, if one was made."""
    task = _task(given)
    if not task.plan.left_over:
        return 0, True, None
    best = least_cable(given, (perf_counter() + deadline) / 2)
    wanted = len(best.plan.left_over)
    return wanted, not wanted or best.bound > _most(task.fixed, wanted - 1), best


def _most(fixed: Rows, left_over: int) -> int:
    """More than a plan costs that leaves so many runs over: one run more costs ten times as much as all leads."""
    return left_over * fixed.left_over + fixed.left_over // 10 + 1


def fewest_boxes(given: Instance, deadline: float) -> Found:
    """The least cable with the fewest boxes: sets of boxes of each size are tried, those that are in use always."""
    wanted, sure, best = _left_over(given, deadline)
    fixed = _task(given).fixed
    idle = [box for box, each in enumerate(given.boxes) if not each.in_use]
    # With all boxes it is a bound for every set of them, and its chains are a good beginning.
    every = _task(given, (), fixed).relaxed((), float("inf"), _share(deadline, _FOR_BOUND)) if given.runs else None
    for size in range(len(idle)):
        found, proved = _of_size(given, idle, size, wanted, fixed, every, deadline)
        if found is not None:
            return replace(found, first_proved=sure)
        sure = sure and proved
    return replace(best or least_cable(given, deadline), first_proved=sure)


def _of_size(
    given: Instance, idle: list[int], size: int, wanted: int, fixed: Rows, every: Relaxation | None, deadline: float
) -> tuple[Found | None, bool]:
    """The cheapest plan with so many boxes more that hangs all but so many runs; and, where there is none, whether that
    is proved.
    """
    sets = ([box for box in idle if box not in chosen] for chosen in combinations(idle, size))
    tasks = [_task(given, without, fixed) for without in sets if not _too_small(given, without, wanted)]
    tasks.sort(key=lambda task: task.plan.cost)
    most = float(_most(fixed, wanted))
    best: Found | None = None
    pool: list[Route] = [] if every is None else list(every.useful)
    least = 0.0 if every is None else max(every.bound, 0.0)
    open_tasks: list[tuple[float, int, Relaxation]] = []
    for number, task in enumerate(tasks):
        cutoff = most if best is None else best.plan.cost
        relaxed = task.relaxed(pool, cutoff, _share(deadline, 2 / (2 + len(tasks) - number) if number else 0.5))
        pool = list({(route.outlet, route.stops): route for route in (*pool, *relaxed.useful)}.values())
        lower = max(relaxed.bound, least)
        if best is None and lower < most:
            found = task.solved(relaxed, most, perf_counter() + _FOR_FIRST * (deadline - perf_counter()))
            best = found if found.plan.cost < most else None
            lower = max(lower, found.bound)
        if best is None or lower < best.plan.cost:
            open_tasks.append((lower, number, relaxed))
    return _closed(tasks, sorted(open_tasks, key=lambda each: each[:2]), best, most, deadline)


def _share(deadline: float, part: float) -> float:
    """The time at which a part of what is left is used up."""
    return perf_counter() + part * max(0.0, deadline - perf_counter())


_FOR_BOUND = 0.3
"""The part of the time that is for a bound over all boxes."""
_FOR_FIRST = 0.5
"""The part of the time that is for the likeliest set of boxes, before the others are looked at."""


def _closed(
    tasks: list[_Task],
    open_tasks: list[tuple[float, int, Relaxation]],
    best: Found | None,
    most: float,
    deadline: float,
) -> tuple[Found | None, bool]:
    """The best of the sets of boxes that are not decided, the most promising first."""
    bounds = []
    for number, (lower, which, relaxed) in enumerate(open_tasks):
        cutoff = most if best is None else best.plan.cost
        if lower < cutoff and perf_counter() < deadline:
            part = (deadline - perf_counter()) / min(3, len(open_tasks) - number)
            found = tasks[which].solved(relaxed, cutoff, perf_counter() + part)
            lower = max(lower, found.bound)
            best = found if found.plan.cost < cutoff else best
        bounds.append(lower)
    lowest = min(bounds, default=float("inf"))
    if best is None:
        return None, lowest >= most
    bound = best.plan.cost if lowest >= best.plan.cost else ceil(max(lowest, 0.0) - 1e-4)
    return replace(best, bound=bound), True


def _too_small(given: Instance, without: list[int], wanted: int) -> bool:
    """Whether some boxes have too little room for all but the longest runs, however they are hung."""
    some = boards(given, without)
    fit = {int(run) for board in some for run in board.run}
    if len({tuple(board.run) for board in some}) > 1:  # a port is then on several boards
        return len(given.runs) - len(fit) > wanted
    room = sum(int(board.room @ [len(given.outlets[o].ports) for o in board.outlets]) for board in some)
    pixels = sorted((run.pixels for run in given.runs), reverse=True)
    return len(given.runs) - len(fit) > wanted or sum(pixels[wanted:]) > room


# --- best frame rate --------------------------------------------------------------------------------------------------


def best_rate(given: Instance, deadline: float) -> Found:
    """The least cable at the highest rate of those that players offer at which as many runs hang as at the show's."""
    wanted, sure, slow = _left_over(given, deadline)
    for rate in _faster(given):
        quick = replace(given, frame_rate=rate)
        if _too_small(quick, [], wanted):
            continue
        found = least_cable(quick, deadline - 0.3 * (deadline - perf_counter()))
        if len(found.plan.left_over) <= wanted:
            return replace(found, first_proved=sure)
        sure = sure and found.bound > _most(found.fixed, wanted)
    return replace(slow or least_cable(given, deadline), first_proved=sure)


def _faster(given: Instance) -> Iterator[float]:
    """The rates above the show's that players offer, the highest first."""
    yield from (float(rate) for rate in OFFERED if rate > given.frame_rate)
