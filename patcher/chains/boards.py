"""The wiring graph that chains are searched on, as arrays: one board for each kind of line.

A node is a run entered in one way. An arc from one node to another is the lead between the two; an arc from an outlet
to a node is the first lead of a chain. On one board every pixel takes equally long on the line, so that the room of a
port is a number of pixels. Runs that need a longer quiet are on boards of their own, with those that need less.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import ceil

import numpy as np
from numpy.typing import NDArray

from patcher.chains.chains import Route, Stop, accepts, leads_cm, mixes_orders, prices
from patcher.chains.instance import Instance, OpenRun, room

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Board:
    """Nodes, arcs and outlets for one kind of line.

    Attributes:
        run: the run of each node, by its number in the instance; sorted.
        way: the way in which data enters it.
        pixels: its pixels.
        units: universes of a run that has a start of its own; 0 where runs have none.
        between: the price of the lead from the node of a row to the node of a column.
        outlets: numbers of the outlets in the instance.
        first: the price of the first lead, outlets by nodes.
        room: pixels that fit on each outlet.
        taken: pixels that are on it.
        start_per: what has a start address in its box.
        per_universe: pixels in one universe.
    """

    run: Ints
    way: Ints
    pixels: Ints
    units: Ints
    between: Ints
    outlets: Ints
    first: Ints
    room: Ints
    taken: Ints
    start_per: tuple[str, ...]
    per_universe: int

    @cached_property
    def most(self) -> int:
        """Pixels that fit on the roomiest outlet."""
        return int(self.room.max())

    @cached_property
    def run_starts(self) -> Ints:
        """The first node of each run of the board."""
        return np.flatnonzero(np.diff(self.run, prepend=-1))

    def added(self, outlet: int, pixels: Ints) -> Floats:
        """Universes that chains of so many pixels add on an outlet, by its number on the board."""
        if self.start_per[outlet] == "run":
            return np.zeros(len(pixels))
        taken, per = int(self.taken[outlet]), self.per_universe
        if self.start_per[outlet] == "controller":
            return np.asarray(pixels / per, dtype=np.float64)
        return np.asarray(np.ceil((taken + pixels) / per) - ceil(taken / per), dtype=np.float64)

    def route(self, outlet: int, nodes: tuple[int, ...]) -> Route:
        """The chain of some nodes on an outlet, by their numbers on the board."""
        price = int(self.first[outlet, nodes[0]])
        price += sum(int(self.between[a, b]) for a, b in pairwise(nodes))
        stops: tuple[Stop, ...] = tuple((int(self.run[node]), int(self.way[node])) for node in nodes)
        return Route(int(self.outlets[outlet]), stops, price)


def boards(given: Instance, without: Collection[int] = ()) -> list[Board]:
    """The boards of an instance; every feasible chain is on one of them.

    Args:
        given: the instance.
        without: boxes that nothing may be hung on, by their numbers.
    """
    groups: dict[tuple[float, int, str, int], list[int]] = {}
    for number, outlet in enumerate(given.outlets):
        box = given.boxes[outlet.box]
        if outlet.box in without:
            continue
        # Where every run has a start of its own, what it adds to its box's universes is a price of its nodes.
        own = outlet.box if box.start_per == "run" and box.universes is not None else -1
        kinds = {run.kind for run in given.runs if accepts(given, outlet, run.kind)}
        mixes = mixes_orders(box.start_per, box.reorders)
        for key in {(k.bit_rate, k.channels, "" if mixes else k.colour_order, own) for k in kinds}:
            groups.setdefault(key, []).append(number)
    found: list[Board] = []
    for (rate, channels, order, own), outlets in sorted(groups.items()):
        fits = [
            number for number, run in enumerate(given.runs)
            if (run.kind.bit_rate, run.kind.channels) == (rate, channels) and order in ("", run.kind.colour_order)
        ]  # fmt: skip
        resets = sorted({given.runs[run].reset_us for run in fits})
        for reset in resets:
            within = [run for run in fits if given.runs[run].reset_us <= reset]
            found += _board(given, within, outlets, reset, counts_runs=own >= 0)
    return found


def _board(
    given: Instance, fits: list[int], outlets: list[int], reset_us: float, *, counts_runs: bool
) -> Iterator[Board]:
    """The board of some runs and outlets, if any of the runs fits on any of the outlets."""
    kind = given.runs[fits[0]].kind
    rooms = {
        number: room(given.boxes[(o := given.outlets[number]).box], o, kind, reset_us, given.frame_rate)
        for number in outlets
    }  # fmt: skip
    least, most = min(given.runs[run].pixels for run in fits), max(rooms.values())
    used = [number for number in outlets if rooms[number] >= least]
    runs: list[tuple[int, OpenRun]] = [(n, given.runs[n]) for n in fits if given.runs[n].pixels <= most]
    if not used or not runs:
        return
    nodes = [(number, way, run, entry) for number, run in runs for way, entry in enumerate(run.entries)]
    firsts, lasts = (np.array([getattr(entry, end) for *_, entry in nodes]) for end in ("first", "last"))
    pixels = np.array([run.pixels for *_, run, _ in nodes], dtype=np.int64)
    starts = np.array([given.outlets[number].at for number in used])
    yield Board(
        run=np.array([number for number, *_ in nodes], dtype=np.int64),
        way=np.array([way for _, way, *_ in nodes], dtype=np.int64),
        pixels=pixels,
        units=-(-pixels // kind.per_universe) if counts_runs else np.zeros_like(pixels),
        between=prices(leads_cm(given, lasts, firsts), given.booster),
        outlets=np.array(used, dtype=np.int64),
        first=prices(leads_cm(given, starts, firsts), given.booster),
        room=np.array([rooms[number] for number in used], dtype=np.int64),
        taken=np.array([given.outlets[number].taken for number in used], dtype=np.int64),
        start_per=tuple(given.boxes[given.outlets[number].box].start_per for number in used),
        per_universe=kind.per_universe,
    )
