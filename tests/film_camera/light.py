"""How much light each pixel gives while its row is exposed: its drive, switched by its PWM, over the window."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from film_camera.things import Levels, Scene

Floats = NDArray[np.float64]

STEP = 0.0025
"""Seconds between the times at which `levels` is asked; each answer stands for the time around it."""


@dataclass(frozen=True)
class Lights:
    """The pixels as lights: their clocks beside their drive.

    Attributes:
        levels: drive over time.
        hertz, phase: float[n, 1]: each pixel's own PWM, in times a second and in periods at time 0.
    """

    levels: Levels
    hertz: Floats
    phase: Floats

    def shone(self, opened: Floats, closed: Floats) -> NDArray[np.float32]:
        """float[n, 3]: the mean share of full light of each letter while each pixel's row was exposed, linear."""
        first = int(np.floor(opened.min() / STEP))
        last = int(np.ceil(closed.max() / STEP))
        times = (np.arange(first, last) + 0.5) * STEP
        drive = np.asarray(self.levels(times))
        span = (closed - opened)[:, None]
        same = (drive == drive[:1]).reshape(len(drive), -1).all(axis=0).reshape(-1, 3)
        still = same[:, 0] & same[:, 1] & same[:, 2]
        mean = self._lit(_duty(drive[0]), opened[:, None], closed[:, None])
        rest = np.flatnonzero(~still)
        if len(rest):
            total = np.zeros((len(rest), 3))
            for k, time in enumerate(times):
                begin = np.clip(time - STEP / 2, opened[rest], closed[rest])[:, None]
                end = np.clip(time + STEP / 2, opened[rest], closed[rest])[:, None]
                total += self._lit(_duty(drive[k, rest]), begin, end, rest)
            mean[rest] = total
        return (mean / span).astype(np.float32)

    def _lit(self, duty: Floats, begin: Floats, end: Floats, which: NDArray | slice = slice(None)) -> Floats:
        """Seconds of light between two times at a steady drive: the on-part comes first in each period."""
        if not self.hertz.any():
            return duty * (end - begin)
        hertz, phase = self.hertz[which], self.phase[which]
        return (_on(end * hertz + phase, duty) - _on(begin * hertz + phase, duty)) / hertz


def _duty(drive: NDArray) -> Floats:
    return drive / 255.0 if drive.dtype == np.uint8 else np.asarray(drive, float)


def _on(periods: Floats, duty: Floats) -> Floats:
    """Periods' worth of light from 0 to a time told in periods."""
    whole = np.floor(periods)
    return whole * duty + np.minimum(periods - whole, duty)


def lights(scene: Scene, levels: Levels, rng: np.random.Generator) -> Lights:
    """The scene's pixels with clocks of their own, the same for the same generator."""
    n = len(scene.places)
    spread = 1 + scene.pwm_spread * rng.normal(size=(n, 1)).clip(-3, 3)
    return Lights(levels, scene.pwm_hz * spread, rng.random((n, 1)))
