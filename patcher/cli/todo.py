"""`todo`: the season's list: what is to be tested, hung, joined, powered, typed in, told and proved; ticked off."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load, load_patch
from patcher.cli.options import AsJson, ShowFile
from patcher.errors import choose_from, first_few, refuse
from patcher.terminal.printed import say_json
from patcher.visible import argument

if TYPE_CHECKING:
    from patcher.patch.entered import Entered, Todo
    from patcher.patch.patch import Patch
    from patcher.season.jobs import ByHand, Step
    from patcher.season.ticks import Ticks
    from patcher.season.work_list import Kept
    from patcher.wiring import Wiring


Box = Annotated[str | None, typer.Argument(metavar="[BOX]", help="Only this box, thing by thing.")]
Tested = Annotated[
    list[str] | None,
    typer.Option("--tested", metavar="THING", help="Tick off as tested on the bench: RUN, PROP, BOX, or all."),
]
Hung = Annotated[
    list[str] | None, typer.Option("--hung", metavar="THING", help="Tick off as hung: RUN, PROP, BOX, or all.")
]
Joined = Annotated[
    list[str] | None,
    typer.Option("--joined", metavar="THING", help="Tick off that its lead is joined: RUN, PROP, BOX, or all."),
]
Powered = Annotated[
    list[str] | None,
    typer.Option("--powered", metavar="THING", help="Tick off as joined: FEED, SUPPLY, RUN with a cut, BOX, or all."),
]
Typed = Annotated[
    list[str] | None,
    typer.Option("--typed", metavar="THING", help="Tick off as typed in: BOX, BOX/PORT, RUN, or all."),
]
Told = Annotated[
    list[str] | None,
    typer.Option("--told", metavar="THING", help="Tick off as told to the player: RUN, PROP, BOX, or all."),
]


@dataclass(frozen=True)
class Named:
    """What a person named to tick off, step by step.

    Attributes:
        by_hand: of each job of the hands.
        typed: as typed in.
        told: as told to the player.
        undo: whether these ticks are taken away again.
        took: how many minutes it took, where that is said.
    """

    by_hand: dict[ByHand, list[str]]
    typed: list[str]
    told: list[str]
    undo: bool
    took: float | None

    @property
    def hands(self) -> bool:
        """Whether a job of the hands is named."""
        return any(self.by_hand.values())

    @property
    def desk(self) -> bool:
        """Whether something is named that is typed in or told."""
        return bool(self.typed or self.told)

    def check(self) -> None:
        """PatcherError where options do not go together."""
        if self.undo and not (self.hands or self.desk):
            raise refuse("--undo", "no tick is named", "name the ticks: --hung THING, --typed THING, --told THING …")
        if self.took is not None and (
            self.undo or [*map(bool, (*self.by_hand.values(), self.typed, self.told))].count(True) != 1
        ):
            raise refuse("--took", "is about one step that is ticked off", "name one: --hung THING --took 40")


def todo(
    show: ShowFile,
    box: Box = None,
    tested: Tested = None,
    hung: Hung = None,
    joined: Joined = None,
    powered: Powered = None,
    typed: Typed = None,
    told: Told = None,
    took: Annotated[
        float | None,
        typer.Option("--took", metavar="MINUTES", min=0, max=6000, help="How long it took, for next season's list."),
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take the named ticks away again.")] = False,
    as_json: AsJson = False,
) -> None:
    """List what is still to do this season, box by box.

    Test, hang, join, power, type in, tell, prove; the options tick off what is done.
    """
    from patcher.patch import entered
    from patcher.patch.patch_file import change_entered, patch_path, read_entered, read_patch
    from patcher.season.jobs import jobs
    from patcher.season.ticks_file import read_ticks
    from patcher.season.work_list import Kept
    from patcher.walk.record_file import read_record

    by_hand: dict[ByHand, list[str]] = {
        "bench": tested or [], "hang": hung or [], "leads": joined or [], "power": powered or [],
    }  # fmt: skip
    named = Named(by_hand, typed or [], told or [], undo, took)
    named.check()
    wiring = load(show)
    if (named.desk or named.hands) and read_patch(show) is None:
        raise refuse(str(patch_path(show)), "was not found", f"write it first: patcher patch {argument(show)}")
    patch = load_patch(show, wiring)
    boxes = dict.fromkeys([*patch.boxes, *(plan.box for plan in jobs(wiring).values())])
    if box is not None and box not in boxes:
        raise refuse(box, "is not a box at which anything is to be done", choose_from(box, boxes))
    ticks = read_entered(show)
    change = _change(ticks, wiring, patch, named.typed, named.told, undo=undo)
    done = _done(named, ticks, wiring, patch)
    if named.desk:
        ticks = change_entered(show, change)
    kept = Kept(ticks, done(show) if named.desk or named.hands else read_ticks(show), read_record(show))
    left = entered.todo(ticks, wiring, patch)
    _say(show, wiring, patch, kept, left, named, box, as_json=as_json)


def _say(
    show: Path, wiring: Wiring, patch: Patch, kept: Kept, left: Todo, named: Named, box: str | None, *, as_json: bool
) -> None:
    """Print the list: after a tick what is left of its kind, else all of it, or one box's."""
    from patcher.reports import todo_report, work_report
    from patcher.season.work_list import elsewhere, work

    boxes = work(wiring, patch, kept)
    if as_json:
        more = {"ticked": not kept.entered.nothing, "boxes": work_report.document(boxes, kept.ticks.answered)}
        say_json(todo_report.document(left) | more)
        return
    if named.hands:
        about = _about(named, wiring)
        work_report.say_done(named.by_hand, [each for each in boxes if each.box in about], show, undo=named.undo)
    if named.desk:
        todo_report.say_ticked(named.typed, named.told, undo=named.undo)
        todo_report.say(wiring, patch, left, show, hint=False)
    if named.hands or named.desk:
        return
    if box is None:
        todo_report.say(wiring, patch, left, show, hint=True)
        print()
        work_report.say_boxes(boxes, show, elsewhere(kept.ticks, boxes))
        return
    names = [each.box for each in boxes]
    said = work_report.answered_words(box, kept.ticks.answered.get(box), patch.box_universes.get(box, ()))
    work_report.say_box(boxes[names.index(box)], (names.index(box) + 1, len(names)), show, said)


