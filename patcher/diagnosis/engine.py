"""The reasoning: one belief over everything that could be wrong, and the question that tells most for its price.

The engine never sees a pixel. From the first question on any answer may be wrong, and there may be two faults. Before
it ends, two pixels step along all that lights, and all else is asked that must be seen before a class is believed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.any_number import explaining
from patcher.diagnosis.coverage import Class, Coverage
from patcher.diagnosis.hypotheses import Hypothesis
from patcher.diagnosis.information import WORTHLESS, Belief, Weighed, entropy_bits, same_as_first, sampled, weighed
from patcher.diagnosis.pair_pool import Pairs, Told
from patcher.diagnosis.posterior import MISFIT, Posterior, posterior
from patcher.diagnosis.question_frame import Candidate, Frame
from patcher.diagnosis.questions import Repertoire, ends_of, narrowing
from patcher.diagnosis.scene import Scene
from patcher.diagnosis.unknown import Known, places
from patcher.diagnosis.views import see
from patcher.eye import CANNOT_TELL, Ask, Chances, Eye

Asked = tuple[Frame, Ask]

SURE, SURER = 0.98, 0.998
"""Belief in what looks alike, from which on it is named; the second where it is asked to be careful."""
FOLLOWED = 0.5
"""Belief in what looks alike, from which on two pixels step along all that lights."""
SAMPLE = 100
"""Classes on which questions are weighed; more are drawn from the belief."""
CLOSELY = 2
"""Runs that are looked at closely at a time: those on which the belief is split most."""
SEVERAL = 2
"""So many runs are read at a time."""
COMPARED = 100
"""Classes at most that are compared with the likeliest one, question by question."""
AGAIN, DOUBTFUL = 2, 0.02
"""So often the same is asked, where the likeliest class does not explain the answer; once more while something else is
that likely."""
NUMBERS_FROM = 12
"""Answers from which on typed numbers of any size are thought of, where no single fault explains them: it takes a
second, and most pairs are found sooner."""
CONFIRMED = 3
"""So many questions that were answered twice alike, and otherwise than the likeliest class explains, are enough: it is
something else."""


class Engine:
    """A diagnosis as numbers. Classes are counted through those of the scene, then those of the pool of pairs.

    Attributes:
        scene: the classes of single faults, and of none.
        eye: the eye that answers.
        careful: whether it is to be surer than usual.
        told: what the eye has said.
        done: the classes that are left, none of which any question tells from the others; None while there is more to
            ask.
        sure: whether the belief in them is as high as it should be.
        something_else: whether none of the known faults is believed; then `done` is the nearest of them.
        known: where something else begins and ends, as far as it was asked.
    """

    def __init__(self, scene: Scene, eye: Eye, *, careful: bool = False) -> None:
        self.eye = eye
        self.careful = careful
        self.done: NDArray[np.int64] | None = None
        self.sure = False
        self.something_else = False
        self.known: tuple[Known, ...] = ()
        self._used: set[tuple[int, Ask | None]] = set()
        self._tried = 0
        self._think_of(scene)

    def _think_of(self, scene: Scene, told: Sequence[Told] = ()) -> None:
        """Begin to reason over a scene, with what was said before."""
        self.scene = scene
        self.told: list[Told] = []
        self._repertoire = Repertoire(scene)
        self._pairs = Pairs(scene, self.eye)
        self._posterior: Posterior | None = None
        self._answers = -1
        for one in told:
            self.tell(one.frame, one.ask, one.answer)

    @property
    def posterior(self) -> Posterior:
        """How likely everything is after what was said."""
        if self._posterior is None or self._answers != len(self.told):
            self._posterior = posterior(self.scene, self._pairs, self.told, self._posterior)
            self._answers = len(self.told)
        return self._posterior

    def members(self, number: int) -> tuple[Hypothesis, ...]:
        """The hypotheses of a class, the likeliest first."""
        ((scene, numbers),) = self._scenes(np.array([number]))
        return scene.classes[int(numbers[0])]

    def next(self) -> Asked | None:
        """The question to ask now; None where nothing is left to ask."""
        if self.done is not None:
            return None
        now = self.posterior
        lost = now.unknown >= SURE or now.confirmed >= CONFIRMED
        if (lost or (now.contradicted and len(now.heard) >= NUMBERS_FROM)) and self._thinks_of_numbers(final=lost):
            return self.next()
        if lost:
            return self._unexplained(now)
        best, alike = self._best(now)
        believed = float(now.belief[alike].sum()) * (1 - now.unknown)
        if (question := self._asked(now, best, believed) or self._doubted(now, alike, believed)) is not None:
            return question
        if now.unknown > 0.5 or now.confirmed:
            return self.next() if self._thinks_of_numbers(final=True) else self._unexplained(now)
        singles = alike[alike < len(self.scene.classes)]
        self.done = singles if len(singles) else alike
        self.sure = believed >= SURE and not now.strained
        return None

    def _asked(self, now: Posterior, best: Weighed | None, believed: float) -> Asked | None:
        """What is asked while it may be a known fault: the best question until enough is believed, then all that must
        be seen before it is, then again what was not expected.
        """
        coverage = Coverage(self.scene, self.eye, self._repertoire, self._class(now.likeliest), now.heard, self._used)
        # Pairs replace each other as the likeliest, and each has pixels of its own: those are followed at the end
        if believed >= FOLLOWED and not now.contradicted and (steps := coverage.followed()) is not None:
            return steps
        if best is not None and believed < self._enough:
            again = self._again(now) if now.unknown > DOUBTFUL and len(now.misfits) > 1 else None
            return again or (best.frame, best.ask)
        return coverage.next() or self._again(now)

    @property
    def _enough(self) -> float:
        return SURER if self.careful else SURE

    def _best(self, now: Posterior) -> tuple[Weighed | None, NDArray[np.int64]]:
        """The question that tells most for its price, None where none tells anything; and the classes that no question
        tells from the likeliest. Where those are believed, or nothing tells, every run and class is looked at.
        """
        for thorough in (False, True):
            alike = now.alike if thorough else now.alike[:COMPARED]
            compared = len(alike)
            chosen, weight = sampled(now.belief, SAMPLE, alike)
            runs = self._focus(chosen, weight)
            candidates = self._candidates(runs if thorough else runs[:CLOSELY], now)
            found = weighed(self.eye, self._scenes(chosen), candidates, self._used, weight, now.doubt)
            alike = alike[same_as_first(found, np.searchsorted(chosen, alike))]
            best = max(found, key=lambda question: question.worth, default=None)
            best = best if best is not None and best.bits >= WORTHLESS else None
            believed = float(now.belief[alike].sum()) * (1 - now.unknown)
            if (best is not None and believed < self._enough) or (compared == len(now.alike) and len(runs) <= CLOSELY):
                break
        return best, alike

    def _again(self, now: Posterior) -> Asked | None:
        """A question whose answer the likeliest class does not explain, to be asked again; None where there is none: an
        eye that slipped says something else the second time.
        """
        most, often = AGAIN + (now.unknown > DOUBTFUL), Counter(told.asked for told in now.heard)
        return next(((told.frame, told.ask) for told in now.misfits if often[told.asked] < most), None)

    def _doubted(self, now: Posterior, alike: NDArray[np.int64], believed: float) -> Asked | None:
        """The question that told the likeliest class from its nearest rival, to be asked again, where one slip of the
        eye could have ruled the rival out and nothing else tells them apart; None where there is none.
        """
        others = np.setdiff1d(np.arange(len(now.belief)), alike)
        if believed >= self._enough or not len(others):
            return None
        rival, often = int(others[now.belief[others].argmax()]), Counter(told.asked for told in now.heard)
        against = now.chances[rival] / np.maximum(now.chances[now.likeliest], MISFIT)
        told = [now.heard[place] for place in np.argsort(against, kind="stable").tolist() if against[place] < MISFIT]
        return next(((one.frame, one.ask) for one in told if often[one.asked] < AGAIN), None)

    def _thinks_of_numbers(self, *, final: bool) -> bool:
        """Whether typed numbers of any size explain every answer; then it goes on with those. It is tried once on the
        way, and once where nothing else explains what was said.
        """
        if self._tried > final:
            return False
        self._tried = 1 + final
        wide = explaining(self.scene, self.eye, self.told)
        if wide is not None:
            self._tried = 2
            self._think_of(wide, self.told)
        return wide is not None

    def _unexplained(self, now: Posterior) -> Asked | None:
        """None of the known faults: the question that tells where it begins and ends; None where that is known."""
        self.known, question = places(self._repertoire, self.scene.runs, self.told)
        if question is None:
            self.done, self.sure, self.something_else = np.array([now.likeliest]), False, True
        return question

    def tell(self, frame: Frame, ask: Ask, answer: int) -> None:
        """Take an answer, by its place among the ask's."""
        self._used |= {(frame.key, ask), (frame.key, None)} if ask.kind == "few" else {(frame.key, ask)}
        chances = plain = np.ones(len(self.scene.classes))
        if ask.answers[answer] != CANNOT_TELL:
            every = np.arange(len(self.scene.classes))
            chances = plain = self.looks(frame, ask, every)[:, answer]
            if frame.plain is not None and frame.plain.key != frame.key:
                plain = self.looks(frame.plain, ask, every)[:, answer]
        self.told.append(Told(frame, ask, answer, chances, plain))

    def looks(self, frame: Frame, ask: Ask, classes: NDArray[np.int64]) -> Chances:
        """How likely each answer is under some classes of the scene: shape (classes, answers)."""
        return see(self.scene, self.eye, frame, ask, classes)

    def _class(self, number: int) -> Class:
        ((scene, numbers),) = self._scenes(np.array([number]))
        return Class(scene, int(numbers[0]), self.members(number)[0])

    def _scenes(self, chosen: NDArray[np.int64]) -> list[tuple[Scene, NDArray[np.int64]]]:
        """The scenes of some classes, each with those that are its own, by its own numbers."""
        single = len(self.scene.classes)
        found = [(self.scene, chosen[chosen < single])]
        if self.posterior.pool is not None:
            found.append((self.posterior.pool.scene, chosen[chosen >= single] - single))
        return [(scene, numbers) for scene, numbers in found if len(numbers)]

    def _candidates(self, runs: list[str], now: Posterior) -> list[Candidate]:
        """What could be asked: of each of some runs, of the ends of several, and whether all is alike."""
        found: list[Candidate] = []
        likely = np.flatnonzero(now.belief > now.belief[now.likeliest] * 1e-6)
        for run in runs:
            found += self._repertoire.fixed(run)
            variants = [(scene.variants[run], numbers) for scene, numbers in self._scenes(likely)]
            first = np.concatenate([each.first[each.of[numbers]] for each, numbers in variants])
            count = np.concatenate([each.count[each.of[numbers]] for each, numbers in variants])
            found += self._narrowing(run, first, count, now.belief[likely])
            found += [*self._repertoire.ends_off(run), *self._fed(run, likely, now)]
        planned = {run: self.scene.plan.takes[run].astype(np.int64) for run in self.scene.runs}
        every = self._repertoire.alike(planned)
        return [*found, *self._several(runs, now), *([every] if every else [])]

    def _narrowing(
        self, run: str, first: NDArray[np.int64], count: NDArray[np.int64], weight: Belief
    ) -> list[Candidate]:
        """Frames that narrow the place of a fault, from the first pixel that it changes and how many it changes."""
        placed = first >= 0
        if not placed.any():
            return []
        # Another part of a colour each time, spread evenly between −½ and ½
        moved = (len(self.told) * 0.618034) % 1.0 - 0.5
        return list(narrowing(self._repertoire, run, first[placed], count[placed] == 1, weight[placed], moved))

    def _fed(self, run: str, likely: NDArray[np.int64], now: Posterior) -> list[Candidate]:
        """Frames for a run that is fed as the likeliest class has it; and frames that narrow the place of one of two
        faults, for a run that is fed as the other has it, where that is in most of the pairs.
        """
        single = len(self.scene.classes)
        found = self._class(now.likeliest).fed(run, self._repertoire.proving(run))
        pairs = likely[likely >= single]
        if now.pool is None or not len(pairs):
            return found
        variants, weight = self.scene.variants[run], now.belief[pairs]
        parts = now.pool.parts[pairs - single]
        common = int(np.bincount(parts.ravel(), weights=np.repeat(weight, 2)).argmax())
        other = np.where(parts[:, 0] == common, parts[:, 1], parts[:, 0])
        which = variants.of[self._pairs.class_of[other]]
        closer = self._narrowing(run, variants.first[which], variants.count[which], weight)
        return [*found, *self._class(int(self._pairs.class_of[common])).fed(run, closer)]

    def _several(self, runs: list[str], now: Posterior) -> list[Candidate]:
        """The ends of several runs at once, as planned and as is believed, some runs first."""
        names = list(dict.fromkeys([*runs, *self.scene.variants]))[:SEVERAL]
        planned = {run: self.scene.plan.takes[run].astype(np.int64) for run in names}
        found = [
            self._repertoire.several(takes, {run: ends_of(each) for run, each in takes.items()})
            for takes in (planned, self._class(now.likeliest).takes(names))
        ]
        return [candidate for candidate in found if candidate is not None]

    def _focus(self, chosen: NDArray[np.int64], weight: Belief) -> list[str]:
        """The runs on which the belief is split, those where most first."""
        spread = {}
        for run, variants in self.scene.variants.items():
            # A variant of the pool, but for the planned one, is another than each of the scene's
            of = [
                np.where(scene.variants[run].of[numbers] > 0, scene.variants[run].of[numbers] + shift, 0)
                for shift, (scene, numbers) in zip((0, variants.index.shape[1]), self._scenes(chosen), strict=False)
            ]
            spread[run] = entropy_bits(np.bincount(np.concatenate(of), weights=weight).astype(float))
        return sorted((run for run in spread if spread[run] > 0), key=lambda run: -spread[run])
