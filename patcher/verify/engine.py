"""The reasoning: a belief over classes, the question that tells most for its price, and Bayes' rule.

The engine never sees a lamp. It trusts the eye until what it was told cannot all be true of any class; from then on, or
from the start where it is asked to be careful, it reckons with one wrong answer in ten.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.eye import CANNOT_TELL, Ask, Chances, Eye
from patcher.verify.ahead import best_first
from patcher.verify.frames import Frame
from patcher.verify.questions import Candidate, Repertoire, narrowing
from patcher.verify.scene import Scene

Belief = NDArray[np.float64]

DOUBT = 0.1
"""The part of answers that are taken to be wrong, by whoever is careful."""
SURE, TRUSTING_SURE = 0.98, 0.9995
"""Belief in what looks alike, from which on it is named."""
SAMPLE = 200
"""Classes on which candidates are weighed; more are drawn from the belief."""
FOCUS = 3
"""Runs that are looked at more closely at a time."""
AHEAD = 12
"""Down to so many classes the whole tree of questions is searched."""
WORTHLESS = 1e-6
"""Bits; a question that tells less tells nothing."""
LIVE = 1e-7
"""A class is left where the belief in it is at least that part of the belief in the likeliest."""
MOST_WRONG = 0.25
"""What needs more than this part of the answers to be wrong is never sure."""
MISFIT = 0.01
"""An answer less likely than that contradicts a class."""


@dataclass(frozen=True, eq=False)
class Told:
    """A question that was answered, and how likely its answer was under each class.

    Attributes:
        frame: the frame that was shown.
        ask: what was asked.
        answer: the place of the answer among the ask's.
        chances: of that answer, for each class; None where the answer was "can't tell".
    """

    frame: Frame
    ask: Ask
    answer: int
    chances: Belief | None


class Engine:
    """A diagnosis as numbers.

    Attributes:
        scene: the classes.
        eye: the eye that answers.
        told: what it has said.
        done: the classes that are left, none of which any question tells from the others; None while there is more to
            ask.
        sure: whether the belief in them is as high as it should be.
    """

    def __init__(self, scene: Scene, eye: Eye, *, careful: bool = False) -> None:
        self.scene = scene
        self.eye = eye
        self.careful = careful
        self.told: list[Told] = []
        self.done: NDArray[np.int64] | None = None
        self.sure = False
        self._repertoire = Repertoire(scene)
        self._used: set[tuple[int, Ask]] = set()

    def belief(self) -> Belief:
        """How likely each class is; sums to 1."""
        found, misfits = np.log(self.scene.prior), np.zeros(len(self.scene.prior), dtype=np.int64)
        for told in self.told:
            if told.chances is None:
                continue
            doubt, others = (DOUBT, len(told.ask.answers) - 2) if self.careful else (0.0, 1)
            misfits += told.chances < MISFIT
            found += np.log(np.maximum((1 - doubt) * told.chances + doubt / others * (1 - told.chances), 1e-12))
        if not self.careful:
            found[misfits > misfits.min()] = -np.inf
        found = np.exp(found - found.max())
        belief: Belief = found / found.sum()
        return belief

    def next(self) -> tuple[Frame, Ask] | None:
        """The question to ask now; None where nothing is left to ask."""
        if self.done is not None:
            return None
        belief = self.belief()
        chosen, weight = _sampled(belief)
        candidates = self._candidates(chosen, weight, belief)
        weighed = self._weighed(candidates, chosen, weight)
        sure = SURE if self.careful else TRUSTING_SURE
        best, alike = _best(weighed), _alike(weighed, chosen, belief)
        live = np.flatnonzero(belief > belief.max() * LIVE)
        if len(live) > len(chosen) and _ends(best, alike, belief, sure):
            chosen, weight = live, belief[live] / belief[live].sum()
            weighed = self._weighed(candidates, chosen, weight)
            best, alike = _best(weighed), _alike(weighed, chosen, belief)
        if best is None or _ends(best, alike, belief, sure):
            self.done = alike
            self.sure = bool(belief[alike].sum() >= sure) and not self._strained(int(alike[0]))
            return None
        if not self.careful and 1 < len(live) <= AHEAD:
            best = best_first([one for one in weighed if one.bits >= WORTHLESS], belief[chosen]) or best
        return best.frame, best.ask

    def tell(self, frame: Frame, ask: Ask, answer: int) -> None:
        """Take an answer, by its place among the ask's."""
        self._used.add((frame.key, ask))
        chances = None
        if ask.answers[answer] != CANNOT_TELL:
            chances = self.looks(frame, ask, np.arange(len(self.scene.classes)))[:, answer]
        self.told.append(Told(frame, ask, answer, chances))
        if not self.careful and self._contradicted():
            self.careful = True

    def _contradicted(self) -> bool:
        misfits = sum((told.chances < MISFIT for told in self.told if told.chances is not None), start=np.array(0))
        return bool(np.min(misfits) > 0)

    def _strained(self, number: int) -> bool:
        """Whether a class holds only if more answers were wrong than a person gives: two faults at once look so."""
        heard = [told.chances[number] < MISFIT for told in self.told if told.chances is not None]
        return int(sum(heard)) > max(1.0, MOST_WRONG * len(heard))

    def looks(self, frame: Frame, ask: Ask, classes: NDArray[np.int64]) -> Chances:
        """How likely each answer is under some classes: shape (classes, answers)."""
        pieces = [np.unique(self.scene.variants[run].of[classes], return_inverse=True) for run in ask.runs]
        if len(pieces) == 1:
            which, back = pieces[0]
            index = self.scene.variants[ask.runs[0]].index[:, which]
            return see(self.scene, self.eye, frame, ask, [index])[back]
        indices = [
            self.scene.variants[run].index[:, which][:, back]
            for run, (which, back) in zip(ask.runs, pieces, strict=True)
        ]
        return see(self.scene, self.eye, frame, ask, indices)

    def _candidates(self, chosen: NDArray[np.int64], weight: Belief, belief: Belief) -> list[Candidate]:
        found: list[Candidate] = []
        for run in self._focus(chosen, weight):
            variants = self.scene.variants[run]
            found += self._repertoire.fixed(run)
            which = variants.of
            placed = np.flatnonzero((belief > belief.max() * 1e-6) & (variants.first[which] >= 0))
            if len(placed):
                own = which[placed]
                single = variants.count[own] == 1
                found += narrowing(self._repertoire, run, variants.first[own], single, belief[placed], self._moved())
        return found

    def _moved(self) -> float:
        """Another part of a colour each time, spread evenly between −½ and ½."""
        return (len(self.told) * 0.618034) % 1.0 - 0.5

    def _focus(self, chosen: NDArray[np.int64], weight: Belief) -> list[str]:
        """The runs on which the belief is split most."""
        spread = {}
        for run, variants in self.scene.variants.items():
            summed = np.bincount(variants.of[chosen], weights=weight).astype(float)
            spread[run] = _entropy(summed)
        runs = sorted((run for run in spread if spread[run] > 0), key=lambda run: -spread[run])
        return runs[:FOCUS]

    def _weighed(self, candidates: list[Candidate], chosen: NDArray[np.int64], weight: Belief) -> list[Weighed]:
        found: list[Weighed] = []
        sampled: dict[str, tuple[NDArray[np.int32], NDArray[np.int64]]] = {}
        seen: set[tuple[int, Ask]] = set()
        doubt = DOUBT if self.careful else 0.0
        for candidate in candidates:
            run = candidate.asks[0].runs[0]
            if run not in sampled:
                variants = self.scene.variants[run]
                which, back = np.unique(variants.of[chosen], return_inverse=True)
                sampled[run] = np.ascontiguousarray(variants.index[:, which]), back
            index, back = sampled[run]
            shades = None
            for ask in candidate.asks:
                key = (candidate.frame.key, ask)
                if key in self._used or key in seen:
                    continue
                seen.add(key)
                if ask.kind == "vanish":
                    chances = see(self.scene, self.eye, candidate.frame, ask, [index])
                else:
                    if shades is None:
                        on = self.scene.on(candidate.frame.steps[0])
                        shades = self.scene.variants[run].shades(on, index)
                    chances = self.eye.sees(ask, [shades])
                found.append(Weighed.of(candidate.frame, ask, chances[back], weight, doubt))
        return found


