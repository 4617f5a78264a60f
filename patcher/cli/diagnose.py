"""`diagnose`: a few questions that tell which fault it is, each with its frame on the wire; then what to do."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import frame_goals, load, load_patch, need_yard, together
from patcher.cli.options import AsJson, Faults, Interface, Seed, ShowFile, Yard
from patcher.errors import PatcherError, refuse
from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from patcher.diagnosis.case import Diagnosis
    from patcher.dialogue.answerer import Answering
    from patcher.dialogue.consultation import Consulting
    from patcher.patch.patch import Patch
    from patcher.remedies.rewrite import Rewritten
    from patcher.walk.step import Step
    from patcher.wiring import Wiring

    Hands = Callable[[Wiring, Patch], AbstractContextManager[Answering]]
    """Whoever answers, for as long as a wiring and its patch are what is shown."""


def diagnose(
    show: ShowFile,
    thing: Annotated[str, typer.Argument(metavar="THING", help="A run, a port, a box or a prop.")],
    yard: Yard = False,
    fault: Faults = None,
    answers: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Take the answers from a file, one a line; send nothing.")
    ] = None,
    careful: Annotated[bool, typer.Option("--careful", help="Ask more before deciding.")] = False,
    write: Annotated[bool, typer.Option("--write", help="Change the show file to match the wiring.")] = False,
    mend: Annotated[
        bool, typer.Option("--fix", "--mend", help="With --fault: fix in the yard what is found, and ask again.")
    ] = False,
    seed: Seed = 0,
    interface: Interface = None,
    as_json: AsJson = False,
) -> None:
    """Ask what you see of a few test frames; say what is wrong.

    With --fault the yard's pixels answer.
    """
    from patcher.diagnosis.hypotheses import runs_of

    _fitting(fault, answers, yard=yard, mend=mend, write=write, interface=interface)
    wiring = load(show)
    patch = load_patch(show, wiring)
    runs_of(wiring, patch, thing)
    say = _nothing if as_json and (fault or answers) else _say_to(sys.stderr if as_json else sys.stdout)
    hands = _hands(show, wiring, patch, fault, answers, say, yard=yard, mend=mend, seed=seed, interface=interface)
    talk = Talk(show, thing, careful, write, say)
    talk.go(wiring, patch, hands)
    if as_json:
        say_json(talk.document())
    if not talk.sound:
        raise typer.Exit(1)


def _fitting(
    fault: list[str] | None, answers: Path | None, *, yard: bool, mend: bool, write: bool, interface: str | None
) -> None:
    """PatcherError where options do not go together."""
    if fault and not yard:
        raise refuse("--fault", "needs the simulated yard", "add --yard")
    together(("--answers", answers), ("--fault", bool(fault)))
    together(("--yard", yard), ("--interface", interface))
    if mend and not fault:
        raise refuse("--fix", "fixes faults that --fault has built into the yard", "add --yard --fault")
    together(("--fix", mend), ("--write", write))


def _say_to(stream: Any) -> Callable[[str], None]:
    from patcher.terminal.folds import fold

    return lambda line: print(fold(line, stream), file=stream, flush=True)


def _nothing(line: str) -> None:
    """Print nothing: for scripts."""


def _hands(
    show: Path, wiring: Wiring, patch: Patch, faults: list[str] | None, answers: Path | None,
    say: Callable[[str], None], *, yard: bool, mend: bool, seed: int, interface: str | None,
) -> Hands:  # fmt: skip
    """Who answers: the pixels of a yard, a file, or a person at the keys."""
    if faults:
        from patcher.answers.witness import Witness
        from patcher.faults import build, parse

        built = build(wiring, [parse(text, wiring) for text in faults])
        witness = Witness(wiring, patch, built, seed=seed, mends=mend)
        return lambda wiring, patch: nullcontext(witness)
    if answers is not None:
        from patcher.answers.terminal_answers import Written

        lines = Written.read(answers, say, named=False)
        return lambda wiring, patch: nullcontext(lines)
    return lambda wiring, patch: _person(show, wiring, patch, say, yard=yard, interface=interface)


@contextmanager
def _person(
    show: Path, wiring: Wiring, patch: Patch, say: Callable[[str], None], *, yard: bool, interface: str | None
) -> Iterator[Answering]:
    """A person answers by keys, while each frame is sent; whatever happens, pixels end dark."""
    from patcher.answers.terminal_answers import Person
    from patcher.frames.request import FASTEST_STREAM
    from patcher.stream.sender import Sender
    from patcher.terminal.key_source import typed
    from patcher.terminal.signals import stopping

    goals = frame_goals(show, wiring, patch, yard=yard)
    if yard:
        need_yard(goals, show)
    rate = min(wiring.show.settings.frame_rate, FASTEST_STREAM)
    with ExitStack() as stack:
        stop = stack.enter_context(stopping())
        keys = stack.enter_context(typed())
        sender = stack.enter_context(Sender(goals, interface="127.0.0.1" if yard else interface))
        yield Person(keys, sender, sorted({goal.universe for goal in goals}), rate, stop, say, last=True)


@dataclass
class Talk:
    """One diagnosis after another, until no fault is found or the thing is left as it is.

    Attributes:
        show: the show file.
        thing: what it is about.
        careful: ask more before deciding.
        write: change the show file without being asked to.
        say: prints a line.
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
    questions: list[dict[str, str]] = field(default_factory=list)
    mended: list[str] = field(default_factory=list)
    wrote: list[str] = field(default_factory=list)
    confirmed: bool | None = None
    sound: bool = False
    told: Diagnosis | None = None

    def go(self, wiring: Wiring, patch: Patch, hands: Hands) -> None:
        """Ask, say what was found, and once that is fixed ask again: a cut hides what lies behind it."""
        from patcher.dialogue.consultation import Consulting
        from patcher.faults import planned

        look: Step | None = None
        while True:
            with hands(wiring, patch) as who:
                consulting = Consulting(self.show, planned(wiring, patch), who, self.say)
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
        from patcher.diagnosis.question_words import asks

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
        from patcher.dialogue.consultation import write

        same = diagnosis.same_look
        change = consulting.say_remedies(same)
        if self.write and (change is None or consulting.assumed != same[0]):
            raise refuse("--write", "the show file cannot say it", "fix the fault itself")
        deed = "write" if self.write else who.deed(writable=change is not None)
        if deed == "leave":
            return None, None
        step = consulting.last_look(same)
        if deed == "write" and change is not None:
            self.wrote = list(dict.fromkeys([*self.wrote, *write(self.show, change, self.say)]))
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
        from patcher.faults import codes

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
