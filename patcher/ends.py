"""Where a person begins to read a run, and which way to go on: its ends, in words that can be pointed at.

Places in, words out. An end has a side or a corner in its name only where no other part of the run could be taken for
it. A closed outline has no ends for an eye: it is read from one place of it, clockwise or anticlockwise. A grid is read
from a corner, row by row or column by column. What has no picture has only the two ends of its cable.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from patcher.shapes import Lattice, Positions, lattice, positions
from patcher.show.run_tables import Run
from patcher.show.schema import Show

APART = 0.3
"""Two ends are named by their sides where they lie this part of the run's extent apart, in that direction."""
FEW_PITCHES = 3.0
"""Ends no farther apart than this many pixel pitches lie beside each other."""
CLOSED = 0.1
"""So do ends that are no farther apart than this part of the picture's size."""
NEAR = 0.2
"""What is no farther away than this part of the picture's size counts as the same place."""
STANDS_OUT = 0.04
"""A place is named by the side to which it lies farthest where all that is not near lies this part of the extent back.
"""
FAR_OUT = 0.1
"""The same for an end that is named by a side alone."""
ROOM = 0.05
"""A closed outline encloses at least this part of the rectangle around it; one that is retraced encloses nothing."""
FLAT = 0.15
"""A picture whose height is less than this part of its width has no top and bottom for an eye, and the reverse."""
AT_CORNER = 0.25
"""A place is at a corner of its picture where it is no farther from it than this part of the width and the height."""

ON_LINE = 1e-9
PIECES = 400
"""Pieces of an outline that are looked at, at most, for whether it crosses itself."""

SIDES = {"left": (-1, 0), "right": (1, 0), "lower": (0, -1), "upper": (0, 1)}
POINTS = {"left": "leftmost", "right": "rightmost", "lower": "lowest", "upper": "highest"}
SHORT = {"lower": "bottom", "upper": "top"}


@dataclass(frozen=True, slots=True)
class RunReading:
    """How a run is read from its first pixel on, or from its last one back.

    Attributes:
        begin: the place to begin at: `its left end`, `its bottom left corner`.
        way: which way on, where the place alone does not say it: `clockwise`, `along the cable`, `row by row, back and
            forth`.
        side: the place in a word or two, `left`, `bottom left`; empty where none fits.
    """

    begin: str
    way: str = ""
    side: str = ""

    def __str__(self) -> str:
        return f"{self.begin}, {self.way}" if self.way else self.begin


Readings = tuple[RunReading, RunReading]

BARE: Readings = (RunReading("the end where its lead comes in"), RunReading("the end away from its lead"))
"""Of a run that has no picture."""


def of_run(show: Show, run: str) -> Readings:
    """How a run is read from its first pixel on and from its last one back, as planned."""
    table: Run = show.runs[run]
    return readings(positions(show, table), lattice(show, table))


def readings(places: Positions | None, wired: Lattice | None = None) -> Readings:
    """The same from where a run's pixels are.

    Args:
        places: shape (pixels, 2), in wiring order; None without a picture.
        wired: how it is wired, where it is a grid or a part of one.
    """
    if places is None or len(places) < 2:
        return BARE
    if wired is not None and wired.columns > 1 and wired.rows > 1:
        return _of_grid(wired)
    way = "along the cable" if _tangled(places) else ""
    if _beside(places):
        return _of_outline(places) if encloses(places) and not _crosses(places) else _of_cable(places, way)
    for name in (_by_side, _by_corner, _by_part):
        if (found := name(places)) is not None:
            return RunReading(found[0][0], way, found[0][1]), RunReading(found[1][0], way, found[1][1])
    return _of_cable(places, way)


def part_of(point: NDArray[np.float64], places: Positions) -> str:
    """Where a point lies in a picture: `left`, `top right`, `middle`."""
    low, size = places.min(axis=0), np.ptp(places, axis=0)
    part = (point - low) / np.where(size > 0, size, 1.0)
    across = ("left", "", "right")[min(int(part[0] * 3), 2)] if size[0] > FLAT * size[1] else ""
    up = ("bottom", "", "top")[min(int(part[1] * 3), 2)] if size[1] > FLAT * size[0] else ""
    return " ".join(filter(None, (up, across))) or "middle"


