"""Where the starts of one box may lie when a patch is kept: its *seats*.

A seat says which starts lie where they lay, where the others go, and which universes that takes. Here are the seats of
a box whose starts must lie close up: every order of them is followed at once, from every universe that leaves at least
one start in its place. `loose_seats` has those of boxes whose starts may lie more loosely.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from typing import Literal

import numpy as np

from patcher.patch.occupancy import Taken
from patcher.patch.patch import Chain, behind, first_fit, universe_from
from patcher.trade import CHANNELS

Rule = Literal["fresh", "follow", "whole"]
MOST_ORDERED = 8
"""Starts of one box up to which every order is tried, and the best is known to be the best."""


@dataclass(frozen=True, slots=True)
class Claim:
    """A start that has to lie somewhere, and the places that it has a claim to.

    Attributes:
        chain: what it starts.
        home: the running channel at which it is no change of the box's settings; None where its length is new.
        was: where its first run lay before, whatever its length; None where it is new.
        pin: where it is pinned.
        reserve: pixels to keep free behind it.
    """

    chain: Chain
    home: int | None = None
    was: int | None = None
    pin: int | None = None
    reserve: int = 0
    _known: dict[int, tuple[int, int]] = field(default_factory=dict, compare=False, repr=False)

    def _ends(self, at: int) -> tuple[int, int]:
        """Both ends, of the pixels and of the room behind them, laid from a channel of universe 0; known once laid."""
        known = self._known.get(at)
        if known is None:
            end = self.chain.end(at)
            known = self._known[at] = (end, behind(end, self.reserve, self.chain.links[-1].channels))
        return known

    def end(self, at: int) -> int:
        """The running channel behind its last pixel."""
        channel = at % CHANNELS
        return at - channel + self._ends(channel)[0]

    def room(self, at: int) -> int:
        """The running channel behind the pixels that are kept free behind it."""
        channel = at % CHANNELS
        return at - channel + self._ends(channel)[1]

    def universes(self, at: int) -> range:
        """The universes that it touches, counted from 0."""
        return range(at // CHANNELS, (self.end(at) - 1) // CHANNELS + 1)


@dataclass(frozen=True, slots=True)
class BoxSeats:
    """The starts of one controller, and what its places must obey.

    Attributes:
        name: the controller.
        starts: its starts, in the order of the wiring.
        rule: where a newly laid start may fall.
        consecutive: its universes have no gap.
        first: the universe, counted from 0, in which it is pinned to begin.
        most: how many universes it listens to at most.
        lowest: the first universe, counted from 0, in which the box may lie: where the patch begins, or lower where it
            lay lower.
        last: the last universe, counted from 0, that its protocol has.
        same: as many starts as before, on the same ports, with the same pixel counts: it need not change.
        close: its starts lay as its rule lays them, and none is pinned, so they must lie close up again.
        faulty: its old starts lie on channels of another, or across a universe's end; which the person must fix.
    """

    name: str
    starts: tuple[Claim, ...]
    rule: Rule
    consecutive: bool
    first: int | None
    most: int | None
    lowest: int
    last: int
    same: bool
    close: bool
    faulty: bool
    _falls: dict[tuple[int, int], tuple[int, int, int, int]] = field(default_factory=dict, compare=False, repr=False)

    @property
    def homes(self) -> tuple[int, ...]:
        """The starts that have a home and no pin elsewhere."""
        return tuple(i for i, start in enumerate(self.starts) if start.home is not None and start.pin is None)

    @property
    def pinned(self) -> dict[int, int]:
        """Where its pinned starts lie."""
        return {i: start.pin for i, start in enumerate(self.starts) if start.pin is not None}

    @property
    def narrowest(self) -> int:
        """Universes that its channels fill, wherever its starts lie."""
        links = [link for start in self.starts for link in start.chain.links]
        return -(-sum((link.nulls + link.pixels) * link.channels for link in links) // CHANNELS)

    def earliest(self, start: Claim, at: int) -> int:
        """The first running channel from `at` on where a newly laid start may fall."""
        fresh = universe_from(at)
        if self.rule == "fresh":
            return fresh
        place = first_fit(at, start.chain.links[0].channels)
        if self.rule == "whole" and len(start.universes(place)) > len(start.universes(fresh)):
            return fresh
        return place

    def falls(self, index: int, at: int) -> tuple[int, int, int, int]:
        """Where a newly laid start falls from a channel on: its place, the channel behind its room, its first
        universe and its last. Universes are all alike, so this is known once laid from a channel of one.
        """
        universe, channel = divmod(at, CHANNELS)
        known = self._falls.get((index, channel))
        if known is None:
            start = self.starts[index]
            place = self.earliest(start, channel)
            touched = start.universes(place)
            known = self._falls[index, channel] = (place, start.room(place), touched.start, touched[-1])
        place, room, first, last = known
        base = at - channel
        return base + place, base + room, universe + first, universe + last


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """One way to lay a box.

    Attributes:
        moved: starts with a home that lie elsewhere.
        universes: distinct universes that the box then has pixels in.
        away: starts of a new length that no longer begin where they began.
        footprint: the universes, counted from 0, that nobody else may have.
        places: gives the running channel of each start that is not of the block.
        block: where the starts that may lie anywhere lie behind each other, from 0.
        length: how many universes that block takes.
        changed: that the box's settings change.
    """

    moved: int
    universes: int
    away: int
    footprint: tuple[range, ...]
    places: Callable[[], dict[int, int]]
    block: dict[int, int] = field(default_factory=dict)
    length: int = 0
    changed: bool = True


def stay(box: BoxSeats) -> Seat | None:
    """The seat that changes nothing; None where the box's settings must change."""
    laid = {i: start.home for i, start in enumerate(box.starts) if start.home is not None}
    if not box.same or len(laid) < len(box.starts) or not _holds(box, list(laid.values())):
        return None
    touched = merged(start.universes(at) for start, at in zip(box.starts, laid.values(), strict=True))
    return Seat(0, width(touched), 0, touched, lambda: laid, changed=False)


