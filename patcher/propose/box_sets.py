"""The fewest boxes: how few there may be, and which ones then need the least cable.

A plan with few boxes is found by local search. That fewer do not do is proved by the room of the ports, or by the
linear relaxation with a column for each box. One set of dual prices bounds every set of boxes at once: what all runs
are worth, less what the ports of the set are worth (Lagrangian relaxation). So most sets are never looked at.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import takewhile
from math import inf
from time import perf_counter

import numpy as np

from patcher.chains.boards import Board, Floats
from patcher.chains.bounds import Duals
from patcher.chains.chains import Route, accepts
from patcher.chains.columns import Rows
from patcher.chains.instance import Instance, room
from patcher.chains.listing import whole
from patcher.chains.master import (
    Choice,
    Closing,
    Relaxation,
    choice,
    closed_more,
    closing,
    quick_plan,
    relax,
)
from patcher.chains.places import sets_of
from patcher.chains.pricing import price
from patcher.propose.dive import dived
from patcher.propose.regions import inside_boxes
from patcher.propose.start import start_routes
from patcher.propose.tasks import LABELS, LARGE, STEPS, Found, Task, present, share, task

_SETS, _SETS_TRIED = 400, 30
"""So many sets of boxes are looked at one by one, more are decided together; and so many are tried for a set of fewer
boxes.
"""
_WITHOUT_ROOT = 20
"""So many sets are looked at without a relaxation over all boxes, which says little of each."""
_WIDE = 1.03
"""A set is dived into where the best plan costs more than so many times its bound."""
_FEW_STEPS = 15
"""Steps of the local search on each set, for each run: its chains are also what the relaxation begins with."""
_FOR_SEARCH, _FOR_FEWEST, _FOR_ROOT, _FOR_DIVE, _FOR_ANY = 0.3, 0.2, 0.5, 0.5, 0.06
"""The parts of what is left of the time: for a plan with few boxes or on one set, for the proof of the fewest, for the
relaxation over all boxes, for a dive, and for the last plan.
"""
_FOR_REGIONS, _FOR_MOST = 0.25, 0.8
"""The same for regions of a large show, where sets of boxes are looked at one by one, and where they are not."""


def cheapest_set(begin: Task, wanted: int, deadline: float) -> tuple[Found, bool]:
    """The least cable with the fewest boxes, and whether it is proved that no fewer do.

    Args:
        begin: the choice with all boxes.
        wanted: how many runs may be left over.
        deadline: the time of `perf_counter` at which it stops.
    """
    given = begin.fixed.given
    steps = STEPS * len(given.runs)
    better = begin.searched(share(deadline, _FOR_SEARCH), steps, fewest_boxes=True)
    now = present(begin.fixed)
    if now is not None and boxes_order(given, now) < boxes_order(given, better.plan):
        better = replace(begin, plan=now).searched(share(deadline, _FOR_SEARCH), steps, fewest_boxes=True)
    better, fewest = _fewest(better, wanted, share(deadline, _FOR_FEWEST))
    few, idle = boxes_order(given, better.plan)[1], _idle(given)
    fixed = replace(better.fixed, most_boxes=few)
    sets, large = sets_of(given, idle, few, _SETS), len(given.runs) > LARGE
    if sets is None:
        # In a large show the limit raises the relaxation by little, and takes too long to be proved.
        limit = better.fixed if large else fixed
        every = _relaxed(replace(better, fixed=limit), better.plan.cost, share(deadline, _FOR_ROOT))
        better = inside_boxes(better, idle, share(deadline, _FOR_MOST)) if large else better
        return replace(better, fixed=fixed).solved(every, inf, deadline), fewest
    better = inside_boxes(better, idle, share(deadline, _FOR_REGIONS)) if large else better
    root: Relaxation | None = None
    if len(sets) > _WITHOUT_ROOT:
        root = _relaxed(replace(better, fixed=fixed), inf, share(deadline, _FOR_ROOT / 2))
    in_use = tuple(box for box in range(len(given.boxes)) if box not in idle)
    return Chosen(better, [(*in_use, *chosen) for chosen in sets], root, deadline).cheapest(), fewest


def _idle(given: Instance) -> list[int]:
    return [box for box, each in enumerate(given.boxes) if not each.in_use]


def _fewest(better: Task, wanted: int, deadline: float) -> tuple[Task, bool]:
    """The same with a plan of fewer boxes, where there is one; and whether it is proved that there is none with fewer
    still.
    """
    given = better.fixed.given
    idle = _idle(given)
    while few := boxes_order(given, better.plan)[1]:
        if too_small(given, wanted, few - 1):
            return better, True
        late = perf_counter() > deadline
        if not late and _none_with(better, few - 1, wanted, share(deadline, 0.5)):
            return better, True
        sets = sets_of(given, idle, few - 1, _SETS_TRIED)
        if late or sets is None:
            return better, False
        proved, plan = _with_fewer(better, sets, wanted, deadline)
        if plan is None:
            return better, proved
        better = replace(better, plan=plan)
    return better, True


def _with_fewer(
    better: Task, sets: Sequence[tuple[int, ...]], wanted: int, deadline: float
) -> tuple[bool, Choice | None]:
    """Whether it is proved that none of some sets of boxes hangs all but so many runs; or a plan that does."""
    given, fixed, proved = better.fixed.given, better.fixed, True
    idle = _idle(given)
    most = wanted * fixed.left_over + fixed.left_over // 10 + 1
    for chosen in sets:
        if perf_counter() > deadline:
            return False, None
        new = task(given, [box for box in idle if box not in chosen], fixed)
        if new.plan.cost >= most:
            relaxed = new.relaxed((), most, share(deadline, 0.5))
            if relaxed.bound > most:
                continue
            found = new.solved(relaxed, most, share(deadline, 0.5))
            new, proved = replace(new, plan=found.plan), proved and found.bound >= most
        if len(new.plan.left_over) <= wanted:
            return False, new.plan
    return proved, None


def boxes_order(given: Instance, plan: Choice) -> tuple[int, int, int]:
    """What plans are ordered by where the fewest boxes are wanted: runs left over, boxes, and what they cost."""
    idle = {box for route in plan.routes if not given.boxes[box := given.outlets[route.outlet].box].in_use}
    return len(plan.left_over), len(idle), sum(route.price for route in plan.routes)


def _relaxed(of: Task, cutoff: float, deadline: float) -> Relaxation:
    start = [*start_routes(of.fixed.given, of.some, list(of.plan.routes)), *of.chains]
    return relax(of.fixed, of.some, start, cutoff=cutoff, deadline=deadline, most=LABELS)


def too_small(given: Instance, wanted: int, few: int | None = None) -> bool:
    """Whether all ports, or those of so few boxes besides those in use, have too little room for all but the longest
    runs.
    """
    rooms, count = box_rooms(given), Counter[tuple[str, ...]]()
    kept, others = 0, list[int]()
    for box in sorted(rooms, key=lambda box: -rooms[box]):
        names = given.boxes[box].names
        count[names] += 1
        if given.boxes[box].in_use:
            kept += rooms[box]
        elif count[names] <= len(names):  # no more than there are of those that are alike
            others.append(rooms[box])
    pixels = sorted(run.pixels for run in given.runs)
    return sum(pixels[: len(pixels) - wanted]) > kept + sum(others[:few])


def box_rooms(given: Instance) -> dict[int, int]:
    """Pixels that each box has room for on all its ports, at the most, whatever their kind."""
    kinds = {(run.kind, run.reset_us) for run in given.runs}
    found: dict[int, int] = {}
    ports: dict[tuple[int, tuple[int, ...]], int] = {}
    for outlet in given.outlets:
        limits = given.boxes[outlet.box]
        rooms = [room(limits, outlet, k, q, given.frame_rate) for k, q in kinds if accepts(given, outlet, k)]
        key = (outlet.box, outlet.ports)  # the same ports, for another colour order
        ports[key] = max(ports.get(key, 0), len(outlet.ports) * max(rooms, default=0))
    for (box, _), pixels in ports.items():
        found[box] = found.get(box, 0) + pixels
    return found


def _none_with(better: Task, few: int, wanted: int, deadline: float) -> bool:
    """Whether it is proved that no plan with so many boxes hangs all but so many runs."""
    fixed = replace(better.fixed, most_boxes=few)
    most = wanted * fixed.left_over + fixed.left_over // 10 + 1
    return _relaxed(replace(better, fixed=fixed), most, deadline).bound > most


@dataclass(frozen=True, eq=False)
class _Bound:
    """What dual prices say of every set of boxes.

    Attributes:
        runs: what all runs are worth.
        boxes: what each box may bring down of it.
    """

    runs: float
    boxes: Floats

    def of(self, boxes: Sequence[int]) -> float:
        """What every plan on some boxes costs at least."""
        return self.runs - float(self.boxes[list(boxes)].sum())


def bound_of_sets(
    fixed: Rows, some: list[Board], duals: Duals, chosen: Sequence[int] | None, deadline: float = inf
) -> _Bound | None:
    """The bound of dual prices; None where the search was stopped. Where they belong to some boxes only, the ports of
    the others begin without a price.
    """
    outlets = duals.outlets
    if chosen is not None:
        outlets = np.where(np.isin(fixed.box, list(chosen)), outlets, 0.0)
    found = price(fixed.given, some, replace(duals, outlets=outlets), exact=True, most=LABELS, deadline=deadline)
    if found.least is None:
        return None
    lower = np.minimum(outlets + found.least, 0.0) * fixed.counts
    boxes: Floats = -np.bincount(fixed.box, weights=lower, minlength=len(fixed.given.boxes)).astype(np.float64)
    for box, most in fixed.capped.items():
        boxes[box] -= most * duals.universes[box]
    return _Bound(float(duals.runs.sum()), boxes)


class Chosen:
    """Sets of boxes of which one is chosen, and what is known of each."""

    def __init__(self, better: Task, sets: Sequence[tuple[int, ...]], root: Relaxation | None, deadline: float) -> None:
        """With the best plan so far, and what is known of all sets together."""
        self.task = better
        self.deadline = deadline
        given = better.fixed.given
        self.sets = sets
        self.member = np.array([[box in boxes for box in range(len(given.boxes))] for boxes in sets], dtype=np.float64)
        self.bounds: Floats = np.full(len(sets), max(root.bound, 0.0) if root else 0.0)
        self.best: Choice = choice(better.fixed, better.plan.routes)
        self.pool: dict[tuple[int, object], Route] = {}
        self.useful: dict[tuple[int, object], Route] = {}
        self.closing: dict[int, Closing] = {}
        self.tasks: dict[int, Task] = {}
        if root is not None:
            self._learn(root, None)

    def _learn(self, found: Relaxation, chosen: Sequence[int] | None) -> None:
        """Raise the bounds of all sets by the duals of one relaxation."""
        bound = bound_of_sets(self.task.fixed, self.task.some, found.duals, chosen, self.deadline)
        if bound is not None:
            self.bounds = np.maximum(self.bounds, bound.runs - self.member @ bound.boxes)
        self.useful |= {(route.outlet, route.stops): route for route in found.useful}
        self.pool |= {(route.outlet, route.stops): route for route in found.routes}

    def _open(self) -> list[int]:
        """The sets that may hold a better plan, the likeliest first."""
        order: list[int] = np.argsort(self.bounds, kind="stable").tolist()
        found = takewhile(lambda number: whole(self.bounds[number]) < self.best.cost, order)
        return sorted(found, key=lambda number: (self.bounds[number], self._unlike(number)))

    def cheapest(self) -> Found:
        """The cheapest plan on any of the sets: always the one with the least bound is looked at further."""
        last = share(self.deadline, 1 - _FOR_ANY)
        while perf_counter() < last and (left := [n for n in self._open() if not self._stuck(n)]):
            if left[0] in self.closing:
                self._close(left[0], last)
            else:
                self._relax(left[0], last)
        if left := [n for n in self._open() if n in self.closing]:
            likely = min((self.closing[number] for number in left), key=lambda of: of.best.cost)
            self.best = min(self.best, quick_plan(likely, self.deadline), key=_cost)
        bound = min((whole(bound) for bound in self.bounds), default=self.best.cost)
        return Found(self.task.fixed.given, self.task.fixed, self.best, min(bound, self.best.cost))

    def _stuck(self, number: int) -> bool:
        return number in self.closing and self.closing[number].stuck

    def _unlike(self, number: int) -> int:
        """How many boxes of the best plan are not in a set."""
        given = self.task.fixed.given
        return len({given.outlets[route.outlet].box for route in self.best.routes}.difference(self.sets[number]))

    def _relax(self, number: int, deadline: float) -> None:
        boxes = self.sets[number]
        given = self.task.fixed.given
        without = [box for box in range(len(given.boxes)) if box not in boxes]
        new = task(given, without, self.task.fixed)
        if all(given.outlets[route.outlet].box in boxes for route in self.best.routes):
            new = replace(new, plan=min(self.best, new.plan, key=_cost), chains=self.task.chains)
            new = replace(new, chains=tuple(r for r in new.chains if given.outlets[r.outlet].box in boxes))
        new = new.searched(share(deadline, _FOR_SEARCH), _FEW_STEPS * len(given.runs))
        self.best = min(self.best, new.plan, key=_cost)
        pool = [route for route in self.pool.values() if given.outlets[route.outlet].box in boxes]
        found = new.relaxed((*self.useful.values(), *pool), self.best.cost, share(deadline, 0.5))
        self.bounds[number] = max(self.bounds[number], found.bound)
        self.closing[number] = closing(new.fixed, new.some, found, new.plan.routes)
        self.tasks[number] = new
        self._learn(found, boxes)

    def _close(self, number: int, deadline: float) -> None:
        if (new := self.tasks.pop(number, None)) and self.best.cost > _WIDE * self.bounds[number]:
            better = dived(new, self.closing[number].relaxed, share(deadline, _FOR_DIVE))
            self.closing[number] = replace(self.closing[number], best=better.plan, likely=better.chains)
            self.best = min(self.best, better.plan, key=_cost)
        found = closed_more(self.closing[number], self.best.cost, share(deadline, 0.5))
        self.closing[number] = found
        self.best = min(self.best, found.best, key=_cost)
        self.bounds[number] = max(self.bounds[number], found.bound)


def _cost(plan: Choice) -> int:
    return plan.cost
