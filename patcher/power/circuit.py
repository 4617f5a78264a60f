"""The copper of a show as a network: supplies, the wires of feeds, the strings' own wires, and pixels that draw.

Every wire is a pair, V+ and ground. Where V+ is cut (`power_cuts`, `power_joined = false`, a tee) the ground goes on:
the data needs it. So the two conductors are followed one by one, each as a node at every *point*: a pixel, a supply's
terminals, or a joint on a run that is not hung. The ground that ports share through their controller is left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count, pairwise

import numpy as np
from numpy.typing import NDArray

from patcher.power.stretches import Stretch, outwards, taken_pixels
from patcher.power.wires import CELSIUS, Wire, wire_of
from patcher.shapes import data_order
from patcher.show.run_tables import Run
from patcher.show.schema import Feed, Show
from patcher.wiring import Wiring

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_SHORTEST = 1e-6
"""Metres of a wire that is said to have no length: a joint has some resistance, and this little changes nothing."""


@dataclass(frozen=True, slots=True)
class Join:
    """Where a feed joins a run.

    Attributes:
        tap: the number of the tap in the show file, from 1.
        run: the run.
        pixel: the pixel, from 1.
        metres: wire, one way, from the joint before or the supply.
        wire: the number of that wire in the circuit.
        point: the point of the circuit where it joins.
    """

    tap: int
    run: str
    pixel: int
    metres: float
    wire: int
    point: int


@dataclass(frozen=True, eq=False)
class Circuit:
    """The network of a show; what the file does not say is NaN.

    Attributes:
        points: how many points there are; pixels come first.
        runs: the points of each hung run's pixels, in data order.
        supplies: the point of each supply.
        volts: of each supply, in the order of `supplies`.
        ends: the two points that each wire joins, shape (wires, 2).
        ohms: of one conductor of each wire.
        joined: whether each wire carries V+ on; ground always goes on.
        bears: amperes that each wire may carry.
        strings: the wires from pixel to pixel of each hung run.
        leads: the wire from the run before to each run that follows one on its port.
        joins: where each feed joins, along its wire.
        idle: amperes that each pixel draws in the dark, its null pixels with it.
        full: amperes that its colours add at full, the box's own dimmer counted.
        rated: volts for which the two are said.
        regulated: whether it draws the same power at any voltage, and not the same current.
        apart_only: whether nothing is known where two supplies are on one V+: real ones hold their volts there less
            well than the sources of a model, so what flows from one into the other is anybody's guess.
    """

    points: int
    runs: dict[str, slice]
    supplies: dict[str, int]
    volts: Floats
    ends: Ints
    ohms: Floats
    joined: NDArray[np.bool_]
    bears: Floats
    strings: dict[str, slice]
    leads: dict[str, int]
    joins: dict[str, tuple[Join, ...]]
    idle: Floats
    full: Floats
    rated: Floats
    regulated: NDArray[np.bool_]
    apart_only: bool = False

    @property
    def pixels(self) -> int:
        """How many pixels draw."""
        return len(self.idle)

    def points_of(self, part: Stretch) -> Ints:
        """The points of a stretch's pixels, in data order."""
        return np.concatenate([self.runs[run].start + np.arange(first - 1, last) for run, first, last in part.parts])

    def drawn(self, at: Ints, level: float, volts: Floats | float | None = None) -> Floats:
        """Amperes that the pixels at some points draw, white at a level; at their rated volts, where none are given."""
        amps: Floats = self.idle[at] + level * self.full[at]
        return amps if volts is None else np.where(self.regulated[at], amps * self.rated[at] / volts, amps)


