"""When the code changes, by the clip's own clock: light changes ten times a second, and the lower rows of a frame may
be taken later than the upper ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher.clip.registration import BANDS, Laid
from patcher.frames.film_code import BIN

CLEAN, USELESS = 0.34, 0.14
"""Bins from the nearest change: a frame that is further from it than the first counts in full, one that is nearer than
the second not at all."""
CLEAR = 0.12
"""How much of all change must beat at ten times a second."""


@dataclass(frozen=True, slots=True)
class Phase:
    """When light changes: at `first` + row × `row` + n × 0.1 s.

    Attributes:
        first: seconds, for the top row of a frame.
        row: seconds that a row is later than the one above it.
        clear: how much of all change beats at that rate, 0 to 1.
    """

    first: float
    row: float
    clear: float

    def bins(self, time: float, rows: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """The bin that rows of a frame show, counted from the clip's beginning, and their weight, 0 to 1."""
        at = (time - self.first - rows * self.row) / BIN
        number = np.floor(at)
        away = 0.5 - np.abs(at - number - 0.5)
        return number.astype(np.int64), ((away - USELESS) / (CLEAN - USELESS)).clip(0, 1)


def phase(found: Sequence[Laid], height: int) -> Phase:
    """The phase of a clip, from how much its points change between frames."""
    pairs = [(one, other) for one, other in pairwise(found) if other.good and len(other.change)]
    pairs = [(one, other) for one, other in pairs if other.time - one.time < BIN]
    if len(pairs) < BANDS:
        return Phase(0.0, 0.0, 0.0)
    middle = np.array([(one.time + other.time) / 2 for one, other in pairs])
    change = np.array([other.change for _, other in pairs])
    # What does not beat is noise and shake: in every frame alike.
    change = np.maximum(change - np.percentile(change, 20, axis=0), 0)
    change = np.minimum(change, 3 * np.percentile(change, 90, axis=0) + 1e-9)
    beat = np.exp(2j * np.pi * middle / BIN) @ change
    total = float(change.sum()) or 1.0
    weight = np.abs(beat)
    rows = (np.arange(BANDS) + 0.5) * height / BANDS
    whole = beat.sum()
    slope = _slope(beat, weight, rows)
    straight = beat * np.exp(-2j * np.pi * slope * rows / BIN)
    first = float(np.angle(straight.sum())) / (2 * np.pi) * BIN if weight.sum() else 0.0
    return Phase(first, slope, float(max(abs(straight.sum()), abs(whole)) / total))


def _slope(beat: NDArray[np.complex128], weight: NDArray[np.float64], rows: NDArray[np.float64]) -> float:
    """Seconds a row by which lower bands change later: the slope at which all bands agree best. A frame takes at most
    40 ms to be read from top to bottom.
    """
    best, most = 0.0, -1.0
    for readout in np.linspace(-0.04, 0.04, 81):
        slope = readout / (rows[-1] + rows[0])
        agree = float(abs((beat * np.exp(-2j * np.pi * slope * rows / BIN)).sum())) - 1e-6 * abs(readout) * weight.sum()
        if agree > most:
            best, most = slope, agree
    return best
