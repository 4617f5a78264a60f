"""The corners of a closed outline, and which of its places a corner's name means."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

_ABOUT = 0.1
"""Two corners lie in a quarter of an outline alike where they are so near each other, as a part of its size."""
Corners = Sequence[tuple[float, float]]


def corner_places(corners: Corners, drawn: int) -> tuple[int, ...]:
    """The place drawn, from 1, that is nearest to each corner along an outline of so many places."""
    sides = [math.dist(*two) for two in pairwise((*corners, corners[0]))]
    gone = [sum(sides[:number]) for number in range(len(sides))]
    return tuple(int(way / sum(sides) * drawn + 0.5) % drawn + 1 for way in gone)


def place_at_corner(name: str, corners: Corners, drawn: int) -> int:
    """The place drawn, from 1, at the corner that lies in a quarter of the outline, nearest to the quarter's outer end.

    Args:
        name: the quarter: `bottom-left` and its like.
        corners: of the outline, in order.
        drawn: how many places are drawn along it.

    Raises:
        ValueError: no corner lies there, or two lie there alike.
    """
    axes = list(zip(*corners, strict=True))
    sides = (name.endswith("right"), name.startswith("top"))
    found = []
    for corner, place in zip(corners, corner_places(corners, drawn), strict=True):
        off = [_off(at, axis, far) for at, axis, far in zip(corner, axes, sides, strict=True)]
        if max(off) < 0.5:
            found.append((sum(off), place))
    near = {place for off, place in found if off <= min(found)[0] + _ABOUT}
    if len(near) != 1:
        says = f"lies at more than one of its corners: places {sorted(near)}" if near else "is no corner of it"
        raise ValueError(f"data_in = “{name}” {says} → write the number of the place, 1 to {drawn}")
    return near.pop()


def _off(at: float, axis: Sequence[float], far: bool) -> float:
    """How far a coordinate lies from the low or the far end of the outline, as a part of its size."""
    size = max(axis) - min(axis)
    part = (at - min(axis)) / size if size else 0.0
    return 1 - part if far and size else part
