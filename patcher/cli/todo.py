"""`todo`: what is still to type into the boxes and still to tell the player, ticked off thing by thing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load, load_patch
from patcher.cli.options import AsJson, ShowFile
from patcher.errors import refuse
from patcher.terminal.printed import say_json
from patcher.visible import argument

if TYPE_CHECKING:
    from patcher.patch.entered import Entered
    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring


def todo(
    show: ShowFile,
    typed: Annotated[
        list[str] | None,
        typer.Option("--typed", metavar="THING", help="Tick off as typed in: BOX, BOX/PORT, RUN, or all."),
    ] = None,
    told: Annotated[
        list[str] | None,
        typer.Option("--told", metavar="THING", help="Tick off as told to the player: RUN, PROP, BOX, or all."),
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take the named ticks away again.")] = False,
    as_json: AsJson = False,
) -> None:
    """List what is still to type in and to tell the player.

    --typed and --told tick off what is done.
    """
    from patcher.patch import entered
    from patcher.patch.patch_file import change_entered, patch_path, read_entered, read_patch
    from patcher.reports.todo_report import document, say, say_ticked

    typed, told = typed or [], told or []
    if undo and not (typed or told):
        raise refuse("--undo", "no tick is named", "name the ticks: --typed THING, --told THING")
    wiring = load(show)
    if (typed or told) and read_patch(show) is None:
        raise refuse(str(patch_path(show)), "was not found", f"write it first: patcher patch {argument(show)}")
    patch = load_patch(show, wiring)
    ticks = read_entered(show)
    change = _change(ticks, wiring, patch, typed, told, undo=undo)
    if typed or told:
        ticks = change_entered(show, change)
    left = entered.todo(ticks, wiring, patch)
    if as_json:
        say_json(document(left) | {"ticked": not ticks.nothing})
    else:
        if typed or told:
            say_ticked(typed, told, undo=undo)
        say(wiring, patch, left, show, hint=not (typed or told))


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
