"""What a chain costs, and whether a port can take it: the one definition that the search and the answer share.

Lengths are whole centimetres, so that equal plans cost exactly the same. A lead is its way with slack, along the routes
that are drawn (`lead_ways`). Data crosses so much of it without help; past that it has a booster, which counts for so
many metres of cable. A booster in the middle of a lead helps over twice as much; past that the lead is differential,
and its sender and receiver count for two boosters.

No lead is cheaper than two over a third place only because it is one: neither routes nor boosters promise that.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from patcher.chains.instance import Instance, LineKind, Outlet, room
from patcher.lead_ways import SLACK
from patcher.limits.advice import LONGEST_LEAD
from patcher.limits.refresh import frame_ms

_NO_HELP = round(LONGEST_LEAD * 100)
"""Centimetres of lead that need no booster."""
_BOOSTED = 2 * _NO_HELP
"""Centimetres of lead that one booster in their middle is enough for."""

Via = Literal["cable", "booster", "differential"]
"""How data crosses a lead."""

Stop = tuple[int, int]
"""A run and the way in which data enters it, by their numbers in the instance."""


@dataclass(frozen=True, slots=True)
class Route:
    """A chain on an outlet.

    Attributes:
        outlet: where it begins, by its number in the instance.
        stops: its runs in data order.
        price: what it costs: centimetres of lead, and those that its boosters count for.
    """

    outlet: int
    stops: tuple[Stop, ...]
    price: int


def leads_cm(given: Instance, begins: NDArray[np.float64], ends: NDArray[np.float64]) -> NDArray[np.int64]:
    """Whole centimetres of every lead from some places to others: shape (begins, ends)."""
    ways = given.ways.between(begins, ends)
    found: NDArray[np.int64] = np.ceil(np.round(ways * (1 + SLACK) * 100, 6)).astype(np.int64)
    return found


def via(lead_cm: int) -> Via:
    """How data crosses a lead."""
    if lead_cm <= _NO_HELP:
        return "cable"
    return "booster" if lead_cm <= _BOOSTED else "differential"


def prices(lead_cm: NDArray[np.int64], booster: float) -> NDArray[np.int64]:
    """What leads cost, in centimetres of cable."""
    helped = (lead_cm > _NO_HELP).astype(np.int64) + (lead_cm > _BOOSTED)
    return lead_cm + helped * round(booster * 100)


def route_leads(given: Instance, outlet: int, stops: tuple[Stop, ...]) -> tuple[int, ...]:
    """Centimetres of lead before each run of a chain."""
    entries = [given.runs[run].entries[way] for run, way in stops]
    begins = np.array([given.outlets[outlet].at, *(entry.last for entry in entries[:-1])])
    found: list[int] = leads_cm(given, begins, np.array([entry.first for entry in entries])).diagonal().tolist()
    return tuple(found)


def route(given: Instance, outlet: int, stops: tuple[Stop, ...]) -> Route:
    """A chain with its price."""
    leads = np.array(route_leads(given, outlet, stops), dtype=np.int64)
    return Route(outlet, stops, int(prices(leads, given.booster).sum()))


def route_ms(given: Instance, chain: Route) -> float:
    """Milliseconds of one frame of a port, with what is kept on it."""
    runs, outlet = [given.runs[run] for run, _ in chain.stops], given.outlets[chain.outlet]
    kind, quiet = runs[0].kind, max(outlet.reset_us, *(run.reset_us for run in runs))
    pixels = outlet.taken + sum(run.pixels for run in runs)
    return frame_ms([(1, pixels * kind.channels)], kind.bit_rate, quiet)


def universes(given: Instance, chain: Route) -> float:
    """Universes that a chain adds to its box. Each start begins on a new one; null pixels are counted like others."""
    outlet, runs = given.outlets[chain.outlet], [given.runs[run] for run, _ in chain.stops]
    per, start_per = runs[0].kind.per_universe, given.boxes[outlet.box].start_per
    if start_per == "run":
        return float(sum(ceil(run.pixels / per) for run in runs))
    return added_universes(start_per, outlet.taken, sum(run.pixels for run in runs), per)


def added_universes(start_per: str, taken: int, pixels: int, per: int) -> float:
    """Universes that pixels add behind those that a port has, where its runs have no starts of their own."""
    if start_per == "controller":
        return pixels / per
    return float(ceil((taken + pixels) / per) - ceil(taken / per))


def accepts(given: Instance, outlet: Outlet, kind: LineKind) -> bool:
    """Whether a port can take pixels of a kind at all."""
    box = given.boxes[outlet.box]
    if outlet.colour_order is not None and outlet.colour_order != kind.colour_order:
        return False
    if outlet.kind is None:
        return True
    same_line = (outlet.kind.bit_rate, outlet.kind.channels) == (kind.bit_rate, kind.channels)
    return same_line and (mixes_orders(box.start_per, box.reorders) or outlet.kind.colour_order == kind.colour_order)


def mixes_orders(start_per: str, reorders: bool) -> bool:
    """Whether pixels of different colour orders may follow each other on a port of a box."""
    return not reorders or start_per == "run"


def feasible(given: Instance, chain: Route) -> bool:
    """Whether a port can take a chain; what its box's universes hold is for all its chains together."""
    runs, outlet = [given.runs[run] for run, _ in chain.stops], given.outlets[chain.outlet]
    box = given.boxes[outlet.box]
    lines = {(run.kind.bit_rate, run.kind.channels) for run in runs}
    orders = {run.kind.colour_order for run in runs}
    if len({run for run, _ in chain.stops}) < len(runs) or len(lines) > 1:
        return False
    if len(orders) > 1 and not mixes_orders(box.start_per, box.reorders):
        return False
    if not all(accepts(given, outlet, run.kind) for run in runs):
        return False
    quiet = max(run.reset_us for run in runs)
    return sum(run.pixels for run in runs) <= room(box, outlet, runs[0].kind, quiet, given.frame_rate)
