"""Which faults a clip shows: the fewest that explain its lights, and which wirings it cannot tell from those."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

import numpy as np

from patcher.diagnosis.hypotheses import singles
from patcher.errors import PatcherError
from patcher.faults import Fault, Takes, build, departure, parse
from patcher.film.code import Channels
from patcher.film.fit import Evidence, Fit, Slack, fit
from patcher.film.hues import UNKNOWN, Hues
from patcher.film.shown import Shown, shown

PRIOR = 7.0
"""What speaks against any one fault, as a logarithm: one thing in a thousand is wired wrongly."""
MOST = 24
"""So many faults are looked for."""
SLIP = 5.0
"""What speaks against a count that is off somewhere in a run."""
MARGIN = 9.0
"""A wiring that the lights speak against by so much less than against another is not told from it."""
BAD_SHARE = 0.15
"""Of a run's pixels: where more are not where they should be, something is wrong with it."""


@dataclass(frozen=True, eq=False)
class Explained:
    """What a clip says of the wiring.

    Attributes:
        faults: that explain it.
        wired: what each run plays with them.
        fits: how each run goes with the lights then.
        plan_hue: the colour that each pixel should play in each segment, as planned.
        unsure: for each run the pixels that another wiring, which the lights do not rule out, would let take other data:
            shape (pixels,).
    """

    faults: tuple[Fault, ...]
    wired: Mapping[str, Shown]
    fits: Mapping[str, Fit]
    plan_hue: Mapping[str, Hues]
    unsure: Mapping[str, np.ndarray] = field(default_factory=dict)


