"""What a question is expected to tell: every candidate weighed by a belief over some classes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.moving_views import Numbers, TakenWays, moved
from patcher.diagnosis.question_frame import Candidate, Frame
from patcher.diagnosis.scene import Scene
from patcher.diagnosis.views import Ways, see
from patcher.eye import Ask, Chances, Eye, Shades, Sight
from patcher.eye import few as which_of

Belief = NDArray[np.float64]

OFFERED = 4
"""So many sights of few pixels are offered."""
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
        used: frames and asks that are not asked again; few pixels, for which None stands, are read once.
        weight: the belief in each of those classes, in their order.
        doubt: the part of answers that are wrong.
    """
    asked = _predicted(eye, classes, list(_unasked(candidates, used)), weight)
    bits, by_answers = np.zeros(len(asked)), dict[int, list[int]]()
    for number, (_, ask, _) in enumerate(asked):
        by_answers.setdefault(len(ask.answers), []).append(number)
    for own in by_answers.values():
        bits[own] = information(np.stack([asked[number][2] for number in own]), weight, doubt)
    return [Weighed(*one, own) for one, own in zip(asked, bits.tolist(), strict=True)]


@dataclass(frozen=True, eq=False)
class _Unasked:
    """A frame and what is asked of it on some runs; None: which sight few pixels give, of those that they can."""

    frame: Frame
    ask: Ask | None
    runs: tuple[str, ...]


def _unasked(candidates: Sequence[Candidate], used: set[tuple[int, Ask | None]]) -> Iterator[_Unasked]:
    seen = set(used)
    for candidate in candidates:
        few = [(None, candidate.few)] if candidate.few else []
        for ask, runs in (*((ask, ask.runs) for ask in candidate.asks), *few):
            if (candidate.frame.key, ask) not in seen:
                seen.add((candidate.frame.key, ask))
                yield _Unasked(candidate.frame, ask, runs)


def _predicted(
    eye: Eye, classes: Sequence[tuple[Scene, Numbers]], unasked: Sequence[_Unasked], weight: Belief
) -> list[tuple[Frame, Ask, Chances]]:
    """What is asked, and how likely each answer is under each class. What is asked of many frames is worked out at
    once; what few pixels cannot tell is left out.
    """
    found: dict[int, tuple[Ask | None, Chances]] = {}
    groups: dict[tuple[tuple[str, ...], bool], list[int]] = {}
    for number, one in enumerate(unasked):
        groups.setdefault((one.runs, bool(one.frame.goes)), []).append(number)
    for (_, moves), numbers in groups.items():
        own = [unasked[number] for number in numbers]
        found |= zip(numbers, (_moving(eye, classes, own) if moves else _still(eye, classes, own, weight)), strict=True)
    return [(unasked[n].frame, ask, chances) for n, (ask, chances) in sorted(found.items()) if ask is not None]


def _moving(
    eye: Eye, classes: Sequence[tuple[Scene, Numbers]], unasked: Sequence[_Unasked]
) -> Iterator[tuple[Ask, Chances]]:
    """The same of what moves, or shows one colour after the other, about the same runs."""
    taken = [(scene, [TakenWays.under(scene, run, own) for run in unasked[0].runs]) for scene, own in classes]
    for frame, ask in ((one.frame, one.ask) for one in unasked if one.ask is not None):
        if ask.kind == "alike":
            parts = [see(scene, eye, frame, ask, own) for scene, own in classes]
        else:
            parts = [moved(eye, ask, scene.numbered(frame.stacked), own) for scene, own in taken]
        yield ask, np.concatenate(parts)


def _still(
    eye: Eye, classes: Sequence[tuple[Scene, Numbers]], unasked: Sequence[_Unasked], weight: Belief
) -> list[tuple[Ask | None, Chances]]:
    """The same of frames that stand still, about the same runs."""
    ways = [Ways.under(scene, unasked[0].runs, own) for scene, own in classes]
    lit = {one.frame.key: one.frame.steps[0] for one in unasked}
    row_of = {key: row for row, key in enumerate(lit)}
    shown = [each.shades(list(lit.values())) for each in ways]
    alike, found = dict[Ask | None, list[int]](), list[tuple[Ask | None, Chances]]([(None, np.empty(0))] * len(unasked))
    for number, one in enumerate(unasked):
        alike.setdefault(one.ask, []).append(number)
    for ask, numbers in alike.items():
        rows = [row_of[unasked[number].frame.key] for number in numbers]
        own = [[shades[rows] for shades in each] for each in shown]
        said = _seen(eye, ways, ask, own) if ask else _read(eye, ways, own, weight)
        for number, one_said in zip(numbers, said, strict=True):
            found[number] = one_said
    return found


