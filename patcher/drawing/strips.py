"""How a wide picture is laid on a narrow paper: cut into strips, one under another, all to one scale.

A strip shows everything between two uprights, as the sheets of a map do. The cuts fall where they cut the fewest runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf

import numpy as np

from patcher.drawing.svg import Floats

_LARGEST = 400.0
"""Millimetres on paper of a metre at most."""


@dataclass(frozen=True, slots=True)
class Strip:
    """A part of the picture on paper.

    Attributes:
        left: metres at its left edge, at `x` on the paper.
        right: metres at its right edge.
        top: metres of its uppermost pixel, at `y` on the paper.
        scale: millimetres a metre.
        x: millimetres on the paper.
        y: millimetres on the paper, from its top.
        rect: what of the paper is its own, labels and all.
        begins: millimetres from which what is drawn is its own: of the first strip, from ever so far left.
        ends: millimetres at which that ends.
    """

    left: float
    right: float
    top: float
    scale: float
    x: float
    y: float
    rect: tuple[float, float, float, float]
    begins: float = -inf
    ends: float = inf

    def paper(self, places: Floats) -> Floats:
        """Millimetres on the paper of places in metres."""
        x = self.x + (places[..., 0] - self.left) * self.scale
        y = self.y + (self.top - places[..., 1]) * self.scale
        return np.stack([x, y], axis=-1)

    def holds(self, x: float) -> bool:
        """Whether an upright, in millimetres, is the strip's: of two that share an edge, the right one has it."""
        return self.begins <= x < self.ends


@dataclass(frozen=True, slots=True)
class Margins:
    """Millimetres round the pixels of each strip that are kept for labels, and under it for its ruler."""

    side: float
    above: float
    below: float
    ruler: float = 6.0

    @property
    def upright(self) -> float:
        """All that is above and below the pixels."""
        return self.above + self.below + self.ruler


def lay(
    places: Sequence[Floats],
    whole: Sequence[bool],
    wide: float,
    high: float,
    margins: Margins,
    most: int,
    enough: float,
) -> list[Strip]:
    """The strips of a picture, at the largest scale that the paper has room for.

    Args:
        places: of each thing, in metres.
        whole: of each thing, whether a cut through it is worse than through another.
        wide: of the paper.
        high: of the paper.
        margins: round each strip.
        most: strips at most.
        enough: a scale, in millimetres a metre, beyond which no more strips are made.
    """
    best: list[Strip] = []
    for count in range(1, most + 1):
        found = _cut(places, whole, count, wide, high, margins)
        if found and (not best or found[0].scale > best[0].scale * 1.15):
            best = found
        if best and best[0].scale >= enough:
            break
    return best


def _cut(
    places: Sequence[Floats], whole: Sequence[bool], count: int, wide: float, high: float, margins: Margins
) -> list[Strip]:
    every = np.concatenate(list(places))
    low, far = float(every[:, 0].min()), float(every[:, 0].max())
    spans = [(float(each[:, 0].min()), float(each[:, 0].max())) for each in places]
    bounds = [low, *_cuts(spans, whole, low, far, count), far]
    inner = wide - 2 * margins.side
    room = high - count * margins.upright
    heights = []
    for left, right in pairwise(bounds):
        within = every[(every[:, 0] >= left) & (every[:, 0] <= right)]
        heights.append((float(within[:, 1].max()), float(within[:, 1].min())) if len(within) else (0.0, 0.0))
    across = max(right - left for left, right in pairwise(bounds))
    tall = sum(top - bottom for top, bottom in heights)
    scales = [inner / across if across > 1e-9 else _LARGEST, room / tall if tall > 1e-9 else _LARGEST]
    scale = min(*scales, _LARGEST)
    if room <= 4 * count or scale <= 0:
        return []
    strips, y = [], 0.0
    for place, ((left, right), (top, bottom)) in enumerate(zip(pairwise(bounds), heights, strict=True)):
        foot = y + margins.above + (top - bottom) * scale + margins.below + margins.ruler
        x = margins.side + (inner - (right - left) * scale) / 2 if count == 1 else margins.side
        begins = x - 1e-6 if place else -inf
        ends = x + (right - left) * scale - 1e-6 if place < count - 1 else inf
        rect = (0.0, y, wide, foot)
        strips.append(Strip(left, right, top, scale, x, y + margins.above, rect, begins, ends))
        y = foot
    return strips


def _cuts(
    spans: Sequence[tuple[float, float]], whole: Sequence[bool], low: float, high: float, count: int
) -> list[float]:
    width = (high - low) / count
    lows, highs = np.array(spans).T
    weights = np.where(np.array(whole), 4.0, 1.0)
    found = []
    for number in range(1, count):
        ideal = low + number * width
        tried = ideal + np.linspace(-0.3, 0.3, 121) * width
        cost = [
            float(weights[(lows < x - 1e-9) & (highs > x + 1e-9)].sum()) + 2 * abs(x - ideal) / width for x in tried
        ]
        found.append(float(tried[int(np.argmin(cost))]))
    return found
