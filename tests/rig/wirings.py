"""Every way of wiring a short rail, solved conductor by conductor as dense matrices: what a plan is held against."""

from __future__ import annotations

from itertools import combinations, product
from math import ceil, hypot

import numpy as np

BLADES = (1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30)  # From memory: ISO 8820-3.
CONTINUOUS = 1.25  # From memory: NFPA 70, 210.20(A) and 215.3: a fuse is rated for so many times a continuous load.
Edge = tuple[int, int]  # of a tree: points counted from 1 along the rail, 0 being the supply


def metres(one: tuple[float, float], two: tuple[float, float], slack: float, step: float = 0.1) -> float:
    return max(ceil(hypot(one[0] - two[0], one[1] - two[1]) * (1 + slack) / step - 1e-9), 1) * step


def trees(points: tuple[int, ...]) -> list[list[Edge]]:
    """Every tree over the supply and some points, by Prüfer's sequences (A. Cayley: (k + 1)^(k − 1) of them)."""
    nodes = [0, *points]
    size = len(nodes)
    if size == 2:
        return [[(0, points[0])]]
    found = []
    for word in product(range(size), repeat=size - 2):
        degree = [1 + word.count(node) for node in range(size)]
        edges = []
        for node in word:
            leaf = degree.index(1)
            edges.append((nodes[leaf], nodes[node]))
            degree[leaf] -= 1
            degree[node] -= 1
        last = [node for node in range(size) if degree[node] == 1]
        edges.append((nodes[last[0]], nodes[last[1]]))
        found.append(edges)
    return found


def cheapest(places: list[tuple[float, float]], points: tuple[int, ...]) -> list[Edge]:
    """A tree of least length over the supply and some points, grown from the supply (R. C. Prim)."""
    inside, edges, left = [0], [], set(points)
    while left:
        one, two = min(
            ((a, b) for a in inside for b in left),
            key=lambda e: (hypot(places[e[0]][0] - places[e[1]][0], places[e[0]][1] - places[e[1]][1]), e),
        )
        inside.append(two)
        left.remove(two)
        edges.append((one, two))
    return edges


def designs(places: list[tuple[float, float]], points: tuple[int, ...], most: int = 4) -> list[list[Edge]]:
    """The ways to wire some taps: every tree of up to `most`; of more, a cheapest one with any of them on own pairs."""
    if len(points) <= most:
        return trees(points)
    found = []
    for count in range(len(points) + 1):
        for alone in combinations(points, count):
            shared = tuple(point for point in points if point not in alone)
            found.append(cheapest(places, shared) + [(0, point) for point in alone])
    return found


def behind(edges: list[Edge]) -> dict[int, int]:
    """Of each tap of a tree the first tap on its way from the supply."""
    first = {two: two for one, two in map(sorted, edges) if one == 0}
    while len(first) < len(edges):
        for one, two in edges:
            for known, new in ((one, two), (two, one)):
                if known in first and new and new not in first:
                    first[new] = first[known]
    return first


def smallest(amps: float, bears: float) -> float | None:
    """The smallest blade that carries a current for hours and protects a wire."""
    return next((size for size in BLADES if amps * CONTINUOUS <= size + 1e-9 and size <= bears), None)


class Bench:
    """A rail on the bench: ohms and amperes it may carry from pixel to pixel, what pixels draw and need, and what the
    string's own wire may carry at each.
    """

    def __init__(self, ohms, bears, amps, least, strings, volts, places, wires, slack, regulated, step=0.1) -> None:
        self.n = len(amps)
        self.strings = strings
        self.ohms, self.bears, self.amps, self.least = (np.array(each, float) for each in (ohms, bears, amps, least))
        self.volts, self.places, self.slack, self.step = volts, places, slack, step
        self.wires = wires  # (ohms a metre, amperes)
        n = self.n
        self.base = np.zeros((2 * n, 2 * n))
        for conductor in (0, n):
            for pixel, each in enumerate(self.ohms):
                a, b = conductor + pixel, conductor + pixel + 1
                self.base[[a, b], [a, b]] += 1 / each
                self.base[[a, b], [b, a]] -= 1 / each
        self.regulated = np.array(regulated)
        self.watts = self.amps * volts

    def holding(self, edges: list[Edge], wire: tuple[float, float]) -> tuple[bool, bool]:
        """Whether it all holds so, and whether some tap takes current out of the rail."""
        n, (each, bears) = self.n, wire
        matrix, right = self.base.copy(), np.zeros(2 * n)
        laid = [metres(self.places[a], self.places[b], self.slack, self.step) * each for a, b in edges]
        for (one, two), ohms in zip(edges, laid, strict=True):
            for conductor, fixed in ((0, self.volts), (n, 0.0)):
                a, b = sorted((one, two))
                b += conductor - 1
                matrix[b, b] += 1 / ohms
                if a:
                    a += conductor - 1
                    matrix[a, a] += 1 / ohms
                    matrix[a, b] -= 1 / ohms
                    matrix[b, a] -= 1 / ohms
                else:
                    right[b] += fixed / ohms
        inverse, amps = np.linalg.inv(matrix), self.amps
        for _ in range(2000 if self.regulated.any() else 1):
            found = inverse @ (right + np.concatenate([-amps, amps]))
            plus, ground = found[:n], found[n:]
            if not (plus - ground > 0.1).all():
                return False, False
            drawn = np.where(self.regulated, self.watts / (plus - ground), self.amps)
            if np.abs(drawn - amps).max() < 1e-12:
                break
            amps = drawn
        at = np.concatenate([[self.volts], plus])
        flows = [(at[one] - at[two]) / ohms for (one, two), ohms in zip(edges, laid, strict=True)]
        into = np.zeros(n + 1)
        for (one, two), flow in zip(edges, flows, strict=True):
            into[one] -= flow
            into[two] += flow
        back = bool((into[1:] < -1e-9).any())
        if not (plus - ground >= self.least - 1e-9).all() or (np.abs(flows) > bears + 1e-9).any():
            return False, back
        if (np.abs(np.diff(plus) / self.ohms) > self.bears + 1e-9).any():
            return False, back
        fuses = {max(edge): smallest(abs(flow), bears) for edge, flow in zip(edges, flows, strict=True) if 0 in edge}
        return None not in fuses.values() and self.protected(behind(edges), fuses, into), back

    def protected(self, first: dict[int, int], fuses: dict[int, float | None], into: np.ndarray) -> bool:
        """Whether the string is protected at each tap, by the fuse at the supply or by one of its own.

        From memory: NFPA 70, 240.4 and 240.21: a thinner conductor gets overcurrent protection where it is supplied. Of
        a string too thin for any blade a fuse of just what it may carry is taken.
        """
        for tap, root in first.items():
            bears, amps = self.strings[tap - 1], abs(float(into[tap]))
            thin = bears < min(BLADES) and amps * CONTINUOUS <= bears + 1e-9
            if bears < fuses[root] and not thin and smallest(amps, bears) is None:
                return False
        return True

    def fewest(self, below: int) -> tuple[int, list[Edge], bool] | None:
        """The fewest taps, of fewer than so many, that hold any way; without back-flow where there is such a way."""
        for count in range(1, min(below, self.n + 1)):
            ways = []
            for points in combinations(range(1, self.n + 1), count):
                for edges in designs(self.places, points):
                    for wire in self.wires:
                        holds, back = self.holding(edges, wire)
                        if holds and not back:
                            return count, edges, False
                        if holds:
                            ways.append(edges)
            if ways:
                return count, ways[0], True
        return None
