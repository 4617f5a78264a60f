"""Which faults a clip shows: the fewest that explain its lights, and which wirings it cannot tell from those."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from patcher.clip.hues import UNKNOWN, Hues
from patcher.clip.registration import Points
from patcher.errors import PatcherError
from patcher.faults import Departures, Fault, build
from patcher.film.against import Against
from patcher.film.candidates import Candidates
from patcher.film.evidence import Evidence
from patcher.film.fit import Fit, Slack
from patcher.film.guesses import PRIOR, Guess, kind, seldom, with_guess
from patcher.film.rivals import groups, rivals
from patcher.film.shown import DARK, Shown, alike

Bits = NDArray[np.bool_]

MOST = 24
"""So many faults are looked for."""
SLIP = 5.0
"""What speaks against a count that is off somewhere in a run."""
MARGIN = 9.0
"""A wiring that the lights speak against by so much less than against another is not told from it."""
SMALL = ("missing", "replaced", "dark-channel", "dark")
MOVES = ("missing", "replaced")
"""Faults at a pixel that may change all that comes behind it."""
OF_DARK = ("dead", "cut", "dark")
BROKEN = "flicker"
"""Goes with any light, and so with a branch's or a window's: it must explain much."""
QUIET, GLOWS = 0.3, 3.0
"""Dark pixels of which a greater part blinks are not held to be dark; points around a light in which everything
does."""
WAYS, UNEXPLAINED = 5, 25.0
"""So many explanations are followed side by side, where so much speaks against what was found one by one."""
STRANGE_EACH = 0.5
"""So much may speak against the wiring of a run for each of its pixels, and not less than what is unexplained: a branch
or a window before it does that; against more, the run is not held to be known."""
MOSTLY = 2.0
"""A fault of a strange run is named that explains so many times as much as is left unexplained."""
WORST = 6
"""So many runs, those against whose wiring most speaks, are looked at in one go."""


@dataclass(frozen=True, eq=False)
class Explained:
    """What a clip says of the wiring.

    Attributes:
        faults: that explain it.
        named: those of them that are known: the others explain nothing but strange runs.
        wired: what each run plays with them.
        fits: how each run goes with the lights then.
        plan_hue: the colour that each pixel should play in each segment, as planned.
        cost: what speaks against all of that, as a logarithm.
        left: what of it speaks against single runs with which something is wrong nevertheless.
        strange: the runs whose lights go with none of that.
        doubts: works out `unsure`, which takes long.
    """

    faults: tuple[Fault, ...]
    named: tuple[Fault, ...]
    wired: Mapping[str, Shown]
    fits: Mapping[str, Fit]
    plan_hue: Mapping[str, Hues]
    cost: float
    left: float
    strange: frozenset[str] = frozenset()
    doubts: Callable[[], Mapping[str, Bits]] = dict

    @cached_property
    def unsure(self) -> Mapping[str, Bits]:
        """For each run the pixels that another wiring, which the lights do not rule out, would let take other data:
        shape (pixels,).
        """
        return self.doubts()

    @property
    def odd(self) -> frozenset[str]:
        """The runs of which much is unexplained."""
        return frozenset(run for run, own in self.fits.items() if own.odd > UNEXPLAINED)


class Search:
    """Looks for the faults that explain a clip."""

    def __init__(
        self, seen: Evidence, slack: Mapping[str, tuple[Evidence, Slack]], departures: Departures | None = None
    ) -> None:
        self._seen, self._slack = seen, slack
        self._speaks = Against(seen, slack)
        self._departures = departures or Departures(seen.plan)
        self._candidates = Candidates(seen, slack)

    def explained(self, *, together: bool = True) -> Explained:
        """The faults that explain the lights best, found one by one; and side by side, where those leave much."""
        faults, wired = self._one_by_one((), self._speaks.wired({}))
        faults, wired = self._exchanged(*self._pruned(faults, wired))
        if together and self._left(wired) > UNEXPLAINED:
            other = self._together()
            if self._speaks.against(other.faults, other.wired) < self._speaks.against(faults, wired):
                faults, wired = self._pruned(*self._one_by_one(other.faults, other.wired))
        faults, wired = self._without_dark(faults, wired)
        fits = {run: self._speaks.fit(run, own) for run, own in wired.items()}
        hue = {run: own.hue for run, own in self._speaks.wired({}).items()}
        cost = self._speaks.against(faults, wired)

        def doubts() -> dict[str, Bits]:
            nothing = {run: np.ones(len(own.pixel), dtype=bool) for run, own in wired.items()}
            return nothing if foreign else {run: self._unsure(run, wired[run], fits[run]) for run in wired}

        foreign = self._speaks.foreign(wired)
        strange = frozenset(
            run for run, own in fits.items() if foreign or own.odd > max(UNEXPLAINED, STRANGE_EACH * len(own.row))
        )  # fmt: skip
        named = () if foreign else tuple(fault for fault in faults if self._known(fault, faults, wired, strange))
        return Explained(faults, named, wired, fits, hue, cost, self._left(wired), strange, doubts)

    def sure(self, found: Explained) -> tuple[Fault, ...]:
        """The faults without each of which much more is unexplained."""
        return tuple(
            fault for fault in found.faults
            if (without := self._without(fault, found.faults)) is None
            or self._speaks.whole(without) - self._speaks.whole(found.wired) > UNEXPLAINED
        )  # fmt: skip

    def _without(self, fault: Fault, faults: tuple[Fault, ...]) -> dict[str, Shown] | None:
        """What each run plays without one of the faults; None where the others make no sense then."""
        with suppress(PatcherError):
            return self._speaks.wired(self._departures.of(tuple(one for one in faults if one != fault)).takes)
        return None

    def _known(
        self, fault: Fault, faults: tuple[Fault, ...], wired: Mapping[str, Shown], strange: frozenset[str]
    ) -> bool:
        """Whether one of the faults explains much in runs that are not strange; or as much as it changes, and changes
        none that is; or most of what is strange.
        """
        without = self._without(fault, faults)
        if without is None:
            return not strange
        changed = {run for run in wired if not alike(without[run], wired[run])}
        known = changed - strange
        gain = self._speaks.cost(without, known) - self._speaks.cost(wired, known)
        pixels = sum(int((without[run].pixel != wired[run].pixel).sum()) for run in known)
        if gain > UNEXPLAINED or (known == changed and gain > pixels and fault.kind != BROKEN):
            return True
        left = sum(self._speaks.held(run, wired[run])[1] for run in changed)
        return self._speaks.cost(without, changed) - self._speaks.cost(wired, changed) > UNEXPLAINED + MOSTLY * left

    def _one_by_one(
        self, faults: tuple[Fault, ...], wired: dict[str, Shown]
    ) -> tuple[tuple[Fault, ...], dict[str, Shown]]:
        """With one fault more again and again, as long as one explains the lights better."""
        while len(faults) < MOST:
            faults, wired = self._moved(faults, wired)
            best = self._best(faults, wired)
            if best is None:
                break
            faults, wired = best
        return faults, wired

    def _left(self, wired: Mapping[str, Shown]) -> float:
        """What speaks against the wiring of the runs with which something is wrong."""
        return sum(odd for run, own in wired.items() if (odd := self._speaks.held(run, own)[1]) > PRIOR)

    def _best(
        self, faults: tuple[Fault, ...], wired: Mapping[str, Shown]
    ) -> tuple[tuple[Fault, ...], dict[str, Shown]] | None:
        """One fault more, where one explains the lights better."""
        found = self._better(faults, wired, 1)
        return (found[0].faults, found[0].wired) if found else None

    def _better(self, faults: tuple[Fault, ...], wired: Mapping[str, Shown], most: int) -> list[Guess]:
        """The faults that explain the lights better if there is one more, the best first: of those that look the same
        one, and of each kind one.
        """
        bad = sorted(
            (run for run in wired if self._bad(run, wired[run])), key=lambda run: -self._speaks.held(run, wired[run])[1]
        )
        best: list[Guess] = []
        before = self._speaks.unexplained(wired)
        for more in self._candidates.of(bad[:WORST], wired, faults):
            tried = self._with((*faults, *more))
            if tried is None:
                continue
            changed = [run for run in wired if not alike(tried[run], wired[run])]
            rare, least = sum(map(seldom, more)), best[-1].gain if len(best) == most else 0.0
            gain = rare + self._gain(wired, tried, changed, least - rare + before) - before if changed else 0.0
            if gain < least:
                best = with_guess(best, Guess(gain, (*faults, *more), tried))
                best = [one for number, one in enumerate(best) if kind(one) not in map(kind, best[:number])][:most]
        return best

    def _together(self) -> Guess:
        """The faults that explain the lights best, several ways followed side by side: of two that belong together
        neither may be the best by itself.
        """
        ways = [Guess(0.0, (), self._speaks.wired({}))]
        best = ways[0]
        while ways and len(ways[0].faults) < MOST:
            every: list[Guess] = []
            for way in ways:
                for one in self._better(way.faults, way.wired, WAYS):
                    faults, wired = self._moved(one.faults, one.wired)
                    gain = way.gain + one.gain + self._speaks.whole(wired) - self._speaks.whole(one.wired)
                    every = with_guess(every, Guess(gain, faults, wired))
            ways = every[:WAYS]
            best = min([best, *ways], key=lambda way: way.gain)
        return best

    def _gain(
        self, wired: Mapping[str, Shown], tried: Mapping[str, Shown], changed: Sequence[str], least: float
    ) -> float:
        """What speaks against another wiring, less what spoke against the runs that it changes; not worked out to the
        end where it is no less than `least`.
        """
        gain = self._speaks.unexplained(tried) - self._speaks.cost(wired, changed)
        for run in sorted(changed, key=lambda run: len(wired[run].pixel)):
            gain += self._speaks.cost_of(run, tried[run])
            if gain >= least:
                return gain
        return gain

    def _with(self, faults: tuple[Fault, ...]) -> dict[str, Shown] | None:
        with suppress(PatcherError):
            build(self._seen.plan.wiring, faults)
            return self._speaks.wired(self._departures.of(faults).takes)
        return None

    def _bad(self, run: str, wired: Shown) -> bool:
        return self._speaks.held(run, wired)[1] > PRIOR

    def _exchanged(
        self, faults: tuple[Fault, ...], wired: dict[str, Shown]
    ) -> tuple[tuple[Fault, ...], dict[str, Shown]]:
        """With another fault in the place of one, where that explains the lights better: the first that was found may
        have been the second best.
        """
        for fault in faults:
            if fault.kind in SMALL or not any(self._bad(run, own) for run, own in wired.items()):
                continue
            others = tuple(one for one in faults if one != fault)
            with suppress(PatcherError):
                without = self._speaks.wired(self._departures.of(others).takes)
                best = self._best(others, without)
                if best is not None and self._speaks.whole(best[1]) < self._speaks.whole(wired) - 1.0:
                    faults, wired = self._one_by_one(*best)
        return faults, wired

    def _moved(self, faults: tuple[Fault, ...], wired: dict[str, Shown]) -> tuple[tuple[Fault, ...], dict[str, Shown]]:
        """With faults that change what comes behind a pixel at another one, where that explains the lights better: what
        else is wrong with a run may have hidden which it was.
        """
        for number, fault in enumerate(faults):
            run, _, text = fault.where.partition("/")
            if fault.kind not in MOVES or run not in wired or not self._bad(run, wired[run]):
                continue
            pixel, step = int(text), len(wired[run].pixel) // 2
            while step:
                tried = [
                    (*faults[:number], replace(fault, where=f"{run}/{at}"), *faults[number + 1 :])
                    for at in (pixel - step, pixel + step) if 1 <= at <= len(wired[run].pixel)
                ]  # fmt: skip
                better = self._best_of(tried, wired)
                if better is None:
                    step //= 2
                else:
                    faults, wired = better
                    pixel = int(faults[number].where.partition("/")[2])
            around = self._candidates.around(faults[number])
            faults, wired = self._best_of(
                [(*faults[:number], one, *faults[number + 1 :]) for one in around], wired
            ) or (faults, wired)  # fmt: skip
        return faults, wired

    def _best_of(
        self, tried: Iterable[tuple[Fault, ...]], wired: dict[str, Shown]
    ) -> tuple[tuple[Fault, ...], dict[str, Shown]] | None:
        """Those of some faults that explain the lights best, where they do it better than what is held to play."""
        best, least = None, self._speaks.whole(wired)
        for faults in tried:
            own = self._with(faults)
            if own is not None and (whole := self._speaks.whole(own)) < least:
                best, least = (faults, own), whole
        return best

    def _pruned(self, faults: tuple[Fault, ...], wired: dict[str, Shown]) -> tuple[tuple[Fault, ...], dict[str, Shown]]:
        """Without faults that explain nothing once the others are there."""
        for fault in faults:
            others = tuple(one for one in faults if one != fault)
            with suppress(PatcherError):
                tried = self._speaks.wired(self._departures.of(others).takes)
                changed = [run for run in wired if not alike(tried[run], wired[run])]
                less = self._speaks.unexplained(wired) - self._speaks.unexplained(tried) + seldom(fault)
                if self._speaks.cost(tried, changed) <= self._speaks.cost(wired, changed) + less:
                    faults, wired = others, tried
        return faults, wired

    def _without_dark(
        self, faults: tuple[Fault, ...], wired: dict[str, Shown]
    ) -> tuple[tuple[Fault, ...], dict[str, Shown]]:
        """Without faults that let pixels be dark which blink, though nobody can read how, or are not in the picture."""
        for fault in [fault for fault in faults if fault.kind in OF_DARK]:
            others = tuple(one for one in faults if one != fault)
            tried = self._speaks.wired(self._departures.of(others).takes)
            blinks: list[Bits] = []
            for run, own in tried.items():
                dark = (own.pixel >= 0) & (wired[run].pixel == DARK)
                if dark.any():
                    blinks.append(self._blinks(self._speaks.fit(run, wired[run]).places[dark], run))
            if not blinks or np.concatenate(blinks).mean() > QUIET:
                faults, wired = others, tried
        return faults, wired

    def _blinks(self, places: Points, run: str) -> Bits:
        """Whether something blinks at places of a run, be it their own light or not; what is not in the picture
        might.
        """
        seen, _ = self._slack[run]
        at = seen.map.picture(places)
        away, _ = cKDTree(seen.lights.at).query(at)
        found: Bits = (seen.blinks(at) & (away > GLOWS)) | ~seen.inside(at)
        return found

    def _unsure(self, run: str, wired: Shown, own: Fit) -> Bits:
        """The pixels that another wiring of the run would let take other data, and goes with the lights nearly as
        well.
        """
        found = np.zeros(len(wired.pixel), dtype=bool)
        if not own.goes_well():
            return ~found
        group = groups(self._seen.places[run])
        here = {*zip(group.tolist(), wired.pixel.tolist(), strict=True)}
        for pixel in rivals(wired.pixel, own.close, self._candidates.read_there(run), len(self._seen.code.first) - 1):
            # Pixels that hang in one place light there, whichever of them it is.
            differs = np.array([pair not in here for pair in zip(group.tolist(), pixel.tolist(), strict=True)])
            if (found | ~differs).all():
                continue
            hue = np.where((pixel != wired.pixel)[:, None], np.int8(UNKNOWN), wired.hue)
            other = self._speaks.fit(run, Shown(pixel, hue, wired.mixed))
            if other.cost + SLIP < own.cost + MARGIN:
                found |= differs
        return found
