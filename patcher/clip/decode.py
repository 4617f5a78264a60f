"""Which word each spot of a clip plays: where the cycle begins, and the word that goes best with its light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from patcher.clip.spots import Series
from patcher.frames.film_code import Channels, Code

Numbers = NDArray[np.float32]

FOR_TURN = 96
"""So many spots tell where the cycle begins."""
BLOCK = 1024
BESIDE, AROUND = 31, 2
"""Bins to either side that tell what is usual; those next to a disturbed one that are disturbed, too."""
GLARING, GLARE = 7.0, 0.15
"""Light is unusual that is off by so many times what it is off by in most bins, and by such a part of itself."""
MOST_DISTURBED = 0.25
"""Of all bins: where more are unusual, nothing is."""


@dataclass(frozen=True, eq=False)
class Templates:
    """The words of a code as what a spot's light is held against.

    Attributes:
        words: mean 0 and mean of squares 1 in each segment: shape (pixels, bins); 0 where a segment begins.
        inner: the bins of each segment that count; not its first one, which may still have the light of the one before.
    """

    words: Numbers
    inner: tuple[Channels, ...]

    @property
    def bins(self) -> int:
        """How many bins count."""
        return sum(map(len, self.inner))


def templates(code: Code, without: NDArray[np.bool_] | None = None) -> Templates:
    """The words of a code.

    Args:
        code: the code.
        without: bins that do not count, the cycle beginning in bin 0: shape (bins,); None: all count. Of a segment of
            which more than half would be left out all do.
    """
    a_segment = code.bins // code.segments
    whole = np.arange(code.bins).reshape(code.segments, a_segment)[:, 1:]
    counts = np.ones(code.bins, dtype=bool) if without is None else ~without
    left = [bins[counts[bins]] for bins in whole]
    inner = tuple(some if 2 * len(some) > a_segment else bins for some, bins in zip(left, whole, strict=True))
    return Templates(_levelled(code.symbols.astype(np.float32), inner), inner)


def disturbed(light: Series) -> NDArray[np.bool_]:
    """In which bins something else lights the lights, all at once: a car that passes: shape (bins,).

    Args:
        light: of lights that were read: shape (lights, bins, 3).
    """
    if not len(light):
        return np.zeros(light.shape[1], dtype=bool)
    level = light.sum(axis=2).mean(axis=0)
    usual = median_filter(level, 2 * BESIDE + 1, mode="wrap")
    off = np.abs(level - usual)
    found = off > np.maximum(GLARING * np.median(off), GLARE * usual)
    found = np.any([np.roll(found, step) for step in range(-AROUND, AROUND + 1)], axis=0)
    return found if found.mean() < MOST_DISTURBED else np.zeros_like(found)


def _levelled(values: Numbers, inner: Sequence[Channels]) -> Numbers:
    """Values with mean 0 and mean of squares 1 in each segment; 0 between segments: shape (…, bins)."""
    found = np.zeros_like(values)
    for bins in inner:
        part = values[..., bins]
        part = part - part.mean(axis=-1, keepdims=True)
        size = np.sqrt((part**2).mean(axis=-1, keepdims=True))
        found[..., bins] = np.divide(part, size, out=np.zeros_like(part), where=size > 1e-6)
    return found


@dataclass(frozen=True, slots=True)
class Turn:
    """Where the cycle begins in a clip.

    Attributes:
        bins: the clip's bin in which it does.
        agrees: how well the clearest spots go with their words then, on the mean: 1 is all the same, 0 not at all.
        next_best: the same for the best of all other beginnings.
    """

    bins: int
    agrees: float
    next_best: float


def turn(light: Series, own: Templates) -> Turn:
    """Where the cycle begins, by the clearest spots: shape of `light` (spots, bins, 3), clearest first."""
    bins = own.words.shape[1]
    grey = light[:FOR_TURN].sum(axis=2)
    words = own.words.T
    size = float(own.bins)
    agrees = np.zeros(bins)
    for begin in range(bins):
        held = _levelled(np.roll(grey, -begin, axis=1), own.inner)
        agrees[begin] = float((held @ words).max(axis=1).mean()) / size
    best = int(agrees.argmax())
    others = np.delete(agrees, [(best + n) % bins for n in (-1, 0, 1)])
    return Turn(best, float(agrees[best]), float(others.max()))


@dataclass(frozen=True, eq=False)
class Decoded:
    """What spots play.

    Attributes:
        pixel: the pixel of the code whose word goes best with each: shape (spots,).
        agrees: how well: 1 is all the same: shape (spots,).
        next_best: how well the best other word goes: shape (spots,).
        parts: how well each segment goes with that word: shape (spots, segments).
    """

    pixel: Channels
    agrees: Numbers
    next_best: Numbers
    parts: Numbers


def clear(light: Series, own: Templates) -> Numbers:
    """The light of spots, each segment in the colour in which it changes most: shape (spots, bins); mean 0 and mean of
    squares 1 in each segment. The cycle begins in bin 0.
    """
    grey = np.zeros(light.shape[:2], dtype=np.float32)
    for bins in own.inner:
        part = light[:, bins] - light[:, bins].mean(axis=1, keepdims=True)
        _, axes = np.linalg.eigh(np.einsum("nbi,nbj->nij", part, part))
        axis = axes[:, :, -1]
        axis = axis * np.where(axis.sum(axis=1) < 0, -1, 1)[:, None]
        grey[:, bins] = np.einsum("nbi,ni->nb", part, axis)
    return _levelled(grey, own.inner)


def decode(held: Numbers, own: Templates) -> Decoded:
    """The word that goes best with each spot; `held` as `clear` gives it."""
    size = float(own.bins)
    pixel = np.zeros(len(held), dtype=np.int64)
    agrees, second = np.zeros((2, len(held)), dtype=np.float32)
    words = np.ascontiguousarray(own.words.T)
    for begin in range(0, len(held), BLOCK):
        rows = slice(begin, begin + BLOCK)
        scores = held[rows] @ words / size
        best = scores.argmax(axis=1)
        every = np.arange(len(best))
        pixel[rows], agrees[rows] = best, scores[every, best]
        scores[every, best] = -1
        second[rows] = scores.max(axis=1)
    return Decoded(pixel, agrees, second, parts(held, own, pixel))


def parts(held: Numbers, own: Templates, pixel: Channels) -> Numbers:
    """How well each segment of spots goes with the word of a pixel: shape (spots, segments)."""
    found = [np.einsum("nb,nb->n", held[:, bins], own.words[pixel][:, bins]) / len(bins) for bins in own.inner]
    return np.stack(found, axis=1)
