"""In which colour each light plays each segment, as the camera sees it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from patcher.film.decode import Numbers

Hues = NDArray[np.int8]

DARK, UNKNOWN = -1, -2
"""In place of the number of a letter: nothing plays; not to be told."""
SEEN = "RGBW"
"""The letters that a camera tells apart."""
PURE = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1 / 3, 1 / 3, 1 / 3]])
"""What a camera without any cross-talk would see of each."""
OFF, CLEARLY = 4.0, 1.7
"""A light has a letter's colour where it is no further from it than so many times what those lights usually are, and so
many times further from all others."""
NARROW = 0.04
"""Parts of red, green and blue, each 0 to 1, by which lights of one colour differ at least."""
FEW = 8
"""With fewer lights, colours are what a camera without cross-talk would see."""
PLAYS, SILENT = 0.45, 0.3
"""How well a segment goes with its word where it plays for sure, and where it is dark."""
FAINT = 0.2
"""A segment is dark where it has less than this part of what the letter has in other lights, against the light's own
other segments."""
ROUNDS = 8


def hues(swing: Numbers, parts: Numbers, letters: str) -> Hues:
    """The letter, as its number in `SEEN`, that each light plays in each segment.

    Args:
        swing: by how much red, green and blue go with the word: shape (lights, segments, 3).
        parts: how well each segment goes with it: shape (lights, segments).
        letters: those that the show has.
    """
    level = np.maximum(swing, 0)
    total = level.sum(axis=2)
    mix = level / np.maximum(total, 1e-6)[..., None]
    plays = (parts > PLAYS) & (total > 0)
    own = [number for number, letter in enumerate(SEEN) if letter in letters]
    found = np.full(parts.shape, UNKNOWN, dtype=np.int8)
    if not own:
        return found
    centres, spread = _centres(mix[plays], PURE[own])
    away = np.linalg.norm(mix[:, :, None] - centres, axis=3)
    ranked = np.sort(away, axis=2)
    clearly = ranked[..., 0] < OFF * spread
    if len(own) > 1:
        clearly &= ranked[..., 1] > CLEARLY * ranked[..., 0]
    found[plays & clearly] = np.array(own, dtype=np.int8)[away.argmin(axis=2)][plays & clearly]
    # A light's own strength, by its segments that play; each letter's usual strength against that.
    usual = np.ones(len(SEEN))
    played = np.where(plays, total, 0).sum(axis=1) / np.maximum(plays.sum(axis=1), 1)
    strength = np.where(plays.any(axis=1), played, np.inf)
    with np.errstate(invalid="ignore"):
        for number in own:
            some = (total / strength[:, None])[found == number]
            usual[number] = float(np.median(some)) if len(some) else 1.0
        weak = (total < FAINT * min(usual[own]) * strength[:, None]) & plays.any(axis=1)[:, None]
    found[(parts < SILENT) & weak] = DARK
    return found


def _centres(mix: Numbers, pure: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """What the camera sees of each letter, and by how much lights of one letter usually differ.

    It is found from the lights themselves, by k-means from colours that are as pale as they are: a camera mixes colours,
    the more so the brighter the light is. A letter keeps the colour that it is called by: of all, red is the reddest.
    """
    if len(mix) < FEW * len(pure) or len(pure) == 1:
        return pure, 0.1
    middle = mix.mean(axis=0)
    pale = float(np.linalg.norm(mix - middle, axis=1).mean() / np.linalg.norm(pure - pure.mean(axis=0), axis=1).mean())
    centres = middle + (pure - pure.mean(axis=0)) * pale
    nearest = np.zeros(len(mix), dtype=int)
    for _ in range(ROUNDS):
        nearest = np.linalg.norm(mix[:, None] - centres, axis=2).argmin(axis=1)
        counts = np.bincount(nearest, minlength=len(pure))
        for number in np.flatnonzero(counts >= FEW):
            centres[number] = np.median(mix[nearest == number], axis=0)
    away = np.linalg.norm(mix - centres[nearest], axis=1)
    return centres, max(NARROW, float(np.median(away)))
