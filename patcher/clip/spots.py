"""Where something blinks in a clip, and how its light goes from bin to bin."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from patcher.clip.cube import AROUND, SCALE, Cube
from patcher.clip.registration import Points, peaks

Series = NDArray[np.float32]
"""Grey levels of red, green and blue in each bin: shape (spots, bins, 3)."""

WINDOW = 2
"""Points around a spot that are looked at."""
WIDTH = 1.0
"""Points: the standard deviation of the weights with which they count."""
LEAST_ACTIVE = 1.0
"""Grey levels by which a spot must change, more than what is around it."""
GRAIN, MOST_KEPT = 8, 20_000
"""Parts of a point to which a look is aimed; so many of the places that were looked at are kept."""


def spots(cube: Cube, most: int) -> Points:
    """The places that change most, those that change most first: shape (spots, 2)."""
    image = np.zeros(cube.shape, dtype=np.float32)
    image[cube.rows, cube.columns] = kept_activity(cube)
    return peaks(image, most, LEAST_ACTIVE)


def flux(cube: Cube, points: Points) -> NDArray[np.float32]:
    """How much light comes from around some points on the mean, all colours together, in grey levels. A light that is
    too bright for the camera is wider, and so has more of it.
    """
    import cv2

    image = np.zeros(cube.shape, dtype=np.float32)
    image[cube.rows, cube.columns] = cube.values.mean(axis=0, dtype=np.float32).sum(axis=1) / SCALE
    around = cv2.blur(image, (2 * AROUND + 1, 2 * AROUND + 1))
    x, y = np.round(points).astype(int).T
    return np.asarray(around[y.clip(0, cube.shape[0] - 1), x.clip(0, cube.shape[1] - 1)], dtype=np.float32)


def kept_activity(cube: Cube) -> NDArray[np.float32]:
    """How much each kept point changes: the standard deviation over the bins, all colours together, in grey levels."""
    found = np.zeros(len(cube.rows), dtype=np.float32)
    block = 65536
    for begin in range(0, len(found), block):
        part = cube.values[:, begin : begin + block].astype(np.float32)
        found[begin : begin + block] = np.sqrt(part.var(axis=0).sum(axis=1)) / SCALE
    return found


def activity(light: Series) -> NDArray[np.float32]:
    """By how many grey levels light changes, all colours together: shape (points,)."""
    found: NDArray[np.float32] = np.sqrt(light.var(axis=1).sum(axis=1))
    return found


def series(cube: Cube, points: Points) -> Series:
    """How the light at some points goes, as the mean of the points around each."""
    number = cube.number
    high, wide = cube.shape
    x0, y0 = np.round(points[:, 0]).astype(int), np.round(points[:, 1]).astype(int)
    total = np.zeros((len(points), len(cube.values), 3), dtype=np.float32)
    weights = np.zeros(len(points), dtype=np.float32)
    for dy in range(-WINDOW, WINDOW + 1):
        for dx in range(-WINDOW, WINDOW + 1):
            x, y = x0 + dx, y0 + dy
            inside = (x >= 0) & (x < wide) & (y >= 0) & (y < high)
            which = np.where(inside, number[y.clip(0, high - 1), x.clip(0, wide - 1)], -1)
            off = (x - points[:, 0]) ** 2 + (y - points[:, 1]) ** 2
            weight = np.where(which >= 0, np.exp(-off / (2 * WIDTH**2)), 0).astype(np.float32)
            weights += weight
            total += weight[:, None, None] * cube.values[:, which.clip(0)].transpose(1, 0, 2)
    found: Series = total / (np.maximum(weights, 1e-6)[:, None, None] * SCALE)
    return found


@dataclass(frozen=True, eq=False)
class Look:
    """Looks at a clip's light, the cycle beginning in bin 0; a place that was looked at is kept.

    Attributes:
        cube: the clip.
        turn: the bin in which the cycle begins.
    """

    cube: Cube
    turn: int
    _kept: dict[tuple[int, int], Series] = field(default_factory=dict)

    def __call__(self, points: Points) -> Series:
        """The light at some points, to an eighth of a point: shape (points, bins, 3)."""
        aims, which = np.unique(np.round(points * GRAIN).astype(np.int64).reshape(-1, 2), axis=0, return_inverse=True)
        names = [(x, y) for x, y in aims.tolist()]
        if len(self._kept) + len(names) > MOST_KEPT:
            self._kept.clear()
        new = [number for number, name in enumerate(names) if name not in self._kept]
        if new:
            light = np.roll(series(self.cube, aims[new] / GRAIN), -self.turn, axis=1)
            self._kept.update(zip((names[number] for number in new), light, strict=True))
        if not names:
            return np.empty((0, len(self.cube.values), 3), dtype=np.float32)
        return np.stack([self._kept[name] for name in names])[which.reshape(-1)]
