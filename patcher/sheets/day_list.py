"""The day's work on paper: of each box what is still to do, with a box to tick for each thing."""

from __future__ import annotations

from dataclasses import dataclass

from patcher.sheets.patch_tables import PrintedTable


@dataclass(frozen=True, slots=True)
class DayRow:
    """One thing to do: which step of the box's work, about what, and what it is in words."""

    step: str
    thing: str
    says: str


@dataclass(frozen=True, slots=True)
class DayBox:
    """One box.

    Attributes:
        box: its name.
        left: what is still to do, in the day's order.
        done: how much is done, in words: `hang 4, leads 3`; empty where nothing is.
        last_season: how long the steps took last season, in words; empty where that is not known.
    """

    box: str
    left: tuple[DayRow, ...]
    done: str
    last_season: str


def day_table(boxes: tuple[DayBox, ...]) -> PrintedTable:
    """All of it as one table, for machines."""
    rows = ((box.box, row.step, row.thing, row.says) for box in boxes for row in box.left)
    return PrintedTable(("box", "step", "thing", "what"), tuple(rows))
