"""`verify`: a guided check, step by step, until every port, run and prop is proved; and what is proved so far."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import frame_goals, load, load_patch, need_yard, together
from patcher.cli.options import AsJson, Faults, Interface, Seed, ShowFile
from patcher.errors import refuse
from patcher.frames.request import FASTEST_STREAM
from patcher.terminal.folds import fold
from patcher.terminal.printed import count, say_json
from patcher.trade import TEST_LEVEL

if TYPE_CHECKING:
    from datetime import datetime

    from patcher.dialogue.answerer import Answering
    from patcher.dialogue.walk_through import Walk
    from patcher.patch.patch import Patch
    from patcher.patch.thing import Part
    from patcher.reports.verify_report import Progress
    from patcher.show.schema import Show
    from patcher.walk.items import Item
    from patcher.walk.record import Entry, Record
    from patcher.wiring import Wiring

Say = Callable[[str], None]


Answers = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Take the answers from a file, one a line; send nothing.")
]
Note = Annotated[str | None, typer.Option(metavar="TEXT", help="Save a note about THING; send nothing.")]
Replaced = Annotated[
    str | None, typer.Option(metavar="TEXT", help="Save that the pixel THING was replaced, and by what.")
]
Batch = Annotated[
    str | None, typer.Option("--batch", metavar="NAME", help="With --replaced: which purchase the new pixel is of.")
]
ByHand = Annotated[
    bool, typer.Option("--by-hand", help="With --yard: you answer, while `patcher yard` shows the pixels.")
]


@dataclass(frozen=True)
class AnswerSource:
    """Where the answers come from: a file, simulated boxes, or a person at the keys.

    Attributes:
        answers: a file of answers; nothing is sent then.
        yard: whether the simulated yard stands in for the boxes.
        by_hand: whether a person answers, though it goes to the yard.
        faults: how the yard is wired wrongly.
        seed: of what the yard's eye overlooks.
        interface: the address of this machine to send from.
    """

    answers: Path | None
    yard: bool
    by_hand: bool
    faults: list[str]
    seed: int
    interface: str | None

    @property
    def keys(self) -> bool:
        """Whether a person answers, who has keys to press."""
        return self.answers is None and (not self.yard or self.by_hand)

    def check(self) -> None:
        """PatcherError where two of them do not go together."""
        if (self.faults or self.by_hand) and not self.yard:
            raise refuse("--fault" if self.faults else "--by-hand", "needs the simulated yard", "add --yard")
        if self.faults and self.by_hand:
            raise refuse("--fault", "does not go together with --by-hand", "give the fault to patcher yard instead")
        together(("--answers", self.answers), ("--yard", self.yard))
        together(("--answers", self.answers), ("--interface", self.interface))
        together(("--yard", self.yard), ("--interface", self.interface))


def verify(
    show: ShowFile,
    thing: Annotated[str | None, typer.Argument(metavar="[THING]", help="Only this box, port, run or prop.")] = None,
    report: Annotated[
        bool, typer.Option("--report", help="List what is proved, failed and open; send nothing.")
    ] = False,
    new_season: Annotated[bool, typer.Option("--new-season", help="Reset all results, keep notes.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Re-check what already passed, too.")] = False,
    answers: Answers = None,
    yard: Annotated[bool, typer.Option("--yard", help="Practise: simulated boxes and an eye answer.")] = False,
    fault: Faults = None,
    by_hand: ByHand = False,
    note: Note = None,
    replaced: Replaced = None,
    batch: Batch = None,
    seed: Seed = 0,
    interface: Interface = None,
    as_json: AsJson = False,
) -> None:
    """Check every port, run and prop, step by step.

    Each answer is saved at once.
    """
    from patcher.reports.verify_report import Progress
    from patcher.season.ticks_file import read_ticks
    from patcher.walk.items import digests, items
    from patcher.walk.record_file import read_record

    source = AnswerSource(answers, yard, by_hand, fault or [], seed, interface)
    source.check()
    wiring = load(show)
    patch = load_patch(show, wiring)
    if batch is not None and replaced is None:
        raise refuse("--batch", "is about a pixel that was replaced", "add --replaced TEXT")
    if batch is not None and not batch.strip():
        raise refuse("--batch", "names no purchase", "write its name, as 2025; or leave --batch out")
    if note is not None or replaced is not None:
        _add(show, wiring, patch, thing, note=note, replaced=replaced, batch=batch, practice=yard)
        return
    record = read_record(show, practice=yard)
    every = digests(wiring, patch, items(wiring))
    wanted = {item: every[item] for item in every if thing is None or item in _of_thing(thing, wiring, patch)}
    if not wanted:
        raise refuse(thing or str(show), "has nothing to prove this season", "name a box, port, run or prop that hangs")
    if new_season:
        record = _season(show, wiring, thing, practice=yard)
        if not (report or as_json):
            return
    seasons = len(read_ticks(show, practice=yard).seasons)
    progress = Progress(show, wiring, patch, record, wanted, practice=yard, seasons=seasons)
    if not (report or new_season):
        # a fault is practised on: it may stand where all has passed in an earlier practice
        progress = _round(progress, every, source, again=again or bool(source.faults), as_json=as_json)
    _say_report(progress, as_json=as_json)


def _say_report(progress: Progress, *, as_json: bool) -> None:
    from patcher.reports.verify_report import document, say

    if as_json:
        say_json(document(progress))
    else:
        say(progress)
    if "failed" in progress.states.values():
        raise typer.Exit(1)


def _season(show: Path, wiring: Wiring, thing: str | None, *, practice: bool) -> Record:
    """Reset all results, and what hands have done; the record as it then is."""
    from patcher.season.ticks import Worked
    from patcher.season.ticks_file import change_ticks, read_ticks
    from patcher.walk.items import items
    from patcher.walk.progress import by_box
    from patcher.walk.record_file import change_record, local_time, read_record

    if thing is not None:
        raise refuse("--new-season", "is for the whole show", "leave the thing out")
    before, now = read_record(show, practice=practice), local_time()
    proved = [
        Worked(answer.when, box, "prove")
        for box, own in by_box(before.answers.keys() & {*items(wiring)}, wiring).items()
        for answer in (before.answers[item] for item in own)
    ]
    ticks = read_ticks(show, practice=practice)
    if ticks.log or ticks.done or proved:
        change_ticks(show, lambda kept: kept.new_season(now, proved), practice=practice)
    record = change_record(show, lambda kept: kept.new_season(), practice=practice)
    said = f"A new season: {count(len(before.answers), 'result')} reset, {count(len(record.notes), 'note')} kept."
    if ticks.done:
        said += f" {count(len(ticks.done), 'tick')} for work by hand taken away: all of it is to do again."
    print(said, file=sys.stderr)
    return record


def _add(
    show: Path, wiring: Wiring, patch: Patch, thing: str | None, *, note: str | None, replaced: str | None,
    batch: str | None, practice: bool,
) -> None:  # fmt: skip
    """Save what a person says of a thing, at any time."""
    from patcher.patch.thing import find
    from patcher.season.batches import BATCHES_DIFFER
    from patcher.walk.record import Entry
    from patcher.walk.record_file import change_record, local_time

    if thing is None:
        raise refuse("--note or --replaced", "names no thing", "name it: patcher verify SHOW gable/17 --replaced …")
    found = find(thing, wiring, patch)
    if replaced is not None and found.kind not in ("pixel", "pixels"):
        raise refuse("--replaced", f"is about a pixel, and {thing} is a {found.kind}", "name it by its run: gable/17")
    now = local_time()
    if note is not None:
        change_record(show, lambda kept: kept.added("notes", Entry(thing, now, note)), practice=practice)
    if replaced is not None:
        entries = [_replaced(part, wiring.show, now, replaced, batch) for part in found.parts]
        change_record(show, lambda kept: kept.added("replaced", *entries), practice=practice)
        for entry in entries:
            if batch and entry.of and batch != entry.of:
                said = f"{entry.thing} is now of batch {batch}, its run of {entry.of}: {BATCHES_DIFFER}"
                print(fold(f"warning: {said}", sys.stderr), file=sys.stderr)
    print(f"Saved for {thing}.")


def _replaced(part: Part, show: Show, now: datetime, what: str, batch: str | None) -> Entry:
    """That pixels were replaced: by their run, whatever they were called, and of which batch the run was then."""
    from patcher.walk.record import Entry

    thing = f"{part.run}/{part.first}" + f"-{part.last}" * (part.last > part.first)
    return Entry(thing, now, what, batch, show.runs[part.run].batch or None)


def _of_thing(thing: str, wiring: Wiring, patch: Patch) -> set[Item]:
    """The items of a thing: its runs', its ports' and, where it is a prop or a run that is one, its picture's."""
    from patcher.patch.thing import find
    from patcher.walk.items import items

    found = find(thing, wiring, patch)
    if found.kind in ("pixel", "pixels", "channel"):
        raise refuse(thing, "is a part of a run", "name a box, port, run or prop")
    runs = {name for part in found.parts for name in (part.run, *wiring.tees(part.run))}
    ports = {f"{box}/{port}" for box, port in (wiring.ports[run] for run in runs)}
    whole = {prop for prop, members in wiring.show.prop_runs().items() if set(members) <= runs}
    return {item for item in items(wiring) if item.thing in runs | ports | whole}


