"""Where to look, in words: ends, sides and corners of a picture, for a person who stands before it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher.ends import part_of, readings
from patcher.shapes import Lattice, Positions

Pixels = NDArray[np.int64]

SHARP = np.radians(30)
"""A way that turns less has no corner for an eye."""


def corner_at_seam(places: Positions | None) -> int | None:
    """Of a closed outline the pixel, the first (0) or the last (−1), that sits in a corner that an eye can find: there
    the way turns by `SHARP` or more, and at its neighbours by less than half of that. None where neither does.
    """
    if places is None or len(places) < 6:
        return None
    way = np.diff(places, axis=0, append=places[:1])
    angle = np.arctan2(way[:, 1], way[:, 0])
    turns = np.abs((angle - np.roll(angle, 1) + np.pi) % (2 * np.pi) - np.pi)
    best = max((0, -1), key=lambda place: float(turns[place]))
    beside = max(turns[best - 1], turns[(best + 1) % len(turns)])
    return best if turns[best] >= SHARP and beside < turns[best] / 2 else None


def ends(places: Positions | None, wired: Lattice | None) -> tuple[str, str]:
    """What to call the place of a run's first pixel, and that of its last; see `readings`."""
    first, last = readings(places, wired)
    begin, end = (re.sub("^its ", "the ", reading.begin) for reading in (first, last))
    return (begin, f"the place just before it, going {first.way}") if begin == end else (begin, end)


def colours_along(places: Positions | None, parts: Mapping[str, Pixels]) -> str:
    """Which colour is where on a run, part by part.

    Args:
        places: where the run's pixels are; None without a picture.
        parts: the pixels of each colour, from 0, in data order.
    """
    names = list(parts)
    if len(names) == 1:
        return f"{names[0]}, all of it"
    if places is None:
        return f"from the data-in end: {', '.join(names)}"
    for axis, way in enumerate(("left to right", "bottom to top")):
        along = [places[pixels][:, axis] for pixels in parts.values()]
        if _rises(along):
            return f"from {way}: {', '.join(names)}"
        if _rises(along[::-1]):
            return f"from {way}: {', '.join(reversed(names))}"
    sides = [part_of(places[pixels].mean(axis=0), places) for pixels in parts.values()]
    if len(set(sides)) == 2 and len(sides) == 4:
        return _both(sides, names)
    if len(set(sides)) == len(sides):
        return ", ".join(f"{side} {name}" for side, name in zip(sides, names, strict=True))
    return f"along the string from the data-in end ({part_of(places[0], places)}): {', '.join(names)}"


def _both(sides: Sequence[str], names: Sequence[str]) -> str:
    """Two colours on each of two sides, where a run goes over and back; what both sides have in common is left out."""
    common = set.intersection(*(set(side.split()) for side in sides))
    of_side: dict[str, list[str]] = {}
    for side, name in zip(sides, names, strict=True):
        of_side.setdefault(" ".join(word for word in side.split() if word not in common) or side, []).append(name)
    return ", ".join(f"{side} {listed(colours)}" for side, colours in of_side.items())


def _rises(along: Sequence[NDArray[np.float64]]) -> bool:
    return all(one.max() < other.min() for one, other in pairwise(along))


def listed(names: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