class _Wires:
    """Wires as they are laid, one after another."""

    def __init__(self, celsius: float) -> None:
        self.celsius = celsius
        self.count = 0
        self.ends: list[Ints] = []
        self.metres: list[Floats] = []
        self.kinds: list[Wire | None] = []
        self.cut: list[int] = []

    def lay(self, ends: Ints, metres: Floats, wire: Wire | None, *, cut: Iterable[int] = ()) -> int:
        """Lay wires of one kind, the V+ of some of which (from 0) is cut; the number of the first."""
        self.ends.append(ends)
        self.metres.append(metres)
        self.kinds.append(wire)
        begin = self.count
        self.cut += [begin + number for number in cut]
        self.count += len(metres)
        return begin

    def lay_one(self, first: int, second: int, metres: float, wire: Wire | None, *, joined: bool = True) -> int:
        return self.lay(np.array([[first, second]]), np.array([metres]), wire, cut=() if joined else (0,))

    def laid(self) -> tuple[Ints, Floats, NDArray[np.bool_], Floats]:
        """The two points that each wire joins, its ohms, whether it carries V+ on, and what it may carry."""
        if not self.count:
            return np.empty((0, 2), int), np.empty(0), np.empty(0, bool), np.empty(0)
        unknown = np.nan, np.nan
        of = {wire: unknown if wire is None else (wire.ohms(self.celsius), wire.bears) for wire in set(self.kinds)}
        ohms, bears = np.repeat([of[wire] for wire in self.kinds], [len(each) for each in self.metres], axis=0).T
        joined = np.ones(self.count, bool)
        joined[self.cut] = False
        return np.concatenate(self.ends), np.maximum(np.concatenate(self.metres), _SHORTEST) * ohms, joined, bears


def _to_nothing(ends: Ints, live: int) -> NDArray[np.bool_]:
    """Which wires lead on to no pixel and no supply, so that they carry nothing, whatever their ohms are.

    Args:
        ends: the two points that each wire joins, shape (wires, 2).
        live: points below this are pixels and supplies; the others are joints on runs that are not hung.
    """
    at: defaultdict[int, set[int]] = defaultdict(set)
    for wire, points in enumerate(ends.tolist()):
        for point in points:
            at[point].add(wire)
    found = np.zeros(len(ends), bool)
    waiting = [point for point in at if point >= live]
    while waiting:
        point = waiting.pop()
        if len(at[point]) != 1:
            continue
        wire = at[point].pop()
        found[wire] = True
        [other] = set(ends[wire].tolist()) - {point}
        at[other].discard(wire)
        if other >= live:
            waiting.append(other)
    return found


def circuit(wiring: Wiring, *, celsius: float = CELSIUS) -> Circuit:
    """The network of a sound show's copper.

    Args:
        wiring: the wiring.
        celsius: temperature of the wires.
    """
    show = wiring.show
    runs, begin = {}, 0
    for run in show.runs.values():
        if run.hung:
            runs[run.name] = slice(begin, begin + run.pixels)
            begin += run.pixels
    supplies = {name: begin + number for number, name in enumerate(show.supplies)}
    wires = _Wires(celsius)
    strings = {name: _string(show, show.runs[name], where.start, wires) for name, where in runs.items()}
    leads = _leads(wiring, runs, wires)
    points = count(begin + len(supplies))
    joins = _feeds(show, runs, supplies, points, wires)
    ends, ohms, joined, bears = wires.laid()
    if np.isnan(ohms).any():
        ohms = np.where(np.isnan(ohms) & _to_nothing(ends, begin + len(supplies)), 1.0, ohms)
    loads = [_load(wiring, show.runs[name]) for name in runs]
    idle, full, rated, regulated = (
        (np.concatenate(column) for column in zip(*loads, strict=True)) if loads else (np.empty(0) for _ in range(4))
    )
    return Circuit(
        next(points), runs, supplies, np.array([supply.volts for supply in show.supplies.values()]),
        ends, ohms, joined, bears, strings, leads, joins, idle, full, rated, regulated.astype(bool),
    )  # fmt: skip


def metres_between(run: Run, pitch: float) -> Floats:
    """Wire from each pixel of a run to the next; past a place without a pixel it is longer by a pitch."""
    order = data_order(run)
    held = np.flatnonzero(~np.isin(order, np.array(run.gap_places, dtype=int) - 1))
    return np.diff(held).astype(float) * pitch


