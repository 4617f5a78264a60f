"""What to do about faults, in words: with the hands, and in the show file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from patcher.diagnosis.question_words import ends
from patcher.errors import PatcherError
from patcher.faults import in_words
from patcher.faults.fault_sentences import off
from patcher.limits.findings import new_findings
from patcher.patch.player import DrawChange, drawing
from patcher.remedies.close_look import CloseLook
from patcher.remedies.plan_edits import STARTS, UNSAID
from patcher.remedies.remedies import LOW_VOLTAGE, TYPED, if_set_as_planned, in_file_alone, remedy
from patcher.remedies.rewrite import rewritten
from patcher.sheets.patch_tables import IN_ITS_DRAWING, draw_words
from patcher.show.show_file import read_text
from patcher.visible import argument

if TYPE_CHECKING:
    from patcher.diagnosis.hypotheses import Hypothesis
    from patcher.faults import Fault, Planned
    from patcher.remedies.rewrite import Rewritten
    from patcher.wiring import Wiring

    Say = Callable[[str], None]

MOST_TRIED = 12
"""Of so many faults that look alike, the first that the show file can say is offered."""
MOST_BY_HAND = 2
"""So many ways to fix it by hand are said, where what is typed into the box is right."""
MOST_ERRORS = 2
CAUTION = (
    "Switch the supply off at its plug before you open a box or touch a wire. Solder on the ground, off the ladder."
)


def say_remedies(
    path: Path,
    plan: Planned,
    same: Sequence[Hypothesis],
    say: Say,
    *,
    look: CloseLook | None = None,
    others: Mapping[Fault, Sequence[Fault]] | None = None,
    practice: bool = False,
) -> tuple[Rewritten | None, Hypothesis]:
    """Say how to fix the likeliest of what looks alike, by hand or in the file; where a close look parts them, the
    likeliest of either side.

    Args:
        path: the show file.
        plan: the wiring as planned.
        same: what looks alike, the likeliest first.
        say: prints a line.
        look: the close look that parts them; None where none does.
        others: single faults that look the same as one of several; None: there are none.
        practice: whether simulated boxes are looked at.

    Returns:
        The show file as it could be, and the faults that it then describes; None and none where it cannot be changed.
    """
    if not all(fault.kind in TYPED for faults in same for fault in faults):
        say(f"  {CAUTION}")
    for condition, faults, alike in _by_look(look, same):
        for fault in faults:
            todo = remedy(path, plan.wiring, fault, practice=practice)
            ways = [*(alike if len(faults) == 1 else ()), *((other,) for other in (others or {}).get(fault, ()))]
            if number := _typed_short(ways) if fault.kind not in TYPED else None:
                say(f"  First read the number of pixels of {number.where} in its box: it may be set {off(number)}.")
            say(f"  To fix {fault if len(faults) > 1 else 'it'}{condition}: {todo.says}.")
            if instead := _if_typed_right(path, plan.wiring, fault, ways):
                say(f"  If the box has it as planned: {instead}.")
            if todo.causes:
                say("  Usual causes, most likely first:" if len(todo.causes) > 1 else "  Usual cause:")
            say_causes(todo.causes, todo.volts, say)
            if todo.tells:
                say(f"  To tell which: {todo.tells}.")
    return say_lines(path, plan, same, say)


def _by_look(look: CloseLook | None, same: Sequence[Hypothesis]) -> list[tuple[str, Hypothesis, Sequence[Hypothesis]]]:
    """The likeliest of what looks alike, and all of it; where a close look parts them, those of either side, with what
    is seen then.
    """
    if look is None:
        return [("", same[0], same)]
    sides = [(f", if {look.end} is dark", look.dark), (f", if {look.end} is lit", look.lit)]
    return [
        (condition, side[0], side) for condition, side in sorted(sides, key=lambda one: same.index(one[1][0]))
    ]  # fmt: skip


def _typed_short(alike: Sequence[Hypothesis]) -> Fault | None:
    """A number of pixels typed in too low, where that looks the same: it is read before anything is opened."""
    return next((each[0] for each in alike if len(each) == 1 and each[0].kind == "count"), None)


def _if_typed_right(path: Path, wiring: Wiring, fault: Fault, alike: Sequence[Hypothesis]) -> str:
    """What to do where a number in a box is the likeliest, and is right: the likeliest for the hands that look alike.
    Empty where the likeliest is for the hands itself, or nothing else looks like it.
    """
    if fault.kind not in TYPED or in_file_alone(wiring, fault):
        return ""
    hands = [each[0] for each in alike if len(each) == 1 and each[0].kind not in TYPED]
    return "; or ".join(remedy(path, wiring, hand).says for hand in hands[:MOST_BY_HAND])


def place_of(plan: Planned, look: CloseLook) -> str:
    """The pixel of a close look, and where it is."""
    return f"{look.end}, at {ends(plan.wiring.show, look.run)[0 if look.first else 1]}"


def say_causes(causes: Sequence[str], volts: Sequence[str], say: Say) -> None:
    """The causes, most usual first; the planned voltage below the one that is too low a voltage."""
    for number, cause in enumerate(causes, start=1):
        say(f"    {number}. {cause}")
        for says in volts if cause in LOW_VOLTAGE else ():
            say(f"       {says}.")


def say_lines(path: Path, plan: Planned, same: Sequence[Hypothesis], say: Say) -> tuple[Rewritten | None, Hypothesis]:
    """Say which lines of the show file to change, for the first of what looks alike that it can describe."""
    text, why = read_text(path), ""
    for faults in same[:MOST_TRIED]:
        try:
            change = rewritten(text, plan, faults)
        except PatcherError as error:
            why = why or error.findings[0].says.removeprefix(UNSAID)
            continue
        if all(in_file_alone(plan.wiring, fault) for fault in faults):
            say(f"  Change {path.name}:")
        else:
            say(f"  {_or_plan_it(plan.wiring, faults, path.name, likeliest=faults == same[0])}")
        named = argument(path)
        for line in (*_against(plan, change, named), *change.lines, *_then(plan.wiring, change, named)):
            say(f"    {line}")
        return change, faults
    if any(fault.kind != "flicker" for fault in same[0]):
        say(f"  The show file cannot be changed instead: {why}.")
    return None, ()


def _or_plan_it(wiring: Wiring, faults: Hypothesis, file: str, *, likeliest: bool) -> str:
    """What may be done in place of fixing faults by hand: what stays as it is, and under which conditions."""
    only = [] if likeliest else [in_words(faults, wiring)]
    only += dict.fromkeys(filter(None, (if_set_as_planned(wiring, fault) for fault in faults)))
    begins = f"Or, if {' and '.join(only)}, leave" if only else "Or leave"
    kinds = {fault.kind for fault in faults}
    if not kinds & {*STARTS}:
        return f"{begins} the wiring as it is, and change {file}:"
    both = "the wiring and the start addresses" if kinds - {*STARTS} else "the start addresses"
    return f"{begins} {both} as they are, and plan them so; change {file}:"


def _then(wiring: Wiring, change: Rewritten, path: str) -> Iterator[str]:
    """What else changes with the show file, in words."""
    starts = [box for box in change.boxes if box not in change.ports]
    if change.boxes or change.moved:
        yield f"then patcher patch {path}" + f"; patcher todo {path} lists what to change:" * bool(
            starts or change.moved
        )
    if starts:
        yield f"the settings of {', '.join(starts)}"
    if change.moved:
        yield f"what the player is told of {', '.join(change.moved)}"
    if change.ports:
        yield f"what each port of {', '.join(change.ports)} has, as patch prints it"
    yield from _drawn(wiring, change)
    if change.counted:
        yield f"and note: the taps of {', '.join(change.counted)} then join other pixels: correct their pixel numbers"


def _against(plan: Planned, change: Rewritten, path: str) -> Iterator[str]:
    """The errors that `check` finds in a changed show, and not in this one."""
    found = new_findings(plan.wiring, change.wiring, now=change.patch)
    errors = [finding for finding in found if finding.severity == "error"]
    for error in errors[:MOST_ERRORS]:
        yield f"planned so, patcher check {path} finds an error: {error.where}: {error.says}"
    if errors[MOST_ERRORS:]:
        yield f"and {len(errors) - MOST_ERRORS} more"


def _drawn(wiring: Wiring, change: Rewritten) -> Iterator[str]:
    """Where runs begin then, or which way they go, and did not before: what a player that draws them must turn."""
    before, after = wiring.show, change.wiring.show
    for run in before.runs:
        if run not in after.runs or (before.runs[run], before.props) == (after.runs[run], after.props):
            continue
        old, new = (drawing(each, run) for each in (wiring, change.wiring))
        if old and new and old.differs(new):
            yield f"in the player, {IN_ITS_DRAWING}: {draw_words(DrawChange(run, old, new))}"
