"""The pixels of a stretch of V+ in a row: where they are, the wires between them, and the feeds that join them already.

All places are in metres.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher.power.circuit import Floats, Ints, metres_between
from patcher.power.flow import TINY, Power
from patcher.power.stretches import Stretch, outwards
from patcher.power.tap_fuse import TapFuse
from patcher.power.wires import most_carried, most_into, wire_of
from patcher.shapes import Positions, positions
from patcher.show.run_tables import Run
from patcher.show.schema import Show
from patcher.wiring import Wiring


def pixel_places(wiring: Wiring, name: str) -> Positions:
    """Where the pixels of a run are, shape (pixels, 2).

    A run with no picture is taken to lie straight to the right, from where its lead ends: that from the run before it
    on its port, or from its box.
    """
    show = wiring.show
    run = show.runs[name]
    drawn = positions(show, run)
    if drawn is not None:
        return drawn
    chain = wiring.chains[wiring.ports[name]]
    start = box_place(show, wiring.ports[name][0])
    before: list[Run] = []
    for other in reversed(chain[: chain.index(wiring.source(name))]):
        drawn = positions(show, show.runs[other])
        if drawn is not None:
            start = drawn[-1]
            break
        before.append(show.runs[other])
    along = [_along(show, one) for one in (*reversed(before), run)]
    begin = (np.zeros(2) if start is None else start) + [sum(float(each[-1]) for each in along[:-1]), 0.0]
    placed: Positions = begin + np.column_stack([along[-1], 0 * along[-1]])
    return placed


def _along(show: Show, run: Run) -> Floats:
    """Metres from where a run's lead begins to each of its pixels."""
    between = metres_between(run, show.type_of(run).pitch or 0.0)
    found: Floats = run.lead + np.concatenate([[0.0], np.cumsum(between)])
    return found


def box_place(show: Show, box: str) -> Positions | None:
    """Where a box stands; None where the file does not say."""
    at = show.controllers[box].at
    return None if at is None else np.array(at)


def cable_to(wiring: Wiring, name: str) -> float:
    """Metres of cable from a run's box to its first pixel, through the runs before it that are hung."""
    show = wiring.show
    source = wiring.source(name)
    chain = wiring.chains[wiring.ports[name]]
    before = [show.runs[other] for other in chain[: chain.index(source)]]
    tee = show.runs[source].lead if source != name else 0.0
    return sum(float(_along(show, one)[-1]) for one in before if one.hung) + tee + show.runs[name].lead


@dataclass(frozen=True, eq=False)
class Stand:
    """Where a supply stands, as seen from a run.

    Attributes:
        place: the place from which its wires are measured, in metres.
        cable: metres of wire from the supply to that place.
        assumed: what was assumed where the file does not say; None where nothing.
    """

    place: Positions
    cable: float
    assumed: str | None


def supply_place(wiring: Wiring, supply: str, run: str) -> Stand:
    """Where a supply stands; where its box has no place, its wires follow the run's cable, if it is the run's box.

    Args:
        wiring: the wiring.
        supply: the supply.
        run: a run that it feeds.
    """
    show = wiring.show
    box, data_box = show.supplies[supply].box, wiring.ports[run][0]
    unsaid = "" if box is not None else f"{supply} has no box in the file: taken to stand at {data_box}"
    place = box_place(show, box or data_box)
    if place is not None:
        return Stand(place, 0.0, unsaid or None)
    no_place = f"box {box or data_box} has no place (at) in the file"
    first = pixel_places(wiring, run)[0]
    if box in (None, data_box):
        words = f"{no_place}: the length follows the cable of {run}; measure it"
        return Stand(first, cable_to(wiring, run), "; ".join(filter(None, [unsaid, words])))
    return Stand(first, 0.0, f"{no_place}: how far {supply} is from {run}/1 is not known, and not counted; measure it")


def near_enough(wiring: Wiring, supplies: list[str], run: str) -> list[str]:
    """Of some supplies those of which it is known how far they are from a run; all of them where that is none.

    Of a run that is not drawn it is known only for those of its own box; of one that is drawn for those, and for those
    of every box that has a place.
    """
    show, own = wiring.show, (None, wiring.ports[run][0])
    boxes = {name: show.supplies[name].box for name in supplies}
    if positions(show, show.runs[run]) is None:
        return [name for name, box in boxes.items() if box == own[1]] or supplies
    return [name for name, box in boxes.items() if box in own or box_place(show, str(box)) is not None] or supplies