def encloses(places: Positions) -> float:
    """The area that an outline goes round, positive where it goes anticlockwise; 0 where that is next to nothing.

    Source: the shoelace formula (Meister 1769, Gauss).
    """
    x, y = (places - places.mean(axis=0)).T
    area = float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
    return area if abs(area) >= ROOM * float(np.prod(np.ptp(places, axis=0))) else 0.0


def ways_round(places: Positions) -> tuple[str, str]:
    """Which way round a closed outline its data goes, as the audience sees it, and the other way."""
    return ("anticlockwise", "clockwise") if encloses(places) > 0 else ("clockwise", "anticlockwise")


def _pitch(places: Positions) -> float:
    """The usual distance from one pixel to the next."""
    steps = np.hypot(*np.diff(places, axis=0).T)
    return float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0


def _size(places: Positions) -> float:
    return float(np.hypot(*np.ptp(places, axis=0)))


def _beside(places: Positions) -> bool:
    gap, size = float(np.hypot(*(places[-1] - places[0]))), _size(places)
    return gap <= max(min(FEW_PITCHES * _pitch(places), size / 2), CLOSED * size)


def _clear(places: Positions) -> NDArray[np.float64]:
    """How far apart two ends must lie to be told apart by their sides, across and up: shape (2,)."""
    extent = np.ptp(places, axis=0)
    pitch = _pitch(places) if len(places) > FEW_PITCHES else 0.0
    few = np.maximum(np.minimum(FEW_PITCHES * pitch, extent / 2), FEW_PITCHES / 2 * pitch)
    found: NDArray[np.float64] = np.maximum(few, APART * extent)
    return found


def _tangled(places: Positions) -> bool:
    """Whether one pixel in three has another one beside it that is not near it on the cable."""
    from scipy.spatial import cKDTree

    close = cKDTree(places).query_pairs(0.75 * _pitch(places), output_type="ndarray")
    far_on_cable = close[np.abs(close[:, 1] - close[:, 0]) > FEW_PITCHES]
    return len(np.unique(far_on_cable)) * 3 > len(places)


