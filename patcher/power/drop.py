"""The voltage at every pixel: the circuit as a sparse linear system, solved as often as regulated pixels need it.

The unknowns are the potentials of both conductors at every point. A supply ties its two terminals together by its
volts, so they are one unknown; in every connected part one supply's minus is the zero. Where no V+ of a part is cut its
two conductors are alike, so the ground mirrors V+ about a zero midway: one unknown a point will do. Kirchhoff's current
law at every node gives a symmetric matrix of conductances. A pixel that draws the same current at any voltage is a
constant; of one that draws the same power the current is current × rated volts ÷ actual volts, and Newton's method from
the unloaded voltages falls to the highest solution, or finds that there is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import SuperLU, splu

from patcher.power.circuit import Circuit, Floats, Ints

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
    given = (np.bincount(first, amps, size) - np.bincount(second, amps, size)).astype(float)
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
        fed, known, collapsed, mirrored: of each part; mirrored where its ground mirrors its V+.
    """

    def __init__(self, circuit: Circuit, level: float) -> None:
        self.circuit = circuit
        size = circuit.points
        self.supplies = np.array(list(circuit.supplies.values()), dtype=int)
        self.amps = circuit.idle + level * circuit.full
        plus = circuit.ends[circuit.joined]
        grounds, ground = _parts(circuit.ends, size)
        stretches, stretch = (grounds, ground) if circuit.joined.all() else _parts(plus, size)
        lit = np.zeros(stretches, bool)
        lit[stretch[self.supplies]] = True
        self.part = np.concatenate([np.where(lit[stretch], ground, grounds + stretch), ground])
        parts = grounds + stretches
        with np.errstate(divide="ignore"):
            siemens = 1 / circuit.ohms
        self.fed = np.zeros(parts, bool)
        self.fed[self.part[self.supplies]] = True
        self.mirrored = np.ones(parts, bool)
        self.mirrored[ground[circuit.ends[~circuit.joined, 0]]] = False
        alike = self.mirrored[ground[circuit.ends[:, 0]]]
        self.wires: Ints = np.concatenate([plus, circuit.ends[~alike] + size])
        both = np.where(alike, 2, 1) * siemens
        self.siemens = np.concatenate([both[circuit.joined], siemens[~alike]])
        self.known = np.ones(parts, bool)
        self.known[self.part[self.wires[np.isnan(self.siemens), 0]]] = False
        unsaid = np.isnan(self.amps) | (circuit.regulated & np.isnan(circuit.rated))
        self.known[self.part[: circuit.pixels][unsaid]] = False
        if circuit.apart_only:
            on_one = np.bincount(stretch[self.supplies], minlength=stretches) > 1
            self.known[self.part[self.supplies[on_one[stretch[self.supplies]]]]] = False
        self.collapsed = np.zeros(parts, bool)

    def potentials(self) -> Floats:
        """Volts of every node, NaN where there are none."""
        while True:
            solved, bad = self._newton()
            if not len(bad):
                return solved
            self.collapsed[bad] = True

    def _unknowns(self, live: NDArray[np.bool_]) -> _Unknowns:
        """The unknowns of some parts."""
        size = self.circuit.points
        own = np.arange(2 * size)
        sign, above = np.ones(2 * size), np.zeros(2 * size)
        mirrors = np.flatnonzero(self.mirrored[self.part[size:]])
        own[self.supplies] = self.supplies + size
        own[size + mirrors] = mirrors
        sign[size + mirrors] = -1
        use = live[self.part] & (own == np.arange(2 * size))
        alike = self.mirrored[self.part[self.supplies]]
        above[self.supplies] = np.where(alike, 0.5, 1.0) * self.circuit.volts
        above[self.supplies + size] = np.where(alike, -0.5, 0.0) * self.circuit.volts
        _, zeros = np.unique(self.part[self.supplies + size], return_index=True)
        use[self.supplies[zeros] + size] = False
        numbers = np.full(2 * size, -1)
        numbers[use] = np.arange(use.sum())
        return _Unknowns(numbers[own], sign, above, int(use.sum()))

    def _newton(self) -> tuple[Floats, Ints]:
        """The potentials, and the parts that have no solution."""
        circuit, size = self.circuit, self.circuit.points
        live = self.fed & self.known & ~self.collapsed
        of = self._unknowns(live)
        used = live[self.part[self.wires[:, 0]]]
        wires, siemens = self.wires[used], self.siemens[used]
        pixels = np.flatnonzero(live[self.part[: circuit.pixels]])
        ends = np.column_stack([pixels, pixels + size])
        amps, rated = self.amps[pixels], circuit.rated[pixels]
        regulated = circuit.regulated[pixels]
        watts = amps * rated
        copper = of.laplacian(wires, siemens)
        offset = of.currents(wires, siemens * (of.above[wires[:, 0]] - of.above[wires[:, 1]]))

        def across(free: Floats) -> Floats:
            potential = of.potentials(free)
            return potential[pixels] - potential[pixels + size]

        def whole(free: Floats) -> Floats:
            return np.where(live[self.part], of.potentials(free), np.nan)

        if not of.count:
            return whole(np.zeros(0)), np.empty(0, int)
        if not regulated.any():
            free = _factored(copper).solve(-offset - of.currents(ends, amps))
            return whole(free), np.empty(0, int)
        begin = _factored(copper)
        free = begin.solve(-offset)
        least = _SUNK * across(free)
        step = begin.solve(-of.currents(ends, np.where(regulated, watts * _SUNK / least, amps)))
        factors: SuperLU | None = None
        for _ in range(_STEPS):
            free = free + step
            volts = across(free)
            sunk = self.part[pixels[regulated & ~(volts > least)]]
            if len(sunk):
                return whole(free), np.unique(sunk)
            last = np.abs(step).max()
            if factors is not None and last < _VOLTS:
                return whole(free), np.empty(0, int)
            drawn = np.where(regulated, watts / volts, amps)
            left = copper @ free + offset + of.currents(ends, drawn)
            if factors is not None:
                step = factors.solve(-left)
            if factors is None or np.abs(step).max() > last * _SLOW:
                factors = _slid(copper, of.laplacian(ends, np.where(regulated, -drawn / volts, 0.0)))
                step = factors.solve(-left)
        unknown = np.flatnonzero(of.numbers >= 0)
        return whole(free), np.unique(self.part[unknown[np.abs(step)[of.numbers[unknown]] >= _VOLTS]])


