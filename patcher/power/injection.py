"""The fewest power taps on one rail, exactly.

Dynamic programming from left to right, pixel by pixel: tap here or not. All that the pixels so far can do for the rest
is a `Labels` row (see thevenin.py); a row is kept where at some voltage nothing with as few taps gives more current.
Counts are tried from the lowest that no set of taps can beat, and a row is left where it can no longer do with the
count. What holds of a rail, and why a tap everywhere or without ohms bounds the answer, is proved in rail.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from time import monotonic

import numpy as np
from numpy.typing import NDArray

from patcher.power.rail import Floats, Rail, Source, voltages
from patcher.power.thevenin import MOST_AMPS, Dark, Labels, at_most, useful

SLACK = 1e-9
"""Volts by which a pixel may miss its least and still holds: what sums of floats differ by."""
_NEVER = 10**9
_BEAM = 12
"""Rows of each count that are kept by a sweep that only looks for some answer."""


def fewest(
    rail: Rail,
    volts: float,
    tap_ohms: Floats,
    *,
    given: Sequence[Source] = (),
    seconds: float = inf,
) -> tuple[tuple[int, ...], int] | None:
    """The fewest pixels to tap so that every pixel has its least volts, from 0, ascending, and a number of taps that no
    set can go below: fewer than those only where the time was out. None where no taps do.

    Within the time exact but for `SLACK`. Of equal sets always the same one is returned.

    Args:
        rail: the rail.
        volts: of the supply, which all taps have.
        tap_ohms: of a new tap's wires, out and back, at each pixel; more than 0.
        given: taps that stay, of those without ohms at most one a pixel.
        seconds: how long to search for a proof; then the fewest that are found without one.
    """
    job = _Job.of(rail, volts, tap_ohms, given)
    if not _everywhere(job):
        return None
    end: float | None = monotonic() + seconds
    # Were every source without ohms, each span between two neighbours would stand alone, and a shorter one would hold
    # where a longer does; so going as far as a span reaches each time is best. By rail.py, 1, no real tap does better.
    bound = int(job.need[-1])
    for count in range(bound, len(rail.amps) + 1):
        pixels, cut = _sweep(job, count, beam=_BEAM)
        if pixels is None and end is not None:
            try:
                pixels, cut = _sweep(job, count, end)
                bound = count + 1
            except _LateError:
                end = None
        if pixels is not None:
            return pixels, min(bound, count)
        if not cut and end is not None:
            break
    return None


class _LateError(Exception):
    """The time is out."""


@dataclass(frozen=True, eq=False)
class _Job:
    """A rail with the taps that it has and what new ones are like, and what bounds every answer."""

    rail: Rail
    volts: float
    ohms: Floats
    given: tuple[Source, ...]
    need: NDArray[np.int64]  # further taps, were the pixel itself at the supply's volts; last, of the open left end
    pull: tuple[Floats, Floats]  # lowest and highest current from each pixel to the next

    @staticmethod
    def of(rail: Rail, volts: float, tap_ohms: Floats, given: Sequence[Source]) -> _Job:
        kept = replace(rail, least=rail.least - SLACK)
        pull = np.append(-_pull(kept.reversed(), volts)[::-1][1:], 0.0), _pull(kept, volts)
        need = _need(kept, volts, {source.pixel for source in given})
        return _Job(kept, volts, tap_ohms, tuple(given), need, pull)


def _pull(rail: Rail, top: float) -> Floats:
    """Most current from each pixel to its right in any rail that holds.

    No tap takes current then, so of i at least i less the loads passed goes on, and its drop is at most what there is.
    """
    n = len(rail.amps)
    most = np.zeros(n)
    for pixel in range(n - 1):
        ohms, passed = np.cumsum(rail.ohms[pixel:]), np.cumsum(rail.amps[pixel + 1 :])
        spared = np.concatenate([[0.0], np.cumsum(rail.ohms[pixel + 1 :] * passed[:-1])])
        room = top - rail.least[pixel + 1 :] + spared
        most[pixel] = min(at_most(room, ohms).min(), passed[-1])
    return np.maximum(most, -MOST_AMPS)


def _need(rail: Rail, top: float, given: set[int]) -> NDArray[np.int64]:
    """Fewest further taps without ohms right of each pixel, which is itself one; last, of the whole rail."""
    n = len(rail.amps)
    reach, right = np.zeros(n + 1, np.int64), 0
    for place in range(n + 1):
        pixel = place - 1
        right = max(right, pixel)
        while right < n and _spanned(rail, top, pixel, right + 1):
            right += 1
        reach[place] = right
    at = np.arange(n)
    last_given = np.maximum.accumulate(np.where(np.isin(at, list(given)), at, -1))
    need = np.zeros(n + 1, np.int64)
    for place in range(n, -1, -1):
        pixel, to = place - 1, int(reach[place])
        bad = pixel >= 0 and rail.least[pixel] > top
        if bad or to < n or pixel < 0:
            stop = min(to, n - 1)
            if not bad and last_given[stop] > pixel:
                need[place] = need[last_given[stop] + 1]
            else:
                need[place] = _NEVER if bad else min(1 + need[stop + 1], _NEVER)
    return np.roll(need, -1)


def _spanned(rail: Rail, top: float, left: int, right: int) -> bool:
    """Whether all pixels between two at the supply's volts hold; −1 and n stand for an open end."""
    inside = slice(left + 1, right)
    amps, least = rail.amps[inside], rail.least[inside]
    n = len(rail.amps)
    if left < 0:
        return right < n and _spanned(rail.reversed(), top, n - 1 - right, n)
    ohms = rail.ohms[left : min(right, n - 1)]
    passed = np.concatenate([[0.0], np.cumsum(amps)])
    begin = passed[-1]
    if right < n:
        total = ohms.sum()
        begin = (ohms * passed).sum() / total if total > 0 else 0.0
    volts = top - np.cumsum(ohms * (begin - passed[: len(ohms)]))
    return bool((volts[: len(least)] >= least - 1e-12).all())


