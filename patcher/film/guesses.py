"""Faults that may be there, while they are looked for: how much better they explain the lights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from patcher.diagnosis.hypotheses import WEIGHTS
from patcher.faults import Fault
from patcher.film.shown import Shown, alike

PRIOR = 7.0
"""What speaks against any one fault, as a logarithm: one thing in a thousand is wired wrongly."""


@dataclass(frozen=True, eq=False)
class Guess:
    """Faults that may be there.

    Attributes:
        gain: by how much more speaks against them than against those before; below 0 where they are better.
        faults: all of them.
        wired: what each run plays with them.
    """

    gain: float
    faults: tuple[Fault, ...]
    wired: dict[str, Shown]


def with_guess(guesses: Sequence[Guess], more: Guess) -> list[Guess]:
    """Guesses and one more, the best first; of two that look the same the better one."""
    same = [one for one in guesses if all(alike(one.wired[run], more.wired[run]) for run in more.wired)]
    if any(one.gain <= more.gain for one in same):
        return [*guesses]
    return sorted([*(one for one in guesses if one not in same), more], key=lambda one: one.gain)


def kind(guess: Guess) -> str:
    """Of what kind the last fault of a guess is."""
    return guess.faults[-1].kind


def seldom(fault: Fault) -> float:
    """What speaks against a fault before anything is seen: the more, the more it is off by."""
    far = 2 * float(np.log(max(1, abs(int(fault.value))))) if fault.kind in ("shift", "universe-shift") else 0.0
    return PRIOR + far - 0.5 * float(np.log(WEIGHTS[fault.kind] / WEIGHTS["none"]))
