"""What the pixels of a run would play, by what they take: the word of each, and its colour in each segment."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher.clip import hues
from patcher.clip.hues import Hues
from patcher.faults import RANDOM, Takes
from patcher.frames.film_code import Channels, Code

DARK, BROKEN, MIXED = -1, -2, -3
"""In place of a pixel's number: no data; broken data; channels of several pixels."""


@dataclass(frozen=True, eq=False)
class Shown:
    """What the pixels of a run play.

    Attributes:
        pixel: whose word each plays, a number of the code, or `DARK`, `BROKEN`, `MIXED`: shape (pixels,).
        hue: the letter, as its number in `hues.SEEN`, that each plays in each segment: shape (pixels, segments).
        mixed: the running channels of those that are `MIXED`, -1 for what does not play: shape (pixels, letters); None
            where none is.
    """

    pixel: Channels
    hue: Hues
    mixed: NDArray[np.int32] | None = None

    @cached_property
    def digest(self) -> bytes:
        """The same for what plays the same."""
        mixed = b"" if self.mixed is None else self.mixed.tobytes()
        return hashlib.blake2b(self.pixel.tobytes() + self.hue.tobytes() + mixed, digest_size=16).digest()


def shown(takes: Takes, letters: str, code: Code) -> Shown:
    """What pixels play that take these channels: shape (pixels, letters)."""
    owner, letter = code.pixel_of(takes.astype(np.int64))
    owner = np.where((owner >= 0) & code.lit[owner], owner, -1)
    most = owner.max(axis=1)
    alike = ((owner == most[:, None]) | (owner < 0)).all(axis=1)
    pixel = np.where(most < 0, DARK, np.where(alike, most, MIXED))
    pixel = np.where((takes == RANDOM).any(axis=1), BROKEN, pixel)
    hue = np.full((len(takes), code.segments), hues.DARK, dtype=np.int8)
    has = np.flatnonzero(pixel >= 0)
    plays = code.letter_of(pixel[has])
    for number, name in enumerate(letters):
        seen = hues.SEEN.find(name)
        here = (letter[has, number][:, None] == plays) & (owner[has, number] == pixel[has])[:, None]
        hue[has] = np.where(here, seen if seen >= 0 else hues.UNKNOWN, hue[has])
    several = (pixel == MIXED)[:, None]
    return Shown(pixel, hue, np.where(several & (owner >= 0), takes, np.int32(-1)) if several.any() else None)


def pure(letters: str) -> NDArray[np.float64]:
    """The colour of each letter as a camera would see it: shape (letters, 3)."""
    return np.array([hues.PURE[hues.SEEN.index(name)] if name in hues.SEEN else np.zeros(3) for name in letters])


def alike(one: Shown, other: Shown) -> bool:
    """Whether pixels play the same."""
    return one is other or one.digest == other.digest
