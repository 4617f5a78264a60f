"""Lays chains where bin packing is not enough: around pinned chains, and box by box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from patcher.patch.occupancy import Taken
from patcher.patch.patch import universe_from
from patcher.placement.effort import Effort
from patcher.placement.orders import ChainItem, Task, may_begin
from patcher.trade import CHANNELS

NODES = 2_000
"""Steps of the search for a laying of a box without a gap."""

LAID = 2e-5
"""Seconds to lay a box behind others."""

MOST = 8
"""Most chains of a box that are tried in every order; the rest are laid after them."""


def around(task: Task, first: int, order: Sequence[int]) -> dict[int, int]:
    """Each chain where it adds the fewest universes, and tears its box apart the least; pinned ones stay."""
    ground = _Ground(task, first)
    for number, item in enumerate(task.items):
        if item.at is not None:
            ground.put(number, item.at)
    for number in order:
        best = ground.best_for(task.items[number])
        if best is not None:
            ground.put(number, best)
    places = ground.places
    last = max((stop for _, stop in ground.taken), default=0)
    for number in order:
        if number not in places:
            places[number] = max(-(-last // CHANNELS), task.items[number].floor) * CHANNELS
            last = task.held(task.items[number], places[number])
    return places


class _Ground:
    """What is laid so far: the places of chains, the channels held, and whose universes those are."""

    def __init__(self, task: Task, first: int) -> None:
        self.task, self.first = task, first
        self.places: dict[int, int] = {}
        self.taken = Taken()
        self.owners: dict[int, set[str]] = {}
        self.universes: dict[str, set[int]] = {name: set() for name in task.boxes}

    def put(self, number: int, at: int) -> None:
        """Lay a chain at a running channel."""
        item = self.task.items[number]
        self.places[number] = at
        self.taken.add([(at, self.task.held(item, at))])
        self.universes[item.box].update(item.touched(at))
        for universe in item.touched(at):
            self.owners.setdefault(universe, set()).add(item.box)

    def best_for(self, item: ChainItem) -> int | None:
        """The place of a chain that costs least; None where no place that is tried is allowed."""
        begins = {self.first, item.floor, max(self.owners, default=self.first) + 1}
        begins.update(universe + step for universe in self.owners for step in (-1, 0, 1))
        places = {universe * CHANNELS for universe in begins} | {stop for _, stop in self.taken if stop % CHANNELS}
        allowed = (at for at in places if self._allows(item, at))
        return min(allowed, key=lambda at: self._cost(item, at), default=None)

    def _allows(self, item: ChainItem, at: int) -> bool:
        if at < item.floor * CHANNELS or not may_begin(item.shape, at % CHANNELS):
            return False
        held, touched = self.task.held(item, at), item.touched(at)
        if touched.stop - 1 > self.task.boxes[item.box].last:
            return False
        if self.taken.behind(at, held) is not None:
            return False
        return self.task.share or all(self.owners.get(u, {item.box}) == {item.box} for u in touched)

    def _cost(self, item: ChainItem, at: int) -> tuple[int, ...]:
        """Universes above the box's limit, those that gap in a box that must have none, those that are new, and the
        channels left free in the last.
        """
        box, touched = self.task.boxes[item.box], item.touched(at)
        every = self.universes[item.box] | set(touched)
        over = 0 if box.limit is None else max(0, len(every) - box.limit)
        torn = max(every) - min(every) + 1 - len(every) if box.consecutive else 0
        new = sum(universe not in self.owners for universe in touched)
        return over, torn, new, CHANNELS - self.task.held(item, at) % CHANNELS, at


def without_gap(task: Task, first: int) -> dict[int, int]:
    """Box by box, so that what is kept free behind a chain never fills a universe that its box would lack.

    The search goes back where it is stuck; a box for which it takes too long is laid with a gap.
    """
    places: dict[int, int] = {}
    at = first * CHANNELS
    for name in dict.fromkeys(item.box for item in task.items):
        numbers = [number for number, item in enumerate(task.items) if item.box == name]
        laid = _box_without_gap(task, numbers, at if task.share else universe_from(at))
        places |= laid
        at = max(task.held(task.items[number], place) for number, place in laid.items())
    return places


def _box_without_gap(task: Task, left: list[int], at: int) -> dict[int, int]:
    """The places of one box's chains, each behind the one before, in the first order found that leaves no gap."""
    laid: list[tuple[int, int]] = []
    tried = [0]
    for _ in range(NODES):
        found = _next_without_gap(task, left, tried[-1], laid, at)
        if found is not None:
            tried[-1] = found[0] + 1
            laid.append((left.pop(found[0]), found[1]))
            tried.append(0)
        elif laid and left:
            left = sorted([*left, laid.pop()[0]])
            tried.pop()
        else:
            break
    for number in left:
        laid.append((number, task.items[number].falls(_behind(task, laid, at))))
    return dict(laid)


def _behind(task: Task, laid: list[tuple[int, int]], at: int) -> int:
    """The running channel behind the last chain laid; `at` where there is none."""
    return task.held(task.items[laid[-1][0]], laid[-1][1]) if laid else at


def _next_without_gap(
    task: Task, left: list[int], tried: int, laid: list[tuple[int, int]], at: int
) -> tuple[int, int] | None:
    """The first of the chains left, from the one to try next on, that leaves no gap, and where it begins."""
    here = _behind(task, laid, at)
    for place in range(tried, len(left)):
        begin = task.items[left[place]].falls(here)
        if not laid or begin // CHANNELS <= task.items[laid[-1][0]].touched(laid[-1][1]).stop:
            return place, begin
    return None


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
            self._steps[number][offset] = self.task.held(self.task.items[number], self.task.items[number].falls(offset))
        return universe * CHANNELS + self._steps[number][offset]

    def laid(self, box: int, at: int) -> tuple[int, tuple[int, ...]]:
        """The running channel behind a box that is laid from `at` on, and its items in that order."""
        universe, offset = divmod(at, CHANNELS)
        if (box, offset) not in self._known:
            found = self._earliest(self.members[box], offset)
            limit = self.task.boxes[self.names[box]].limit
            if offset and limit is not None:
                first = self.task.items[found[1][0]].falls(offset) // CHANNELS
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
            places[number] = task.items[number].falls(at)
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
    if limit is not None and -(-end // CHANNELS) - item.falls(at) // CHANNELS > limit:
        return universe_from(at)
    return at
