"""`diagnose`: a few questions that tell which fault it is, each with its frame on the wire; then what to do."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import frame_goals, load, load_patch, need_yard, together
from patcher.cli.options import AsJson, Faults, Interface, Seed, ShowFile, Yard
from patcher.errors import refuse
from patcher.terminal.printed import say_json
from patcher.visible import argument

if TYPE_CHECKING:
    from patcher.dialogue.answerer import Answering
    from patcher.dialogue.talk import Hands
    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring


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

    With --fault the yard's pixels answer. Without it you answer: with --yard too, and `patcher yard` must run then.
    """
    from patcher.diagnosis.hypotheses import runs_of
    from patcher.dialogue.talk import Talk

    _fitting(fault, answers, yard=yard, mend=mend, write=write, interface=interface)
    wiring = load(show)
    patch = load_patch(show, wiring)
    runs_of(wiring, patch, thing)
    said: list[str] = []
    say = said.append if as_json and (fault or answers) else _say_to(sys.stderr if as_json else sys.stdout, said)
    hands = _hands(show, wiring, patch, fault, answers, say, yard=yard, mend=mend, seed=seed, interface=interface)
    talk = Talk(show, thing, careful, write, say, practice=yard)
    talk.go(wiring, patch, hands)
    if as_json:
        say_json(talk.document())
    if fault and any("--yard" in line for line in said):
        built = " ".join(f"--fault {argument(text)}" for text in fault)
        say(f"  Practice: what is printed above with --yard needs a yard: patcher yard {argument(show)} {built}")
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


def _say_to(stream: Any, said: list[str]) -> Callable[[str], None]:
    """Prints a line, and keeps it."""
    from patcher.terminal.folds import fold

    def say(line: str) -> None:
        said.append(line)
        print(fold(line, stream), file=stream, flush=True)

    return say


def _hands(
    show: Path, wiring: Wiring, patch: Patch, faults: list[str] | None, answers: Path | None,
    say: Callable[[str], None], *, yard: bool, mend: bool, seed: int, interface: str | None,
) -> Hands:  # fmt: skip
    """Who answers: the pixels of a yard, a file, or a person at the keys."""
    if faults:
        from patcher.answers.witness import Witness
        from patcher.faults import build, practised

        built = build(wiring, practised(faults, wiring))
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
        need_yard(show)
    rate = min(wiring.show.settings.frame_rate, FASTEST_STREAM)
    with ExitStack() as stack:
        stop = stack.enter_context(stopping())
        keys = stack.enter_context(typed())
        sender = stack.enter_context(Sender(goals, interface="127.0.0.1" if yard else interface))
        yield Person(keys, sender, sorted({goal.universe for goal in goals}), rate, stop, say, last=True)
