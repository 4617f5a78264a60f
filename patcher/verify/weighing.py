"""What a question is expected to tell: every candidate weighed by a belief over some classes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.eye import Ask, Chances, Eye, Shades, Sight
from patcher.eye import few as which_of
from patcher.verify.frames import Frame
from patcher.verify.questions import Candidate
from patcher.verify.scene import Scene

Belief = NDArray[np.float64]
Numbers = NDArray[np.int64]
Indices = list[NDArray[np.int32]]
"""For each of some runs what it could take: shape (channels, variants, lamps)."""

OFFERED = 4
"""So many sights of few lamps are offered."""
WORTHLESS = 1e-6
"""Bits; a question that tells less tells nothing."""


def weighed(
    eye: Eye, classes: Sequence[tuple[Scene, Numbers]], candidates: Sequence[Candidate],
    used: set[tuple[int, Ask | None]], weight: Belief, doubt: float,
) -> list[Weighed]:  # fmt: skip
    """Candidates weighed by a belief.

    Args:
        eye: the eye that would answer.
        classes: the scenes, each with those of its classes that the belief is over.
        candidates: what could be asked.
        used: frames and asks that are not asked again; few lamps, for which None stands, are read once.
        weight: the belief in each of those classes, in their order.
        doubt: the part of answers that are wrong.
    """
    found: list[Weighed] = []
    known: dict[tuple[str, ...], list[tuple[Scene, Indices, Numbers]]] = {}
    seen: set[tuple[int, Ask | None]] = set()
    for candidate in candidates:
        frame = candidate.frame
        asks = [ask for ask in candidate.asks if (frame.key, ask) not in used and (frame.key, ask) not in seen]
        few = candidate.few if (frame.key, None) not in used and (frame.key, None) not in seen else ()
        seen.update((frame.key, ask) for ask in asks)
        shown: dict[tuple[str, ...], list[tuple[list[Shades], Numbers]]] = {}
        for runs in {*(ask.runs for ask in asks), *((few,) if few else ())}:
            if runs not in known:
                known[runs] = [(scene, *_variants(scene, runs, own)) for scene, own in classes]
            if not frame.goes:
                shown[runs] = [(_shades(scene, frame, runs, i), back) for scene, i, back in known[runs]]
        for ask in asks:
            if frame.goes:
                parts = [see(scene, eye, frame, ask, i)[back] for scene, i, back in known[ask.runs]]
            else:
                parts = [eye.sees(ask, own)[back] for own, back in shown[ask.runs]]
            found.append(Weighed.of(frame, ask, _joined(parts), weight, doubt))
        if few:
            seen.add((frame.key, None))
            read, chances = _read(eye, classes[0][0], few, shown[few], weight)
            if read is not None:
                found.append(Weighed.of(frame, read, chances, weight, doubt))
    return found


def _joined(parts: Sequence[Chances]) -> Chances:
    return np.concatenate(parts) if len(parts) > 1 else parts[0]


def _shades(scene: Scene, frame: Frame, runs: Sequence[str], indices: Indices) -> list[Shades]:
    on = scene.on(frame.steps[0])
    return [scene.variants[run].shades(on, index) for run, index in zip(runs, indices, strict=True)]


def _read(
    eye: Eye, scene: Scene, runs: tuple[str, ...], shown: Sequence[tuple[list[Shades], Numbers]], weight: Belief
) -> tuple[Ask | None, Chances]:
    """Which of the likeliest sights do few lamps give? None where there is but one.

    Args:
        eye: the eye that would answer.
        scene: a scene that has the runs.
        runs: the runs to read.
        shown: for each scene what each of the runs shows under some classes, and which of those is each class's.
        weight: the belief in each class.
    """
    grids = tuple(scene.quarters[run] for run in runs)
    each, places = list[Numbers](), dict[Sight, int]()
    for shades, back in shown:
        sights = zip(*(eye.reads(own, grid) for own, grid in zip(shades, grids, strict=True)), strict=True)
        each.append(np.array([places.setdefault(sight, len(places)) for sight in sights])[back])
    of = np.concatenate(each)
    if len(places) < 2:
        return None, np.empty((0, 0))
    heaviest = np.argsort(-np.bincount(of, weights=weight, minlength=len(places)), kind="stable")[:OFFERED]
    named = list(places)
    ask = which_of(runs, tuple(named[n] for n in heaviest), grids)
    answer = np.full(len(places), len(heaviest))
    answer[heaviest] = np.arange(len(heaviest))
    return ask, np.eye(len(ask.answers))[answer[of]]


def _variants(scene: Scene, runs: Sequence[str], classes: Numbers) -> tuple[Indices, Numbers]:
    """What some runs could take under some classes, each way once, and which of the ways is each class's."""
    of = np.column_stack([scene.variants[run].of[classes] for run in runs])
    which, back = np.unique(of, axis=0, return_inverse=True)
    found = [np.ascontiguousarray(scene.variants[run].index[:, own]) for run, own in zip(runs, which.T, strict=True)]
    return found, back.ravel()