def _round(
    progress: Progress, every: Mapping[Item, str], source: AnswerSource, *, again: bool, as_json: bool
) -> Progress:
    """Walk through what is open, and start again where the show file is changed on the way; where the show stands then.

    Args:
        progress: where the show stands.
        every: all items with their digests.
        source: where the answers come from.
        again: whether what already passed is checked too.
        as_json: whether stdout is kept for a document.
    """
    from patcher.answers.terminal_answers import Written
    from patcher.reports.verify_report import Progress
    from patcher.walk.items import digests, items
    from patcher.walk.record_file import read_record

    stream = sys.stderr if as_json else sys.stdout

    def say(line: str) -> None:
        print(fold(line, stream), file=stream, flush=True)

    written = Written.read(source.answers) if source.answers is not None else None
    shown = 0
    while True:
        with _answering(progress.show, progress.wiring, progress.patch, written, source, say) as answering:
            walk = _walk(progress, every, answering, say, again=again, keys=source.keys)
            if walk is not None:
                walk.go()
                shown += walk.looks
        if walk is not None:
            say("" if not walk.written else "\nThe show file has changed. What is open now:")
        if walk is None or not walk.written:
            return replace(progress, record=read_record(progress.show, practice=source.yard), shown=shown)
        show, things = progress.show, {item.thing for item in progress.wanted}
        wiring = load(show)
        patch = load_patch(show, wiring)
        every, again = digests(wiring, patch, items(wiring)), False
        wanted = {item: every[item] for item in every if item.thing in things}
        record = read_record(show, practice=source.yard)
        progress = Progress(show, wiring, patch, record, wanted, practice=source.yard)


