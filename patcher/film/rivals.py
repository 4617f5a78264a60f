"""Wirings that a film must rule out before it proves a pixel: a count that is off somewhere, a run turned round."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from patcher.clip.registration import Points
from patcher.film.shown import DARK
from patcher.frames.film_code import Channels


def rivals(pixel: Channels, close: NDArray[np.bool_], there: Channels, last: int) -> Iterator[Channels]:
    """What a run would play if its count were off from somewhere on, or if it were turned round.

    Args:
        pixel: what it is held to play.
        close: which of its pixels have their light at their place: where one has not, a slip may hide.
        there: the words that are read at its places, displaced by nothing; -1 for none.
        last: the number of the code's last pixel.
    """
    count = len(pixel)
    every = np.arange(count)
    unseen = np.flatnonzero(~close)
    breaks = {1, count - 1, *unseen.tolist(), *(unseen + 1).tolist()}
    for at, offs in ((0, (-3, -2, -1, 1, 2, 3)), *((at, (-1, 1)) for at in sorted(breaks))):
        for off in offs:
            moved = np.where(pixel >= 0, _numbered(pixel + off, last), pixel)
            for which in (every >= at, every < at):
                if which.any():
                    yield np.where(which, moved, pixel)
    yield pixel[::-1]
    for way in (1, -1):
        begin = usual((there - way * every)[there >= 0])
        if begin is not None:
            yield _numbered(begin + way * every, last)


def _numbered(pixel: Channels, last: int) -> Channels:
    """Pixels of the code; what is before its first and behind its last one is dark."""
    return np.where((pixel >= 0) & (pixel <= last), pixel, DARK)


def groups(places: Points) -> Channels:
    """The same number for places that are one: shape (places,)."""
    _, number = np.unique(np.round(places / 0.002), axis=0, return_inverse=True)
    return number.reshape(-1)


def usual(values: Channels) -> int | None:
    """The value that most of some have; None where those are not many."""
    every, counts = np.unique(values, return_counts=True)
    return int(every[counts.argmax()]) if len(values) and counts.max() > 0.4 * len(values) else None
