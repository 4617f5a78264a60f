"""The numbers round a grid: pixels at the ends of its lines of wiring, and its columns and rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from patcher.shapes import cell_positions
from patcher.sheets import marks
from patcher.sheets.course import Course
from patcher.sheets.facts import Facts
from patcher.sheets.ink import GREY, HALO, SMALL, Floats, long, number, text_at
from patcher.sheets.placing import Paper, Rect
from patcher.sheets.strips import Strip
from patcher.show.runs import BandRun, Grid
from patcher.show.schema import Show

Room = Callable[[Rect], bool]
_FAR = 14.0
"""Millimetres from a grid within which its columns and rows are numbered."""
_APART = 2.8
"""Millimetres from one number to the next, across their lines."""


def numbers(show: Show, paper: Paper, courses: Sequence[tuple[Facts, Course]], strip: Strip) -> list[str]:
    """The numbers of all grids in a strip, where they have room."""
    parts = []
    axes: dict[str, Grid] = {}
    large: dict[str, bool] = {}
    for fact, found in courses:
        if found.wired is None:
            continue
        run = fact.run
        grid: object = show.grid_of(run) if isinstance(run, BandRun) else run
        assert isinstance(grid, Grid)  # noqa: S101
        if found.numbered:
            parts += _line_ends(grid, fact, found, paper, strip)
        name = run.of if isinstance(run, BandRun) else run.name
        axes[name] = grid
        large[name] = large.get(name, False) or found.numbered
    for name, grid in axes.items():
        parts += _axes(name, grid, paper.is_free if large[name] else paper.is_clear, paper, strip)
    return parts


def line_numbers(found: Course) -> list[tuple[int, int, Floats, Floats]]:
    """Of each line of a grid's wiring: the first and the last lamp on it, from 1, and the cells of its ends.

    A line without lamps is left out.
    """
    wired, run = found.wired, found.run
    assert wired is not None  # noqa: S101
    lines = wired.rows if wired.lines == "rows" else wired.columns
    cells = wired.cells().reshape(lines, -1, 2)
    each = cells.shape[1]
    there = np.ones(lines * each, int)
    there[np.array(run.gap_places, int) - 1] = 0
    until = np.cumsum(there).reshape(lines, each)[:, -1]
    before = np.concatenate([[0], until[:-1]])
    return [
        (int(before[line]) + 1, int(until[line]), cells[line, 0], cells[line, -1])
        for line in range(lines)
        if until[line] > before[line]
    ]


def _line_ends(grid: Grid, fact: Facts, found: Course, paper: Paper, strip: Strip) -> list[str]:
    wired = found.wired
    assert wired is not None  # noqa: S101
    lines = line_numbers(found)
    step = max(1, int(np.ceil(_APART / max(found.pitch, 1e-6))))
    parts = []
    by_rows = wired.lines == "rows"
    shown = [place for place in range(len(lines)) if place % step == 0 and len(lines) - 1 - place >= step]
    for place in [*shown, len(lines) - 1]:
        first, last, begin, end = lines[place]
        pairs = [(first, begin, end), (last, end, begin)] if last > first else [(first, begin, end)]
        for pixel, cell, other in pairs:
            at, far = strip.paper(cell_positions(grid, np.array([cell, other])))
            if not strip.holds(at[0]):
                continue
            low = (at[0] <= far[0]) if by_rows else (at[1] >= far[1])
            parts += _number(pixel, at, fact.name, paper, strip, by_rows=by_rows, low=bool(low))
    return parts


def _number(pixel: int, at: Floats, run: str, paper: Paper, strip: Strip, *, by_rows: bool, low: bool) -> list[str]:
    """A pixel's number beyond the end of its line; upright beside a row, turned below or above a column."""
    wide, away, half = long(str(pixel), SMALL), 1.9, SMALL * 0.42
    if by_rows:
        x = at[0] - away if low else at[0] + away
        rect = (x - wide if low else x, at[1] - half, x if low else x + wide, at[1] + half)
        turned, base = None, at[1] + SMALL * 0.36
    else:
        y = at[1] + away if low else at[1] - away
        rect = (at[0] - half, y if low else y - wide, at[0] + half, y + wide if low else y)
        x, base = at[0] + SMALL * 0.36, y
        turned = f"rotate(-90 {number(x)} {number(base)})"
    inside = rect[0] > 0.3 and rect[2] < strip.rect[2] - 0.3 and rect[1] > strip.rect[1] and rect[3] < strip.rect[3] - 6
    if not inside or not paper.is_free(rect):
        return []
    paper.take(rect)
    anchor = "end" if low else None
    return [
        text_at(
            x, base, str(pixel), SMALL, class_="line-end", data_run=run, text_anchor=anchor, transform=turned, **HALO
        )
    ]