@dataclass(frozen=True, eq=False)
class _Unknowns:
    """What is to be found: a node's potential is `sign` × its unknown, if it has one, + `above`.

    Attributes:
        numbers: of each node the number of its unknown; −1 for one that is known, or dead.
        sign: −1 where it mirrors its unknown, else 1.
        above: volts that it stands above.
        count: of unknowns.
    """

    numbers: Ints
    sign: Floats
    above: Floats
    count: int

    def potentials(self, free: Floats) -> Floats:
        """Volts of every node; 0 of a dead one."""
        found: Floats = self.sign * np.append(free, 0.0)[self.numbers] + self.above
        return found

    def laplacian(self, pairs: Ints, siemens: Floats) -> csc_matrix:
        """The conductances of some pairs of nodes, as a matrix over the unknowns."""
        first, second = self.numbers[pairs].T
        between = -siemens * self.sign[pairs[:, 0]] * self.sign[pairs[:, 1]]
        rows = np.concatenate([first, second, first, second])
        columns = np.concatenate([first, second, second, first])
        values = np.concatenate([siemens, siemens, between, between])
        inside = (rows >= 0) & (columns >= 0)
        return coo_matrix((values[inside], (rows[inside], columns[inside])), shape=(self.count, self.count)).tocsc()

    def currents(self, pairs: Ints, amps: Floats) -> Floats:
        """The currents that leave each unknown when `amps` flow from the first to the second node of each pair."""
        first, second = pairs.T
        leaving = np.bincount(self.numbers[first] + 1, amps * self.sign[first], self.count + 1)
        arriving = np.bincount(self.numbers[second] + 1, amps * self.sign[second], self.count + 1)
        return (leaving - arriving)[1:].astype(float)


def _parts(pairs: Ints, nodes: int) -> tuple[int, Ints]:
    """How many connected parts pairs make of `nodes` nodes, and the part of each node."""
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
