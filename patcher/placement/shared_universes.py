"""Keeping a patch where controllers may share universes: box after box, each start at home where it can be.

Every box is laid clear of what is laid already and of what the boxes behind it would like to keep. What is found so is
good, and not proved to be the best.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from heapq import heapify, heappop, heappush

from patcher.patch.occupancy import Taken
from patcher.placement.loose_seats import SeatFrame, frames, seats, wider
from patcher.placement.seats import BoxSeats, Claim, merged, stay
from patcher.trade import CHANNELS

_Stretch = tuple[int, int, str]


def one_by_one(boxes: list[BoxSeats], begin: int) -> list[list[int]]:
    """The places of each box's starts.

    Args:
        boxes: the boxes.
        begin: the universe, counted from 0, from which new places are given.
    """
    held = sorted(stretch for box in boxes for stretch in _stretches(box, _wished(box)))
    places: dict[str, dict[int, int]] = {}
    for box in sorted(boxes, key=lambda box: (not _is_tied(box), not box.same)):
        near = _near_home(box, Taken(_near(held, box)))
        if near is None and _is_tied(box):
            near = _near_home(box, Taken(_near(_must(boxes, places), box)))
        laid = near or box.pinned
        if len(laid) < len(box.starts) or laid != _wished(box):
            others = [stretch for stretch in held if stretch[2] != box.name]
            laid = laid | _anywhere(box, laid, Taken(s[:2] for s in others), max(begin, box.first or 0))
            held = sorted([*others, *_stretches(box, laid)])
        places[box.name] = laid
    return [[places[box.name][index] for index in range(len(box.starts))] for box in boxes]


def _must(boxes: list[BoxSeats], places: dict[str, dict[int, int]]) -> list[_Stretch]:
    """What boxes hold that are laid, and what the pins of the others want."""
    return sorted(s for box in boxes for s in _stretches(box, places.get(box.name, box.pinned)))


def _is_tied(box: BoxSeats) -> bool:
    """Whether a pin says where it, or a start of it, lies."""
    return box.first is not None or bool(box.pinned)


def _stretches(box: BoxSeats, places: dict[int, int]) -> list[_Stretch]:
    """The channels that starts hold at these places, and those kept free behind them."""
    return [(at, box.starts[index].room(at), box.name) for index, at in places.items()]


def _wished(box: BoxSeats) -> dict[int, int]:
    """Where its starts would like to lie: where they are pinned, else at home."""
    return box.pinned | {i: box.starts[i].home or 0 for i in box.homes}


def _near(held: list[_Stretch], box: BoxSeats) -> Iterator[tuple[int, int]]:
    """What others hold around the places that a box wishes for."""
    ties = [*_wished(box).values(), *(start.was for start in box.starts if start.was is not None)]
    ties += [box.first * CHANNELS] if box.first is not None else []
    reach = CHANNELS * (2 + sum(len(start.universes(0)) for start in box.starts))
    low, high = min(ties, default=0), max(ties, default=0) + reach
    for first, stop, name in held[max(0, bisect_left(held, (low - reach,)) - 1) : bisect_left(held, (high,))]:
        if name != box.name:
            yield first, stop


def _near_home(box: BoxSeats, others: Taken) -> dict[int, int] | None:
    """The places of the starts that lie at home, pinned or between those; the rest may lie anywhere. None where no
    start can lie so.
    """
    wished = _wished(box)
    clear = box.faulty or all(others.behind(at, box.starts[i].end(at)) is None for i, at in wished.items())
    if clear and stay(box) is not None:
        return wished
    known = {frame for moved in range(len(box.homes) + 1) for frame in frames(box, moved)}
    heap = [_entry(frame) for frame in known]
    heapify(heap)
    while heap:
        frame = heappop(heap)[-1]
        if found := seats(box, frame, others):
            return found[0].places()
        for other in wider(box, frame):
            if other not in known:
                known.add(other)
                heappush(heap, _entry(other))
    return None


def _entry(frame: SeatFrame) -> tuple[int, int, int, tuple[int, ...], SeatFrame]:
    return (frame.moved, len(frame.universes), frame.universes.start, frame.homes, frame)


def _anywhere(box: BoxSeats, laid: dict[int, int], ground: Taken, begin: int) -> dict[int, int]:
    """Places for the starts that may lie anywhere: one by one in the first room there is, or together."""
    rest = [i for i in range(len(box.starts)) if i not in laid]
    found: dict[int, int] = {}
    ground.add((at, box.starts[i].room(at)) for i, at in laid.items())
    if box.consecutive and rest:
        return _together(box, rest, ground, begin)
    for index in rest:
        at = _first_room(box, box.starts[index], ground, begin * CHANNELS)
        found[index] = at
        ground.add([(at, box.starts[index].room(at))])
    return found


def _first_room(box: BoxSeats, start: Claim, ground: Taken, at: int) -> int:
    while True:
        at = box.earliest(start, at)
        stop = ground.behind(at, start.room(at))
        if stop is None:
            return at
        at = stop


def _together(box: BoxSeats, rest: list[int], ground: Taken, begin: int) -> dict[int, int]:
    """One after another from the first place on where no universe is left out between them."""
    while True:
        found: dict[int, int] = {}
        laid = Taken(ground)
        at = begin * CHANNELS
        for index in rest:
            found[index] = at = _first_room(box, box.starts[index], laid, at)
            at = box.starts[index].room(at)
            laid.add([(found[index], at)])
        if len(merged(box.starts[i].universes(at) for i, at in found.items())) == 1:
            return found
        begin = max(begin, min(found.values()) // CHANNELS) + 1
