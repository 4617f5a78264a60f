"""Chains of negative reduced cost, and all chains whose reduced cost is below a gap.

The master program's duals say what hanging a run is worth; a chain that costs less than its runs are worth improves the
plan. That none does, in a relaxation that allows more than chains, proves a bound.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from math import inf

import numpy as np

from patcher.chains.boards import Board, Floats, Ints
from patcher.chains.bounds import Duals, ReducedCosts, completion, reduced
from patcher.chains.chains import Route
from patcher.chains.columns import Columns
from patcher.chains.instance import Instance
from patcher.chains.labels import (
    Bits,
    Labels,
    Search,
    bits,
    dearer_orders_dropped,
    dominated_dropped,
    few_kept,
    grow,
)

EXACT = 1e-6
"""Part of the largest dual by which a reduced cost must be negative to count."""
_NEIGHBOURS = 8
"""Runs that a label at a run does not forget, itself included: those with the shortest leads to it."""
_BEAM = 4
_EACH = 6
"""Chains with one run that are taken up at once."""


@dataclass(frozen=True, eq=False)
class Priced:
    """What a search has brought.

    Attributes:
        routes: chains of negative reduced cost; they may pass a run twice.
        least: the least reduced cost on each outlet of the instance, 0 where it is not negative; None where the search
            was not exhausted, so that nothing is proved.
    """

    routes: list[Route]
    least: Floats | None


def neighbourhoods(board: Board, runs: int) -> Bits:
    """The runs that are near each run, a bit each: shape (runs, words)."""
    starts = board.run_starts
    near = np.minimum.reduceat(np.minimum.reduceat(board.between, starts, axis=0), starts, axis=1)
    near = np.minimum(near, near.T)
    np.fill_diagonal(near, -1)
    every, numbers = bits(runs), board.run[starts]
    found = np.zeros_like(every)
    for row, order in enumerate(np.argsort(near, axis=1, kind="stable")[:, :_NEIGHBOURS]):
        found[numbers[row]] = np.bitwise_or.reduce(every[numbers[order]], axis=0)
    return found


def price(given: Instance, some: list[Board], duals: Duals, *, exact: bool, most: int, deadline: float = inf) -> Priced:
    """Chains of negative reduced cost.

    Args:
        given: the instance.
        some: its boards.
        duals: the prices.
        exact: whether to exhaust the search; else it is quick.
        most: labels at which a search stops.
        deadline: the time of `perf_counter` at which it stops.
    """
    below = -EXACT * max(1.0, float(np.abs(duals.runs).max(initial=0.0)))
    routes: list[Route] = []
    least = np.zeros(len(given.outlets))
    sound = exact
    for board in some:
        labels, costs, exhausted = _search(given, board, duals, below, deadline, exact=exact, most=most)
        sound = sound and exhausted
        best: list[tuple[float, int, int]] = []
        for outlet, values in _closed(board, labels, costs.first, costs.universe):
            number = board.outlets[outlet]
            least[number] = min(least[number], float(values.min(initial=0.0)))
            good = np.flatnonzero(values < below)
            good = good[np.argsort(values[good], kind="stable")[:400]]
            best += [(float(values[label]), outlet, int(label)) for label in good]
        routes += _chosen(board, labels, sorted(best))
    return Priced(routes, least if sound else None)


def _search(
    given: Instance, board: Board, duals: Duals, below: float, deadline: float, *, exact: bool, most: int
) -> tuple[Labels, ReducedCosts, bool]:
    boxes = np.array([outlet.box for outlet in given.outlets])
    costs = reduced(board, duals, boxes)
    rest = completion(board, costs, fine=exact)
    memory = neighbourhoods(board, len(given.runs)) if exact else None
    search = Search(board, costs, rest, memory, below, deadline)
    prune = partial(dominated_dropped, deadline=deadline) if exact else few_kept(_BEAM, search)
    labels, exhausted = grow(search, bits(len(given.runs)), prune, most)
    return labels, costs, exhausted


def _closed(board: Board, labels: Labels, first: Floats, universe: Floats) -> Iterator[tuple[int, Floats]]:
    """The reduced cost of every label as a chain on each outlet of a board."""
    for outlet in range(len(board.outlets)):
        values = labels.cost + first[outlet, labels.node]
        if universe[outlet]:
            values = values + universe[outlet] * board.added(outlet, labels.pixels)
        yield outlet, np.where(labels.pixels <= board.room[outlet], values, np.inf)


def _nodes(labels: Labels, label: int) -> tuple[int, ...]:
    found = []
    while label >= 0:
        found.append(int(labels.node[label]))
        label = int(labels.behind[label])
    return tuple(found)


def _chosen(board: Board, labels: Labels, best: list[tuple[float, int, int]]) -> list[Route]:
    """The best chains, few with the same run."""
    count: dict[int, int] = {}
    found = []
    for _, outlet, label in best:
        nodes = _nodes(labels, label)
        if min(count.get(int(board.run[node]), 0) for node in nodes) >= _EACH:
            continue
        for node in nodes:
            count[int(board.run[node])] = count.get(int(board.run[node]), 0) + 1
        found.append(board.route(outlet, nodes))
    return found


@dataclass(frozen=True, eq=False)
class Candidates:
    """Chains that a cheap plan may have.

    Attributes:
        columns: the chains.
        reduced: their reduced costs.
        found: the board, the outlet on it and the label of each; and the labels of each board.
    """

    columns: Columns
    reduced: Floats
    found: Ints
    labels: tuple[tuple[Board, Labels], ...]

    def route(self, number: int) -> Route:
        """One of the chains."""
        board, labels = self.labels[int(self.found[number, 0])]
        return board.route(int(self.found[number, 1]), _nodes(labels, int(self.found[number, 2])))


def all_below(
    given: Instance, some: list[Board], duals: Duals, gap: float, most: int, deadline: float = inf
) -> Candidates | None:
    """Every chain that a plan no dearer than a bound and a gap may have: the cheapest order of each set of runs, whose
    reduced cost is below the gap. None where there are too many, or time is up.
    """
    boxes = np.array([outlet.box for outlet in given.outlets])
    every = bits(len(given.runs))
    parts: list[tuple[Columns, Floats, Ints]] = []
    grown: list[tuple[Board, Labels]] = []
    count = 0
    for number, board in enumerate(some):
        costs = reduced(board, duals, boxes)
        search = Search(board, costs, completion(board, costs), None, gap, deadline)
        labels, exhausted = grow(search, every, dearer_orders_dropped, most)
        if not exhausted:
            return None
        grown.append((board, labels))
        for outlet, values in _closed(board, labels, costs.first, costs.universe):
            good = np.flatnonzero(values < gap)
            good = good[np.lexsort((values[good], *labels.runs[good].T))]
            new = (labels.runs[good][1:] != labels.runs[good][:-1]).any(axis=1)
            good = good[np.concatenate([[True], new])[: len(good)]]
            columns = _columns(board, outlet, labels.take(good), values[good], duals, boxes, every)
            parts.append((columns, values[good], np.column_stack([np.full((len(good), 2), (number, outlet)), good])))
            count += len(good)
        if count > most:
            return None
    columns = Columns(
        np.concatenate([part.price for part, *_ in parts]),
        np.concatenate([part.outlet for part, *_ in parts]),
        np.concatenate([part.universes for part, *_ in parts]),
        np.concatenate([part.runs for part, *_ in parts]),
    )
    return Candidates(
        columns, np.concatenate([part[1] for part in parts]), np.concatenate([part[2] for part in parts]), tuple(grown)
    )


def _columns(
    board: Board, outlet: int, labels: Labels, values: Floats, duals: Duals, boxes: Ints, every: Bits
) -> Columns:
    """Labels that forget no run, closed on one outlet."""
    number = int(board.outlets[outlet])
    runs = np.zeros((len(labels), len(every)), dtype=np.int8)
    for run in board.run[board.run_starts]:
        word = int(np.flatnonzero(every[run])[0])
        runs[:, run] = (labels.runs[:, word] & every[run, word]) != 0
    units = np.zeros(len(every))
    units[board.run] = board.units
    added = runs @ units + board.added(outlet, labels.pixels)
    price = values + runs @ duals.runs + duals.outlets[number] + duals.universes[boxes[number]] * added
    return Columns(np.round(price), np.full(len(labels), number), added, runs)
