"""Layings for what bin packing does not know: around pinned chains, and box by box where boxes share universes."""

from __future__ import annotations

from bisect import insort
from collections.abc import Sequence
from dataclasses import dataclass

from patcher.placement.effort import Effort
from patcher.placement.orders import Item, Task, may_begin
from patcher.trade import CHANNELS

NODES = 2_000
"""Steps of the search for a laying of a box without a gap."""

LAID = 2e-5
"""Seconds to lay a box behind others."""

MOST = 8
"""Most chains of a box that are tried in every order; the rest are laid after them."""


def around(task: Task, first: int, order: Sequence[int]) -> dict[int, int]:
    """Each chain where it adds the fewest universes, and tears its box apart the least; pinned ones stay."""
    places = {number: item.at for number, item in enumerate(task.items) if item.at is not None}
    line = sorted((at, task.held(task.items[n], at)) for n, at in places.items())
    owners: dict[int, set[str]] = {}
    mine: dict[str, set[int]] = {name: set() for name in task.boxes}

    def put(number: int, at: int) -> None:
        item = task.items[number]
        places[number] = at
        mine[item.box].update(item.touched(at))
        for universe in item.touched(at):
            owners.setdefault(universe, set()).add(item.box)

    for number, at in list(places.items()):
        put(number, at)
    for number in order:
        item = task.items[number]
        begins = {first, item.floor, max(owners, default=first) + 1}
        begins.update(universe + step for universe in owners for step in (-1, 0, 1))
        found = {universe * CHANNELS for universe in begins} | {stop for _, stop in line if stop % CHANNELS}
        best = None
        for at in sorted(found):
            if at < item.floor * CHANNELS or not may_begin(item.shape, at % CHANNELS):
                continue
            held, touched = task.held(item, at), item.touched(at)
            if touched.stop - 1 > task.boxes[item.box].last or not _free(line, at, held):
                continue
            if not task.share and any(owners.get(universe, {item.box}) != {item.box} for universe in touched):
                continue
            fresh = sum(universe not in owners for universe in touched)
            torn, more = _torn(task, item, mine[item.box], touched)
            room = CHANNELS - held % CHANNELS
            key = (more, torn, fresh, room, at)
            if best is None or key < best:
                best = key
        if best is not None:
            put(number, best[-1])
            insort(line, (best[-1], task.held(item, best[-1])))
    last = max((stop for _, stop in line), default=0)
    for number in order:
        if number not in places:
            places[number] = max(-(-last // CHANNELS), task.items[number].floor) * CHANNELS
            last = task.held(task.items[number], places[number])
    return places


def _torn(task: Task, item: Item, mine: set[int], touched: range) -> tuple[int, int]:
    """Universes that gap in a box that must have none, with this chain, and those above its limit."""
    box, every = task.boxes[item.box], mine | set(touched)
    torn = max(every) - min(every) + 1 - len(every) if box.consecutive else 0
    return torn, 0 if box.limit is None else max(0, len(every) - box.limit)


def without_gap(task: Task, first: int) -> dict[int, int]:
    """Box by box, so that what is kept free behind a chain never fills a universe that its box would lack.

    The search goes back where it is stuck; a box for which it takes too long is laid with a gap.
    """
    places: dict[int, int] = {}
    at = first * CHANNELS
    for name in dict.fromkeys(item.box for item in task.items):
        if not task.share:
            at = -(-at // CHANNELS) * CHANNELS
        left = [number for number, item in enumerate(task.items) if item.box == name]
        laid: list[tuple[int, int, int]] = []
        tried = [0]
        nodes = 0
        while left and nodes < NODES:
            nodes += 1
            here, last = (laid[-1][2], (laid[-1][1] - 1) // CHANNELS) if laid else (at, 1 << 40)
            found = None
            for place in range(tried[-1], len(left)):
                item = task.items[left[place]]
                begin = here if may_begin(item.shape, here % CHANNELS) else (here // CHANNELS + 1) * CHANNELS
                if begin // CHANNELS <= last + 1:
                    found = place, begin
                    break
            if found is not None:
                tried[-1] = found[0] + 1
                number = left.pop(found[0])
                places[number] = found[1]
                item = task.items[number]
                laid.append((number, item.touched(found[1]).stop * CHANNELS, task.held(item, found[1])))
                tried.append(0)
            elif laid:
                number = laid.pop()[0]
                tried.pop()
                left = sorted([*left, number])
            else:
                break
        at = laid[-1][2] if laid else at
        for number in left:
            item = task.items[number]
            places[number] = at if may_begin(item.shape, at % CHANNELS) else (at // CHANNELS + 1) * CHANNELS
            at = task.held(item, places[number])
    return places


def _free(line: list[tuple[int, int]], at: int, stop: int) -> bool:
    return all(stop <= begin or end <= at for begin, end in line)


@dataclass(frozen=True, slots=True)
class _Row:
    """Some boxes laid one behind the other.

    Attributes:
        boxes: which, as bits.
        at: the running channel behind the last.
        lost: channels lost so far.
        order: the items from left to right, back to front: the last one's box first.
    """

    boxes: int
    at: int
    lost: int
    order: tuple[tuple[int, ...], _Row | None]


class _Boxes:
    """The boxes of a task, each laid from a channel on so that it ends as early as can be."""

    def __init__(self, task: Task) -> None:
        self.task = task
        self.names = list(dict.fromkeys(item.box for item in task.items))
        self.members = [[n for n, item in enumerate(task.items) if item.box == name] for name in self.names]
        shapes = [[task.items[n].shape for n in numbers] for numbers in self.members]
        self.volume = [sum(pixels * channels for shape in box for pixels, channels in shape) for box in shapes]
        self._known: dict[tuple[int, int], tuple[int, tuple[int, ...]]] = {}
        self._steps: list[list[int]] = [[0] * CHANNELS for _ in task.items]

    def step(self, number: int, at: int) -> int:
        """The running channel behind an item and what is kept free, laid from `at` or the next universe on."""
        universe, offset = divmod(at, CHANNELS)
        if not self._steps[number][offset]:
            self._steps[number][offset] = self.task.held(self.task.items[number], self.place(number, offset))
        return universe * CHANNELS + self._steps[number][offset]

    def place(self, number: int, at: int) -> int:
        """Where the item begins: there, or on the next universe."""
        begins = may_begin(self.task.items[number].shape, at % CHANNELS)
        return at if begins else (at // CHANNELS + 1) * CHANNELS

    def laid(self, box: int, at: int) -> tuple[int, tuple[int, ...]]:
        """The running channel behind a box that is laid from `at` on, and its items in that order."""
        universe, offset = divmod(at, CHANNELS)
        if (box, offset) not in self._known:
            found = self._earliest(self.members[box], offset)
            limit = self.task.boxes[self.names[box]].limit
            if offset and limit is not None:
                first = self.place(found[1][0], offset) // CHANNELS
                if -(-found[0] // CHANNELS) - first > limit:
                    found = self._earliest(self.members[box], CHANNELS)
            self._known[box, offset] = found
        stop, order = self._known[box, offset]
        return universe * CHANNELS + stop, order

    def _earliest(self, numbers: list[int], offset: int) -> tuple[int, tuple[int, ...]]:
        """In every order of the last few, by dynamic programming over their sets: earlier is never worse."""
        rest, most = numbers[:-MOST], numbers[-MOST:]
        for number in rest:
            offset = self.step(number, offset)
        ends = [offset] + [1 << 60] * ((1 << len(most)) - 1)
        last = [0] * len(ends)
        for mask in range(len(ends)):
            at = ends[mask]
            for bit, number in enumerate(most):
                after = mask | 1 << bit
                if after != mask:
                    stop = self._steps[number][at % CHANNELS]
                    stop = stop + at - at % CHANNELS if stop else self.step(number, at)
                    if stop < ends[after]:
                        ends[after], last[after] = stop, bit
        order: list[int] = []
        mask = len(ends) - 1
        while mask:
            order.append(most[last[mask]])
            mask ^= 1 << last[mask]
        return ends[-1], (*rest, *reversed(order))


def box_by_box(task: Task, first: int, beam: int, effort: Effort) -> dict[int, int]:
    """The boxes one behind the other, each beginning where the one before ends, in an order that loses few channels.

    Args:
        task: what to lay.
        first: the first universe, from 0.
        beam: how many orders are followed at once; 1 keeps to the order of the file.
        effort: after which the next best is taken.
    """
    boxes = _Boxes(task)
    rows = [_Row(0, first * CHANNELS, 0, ((), None))]
    for _ in boxes.names:
        grown: dict[tuple[int, int], _Row] = {}
        for row in rows:
            left = [box for box in range(len(boxes.names)) if not row.boxes >> box & 1]
            for box in left if beam > 1 and not effort.over else left[:1]:
                effort.spend(LAID)
                stop, order = boxes.laid(box, row.at)
                key = (row.boxes | 1 << box, stop)
                if key not in grown:
                    grown[key] = _Row(*key, row.lost + stop - row.at - boxes.volume[box], (order, row))
        rows = sorted(grown.values(), key=lambda row: row.lost)[:beam]
    orders: list[tuple[int, ...]] = []
    last: _Row | None = min(rows, key=lambda row: row.at)
    while last is not None:
        orders.append(last.order[0])
        last = last.order[1]
    places: dict[int, int] = {}
    at = first * CHANNELS
    for order in reversed(orders):
        at = _fresh(boxes, order, at)
        for number in order:
            places[number] = boxes.place(number, at)
            at = boxes.step(number, at)
    return places


def _fresh(boxes: _Boxes, order: tuple[int, ...], at: int) -> int:
    """Where a box begins that would go beyond its limit of universes if it began in one that another has begun."""
    if not order:
        return at
    item = boxes.task.items[order[0]]
    limit, end = boxes.task.boxes[item.box].limit, at
    for number in order:
        end = boxes.step(number, end)
    if limit is not None and -(-end // CHANNELS) - boxes.place(order[0], at) // CHANNELS > limit:
        return -(-at // CHANNELS) * CHANNELS
    return at
