"""Searches every order of a few chains for the one that takes the fewest universes.

A chain that begins further left in the same universe never ends further right, and touches the same universes. So
some best patch has every free chain either right behind what stands before it or on channel 1 of a universe, and it is
enough to lay the chains one after the other, from left to right, in every order: dynamic programming over the sets of
chains already laid, keeping of each set the layings that none other beats.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache

from patcher.patch.occupancy import Taken
from patcher.patch.patch import Chain, behind, first_fit
from patcher.placement.effort import Effort
from patcher.trade import CHANNELS

Shape = tuple[tuple[int, int], ...]
"""What of a chain matters here: (pixels with nulls, channels of one) of each run."""

STATES = 60_000
"""Most layings kept of sets of one size: a count, not a time, so that the same input gives the same output."""
STEP = 5e-5
"""Seconds for all that can follow a laying."""


@cache
def end_of(shape: Shape, offset: int) -> int:
    """The running channel behind a chain that begins at a channel of universe 1, counted from 0."""
    at = offset
    for pixels, channels in shape:
        at = behind(at, pixels, channels)
    return at


@cache
def universes_of(shape: Shape) -> int:
    """The universes that a chain touches from channel 1 of a fresh one."""
    return -(-end_of(shape, 0) // CHANNELS)


def may_begin(shape: Shape, offset: int) -> bool:
    """Whether a chain that begins there touches no more universes than it must."""
    fits = first_fit(offset, shape[0][1]) == offset
    return fits and -(-end_of(shape, offset) // CHANNELS) <= universes_of(shape)


@dataclass(frozen=True, slots=True)
class Limits:
    """What a controller asks of its universes; universes count from 0 here.

    Attributes:
        consecutive: they have no gap.
        limit: most of them; None where there is no limit.
        last: the last that its protocol has.
    """

    consecutive: bool
    limit: int | None
    last: int


@dataclass(frozen=True, slots=True)
class ChainItem:
    """A chain to lay.

    Attributes:
        box: the name of its controller.
        shape: its runs.
        floor: the first universe, from 0, in which it may begin.
        at: the running channel to which it is pinned; None where it is free.
    """

    box: str
    shape: Shape
    floor: int
    at: int | None = None

    def touched(self, at: int) -> range:
        """The universes, from 0, that it touches from a running channel on."""
        first, offset = divmod(at, CHANNELS)
        return range(first, first - (-end_of(self.shape, offset) // CHANNELS))

    def end(self, at: int) -> int:
        """The running channel behind its pixels, laid from a running channel on."""
        return at // CHANNELS * CHANNELS + end_of(self.shape, at % CHANNELS)

    def falls(self, at: int) -> int:
        """The first place from a running channel on where it may begin: there, or on the next universe."""
        return at if may_begin(self.shape, at % CHANNELS) else (at // CHANNELS + 1) * CHANNELS


def shape_of(chain: Chain) -> Shape:
    """The shape of a chain."""
    return tuple((link.nulls + link.pixels, link.channels) for link in chain.links)


@dataclass(frozen=True, slots=True)
class Task:
    """Chains to lay, and under which rules.

    Attributes:
        items: the chains in the order of the file.
        boxes: the controllers by name.
        share: whether two of them may use one universe.
        spare: pixels kept free behind each chain, as wide as its last.
    """

    items: tuple[ChainItem, ...]
    boxes: dict[str, Limits]
    share: bool
    spare: int = 0

    def held(self, item: ChainItem, at: int) -> int:
        """The running channel behind a chain and what is kept free behind it."""
        return behind(item.end(at), self.spare, item.shape[-1][1])


@dataclass(frozen=True, slots=True)
class _State:
    """Some chains laid: what is used, where the line goes on, and where each box stands.

    Attributes:
        used: universes used that no pinned chain touches.
        at: the running channel where the line goes on.
        last: the last universe that a free chain touches.
        owner: the box that was laid last.
        boxes: of each box that asks something: the last universe that its free chains touch, or -1; how many they touch
            that its pinned ones do not.
    """

    used: int
    at: int
    last: int
    owner: str
    boxes: tuple[tuple[int, int], ...]
    before: _State | None = field(default=None, repr=False)
    laid: int = -1
    place: int = -1

    def beats(self, other: _State) -> bool:
        """Whether no laying that continues the other is better than the same continuation from here."""
        room, others = self.at - self.last * CHANNELS, other.at - other.last * CHANNELS
        return self.used <= other.used and self.last <= other.last and room <= others


_Key = tuple[int, int, str, tuple[tuple[int | None, int], ...]]
"""The chains laid, as bits; the last universe, with pins; the last box, where none share; where each box stands."""


class Pinned:
    """The pinned chains of a task: the channels they hold, and whose universes they touch."""

    def __init__(self, task: Task) -> None:
        pinned = [(item, item.at) for item in task.items if item.at is not None]
        self.taken = Taken((at, task.held(item, at)) for item, at in pinned)
        self.spans = [(at, item.end(at)) for item, at in pinned]
        self.of_box: dict[str, set[int]] = {name: set() for name in task.boxes}
        for item, at in pinned:
            self.of_box[item.box].update(item.touched(at))
        self.universes: set[int] = set().union(*self.of_box.values())

    def foreign(self, box: str, universes: range) -> bool:
        """Whether another box has a pinned chain in one of these universes."""
        if self.universes.isdisjoint(universes):
            return False
        return any(not mine.isdisjoint(universes) for name, mine in self.of_box.items() if name != box)

    def room_behind(self, universe: int) -> int:
        """The channels that are free in the universes behind this one that pinned chains touch, at least so many."""
        room = 0
        for other in self.universes:
            if other > universe:
                begin, end = other * CHANNELS, (other + 1) * CHANNELS
                held = sum(max(0, min(stop, end) - max(at, begin)) for at, stop in self.spans)
                room += max(0, CHANNELS - held)
        return room


class Orders:
    """The search of one task.

    Args:
        task: what to lay.
        first: the universe, from 0, in which the patch begins.
        below: only layings with fewer universes are wanted, those of pinned chains counted.
        effort: after which to give up.
    """

    def __init__(self, task: Task, first: int, below: int, effort: Effort) -> None:
        self.task, self.below, self.effort = task, below, effort
        self.pinned = Pinned(task)
        self.free = [number for number, item in enumerate(task.items) if item.at is None]
        # a pinned box may lie before the patch begins
        self.first = min([first, *(task.items[number].floor for number in self.free)])
        mine = {task.items[number].box for number in self.free}
        self.asking = [name for name, box in task.boxes.items() if name in mine and self._asks(name, box)]
        self.volume = [sum(pixels * channels for pixels, channels in task.items[n].shape) for n in self.free]
        self.every = sum(universes_of(task.items[n].shape) for n in self.free)
        self.of_box = {
            name: sum(1 << bit for bit, n in enumerate(self.free) if task.items[n].box == name) for name in mine
        }
        self.exhausted = True
        self._room: dict[int, int] = {}

    def _asks(self, name: str, box: Limits) -> bool:
        most = sum(universes_of(item.shape) + 1 for item in self.task.items if item.box == name)
        return box.consecutive or (box.limit is not None and box.limit < most)

    def search(self) -> dict[int, int] | None:
        """The running channel of each free item by its number, in a laying with the fewest universes; None where
        there is none below the limit, or none was found: `exhausted` says which.
        """
        begin = _State(0, self.first * CHANNELS, self.first - 1, "", tuple((-1, 0) for _ in self.asking))
        layer: dict[int, list[_State]] = {0: [begin]}
        for _ in self.free:
            found: dict[_Key, list[_State]] = {}
            kept = 0
            for mask, states in layer.items():
                for state in states:
                    self.effort.spend(STEP)
                    if self.effort.over or kept > STATES:
                        self.exhausted = False
                        return None
                    for bit, after in self._steps(mask, state):
                        kept += _keep(found.setdefault(self._key(mask | 1 << bit, after), []), after)
            layer = {}
            for key, better in found.items():
                layer.setdefault(key[0], []).extend(better)
        last = min((state for states in layer.values() for state in states), key=lambda s: (s.used, s.at), default=None)
        return None if last is None else _traced(last)

    def _key(self, mask: int, state: _State) -> _Key:
        """States with one key go on in the same way; without pins only distances count."""
        base = 0 if self.pinned.universes else state.last
        boxes = tuple((last - base if last >= 0 else None, count) for last, count in state.boxes)
        owner = "" if self.task.share else state.owner
        return mask, state.last if self.pinned.universes else 0, owner, boxes

    def _steps(self, mask: int, state: _State) -> Iterator[tuple[int, _State]]:
        seen: set[tuple[str, Shape]] = set()
        for bit, number in enumerate(self.free):
            item = self.task.items[number]
            if mask >> bit & 1 or (item.box, item.shape) in seen:
                continue
            seen.add((item.box, item.shape))
            for place in self._places(state, item):
                after = self._laid(mask | 1 << bit, state, number, place)
                if after is not None:
                    yield bit, after

    def _places(self, state: _State, item: ChainItem) -> list[int]:
        universe, offset = divmod(state.at, CHANNELS)
        places = [state.at] if offset else []
        begins = universe + (offset > 0)
        if not self.pinned.universes:
            return [*places, begins * CHANNELS]
        every = {begins, universe + 1, item.floor}
        if self.every > 40:
            self.exhausted = False
        for pinned in self.pinned.universes:
            every.update(range(pinned - min(self.every, 40), pinned + 2))
        every.update(stop // CHANNELS + 1 for _, stop in self.pinned.taken)
        places += [each * CHANNELS for each in every if each >= begins]
        places += [stop for _, stop in self.pinned.taken if stop > state.at and stop % CHANNELS]
        return sorted({place for place in places if place // CHANNELS >= item.floor})

    def _laid(self, mask: int, state: _State, number: int, place: int) -> _State | None:
        """The state with one chain more; None where a rule forbids it, or nothing good can come of it."""
        item = self.task.items[number]
        if not may_begin(item.shape, place % CHANNELS):
            return None
        touched = item.touched(place)
        held = self.task.held(item, place)
        if touched.stop - 1 > self.task.boxes[item.box].last or self.pinned.taken.behind(place, held) is not None:
            return None
        if not self.task.share:
            taken = range(touched.start, (held - 1) // CHANNELS + 1)
            shared = state.owner not in ("", item.box) and touched.start <= (state.at - 1) // CHANNELS
            if shared or self.pinned.foreign(item.box, taken):
                return None
        used = state.used + sum(universe > state.last and universe not in self.pinned.universes for universe in touched)
        boxes = self._boxes(mask, state, item, touched, held)
        if boxes is None or used + self._at_least(mask, held, touched.stop - 1) >= self.below:
            return None
        return _State(used, held, touched.stop - 1, item.box, boxes, state, number, place)

    def _at_least(self, mask: int, at: int, last: int) -> int:
        """Universes that the pinned chains touch and that what is left adds, by its channels alone."""
        if last not in self._room:
            self._room[last] = self.pinned.room_behind(last)
        left = sum(volume for bit, volume in enumerate(self.volume) if not mask >> bit & 1)
        room = max(0, (last + 1) * CHANNELS - at) + self._room[last]
        return len(self.pinned.universes) + max(0, -(-(left - room) // CHANNELS))

    def _boxes(
        self, mask: int, state: _State, item: ChainItem, touched: range, held: int
    ) -> tuple[tuple[int, int], ...] | None:
        boxes = []
        for name, (last, count) in zip(self.asking, state.boxes, strict=True):
            box, mine = self.task.boxes[name], self.pinned.of_box[name]
            if name == item.box:
                if box.consecutive and not _follows(last, touched.start, mine):
                    return None
                count += sum(universe > last and universe not in mine for universe in touched)
                last = touched.stop - 1
                if box.limit is not None and count + len(mine) > box.limit:
                    return None
            done = mask & self.of_box[name] == self.of_box[name]
            if box.consecutive and last >= 0:
                end = max(mine, default=-1) if done else held // CHANNELS
                if any(universe not in mine for universe in range(last + 1, end)):
                    return None
            boxes.append((-1, 0) if done else (last, count))
        return tuple(boxes)


def _follows(last: int, first: int, pinned: set[int]) -> bool:
    """Whether a box that has reached a universe, or only its pinned ones, goes on in `first` without a gap."""
    if last < 0:
        if not pinned or min(pinned) >= first:
            return True
        last = min(pinned)
    return all(universe in pinned for universe in range(last + 1, first))


def _keep(states: list[_State], new: _State) -> int:
    """Keep a state among its like unless one of them beats it; how many more there are."""
    if any(state.beats(new) for state in states):
        return 0
    before = len(states)
    states[:] = [state for state in states if not new.beats(state)]
    states.append(new)
    return len(states) - before


def _traced(state: _State) -> dict[int, int]:
    places: dict[int, int] = {}
    at: _State | None = state
    while at is not None and at.laid >= 0:
        places[at.laid] = at.place
        at = at.before
    return places
