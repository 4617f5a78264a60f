"""Everything that is printed of a show, as one value: pages, drawings and tables are made from it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from patcher.errors import Finding
from patcher.mains.whole_level import whole_level_words
from patcher.patch.changes import run_changes, start_changes
from patcher.patch.entered import NOTHING, Entered, Todo, todo
from patcher.patch.patch import Patch
from patcher.patch.patch_file import dump
from patcher.power.flow import Power, if_known
from patcher.sheets import patch_tables
from patcher.sheets.box_sheet import BoxSheet, box_sheets
from patcher.sheets.day_list import DayBox
from patcher.sheets.feed_tables import FeedSheet, SupplySheet, feed_sheets, supply_sheets
from patcher.sheets.labels import Label, Tag, labels
from patcher.sheets.parts_list import SPARES, Need, shopping
from patcher.sheets.patch_tables import PrintedTable
from patcher.wiring import Wiring


@dataclass(frozen=True, slots=True)
class RunSheet:
    """The lowest voltage of a run: volts, the pixel that has it, what its pixels need, whether that holds."""

    run: str
    lowest_volts: float | None
    at_pixel: int
    min_volts: float | None
    holds: bool | None


@dataclass(frozen=True)
class ShowSheet:
    """What is printed of a show.

    Attributes:
        title: the show's title.
        mark: eight hexadecimal digits that are others as soon as the show or its patch is.
        units: `m` or `ft`: what lengths are printed in; here all are metres.
        frame_rate: frames a second that the show plays at.
        level: the level for which the power is worked out.
        whole_level: up to which level everything is OK and what limits it, in words; empty where the file says nothing
            of power.
        pixels: pixels that have channels.
        channels: channels of those.
        universes: distinct universes.
        kept: whether every address is the one in the patch that is kept; None where none is kept yet.
        starts: what is typed into the boxes.
        player: what the player is told of each run.
        send_to: which universes the player sends to which box, and how, in words.
        ticked: whether anything of what is typed in or told was ever ticked off.
        to_type: what is still to type in, against what was ticked off.
        to_tell: what the player is still to be told, against what was ticked off.
        to_send: which universes the player is still to send otherwise, against what was ticked off.
        to_draw: the runs that begin elsewhere than the player was told, or go another way.
        day: the day's work, box by box.
        boxes: a sheet a box.
        spares: boxes on the shelf.
        supplies: every supply in use.
        feeds: every feed.
        runs: the lowest voltage of every run that is up.
        shopping: what the show is made of.
        labels: a label for each end of each cable.
        tags: a tag for each run in storage; empty where none was asked for.
        findings: what `check` says that is not accepted.
    """

    title: str
    mark: str
    units: str
    frame_rate: float
    level: float
    whole_level: str
    pixels: int
    channels: int
    universes: int
    kept: bool | None
    starts: PrintedTable
    player: PrintedTable
    send_to: tuple[str, ...]
    ticked: bool
    to_type: PrintedTable
    to_tell: PrintedTable
    to_send: PrintedTable
    to_draw: PrintedTable
    day: tuple[DayBox, ...]
    boxes: tuple[BoxSheet, ...]
    spares: tuple[str, ...]
    supplies: tuple[SupplySheet, ...]
    feeds: tuple[FeedSheet, ...]
    runs: tuple[RunSheet, ...]
    shopping: tuple[Need, ...]
    labels: tuple[Label, ...]
    tags: tuple[Tag, ...]
    findings: tuple[Finding, ...]


def _to_type(left: Todo) -> patch_tables.PrintedTable:
    """What is still to type in: the boxes' own settings, then their starts."""
    table = patch_tables.to_type(left.starts)
    return patch_tables.PrintedTable(table.heads, patch_tables.own_rows(left.boxes) + table.rows)


def show_sheet(
    wiring: Wiring, patch: Patch, kept: Patch | None, state: Power, *, entered: Entered = NOTHING,
    spares: float = SPARES, findings: Sequence[Finding] = (), tags: tuple[Tag, ...] = (),
    day: tuple[DayBox, ...] = (),
) -> ShowSheet:  # fmt: skip
    """All that is printed of a show.

    Args:
        wiring: the wiring.
        patch: the patch to print.
        kept: the patch that is kept; None where there is none.
        state: the show's solved power.
        entered: what was ticked off as typed in and told.
        spares: percent of pixels and fuses to have besides.
        findings: what is to be said of the show.
        tags: the tags for storage, where they are wanted; see `labels.tags`.
        day: the day's work, where it is wanted.
    """
    show = wiring.show
    same = None if kept is None else not (start_changes(kept, patch, show) or run_changes(kept, patch))
    left = todo(entered, wiring, patch)
    runs = (RunSheet(run.run, if_known(run.lowest), run.pixel, run.least, run.holds) for run in state.runs)
    return ShowSheet(
        show.settings.title, mark(wiring, patch), show.settings.units, show.settings.frame_rate, state.level,
        whole_level_words(state),
        patch.pixels, patch.channels, patch.universe_count, same,
        patch_tables.starts(wiring, patch), patch_tables.player(wiring, patch),
        tuple(patch_tables.sent_lines(wiring, patch)), not entered.nothing,
        _to_type(left),
        patch_tables.to_tell(left.runs), patch_tables.to_send(left.sent), patch_tables.to_draw(left.drawn), day,
        box_sheets(wiring, patch, state), tuple(box.name for box in show.controllers.values() if box.spare),
        supply_sheets(state), feed_sheets(state), tuple(runs), shopping(wiring, state, spares=spares),
        labels(wiring, state), tags, tuple(finding for finding in findings if not finding.accepted),
    )  # fmt: skip


def mark(wiring: Wiring, patch: Patch) -> str:
    """Eight hexadecimal digits by which two papers are known to be of the same show and patch."""
    text = repr(wiring.show) + dump(patch)
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:8]