def _crosses(places: Positions) -> bool:
    """Whether a closed path crosses itself: two of its pieces each have the other's ends on both sides.

    Of a long one some hundred pieces are looked at; from between its pixels too, for where two pixels lie in one place
    no piece has ends on both sides.
    """
    corners = places[:: -(-len(places) // PIECES)]
    to = np.roll(corners, -1, axis=0)
    between = (corners + to) / 2
    return _pieces_cross(corners, to) or _pieces_cross(between, np.roll(between, -1, axis=0))


def _pieces_cross(corners: Positions, to: Positions) -> bool:
    """Whether two of some straight pieces cross: each has the ends of the other on both sides."""
    scale = _size(corners) ** 2

    def sides(begin: Positions, end: Positions, points: Positions) -> NDArray[np.float64]:
        (x, y), ahead = (points[None] - begin[:, None]).transpose(2, 0, 1), (end - begin)[:, :, None]
        beside = ahead[:, 0] * y - ahead[:, 1] * x
        found: NDArray[np.float64] = np.where(np.abs(beside) > ON_LINE * scale, np.sign(beside), 0.0)
        return found

    parts = sides(corners, to, corners) * sides(corners, to, to) < 0
    return bool((parts & parts.T).any())


def _stands_out(places: Positions, place: int, towards: tuple[int, int], by: float = STANDS_OUT) -> bool:
    """Whether a pixel is the one that lies farthest in a direction, and all that is not near it lies back clearly."""
    extent = np.ptp(places, axis=0)
    scale = np.maximum(extent, FLAT * extent.max() or 1.0)
    along = (places - places.min(axis=0)) / scale @ np.array(towards, dtype=float)
    away = np.hypot(*(places - places[place]).T) > NEAR * _size(places)
    back = float(along.max()) - along
    beside = max(STANDS_OUT / 2, 1.5 * _pitch(places) / float(scale.max()))
    return bool(back[place] <= beside and (back[away] >= max(by, back[place] + by / 2)).all())


def _by_side(places: Positions) -> tuple[tuple[str, str], tuple[str, str]] | None:
    apart, clear = places[-1] - places[0], _clear(places)
    for axis in np.argsort(-np.abs(apart)).tolist():
        if abs(apart[axis]) <= clear[axis]:
            continue
        low, high = (("left", "right"), ("lower", "upper"))[axis]
        first, last = (low, high) if apart[axis] > 0 else (high, low)
        if all(_stands_out(places, place, SIDES[side], FAR_OUT) for place, side in ((0, first), (-1, last))):
            return (f"its {first} end", SHORT.get(first, first)), (f"its {last} end", SHORT.get(last, last))
    return None


def _corner_of(places: Positions, place: int) -> str:
    """The corner that a pixel is at, and nothing else of the run is; empty without."""
    extent = np.ptp(places, axis=0)
    if extent.min() <= FLAT * extent.max():
        return ""
    part = (places[place] - places.min(axis=0)) / extent
    for (up, y), (across, x) in product((("bottom", -1), ("top", 1)), (("left", -1), ("right", 1))):
        near = abs(part[0] - (x + 1) / 2) <= AT_CORNER and abs(part[1] - (y + 1) / 2) <= AT_CORNER
        if near and _stands_out(places, place, (x, y)):
            return f"{up} {across}"
    return ""


def _by_corner(places: Positions) -> tuple[tuple[str, str], tuple[str, str]] | None:
    first, last = (_corner_of(places, place) for place in (0, len(places) - 1))
    if not first or not last or first == last:
        return None
    return (f"its {first} end", first), (f"its {last} end", last)


def _by_part(places: Positions) -> tuple[tuple[str, str], tuple[str, str]] | None:
    """Ends that lie in different parts of the picture, clearly apart in a direction that both names tell."""
    first, last = part_of(places[0], places), part_of(places[-1], places)
    clear = np.abs(places[-1] - places[0]) > _clear(places)
    differ = [
        set(first.split()) & words != set(last.split()) & words for words in ({"left", "right"}, {"bottom", "top"})
    ]
    if not any(told and far for told, far in zip(differ, clear, strict=True)):
        return None
    names = [(f"its end {'in' if part == 'middle' else 'at'} the {part}", part) for part in (first, last)]
    return names[0], names[1]


def _of_cable(places: Positions, way: str) -> Readings:
    part = part_of(places[0], places)
    other = "its other end, beside the one where its lead comes in" if _beside(places) else BARE[1].begin
    return RunReading(f"{BARE[0].begin} ({part})", way, part), RunReading(other, way)


def _of_grid(wired: Lattice) -> Readings:
    placed = wired.cells() - np.array([wired.column, wired.row])
    line = "row by row" if wired.lines == "rows" else "column by column"
    way = f"{line}, {'back and forth' if wired.turns == 'serpentine' else 'each in the same direction'}"
    corners = [
        f"{'top' if row * 2 >= wired.rows else 'bottom'} {'right' if column * 2 >= wired.columns else 'left'}"
        for column, row in placed[[0, -1]].tolist()
    ]
    first, last = (RunReading(f"its {corner} corner", way, corner) for corner in corners)
    return first, last


def _of_outline(places: Positions) -> Readings:
    (name, side), ways = _spot(places), ways_round(places)
    return RunReading(name, ways[0], side), RunReading(name, ways[1], side)


def _spot(places: Positions) -> tuple[str, str]:
    """Where an outline's first pixel is: a corner, its highest point …, or as on a clock's face."""
    if corner := _corner_of(places, 0):
        return f"its {corner} corner", corner
    for side, towards in SIDES.items():
        if _stands_out(places, 0, towards):
            return f"its {POINTS[side]} point", SHORT.get(side, side)
    part = part_of(places[0], places)
    from_middle = places - (places.max(axis=0) + places.min(axis=0)) / 2
    hours = np.arctan2(from_middle[:, 0], from_middle[:, 1]) * 6 / np.pi
    same = np.abs((hours - hours[0] + 6) % 12 - 6) < 0.5
    if (np.hypot(*(places - places[0]).T)[same] > NEAR * _size(places)).any():
        return f"where its lead comes in ({part})", part
    return f"{round(float(hours[0])) % 12 or 12} o’clock, as seen from its middle", part