def _holds(box: BoxSeats, places: list[int]) -> bool:
    """Whether a box's own rules hold with its starts at these places."""
    pairs = sorted(zip(places, range(len(places)), strict=True))
    ends = 0
    for at, index in pairs:
        start = box.starts[index]
        torn = at < ends or first_fit(at, start.chain.links[0].channels) != at
        if (torn and not box.faulty) or start.pin not in (None, at):
            return False
        ends = start.end(at)
    touched = merged(start.universes(at) for start, at in zip(box.starts, places, strict=True))
    free = [at for at, start in zip(places, box.starts, strict=True) if start.pin is None]
    return (
        (not box.consecutive or len(touched) == 1)
        and (box.most is None or width(touched) <= box.most)
        and touched[-1].stop - 1 <= box.last
        and begins_well(box, free, places)
    )


def begins_well(box: BoxSeats, free: list[int], places: Iterable[int]) -> bool:
    """Whether a pinned box begins where it is pinned to, given where its unpinned and all its starts lie."""
    if box.first is None or not free:
        return True
    first = box.first * CHANNELS
    return min(free) >= first and first in places


def merged(ranges: Iterable[range]) -> tuple[range, ...]:
    """The same universes as ranges that do not touch each other."""
    found: list[range] = []
    for piece in sorted(ranges, key=lambda r: (r.start, r.stop)):
        if found and piece.start <= found[-1].stop:
            found[-1] = range(found[-1].start, max(found[-1].stop, piece.stop))
        else:
            found.append(piece)
    return tuple(found)


def width(ranges: Iterable[range]) -> int:
    """How many universes those are."""
    return sum(len(piece) for piece in ranges)


def rows(box: BoxSeats, taken: Taken) -> list[Seat]:
    """Every seat of a close box that leaves at least one start at home, the best of each universe it begins in.

    Args:
        box: a box that is close.
        taken: channels that others hold and will keep.
    """
    nodes, edges = _orders(box)
    lengths = _lengths(box, nodes)
    if not lengths:
        return []
    begin = [box.first] if box.first is not None else _beginnings(box, edges, taken, min(lengths.values()))
    if not begin:
        return []
    scores = _scores(box, nodes, edges, np.array(begin))
    found: list[Seat] = []
    away = sum(start.home is None and start.was is not None for start in box.starts)
    for node, length in lengths.items():
        for column, base in enumerate(begin):
            kept, near = divmod(int(scores[node, column]), _KEPT)
            universes = range(base, base + length)
            if (kept or near or box.first is not None) and universes.stop - 1 <= box.last and taken.free(universes):
                back = partial(_read_back, box, edges, scores[:, column], node, base)
                found.append(Seat(len(box.homes) - kept, length, away - near, (universes,), back))
    return found


