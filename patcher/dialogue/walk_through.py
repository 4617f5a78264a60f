"""A round as it is walked: a step is shown and answered, the answer kept at once, and a no leads to the diagnosis."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from patcher.dialogue.answerer import Answering, Reply
from patcher.walk.items import Item
from patcher.walk.record import Answer, Entry, Record, Says
from patcher.walk.record_file import change_record, local_time

if TYPE_CHECKING:
    from patcher.diagnosis.case import Seen
    from patcher.faults import Fault, Planned
    from patcher.frames.levels import Levels
    from patcher.frames.looks import Look
    from patcher.patch.patch import Patch
    from patcher.walk.step import Step, Subject
    from patcher.wiring import Wiring

NEVER_HIDES = ("dark", "dark-channel")
"""Kinds of fault behind which all else can still be looked at."""


@dataclass
class Walk:
    """One round.

    Attributes:
        path: the show file.
        wiring: as planned.
        patch: what is typed into the boxes.
        digests: what the proof of each item depends on.
        steps: the looks, in order.
        answering: who answers.
        render: turns a look into levels.
        say: prints a line.
        looks: how many steps were shown.
        seen: what was seen to be as it should be, as the diagnosis would have asked it.
        told: answers to a diagnosis that was stopped, until its thing is looked at again.
        written: the show file says something else now, so the round begins anew.
        waiting: runs that a fault found hides until it is mended, with that fault's words.
    """

    path: Path
    wiring: Wiring
    patch: Patch
    digests: Mapping[Item, str]
    steps: tuple[Step, ...]
    answering: Answering
    render: Callable[[Look], Levels]
    say: Callable[[str], None]
    looks: int = 0
    seen: list[Seen] = field(default_factory=list)
    told: list[Seen] = field(default_factory=list)
    written: bool = False
    waiting: dict[str, tuple[str, ...]] = field(default_factory=dict)

    @cached_property
    def _plan(self) -> Planned:
        from patcher.faults import planned

        return planned(self.wiring, self.patch)

    def go(self) -> None:
        """Through all steps, or until someone stops."""
        at, box = 0, ""
        rest: Step | None = None
        while at < len(self.steps):
            step = rest or self.steps[at]
            if step.box != box:
                box = step.box
                self.say(f"\n── {box}{self._stands(box)} ──")
            if found := self._hidden(step):
                self.say(
                    f"\n{at + 1} of {len(self.steps)}   {step.name}: passed over until {_listed(found)} is mended."
                )
                at, rest = at + 1, None
                continue
            self._show(step, at)
            reply = self.answering.step(step, [self.render(look) for look in step.looks])
            before, rest = rest, None
            match reply.word:
                case "stop":
                    self.say("\nStopped here. Every answer so far is kept; the same command goes on.")
                    return
                case "back":
                    at = max(0, at - 1)
                    self._look_again(self.steps[at])
                case "note":
                    rest = before
                    self._note(step, reply.text)
                case "skip":
                    self.say("  skipped: it stays as it was")
                    at += 1
                case "yes" | "cannot tell":
                    self.say(f"  {'yes: proved' if reply.word == 'yes' else 'cannot tell: it stays open'}")
                    self._keep(step.proves, "yes" if reply.word == "yes" else "cannot tell")
                    if reply.word == "yes":
                        self._remember(step, [subject.thing for subject in step.subjects])
                    at += 1
                case "no":
                    rest = self._no(step, reply)
                    if self.written:
                        return
                    at += rest is None

    def _stands(self, box: str) -> str:
        at = self.wiring.show.controllers[box].at
        return f" (x {at[0]:.1f} m, y {at[1]:.1f} m)" if at else ""

    def _show(self, step: Step, at: int) -> None:
        self.looks += 1
        self.say(f"\n{at + 1} of {len(self.steps)}   {step.name}")
        self.say(f"  {step.where}")
        for subject in step.subjects:
            self.say(f"    {subject.says}")

    def _runs(self, step: Step) -> set[str]:
        return {name for run in step.runs for name in (run, *self.wiring.tees(run))}

    def _hidden(self, step: Step) -> tuple[str, ...]:
        """The faults that leave nothing of a step to look at."""
        runs = step.runs
        if not runs <= self.waiting.keys():
            return ()
        return tuple(dict.fromkeys(fault for run in sorted(runs) for fault in self.waiting[run]))

    def _look_again(self, step: Step) -> None:
        """Back at a step: what was found there may be mended."""
        runs = self._runs(step)
        self.told = [seen for seen in self.told if not runs & set(seen.ask.runs)]
        for run in runs:
            self.waiting.pop(run, None)

    def _keep(self, items: Iterable[Item], says: Says, found: tuple[str, ...] = ()) -> None:
        now = local_time()
        answers = {item: Answer(says, now, self.digests[item], found) for item in items}
        if answers:
            change_record(self.path, lambda record: record.answered(answers))

    def _note(self, step: Step, text: str) -> None:
        if not text:
            return
        now = local_time()
        thing = step.subjects[0].thing if len(step.subjects) == 1 else step.name.partition(" ")[2].partition(" ")[0]
        change_record(self.path, lambda record: record.added("notes", Entry(thing, now, text)))
        self.say(f"  noted of {thing}")

    def _remember(self, step: Step, things: Collection[str]) -> None:
        from patcher.dialogue.handover import seen_of

        self.seen += seen_of(self._plan, step, things)

    def _no(self, step: Step, reply: Reply) -> Step | None:
        """What is named is kept as failed before anything else; what was not named is as it should be, if all of the
        step was shown. The step that comes next, if it is not the one behind this: the same, for something was mended,
        or the rest of it.
        """
        wrong = [subject for subject in step.subjects if not reply.about or subject.thing in reply.about]
        named = reply.about or (step.subjects[0].thing if len(step.subjects) == 1 else "something in it",)
        self.say(f"  no: {', '.join(named)}")
        self._keep([item for subject in wrong for item in subject.proves], "no")
        right = [subject for subject in step.subjects if subject not in wrong]
        if reply.whole:
            self._keep([item for subject in right for item in subject.proves], "yes")
            self._remember(step, [subject.thing for subject in right])
        again = False
        if reply.about or len(step.subjects) == 1:
            for subject in wrong:
                known = tuple(dict.fromkeys(
                    fault for check in subject.checks for fault in self.waiting.get(check.run, ())
                ))  # fmt: skip
                if known:
                    self._keep(subject.proves, "no", known)
                    self.say(f"  {subject.thing}: that is {_listed(known)} still")
                else:
                    again |= self._look_into(step, subject, reply)
                if self.written or again:
                    break
        else:
            again = self._diagnose(step.box, [item for subject in wrong for item in subject.proves])
        if again:
            self._look_again(step)
            return step
        return None if reply.whole or not right else step.only([subject.thing for subject in right], self.wiring)

    def _look_into(self, step: Step, subject: Subject, reply: Reply) -> bool:
        """Which pixel, where the step shows all of a run in one colour; then which fault. Whether it was mended."""
        last = len(step.looks) - 1
        if not last:
            return self._diagnose(subject.thing, subject.proves)
        from patcher.dialogue.pixel_search import Narrowing

        shown = [
            glow.colour for look in step.looks for glow in look.glows if glow.run == self.wiring.source(subject.thing)
        ]
        first = min(reply.look, len(shown) - 1)
        self.say(f"\n  Which pixel of {subject.thing} is it?")
        narrowing = Narrowing(self._plan, subject.thing, self.answering, self.say)
        narrowing.narrow([*shown[first:], *shown[:first]])
        pixel = "" if narrowing.pixel is None else f"{subject.thing}/{narrowing.pixel + 1}"
        if pixel:
            self.say(f"  It is {pixel}.")
            self._keep(subject.proves, "no", (pixel,))
        if narrowing.stopped:
            self.say(f"  Stopped there. Take it up again: patcher diagnose {self.path} {subject.thing}")
            return False
        self.told += narrowing.seen
        return self._diagnose(subject.thing, subject.proves)

    def _diagnose(self, thing: str, proves: Sequence[Item]) -> bool:
        """Ask until the fault is known, or someone stops; whether it was mended, so that the look is shown again."""
        from patcher.dialogue.consultation import Consulting, write

        self.say(f"\n  What is wrong with {thing}?")
        consulting = Consulting(self.path, self._plan, self.answering, self.say)
        diagnosis = consulting.ask(thing, begin=[*self.seen, *self.told])
        if consulting.stopped:
            self.told += diagnosis.seen[len(diagnosis.seen) - consulting.asked :]
            self.say(f"  The diagnosis stops here. Take it up again: patcher diagnose {self.path} {thing}")
            return False
        same = diagnosis.same_look
        consulting.say_found(diagnosis)
        if diagnosis.something_else:
            self.say("  It is kept as failed. Once it is fixed, b looks at it again.")
            return False
        faults = tuple(dict.fromkeys(" + ".join(map(str, hypothesis)) for hypothesis in same if hypothesis))
        if not faults or () in same:
            self.say("  Look again: b goes back.")
            return False
        self._keep(proves, "no", faults)
        change = consulting.say_remedies(same)
        deed = self.answering.deed(writable=change is not None)
        if deed == "leave":
            self.say("  It is kept as failed. Once it is mended, b looks at it again.")
            self._hide(same[0])
        elif deed == "write" and change is not None:
            self.say(f"  Changed: {' and '.join(write(self.path, change))}.")
            if change.boxes:
                self.say(f"  Before you look: set {', '.join(change.boxes)} as it says: patcher todo {self.path}")
            self.written = True
        return deed == "mended"

    def _hide(self, faults: tuple[Fault, ...]) -> None:
        from patcher.faults import departure

        if all(fault.kind in NEVER_HIDES for fault in faults):
            return
        words = " + ".join(map(str, faults))
        for run in departure(self._plan, faults).takes:
            self.waiting[run] = (words,)


def _listed(faults: tuple[str, ...]) -> str:
    return ", ".join(faults)


def open_items(record: Record, digests: Mapping[Item, str]) -> set[Item]:
    """What a round is about: all that is not proved."""
    return {item for item, digest in digests.items() if record.state(item, digest) != "proved"}
