"""The film's code: what each channel of a show does from bin to bin, so that a clip tells which channel lights where.

Every pixel that has channels plays a word of its own. In each segment of the word one of its colours plays, and the
others are dark; a symbol is bright or low, so that a pixel that is lit stays visible. All pixels change at the same
moments, each 0.2 s: whatever part of them a person sees, of however many and in whichever colours, its light changes at
most six times within any second with both its ends, which is three flashes. WCAG 2.2 allows three. (Source, from
memory: W3C, WCAG 2.2, success criterion 2.3.1: a flash is a pair of opposing changes.) A *bin* is half a symbol: where
a clip is cut into them, one that holds a change spoils no more than itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patcher.errors import refuse
from patcher.frames.code_words import SYMBOLS, words
from patcher.frames.levels import Levels
from patcher.patch.patch import Patch, pixel_places
from patcher.patch.thing import Thing, find, lighting, whole_show
from patcher.trade import CHANNELS
from patcher.wiring import Wiring

Channels = NDArray[np.int64]
Drive = NDArray[np.float32]

BIN = 0.1
"""Seconds. A symbol is two of them."""
LOW = 0.25
"""What a symbol of 0 has, as a part of the light of a 1."""
FEWEST_SEGMENTS = 3
"""Pixels of one or two colours play some of them twice: a word of three segments is told from all others for sure."""


@dataclass(frozen=True, eq=False)
class Code:
    """What a show plays.

    Attributes:
        first: the running channel of each pixel's first channel, rising: shape (pixels,).
        width: how many channels it has.
        segments: of a word: as many as the pixel with the most colours has, at least three.
        lit: whether each of them plays; what does not stays dark.
        number: of its word; what plays has each a number of its own.
    """

    first: Channels
    width: Channels
    segments: int
    lit: NDArray[np.bool_]
    number: Channels

    @property
    def bins(self) -> int:
        """Bins of a cycle, after which the code begins anew."""
        return 2 * SYMBOLS * self.segments

    @property
    def seconds(self) -> float:
        """How long a cycle lasts."""
        return self.bins * BIN

    @cached_property
    def symbols(self) -> NDArray[np.uint8]:
        """Each pixel's word in bins: shape (pixels, bins)."""
        return np.repeat(words(self.segments)[self.number].reshape(len(self.first), -1), 2, axis=1)

    @cached_property
    def segment_of(self) -> NDArray[np.int64]:
        """The segment that is played in each bin: shape (bins,)."""
        return np.repeat(np.arange(self.segments), 2 * SYMBOLS)

    def pixel_of(self, channels: Channels) -> tuple[Channels, Channels]:
        """Which pixel each running channel belongs to, and which of its channels it is; pixel -1 for none."""
        pixel = np.searchsorted(self.first, channels, side="right") - 1
        letter = channels - self.first[pixel]
        inside = (pixel >= 0) & (channels >= 0) & (letter < self.width[pixel])
        return np.where(inside, pixel, -1), np.where(inside, letter, 0)

    def word_of(self, takes: NDArray[np.integer[Any]]) -> Channels:
        """The pixel of the plan whose word each pixel of a run plays, by its first channel; -1 for none.

        Args:
            takes: the running channels of each: shape (pixels, channels).
        """
        pixel, _ = self.pixel_of(takes[:, 0].astype(np.int64))
        return pixel

    def letter_of(self, pixels: Channels) -> Channels:
        """Which of its channels each pixel plays in each segment: shape (pixels, segments)."""
        turn: Channels = (np.arange(self.segments) + self.number[pixels][:, None]) % self.width[pixels][:, None]
        return turn

    def drive(self, channels: Channels) -> Drive:
        """What running channels do, as parts of the brightest: shape (…, bins); those of no pixel are dark."""
        pixel, letter = self.pixel_of(channels)
        number = self.number[pixel][..., None]
        plays = (self.segment_of + number) % self.width[pixel][..., None] == letter[..., None]
        lights = plays & (pixel >= 0)[..., None] & self.lit[pixel][..., None]
        found: Drive = np.where(lights, LOW + (1 - LOW) * self.symbols[pixel], 0).astype(np.float32)
        return found

    def frames(self, universes: Sequence[int], level: float) -> Sequence[Levels]:
        """What to send in each bin of a cycle, at a level from 0 to 1."""
        own = [np.flatnonzero(self.first // CHANNELS + 1 == universe) for universe in universes]
        slots = np.zeros((self.bins, len(universes), CHANNELS), dtype=np.uint8)
        for row, pixels in enumerate(own):
            for letter in range(int(self.width[pixels].max(initial=0))):
                has = pixels[self.width[pixels] > letter]
                drive = self.drive(self.first[has] + letter)
                slots[:, row, self.first[has] % CHANNELS + letter] = np.floor(drive.T * level * 255 + 0.5)
        return [Levels(tuple(universes), each) for each in slots]


def code_of(patch: Patch, runs: Iterable[str] | None = None) -> Code:
    """The code of a show.

    Args:
        patch: its patch.
        runs: those that play; None: all. A clip is read by the code that was played.

    Raises:
        PatcherError: more pixels are to play than there are words.
    """
    chosen = None if runs is None else {*runs}
    places: list[Channels] = []
    widths: list[Channels] = []
    lit: list[NDArray[np.bool_]] = []
    for start in patch.starts:
        for link, at in start.placed():
            places.append(pixel_places(at, np.arange(link.pixels), link.channels))
            widths.append(np.full(link.pixels, link.channels))
            lit.append(np.full(link.pixels, chosen is None or link.run in chosen))
    first, width = (np.concatenate(each) if each else np.empty(0, dtype=np.int64) for each in (places, widths))
    order = np.argsort(first, kind="stable")
    on: NDArray[np.bool_] = np.concatenate([np.empty(0, dtype=bool), *lit])[order]
    segments = max(FEWEST_SEGMENTS, int(width.max(initial=0)))
    most = len(words(segments))
    if (plays := int(on.sum())) > most:
        raise refuse(
            "film", f"the code has words for {most} pixels at once, and here are {plays}",
            "film the show in parts: name a box or a prop by --on, here and where the clip is read",
        )  # fmt: skip
    number = np.arange(len(first)) if len(first) <= most else (np.cumsum(on) - 1) * on
    return Code(first[order].astype(np.int64), width[order].astype(np.int64), segments, on, number)


def played(wiring: Wiring, patch: Patch, on: str | None, show: str) -> tuple[Thing, Code]:
    """What plays, the whole show or what is named, and what it plays.

    Args:
        wiring: the show.
        patch: its addresses.
        on: the name of a box, port, run or prop; None for the whole show.
        show: the show's own name, for the words.

    Raises:
        PatcherError: there is no such thing, or it is not made of whole runs.
    """
    if on is None:
        thing = whole_show(wiring)
        _need_whole_runs(thing, show, wiring)
        return thing, code_of(patch)
    thing = find(on, wiring, patch)
    _need_whole_runs(thing, on, wiring)
    return thing, code_of(patch, {wiring.source(part.run) for part in lighting(thing, wiring)})


def _need_whole_runs(thing: Thing, name: str, wiring: Wiring) -> None:
    """Refuse a thing that has no pixels, or some of a run's alone: the code is read a run at a time."""
    if not thing.parts:
        raise refuse(name, "has no pixels to light", "name a box, port, run or prop that has")
    for part in thing.parts:
        if (part.first, part.last) != (1, wiring.show.runs[part.run].pixels):
            raise refuse(name, f"is a part of {part.run}, and a film proves whole runs", f"film {part.run}")
