"""The searches behind each kind of proposal: which boxes, which frame rate, and then the least cable."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import inf
from time import perf_counter

from patcher.chains.chains import feasible
from patcher.chains.columns import Rows
from patcher.chains.instance import Instance
from patcher.chains.master import choice, closed, closing, optimum
from patcher.chains.places import full_sets
from patcher.limits.refresh import OFFERED
from patcher.propose.box_sets import Chosen, cheapest_set, too_small
from patcher.propose.dive import dived
from patcher.propose.regions import inside_boxes
from patcher.propose.tasks import LARGE, STEPS, Found, Task, share, task

_FOR_SEARCH, _FOR_REGIONS, _FOR_RELAXATION, _FOR_FIRST, _FOR_DIVE = 0.2, 0.25, 0.7, 0.5, 0.5
"""The parts of what is left of the time: for a good plan, for its regions in a large show, for the linear relaxation,
for closing the gap at first, and for a dive.
"""
_FOR_MORE, _FOR_MOST, _AHEAD = 0.4, 0.95, 2.0
"""The same for regions where the gap stays wide, in a middling show and in a large one; and so many times as long as
the last step of closing took must be left for the next.
"""
_FOR_RATE = 0.2
"""The part of what is left of the time for the proof that a frame rate cannot be kept."""
_PLACES = 2_000
"""So many sets of places for boxes are looked at one by one; more are decided together."""
_MORE_STEPS = 4
"""So many times as many steps a search takes where boxes may stand in several places."""
_WIDE, _VERY_WIDE = 0.03, 0.1
"""The gaps that are wide, as parts of the bound."""


def least_cable(given: Instance, deadline: float) -> Found:
    """The least cable, with any boxes."""
    return _cheapest(task(given), deadline)


def _cheapest(begin: Task, deadline: float) -> Found:
    given = begin.fixed.given
    if not begin.some or not given.runs:
        return Found(given, begin.fixed, begin.plan, begin.plan.cost)
    better = begin.searched(share(deadline, _FOR_SEARCH), STEPS * len(given.runs) * (_MORE_STEPS if given.few else 1))
    movable = [box for box, each in enumerate(given.boxes) if each.place is not None]
    if len(given.runs) > LARGE:
        better = inside_boxes(better, movable, share(deadline, _FOR_REGIONS))
    relaxed = better.relaxed((), better.plan.cost, share(deadline, _FOR_RELAXATION))
    if given.few and (sets := full_sets(given, _PLACES)) is not None:
        if better.plan.cost > (1 + _WIDE) * relaxed.bound:
            better = inside_boxes(better, movable, share(deadline, _FOR_MORE), seed=2)
        return Chosen(better, sets, relaxed, deadline).cheapest()
    now = closing(better.fixed, better.some, relaxed, better.plan.routes)
    now = closed(now, inf, share(deadline, _FOR_FIRST), _AHEAD)
    better = replace(better, plan=now.best)
    if now.bound < now.best.cost > (1 + _WIDE) * relaxed.bound:
        part = _FOR_MOST if len(given.runs) > LARGE else _FOR_MORE
        better = inside_boxes(better, movable, share(deadline, part), seed=2)
        if better.plan.cost > (1 + _VERY_WIDE) * relaxed.bound:
            better = dived(better, relaxed, share(deadline, _FOR_DIVE))
            better = inside_boxes(better, movable, share(deadline, part), seed=3)
    now = replace(now, best=better.plan, stuck=not relaxed.finished)
    return better.found(optimum(now, inf, deadline))


# --- fewest boxes -----------------------------------------------------------------------------------------------------


def _left_over(given: Instance, deadline: float, known: Found | None) -> tuple[int, bool, Found | None]:
    """How many runs are left over at the least, whether that is proved, and the plan that shows it, if one was made."""
    begin = task(given)
    if known is None and not begin.plan.left_over:
        return 0, True, None
    best = known or least_cable(given, (perf_counter() + deadline) / 2)
    wanted = len(best.plan.left_over)
    return wanted, not wanted or best.bound > _most(begin.fixed, wanted - 1), best


def _most(fixed: Rows, left_over: int) -> int:
    """More than a plan costs that leaves so many runs over: one run more costs ten times as much as all leads."""
    return left_over * fixed.left_over + fixed.left_over // 10 + 1


def fewest_boxes(given: Instance, deadline: float, known: Found | None = None) -> Found:
    """The least cable with the fewest boxes, those that are in use always among them; the least cable may be known."""
    wanted, sure, best = _left_over(given, deadline, known)
    begin = task(given)
    if not begin.some or not given.runs:
        return best or Found(given, begin.fixed, begin.plan, begin.plan.cost)
    if best is not None:
        begin = replace(begin, plan=best.plan, chains=best.chains)
    found, proved = cheapest_set(begin, wanted, deadline)
    return replace(found, first_proved=sure and proved)


# --- best frame rate --------------------------------------------------------------------------------------------------


def best_rate(given: Instance, deadline: float, known: Found | None = None) -> Found:
    """The least cable at the highest rate of those that players offer at which as many runs hang as at the show's; the
    least cable may be known.
    """
    wanted, sure, slow = _left_over(given, deadline, known)
    for rate in _faster(given) if given.runs else ():
        quick = replace(given, frame_rate=rate)
        keeps = known is not None and all(feasible(quick, each) for each in known.plan.routes)
        if too_small(quick, wanted):
            continue
        if known is not None and not keeps and perf_counter() > deadline:
            sure = False
            continue
        begin = _at_rate(quick, known if keeps else None)
        if len(begin.plan.left_over) > wanted:
            begin = begin.searched(share(deadline, _FOR_SEARCH), STEPS * len(given.runs))
        if len(begin.plan.left_over) <= wanted:
            return replace(_cheapest(begin, deadline), first_proved=sure)
        most = _most(begin.fixed, wanted)
        sure = sure and begin.relaxed((), most, share(deadline, _FOR_RATE)).bound >= most
    return replace(slow or least_cable(given, deadline), first_proved=sure)


def _at_rate(quick: Instance, known: Found | None) -> Task:
    """The choice at a frame rate, begun with a plan that is known to keep it where that is the better one."""
    begin = task(quick)
    if known is None:
        return begin
    plan = choice(begin.fixed, known.plan.routes)
    chains = tuple(each for each in known.chains if feasible(quick, each))
    return replace(begin, plan=min(begin.plan, plan, key=lambda plan: plan.cost), chains=chains)


def _faster(given: Instance) -> Iterator[float]:
    """The rates above the show's that players offer, the highest first."""
    yield from (float(rate) for rate in OFFERED if rate > given.frame_rate)
