"""How light goes with the channels of several pixels at once: what a pixel shows that takes some of each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from patcher.clip.spots import Series
from patcher.film.shown import pure
from patcher.frames.film_code import Channels, Code

BY_COLOUR = 0.2
"""Of how well light goes with several channels, so much is a matter of its colours."""
FEW, CLEAR = 8, 0.7
"""So many pixels tell what the letters of a run look like; light that goes with its channels less well tells none."""
APART, EVEN = 12.0, 0.02
"""How much more must speak against all other orders of the letters than against one; parts of a pixel's light by which
pixels alike differ at least."""

TINY = 1e-9
"""Added to what may be 0, before it divides."""


def channels_seen(
    light: Series,
    code: Code,
    inner: Sequence[Channels],
    mixed: NDArray[np.int32],
    letters: str,
    beside: NDArray[np.int32] | None = None,
) -> NDArray[np.float64]:
    """How well light goes with running channels, the cycle beginning in bin 0: shape (places,), from 0 to 1.

    A lens and a bright light mix colours, but not moments: what counts most is the share of the light's changes that
    are those of the channels, in whatever colours; the rest is how well the colours agree. What another pixel in the
    same place explains does not count.

    Args:
        light: shape (places, bins, 3).
        code: what is played.
        inner: the bins of each segment that count.
        mixed: the channels of each place, -1 for what does not play: shape (places, letters).
        letters: the colour of each channel.
        beside: those of another pixel in each place, -1 where there is none: shape (places, letters); None: nowhere.
    """
    drive = code.drive(mixed.astype(np.int64)).astype(np.float64)
    meant = np.einsum("nlb,lc->nbc", drive, pure(letters))
    other = code.drive((mixed[:, :0] if beside is None else beside).astype(np.int64)).astype(np.float64)
    own_part = slice(0, drive.shape[1])
    left, energy, driven, agree = np.zeros((4, len(light)))
    for changes, coloured, table, theirs in _by_segment(
        inner, light.astype(np.float64), meant, drive.transpose(0, 2, 1), other.transpose(0, 2, 1)
    ):
        every = np.concatenate([table, theirs], axis=2)
        colours = _colours(every, changes)
        changes = changes - theirs @ colours[:, own_part.stop :]
        own = (changes**2).sum(axis=(1, 2))
        left += ((changes - table @ colours[:, own_part]) ** 2).sum(axis=(1, 2))
        energy += own
        driven += (coloured**2).sum(axis=(1, 2))
        agree += (changes * coloured).sum(axis=(1, 2))
    size = np.sqrt(energy * driven)
    colours_agree = np.divide(agree, size, out=np.zeros(len(light)), where=size > 0)
    moments = 1 - np.divide(left, energy, out=np.ones(len(light)), where=energy > 0)
    return (1 - BY_COLOUR) * moments + BY_COLOUR * colours_agree.clip(0, 1)


def letters_exchanged(
    light: Series, code: Code, inner: Sequence[Channels], mixed: NDArray[np.int32], letters: str
) -> NDArray[np.bool_]:
    """Which letters show the channel of another, against what most pixels of their run show: shape (places, letters).

    Args:
        light, code, inner, mixed, letters: as above.
    """
    found = np.zeros(mixed.shape, dtype=bool)
    rows = np.flatnonzero((mixed >= 0).all(axis=1))
    drive = code.drive(mixed[rows].astype(np.int64)).astype(np.float64).transpose(0, 2, 1)
    parts = [*_by_segment(inner, light[rows].astype(np.float64), drive)]
    changes, table = (np.concatenate([part[which] for part in parts], axis=1) for which in (0, 1))
    colour = _colours(table, changes)
    left = ((changes - table @ colour) ** 2).sum(axis=(1, 2))
    bright = colour.sum(axis=(1, 2))
    clear = (left < (1 - CLEAR) * (changes**2).sum(axis=(1, 2))) & (bright > 0)
    if clear.sum() < FEW:
        return found
    rows, colour = rows[clear], colour[clear] / bright[clear, None, None]
    usual = np.median(colour, axis=0)
    orders = np.array([*permutations(range(len(letters)))])
    off = ((colour[:, None] - usual[orders]) ** 2).sum(axis=(2, 3))
    spread = np.median(off[:, 0]) / usual.size + EVEN**2
    against = np.sort(off / (2 * spread), axis=1)
    best = orders[off.argmin(axis=1)]
    told = against[:, 1] - against[:, 0] > APART
    found[rows[told]] = best[told] != np.arange(len(letters))
    return found


def _by_segment(inner: Sequence[Channels], *parts: NDArray[np.float64]) -> Iterator[tuple[NDArray[np.float64], ...]]:
    """The segments of what goes from bin to bin, each without its mean: shape (places, bins, n) each."""
    for bins in inner:
        yield tuple(part[:, bins] - part[:, bins].mean(axis=1, keepdims=True) for part in parts)


def _colours(table: NDArray[np.float64], changes: NDArray[np.float64]) -> NDArray[np.float64]:
    """The colour of each channel that explains changes best, by least squares: shape (places, letters, 3). The colour
    of a channel that does not play is black.
    """
    normal = table.transpose(0, 2, 1) @ table
    normal += TINY * np.eye(normal.shape[1])
    return np.asarray(np.linalg.solve(normal, table.transpose(0, 2, 1) @ changes), dtype=np.float64)
