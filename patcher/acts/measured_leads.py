"""How long a lead is as it is drawn: from where it begins, along the routes, to its run's first pixel, with slack."""

from __future__ import annotations

from math import ceil

import networkx as nx

from patcher.acts.act import MeasureLead, SetKey
from patcher.acts.things import ReadPoints
from patcher.lead_ways import SLACK, Place, lead_ways
from patcher.shapes import positions
from patcher.show.parser import read
from patcher.show.schema import Show
from patcher.wiring import Wiring, wire

_PER_METRE = 10
"""Such parts of a metre a lead is rounded up to: a cable is cut no closer."""


def lead_measured(text: str, act: MeasureLead, points: ReadPoints) -> SetKey | None:
    """The act that gives a run's lead the length of its way; None where one of its ends has no place.

    Args:
        text: the text of the show file.
        act: which run's lead.
        points: reads the places of a points file.
    """
    show = read(text.replace("\r\n", "\n"), points).show
    if show is None or act.run not in show.runs:
        return None
    begin, end = _begin(wire(show), act.run), _place(show, act.run, 0)
    if begin is None or end is None:
        return None
    metres = ceil(round(lead_ways(show).way(begin, end).metres * (1 + SLACK) * _PER_METRE, 6)) / _PER_METRE
    return SetKey(act="set", thing=act.run, key="lead", value=metres)


def _begin(wiring: Wiring, run: str) -> Place | None:
    """Where the lead of a run begins: at its box, or at the last pixel of the run before it."""
    if not nx.is_directed_acyclic_graph(wiring.graph):
        return None
    for (box, _), chain in wiring.chains.items():
        if run in chain:
            at = chain.index(run)
            return _place(wiring.show, chain[at - 1], -1) if at else wiring.show.controllers[box].at
    return None


def _place(show: Show, run: str, pixel: int) -> Place | None:
    places = positions(show, show.runs[run])
    return None if places is None else (float(places[pixel][0]), float(places[pixel][1]))