@dataclass(frozen=True, slots=True)
class _Axis:
    """One axis of a grid: how many places it has, and how far apart they are in millimetres."""

    count: int
    pitch: float

    def ticks(self, room: float) -> list[int]:
        """The places that are numbered, from 1: the first, the last, and round ones between."""
        if self.count < 2:
            return [1]
        step = next(
            base * 10**power
            for power in range(7)
            for base in (1, 2, 5)
            if base * 10**power * self.pitch >= room or base * 10**power > self.count
        )
        round_ones = [place for place in range(step, self.count, step) if place > 1]
        near = [place for place in round_ones if min(place - 1, self.count - place) * self.pitch >= room]
        return sorted({1, *near, *([self.count] if (self.count - 1) * self.pitch >= room else [])})


def _axes(name: str, grid: Grid, has_room: Room, paper: Paper, strip: Strip) -> list[str]:
    """Numbers of columns below a grid and of rows at its left, beyond whatever stands there."""
    corners = strip.paper(np.array(grid.area))
    low, high = corners.min(axis=0), corners.max(axis=0)
    if not (strip.holds(low[0]) and (strip.holds(high[0]))):
        return []
    across = _Axis(grid.columns, float((high[0] - low[0]) / max(grid.columns - 1, 1)))
    up = _Axis(grid.rows, float((high[1] - low[1]) / max(grid.rows - 1, 1)))
    return [
        *_columns(name, across, low, high, has_room, paper, strip),
        *_rows(name, up, low, high, has_room, paper, strip),
    ]


def _columns(
    name: str, axis: _Axis, low: Floats, high: Floats, has_room: Room, paper: Paper, strip: Strip
) -> list[str]:
    room = long(str(axis.count), SMALL) + 1.2
    for y in np.arange(high[1] + 2.2, min(strip.rect[3] - 6.2 - SMALL, high[1] + _FAR), 0.5).tolist():
        rect = (low[0] - room / 2, y, high[0] + room / 2, y + SMALL)
        if rect[0] < 0.3 or rect[2] > strip.rect[2] - 0.3:
            break
        if not has_room(rect):
            continue
        paper.take(rect)
        words = "column" if low[0] - room / 2 - long("column ", SMALL) > 0.3 else ""
        parts = []
        for place in axis.ticks(room):
            x = low[0] + (place - 1) * axis.pitch
            parts.append(
                text_at(x, y + SMALL * 0.85, str(place), SMALL, class_="column", fill=GREY, text_anchor="middle")
            )
        lead = (low[0] - room / 2 - long("column ", SMALL), y, low[0] - room / 2, y + SMALL)
        if words and paper.is_free(lead):
            paper.take(lead)
            parts.append(text_at(lead[2] - 0.5, y + SMALL * 0.85, words, SMALL, fill=GREY, text_anchor="end"))
        return [marks.group("".join(parts), class_="axis", data_grid=name)]
    return []


def _rows(name: str, axis: _Axis, low: Floats, high: Floats, has_room: Room, paper: Paper, strip: Strip) -> list[str]:
    wide = long(str(axis.count), SMALL)
    for x in np.arange(low[0] - 2.2 - wide, max(0.3, low[0] - _FAR - wide), -0.5).tolist():
        rect = (x, low[1] - SMALL / 2, x + wide, high[1] + SMALL / 2)
        if not has_room(rect):
            continue
        paper.take(rect)
        parts = []
        for place in axis.ticks(SMALL + 0.6):
            y = high[1] - (place - 1) * axis.pitch + SMALL * 0.36
            parts.append(text_at(x + wide, y, str(place), SMALL, class_="row", fill=GREY, text_anchor="end"))
        head = (x + wide - long("row", SMALL), rect[1] - SMALL - 0.4, x + wide, rect[1] - 0.4)
        if head[0] > 0.3 and head[1] > strip.rect[1] and paper.is_free(head):
            paper.take(head)
            parts.append(text_at(head[2], head[3] - 0.4, "row", SMALL, fill=GREY, text_anchor="end"))
        return [marks.group("".join(parts), class_="axis", data_grid=name)]
    return []
