"""What must be seen before a class is believed: all that lights, in every colour, and what no known fault would change.

A class that explains every answer so far may still be wrong where nobody has looked. So two pixels step along all that
lights, all that the class speaks of is shown in each of its colours, the pixels around a faulty one are read by
themselves, and what seems dark is looked at while all else is lit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.hypotheses import Hypothesis, chain_of
from patcher.diagnosis.pair_pool import Told
from patcher.diagnosis.question_frame import Candidate, Frame, fed_as
from patcher.diagnosis.questions import Repertoire, ends_of
from patcher.diagnosis.scene import Scene
from patcher.diagnosis.views import see
from patcher.eye import LINE, NEVER, Ask, Eye, few
from patcher.faults.fault import AT_A_PIXEL
from patcher.trade import CHANNELS, HIGHEST_UNIVERSE

Asked = tuple[Frame, Ask]

SURELY = 0.999


@dataclass(frozen=True, eq=False)
class Class:
    """A class of hypotheses, as what its runs take.

    Attributes:
        scene: the scene that it is one of.
        number: which of them.
        faults: its likeliest hypothesis.
    """

    scene: Scene
    number: int
    faults: Hypothesis

    def takes(self, runs: Iterable[str]) -> dict[str, NDArray[np.int64]]:
        """What the pixels of some runs take, as running channels: shape (pixels, channels)."""
        numbers = np.append(self.scene.numbers, [-1, -1])
        found = {}
        for run in runs:
            variants = self.scene.variants[run]
            found[run] = numbers[variants.index[:, variants.of[self.number]]].T
        return found

    def fed(self, run: str, candidates: Iterable[Candidate]) -> list[Candidate]:
        """Candidates for a run that is fed as the class has it; those of which nothing would light are left out."""
        if not self.scene.variants[run].of[self.number]:
            return list(candidates)
        believed = self.takes([run])[run].ravel()
        planned = self.scene.plan.takes[run].astype(np.int64).ravel()
        fed = [fed_as(one, planned, believed) for one in candidates]
        return [one for one in fed if one is not None]


@dataclass(frozen=True, eq=False)
class Coverage:
    """What was seen of a thing, and what must be before a class is believed.

    Attributes:
        scene: the scene of the thing.
        eye: the eye that answers.
        repertoire: what can be shown.
        top: the class.
        heard: what was answered, but for "can't tell".
        used: frames and asks that were asked.
    """

    scene: Scene
    eye: Eye
    repertoire: Repertoire
    top: Class
    heard: Sequence[Told]
    used: set[tuple[int, Ask | None]]

    def next(self) -> Asked | None:
        """The next question; None where all was seen."""
        return self.followed() or self._compared() or self._read() or self._both_ends() or self._dark()

    @property
    def _runs(self) -> list[str]:
        return [run for run in self.scene.runs if run in self.scene.variants]

    @property
    def _claimed(self) -> list[str]:
        """The runs of the thing, and those that the class says are not as planned."""
        changed = (run for run, own in self.top.scene.variants.items() if own.of[self.top.number])
        return list(dict.fromkeys((*self._runs, *changed)))

    def followed(self) -> Asked | None:
        """Two pixels that step along what lights and was not stepped along yet."""
        found = [(one.frame, one.asks[0]) for one in self._ways()]
        return next((one for one in found if (one[0].key, one[1]) not in self.used), None)

    def _ways(self) -> Iterator[Candidate]:
        """Two pixels side by side along all that lights, one run after the other and then along each tee, but for what
        they went along: they leave few faults unseen. One pixel where no two light so.
        """
        scene, seen = self.top.scene, self._went_along()
        wiring = scene.plan.wiring
        groups: dict[tuple[str, int], dict[str, tuple[NDArray[np.int64], NDArray[np.int64]]]] = {}
        for port in dict.fromkeys(wiring.ports[run] for run in self._claimed):
            hung = [run for run in chain_of(wiring, port) if run in scene.variants]
            for run, takes in self.top.takes(hung).items():
                planned, along = self.repertoire.along(run, takes)
                new = ~np.isin(_codes(along), seen)
                if new.any():
                    group = "" if wiring.show.runs[run].same_data_as is None else run
                    groups.setdefault((group, along.shape[1]), {})[run] = planned[new], along[new]
        for steps in groups.values():
            yield from self.repertoire.followed(steps)

    def _went_along(self) -> NDArray[np.int64]:
        """The codes of the steps of what went along and was never otherwise than it should be."""
        never = [
            one for one in self.heard
            if one.ask.kind in ("vanish", "together") and one.ask.answers[one.answer] in NEVER
        ]  # fmt: skip
        return np.concatenate([_codes(one.frame.stacked) for one in never] or [np.empty(0, dtype=np.int64)])

    def _compared(self) -> Asked | None:
        """All that the class speaks of in each of its colours, fed as it has it, where not all was seen so yet."""
        one = self.repertoire.alike(self.top.takes(self._claimed))
        if one is None:
            return None
        compared = [told for told in self.heard if told.ask.kind == "alike" and (told.ask.steady or not told.answer)]
        lit = np.concatenate([np.empty(0, dtype=np.int64), *(step for told in compared for step in told.frame.held)])
        if all(np.isin(step, lit).all() for step in one.frame.held):
            return None
        every, steady = one.asks
        # What the class has dark or flickering would hide what is wrong beside it
        sound = see(self.top.scene, self.eye, one.frame, every, np.array([self.top.number]))[0][0] > SURELY
        ask = every if sound else steady
        return None if (one.frame.key, ask) in self.used else (one.frame, ask)

    def _read(self) -> Asked | None:
        """The four pixels around a faulty one, by themselves, where they were not read yet: what else is wrong there
        than a class says shows as a gap more or less. On a grid, where no gap is read: two of them, as they step over
        the faulty one.
        """
        for fault in self.top.faults:
            if fault.kind in AT_A_PIXEL:
                grid = self.scene.quarters.get(fault.pixel[0]) is not None
                asked = self._over(*fault.pixel) if grid else self._around(*fault.pixel)
                if asked is not None:
                    return asked
        return None

    def _around(self, run: str, pixel: int) -> Asked | None:
        pixels = self.top.scene.variants[run].pixels
        near = [n for n in (pixel - 2, pixel - 1, pixel + 1, pixel + 2) if 0 <= n < pixels]
        parts = {c: np.array([n]) for c, n in zip(self.repertoire.painter.colours(run), near, strict=False)}
        for one in self.top.fed(run, [self.repertoire.shown(run, parts)] if len(parts) > 1 else []):
            if (one.frame.key, None) not in self.used:
                return self._sight([run], one.frame, least=2)
        return None

    def _over(self, run: str, pixel: int) -> Asked | None:
        """Two pixels side by side before the faulty one, two behind it, and one before with one behind it: whether
        those are side by side is another thing if all behind the faulty one are fed a pixel off.
        """
        takes, places = self.top.takes([run])[run][:, 0], self.scene.places[run]

        def beside(one: int) -> NDArray[np.bool_]:
            return np.isin(np.abs(places - places[one]), (1, LINE))

        own = beside(pixel - 1)
        told = np.flatnonzero(own[1:] != own[:-1]) + 1
        told = told[(told > pixel) & (takes[told] >= 0)]
        if pixel < 1 or takes[pixel - 1] < 0 or not len(told):
            return None
        twos = [(pixel - 1, int(told[0]))]
        for one in (pixel + 1, pixel - 2):
            if 0 <= one < len(takes) - 1 and takes[one : one + 2].min() >= 0 and beside(one)[one + 1]:
                twos.insert(0, (one, one + 1))
        found = self.repertoire.over(run, self.top.takes([run])[run], twos)
        return None if (found.frame.key, found.asks[0]) in self.used else (found.frame, found.asks[0])

    def _both_ends(self) -> Asked | None:
        """The first two and the last two pixels that light on each run of the thing, where the class has two faults: a
        pair may explain what moves in the middle of a run, and not at its ends.
        """
        for run, takes in self.top.takes(self._runs).items() if len(self.top.faults) > 1 else ():
            one = self.repertoire.several({run: takes}, {run: ends_of(takes)})
            if one is None or (one.frame.key, None) in self.used:
                continue
            if (asked := self._sight([run], one.frame, least=2)) is not None:
                return asked
        return None

    def _dark(self) -> Asked | None:
        """All that the show sends, but for what some runs take, where the class says that something of them is dark: it
        may take another's data.
        """
        claimed = self.top.takes(self._claimed)
        dark = [run for run, takes in claimed.items() if (takes < 0).any()]
        if not dark:
            return None
        return self._sight(dark, self.repertoire.but_for(dark, np.concatenate([claimed[run].ravel() for run in dark])))

    def _sight(self, runs: Sequence[str], frame: Frame, least: int = 0) -> Asked | None:
        """Whether few pixels of some runs show what the class says of them; None where that was asked already, or
        where so few light that there is nothing to read.
        """
        scene, sights = self.top.scene, []
        quarters = tuple(self.scene.quarters.get(run) for run in runs)
        for run, own in zip(runs, quarters, strict=True):
            variants = scene.variants[run]
            index = variants.index[:, variants.of[self.top.number]][:, None]
            sights += self.eye.reads(variants.shades(scene.on(frame.steps[0]), index), own)
        ask = few(tuple(runs), (tuple(sights),), quarters)
        return None if max(map(len, sights)) < least or (frame.key, ask) in self.used else (frame, ask)


def _codes(steps: NDArray[np.int64]) -> NDArray[np.int64]:
    """A number for each step of one channel or of two."""
    return steps[:, 0] * (HIGHEST_UNIVERSE * CHANNELS) + steps[:, -1]
