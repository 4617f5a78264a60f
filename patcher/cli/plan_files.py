"""Commands that write a file: `new`, `patch`; and `diff`, which says what `patch` would change."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import allocated, load, show_name, together
from patcher.cli.options import SEARCH, AsJson, SearchSeconds, ShowFile, SparePixels
from patcher.errors import PatcherError, refuse
from patcher.terminal.printed import say_csv, say_findings, say_json, say_table
from patcher.visible import argument

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.placement.allocation import Allocation
    from patcher.sheets.patch_tables import PrintedTable


def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The show file to write, as my-show.toml.")],
) -> None:
    """Write a small show file with comments, to start from."""
    import json

    from patcher.show.schema import json_schema
    from patcher.show.starter import STARTER
    from patcher.show.writer import UNSEALED, write_output, write_together

    show_name(file)
    if file.exists() or file.is_symlink():
        raise refuse(str(file), "exists already; nothing was changed", "choose another name")
    schema = file.with_name("patcher.schema.json")
    document = {"$comment": UNSEALED, **json_schema()}
    write_output(schema, json.dumps(document, ensure_ascii=False, indent=1) + "\n")
    write_together({file: None}, {file: STARTER})
    print(f"Wrote {file}, and {schema} beside it, with which an editor completes and checks it.")
    print(f"Change it to your own, then: patcher check {argument(file)}")


def patch(
    show: ShowFile,
    player: Annotated[bool, typer.Option("--player", help="Print what to type into the show's player.")] = False,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Forget the patch file; assign every start address again.")
    ] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Print the table as CSV.")] = False,
    every_pixel: Annotated[bool, typer.Option("--every-pixel", help="Print one row for each pixel.")] = False,
    spare_pixels: SparePixels = 0,
    seconds: SearchSeconds = SEARCH,
    as_json: AsJson = False,
) -> None:
    """Assign every address; print what to type into each box.

    The patch is kept beside the show, so that next season as few boxes as possible change.
    """
    from patcher.patch.entered import todo
    from patcher.patch.patch_file import patch_path, read_entered, write_patch
    from patcher.reports import patch_report, todo_report
    from patcher.show.writer import as_read

    together(("--player", player), ("--every-pixel", every_pixel))
    together(("--json", as_json), ("--csv", as_json and csv), ("--player", as_json and player))
    seen = as_read(show, patch_path(show))
    wiring = load(show)
    kept, entered = _kept(show, fresh=fresh), read_entered(show)
    made = allocated(show, wiring, None if fresh else kept, spare_pixels=spare_pixels, seconds=seconds)
    path = write_patch(show, made.patch, seen)
    if (csv or every_pixel or player) and not as_json:
        _say_table(patch_report.table(wiring, made.patch, player=player, every_pixel=every_pixel), csv=csv)
        if player and not csv:
            patch_report.say_sent(wiring, made.patch)
        if made.patch != kept:
            print(f"Wrote {path}.", file=sys.stderr)
    else:
        left = todo(entered, wiring, made.patch)
        saved = patch_report.saved(wiring, made, spare_pixels, seconds)
        patched = patch_report.Patched(wiring, made, kept, saved, left)
        if as_json:
            pixels = patch_report.pixels_document(made.patch) if every_pixel else {}
            say_json(patch_report.document(patched) | todo_report.document(left) | pixels)
        else:
            patch_report.say_boxes(wiring, made.patch)
            patch_report.say_summary(patched, path)
            todo_report.say_left(show, left)
    _say_faults(show, made)


def _kept(show: Path, *, fresh: bool) -> Patch | None:
    """The patch of before; one that cannot be read is none where all is assigned anew."""
    from patcher.patch.patch_file import read_patch

    try:
        return read_patch(show)
    except PatcherError:
        if not fresh:
            raise
        return None


def _say_table(table: PrintedTable, *, csv: bool) -> None:
    """Print a table for a spreadsheet, or for people."""
    from patcher.sheets import patch_tables

    if csv:
        say_csv(table.heads, table.rows)
        return
    table = table.without(patch_tables.SEND_BY, patch_tables.SEND_TO)
    heads, numbers = (tuple(map(patch_tables.screen_head, names)) for names in (table.heads, patch_tables.NUMBERS))
    say_table(heads, table.rows, right=" ".join(numbers))


def _say_faults(show: Path, made: Allocation) -> None:
    """Say which rules the kept patch itself breaks, and exit 1 for it."""
    from patcher.show.line_numbers import located
    from patcher.show.show_file import read_text

    if made.faults:
        say_findings(located(made.faults, read_text(show)))
        raise typer.Exit(1)


def diff(
    show: ShowFile,
    fresh: Annotated[bool, typer.Option("--fresh", help="Compare with a patch made without the old one.")] = False,
    spare_pixels: SparePixels = 0,
    seconds: SearchSeconds = SEARCH,
    as_json: AsJson = False,
) -> None:
    """List what patch would change, and write nothing.

    That is: settings in each box, and addresses to tell the player.
    """
    from patcher.patch.changes import run_changes, start_changes
    from patcher.patch.entered import todo
    from patcher.patch.patch_file import patch_path, read_entered, read_patch
    from patcher.reports import patch_report, todo_report
    from patcher.sheets.patch_tables import IN_PATCH_FILE

    wiring = load(show)
    old, entered = read_patch(show), read_entered(show)
    made = allocated(show, wiring, None if fresh else old, spare_pixels=spare_pixels, seconds=seconds)
    starts, runs = start_changes(old, made.patch, wiring.show), run_changes(old, made.patch)
    left = todo(entered, wiring, made.patch)
    if as_json:
        say_json(patch_report.changes_document(starts, runs, made) | todo_report.document(left))
        raise typer.Exit(1 if made.faults else 0)
    if old is None:
        print(f"There is no {patch_path(show).name} yet: all of it is new.")
    if not starts and not runs:
        same = not left.to_type and not left.drawn and not any(change.old for change in left.sent)
        print("The plan is as last patched." if same else "No start address changed.")
    todo_report.say_settings(wiring, made.patch, starts, IN_PATCH_FILE)
    todo_report.say_besides(left, starts)
    if runs:
        print("\nTo tell the player:")
        todo_report.say_told(runs, IN_PATCH_FILE)
    if starts or runs:
        print(f"\nNothing is written yet: patcher patch {argument(show)}")
    elif old is not None:
        todo_report.say_left(show, left)
    _say_faults(show, made)
