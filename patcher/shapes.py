"""Where each pixel is: positions in metres, in wiring order from a run's data-in.

x runs to the right and y up, as the audience sees it. In a grid columns count from the left and rows from the bottom.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.show.run_tables import ArchRun, BandRun, Grid, GridRun, LineRun, LoopRun, PathRun, PointsRun, Run
from patcher.show.schema import Show
from patcher.show.tables import Corner, Point

Positions = NDArray[np.float64]
Cells = NDArray[np.int64]
Places = NDArray[np.int64]

_ELLIPSE_STEPS = 1 << 15
"""Chords that stand for half an ellipse: its length is then right to about one part in 10⁹."""


def positions(show: Show, run: Run) -> Positions | None:
    """Where each pixel of a run is: shape (pixels, 2), metres, in wiring order; None for a run with no picture."""
    if isinstance(run, GridRun | BandRun):
        grid = show.grid_of(run) if isinstance(run, BandRun) else run
        found = cells(show, run)
        return None if found is None else cell_positions(grid, found)
    if not isinstance(run, PathRun):
        return None
    at: Positions = _drawn(run)[pixels_at(run)]
    return at


def data_order(run: Run) -> Places:
    """The drawn places of a run, from 0, in the order in which the data passes them, gaps included; those of a grid are
    drawn in that order.
    """
    order: Places = np.arange(run.places)
    if isinstance(run, LoopRun):
        order = np.roll(order, 1 - run.entry)
        return np.roll(order[::-1], 1) if run.against else order
    return order[::-1] if isinstance(run, PathRun) and run.data_in == "last" else order


def pixels_at(run: Run) -> Places:
    """The drawn place, from 0, of each pixel of a run: shape (pixels,)."""
    order = data_order(run)
    return order[~np.isin(order, np.array(run.gap_places, dtype=int) - 1)] if run.gap_places else order


def _drawn(run: PathRun) -> Positions:
    """Every place of a run from its first to its last as drawn, gaps included."""
    match run:
        case LineRun():
            return along(np.array(run.path), np.linspace(0.0, 1.0, run.drawn))
        case LoopRun():
            return along(np.array([*run.corners, run.corners[0]]), np.arange(run.drawn) / run.drawn)
        case ArchRun():
            one = _half_ellipse(run.feet, run.height, run.drawn // run.passes)
            return np.concatenate([one[::-1] if number % 2 else one for number in range(run.passes)])
        case PointsRun():
            return np.array(run.at)
        case _:
            raise TypeError(f"no drawing for {type(run).__name__}")


def along(path: Positions, fractions: NDArray[np.float64]) -> Positions:
    """Points on a path of straight pieces, at fractions of its whole length."""
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = fractions * length[-1]
    return np.column_stack([np.interp(at, length, path[:, axis]) for axis in (0, 1)])


def _half_ellipse(feet: tuple[Point, Point], height: float, count: int) -> Positions:
    """Half an ellipse from the first foot over the top to the second, at equal arc lengths.

    It stands upright on the line between its feet; on feet that are one above the other it bulges to the right.
    """
    start, end = np.array(feet[0]), np.array(feet[1])
    middle, axis = (start + end) / 2, (start - end) / 2
    upward = np.array([-axis[1], axis[0]]) / np.hypot(*axis)
    if (upward[1], upward[0]) < (0, 0):
        upward = -upward

    def at(angle: NDArray[np.float64]) -> Positions:
        points: Positions = middle + np.outer(np.cos(angle), axis) + np.outer(np.sin(angle), upward * height)
        return points

    angles = np.linspace(0.0, np.pi, _ELLIPSE_STEPS + 1)
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(at(angles), axis=0).T))])
    return at(np.interp(np.linspace(0.0, length[-1], count), length, angles))


def wiring_order(columns: int, rows: int, lines: str, turns: str, data_in: Corner) -> Cells:
    """The cells of a grid in the order that the data passes them.

    Returns:
        Column and row of each place, counted from 0 at the bottom left: shape (columns × rows, 2).
    """
    across, up = np.arange(columns), np.arange(rows)
    if data_in.endswith("right"):
        across = across[::-1]
    if data_in.startswith("top"):
        up = up[::-1]
    line, place = (up, across) if lines == "rows" else (across, up)
    places = np.tile(place, (len(line), 1))
    if turns == "serpentine":
        places[1::2] = place[::-1]
    pairs = [places.ravel(), np.repeat(line, len(place))]
    return np.column_stack(pairs if lines == "rows" else pairs[::-1])


@dataclass(frozen=True, slots=True)
class Lattice:
    """How one run is wired over a part of a grid: its bottom left cell, its size, its order."""

    column: int
    row: int
    columns: int
    rows: int
    lines: str
    turns: str
    data_in: Corner

    def cells(self) -> Cells:
        """Its cells in wiring order, counted from 0 at the bottom left of the whole grid."""
        order = wiring_order(self.columns, self.rows, self.lines, self.turns, self.data_in)
        placed: Cells = order + np.array([self.column, self.row])
        return placed


def lattice(show: Show, run: Run) -> Lattice | None:
    """How a grid or a band is wired; None for other runs."""
    if isinstance(run, GridRun):
        return Lattice(0, 0, run.columns, run.rows, run.lines, run.turns, run.data_in)
    if not isinstance(run, BandRun):
        return None
    grid = show.grid_of(run)
    first, last = (number - 1 for number in run.band)
    by_columns = grid.lines == "columns"
    if grid.data_in.endswith("right") if by_columns else grid.data_in.startswith("top"):
        first, last = grid.line_count - 1 - last, grid.line_count - 1 - first
    count = last - first + 1
    if by_columns:
        return Lattice(first, 0, count, grid.rows, grid.lines, run.turns or grid.turns, run.data_in)
    return Lattice(0, first, grid.columns, count, grid.lines, run.turns or grid.turns, run.data_in)


def cells(show: Show, run: Run) -> Cells | None:
    """Column and row of each pixel of a grid or band, in wiring order: shape (pixels, 2); None for other runs.

    Both count from 0 at the bottom left of the whole grid.
    """
    wired = lattice(show, run)
    return None if wired is None else wired.cells()[pixels_at(run)]


def cell_positions(grid: Grid, found: Cells) -> Positions:
    """Where cells of a grid are, in metres: shape like `found`."""
    corners = np.array(grid.area)
    low, high = corners.min(axis=0), corners.max(axis=0)
    intervals = np.maximum(np.array([grid.columns, grid.rows]) - 1, 1)
    placed: Positions = low + found * (high - low) / intervals
    return placed
