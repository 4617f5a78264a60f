"""Where frames were laid a pixel beside where they lie: a grid looks the same one pixel further on, its words do not.

Frames are laid on each other by what is bright in them. On a grid, after a jolt or in an unsteady hand, a frame may
come to lie on the neighbours of its lights, and those after it with it. Once words are read, they say for each frame
how bright each light is in it, and so where it lies.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from patcher.clip.cube import SCALE, Cube
from patcher.clip.lights import Lights
from patcher.clip.phase import Phase
from patcher.clip.registration import Laid, Matrix, Points, brightest, moved, shifted
from patcher.clip.video import Picture
from patcher.frames.film_code import LOW, Code

Levels = NDArray[np.float64]

FEWEST, MOST = 12, 120
"""So many lights tell where a frame lies; more than so many are not looked at."""
PIXELS, MOST_POINTS = 2.2, 24
"""From pixel to pixel it is looked for so many times that far, and at most so many points."""
WINDOW, WORST = 12, 6
"""Bins that are looked at together; so many of the worst such windows are looked at."""
BAD = 0.8
"""Of how well words go in most windows: where they go worse, frames may lie elsewhere."""
BETTER, CLEAR = 0.08, 0.5
"""By how much better words must go elsewhere; how well they must go there."""
LONG, SHORT = 15, 5
"""Frames that tell together by how much some are laid beside where they lie; and which of them are."""
NEAR = 3.0
"""Points: of what is no further apart, the patches of a frame tell which it is."""


@dataclass(frozen=True, eq=False)
class Known:
    """Lights whose words are read, as they should be.

    Attributes:
        at: where they are, in points of the first frame: shape (lights, 2).
        level: how bright they should be in each bin of a cycle, the cycle beginning in the clip's bin 0: shape
            (lights, bins).
        reach: by how many points frames may be laid beside where they lie.
    """

    at: Points
    level: Levels
    reach: int


def known(found: Lights, code: Code, turn: int, apart: float) -> Known | None:
    """The lights that go best with their words; None where they are too few.

    Args:
        found: the lights.
        code: what plays.
        turn: the bin in which the cycle begins.
        apart: points from light to light.
    """
    if len(found) < FEWEST:
        return None
    best = found.of(np.argsort(-found.agrees, kind="stable")[:MOST])
    bright = best.swing.max(axis=2)[:, code.segment_of]
    level = bright * (LOW + (1 - LOW) * code.symbols[best.pixel]) / (1 - LOW)
    return Known(best.at, np.roll(level, turn, axis=1), min(MOST_POINTS, ceil(PIXELS * apart) + 2))


def slipped(cube: Cube, lights: Known) -> bool:
    """Whether in some part of the cycle the words go better with what is beside their lights."""
    bins = lights.level.shape[1]
    starts = np.arange(0, bins, WINDOW // 2)
    windows = [(start + np.arange(WINDOW)) % bins for start in starts]
    here = np.array([_agrees(_seen(cube, lights.at[None], own), lights.level[:, own])[0] for own in windows])
    worst = np.argsort(here, kind="stable")[:WORST]
    around = lights.at + _around(lights.reach, 2)[:, None]
    for number in worst[here[worst] < BAD * np.median(here)]:
        own = windows[number]
        best = float(_agrees(_seen(cube, around, own), lights.level[:, own]).max())
        if best > max(CLEAR, here[number] + BETTER):
            return True
    return False


def relaid(pictures: Iterable[tuple[float, Picture]], laid: Sequence[Laid], when: Phase, lights: Known) -> list[Matrix]:
    """For each frame the matrix that takes points of the first one to it, as the words tell.

    Args:
        pictures: all frames, with their times.
        laid: where they were laid.
        when: when light changes.
        lights: those whose words are read.
    """
    around = _around(lights.reach, 1)
    goes = np.array([
        _frame_goes(picture, one, when, lights, around) for (_, picture), one in zip(pictures, laid, strict=False)
    ])  # fmt: skip
    off = around[_ways(goes, around)]
    return [one.matrix @ shifted(*(own - off[0])) for one, own in zip(laid, off, strict=False)]


def _ways(goes: Levels, around: Points) -> NDArray[np.int64]:
    """By which of some steps each frame is laid beside where it lies: the fewest that explain the words.

    Args:
        goes: how well each frame goes with the words if it lies so far beside: shape (frames, ways).
        around: those steps: shape (ways, 2).
    """
    long = uniform_filter1d(goes, LONG, axis=0, mode="nearest")
    count = np.bincount(long.argmax(axis=1)[long.max(axis=1) > CLEAR], minlength=len(around))
    likely = [len(around) // 2]
    for way in np.argsort(-count, kind="stable")[: np.count_nonzero(count)]:
        if np.hypot(*(around[likely] - around[way]).T).min() > NEAR:
            likely.append(int(way))
    short = uniform_filter1d(goes[:, likely], SHORT, axis=0, mode="nearest")
    best = np.where(short.max(axis=1) > short[:, 0] + BETTER, short.argmax(axis=1), 0)
    # A slip lasts: where nothing is told, a frame lies as the nearest one does of which something is.
    told = np.flatnonzero(short.max(axis=1) > CLEAR)
    if not len(told):
        return np.full(len(goes), likely[0])
    frames = np.arange(len(goes))
    after = np.searchsorted(told, frames).clip(0, len(told) - 1)
    before = (after - 1).clip(0)
    nearest = np.where(frames - told[before] < told[after] - frames, told[before], told[after])
    found: NDArray[np.int64] = np.array(likely)[best[nearest]]
    return found


def _frame_goes(picture: Picture, one: Laid, when: Phase, lights: Known, around: Points) -> Levels:
    """How well a frame goes with the words if it lies so many points beside: shape (ways,)."""
    import cv2

    number, weight = when.bins(one.time, moved(one.matrix, lights.at)[:, 1])
    if weight.sum() < FEWEST / 2:
        return np.zeros(len(around))
    at = moved(one.matrix, (lights.at + around[:, None]).reshape(-1, 2)).astype(np.float32)
    x, y = np.ascontiguousarray(at.reshape(len(around), -1, 2).transpose(2, 0, 1))
    seen = cv2.remap(brightest(picture), x, y, cv2.INTER_LINEAR).astype(np.float64)
    meant = lights.level[np.arange(len(number)), number % lights.level.shape[1]]
    return _correlation(seen, meant, weight)


def _seen(cube: Cube, at: NDArray[np.float64], bins: NDArray[np.int64]) -> Levels:
    """How bright a clip is at some places in some bins: shape (ways, lights, bins)."""
    high, wide = cube.shape
    x, y = np.round(at).astype(int).transpose(2, 0, 1)
    which = cube.number[y.clip(0, high - 1), x.clip(0, wide - 1)]
    values = cube.values[bins][:, which.clip(0)].max(axis=3).astype(np.float64) / SCALE
    return np.where(which >= 0, values, 0.0).transpose(1, 2, 0)


def _agrees(seen: Levels, meant: Levels) -> Levels:
    """How well light goes with what is meant, the mean of each light taken out: shape (ways,)."""
    seen, meant = (each - each.mean(axis=-1, keepdims=True) for each in (seen, meant))
    size = np.sqrt((seen**2).sum(axis=(1, 2)) * (meant**2).sum())
    return _divided((seen * meant).sum(axis=(1, 2)), size)


def _correlation(seen: Levels, meant: Levels, weight: Levels) -> Levels:
    """How well rows go with one row, weighted: shape (rows,)."""
    share = weight / weight.sum()
    meant = meant - meant @ share
    seen = seen - (seen @ share)[:, None]
    size = np.sqrt((seen**2 @ share) * (meant**2 @ share))
    return _divided(seen @ (meant * share), size)


def _divided(above: Levels, below: Levels) -> Levels:
    """A quotient; 0 where it would be by 0."""
    return np.asarray(np.divide(above, below, out=np.zeros(len(above)), where=below > 0), dtype=np.float64)


def _around(reach: int, step: int) -> Points:
    """Steps to all sides; the one in the middle of the list is none: shape (ways, 2)."""
    side = np.arange(-(reach // step) * step, reach + 1, step, dtype=np.float64)
    return np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
