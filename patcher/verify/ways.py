"""What some runs could take under some classes of a scene, and what an eye sees of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patcher.eye import NOBODY, SEVERAL, Ask, Chances, Eye, Shades
from patcher.verify.frames import Frame
from patcher.verify.scene import Index, Scene

Numbers = NDArray[np.int64]
Lamps = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Ways:
    """What some runs could take under some classes of a scene, each way once: many classes let a run take the same.

    Attributes:
        scene: the scene.
        runs: the runs.
        indices: for each run what it takes in each way: shape (channels, ways, lamps).
        of: the way of each class.
    """

    scene: Scene
    runs: tuple[str, ...]
    indices: tuple[Index, ...]
    of: Numbers

    @classmethod
    def under(cls, scene: Scene, runs: tuple[str, ...], classes: Numbers) -> Ways:
        """The ways of some classes."""
        of = np.column_stack([scene.variants[run].of[classes] for run in runs])
        which, back = np.unique(of, axis=0, return_inverse=True)
        own = zip(runs, which.T, strict=True)
        indices = tuple(np.ascontiguousarray(scene.variants[run].index[:, chosen]) for run, chosen in own)
        return cls(scene, runs, indices, back.ravel())

    @property
    def count(self) -> int:
        """How many ways there are."""
        return int(self.indices[0].shape[1])

    def shades(self, frames: Sequence[Frame]) -> list[Shades]:
        """What each of the runs shows of still frames: shape (frames, ways, lamps)."""
        on = np.stack([self.scene.on(frame.steps[0]) for frame in frames])
        own = zip(self.runs, self.indices, strict=True)
        return [self.scene.variants[run].shades(on, index) for run, index in own]

    def lamps(self, frame: Frame) -> Lamps:
        """The lamp that each lit channel of each step of a frame that moves lights, counted on through the runs, or
        `NOBODY`, or `SEVERAL`: shape (ways, steps, channels).
        """
        steps, numbers = frame.stacked, self.scene.numbers
        at = np.minimum(np.searchsorted(numbers, steps), len(numbers) - 1)
        at[numbers[at] != steps] = len(numbers)
        return self._lamps[:, at]

    @cached_property
    def _lamps(self) -> Lamps:
        return lamps_of([index.transpose(1, 2, 0) for index in self.indices], len(self.scene.numbers))


def lamps_of(taken: Sequence[NDArray[np.integer[Any]]], channels: int) -> Lamps:
    """The lamp that each channel lights, steady; `NOBODY` and `SEVERAL`.

    Args:
        taken: for each run the channel that each letter of each lamp takes: shape (ways, lamps, letters); from
            `channels` on one that no frame lights.
        channels: how many there are.

    Returns:
        Shape (ways, channels + 1): lamps are counted on through the runs; the last is `NOBODY`.
    """
    ways = len(taken[0])
    flat = np.full(ways * (channels + 1), NOBODY, dtype=np.int32)
    found, begin = flat.reshape(ways, channels + 1), (np.arange(ways) * (channels + 1))[:, None, None]
    at = [np.minimum(each, channels) + begin for each in taken]
    last = np.cumsum([each.shape[1] for each in taken])
    lamps = [np.arange(end - each.shape[1], end)[:, None] for each, end in zip(taken, last, strict=True)]
    for own, lamp in zip(at, lamps, strict=True):
        flat[own] = lamp
    found[:, channels] = NOBODY
    if np.count_nonzero(found != NOBODY) < sum(np.count_nonzero(each < channels) for each in taken):
        for own, lamp in zip(at, lamps, strict=True):
            flat[own[flat[own] != lamp]] = SEVERAL
        found[:, channels] = NOBODY
    return found


def see(scene: Scene, eye: Eye, frame: Frame, ask: Ask, classes: Numbers) -> Chances:
    """How likely an eye gives each answer under some classes of a scene: shape (classes, answers)."""
    ways = Ways.under(scene, ask.runs, classes)
    if frame.goes:
        return eye.follows(ask, ways.lamps(frame))[ways.of]
    return eye.sees(ask, [shades[0] for shades in ways.shades([frame])])[ways.of]
