"""What pixels show of a frame: from the channels that each takes, and those that are lit, to the eye's shades.

Whoever reasons about what lights asks here, be it of one wiring or of thousands; the yard alone lights pixels itself,
from the slots of its boxes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.eye import BROKEN, Shades, shade_table
from patcher.faults.cable import RANDOM, Takes
from patcher.faults.sent import DARK
from patcher.trade import CHANNELS, LETTER_NAMES

Index = NDArray[np.int32]

MIXED = "".join(LETTER_NAMES)
"""Letters whose mixture has a name. All others are one: a pixel that shows any of them is of another colour."""
_SHADES = shade_table(f"{MIXED}?")


def shades(lit: Shades, index: Index, letters: str) -> Shades:
    """What pixels show.

    Args:
        lit: of each of some channels 1 where it is lit, `BROKEN` where its data is broken, else 0; of one frame, or of
            each of some: shape (…, channels).
        index: which of them each letter of each pixel takes, the last one also for any that is behind it: shape
            (letters, …, pixels).
        letters: the pixels' colour order.

    Returns:
        Shape (…, …, pixels).
    """
    places = [MIXED.find(letter) if letter in MIXED else len(MIXED) for letter in letters]
    bits = (lit << places[0] | (lit & BROKEN)).take(index[0], axis=-1, mode="clip")
    for place, own in zip(places[1:], index[1:], strict=True):
        bits |= (lit << place | (lit & BROKEN)).take(own, axis=-1, mode="clip")
    found: Shades = _SHADES[bits]
    return found


@dataclass(frozen=True, eq=False)
class LitChannels:
    """Which running channels are lit.

    Attributes:
        on: broken data, dark, then the channels from `begin` on, and at last one that is dark: 1 where lit.
        begin: a running channel; none before it is lit.
    """

    on: Shades
    begin: int = 0

    @classmethod
    def of(cls, channels: NDArray[np.int64]) -> LitChannels:
        """These running channels."""
        lit = cls._none(int(channels.max(initial=0)) + 1)
        lit.on[channels - RANDOM] = 1
        return lit

    @classmethod
    def of_slots(cls, universes: Sequence[int], slots: Iterable[NDArray[np.uint8]]) -> LitChannels:
        """What some universes, rising, hold: every channel above 0."""
        begin = (universes[0] - 1) * CHANNELS if universes else 0
        lit = cls._none(universes[-1] * CHANNELS - begin if universes else 0, begin)
        for universe, held in zip(universes, slots, strict=True):
            at = (universe - 1) * CHANNELS - begin - RANDOM
            lit.on[at : at + CHANNELS] = held > 0
        return lit

    @classmethod
    def _none(cls, channels: int, begin: int = 0) -> LitChannels:
        on = np.zeros(channels + 1 - RANDOM, dtype=np.uint8)
        on[0] = BROKEN
        return cls(on, begin)

    def shades(self, takes: Takes, letters: str) -> Shades:
        """What pixels show: shape (…, pixels), of what they take: shape (…, pixels, channels)."""
        index = np.moveaxis(takes, -1, 0)
        if self.begin:
            index = np.where(index < 0, index, np.maximum(index - self.begin, DARK))
        return shades(self.on, index - RANDOM, letters)
