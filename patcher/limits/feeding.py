"""One rail fed from one supply: where its taps go, and the wire that reaches them.

Which pixels are tapped comes from `injection`, which is exact where every tap has a pair of wires of its own, as thick
as there are and straight. No tree of shared wire does better; so a tree that holds with as many taps has the fewest.
Every tree is judged by solving it as it would be built.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import ceil, comb

import numpy as np
from numpy.typing import NDArray

from patcher.limits.circuit import Circuit, Floats, Ints, outwards
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
        idle: amperes in the dark.
        full: amperes that the colours add at full.
        rated: volts for which these are said.
        regulated: whether it draws the same power at any voltage.
        least: volts below which it misbehaves.
        places: where each is, shape (pixels, 2).
        given: the joints that are there: pixel from 0, and the loop ohms with which it acts; endless where it takes
            current or none.
    """

    pixels: tuple[tuple[str, int], ...]
    ohms: Floats
    bears: Floats
    idle: Floats
    full: Floats
    rated: Floats
    regulated: NDArray[np.bool_]
    least: Floats
    places: Places
    given: tuple[tuple[int, float], ...]

    @property
    def acting(self) -> tuple[tuple[int, float], ...]:
        """The joints that bring current."""
        return tuple((at, ohms) for at, ohms in self.given if ohms < np.inf)

    def amps(self, level: float, volts: Floats | float) -> Floats:
        """What each pixel draws, white at a level, where it has so many volts."""
        drawn = self.idle + level * self.full
        return np.where(self.regulated, drawn * self.rated / volts, drawn)


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


def strip_of(state: Power, stretch: Stretch) -> Strip:
    """A stretch of a solved show, as a row of pixels."""
    net, show = state.circuit, state.show
    points: list[Ints] = []
    wires: list[Ints] = []
    least: list[Floats] = []
    places: list[Places] = []
    for run, first, last in stretch.parts:
        if points:
            wires.append(np.array([net.leads[run]]))
        points.append(net.runs[run].start + np.arange(first - 1, last))
        wires.append(net.strings[run].start + np.arange(first - 1, last - 1))
        least.append(np.full(last - first + 1, show.type_of(show.runs[run]).min_volts))
        places.append(pixel_places(state.wiring, run)[first - 1 : last])
    at, between = np.concatenate(points), np.concatenate(wires)
    names = tuple((run, pixel) for run, first, last in stretch.parts for pixel in range(first, last + 1))
    number = {int(point): place for place, point in enumerate(at)}
    given = tuple((number[point], ohms) for point, ohms in _acting(state) if point in number)
    return Strip(
        names, net.ohms[between], net.bears[between], net.idle[at], net.full[at], net.rated[at], net.regulated[at],
        np.concatenate(least), np.concatenate(places), given,
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
                yield join.point, along[join.point]
            else:
                yield join.point, float(volts - state.drop.volts[join.point]) / amps if amps > TINY else np.inf


def feed(strip: Strip, volts: float, source: Places, stock: Stock, level: float, celsius: float) -> Feeding | None:
    """The fewest taps and the shortest tree of wire that hold; None where none was found.

    Args:
        strip: the rail.
        volts: of the supply.
        source: where the supply stands.
        stock: what there is to wire with.
        level: the level from 0 to 1.
        celsius: temperature of the wires.
    """
    away = np.hypot(*(strip.places - source).T)
    own = 2 * stock.gauges[-1].ohms(celsius) * np.maximum(away * (1 + stock.slack), stock.step)
    light = strip.amps(level, volts)
    room = max(volts - float(strip.least.min()), 0.0)
    if not strip.given and float(light.sum()) * float(own.min()) > room * _MOST:
        return None  # of so many taps one carries so much that its own wire leaves its pixel too little
    ideal = tuple(Source(at, 0.0, volts) for at, _ in strip.given)
    best = fewest(Rail(2 * strip.ohms, light, strip.least), volts, own, given=ideal, seconds=_PROOF)
    if best is None:
        return None
    bound = max(best.bound, 0 if strip.given else least_borne(strip.bears, light, stock.gauges))
    if bound > _MOST:
        return None
    for taps in _by_count(strip, _candidates(strip, volts, own, level, best.pixels), bound):
        places = np.vstack([source, strip.places[list(taps)]])
        shapes = [_measured(paths, places, stock) for paths in _shapes(places)]
        wires = {stock.gauges[-1], max(stock.gauges, key=lambda wire: wire.bears)}
        ends = ([Trunk(t.start, t.taps, t.metres, wire) for t in bare] for bare in shapes[::-1][:1] + shapes[:1]
                for wire in wires)  # fmt: skip
        if all(_holding(strip, volts, taps, sized, level, celsius) is None for sized in ends):
            continue
        for bare in shapes:
            found = _sized(strip, volts, taps, bare, stock.gauges, level, celsius)
            if found is not None:
                return Feeding(taps, found, bound)
    return None


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
    """Sets of taps to try, by how many: those chosen for the volts, then those that share the load out evenly.

    Volts are not all that a plan must keep: wires and fuses bear so much and no more, and more taps share it out. Of
    few pixels every set is tried.
    """
    pixels = len(strip.pixels)
    waiting = next(chosen, None)
    count, tried = max(fewest_taps, 1), set()
    while count <= min(pixels, _MOST):
        while waiting is not None and len(waiting) <= count:
            if waiting not in tried:
                tried.add(waiting)
                yield waiting
            waiting = next(chosen, None)
        sets = [*_even(strip, count)]
        if comb(pixels, count) <= _EVERY:
            sets += combinations(range(pixels), count)
        for taps in sets:
            if taps and taps not in tried:
                tried.add(taps)
                yield taps
        count += max(1, count // 4)


def _even(strip: Strip, count: int) -> Iterator[tuple[int, ...]]:
    """So many taps, each amid its share of the load; then with one at either end."""
    load = np.cumsum(strip.idle + strip.full)
    shares = [(np.arange(count) + 0.5) / count] + ([np.arange(count) / (count - 1)] if count > 1 else [])
    for share in shares:
        at = np.minimum(np.searchsorted(load, share * load[-1]), len(load) - 1)
        yield tuple(sorted({int(pixel) for pixel in at}))


def _candidates(
    strip: Strip, volts: float, own: Floats, level: float, best: tuple[int, ...]
) -> Iterator[tuple[int, ...]]:
    """Sets of taps that hold where each has wires of its own, those with more volts to spare behind.

    A regulated pixel is taken to draw what it does at the supply's volts, then what it does at its least.
    """
    given = tuple(Source(at, ohms, volts) for at, ohms in strip.acting)
    light, heavy = strip.amps(level, volts), strip.amps(level, strip.least)
    tried = set()
    for margin in _MARGINS:
        asked = strip.least + margin * (volts - strip.least)
        for amps in [light, heavy] if strip.regulated.any() else [light]:
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
        strip.idle, strip.full, strip.rated, strip.regulated,
    )  # fmt: skip
    return net, firsts
