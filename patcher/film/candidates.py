"""The single faults that may explain what is wrong with some runs of a clip."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import permutations

import numpy as np
from scipy.spatial import cKDTree

from patcher.clip.hues import DARK as DARK_HUE
from patcher.clip.hues import SEEN, UNKNOWN
from patcher.diagnosis.hypotheses import singles
from patcher.errors import PatcherError
from patcher.faults import Fault, departure, parse
from patcher.film.fit import Evidence, Slack, fit
from patcher.film.rivals import usual
from patcher.film.shown import Shown
from patcher.frames.film_code import Channels

MOST_ODD = 24
"""So many of a run's odd pixels are thought of."""


class Candidates:
    """Thinks of faults, by what a clip shows."""

    def __init__(self, seen: Evidence, slack: Mapping[str, tuple[Evidence, Slack]]) -> None:
        self._seen, self._slack = seen, slack
        self._of_run: dict[str, list[Fault]] = {}

    def of(self, bad: Sequence[str], wired: Mapping[str, Shown], faults: Sequence[Fault]) -> Iterator[Fault]:
        """Faults that may explain what is wrong with some runs; also those of a place with which one is exchanged."""
        found: dict[Fault, None] = {}
        for run in bad:
            found |= dict.fromkeys(self._parsed(self._by_offset(run)))
            found |= dict.fromkeys(self._parsed(self._at_pixels(run, wired[run])))
            found |= dict.fromkeys(self._coarse(run))
        for run in dict.fromkeys(partner for one in bad for partner in self._exchanged_with(one, faults)):
            if run not in bad:
                found |= dict.fromkeys(self._coarse(run))
        yield from found

    def _exchanged_with(self, run: str, faults: Sequence[Fault]) -> Iterator[str]:
        """The runs that take other data with a fault that exchanges something for this run."""
        for fault in faults:
            if fault.kind.startswith("swapped"):
                takes = departure(self._seen.plan, (fault,)).takes
                if run in takes:
                    yield from (one for one in takes if one in self._seen.places)

    def _coarse(self, run: str) -> list[Fault]:
        """The single faults of a run, its port and its box that are at no pixel."""
        if run not in self._of_run:
            every = singles(self._seen.plan, [run], lambda name: ())
            self._of_run[run] = [fault for fault, differs in every if differs.takes]
        return self._of_run[run]

    def _at_pixels(self, run: str, wired: Shown) -> Iterator[str]:
        """Faults at pixels of a run, where what goes well borders on what does not."""
        seen, slack = self._slack[run]
        own, letters = fit(seen, run, wired, slack), seen.letters(run)
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
        for pixel in [pixel for pixel in odd if pixel and not own.close[pixel:].any()][:3]:
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
        found = self.read_there(run)
        planned = self._seen.planned(run)
        return usual((found - planned)[(found >= 0) & (planned >= 0)]) or 0

    def read_there(self, run: str) -> Channels:
        """The word that plays at each place of a run, as the map has it, displaced by nothing; -1 for none."""
        seen, _ = self._slack[run]
        if not len(seen.at):
            return np.full(len(seen.places[run]), -1)
        away, row = cKDTree(seen.at).query(seen.places[run])
        return np.where(away < 0.5 * seen.pitch[run], seen.lights.pixel[row], -1)
