"""The voltage at every pixel: the circuit as a sparse linear system, solved as often as regulated pixels need it.

The unknowns are the potentials of both conductors at every point. A supply ties its two terminals together by its
volts, so they are one unknown; in every connected part one supply's minus is the zero. Kirchhoff's current law at every
node gives a symmetric matrix of conductances. A pixel that draws the same current at any voltage is a constant; of one
that draws the same power the current is current × rated volts ÷ actual volts, and Newton's method from the unloaded
voltages falls to the highest solution, or finds that there is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import SuperLU, splu

from patcher.limits.circuit import Circuit, Floats, Ints

_STEPS = 60
_VOLTS = 1e-6
"""Volts between two steps of Newton's method at which it has arrived. Potentials are known to 1e-15 V, so currents
through a joint of 1e-8 Ω to 1e-7 A: finer than that no step becomes."""
_SUNK = 1e-3
"""The part of its unloaded volts below which a pixel has passed by all solutions. Newton's method never falls below the
highest one; near 0 V it would creep, and seem to have arrived."""
_SLOW = 0.2
"""The part of the step before at which a step is worth factors of its own. Older ones are those of a higher voltage, so
their steps are shorter, and fall no lower."""


@dataclass(frozen=True, eq=False)
class Drop:
    """What a circuit does at one level.

    Attributes:
        volts: at each pixel; NaN where it is not fed, not known, or has no solution.
        amps: of each wire's V+ conductor, from its first point to its second.
        ground_amps: of its ground conductor, from its second point to its first.
        supply_amps: what each supply gives to its feeds.
        fed: whether a supply reaches each pixel.
        known: whether the file says all that is needed of what each pixel hangs together with.
        collapsed: whether there is no solution for what it hangs together with: its regulated pixels want more power
            than the wires can carry.
    """

    volts: Floats
    amps: Floats
    ground_amps: Floats
    supply_amps: Floats
    fed: NDArray[np.bool_]
    known: NDArray[np.bool_]
    collapsed: NDArray[np.bool_]


def solve(circuit: Circuit, level: float) -> Drop:
    """The voltages and currents of a circuit with every pixel white at a level from 0 to 1."""
    net = _Net(circuit, level)
    potential = net.potentials()
    size = circuit.points
    volts = potential[: circuit.pixels] - potential[size : size + circuit.pixels]
    first, second = circuit.ends.T
    amps = np.where(circuit.joined, (potential[first] - potential[second]) / circuit.ohms, 0.0)
    ground = (potential[size + second] - potential[size + first]) / circuit.ohms
    given = np.zeros(size)
    np.add.at(given, first, amps)
    np.add.at(given, second, -amps)
    part = net.part[: circuit.pixels]
    return Drop(
        volts, amps, ground, given[list(circuit.supplies.values())],
        net.fed[part], net.known[part], net.collapsed[part],
    )  # fmt: skip


class _Net:
    """One level's equations: nodes 0 … points are V+, those behind them the ground of the same points.

    Attributes:
        part: the connected part of each node; pixels join V+ to ground only where V+ leads to a supply, since the
            others draw nothing.
        fed, known, collapsed: of each part.
    """

    def __init__(self, circuit: Circuit, level: float) -> None:
        self.circuit = circuit
        size = circuit.points
        plus = circuit.ends[circuit.joined]
        self.wires: Ints = np.concatenate([plus, circuit.ends + size])
        with np.errstate(divide="ignore"):
            self.siemens = 1 / np.concatenate([circuit.ohms[circuit.joined], circuit.ohms])
        self.supplies = np.array(list(circuit.supplies.values()), dtype=int)
        pixels = np.arange(circuit.pixels)
        self.amps = circuit.idle + level * circuit.full
        _, stretch = _parts(plus, size)
        lit = pixels[np.isin(stretch[pixels], stretch[self.supplies])]
        across = np.concatenate([self.supplies, lit])
        pairs = np.concatenate([self.wires, np.column_stack([across, across + size])])
        parts, self.part = _parts(pairs, 2 * size)
        self.fed = np.zeros(parts, bool)
        self.fed[self.part[circuit.ends[np.isin(circuit.ends, self.supplies)]]] = True
        self.known = np.ones(parts, bool)
        self.known[self.part[self.wires[np.isnan(self.siemens), 0]]] = False
        unsaid = np.isnan(self.amps) | (circuit.regulated & np.isnan(circuit.rated))
        self.known[self.part[pixels[unsaid]]] = False
        self.collapsed = np.zeros(parts, bool)

    def potentials(self) -> Floats:
        """Volts of every node, NaN where there are none."""
        while True:
            solved, bad = self._newton()
            if not len(bad):
                return solved
            self.collapsed[bad] = True

    def _numbers(self, live: NDArray[np.bool_]) -> tuple[Ints, Floats, int]:
        """Of every node the number of its unknown (-1 for a zero or a dead one) and the volts that it stands above."""
        size = self.circuit.points
        own = np.arange(2 * size)
        above = np.zeros(2 * size)
        own[self.supplies] = self.supplies + size
        above[self.supplies] = self.circuit.volts
        use = live[self.part] & (own == np.arange(2 * size))
        _, zeros = np.unique(self.part[self.supplies + size], return_index=True)
        use[self.supplies[zeros] + size] = False
        numbers = np.full(2 * size, -1)
        numbers[use] = np.arange(use.sum())
        return numbers[own], above, int(use.sum())

    def _newton(self) -> tuple[Floats, Ints]:
        """The potentials, and the parts that have no solution."""
        circuit, size = self.circuit, self.circuit.points
        live = self.fed & self.known & ~self.collapsed
        numbers, above, unknowns = self._numbers(live)
        wires, siemens = self.wires[live[self.part[self.wires[:, 0]]]], self.siemens[live[self.part[self.wires[:, 0]]]]
        pixels = np.flatnonzero(live[self.part[: circuit.pixels]])
        ends = np.column_stack([pixels, pixels + size])
        amps, rated = self.amps[pixels], circuit.rated[pixels]
        regulated = circuit.regulated[pixels]
        watts = amps * rated
        copper = _laplacian(wires, siemens, numbers, unknowns)
        offset = _currents(wires, siemens * (above[wires[:, 0]] - above[wires[:, 1]]), numbers, unknowns)

        def full(free: Floats) -> Floats:
            return np.where(numbers >= 0, np.append(free, 0.0)[numbers], 0.0) + above

        if not unknowns:
            return np.where(live[self.part], full(np.zeros(0)), np.nan), np.empty(0, int)
        if not regulated.any():
            free = _factored(copper).solve(-offset - _currents(ends, amps, numbers, unknowns))
            return np.where(live[self.part], full(free), np.nan), np.empty(0, int)
        begin = _factored(copper)
        free = begin.solve(-offset)
        least = _SUNK * (full(free)[ends[:, 0]] - full(free)[ends[:, 1]])
        step = begin.solve(-_currents(ends, np.where(regulated, watts * _SUNK / least, amps), numbers, unknowns))
        factors: SuperLU | None = None
        for _ in range(_STEPS):
            free = free + step
            volts = full(free)[ends[:, 0]] - full(free)[ends[:, 1]]
            sunk = self.part[pixels[regulated & ~(volts > least)]]
            if len(sunk):
                return full(free), np.unique(sunk)
            last = np.abs(step).max()
            if factors is not None and last < _VOLTS:
                return np.where(live[self.part], full(free), np.nan), np.empty(0, int)
            drawn = np.where(regulated, watts / volts, amps)
            left = copper @ free + offset + _currents(ends, drawn, numbers, unknowns)
            if factors is not None:
                step = factors.solve(-left)
            if factors is None or np.abs(step).max() > last * _SLOW:
                slope = np.where(regulated, -drawn / volts, 0.0)
                factors = _slid(copper, _laplacian(ends, slope, numbers, unknowns))
                step = factors.solve(-left)
        used = np.flatnonzero(numbers >= 0)
        return full(free), np.unique(self.part[used[np.abs(step)[numbers[used]] >= _VOLTS]])


def _parts(pairs: Ints, nodes: int) -> tuple[int, Ints]:
    """How many connected parts some pairs make of so many nodes, and the part of each node."""
    links = coo_matrix((np.ones(len(pairs), bool), (pairs[:, 0], pairs[:, 1])), shape=(nodes, nodes))
    found: tuple[int, Ints] = connected_components(links, directed=False)
    return found


def _slid(copper: csc_matrix, slope: csc_matrix) -> SuperLU:
    """The factors of a step; where it would be endless, of one that is all but endless."""
    try:
        return _factored(copper + slope)
    except RuntimeError:  # exactly singular
        return _factored(copper + slope * (1 - 1e-9))


def _factored(matrix: csc_matrix) -> SuperLU:
    """The factors of a matrix that is symmetric, and nearly a forest's."""
    return splu(csc_matrix(matrix), permc_spec="MMD_AT_PLUS_A", relax=1, panel_size=1, options={"SymmetricMode": True})


def _laplacian(pairs: Ints, siemens: Floats, numbers: Ints, unknowns: int) -> csc_matrix:
    """The conductances of some pairs of nodes, as a matrix over the unknowns."""
    first, second = numbers[pairs].T
    rows = np.concatenate([first, second, first, second])
    columns = np.concatenate([first, second, second, first])
    values = np.concatenate([siemens, siemens, -siemens, -siemens])
    inside = (rows >= 0) & (columns >= 0)
    return coo_matrix((values[inside], (rows[inside], columns[inside])), shape=(unknowns, unknowns)).tocsc()


def _currents(pairs: Ints, amps: Floats, numbers: Ints, unknowns: int) -> Floats:
    """The currents that leave each unknown when so much flows from the first to the second node of each pair."""
    summed = np.zeros(unknowns + 1)
    first, second = numbers[pairs].T
    np.add.at(summed, first, amps)
    np.add.at(summed, second, -amps)
    return summed[:unknowns]
