"""Which supplies to buy: how many of which kind in which box, by whole numbers; and what each of them feeds.

Every stretch of V+ is fed from one box: its own, whose port it hangs on, or the nearest one. In a box it may be cut,
so there only the sum of what its supplies give counts. The fewest supplies are chosen, of those the fewest watts, of
those the shortest way from box to pixels.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, inf

import numpy as np

from patcher.power.circuit import Floats
from patcher.power.flow import LOADED, SLIGHT

_NODES = 20_000
"""Nodes of a search for the best choice, at most: then what is found is taken, unproved."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of supply that the person has or would buy: volts, amperes, and how many of them (None: any number)."""

    volts: float
    amps: float
    count: int | None = None

    @property
    def gives(self) -> float:
        """Amperes that it is loaded to at most."""
        return self.amps * LOADED


@dataclass(frozen=True, eq=False)
class Load:
    """A stretch that is to be fed.

    Attributes:
        amps: what each of its pixels draws at most, in data order.
        least: amperes that all of them draw at least.
        runs: places, from 0, at which a run begins, without the first: there V+ is cut first.
        away: metres to it from each box from which it may be fed.
        room: metres to it from each supply there is already from which it may be fed.
    """

    amps: Floats
    least: float
    runs: tuple[int, ...]
    away: Mapping[str, float]
    room: Mapping[str, float]

    @property
    def total(self) -> float:
        """Amperes of all its pixels."""
        return float(self.amps.sum())


@dataclass(frozen=True, slots=True)
class Piece:
    """Pixels of a load that one supply feeds: the load by number, the first place and the one behind the last, and the
    supply: the name of one there is, or the number of a new one.
    """

    load: int
    first: int
    end: int
    supply: str | int


@dataclass(frozen=True, slots=True)
class Choice:
    """What is chosen for all loads of the same volts.

    Attributes:
        supplies: the new ones, each with its box and kind.
        pieces: what each feeds.
        best: whether no fewer carry it, each load being fed from a box from which it may be.
    """

    supplies: tuple[tuple[str, Kind], ...]
    pieces: tuple[Piece, ...]
    best: bool


def choose(loads: Sequence[Load], kinds: Sequence[Kind], left: Mapping[str, float]) -> Choice | None:
    """The supplies for some loads of the same volts; None where the kinds are not enough.

    Args:
        loads: the loads.
        kinds: the kinds of supplies of these volts.
        left: amperes that each supply there is already can still give: it takes whole loads only.
    """
    extra = dict.fromkeys((box for load in loads for box in load.away), 0.0)
    coarse = max((float(load.amps.max()) for load in loads), default=0.0)
    for _ in range(len(extra) + 2):
        found = _numbers(loads, kinds, left, extra)
        if found is None:
            return None
        bought, where, best = found
        packed, short = _packed(loads, bought, where)
        if not short:
            return Choice(bought, packed, best and len(bought) <= _at_least(loads, kinds, left))
        for box in short:  # a cut falls between pixels: what is left of each supply may be less than one draws
            carried = sum(loads[number].total for number, place in enumerate(where) if place == box)
            extra[box] += coarse * sum(each == box for each, _ in bought) / carried
    return None


def fewest(amps: float, kinds: Sequence[Kind]) -> int:
    """A number of supplies below which nothing carries so many amperes, wherever it is cut."""
    count = 0
    for kind in sorted(kinds, key=lambda kind: -kind.gives):
        wanted = max(ceil((amps - SLIGHT) / kind.gives), 0)
        use = wanted if kind.count is None else min(wanted, kind.count)
        count, amps = count + use, amps - use * kind.gives
    return count


def _at_least(loads: Sequence[Load], kinds: Sequence[Kind], left: Mapping[str, float]) -> int:
    """The number of supplies below which nothing carries what all loads draw at least, each fed from one box; 0 where
    that is not proved.
    """
    light = [replace(load, amps=np.array([load.least])) for load in loads]
    found = _numbers(light, kinds, left, dict.fromkeys((box for load in loads for box in load.away), 0.0))
    return len(found[0]) if found is not None and found[2] else 0


_Numbers = tuple[tuple[tuple[str, Kind], ...], tuple[str | tuple[str], ...], bool]
"""Supplies by box and kind; of each load its box, or, in a tuple by itself, the supply there is; whether it is best."""


def _numbers(
    loads: Sequence[Load], kinds: Sequence[Kind], left: Mapping[str, float], extra: Mapping[str, float]
) -> _Numbers | None:
    """How many of each kind stand in each box, and from where each load is fed."""
    boxes = [*extra]
    buys = [(box, kind) for box in boxes for kind in kinds]
    ways: list[tuple[int, str | tuple[str], float]] = []
    for number, load in enumerate(loads):
        ways += [(number, box, metres) for box, metres in load.away.items()] if kinds else []
        ways += [(number, (name,), metres) for name, metres in load.room.items()]
    rows, low, high = _rules(loads, kinds, left, extra, buys, ways)
    costs = [
        np.array([1.0] * len(buys) + [0.0] * len(ways)),
        np.array([kind.volts * kind.amps for _, kind in buys] + [0.0] * len(ways)),
        np.array([0.0] * len(buys) + [metres for _, _, metres in ways]),
    ]
    most = [inf if kind.count is None else float(kind.count) for _, kind in buys] + [1.0] * len(ways)
    solved = _least(costs, rows, low, high, most)
    if solved is None:
        return None
    values, best = solved
    bought = tuple(buy for buy, count in zip(buys, values, strict=False) for _ in range(count))
    where: dict[int, str | tuple[str]] = {}
    for (number, place, _), taken in zip(ways, values[len(buys) :], strict=True):
        if taken:
            where[number] = place
    return bought, tuple(where[number] for number in range(len(loads))), best


