"""A thing's pixels so large that they can be told apart: half-block characters, each half a unit of colour.

A grid is drawn cell by cell; other shapes where they hang, as large as the window lets them. Where neighbours on a
string come too close to be counted, and where a run has no shape, the string is drawn unrolled as well: in data order,
line by line, in tens. Where all that does not fit, it says so. All is worked out once but for the colours.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from patcher.errors import few
from patcher.patch.thing import Part, Thing
from patcher.shapes import cells, positions
from patcher.show.run_tables import BandRun
from patcher.show.schema import Show
from patcher.trade import colour_name, light
from patcher.yard.yard import Yard

Index = NDArray[np.int64]
Colours = Literal["truecolor", "256", "8", ""]
"""What a terminal can show: any colour, the 256 of xterm, eight, or none: then a letter stands for each colour."""

DARK = (45, 60)
"""Grey of dark pixels; every second one is a little lighter, so that they can be counted."""
DIMMEST = 110
"""Least brightness of a pixel that is lit at all, 0 to 255: lighter than any dark one."""
NOTHING = -1
TEN = 10
NUMBER = 7
"""Columns of the number before an unrolled line."""
MOST_SAYS, MOST_NAMED = 3, 5
"""Lines below the picture, and runs that are named there."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """Some pixels laid out in units that count from the top left.

    Attributes:
        pixels: which pixel of the thing each covered unit belongs to.
        columns: the column of each covered unit.
        rows: its row.
        height: how many rows there are.
        labels: text at the beginning of a row.
        says: what is left out, or cannot be told apart.
    """

    pixels: Index
    columns: Index
    rows: Index
    height: int
    labels: dict[int, str] = field(default_factory=dict)
    says: tuple[str, ...] = ()


def grid_of(show: Show, parts: Sequence[Part]) -> Index | None:
    """Column and row of each pixel, where all of them are in one grid; else None."""
    found, grids = [], set()
    for part in parts:
        run = show.runs[part.run]
        placed = cells(show, run)
        if placed is None:
            return None
        grids.add(run.of if isinstance(run, BandRun) else part.run)
        found.append(placed[part.first - 1 : part.last])
    return np.concatenate(found) if len(grids) == 1 else None


def draw_grid(placed: Index, width: int, height: int) -> Drawn | None:
    """Each cell as a square of units, as large as fits, with a gap between them where there is room; None: none fits.

    Args:
        placed: column and row of each pixel's cell.
        width: columns of the window, in units.
        height: rows of it, in units.
    """
    placed = placed - placed.min(axis=0)
    columns, rows = (placed.max(axis=0) + 1).tolist()
    step = min(width // columns, height // rows)
    if step < 1:
        return None
    size = step - (step > 1)
    across, up = (side.ravel() for side in np.meshgrid(np.arange(size), np.arange(size)))
    x = (placed[:, 0, None] * step + across).ravel()
    y = ((rows - 1 - placed[:, 1, None]) * step + up).ravel()
    return Drawn(np.repeat(np.arange(len(placed)), size * size), x, y, rows * step)


def draw_shape(where: NDArray[np.float64], width: int, height: int, tall: float) -> Drawn:
    """Pixels where they hang, a unit each; `tall`: how many times as high as wide a unit is."""
    low, size = where.min(axis=0), np.maximum(np.ptp(where, axis=0), 1e-9)
    scale = max(size[0] / max(width - 1, 1), size[1] / max(height - 1, 1) / tall)
    x, y = np.floor((where - low) / scale / [1, tall] + 0.5).astype(np.int64).T
    used = int(y.max()) + 1
    return Drawn(np.arange(len(where)), x, used - 1 - y, used)


def unroll(names: Sequence[tuple[str, int, int]], width: int, height: int) -> Drawn:
    """Strings in data order, every second unit of every second row a pixel, in tens.

    Args:
        names: of each part its run, its first pixel's number and how many they are.
        width: columns.
        height: rows.
    """
    tens = max(1, (width - NUMBER) // (2 * TEN + 1))
    line = tens * TEN
    columns: list[Index] = []
    rows: list[Index] = []
    labels: dict[int, str] = {}
    row, shown, left_out, total = 0, 0, "", 0
    for name, first, count in names:
        if len(names) > 1 and row + 4 <= height:
            labels[row] = name
            row += 2
        lines = min(-(-count // line), max(0, height - row) // 2)
        fits = min(count, lines * line)
        at = np.arange(fits)
        columns.append(NUMBER + at % line * 2 + at % line // TEN)
        rows.append(row + at // line * 2)
        labels |= {row + 2 * number: f"{first + number * line:>{NUMBER - 1}}" for number in range(lines)}
        row += 2 * lines
        shown, total = shown + fits, total + count
        if fits < count and not left_out:
            left_out = f"{name}/{first + fits}-{first + count - 1}"
        if fits < count:
            break
    more = sum(count for _, _, count in names) - shown
    says = (f"{more} pixels do not fit: --on {left_out} shows the next",) if more else ()
    return Drawn(np.arange(shown), np.concatenate(columns), np.concatenate(rows), row, labels, says)


def crowded(drawn: Drawn, ends: Sequence[int]) -> int:
    """How many pixels of a shape, a unit each, touch their neighbour on the string, or share a unit with another."""
    _, place, sharing = np.unique(
        np.column_stack([drawn.columns, drawn.rows]), axis=0, return_inverse=True, return_counts=True
    )
    close = sharing[place.reshape(-1)] > 1
    for begin, end in pairwise([0, *ends]):
        apart = np.maximum(*np.abs(np.diff(np.array([drawn.columns[begin:end], drawn.rows[begin:end]]))))
        close[begin + 1 : end] |= apart < 2
    return int(close.sum())


def _not_shown(close: int, pixels: int, without: Sequence[str]) -> tuple[str, ...]:
    """What a picture of all cannot show, in words.

    Args:
        close: how many of its pixels touch another.
        pixels: how many it has.
        without: runs that have no shape.
    """
    hidden = [f"{close} of {pixels} pixels touch another or hide behind it: name a part of it with --on"]
    if without:
        hidden.append(f"not drawn, for want of a shape: {few(without, MOST_NAMED)}")
    return tuple(hidden)


class Close:
    """The picture of one thing, which fills a window.

    Args:
        yard: whose pixels it shows.
        show: the show.
        thing: what it shows.
        columns: of the window.
        lines: of the window.
        colours: what the terminal can show.
    """

    def __init__(self, yard: Yard, show: Show, thing: Thing, columns: int, lines: int, colours: Colours) -> None:
        self._yard, self._thing, self._colours = yard, thing, colours
        self._parts = thing.parts
        self._width = columns
        self._units = 2 if colours else 1
        for below in range(1, MOST_SAYS + 1):
            drawn = self._drawn(show, max(1, lines - below) * self._units)
            if not drawn.says or len(self._caption(drawn.says)) <= below:
                break
        self._labels = {row // self._units: text for row, text in drawn.labels.items()}
        self._says = drawn.says
        self._pixel, self._height = drawn.pixels, -(-drawn.height // self._units)
        self._at = drawn.rows * columns + drawn.columns
        numbers = np.concatenate([np.arange(part.first, part.last + 1) for part in self._parts])
        self._grey = np.array(DARK)[numbers % 2]
        self._raster = np.full((self._height * self._units, columns), NOTHING, dtype=np.int64)
        self._lines = [""] * self._height
        self._old: NDArray[np.int64] | None = None

    def _drawn(self, show: Show, height: int) -> Drawn:
        """The parts as a grid, as they hang, or as strings in rows, whatever can be counted."""
        if (placed := grid_of(show, self._parts)) is not None:
            return self._grid(placed, height)
        names = [(part.run, part.first, part.pixels) for part in self._parts]
        hanging = self._hanging(show)
        if not hanging:
            return unroll(names, self._width, height)
        where = np.concatenate([*hanging.values()])
        begins = np.cumsum([0, *(count for _, _, count in names)])
        numbers = np.concatenate([np.arange(begins[number], begins[number + 1]) for number in hanging])
        tall = 2.0 / self._units
        whole = draw_shape(where, self._width, height, tall)
        close = crowded(whole, np.cumsum([len(shape) for shape in hanging.values()]).tolist())
        if len(hanging) == len(names) and not close:
            return Drawn(numbers[whole.pixels], whole.columns, whole.rows, whole.height)
        shape = draw_shape(where, self._width, max(1, height // 2), tall)
        room = height - shape.height - shape.height % self._units - self._units
        strings = unroll(names, self._width, room)
        if len(names) > 1 and strings.says:
            # All of it is too much: a picture of what hangs there, and words for what it cannot show.
            without = [name for number, (name, _, _) in enumerate(names) if number not in hanging]
            says = _not_shown(close, len(where), without)
            return Drawn(numbers[whole.pixels], whole.columns, whole.rows, whole.height, {}, says)
        below = height - room
        return Drawn(
            np.concatenate([numbers[shape.pixels], strings.pixels]),
            np.concatenate([shape.columns, strings.columns]),
            np.concatenate([shape.rows, strings.rows + below]),
            below + strings.height,
            {below + row: text for row, text in strings.labels.items()},
            strings.says,
        )

    def _hanging(self, show: Show) -> dict[int, NDArray[np.float64]]:
        """Where the pixels of each part hang, by the part's number from 0; parts without a shape are left out."""
        shapes = [positions(show, show.runs[part.run]) for part in self._parts]
        return {
            number: shape[part.first - 1 : part.last]
            for number, (part, shape) in enumerate(zip(self._parts, shapes, strict=True))
            if shape is not None
        }

    def _grid(self, placed: NDArray[np.int64], height: int) -> Drawn:
        """A grid, each pixel a place of its own; where there is no room for that, squeezed, and that is said."""
        if (grid := draw_grid(placed, self._width, height)) is not None:
            return grid
        columns, rows = (np.ptp(placed, axis=0) + 1).tolist()
        says = f"each pixel needs a window of {columns} columns and {-(-rows // self._units) + 1} lines"
        squeezed = draw_shape(placed.astype(np.float64), self._width, height, 1.0)
        return Drawn(squeezed.pixels, squeezed.columns, squeezed.rows, squeezed.height, {}, (says,))

    def lines(self) -> list[str]:
        """The picture as it is now, and what it is of: at most as many lines as the window has."""
        light = np.concatenate([self._light(part) for part in self._parts])
        top = light.max(axis=1)
        shown = self._shown(light, top)
        order = np.argsort(top[self._pixel], kind="stable")  # where pixels share a unit, the brightest is seen
        self._raster.flat[self._at[order]] = shown[self._pixel[order]]
        new = self._raster.reshape(self._height, -1)
        changed = range(self._height) if self._old is None else np.flatnonzero((new != self._old).any(axis=1)).tolist()
        for line in changed:
            rows = self._raster[line * self._units : (line + 1) * self._units]
            label = self._labels.get(line, "")
            self._lines[line] = (label + self._line(rows[:, len(label) :])).rstrip()
        self._old = new.copy()
        return [*self._lines, *self._caption(self._says, int(np.count_nonzero(top)))]

    def _caption(self, says: tuple[str, ...], lit: int | None = None) -> list[str]:
        """What stands below the picture: one line, and more where there is something to say."""
        pixels = self._thing.pixels
        words = "; ".join((f"{self._thing.name}: {pixels if lit is None else lit} of {pixels} pixels lit", *says))
        return textwrap.wrap(words, max(self._width, 1))[: MOST_SAYS if says else 1]

    def _light(self, part: Part) -> NDArray[np.float64]:
        weights = np.array([light(letter) for letter in self._yard.letters[part.run]], dtype=np.float64)
        found: NDArray[np.float64] = np.minimum(
            self._yard.pixels[part.run][part.first - 1 : part.last] @ weights, 255.0
        )
        return found

    def _shown(self, light: NDArray[np.float64], top: NDArray[np.float64]) -> NDArray[np.int64]:
        """What each pixel looks like, as a number: red, green and blue of the screen, or a letter."""
        if not self._colours:
            kinds = ((light * 2 >= np.maximum(top, 1)[:, None]) & (light > 0)) @ [1, 2, 4]
            names = [colour_name({c for bit, c in enumerate("RGB") if kind >> bit & 1}) for kind in range(8)]
            signs = ["·" if name is None or name == "dark" else name[0].upper() for name in names]
            letters: NDArray[np.int64] = np.array([ord(sign) for sign in signs])[kinds]
            return letters
        # The brightest is as bright as the screen can be, so that a dim test frame is seen; the others beside it as the
        # light is. Source: IEC 61966-2-1: how a screen's numbers stand for light.
        part = light / max(float(top.max(initial=0.0)), 1.0)
        curve = 1.055 * np.maximum(part, 1e-9) ** (1 / 2.4) - 0.055
        screen: NDArray[np.float64] = 255 * np.where(part <= 0.0031308, 12.92 * part, curve)
        brightest = screen.max(axis=1)
        screen *= (np.maximum(brightest, DIMMEST) / np.maximum(brightest, 1e-9))[:, None]
        levels = np.where((top > 0)[:, None], np.floor(screen + 0.5), self._grey[:, None]).astype(np.int64)
        packed: NDArray[np.int64] = levels @ np.array([1 << 16, 1 << 8, 1])
        return packed

    def _line(self, rows: NDArray[np.int64]) -> str:
        if not self._colours:
            return "".join(" " if value == NOTHING else chr(value) for value in rows[0].tolist())
        upper, lower = rows
        ends = np.flatnonzero((np.diff(upper) != 0) | (np.diff(lower) != 0)) + 1
        return "".join(
            self._cells(int(upper[begin]), int(lower[begin]), end - begin)
            for begin, end in pairwise([0, *ends.tolist(), len(upper)])
        )

    def _cells(self, upper: int, lower: int, count: int) -> str:
        """Characters that are alike: their upper and their lower half."""
        if upper == lower == NOTHING:
            return " " * count
        if NOTHING in (upper, lower):
            ink, mark = (upper, "▀") if lower == NOTHING else (lower, "▄")
            return f"\x1b[{self._ink(ink, 30)}m{mark * count}\x1b[0m"
        if upper == lower:
            return f"\x1b[{self._ink(upper, 30)}m{'█' * count}\x1b[0m"
        return f"\x1b[{self._ink(upper, 30)};{self._ink(lower, 40)}m{'▀' * count}\x1b[0m"

    def _ink(self, packed: int, plane: int) -> str:
        """A colour as a terminal is told it. Source: ECMA-48, 8.3.117 (SGR); 38 and 48: ITU-T T.416. From memory:
        xterm's 256 are a cube of 6 × 6 × 6 from number 16 on, with these levels, and 24 greys from 232 on.
        """
        red, green, blue = packed >> 16, packed >> 8 & 255, packed & 255
        if self._colours == "truecolor":
            return f"{plane + 8};2;{red};{green};{blue}"
        dark = red == green == blue and red in DARK
        if self._colours == "256":
            cube = [0 if value < 48 else 1 if value < 115 else (value - 35) // 40 for value in (red, green, blue)]
            grey = 232 + (red - 8) // 10
            return f"{plane + 8};5;{grey if dark else 16 + 36 * cube[0] + 6 * cube[1] + cube[2]}"
        brightest = max(red, green, blue)
        nearest = sum(bit for bit, value in ((1, red), (2, green), (4, blue)) if value * 2 > brightest)
        return str(plane + 60 if dark else plane + nearest)
