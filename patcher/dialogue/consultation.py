"""A diagnosis while it runs: its questions, what was found, how to fix it, and the step that confirms the fix."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from patcher.diagnosis.case import Diagnosis
from patcher.diagnosis.hypotheses import runs_of
from patcher.diagnosis.place_words import listed
from patcher.dialogue.answerer import BACK
from patcher.dialogue.handover import about, seen_of
from patcher.dialogue.remedy_words import place_of, say_causes, say_remedies
from patcher.faults import departure, in_words
from patcher.frames.levels import levels
from patcher.patch.patch_file import dump, patch_path
from patcher.patch.thing import called, split
from patcher.remedies.close_look import close_look, dark_by_address, take_the_same
from patcher.remedies.confirmation import confirming, steps_of
from patcher.remedies.remedies import not_wiring, start_far_off
from patcher.show.writer import as_read, write_together
from patcher.trade import TEST_LEVEL
from patcher.visible import argument, sent_from
from patcher.walk.unproved import cannot_be_seen

if TYPE_CHECKING:
    from patcher.diagnosis.hypotheses import Hypothesis
    from patcher.diagnosis.question_frame import Seen
    from patcher.diagnosis.unknown import Known
    from patcher.dialogue.answerer import Answering
    from patcher.faults import Planned
    from patcher.remedies.rewrite import Rewritten
    from patcher.walk.step import Step
    from patcher.wiring import Wiring

MOST_NAMED = 6
PRACTISED = (
    "This was practice: the fault was one of the simulated boxes, and your show file now says that your house is wired "
    "so. If it is not, take the change back. To practise with changes to the file, work on a copy of it."
)


@dataclass
class Consulting:
    """A diagnosis of a thing of one show, told to whoever answers.

    Attributes:
        path: the show file.
        plan: its wiring and patch.
        answering: who answers.
        say: prints a line.
        practice: whether simulated boxes are looked at.
        stopped: whether who answers has stopped before the end.
        asked: how many questions were answered.
        assumed: the hypothesis for which the show file would be changed.
        seen: what the confirming step has shown to be right, so that it is not asked again.
    """

    path: Path
    plan: Planned
    answering: Answering
    say: Callable[[str], None]
    practice: bool = False
    stopped: bool = field(default=False, init=False)
    asked: int = field(default=0, init=False)
    assumed: Hypothesis = field(default=(), init=False)
    seen: tuple[Seen, ...] = field(default=(), init=False)

    @property
    def wiring(self) -> Wiring:
        """The wiring as planned."""
        return self.plan.wiring

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """The steps of a walk-through of the whole show."""
        return steps_of(self.plan)

    def ask(self, thing: str, *, careful: bool = False, begin: Sequence[Seen] = ()) -> Diagnosis:
        """Ask until nothing more can be told, or someone stops."""
        known = about((*begin, *self.seen), runs_of(self.wiring, self.plan.patch, thing))
        diagnosis = Diagnosis.start(self.wiring, self.plan.patch, thing, careful=careful, begin=known)
        self.asked = 0
        while (question := diagnosis.ask()) is not None:
            self.say(f"{self.asked + 1:>3}  {question.frame.says}")
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
        """Name all that looks the same, and never one of it as if it were sure."""
        likeliest = in_words(diagnosis.same_look[0], self.wiring)
        asked = f"{self.asked} question{'s' * (self.asked != 1)}"
        if not (diagnosis.heard or diagnosis.sure):
            only = ", with no answer but “can't tell”" if self.asked else ""
            self.say(f"\n{'Stopped' if self.stopped else 'Ended'} after {asked}{only}: nothing is known yet.")
            self.say("  Look from nearer, or in the dark, or have somebody else look; then run diagnose again.")
            return
        if self.stopped:
            so_far = in_words(diagnosis.found, self.wiring)
            self.say(f"\nStopped after {asked}, before it was sure. Most likely so far: {so_far}.")
            return
        if diagnosis.something_else:
            self.say(f"\nSomething else, after {asked}: no fault that Patcher knows explains it, nor do two together.")
            self._say_known(diagnosis)
            return
        if not diagnosis.sure:
            self.say(f"\nNot sure after {asked}. Most likely: {likeliest}.")
            self.say("  Several faults at once can look like this: fix the most likely one, then run diagnose again.")
        elif not diagnosis.found:
            self.say(f"\n{diagnosis.thing} is wired as planned, after {asked}.")
        else:
            self.say(f"\nFound after {asked}: {likeliest}")
        self._say_alike(diagnosis.same_look)

    def _say_alike(self, same: Sequence[Hypothesis]) -> None:
        """What looks the same as what was found, and what tells it apart; what changes no pixel is said by its kind."""
        seen = self._seen(same)
        unseen = [faults for faults in same if faults not in seen]
        tells = self._tells_apart(seen)
        far_off = [start_far_off(self.wiring, faults[0]) for faults in seen if len(faults) == 1]
        alike = [*filter(None, far_off), *(in_words(faults, self.wiring) for faults in seen[1:])]
        apart = "" if take_the_same(self.plan, seen) else " from ten metres"
        never = "; no test frame can tell them apart" * (not tells)
        if alike[1:]:
            self.say(f"  {'' if tells else 'No test frame can tell these apart. '}Looks the same{apart} as:")
            for says in alike[: MOST_NAMED - 1]:
                self.say(f"    {says}")
            if alike[MOST_NAMED - 1 :]:
                self.say(f"    and {len(alike) - MOST_NAMED + 1} more")
        elif alike:
            self.say(f"  Looks the same{apart} as: {alike[0]}{never}")
        for says in tells:
            self.say(f"  {says}")
        for says in cannot_be_seen(dict.fromkeys(fault for faults in unseen for fault in faults)):
            self.say(f"  Cannot be seen: {says}")

    def _seen(self, same: Sequence[Hypothesis]) -> list[Hypothesis]:
        """The likeliest of what looks alike, and those others that change any pixel, or that nothing is wrong."""
        return [*same[:1], *(each for each in same[1:] if not each or departure(self.plan, each).takes)]

    def _tells_apart(self, same: Sequence[Hypothesis]) -> list[str]:
        """What tells apart what a diagnosis cannot, in lines; none where no frame does."""
        sent = sent_from(self.path, practice=self.practice)
        if not same[1:]:
            return []
        if look := close_look(self.plan, same):
            what = f"patcher send steady {sent} --on {look.run}: look from close by at {place_of(self.plan, look)}"
            return [
                f"To tell which: {what}:",
                f"  dark: {_one_of(look.dark, self.wiring)}", f"  lit: {_one_of(look.lit, self.wiring)}",
            ]  # fmt: skip
        if runs := dark_by_address(self.plan, same):
            typed = f"if start addresses are exchanged, {listed(runs)} stay{'s' * (len(runs) == 1)} dark"
            return [f"To tell which: patcher send ports {sent}: it sends each box its own universes alone; {typed}"]
        return (
            [] if take_the_same(self.plan, same) else ["Look from nearer: the same frames may tell them apart there."]
        )

    def _say_known(self, diagnosis: Diagnosis) -> None:
        """What is known all the same, where no known fault explains what was seen."""
        for known in diagnosis.known:
            self.say(f"  {known_in_words(known, self.wiring.show.runs[known.run].pixels)}")
        self.say(f"  Nearest: {in_words(diagnosis.same_look[0], self.wiring)}. It does not explain:")
        for seen in diagnosis.unexplained[:MOST_NAMED]:
            self.say(f"    {seen.frame.says}: {seen.ask.answers[seen.answer]}")
        self.say("  Check the pixels there, their joints, and whether they are all of one type.")
        boxes = {self.wiring.ports[run][0] for run in runs_of(self.wiring, self.plan.patch, diagnosis.thing)}
        for box in sorted(boxes - {split(diagnosis.thing)[1]}):
            named = called("controller", box, self.wiring.show)
            sent = sent_from(self.path, practice=self.practice)
            self.say(f"  What is wrong may lie outside {diagnosis.thing}: patcher diagnose {sent} {named}")
        self.say("  Several faults at once can look like this: fix what you find, then run diagnose again.")

    def say_remedies(self, same: Sequence[Hypothesis]) -> Rewritten | None:
        """How to fix the likeliest of what looks alike, by hand or in the file; the show file as it could be, if it can
        be changed.
        """
        look = close_look(self.plan, self._seen(same))
        change, self.assumed = say_remedies(self.path, self.plan, same, self.say, look=look, practice=self.practice)
        return change

    def say_not_wiring(self, thing: str) -> None:
        """What else it may be, where the wiring is as planned."""
        runs = runs_of(self.wiring, self.plan.patch, thing)
        self.say("  If something still looks wrong, it is not the wiring. Usual causes, most likely first:")
        for symptom in not_wiring(self.path, self.wiring, runs, practice=self.practice):
            self.say(f"  {symptom.says}:")
            say_causes(symptom.causes, symptom.volts, self.say)
            self.say(f"    To tell which: {symptom.tells}.")

    def last_look(self, same: Sequence[Hypothesis]) -> Step | None:
        """The step that shows best whether these are fixed; None where none does."""
        return confirming(self.plan, self.steps, same)

    def confirm(self, look: Step) -> bool | None:
        """Show the step of that name as this show has it, and whether it is right; None: nobody says."""
        step = next((step for step in self.steps if step.name == look.name), look)
        self.say(f"\nCheck that it is fixed ({step.name}):")
        self.say(f"  {step.where}")
        for subject in step.subjects:
            self.say(f"    {subject.says}")
        patch = self.plan.patch
        sent = [levels(look, self.wiring, patch, patch.universes, TEST_LEVEL) for look in step.looks]
        word = self.answering.step(step, sent).word
        if word == "yes":
            self.seen = seen_of(self.plan, step, [subject.thing for subject in step.subjects])
        words = {"yes": "yes: it is fixed", "no": "no: not fixed yet"}.get(word, "not confirmed")
        self.say(f"     → {words}")
        return {"yes": True, "no": False}.get(word)


def known_in_words(known: Known, pixels: int) -> str:
    """What two pixels that step along a run have shown of it."""
    run = known.run
    if known.none:
        return f"{run}: two pixels side by side were never seen on it."
    if known.begins is None:
        return f"{run}: each pixel lights in its place. Its colour is wrong, or the fault comes and goes."
    first, last = known.begins
    right = f"pixels 1 to {first - 1} light in their places, " if first > 1 else ""
    place = f"pixel {first}" if first == last else f"a pixel between {first} and {last}"
    says = f"{run}: {right}wrong from {f'pixel {first} or {last}' if last == first + 1 else place} on"
    if known.ends is None or known.ends[1] >= pixels or known.ends[1] < first:
        return f"{says}."
    return f"{says}; from pixel {known.ends[1] + 1} to {pixels} they light in their places again."


def _one_of(some: Sequence[Hypothesis], wiring: Wiring) -> str:
    """Some hypotheses that look the same from close by too, in words; of many the first."""
    says = [in_words(faults, wiring) for faults in some]
    more = len(says) - MOST_NAMED
    return ", or ".join(says[:MOST_NAMED]) + (f", or {more} more" if more > 0 else "")


def write(path: Path, change: Rewritten, say: Callable[[str], None], *, practice: bool = False) -> list[str]:
    """Change the show file and, where there is one, the patch file, both or none; say so, and return their paths.

    Raises:
        PatcherError: one of them cannot be written; both are as they were.
    """
    kept = as_read(patch_path(path))
    texts = {path: change.text} | {of_patch: dump(change.patch) for of_patch, said in kept.items() if said is not None}
    write_together({path: change.old, **kept}, texts)
    written = list(map(str, texts))
    say(f"  Changed: {' and '.join(written)}.")
    if practice:
        say(f"  {PRACTISED}")
    if change.boxes:
        say(f"  Before you check: change the settings of {', '.join(change.boxes)} (patcher todo {argument(path)})")
    return written
