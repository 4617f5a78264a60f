"""A walk-through while it runs: each step is shown and answered, each answer saved at once, and a no is explained."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from patcher.diagnosis.place_words import listed
from patcher.dialogue.answerer import Answering, Reply
from patcher.dialogue.consultation import Consulting, write
from patcher.dialogue.handover import seen_of
from patcher.dialogue.pixel_search import Narrowing
from patcher.faults import DARK, Fault, Planned, code_in_words, codes, departure, planned
from patcher.patch.thing import called
from patcher.units import in_units
from patcher.visible import sent_from
from patcher.walk.items import Item
from patcher.walk.progress import one_of
from patcher.walk.record import Entry, Record, RecordedAnswer, Says, State
from patcher.walk.record_file import change_record, local_time, read_record

if TYPE_CHECKING:
    from patcher.diagnosis.question_frame import Seen
    from patcher.frames.levels import Levels
    from patcher.frames.looks import Look
    from patcher.patch.patch import Patch
    from patcher.walk.step import Step, Subject
    from patcher.wiring import Wiring

NEVER_HIDES = ("dark", "dark-channel")
"""Kinds of fault behind which everything else can still be checked."""


@dataclass
class Walk:
    """One walk-through.

    Attributes:
        path: the show file.
        wiring: as planned.
        patch: what is typed into the boxes.
        digests: what the proof of each item depends on.
        steps: in the order in which they are shown.
        answering: who answers.
        render: turns a look into levels.
        say: prints a line.
        practice: whether simulated boxes are looked at: the answers are kept apart then.
        keys: whether who answers has keys to press; the yard's eye and a file of answers have none.
        looks: how many steps were shown.
        seen: what was right so far, as answers to questions of the diagnosis.
        told: answers to a diagnosis that was stopped, until its thing is checked again.
        written: the show file was changed, so a new walk-through must begin.
        waiting: runs that cannot be checked until a fault is fixed, with that fault.
        paused: things whose diagnosis was stopped, with the step and those of its things that it is about.
        stopped: it was stopped before its last step.
    """

    path: Path
    wiring: Wiring
    patch: Patch
    digests: Mapping[Item, str]
    steps: tuple[Step, ...]
    answering: Answering
    render: Callable[[Look], Levels]
    say: Callable[[str], None]
    practice: bool = False
    keys: bool = True
    looks: int = 0
    seen: list[Seen] = field(default_factory=list)
    told: list[Seen] = field(default_factory=list)
    written: bool = False
    waiting: dict[str, tuple[str, ...]] = field(default_factory=dict)
    paused: dict[str, tuple[Step, tuple[Subject, ...]]] = field(default_factory=dict)
    stopped: bool = False

    @cached_property
    def _plan(self) -> Planned:
        return planned(self.wiring, self.patch)

    def go(self) -> None:
        """Through all steps, or until someone stops, or the show file was changed."""
        at: int | None = self._steps_from(0)
        while at is not None and self.paused and (thing := self.answering.take_up(tuple(self.paused))) is not None:
            again = self._resume(thing)
            at = None if self.written else self._steps_from(len(self.steps) if again is None else again)

    def _steps_from(self, at: int) -> int | None:
        """Through the steps from one on; None: someone has stopped, or the show file was changed."""
        box = ""
        rest: Step | None = None  # what is left of the step at hand
        while at < len(self.steps):
            step = rest or self.steps[at]
            if step.box != box:
                box = step.box
                self.say(f"\n── {box}{self._place_of(box)} ──")
            title = f"\n{at + 1} of {len(self.steps)}   {step.name}"
            if faults := self._hidden(step):
                self.say(f"{title}: skipped until this is fixed: {self._in_words(faults)}.")
                at, rest = at + 1, None
                continue
            self.say(title)
            self._show(step)
            reply = self.answering.step(step, [self.render(look) for look in step.looks])
            if reply.word == "stop":
                self.stopped = True
                self.say("\nStopped here. Every answer so far is saved; run the same command to continue.")
                return None
            if reply.word == "back":
                at, rest = max(0, at - (step is self.steps[at])), None
                self._check_again(self.steps[at])
                continue
            if reply.word == "resume":
                again = self._resume(reply.about[0])
                at, rest = (at, rest) if again is None else (again, None)
            else:
                rest = self._take(step, reply)
                at += rest is None
            if self.written:
                return None
        return at

    def _take(self, step: Step, reply: Reply) -> Step | None:
        """Save an answer; the step to show next, None for the one behind this."""
        match reply.word:
            case "note":
                self._note(step, reply.text)
                return step
            case "no":
                return self._no(step, reply)
            case "yes":
                self.say("  yes: proved")
                self._keep(step.subjects, "yes")
                self._remember(step, step.subjects)
            case "cannot tell":
                self.say("  can't tell: still open")
                self._keep(step.subjects, "cannot tell")
            case _:
                self.say("  skipped: nothing changed")
        return None

    def _place_of(self, box: str) -> str:
        at, units = self.wiring.show.controllers[box].at, self.wiring.show.settings.units
        return f" (x {in_units(at[0], units)}, y {in_units(at[1], units)})" if at else ""

    def _in_words(self, faults: Iterable[str]) -> str:
        return "; ".join(code_in_words(fault, self.wiring) for fault in faults)

    def _show(self, step: Step) -> None:
        self.looks += 1
        self.say(f"  {step.where}")
        for subject in step.subjects:
            self.say(f"    {subject.says}")

    def _hidden(self, step: Step) -> tuple[str, ...]:
        """The faults that leave nothing of a step to check."""
        if not step.runs <= self.waiting.keys():
            return ()
        return tuple(dict.fromkeys(fault for run in sorted(step.runs) for fault in self.waiting[run]))

    def _check_again(self, step: Step) -> None:
        """Back at a step: what was wrong there may be fixed."""
        runs = {name for run in step.runs for name in (run, *self.wiring.tees(run))}
        self.told = [seen for seen in self.told if not runs & set(seen.ask.runs)]
        for run in runs:
            self.waiting.pop(run, None)
        self.paused = {thing: paused for thing, paused in self.paused.items() if paused[0].name != step.name}

    def _keep(self, subjects: Iterable[Subject], says: Says, faults: tuple[str, ...] = ()) -> None:
        now = local_time()
        items = [item for subject in subjects for item in subject.proves]
        answers = {item: RecordedAnswer(says, now, self.digests[item], faults) for item in items}
        if answers:
            change_record(self.path, lambda record: record.answered(answers), practice=self.practice)

    def _note(self, step: Step, text: str) -> None:
        if text:
            now = local_time()
            thing = step.subjects[0].thing if len(step.subjects) == 1 else step.name.split()[1]
            entry = Entry(thing, now, text)
            change_record(self.path, lambda record: record.added("notes", entry), practice=self.practice)
            self.say(f"  note saved for {thing}")

    def _remember(self, step: Step, subjects: Iterable[Subject]) -> None:
        self.seen += seen_of(self._plan, step, [subject.thing for subject in subjects])

    def _no(self, step: Step, reply: Reply) -> Step | None:
        """What is named is saved as failed before anything else; the rest is right, if all of the step was shown. The
        step to show next, if it is not the one behind this: the same, for something was fixed, or the rest of it.
        """
        named = reply.about or tuple(subject.thing for subject in step.subjects[:1]) * (len(step.subjects) == 1)
        wrong, right = _parted(step.subjects, named)
        self.say(f"  no: {', '.join(named) or one_of([subject.thing for subject in wrong])}")
        self._keep(wrong, "no", () if named else (one_of([subject.thing for subject in wrong]),))
        if reply.whole:
            self._keep(right, "yes")
            self._remember(step, right)
        fixed = self._explain(step, wrong, reply) if named else self._diagnose(step, self._box(step), wrong)
        if fixed:
            self._check_again(step)
            return step
        left = not reply.whole and bool(right)
        if not self.written:
            self._say_left([subject.thing for subject in wrong], whole=not left, named=bool(named))
        return step.only([subject.thing for subject in right], self.wiring) if left else None

    def _box(self, step: Step) -> str:
        """The box of a step, by a name that means nothing else."""
        return called("controller", step.box, self.wiring.show)

    def _say_left(self, things: Sequence[str], *, whole: bool, named: bool) -> None:
        """What becomes of things that are not right, or one of which is not: the step goes on without them, or ends."""
        one = len(things) == 1 or not named
        if whole:
            again = f" Once {'it is' if one else 'they are'} fixed, press b to check again." if self.keys else ""
            self.say(f"  Saved as failed{'' if named else f': {one_of(things)}'}.{again}")
            return
        left = f"{listed(things)} {'is' if one else 'are'} left out until {'it is' if one else 'they are'} fixed"
        self.say(f"  Saved as failed. {left}{'; press b for the whole step' if self.keys else ''}.")

    def _explain(self, step: Step, wrong: Sequence[Subject], reply: Reply) -> bool:
        """Find out what is wrong with each thing; whether something was fixed, so that the step is shown again."""
        for subject in wrong:
            waited = [fault for check in subject.checks for fault in self.waiting.get(check.run, ())]
            if faults := tuple(dict.fromkeys(waited)):
                self._keep([subject], "no", faults)
                self.say(f"  {subject.thing}: the same fault: {self._in_words(faults)}")
                continue
            fixed = self._look_into(step, subject, reply)
            if fixed or self.written:
                return fixed
        return False

    def _look_into(self, step: Step, subject: Subject, reply: Reply) -> bool:
        """Which pixel, where the step shows all of a run in one colour; then which fault. Whether it was fixed."""
        if len(step.looks) == 1:
            return self._diagnose(step, called("prop", subject.thing, self.wiring.show), [subject])
        source = self.wiring.source(subject.thing)
        shown = [glow.colour for look in step.looks for glow in look.glows if glow.run == source]
        first = min(reply.look, len(shown) - 1)
        self.say(f"\n  Search for the pixel of {subject.thing}:")
        narrowing = Narrowing(self._plan, subject.thing, self.answering, self.say)
        narrowing.narrow([*shown[first:], *shown[:first]])
        if narrowing.pixel is not None:
            pixel = f"{subject.thing}/{narrowing.pixel + 1}"
            self.say(f"  It is {pixel}.")
            self._keep([subject], "no", (pixel,))
        self.told += narrowing.seen
        if narrowing.stopped:
            self._pause(step, subject.thing, [subject])
            return False
        return self._diagnose(step, subject.thing, [subject])

    def _resume(self, thing: str) -> int | None:
        """Go on with a diagnosis that was stopped; where something was fixed, the step to show again."""
        step, subjects = self.paused.pop(thing)
        if not self._diagnose(step, thing, subjects):
            if thing not in self.paused and not self.written:
                self.say(f"  Saved as failed. Once it is fixed, check it again in a new walk-through ({step.name}).")
            return None
        self._check_again(step)
        return next(number for number, one in enumerate(self.steps) if one.name == step.name)

    def _pause(self, step: Step, thing: str, wrong: Collection[Subject]) -> None:
        self.paused[thing] = step, tuple(wrong)
        sent = sent_from(self.path, practice=self.practice)
        self.say(f"  The diagnosis stops here. To continue it: patcher diagnose {sent} {thing}")

    def _diagnose(self, step: Step, thing: str, wrong: Collection[Subject]) -> bool:
        """Ask until the fault is known, or someone stops; whether it was fixed, so that the step is shown again."""
        self.say(f"\n  Diagnosis of {thing}:")
        consulting = Consulting(self.path, self._plan, self.answering, self.say, self.practice)
        diagnosis = consulting.ask(thing, begin=[*self.seen, *self.told])
        if consulting.stopped:
            self.told += diagnosis.seen[len(diagnosis.seen) - consulting.asked :]
            self._pause(step, thing, wrong)
            return False
        same = diagnosis.same_look
        consulting.say_found(diagnosis)
        if diagnosis.something_else or () in same:
            return False
        found = tuple(dict.fromkeys(codes(faults) for faults in same))
        touched = {run for faults in same for run in departure(self._plan, faults).takes}
        meant = [subject for subject in wrong if touched & {check.run for check in subject.checks}] or list(wrong)
        self._keep(meant, "no", found)
        self._keep([subject for subject in wrong if subject not in meant], "cannot tell")
        refuted = self._refute(same)
        change = consulting.say_remedies(same)
        deed = self.answering.deed(writable=change is not None)
        if deed == "leave":
            self._hide(same[0])
        elif deed == "write" and change is not None:
            write(self.path, change, self.say, practice=self.practice)
            self.written = True
        if deed == "mended":
            self.steps += refuted
        return deed == "mended"

    def _refute(self, same: Sequence[tuple[Fault, ...]]) -> tuple[Step, ...]:
        """Take back a yes to the colours of runs that have dark pixels under each of these faults: they were missed.
        The steps that show those runs again.
        """
        runs = set.intersection(*(_darkened(self._plan, faults) for faults in same))
        states = self._states({Item(run, "colours") for run in runs})
        taken_back = {item.thing for item, state in states.items() if state == "proved"}
        found = []
        for step in self.steps:
            subjects = [each for each in step.subjects if any(it.what == "colours" for it in each.proves)]
            if things := [subject.thing for subject in subjects if subject.thing in taken_back]:
                self._keep([subject for subject in subjects if subject.thing in things], "no", (codes(same[0]),))
                self.say(f"  No longer proved: the colours of {listed(things)}; behind this fault pixels are dark.")
                found.append(step.only(things, self.wiring))
        return tuple(found)

    def _states(self, items: Collection[Item]) -> Mapping[Item, State]:
        """How some items stand now."""
        record = read_record(self.path, practice=self.practice)
        return {item: record.state(item, self.digests[item]) for item in items if item in self.digests}

    def _hide(self, faults: tuple[Fault, ...]) -> None:
        """Skip what cannot be checked until these faults are fixed."""
        if not all(fault.kind in NEVER_HIDES for fault in faults):
            for run in departure(self._plan, faults).takes:
                self.waiting[run] = (codes(faults),)


def _darkened(plan: Planned, faults: tuple[Fault, ...]) -> set[str]:
    """The runs that have dark pixels with these faults."""
    return {run for run, takes in departure(plan, faults).takes.items() if (takes == DARK).all(axis=1).any()}


def _parted(subjects: Sequence[Subject], named: Sequence[str]) -> tuple[list[Subject], list[Subject]]:
    """The subjects that are named, all where none is, and the others."""
    wrong = [subject for subject in subjects if not named or subject.thing in named]
    return wrong, [subject for subject in subjects if subject not in wrong]


def open_items(record: Record, digests: Mapping[Item, str]) -> set[Item]:
    """What a walk-through is about: all that is not proved."""
    return {item for item, digest in digests.items() if record.state(item, digest) != "proved"}
