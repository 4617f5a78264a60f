"""A second, slow way to tell how likely an eye passes a step: all runs of the show, one variant at a time."""

from functools import lru_cache

import numpy as np

from patcher.eye import FLICKER, Eye, shade_table
from patcher.faults import RANDOM, Planned
from patcher.frames.levels import levels
from patcher.frames.looks import Look
from patcher.trade import CHANNELS
from patcher.walk.step import Step, as_said


def passes(step: Step, sound: Planned, takes) -> float:
    """How likely an eye finds a step right, where the pixels take this."""
    shades = [shown(look, sound, takes) for look in step.looks]
    return float(np.prod(list(as_said(step, sound.wiring, shades, Eye()).values())))


@lru_cache(500)
def lit_channels(look: Look, sound: Planned) -> np.ndarray:
    """Which running channels a look lights, as they are sent."""
    universes = sound.patch.universes
    sent = levels(look, sound.wiring, sound.patch, universes, 1.0)
    lit = np.zeros((universes[-1] + 1) * CHANNELS, dtype=bool)
    for universe, slots in zip(sent.universes, sent.slots, strict=True):
        lit[(universe - 1) * CHANNELS : universe * CHANNELS] = slots > 0
    return lit


def shown(look, sound: Planned, takes) -> dict[str, np.ndarray]:
    """What each run's pixels show of a look, where they take this."""
    show, lit, shades = sound.wiring.show, lit_channels(look, sound), {}
    for run, taken in takes.items():
        bits = ((taken >= 0) & lit[np.clip(taken, 0, len(lit) - 1)]) << np.arange(taken.shape[1])
        seen = shade_table(show.type_of(show.runs[run]).colour_order)[bits.sum(axis=1)]
        shades[run] = np.where((taken == RANDOM).any(axis=1), FLICKER, seen).astype(np.uint8)
    return shades
