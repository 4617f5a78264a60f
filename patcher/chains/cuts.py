"""Cuts over a list of chains: what no whole plan may have, and parts of chains do.

Every run is in one chain. So weights of some runs, added up chain by chain and rounded down each time, come to no more
than all the weights together, rounded down (rank-1 Chvátal-Gomory cuts). Source of the weights: Pecin, Pessoa, Poggi,
Uchoa, Santos (2017), Limited memory rank-1 cuts for vehicle routing problems, Operations Research Letters 45; those of
three runs: Jepsen, Petersen, Spoorendonk, Pisinger (2008), Subset-row inequalities, Operations Research 56.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.chains.boards import Floats, Ints

Parts = NDArray[np.float32]

_WEIGHTS: tuple[tuple[tuple[int, ...], int], ...] = (
    ((1, 1, 1), 2),
    ((2, 1, 1, 1), 3),
    ((1, 1, 1, 1, 1), 2),
    ((1, 1, 1, 1, 1), 3),
    ((2, 2, 1, 1, 1), 3),
    ((2, 2, 1, 1, 1), 4),
    ((3, 1, 1, 1, 1), 4),
    ((3, 3, 2, 2, 1), 4),
    ((3, 2, 2, 1, 1), 5),
)
"""Weights of runs, the largest first, and what they are divided by."""
_CUTS, _EACH = 60, 6
"""So many cuts are taken up at once, and so many with one run."""
_VIOLATED = 0.02
_PARTNERS = 4
"""A cut is sought from a run and each of so many that share chains with it."""
_SWEEPS = 3
"""So often every run of a cut is looked at for a better one."""


@dataclass(frozen=True, eq=False)
class Cuts:
    """Cuts, a row each.

    Attributes:
        weights: whole weights of the runs: shape (cuts, runs).
        by: what they are divided by, more than any of them: shape (cuts,).
    """

    weights: Ints
    by: Ints

    def __len__(self) -> int:
        return len(self.by)

    @property
    def limits(self) -> Floats:
        """What each cut comes to at the most."""
        return np.asarray(self.weights.sum(axis=1) // self.by, dtype=np.float64)

    def take(self, which: NDArray[np.bool_]) -> Cuts:
        """Some of the cuts."""
        return Cuts(self.weights[which], self.by[which])

    def and_more(self, more: Cuts) -> Cuts:
        """These cuts and some more."""
        return Cuts(np.concatenate([self.weights, more.weights]), np.concatenate([self.by, more.by]))

    def of(self, runs: NDArray[np.int8]) -> Parts:
        """What each chain adds to each cut: shape (chains, cuts).

        Args:
            runs: how often each chain passes each run.
        """
        sums = runs.astype(np.float32) @ self.weights.T.astype(np.float32)  # whole, and so exact
        found: Parts = np.floor((sums + 0.5) / self.by.astype(np.float32))
        return found


def no_cuts(runs: int) -> Cuts:
    """None, for so many runs."""
    return Cuts(np.zeros((0, runs), dtype=np.int64), np.zeros(0, dtype=np.int64))


def violated(runs: NDArray[np.int8], taken: Floats, *, larger: bool) -> Cuts:
    """The most violated cuts that are found.

    Args:
        runs: the runs of each chain, 0 or 1.
        taken: the part of each chain that a linear program takes.
        larger: whether those of more than three runs are sought too.
    """
    used = np.flatnonzero((taken > 1e-6) & (taken < 1 - 1e-6))
    has, part = runs[used].astype(np.float64), taken[used]
    some = np.flatnonzero(has.any(axis=0))
    has = has[:, some]
    found: list[tuple[float, tuple[tuple[int, int], ...], int]] = []
    if len(some) >= max(len(weights) for weights, _ in _WEIGHTS):
        pairs = _pairs(has, part)
        for weights, by in _WEIGHTS if larger else _WEIGHTS[:1]:
            cut, value = _sought(has, part, pairs, weights, by)
            for row in np.flatnonzero(value > sum(weights) // by + _VIOLATED):
                members = tuple(sorted(zip(some[cut[row]].tolist(), weights, strict=True)))
                found.append((sum(weights) // by - float(value[row]), members, by))
    return _chosen(sorted(set(found)), runs.shape[1])


def _pairs(has: Floats, part: Floats) -> Ints:
    """Each run with each of those that it shares the most of chains with: shape (pairs, 2)."""
    shared = (has * part[:, None]).T @ has
    np.fill_diagonal(shared, 0.0)
    most = np.argsort(-shared, axis=1, kind="stable")[:, :_PARTNERS]
    return np.column_stack([np.repeat(np.arange(len(most)), most.shape[1]), most.ravel()])


def _chosen(found: list[tuple[float, tuple[tuple[int, int], ...], int]], runs: int) -> Cuts:
    """The first of some cuts, few with the same run."""
    weights: list[Ints] = []
    divided: list[int] = []
    count = np.zeros(runs, dtype=int)
    for _, members, by in found:
        which = [run for run, _ in members]
        if count[which].max() < _EACH and len(divided) < _CUTS:
            count[which] += 1
            row = np.zeros(runs, dtype=np.int64)
            row[which] = [weight for _, weight in members]
            weights.append(row)
            divided.append(by)
    return Cuts(np.array(weights, dtype=np.int64).reshape(-1, runs), np.array(divided, dtype=np.int64))


def _sought(has: Floats, part: Floats, pairs: Ints, weights: tuple[int, ...], by: int) -> tuple[Ints, Floats]:
    """From every pair of runs a cut, run by run the one that adds the most, then run by run a better one: the runs of
    each cut, and what the parts of chains come to in it.
    """
    cut = np.full((len(pairs), len(weights)), -1, dtype=np.int64)
    cut[:, :2] = pairs
    rows = np.arange(len(pairs))
    sums = sum(weight * has.T[cut[:, place]] for place, weight in enumerate(weights[:2]))
    before = np.full(len(pairs), -1.0)
    for sweep in range(_SWEEPS + 1):
        for place, weight in enumerate(weights):
            if not sweep and place < 2:
                continue
            if sweep:
                sums = sums - weight * has.T[cut[:, place]]
            # A run adds to a chain's sum; what that makes of it, rounded down, counts, and a little the rest of it.
            whole, more = np.floor_divide(sums, by), np.floor_divide(sums + weight, by)
            left = (sums + weight - by * more) - (sums - by * whole)
            gain = ((more - whole + 1e-3 * left / by) * part) @ has
            others = np.delete(cut, place, axis=1)
            others = others[:, : place if not sweep else None]
            gain[rows[:, None], others] = -np.inf
            cut[:, place] = gain.argmax(axis=1)
            sums = sums + weight * has.T[cut[:, place]]
        value = np.floor_divide(sums, by) @ part
        if (value <= before + 1e-9).all():
            break
        before = value
    return cut, np.asarray(value, dtype=np.float64)
