"""The ways of leads: how long a cable is from one place to another, and round which corners it goes.

Where a show draws routes, a cable goes straight to the nearest point of a route, along routes by the shortest way, and
straight off it. Of the networks that routes are joined to, and of going straight, that is taken which is the shortest
where each metre off the routes counts as `OFF`: so a hop between neighbours stays straight, no way makes a great
detour, and a route that lies elsewhere changes nothing. Where several points of a network are nearest alike, the one
that makes the way shorter is taken.

A way is as long in both directions and never shorter than straight. It may be longer than two ways over a third place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher.errors import Finding
from patcher.show.schema import Show

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Place = tuple[float, float]

SLACK = 0.1
"""The part of its way that a lead is longer than it. Common practice, no source."""
OFF = 3.0
"""So many metres along a route a cable rather goes than one metre where it has nothing to lie on. A choice, no
source."""
TOUCHING = 0.1
"""Metres within which a corner or an end of a route joins another one: no drawing by hand is closer. No source."""
_SAME = 1e-6
"""Metres within which two places are one, for what sums leave."""
MOST_CORNERS, MOST_JOINTS = 500, 500
"""Corners of all routes of a show, and places where they meet: more take seconds. No source: a street has a tenth."""
_MOST_ALIKE = 4
"""So many points of a network that are nearest alike are looked at."""


@dataclass(frozen=True, slots=True)
class Way:
    """The way of a cable.

    Attributes:
        metres: how long it is, without slack.
        corners: the places at which it turns, where it begins and where it ends among them.
    """

    metres: float
    corners: tuple[Place, ...]

    @property
    def is_straight(self) -> bool:
        """Whether it turns nowhere."""
        return len(self.corners) == 2


@dataclass(frozen=True, eq=False)
class LeadWays:
    """The ways of cables among some routes.

    Attributes:
        routes: the corners of each route: shape (corners, 2), metres.
    """

    routes: tuple[Floats, ...]

    @cached_property
    def _network(self) -> _Network:
        return _network(self.routes)

    def between(self, begins: Floats, ends: Floats) -> Floats:
        """Metres of every way from some places to others: shape (begins, ends)."""
        return self._chosen(begins, ends)[0]

    def way(self, begin: Place, end: Place) -> Way:
        """The way from one place to another."""
        one, other = np.array([begin], dtype=float), np.array([end], dtype=float)
        metres, part = (each[0, 0] for each in self._chosen(one, other))
        found = np.concatenate([one, other])
        if part >= 0:
            ways = self._network.ways(self._network.feet(one, part), self._network.feet(other, part))
            found = min((np.concatenate([one, places, other]) for places in ways), key=_long)
        return Way(float(metres), _turns(found))

    def _chosen(self, begins: Floats, ends: Floats) -> tuple[Floats, Ints]:
        """Metres of every way from some places to others, and the number of its network; -1 where it goes straight."""
        straight: Floats = np.hypot(*(ends[None, :, :] - begins[:, None, :]).transpose(2, 0, 1))
        least, whole = OFF * straight, straight
        chosen: Ints = np.full(straight.shape, -1, dtype=np.int64)
        for part in np.unique(self._network.part) if self.routes else ():
            one, other = self._network.feet(begins, part), self._network.feet(ends, part)
            off = one.off[:, None] + other.off[None, :]
            along = self._network.along(one, other)
            counts, metres = OFF * off + along, np.maximum(off + along, straight)
            better = (counts < least - _SAME) | ((counts < least + _SAME) & (metres < whole))
            least, whole = np.where(better, counts, least), np.where(better, metres, whole)
            chosen = np.where(better, part, chosen)
        return whole, chosen


STRAIGHT = LeadWays(())
"""The ways of cables where no route is drawn."""


def lead_ways(show: Show) -> LeadWays:
    """The ways of cables in a show; of routes of which `problems` says that they are too many, none."""
    if not show.routes or any(problems(show)):
        return STRAIGHT
    return LeadWays(_paths(show))


def problems(show: Show) -> Iterator[Finding]:
    """What is wrong with the routes of a show together."""
    if not show.routes:
        return
    remedy = "draw them with fewer corners: a corner only where the cable turns"
    corners = sum(len(route.path) for route in show.routes.values())
    if corners > MOST_CORNERS:
        says = f"has {corners} corners in all its routes, and {MOST_CORNERS} are the most"
        yield Finding("error", "routes", "file", "route", says, remedy)
        return
    joints = _joints(_pieces(_paths(show)))
    if (meet := len(joints.crossing) + len(joints.touching)) > MOST_JOINTS:
        says = f"has routes that meet in {meet} places, and {MOST_JOINTS} are the most"
        yield Finding("error", "routes", "file", "route", says, remedy)


def _paths(show: Show) -> tuple[Floats, ...]:
    return tuple(np.array(route.path, dtype=float) for route in show.routes.values())


def _long(corners: Floats) -> float:
    return float(np.hypot(*np.diff(corners, axis=0).T).sum())


def _turns(corners: Floats) -> tuple[Place, ...]:
    """The places of a way at which it turns, and its ends."""
    kept = [corners[0]]
    for here, after in pairwise(corners[1:]):
        one, two = here - kept[-1], after - here
        aside = abs(one[0] * two[1] - one[1] * two[0]) / max(float(np.hypot(*(one + two))), _SAME)
        if aside > _SAME or one @ two < -(_SAME**2):
            kept.append(here)
    return tuple((float(x), float(y)) for x, y in (*kept, corners[-1]))


# --- routes as a graph ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Feet:
    """The points of a network that are nearest to some places.

    Attributes:
        off: metres to them.
        piece: the pieces that they lie on, as many as are nearest alike: shape (places, alike).
        side: metres along the piece to its two ends: shape (places, alike, 2).
    """

    off: Floats
    piece: Ints
    side: Floats


@dataclass(frozen=True, eq=False)
class _Network:
    """Routes as straight pieces from joint to joint.

    Attributes:
        nodes: their corners and joints: shape (nodes, 2).
        pieces: the two nodes of each piece.
        part: the number of the network, of those that are joined each by itself, that each piece is of.
        apart: metres along routes from node to node.
        before: the node before the last on that way.
    """

    nodes: Floats
    pieces: Ints
    part: Ints
    apart: Floats
    before: Ints

    def feet(self, places: Floats, part: int) -> _Feet:
        """The points of one of the networks that are nearest to some places."""
        numbers = np.flatnonzero(self.part == part)
        begin, end = self.nodes[self.pieces[numbers]].transpose(1, 0, 2)
        along, away = _nearest(places, begin, end)
        off: Floats = away.min(axis=1)
        alike = away <= off[:, None] + _SAME
        width = min(int(alike.sum(axis=1).max(initial=1)), _MOST_ALIKE)
        which = np.argsort(~alike, axis=1, kind="stable")[:, :width]
        which = np.where(np.take_along_axis(alike, which, axis=1), which, which[:, :1])
        long = np.hypot(*(end - begin).T)[which]
        begun = np.take_along_axis(along, which, axis=1) * long
        return _Feet(off, numbers[which], np.stack([begun, long - begun], axis=-1))

    def along(self, one: _Feet, other: _Feet) -> Floats:
        """Metres along routes between the points of one network that are nearest to some places and to others."""
        reach = np.full((len(one.off), len(self.nodes)), np.inf)
        for at, end in np.ndindex(one.side.shape[1:]):
            reach = np.minimum(reach, one.side[:, at, end, None] + self.apart[self.pieces[one.piece[:, at], end]])
        found = np.full((len(one.off), len(other.off)), np.inf)
        for at, end in np.ndindex(other.side.shape[1:]):
            found = np.minimum(found, reach[:, self.pieces[other.piece[:, at], end]] + other.side[None, :, at, end])
        for at, to in np.ndindex(one.piece.shape[1], other.piece.shape[1]):
            beside = np.abs(one.side[:, None, at, 0] - other.side[None, :, to, 0])
            same = one.piece[:, None, at] == other.piece[None, :, to]
            found = np.where(same, np.minimum(found, beside), found)
        return found

    def ways(self, one: _Feet, other: _Feet) -> Iterator[Floats]:
        """The places along routes between the points nearest to one place and to another, by each way round; of
        feet of one place each.
        """
        for at, to in np.ndindex(one.piece.shape[1], other.piece.shape[1]):
            leave, enter = int(one.piece[0, at]), int(other.piece[0, to])
            first, last = self._place(leave, one.side[0, at, 0]), self._place(enter, other.side[0, to, 0])
            if leave == enter:
                yield np.array([first, last])
            for begin in self.pieces[leave]:
                for end in self.pieces[enter]:
                    yield np.array([first, *self.nodes[self._path(int(begin), int(end))], last])

    def _place(self, piece: int, metres: float) -> Floats:
        begin, end = self.nodes[self.pieces[piece]]
        found: Floats = begin + (end - begin) * (metres / float(np.hypot(*(end - begin))))
        return found

    def _path(self, begin: int, end: int) -> list[int]:
        found = [end]
        while found[-1] != begin:
            found.append(int(self.before[begin, found[-1]]))
        return found[::-1]


@dataclass(frozen=True, eq=False)
class _Pieces:
    """The straight pieces of routes as they are drawn: where each begins and ends, and of which route it is."""

    begin: Floats
    end: Floats
    route: Ints


@dataclass(frozen=True, eq=False)
class _Joints:
    """Where pieces meet.

    Attributes:
        crossing: two pieces that cross, each with the part of it before that: shape (crossings, 2).
        crossed: the pieces themselves.
        touching: the part of a piece before the place that a corner is nearest to.
        touched: that piece, and the corner, by its number among all pieces' begins and then all ends.
    """

    crossing: Floats
    crossed: Ints
    touching: Floats
    touched: Ints


def _pieces(routes: Sequence[Floats]) -> _Pieces:
    return _Pieces(
        np.concatenate([route[:-1] for route in routes]),
        np.concatenate([route[1:] for route in routes]),
        np.repeat(np.arange(len(routes)), [len(route) - 1 for route in routes]),
    )


def _nearest(places: Floats, begin: Floats, end: Floats) -> tuple[Floats, Floats]:
    """For each place and each straight piece, the part of the piece before its nearest point, and metres to that."""
    way = end - begin
    square = np.maximum((way**2).sum(axis=1), 1e-300)
    off = places[:, None, :] - begin[None, :, :]
    part: Floats = np.clip((off * way[None]).sum(axis=2) / square[None], 0.0, 1.0)
    away: Floats = np.hypot(*(off - part[:, :, None] * way[None]).transpose(2, 0, 1))
    return part, away


def _joints(drawn: _Pieces) -> _Joints:
    """Where pieces cross, and where a corner or an end of a route touches a piece; those that follow each other in one
    route are joined anyhow.
    """
    way = drawn.end - drawn.begin
    turn = way[:, None, 0] * way[None, :, 1] - way[:, None, 1] * way[None, :, 0]
    off = drawn.begin[None, :, :] - drawn.begin[:, None, :]
    long = np.hypot(*way.T)
    aslant = np.abs(turn) > 1e-12 * long[:, None] * long[None, :]
    safe = np.where(aslant, turn, 1.0)
    part = (off[:, :, 0] * way[None, :, 1] - off[:, :, 1] * way[None, :, 0]) / safe
    inside = aslant & (part > -1e-9) & (part < 1 + 1e-9)
    every = np.arange(len(long))
    follows = (np.abs(every[:, None] - every[None, :]) == 1) & (drawn.route[:, None] == drawn.route[None, :])
    crossed = np.argwhere(np.triu(inside & inside.T & ~follows, 1))
    crossing = np.clip(np.column_stack([part[crossed[:, 0], crossed[:, 1]], part[crossed[:, 1], crossed[:, 0]]]), 0, 1)
    last = np.flatnonzero(np.diff(drawn.route, append=-1))
    corner = np.concatenate([every, len(every) + last])
    at, away = _nearest(np.concatenate([drawn.begin, drawn.end[last]]), drawn.begin, drawn.end)
    number = np.concatenate([every + drawn.route, last + 1 + drawn.route[last]])[:, None] - (every + drawn.route)
    own = drawn.route[corner % len(every)][:, None] == drawn.route[None, :]
    touched = np.argwhere(np.where(own, away <= _SAME, away <= TOUCHING) & (number != 0) & (number != 1))
    on = np.column_stack([touched[:, 1], corner[touched[:, 0]]])
    return _Joints(crossing, crossed, at[touched[:, 0], touched[:, 1]], on)


def _network(routes: Sequence[Floats]) -> _Network:
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components, dijkstra

    drawn = _pieces(routes)
    joints, count = _joints(drawn), len(drawn.begin)
    every = np.arange(count)
    on = np.concatenate([every, every, joints.crossed.ravel(), joints.touched[:, 0]])
    at = np.concatenate([np.zeros(count), np.ones(count), joints.crossing.ravel(), joints.touching])
    places = drawn.begin[on] + (drawn.end - drawn.begin)[on] * at[:, None]
    node = _numbered(places)
    nodes = places[np.unique(node, return_index=True)[1]]
    order = np.lexsort((at, on))
    pieces = np.array([node[[a, b]] for a, b in pairwise(order) if on[a] == on[b]]).reshape(-1, 2)
    pieces = np.unique(np.sort(pieces[pieces[:, 0] != pieces[:, 1]], axis=1), axis=0)
    links = np.column_stack([node[joints.touched[:, 1]], node[len(node) - len(joints.touching) :]])
    joined = np.unique(np.sort(np.concatenate([pieces, links[links[:, 0] != links[:, 1]]]), axis=1), axis=0)
    long = np.hypot(*(nodes[joined[:, 1]] - nodes[joined[:, 0]]).T)
    graph = csr_array((long, (joined[:, 0], joined[:, 1])), shape=(len(nodes), len(nodes)))
    _, part = connected_components(graph, directed=False)
    apart, before = dijkstra(graph, directed=False, return_predecessors=True)
    return _Network(nodes, pieces, part[pieces[:, 0]], np.minimum(apart, apart.T), before)


def _numbered(places: Floats) -> Ints:
    """A number for each place, the same for those that are one."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import KDTree

    same = KDTree(places).query_pairs(_SAME, output_type="ndarray")
    graph = csr_array((np.ones(len(same)), (same[:, 0], same[:, 1])), shape=(len(places), len(places)))
    found: Ints = connected_components(graph, directed=False)[1]
    return found
