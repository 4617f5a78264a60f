"""Trees of wire from a supply to the taps of one rail: their shapes, the thinnest sizes that hold, and their fuses.

A tree is the cheapest one over the points themselves (Kruskal), taken apart into trunks and branches; no joint is made
in mid-air. Every tree is judged by solving the rail with it, as it would be built.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil

import networkx as nx
import numpy as np

from patcher.power.circuit import Circuit, Floats
from patcher.power.drop import solve
from patcher.power.flow import TINY
from patcher.power.strip import SMALLEST_OHMS, RailStrip
from patcher.power.wires import SLACK_AMPS, Wire, blade, tap_is_safe
from patcher.shapes import Positions


@dataclass(frozen=True, slots=True)
class Stock:
    """What there is to wire with.

    Attributes:
        gauges: the wires to choose from, the thinnest first.
        slack: the part by which wire is longer than the straight line.
        step: metres of the shortest wire that is planned, and by which lengths are rounded up.
    """

    gauges: tuple[Wire, ...]
    slack: float
    step: float

    def metres(self, straight: float) -> float:
        """Metres of wire to plan between two places that lie `straight` metres apart."""
        return round(max(ceil(straight * (1 + self.slack) / self.step - TINY), 1) * self.step, 6)


@dataclass(frozen=True, slots=True)
class Trunk:
    """A wire with taps in order.

    Attributes:
        start: the tap that it branches off; None where it comes from the supply.
        taps: its taps, as pixels of the rail, counted from 0.
        metres: wire before each, one way.
        wire: its size.
        amps: what it carries at its beginning.
        fuse: the blade at the supply; None on a branch, which is behind its trunk's.
    """

    start: int | None
    taps: tuple[int, ...]
    metres: tuple[float, ...]
    wire: Wire
    amps: float = 0.0
    fuse: float | None = None


@dataclass(frozen=True, eq=False)
class Rig:
    """A rail that is to be tapped from one supply.

    Attributes:
        strip: the rail.
        volts: of the supply.
        source: where it stands, or the place to which its wires are led from it.
        stock: what there is to wire with.
        level: the level from 0 to 1.
        celsius: temperature of the wires.
        cable: metres of wire from it to that place.
    """

    strip: RailStrip
    volts: float
    source: Positions
    stock: Stock
    level: float
    celsius: float
    cable: float

    def wired(self, taps: tuple[int, ...]) -> tuple[Trunk, ...] | None:
        """The shortest tree of wire to some taps with which the rail holds, as thin as can be; else None."""
        places = np.vstack([self.source, self.strip.places[list(taps)]])
        shapes = [[self._measured(path, places, taps) for path in paths] for paths in _shapes(places, self.cable)]
        if not any(self._holds_thick(bare) for bare in shapes[::-1][:1] + shapes[:1]):
            return None
        return next((sized for bare in shapes if (sized := self._sized(bare)) is not None), None)

    def _measured(self, path: tuple[int, ...], places: Positions, taps: tuple[int, ...]) -> Trunk:
        """A trunk along some points, the supply and the taps, with no wire chosen yet."""
        away = (float(np.hypot(*(places[a] - places[b]))) + (0.0 if a else self.cable) for a, b in pairwise(path))
        metres = map(self.stock.metres, away)
        start = taps[path[0] - 1] if path[0] else None
        return Trunk(start, tuple(taps[point - 1] for point in path[1:]), tuple(metres), self.stock.gauges[-1])

    def _holds_thick(self, bare: list[Trunk]) -> bool:
        """Whether the rail holds with one of the best wires: of the least ohms, or for the most amperes."""
        gauges = self.stock.gauges
        best = {gauges[-1], max(gauges, key=lambda wire: wire.bears)}
        return any(self._holding(bare, [wire] * len(bare)) is not None for wire in best)

    def _sized(self, bare: list[Trunk]) -> tuple[Trunk, ...] | None:
        """The trunks with the thinnest wires that hold: one size for all, then each thinner where it may be."""
        if not self._holds_thick(bare):
            return None
        gauges = self.stock.gauges
        wires = next(all_of for wire in gauges if self._holding(bare, all_of := [wire] * len(bare)) is not None)
        for number in range(len(bare)):
            for wire in gauges[: gauges.index(wires[number])]:
                thinner = [*wires[:number], wire, *wires[number + 1 :]]
                if self._holding(bare, thinner) is not None:
                    wires = thinner
                    break
        return self._holding(bare, wires)

    def _holding(self, bare: list[Trunk], wires: list[Wire]) -> tuple[Trunk, ...] | None:
        """The trunks of these wires, with what they carry and their fuses; None where a pixel or a wire does not hold,
        or no fuse can be had for a trunk or a tap.
        """
        sized = [replace(trunk, wire=wire) for trunk, wire in zip(bare, wires, strict=True)]
        net, firsts = self._circuit(sized)
        drop = solve(net, self.level)
        if not (drop.volts >= self.strip.least - TINY).all() or (np.abs(drop.amps) > net.bears + TINY).any():
            return None
        fused = _fused(sized, [float(drop.amps[first]) for first in firsts])
        return fused if fused is not None and self._taps_are_safe(fused, drop.amps, firsts) else None

    def _taps_are_safe(self, fused: tuple[Trunk, ...], amps: Floats, firsts: list[int]) -> bool:
        """Whether at each tap, new or given, the string is protected or a fuse can be had that protects it."""
        into: dict[int, float] = {}
        passes: dict[int, float] = {}
        for trunk, first in zip(fused, firsts, strict=True):
            fuse = passes[trunk.start] if trunk.start is not None else trunk.fuse or 0.0
            passes |= dict.fromkeys(trunk.taps, fuse)
            before = trunk.start
            for tap, brought in zip(trunk.taps, amps[first:].tolist(), strict=False):
                into[tap] = brought
                if before is not None:
                    into[before] -= brought
                before = tap
        strings = self.strip.strings
        given = amps[len(amps) - len(self.strip.acting) :].tolist()
        for (at, _, most), brings in zip(self.strip.acting, given, strict=True):
            if at in into:
                into[at] += brings
                passes[at] = max(passes[at], np.inf if most < np.inf else 0.0)
            elif brings > most + SLACK_AMPS:
                return False
        return all(tap_is_safe(strings[tap], passes[tap], abs(brings)) for tap, brings in into.items())

    def _circuit(self, sized: list[Trunk]) -> tuple[Circuit, list[int]]:
        """The strip with its trunks as a circuit of its own, and the first wire of each trunk."""
        strip, pixels = self.strip, len(self.strip.pixels)
        ends = [np.column_stack([np.arange(pixels - 1), np.arange(1, pixels)])]
        ohms, bears, firsts = [strip.ohms], [strip.bears], []
        laid = pixels - 1
        for trunk in sized:
            path = [pixels if trunk.start is None else trunk.start, *trunk.taps]
            ends.append(np.array(list(pairwise(path))))
            ohms.append(np.array(trunk.metres) * trunk.wire.ohms(self.celsius))
            bears.append(np.full(len(trunk.taps), trunk.wire.bears))
            firsts.append(laid)
            laid += len(trunk.taps)
        for at, loop, _ in strip.acting:
            ends.append(np.array([[pixels, at]]))
            ohms.append(np.array([max(loop / 2, SMALLEST_OHMS)]))
            bears.append(np.array([np.inf]))
        every = np.concatenate(ends)
        net = Circuit(
            pixels + 1, {"": slice(0, pixels)}, {"": pixels}, np.array([self.volts]), every, np.concatenate(ohms),
            np.ones(len(every), bool), np.concatenate(bears), {"": slice(0, pixels - 1)}, {}, {},
            strip.idle, strip.full, strip.rated, strip.regulated,
        )  # fmt: skip
        return net, firsts


def _shapes(places: Positions, cable: float) -> Iterator[list[tuple[int, ...]]]:
    """The cheapest tree over the supply and all taps; then with more and more taps on pairs of their own."""
    tree = cheapest_tree(places, cable)
    far = dict.fromkeys(range(1, len(places)), 0.0)
    for path in trunks(tree):
        for before, behind in pairwise(path):
            far[behind] = far.get(before, 0.0) + tree[before][behind]["weight"]
    order = sorted(far, key=lambda point: -far[point])
    for alone in range(len(places) - 1):
        shared = [0, *sorted(order[alone:])]
        paths = [tuple(shared[point] for point in path) for path in trunks(cheapest_tree(places[shared], cable))]
        yield [*paths, *((0, point) for point in sorted(order[:alone]))]


def _fused(sized: list[Trunk], amps: list[float]) -> tuple[Trunk, ...] | None:
    """The trunks with what they carry, those from the supply with their fuse; None where no fuse protects the wire."""
    root: dict[int, int] = {}
    weakest: dict[int, float] = {}
    for number, trunk in enumerate(sized):
        first = number if trunk.start is None else root[trunk.start]
        root |= dict.fromkeys(trunk.taps, first)
        weakest[first] = min(weakest.get(first, np.inf), trunk.wire.bears)
    found = []
    for number, (trunk, carries) in enumerate(zip(sized, amps, strict=True)):
        fuse = blade(carries, weakest[number]) if trunk.start is None else None
        if fuse is None and trunk.start is None:
            return None
        found.append(replace(trunk, amps=carries, fuse=fuse))
    return tuple(found)


def cheapest_tree(places: Positions, cable: float = 0.0) -> nx.Graph[int]:
    """The tree of least length over points, in metres; of equal edges the one between the lower numbers.

    Args:
        places: shape (points, 2).
        cable: metres by which every edge of the first point is longer.
    """
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(places)))
    for first in range(len(places)):
        for second in range(first + 1, len(places)):
            away = float(np.hypot(*(places[first] - places[second])))
            graph.add_edge(first, second, weight=away if first else away + cable)
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
