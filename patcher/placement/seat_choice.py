"""One seat for every box, so that no universe is taken twice: the fewest boxes changed, then starts moved, then
universes, then starts of a new length that begin elsewhere.

This is an interval selection, solved as an integer program where the cheapest seats collide. Seats that give up more
starts are worked out only when the ones before do not do; until then a stand-in that costs as little as they ever
could, and takes no universe, keeps the choice honest.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import networkx as nx

from patcher.patch.occupancy import Taken
from patcher.placement.effort import Effort
from patcher.placement.loose_seats import SeatFrame, block, frames, seats, wider
from patcher.placement.seats import MOST_ORDERED, BoxSeats, Seat, rows, stay, width
from patcher.trade import CHANNELS


def choose(boxes: list[BoxSeats], effort: Effort) -> tuple[list[Seat], int] | None:
    """The best seats that are found with an effort, one a box, and how many starts move at least, whatever is chosen;
    None where there are no seats.

    Where nothing that must change is pinned and those that need not change stand clear of each other, all these stay:
    the others can stand behind everything. So the search is among the others alone.
    """
    return _Search(boxes, effort).run()


_LAST = 0.05
"""The part of the effort that is kept for choosing among what is worked out by then."""
SEATED = 1e-4
"""Seconds for one start of a frame whose seats are worked out."""


class _Search:
    """The search for a seat for every box, no universe twice.

    A box's columns are seats, frames that still have to prove that they hold a seat, and stand-ins for all frames with
    one number of starts moved. What is chosen and is no seat yet is worked out, until only seats are chosen.
    """

    def __init__(self, boxes: list[BoxSeats], effort: Effort) -> None:
        self._boxes, self._proved = boxes, True
        self._last, self._effort = effort.part(_LAST), effort.part(1 - _LAST)
        self._stays = [stay(box) for box in boxes]
        self._columns: list[dict[Column, None]] = [{seat: None} if seat else {} for seat in self._stays]
        self._dirty = set(range(len(boxes)))
        self._chosen_with: dict[int, list[int]] = {}
        self._chosen: dict[int, Column] = {}
        self._fixed = Taken()
        self._settle = self._all_stay()
        for index, (box, seat) in enumerate(zip(boxes, self._stays, strict=True)):
            if seat is not None and (self._settle or box.faulty):
                self._fixed.add_universes(seat.footprint)
            if seat is not None and box.faulty:
                self._columns[index] = {replace(seat, footprint=()): None}

    def _all_stay(self) -> bool:
        """Whether every box that need not change can stay: so it is where those that must can stand anywhere."""
        taken = Taken()
        for box, seat in zip(self._boxes, self._stays, strict=True):
            if seat is None:
                if box.first is not None or box.pinned:
                    return False
                continue
            if not box.faulty and not all(taken.free(piece) for piece in seat.footprint):
                return False
            taken.add_universes(seat.footprint)
        return True

    def run(self) -> tuple[list[Seat], int] | None:
        """The seats, and how many starts move at least; None where there are none."""
        self._open_all()
        least = 0
        while True:
            if not self._select():
                return self._among_seats(least) if self._effort.over else None
            if self._proved:
                least = sum(self._least(index, box) for index, box in enumerate(self._boxes))
            if all(isinstance(column, Seat) for column in self._chosen.values()):
                break
            if self._effort.over:
                return self._among_seats(least)
            for index, picked in self._chosen.items():
                self._work_out(index, picked)
        return [seat for _, seat in sorted(self._chosen.items()) if isinstance(seat, Seat)], least

    def _open_all(self) -> None:
        """Give each box its first columns."""
        for index, (box, seat) in enumerate(zip(self._boxes, self._stays, strict=True)):
            if seat is None:
                self._open(index)
            elif not (self._settle or box.faulty):
                self._columns[index][_StandIn(0, ())] = None

    def _least(self, index: int, box: BoxSeats) -> int:
        """How many starts of a box move at least, as the choice stands; of a box of too many starts to try every order,
        all but those for which there is room enough around them for the whole box.
        """
        if len(box.starts) <= MOST_ORDERED or self._chosen[index].moved == 0:
            return self._chosen[index].moved
        if not box.consecutive:
            return 0
        need = sum(len(s.universes(0)) for s in box.starts) if box.rule == "fresh" else box.narrowest
        places = [box.starts[i].home or 0 for i in box.homes]
        kept = 0
        for at in places:
            low, high = self._fixed.gap(at)
            if high is None or high // CHANNELS + -low // CHANNELS >= need:
                kept = max(kept, sum(low <= other and (high is None or other < high) for other in places))
        return len(places) - kept

    def _among_seats(self, least: int) -> tuple[list[Seat], int] | None:
        """The best choice among the seats that are worked out."""
        only: list[list[Column]] = [[seat for seat in own if isinstance(seat, Seat)] for own in self._columns]
        chosen = _select(only, self._last)
        return chosen and ([column for column in chosen[0] if isinstance(column, Seat)], least)

    def _select(self) -> bool:
        """Choose again among the boxes that may come into each other's way with one whose columns have changed, and
        where one that was chosen for now comes into the way no more.
        """
        self._proved = True
        for group in _groups(self._columns):
            if not self._dirty.isdisjoint(group) or any(self._chosen_with.get(index) != group for index in group):
                found = _select([list(self._columns[index]) for index in group], self._effort)
                if found is None:
                    return False
                self._chosen.update(zip(group, found[0], strict=True))
                self._chosen_with.update(dict.fromkeys(group, group))
                self._proved &= found[1]
        self._dirty.clear()
        return True

    def _open(self, index: int) -> None:
        """Give a box that must change its first columns."""
        box, columns = self._boxes[index], self._columns[index]
        if box.first is None and not box.pinned:
            laid, length = block(box, range(len(box.starts)))
            away = sum(start.home is None and start.was is not None for start in box.starts)
            if box.most is None or length <= box.most:
                columns[Seat(len(box.homes), length, away, (), dict, laid, length)] = None
        if box.close:
            columns.update(dict.fromkeys(rows(box, self._fixed)))
        else:
            self._add(index, frames(box, 0))
            columns.update((_StandIn(moved, _core(box, moved)), None) for moved in range(1, len(box.homes) + 1))

    def _add(self, index: int, found: list[SeatFrame]) -> None:
        box = self._boxes[index]
        for frame in found:
            last = frame.universes.stop - 1
            wide = box.most is not None and len(frame.universes) > box.most
            blocked = box.consecutive and not self._fixed.free(frame.universes)
            if not (blocked or (box.consecutive and (wide or last > box.last))):
                self._columns[index][frame] = None

    def _work_out(self, index: int, picked: Column) -> None:
        """Work out what was chosen, and with a frame those that cost the same, for they would be chosen next."""
        box, columns = self._boxes[index], self._columns[index]
        if not isinstance(picked, Seat):
            self._dirty.add(index)
        if isinstance(picked, _StandIn):
            del columns[picked]
            if picked.moved == 0:
                self._open(index)
            else:
                self._add(index, frames(box, picked.moved))
        elif isinstance(picked, SeatFrame):
            for frame in [c for c in columns if isinstance(c, SeatFrame) and _cost(c) == _cost(picked)]:
                if frame in columns and not self._effort.over:
                    del columns[frame]
                    self._try(index, box, frame)

    def _try(self, index: int, box: BoxSeats, frame: SeatFrame) -> None:
        columns = self._columns[index]
        found = seats(box, frame, self._fixed)
        self._effort.spend(SEATED * len(box.starts))
        if not found:
            self._add(index, wider(box, frame))
            return
        columns.update(dict.fromkeys(found))
        for other in [c for c in columns if isinstance(c, SeatFrame) and any(_is_beaten(c, seat) for seat in found)]:
            del columns[other]


@dataclass(frozen=True, slots=True)
class _StandIn:
    """All frames of a box with so many starts moved, and the universes that each of them has; with none moved, all
    that a box can do that could stay.
    """

    moved: int
    footprint: tuple[range, ...]


Column = Seat | SeatFrame | _StandIn


def _core(box: BoxSeats, moved: int) -> tuple[range, ...]:
    """The universes between the homes that are left whichever so many are given up."""
    homes = sorted((box.starts[i].home or 0, i) for i in box.homes)
    left = homes[moved : len(homes) - moved]
    if not left or not box.consecutive:
        return ()
    (first, _), (last, index) = left[0], left[-1]
    return (range(first // CHANNELS, box.starts[index].universes(last).stop),)


def _is_beaten(frame: SeatFrame, seat: Seat) -> bool:
    """Whether a seat moves no more starts than a frame, in none but universes that the frame has in any case."""
    inside = all(
        any(own.start <= piece.start and piece.stop <= own.stop for own in frame.footprint) for piece in seat.footprint
    )
    return inside and seat.moved <= frame.moved and seat.away == 0


def _groups(columns: list[dict[Column, None]]) -> list[list[int]]:
    """The boxes by groups of which no two can take the same universe."""
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(columns)))
    pieces = sorted(
        (piece.start, piece.stop, index)
        for index, own in enumerate(columns)
        for column in own
        for piece in column.footprint
    )
    furthest, owner = 0, -1
    for first, stop, index in pieces:
        if first < furthest and index != owner:
            graph.add_edge(index, owner)
        if stop > furthest:
            furthest, owner = stop, index
    return [sorted(group) for group in nx.connected_components(graph)]


Cost = tuple[int, int, int, int]


def _cost(column: Column) -> Cost:
    if isinstance(column, Seat):
        return (int(column.changed), column.moved, column.universes, column.away)
    return (1, column.moved, width(column.footprint), 0)


def _select(pool: list[list[Column]], effort: Effort) -> tuple[list[Column], bool] | None:
    """One column of each pool, so that no universe is taken twice: the fewest boxes changed, then starts moved, then
    universes, then starts away; and whether no choice is better. None where there is none.
    """
    if not all(pool):
        return None
    cheapest = [min(columns, key=_cost) for columns in pool]
    if _apart(cheapest):
        return cheapest, True
    columns = [(index, column) for index, own in enumerate(pool) for column in _undominated(own)]
    found = _solve(columns, effort)
    return found and ([columns[number][1] for number in found[0]], found[1])


def _undominated(columns: list[Column]) -> list[Column]:
    """Those for which no other of the box costs no more and lies inside: a choice never needs the rest."""
    import numpy as np

    simple = [column for column in columns if len(column.footprint) == 1]
    if len(simple) < 2:
        return columns
    ranks = {cost: rank for rank, cost in enumerate(sorted({_cost(column) for column in simple}))}
    ordered = sorted(simple, key=lambda c: (_cost(c), len(c.footprint[0]), c.footprint[0].start))
    rank = np.array([ranks[_cost(column)] for column in ordered])
    first = np.array([column.footprint[0].start for column in ordered])
    stop = np.array([column.footprint[0].stop for column in ordered])
    inside = (first[:, None] <= first) & (stop <= stop[:, None]) & (rank <= rank[:, None])
    beaten = np.any(np.tril(inside, -1), axis=1).tolist()
    return [column for column in columns if len(column.footprint) != 1] + [
        column for column, out in zip(ordered, beaten, strict=True) if not out
    ]


def _apart(columns: list[Column]) -> bool:
    pieces = sorted((piece.start, piece.stop) for column in columns for piece in column.footprint)
    return all(stop <= first for (_, stop), (first, _) in pairwise(pieces))


def _solve(columns: list[tuple[int, Column]], effort: Effort) -> tuple[list[int], bool] | None:
    """The cheapest columns, one of each box, by HiGHS. A clique of overlapping ranges shares the beginning of one."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint
    from scipy.sparse import csr_array

    costs = np.array([_cost(column) for _, column in columns], dtype=float)
    owner = np.array([index for index, _ in columns])
    spread = np.zeros(costs.shape[1])
    for index in np.unique(owner):
        own = costs[owner == index]
        costs[owner == index] -= own.min(axis=0)
        spread += np.ptp(own, axis=0)
    weights = np.append(np.cumprod((spread + 1)[::-1])[::-1][1:], 1.0)
    pieces = [(p.start, p.stop, number) for number, (_, column) in enumerate(columns) for p in column.footprint]
    firsts, stops, numbers = np.array(pieces, dtype=int).reshape(-1, 3).T
    beginnings = np.unique(firsts)
    low, high = np.searchsorted(beginnings, firsts), np.searchsorted(beginnings, stops)
    counts = high - low
    rows_at = np.arange(counts.sum()) + np.repeat(low - np.cumsum(counts) + counts, counts)
    entries = (np.ones(len(rows_at)), (rows_at, np.repeat(numbers, counts)))
    cover = csr_array(entries, shape=(len(beginnings), len(columns)))
    one_each = csr_array((np.ones(len(columns)), (owner, np.arange(len(columns)))))
    found = effort.milp(
        costs @ weights,
        cover.nnz + one_each.nnz,
        integrality=np.ones(len(columns), dtype=np.int8),
        bounds=Bounds(0, 1),
        constraints=[LinearConstraint(one_each, 1, 1), LinearConstraint(cover, -np.inf, 1)],
        options={"mip_rel_gap": 0.0},
    )
    if found.x is None:
        return None
    chosen = np.flatnonzero(found.x > 0.5)
    return [int(number) for number in chosen[np.argsort(owner[chosen])]], found.status == 0
