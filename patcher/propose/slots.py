"""The ports of an instance as arrays, and a plan on them that can be changed: what the local search works on.

A slot is one port. A node is a run entered in one way; leads are a table from node to node, with a row for each outlet
and a last column for the end of a chain. All leads cost whole centimetres.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from patcher.chains.boards import Floats, Ints
from patcher.chains.chains import Route, accepts, leads_cm, mixes_orders, prices
from patcher.chains.instance import Instance, one_order, room

Bools = NDArray[np.bool_]
Prices = NDArray[np.int32]
NEVER = 100_000_000
"""Stands for the price of what cannot be; three of them fit into 32 bits."""


@dataclass(frozen=True, eq=False)
class Slots:
    """Nodes, leads and ports.

    Attributes:
        given: the instance.
        nodes: the nodes of each run, as the first and the one past the last.
        run: the run of each node.
        way: its way.
        price: what each lead costs: shape (nodes + outlets + 1, nodes + 1); the last row is barred.
        into: the same, turned.
        rows: the same, as lists.
        outlet: the outlet of each slot.
        box: the box of each slot.
        pixels: the pixels of each run.
        kind: the kind of each run, by number.
        quiet: the quiet of each run, by number.
        units: universes of each run that has a start of its own.
        allowed: whether a slot takes a kind at all: shape (slots, kinds).
        room: pixels that fit: shape (slots, kinds, quiets).
        together: whether kinds may share a chain on a slot: shape (slots, kinds, kinds).
        per_universe: pixels of one universe, by kind.
        free: universes free in each box; infinite without a limit.
        one_order: boxes that take one colour order, and so one of their outlets.
        barred: whether a slot may not be used.
    """

    given: Instance
    nodes: tuple[tuple[int, int], ...]
    run: tuple[int, ...]
    way: tuple[int, ...]
    price: Prices
    into: Prices
    rows: list[list[int]]
    outlet: Ints
    box: Ints
    pixels: tuple[int, ...]
    kind: tuple[int, ...]
    quiet: tuple[int, ...]
    units: tuple[int, ...]
    allowed: Bools
    room: Ints
    together: Bools
    per_universe: tuple[int, ...]
    free: Floats
    one_order: frozenset[int]
    barred: Bools

    @property
    def source(self) -> int:
        """The row of the first outlet."""
        return len(self.run)


def slots(given: Instance, without: Collection[int] = ()) -> Slots:
    """The slots of an instance.

    Args:
        given: the instance.
        without: boxes that nothing may be hung on, by their numbers.
    """
    kinds = sorted({run.kind for run in given.runs}, key=lambda kind: (kind.bit_rate, kind.channels, kind.colour_order))
    quiets = sorted({run.reset_us for run in given.runs})
    price, nodes = _leads(given)
    every = [(number, o) for number, o in enumerate(given.outlets) for _ in o.ports[: len(given.runs)]]
    outlet = np.array([number for number, _ in every], dtype=np.int64)
    box = np.array([o.box for _, o in every], dtype=np.int64)
    rooms = [
        [[room(given.boxes[o.box], o, kind, quiet, given.frame_rate) for quiet in quiets] for kind in kinds]
        for o in given.outlets
    ]
    together = [
        [[(a.bit_rate, a.channels) == (b.bit_rate, b.channels) and (mixes or a == b) for b in kinds] for a in kinds]
        for mixes in (mixes_orders(given.boxes[o.box].start_per, given.boxes[o.box].reorders) for o in given.outlets)
    ]
    allowed = np.array([[accepts(given, o, kind) for kind in kinds] for o in given.outlets], dtype=bool)
    free = [
        np.inf if each.universes is None else max(0.0, each.universes - taken) + 1e-9
        for each, taken in zip(given.boxes, given.universes_taken, strict=True)
    ]
    return Slots(
        given,
        nodes,
        tuple(number for number, run in enumerate(given.runs) for _ in run.entries),
        tuple(way for run in given.runs for way in range(len(run.entries))),
        price,
        np.ascontiguousarray(price.T),
        price.tolist(),
        outlet,
        box,
        tuple(run.pixels for run in given.runs),
        tuple(kinds.index(run.kind) for run in given.runs),
        tuple(quiets.index(run.reset_us) for run in given.runs),
        tuple(ceil(run.pixels / run.kind.per_universe) for run in given.runs),
        allowed[outlet],
        np.array(rooms, dtype=np.int64)[outlet],
        np.array(together, dtype=bool)[outlet],
        tuple(kind.per_universe for kind in kinds),
        np.array(free),
        frozenset(n for n, b in enumerate(given.boxes) if one_order(b.start_per, b.reorders) and not b.in_use),
        np.isin(box, list(without)),
    )


def _leads(given: Instance) -> tuple[Prices, tuple[tuple[int, int], ...]]:
    """The table of leads, and the nodes of each run."""
    entries = [entry for run in given.runs for entry in run.entries]
    firsts, lasts = (np.array([getattr(entry, end) for entry in entries]) for end in ("first", "last"))
    starts = np.array([outlet.at for outlet in given.outlets])
    count = len(entries)
    found = np.full((count + len(starts) + 1, count + 1), NEVER, dtype=np.int32)
    found[:-1, :count] = prices(leads_cm(given, np.concatenate([lasts, starts]), firsts), given.booster)
    found[:-1, count] = 0
    ends = np.cumsum([len(run.entries) for run in given.runs]).tolist()
    return found, tuple(zip([0, *ends[:-1]], ends, strict=True))


Chain = tuple[int, ...]
"""The nodes on a slot, in data order."""


class Hanging:
    """A plan that can be changed, chain by chain.

    Attributes:
        of: the slots.
        chains: the chain on each slot.
        cost: what all leads cost.
        absent: the runs that hang nowhere.
        at: the slot of each run that hangs.
        ports: how many slots of each box are used.
        boxes: how many boxes are used besides those that kept runs hang on.
    """

    def __init__(self, of: Slots, routes: Iterable[Route]) -> None:
        count = len(of.outlet)
        self.of = of
        self.chains: list[Chain] = [()] * count
        self.cost = 0
        self.absent = set(range(len(of.pixels)))
        self.costs = [0] * count
        self.at = dict.fromkeys(self.absent, -1)
        self.ports = [0] * len(of.given.boxes)
        self.boxes = 0
        self.load = np.zeros(count, dtype=np.int64)
        self.kind = np.full(count, -1, dtype=np.int64)
        self.quiet = np.zeros(count, dtype=np.int64)
        self.universes = np.zeros(count)
        self.before = np.full((count, 8), len(of.price) - 1, dtype=np.int64)
        self.after = np.full((count, 8), len(of.run), dtype=np.int64)
        self.base = np.zeros((count, 8), dtype=np.int32)
        self._many_kinds = len(of.per_universe) > 1 or of.room.shape[2] > 1
        self._limited = bool(np.isfinite(of.free).any())
        self._start_per = [of.given.boxes[box].start_per for box in of.box]
        self._taken = [of.given.outlets[outlet].taken for outlet in of.outlet]
        few = [[box in some for box in range(len(self.ports))] for some, _ in of.given.few]
        self._few = np.array(few, dtype=np.int64).reshape(-1, len(self.ports))
        self._most = np.array([most for _, most in of.given.few])
        for slot in range(count):
            self.hang(slot, ())
        for slot, route in self._seats(routes):
            self.hang(slot, tuple(of.nodes[run][0] + way for run, way in route.stops))

    def _seats(self, routes: Iterable[Route]) -> Iterable[tuple[int, Route]]:
        free: dict[int, list[int]] = {}
        for slot, outlet in enumerate(self.of.outlet):
            if not self.of.barred[slot]:
                free.setdefault(int(outlet), []).append(slot)
        return [(free[route.outlet].pop(0), route) for route in routes]

    def hang(self, slot: int, chain: Chain) -> None:
        """Put a chain on a slot, in place of what is there."""
        of = self.of
        for node in self.chains[slot]:
            self.absent.add(of.run[node])
        self._count(slot, bool(chain) - bool(self.chains[slot]))
        runs = [of.run[node] for node in chain]
        for run in runs:
            self.absent.discard(run)
            self.at[run] = slot
        if len(chain) + 1 > self.before.shape[1]:
            self._widen()
        source = of.source + int(of.outlet[slot])
        before, after = (source, *chain), (*chain, len(of.run))
        leads = [of.rows[a][b] for a, b in zip(before, after, strict=True)]
        width = len(before)
        self.before[slot, :width], self.before[slot, width:] = before, len(of.price) - 1
        self.after[slot, :width] = after
        self.base[slot, :width] = leads
        self.cost += sum(leads) - self.costs[slot]
        self.costs[slot] = sum(leads)
        self.chains[slot] = chain
        self.load[slot] = sum(of.pixels[run] for run in runs)
        if self._many_kinds:
            self.kind[slot] = of.kind[runs[0]] if runs else -1
            self.quiet[slot] = max((of.quiet[run] for run in runs), default=0)
        if self._limited:
            self.universes[slot] = self._used(slot, runs)

    def _count(self, slot: int, more: int) -> None:
        box = int(self.of.box[slot])
        if not self.of.given.boxes[box].in_use:
            self.boxes += bool(self.ports[box] + more) - bool(self.ports[box])
        self.ports[box] += more

    def _widen(self) -> None:
        more = self.before.shape
        self.before = np.concatenate([self.before, np.full(more, len(self.of.price) - 1)], axis=1)
        self.after = np.concatenate([self.after, np.full(more, len(self.of.run))], axis=1)
        self.base = np.concatenate([self.base, np.zeros(more, dtype=np.int32)], axis=1)

    def _used(self, slot: int, runs: Sequence[int]) -> float:
        """Universes that runs add on a slot."""
        if not runs:
            return 0.0
        if self._start_per[slot] == "run":
            return float(sum(self.of.units[run] for run in runs))
        per, taken = self.of.per_universe[self.of.kind[runs[0]]], self._taken[slot]
        pixels = sum(self.of.pixels[run] for run in runs)
        if self._start_per[slot] == "controller":
            return pixels / per
        return float(ceil((taken + pixels) / per) - ceil(taken / per))

    def fits(self, run: int) -> Ints:
        """The slots that take one run more."""
        of, kind = self.of, self.of.kind[run]
        if self._many_kinds:
            quiet = np.maximum(self.quiet, of.quiet[run])
            room = of.room[np.arange(len(quiet)), kind, quiet]
            ok = (self.load + of.pixels[run] <= room) & of.allowed[:, kind]
            ok &= (self.kind < 0) | of.together[np.arange(len(quiet)), self.kind, kind]
        else:
            ok = (self.load + of.pixels[run] <= of.room[:, 0, 0]) & of.allowed[:, 0]
        if of.given.few:
            ok &= ~self.closed()[of.box]
        found = np.flatnonzero(ok & ~of.barred)
        if of.one_order:
            found = self._of_one_order(found)
        if self._limited:
            found = self._with_universes(found, run)
        return found

    def closed(self) -> Bools:
        """Whether each box may not be used, for as many as may be used of its set are others."""
        used = np.array(self.ports) > 0
        full = self._few[self._few @ used >= self._most]
        found: Bools = full.any(axis=0) & ~used
        return found

    def _of_one_order(self, some: Ints) -> Ints:
        """Slots whose box is not used by another of its outlets."""
        used = {
            int(self.of.box[slot]): int(self.of.outlet[slot])
            for slot, chain in enumerate(self.chains) if chain and int(self.of.box[slot]) in self.of.one_order
        }  # fmt: skip
        return np.array(
            [slot for slot in some.tolist() if used.get(int(self.of.box[slot]), o := int(self.of.outlet[slot])) == o],
            dtype=np.int64,
        )

    def _with_universes(self, some: Ints, run: int) -> Ints:
        """Slots whose box has the universes for one run more."""
        of = self.of
        left = of.free - np.bincount(of.box, weights=self.universes, minlength=len(of.free))
        return np.array(
            [
                slot for slot in some.tolist() if left[of.box[slot]] == np.inf
                or self._used(slot, [*(of.run[n] for n in self.chains[slot]), run]) - self.universes[slot]
                <= left[of.box[slot]]
            ],
            dtype=np.int64,
        )  # fmt: skip

    def routes(self) -> tuple[Route, ...]:
        """The plan."""
        return tuple(self.route(slot) for slot, chain in enumerate(self.chains) if chain)

    def route(self, slot: int) -> Route:
        """The chain on a slot."""
        of = self.of
        stops = tuple((of.run[node], of.way[node]) for node in self.chains[slot])
        return Route(int(of.outlet[slot]), stops, self.costs[slot])


def oriented(of: Slots, outlet: int, runs: Sequence[int]) -> Chain:
    """The cheapest ways to enter some runs in a given order, by dynamic programming."""
    here: list[tuple[int, Chain]] = [(0, ())]
    last = [of.source + outlet]
    for run in runs:
        begin, end = of.nodes[run]
        new = []
        for node in range(begin, end):
            cost, chain = min((cost + of.rows[at][node], chain) for at, (cost, chain) in zip(last, here, strict=True))
            new.append((cost, (*chain, node)))
        here, last = new, list(range(begin, end))
    return min(here)[1]


def near_runs(of: Slots) -> list[list[int]]:
    """For each run all runs, those with the shortest leads to it first."""
    firsts: Ints = np.array([begin for begin, _ in of.nodes])
    count = of.source
    close = np.minimum.reduceat(np.minimum.reduceat(of.price[:count, :count], firsts, axis=0), firsts, axis=1)
    close = np.minimum(close, close.T)
    np.fill_diagonal(close, -1)
    found: list[list[int]] = np.argsort(close, axis=1, kind="stable").tolist()
    return found