def _seen(eye: Eye, ways: Sequence[Ways], ask: Ask, shown: Sequence[Sequence[Shades]]) -> Iterator[tuple[Ask, Chances]]:
    """How likely each answer is, for each of some frames: `shown` is, by scene and by run, (frames, ways, pixels)."""
    parts = []
    for each, own in zip(ways, shown, strict=True):
        said = eye.sees(ask, [shades.reshape(-1, shades.shape[2]) for shades in own])
        parts.append(said.reshape(-1, each.count, len(ask.answers))[:, each.of])
    return ((ask, chances) for chances in np.concatenate(parts, axis=1))


def _read(
    eye: Eye, ways: Sequence[Ways], shown: Sequence[Sequence[Shades]], weight: Belief
) -> Iterator[tuple[Ask | None, Chances]]:
    """Which of the likeliest sights do few pixels give, for each of some frames? None where there is but one."""
    grids = tuple(ways[0].scene.quarters[run] for run in ways[0].runs)
    read = [
        list(zip(*(eye.reads(shades.reshape(-1, shades.shape[2]), grid)
                   for shades, grid in zip(own, grids, strict=True)), strict=True))
        for own in shown
    ]  # fmt: skip
    for frame in range(len(shown[0][0])):
        places, parts = dict[Sight, int](), []
        for each, sights in zip(ways, read, strict=True):
            own = sights[frame * each.count : (frame + 1) * each.count]
            parts.append(np.array([places.setdefault(sight, len(places)) for sight in own])[each.of])
        yield _which(ways[0].runs, grids, list(places), np.concatenate(parts), weight)


def _which(
    runs: tuple[str, ...], grids: tuple[NDArray[np.int8] | None, ...], sights: Sequence[Sight], of: Numbers,
    weight: Belief,
) -> tuple[Ask | None, Chances]:  # fmt: skip
    """Which of the likeliest sights, where each class gives one; None where there is but one."""
    if len(sights) < 2:
        return None, np.empty((0, 0))
    heaviest = np.argsort(-np.bincount(of, weights=weight, minlength=len(sights)), kind="stable")[:OFFERED]
    ask = which_of(runs, tuple(sights[n] for n in heaviest), grids)
    answer = np.full(len(sights), len(heaviest))
    answer[heaviest] = np.arange(len(heaviest))
    return ask, np.eye(len(ask.answers))[answer[of]]


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

    @property
    def worth(self) -> float:
        """Bits for the price."""
        return self.bits / self.ask.price


def information(chances: Chances, weight: Belief, doubt: float) -> Belief:
    """What questions are expected to tell, in bits (Shannon 1948).

    Args:
        chances: of each answer, "can't tell" last: shape (questions, classes, answers).
        weight: the belief in each class.
        doubt: the part of answers that are wrong.
    """
    real = chances[:, :, :-1]
    if doubt:
        real = (1 - doubt) * real + doubt / (real.shape[2] - 1) * (1 - real)
    answers = weight @ real
    told = -(answers * np.log2(np.where(answers > 0, answers, 1.0))).sum(axis=1)
    noise = -(real * np.log2(np.where(real > 0, real, 1.0))).sum(axis=2) @ weight
    found: Belief = told - noise
    return found


def entropy_bits(belief: Belief) -> float:
    """The entropy of a belief, in bits (Shannon 1948), never below 0."""
    own = belief[belief > 0]
    return max(0.0, float(-(own * np.log2(own)).sum()))


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


def same_as_first(weighed: list[Weighed], places: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which of the classes at some places no question tells from the first of them."""
    same = np.ones(len(places), dtype=bool)
    for one in weighed:
        same &= (np.abs(one.chances[places] - one.chances[places[0]]) < 1e-9).all(axis=1)
    return same
