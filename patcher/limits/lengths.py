"""Checks leads, strings and feeds against the drawing: wire too short to reach, or far longer than drawn.

A wire is never shorter than the straight line between its ends, and no picture is deeper than its own plane; so what is
said to be too short cannot be built as it is drawn. A lead goes along the routes that are drawn, and is held against
that way. Where an end is not drawn, the wire is counted on to the next place that is, in a straight line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isnan

import numpy as np
from numpy.typing import NDArray

from patcher.errors import Finding
from patcher.lead_ways import STRAIGHT, LeadWays, lead_ways
from patcher.power.circuit import joints, metres_between
from patcher.power.stretches import outwards
from patcher.shapes import Positions, cells, positions
from patcher.show.run_tables import BandRun, GridRun, PointsRun, Run
from patcher.show.schema import Show
from patcher.units import in_units
from patcher.wiring import Wiring

_SHARE, _LEAST = 0.1, 0.25
"""What drawing and measuring may differ by: a tenth of the way, but at least 0.25 m. Common practice, no source."""
_TOO_MUCH, _BULGE = 4.0, 1.0
"""Wire may be so many times as long as it is drawn, and a metre more: pixels in the holes of a panel stand close on a
string of wide pitch, 25 mm on 100 mm. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class _Reach:
    """How far wire reaches from a place that is drawn."""

    point: tuple[float, float]
    called: str
    metres: float = 0.0

    def on(self, metres: float) -> _Reach | None:
        """The reach with more wire behind it; None where its length is not known."""
        return None if isnan(metres) else _Reach(self.point, self.called, self.metres + metres)

    def lacks(self, to: tuple[float, float], ways: LeadWays) -> bool:
        return too_short(self.metres, ways.way(self.point, to).metres)

    def drawn(self, to: tuple[float, float], ways: LeadWays, own: float, units: str) -> str:
        """How far off a place is drawn, in words, and what wire there is besides a last piece of `own` metres."""
        more, way = self.metres - own, ways.way(self.point, to)
        besides = f", with {in_units(more, units)} of other wire between them" if more > _LEAST else ""
        along = "" if way.is_straight else " along the routes"
        return f"is drawn {in_units(way.metres, units)} from {self.called}{along}{besides}"


def too_short(wire: float, way: float) -> bool:
    """Whether a wire is too short for a way, both in metres, drawn and measured as people do."""
    return way - wire > max(_LEAST, _SHARE * way)


def findings(wiring: Wiring) -> list[Finding]:
    """Warnings about a sound wiring's leads, strings and feeds, one a wire."""
    show = wiring.show
    drawn = {name: at for name, run in show.runs.items() if run.hung and (at := positions(show, run)) is not None}
    return [*_leads(wiring, drawn), *_strings(show, drawn), *_feeds(show, drawn)]


def _point(places: Positions, pixel: int) -> tuple[float, float]:
    return float(places[pixel][0]), float(places[pixel][1])


def _box(show: Show, name: str | None) -> _Reach | None:
    at = show.controllers[name].at if name is not None else None
    return None if at is None else _Reach(at, f"the box {name}")


def _wire(show: Show, run: Run) -> float:
    """Metres of wire from a run's first pixel to its last; NaN where its pitch is not known."""
    pitch = show.type_of(run).pitch
    return float("nan") if pitch is None else float(metres_between(run, pitch).sum())


def _leads(wiring: Wiring, drawn: dict[str, Positions]) -> Iterator[Finding]:
    show, ways = wiring.show, lead_ways(wiring.show)
    for (box, _), chain in wiring.chains.items():
        here = _box(show, box)
        for run in (show.runs[name] for name in chain if show.runs[name].hung):
            reach = here and here.on(run.lead)
            own = reach is not None and reach.metres == run.lead
            yield from _lead(show, run, [reach], drawn, ways if own else STRAIGHT)
            yield from _tees(wiring, run, reach, drawn)
            if run.name in drawn:
                here = _Reach(_point(drawn[run.name], -1), f"the last pixel of {run.name}")
            else:
                here = reach and reach.on(_wire(show, run))


def _tees(wiring: Wiring, run: Run, reach: _Reach | None, drawn: dict[str, Positions]) -> Iterator[Finding]:
    """The leads of tees, which begin somewhere along the lead of the run whose data they have."""
    show = wiring.show
    begins: dict[str, list[_Reach | None]] = {run.name: [reach]}
    for tee in (show.runs[name] for name in wiring.tees(run.name)):
        source = show.runs[str(tee.same_data_as)]
        ends = list(begins[source.name])
        if source.name in drawn:
            ends.append(_Reach(_point(drawn[source.name], 0), f"the first pixel of {source.name}", source.lead))
        begins[tee.name] = [end and end.on(tee.lead) for end in ends]
        if tee.hung:
            yield from _lead(show, tee, begins[tee.name], drawn, STRAIGHT)  # where along the other it begins, none says


