"""Something else: the hypothesis that what is there is none of the known faults.

Each question has a true answer, and it is the same when the question is asked again. Mostly it is that of the nearest
known class; else it is any answer, each as likely. So one slip of the eye speaks for it little, and the same answer
given twice, which no known class explains, speaks for it much.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from patcher.diagnosis.information import Belief
from patcher.diagnosis.moving_questions import IN_TURN, quarters
from patcher.diagnosis.pair_pool import Told
from patcher.diagnosis.question_frame import Frame
from patcher.diagnosis.questions import Repertoire
from patcher.eye import CANNOT_TELL, Ask

PRIOR = 0.02
"""How likely it is before anything was asked. No source."""
DEPARTS = 0.3
"""The part of questions to which its true answer is not that of the nearest known class. No source."""
NARROW = 4
"""A place is narrowed down to so many pixels."""
MOST = 4
"""So many questions at most narrow a place, from one end of a run."""
RUNS = 3
"""So many runs at most are looked through."""

Asked = tuple[Frame, Ask]


def log_weight(prior: Belief, heard: Sequence[Told], doubt: float) -> float:
    """The logarithm of its prior times how likely it gives the answers that were heard.

    Args:
        prior: how likely each known class is before anything was asked.
        heard: what was answered, but for "can't tell".
        doubt: the part of answers that are wrong.
    """
    logs, by_question = np.log(prior), dict[tuple[int, Ask], list[Told]]()
    for told in heard:
        by_question.setdefault(told.asked, []).append(told)
    for same in by_question.values():
        others = max(1, len(same[0].ask.answers) - 2)
        by_answer = {told.answer: told.chances for told in same}
        left, found = np.ones(len(prior)), np.zeros(len(prior))
        for answer, chances in by_answer.items():
            true = (1 - DEPARTS) * chances + DEPARTS / (others + 1)
            given = [1 - doubt if told.answer == answer else doubt / others for told in same]
            found, left = found + true * np.prod(given), left - true
        logs = logs + np.log(found + np.maximum(left, 0.0) * (doubt / others) ** len(same))
    most = float(logs.max())
    return float(np.log(PRIOR) + most + np.log(np.exp(logs - most).sum()))


@dataclass(frozen=True, slots=True)
class Known:
    """What two pixels that step along a run show of it, whatever is wrong there. Pixels count from 1.

    Attributes:
        run: the run.
        begins: between which pixels it begins to be otherwise than planned, coming from its first; None: nowhere.
        ends: between which pixels it is as planned again, coming from its last; None: not looked for, or nowhere.
        none: whether the two were never there.
    """

    run: str
    begins: tuple[int, int] | None = None
    ends: tuple[int, int] | None = None
    none: bool = False


def places(repertoire: Repertoire, runs: Sequence[str], told: Sequence[Told]) -> tuple[tuple[Known, ...], Asked | None]:
    """Where each of some runs begins to be otherwise than planned, and where it is as planned again, as far as answers
    tell; and the next question that narrows it, None where there is none.
    """
    found, said = list[Known](), {one.asked: one.answer for one in told}
    for run in runs[:RUNS]:
        begins, question = _narrowed(repertoire, run, said, back=False)
        if question is not None:
            return tuple(found), question
        if begins is None or begins == NOWHERE:
            found += [] if begins is None else [Known(run, none=True)]
            continue
        ends = None
        if begins[1]:
            ends, question = _narrowed(repertoire, run, said, back=True)
            if question is not None:
                return tuple(found), question
        found.append(Known(run, begins if begins[1] else None, ends if ends and ends[1] and ends != NOWHERE else None))
    return tuple(found), None


NOWHERE = (-1, -1)
"""The two pixels never stood together."""


def _narrowed(
    repertoire: Repertoire, run: str, answers: Mapping[tuple[int, Ask], int], *, back: bool
) -> tuple[tuple[int, int] | None, Asked | None]:
    """From one end of a run, between which pixels two that step along it first come apart: (0, 0) where they never do,
    None where nobody can tell; and the question to ask first.
    """
    count = repertoire.scene.variants[run].pixels
    open_ = _parts(repertoire, run, 0, count)
    low, high = 0, count
    left = open_[::-1] if back else open_
    narrowed = 0
    while left and narrowed < MOST:
        (low, high), left = left[0], left[1:]
        bounds = quarters(low, high)
        candidate = repertoire.two(run, bounds, IN_TURN, back=back)
        if candidate is None:
            continue
        frame, ask = candidate.frame, candidate.asks[0]
        said = answers.get((frame.key, ask))
        if said is None:
            return None, (frame, ask)
        passes = repertoire.passes(run, bounds, back=back)
        if ask.answers[said] == CANNOT_TELL:
            return None, None
        if said > len(passes):
            return (NOWHERE if len(open_) == 1 and not narrowed else _pixels(low, high, count)), None
        if said == len(passes):
            if narrowed:
                break
            continue
        own = passes[said]
        low, high, narrowed = int(own.min()), int(own.max()) + 1, narrowed + 1
        left = [] if high - low <= NARROW else [(low, high)]
    return (_pixels(low, high, count) if narrowed else (0, 0)), None


def _pixels(low: int, high: int, count: int) -> tuple[int, int]:
    """The first and the last pixel, from 1, of two that step from `low` up to `high`."""
    return low + 1, min(high + 1, count)


def _parts(repertoire: Repertoire, run: str, low: int, high: int) -> list[tuple[int, int]]:
    """A stretch in as few equal parts as two pixels can step along in the time of one question."""
    if high - low <= NARROW or repertoire.two(run, quarters(low, high), IN_TURN) is not None:
        return [(low, high)]
    middle = (low + high) // 2
    return [*_parts(repertoire, run, low, middle), *_parts(repertoire, run, middle, high)]
