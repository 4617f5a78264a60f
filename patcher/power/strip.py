"""The pixels of a stretch of V+ in a row, with the wires between them and the feeds that join them already."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher.power.circuit import Floats, Ints
from patcher.power.flow import TINY, Power
from patcher.power.positions import pixel_places
from patcher.power.stretches import Stretch, outwards
from patcher.shapes import Positions

SMALLEST_OHMS = 1e-9
"""Ohms of a joint that brings current, at least: what differences of volts are rounded to may be less than none."""


@dataclass(frozen=True, eq=False)
class RailStrip:
    """The pixels of a stretch in a row.

    Attributes:
        pixels: of each, its run and its number from 1.
        ohms: of one conductor from each to the next.
        bears: amperes that it may carry there.
        idle: amperes in the dark.
        full: amperes that the colours add at full.
        rated: volts for which these are said.
        regulated: whether it draws the same power at any voltage.
        least: volts that it is to have at least.
        places: where each is, shape (pixels, 2).
        given: the pixels that are joined already, from 0: and the loop ohms with which what joins there acts; endless
            where it takes current or none.
        ends: the first and the last pixel of each run, or of each part of one between cuts, in data order.
    """

    pixels: tuple[tuple[str, int], ...]
    ohms: Floats
    bears: Floats
    idle: Floats
    full: Floats
    rated: Floats
    regulated: NDArray[np.bool_]
    least: Floats
    places: Positions
    given: tuple[tuple[int, float], ...]
    ends: tuple[int, ...]

    @property
    def acting(self) -> tuple[tuple[int, float], ...]:
        """The joints that bring current."""
        return tuple((at, ohms) for at, ohms in self.given if ohms < np.inf)

    def amps(self, level: float, volts: Floats | float) -> Floats:
        """Amperes that each pixel draws, white at a level, at the volts given."""
        drawn = self.idle + level * self.full
        return np.where(self.regulated, drawn * self.rated / volts, drawn)

    @property
    def likeness(self) -> tuple[object, ...]:
        """Equal for strips that are alike in all but their place."""
        arrays = self.ohms, self.bears, self.idle, self.full, self.rated, self.regulated, self.least
        joined = tuple((at, ohms < np.inf) for at, ohms in self.given)
        return *(array.tobytes() for array in arrays), joined, self.ends


def strip_of(state: Power, stretch: Stretch, least: Floats) -> RailStrip:
    """A stretch of a solved show, as a row of pixels.

    Args:
        state: the power of the show.
        stretch: the stretch.
        least: volts that each of its pixels is to have at least.
    """
    net = state.circuit
    wires: list[Ints] = []
    places: list[Positions] = []
    for run, first, last in stretch.parts:
        if wires:
            wires.append(np.array([net.leads[run]]))
        wires.append(net.strings[run].start + np.arange(first - 1, last - 1))
        places.append(pixel_places(state.wiring, run)[first - 1 : last])
    at, between = net.points_of(stretch), np.concatenate(wires)
    names = tuple((run, pixel) for run, first, last in stretch.parts for pixel in range(first, last + 1))
    number = {int(point): place for place, point in enumerate(at)}
    siemens: dict[int, float] = {}
    for point, ohms in _acting(state):
        if point in number:
            siemens[number[point]] = siemens.get(number[point], 0.0) + 1 / ohms
    given = tuple((place, 1 / both if both else np.inf) for place, both in siemens.items())
    begins = np.cumsum([0, *(last - first + 1 for _, first, last in stretch.parts)])
    ends = (int(end) for one, two in pairwise(begins) for end in (one, two - 1))
    return RailStrip(
        names, net.ohms[between], net.bears[between], net.idle[at], net.full[at], net.rated[at], net.regulated[at],
        least, np.concatenate(places), given, tuple(dict.fromkeys(ends)),
    )  # fmt: skip


def _acting(state: Power) -> Iterator[tuple[int, float]]:
    """Every joint's point, and the loop ohms that lie between it and its supply for the current that it brings now.

    Where there is no solution now, they are those of its wires.
    """
    net = state.circuit
    along: dict[int, float] = {}
    loads = {load.feed.name: load for load in state.feeds}
    for load in (loads[feed.name] for feed in outwards(state.show)):
        volts = state.show.supplies[load.supply].volts
        for join, amps in zip(net.joins[load.feed.name], load.into, strict=True):
            before = int(net.ends[join.wire][0])
            along[join.point] = along.get(before, 0.0) + 2 * float(net.ohms[join.wire])
            if join.point >= net.pixels:
                continue
            if np.isnan(amps):
                yield join.point, max(along[join.point], SMALLEST_OHMS)
            else:
                lost = float(volts - state.drop.volts[join.point])
                yield join.point, max(lost / amps, SMALLEST_OHMS) if amps > TINY else np.inf
