"""Whoever answers in a walk-through or a diagnosis: what they are asked, and what they may say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from patcher.diagnosis.case import Question
    from patcher.diagnosis.hypotheses import Hypothesis
    from patcher.frames.levels import Levels
    from patcher.walk.step import Step
    from patcher.wiring import Wiring

Word = Literal["yes", "no", "cannot tell", "back", "skip", "note", "stop", "resume"]
Deed = Literal["mended", "write", "leave"]
"""What is done about a fault that was found."""


@dataclass(frozen=True, slots=True)
class Reply:
    """What was said of a step.

    Attributes:
        word: what.
        about: after a no, the things that are wrong; empty where that cannot be told. Of `resume` the thing whose
            diagnosis was stopped and goes on.
        text: of a note.
        look: after a no, in which of the step's looks it was seen, from 0.
        whole: whether all looks of the step were shown by then; else a no says nothing of its other things.
    """

    word: Word
    about: tuple[str, ...] = ()
    text: str = ""
    look: int = 0
    whole: bool = True


BACK = "b"
"""In place of an answer to a question of the diagnosis: take the last answer back."""

AGAIN = "r"
"""In place of an answer: play what moves again."""


class Answering(Protocol):
    """Whoever answers."""

    def step(self, step: Step, sent: Sequence[Levels]) -> Reply:
        """What is said of a step, whose looks have these levels; a yes to several only once all were shown and held."""

    def question(self, question: Question) -> str | None:
        """The key, or the words, of an answer to a question of the diagnosis; `BACK`; None: stop."""

    def point(self, run: str, pixels: int, question: Question) -> int | Literal["stop"] | None:
        """The pixel of a run of so many, from 0, that is not as the others, if they can point at it, or that they stop;
        a frame stays lit.
        """

    def deed(self, *, writable: bool) -> Deed:
        """What is done about what was found; `writable`: whether the show file can be changed instead."""

    def take_up(self, things: Sequence[str]) -> str | None:
        """At the end of a walk-through the thing whose diagnosis was stopped and goes on now, if any."""

    def goes_on(self, wiring: Wiring, mended: Sequence[Hypothesis], boxes: Sequence[str]) -> bool:
        """That the show now says this wiring, or that one of these was fixed, and that these boxes have new settings;
        and whether there is somebody to see it.
        """
