"""The seats of a box whose starts may lie loosely: some keep their places, and the others are laid into the room
between, before and behind them, by a dynamic program over the sets of those laid.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import combinations

from patcher.patch.occupancy import Taken
from patcher.patch.patch import first_fit
from patcher.placement.seats import MOST_ORDERED, BoxSeats, Seat, begins_well, merged, width
from patcher.trade import CHANNELS


@dataclass(frozen=True, slots=True)
class SeatFrame:
    """A try at a seat: these starts keep their places, and all lie in these universes.

    Attributes:
        homes: the starts that stay at home.
        moved: starts that give up their homes.
        universes: from the first to the last in which it lies, counted from 0.
        footprint: the universes that it has in any case: all of those, or, where they need not follow on, those that
            the kept starts touch.
    """

    homes: tuple[int, ...]
    moved: int
    universes: range
    footprint: tuple[range, ...]


def frames(box: BoxSeats, moved: int) -> list[SeatFrame]:
    """The narrowest frames in which so many starts give up their homes: no seat of the box with as many lies inside a
    frame that is narrower than these. In a box of too many starts to try each, all give up their homes or none.
    """
    homes = box.homes
    few = len(box.starts) <= MOST_ORDERED
    choices = combinations(homes, len(homes) - moved) if few else [homes] if moved == 0 else []
    found: dict[SeatFrame, None] = {}
    for kept in choices:
        hull = _hull(box, kept)
        if hull is None:
            continue
        lack = max(0, box.narrowest - len(hull)) if box.consecutive else 0
        lefts = range(lack + 1) if box.first is None or not box.consecutive else [hull.start - box.first]
        for left in lefts:
            if left == 0 or hull.start - left >= box.lowest:
                universes = range(hull.start - left, hull.stop + max(0, lack - left))
                found[SeatFrame(kept, moved, universes, _touched(box, kept, universes))] = None
    return list(found)


def _touched(box: BoxSeats, kept: tuple[int, ...], universes: range) -> tuple[range, ...]:
    if box.consecutive:
        return (universes,)
    places = _kept(box, kept)
    return merged(box.starts[i].universes(at) for i, at in places.items())


def _hull(box: BoxSeats, kept: tuple[int, ...]) -> range | None:
    """The universes from the first to the last that kept and pinned starts touch, or, where there are none, starts of a
    new length where they began; None where nothing ties the box.
    """
    places = _kept(box, kept)
    if not places and box.first is None:
        places = {i: s.was for i, s in enumerate(box.starts) if s.was is not None and s.home is None}
    touched = merged(box.starts[i].universes(at) for i, at in places.items())
    if box.first is not None and (not touched or box.first < touched[0].start):
        return range(box.first, touched[-1].stop if touched else box.first)
    return range(touched[0].start, touched[-1].stop) if touched else None


def wider(box: BoxSeats, frame: SeatFrame) -> list[SeatFrame]:
    """The frames one universe wider, as long as that can help."""
    hull = _hull(box, frame.homes)
    rest = [start for i, start in enumerate(box.starts) if i not in frame.homes and start.pin is None]
    most = sum(len(start.universes(0)) for start in rest) + (len(hull) if hull else 0)
    first, stop = frame.universes.start, frame.universes.stop
    if not box.consecutive or stop + 1 - first > most:
        return []
    ranges = [range(first, stop + 1)]
    if box.first is None and first > box.lowest:
        ranges.append(range(first - 1, stop))
    return [SeatFrame(frame.homes, frame.moved, universes, (universes,)) for universes in ranges]


def seats(box: BoxSeats, frame: SeatFrame, taken: Taken) -> list[Seat]:
    """The seats that a frame allows: the starts of a new length where they began, if they can, or else anywhere in it.

    Args:
        box: the box.
        frame: which starts stay, and in which universes all lie.
        taken: channels that others hold and will keep.
    """
    soft = {i: s.was for i, s in enumerate(box.starts) if s.home is None and s.was is not None and s.pin is None}
    kept = _kept(box, frame.homes)
    near = _with_soft(box, kept, soft)
    found: list[Seat] = []
    for chosen in (near, kept) if len(near) > len(kept) else (kept,):
        if _apart(box, chosen) and all(_fits(box, i, at, frame, taken) for i, at in chosen.items()):
            rest = tuple(i for i in range(len(box.starts)) if i not in chosen)
            sweep = _Sweep(box, chosen, rest, taken)
            away = len(soft.keys() - chosen.keys())
            found += (_close if box.consecutive else _scattered)(sweep, frame, away)
            if found and box.consecutive:
                break
    return found


def _kept(box: BoxSeats, homes: tuple[int, ...]) -> dict[int, int]:
    """The places of pinned starts, and of those that stay at home."""
    return box.pinned | {i: box.starts[i].home or 0 for i in homes}


def _with_soft(box: BoxSeats, kept: dict[int, int], soft: dict[int, int]) -> dict[int, int]:
    """What is kept, and of the starts of a new length those that can begin where they began."""
    near = dict(kept)
    for index, at in soft.items():
        may_stay = box.rule == "fresh" or box.earliest(box.starts[index], at) == at
        if may_stay and _apart(box, near | {index: at}):
            near[index] = at
    return near


def _apart(box: BoxSeats, chosen: dict[int, int]) -> bool:
    """Whether starts at these places leave each other and the universes' ends alone."""
    behind_last = 0
    for at, index in sorted((at, i) for i, at in chosen.items()):
        start = box.starts[index]
        if at < behind_last or first_fit(at, start.chain.links[0].channels) != at:
            return False
        behind_last = start.end(at)
    return True


