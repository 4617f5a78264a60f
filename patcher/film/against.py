"""What speaks against a wiring of all runs, by the lights of a clip."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from patcher.faults import Fault, Takes
from patcher.film.evidence import STRANGE, Evidence
from patcher.film.fit import Fit, Slack, fit
from patcher.film.guesses import seldom
from patcher.film.shown import BROKEN, MIXED, Shown, shown
from patcher.frames.film_code import Channels

FOREIGN = 0.2
"""Where a greater part of all lights is unexplained, nothing is known."""
NEAR = 2.0
"""Distances from pixel to pixel: a light no further from a place is near it."""


class Against:
    """Weighs wirings: what speaks against each, as a logarithm; what was worked out once is kept."""

    def __init__(self, seen: Evidence, slack: Mapping[str, tuple[Evidence, Slack]]) -> None:
        self._seen, self._slack = seen, slack
        self._costs: dict[tuple[str, bytes], tuple[float, float]] = {}
        self._shows: dict[tuple[str, bytes], Shown] = {}

    def wired(self, takes: Mapping[str, Takes]) -> dict[str, Shown]:
        """What each run plays where some take other data than planned."""
        changed = {run: self._shown(run, own) for run, own in takes.items() if run in self._seen.places}
        return {**self._sound, **changed}

    @cached_property
    def _sound(self) -> dict[str, Shown]:
        return {run: self._shown(run, self._seen.plan.takes[run]) for run in self._seen.places}

    def _shown(self, run: str, takes: Takes) -> Shown:
        key = run, hashlib.blake2b(takes.tobytes(), digest_size=16).digest()
        if key in self._shows:
            return self._shows[key]
        found = self._shows[key] = shown(takes, self._seen.letters(run), self._seen.code)
        return found

    def fit(self, run: str, wired: Shown) -> Fit:
        """How well a wiring of a run goes with the lights."""
        evidence, slack = self._slack[run]
        return fit(evidence, run, wired, slack)

    def cost_of(self, run: str, wired: Shown) -> float:
        """What speaks against a wiring of a run."""
        return self.held(run, wired)[0]

    def held(self, run: str, wired: Shown) -> tuple[float, float]:
        """What speaks against a wiring of a run, and what of that a fault could explain."""
        key = run, wired.digest
        if key not in self._costs:
            own = self.fit(run, wired)
            self._costs[key] = own.cost, own.odd
        return self._costs[key]

    def cost(self, wired: Mapping[str, Shown], runs: Iterable[str]) -> float:
        """What speaks against a wiring of some runs."""
        return sum(self.cost_of(run, wired[run]) for run in runs)

    def whole(self, wired: Mapping[str, Shown]) -> float:
        """What speaks against a wiring of all runs."""
        return self.cost(wired, wired) + self.unexplained(wired)

    def against(self, faults: Iterable[Fault], wired: Mapping[str, Shown]) -> float:
        """What speaks against some faults, with all runs wired so."""
        return self.whole(wired) + sum(map(seldom, faults))

    def unexplained(self, wired: Mapping[str, Shown]) -> float:
        """What speaks against a wiring because words play near its runs that none of them should: a run is not dark
        whose words are read, be it a little aside.
        """
        return STRANGE * self._unmeant(wired)

    def foreign(self, wired: Mapping[str, Shown]) -> bool:
        """Whether so many words play that none of the runs should, that the map itself may be wrong."""
        return self._unmeant(wired) > FOREIGN * len(self._seen.lights)

    def _unmeant(self, wired: Mapping[str, Shown]) -> int:
        """How many words play near the runs that none of them should."""
        near, place = self._near
        meant = np.concatenate([own.pixel for own in wired.values()])
        plays = np.zeros(len(self._seen.code.first), dtype=bool)
        plays[meant[meant >= 0]] = True
        plays[self._elsewhere] = True
        odd = ~plays[self._seen.lights.pixel[near]] & ~((meant[place] == MIXED) | (meant[place] == BROKEN))
        return int(odd.sum())

    @cached_property
    def _near(self) -> tuple[Channels, Channels]:
        """The lights that are near any place, and which place that is, of all runs one after another."""
        places = np.concatenate(list(self._seen.places.values()))
        pitch = np.concatenate([np.full(len(own), self._seen.pitch[run]) for run, own in self._seen.places.items()])
        slack = np.concatenate([np.full(len(own), self._slack[run][1].shift) for run, own in self._seen.places.items()])
        if not len(self._seen.at):
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        away, place = cKDTree(places).query(self._seen.at)
        near = np.flatnonzero(away < NEAR * pitch[place] + slack[place])
        return near, place[near]

    @cached_property
    def _elsewhere(self) -> Channels:
        """The pixels of runs that are not drawn: they may light anywhere."""
        plan = self._seen.plan
        taken = [plan.takes[run][:, 0].astype(np.int64) for run in plan.takes if run not in self._seen.places]
        pixel = self._seen.code.pixel_of(np.concatenate(taken))[0] if taken else np.empty(0, dtype=np.int64)
        return pixel[pixel >= 0]
