"""The reasoning: a belief over classes, the question that tells most for its price, and Bayes' rule.

The engine never sees a pixel. It *narrows* first: it trusts the eye, and thinks of one fault. When that leaves one
class alone, or none, it *proves*: it reckons with wrong answers, and with two faults at once, and goes on until what
looks alike is believed even so.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.coverage import Class, Coverage
from patcher.diagnosis.hypotheses import Hypothesis
from patcher.diagnosis.information import (
    WORTHLESS,
    Belief,
    Weighed,
    alike_of,
    best_of,
    ends,
    entropy,
    normalised,
    same_as_first,
    sampled,
    weighed,
)
from patcher.diagnosis.lookahead import best_first
from patcher.diagnosis.pair_pool import Pairs, Pool, Told, likelihood_of
from patcher.diagnosis.question_frame import Frame
from patcher.diagnosis.questions import Candidate, Repertoire, ends_of, narrowing
from patcher.diagnosis.scene import Scene
from patcher.diagnosis.unknown import Known, asked_again, log_weight, places
from patcher.diagnosis.views import see
from patcher.eye import CANNOT_TELL, Ask, Chances, Eye

DOUBT, LITTLE_DOUBT = 0.1, 0.04
"""The part of answers that are taken to be wrong while it proves: once they contradict every one fault, and before."""
SURE, SURER = 0.98, 0.998
"""Belief in what looks alike, from which on it is named; the second where it is asked to be careful."""
ENOUGH, NARROWED = 0.97, 0.9995
"""Belief of one who trusts, from which on it proves, and which it needs before it ends."""
SAMPLE, FEWER = 200, 100
"""Classes on which candidates are weighed, the second while it proves; more are drawn from the belief."""
FOCUS, FEWER_RUNS = 3, 2
"""Runs that are looked at more closely at a time, the second while it proves."""
SEVERAL = 2
"""So many runs are read at a time."""
AHEAD = 12
"""Down to so many classes the whole tree of questions is searched."""
LIVE = 1e-7
"""A class is left where the belief in it is at least that part of the belief in the likeliest."""
COHORT = 100
"""Classes at most that are held against the likeliest one, question by question."""
PAIR = 2.0
"""Two faults are met so often, against what their weights multiply to. No source: measured, so that pairs are found."""
MOST_WRONG = 0.25
"""What needs more than this part of the answers to be wrong is never sure."""
AGAIN, DOUBTFUL = 2, 0.02
"""So often the same is asked, where the likeliest class does not explain the answer; once more while something else is
that likely."""
CONFIRMED = 3
"""So many questions that were answered twice alike, and otherwise than the likeliest class explains, are enough: it is
something else."""
MISFIT = 0.01
"""An answer less likely than that contradicts a class."""


class Engine:
    """A diagnosis as numbers. Classes are counted through those of the scene, then those of the pool of pairs.

    Attributes:
        scene: the classes of single faults, and of none.
        eye: the eye that answers.
        careful: whether it is to be surer than usual.
        proves: whether it proves what it has narrowed; without, it ends there.
        narrowing: whether it still trusts, and thinks of one fault.
        told: what the eye has said.
        pool: pairs that fit, once it has narrowed.
        done: the classes that are left, none of which any question tells from the others; None while there is more to
            ask.
        sure: whether the belief in them is as high as it should be.
        something_else: whether none of the known faults is believed; then `done` is the nearest of them.
        known: where something else begins and ends, as far as it was asked.
    """

    def __init__(self, scene: Scene, eye: Eye, *, careful: bool = False, proves: bool = True) -> None:
        self.scene = scene
        self.eye = eye
        self.careful = careful
        self.proves = proves
        self.told: list[Told] = []
        self.pool: Pool | None = None
        self.done: NDArray[np.int64] | None = None
        self.sure = False
        self.something_else = False
        self.known: tuple[Known, ...] = ()
        self._repertoire = Repertoire(scene)
        self._used: set[tuple[int, Ask | None]] = set()
        self.narrowing = True
        self._pairs = Pairs(scene, eye) if proves else None
        self._asked_of_pool = -1

    @property
    def _heard(self) -> list[Told]:
        return [told for told in self.told if told.ask.answers[told.answer] != CANNOT_TELL]

    @property
    def _doubt(self) -> float:
        return DOUBT if self._contradicted() else LITTLE_DOUBT

    def members(self, number: int) -> tuple[Hypothesis, ...]:
        """The hypotheses of a class, the likeliest first."""
        classes = self.scene.classes
        if number < len(classes):
            return classes[number]
        assert self.pool is not None  # noqa: S101  (only the pool has such numbers)
        return self.pool.scene.classes[number - len(classes)]

    def trusted(self) -> Belief:
        """How likely each class of single faults is for one who trusts; sums to 1."""
        found, misfits = np.log(self.scene.prior), np.zeros(len(self.scene.prior), dtype=np.int64)
        for told in self._heard:
            misfits += told.chances < MISFIT
            found += np.log(np.maximum(told.chances, 1e-12))
        found[misfits > misfits.min()] = -np.inf
        return normalised(found)

    def belief(self) -> Belief:
        """How likely each class is; sums to 1."""
        if self.narrowing:
            return self.trusted()
        return normalised(self._all_logs())

    def unknown(self) -> float:
        """How likely it is that none of the classes is there."""
        if self.narrowing:
            return 0.0
        known = self._all_logs()
        most = float(known.max())
        other = (
            log_weight(self.scene.prior, self._heard, self._doubt) - most - float(np.log(np.exp(known - most).sum()))
        )
        return 1.0 / (1.0 + float(np.exp(-other)))

    def _all_logs(self) -> Belief:
        self._refill()
        own = self._logs()
        if self.pool is not None:
            pairs, likelihood = np.log(self.pool.scene.prior * PAIR), likelihood_of(self._doubt)
            for place, told in enumerate(self._heard):
                pairs += likelihood(told.ask, self.pool.chances[:, place])
            own = np.concatenate([own, pairs])
        return own

    def _logs(self) -> Belief:
        found, likelihood = np.log(self.scene.prior), likelihood_of(self._doubt)
        for told in self._heard:
            found += likelihood(told.ask, told.chances)
        return found

    def next(self) -> tuple[Frame, Ask] | None:
        """The question to ask now; None where nothing is left to ask."""
        if self.done is not None:
            return None
        if self.narrowing:
            if not self.proves or not self._contradicted():
                chosen = self._narrow()
                if chosen is not None or not self.proves:
                    return chosen
            self.narrowing = False
        return self._prove()

    def _narrow(self) -> tuple[Frame, Ask] | None:
        """The question that tells most for one who trusts; None where one class is left."""
        belief = self.trusted()
        chosen, weight = sampled(belief, SAMPLE)
        candidates = self._candidates(chosen, weight, belief, pairs=False)
        found = self._weighed(candidates, chosen, weight, 0.0)
        best, alike = best_of(found), alike_of(found, chosen, belief)
        enough = ENOUGH if self.narrowing and self.proves else NARROWED
        live = np.flatnonzero(belief > belief.max() * LIVE)
        if len(live) > len(chosen) and ends(best, alike, belief, enough):
            chosen, weight = live, belief[live] / belief[live].sum()
            found = self._weighed(candidates, chosen, weight, 0.0)
            best, alike = best_of(found), alike_of(found, chosen, belief)
        if best is None or ends(best, alike, belief, enough):
            if not self.proves:
                self.done, self.sure = alike, not self._contradicted()
            return None
        if 1 < len(live) <= AHEAD:
            best = best_first([one for one in found if one.bits >= WORTHLESS], belief[chosen]) or best
        return best.frame, best.ask

    def _prove(self) -> tuple[Frame, Ask] | None:
        """The question that tells most for one who doubts; None where what looks alike is believed, or none tells."""
        if not self._contradicted() and (dot := self._left(self.trusted()).followed()) is not None:
            return dot
        belief, unknown = self.belief(), self.unknown()
        if unknown >= SURE or self._confirmed(int(belief.argmax())) >= CONFIRMED:
            return self._unexplained(belief)
        for thorough in (False, True):
            best, alike, whole = self._doubted(belief, thorough=thorough)
            believed = float(belief[alike].sum()) * (1 - unknown)
            if best is not None and believed < (SURER if self.careful else SURE):
                again = self._again(belief, unknown) if unknown > DOUBTFUL and len(self.misfits()) > 1 else None
                return again or (best.frame, best.ask)
            if whole:
                break
        if (left := self._left(belief).next()) is not None:
            return left
        if best is not None and not self._contradicted() and (more := self._narrow()) is not None:
            return more
        if (again := self._again(belief, unknown)) is not None:
            return again
        if unknown > 0.5 or self._confirmed(int(belief.argmax())):
            return self._unexplained(belief)
        singles = alike[alike < len(self.scene.classes)]
        self.done = singles if len(singles) else alike
        self.sure = believed >= SURE and not self._strained(int(belief.argmax()))
        return None

    def _confirmed(self, number: int) -> int:
        """How many questions were answered twice alike, and otherwise than a class explains."""
        given = Counter(
            (told.frame.key, told.ask, told.answer)
            for told, chance in zip(self._heard, self._chances_of(number), strict=True)
            if chance < MISFIT
        )
        return sum(count > 1 for count in given.values())

    def _again(self, belief: Belief, unknown: float) -> tuple[Frame, Ask] | None:
        """A question whose answer the likeliest class does not explain, to be asked again; None where there is none: an
        eye that slipped says something else the second time.
        """
        own, heard = self._chances_of(int(belief.argmax())), self._heard
        most = AGAIN + (unknown > DOUBTFUL)
        for told, chance in zip(heard, own, strict=True):
            if chance < MISFIT and asked_again(told, heard) < most:
                return told.frame, told.ask
        return None

    def _unexplained(self, belief: Belief) -> tuple[Frame, Ask] | None:
        """None of the known faults: the question that tells where it begins and ends; None where that is known."""
        self.known, question = places(self._repertoire, self.scene.runs, self.told)
        if question is None:
            self.done, self.sure, self.something_else = np.array([int(belief.argmax())]), False, True
        return question

    def _doubted(self, belief: Belief, *, thorough: bool) -> tuple[Weighed | None, NDArray[np.int64], bool]:
        """The question that tells most, None where none tells anything; what no question tells from the likeliest; and
        whether that is all. Else few runs were looked at, or few of what no answer told from the likeliest yet.
        """
        everyone = self._cohort(belief)
        cohort = everyone if thorough else everyone[:COHORT]
        chosen, weight = sampled(belief, FEWER, cohort)
        found = self._weighed(self._candidates(chosen, weight, belief, thorough=thorough), chosen, weight, self._doubt)
        best = best_of(found)
        alike = cohort[same_as_first(found, np.searchsorted(chosen, cohort))]
        whole = thorough or (len(everyone) == len(cohort) and len(self._focus(chosen, weight)) <= FEWER_RUNS)
        return (best if best is not None and best.bits >= WORTHLESS else None), alike, whole

    def _refill(self) -> None:
        assert self._pairs is not None  # noqa: S101  (it proves)
        heard = self._heard
        if self._asked_of_pool != len(heard):
            self._asked_of_pool = len(heard)
            self.pool = self._pairs.refilled(heard, likelihood_of(self._doubt), self._logs())

    def _cohort(self, belief: Belief) -> NDArray[np.int64]:
        """The likeliest class, and behind it those of which every answer so far was as likely as of it."""
        top = int(belief.argmax())
        chances = np.column_stack([told.chances for told in self._heard] or [np.ones(len(self.scene.prior))])
        if self.pool is not None and self._heard:
            chances = np.concatenate([chances, self.pool.chances])
        same = np.flatnonzero((np.abs(chances - chances[top]) < 1e-9).all(axis=1))
        ordered = same[np.argsort(-belief[same], kind="stable")]
        return np.concatenate([[top], ordered[ordered != top]])

    def tell(self, frame: Frame, ask: Ask, answer: int) -> None:
        """Take an answer, by its place among the ask's."""
        self._used |= {(frame.key, ask), (frame.key, None)} if ask.kind == "few" else {(frame.key, ask)}
        every = np.arange(len(self.scene.classes))
        chances = plain = np.ones(len(every))
        if ask.answers[answer] != CANNOT_TELL:
            chances = plain = self.looks(frame, ask, every)[:, answer]
            if frame.plain is not None and frame.plain.key != frame.key:
                plain = self.looks(frame.plain, ask, every)[:, answer]
        self.told.append(Told(frame, ask, answer, chances, plain))

    def _contradicted(self) -> bool:
        misfits = np.zeros(len(self.scene.prior), dtype=np.int64)
        for told in self._heard:
            misfits += told.chances < MISFIT
        return bool(misfits.min() > 0)

    def _strained(self, number: int) -> bool:
        """Whether a class holds only if more answers were wrong than a person gives: three faults at once look so."""
        wrong = int(np.sum(self._chances_of(number) < MISFIT))
        return wrong > max(1.0, MOST_WRONG * len(self._heard))

    def _chances_of(self, number: int) -> Belief:
        """How likely each answer that was heard is under a class."""
        if number < len(self.scene.classes):
            return np.array([told.chances[number] for told in self._heard])
        assert self.pool is not None  # noqa: S101  (only the pool has such numbers)
        found: Belief = self.pool.chances[number - len(self.scene.classes)]
        return found

    def misfits(self) -> list[Told]:
        """What was said that the likeliest class does not explain."""
        own = self._chances_of(int(self.belief().argmax()))
        return [told for told, chance in zip(self._heard, own, strict=True) if chance < MISFIT]

    def looks(self, frame: Frame, ask: Ask, classes: NDArray[np.int64]) -> Chances:
        """How likely each answer is under some classes of the scene: shape (classes, answers)."""
        return see(self.scene, self.eye, frame, ask, classes)

    def _class(self, number: int) -> Class:
        ((scene, own),) = self._scenes(np.array([number]))
        return Class(scene, int(own[0]), self.members(number)[0])

    def _left(self, belief: Belief) -> Coverage:
        """What must be seen before the likeliest class is believed."""
        top = self._class(int(belief.argmax()))
        return Coverage(self.scene, self.eye, self._repertoire, top, self._heard, self._used)

    def _scenes(self, chosen: NDArray[np.int64]) -> list[tuple[Scene, NDArray[np.int64]]]:
        """The scenes of some classes, each with those that are its own, by its own numbers."""
        single = len(self.scene.classes)
        found = [(self.scene, chosen[chosen < single])]
        if self.pool is not None:
            found.append((self.pool.scene, chosen[chosen >= single] - single))
        return [(scene, own) for scene, own in found if len(own)]

    def _candidates(
        self, chosen: NDArray[np.int64], weight: Belief, belief: Belief, *, pairs: bool = True, thorough: bool = False
    ) -> list[Candidate]:
        found: list[Candidate] = []
        runs = self._focus(chosen, weight)
        for run in runs if thorough else runs[: FOCUS if self.narrowing else FEWER_RUNS]:
            found += self._repertoire.fixed(run)
            likely = np.flatnonzero(belief > belief.max() * 1e-6)
            first, count = [], []
            for scene, which in self._scenes(likely):
                variants = scene.variants[run]
                first.append(variants.first[variants.of[which]])
                count.append(variants.count[variants.of[which]])
            places = np.concatenate(first)
            placed = places >= 0
            if placed.any():
                single = np.concatenate(count)[placed] == 1
                found += narrowing(self._repertoire, run, places[placed], single, belief[likely][placed], self._moved())
            if pairs:
                found += [*self._repertoire.ends_off(run), *self._proving(run, likely, belief)]
        planned = {run: self.scene.plan.takes[run].astype(np.int64) for run in self.scene.runs}
        every = self._repertoire.alike(planned)
        return [*found, *self._several(runs, belief), *([every] if every else [])]

    def _several(self, focus: list[str], belief: Belief) -> list[Candidate]:
        """The ends of several runs at once, as planned and as is believed, those in focus first."""
        top = int(belief.argmax())
        names = list(dict.fromkeys([*focus, *self.scene.variants]))[:SEVERAL]
        if not names:
            return []
        found = []
        planned = {run: self.scene.plan.takes[run].astype(np.int64) for run in names}
        for takes in (planned, self._class(top).takes(names)):
            found.append(self._repertoire.several(takes, {run: ends_of(each) for run, each in takes.items()}))
        return [one for one in found if one is not None]

    def _proving(self, run: str, likely: NDArray[np.int64], belief: Belief) -> list[Candidate]:
        """Frames for a run that is fed as the likeliest class has it; and frames that narrow the place of one of two
        faults, for a run that is fed as the other has it, where that is in most of the pairs.
        """
        single, top = len(self.scene.classes), int(belief.argmax())
        found = self._class(top).fed(run, self._repertoire.proving(run))
        if self.pool is None or self._pairs is None or not (likely >= single).any():
            return found
        variants = self.scene.variants[run]
        own = likely[likely >= single]
        parts, weight = self.pool.parts[own - single], belief[own]
        common = int(np.bincount(parts.ravel(), weights=np.repeat(weight, 2)).argmax())
        other = np.where(parts[:, 0] == common, parts[:, 1], parts[:, 0])
        which = variants.of[self._pairs.class_of[other]]
        placed = variants.first[which] >= 0
        if placed.any():
            places, alone = variants.first[which][placed], variants.count[which][placed] == 1
            closer = narrowing(self._repertoire, run, places, alone, weight[placed], self._moved())
            found += self._class(int(self._pairs.class_of[common])).fed(run, closer)
        return found

    def _moved(self) -> float:
        """Another part of a colour each time, spread evenly between −½ and ½."""
        return (len(self.told) * 0.618034) % 1.0 - 0.5

    def _focus(self, chosen: NDArray[np.int64], weight: Belief) -> list[str]:
        """The runs on which the belief is split, those where most first."""
        spread, single = {}, len(self.scene.classes)
        for run, variants in self.scene.variants.items():
            of = variants.of[chosen[chosen < single]]
            if self.pool is not None:
                pairs = self.pool.scene.variants[run].of[chosen[chosen >= single] - single]
                of = np.concatenate([of, np.where(pairs > 0, pairs + variants.index.shape[1], 0)])
            spread[run] = entropy(np.bincount(of, weights=_in_order(weight, chosen, single)).astype(float))
        return sorted((run for run in spread if spread[run] > 0), key=lambda run: -spread[run])

    def _weighed(
        self, candidates: list[Candidate], chosen: NDArray[np.int64], weight: Belief, doubt: float
    ) -> list[Weighed]:
        """Candidates weighed by a belief over some classes, which are rising."""
        return weighed(self.eye, self._scenes(chosen), candidates, self._used, weight, doubt)


def _in_order(weight: Belief, chosen: NDArray[np.int64], single: int) -> Belief:
    return np.concatenate([weight[chosen < single], weight[chosen >= single]])
