"""The shortest wire that reaches some points: a tree, taken apart into trunks and branches.

The tree is the cheapest one over the points themselves (Kruskal); no joint is made in mid-air.
"""

from __future__ import annotations

import networkx as nx
import numpy as np
from numpy.typing import NDArray

Places = NDArray[np.float64]


def cheapest_tree(places: Places) -> nx.Graph[int]:
    """The tree of least length over points, in metres; of equal edges the one between the lower numbers.

    Args:
        places: shape (points, 2).
    """
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(places)))
    for first in range(len(places)):
        for second in range(first + 1, len(places)):
            graph.add_edge(first, second, weight=float(np.hypot(*(places[first] - places[second]))))
    found: nx.Graph[int] = nx.minimum_spanning_tree(graph)
    return found


def trunks(tree: nx.Graph[int]) -> list[tuple[int, ...]]:
    """The tree as paths of points: the first ones leave point 0, each later one a point that an earlier one passes.

    At a point where the tree divides, the path goes on where most wire hangs, and the others branch off.
    """
    below = nx.bfs_tree(tree, 0)
    hanging = {0: 0.0}
    for before, point in reversed(list(nx.bfs_edges(tree, 0))):
        hanging[point] = tree[before][point]["weight"] + sum(hanging[behind] for behind in below[point])
    found: list[tuple[int, ...]] = []
    waiting = [(0, first) for first in sorted(below[0])]
    while waiting:
        path = list(waiting.pop(0))
        while below[path[-1]]:
            behind = sorted(below[path[-1]], key=lambda point: (-hanging[point], point))
            waiting += [(path[-1], other) for other in behind[1:]]
            path.append(behind[0])
        found.append(tuple(path))
    return found
