"""`todo`: what is still to type into the boxes and still to tell the player, ticked off thing by thing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import AsJson, ShowFile, load, load_patch
from patcher.errors import refuse
from patcher.terminal.tables import count, say_json, say_table

if TYPE_CHECKING:
    from patcher.patch.changes import RunChange, Setting, StartChange
    from patcher.patch.entered import Entered, Todo
    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring


def todo(
    show: ShowFile,
    typed: Annotated[
        list[str] | None,
        typer.Option("--typed", metavar="THING", help="Tick off: it is typed in. BOX, BOX/PORT, RUN, or all."),
    ] = None,
    told: Annotated[
        list[str] | None,
        typer.Option("--told", metavar="THING", help="Tick off: the player is told. RUN, PROP, or all."),
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take these ticks away: it is not so after all.")] = False,
    as_json: AsJson = False,
) -> None:
    """What is still to type into the boxes, and still to tell the player; --typed and --told tick it off."""
    from patcher.patch import entered as ticks
    from patcher.patch.patch_file import change_entered, patch_path, read_entered, read_patch

    if undo and not (typed or told):
        raise refuse("--undo", "takes away ticks that are named", "name them: --typed THING, --told THING")
    wiring = load(show)
    if (typed or told) and read_patch(show) is None:
        says = "is not there yet, so nothing can be typed in by it"
        raise refuse(str(patch_path(show)), says, f"write it first: patcher patch {show}")
    patch = load_patch(show, wiring)
    before = read_entered(show)
    change = _change(before, wiring, patch, typed or [], told or [], undo=undo)
    after = change_entered(show, change) if typed or told else before
    left = ticks.todo(after, wiring, patch)
    if as_json:
        say_json(todo_json(left) | {"ticked": not after.nothing})
        return
    if not left.starts and not left.runs:
        print("Nothing: all settings are in the boxes, and the player knows all addresses.")
    if left.starts:
        print("Settings to change in the boxes:")
        say_settings(wiring, left.starts, not_known=True)
    if left.runs:
        print("\nTo tell the player:" if left.starts else "To tell the player:")
        say_told(left.runs, not_known=True)
    if (left.starts or left.runs) and not (typed or told):
        print(f"\nTick off what is done: patcher todo {show} --typed BOX, or --told RUN")


def _change(
    entered: Entered, wiring: Wiring, patch: Patch, typed: Sequence[str], told: Sequence[str], *, undo: bool
) -> Callable[[Entered], Entered]:
    """What becomes of what was ticked off; PatcherError where a name is none."""
    from patcher.patch import entered as ticks

    starts = ticks.named_starts(typed, entered, wiring, patch)
    runs = ticks.named_runs(told, entered, wiring, patch)
    if undo:
        return lambda held: ticks.untold(ticks.untyped(held, starts), runs)
    return lambda held: ticks.told(ticks.typed(held, wiring, patch, starts), patch, runs)


def say_settings(wiring: Wiring, changes: Sequence[StartChange], *, not_known: bool = False) -> None:
    """The settings to change, box by box; `not_known` where it was never said what is in the box."""
    from patcher.sheets import patch_tables

    table = patch_tables.to_type(changes, before=patch_tables.NOT_KNOWN if not_known else patch_tables.NEW)
    for name, own in groupby(table.rows, key=lambda row: str(row[0])):
        gone = "" if name in wiring.show.controllers else ", no longer in the show"
        print(f"{name}{gone}:")
        say_table(table.heads[1:], [row[1:] for row in own])


def say_told(changes: Sequence[RunChange], *, not_known: bool = False) -> None:
    """What to tell the player, run by run; `not_known` where it was never said what it knows."""
    from patcher.sheets import patch_tables

    table = patch_tables.to_tell(changes, before=patch_tables.NOT_KNOWN if not_known else patch_tables.NEW)
    say_table(table.heads, table.rows)


def say_left(show: Path, left: Todo) -> None:
    """Where anything is still to do: for which boxes, and where the list is."""
    boxes = list(dict.fromkeys(change.controller for change in left.starts))
    parts = [f"to type into {', '.join(boxes)}"] * bool(boxes)
    parts += [f"to tell the player of {count(len(left.runs), 'run')}"] * bool(left.runs)
    if parts:
        print(f"Still {', and '.join(parts)}.")
        print(f"The list, to tick off what is done: patcher todo {show}")


def setting_json(change: StartChange) -> dict[str, Any]:
    """A setting to change, as scripts read it."""

    def of(held: Setting | None) -> dict[str, Any] | None:
        if held is None:
            return None
        return {key: value for key, value in asdict(held).items() if key != "port"}

    return {"controller": change.controller, "start": change.name, "old": of(change.old), "new": of(change.new)}


def todo_json(left: Todo) -> dict[str, Any]:
    """What is still to do, as scripts read it."""
    return {
        "to_type": [setting_json(change) for change in left.starts],
        "to_tell": [asdict(change) for change in left.runs],
    }
