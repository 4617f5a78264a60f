"""The labelling search: partial chains, grown from their last run towards an outlet, the dominated ones dropped.

A label is the end of a chain: its first node, its reduced cost, its pixels, and the runs that it may not take again.
All labels of one length are grown at once, in arrays. In the ng relaxation a label forgets runs that lie far from where
it has got to since (Baldacci, Mingozzi, Roberti 2011, New route relaxation and pricing strategies for the vehicle
routing problem, Operations Research 59); where nothing is forgotten, chains pass no run twice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from patcher.chains.boards import Board, Floats, Ints
from patcher.chains.bounds import Completion, ReducedCosts

Bits = NDArray[np.uint64]
_WORD = 64
_CHUNK = 4_000_000
"""Candidates that are looked at together."""


@dataclass(frozen=True, eq=False)
class Labels:
    """Ends of chains, all arrays of one length.

    Attributes:
        node: the first node.
        cost: the reduced cost, without the first lead.
        pixels: the pixels.
        runs: the runs that may not be taken again, a bit each: shape (labels, words).
        behind: the label that it was grown from, by its number among all labels; -1 for none.
    """

    node: Ints
    cost: Floats
    pixels: Ints
    runs: Bits
    behind: Ints

    def __len__(self) -> int:
        return len(self.node)

    def take(self, which: NDArray[np.bool_] | Ints) -> Labels:
        """Some of the labels."""
        return Labels(self.node[which], self.cost[which], self.pixels[which], self.runs[which], self.behind[which])


def joined(some: list[Labels]) -> Labels:
    """Labels in one."""
    return Labels(
        np.concatenate([each.node for each in some]),
        np.concatenate([each.cost for each in some]),
        np.concatenate([each.pixels for each in some]),
        np.concatenate([each.runs for each in some]),
        np.concatenate([each.behind for each in some]),
    )


Prune = Callable[[Labels, Labels | None], Labels]
"""Drops labels that another one of the same length, or an earlier one, makes useless; it may keep some of those."""


@dataclass(frozen=True, eq=False)
class Search:
    """What labels are grown on.

    Attributes:
        board: the board.
        costs: its reduced costs.
        rest: its completion bounds.
        memory: the runs that a label at a run does not forget, a bit each: shape (runs, words); None to forget none.
        below: only chains of a reduced cost below this are wanted.
        deadline: the time of `perf_counter` at which it stops, not exhausted.
    """

    board: Board
    costs: ReducedCosts
    rest: Completion
    memory: Bits | None
    below: float
    deadline: float = inf


def bits(runs: int) -> Bits:
    """Every run as a bit: shape (runs, words)."""
    found = np.zeros((runs, -(-runs // _WORD)), dtype=np.uint64)
    number = np.arange(runs)
    found[number, number // _WORD] = np.uint64(1) << (number % _WORD).astype(np.uint64)
    return found


def grow(search: Search, every: Bits, prune: Prune, most: int) -> tuple[Labels, bool]:
    """All labels that may become a wanted chain; and whether the search was exhausted.

    Args:
        search: what they are grown on.
        every: every run as a bit.
        prune: what drops the useless ones.
        most: labels at which the search stops.
    """
    board = search.board
    nodes = np.arange(len(board.run))
    first = Labels(nodes, search.costs.node.copy(), board.pixels, every[board.run], np.full(len(nodes), -1))
    first = first.take(first.cost + search.rest.best[board.pixels // search.rest.step, nodes] < search.below)
    stages, count = [first], len(first)
    while len(stages[-1]):
        if count > most or perf_counter() > search.deadline:
            return joined(stages), False
        grown = _extended(search, every, stages[-1], count - len(stages[-1]), 4 * most)
        if grown is None:
            return joined(stages), False
        stages.append(prune(grown, joined(stages)))
        count += len(stages[-1])
    return joined(stages), True


def _extended(search: Search, every: Bits, last: Labels, number: int, most: int) -> Labels | None:
    """The labels that have one run more than some; None where they are too many, or time is up."""
    board, found, count = search.board, [], 0
    rows = max(1, _CHUNK // len(board.run))
    for begin in range(0, len(last), rows):
        part = last.take(np.arange(begin, min(begin + rows, len(last))))
        grown = _grown(search, every, part, number + begin)
        count += len(grown)
        if count > most or perf_counter() > search.deadline:
            return None
        found.append(grown)
    return joined(found)


def _grown(search: Search, every: Bits, part: Labels, number: int) -> Labels:
    board, rest = search.board, search.rest
    word, bit = board.run // _WORD, (board.run % _WORD).astype(np.uint64)
    pixels = part.pixels[:, None] + board.pixels[None, :]
    cost = part.cost[:, None] + search.costs.arc[:, part.node].T
    at = np.minimum(pixels // rest.step, len(rest.best) - 1)
    least = cost + rest.best[at, np.arange(len(board.run))[None, :]]
    wanted = (pixels <= board.most) & (least < search.below)
    label, node = np.nonzero(wanted)
    seen = (part.runs[label, word[node]] >> bit[node]) & np.uint64(1)
    label, node = label[seen == 0], node[seen == 0]
    pixels, cost, at = pixels[label, node], cost[label, node], at[label, node]
    back = rest.by[at, node] == board.run[part.node[label]]
    fits = ~back | (cost + rest.other[at, node] < search.below)
    label, node, pixels, cost = label[fits], node[fits], pixels[fits], cost[fits]
    runs = part.runs[label]
    if search.memory is not None:
        runs = runs & search.memory[board.run[node]]
    return Labels(node, cost, pixels, runs | every[board.run[node]], number + label)


# --- which labels are dropped -----------------------------------------------------------------------------------------


def dominated_dropped(new: Labels, old: Labels | None, deadline: float = inf) -> Labels:
    """Without those that another label beats at the same node: no dearer, no longer, no run barred that it allows.
    After the deadline no more are looked at.
    """
    if not len(new):
        return new
    new = new.take(np.lexsort((new.pixels, new.cost, new.node)))
    kept = np.ones(len(new), dtype=bool)
    starts = np.flatnonzero(np.diff(new.node, prepend=-1))
    if old is not None:
        old = old.take(np.argsort(old.node, kind="stable"))
    for begin, end in zip(starts, [*starts[1:], len(new)], strict=True):
        if perf_counter() > deadline:
            break
        group = new.take(np.arange(begin, end))
        if old is not None:
            low, high = np.searchsorted(old.node, [group.node[0], group.node[0] + 1])
            better = old.take(np.arange(low, high))
            better = better.take(np.argsort(better.cost, kind="stable"))
            kept[begin:end] = ~_beaten(group, better, itself=False)
        alive = np.flatnonzero(kept[begin:end])
        kept[begin + alive[_beaten(group.take(alive), group.take(alive), itself=True)]] = False
    return new.take(kept)


def _beaten(some: Labels, by: Labels, *, itself: bool) -> NDArray[np.bool_]:
    """Which labels another one beats; of equals of one list, the first stays."""
    beaten = np.zeros(len(some), dtype=bool)
    rows = max(1, _CHUNK // 4 // max(1, len(by)))
    for begin in range(0, len(some), rows):
        part = slice(begin, begin + rows)
        found = by.cost[None, :] <= some.cost[part, None]
        found &= by.pixels[None, :] <= some.pixels[part, None]
        for word in range(some.runs.shape[1]):
            found &= (by.runs[None, :, word] & ~some.runs[part, None, word]) == 0
        if itself:  # sorted by cost, then pixels: an equal one before it beats it, one behind it does not
            found &= np.arange(len(by))[None, :] < np.arange(len(some))[part, None]
        beaten[part] = found.any(axis=1)
    return beaten


def dearer_orders_dropped(new: Labels, old: Labels | None) -> Labels:
    """Of labels with the same runs and the same first node, the cheapest."""
    del old  # a label of another length has other runs
    if not len(new):
        return new
    order = np.lexsort((new.cost, new.node, *new.runs.T))
    new = new.take(order)
    same = (new.node[1:] == new.node[:-1]) & (new.runs[1:] == new.runs[:-1]).all(axis=1)
    return new.take(np.concatenate([[True], ~same]))


def few_kept(most: int, search: Search) -> Prune:
    """Of the labels at each node only some, those that may become the cheapest: quick, and not exact."""

    def prune(new: Labels, old: Labels | None) -> Labels:
        del old
        if not len(new):
            return new
        rest = search.rest.best[new.pixels // search.rest.step, new.node]
        value = new.cost + rest
        value -= value.min()
        new = new.take(np.argsort(new.node * (value.max() + 1.0) + value))
        starts = np.flatnonzero(np.diff(new.node, prepend=-1))
        rank = np.arange(len(new)) - np.repeat(starts, np.diff(np.append(starts, len(new))))
        return new.take(rank < most)

    return prune