def _everywhere(job: _Job) -> bool:
    """Whether a tap at every pixel holds."""
    every = (Source(pixel, float(ohms)) for pixel, ohms in enumerate(job.ohms))
    return bool((voltages(job.rail, job.volts, [*every, *job.given]) >= job.rail.least).all())


def _onto(job: _Job, pixel: int, dark: Dark | None, rows: Labels) -> tuple[Dark | None, Labels]:
    """On to the next pixel, with its load and its given taps."""
    rail = job.rail
    if pixel:
        ohms = float(rail.ohms[pixel - 1])
        rows, dark = rows.along(ohms), dark and dark.along(ohms)
    amps, least = float(rail.amps[pixel]), float(rail.least[pixel])
    rows, dark = rows.loaded(amps), dark and Dark(dark.amps + amps, max(dark.least, least))
    for source in job.given:
        if source.pixel == pixel:
            begun = Labels.none() if dark is None else dark.tapped(job.volts, source.ohms)
            rows, dark = rows.tapped(job.volts, source.ohms).beside(begun), None
    return dark, rows


def _tapped(job: _Job, pixel: int, dark: Dark | None, rows: Labels) -> Labels:
    """All ways with a new tap at this pixel."""
    tap = job.volts, float(job.ohms[pixel])
    made = rows.tapped(*tap)
    if dark is not None:
        made = made.beside(dark.tapped(*tap))
    return replace(made, count=made.count + 1)


def _sweep(job: _Job, count: int, end: float = inf, *, beam: int | None = None) -> tuple[tuple[int, ...] | None, bool]:
    """A smallest set of at most `count` taps that holds, and whether the count kept anything out.

    With a beam only so many rows of a count are kept, spread over all, so that None proves nothing.
    """
    dark: Dark | None = Dark()
    rows = Labels.none()
    made: list[tuple[int, int]] = []  # of each tap, the tap before it and its pixel
    cut = False
    for pixel in range(len(job.rail.amps)):
        if monotonic() > end:
            raise _LateError
        dark, rows = _onto(job, pixel, dark, rows)
        old = len(made)
        taps = _tapped(job, pixel, dark, rows)
        few = taps.count + job.need[pixel] <= count
        cut |= not few.all()
        taps = taps.take(few)
        before = taps.node
        rows = rows.beside(replace(taps, node=old + np.arange(len(before))))
        rows = rows.holding(float(job.rail.least[pixel]))
        low, high = float(job.pull[0][pixel]), float(job.pull[1][pixel])
        few = rows.count + job.need[pixel] <= count
        cut |= not few.all()
        rows = rows.take(few & (rows.most >= low) & ~(rows.volts - rows.ohms * np.minimum(rows.most, high) > job.volts))
        rows = useful(rows, job.volts, low, high)
        if beam is not None and len(rows.count) > beam:
            rows = _spread(rows, beam)
        new = np.flatnonzero(rows.node >= old)
        made += [(int(before[node - old]), pixel) for node in rows.node[new]]
        rows.node[new] = old + np.arange(len(new))
    rows = rows.take(rows.most >= 0)
    if not len(rows.count):
        return None, cut
    node, pixels = int(rows.node[np.argmin(rows.count)]), []
    while node >= 0:
        node, pixel = made[node]
        pixels.append(pixel)
    return tuple(reversed(pixels)), cut


def _spread(rows: Labels, beam: int) -> Labels:
    """So many rows of each count, evenly from the strongest to the weakest."""
    kept = []
    for count in np.unique(rows.count):
        at = np.flatnonzero(rows.count == count)
        kept.append(at if len(at) <= beam else at[np.linspace(0, len(at) - 1, beam).astype(int)])
    return rows.take(np.concatenate(kept))
