"""Proposals: up to three that differ in kind, each with its proof.

A proposal says for every run its box, its port, its place in the chain, the end at which data enters, and its lead. A
run that hangs comes before all else; then come the fewest boxes and the least cable, or the least cable alone, or the
highest frame rate and then the least cable. Cable counts with boosters, each as so many metres.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from time import perf_counter
from typing import Literal

from patcher.chains.chains import Via, route_leads, route_ms, via
from patcher.chains.columns import Rows
from patcher.chains.instance import Instance, LeftOut
from patcher.chains.master import Choice, choice
from patcher.chains.places import named
from patcher.propose.evened import evened
from patcher.propose.searches import best_rate, fewest_boxes, least_cable
from patcher.propose.tasks import Found, present, share

Kind = Literal["fewest boxes", "least cable", "best frame rate"]
_FOR_EVEN = 0.03
"""The part of the time in which a plan is made even."""
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
        lead_via: `cable`; `booster` where data does not cross so much of it without help; `differential` where one
            booster does not help far enough.
    """

    run: str
    box: str
    port: int
    number: int
    data_in: str | int | None
    lead: float
    lead_via: Via


@dataclass(frozen=True, slots=True)
class Stand:
    """Where a box is to stand, of those that may stand in several places."""

    box: str
    at: tuple[float, float]


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
        differentials: how many of its leads need a differential sender and receiver.
        boxes: how many boxes are in use, those with kept runs included.
        frame_ms: milliseconds of the slowest port that it hangs a run on; 0 where it hangs none.
        cost: metres, each booster and each differential lead counted as so many more, that the bound is of.
        bound: metres that no plan of this kind goes below, with no more boxes or the same frame rate.
        boxes_proved: whether no plan that hangs as many runs needs fewer boxes, where the kind puts that first.
        rate_proved: whether no plan keeps the next higher rate that players offer, where the kind puts that first.
        proved: whether all that it puts first, and the cost, is the best that there is.
        present: what the wiring of today costs, by the same count, where all is decided anew; None where it does not
            hang every run or does not keep the rules.
        stands: where each box that it uses is to stand, of those that may stand in several places.
    """

    kind: Kind
    places: tuple[Place, ...]
    left_over: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    metres: float
    boosters: int
    differentials: int
    boxes: int
    frame_ms: float
    cost: float
    bound: float
    boxes_proved: bool
    rate_proved: bool
    proved: bool
    present: float | None = None
    stands: tuple[Stand, ...] = ()

    @property
    def max_rate(self) -> float | None:
        """Frames a second that its slowest port keeps up; None where it hangs no run."""
        return 1000 / self.frame_ms if self.frame_ms else None

    @property
    def gap(self) -> float:
        """The part of the cost by which it may be too dear."""
        return (self.cost - self.bound) / self.cost if self.cost else 0.0


def propose(given: Instance, kind: Kind = "fewest boxes", *, seconds: float = 60.0) -> Proposal:
    """The best proposal of a kind that is found in time.

    Args:
        given: what is to be decided.
        kind: what it puts first.
        seconds: how long to search.
    """
    return proposals(given, (kind,), seconds=seconds)[0]


def proposals(given: Instance, kinds: Sequence[Kind] = KINDS, *, seconds: float = 60.0) -> list[Proposal]:
    """The best proposal of each of some kinds that is found in time; several may come to the same plan. What is found
    of the least cable helps the others.

    Args:
        given: what is to be decided.
        kinds: what the proposals put first, one each.
        seconds: how long to search, for all together.
    """
    deadline, found = perf_counter() + seconds, dict[Kind, Found]()
    for number, kind in enumerate(sorted(kinds, key=lambda kind: kind != "least cable")):
        until = share(deadline, 1 / (len(kinds) - number))
        best = _found(kind, given, share(until, 1 - _FOR_EVEN), found.get("least cable"))
        found[kind] = _evened(best, max(until, perf_counter() + _FOR_EVEN * seconds))
    made = {kind: _said(kind, found[kind], given) for kind in kinds}
    return [_bounded(made[kind], made.get("least cable")) for kind in kinds]


def _found(kind: Kind, given: Instance, deadline: float, least: Found | None) -> Found:
    match kind:
        case "fewest boxes":
            return fewest_boxes(given, deadline, least)
        case "least cable":
            return least_cable(given, deadline)
        case "best frame rate":
            return best_rate(given, deadline, least)


def _evened(found: Found, deadline: float) -> Found:
    """The same with a plan that is no dearer, on no more boxes, and is faster or has chains more alike, if there is."""
    plan = choice(found.fixed, evened(found.fixed, found.plan.routes, deadline))
    return replace(found, plan=plan)


def _bounded(made: Proposal, least: Proposal | None) -> Proposal:
    """A proposal with what is known from that of least cable: no plan that hangs as many runs goes below its bound."""
    if least is None or len(least.left_over) != len(made.left_over):
        return made
    bound = min(max(made.bound, least.bound), made.cost)
    proved = made.proved or (made.boxes_proved and made.rate_proved and bound >= made.cost)
    return replace(made, bound=bound, proved=proved)


# --- the answer -------------------------------------------------------------------------------------------------------


def _said(kind: Kind, found: Found, asked: Instance) -> Proposal:
    given, plan = found.given, found.plan
    new_boxes = {given.outlets[route.outlet].box for route in plan.routes}
    names = named(given, new_boxes)
    places = tuple(_places(given, plan, names))
    stands = [Stand(name, at) for box, name in names.items() if (at := given.boxes[box].place) is not None]
    boxes = {number for number, box in enumerate(given.boxes) if box.in_use} | new_boxes
    metres = round(sum(place.lead for place in places), 2)
    over = found.fixed.left_over * len(plan.left_over)
    bound = max(0, found.bound - over)
    now = _present(replace(found.fixed, given=asked))
    return Proposal(
        kind=kind,
        places=places,
        left_over=tuple(given.runs[run].name for run in plan.left_over),
        left_out=given.left_out,
        metres=metres,
        boosters=sum(place.lead_via == "booster" for place in places),
        differentials=sum(place.lead_via == "differential" for place in places),
        boxes=len(boxes),
        frame_ms=max((route_ms(given, route) for route in plan.routes), default=0.0),
        cost=(plan.cost - over) / 100,
        bound=bound / 100,
        boxes_proved=kind != "fewest boxes" or found.first_proved,
        rate_proved=kind != "best frame rate" or found.first_proved,
        proved=found.first_proved and found.bound >= plan.cost,
        present=None if now is None else now / 100,
        stands=tuple(stands),
    )


def _present(fixed: Rows) -> int | None:
    """What the plan of today costs, where it hangs every run and keeps the rules."""
    now = present(fixed)
    return None if now is None or now.left_over else now.cost


def _places(given: Instance, plan: Choice, names: Mapping[int, str]) -> Iterator[Place]:
    free = {number: iter(outlet.ports) for number, outlet in enumerate(given.outlets)}
    chains = sorted(plan.routes, key=lambda route: (given.outlets[route.outlet].box, route.outlet, route.stops))
    for route in chains:
        outlet = given.outlets[route.outlet]
        port = next(free[route.outlet])
        leads = route_leads(given, route.outlet, route.stops)
        for number, ((run, way), lead) in enumerate(zip(route.stops, leads, strict=True), start=len(outlet.behind) + 1):
            each = given.runs[run]
            data_in = each.entries[way].data_in
            yield Place(each.name, names[outlet.box], port, number, data_in, lead / 100, via(lead))
