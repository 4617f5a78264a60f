"""The reasoning: a belief over classes, the question that tells most for its price, and Bayes' rule.

The engine never sees a lamp. It *narrows* first: it trusts the eye, and thinks of one fault. When that leaves one class
alone, or none, it *proves*: it reckons with one wrong answer in ten, and with two faults at once, and goes on until what
looks alike is believed even so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.eye import CANNOT_TELL, Ask, Chances, Eye, Shades
from patcher.verify.ahead import best_first
from patcher.verify.frames import Frame
from patcher.verify.hypotheses import Hypothesis
from patcher.verify.pairs import Heard, Pairs, Pool
from patcher.verify.questions import Candidate, Repertoire, narrowing
from patcher.verify.scene import Scene

Belief = NDArray[np.float64]

DOUBT = 0.1
"""The part of answers that are taken to be wrong while it proves."""
SURE, SURER = 0.98, 0.998
"""Belief in what looks alike, from which on it is named; the second where it is asked to be careful."""
NARROWED = 0.9995
"""Belief of one who trusts, from which on there is nothing left to narrow."""
SAMPLE, FEWER = 200, 100
"""Classes on which candidates are weighed, the second while it proves; more are drawn from the belief."""
FOCUS, FEWER_RUNS = 3, 2
"""Runs that are looked at more closely at a time, the second while it proves."""
AHEAD = 12
"""Down to so many classes the whole tree of questions is searched."""
WORTHLESS = 1e-6
"""Bits; a question that tells less tells nothing."""
LIVE = 1e-7
"""A class is left where the belief in it is at least that part of the belief in the likeliest."""
COHORT = 100
"""Classes at most that are held against the likeliest one, question by question."""
PAIR = 1.0
"""Two faults are met so often, against what their weights multiply to. No source."""
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
    """A diagnosis as numbers. Classes are counted through those of the scene, then those of the pool of pairs.

    Attributes:
        scene: the classes of single faults, and of none.
        eye: the eye that answers.
        careful: whether it is to be surer than usual.
        told: what the eye has said.
        pool: pairs that fit, once it has narrowed.
        done: the classes that are left, none of which any question tells from the others; None while there is more to
            ask.
        sure: whether the belief in them is as high as it should be.
    """

    def __init__(self, scene: Scene, eye: Eye, *, careful: bool = False) -> None:
        self.scene = scene
        self.eye = eye
        self.careful = careful
        self.told: list[Told] = []
        self.pool: Pool | None = None
        self.done: NDArray[np.int64] | None = None
        self.sure = False
        self._repertoire = Repertoire(scene)
        self._used: set[tuple[int, Ask]] = set()
        self._pairs: Pairs | None = None
        self._asked_of_pool = -1

    @property
    def _heard(self) -> list[Told]:
        return [told for told in self.told if told.chances is not None]

    @property
    def narrowing(self) -> bool:
        """Whether it still trusts, and thinks of one fault."""
        return self._pairs is None

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
        return _normalised(found)

    def belief(self) -> Belief:
        """How likely each class is; sums to 1."""
        if self.narrowing:
            return self.trusted()
        own = self._logs()
        if self.pool is not None:
            pairs = np.log(self.pool.scene.prior * PAIR)
            for place, told in enumerate(self._heard):
                pairs += likelihood(told.ask, self.pool.chances[:, place])
            own = np.concatenate([own, pairs])
        return _normalised(own)

    def _logs(self) -> Belief:
        found = np.log(self.scene.prior)
        for told in self._heard:
            found += likelihood(told.ask, told.chances)
        return found

    def next(self) -> tuple[Frame, Ask] | None:
        """The question to ask now; None where nothing is left to ask."""
        if self.done is not None:
            return None
        if self.narrowing:
            if self._contradicted() or (chosen := self._narrow()) is None:
                self._pairs = Pairs(self.scene, self.eye)
            else:
                return chosen
        return self._prove()

    def _narrow(self) -> tuple[Frame, Ask] | None:
        """The question that tells most for one who trusts; None where one class is left."""
        belief = self.trusted()
        chosen, weight = _sampled(belief, SAMPLE)
        candidates = self._candidates(chosen, weight, belief)
        weighed = self._weighed(candidates, chosen, weight, 0.0)
        best, alike = _best(weighed), _alike(weighed, chosen, belief)
        live = np.flatnonzero(belief > belief.max() * LIVE)
        if len(live) > len(chosen) and _ends(best, alike, belief, NARROWED):
            chosen, weight = live, belief[live] / belief[live].sum()
            weighed = self._weighed(candidates, chosen, weight, 0.0)
            best, alike = _best(weighed), _alike(weighed, chosen, belief)
        if best is None or _ends(best, alike, belief, NARROWED):
            return None
        if 1 < len(live) <= AHEAD:
            best = best_first([one for one in weighed if one.bits >= WORTHLESS], belief[chosen]) or best
        return best.frame, best.ask

    def _prove(self) -> tuple[Frame, Ask] | None:
        """The question that tells most for one who doubts; None where what looks alike is believed, or none tells."""
        self._refill()
        belief = self.belief()
        cohort = self._cohort(belief)
        chosen, weight = _sampled(belief, FEWER, cohort)
        candidates = self._candidates(chosen, weight, belief)
        weighed = self._weighed(candidates, chosen, weight, DOUBT)
        best = _best(weighed)
        places = np.searchsorted(chosen, cohort)
        alike = cohort[_same(weighed, places)]
        believed = float(belief[alike].sum())
        if best is not None and best.bits >= WORTHLESS and believed < (SURER if self.careful else SURE):
            return best.frame, best.ask
        singles = alike[alike < len(self.scene.classes)]
        self.done = singles if len(singles) else alike
        self.sure = believed >= SURE and not self._strained(int(cohort[0]))
        return None

    def _refill(self) -> None:
        assert self._pairs is not None  # noqa: S101  (it proves)
        heard = self._heard
        if self._asked_of_pool != len(heard):
            self._asked_of_pool = len(heard)
            single = np.column_stack([told.chances for told in heard]) if heard else np.ones((len(self.scene.prior), 0))
            said = [Heard(told.frame, told.ask, told.answer) for told in heard]
            self.pool = self._pairs.refilled(said, single, likelihood, self._logs())

    def _cohort(self, belief: Belief) -> NDArray[np.int64]:
        """The likeliest class, and behind it those of which every answer so far was as likely as of it."""
        top = int(belief.argmax())
        chances = np.column_stack([told.chances for told in self._heard] or [np.ones(len(self.scene.prior))])
        if self.pool is not None and self._heard:
            chances = np.concatenate([chances, self.pool.chances])
        same = np.flatnonzero((np.abs(chances - chances[top]) < 1e-9).all(axis=1))
        ordered = same[np.argsort(-belief[same], kind="stable")]
        return np.concatenate([[top], ordered[ordered != top]])[:COHORT]

    def tell(self, frame: Frame, ask: Ask, answer: int) -> None:
        """Take an answer, by its place among the ask's."""
        self._used.add((frame.key, ask))
        chances = None
        if ask.answers[answer] != CANNOT_TELL:
            chances = self.looks(frame, ask, np.arange(len(self.scene.classes)))[:, answer]
        self.told.append(Told(frame, ask, answer, chances))

    def _contradicted(self) -> bool:
        misfits = sum((told.chances < MISFIT for told in self._heard), start=np.array(0))
        return bool(np.min(misfits) > 0)

    def _strained(self, number: int) -> bool:
        """Whether a class holds only if more answers were wrong than a person gives: three faults at once look so."""
        heard, single = self._heard, len(self.scene.classes)
        own = [told.chances[number] for told in heard] if number < single else self.pool.chances[number - single]
        wrong = int(np.sum(np.array(own) < MISFIT))
        return wrong > max(1.0, MOST_WRONG * len(heard))

    def looks(self, frame: Frame, ask: Ask, classes: NDArray[np.int64]) -> Chances:
        """How likely each answer is under some classes of the scene: shape (classes, answers)."""
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

    def _scenes(self, chosen: NDArray[np.int64]) -> list[tuple[Scene, NDArray[np.int64]]]:
        """The scenes of some classes, each with those that are its own, by its own numbers."""
        single = len(self.scene.classes)
        found = [(self.scene, chosen[chosen < single])]
        if self.pool is not None:
            found.append((self.pool.scene, chosen[chosen >= single] - single))
        return [(scene, own) for scene, own in found if len(own)]

    def _candidates(self, chosen: NDArray[np.int64], weight: Belief, belief: Belief) -> list[Candidate]:
        found: list[Candidate] = []
        for run in self._focus(chosen, weight):
            found += self._repertoire.fixed(run)
            likely = np.flatnonzero(belief > belief.max() * 1e-6)
            first, count, own = [], [], []
            for scene, which in self._scenes(likely):
                variants = scene.variants[run]
                first.append(variants.first[variants.of[which]])
                count.append(variants.count[variants.of[which]])
            own, first_, count_ = belief[likely], np.concatenate(first), np.concatenate(count)
            placed = first_ >= 0
            if placed.any():
                single = count_[placed] == 1
                found += narrowing(self._repertoire, run, first_[placed], single, own[placed], self._moved())
            if self.pool is not None:
                found += self._second(run, likely, belief)
        return found

    def _second(self, run: str, likely: NDArray[np.int64], belief: Belief) -> list[Candidate]:
        """Frames that narrow the place of one of two faults, where the other is in most of the pairs."""
        assert self.pool is not None and self._pairs is not None  # noqa: S101, PT018  (asked of pairs only)
        single = len(self.scene.classes)
        variants = self.scene.variants[run]
        own = likely[likely >= single]
        parts, weight = self.pool.parts[own - single], belief[own]
        if not len(own):
            return []
        common = int(np.bincount(parts.ravel(), weights=np.repeat(weight, 2)).argmax())
        at = int(variants.first[variants.of[self._pairs.class_of[common]]])
        around = self._repertoire.around(run, at) if at >= 0 else []
        other = np.where(parts[:, 0] == common, parts[:, 1], parts[:, 0])
        which = variants.of[self._pairs.class_of[other]]
        placed = variants.first[which] >= 0
        if not placed.any():
            return around
        places, alone = variants.first[which][placed], variants.count[which][placed] == 1
        return [*around, *narrowing(self._repertoire, run, places, alone, weight[placed], self._moved())]

    def _moved(self) -> float:
        """Another part of a colour each time, spread evenly between −½ and ½."""
        return (len(self.told) * 0.618034) % 1.0 - 0.5

    def _focus(self, chosen: NDArray[np.int64], weight: Belief) -> list[str]:
        """The runs on which the belief is split most."""
        spread, single = {}, len(self.scene.classes)
        for run, variants in self.scene.variants.items():
            of = variants.of[chosen[chosen < single]]
            if self.pool is not None:
                pairs = self.pool.scene.variants[run].of[chosen[chosen >= single] - single]
                of = np.concatenate([of, np.where(pairs > 0, pairs + variants.index.shape[1], 0)])
            spread[run] = _entropy(np.bincount(of, weights=_in_order(weight, chosen, single)).astype(float))
        runs = sorted((run for run in spread if spread[run] > 0), key=lambda run: -spread[run])
        return runs[: FOCUS if self.narrowing else FEWER_RUNS]

    def _weighed(
        self, candidates: list[Candidate], chosen: NDArray[np.int64], weight: Belief, doubt: float
    ) -> list[Weighed]:
        """Candidates weighed by a belief over some classes, which are rising."""
        found: list[Weighed] = []
        sampled: dict[str, list[tuple[Scene, NDArray[np.int32], NDArray[np.int64]]]] = {}
        seen: set[tuple[int, Ask]] = set()
        for candidate in candidates:
            run = candidate.asks[0].runs[0]
            if run not in sampled:
                sampled[run] = []
                for scene, own in self._scenes(chosen):
                    which, back = np.unique(scene.variants[run].of[own], return_inverse=True)
                    index = np.ascontiguousarray(scene.variants[run].index[:, which])
                    sampled[run].append((scene, index, back))
            shades: dict[int, Shades] = {}
            for ask in candidate.asks:
                key = (candidate.frame.key, ask)
                if key in self._used or key in seen:
                    continue
                seen.add(key)
                parts = [
                    self._seen(candidate.frame, ask, scene, index, shades)[back] for scene, index, back in sampled[run]
                ]
                chances = np.concatenate(parts) if len(parts) > 1 else parts[0]
                found.append(Weighed.of(candidate.frame, ask, chances, weight, doubt))
        return found

    def _seen(
        self, frame: Frame, ask: Ask, scene: Scene, index: NDArray[np.int32], shades: dict[int, Shades]
    ) -> Chances:
        if ask.kind == "vanish":
            return see(scene, self.eye, frame, ask, [index])
        if id(scene) not in shades:
            shades[id(scene)] = scene.variants[ask.runs[0]].shades(scene.on(frame.steps[0]), index)
        return self.eye.sees(ask, [shades[id(scene)]])