def _lead(
    show: Show, run: Run, reaches: list[_Reach | None], drawn: dict[str, Positions], ways: LeadWays
) -> Iterator[Finding]:
    if run.name not in drawn:
        return
    first = _point(drawn[run.name], 0)
    for reach in reaches:
        if reach is None or not reach.lacks(first, ways):
            continue
        units = show.settings.units
        own = f"{in_units(run.lead, units)} of lead" if run.lead else "no lead"
        says = f"has {own}, and its first pixel {reach.drawn(first, ways, run.lead, units)}"
        remedy = "measure the lead, or correct the drawing: data_in, where the run begins, or where the box stands (at)"
        yield Finding("warning", "lead-reach", "wiring", f"run.{run.name}.lead", says, remedy)
        return


def _string_steps(show: Show, run: Run, places: Positions) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Metres from each pixel to the next as drawn, and between which of them the string goes on with its own pitch.

    It does not where a place has no pixel, nor from a line of a grid to the next one: there people splice.
    """
    steps: NDArray[np.float64] = np.hypot(*np.diff(places, axis=0).T)
    if isinstance(run, GridRun | BandRun):
        grid = show.grid_of(run) if isinstance(run, BandRun) else run
        found = cells(show, run)
        assert found is not None  # noqa: S101  (it is a grid)
        along, across = (
            np.abs(np.diff(found, axis=0)).T if grid.lines == "rows" else np.abs(np.diff(found, axis=0)).T[::-1]
        )
        return steps, (along == 1) & (across == 0)
    return steps, metres_between(run, 1.0) == 1.0


def _strings(show: Show, drawn: dict[str, Positions]) -> Iterator[Finding]:
    units = show.settings.units
    for name, places in drawn.items():
        run = show.runs[name]
        pitch = show.type_of(run).pitch
        if pitch is None or len(places) < 2:
            continue
        steps, own = _string_steps(show, run, places)
        way, wire = float(steps[own].sum()), pitch * int(own.sum())
        where, each = f"run.{name}", f"a pitch of {in_units(pitch, units)}"
        long = f"is drawn {in_units(way, units)} long from pixel to pixel"
        if too_short(wire, way):
            says = f"{long}, and its wire there is {in_units(wire, units)} ({each}): it does not reach"
            remedy = "correct pixels, the drawing, or the pitch of its kind; where it is spliced longer, accept this"
            yield Finding("warning", "string-length", "wiring", where, says, remedy)
        elif wire > _TOO_MUCH * way + _BULGE:
            says = f"{long}, and has {in_units(wire, units)} of wire there ({each})"
            remedy = "correct pixels, the drawing, or the pitch of its kind; where it hangs in bunches, accept this"
            yield Finding("warning", "string-length", "wiring", where, says, remedy)
        elif isinstance(run, PointsRun) and too_short(pitch, float((steps * own).max())):
            at = int((steps * own).argmax()) + 1
            step = in_units(float(steps[at - 1]), units)
            says = f"is drawn with {step} between pixels {at} and {at + 1}, and has {each}: the wire does not reach"
            remedy = "correct the places; where it is spliced longer, accept this"
            yield Finding("warning", "string-length", "wiring", where, says, remedy)


def _feeds(show: Show, drawn: dict[str, Positions]) -> Iterator[Finding]:
    units = show.settings.units
    at_tap: dict[tuple[str, int], _Reach | None] = {}
    for feed in outwards(show):
        if feed.supply is not None:
            here = _box(show, show.supplies[feed.supply].box)
        else:
            here = at_tap.get((str(feed.source), int(feed.tap or 0)))
        for number, run, pixel, metres in joints(show, feed):
            first = (feed.name, number) not in at_tap
            reach = here and here.on(metres)
            here = reach
            if run in drawn:
                goal = _point(drawn[run], pixel - 1)
                here = _Reach(goal, f"{run}/{pixel}")
                if first and reach is not None and reach.lacks(goal, STRAIGHT):
                    where = f"feed.{feed.name}.taps[{number}].length"
                    says = (
                        f"is {in_units(metres, units)}, and {run}/{pixel} {reach.drawn(goal, STRAIGHT, metres, units)}"
                    )
                    remedy = "measure the wire from the tap before, or from the supply; or correct the drawing"
                    yield Finding("warning", "feed-reach", "power", where, says, remedy)
            at_tap[feed.name, number] = here