def _lengths(box: BoxSeats, nodes: list[tuple[int, int]]) -> dict[int, int]:
    """The universes that each way to lay all starts takes, by its node; without those above the box's limit."""
    full = (1 << len(box.starts)) - 1
    lengths = {node: -(-offset // CHANNELS) for node, (mask, offset) in enumerate(nodes) if mask == full}
    return {node: length for node, length in lengths.items() if box.most is None or length <= box.most}


def _beginnings(box: BoxSeats, edges: list[Edge], taken: Taken, shortest: int) -> list[int]:
    """The universes, counted from 0, from which some order puts a start where it lay, with room for the shortest."""
    bases: set[int] = set()
    for _, _, index, placed in edges:
        for wanted in (box.starts[index].home, box.starts[index].was):
            if wanted is not None and wanted >= placed and (wanted - placed) % CHANNELS == 0:
                bases.add((wanted - placed) // CHANNELS)
    return [base for base in sorted(bases) if base >= box.lowest and taken.free(range(base, base + shortest))]


_KEPT = 16
"""What a start at home weighs in a score, against one of new length that begins where it began."""


Edge = tuple[int, int, int, int]
"""From a node to a node, the start that is laid, and where it begins."""


def _orders(box: BoxSeats) -> tuple[list[tuple[int, int]], list[Edge]]:
    """The graph of all orders: nodes are (set of starts laid, channels they take from the box's first); an edge lays
    one start more.
    """
    nodes: list[tuple[int, int]] = [(0, 0)]
    known = {nodes[0]: 0}
    edges: list[Edge] = []
    for source, (mask, offset) in enumerate(nodes):
        for index in _next_starts(box, mask):
            start = box.starts[index]
            placed = box.earliest(start, offset)
            end = start.room(placed)
            node = (mask | 1 << index, universe_from(end) if box.rule == "fresh" else end)
            if node not in known:
                known[node] = len(nodes)
                nodes.append(node)
            edges.append((source, known[node], index, placed))
    return nodes, edges


def _next_starts(box: BoxSeats, mask: int) -> list[int]:
    """Which starts may come next. Of many, those at home keep their order, and so do the others."""
    left = [index for index in range(len(box.starts)) if not mask >> index & 1]
    if len(box.starts) <= MOST_ORDERED:
        return left
    homes = [(home, index) for index in left if (home := box.starts[index].home) is not None]
    others = [index for index in left if box.starts[index].home is None]
    return [*(index for _, index in sorted(homes)[:1]), *others[:1]]


def _gain(start: Claim, base: np.ndarray | int, placed: int) -> np.ndarray | int:
    if start.home is not None:
        return (base == (start.home - placed) / CHANNELS) * _KEPT
    return base == (start.was - placed) / CHANNELS if start.was is not None else 0 * base


def _scores(box: BoxSeats, nodes: list[tuple[int, int]], edges: list[Edge], begin: np.ndarray) -> np.ndarray:
    """The best score by which each node is reached, for each universe in which the box may begin."""
    levels: dict[int, list[Edge]] = {}
    for edge in edges:
        levels.setdefault(nodes[edge[0]][0].bit_count(), []).append(edge)
    scores = np.full((len(nodes), len(begin)), -1, dtype=np.int16)
    scores[0] = 0
    for _, level in sorted(levels.items()):
        sources, targets = np.array([edge[:2] for edge in level]).T
        gains = np.array([_gain(box.starts[index], begin, placed) for _, _, index, placed in level], dtype=np.int16)
        np.maximum.at(scores, targets, scores[sources] + gains)
    return scores


def _read_back(box: BoxSeats, edges: list[Edge], scores: np.ndarray, node: int, base: int) -> dict[int, int]:
    """The places of a close box, read back from the scores of one beginning."""
    places: dict[int, int] = {}
    into: dict[int, list[tuple[int, int, int]]] = {}
    for source, target, index, placed in edges:
        into.setdefault(target, []).append((index, source, placed))
    while node:
        index, source, placed = next(
            (index, source, placed)
            for index, source, placed in sorted(into[node], reverse=True)
            if scores[source] + _gain(box.starts[index], base, placed) == scores[node]
        )
        places[index] = base * CHANNELS + placed
        node = source
    return places
