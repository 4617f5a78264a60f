"""What some runs could take under some classes of a scene, and what an eye sees of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from patcher.diagnosis.moving_views import Numbers, TakenWays, moved
from patcher.diagnosis.question_frame import Frame
from patcher.diagnosis.scene import Channels, Index, Scene
from patcher.eye import Ask, Chances, Eye, Shades


@dataclass(frozen=True, eq=False)
class Ways:
    """What some runs could take under some classes of a scene, each way once: many classes let a run take the same.

    Attributes:
        scene: the scene.
        runs: the runs.
        indices: for each run what it takes in each way: shape (channels, ways, pixels).
        of: the way of each class.
    """

    scene: Scene
    runs: tuple[str, ...]
    indices: tuple[Index, ...]
    of: Numbers

    @classmethod
    def under(cls, scene: Scene, runs: tuple[str, ...], classes: Numbers) -> Ways:
        """The ways of some classes."""
        each = [scene.variants[run] for run in runs]
        of = np.ravel_multi_index([own.of[classes] for own in each], [own.index.shape[1] for own in each])
        _, at, back = np.unique(of, return_index=True, return_inverse=True)
        return cls(scene, runs, tuple(own.index[:, own.of[classes[at]]] for own in each), back)

    @property
    def count(self) -> int:
        """How many ways there are."""
        return int(self.indices[0].shape[1])

    def shades(self, lit: Sequence[Channels]) -> list[Shades]:
        """What each of the runs shows where some channels are lit, or others: shape (frames, ways, pixels)."""
        on = np.stack([self.scene.on(channels) for channels in lit])
        own = zip(self.runs, self.indices, strict=True)
        return [self.scene.variants[run].shades(on, index) for run, index in own]


def see(scene: Scene, eye: Eye, frame: Frame, ask: Ask, classes: Numbers) -> Chances:
    """How likely an eye gives each answer under some classes of a scene: shape (classes, answers)."""
    if ask.kind == "alike":
        ways = {run: Ways.under(scene, (run,), classes) for run in ask.runs}
        return eye.compares(np.stack([
            np.prod([eye.evenly(ask, place, run, own.shades([lit])[0][0])[own.of] for run, own in ways.items()], axis=0)
            for place, lit in enumerate(frame.held)
        ], axis=1))  # fmt: skip
    if frame.goes:
        taken = [TakenWays.under(scene, run, classes) for run in ask.runs]
        return moved(eye, ask, scene.numbered(frame.stacked), taken)
    every = Ways.under(scene, ask.runs, classes)
    return eye.sees(ask, [shades[0] for shades in every.shades([frame.steps[0]])])[every.of]