def _string(show: Show, run: Run, first: int, wires: _Wires) -> slice:
    kind = show.type_of(run)
    metres = metres_between(run, np.nan if kind.pitch is None else kind.pitch)
    points = first + np.arange(run.pixels)
    ends = np.column_stack([points[:-1], points[1:]])
    begin = wires.lay(ends, metres, wire_of(kind.awg, kind.mm2), cut=(pixel - 2 for pixel in run.power_cuts))
    return slice(begin, begin + len(metres))


def _leads(wiring: Wiring, runs: dict[str, slice], wires: _Wires) -> dict[str, int]:
    """The leads from run to run, and the ground that a tee shares with the run whose data it has."""
    show = wiring.show
    leads = {}
    for chain in wiring.chains.values():
        hung = [name for name in chain if name in runs]
        for before, behind in pairwise(hung):
            run = show.runs[behind]
            ends = runs[before].stop - 1, runs[behind].start
            leads[behind] = wires.lay_one(*ends, run.lead, lead_wire(show, run), joined=run.power_joined)
    for run in show.runs.values():
        if run.same_data_as in runs and run.name in runs:
            ends = runs[run.same_data_as].start, runs[run.name].start
            wires.lay_one(*ends, run.lead, lead_wire(show, run), joined=False)
    return leads


def lead_wire(show: Show, run: Run) -> Wire | None:
    """The V+ and ground of a run's lead: its own, else the string's."""
    kind = show.type_of(run)
    return wire_of(run.lead_awg, run.lead_mm2) or wire_of(kind.awg, kind.mm2)


def _feeds(
    show: Show, runs: dict[str, slice], supplies: dict[str, int], points: Iterator[int], wires: _Wires
) -> dict[str, tuple[Join, ...]]:
    joins: dict[str, tuple[Join, ...]] = {}

    def point(run: str, pixel: int) -> int:
        # What is to go to a run that is not hung hangs loose: it joins nothing, not even another feed's end there
        return int(runs[run].start) + pixel - 1 if run in runs else next(points)

    for feed in outwards(show):
        if feed.supply is not None:
            here = supplies[feed.supply]
        else:
            here = next(join.point for join in reversed(joins[str(feed.source)]) if join.tap == feed.tap)
        found = []
        for number, run, pixel, metres in joints(show, feed):
            there = point(run, pixel)
            wire = wires.lay_one(here, there, metres, wire_of(feed.awg, feed.mm2))
            found.append(Join(number, run, pixel, metres, wire, there))
            here = there
        joins[feed.name] = tuple(found)
    return joins


def joints(show: Show, feed: Feed) -> Iterator[tuple[int, str, int, float]]:
    """Each place where a feed joins: the tap's number, run, pixel, and the metres of wire before it.

    From joint to joint of a tap with `every`, the wire follows the run.
    """
    for number, tap in enumerate(feed.taps, start=1):
        run = show.runs[tap.run]
        pixels = taken_pixels(tap, run.pixels)
        metres = tap.length
        if len(pixels) > 1:
            pitch = show.type_of(run).pitch
            along = np.concatenate([[0.0], np.cumsum(metres_between(run, np.nan if pitch is None else pitch))])
        for before, pixel in zip([None, *pixels], pixels, strict=False):
            if before is not None:
                metres = float(along[pixel - 1] - along[before - 1])
            yield number, tap.run, pixel, metres


def _load(wiring: Wiring, run: Run) -> tuple[Floats, Floats, Floats, Floats]:
    kind = wiring.show.type_of(run)
    box, _ = wiring.ports[run.name]

    def amps(milliamperes: float | None) -> float:
        return np.nan if milliamperes is None else milliamperes / 1000

    one = np.ones(run.pixels)
    idle = one * amps(kind.idle_ma)
    idle[0] *= 1 + run.nulls
    full = one * amps(kind.channel_ma) * kind.channels * wiring.show.controllers[box].level
    return idle, full, one * (np.nan if kind.volts is None else kind.volts), one * (kind.draw == "power")
