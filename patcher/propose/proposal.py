"""Proposals: up to three that differ in kind, each with its proof.

A proposal says for every run its box, its port, its place in the chain, the end at which data enters, and its lead. A
run that hangs comes before all else; then come the fewest boxes and the least cable, or the least cable alone, or the
highest frame rate and then the least cable. Cable counts with boosters, each as so many metres.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from time import perf_counter
from typing import Literal

from patcher.limits.refresh import OFFERED
from patcher.propose.boards import Board, boards
from patcher.propose.chains import Route, needs_booster, route_leads, route_ms
from patcher.propose.columns import Rows, rows
from patcher.propose.instance import Instance, LeftOut
from patcher.propose.master import Choice, optimum
from patcher.propose.start import start_routes

Kind = Literal["fewest boxes", "least cable", "best frame rate"]
KINDS: tuple[Kind, ...] = ("fewest boxes", "least cable", "best frame rate")


@dataclass(frozen=True, slots=True)
class Place:
    """Where one run is proposed to hang.

    Attributes:
        run: its name.
        box: the box.
        port: the port.
        number: its place in the chain, from 1, kept runs counted.
        data_in: where its data enters; None for a run whose drawing has no such key.
        lead: metres of cable before its first pixel.
        lead_via: `cable`, or `booster` where data does not cross so much of it without help.
    """

    run: str
    box: str
    port: int
    number: int
    data_in: str | int | None
    lead: float
    lead_via: Literal["cable", "booster"]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposal and how good it is.

    Attributes:
        kind: what it puts first.
        places: every run that it hangs, box by box, port by port, in data order.
        left_over: runs that no port could take.
        left_out: runs and boxes that were not decided about, and why.
        metres: cable of all its leads.
        boosters: how many of its leads need one.
        boxes: how many boxes are in use, those with kept runs included.
        frame_ms: milliseconds of the slowest port that it hangs a run on; 0 where it hangs none.
        cost: metres, each booster counted as so many, that the bound is of.
        bound: metres that no plan of this kind goes below, with no more boxes or the same frame rate.
        boxes_proved: whether no plan that hangs as many runs needs fewer boxes, where the kind puts that first.
        rate_proved: whether no plan keeps the next higher rate that players offer, where the kind puts that first.
        proved: whether all that it puts first, and the cost, is the best that there is.
    """

    kind: Kind
    places: tuple[Place, ...]
    left_over: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    metres: float
    boosters: int
    boxes: int
    frame_ms: float
    cost: float
    bound: float
    boxes_proved: bool
    rate_proved: bool
    proved: bool

    @property
    def gap(self) -> float:
        """The part of the cost by which it may be too dear."""
        return (self.cost - self.bound) / self.cost if self.cost else 0.0


@dataclass(frozen=True, eq=False)
class _Found:
    """A plan with what is proved of it."""

    given: Instance
    fixed: Rows
    plan: Choice
    bound: int
    first_proved: bool = True


def propose(given: Instance, kind: Kind = "fewest boxes", *, seconds: float = 60.0) -> Proposal:
    """The best proposal of a kind that is found in time.

    Args:
        given: what is to be decided.
        kind: what it puts first.
        seconds: how long to search.
    """
    deadline = perf_counter() + seconds
    match kind:
        case "fewest boxes":
            found = _fewest_boxes(given, deadline)
        case "least cable":
            found = _least_cable(given, deadline)
        case "best frame rate":
            found = _best_rate(given, deadline)
    return _said(kind, found)


def proposals(given: Instance, *, seconds: float = 60.0) -> list[Proposal]:
    """Proposals that differ in where they hang runs: one of each kind, in the order of `KINDS`, less those that are
    like an earlier one.
    """
    found: list[Proposal] = []
    for kind in KINDS:
        new = propose(given, kind, seconds=seconds / len(KINDS))
        if all(new.places != other.places for other in found):
            found.append(new)
    return found


def _dearest(some: Sequence[Board]) -> int:
    return max((int(max(board.first.max(), board.between.max())) for board in some), default=0)


def _least_cable(
    given: Instance,
    deadline: float,
    without: Sequence[int] = (),
    fixed: Rows | None = None,
    pool: Sequence[Route] = (),
    cutoff: float = float("inf"),
) -> _Found:
    some = boards(given, without)
    fixed = fixed or rows(given, _dearest(some))
    start = [route for route in pool if given.outlets[route.outlet].box not in without]
    found = optimum(fixed, some, [*start_routes(given, some), *start], cutoff=cutoff, deadline=deadline)
    return _Found(given, fixed, found.choice, found.bound)


# --- fewest boxes -----------------------------------------------------------------------------------------------------


