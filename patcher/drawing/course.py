"""The line along which a run is drawn on paper, in data order, from its places in metres.

What is drawn is the run, not its pixels: of the places on a straight or nearly straight piece only the ends are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from patcher.drawing.svg import Floats
from patcher.shapes import Lattice, cell_positions, lattice, positions
from patcher.show.run_tables import ArchRun, BandRun, GridRun, Run
from patcher.show.schema import Show

_FLAT = 0.06
"""Millimetres by which the drawn line may pass by a pixel."""
_JUMP = 4.0
"""A step so many times as long as the usual one is wire between pixels, and drawn thin."""
NUMBERED = 1.2
"""Millimetres from line to line of a grid that has numbers at the ends of some lines at least."""
PASS = 1.3
"""Millimetres between the passes of an arch, which in truth lie on each other."""


@dataclass(frozen=True, eq=False)
class Course:
    """The line of one run.

    Attributes:
        run: the run.
        pixels: where each pixel is drawn, in data order: shape (pixels, 2).
        strings: the pieces of its string, in data order, two points or more each.
        wires: the pieces of wire between them, where it goes far from one pixel to the next.
        wired: how it is wired, where it is a grid or part of one.
        pitch: from one line of a grid to the next; from pixel to pixel elsewhere.
    """

    run: Run
    pixels: Floats
    strings: tuple[Floats, ...]
    wires: tuple[Floats, ...]
    wired: Lattice | None
    pitch: float

    def heading(self, pixel: int) -> Floats:
        """The direction of the data at a pixel, from 1: of length 1."""
        return self._way(max(pixel - 2, 0), min(pixel, len(self.pixels) - 1))

    def step(self, pixel: int) -> Floats:
        """The direction from the pixel before to a pixel, from 2: of length 1."""
        return self._way(pixel - 2, pixel - 1)

    def _way(self, before: int, behind: int) -> Floats:
        way = self.pixels[behind] - self.pixels[before]
        length = float(np.hypot(*way))
        return way / length if length > 1e-9 else np.array([1.0, 0.0])

    @property
    def numbered(self) -> bool:
        """Whether it is a grid whose lines of wiring have room for numbers at their ends."""
        return self.wired is not None and self.pitch >= NUMBERED

    def edge(self, pixel: int) -> Floats:
        """The place between a pixel, from 2, and the one before it."""
        middle: Floats = (self.pixels[pixel - 2] + self.pixels[pixel - 1]) / 2
        return middle


def course(show: Show, run: Run, paper: Callable[[Floats], Floats]) -> Course | None:
    """How a run is drawn; None for a run with no picture.

    Args:
        show: the show.
        run: the run.
        paper: millimetres on paper of places in metres.
    """
    found = positions(show, run)
    if found is None:
        return None
    pixels = paper(found)
    wired = lattice(show, run)
    if wired is not None:
        return _grid(show, run, pixels, wired, paper)
    if isinstance(run, ArchRun) and run.passes > 1:
        pixels = _passes_apart(run, pixels, paper(np.array(run.feet)))
    steps = np.hypot(*np.diff(pixels, axis=0).T)
    usual = float(np.median(steps)) if len(steps) else 0.0
    jumps = np.flatnonzero(steps > max(_JUMP * usual, 0.5)) if len(steps) > 2 else np.empty(0, int)
    bounds = [0, *(jumps + 1).tolist(), len(pixels)]
    strings = tuple(simple(pixels[first:end]) for first, end in pairwise(bounds) if end - first > 1)
    wires = tuple(pixels[at : at + 2] for at in jumps.tolist())
    return Course(run, pixels, strings, wires, None, usual)


def _grid(show: Show, run: Run, pixels: Floats, wired: Lattice, paper: Callable[[Floats], Floats]) -> Course:
    assert isinstance(run, GridRun | BandRun)  # noqa: S101  (only these have a lattice)
    grid = show.grid_of(run) if isinstance(run, BandRun) else run
    lines = wired.rows if wired.lines == "rows" else wired.columns
    cells = wired.cells().reshape(lines, -1, 2)[:, [0, -1]]
    ends = paper(cell_positions(grid, cells.reshape(-1, 2))).reshape(lines, 2, 2)
    one, two = paper(cell_positions(grid, np.array([[0, 0], [1, 1]])))
    pitch = abs(two - one)[1 if wired.lines == "rows" else 0] if lines > 1 else max(abs(two - one))
    if len(pixels) == 1:
        return Course(run, pixels, (), (), wired, float(pitch))
    if wired.columns * wired.rows == lines:
        return Course(run, pixels, (simple(ends[:, 0]),), (), wired, float(pitch))
    if wired.turns == "serpentine":
        return Course(run, pixels, (ends.reshape(-1, 2),), (), wired, float(pitch))
    wires = tuple(np.array([ends[at, 1], ends[at + 1, 0]]) for at in range(lines - 1))
    return Course(run, pixels, tuple(ends), wires, wired, float(pitch))


def _passes_apart(run: ArchRun, pixels: Floats, feet: Floats) -> Floats:
    """Each pass a little farther out than the one before."""
    passes = np.delete(np.repeat(np.arange(run.passes), run.drawn // run.passes), np.array(run.gap_places, int) - 1)
    if run.data_in == "last":
        passes = passes[::-1]
    out = pixels - feet.mean(axis=0)
    length = np.maximum(np.hypot(*out.T), 1e-9)[:, None]
    apart: Floats = pixels + out / length * passes[:, None] * PASS
    return apart


def simple(points: Floats, flat: float = _FLAT) -> Floats:
    """A line with as few of its points as keep it near to all of them.

    Source: D. Douglas and T. Peucker, 1973: where a point lies too far from the chord, the farthest one divides it.
    """
    kept = np.zeros(len(points), bool)
    kept[[0, -1]] = True
    waiting = [(0, len(points) - 1)]
    while waiting:
        first, last = waiting.pop()
        if last - first < 2:
            continue
        chord = points[last] - points[first]
        off = points[first + 1 : last] - points[first]
        length = float(chord @ chord)
        along = np.clip(off @ chord / length, 0, 1) if length > 1e-12 else np.zeros(len(off))
        far = np.hypot(*(off - along[:, None] * chord).T)
        at = int(np.argmax(far))
        if far[at] > flat:
            kept[first + 1 + at] = True
            waiting += [(first, first + 1 + at), (first + 1 + at, last)]
    found: Floats = points[kept]
    return found


def inside(points: Floats, left: float, right: float) -> Iterator[Floats]:
    """The pieces of a line that lie between two uprights."""
    if points[:, 0].min() >= left and points[:, 0].max() <= right:
        yield points
        return
    piece: list[Floats] = []
    for one, two in pairwise(points):
        cut = _between(one, two, left, right)
        if cut is None:
            continue
        if piece and abs(piece[-1] - cut[0]).max() < 1e-9:
            piece.append(cut[1])
            continue
        if piece:
            yield np.array(piece)
        piece = [*cut]
    if piece:
        yield np.array(piece)


def _between(one: Floats, two: Floats, left: float, right: float) -> tuple[Floats, Floats] | None:
    low, high = min(one[0], two[0]), max(one[0], two[0])
    if high < left or low > right:
        return None
    if left <= low and high <= right:
        return one, two
    parts = [(edge - one[0]) / (two[0] - one[0]) for edge in (left, right) if low < edge < high]
    at = sorted([*parts, *(end for end, point in ((0.0, one), (1.0, two)) if left <= point[0] <= right)])
    begin, end = at[0], at[-1]
    return (one + (two - one) * begin, one + (two - one) * end) if begin < end else None


def arrows(points: Floats, every: float) -> list[tuple[Floats, Floats]]:
    """Places along a line, one at least, about `every` millimetres apart, and the data direction at each."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(1, round(float(length[-1]) / every))
    found = []
    for number in range(count):
        at = length[-1] * (number + 0.5) / count
        step = min(int(np.searchsorted(length, at, "right")) - 1, len(steps) - 1)
        if steps[step] < 1e-9:
            continue
        way = (points[step + 1] - points[step]) / steps[step]
        found.append((points[step] + way * (at - length[step]), way))
    return found
