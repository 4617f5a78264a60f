"""`diagnose`: a few questions that tell which fault it is, each with its frame on the wire; then what to do."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.loading import AsJson, ShowFile, load, load_patch
from patcher.cli.saying import count, say_json
from patcher.errors import refuse

if TYPE_CHECKING:
    from patcher.address.patch import Patch
    from patcher.faults import Fault
    from patcher.verify import Diagnosis, Question
    from patcher.wiring import Wiring

Answerer = Callable[["Question"], "str | None"]
"""Gives the key of the answer; None: stop."""

MOST_NAMED = 12


def diagnose(
    show: ShowFile,
    thing: Annotated[str, typer.Argument(help="A run, a port, a box or a prop.")],
    yard: Annotated[bool, typer.Option("--yard", help="Send to `patcher yard` on this machine.")] = False,
    fault: Annotated[
        list[str] | None,
        typer.Option(metavar="KIND:WHERE=VALUE", help="With --yard: its lamps, built so, answer; repeats."),
    ] = None,
    answers: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Take the answers from a file, one key or its words a line.")
    ] = None,
    careful: Annotated[bool, typer.Option("--careful", help="Reckon with wrong answers from the start.")] = False,
    write: Annotated[bool, typer.Option("--write", help="Change the show file to what hangs there.")] = False,
    seed: Annotated[int, typer.Option(help="Of the yard's chance: what its eye misses.")] = 0,
    interface: Annotated[str | None, typer.Option(help="Address of this machine to send from.")] = None,
    as_json: AsJson = False,
) -> None:
    """Ask what you see of a few test frames, and say what is wrong with a thing."""
    from patcher.verify import Diagnosis

    if fault and not yard:
        raise refuse("--fault", "builds a fault into the yard, which is not asked for", "add --yard")
    if fault and answers is not None:
        raise refuse("--answers", "does not go together with --fault: the yard's lamps answer", "leave one of them out")
    if yard and interface is not None:
        raise refuse("--yard", "does not go together with --interface", "leave one of them out")
    wiring = load(show)
    patch = load_patch(show, wiring)
    diagnosis = Diagnosis.start(wiring, patch, thing, careful=careful)
    with ExitStack() as stack:
        if fault:
            answer = _from_lamps(wiring, patch, fault, seed)
        elif answers is not None:
            answer = _from_file(answers)
        else:
            answer = _from_person(stack, show, wiring, patch, yard=yard, interface=interface)
        while question := diagnosis.ask():
            if not as_json:
                _say_question(len(diagnosis.seen) + 1, question, keys=not fault and answers is None)
            key = answer(question)
            if key is None:
                break
            diagnosis.tell(key)
            if not as_json:
                seen = diagnosis.seen[-1]
                print(f"     → {seen.ask.answers[seen.answer]}", flush=True)
    wrote = _write(show, wiring, diagnosis) if write else []
    _report(wiring, diagnosis, wrote, as_json=as_json)
    if diagnosis.found or not diagnosis.sure:
        raise typer.Exit(1)


def _from_lamps(wiring: Wiring, patch: Patch, faults: list[str], seed: int) -> Answerer:
    """The lamps of a yard answer; nothing of their faults is known outside of it."""
    from patcher.cli.witness import Witness
    from patcher.faults import build, parse

    built = build(wiring.show, [parse(text, wiring.show) for text in faults])
    return Witness(wiring, patch, built, seed=seed).answer


def _from_file(path: Path) -> Answerer:
    """The lines of a file answer, one after the other; behind a # stands what it is about."""
    from patcher.show.files import read_text

    lines = iter([said for line in read_text(path).splitlines() if (said := line.partition("#")[0].strip())])
    return lambda question: next(lines, None)


def _from_person(
    stack: ExitStack, show: Path, wiring: Wiring, patch: Patch, *, yard: bool, interface: str | None
) -> Answerer:
    """A person answers by keys, while each frame is sent."""
    from patcher.cli.asking import Asking, frame_goals
    from patcher.cli.stopping import stopping
    from patcher.stream.sender import Sender

    goals = frame_goals(show, wiring, patch, yard=yard)
    stop = stack.enter_context(stopping())
    sender = stack.enter_context(Sender(goals, interface="127.0.0.1" if yard else interface))
    asking = stack.enter_context(Asking(sender, sorted({goal.universe for goal in goals}), stop))
    return asking.answer


def _say_question(number: int, question: Question, *, keys: bool) -> None:
    print(f"{number:>3}  Sent: {question.frame.says}")
    print(f"     {question.asks}")
    if keys:
        print("     " + "   ".join(f"{answer.key} {answer.says}" for answer in question.answers), flush=True)


def _name(faults: tuple[Fault, ...]) -> str:
    return " + ".join(map(str, faults)) or "none"


def _report(wiring: Wiring, diagnosis: Diagnosis, wrote: list[str], *, as_json: bool) -> None:
    from patcher.verify.remedies import remedy
    from patcher.verify.wording import asks

    alike = [_name(faults) for faults in diagnosis.same_look]
    if as_json:
        questions = [
            {"frame": seen.frame.says, "asks": asks(wiring.show, seen.ask), "answer": seen.ask.answers[seen.answer]}
            for seen in diagnosis.seen
        ]
        say_json({
            "questions": questions, "found": [str(fault) for fault in diagnosis.found], "same_look": alike,
            "sure": diagnosis.sure, "entropy_bits": round(diagnosis.prior_bits, 4), "wrote": wrote,
        })  # fmt: skip
        return
    asked = count(len(diagnosis.seen), "question")
    if not diagnosis.sure:
        print(f"\nNot sure after {asked}. Likeliest: {alike[0]}; still open: {diagnosis.entropy_bits:.1f} bits.")
        print("  Two faults at once can look so: mend what is likeliest, then ask again.")
    elif not diagnosis.found:
        print(f"\n{diagnosis.thing} is wired as planned, after {asked}.")
    else:
        print(f"\nFound after {asked}: {alike[0]}")
    if len(alike) > 1:
        others = ", ".join(alike[1:MOST_NAMED]) + (f" and {len(alike) - MOST_NAMED} more" * (len(alike) > MOST_NAMED))
        print(f"  No look tells it from: {others}")
    for fault in diagnosis.found:
        todo = remedy(wiring.show, fault)
        print(f"  On the ladder: {todo.mend}.")
        if todo.line:
            print(f"  Or in the show file: {todo.line}.")
        for number, cause in enumerate(todo.causes, 1):
            print(f"    {number}. {cause}")
        print("  Mains off before a box or a supply is opened; two feet on the ground before anything is soldered.")
    for path in wrote:
        print(f"Changed: {path}. Now: patcher patch {path}, then patcher diagnose again to see it proved.")


def _write(path: Path, wiring: Wiring, diagnosis: Diagnosis) -> list[str]:
    """Change the show file to what hangs there, where one edit says it."""
    from patcher.show.editing import edited
    from patcher.show.files import read_text, write_whole
    from patcher.verify.remedies import changed

    if not diagnosis.found:
        return []
    if not diagnosis.sure or len(diagnosis.found) > 1:
        raise refuse("--write", "is not for what is not sure, or for two faults at once", "mend one by hand, ask again")
    after = changed(wiring.show, diagnosis.found[0])
    if after is None:
        says = f"cannot say {diagnosis.found[0]} in the show file"
        raise refuse("--write", says, "mend it on the ladder, or change the file by hand")
    write_whole(path, edited(read_text(path), wiring.show, after, "no longer hangs"))
    return [str(path)]
