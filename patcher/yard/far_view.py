"""The yard's pixels as a picture of characters: where the plan has them, as the audience sees them.

Runs with a shape are drawn by their positions; below them stands a strip for each run that has none. Every lit cell has
the colour of its pixels, as bright as can be, so that a dim test frame is seen as well. All is worked out once but for
the colours: a picture costs a few numpy operations and one pass over the cells.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from patcher.shapes import positions
from patcher.trade import light
from patcher.wiring import Wiring
from patcher.yard.yard import Yard

Cells = NDArray[np.int64]

CELL_SHAPE = 2.0
"""How many times as high as wide a character is. Common practice, no source."""
STRIP = 48
NAME = 22


class FarView:
    """A picture of a yard, of so many columns and lines at most.

    Args:
        yard: whose pixels it shows.
        wiring: where they hang as planned.
        columns: of the screen.
        lines: of the screen; what does not fit is left out, and said.
        colours: `truecolor`: any colour; `8`: the nearest of eight; none: lit or dark.
    """

    def __init__(self, yard: Yard, wiring: Wiring, columns: int, lines: int, colours: str) -> None:
        self._yard, self._colours = yard, colours
        show = wiring.show
        placed = {name: found for name, run in show.runs.items() if (found := positions(show, run)) is not None}
        strips = [name for name in yard.pixels if name not in placed]
        self._boxes = list(yard.boxes)[: max(1, lines // 4)]
        room = lines - len(self._boxes) - 2
        self._strips = strips[: max(0, min(len(strips), room // 2 if placed else room))]
        self._left_out = len(strips) - len(self._strips)
        self._width, self._height = 0, 0
        cells: dict[str, Cells] = {}
        if placed:
            self._width = columns - 1
            every = np.concatenate(list(placed.values()))
            cells, self._height = self._raster(placed, every, max(1, room - len(self._strips)))
        first = self._width * self._height
        for number, name in enumerate(self._strips):
            count = len(yard.pixels[name])
            cells[name] = first + number * STRIP + np.arange(count) * min(STRIP, count) // count
        self._count = first + len(self._strips) * STRIP
        self._runs = list(cells)
        at = np.concatenate([cells[name] for name in self._runs]) if cells else np.zeros(0, dtype=np.int64)
        self._order = np.argsort(at, kind="stable")
        self._cell, self._begin = np.unique(at[self._order], return_index=True)

    def _raster(
        self, placed: dict[str, NDArray[np.float64]], every: NDArray[np.float64], most: int
    ) -> tuple[dict[str, Cells], int]:
        """The cell of each pixel, counted line by line from the top left, and how many lines that takes."""
        low, size = every.min(axis=0), np.maximum(np.ptp(every, axis=0), 1e-9)
        # Metres to a column: as many as let both width and height fit.
        scale = max(size[0] / max(self._width - 1, 1), size[1] / max(most - 1, 1) / CELL_SHAPE)
        height = min(most, int(size[1] / scale / CELL_SHAPE + 0.5) + 1)
        found = {}
        for name, where in placed.items():
            x, y = np.floor((where - low) / scale / [1, CELL_SHAPE] + 0.5).astype(np.int64).T
            found[name] = (height - 1 - np.clip(y, 0, height - 1)) * self._width + np.clip(x, 0, self._width - 1)
        return found, height

    def _cells(self) -> tuple[list[str], list[tuple[int, int, int] | None]]:
        """Each cell's character and, where it is lit, its colour."""
        marks = [" "] * self._count
        colours: list[tuple[int, int, int] | None] = [None] * self._count
        if not len(self._cell):
            return marks, colours
        mixed = np.concatenate([self._mixed(name) for name in self._runs])[self._order]
        brightest = np.maximum.reduceat(mixed, self._begin, axis=0)
        top = brightest.max(axis=1)
        full = (brightest * (255.0 / np.maximum(top, 1e-9))[:, None]).astype(int)
        for cell, lit, colour in zip(self._cell.tolist(), (top > 0).tolist(), full.tolist(), strict=True):
            marks[cell] = "●" if lit else "·"
            if lit:
                colours[cell] = (colour[0], colour[1], colour[2])
        return marks, colours

    def _mixed(self, run: str) -> NDArray[np.float32]:
        weights = np.array([light(letter) for letter in self._yard.letters[run]], dtype=np.float32)
        seen: NDArray[np.float32] = self._yard.pixels[run].astype(np.float32) @ weights
        return seen

    def lines(self) -> list[str]:
        """The picture, line by line."""
        marks, colours = self._cells()
        found = []
        for line in range(self._height):
            begin = line * self._width
            found.append(self._line(marks, colours, begin, begin + self._width))
        for number, name in enumerate(self._strips):
            begin = self._width * self._height + number * STRIP
            shown = self._yard.pixels[name]
            head = f"{name[:NAME]:<{NAME}} {int(shown.any(axis=1).sum()):>5} of {len(shown):>5}  "
            found.append(head + self._line(marks, colours, begin, begin + STRIP))
        if self._left_out:
            found.append(f"… and {self._left_out} more runs with no picture")
        for name in self._boxes:
            box = self._yard.boxes[name]
            what = ", ".join(f"{number} {reason}" for reason, number in box.counts.items()) or "no packet yet"
            found.append(f"{name[:NAME]:<{NAME}} " + (what if box.on else "off"))
        return found

    def _line(self, marks: list[str], colours: list[tuple[int, int, int] | None], begin: int, end: int) -> str:
        parts = []
        for colour, cells in groupby(range(begin, end), key=colours.__getitem__):
            text = "".join(marks[cell] for cell in cells)
            parts.append(text if colour is None else self._painted(text, colour))
        return "".join(parts).rstrip()

    def _painted(self, text: str, colour: tuple[int, int, int]) -> str:
        if self._colours == "truecolor":
            return "\x1b[38;2;{};{};{}m".format(*colour) + text + "\x1b[0m"
        if self._colours == "8":
            nearest = sum(bit for bit, part in zip((1, 2, 4), colour, strict=True) if part > 127)
            return f"\x1b[{30 + nearest}m{text}\x1b[0m"
        return text


class Throttle:
    """Calls something at most so many times a second, whenever it is called itself."""

    def __init__(self, what: Callable[[], object], times_a_second: float) -> None:
        self._what, self._apart, self._last = what, 1 / times_a_second, float("-inf")

    def __call__(self) -> None:
        """Call it, if it is time."""
        if time.monotonic() - self._last >= self._apart:
            self._what()
            self._last = time.monotonic()