def _fits(box: BoxSeats, index: int, at: int, frame: SeatFrame, taken: Taken) -> bool:
    universes = box.starts[index].universes(at)
    inside = universes.start >= frame.universes.start and universes.stop <= frame.universes.stop
    return (inside or not box.consecutive) and taken.behind(at, box.starts[index].end(at)) is None


def block(box: BoxSeats, rest: Sequence[int]) -> tuple[dict[int, int], int]:
    """Starts laid behind each other from channel 0 on as few universes as their rule allows; and how many those are."""
    orders = 1 << len(rest) if box.rule != "fresh" and len(rest) <= MOST_ORDERED else 0
    ends: list[tuple[int, int, int]] = [(0, 0, 0)] + [(_FAR, 0, 0)] * max(0, orders - 1)
    for mask in range(orders):
        for bit, index in enumerate(rest):
            if not mask >> bit & 1:
                at = box.earliest(box.starts[index], ends[mask][0])
                room = box.starts[index].room(at)
                if room <= ends[mask | 1 << bit][0]:
                    ends[mask | 1 << bit] = (room, bit, at)
    places: dict[int, int] = {}
    if orders:
        mask = orders - 1
        while mask:
            _, bit, at = ends[mask]
            places[rest[bit]] = at
            mask ^= 1 << bit
        return places, -(-ends[-1][0] // CHANNELS)
    end = 0
    for index in rest:
        places[index] = box.earliest(box.starts[index], end)
        end = box.starts[index].room(places[index])
    return places, -(-end // CHANNELS)


_FAR = 1 << 62


def _close(sweep: _Sweep, frame: SeatFrame, away: int) -> Iterator[Seat]:
    """The seat of a box whose universes follow on."""
    box, begin = sweep.box, frame.universes.start
    states = sweep.run(begin, connected=True, stop=frame.universes.stop).get(sweep.all, {}).values()
    best = min(states, key=lambda state: (state.last, state.end), default=None)
    if best is not None and _ends_well(box, sweep.kept | best.places(), best.last + 1 - begin, best.last):
        laid = best.places()
        stop = max([best.last + 1, *(_held(box, i, at).stop for i, at in laid.items())])
        yield Seat(frame.moved, best.last + 1 - begin, away, (range(begin, stop),), partial(dict, sweep.kept | laid))


def _scattered(sweep: _Sweep, frame: SeatFrame, away: int) -> Iterator[Seat]:
    """Seats of a box whose universes need not follow on: what does not fit near its others may lie anywhere."""
    box, kept = sweep.box, sweep.kept
    first = frame.universes.start
    begin = max(min(box.lowest, first), first - sweep.need) if box.first is None else box.first
    options: dict[tuple[range, ...], Seat] = {}
    for mask, states in sweep.run(begin, connected=False).items():
        laid, length = block(box, [index for bit, index in enumerate(sweep.rest) if not mask >> bit & 1])
        for new in (state.places() for state in states.values()):
            places = kept | new
            touched = merged(box.starts[i].universes(at) for i, at in places.items())
            universes, last = width(touched) + length, touched[-1].stop - 1 if touched else 0
            known = options.get(touched)
            if (known is None or universes < known.universes) and _ends_well(box, places, universes, last):
                held = merged([*touched, *(_held(box, i, at) for i, at in new.items())])
                options[touched] = Seat(frame.moved, universes, away, held, partial(dict, places), laid, length)
    return _without_worse(list(options.values()))


def _without_worse(options: list[Seat]) -> Iterator[Seat]:
    """The seats that are not beaten by one whose starts may partly lie anywhere."""
    least = min((seat.universes for seat in options if seat.block), default=None)
    for seat in options:
        if least is None or seat.universes < least or (seat.block and seat.universes == least):
            yield seat


def _held(box: BoxSeats, index: int, at: int) -> range:
    """The universes of a newly laid start, with the pixels that are kept free behind it."""
    return range(at // CHANNELS, (box.starts[index].room(at) - 1) // CHANNELS + 1)


def _ends_well(box: BoxSeats, places: dict[int, int], universes: int, last: int) -> bool:
    free = [at for i, at in places.items() if box.starts[i].pin is None]
    return begins_well(box, free, places.values()) and last <= box.last and (box.most is None or universes <= box.most)


@dataclass(frozen=True, slots=True)
class _State:
    """Some of the rest are laid: where the next may lie, the last universe with pixels of the box, how many universes
    are newly touched, and what was laid (the state before, the start, its place).
    """

    end: int
    last: int
    touched: int
    trail: tuple[_State, int, int] | None

    def places(self) -> dict[int, int]:
        found: dict[int, int] = {}
        state = self
        while state.trail is not None:
            state, index, at = state.trail
            found[index] = at
        return found


_Level = dict[tuple[int, int], _State]
_States = dict[int, _Level]

_MOST_SCATTERED = 5
"""Starts up to which universes may be left out before each of them."""


class _Sweep:
    """Lays the rest of a box's starts from left to right around walls: those that are kept, and what others hold.

    For every set of starts laid, the sweep keeps the state that ends first, for each last universe and, where
    universes may be left out, for each number of them touched: a start that lies later leaves no more room behind it.
    """

    def __init__(self, box: BoxSeats, kept: dict[int, int], rest: tuple[int, ...], taken: Taken) -> None:
        self.box, self.kept, self.rest, self._taken = box, kept, rest, taken
        self.all = (1 << len(rest)) - 1
        self.need = sum(len(box.starts[i].universes(0)) for i in rest)
        self._own = {u for i, at in kept.items() for u in box.starts[i].universes(at)}

    def run(self, begin: int, *, connected: bool, stop: int | None = None) -> _States:
        """The states of every set of starts, laid from universe `begin` on, and before universe `stop`."""
        box = self.box
        first = begin * CHANNELS
        if stop is None:
            stop = max([begin, *(box.starts[i].universes(at).stop for i, at in self.kept.items())])
            stop += 1 + self.need
        end = stop * CHANNELS
        walls: list[tuple[int, int, range | None]]
        walls = [(at, box.starts[i].room(at), box.starts[i].universes(at)) for i, at in self.kept.items()]
        walls += [(low, high, None) for low, high in self._taken.between(first, end)]
        states: _States = {0: {(0, begin - 1): _State(first, begin - 1, 0, None)}}
        if box.first == begin and first not in self.kept.values():
            states = self._forced(first, connected)
        for low, high, own in sorted(walls, key=lambda wall: wall[0]):
            if high <= first and own is None:
                continue
            front = low // CHANNELS if own is not None and low % CHANNELS else None
            self._lay(states, low, connected, front)
            states = {mask: self._past(level, high, own, connected) for mask, level in states.items()}
        self._lay(states, end, connected, None)
        return states

    def _forced(self, first: int, connected: bool) -> _States:
        """The states where a start lies on the very first channel, as a pinned box wants it."""
        states: _States = {}
        root = _State(first, first // CHANNELS - 1, 0, None)
        wall = min((at for at in self.kept.values() if at >= first), default=None)
        for bit in range(len(self.rest)):
            self._put(states, 1 << bit, root, self.rest[bit], first, wall, connected)
        return states

    def _past(self, states: _Level, high: int, own: range | None, connected: bool) -> _Level:
        """The states behind a wall that ends at `high` and, where it is the box's own, has these universes."""
        found: _Level = {}
        for state in states.values():
            if own is not None and connected and own.start > state.last + 1:
                continue
            last = state.last if own is None else max(state.last, own[-1])
            _better(found, _State(max(state.end, high), last, state.touched, state.trail), connected)
        return found

    def _lay(self, states: _States, wall: int, connected: bool, front: int | None) -> None:
        """Lay starts in every order before a wall; `front` is the universe whose front part lies free before it."""
        every = range(len(self.rest))
        few = len(every) <= MOST_ORDERED
        for mask in range(self.all + 1) if few else [(1 << laid) - 1 for laid in range(len(every) + 1)]:
            bits = every if few else every[mask.bit_count() : mask.bit_count() + 1]
            for state in list(states.get(mask, {}).values()):
                for bit in bits:
                    if not mask >> bit & 1:
                        index = self.rest[bit]
                        self._put(states, mask | 1 << bit, state, index, state.end, wall, connected)
                        at = self.box.falls(index, state.end)[0]
                        for later in self._later(state, front, connected):
                            if at < later:
                                self._put(states, mask | 1 << bit, state, index, later, wall, connected)

    def _later(self, state: _State, front: int | None, connected: bool) -> Iterator[int]:
        """Where the next start may do better than at once: in the next universe, so that none is left out; or, where
        universes may be left out, as far before a wall as reaches into the free part of its universe.
        """
        if connected:
            yield (state.last + 1) * CHANNELS
        elif front is not None and len(self.rest) <= _MOST_SCATTERED:
            for universe in range(max(state.last + 1, front - self.need), front + 1):
                yield universe * CHANNELS

    def _put(
        self, states: _States, mask: int, state: _State, index: int, begin: int, wall: int | None, connected: bool
    ) -> None:
        at, room, first, last = self.box.falls(index, begin)
        if (wall is not None and room > wall) or (connected and first > state.last + 1):
            return
        new = 0
        if not connected:
            new = sum(universe not in self._own for universe in range(max(first, state.last + 1), last + 1))
        laid = _State(room, max(state.last, last), state.touched + new, (state, index, at))
        _better(states.setdefault(mask, {}), laid, connected)


def _better(level: _Level, state: _State, connected: bool) -> None:
    """Keep a state if none is known that ends as early in the same universe, having touched as many."""
    key = (0 if connected else state.touched, state.last)
    if key not in level or state.end < level[key].end:
        level[key] = state
