"""What `patch` and `diff` print: what to type into each box, how many universes it takes, and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from patcher.patch.changes import RunChange, StartChange, changed_boxes, moved_runs, start_changes
from patcher.patch.entered import Todo
from patcher.patch.patch import Patch
from patcher.placement.allocation import FORCED, Allocation
from patcher.placement.explanation import FRESH, Saving, part_empty, savings
from patcher.reports.todo_report import say_besides, say_notes, setting_json
from patcher.sheets import patch_tables
from patcher.terminal.printed import count, finding_json, ranges, say_table, start_json
from patcher.trade import PROTOCOL_NAMES
from patcher.wiring import Wiring

MOST_EXPLAINED = 1000
"""Starts up to which `patch` tries what another setting would save."""


@dataclass(frozen=True)
class Patched:
    """What `patch` has made.

    Attributes:
        wiring: of the show.
        made: its patch, with what is known of it.
        kept: the patch of before; None where there was none.
        savings: what another setting would save; None where that was not tried.
        left: what is to type in and to tell once it is kept.
    """

    wiring: Wiring
    made: Allocation
    kept: Patch | None
    savings: list[Saving] | None
    left: Todo


def saved(wiring: Wiring, made: Allocation, spare_pixels: int, seconds: float) -> list[Saving] | None:
    """What other settings would save, each tried for a tenth of so many seconds; None where that took too long."""
    if len(made.patch.starts) > MOST_EXPLAINED:
        return None
    return savings(wiring, made.patch.universe_count, spare_pixels=spare_pixels, seconds=seconds / 10)


def table(wiring: Wiring, patch: Patch, *, player: bool, every_pixel: bool) -> patch_tables.PrintedTable:
    """The starts as one table; or what the player is told; or every pixel."""
    if every_pixel:
        return patch_tables.every_pixel(patch)
    return patch_tables.player(wiring, patch) if player else patch_tables.starts(wiring, patch)


def say_sent(wiring: Wiring, patch: Patch) -> None:
    """Print which universes the player sends to which box, and how."""
    print("\nWhere to send them:")
    for line in patch_tables.sent_lines(wiring, patch):
        print(f"  {line}")


def say_boxes(wiring: Wiring, patch: Patch) -> None:
    """Print what to type into each box."""
    heads, numbers = patch_tables.TYPED, " ".join(patch_tables.NUMBERS)
    for name, group in groupby(patch.starts, key=lambda start: start.controller):
        box, starts = wiring.show.controllers[name], list(group)
        print(f"{name}: {PROTOCOL_NAMES[box.protocol]}, {box.delivery}, {box.address or 'no address'}")
        say_table(heads, [patch_tables.start_row(wiring, start).cells for start in starts], right=numbers)
        say_notes(wiring, starts)
        print()


def say_summary(patched: Patched, path: Path) -> None:
    """Print how many universes the patch takes, whether fewer would do, and what has changed."""
    made, patch, kept = patched.made, patched.made.patch, patched.kept
    universes = count(patch.universe_count, "universe")
    print(f"{count(patch.pixels, 'pixel')}, {count(patch.channels, 'channel')}, {universes}.")
    placement = patched.wiring.show.settings.placement
    why = "" if made.reason == FORCED else f": {made.reason}"
    if made.proved:
        print(f"{universes}: the fewest under the same rules (placement = {placement}){why}.")
    else:
        print(f"Any patch under the same rules (placement = {placement}) uses at least {made.lower_bound}{why}.")
    _say_part_empty(patched.wiring, patch)
    for words in _saving_words(patched.savings or ()):
        print(words)
    if kept is None:
        print(f"Wrote {path}: all of it is new to the boxes.")
        return
    boxes, runs = changed_boxes(kept, patch), moved_runs(kept, patch)
    # The patch file does not hold all that is typed in: of the rest, what is ticked off tells whether it is as it was.
    same = "no start address changed" if patched.left.to_type else "no setting changed"
    print(f"Wrote {path}. Settings changed: {', '.join(boxes)}." if boxes else f"Kept {path}: {same}.")
    say_besides(patched.left, start_changes(kept, patch, patched.wiring.show))
    if runs:
        print(f"Changed for the player: {', '.join(runs)}.")
    if made.excess:
        print(f"Perhaps {count(made.excess, 'start')} fewer could have changed; no better patch was found.")


def _saving_words(every: Sequence[Saving]) -> Iterator[str]:
    """A sentence for each setting that would take fewer universes; placements that take as many share one."""
    for saving in every:
        alike = [one.placement for one in every if one.placement and one.universes == saving.universes]
        if saving.placement is not None and saving.placement != alike[0]:
            continue
        settings = saving.setting.removesuffix(f" and {FRESH}")
        if saving.placement is not None:
            settings = "placement = " + " or ".join(f'"{placement}"' for placement in alike)
        given = "" if saving.setting == FRESH else f"With {settings}, "
        least = ", the fewest of the three placements" * saving.fewest
        yield f"{given}{FRESH} would take {count(saving.universes, 'universe')}{least}."


def _say_part_empty(wiring: Wiring, patch: Patch) -> None:
    """Print which universes are not full, and why."""
    every = part_empty(wiring.show, patch)
    if every:
        free = sum(universe.free for universe in every)
        are, left = ("is" if number == 1 else "are" for number in (len(every), free))
        print(f"{count(len(every), 'universe')} {are} not full, {count(free, 'channel')} {left} free:")
    for why in dict.fromkeys(universe.why for universe in every):
        print(f"  {ranges(universe.universe for universe in every if universe.why == why)}: {why}.")


def document(patched: Patched) -> dict[str, Any]:
    """The patch for scripts."""
    wiring, made, kept, patch = patched.wiring, patched.made, patched.kept, patched.made.patch
    return {
        "show": wiring.show.settings.title,
        "pixels": patch.pixels, "channels": patch.channels, "universes": patch.universe_count,
        "lower_bound": made.lower_bound, "proved": made.proved,
        "starts": [start_json(start, wiring.show) for start in patch.starts],
        "spans": [asdict(span) for span in patch.spans()],
        "changed": changed_boxes(kept, patch), "moved_runs": moved_runs(kept, patch),
        "explained": {
            "reason": made.reason, "excess": made.excess,
            "part_empty": [asdict(universe) for universe in part_empty(wiring.show, patch)],
            "savings": None if patched.savings is None else [asdict(saving) for saving in patched.savings],
            "findings": [finding_json(fault) for fault in made.faults],
        },
    }  # fmt: skip


def pixels_document(patch: Patch) -> dict[str, Any]:
    """Every pixel, for scripts."""
    table = patch_tables.every_pixel(patch)
    return {"every_pixel": [dict(zip(table.heads, row, strict=True)) for row in table.rows]}


def changes_document(starts: Sequence[StartChange], runs: Sequence[RunChange], made: Allocation) -> dict[str, Any]:
    """What would change, for scripts."""
    return {
        "starts": [setting_json(change) for change in starts],
        "runs": [asdict(change) for change in runs],
        "universes": made.patch.universe_count,
        "excess": made.excess,
        "findings": [finding_json(fault) for fault in made.faults],
    }
