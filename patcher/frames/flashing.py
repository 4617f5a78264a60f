"""Whether a patch of the view flashes more than three times a second where some pixels change a bin after the others.

Source (from memory): W3C, WCAG 2.2, success criterion 2.3.1, and in its glossary "general flash and red flash
thresholds" and "relative luminance". A patch is 341 × 256 points of 1024 × 768: about 10 degrees of view. A general
flash is a pair of opposing changes of 10 % of the greatest luminance; a red flash is a pair of changes to or from a
saturated red, by its distance in the CIE 1976 UCS diagram, or, as WCAG 2.1 had it, by more than 20 in
(R − G − B) × 320.

Where all pixels change together there are six changes within any second, which is three pairs. Where two of them take
turns nothing bounds what both show: they may grow red together at every bin. So it is computed for each show, by
sampling:

- Patches lie a quarter of their size apart, from where somebody stands nearest to where the whole show fills a view,
  each distance half as far again as the one before. Each patch may have six changes a second, of nine tenths of what
  the standard counts.
- A low light is a quarter of a bright one, or less in a box that dims by the curve of sRGB. Several such parts are
  tried, each as bright as can be. A lower level adds one change at most, so there is still no fourth pair. Below a
  level of 0.05 octets are too coarse for these parts; then light is faint.
- At the edge of a display there are patches between those that are tried with a pixel or two, which may grow red more
  often. Those fill less than a quarter of the patch; so little may flash, by the same criterion.
- A run that is not drawn may hang anywhere, and any of its pixels may be in a patch together: such a show is not asked
  about here, and its pixels change together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from patcher.frames.flash_counts import Light, most_changes
from patcher.trade import FASTEST_FLASH

Numbers = NDArray[np.float64]

VIEW = np.array([2 * np.tan(np.radians(5.0)), 2 * np.tan(np.radians(5.0)) * 256 / 341])
"""Width and height of a patch, at a distance of 1."""
NEAR = 2.0
"""Metres: nearer than that nobody watches a display. Own choice."""
FARTHER = 1.5
"""So many times as far is the next distance that is tried."""
PARTS = 4
"""Patches lie a fourth of their size apart, each way."""
AT_ONCE = 2000
"""Patches that are looked at together, for the memory."""


@dataclass(frozen=True, eq=False)
class Field:
    """The light of a show.

    Attributes:
        at: where each light is, in metres: shape (lights, 2).
        side: how wide and high it is.
        colour: red, green and blue that it has in each segment: shape (lights, segments, 3).
        word: its symbols: shape (lights, segments, symbols).
        late: whether it would change a bin after the others.
    """

    at: Numbers
    side: Numbers
    colour: NDArray[np.float32]
    word: NDArray[np.uint8]
    late: NDArray[np.bool_]

    @property
    def flashes(self) -> bool:
        """Whether somebody may see more flashes a second than are allowed."""
        if self.late.all() or not self.late.any():
            return False
        return any(most_changes(light) > 2 * FASTEST_FLASH for light in self._lights())

    def _lights(self) -> Iterator[Light]:
        """The light of all together, and of every patch, some at a time."""
        everything = sparse.csr_matrix(np.full((1, len(self.at)), 1 / len(self.at)))
        half = _Half(self, ~self.late), _Half(self, self.late)
        for parts in (everything, *map(self._patches, self._distances())):
            mixed = np.asarray((parts @ self.late) > 0) & np.asarray((parts @ ~self.late) > 0)
            parts = parts[np.flatnonzero(mixed)]
            for first in range(0, parts.shape[0], AT_ONCE):
                some = parts[first : first + AT_ONCE]
                in_time, late = (each.light(some) for each in half)
                yield Light(in_time.low + late.low, in_time.bright + late.bright)

    def _distances(self) -> list[float]:
        """From where somebody stands nearest to where a patch is a third as wide and as high as the whole show."""
        whole = max(NEAR, *(np.ptp(self.at, axis=0) / 3 / VIEW).tolist())
        steps = np.arange(np.log(whole / NEAR) / np.log(FARTHER))
        return [*(NEAR * FARTHER**steps).tolist(), whole]

    def _patches(self, distance: float) -> sparse.csr_matrix:
        """The part of each patch that each light fills: shape (patches, lights). Patches with no light are left out."""
        size = VIEW * distance
        cell, low = size / PARTS, self.at.min(axis=0) - size
        begin, end = self.at - self.side[:, None] / 2, self.at + self.side[:, None] / 2
        first = np.floor((begin - low) / cell).astype(int)
        wide, high = (np.floor((end - low) / cell).astype(int) - first).max(axis=0) + 1
        cells, lights, parts = [], [], []
        for step in np.ndindex(int(wide), int(high)):  # the cells in which a light may be
            own = first + step
            over = np.minimum(end, low + (own + 1) * cell) - np.maximum(begin, low + own * cell)
            part = (np.clip(over, 0, None) / size).prod(axis=1)
            has = np.flatnonzero(part)
            cells.append(own[has])
            lights.append(has)
            parts.append(part[has])
        corner = np.concatenate([np.concatenate(cells) - step for step in np.ndindex(PARTS, PARTS)])
        key = (corner[:, 0] + PARTS) * (int(corner[:, 1].max()) + PARTS + 1) + corner[:, 1] + PARTS
        kept, row = np.unique(key, return_inverse=True)
        column, part = (np.tile(np.concatenate(each), PARTS**2) for each in (lights, parts))
        found = sparse.csr_matrix((part, (row, column)), shape=(len(kept), len(self.at)), dtype=np.float32)
        full = np.maximum(1.0, np.asarray(found.sum(axis=1)).ravel())
        return sparse.csr_matrix(sparse.diags_array(1 / full) @ found, dtype=np.float32)


class _Half:
    """The lights that change at the same moments."""

    def __init__(self, field: Field, mine: NDArray[np.bool_]) -> None:
        self.mine = np.flatnonzero(mine)
        self.delay = int(field.late[self.mine[0]])
        self.colour = field.colour[self.mine]
        played = self.colour[:, :, None] * field.word[self.mine][..., None]
        self.bright = played.reshape(len(self.mine), -1)
        self.symbols = field.word.shape[2]

    def light(self, parts: sparse.csr_matrix) -> Light:
        """What patches have of it."""
        own = parts[:, self.mine]
        bright = (own @ self.bright).reshape(own.shape[0], -1, 3)
        every = (own @ self.colour.reshape(len(self.mine), -1)).reshape(own.shape[0], -1, 3)
        low = np.repeat(every, self.symbols, axis=1) - bright
        return Light(self._bins(low), self._bins(bright))

    def _bins(self, symbols: NDArray[np.float32]) -> NDArray[np.float32]:
        """A symbol is two bins, some time late: shape (patches, bins, 3)."""
        return np.roll(np.repeat(symbols, 2, axis=1), self.delay, axis=1)