def _about(named: Named, wiring: Wiring) -> set[str]:
    """The boxes at which the jobs are that were ticked off."""
    from patcher.season.jobs import jobs
    from patcher.season.named_jobs import named_jobs

    planned = jobs(wiring)
    return {
        plan.box for step, names in named.by_hand.items() for plan in named_jobs(step, names, planned, wiring).values()
    }


def _done(named: Named, ticks: Entered, wiring: Wiring, patch: Patch) -> Callable[[Path], Ticks]:
    """What ticks off the named jobs in a show's file, and keeps when; PatcherError where a name is not known."""
    from patcher.patch import entered
    from patcher.season.jobs import jobs
    from patcher.season.named_jobs import named_jobs
    from patcher.season.ticks_file import change_ticks
    from patcher.walk.record_file import local_time

    planned, now = jobs(wiring), local_time()
    meant = {
        job: plan
        for step, names in named.by_hand.items()
        for job, plan in named_jobs(step, names, planned, wiring).items()
    }
    runs = entered.named_runs(named.told, ticks, wiring, patch)
    boxes: dict[Step, set[str]] = {
        "type": {box for box, _ in entered.named_starts(named.typed, ticks, wiring, patch)},
        "tell": {patch.start_of(run).controller for run in runs if patch.has(run)},
    }

    at = {plan.box for plan in meant.values()}.union(*boxes.values())
    if named.took is not None and len(at) > 1:
        says = f"is the time at one box, and these are {len(at)}: {first_few(sorted(at), 4)}"
        raise refuse("--took", says, "tick off each box by itself, each with its own --took")

    def change(kept: Ticks) -> Ticks:
        if named.undo:
            return kept.unticked(meant)
        kept = kept.ticked(meant, now, named.took)
        for step, own in boxes.items():
            kept = kept.worked(own, step, now, named.took) if own else kept
        return kept

    return lambda show: change_ticks(show, change)


def _change(
    ticks: Entered, wiring: Wiring, patch: Patch, typed: Sequence[str], told: Sequence[str], *, undo: bool
) -> Callable[[Entered], Entered]:
    """What the named ticks make of those that are kept; PatcherError where a name is not known."""
    from patcher.patch import entered

    starts = entered.named_starts(typed, ticks, wiring, patch)
    runs = entered.named_runs(told, ticks, wiring, patch)
    if undo:
        return lambda kept: entered.untold(entered.untyped(kept, wiring, patch, starts), runs)
    return lambda kept: entered.told(entered.typed(kept, wiring, patch, starts), wiring, patch, runs)
