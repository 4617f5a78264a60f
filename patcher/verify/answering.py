"""Whoever answers in a round or a diagnosis: what they are asked, and what they may say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from patcher.stream.levels import Levels
    from patcher.verify.diagnosis import Question
    from patcher.verify.hypotheses import Hypothesis
    from patcher.verify.rounds import Step
    from patcher.wiring import Wiring

Word = Literal["yes", "no", "cannot tell", "back", "skip", "note", "stop"]
Deed = Literal["mended", "write", "leave"]
"""What is done about a fault that was found."""


@dataclass(frozen=True, slots=True)
class Reply:
    """What was said of a step.

    Attributes:
        word: what.
        about: after a no, the things that are not as they should be; empty where that cannot be told.
        text: of a note.
    """

    word: Word
    about: tuple[str, ...] = ()
    text: str = ""


BACK = "b"
"""In place of an answer to a question of the diagnosis: take the last answer back."""


AGAIN = "r"
"""In place of an answer: play what moves again."""


class Answering(Protocol):
    """Whoever answers."""

    def step(self, step: Step, levels: Levels) -> Reply:
        """What is said of a step, whose look has these levels."""

    def question(self, question: Question) -> str | None:
        """The key, or the words, of an answer to a question of the diagnosis; `BACK`; None: stop."""

    def deed(self, *, writable: bool) -> Deed:
        """What is done about what was found; `writable`: whether the show file can be changed instead."""

    def goes_on(self, wiring: Wiring, mended: Sequence[Hypothesis], boxes: Sequence[str]) -> bool:
        """That the show now says this wiring, or that one of these was mended, and that these boxes are typed anew; and
        whether there is somebody to see it.
        """
