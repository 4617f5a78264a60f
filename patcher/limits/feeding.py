"""One rail fed from one supply: where its taps go, and the wire that reaches them.

How few taps may do comes from `injection`, which is exact where every tap has a pair of wires of its own, as thick as
there are and straight. No tree of shared wire does better; so a tree that holds with as many taps has the fewest. Of
sets of as many taps those at the ends of runs are tried first. Every tree is judged by solving it as it would be built.

The count is proved for a rail whose ground is its own. Where V+ is cut, the ground goes on (circuit.py), so current may
come back through a neighbour's copper, and a pixel may have more volts than its own rail alone would leave it:

- Where one supply feeds all that the ground joins, its minus is the one place where current leaves the ground, so no
  ground lies lower than that minus, and a pixel has at most the volts of its V+. Those are what the rail has when its
  ground has no ohms: half the ohms of the loop, for the string and for the taps. The fewest taps then are the bound.
- Where another supply may feed a part of it, the ground at a pixel may even lie below its supply's minus. Then only
  what wires and fuses bear is a bound: it asks nothing of the ground.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, islice, pairwise
from math import ceil, comb
from time import monotonic
from typing import Literal

import numpy as np

from patcher.limits.circuit import Circuit, Draw, Floats, Ints, outwards
from patcher.limits.drop import Drop, solve
from patcher.limits.injection import fewest
from patcher.limits.places import pixel_places
from patcher.limits.power import TINY, Power
from patcher.limits.rail import Rail, Source, voltages
from patcher.limits.stretches import Stretch
from patcher.limits.trunks import Places, cheapest_tree, trunks
from patcher.limits.wires import BLADES, Wire, blade

_PROOF = 5.0
"""Seconds to look for a proof that taps are the fewest; then what is found without one is taken."""
_MOST = 60
"""Taps of one rail beyond which no plan is looked for: nobody joins so many wires."""
_EVERY = 80
"""Sets of taps of one count that are all tried, where there are no more."""
_ENDS = 12
"""Sets of taps at the ends of runs that are tried of one count."""
LONGEST = 5000
"""Pixels of one rail beyond which no plan is looked for: nobody leads V+ through so many."""
_SMALLEST = 1e-9
"""Ohms of a joint that brings current, at least: what differences of volts are rounded to may be less than none."""

Ground = Literal["own", "one supply", "several supplies"]
"""Whose ground a rail has: its own; one that it shares, all of it fed from one supply; or from several."""
_MARGINS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6)
"""Parts of the volts to spare that are asked for on top, one after another, where shared wire sags too much."""


@dataclass(frozen=True, slots=True)
class Stock:
    """What there is to wire with.

    Attributes:
        gauges: the wires to choose from, the thinnest first.
        slack: the part by which wire is longer than the straight line.
        step: metres of the shortest wire that is planned, and by which lengths are rounded up.
    """

    gauges: tuple[Wire, ...]
    slack: float
    step: float

    def metres(self, straight: float) -> float:
        """The wire from one place to another that lies so far away."""
        return round(max(ceil(straight * (1 + self.slack) / self.step - TINY), 1) * self.step, 6)


@dataclass(frozen=True, eq=False)
class Strip:
    """The pixels of a stretch in a row.

    Attributes:
        pixels: of each, its run and its number from 1.
        ohms: of one conductor from each to the next.
        bears: amperes that it may carry there.
        draw: what they draw.
        least: volts that it is to have at least.
        places: where each is, shape (pixels, 2).
        given: the pixels that are joined already, from 0: and the loop ohms with which what joins there acts; endless
            where it takes current or none.
        ends: the first and the last pixel of each run, or of each part of one between cuts, in data order.
    """

    pixels: tuple[tuple[str, int], ...]
    ohms: Floats
    bears: Floats
    draw: Draw
    least: Floats
    places: Places
    given: tuple[tuple[int, float], ...]
    ends: tuple[int, ...]

    @property
    def acting(self) -> tuple[tuple[int, float], ...]:
        """The joints that bring current."""
        return tuple((at, ohms) for at, ohms in self.given if ohms < np.inf)

    @property
    def likeness(self) -> tuple[object, ...]:
        """Equal for strips that are alike in all but their place."""
        draw = self.draw
        arrays = self.ohms, self.bears, draw.idle, draw.full, draw.rated, draw.regulated, self.least
        joined = tuple((at, ohms < np.inf) for at, ohms in self.given)
        return *(array.tobytes() for array in arrays), joined, self.ends


@dataclass(frozen=True, slots=True)
class Trunk:
    """A wire with taps in order.

    Attributes:
        start: the tap that it branches off, counted from 1 through all trunks; 0 is the supply.
        taps: its taps, likewise.
        metres: wire before each, one way.
        wire: its size.
        amps: what it carries at its beginning.
        fuse: the blade at the supply; None on a branch, which is behind its trunk's.
    """

    start: int
    taps: tuple[int, ...]
    metres: tuple[float, ...]
    wire: Wire
    amps: float = 0.0
    fuse: float | None = None


@dataclass(frozen=True, slots=True)
class Feeding:
    """How a rail is fed.

    Attributes:
        taps: the pixels that are joined, counted from 0 along the strip.
        trunks: the wires, those from the supply first.
        bound: the number of taps that nothing can go below.
    """

    taps: tuple[int, ...]
    trunks: tuple[Trunk, ...]
    bound: int

    @property
    def amps(self) -> float:
        """What the supply gives to them."""
        return sum(trunk.amps for trunk in self.trunks if not trunk.start)


@dataclass(frozen=True, eq=False)
class Task:
    """One rail that is to be fed from one supply.

    Attributes:
        strip: the rail.
        volts: of the supply.
        source: where the supply stands.
        stock: what there is to wire with.
        level: the level from 0 to 1.
        celsius: temperature of the wires.
        ground: whose ground the rail has.
    """

    strip: Strip
    volts: float
    source: Places
    stock: Stock
    level: float
    celsius: float
    ground: Ground

    @property
    def own(self) -> Floats:
        """Loop ohms of a pair of wires to each pixel, straight and of the best gauge."""
        away = np.hypot(*(self.strip.places - self.source).T)
        metres = np.maximum(away * (1 + self.stock.slack), self.stock.step)
        return np.asarray(2 * self.stock.gauges[-1].ohms(self.celsius) * metres)

    def too_many(self) -> int | None:
        """How many taps wires and fuses ask for at least, where those are more than a plan is looked for."""
        strip = self.strip
        if strip.given:
            return None
        few = least_borne(strip.bears, strip.draw.amps(self.level, self.volts), self.stock.gauges)
        return few if few > _MOST else None

    def feed(self) -> Feeding | None:
        """The fewest taps and the shortest tree of wire that hold; None where none was found."""
        strip, volts, own = self.strip, self.volts, self.own
        light = strip.draw.amps(self.level, volts)
        room = max(volts - float(strip.least.min()), 0.0)
        if not strip.given and float(light.sum()) * float(own.min()) > room * _MOST:
            return None  # of so many taps one carries so much that its own wire leaves its pixel too little
        if self.too_many() is not None:
            return None
        best = fewest(Rail(2 * strip.ohms, light, strip.least), volts, own, given=self._ideal, seconds=_PROOF)
        if best is None:
            return None
        bound = self._bound(best.bound)
        if bound > _MOST:
            return None
        chosen = _candidates(strip, volts, own, self.level, best.pixels)
        for taps in _by_count(strip, chosen, max(bound, 1)):
            trunks = self.wired(taps)
            if trunks is not None:
                return Feeding(taps, trunks, bound)
        return None

    def at_ends(self, count: int) -> Iterator[tuple[int, ...]]:
        """Sets of so many taps at the ends of runs, those at both ends of the whole first; then shared out between."""
        yield from _at_ends(self.strip, count)

    def wired(self, taps: tuple[int, ...]) -> tuple[Trunk, ...] | None:
        """The shortest tree of wire to some taps with which the rail holds; None where none was found."""
        strip, volts, stock = self.strip, self.volts, self.stock
        if not self._possible(taps):
            return None
        places = np.vstack([self.source, strip.places[list(taps)]])
        shapes = [_measured(paths, places, stock) for paths in _shapes(places)]
        wires = {stock.gauges[-1], max(stock.gauges, key=lambda wire: wire.bears)}
        ends = ([Trunk(t.start, t.taps, t.metres, wire) for t in bare] for bare in shapes[::-1][:1] + shapes[:1]
                for wire in wires)  # fmt: skip
        if all(_holding(strip, volts, taps, sized, self.level, self.celsius) is None for sized in ends):
            return None
        sized = (_sized(strip, volts, taps, bare, stock.gauges, self.level, self.celsius) for bare in shapes)
        return next((found for found in sized if found is not None), None)

    @property
    def _ideal(self) -> tuple[Source, ...]:
        """The joints that are there, as if they had no ohms: no more volts can come of them."""
        return tuple(Source(at, 0.0, self.volts) for at, _ in self.strip.given)

    def _possible(self, taps: tuple[int, ...]) -> bool:
        """Whether the rail would hold with a pair of wires for each tap, the best that there is."""
        strip = self.strip
        joined = {at for at, _ in strip.given}
        made = [Source(tap, float(self.own[tap]), self.volts) for tap in taps if tap not in joined]
        rail = Rail(2 * strip.ohms, strip.draw.amps(self.level, self.volts), strip.least)
        found, _ = voltages(rail, [*made, *self._ideal])
        return bool((found >= strip.least - TINY).all())

    def _bound(self, alone: int) -> int:
        """The number of taps that nothing can go below; `alone` is that of the rail with a ground of its own."""
        strip, light = self.strip, self.strip.draw.amps(self.level, self.volts)
        borne = 0 if strip.given else least_borne(strip.bears, light, self.stock.gauges)
        if self.ground == "own":
            return max(alone, borne, 1)  # without a new tap it is as it was, and does not hold
        if self.ground == "several supplies":
            return 0 if strip.given else 1 if strip.draw.regulated.any() else max(borne, 1)
        rail = Rail(strip.ohms, light, strip.least)
        best = fewest(rail, self.volts, self.own / 2, given=self._ideal, seconds=_PROOF)
        return max(0 if best is None else best.bound, borne, 0 if strip.given else 1)


def strip_of(state: Power, stretch: Stretch, least: Floats) -> Strip:
    """A stretch of a solved show, as a row of pixels.

    Args:
        state: the power of the show.
        stretch: the stretch.
        least: volts that each of its pixels is to have at least.
    """
    net = state.circuit
    points: list[Ints] = []
    wires: list[Ints] = []
    places: list[Places] = []
    for run, first, last in stretch.parts:
        if points:
            wires.append(np.array([net.leads[run]]))
        points.append(net.runs[run].start + np.arange(first - 1, last))
        wires.append(net.strings[run].start + np.arange(first - 1, last - 1))
        places.append(pixel_places(state.wiring, run)[first - 1 : last])
    at, between = np.concatenate(points), np.concatenate(wires)
    names = tuple((run, pixel) for run, first, last in stretch.parts for pixel in range(first, last + 1))
    number = {int(point): place for place, point in enumerate(at)}
    siemens: dict[int, float] = {}
    for point, ohms in _acting(state):
        if point in number:
            siemens[number[point]] = siemens.get(number[point], 0.0) + 1 / ohms
    given = tuple((place, 1 / both if both else np.inf) for place, both in siemens.items())
    begins = np.cumsum([0, *(len(each) for each in points)])
    ends = (int(end) for one, two in pairwise(begins) for end in (one, two - 1))
    return Strip(
        names, net.ohms[between], net.bears[between], net.draw.at(at), least,
        np.concatenate(places), given, tuple(dict.fromkeys(ends)),
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
                yield join.point, max(along[join.point], _SMALLEST)
            else:
                lost = float(volts - state.drop.volts[join.point])
                yield join.point, max(lost / amps, _SMALLEST) if amps > TINY else np.inf


def least_borne(bears: Floats, amps: Floats, gauges: tuple[Wire, ...]) -> int:
    """The taps below which some wire carries more than it bears, or a fuse blows, whatever the volts.

    A tap takes less than the largest blade that its wire allows. Along the rail, what is drawn between two wires of a
    span between taps comes through these two, and what is drawn beyond a wire of a span at an end, through that wire.
    Where a span is possible a shorter one in it is too, so going as far as it reaches each time is best.

    Args:
        bears: amperes that the wire from each pixel to the next may carry.
        amps: what each pixel draws at least.
        gauges: the wires of the taps.
    """
    most = max(wire.bears for wire in gauges)
    each = max((size for size in BLADES if size <= most), default=most)
    drawn = np.cumsum(amps)
    taps, room, link = 0, 0.0, 0
    while link < len(bears):
        if drawn[link] - bears[link] > room + TINY:
            taps, room = taps + 1, np.inf  # a tap at the pixel before this wire: the next span begins with this wire
        room = min(room, drawn[link] + bears[link])
        link += 1
    if drawn[-1] > room + TINY:
        taps += 1
    return max(taps, int(amps.sum() / each) + 1)


def _by_count(strip: Strip, chosen: Iterator[tuple[int, ...]], fewest_taps: int) -> Iterator[tuple[int, ...]]:
    """Sets of taps to try, by how many: at ends of runs, then those chosen for the volts, then an even share each.

    Volts are not all that a plan must keep: wires and fuses bear so much and no more, and more taps share it out. Of
    few pixels every set is tried.
    """
    pixels, most = len(strip.pixels), min(len(strip.pixels), _MOST)
    waiting = next(chosen, None)
    count, tried = fewest_taps, set()

    def of_count() -> Iterator[tuple[int, ...]]:
        nonlocal waiting
        yield from _at_ends(strip, count)
        while waiting is not None and len(waiting) <= count:
            yield waiting
            waiting = next(chosen, None)
        yield from _even(strip, count)
        if comb(pixels, count) <= _EVERY:
            yield from combinations(range(pixels), count)

    while count <= most:
        for taps in of_count():
            if taps not in tried:
                tried.add(taps)
                yield taps
        more = count + max(1, count // 4)
        count = more if waiting is None else min(more, max(len(waiting), count + 1))


def _at_ends(strip: Strip, count: int) -> Iterator[tuple[int, ...]]:
    """So many taps at ends of runs, those of the whole strip first; then at its two ends, the others between."""
    outer = dict.fromkeys([strip.ends[0], strip.ends[-1], *strip.ends])
    yield from (tuple(sorted(some)) for some in islice(combinations(outer, count), _ENDS))
    if count > 1:
        yield _shared_out(strip, np.arange(count) / (count - 1))


def _even(strip: Strip, count: int) -> Iterator[tuple[int, ...]]:
    """So many taps, each amid its share of the load."""
    yield _shared_out(strip, (np.arange(count) + 0.5) / count)


def _shared_out(strip: Strip, share: Floats) -> tuple[int, ...]:
    """The pixels before which these parts of the load lie."""
    load = np.cumsum(strip.draw.amps(1.0))
    at = np.minimum(np.searchsorted(load, share * load[-1]), len(load) - 1)
    return tuple(sorted({int(pixel) for pixel in at}))


def _candidates(
    strip: Strip, volts: float, own: Floats, level: float, best: tuple[int, ...]
) -> Iterator[tuple[int, ...]]:
    """Sets of taps that hold where each has wires of its own, those with more volts to spare behind.

    A regulated pixel is taken to draw what it does at the supply's volts, then what it does at its least.
    """
    end = monotonic() + _PROOF
    given = tuple(Source(at, ohms, volts) for at, ohms in strip.acting)
    light, heavy = strip.draw.amps(level, volts), strip.draw.amps(level, strip.least)
    tried = set()
    for margin in _MARGINS:
        if monotonic() > end:
            return
        asked = strip.least + margin * (volts - strip.least)
        for amps in [light, heavy] if strip.draw.regulated.any() else [light]:
            rail = Rail(2 * strip.ohms, amps, asked)
            taps: tuple[int, ...] | None = best
            if margin or given or amps is heavy:
                few = fewest(rail, volts, own, given=given, seconds=_PROOF)
                taps = None if few is None else few.pixels
            if taps is not None and taps not in tried:
                tried.add(taps)
                yield _steadied(rail, volts, own, taps, given)


def _steadied(
    rail: Rail, volts: float, own: Floats, taps: tuple[int, ...], given: tuple[Source, ...]
) -> tuple[int, ...]:
    """As many taps, moved one by one to where the pixel nearest its limit has most above it."""

    def headroom(at: list[int]) -> float:
        found, _ = voltages(rail, [*(Source(tap, float(own[tap]), volts) for tap in at), *given])
        return float((found - rail.least).min())

    now = list(taps)
    most = headroom(now)
    step = len(rail.amps) // 2
    while step:
        better = False
        for number in range(len(now)):
            for to in (now[number] - step, now[number] + step):
                moved = [*now[:number], to, *now[number + 1 :]]
                if 0 <= to < len(rail.amps) and to not in now and (found := headroom(moved)) > most:
                    now, most, better = moved, found, True
        step = step if better else step // 2
    return tuple(sorted(now))


def _shapes(places: Places) -> Iterator[list[tuple[int, ...]]]:
    """The cheapest tree over the supply and all taps; then with more and more taps on pairs of their own."""
    tree = cheapest_tree(places)
    far = dict.fromkeys(range(1, len(places)), 0.0)
    for path in trunks(tree):
        for before, behind in pairwise(path):
            far[behind] = far.get(before, 0.0) + tree[before][behind]["weight"]
    order = sorted(far, key=lambda point: -far[point])
    for alone in range(len(places) - 1):
        shared = [0, *sorted(order[alone:])]
        paths = [tuple(shared[point] for point in path) for path in trunks(cheapest_tree(places[shared]))]
        yield [*paths, *((0, point) for point in sorted(order[:alone]))]


def _measured(paths: list[tuple[int, ...]], places: Places, stock: Stock) -> list[Trunk]:
    found = []
    for path in paths:
        metres = [stock.metres(float(np.hypot(*(places[one] - places[two])))) for one, two in pairwise(path)]
        found.append(Trunk(path[0], path[1:], tuple(metres), Wire(awg=0)))
    return found


def _sized(strip: Strip, volts: float, taps: tuple[int, ...], bare: list[Trunk], gauges: tuple[Wire, ...], level: float,
           celsius: float) -> tuple[Trunk, ...] | None:  # fmt: skip
    """The trunks with the thinnest wires that hold: one size for all, then each thinner where it may be."""

    def holding(wires: list[Wire]) -> tuple[Trunk, ...] | None:
        sized = [Trunk(t.start, t.taps, t.metres, wire) for t, wire in zip(bare, wires, strict=True)]
        return _holding(strip, volts, taps, sized, level, celsius)

    best = {gauges[-1], max(gauges, key=lambda wire: wire.bears)}
    if all(holding([wire] * len(bare)) is None for wire in best):
        return None
    wires = next([wire] * len(bare) for wire in gauges if holding([wire] * len(bare)) is not None)
    for number in range(len(bare)):
        for wire in gauges[: gauges.index(wires[number])]:
            thinner = [*wires[:number], wire, *wires[number + 1 :]]
            if holding(thinner) is not None:
                wires = thinner
                break
    return holding(wires)


def _holding(
    strip: Strip, volts: float, taps: tuple[int, ...], sized: list[Trunk], level: float, celsius: float
) -> tuple[Trunk, ...] | None:
    """The trunks with what they carry and their fuses; None where a pixel, a wire or a fuse does not hold."""
    net, firsts = _circuit(strip, volts, taps, sized, celsius)
    drop = solve(net, level)
    if not (drop.volts >= strip.least - TINY).all() or (np.abs(drop.amps) > net.bears + TINY).any():
        return None
    return _fused(sized, drop, firsts)


def _fused(sized: list[Trunk], drop: Drop, firsts: list[int]) -> tuple[Trunk, ...] | None:
    weakest: dict[int, float] = {}
    owner = {tap: number for number, trunk in enumerate(sized) for tap in trunk.taps}
    for number, trunk in enumerate(sized):
        root = number
        while sized[root].start:
            root = owner[sized[root].start]
        weakest[root] = min(weakest.get(root, np.inf), trunk.wire.bears)
    found = []
    for number, trunk in enumerate(sized):
        amps = float(drop.amps[firsts[number]])
        fuse = blade(amps, weakest[number]) if trunk.start == 0 else None
        if trunk.start == 0 and fuse is None:
            return None
        found.append(Trunk(trunk.start, trunk.taps, trunk.metres, trunk.wire, amps, fuse))
    return tuple(found)


def _circuit(
    strip: Strip, volts: float, taps: tuple[int, ...], sized: list[Trunk], celsius: float
) -> tuple[Circuit, list[int]]:
    """The strip with its trunks as a circuit of its own, and the first wire of each trunk."""
    pixels = len(strip.pixels)
    point = [pixels, *taps]
    ends = [np.column_stack([np.arange(pixels - 1), np.arange(1, pixels)])]
    ohms, bears, firsts = [strip.ohms], [strip.bears], []
    laid = pixels - 1
    for trunk in sized:
        path = [point[number] for number in (trunk.start, *trunk.taps)]
        ends.append(np.array(list(pairwise(path))))
        ohms.append(np.array(trunk.metres) * trunk.wire.ohms(celsius))
        bears.append(np.full(len(trunk.taps), trunk.wire.bears))
        firsts.append(laid)
        laid += len(trunk.taps)
    for at, loop in strip.acting:
        ends.append(np.array([[pixels, at]]))
        ohms.append(np.array([max(loop / 2, 1e-9)]))
        bears.append(np.array([np.inf]))
        laid += 1
    net = Circuit(
        pixels + 1, {"": slice(0, pixels)}, {"": pixels}, np.array([volts]), np.concatenate(ends), np.concatenate(ohms),
        np.ones(laid, bool), np.concatenate(bears), {"": slice(0, pixels - 1)}, {}, {},
        strip.draw,
    )  # fmt: skip
    return net, firsts
