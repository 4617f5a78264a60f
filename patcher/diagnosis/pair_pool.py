"""Two faults at once, made when they are needed: a pool of pairs that is refilled from what fits the answers so far.

There are hundreds of thousands of pairs; few of them fit what was seen. After every answer some single faults are
taken as one of the two, and put together with all others: those that fit the answers best by themselves, and those that
are in the likeliest pairs of the pool. The others are ranked by what a frame would show had
it been for the wiring as planned, where it was for what is believed. So a pair is found if one of its two is near one
of those, and gets nearer with every answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.hypotheses import weights
from patcher.diagnosis.moving_views import TakenWays, moved
from patcher.diagnosis.question_frame import Seen
from patcher.diagnosis.scene import Look, Looks, Scene, scene_from
from patcher.eye import Ask, Eye
from patcher.faults import LitChannels, Takes
from patcher.faults.fault import AT_A_PIXEL
from patcher.faults.pairs import Batch, Composer

Belief = NDArray[np.float64]
Likelihood = Callable[[Ask, Belief], Belief]
"""From how likely an eye gives an answer to the logarithm of how likely a person gives it."""

KEPT = 1000
"""Pairs in the pool."""
FITS = 1e-6
"""A pair is kept where it is at least that part as likely as the likeliest hypothesis."""
TURNS = 7
"""Faults that are put together with all others for one question."""
CELLS = 300_000
"""Channels of pixels that are worked out for one question."""
MOST = 120
"""Of the faults at pixels of one run so many are put together with another at a time: those with which every answer
fits one of the two best.
"""
EVENLY = 0.25
"""This part of the belief in two faults is spread over all faults evenly: so rare ones are looked for too."""
FITTING = 400
"""Single faults that fit best, of which some are put together with all others."""
BESIDE, MOST_BESIDE = 12, 1000
"""Faults at no pixel that are put together with one at a time; with that of the likeliest class all are, of very many
those that fit best with it.
"""
AGAIN = 4
"""After so many questions a fault is put together with all others anew: what was left out may fit by now."""
FLOOR = 0.05
"""How likely an answer is taken to be under one of two faults that does not explain it: the other may."""


@dataclass(frozen=True, eq=False)
class Told(Seen):
    """A question that was answered, and how likely its answer was under each class.

    Attributes:
        chances: of that answer, for each class of single faults; 1 where the answer was "can't tell".
        plain: the same had the frame been for pixels that are fed as planned, as which it looks under a pair of what is
            believed and another fault.
    """

    chances: Belief
    plain: Belief


@dataclass(frozen=True, eq=False)
class Pool:
    """Pairs that fit.

    Attributes:
        scene: their classes, with the logarithm of how likely each is apart from what was heard in place of a prior.
        chances: of each answer that was heard, for each class: shape (classes, answers heard).
        parts: the two faults of each class's first pair, by number: shape (classes, 2).
    """

    scene: Scene
    chances: Belief
    parts: NDArray[np.int64]


class Pairs:
    """All pairs of a scene's faults."""

    def __init__(self, scene: Scene, eye: Eye) -> None:
        self.scene = scene
        self._eye = eye
        self._runs = list(scene.variants)
        numbered = [(one[0], n) for n, members in enumerate(scene.classes) for one in members if len(one) == 1]
        self.faults = [fault for fault, _ in numbered]
        self.class_of = np.array([n for _, n in numbered], dtype=np.int64)
        self.weight = _weights(scene)
        self._composer = Composer(scene.plan, self.faults, self._runs, self._alone())
        self._single = set(scene.look_of)
        self._made: dict[int, int] = {}
        self._found: dict[tuple[int, int], tuple[Belief, dict[str, Takes]]] = {}

    def _alone(self) -> list[dict[str, Takes]]:
        """What the pixels of each run take under each fault by itself."""
        planned = {run: takes[0] for run, takes in self.scene.looks.takes.items()}
        found = []
        for number in self.class_of.tolist():
            changed = {run: self.scene.looks.takes[run][variant] for run, variant in self.scene.look_of[number]}
            found.append(planned | changed if changed else planned)
        return found

    def refilled(self, heard: Sequence[Told], likelihood: Likelihood, belief: Belief) -> Pool | None:
        """The pool after some answers.

        Args:
            heard: what was answered, but for "can't tell".
            likelihood: how much an answer counts.
            belief: the logarithm of how likely each single class is.
        """
        if len(self.faults) < 2 or not heard:
            return None
        self._update(heard)
        left, best, likeliest = CELLS, float(belief.max()), int(belief.argmax())
        known = np.maximum(np.column_stack([told.chances for told in heard]), FLOOR)[self.class_of]
        other = np.maximum(known, np.column_stack([told.plain for told in heard])[self.class_of])
        fit = np.log(self.weight) + np.log(known).sum(axis=1)
        in_turn = 1e-6 * ((np.arange(len(fit)) * 0.618034 + len(heard) * 0.381966) % 1.0)
        for one in self._order(heard, fit, likelihood, belief)[:TURNS]:
            if left <= 0:
                break
            self._made[one] = len(heard)
            either = np.log(np.maximum(other, known[one])).sum(axis=1) + in_turn
            beside = MOST_BESIDE if self.class_of[one] == likeliest else BESIDE
            for batch in self._composer.with_all(one, either, MOST, beside):
                left -= sum(each.size for each in batch.takes.values() if each.strides[0])
                best = max(best, self._take(batch, heard, likelihood, best))
        return self._pool(heard, likelihood, best)

    def _update(self, heard: Sequence[Told]) -> None:
        """What was heard since, for the pairs that are there."""
        if not self._found:
            return
        known = len(next(iter(self._found.values()))[0])
        if known == len(heard):
            return
        keys = list(self._found)
        rows = {run: np.stack([self._found[key][1][run] for key in keys]) for run in self._runs}
        fresh = [self._chances(one, rows, self.scene.plan.takes) for one in heard[known:]]
        for place, key in enumerate(keys):
            chances, takes = self._found[key]
            self._found[key] = np.append(chances, [own[place] for own in fresh]), takes

    def _order(self, heard: Sequence[Told], fit: Belief, likelihood: Likelihood, belief: Belief) -> list[int]:
        """Which faults are taken as one of two, in what order: by turns those of the likeliest classes, those in the
        likeliest pairs, and those that fit best by themselves, one for all that nothing heard tells apart.
        """
        top = np.argsort(-belief, kind="stable")[:4].tolist()
        likeliest = [int((self.class_of == number).argmax()) for number in top if number and number in self.class_of]
        keys, scores = self._scores(heard, likelihood)
        of_pairs = [one for place in np.argsort(-scores, kind="stable")[:6].tolist() for one in keys[place]]
        groups = self._groups(fit)
        each = (likeliest, of_pairs, groups[0::2], groups[1::2])
        lists = [list(dict.fromkeys(own)) for own in each]
        turns = [one for turn in zip_longest(*lists) for one in turn if one is not None]
        return [one for one in dict.fromkeys(turns) if self._made.get(one, -AGAIN) <= len(heard) - AGAIN]

    def _groups(self, fit: Belief) -> list[int]:
        """The middle one of all faults of a kind that fit equally well, the best first; those that were taken before
        behind the others.
        """
        rounded = np.round(fit, 3).tolist()
        groups: dict[tuple[str, str, float], list[int]] = {}
        for one in np.argsort(-fit, kind="stable")[:FITTING].tolist():
            fault = self.faults[one]
            place = fault.pixel[0] + fault.value if fault.kind in AT_A_PIXEL else str(fault)
            groups.setdefault((fault.kind, place, rounded[one]), []).append(one)
        middle = [sorted(members)[len(members) // 2] for members in groups.values()]
        return sorted(middle, key=lambda one: self._made.get(one, -1))

    def _scores(self, heard: Sequence[Told], likelihood: Likelihood) -> tuple[list[tuple[int, int]], Belief]:
        """The pairs that are there, and the logarithm of how likely each is."""
        keys = list(self._found)
        if not keys:
            return keys, np.empty(0)
        chances = np.stack([self._found[key][0] for key in keys])
        found = np.log(self.weight[np.array(keys)]).sum(axis=1)
        for place, one in enumerate(heard):
            found += likelihood(one.ask, chances[:, place])
        return keys, found

    def _take(self, batch: Batch, heard: Sequence[Told], likelihood: Likelihood, best: float) -> float:
        """Keep what fits of a batch; how likely the best of it is. No answer makes a pair likelier, so what fits too
        badly already is left out of what is worked out further; what moves is worked out last, as it takes longest.
        """
        least, rows, takes = best + np.log(FITS), np.arange(len(batch.pairs)), batch.takes
        score = np.log(self.weight[batch.pairs]).sum(axis=1)
        columns: dict[int, Belief] = {}
        for place in sorted(range(len(heard)), key=lambda place: (bool(heard[place].frame.goes), -place)):
            columns[place] = self._chances(heard[place], takes, batch.base)
            score = score + likelihood(heard[place].ask, columns[place])
            fits = score > least
            if 2 * np.count_nonzero(fits) <= len(fits):
                rows, score = rows[fits], score[fits]
                columns = {known: own[fits] for known, own in columns.items()}
                takes = {run: _rows(each, fits) for run, each in takes.items()}
            if not len(rows):
                return best
        chances = np.column_stack([columns[place] for place in range(len(heard))])
        top = max(best, float(score.max()))
        fitting = np.flatnonzero(score > top + np.log(FITS))
        for row in fitting[np.argsort(-score[fitting], kind="stable")][:KEPT].tolist():
            one, other = sorted(batch.pairs[rows[row]].tolist())
            self._found[one, other] = chances[row], {run: _row(takes[run], row) for run in self._runs}
        return top

    def _pool(self, heard: Sequence[Told], likelihood: Likelihood, best: float) -> Pool | None:
        keys, score = self._scores(heard, likelihood)
        if not keys:
            return None
        chances = np.stack([self._found[key][0] for key in keys])
        parts = np.array(keys, dtype=np.int64)
        prior = np.log(self.weight[parts]).sum(axis=1)
        kept = np.argsort(-score, kind="stable")[:KEPT]
        kept = kept[score[kept] > best + np.log(FITS)]
        self._found = {keys[n]: self._found[keys[n]] for n in kept}
        chosen, of = [], []
        own = Looks(self.scene.plan, self._runs)
        for n in kept.tolist():
            takes = self._found[keys[n]][1]
            if self.scene.looks.known(takes) not in self._single:
                chosen.append(n)
                of.append(own.of(takes))
        if not chosen:
            return None
        pairs = [(self.faults[a], self.faults[b]) for a, b in parts[chosen].tolist()]
        scene = scene_from(self.scene.plan, self.scene.runs, pairs, np.exp(prior[chosen]).tolist(), own, of)
        first: dict[Look, int] = {}
        for n, look in zip(chosen, of, strict=True):
            first.setdefault(look, n)
        ones = list(first.values())
        return Pool(scene, chances[ones], parts[ones])

    def _chances(self, one: Told, takes: dict[str, Takes], base: Mapping[str, Takes]) -> Belief:
        """How likely the answer was, for what pixels take in many ways, most of them near a base."""
        own = [takes[run] for run in one.ask.runs]
        still = all(each.strides[0] == 0 for each in own)
        if still:
            own = [each[:1] for each in own]
        if one.ask.kind == "alike":
            chances = self._eye.compares(self._evenly(one, own))
        elif one.frame.goes:
            chances = self._moved(one, own, [base[run] for run in one.ask.runs])
        else:
            lit, pairs = LitChannels.of(one.frame.steps[0]), zip(one.ask.runs, own, strict=True)
            chances = self._eye.sees(one.ask, [lit.shades(each, self._letters(run)) for run, each in pairs])
        answer: Belief = chances[:, one.answer]
        if still:
            answer = np.repeat(answer, len(takes[one.ask.runs[0]]))
        return answer

    def _evenly(self, one: Told, takes: Sequence[Takes]) -> Belief:
        """How likely all is found alike, for what pixels take in many ways, in each colour: shape (ways, colours)."""
        found = np.ones((max(len(each) for each in takes), len(one.ask.colours)))
        for place, lit in enumerate(map(LitChannels.of, one.frame.held)):
            for run, each in zip(one.ask.runs, takes, strict=True):
                shown = lit.shades(each if each.strides[0] else each[:1], self._letters(run))
                found[:, place] *= self._eye.evenly(one.ask, place, run, shown)
        return found

    def _letters(self, run: str) -> str:
        return self.scene.variants[run].letters

    def _moved(self, one: Told, takes: Sequence[Takes], base: Sequence[Takes]) -> Belief:
        lit, at = np.unique(one.frame.stacked, return_inverse=True)
        number = np.full(int(max(lit.max(), *(each.max() for each in (*takes, *base)))) + 3, len(lit), dtype=np.int32)
        number[lit] = np.arange(len(lit))
        taken = taken_of(takes, base, number, len(lit))
        return moved(self._eye, one.ask, at.reshape(one.frame.stacked.shape), taken)


def likelihood_of(doubt: float) -> Likelihood:
    """The logarithm of how likely a person, who is wrong so often, gives an answer that an eye gives with a chance."""

    def found(ask: Ask, chances: Belief) -> Belief:
        logs: Belief = np.log((1 - doubt) * chances + doubt / max(1, len(ask.answers) - 2) * (1 - chances))
        return logs

    return found


def _row(takes: Takes, row: int) -> Takes:
    """One of many, by itself, so that the many need not be kept."""
    found: Takes = takes[row] if takes.strides[0] == 0 else takes[row].copy()
    return found


def _rows(takes: Takes, chosen: NDArray[np.bool_]) -> Takes:
    """Some of many; where all are the same, that is kept so."""
    if takes.strides[0]:
        return takes[chosen]
    return np.broadcast_to(takes[0], (int(chosen.sum()), *takes.shape[1:]))


def _weights(scene: Scene) -> Belief:
    """How likely each fault is as one of two, in the order of the classes."""
    flat = [one for members in scene.classes for one in members]
    each = weights(scene.plan.wiring, flat)
    found = np.array([weight for weight, one in zip(each, flat, strict=True) if len(one) == 1])
    mixed: Belief = (1 - EVENLY) * found + EVENLY * found.sum() / len(found)
    return mixed


def taken_of(
    takes: Sequence[Takes], base: Sequence[Takes], number: NDArray[np.int32], channels: int
) -> list[TakenWays]:
    """What runs take in many ways, and a base that they differ little from, as numbers of channels."""
    found = []
    for each, own in zip(takes, base, strict=True):
        many = each.strides[0] != 0
        ways = np.concatenate([own[None], each]) if many else each[:1]
        of = np.arange(1, len(each) + 1) if many else np.zeros(len(each), dtype=np.int64)
        index = number[ways]
        loses = ((index == index[0]) | (ways < 0)).all(axis=(1, 2))
        found.append(TakenWays(index.transpose(2, 0, 1), of, loses, channels))
    return found
