"""Which pixels of a rail to try to tap, fewest first: at the ends of runs, where the volts want it, then evenly."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, islice
from math import comb
from time import monotonic

import numpy as np

from patcher.power.circuit import Floats
from patcher.power.injection import fewest
from patcher.power.rail import Rail, Source, voltages
from patcher.power.strip import RailStrip

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
    """So many taps at ends of runs, those of the whole strip first; then at its two ends, the others between."""
    outer = dict.fromkeys([strip.ends[0], strip.ends[-1], *strip.ends])
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
    given = tuple(Source(at, ohms) for at, ohms in strip.acting)
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
