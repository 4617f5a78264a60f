"""Cuts take away parts of chains, and no whole plan."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from scipy.optimize import linprog

from patcher.chains.cuts import Cuts, no_cuts, violated

RUNS = 9


def chains(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """The runs of some chains, every run alone among them, and what each chain costs."""
    chance = np.random.default_rng(seed)
    some = {frozenset(chance.choice(RUNS, size=chance.integers(2, 5), replace=False).tolist()) for _ in range(60)}
    every = [*sorted(some, key=sorted), *(frozenset({run}) for run in range(RUNS))]
    runs = np.array([[run in chain for run in range(RUNS)] for chain in every], dtype=np.int8)
    return runs, np.array([10 + chance.integers(0, 6) if len(chain) > 1 else 12 for chain in every], dtype=np.float64)


def plans(runs: np.ndarray, hung: frozenset[int] = frozenset()) -> Iterator[tuple[int, ...]]:
    """Every way to have each run in one chain, by trying them all."""
    left = [run for run in range(RUNS) if run not in hung]
    if not left:
        yield ()
        return
    for number in np.flatnonzero(runs[:, left[0]]).tolist():
        of = frozenset(np.flatnonzero(runs[number]).tolist())
        if not of & hung:
            yield from ((number, *rest) for rest in plans(runs, hung | of))


@pytest.mark.parametrize("seed", range(12))
def test_cuts_are_violated_by_parts_of_chains_and_hold_for_every_plan(seed: int) -> None:
    # Source: all plans that there are
    runs, cost = chains(seed)
    every = list(plans(runs))
    best = min(cost[list(plan)].sum() for plan in every)
    cuts, found = no_cuts(RUNS), 0
    for _ in range(6):
        parts = cuts.of(runs)
        limits = {"A_ub": parts.T, "b_ub": cuts.limits} if len(cuts) else {}
        answer = linprog(cost, A_eq=runs.T, b_eq=np.ones(RUNS), bounds=(0, None), **limits)
        assert answer.fun <= best + 1e-6
        new = violated(runs, answer.x, larger=True)
        assert (new.of(runs).T @ answer.x > new.limits + 1e-3).all()
        for plan in every:
            assert (new.of(runs)[list(plan)].sum(axis=0) <= new.limits).all()
        found += len(new)
        cuts = cuts.and_more(new)
        if not len(new):
            break
    assert found or (np.abs(answer.x - np.round(answer.x)) < 1e-6).all() or answer.fun < best


def test_a_cut_counts_what_a_chain_has_rounded_down() -> None:
    cuts = Cuts(np.array([[2, 1, 1, 1, 0]]), np.array([3]))
    assert cuts.limits.tolist() == [1]
    some = [[1, 0, 0, 0, 1], [1, 1, 0, 0, 0], [0, 1, 1, 0, 1], [0, 1, 1, 1, 0], [1, 1, 1, 1, 0]]
    assert cuts.of(np.array(some, dtype=np.int8))[:, 0].tolist() == [0, 1, 0, 1, 1]


def test_larger_cuts_find_what_those_of_three_runs_do_not() -> None:
    # Five runs in a ring, each chain of two neighbours taken half: three runs break no cut.
    runs = np.zeros((5, 5), dtype=np.int8)
    for run in range(5):
        runs[run, [run, (run + 1) % 5]] = 1
    taken = np.full(5, 0.5)
    assert len(violated(runs, taken, larger=False)) == 0
    larger = violated(runs, taken, larger=True)
    assert [1, 1, 1, 1, 1] in larger.weights.tolist()
    assert (larger.of(runs).T @ taken > larger.limits).all()