def see(scene: Scene, eye: Eye, frame: Frame, ask: Ask, indices: Indices) -> Chances:
    """How likely an eye gives each answer, where the ask's runs take these channels of the scene."""
    if ask.kind != "vanish":
        return eye.sees(ask, _shades(scene, frame, ask.runs, indices))
    taken = np.zeros((indices[0].shape[1], len(scene.numbers) + 2), dtype=bool)
    rows = np.arange(len(taken))[:, None]
    for index in indices:
        for channel in index:
            taken[rows, channel] = True
    steps = frame.stacked
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
        return cls(frame, ask, chances, entropy(weight @ real) + float(weight @ inner.sum(axis=1)))

    @property
    def worth(self) -> float:
        """Bits for the price."""
        return self.bits / self.ask.price


def entropy(weight: Belief) -> float:
    """The entropy of a belief, in bits (Shannon 1948); a little below 0 where rounding makes it so."""
    own = weight[weight > 0]
    return float(-(own * np.log2(own)).sum())


def entropy_bits(belief: Belief) -> float:
    """The entropy of a belief, in bits, never below 0."""
    return max(0.0, entropy(belief))


def normalised(logs: Belief) -> Belief:
    """A belief from the logarithms of what it is in proportion to."""
    found = np.exp(logs - logs.max())
    belief: Belief = found / found.sum()
    return belief


def sampled(belief: Belief, many: int, always: NDArray[np.int64] | None = None) -> tuple[NDArray[np.int64], Belief]:
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


def best_of(weighed: list[Weighed]) -> Weighed | None:
    """The question that tells most for its price."""
    return max(weighed, key=lambda one: one.worth, default=None)


def ends(best: Weighed | None, alike: NDArray[np.int64], belief: Belief, sure: float) -> bool:
    """Whether there is nothing more to ask: no question tells anything, or what looks alike is believed."""
    return best is None or best.bits < WORTHLESS or float(belief[alike].sum()) >= sure


def same_as_first(weighed: list[Weighed], places: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which of the classes at some places no question tells from the first of them."""
    same = np.ones(len(places), dtype=bool)
    for one in weighed:
        same &= (np.abs(one.chances[places] - one.chances[places[0]]) < 1e-9).all(axis=1)
    return same


def alike_of(weighed: list[Weighed], chosen: NDArray[np.int64], belief: Belief) -> NDArray[np.int64]:
    """Of the classes on which questions were weighed, those that all questions take for the likeliest one."""
    top = int(np.argmax(belief[chosen]))
    same = np.ones(len(chosen), dtype=bool)
    for one in weighed:
        same &= (np.abs(one.chances - one.chances[top]) < 1e-9).all(axis=1)
    found: NDArray[np.int64] = chosen[same]
    return found
