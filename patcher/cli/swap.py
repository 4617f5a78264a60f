"""`swap`: a spare in the place of what died on the night, step by step."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load, load_patch
from patcher.cli.options import AsJson, ShowFile
from patcher.terminal.printed import say_json
from patcher.visible import argument

if TYPE_CHECKING:
    from patcher.show.writer import Seen
    from patcher.wiring import Wiring


def swap(
    show: ShowFile,
    dead: Annotated[str, typer.Argument(metavar="DEAD", help="The box or supply that died.")],
    spare: Annotated[str, typer.Argument(metavar="SPARE", help="The spare that takes its place.")],
    write: Annotated[bool, typer.Option("--write", help="Change the show file and the patch file.")] = False,
    as_json: AsJson = False,
) -> None:
    """Replace a dead box or supply by a spare, step by step.

    What to replug, what to make, what to type in.
    """
    from patcher.patch.patch_file import patch_path
    from patcher.show.writer import as_read
    from patcher.swaps.dead_and_spare import dead_and_spare

    seen = as_read(show, patch_path(show))
    wiring = load(show)
    kind, dead, spare = dead_and_spare(wiring.show, dead, spare)
    swap_it = _box if kind == "controller" else _supply
    swap_it(show, seen, wiring, dead, spare, write=write, as_json=as_json)


def _box(path: Path, seen: Seen, wiring: Wiring, dead: str, spare: str, *, write: bool, as_json: bool) -> None:
    from patcher.patch.entered import todo
    from patcher.patch.patch_file import read_entered
    from patcher.reports import swap_report
    from patcher.reports.todo_report import say_left
    from patcher.swaps.box_swap import swap_box
    from patcher.swaps.shortfall import Shortfall
    from patcher.swaps.swap_steps import box_steps, box_summary, found_then, swap_findings
    from patcher.swaps.swapped_files import write_swap
    from patcher.wiring import wire

    swapped = swap_box(wiring, load_patch(path, wiring), dead, spare)
    if isinstance(swapped, Shortfall):
        if as_json:
            say_json(swap_report.shortfall_document(swapped))
        else:
            swap_report.say_shortfall(swapped)
        raise typer.Exit(1)
    steps, findings = box_steps(swapped, wiring, argument(path), save=not write), swap_findings(swapped, wiring)
    entered = read_entered(path)
    wrote = write_swap(path, seen, wiring.show, swapped.show, swapped.patch, spare) if write else []
    if as_json:
        say_json(swap_report.box_document(swapped, steps, findings, wrote))
        return
    swap_report.say_paragraphs([*box_summary(swapped, wiring), *found_then(findings)])
    swap_report.say_steps(steps)
    swap_report.say_end(wrote)
    if wrote and swapped.spare.start:
        pins = f"[controller.{spare}.start]"
        print(f"The starts of {spare} are pinned in the show file, under {pins}: take a pin out where one may move.")
    if wrote:
        say_left(path, todo(entered, wire(swapped.show), swapped.patch))


def _supply(path: Path, seen: Seen, wiring: Wiring, dead: str, spare: str, *, write: bool, as_json: bool) -> None:
    from patcher.reports import swap_report
    from patcher.swaps.supply_swap import swap_supply
    from patcher.swaps.swap_steps import found_then, supply_shortfall, supply_steps, supply_summary, swap_findings
    from patcher.swaps.swapped_files import write_swap

    swapped = swap_supply(wiring, dead, spare)
    steps = supply_steps(swapped, argument(path), save=not write) if swapped.holds else []
    findings = swap_findings(swapped, wiring) if swapped.holds else []
    wrote = write_swap(path, seen, wiring.show, swapped.show, None, spare) if write and swapped.holds else []
    if as_json:
        say_json(swap_report.supply_document(swapped, steps, findings, wrote))
    elif swapped.holds:
        swap_report.say_paragraphs([*supply_summary(swapped), *found_then(findings)])
        swap_report.say_steps(steps)
        swap_report.say_end(wrote)
    else:
        swap_report.say_paragraphs([*supply_shortfall(swapped), swap_report.NOT_WRITTEN])
    if not swapped.holds:
        raise typer.Exit(1)