def likelihood(ask: Ask, chances: Belief) -> Belief:
    """The logarithm of how likely a person gives an answer that an eye gives with these chances."""
    others = max(1, len(ask.answers) - 2)
    found: Belief = np.log((1 - DOUBT) * chances + DOUBT / others * (1 - chances))
    return found


def _normalised(logs: Belief) -> Belief:
    found = np.exp(logs - logs.max())
    belief: Belief = found / found.sum()
    return belief


def _in_order(weight: Belief, chosen: NDArray[np.int64], single: int) -> Belief:
    return np.concatenate([weight[chosen < single], weight[chosen >= single]])


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


def _sampled(belief: Belief, many: int, always: NDArray[np.int64] | None = None) -> tuple[NDArray[np.int64], Belief]:
    """Classes drawn systematically from a belief, rising, each with its weight; all, where they are few."""
    always = np.empty(0, dtype=np.int64) if always is None else always
    live = np.union1d(np.flatnonzero(belief > belief.max() * 1e-9), always)
    if len(live) <= many:
        return live, belief[live] / belief[live].sum()
    points = (np.arange(many) + 0.5) / many
    drawn = np.minimum(np.searchsorted(np.cumsum(belief), points), len(belief) - 1)
    top = np.union1d(np.argpartition(-belief, 12)[:12], always)
    chosen, count = np.unique(np.concatenate([drawn, top]), return_counts=True)
    count[np.isin(chosen, top)] -= 1
    weight = np.maximum(count, 1e-3).astype(float)
    return chosen, weight / weight.sum()


def _best(weighed: list[Weighed]) -> Weighed | None:
    return max(weighed, key=lambda one: one.worth, default=None)


def _ends(best: Weighed | None, alike: NDArray[np.int64], belief: Belief, sure: float) -> bool:
    """Whether there is nothing more to ask: no question tells anything, or what looks alike is believed."""
    return best is None or best.bits < WORTHLESS or float(belief[alike].sum()) >= sure


def _same(weighed: list[Weighed], places: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which of the classes at some places no question tells from the first of them."""
    same = np.ones(len(places), dtype=bool)
    for one in weighed:
        same &= (np.abs(one.chances[places] - one.chances[places[0]]) < 1e-9).all(axis=1)
    return same


def _alike(weighed: list[Weighed], chosen: NDArray[np.int64], belief: Belief) -> NDArray[np.int64]:
    """Of the classes on which questions were weighed, those that all questions take for the likeliest one."""
    top = int(np.argmax(belief[chosen]))
    same = np.ones(len(chosen), dtype=bool)
    for one in weighed:
        same &= (np.abs(one.chances - one.chances[top]) < 1e-9).all(axis=1)
    found: NDArray[np.int64] = chosen[same]
    return found
