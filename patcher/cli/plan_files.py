"""Commands that write a file: `new`, `patch`; and `diff`, which says what `patch` would."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import SEARCH, AsJson, Seconds, ShowFile, SparePixels, allocated, load, show_name
from patcher.errors import refuse
from patcher.terminal.tables import count, finding_json, ranges, say_csv, say_findings, say_json, say_table, start_json

if TYPE_CHECKING:
    from patcher.patch.changes import RunChange, StartChange
    from patcher.patch.patch import Patch
    from patcher.placement.allocation import Allocation
    from patcher.placement.explanation import Saving
    from patcher.sheets.patch_tables import Table
    from patcher.wiring import Wiring


def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The show file to write, as my-show.toml.")],
) -> None:
    """Write a small show file with comments, to begin from."""
    import json

    from patcher.show.schema import json_schema
    from patcher.show.starter import STARTER
    from patcher.show.writer import UNSEALED, write_output, write_together

    show_name(file)
    if file.exists() or file.is_symlink():
        raise refuse(str(file), "is there already; it was left as it is", "choose another name")
    schema = file.with_name("patcher.schema.json")
    document = {"$comment": UNSEALED, **json_schema()}
    write_output(schema, json.dumps(document, ensure_ascii=False, indent=1) + "\n")
    write_together({file: None}, {file: STARTER})
    print(f"Wrote {file}, and {schema} beside it, by which an editor completes and checks it.")
    print(f"Change it to your own, then: patcher check {file}")


def patch(
    show: ShowFile,
    player: Annotated[bool, typer.Option("--player", help="What to type into the show's player instead.")] = False,
    fresh: Annotated[bool, typer.Option("--fresh", help="Forget the patch file that is there.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="The table as CSV.")] = False,
    every_pixel: Annotated[bool, typer.Option("--every-pixel", help="One row a pixel.")] = False,
    spare_pixels: SparePixels = 0,
    seconds: Seconds = SEARCH,
    as_json: AsJson = False,
) -> None:
    """Give every pixel its universe and channel, keep them in the patch file, print what to type into each box."""
    from patcher.cli.todo import say_left, todo_json
    from patcher.patch.entered import todo
    from patcher.patch.patch_file import patch_path, read_entered, read_patch, write_patch
    from patcher.sheets.patch_tables import NUMBERS
    from patcher.show.writer import as_read

    if player and every_pixel:
        raise refuse("--player", "does not go together with --every-pixel", "leave one of them out")
    if as_json and (csv or player):
        raise refuse("--json", "does not go together with --csv or --player", "leave one of them out")
    seen = as_read(show, patch_path(show))
    wiring = load(show)
    kept = None if fresh else read_patch(show)
    entered = read_entered(show)
    made = allocated(show, wiring, kept, spare_pixels=spare_pixels, seconds=seconds)
    path = write_patch(show, made.patch, seen)
    left = todo(entered, wiring, made.patch)
    if as_json:
        document = _document(wiring, made, kept, _savings(wiring, made, spare_pixels, seconds)) | todo_json(left)
        if every_pixel:
            table = _table(wiring, made.patch, player=False, every_pixel=True)
            document["every_pixel"] = [dict(zip(table.heads, row, strict=True)) for row in table.rows]
        say_json(document)
    elif csv or player or every_pixel:
        table = _table(wiring, made.patch, player=player, every_pixel=every_pixel)
        if csv:
            say_csv(table.heads, table.rows)
        else:
            say_table(table.heads, table.rows, right=" ".join(NUMBERS))
    else:
        _say_boxes(wiring, made.patch)
        _say_summary(wiring, made, kept, path, _savings(wiring, made, spare_pixels, seconds))
        say_left(show, left)
    _say_faults(show, made)


def _table(wiring: Wiring, patch: Patch, *, player: bool, every_pixel: bool) -> Table:
    from patcher.sheets import patch_tables

    if every_pixel:
        return patch_tables.every_pixel(patch)
    return patch_tables.player(wiring, patch) if player else patch_tables.starts(wiring, patch)


def _say_faults(show: Path, made: Allocation) -> None:
    """What the kept patch breaks by itself, and exit 1 for it."""
    from patcher.show.line_numbers import located
    from patcher.show.show_file import read_text

    if made.faults:
        say_findings(located(made.faults, read_text(show)))
        raise typer.Exit(1)


def _document(wiring: Wiring, made: Allocation, kept: Patch | None, saved: list[Saving] | None) -> dict[str, object]:
    from dataclasses import asdict

    from patcher.patch.changes import changed_boxes, moved_runs
    from patcher.placement.explanation import part_empty

    patch = made.patch
    return {
        "show": wiring.show.settings.title,
        "pixels": patch.pixels,
        "channels": patch.channels,
        "universes": patch.universe_count,
        "lower_bound": made.lower_bound,
        "proved": made.proved,
        "starts": [start_json(start, wiring.show) for start in patch.starts],
        "spans": [asdict(span) for span in patch.spans()],
        "changed": changed_boxes(kept, patch),
        "moved_runs": moved_runs(kept, patch),
        "explained": {
            "reason": made.reason,
            "excess": made.excess,
            "part_empty": [asdict(universe) for universe in part_empty(wiring.show, patch)],
            "savings": None if saved is None else [asdict(saving) for saving in saved],
            "findings": [finding_json(fault) for fault in made.faults],
        },
    }  # fmt: skip


def _say_boxes(wiring: Wiring, patch: Patch) -> None:
    from patcher.sheets import patch_tables
    from patcher.trade import PROTOCOL_NAMES

    heads, numbers = patch_tables.TYPED, " ".join(patch_tables.NUMBERS)
    for name, starts in groupby(patch.starts, key=lambda start: start.controller):
        controller, own = wiring.show.controllers[name], list(starts)
        protocol = PROTOCOL_NAMES[controller.protocol]
        print(f"{name}: {protocol}, {controller.delivery}, {controller.address or 'no address'}")
        say_table(heads, [patch_tables.start_row(wiring, start).cells for start in own], right=numbers)
        for words in patch_tables.null_words(wiring, own):
            print(f"  {words}")
        print()


def _say_summary(wiring: Wiring, made: Allocation, kept: Patch | None, path: Path, saved: list[Saving] | None) -> None:
    from patcher.patch.changes import changed_boxes, moved_runs

    patch = made.patch
    universes = count(patch.universe_count, "universe")
    print(f"{count(patch.pixels, 'pixel')}, {count(patch.channels, 'channel')}, {universes}.")
    if made.proved:
        print(f"No patch under the same rules uses fewer universes: {made.reason}.")
    else:
        print(f"Any patch under the same rules uses at least {made.lower_bound}: {made.reason}.")
    _say_room(wiring, patch, saved)
    if kept is None:
        print(f"Wrote {path}: all of it is new to the boxes.")
        return
    boxes, runs = changed_boxes(kept, patch), moved_runs(kept, patch)
    print(f"Wrote {path}. Settings changed: {', '.join(boxes)}." if boxes else f"Kept {path}: no setting changed.")
    if runs:
        print(f"New addresses for the player: {', '.join(runs)}.")
    if made.excess:
        print(f"Up to {count(made.excess, 'start')} fewer might have to change; no better was found.")


MOST_EXPLAINED = 1000
"""Starts up to which `patch` tries what another setting would save."""


def _savings(wiring: Wiring, made: Allocation, spare_pixels: int, seconds: float) -> list[Saving] | None:
    from patcher.placement.explanation import savings

    if len(made.patch.starts) > MOST_EXPLAINED:
        return None
    return savings(wiring, made.patch.universe_count, spare_pixels=spare_pixels, seconds=seconds / 10)


def _say_room(wiring: Wiring, patch: Patch, saved: list[Saving] | None) -> None:
    """Which universes are part empty and why, and what one changed setting would save."""
    from patcher.placement.explanation import part_empty

    reasons: dict[str, list[int]] = {}
    free = 0
    for universe in part_empty(wiring.show, patch):
        reasons.setdefault(universe.why, []).append(universe.universe)
        free += universe.free
    if reasons:
        number = count(sum(map(len, reasons.values())), "universe")
        print(f"{number} part empty, {count(free, 'channel')} free:")
        for why, universes in reasons.items():
            print(f"  {why}: {ranges(universes)}.")
    for saving in saved or ():
        least = ", the fewest of the three placements" * saving.fewest
        print(f"{saving.setting} would take {count(saving.universes, 'universe')}{least}.")


def diff(
    show: ShowFile,
    fresh: Annotated[bool, typer.Option("--fresh", help="Against a patch that forgets the old one.")] = False,
    spare_pixels: SparePixels = 0,
    seconds: Seconds = SEARCH,
    as_json: AsJson = False,
) -> None:
    """What `patch` would change: which settings in each box, and what to tell the player. Writes nothing."""
    from patcher.cli.todo import say_left, say_settings, say_told, todo_json
    from patcher.patch.changes import run_changes, start_changes
    from patcher.patch.entered import todo
    from patcher.patch.patch_file import patch_path, read_entered, read_patch

    wiring = load(show)
    old, entered = read_patch(show), read_entered(show)
    made = allocated(show, wiring, None if fresh else old, spare_pixels=spare_pixels, seconds=seconds)
    starts, runs = start_changes(old, made.patch, wiring.show), run_changes(old, made.patch)
    if as_json:
        say_json(_changes(starts, runs, made) | todo_json(todo(entered, wiring, made.patch)))
        if made.faults:
            raise typer.Exit(1)
        return
    if old is None:
        print(f"There is no {patch_path(show).name} yet: all of it is new.")
    if not starts and not runs:
        print("No setting to change in a box, and no address to tell the player.")
    say_settings(wiring, starts)
    if runs:
        print("\nTo tell the player:")
        say_told(runs)
    if starts or runs:
        print(f"\nNothing is written yet: patcher patch {show}")
    elif old is not None:
        say_left(show, todo(entered, wiring, old))
    _say_faults(show, made)


def _changes(starts: list[StartChange], runs: list[RunChange], made: Allocation) -> dict[str, object]:
    from dataclasses import asdict

    from patcher.cli.todo import setting_json

    return {
        "starts": [setting_json(change) for change in starts],
        "runs": [asdict(change) for change in runs],
        "universes": made.patch.universe_count,
        "excess": made.excess,
        "findings": [finding_json(fault) for fault in made.faults],
    }