def see(scene: Scene, eye: Eye, frame: Frame, ask: Ask, indices: list[NDArray[np.int32]]) -> Chances:
    """How likely an eye gives each answer, where the ask's runs take these channels of the scene."""
    if ask.kind != "vanish":
        on = scene.on(frame.steps[0])
        return eye.sees(ask, [scene.variants[run].shades(on, i) for run, i in zip(ask.runs, indices, strict=True)])
    index = indices[0]
    taken = np.zeros((index.shape[1], len(scene.numbers) + 2), dtype=bool)
    rows = np.arange(index.shape[1])[:, None]
    for channel in index:
        taken[rows, channel] = True
    steps = np.stack(frame.steps)
    at = np.minimum(np.searchsorted(scene.numbers, steps), len(scene.numbers) - 1)
    at[scene.numbers[at] != steps] = len(scene.numbers)
    taken[:, len(scene.numbers) :] = False
    lit = taken[:, at[:, 0]]
    for column in at.T[1:]:
        lit |= taken[:, column]
    return eye.follows(ask, lit)


@dataclass(frozen=True, eq=False)
class Weighed:
    """A question with what it is expected to tell.

    Attributes:
        chances: of each answer, under the classes on which it was weighed.
        bits: expected information.
    """

    frame: Frame
    ask: Ask
    chances: Chances
    bits: float

    @classmethod
    def of(cls, frame: Frame, ask: Ask, chances: Chances, weight: Belief, doubt: float) -> Weighed:
        """Weigh a question by a belief; `doubt` is the part of answers that are wrong."""
        real = chances[:, :-1]
        if doubt:
            real = (1 - doubt) * real + doubt / (real.shape[1] - 1) * (1 - real)
        inner = real * np.log2(np.where(real > 0, real, 1.0))
        return cls(frame, ask, chances, _entropy(weight @ real) + float(weight @ inner.sum(axis=1)))

    @property
    def worth(self) -> float:
        """Bits for the price."""
        return self.bits / self.ask.price


