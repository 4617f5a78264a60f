"""A clip as the film's code needs it: for each bin of a cycle the mean picture, kept only where something is bright."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher.clip.phase import Phase
from patcher.clip.registration import Laid, peaks
from patcher.clip.video import Picture

SCALE = 128
"""Parts of a grey level that are kept."""
MOST_KEPT = 1_600_000
"""Points of the picture that are kept at most."""
AROUND = 3
"""Points around each bright one that are kept."""
LEAST = 0.8
"""Grey levels by which a point is brighter than what is around it, on the mean, to be kept."""


@dataclass(frozen=True, eq=False)
class Cube:
    """The mean picture of each bin, at the points that are kept.

    Attributes:
        shape: height and width of the picture.
        rows, columns: of each point: shape (points,).
        values: red, green and blue, in parts of a grey level: shape (bins, points, 3).
        weights: how many frames each bin has, in strips of `STRIP` rows: shape (bins, strips).
    """

    shape: tuple[int, int]
    rows: NDArray[np.int32]
    columns: NDArray[np.int32]
    values: NDArray[np.uint16]
    weights: NDArray[np.float32]

    @cached_property
    def number(self) -> NDArray[np.int32]:
        """The number of each point of the picture among those that are kept; -1 for others: shape (height, width)."""
        found = np.full(self.shape, -1, dtype=np.int32)
        found[self.rows, self.columns] = np.arange(len(self.rows))
        return found

    def missing(self) -> float:
        """The part of a cycle that no frame shows."""
        return float((self.weights < LEAST_WEIGHT).mean())


STRIP = 16
LEAST_WEIGHT = 0.2


def kept_points(mean: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Where a picture is worth keeping: around its bright points: shape (height, width)."""
    import cv2

    found = peaks(mean, MOST_KEPT, LEAST)
    most = MOST_KEPT // (2 * AROUND + 1) ** 2
    mask = np.zeros(mean.shape, dtype=np.uint8)
    at = np.round(found[: 2 * most]).astype(int)
    mask[at[:, 1].clip(0, len(mean) - 1), at[:, 0].clip(0, mean.shape[1] - 1)] = 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * AROUND + 1, 2 * AROUND + 1))
    return cv2.dilate(mask, disc).astype(bool)


def cube(
    pictures: Iterable[tuple[float, Picture]],
    found: Sequence[Laid],
    phase: Phase,
    mask: NDArray[np.bool_],
    bins: int,
) -> Cube:
    """The mean picture of each bin of a cycle, from the frames of a clip and where each lies."""
    import cv2

    rows, columns = np.nonzero(mask)
    # The library's maps have at most 32 767 rows.
    wide = 1024
    padded = np.zeros((-(-len(rows) // wide) * wide, 2), dtype=np.float32)
    padded[: len(rows)] = np.column_stack([columns, rows])
    points = padded.reshape(-1, wide, 2)
    strips = (len(mask) - 1) // STRIP + 1
    strip_of = rows // STRIP
    middles: NDArray[np.float64] = (np.arange(strips, dtype=np.float64) + 0.5) * STRIP
    pile = _Pile(bins, strips, strip_of)
    at = {one.time: one for one in found}
    for time, picture in pictures:
        one = at.get(time)
        if one is None or not one.good:
            continue
        number, weight = phase.bins(time, middles)
        if not weight.any():
            continue
        here = cv2.perspectiveTransform(points, one.matrix)
        x, y = np.ascontiguousarray(here[..., 0]), np.ascontiguousarray(here[..., 1])
        values = np.asarray(cv2.remap(picture, x, y, cv2.INTER_LINEAR), dtype=np.uint8).reshape(-1, 3)[: len(rows)]
        for bin_number in np.unique(number[weight > 0]).tolist():
            pile.add(bin_number, values, np.where(number == bin_number, weight, 0).astype(np.float32))
    pile.finish()
    return Cube(mask.shape, rows.astype(np.int32), columns.astype(np.int32), pile.values, pile.weights)


class _Pile:
    """Sums frames bin by bin: the two newest bins as sums, older ones as means."""

    def __init__(self, bins: int, strips: int, strip_of: NDArray[np.int64]) -> None:
        self.values = np.zeros((bins, len(strip_of), 3), dtype=np.uint16)
        self.weights = np.zeros((bins, strips), dtype=np.float32)
        self._strip_of = strip_of
        self._open: dict[int, tuple[NDArray[np.float32], NDArray[np.float32]]] = {}

    def add(self, number: int, values: Picture, weight: NDArray[np.float32]) -> None:
        own = weight[self._strip_of][:, None]
        if number not in self._open:
            for old in [one for one in self._open if one < number - 1]:
                self._close(old)
            self._open[number] = (values * own, weight.copy())
            return
        total, weights = self._open[number]
        total += values * own
        weights += weight

    def finish(self) -> None:
        for old in list(self._open):
            self._close(old)

    def _close(self, number: int) -> None:
        total, weights = self._open.pop(number)
        row = number % len(self.weights)
        share = np.divide(1, weights, out=np.zeros_like(weights), where=weights > 0)
        mean = total * (share * SCALE)[self._strip_of][:, None]
        before = self.weights[row]
        part = np.divide(weights, before + weights, out=np.zeros_like(weights), where=weights > 0)[self._strip_of]
        held = self.values[row].astype(np.float32)
        held += (mean - held) * part[:, None]
        self.values[row] = (held + 0.5).astype(np.uint16)
        self.weights[row] = before + weights