def _fewest_boxes(given: Instance, deadline: float) -> _Found:
    """The least cable with the fewest boxes: sets of boxes of each size are tried, those that are in use always."""
    fixed = rows(given, _dearest(boards(given)))
    best = _least_cable(given, (perf_counter() + deadline) / 2, fixed=fixed)
    wanted = len(best.plan.left_over)
    idle = [box for box, each in enumerate(given.boxes) if not each.in_use]
    sure = best.bound > (wanted - 1) * fixed.left_over
    for size in range(len(idle)):
        found, proved = _of_size(given, idle, size, wanted, fixed, deadline)
        sure = sure and proved
        if found is not None:
            return replace(found, first_proved=sure)
    return replace(best, first_proved=sure)


def _of_size(
    given: Instance, idle: list[int], size: int, wanted: int, fixed: Rows, deadline: float
) -> tuple[_Found | None, bool]:
    """The cheapest plan with so many boxes more that hangs all but so many runs; and, where there is none, whether that
    is proved.
    """
    best: _Found | None = None
    bound, proved = float("inf"), True
    for chosen in combinations(idle, size):
        without = [box for box in idle if box not in chosen]
        if _too_small(given, without, wanted):
            continue
        cutoff = float((wanted + 1) * fixed.left_over if best is None else best.plan.cost)
        found = _least_cable(given, deadline, without, fixed, cutoff=cutoff)
        bound = min(bound, found.bound)
        if found.plan.cost < cutoff:
            best = found
        proved = proved and (best is not None or found.bound >= cutoff)
    if best is None:
        return None, proved
    return replace(best, bound=min(int(bound), best.plan.cost)), True


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


def _best_rate(given: Instance, deadline: float) -> _Found:
    """The least cable at the highest rate of those that players offer at which as many runs hang as at the show's."""
    slow = _least_cable(given, deadline - 0.7 * (deadline - perf_counter()))
    wanted, sure = len(slow.plan.left_over), True
    for rate in _faster(given):
        quick = replace(given, frame_rate=rate)
        if _too_small(quick, [], wanted):
            continue
        found = _least_cable(quick, deadline - 0.5 * (deadline - perf_counter()))
        if len(found.plan.left_over) <= wanted:
            return replace(found, first_proved=sure)
        sure = sure and found.bound > wanted * found.fixed.left_over + _dearest(boards(quick)) * len(given.runs)
    return replace(slow, first_proved=sure)


def _faster(given: Instance) -> Iterator[float]:
    """The rates above the show's that players offer, the highest first."""
    yield from (float(rate) for rate in OFFERED if rate > given.frame_rate)


# --- the answer -------------------------------------------------------------------------------------------------------


def _said(kind: Kind, found: _Found) -> Proposal:
    given, plan = found.given, found.plan
    places = tuple(_places(given, plan))
    new_boxes = {given.outlets[route.outlet].box for route in plan.routes}
    boxes = {number for number, box in enumerate(given.boxes) if box.in_use} | new_boxes
    metres = round(sum(place.lead for place in places), 2)
    boosters = sum(place.lead_via == "booster" for place in places)
    over = found.fixed.left_over * len(plan.left_over)
    bound = max(0, found.bound - over)
    return Proposal(
        kind=kind,
        places=places,
        left_over=tuple(given.runs[run].name for run in plan.left_over),
        left_out=given.left_out,
        metres=metres,
        boosters=boosters,
        boxes=len(boxes),
        frame_ms=max((route_ms(given, route) for route in plan.routes), default=0.0),
        cost=(plan.cost - over) / 100,
        bound=bound / 100,
        boxes_proved=kind != "fewest boxes" or found.first_proved,
        rate_proved=kind != "best frame rate" or found.first_proved,
        proved=found.first_proved and found.bound >= plan.cost,
    )


def _places(given: Instance, plan: Choice) -> Iterator[Place]:
    free = {number: iter(outlet.ports) for number, outlet in enumerate(given.outlets)}
    chains = sorted(plan.routes, key=lambda route: (given.outlets[route.outlet].box, route.outlet, route.stops))
    for route in chains:
        outlet = given.outlets[route.outlet]
        port = next(free[route.outlet])
        leads = route_leads(given, route.outlet, route.stops)
        for number, ((run, way), lead) in enumerate(zip(route.stops, leads, strict=True), start=len(outlet.behind) + 1):
            each = given.runs[run]
            via: Literal["cable", "booster"] = "booster" if needs_booster(lead) else "cable"
            data_in = each.entries[way].data_in
            yield Place(each.name, given.boxes[outlet.box].name, port, number, data_in, lead / 100, via)