def _rules(
    loads: Sequence[Load], kinds: Sequence[Kind], left: Mapping[str, float], extra: Mapping[str, float],
    buys: Sequence[tuple[str, Kind]], ways: Sequence[tuple[int, str | tuple[str], float]],
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """What must hold, a row each, with the least and the most of it."""
    width = len(buys) + len(ways)
    rows, low, high = [], [], []

    def rule(parts: Mapping[int, float], least: float, most: float) -> None:
        row = np.zeros(width)
        row[[*parts]] = [*parts.values()]
        rows.append(row)
        low.append(least)
        high.append(most)

    for number in range(len(loads)):
        rule({len(buys) + at: 1.0 for at, way in enumerate(ways) if way[0] == number}, 1.0, 1.0)
    for box, more in extra.items():
        taken = {len(buys) + at: loads[way[0]].total * (1 + more) for at, way in enumerate(ways) if way[1] == box}
        given = {at: -kind.gives for at, (each, kind) in enumerate(buys) if each == box}
        rule(taken | given, -inf, 0.0)
    for name, amps in left.items():
        taken = {len(buys) + at: loads[way[0]].total for at, way in enumerate(ways) if way[1] == (name,)}
        rule(taken, -inf, max(amps, 0.0))
    for kind in kinds:
        if kind.count is not None:
            rule({at: 1.0 for at, (_, one) in enumerate(buys) if one is kind}, 0.0, float(kind.count))
    return np.array(rows), np.array(low), np.array(high)


def _least(
    costs: Sequence[Floats], rows: Floats, low: Floats, high: Floats, most: Sequence[float]
) -> tuple[list[int], bool] | None:
    """Whole numbers with the least first cost, of those with the least second one, and so on; and whether the first is
    proved. None where there are none, or none were found.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    if not len(costs[0]):
        return None
    proved, values = True, None
    for at, cost in enumerate(costs):
        found = milp(
            cost, constraints=LinearConstraint(rows, low, high), bounds=Bounds(0, np.array(most)),
            integrality=np.ones(len(cost)), options={"node_limit": _NODES},
        )  # fmt: skip
        if found.x is None:
            break
        values = np.round(found.x).astype(int)
        proved &= at > 0 or found.status == 0
        rows, low = np.vstack([rows, cost]), np.append(low, -inf)
        high = np.append(high, float(cost @ values) + SLIGHT)
    return None if values is None else (values.tolist(), proved)


def _packed(
    loads: Sequence[Load], bought: Sequence[tuple[str, Kind]], where: Sequence[str | tuple[str]]
) -> tuple[tuple[Piece, ...], list[str]]:
    """What each supply feeds; and the boxes whose supplies are not enough, for a pixel cannot be cut."""
    pieces = [
        Piece(number, 0, len(loads[number].amps), place[0])
        for number, place in enumerate(where)
        if isinstance(place, tuple)
    ]
    short = []
    for box in dict.fromkeys(place for place in where if isinstance(place, str)):
        rooms = {number: kind.gives for number, (each, kind) in enumerate(bought) if each == box}
        mine = [number for number, place in enumerate(where) if place == box]
        found = [*_in_box({number: loads[number] for number in mine}, rooms)]
        if sum(piece.end - piece.first for piece in found) < sum(len(loads[number].amps) for number in mine):
            short.append(box)
        pieces += found
    return tuple(pieces), short


def _in_box(loads: Mapping[int, Load], rooms: dict[int, float]) -> Iterator[Piece]:
    """Whole loads first, the heaviest first, each where it leaves least room; then those that must be cut."""
    rest = []
    for number in sorted(loads, key=lambda number: -loads[number].total):
        load = loads[number]
        if (supply := _tightest(rooms, load.total)) is None:
            rest.append(number)
            continue
        rooms[supply] -= load.total
        yield Piece(number, 0, len(load.amps), supply)
    waiting = sum(loads[number].total for number in rest)
    for number in rest:
        waiting -= loads[number].total
        yield from _cut(number, loads[number], rooms, waiting)


def _tightest(rooms: Mapping[int, float], amps: float) -> int | None:
    """The supply with the least room that has enough; None where none has."""
    able = [supply for supply, room in rooms.items() if room >= amps - SLIGHT]
    return min(able, key=lambda supply: rooms[supply], default=None)


def _cut(number: int, load: Load, rooms: dict[int, float], waiting: float) -> Iterator[Piece]:
    """A load in pieces: cut between runs where what is left then still has room, else between pixels."""
    drawn = np.concatenate([[0.0], np.cumsum(load.amps)])
    first, pixels = 0, len(load.amps)
    while first < pixels:
        remaining = float(drawn[-1] - drawn[first])
        supply = _tightest(rooms, remaining)
        end = pixels
        if supply is None:
            supply = max(rooms, key=lambda each: rooms[each])
            end = int(np.searchsorted(drawn, drawn[first] + rooms[supply] + SLIGHT, side="right")) - 1
            if end <= first:
                return
            others = sum(room for each, room in rooms.items() if each != supply)
            most = others - waiting + SLIGHT
            at_runs = [at for at in load.runs if first < at <= end and drawn[-1] - drawn[at] <= most]
            end = max(at_runs, default=end)
        rooms[supply] -= float(drawn[end] - drawn[first])
        yield Piece(number, first, end, supply)
        first = end
