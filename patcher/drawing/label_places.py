"""Finds a place for each label: over no other label or mark and, where possible, over no line.

The paper is cut into small cells, of which each is free, crossed by a line, or taken by a label or a mark. A label
tries places round its anchor, the nearest first, and takes the first that is free; where all are crossed, the one that
is crossed least. A label farther from its anchor has a leader: it ends on a line of its owner, crosses no other
leader and nobody else's line; where none can, the label has no place. The order of the labels says who chooses first;
the same labels are always placed the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import cos, hypot, pi, sin
from typing import Any

import numpy as np
from numpy.typing import NDArray

Rect = tuple[float, float, float, float]
"""Left, top, right, bottom."""
Leader = tuple[tuple[float, float], tuple[float, float]]

_CELL = 0.35
_AIR = 0.35
"""Millimetres that are left free round a label."""
_TURNS = 24
_ANGLES = [
    2 * pi * turn / _TURNS for turn in sorted(range(-_TURNS // 2, _TURNS // 2), key=lambda turn: (abs(turn), turn))
]
_COS, _SIN = ([np.array([of(angle - back) for angle in _ANGLES]) for back in (0.0, pi / 2)] for of in (cos, sin))
"""Of the directions in which a label is tried: to the right first; above first."""
_PAY = 200.0
_OVER = 0.25
"""Millimetres that it goes farther rather than have its leader cross one cell of a line."""
_WORSE = 2.0
"""Millimetres that it goes farther rather than choose the next anchor."""
_NEAR = (0.9, 1.5, 2.2, 3.2, 4.4, 6.0, 8.0, 10.5, 13.5, 17.0, 21.0, 26.0, 32.0, 40.0, 50.0)
_CLEAR, _ON_LINE = 1.3, 0.2
"""Millimetres from an anchor to its leader: beside a mark that stands there; on the line that it belongs to."""
_FAR = 10.0
"""Millimetres that the numbers round a grid may reach."""
_SHARED = -1
"""Stands for a cell on which lines of several owners lie."""
_TOUCHING = 2.4
"""A label nearer than this to its anchor needs no leader."""


@dataclass(frozen=True, slots=True)
class LabelPlace:
    """Where a label came to stand.

    Attributes:
        rect: what it takes.
        leader: the ends of the line to its anchor; None where it stands close by.
    """

    rect: Rect
    leader: Leader | None


class Paper:
    """The cells of a paper `wide` by `high` millimetres: free, crossed by a line, or taken."""

    def __init__(self, wide: float, high: float) -> None:
        shape = int(high / _CELL) + 2, int(wide / _CELL) + 2
        self._crossed: NDArray[np.bool_] = np.zeros(shape, bool)
        self._taken: NDArray[np.bool_] = np.zeros(shape, bool)
        self._owner: NDArray[np.int32] = np.zeros(shape, np.int32)
        self._owners: dict[str, int] = {}
        self._leaders: list[Leader] = []

    def cross(self, points: NDArray[np.float64], width: float = 0.3, *, owner: str = "") -> None:
        """A line of some width through points, and whose it is."""
        self._mark(self._crossed, points, width)
        if owner:
            number = self._owners.setdefault(owner, len(self._owners) + 1)
            near = np.zeros(self._owner.shape, bool)
            self._mark(near, points, width + 0.5)
            self._owner[near] = np.where((self._owner[near] == 0) | (self._owner[near] == number), number, _SHARED)

    def _mark(self, cells: NDArray[np.bool_], points: NDArray[np.float64], width: float) -> None:
        length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        at = np.linspace(0.0, length[-1], max(2, int(length[-1] / (_CELL * 0.6)) + 1))
        half = np.arange(-(width / 2), width / 2 + _CELL * 0.6, _CELL * 0.8) if width > _CELL else np.zeros(1)
        across = ((np.interp(at, length, points[:, 0])[:, None] + half) / _CELL).astype(int)[:, :, None]
        down = ((np.interp(at, length, points[:, 1])[:, None] + half) / _CELL).astype(int)[:, None, :]
        across, down = np.broadcast_arrays(across, down)
        inside = (across >= 0) & (down >= 0) & (across < cells.shape[1]) & (down < cells.shape[0])
        cells[down[inside], across[inside]] = True

    def take(self, rect: Rect) -> None:
        """What a label or a mark covers."""
        self._taken[self._cells(rect)] = True

    def _cells(self, rect: Rect) -> tuple[slice, slice]:
        left, top, right, bottom = (max(0, int(each / _CELL)) for each in rect)
        return slice(top, bottom + 1), slice(left, right + 1)

    def is_free(self, rect: Rect) -> bool:
        """Whether no label and no mark stands there."""
        return not self._taken[self._cells(rect)].any()

    def is_clear(self, rect: Rect) -> bool:
        """Whether nothing at all is there."""
        return self.is_free(rect) and not self._crossed[self._cells(rect)].any()

    def place(
        self,
        anchors: Sequence[tuple[float, float]],
        wide: float,
        high: float,
        within: Rect,
        *,
        reach: float = 50.0,
        crossing: float = 0.05,
        above: bool = False,
        pay: float = _PAY,
        owner: str = "",
    ) -> LabelPlace | None:
        """The place of a label, which is then taken; None where there is none.

        Args:
            anchors: what it belongs to: the first is the best, and any will do.
            wide: of the label.
            high: of the label.
            within: where it may stand.
            reach: how far from an anchor it may stand.
            crossing: which part of it may be crossed by lines.
            above: whether it tries above the anchor before it tries at its right.
            pay: millimetres that it goes farther rather than being crossed all over.
            owner: whose it is: its leader then ends on a line of that owner and crosses nobody else's.
        """
        best: tuple[float, LabelPlace] | None = None
        for worse, anchor in enumerate(anchors):
            for far, rect, crossed in self._free_places(anchor, wide, high, within, above=above):
                least = far + _WORSE * worse
                if far > reach or (best is not None and best[0] <= least):
                    break
                if crossed > crossing:
                    continue
                leader = _leader(anchor, rect, _CLEAR)
                if self._barred(anchor, rect, leader, owner):
                    continue
                over = 0.0 if leader is None else _OVER * self._on(self._crossed, leader)
                cost = least + pay * crossed + over
                if best is None or cost < best[0] - 1e-9:
                    best = cost, LabelPlace(rect, leader and _leader(anchor, rect, _ON_LINE if owner else _CLEAR))
        return None if best is None else self._take_place(best[1])

    def _barred(self, anchor: tuple[float, float], rect: Rect, leader: Leader | None, owner: str) -> bool:
        """Whether a leader would end, or cross, where it may not."""
        return leader is not None and (bool(self._on(self._taken, leader)) or self._strays(anchor, rect, owner))

    def _take_place(self, place: LabelPlace) -> LabelPlace:
        left, top, right, bottom = place.rect
        self.take((left - _AIR, top - _AIR, right + _AIR, bottom + _AIR))
        if place.leader is not None:
            self._leaders.append(place.leader)
            self._mark(self._taken, np.array(place.leader), 0.3)
        return place

    def _free_places(
        self, anchor: tuple[float, float], wide: float, high: float, within: Rect, *, above: bool
    ) -> Iterator[tuple[float, Rect, float]]:
        """Places round an anchor that are not taken, the nearest first: how far, where, and which part is crossed."""
        for far in _NEAR:
            x, y = anchor[0] + far * _COS[above], anchor[1] + far * _SIN[above]
            lefts, tops = x - wide * (1 - _COS[above]) / 2, y - high * (1 - _SIN[above]) / 2
            inside = (lefts >= within[0]) & (tops >= within[1])
            inside &= (lefts + wide <= within[2]) & (tops + high <= within[3])
            lefts, tops = lefts[inside], tops[inside]
            edges = np.array([tops - _AIR, tops + high + _AIR, lefts - _AIR, lefts + wide + _AIR])
            every = np.maximum(edges / _CELL, 0).astype(int).T.tolist()  # as `_cells`, of all of them at once
            for left, top, (upper, lower, first, last) in zip(lefts.tolist(), tops.tolist(), every, strict=True):
                cells = slice(upper, lower + 1), slice(first, last + 1)
                if not self._taken[cells].any():
                    crossed = self._crossed[cells]
                    yield far, (left, top, left + wide, top + high), np.count_nonzero(crossed) / crossed.size

    def _strays(self, anchor: tuple[float, float], rect: Rect, owner: str) -> bool:
        """Whether a leader would cross another leader or, where it has an owner, another one's line."""
        whole = _leader(anchor, rect, 0.0)
        assert whole is not None  # noqa: S101
        if any(_cross(whole, other) for other in self._leaders):
            return True
        if not owner:
            return False
        number = self._owners.get(owner, 0)
        if number and self._is_beside_another(anchor, number):
            return True
        return any(cell not in (0, number) for cell in self._along(self._owner, whole, 0).tolist())

    def _is_beside_another(self, anchor: tuple[float, float], number: int) -> bool:
        """Whether an anchor that is on no line of its owner, as beside a grid, has another line near it."""
        x, y = anchor
        if (self._owner[self._cells((x, y, x, y))] == number).any():
            return False
        near = self._owner[self._cells((x - _FAR, y - _FAR, x + _FAR, y + _FAR))]
        return bool(((near != 0) & (near != number)).any())

    def _on(self, cells: NDArray[np.bool_], leader: Leader) -> int:
        """Of how many cells a leader, its ends apart, is not alone."""
        return int(np.count_nonzero(self._along(cells, leader, 1)))

    def _along(self, cells: NDArray[Any], leader: Leader, apart: int) -> NDArray[Any]:
        """The cells along a leader, without so many steps at each end."""
        (x, y), (u, v) = leader
        steps = max(2, int(hypot(u - x, v - y) / (_CELL * 0.6)))
        along = np.arange(apart, steps - apart)
        columns = ((along * ((u - x) / (steps - 1)) + x) / _CELL).astype(int)
        rows = ((along * ((v - y) / (steps - 1)) + y) / _CELL).astype(int)
        inside = (columns >= 0) & (rows >= 0) & (columns < cells.shape[1]) & (rows < cells.shape[0])
        found: NDArray[Any] = cells[rows[inside], columns[inside]]
        return found


def _cross(one: Leader, two: Leader) -> bool:
    """Whether two straight lines have a point in common."""

    def side(line: Leader, point: tuple[float, float]) -> float:
        (x, y), (u, v) = line
        return (u - x) * (point[1] - y) - (v - y) * (point[0] - x)

    return side(one, two[0]) * side(one, two[1]) <= 0 and side(two, one[0]) * side(two, one[1]) <= 0


def _leader(anchor: tuple[float, float], rect: Rect, clear: float) -> Leader | None:
    """The line to a label, from so many millimetres beside its anchor; None where the label touches it."""
    near = min(max(anchor[0], rect[0]), rect[2]), min(max(anchor[1], rect[1]), rect[3])
    away = hypot(near[0] - anchor[0], near[1] - anchor[1])
    if away <= _TOUCHING:
        return None
    begin = clear / away
    return (anchor[0] + (near[0] - anchor[0]) * begin, anchor[1] + (near[1] - anchor[1]) * begin), near
