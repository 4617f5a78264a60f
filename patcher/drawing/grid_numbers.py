"""The numbers round a grid: pixels at the ends of its lines of wiring, and its columns and rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.drawing import marks
from patcher.drawing.course import Course
from patcher.drawing.label_places import Paper, Rect
from patcher.drawing.run_facts import Facts
from patcher.drawing.strips import Strip
from patcher.drawing.svg import GREY, HALO, SMALL, Floats, long, number, text_at
from patcher.shapes import Lattice, cell_positions
from patcher.show.run_tables import BandRun, Grid
from patcher.show.schema import Show

Room = Callable[[Rect], bool]
_FAR = 14.0
"""Millimetres from a grid within which its columns and rows are numbered."""
_APART = 2.8
"""Millimetres from one number to the next, across their lines."""


def numbers(show: Show, paper: Paper, courses: Sequence[tuple[Facts, Course]], strip: Strip) -> list[str]:
    """The numbers of all grids in a strip, where they have room."""
    parts = []
    fields: dict[str, _Field] = {}
    for fact, found in courses:
        if found.wired is None:
            continue
        run = fact.run
        grid: object = show.grid_of(run) if isinstance(run, BandRun) else run
        assert isinstance(grid, Grid)  # noqa: S101
        if found.numbered:
            parts += _line_ends(grid, fact, found, paper, strip)
        field = fields.setdefault(run.of if isinstance(run, BandRun) else run.name, _Field(grid, [], found.numbered))
        field.wired.append(found.wired)
    for name, field in fields.items():
        parts += _axes(name, field, paper, strip)
    return parts


@dataclass(frozen=True, slots=True)
class _Field:
    """A grid, the parts of it that are drawn, and whether the ends of their lines are numbered."""

    grid: Grid
    wired: list[Lattice]
    numbered: bool

    @property
    def cells(self) -> NDArray[np.int64]:
        """The bottom left and the top right cell of what is drawn, from 0."""
        low = np.min([(part.column, part.row) for part in self.wired], axis=0)
        high = np.max([(part.column + part.columns - 1, part.row + part.rows - 1) for part in self.wired], axis=0)
        return np.array([low, high])


def line_numbers(found: Course) -> list[tuple[int, int, Floats, Floats]]:
    """Of each line of a grid's wiring: the first and the last pixel on it, from 1, and the cells of its ends.

    A line without pixels is left out.
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
    """One axis of what is drawn of a grid.

    Attributes:
        first: the number of its first place, from 1.
        last: the number of its last place.
        pitch: millimetres from place to place.
    """

    first: int
    last: int
    pitch: float

    def ticks(self, room: float) -> list[tuple[int, float]]:
        """The places that are numbered, the first, the last and round ones, and how far from the first each lies.

        None where there is no room for two of several places: one number alone says nothing.
        """
        if self.last == self.first:
            return [(self.first, 0.0)]
        if (self.last - self.first) * self.pitch < room:
            return []
        steps = (base * 10**power for power in range(8) for base in (1, 2, 5))
        step = next(step for step in steps if step * self.pitch >= room)
        between = range(-(-self.first // step) * step, self.last, step)
        clear = [place for place in between if min(place - self.first, self.last - place) * self.pitch >= room]
        return [(place, (place - self.first) * self.pitch) for place in sorted({self.first, *clear, self.last})]


def _axes(name: str, field: _Field, paper: Paper, strip: Strip) -> list[str]:
    """Numbers of columns below a grid and of rows at its left, beyond whatever stands there."""
    cells = field.cells
    corners = strip.paper(cell_positions(field.grid, cells))
    low, high = corners.min(axis=0), corners.max(axis=0)
    if not (strip.holds(low[0]) and strip.holds(high[0])):
        return []
    counts = np.maximum(cells[1] - cells[0], 1)
    pitches = (high - low) / counts
    across, up = (_Axis(int(cells[0, at]) + 1, int(cells[1, at]) + 1, float(pitches[at])) for at in (0, 1))
    has_room = paper.is_free if field.numbered else paper.is_clear
    parts = [_columns(across, low, high, has_room, paper, strip), _rows(up, low, high, has_room, paper, strip)]
    return [marks.group("".join(part), class_="axis", data_grid=name) for part in parts if part]


def _columns(axis: _Axis, low: Floats, high: Floats, has_room: Room, paper: Paper, strip: Strip) -> list[str]:
    room = long(str(axis.last), SMALL) + 1.2
    if not axis.ticks(room):
        return []
    for y in np.arange(high[1] + 2.2, min(strip.rect[3] - 6.2 - SMALL, high[1] + _FAR), 0.5).tolist():
        rect = (low[0] - room / 2, y, high[0] + room / 2, y + SMALL)
        if rect[0] < 0.3 or rect[2] > strip.rect[2] - 0.3:
            break
        if not has_room(rect):
            continue
        base = y + SMALL * 0.85
        end = rect[0] - 0.8
        word = (end - long("column", SMALL), y, end, y + SMALL)
        parts = [
            text_at(low[0] + away, base, str(place), SMALL, class_="column", fill=GREY, text_anchor="middle")
            for place, away in axis.ticks(room)
        ]
        if word[0] > 0.3 and paper.is_clear(word):
            paper.take(word)
            parts.append(text_at(end, base, "column", SMALL, fill=GREY, text_anchor="end"))
        paper.take(rect)
        return parts
    return []


def _rows(axis: _Axis, low: Floats, high: Floats, has_room: Room, paper: Paper, strip: Strip) -> list[str]:
    """At the left; where there is no room, at the right."""
    wide = long(str(axis.last), SMALL)
    if not axis.ticks(SMALL + 0.6):
        return []
    left = np.arange(low[0] - 2.2 - wide, max(0.3, low[0] - _FAR - wide), -0.5)
    right = np.arange(high[0] + 2.2, min(high[0] + _FAR, strip.rect[2] - wide - 0.3), 0.5)
    for x in [*left.tolist(), *right.tolist()]:
        rect = (x, low[1] - SMALL / 2, x + wide, high[1] + SMALL / 2)
        if not has_room(rect):
            continue
        ticks = [(str(place), high[1] - away + SMALL * 0.36) for place, away in axis.ticks(SMALL + 0.6)]
        more = {"fill": GREY, "text_anchor": "end"}
        parts = [text_at(x + wide, y, place, SMALL, class_="row", **more) for place, y in ticks]
        foot = rect[1] - 0.8
        word = (x + wide - long("row", SMALL), foot - SMALL, x + wide, foot)
        if word[0] > 0.3 and word[1] > strip.rect[1] and paper.is_clear(word):
            paper.take(word)
            parts.append(text_at(word[2], foot - 0.2, "row", SMALL, **more))
        paper.take(rect)
        return parts
    return []
