"""The way of a cable among routes by other means: shapely joins the routes and finds what is nearest, networkx goes.

# Judge: shapely, networkx. Routes here touch exactly or are farther apart than 0.1 m: shapely joins no others.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import networkx as nx
import shapely
from shapely.geometry import LineString, MultiLineString, Point

Spot = tuple[float, float]
Routes = Sequence[Sequence[Spot]]
_SAME = 1e-7


def judged(routes: Routes) -> Callable[[Spot, Spot], float]:
    """How many metres of cable it takes from one place to another."""
    networks = _networks(routes)

    def metres(begin: Spot, end: Spot) -> float:
        straight = Point(begin).distance(Point(end))
        ways = [(3 * straight, straight)]
        for network in networks:
            reach, along = Point(begin).distance(network) + Point(end).distance(network), _along(network, begin, end)
            ways.append((3 * reach + along, reach + along))
        least = min(ways)[0]
        return min(metres for counts, metres in ways if counts < least + 1e-6)

    return metres


def _networks(routes: Routes) -> list[MultiLineString]:
    """The routes that are joined, each network cut at every place where routes meet."""
    lines = [LineString(route) for route in routes]
    joined = nx.Graph(
        (a, b) for a in range(len(lines)) for b in range(len(lines)) if lines[a].distance(lines[b]) < _SAME
    )
    return [
        MultiLineString(list(shapely.get_parts(shapely.unary_union([lines[at] for at in part]))))
        for part in sorted(nx.connected_components(joined), key=min)
    ]


def _along(network: MultiLineString, begin: Spot, end: Spot) -> float:
    """Metres along a network between its points nearest to two places; the shorter of those nearest alike."""
    graph: nx.MultiGraph = nx.MultiGraph()
    feet: dict[str, list[Spot]] = {}
    cuts: dict[int, list[float]] = {}
    for name, place in (("begin", begin), ("end", end)):
        point = Point(place)
        least = point.distance(network)
        for number, line in enumerate(network.geoms):
            for a, b in pairwise(line.coords):
                piece = LineString([a, b])
                if point.distance(piece) < least + 1e-6:
                    foot = piece.interpolate(piece.project(point))
                    feet.setdefault(name, []).append((number, line.project(foot)))
                    cuts.setdefault(number, []).append(line.project(foot))
    for number, line in enumerate(network.geoms):
        every = sorted({0.0, line.length, *cuts.get(number, ())})
        ends = {0.0: _node(line.coords[0]), line.length: _node(line.coords[-1])}
        for a, b in pairwise(every):
            graph.add_edge(ends.get(a, (number, a)), ends.get(b, (number, b)), long=b - a)
    names = {
        (number, at): {0.0: _node(line.coords[0]), line.length: _node(line.coords[-1])}.get(at, (number, at))
        for number, line in enumerate(network.geoms) for at in cuts.get(number, ())
    }  # fmt: skip
    return min(
        nx.shortest_path_length(graph, names[one], names[other], weight="long")
        for one in feet["begin"] for other in feet["end"]
    )  # fmt: skip


def _node(place: Sequence[float]) -> tuple[str, float, float]:
    return "corner", round(place[0], 6), round(place[1], 6)
