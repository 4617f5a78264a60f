"""What an eye sees of a frame that moves, under many classes: a dot, or two pixels side by side.

Most classes let a run take almost what a first one, the *base*, lets it take. Of a class that differs only from some
step on, that step tells whether it ends what was so before; only few need to be followed through all of their steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.scene import Index, Scene
from patcher.eye import NOBODY, SEVERAL, Ask, Chances, Eye, parted

Numbers = NDArray[np.int64]
PixelNumbers = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class TakenWays:
    """What a run takes under some classes.

    Attributes:
        index: the channel that each letter of each pixel takes, by number, in each way that it could, the base first:
            shape (letters, ways, pixels).
        of: the way of each class.
        loses: whether all that differs from the base in a way takes nothing: shape (ways,).
        channels: how many channels have numbers; what takes nothing has a number from there on.
    """

    index: Index
    of: Numbers
    loses: NDArray[np.bool_]
    channels: int

    @classmethod
    def under(cls, scene: Scene, run: str, classes: Numbers) -> TakenWays:
        """What a run takes under some classes of a scene; the base is the plan."""
        variants = scene.variants[run]
        used, of = np.unique(np.append(variants.of[classes], 0), return_inverse=True)
        return cls(variants.index[:, used], of[:-1], variants.loses[used], variants.numbers)

    @cached_property
    def base(self) -> PixelNumbers:
        """The pixel that each channel lights in the base, as by `pixels_of_channels`."""
        found: PixelNumbers = pixels_of_channels([self.index[:, :1]], self.channels)[0]
        return found

    @cached_property
    def times(self) -> Numbers:
        """How often each channel is taken in the base, by whatever letter of whatever pixel."""
        return np.bincount(np.minimum(self.index[:, 0], self.channels).ravel(), minlength=self.channels + 1)

    def differs_from(self, first: PixelNumbers) -> Numbers:
        """For each class the first step at which a pixel lights that takes another channel than in the base, under the
        class or in the base, from the first step that lights each channel.
        """
        found = np.full(self.index.shape[1], first[-1])
        for own in self.index:
            steps = np.minimum(first.take(own, mode="clip"), first[own[0]])
            found = np.minimum(found, np.where(own != own[0], steps, first[-1]).min(axis=1))
        return found[self.of]


def moved(eye: Eye, ask: Ask, steps: Numbers, taken: Sequence[TakenWays]) -> Chances:
    """How likely each answer is: shape (classes, answers).

    Args:
        eye: the eye that follows.
        ask: what is asked of a frame that moves.
        steps: the channels that are lit at each step, by number: shape (steps, channels of a step).
        taken: for each of the ask's runs what it takes under the classes.
    """
    none, channels = len(steps), taken[0].channels
    of_channel = np.full(channels + 2, none, dtype=np.int32)
    of_channel[steps.ravel()[::-1]] = np.repeat(np.arange(none), steps.shape[1])[::-1]
    of_channel[channels:] = none
    base = eye.holds(ask, _joined([each.base[steps] for each in taken], taken)[None])[0]
    good, bad = (int(own.argmax()) if own.any() else none for own in (base, ~base))
    differs = np.min([each.differs_from(of_channel) for each in taken], axis=0)
    first, some = np.full(len(differs), bad), np.full(len(differs), good < none)
    open_ = (differs < none) & ((differs <= good) | (differs <= bad))
    near = np.flatnonzero(open_ & (good < differs))
    if len(near):
        loses = np.all([each.loses[each.of[near]] for each in taken], axis=0) & (differs[near] < bad)
        once = np.sum([each.times for each in taken], axis=0) == 1
        loses &= once[steps[differs[near]]].all(axis=1)
        doubtful = near[~loses]
        at_once = _pixels_at(taken, doubtful, steps[differs[doubtful]])
        ended = np.append(near[loses], doubtful[~eye.holds(ask, at_once[:, None])[:, 0]])
        first[ended] = differs[ended]
        open_[ended] = False
    if open_.any():
        pixels = pixels_of_channels([each.index[:, each.of[open_]] for each in taken], channels)
        first[open_], some[open_] = parted(eye.holds(ask, pixels.take(steps, axis=1)))
    return eye.follows(ask, first, some)


def _pixels_at(taken: Sequence[TakenWays], classes: Numbers, lit: Numbers) -> PixelNumbers:
    """The pixel that each of some channels lights under each of some classes: shape (classes, channels)."""
    found = []
    for each in taken:
        pixel, own = each.base[lit], np.flatnonzero(each.of[classes])
        index = each.index[:, each.of[classes[own]]]
        sought = np.where(lit < each.channels, lit, -1)[own]
        for place in range(lit.shape[1]):
            lights = (index == sought[:, place, None]).any(axis=0)
            count = lights.sum(axis=1)
            pixel[own, place] = np.where(count == 1, lights.argmax(axis=1), np.where(count, SEVERAL, NOBODY))
        found.append(pixel)
    return _joined(found, taken)


def _joined(pixels: Sequence[PixelNumbers], taken: Sequence[TakenWays]) -> PixelNumbers:
    """The pixels of each run by themselves, counted on through the runs, as one."""
    found, begin = pixels[0], taken[0].index.shape[2]
    for each, run in zip(pixels[1:], taken[1:], strict=True):
        own = np.where(each >= 0, each + begin, each)
        found = np.where(own == NOBODY, found, np.where(found == NOBODY, own, SEVERAL))
        begin += run.index.shape[2]
    return found


def pixels_of_channels(taken: Sequence[Index], channels: int) -> PixelNumbers:
    """The pixel that each channel lights, steady; `NOBODY` and `SEVERAL`.

    Args:
        taken: for each run the channel that each letter of each pixel takes: shape (letters, ways, pixels); from
            `channels` on one that no frame lights.
        channels: how many there are.

    Returns:
        Shape (ways, channels + 1): pixels are counted on through the runs; the last is `NOBODY`.
    """
    ways = taken[0].shape[1]
    flat = np.full(ways * (channels + 1), NOBODY, dtype=np.int32)
    found, begin = flat.reshape(ways, channels + 1), (np.arange(ways) * (channels + 1))[:, None]
    at = [np.minimum(each, channels) + begin for each in taken]
    last = np.cumsum([each.shape[2] for each in taken])
    pixels = [np.arange(end - each.shape[2], end) for each, end in zip(taken, last, strict=True)]
    for own, pixel in zip(at, pixels, strict=True):
        flat[own] = pixel
    found[:, channels] = NOBODY
    if np.count_nonzero(found != NOBODY) < sum(np.count_nonzero(each < channels) for each in taken):
        for own, pixel in zip(at, pixels, strict=True):
            flat[own[flat[own] != pixel]] = SEVERAL
        found[:, channels] = NOBODY
    return found
