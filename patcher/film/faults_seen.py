"""Which faults a clip shows: the fewest that explain its lights, and which wirings it cannot tell from those."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import permutations

import numpy as np

from patcher.diagnosis.hypotheses import singles
from patcher.errors import PatcherError
from patcher.faults import Fault, Takes, build, departure, parse
from patcher.film.code import Channels
from patcher.film.fit import Evidence, Fit, Slack, fit
from patcher.film.hues import DARK as DARK_HUE
from patcher.film.hues import SEEN, UNKNOWN, Hues
from patcher.film.shown import Shown, shown

PRIOR = 7.0
"""What speaks against any one fault, as a logarithm: one thing in a thousand is wired wrongly."""
MOST = 24
"""So many faults are looked for."""
SLIP = 5.0
"""What speaks against a count that is off somewhere in a run."""
MARGIN = 9.0
"""A wiring that the lights speak against by so much less than against another is not told from it."""
WORST = 6
"""So many runs, those against whose wiring most speaks, are looked at in one go."""
MOST_ODD = 24
"""So many of a run's odd pixels are thought of."""
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
        self._of_run: dict[str, list[Fault]] = {}

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
            run: shown(takes.get(run, plan.takes[run]), self._letters(run), self._seen.code)
            for run in self._seen.places
        }

    def _letters(self, run: str) -> str:
        return self._show.type_of(self._show.runs[run]).colour_order

    def _fit(self, run: str, wired: Shown) -> Fit:
        key = (
            run,
            wired.pixel.tobytes() + wired.hue.tobytes() + (b"" if wired.drive is None else wired.drive.tobytes()),
        )
        if key not in self._cache:
            evidence, slack = self._slack[run]
            self._cache[key] = fit(evidence, run, wired, slack)
        return self._cache[key]

    def _cost(self, wired: Mapping[str, Shown], runs: Iterable[str]) -> float:
        return sum(self._fit(run, wired[run]).cost for run in runs)

    def _best(
        self, faults: tuple[Fault, ...], wired: Mapping[str, Shown]
    ) -> tuple[tuple[Fault, ...], dict[str, Shown]] | None:
        """One fault more, where one explains the lights better."""
        bad = sorted(
            (run for run in wired if self._bad(run, wired[run])), key=lambda run: -self._fit(run, wired[run]).cost
        )
        best, least = None, -PRIOR
        for fault in self._candidates(bad[:WORST], wired):
            tried = self._with(faults, fault)
            if tried is None:
                continue
            changed = [run for run in wired if not _alike(tried[run], wired[run])]
            gain = self._gain(wired, tried, changed, least) if changed else 0.0
            if gain < least:
                best, least = ((*faults, fault), tried), gain
        return best

    def _gain(
        self, wired: Mapping[str, Shown], tried: Mapping[str, Shown], changed: Sequence[str], least: float
    ) -> float:
        """By how much less speaks against another wiring; at once 0 where it cannot become less than `least`."""
        gain = -self._cost(wired, changed)
        for run in sorted(changed, key=lambda run: len(wired[run].pixel)):
            gain += self._fit(run, tried[run]).cost
            if gain >= least:
                return 0.0
        return gain

    def _with(self, faults: tuple[Fault, ...], fault: Fault) -> dict[str, Shown] | None:
        with suppress(PatcherError):
            every = (*faults, fault)
            build(self._seen.plan.wiring, every)
            return self._wired(departure(self._seen.plan, every).takes)
        return None

    def _bad(self, run: str, wired: Shown) -> bool:
        return self._fit(run, wired).cost > PRIOR

    def _candidates(self, bad: Sequence[str], wired: Mapping[str, Shown]) -> Iterator[Fault]:
        """Faults that may explain what is wrong with some runs."""
        found: dict[Fault, None] = {}
        for run in bad:
            found |= dict.fromkeys(self._parsed(self._by_offset(run)))
            found |= dict.fromkeys(self._parsed(self._at_pixels(run, wired[run])))
            found |= dict.fromkeys(self._coarse(run))
        yield from found

    def _coarse(self, run: str) -> list[Fault]:
        """The single faults of a run, its port and its box that are at no pixel."""
        if run not in self._of_run:
            every = singles(self._seen.plan, [run], lambda name: ())
            self._of_run[run] = [fault for fault, differs in every if differs.takes]
        return self._of_run[run]

    def _at_pixels(self, run: str, wired: Shown) -> Iterator[str]:
        """Faults at pixels of a run, where what goes well borders on what does not."""
        own, letters = self._fit(run, wired), self._letters(run)
        seen, _ = self._slack[run]
        hue = seen.hue[own.row]
        known = own.close[:, None] & (hue != UNKNOWN) & (wired.hue != UNKNOWN)
        wrong = (known & (hue != wired.hue)).any(axis=1)
        lacks = np.argwhere(known & (hue == DARK_HUE) & (wired.hue >= 0))
        for pixel, segment in lacks[:MOST_ODD].tolist():
            letter = SEEN[wired.hue[pixel, segment]]
            if letter in letters:
                yield f"dark-channel:{run}/{pixel + 1}={letter}"
        good = own.close & ~wrong
        edges = np.flatnonzero(good[1:] != good[:-1]) + 1
        odd = sorted({0, *edges.tolist(), *(edges + 1).tolist(), *np.flatnonzero(wrong).tolist()})
        odd = [pixel for pixel in odd if pixel < len(good)]
        for pixel in odd[:MOST_ODD]:
            yield f"missing:{run}/{pixel + 1}"
            for order in self._orders(letters):
                yield f"replaced:{run}/{pixel + 1}={order}"
        for pixel in [pixel for pixel in odd if not own.close[pixel:].any()][:3]:
            yield f"cut:{run}/{pixel + 1}"
            yield f"flicker:{run}/{pixel + 1}"

    def _orders(self, letters: str) -> list[str]:
        """The colour orders of a pixel that may have been put in."""
        own = ["".join(order) for order in permutations(letters)] if len(letters) <= 3 else []
        white = [f"{order}W" for order in own] if "W" not in letters else [letters.replace("W", "")]
        return [order for order in (*own, *white) if order != letters]

    def _parsed(self, texts: Iterable[str]) -> Iterator[Fault]:
        for text in texts:
            with suppress(PatcherError):
                yield parse(text, self._seen.plan.wiring)

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
        found = self._read_there(run)
        planned = self._planned(run)
        return _usual((found - planned)[(found >= 0) & (planned >= 0)])

    def _planned(self, run: str) -> Channels:
        pixel, _ = self._seen.code.pixel_of(self._seen.plan.takes[run][:, 0].astype(np.int64))
        return pixel

    def _read_there(self, run: str) -> Channels:
        """The word that plays at each place of a run, as the map has it, displaced by nothing; -1 for none."""
        from scipy.spatial import cKDTree

        seen, _ = self._slack[run]
        if not len(seen.at):
            return np.full(len(seen.places[run]), -1)
        away, row = cKDTree(seen.at).query(seen.places[run])
        return np.where(away < 0.5 * seen.pitch[run], seen.lights.pixel[row], -1)

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
        if own.close.mean() < 1 - 2 * BAD_SHARE:
            return ~found
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
        every = np.arange(count)
        unseen = np.flatnonzero(~own.close)
        breaks = {1, count - 1, *unseen.tolist(), *(unseen + 1).tolist()}
        for at, offs in ((0, (-3, -2, -1, 1, 2, 3)), *((at, (-1, 1)) for at in sorted(breaks))):
            for off in offs:
                moved = np.where(pixel >= 0, (pixel + off).clip(0, last), pixel)
                for which in (every >= at, every < at):
                    if which.any():
                        yield np.where(which, moved, pixel)
        places = self._seen.places[run]
        if not np.allclose(places, places[::-1], atol=1e-3):
            yield pixel[::-1]
        there = self._read_there(run)
        for way in (1, -1):
            begin = _usual((there - way * every)[there >= 0])
            yield (begin + way * every).clip(0, last)


def _usual(values: Channels) -> int:
    """The value that most of some have, where that are many; else 0."""
    every, counts = np.unique(values, return_counts=True)
    return int(every[counts.argmax()]) if len(values) and counts.max() > 0.4 * len(values) else 0


def _alike(one: Shown, other: Shown) -> bool:
    return (
        np.array_equal(one.pixel, other.pixel)
        and np.array_equal(one.hue, other.hue)
        and (one.drive is other.drive or np.array_equal(one.drive, other.drive))
    )
