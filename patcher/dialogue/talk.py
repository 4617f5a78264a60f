"""A diagnosis and what follows from it, again and again until no fault is found or the thing is left as it is."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path

from patcher.diagnosis.case import Diagnosis
from patcher.diagnosis.question_words import asks
from patcher.dialogue.answerer import Answering
from patcher.dialogue.consultation import Consulting, write
from patcher.errors import PatcherError, refuse
from patcher.faults import codes, planned
from patcher.patch.patch import Patch
from patcher.remedies.rewrite import Rewritten
from patcher.walk.step import Step
from patcher.wiring import Wiring

Hands = Callable[[Wiring, Patch], AbstractContextManager[Answering]]
"""Whoever answers, for as long as a wiring and its patch are what is shown."""


@dataclass
class Talk:
    """One diagnosis after another, until no fault is found or the thing is left as it is.

    Attributes:
        show: the show file.
        thing: what it is about.
        careful: ask more before deciding.
        write: change the show file without being asked to.
        say: prints a line.
        practice: whether simulated boxes are looked at.
        questions: what was asked and answered, for scripts.
        mended: faults that were fixed, confirmed by a last step.
        wrote: files that were changed.
        confirmed: what the last step said; None where there was none.
        sound: whether the thing is, at the end, as the show file has it.
        told: the last diagnosis that found something, else the last.
    """

    show: Path
    thing: str
    careful: bool
    write: bool
    say: Callable[[str], None]
    practice: bool = False
    questions: list[dict[str, str]] = field(default_factory=list)
    mended: list[str] = field(default_factory=list)
    wrote: list[str] = field(default_factory=list)
    confirmed: bool | None = None
    sound: bool = False
    told: Diagnosis | None = None

    def go(self, wiring: Wiring, patch: Patch, hands: Hands) -> None:
        """Ask, say what was found, and once that is fixed ask again: a cut hides what lies behind it."""
        look: Step | None = None
        while True:
            with hands(wiring, patch) as who:
                consulting = Consulting(self.show, planned(wiring, patch), who, self.say, self.practice)
                if look and not self._confirm(consulting, look):
                    return
                diagnosis = self._ask(consulting)
                if not diagnosis.found or not diagnosis.sure:
                    return
                look, change = self._fix(consulting, diagnosis, who)
            if look is None:
                return
            if change is not None:
                wiring, patch = change.wiring, change.patch

    def _ask(self, consulting: Consulting) -> Diagnosis:
        diagnosis = consulting.ask(self.thing, careful=self.careful)
        show = consulting.wiring.show
        self.questions += [
            {"frame": seen.frame.says, "asks": asks(show, seen.ask), "answer": seen.ask.answers[seen.answer]}
            for seen in diagnosis.seen[len(diagnosis.seen) - consulting.asked :]
        ]
        if diagnosis.found or diagnosis.something_else or self.told is None:
            self.told = diagnosis
        self.sound = diagnosis.sure and not diagnosis.found
        consulting.say_found(diagnosis)
        if self.sound:
            consulting.say_not_wiring(self.thing)
        return diagnosis

    def _fix(
        self, consulting: Consulting, diagnosis: Diagnosis, who: Answering
    ) -> tuple[Step | None, Rewritten | None]:
        """Say what to do, and take what is done: the last step, where there is one, and the changed show."""
        same = diagnosis.same_look
        change = consulting.say_remedies(same)
        if self.write and (change is None or consulting.assumed != same[0]):
            raise refuse("--write", "the show file cannot say it", "fix the fault itself")
        deed = "write" if self.write else who.deed(writable=change is not None)
        if deed == "leave":
            return None, None
        step = consulting.last_look(same)
        if deed == "write" and change is not None:
            self.wrote = list(dict.fromkeys([*self.wrote, *write(self.show, change, self.say, practice=self.practice)]))
            seen = who.goes_on(change.wiring, (), change.boxes)
            return (step if seen else None), change
        return (step if who.goes_on(consulting.wiring, same, ()) else None), None

    def _confirm(self, consulting: Consulting, look: Step) -> bool:
        """Show the last step; whether to ask again."""
        self.confirmed = consulting.confirm(look)
        if self.confirmed and self.told is not None:
            self.mended.append(" + ".join(map(str, self.told.found)))
        self.sound = False
        if self.confirmed is None:
            return False
        self.say("\nAsking again, for a fault that this one may have hidden:" if self.confirmed else "\nAsking again:")
        return True

    def document(self) -> dict[str, object]:
        """The questions, what was found and what was done, for scripts."""
        if self.told is None:
            raise PatcherError
        return {
            "questions": self.questions,
            "found": [str(fault) for fault in self.told.found],
            "same_look": [] if self.told.something_else else [codes(faults) for faults in self.told.same_look],
            "sure": self.told.sure,
            "something_else": self.told.something_else,
            "nearest": [str(fault) for fault in self.told.same_look[0]] if self.told.something_else else [],
            "unexplained": [
                {"frame": seen.frame.says, "answer": seen.ask.answers[seen.answer]} for seen in self.told.unexplained
            ] if self.told.something_else else [],
            "known": [{"run": one.run, "begins": one.begins, "ends": one.ends} for one in self.told.known],
            "entropy_bits": round(self.told.prior_bits, 4),
            "mended": self.mended, "confirmed": self.confirmed, "wrote": self.wrote,
        }  # fmt: skip
