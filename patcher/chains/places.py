"""Which boxes may be used together where some have several places to stand, and which box then stands where."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import combinations
from math import comb

from patcher.chains.instance import Instance

_LOOKED_AT = 20_000
"""So many sets of boxes are looked at for those that may be used together."""


def together(given: Instance, boxes: Collection[int]) -> bool:
    """Whether some boxes may be used together."""
    used = set(boxes)
    return all(len(used.intersection(some)) <= most for some, most in given.few)


def sets_of(given: Instance, idle: Sequence[int], size: int, most: int) -> list[tuple[int, ...]] | None:
    """The sets of so many boxes that may be used together; None where there are more than `most`."""
    if comb(len(idle), size) > (_LOOKED_AT if given.few else most):
        return None
    found = [chosen for chosen in combinations(idle, size) if together(given, chosen)]
    return found if len(found) <= most else None


def full_sets(given: Instance, most: int) -> list[tuple[int, ...]] | None:
    """The sets of boxes that may be used together, to which none can be added; None for more than `most`."""
    free = tuple(box for box, each in enumerate(given.boxes) if each.place is None)
    movable = [box for box, each in enumerate(given.boxes) if each.place is not None]
    found: list[tuple[int, ...]] = []
    sets: list[tuple[int, ...]] = [()]
    while sets:
        new: list[tuple[int, ...]] = []
        for chosen in sets:
            more = [box for box in movable if box not in chosen and together(given, (*chosen, box))]
            found += [] if more else [(*free, *chosen)]
            new += [(*chosen, box) for box in more if not chosen or box > chosen[-1]]
        if len(new) > _LOOKED_AT or len(found) > most:
            return None
        sets = new
    return found


def named(given: Instance, used: Collection[int]) -> dict[int, str]:
    """The name of each box that is used: of boxes that are alike one that stands there now, else the first by the
    file.
    """
    found = {box: here for box in sorted(used) if (here := given.boxes[box].here) is not None}
    for box in sorted(used - found.keys()):
        found[box] = next(name for name in given.boxes[box].names if name not in found.values())
    return found
