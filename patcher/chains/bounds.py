"""What the rest of a chain costs at the least: the completion bounds of the search.

A chain is searched from its last run back to its outlet. The bound on what is still to come is the cheapest way back to
an outlet that may pass a run more than once, but not leave it and come straight back (2-cycle elimination), by how many
pixels the chain has so far. Source: Houck, Picard, Queyranne, Vemuganti (1980), The travelling salesman problem as a
constrained shortest path problem, Opsearch 17.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patcher.chains.boards import Board, Floats, Ints

FAR = 1e15
"""Stands for a price that nobody pays."""
_STEPS = 120
"""Into so many steps the room of a port is divided at most, where no run is smaller than a step."""
_WIDE_STEPS = 25
"""The same, where the bounds need not be strong."""


@dataclass(frozen=True, eq=False)
class Duals:
    """Prices of the master program's rows.

    Attributes:
        runs: what hanging each run is worth.
        outlets: what a port of each outlet is worth; never positive.
        universes: what a universe of each box is worth; never positive.
    """

    runs: Floats
    outlets: Floats
    universes: Floats


@dataclass(frozen=True, eq=False)
class ReducedCosts:
    """A board with its duals taken off.

    Attributes:
        node: what a run adds by itself, by node.
        arc: what putting the node of a row before that of a column adds.
        first: what the first lead from each outlet adds, its port included: outlets by nodes.
        universe: what a universe on each outlet costs; not negative.
    """

    node: Floats
    arc: Floats
    first: Floats
    universe: Floats


def reduced(board: Board, duals: Duals, boxes: Ints) -> ReducedCosts:
    """The reduced costs of a board.

    Args:
        board: the board.
        duals: the prices.
        boxes: the box of each outlet of the instance.
    """
    universe = -duals.universes[boxes[board.outlets]]
    node = board.units * float(universe[0]) - duals.runs[board.run]
    arc = board.between + node[:, None]
    arc[board.run[:, None] == board.run[None, :]] = FAR
    return ReducedCosts(node, arc, board.first - duals.outlets[board.outlets][:, None], universe)


@dataclass(frozen=True, eq=False)
class Completion:
    """Bounds on the rest of a chain, by steps of pixels that it has and by its first node.

    Attributes:
        step: pixels of one step.
        best: the least rest: shape (steps, nodes).
        by: the run that comes just before in it; -1 where an outlet does.
        other: the least rest by another run, or an outlet: shape (steps, nodes).
    """

    step: int
    best: Floats
    by: Ints
    other: Floats


def completion(board: Board, costs: ReducedCosts, *, fine: bool = True) -> Completion:
    """The completion bounds of a board; in wide steps they are weaker, and sooner worked out."""
    step = max(1, min(int(board.pixels.min()), board.most // (_STEPS if fine else _WIDE_STEPS)))
    steps, nodes = board.most // step + 1, len(board.run)
    best, other = np.full((steps, nodes), FAR), np.full((steps, nodes), FAR)
    by: Ints = np.full((steps, nodes), -1, dtype=np.int64)
    jump, every = board.pixels // step, np.arange(nodes)
    runs = board.run[board.run_starts]
    for at in range(steps - 1, -1, -1):
        close = _closing(board, costs, at * step)
        to = at + jump
        fits = to < steps
        to = np.where(fits, to, 0)
        v1, v2 = np.where(fits, best[to, every], FAR), np.where(fits, other[to, every], FAR)
        ways = costs.arc + np.where(by[to, every][:, None] == board.run[None, :], v2[:, None], v1[:, None])
        by_run = np.minimum.reduceat(ways, board.run_starts, axis=0)
        row = by_run.argmin(axis=0)
        c1 = by_run[row, every]
        by_run[row, every] = FAR
        c2 = by_run.min(axis=0)
        closes = close <= c1
        best[at], by[at] = np.where(closes, close, c1), np.where(closes, -1, runs[row])
        other[at] = np.where(closes, close, np.minimum(c2, close))
    return Completion(step, best, by, other)


def _closing(board: Board, costs: ReducedCosts, pixels: int) -> Floats:
    """The least that a first lead adds to a chain of so many pixels, by its first node."""
    fits = np.flatnonzero(board.room >= pixels)
    if not len(fits):
        return np.full(len(board.run), FAR)
    if not costs.universe.any():
        least: Floats = costs.first[fits].min(axis=0)
        return least
    some = np.array([pixels], dtype=np.int64)
    extra = np.array([costs.universe[k] * board.added(int(k), some)[0] for k in fits])
    found: Floats = (costs.first[fits] + extra[:, None]).min(axis=0)
    return found
