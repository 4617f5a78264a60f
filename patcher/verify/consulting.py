"""The talk of a diagnosis: its questions, what was found, what to do about it both ways, and the look that confirms."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from patcher.errors import PatcherError

if TYPE_CHECKING:
    from patcher.faults import Fault, Planned
    from patcher.verify import Diagnosis, Seen
    from patcher.verify.answering import Answering
    from patcher.verify.hypotheses import Hypothesis
    from patcher.verify.rewriting import Rewritten
    from patcher.verify.rounds import Step
    from patcher.wiring import Wiring

MOST_NAMED = 6
MOST_TRIED = 12
"""Of so many faults that look alike the first that the show file can say is offered."""
CAUTION = "Supply off at its plug before a box is opened or a wire is touched; both feet on the ground to solder."
TEST_LEVEL = 0.3


@dataclass
class Consulting:
    """A talk about one show.

    Attributes:
        path: the show file.
        plan: its wiring and patch.
        answering: who answers.
        say: prints a line.
        stopped: whether who answers has stopped before the end.
        assumed: the hypothesis for which the show file would be changed.
        seen: what the last look has shown to be as it should be, so that it is not asked again.
    """

    path: Path
    plan: Planned
    answering: Answering
    say: Callable[[str], None]
    stopped: bool = False
    asked: int = field(default=0, init=False)
    assumed: Hypothesis = field(default=(), init=False)
    seen: tuple[Seen, ...] = field(default=(), init=False)

    @property
    def wiring(self) -> Wiring:
        """The wiring as planned."""
        return self.plan.wiring

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """The looks of the whole show."""
        from patcher.verify.confirming import steps_of

        return steps_of(self.plan)

    def ask(self, thing: str, *, careful: bool = False, begin: Sequence[Seen] = ()) -> Diagnosis:
        """Ask until nothing more can be told, or someone stops."""
        from patcher.verify import Diagnosis
        from patcher.verify.answering import BACK
        from patcher.verify.handing import about
        from patcher.verify.hypotheses import runs_of

        known = about((*begin, *self.seen), runs_of(self.wiring, self.plan.patch, thing))
        diagnosis = Diagnosis.start(self.wiring, self.plan.patch, thing, careful=careful, begin=known)
        self.asked = 0
        while (question := diagnosis.ask()) is not None:
            self.say(f"{self.asked + 1:>3}  Sent: {question.frame.says}")
            self.say(f"     {question.asks}")
            key = self.answering.question(question)
            if key is None:
                self.stopped = True
                break
            if key == BACK:
                if self.asked:
                    diagnosis.back()
                    self.asked -= 1
                continue
            self.asked += 1
            diagnosis.tell(key)
            seen = diagnosis.seen[-1]
            self.say(f"     → {seen.ask.answers[seen.answer]}")
        return diagnosis

    def say_found(self, diagnosis: Diagnosis) -> None:
        """Name all that looks alike, and never one of it as if it were sure."""
        alike = [name(faults) for faults in diagnosis.same_look]
        asked = f"{self.asked} question{'s' * (self.asked != 1)}"
        if self.stopped:
            likeliest = alike[0] if diagnosis.found else "it is as planned"
            self.say(f"\nNot sure after {asked}, for it was stopped. Likeliest so far: {likeliest}.")
        elif not diagnosis.sure:
            self.say(f"\nNot sure after {asked}. Likeliest: {alike[0]}; still open: {diagnosis.entropy_bits:.1f} bits.")
            self.say("  Two faults at once can look so: mend what is likeliest, then ask again.")
        elif not diagnosis.found:
            self.say(f"\n{diagnosis.thing} is wired as planned, after {asked}.")
        else:
            self.say(f"\nFound after {asked}: {alike[0]}")
        if len(alike) > 1 and not self.stopped:
            more = f" and {len(alike) - MOST_NAMED} more" * (len(alike) > MOST_NAMED)
            self.say(f"  No look tells it from: {', '.join(alike[1:MOST_NAMED])}{more}")

    def say_remedies(self, same: Sequence[Hypothesis]) -> Rewritten | None:
        """What to do about the likeliest of what looks alike, both ways; the show file as it could be, if it can."""
        from patcher.verify.remedies import far_end, remedy

        for fault in same[0]:
            todo = remedy(str(self.path), self.wiring, fault)
            self.say(f"  By hand: {todo.mend}.")
            if todo.causes:
                self.say("  Usual causes, the likeliest first:" if len(todo.causes) > 1 else "  Usual cause:")
            for number, cause in enumerate(todo.causes, start=1):
                self.say(f"    {number}. {cause}")
            if fault.kind == "flicker":
                for volts in far_end(str(self.path), self.wiring, [fault.lamp[0]], fault.lamp[1] + 1):
                    self.say(f"       Voltage: {volts}.")
            if todo.tells:
                self.say(f"  To tell which: {todo.tells}.")
        found = self._say_lines(same)
        self.say(f"  {CAUTION}")
        return found

    def _say_lines(self, same: Sequence[Hypothesis]) -> Rewritten | None:
        from patcher.show.files import read_text
        from patcher.verify.edits import UNSAID
        from patcher.verify.rewriting import rewritten

        text, why = read_text(self.path), ""
        for faults in same[:MOST_TRIED]:
            try:
                found = rewritten(text, self.plan, faults)
            except PatcherError as error:
                why = why or error.findings[0].says.removeprefix(UNSAID)
                continue
            self.assumed = faults
            instead = "" if faults == same[0] else f" (for {name(faults)})"
            self.say(f"  Or leave it, and change {self.path.name}{instead}:")
            for number, line in found.lines:
                if line.strip():
                    self.say(f"    line {number}: {line.strip()}")
            if found.boxes:
                self.say(f"    and type {', '.join(found.boxes)} anew: patcher patch {self.path} says what")
            if found.moved:
                self.say(f"    and tell the player of {', '.join(found.moved)}: patcher patch {self.path} --player")
            if found.counted:
                self.say(f"    and see {', '.join(found.counted)}: its pixels then count from another place")
            return found
        self.say(f"  Not in the show file: {why}.")
        return None

    def say_not_wiring(self, thing: str) -> None:
        """What else it may be, where the wiring is as planned."""
        from patcher.verify.hypotheses import runs_of
        from patcher.verify.remedies import not_wiring

        runs = runs_of(self.wiring, self.plan.patch, thing)
        self.say("  If something still looks wrong, it is not the wiring. Usual causes, the likeliest first:")
        for symptom in not_wiring(str(self.path), self.wiring, runs):
            self.say(f"  {symptom.sees}:")
            for number, cause in enumerate(symptom.causes, start=1):
                self.say(f"    {number}. {cause}")
            self.say(f"    To tell which: {symptom.tells}.")

    def last_look(self, same: Sequence[Hypothesis]) -> Step | None:
        """The look that shows best whether these are mended; None where none does."""
        from patcher.verify.confirming import confirming

        return confirming(self.plan, self.steps, same)

    def confirm(self, look: Step) -> bool | None:
        """Show the look of that name as this show has it, and whether it is as it should be; None: nobody says."""
        from patcher.stream.levels import levels
        from patcher.verify.handing import seen_of

        step = next((step for step in self.steps if step.name == look.name), look)
        self.say(f"\nThe last look, {step.name}:")
        self.say(f"  {step.where}")
        for subject in step.subjects:
            self.say(f"    {subject.says}")
        universes = sorted({universe for own in self.plan.universes.values() for universe in own})
        reply = self.answering.step(step, levels(step.look, self.wiring, self.plan.patch, universes, TEST_LEVEL))
        said = {"yes": True, "no": False}.get(reply.word)
        if said:
            self.seen = seen_of(self.plan, step, [subject.thing for subject in step.subjects])
        words = "not confirmed" if said is None else "yes: confirmed on the wire" if said else "no: it is not so yet"
        self.say(f"     → {words}")
        return said


def name(faults: Sequence[Fault]) -> str:
    """A hypothesis in words."""
    return " + ".join(map(str, faults)) or "none"


def write(path: Path, found: Rewritten) -> list[str]:
    """Change the show file and, where there is one, the patch file; both or none. What was written.

    Raises:
        PatcherError: one of them cannot be written; both are as they were.
    """
    from patcher.address.files import dump, patch_path
    from patcher.show.writing import as_read, write_together

    kept = as_read(patch_path(path))
    texts = {path: found.text} | {of_patch: dump(found.patch) for of_patch, said in kept.items() if said is not None}
    write_together({path: found.old, **kept}, texts)
    return list(map(str, texts))