def _entropy(weight: Belief) -> float:
    own = weight[weight > 0]
    return float(-(own * np.log2(own)).sum())


def entropy_bits(belief: Belief) -> float:
    """The entropy of a belief, in bits (Shannon 1948)."""
    return max(0.0, _entropy(belief))


def _sampled(belief: Belief) -> tuple[NDArray[np.int64], Belief]:
    """Classes drawn systematically from a belief, each with its weight; all, where they are few."""
    live = np.flatnonzero(belief > belief.max() * 1e-9)
    if len(live) <= SAMPLE:
        return live, belief[live] / belief[live].sum()
    points = (np.arange(SAMPLE) + 0.5) / SAMPLE
    drawn = np.minimum(np.searchsorted(np.cumsum(belief), points), len(belief) - 1)
    top = np.argpartition(-belief, 12)[:12]
    chosen, count = np.unique(np.concatenate([drawn, top]), return_counts=True)
    count[np.isin(chosen, top)] -= 1
    weight = np.maximum(count, 1e-3).astype(float)
    return chosen, weight / weight.sum()


def _best(weighed: list[Weighed]) -> Weighed | None:
    return max(weighed, key=lambda one: one.worth, default=None)


def _ends(best: Weighed | None, alike: NDArray[np.int64], belief: Belief, sure: float) -> bool:
    """Whether there is nothing more to ask: no question tells anything, or what looks alike is believed."""
    return best is None or best.bits < WORTHLESS or float(belief[alike].sum()) >= sure


def _alike(weighed: list[Weighed], chosen: NDArray[np.int64], belief: Belief) -> NDArray[np.int64]:
    """Of the classes on which questions were weighed, those that all questions take for the likeliest one."""
    top = int(np.argmax(belief[chosen]))
    same = np.ones(len(chosen), dtype=bool)
    for one in weighed:
        same &= (np.abs(one.chances - one.chances[top]) < 1e-9).all(axis=1)
    found: NDArray[np.int64] = chosen[same]
    return found