class Search:
    """Looks for the faults that explain a clip."""

    def __init__(self, seen: Evidence, slack: Mapping[str, tuple[Evidence, Slack]]) -> None:
        self._seen, self._slack = seen, slack
        self._show = seen.plan.wiring.show
        self._cache: dict[tuple[str, bytes], Fit] = {}

    def explained(self) -> Explained:
        """The faults that explain the lights best, found one by one."""
        faults: tuple[Fault, ...] = ()
        wired = self._wired({})
        while len(faults) < MOST:
            best = self._best(faults, wired)
            if best is None:
                break
            faults, wired = best
        faults, wired = self._pruned(faults, wired)
        fits = {run: self._fit(run, own) for run, own in wired.items()}
        hue = {run: own.hue for run, own in self._wired({}).items()}
        return Explained(faults, wired, fits, hue, {run: self._unsure(run, wired[run], fits[run]) for run in wired})

    def _wired(self, takes: Mapping[str, Takes]) -> dict[str, Shown]:
        plan = self._seen.plan
        return {
            run: shown(takes.get(run, plan.takes[run]), self._letters(run), self._seen.code) for run in self._seen.places
        }

    def _letters(self, run: str) -> str:
        return self._show.type_of(self._show.runs[run]).colour_order

    def _fit(self, run: str, wired: Shown) -> Fit:
        key = (run, wired.pixel.tobytes() + wired.hue.tobytes() + (b"" if wired.drive is None else wired.drive.tobytes()))
        if key not in self._cache:
            evidence, slack = self._slack[run]
            self._cache[key] = fit(evidence, run, wired, slack)
        return self._cache[key]

    def _cost(self, wired: Mapping[str, Shown], runs: Iterable[str]) -> float:
        return sum(self._fit(run, wired[run]).cost for run in runs)

    def _best(self, faults: tuple[Fault, ...], wired: Mapping[str, Shown]) -> tuple[tuple[Fault, ...], dict[str, Shown]] | None:
        """One fault more, where one explains the lights better."""
        bad = [run for run in wired if self._bad(run, wired[run])]
        best, least = None, -PRIOR
        for fault in self._candidates(bad, wired):
            tried = self._with(faults, fault)
            if tried is None:
                continue
            changed = [run for run in wired if not _alike(tried[run], wired[run])]
            if not changed:
                continue
            gain = self._cost(tried, changed) - self._cost(wired, changed)
            if gain < least:
                best, least = ((*faults, fault), tried), gain
        return best

    def _with(self, faults: tuple[Fault, ...], fault: Fault) -> dict[str, Shown] | None:
        with suppress(PatcherError):
            every = (*faults, fault)
            build(self._seen.plan.wiring, every)
            return self._wired(departure(self._seen.plan, every).takes)
        return None

    def _bad(self, run: str, wired: Shown) -> bool:
        own = self._fit(run, wired)
        return own.cost > PRIOR

    def _candidates(self, bad: Sequence[str], wired: Mapping[str, Shown]) -> Iterator[Fault]:
        """Faults that may explain what is wrong with some runs."""
        if not bad:
            return
        near = {run: self._odd_pixels(run, wired[run]) for run in bad}
        seen: set[Fault] = set()
        texts = [text for run in bad for text in self._by_offset(run)]
        for fault in [*self._parsed(texts), *(one for one, _ in singles(self._seen.plan, bad, lambda run: near.get(run, [])))]:
            if fault not in seen:
                seen.add(fault)
                yield fault

    def _parsed(self, texts: Iterable[str]) -> Iterator[Fault]:
        for text in texts:
            with suppress(PatcherError):
                yield parse(text, self._seen.plan.wiring)

    def _odd_pixels(self, run: str, wired: Shown) -> list[int]:
        """The pixels, from 1, at which something may be wrong: where what goes well borders on what does not."""
        own = self._fit(run, wired)
        seen, _ = self._slack[run]
        hue = seen.hue[own.row]
        wrong = own.close & ((hue != wired.hue) & (hue != UNKNOWN) & (wired.hue != UNKNOWN)).any(axis=1)
        good = own.close & ~wrong
        edges = np.flatnonzero(good[1:] != good[:-1]) + 1
        odd = {*np.flatnonzero(wrong).tolist()}
        for edge in edges.tolist():
            odd |= {edge - 1, edge, edge + 1}
        odd |= {0, 1, len(good) - 1}
        return sorted(one + 1 for one in odd if 0 <= one < len(good))[:400]

    def _by_offset(self, run: str) -> Iterator[str]:
        """Faults by how far the data at a run's places is from the planned one."""
        offset = self.offset(run)
        if not offset:
            return
        box, port = self._seen.plan.wiring.ports[run]
        width = int(self._seen.code.width[0])
        yield f"shift:{run}={offset}"
        for start in (box, f"{box}/{port}", run):
            yield f"channel-shift:{start}={offset * width}"
            yield f"channel-shift:{start}={-offset * width}"
        yield f"count:{box}/{port}={offset}"

    def offset(self, run: str) -> int:
        """By how many pixels most data at a run's places is from the planned one; 0 where it is not alike."""
        from scipy.spatial import cKDTree

        seen, _ = self._slack[run]
        if not len(seen.at):
            return 0
        away, row = cKDTree(seen.at).query(seen.places[run])
        near = away < 0.5 * seen.pitch[run]
        planned, _ = seen.code.pixel_of(seen.plan.takes[run][:, 0].astype(np.int64))
        off = (seen.lights.pixel[row] - planned)[near & (planned >= 0)]
        if not len(off):
            return 0
        values, counts = np.unique(off, return_counts=True)
        return int(values[counts.argmax()]) if counts.max() > 0.4 * len(off) else 0

    def _pruned(self, faults: tuple[Fault, ...], wired: dict[str, Shown]) -> tuple[tuple[Fault, ...], dict[str, Shown]]:
        """Without faults that explain nothing once the others are there."""
        for fault in faults:
            others = tuple(one for one in faults if one != fault)
            with suppress(PatcherError):
                tried = self._wired(departure(self._seen.plan, others).takes)
                changed = [run for run in wired if not _alike(tried[run], wired[run])]
                if self._cost(tried, changed) <= self._cost(wired, changed) + PRIOR:
                    faults, wired = others, tried
        return faults, wired

    def _unsure(self, run: str, wired: Shown, own: Fit) -> np.ndarray:
        """The pixels that another wiring of the run would let take other data, and goes with the lights nearly as
        well.
        """
        found = np.zeros(len(wired.pixel), dtype=bool)
        for pixel in self._rivals(run, wired.pixel, own):
            hue = np.where((pixel != wired.pixel)[:, None], np.int8(UNKNOWN), wired.hue)
            other = self._fit(run, Shown(pixel, hue, wired.drive))
            if other.cost + SLIP < own.cost + MARGIN:
                found |= pixel != wired.pixel
        return found

    def _rivals(self, run: str, pixel: Channels, own: Fit) -> Iterator[Channels]:
        """What a run would play if its count were off from somewhere on, or if it were turned round."""
        last = len(self._seen.code.first) - 1
        count = len(pixel)
        unseen = np.flatnonzero(~own.close)
        breaks = {0, count, 1, count - 1, *unseen.tolist(), *(unseen + 1).tolist()}
        for at in sorted(one for one in breaks if 0 <= one <= count)[:200]:
            for off in (-2, -1, 1, 2):
                moved = np.where(pixel >= 0, (pixel + off).clip(0, last), pixel)
                for behind in (True, False):
                    which = np.arange(count) >= at if behind else np.arange(count) < at
                    if which.any():
                        yield np.where(which, moved, pixel)
        yield pixel[::-1]


def _alike(one: Shown, other: Shown) -> bool:
    return np.array_equal(one.pixel, other.pixel) and np.array_equal(one.hue, other.hue) and (
        one.drive is other.drive or np.array_equal(one.drive, other.drive)
    )
