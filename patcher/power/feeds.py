"""Feeds one rail from one supply: how many taps, at which pixels, and the wire that reaches them.

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
from dataclasses import dataclass, replace
from itertools import combinations, islice
from math import ceil, comb
from time import monotonic
from typing import Literal

import numpy as np

from patcher.power.circuit import Floats
from patcher.power.flow import TINY
from patcher.power.injection import fewest
from patcher.power.rail import Rail, Source, voltages
from patcher.power.strip import RailStrip
from patcher.power.wire_trees import Rig, Trunk
from patcher.power.wires import BLADES, Wire, most_carried, most_into

LONGEST = 5000
"""Pixels of one rail beyond which no plan is looked for: nobody leads V+ through so many."""

Ground = Literal["own", "one supply", "several supplies"]
"""Whose ground a rail has: its own; one that it shares, all of it fed from one supply; or from several."""


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
        return sum(trunk.amps for trunk in self.trunks if trunk.start is None)


@dataclass(frozen=True, eq=False)
class FeedTask(Rig):
    """A rail that is to be fed with as few taps as can be.

    Attributes:
        ground: whose ground the rail has.
    """

    ground: Ground

    @property
    def own(self) -> Floats:
        """Loop ohms of a pair of wires to each pixel, straight and of the best gauge."""
        away = np.hypot(*(self.strip.places - self.source).T)
        metres = np.maximum((self.cable + away) * (1 + self.stock.slack), self.stock.step)
        return np.asarray(2 * self.stock.gauges[-1].ohms(self.celsius) * metres)

    def too_many(self) -> int | None:
        """How many taps wires and fuses ask for at least, where those are more than a plan is looked for."""
        strip = self.strip
        if strip.given:
            return None
        few = self._borne(strip.amps(self.level, self.volts))
        return few if few > MOST_TAPS else None

    def feed(self) -> Feeding | None:
        """The fewest taps and the shortest wire that hold (for a rail by itself the thinnest), if there are any."""
        found = self._fed(MOST_TAPS)
        if found is None or self.strip.given or self.ground != "own":
            return found  # thicker wire here may relieve what it is joined with, and save a tap in all
        gauges = self.stock.gauges
        for thinner in range(1, max(gauges.index(trunk.wire) for trunk in found.trunks) + 1):
            task = replace(self, stock=replace(self.stock, gauges=gauges[:thinner]))
            thin = task._fed(len(found.taps), PROOF_SECONDS / len(gauges))
            if thin is not None:
                return replace(thin, bound=found.bound)
        return found

    def _fed(self, most: int, seconds: float | None = None) -> Feeding | None:
        """The fewest taps, up to so many, and the shortest tree of wire that hold; None where none was found."""
        strip, volts, own = self.strip, self.volts, self.own
        light = strip.amps(self.level, volts)
        room = max(volts - float(strip.least.min()), 0.0)
        if not strip.given and float(light.sum()) * float(own.min()) > room * MOST_TAPS:
            return None  # of so many taps one carries so much that its own wire leaves its pixel too little
        if self.too_many() is not None:
            return None
        best = fewest(
            Rail(2 * strip.ohms, light, strip.least), volts, own, given=self._ideal, seconds=seconds or PROOF_SECONDS
        )
        if best is None or best[1] > most:
            return None
        pixels, alone = best
        bound = self._bound(alone)
        if bound > MOST_TAPS:
            return None
        chosen = candidates(strip, volts, own, self.level, pixels)
        for taps in by_count(strip, chosen, max(bound, 1)):
            if len(taps) > most:
                return None
            trunks = self.wired(taps)
            if trunks is not None:
                return Feeding(taps, trunks, bound)
        return None

    def wired(self, taps: tuple[int, ...]) -> tuple[Trunk, ...] | None:
        """The shortest tree of wire to some taps with which the rail holds; None where none was found."""
        if not self._possible(taps):
            return None
        return super().wired(taps)

    @property
    def _ideal(self) -> tuple[Source, ...]:
        """The joints that are there, as if they had no ohms: no more volts can come of them."""
        return tuple(Source(at, 0.0) for at, _ in self.strip.given)

    def _possible(self, taps: tuple[int, ...]) -> bool:
        """Whether the rail would hold with a pair of wires for each tap, the best that there is."""
        strip = self.strip
        joined = {at for at, _ in strip.given}
        made = [Source(tap, float(self.own[tap])) for tap in taps if tap not in joined]
        rail = Rail(2 * strip.ohms, strip.amps(self.level, self.volts), strip.least)
        return bool((voltages(rail, self.volts, [*made, *self._ideal]) >= strip.least - TINY).all())

    def _borne(self, amps: Floats) -> int:
        """The taps below which some wire or fuse carries too much, where the pixels draw these amperes at least."""
        strip = self.strip
        return least_borne(strip.bears, amps, self.stock.gauges, into=max(map(most_into, strip.strings.tolist())))

    def _bound(self, alone: int) -> int:
        """The number of taps that nothing can go below; `alone` is that of the rail with a ground of its own."""
        strip, light = self.strip, self.strip.amps(self.level, self.volts)
        borne = 0 if strip.given else self._borne(light)
        if self.ground == "own":
            return max(alone, borne, 1)  # without a new tap it is as it was, and does not hold
        if self.ground == "several supplies":
            return 0 if strip.given else 1 if strip.regulated.any() else max(borne, 1)
        rail = Rail(strip.ohms, light, strip.least)
        best = fewest(rail, self.volts, self.own / 2, given=self._ideal, seconds=PROOF_SECONDS)
        return max(0 if best is None else best[1], borne, 0 if strip.given else 1)


def least_borne(bears: Floats, amps: Floats, gauges: tuple[Wire, ...], *, into: float = np.inf) -> int:
    """The taps below which some wire carries more than it bears, or a fuse blows, whatever the volts.

    A tap takes no more than the largest blade carries for hours that its wire allows, nor than one that protects the
    string: the fuse before it does that, or one of its own. Along the rail, what is drawn
    between two wires of a span between taps comes through these two, and what is drawn beyond a wire of a span at an
    end, through that wire. Where a span is possible a shorter one in it is too, so going as far as it reaches each time
    is best.

    Args:
        bears: amperes that the wire from each pixel to the next may carry.
        amps: what each pixel draws at least.
        gauges: the wires of the taps.
        into: amperes that may go into the string at a tap, where it has a fuse of its own.
    """
    most = max(wire.bears for wire in gauges)
    each = max((most_carried(size) for size in BLADES if size <= most), default=most)
    drawn = np.cumsum(amps)
    each = min(each, into)
    taps, room, link = 0, 0.0, 0
    while link < len(bears):
        if drawn[link] - bears[link] > room + TINY:
            taps, room = taps + 1, np.inf  # a tap at the pixel before this wire: the next span begins with this wire
        room = min(room, drawn[link] + bears[link])
        link += 1
    if drawn[-1] > room + TINY:
        taps += 1
    return max(taps, ceil(float(drawn[-1]) / each - TINY), 1)


PROOF_SECONDS = 5.0
"""Seconds to look for a proof that taps are the fewest; then what is found without one is taken."""
MOST_TAPS = 60
"""Taps of one rail beyond which no plan is looked for: nobody joins so many wires."""
_EVERY = 80
"""Sets of taps of one count that are all tried, where there are no more."""
_ENDS = 12
"""Sets of taps at the ends of runs that are tried of one count."""
_MARGINS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6)
"""Parts of the volts to spare that are asked for on top, one after another, where shared wire sags too much."""


def by_count(strip: RailStrip, chosen: Iterator[tuple[int, ...]], fewest_taps: int) -> Iterator[tuple[int, ...]]:
    """Sets of taps to try, by how many: at ends of runs, then those chosen for the volts, then an even share each.

    Volts are not all that a plan must keep: wires and fuses bear so much and no more, and more taps share it out. Of
    few pixels every set is tried.
    """
    pixels, most = len(strip.pixels), min(len(strip.pixels), MOST_TAPS)
    waiting = next(chosen, None)
    count, tried = fewest_taps, set()

    def of_count() -> Iterator[tuple[int, ...]]:
        nonlocal waiting
        yield from at_ends(strip, count)
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


def at_ends(strip: RailStrip, count: int) -> Iterator[tuple[int, ...]]:
    """So many taps at ends of runs: those that no feed joins yet first, then those of the whole strip; then at its two
    ends, the others between.
    """
    joined = {at for at, _ in strip.given}
    outer = sorted(dict.fromkeys([strip.ends[0], strip.ends[-1], *strip.ends]), key=lambda end: end in joined)
    yield from (tuple(sorted(some)) for some in islice(combinations(outer, count), _ENDS))
    if count > 1:
        yield _shared_out(strip, np.arange(count) / (count - 1))


def _even(strip: RailStrip, count: int) -> Iterator[tuple[int, ...]]:
    """So many taps, each amid its share of the load."""
    yield _shared_out(strip, (np.arange(count) + 0.5) / count)


def _shared_out(strip: RailStrip, share: Floats) -> tuple[int, ...]:
    """The pixels before which these parts of the load lie."""
    load = np.cumsum(strip.idle + strip.full)
    at = np.minimum(np.searchsorted(load, share * load[-1]), len(load) - 1)
    return tuple(sorted({int(pixel) for pixel in at}))


def candidates(
    strip: RailStrip, volts: float, own: Floats, level: float, best: tuple[int, ...]
) -> Iterator[tuple[int, ...]]:
    """Sets of taps that hold where each has wires of its own, those with more volts to spare behind.

    A regulated pixel is taken to draw what it does at the supply's volts, then what it does at its least.
    """
    end = monotonic() + PROOF_SECONDS
    given = tuple(Source(at, ohms) for at, ohms, _ in strip.acting)
    light, heavy = strip.amps(level, volts), strip.amps(level, strip.least)
    tried = set()
    for margin in _MARGINS:
        if monotonic() > end:
            return
        asked = strip.least + margin * (volts - strip.least)
        for amps in [light, heavy] if strip.regulated.any() else [light]:
            rail = Rail(2 * strip.ohms, amps, asked)
            taps: tuple[int, ...] | None = best
            if margin or given or amps is heavy:
                few = fewest(rail, volts, own, given=given, seconds=PROOF_SECONDS)
                taps = None if few is None else few[0]
            if taps is not None and taps not in tried:
                tried.add(taps)
                yield _steadied(rail, volts, own, taps, given)


def _steadied(
    rail: Rail, volts: float, own: Floats, taps: tuple[int, ...], given: tuple[Source, ...]
) -> tuple[int, ...]:
    """As many taps, moved one by one to where the pixel nearest its limit has most above it."""

    def headroom(at: list[int]) -> float:
        found = voltages(rail, volts, [*(Source(tap, float(own[tap])) for tap in at), *given])
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
