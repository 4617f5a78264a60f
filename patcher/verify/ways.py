"""What some runs could take under some classes of a scene, and what an eye sees of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher.eye import Ask, Chances, Eye, Shades
from patcher.verify.frames import Frame
from patcher.verify.scene import Index, Scene

Numbers = NDArray[np.int64]


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

    def lit(self, frame: Frame) -> NDArray[np.bool_]:
        """Whether any lamp is lit at each step of a frame that moves: shape (ways, steps)."""
        steps, numbers = frame.stacked, self.scene.numbers
        at = np.minimum(np.searchsorted(numbers, steps), len(numbers) - 1)
        at[numbers[at] != steps] = len(numbers)
        found = self._taken[:, at[:, 0]]
        for column in at.T[1:]:
            found |= self._taken[:, column]
        return found

    @cached_property
    def _taken(self) -> NDArray[np.bool_]:
        """Which channels of the scene any lamp takes: shape (ways, channels), behind them those that none takes."""
        found = np.zeros((self.count, len(self.scene.numbers) + 2), dtype=bool)
        rows = np.arange(self.count)[:, None]
        for index in self.indices:
            for channel in index:
                found[rows, channel] = True
        found[:, len(self.scene.numbers) :] = False
        return found


def see(scene: Scene, eye: Eye, frame: Frame, ask: Ask, classes: Numbers) -> Chances:
    """How likely an eye gives each answer under some classes of a scene: shape (classes, answers)."""
    ways = Ways.under(scene, ask.runs, classes)
    if ask.kind == "vanish":
        return eye.follows(ask, ways.lit(frame))[ways.of]
    return eye.sees(ask, [shades[0] for shades in ways.shades([frame])])[ways.of]
