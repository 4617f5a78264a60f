"""One belief after some answers: single faults, two faults at once, and something else. Any answer may be wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.information import Belief, normalised
from patcher.diagnosis.pair_pool import Pairs, Pool, Told, likelihood_of
from patcher.diagnosis.scene import Scene
from patcher.diagnosis.unknown import log_weight
from patcher.eye import CANNOT_TELL

DOUBT, LITTLE_DOUBT = 0.1, 0.04
"""The part of answers that are taken to be wrong: once no single fault explains all of them, and before. No source."""
PAIR = 2.0
"""Two faults are met so often, against what their weights multiply to. No source: measured, so that pairs are found."""
PAIRED = 0.5
"""Pairs are thought of once one class of single faults is believed so much, or none explains every answer."""
MISFIT = 0.01
"""An answer less likely than that contradicts a class."""
MOST_WRONG = 0.25
"""What needs more than this part of the answers to be wrong is never sure."""


@dataclass(frozen=True, eq=False)
class Posterior:
    """How likely everything is after some answers.

    Attributes:
        heard: the answers, but for "can't tell".
        chances: how likely each class lets the eye give each of them, those of single faults first, then those of the
            pool: shape (classes, answers).
        pool: pairs of faults that fit the answers; None before they are thought of.
        belief: how likely each class is if the fault is a known one; sums to 1.
        unknown: how likely it is that it is none of the known ones.
        contradicted: whether no single fault explains every answer.
        doubt: the part of answers that are taken to be wrong: more once that is so.
    """

    heard: tuple[Told, ...]
    chances: Belief
    pool: Pool | None
    belief: Belief
    unknown: float
    contradicted: bool
    doubt: float

    @cached_property
    def likeliest(self) -> int:
        """The likeliest class."""
        return int(self.belief.argmax())

    @property
    def misfits(self) -> list[Told]:
        """What was answered and the likeliest class does not explain."""
        chances = self.chances[self.likeliest]
        return [told for told, chance in zip(self.heard, chances, strict=True) if chance < MISFIT]

    @property
    def confirmed(self) -> int:
        """How many questions were answered twice alike, and otherwise than the likeliest class explains."""
        given = Counter((told.asked, told.answer) for told in self.misfits)
        return sum(count > 1 for count in given.values())

    @property
    def strained(self) -> bool:
        """Whether the likeliest class holds only if more answers were wrong than a person gives: three faults at once
        look so.
        """
        return len(self.misfits) > max(1.0, MOST_WRONG * len(self.heard))

    @property
    def alike(self) -> NDArray[np.int64]:
        """The likeliest class, and behind it those of which every answer so far was as likely, the likeliest first."""
        same = np.flatnonzero((np.abs(self.chances - self.chances[self.likeliest]) < 1e-9).all(axis=1))
        ordered = same[np.argsort(-self.belief[same], kind="stable")]
        return np.concatenate([[self.likeliest], ordered[ordered != self.likeliest]])


def posterior(scene: Scene, pairs: Pairs, told: Sequence[Told], before: Posterior | None) -> Posterior:
    """The belief after some answers, by Bayes' rule.

    Args:
        scene: the classes of single faults, and of none.
        pairs: all pairs of its faults; its pool is refilled.
        told: what the eye has said.
        before: the belief after fewer answers; None: before any.
    """
    heard = tuple(answer for answer in told if answer.ask.answers[answer.answer] != CANNOT_TELL)
    chances = np.column_stack([np.empty((len(scene.prior), 0)), *(answer.chances for answer in heard)])
    contradicted = bool(((chances < MISFIT).any(axis=1)).all())
    doubt = DOUBT if contradicted else LITTLE_DOUBT
    likelihood = likelihood_of(doubt)
    logs = np.log(scene.prior) + sum(likelihood(answer.ask, answer.chances) for answer in heard)
    pool = before.pool if before is not None else None
    if pool is not None or contradicted or float(normalised(logs).max()) >= PAIRED:
        pool = pairs.refilled(heard, likelihood, logs)
    if pool is not None:
        of_pairs = np.log(pool.scene.prior * PAIR)
        for place, answer in enumerate(heard):
            of_pairs += likelihood(answer.ask, pool.chances[:, place])
        logs, chances = np.concatenate([logs, of_pairs]), np.concatenate([chances, pool.chances])
    most = float(logs.max())
    known = most + float(np.log(np.exp(logs - most).sum()))
    unknown = 1.0 / (1.0 + float(np.exp(known - log_weight(scene.prior, heard, doubt))))
    return Posterior(heard, chances, pool, normalised(logs), unknown, contradicted, doubt)