def not_drawn(wiring: Wiring, part: Stretch, supply: str) -> list[str]:
    """What is assumed of the lengths of a supply's feeds to the runs of a stretch that have no picture."""
    show = wiring.show
    found = []
    for run in dict.fromkeys(run for run, _, _ in part.parts if positions(show, show.runs[run]) is None):
        if show.supplies[supply].box in (None, wiring.ports[run][0]):
            found.append(f"{run} is not drawn: the length follows its cable; measure it")
        else:
            found.append(f"{run} is not drawn: how far it is from {supply} is not known; measure it")
    return found


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
        strings: amperes that the string's own wire bears at each pixel; endless where it is not said.
        fused: of each of `given`, the most amperes that may go in there so that a fuse can be had.
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
    strings: Floats
    fused: tuple[float, ...]
    ends: tuple[int, ...]

    @property
    def acting(self) -> tuple[tuple[int, float, float], ...]:
        """The joints that bring current: the pixel, the loop ohms, and the most amperes that may go in there."""
        both = zip(self.given, self.fused, strict=True)
        return tuple((at, ohms, most) for (at, ohms), most in both if ohms < np.inf)

    def amps(self, level: float, volts: Floats | float) -> Floats:
        """Amperes that each pixel draws, white at a level, at the volts given."""
        drawn = self.idle + level * self.full
        return np.where(self.regulated, drawn * self.rated / volts, drawn)

    @property
    def likeness(self) -> tuple[object, ...]:
        """Equal for strips that are alike in all but their place."""
        arrays = self.ohms, self.bears, self.idle, self.full, self.rated, self.regulated, self.least, self.strings
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
    given, most = _joined(state, {int(point): place for place, point in enumerate(at)})
    own = [state.show.type_of(state.show.runs[run]) for run, _, _ in stretch.parts]
    wires_of = [wire_of(kind.awg, kind.mm2) for kind in own]
    strings = np.repeat(
        [np.inf if size is None else size.bears for size in wires_of],
        [last - first + 1 for _, first, last in stretch.parts],
    )
    begins = np.cumsum([0, *(last - first + 1 for _, first, last in stretch.parts)])
    ends = (int(end) for one, two in pairwise(begins) for end in (one, two - 1))
    return RailStrip(
        names, net.ohms[between], net.bears[between], net.idle[at], net.full[at], net.rated[at], net.regulated[at],
        least, np.concatenate(places), given, strings, most, tuple(dict.fromkeys(ends)),
    )  # fmt: skip


def _joined(state: Power, number: Mapping[int, int]) -> tuple[tuple[tuple[int, float], ...], tuple[float, ...]]:
    """Where feeds join a stretch now, by place: the loop ohms to their supplies, and the most amperes that may go in.

    Args:
        state: the power of the show.
        number: the place on the stretch of each of its points.
    """
    siemens: dict[int, float] = {}
    most: dict[int, float] = {}
    for tap, ohms in _acting(state):
        if tap.join.point in number:
            place = number[tap.join.point]
            siemens[place] = siemens.get(place, 0.0) + 1 / ohms
            most[place] = min(most.get(place, np.inf), _most_into(tap))
    return tuple((place, 1 / both if both else np.inf) for place, both in siemens.items()), tuple(most.values())


def _most_into(tap: TapFuse) -> float:
    """The most amperes that may go into the string at a tap: what its own fuse carries, or one that can be had."""
    given = np.inf if tap.given is None else most_carried(tap.given)
    return min(given, most_into(tap.wire.bears)) if tap.needed and tap.wire is not None else given


def _acting(state: Power) -> Iterator[tuple[TapFuse, float]]:
    """Every joint on a run that is hung, and the loop ohms that lie between it and its supply for the current that it
    brings now.

    Where there is no solution now, they are those of its wires.
    """
    net = state.circuit
    along: dict[int, float] = {}
    loads = {load.feed.name: load for load in state.feeds}
    for load in (loads[feed.name] for feed in outwards(state.show)):
        volts = state.show.supplies[load.supply].volts
        for tap, amps in zip(state.taps[load.feed.name], load.into, strict=True):
            join = tap.join
            before = int(net.ends[join.wire][0])
            along[join.point] = along.get(before, 0.0) + 2 * float(net.ohms[join.wire])
            if join.point >= net.pixels:
                continue
            if np.isnan(amps):
                yield tap, max(along[join.point], SMALLEST_OHMS)
            else:
                lost = float(volts - state.drop.volts[join.point])
                yield tap, max(lost / amps, SMALLEST_OHMS) if amps > TINY else np.inf