def _walk(
    progress: Progress, every: Mapping[Item, str], answering: Answering, say: Say, *, again: bool, keys: bool
) -> Walk | None:
    """The steps that are left; None where all of them have passed."""
    from patcher.dialogue.walk_through import Walk, open_items
    from patcher.frames.levels import levels
    from patcher.reports.verify_report import all_passed, begin
    from patcher.walk.round_plan import plan

    wiring, patch = progress.wiring, progress.patch
    steps = plan(wiring, set(progress.wanted) if again else open_items(progress.record, progress.wanted))
    if not steps:
        say(all_passed(progress, by_hand=keys))
        return None
    say(begin(steps, progress, again=again))
    return Walk(
        progress.show, wiring, patch, every, steps, answering,
        lambda look: levels(look, wiring, patch, patch.universes, TEST_LEVEL), say,
        practice=progress.practice, keys=keys,
    )  # fmt: skip


@contextmanager
def _answering(
    show: Path, wiring: Wiring, patch: Patch, written: Answering | None, source: AnswerSource, say: Say
) -> Iterator[Answering]:
    """Who answers; whatever is lit is dark at the end."""
    from patcher.answers.terminal_answers import Person
    from patcher.answers.yard_answers import simulated
    from patcher.reports.send_report import NOT_REACHED
    from patcher.stream.sender import Sender
    from patcher.terminal.key_source import typed
    from patcher.terminal.signals import stopping
    from patcher.yard.yard import LOOPBACK

    if written is not None:
        yield written
        return
    goals = frame_goals(show, wiring, patch, yard=source.yard)
    if source.by_hand:
        need_yard(show)
    universes = sorted({goal.universe for goal in goals})
    with ExitStack() as stack:
        stop = stack.enter_context(stopping())
        if source.yard and not source.by_hand:
            yield stack.enter_context(simulated(show, wiring, patch, source.faults, source.seed, stop))
            return
        keys = stack.enter_context(typed())
        sender = stack.enter_context(Sender(goals, interface=LOOPBACK if source.yard else source.interface))
        rate = min(wiring.show.settings.frame_rate, FASTEST_STREAM)
        yield Person(keys, sender, universes, rate, stop, say)
    for (host, _), reason in sender.reached.lost.items():
        print(f"{host} could not be reached: {reason}. {NOT_REACHED}", file=sys.stderr)
