"""Leads as they are drawn, round the corners of their ways, and the routes along which they go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from patcher.drawing.svg import Floats, path, trace_of
from patcher.lead_ways import Way, lead_ways
from patcher.shapes import along, positions
from patcher.show.schema import Show
from patcher.wiring import Wiring

BAND = "#dedede"
"""The grey of a route: paler than whatever is drawn over it, and told from it by its width alone."""
_SAMPLES = 200


@dataclass(frozen=True, slots=True)
class DrawnLead:
    """A lead of which both ends have a place.

    Attributes:
        box: the box on which its run hangs.
        run: the run that it leads to.
        before: the run from whose last pixel it comes; of a tee, the run from whose first; None from the box.
        is_tee: whether its run is a tee.
        way: its way, in metres.
    """

    box: str
    run: str
    before: str | None
    is_tee: bool
    way: Way


def drawn_leads(wiring: Wiring) -> Iterator[DrawnLead]:
    """Every lead of a sound wiring of which both ends have a place."""
    show, ways = wiring.show, lead_ways(wiring.show)
    ends = {
        name: ((float(at[0][0]), float(at[0][1])), (float(at[-1][0]), float(at[-1][1])))
        for name, run in show.runs.items() if (at := positions(show, run)) is not None
    }  # fmt: skip
    for (box, _), chain in wiring.chains.items():
        before, begin = None, show.controllers[box].at
        for run in chain:
            if begin is not None and run in ends:
                yield DrawnLead(box, run, before, False, ways.way(begin, ends[run][0]))
            before, begin = run, ends[run][1] if run in ends else None
    for run in ends:
        source = wiring.source(run)
        if source != run and source in ends:
            yield DrawnLead(wiring.ports[run][0], run, source, True, ways.way(ends[source][0], ends[run][0]))


def sampled_routes(show: Show) -> dict[str, Floats]:
    """Points along each route, its ends among them, in metres."""
    return {
        name: along(np.array(route.path, dtype=float), np.linspace(0.0, 1.0, _SAMPLES))
        for name, route in show.routes.items()
    }


def band(points: Floats, name: str, width: float) -> str:
    """A route, on paper."""
    ends = {"stroke_linejoin": "round", "stroke_linecap": "round"}
    return path(trace_of(points), class_="route", data_route=name, stroke=BAND, stroke_width=f"{width:g}", **ends)


def middle(points: Floats) -> tuple[Floats, Floats]:
    """The middle of a line, and its direction there."""
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = min(int(np.searchsorted(length, length[-1] / 2, "right")) - 1, len(points) - 2)
    step = points[at + 1] - points[at]
    long = max(float(np.hypot(*step)), 1e-9)
    return points[at] + step * ((length[-1] / 2 - length[at]) / long), step / long
