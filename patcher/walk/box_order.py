"""The walk from box to box: begun at the first, never back and forth."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from patcher.shapes import Positions, positions
from patcher.wiring import Wiring

EXACT = 11
"""So many boxes are put in the best order there is; more are put in a good one."""


def places_of_boxes(wiring: Wiring, boxes: Sequence[str]) -> list[tuple[float, float]]:
    """Where each box stands: as drawn, else in the middle of what it feeds, else where the one before it stands."""
    places: list[tuple[float, float]] = []
    for box in boxes:
        runs = [run for chain in wiring.of_controller(box).values() for run in chain]
        at = wiring.show.controllers[box].at or middle(wiring, runs)
        places.append(at or (places[-1] if places else (0.0, 0.0)))
    return places


def middle(wiring: Wiring, runs: Sequence[str]) -> tuple[float, float] | None:
    """The middle of some runs' pictures; None where none has one."""
    placed = [places for run in runs if (places := positions(wiring.show, wiring.show.runs[run])) is not None]
    if not placed:
        return None
    x, y = np.concatenate(placed).mean(axis=0)
    return float(x), float(y)


def shortest(places: Sequence[tuple[float, float]]) -> list[int]:
    """An order of places, begun at the first, whose way is short: the shortest of up to `EXACT`."""
    if len(places) < 3:
        return list(range(len(places)))
    at = np.array(places)
    return _exact(at) if len(places) <= EXACT else _improved(at, _nearest(at))


def way(at: Positions, order: Sequence[int]) -> float:
    """How long the way is, in metres."""
    return float(np.hypot(*np.diff(at[list(order)], axis=0).T).sum())


def _exact(at: Positions) -> list[int]:
    """Held and Karp's dynamic programme (1962), open at the far end."""
    apart = np.hypot(*(at[:, None] - at).transpose(2, 0, 1))
    others = range(1, len(at))
    best: dict[tuple[frozenset[int], int], tuple[float, list[int]]] = {
        (frozenset((place,)), place): (float(apart[0, place]), [0, place]) for place in others
    }
    for size in range(2, len(at)):
        for group in map(frozenset, combinations(others, size)):
            for last in group:
                before = group - {last}
                best[group, last] = min(
                    (best[before, via][0] + float(apart[via, last]), [*best[before, via][1], last]) for via in before
                )
    return min(best[frozenset(others), last] for last in others)[1]


def _nearest(at: Positions) -> list[int]:
    order, left = [0], set(range(1, len(at)))
    while left:
        here = at[order[-1]]
        order.append(min(left, key=lambda place: (float(np.hypot(*(at[place] - here))), place)))
        left.discard(order[-1])
    return order


def _improved(at: Positions, order: list[int]) -> list[int]:
    """Stretches of the way turned round as long as that shortens it (2-opt)."""
    better = len(order) <= 200
    while better:
        better = False
        for first, last in combinations(range(1, len(order)), 2):
            turned = order[:first] + order[first : last + 1][::-1] + order[last + 1 :]
            if way(at, turned) < way(at, order) - 1e-9:
                order, better = turned, True
    return order
