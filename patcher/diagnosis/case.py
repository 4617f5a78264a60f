"""A diagnosis from outside: start it for a thing, ask, tell, and read what was found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from patcher.diagnosis import question_words
from patcher.diagnosis.any_number import with_counts
from patcher.diagnosis.engine import Engine
from patcher.diagnosis.hypotheses import Hypothesis, likeliest_first
from patcher.diagnosis.information import entropy_bits
from patcher.diagnosis.question_frame import Frame, Seen
from patcher.diagnosis.scene import scene_of
from patcher.diagnosis.unknown import Known
from patcher.errors import choose_from, refuse
from patcher.eye import CANNOT_TELL, Ask, Eye
from patcher.faults import Fault, planned
from patcher.patch.patch import Patch
from patcher.wiring import Wiring

CANNOT_TELL_KEY = "?"
MOST_QUESTIONS = 60
"""So many questions are asked at most; then what is likeliest is named, and that it is not sure."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer that may be given: the key for it, and its words."""

    key: str
    says: str


@dataclass(frozen=True, eq=False)
class Question:
    """A frame to send and what to ask of it.

    Attributes:
        frame: the frame: `frame.levels(universes, step)` are slots to send, `frame.says` what a sound thing would show.
        ask: what is asked, for an eye.
        asks: the same, for a person.
        answers: what may be said, by keys; the key `?` is "can't tell".
    """

    frame: Frame
    ask: Ask
    asks: str
    answers: tuple[Answer, ...]

    def needs(self, key: str) -> int:
        """How many passes must have begun before the answer of that key can be true, as in `Ask.needs`."""
        places = [place for place, answer in enumerate(self.answers) if answer.key == key]
        return self.ask.needs[places[0]] if self.ask.needs and places else 0


def question(wiring: Wiring, frame: Frame, ask: Ask, *, before: str = "") -> Question:
    """A frame and an ask as a question with words and keys; `before`: how it was answered already."""
    keys = [*(str(number) for number in range(1, len(ask.answers))), CANNOT_TELL_KEY]
    answers = tuple(Answer(key, says) for key, says in zip(keys, ask.answers, strict=True))
    asks = question_words.asks(wiring.show, ask)
    return Question(frame, ask, question_words.again(asks, before) if before else asks, answers)


class Diagnosis:
    """Which fault is it? Made by `start`.

    Attributes:
        thing: the thing that is diagnosed.
    """

    def __init__(self, wiring: Wiring, thing: str, engine: Engine) -> None:
        """Use `start`."""
        self.thing = thing
        self._wiring = wiring
        self._engine = engine
        self._now: Question | None = None
        self._over = False

    @classmethod
    def start(
        cls, wiring: Wiring, patch: Patch, thing: str, *,
        eye: Eye | None = None, careful: bool = False, begin: Sequence[Seen] = (),
    ) -> Diagnosis:  # fmt: skip
        """Think of everything that could be wrong with a thing.

        Args:
            wiring: the wiring as planned.
            patch: what is typed into its boxes.
            thing: a run, a port, a box or a prop.
            eye: the eye that answers.
            careful: be surer than usual before it ends.
            begin: what was seen already.

        Raises:
            PatcherError: there is no such thing, or nothing of it hangs.
        """
        engine = Engine(scene_of(planned(wiring, patch), thing), eye or Eye(), careful=careful)
        found = cls(wiring, thing, engine)
        for seen in begin:
            engine.tell(seen.frame, seen.ask, seen.answer)
        return found

    @property
    def seen(self) -> Sequence[Seen]:
        """What was asked and answered, in order."""
        return self._engine.told

    @property
    def heard(self) -> bool:
        """Whether any answer says something: one other than "can't tell"."""
        return any(seen.ask.answers[seen.answer] != CANNOT_TELL for seen in self.seen)

    def ask(self) -> Question | None:
        """The next question; None once there is nothing more to ask. Asked again before `tell`, it is the same."""
        if self._now is None and not self._over:
            chosen = self._engine.next() if len(self.seen) < MOST_QUESTIONS else None
            self._over = chosen is None
            if chosen is not None:
                frame, ask = chosen
                said = [seen.ask.answers[seen.answer] for seen in self.seen if seen.asked == (frame.key, ask)]
                self._now = question(self._wiring, frame, ask, before=said[-1] if said else "")
        return self._now

    def tell(self, key: str) -> None:
        """Answer the question that was asked last, by the key or the words of an answer.

        Raises:
            PatcherError: it has no such answer, or none was asked.
        """
        if self._now is None:
            raise refuse("answer", "comes before a question", "ask first")
        places = [n for n, answer in enumerate(self._now.answers) if key in (answer.key, answer.says)]
        if not places:
            keys = [answer.key for answer in self._now.answers]
            raise refuse(f"answer “{key}”", "is not one of the answers", choose_from(key, keys, most=99))
        self._engine.tell(self._now.frame, self._now.ask, places[0])
        self._now = None

    def back(self) -> None:
        """Take the last answer back, and ask that question again."""
        *before, last = self.seen
        engine = Engine(self._engine.scene, self._engine.eye, careful=self._engine.careful)
        for seen in before:
            engine.tell(seen.frame, seen.ask, seen.answer)
        self._engine, self._over = engine, False
        self._now = question(self._wiring, last.frame, last.ask)

    @property
    def sure(self) -> bool:
        """Once `ask` has returned None: whether the belief in `same_look` is as high as it should be."""
        return self._engine.sure

    @property
    def same_look(self) -> tuple[Hypothesis, ...]:
        """What is left: all that looks alike in every frame that may be asked, the likeliest first. A hypothesis is its
        faults; the empty one is the wiring as planned.
        """
        engine = self._engine
        belief = engine.posterior.belief
        done = engine.done if engine.done is not None else np.array([engine.posterior.likeliest])
        ordered = sorted(done.tolist(), key=lambda number: -belief[number])
        members = [hypothesis for number in ordered for hypothesis in engine.members(number)]
        return with_counts(engine.scene.plan, likeliest_first(self._wiring, members))

    @property
    def found(self) -> tuple[Fault, ...]:
        """The likeliest of `same_look`; empty where that is the wiring as planned, and where it is something else."""
        return () if self.something_else else self.same_look[0]

    @property
    def something_else(self) -> bool:
        """Whether no known fault, nor two of them at once, explains what was seen; `same_look` is then the nearest."""
        return self._engine.something_else

    @property
    def unexplained(self) -> tuple[Seen, ...]:
        """What was answered and `same_look` does not explain, each question once: those asked twice, if any were."""
        misfits = self._engine.posterior.misfits
        by_question, often = {told.asked: told for told in misfits}, Counter(told.asked for told in misfits)
        return tuple([told for key, told in by_question.items() if often[key] > 1] or by_question.values())

    @property
    def known(self) -> tuple[Known, ...]:
        """Where runs begin to be otherwise than planned, and where they are as planned again, whatever it is."""
        return self._engine.known if self.something_else else ()

    @property
    def prior_bits(self) -> float:
        """How much was open before anything was asked, in bits."""
        return entropy_bits(self._engine.scene.prior)
