"""Chains to begin with: each run where it costs the least more (cheapest insertion), and parts of those chains."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from patcher.chains.boards import Board, Floats
from patcher.chains.bounds import FAR
from patcher.chains.chains import Route, feasible, route
from patcher.chains.instance import Instance

_Insertion = tuple[float, int, int]
"""What it adds, which node, and before which node of the chain."""


def start_plan(given: Instance, some: list[Board]) -> list[Route]:
    """A plan of short leads, or, where that leaves runs over, one that fills the ports. It may leave runs over all the
    same, and does not look at universes.
    """
    plans = []
    for fill in (_inserted, _packed):
        hung: set[int] = set()
        free = [len(outlet.ports) for outlet in given.outlets]
        chains = [board.route(outlet, tuple(chain)) for board in some for outlet, chain in fill(board, free, hung)]
        plans.append((len(given.runs) - len(hung), chains))
        if not plans[-1][0]:
            break
    return min(plans, key=lambda plan: plan[0])[1]


def _packed(board: Board, free: list[int], hung: set[int]) -> list[tuple[int, list[int]]]:
    """Chains that fill the ports: the longest run first, each on the port where the least room is left (best fit
    decreasing).
    """
    chains: list[tuple[int, list[int]]] = [
        (outlet, []) for outlet, number in enumerate(board.outlets) for _ in range(free[number])
    ]
    left = [int(board.room[outlet]) for outlet, _ in chains]
    for first in sorted(board.run_starts, key=lambda node: -int(board.pixels[node])):
        run, pixels = int(board.run[first]), int(board.pixels[first])
        fits = [port for port, room in enumerate(left) if room >= pixels]
        if run in hung or not fits:
            continue
        port = min(fits, key=lambda number: left[number])
        hung.add(run)
        left[port] -= pixels
        outlet, chain = chains[port]
        nodes = np.flatnonzero(board.run == run)
        leads = board.between[chain[-1], nodes] if chain else board.first[outlet, nodes]
        chain.append(int(nodes[leads.argmin()]))
    used = [(outlet, chain) for outlet, chain in chains if chain]
    for outlet, _ in used:
        free[int(board.outlets[outlet])] -= 1
    return used


def start_routes(given: Instance, some: list[Board], plan: list[Route]) -> list[Route]:
    """The chains of a plan, their parts, and each run alone on each outlet."""
    found: dict[tuple[int, tuple[tuple[int, int], ...]], Route] = {}
    for chain in plan:
        for begin in range(len(chain.stops)):
            for end in range(begin + 1, len(chain.stops) + 1):
                _add(found, route(given, chain.outlet, chain.stops[begin:end]))
    for board in some:
        for outlet in range(len(board.outlets)):
            for begin, end in zip(board.run_starts, [*board.run_starts[1:], len(board.run)], strict=True):
                node = int(begin) + int(board.first[outlet, begin:end].argmin())
                if board.pixels[node] <= board.room[outlet]:
                    _add(found, board.route(outlet, (node,)))
    return list(found.values())


def seated(given: Instance, some: list[Board], routes: Iterable[Route]) -> list[Route]:
    """Chains on the outlets of some boards; one whose outlet is not there, on every one that takes it."""
    there = sorted({int(outlet) for board in some for outlet in board.outlets})
    found: dict[tuple[int, tuple[tuple[int, int], ...]], Route] = {}
    for each in routes:
        if each.outlet in there:
            _add(found, each)
            continue
        for outlet in there:
            new = route(given, outlet, each.stops)
            if feasible(given, new):
                _add(found, new)
    return list(found.values())


def _add(found: dict[tuple[int, tuple[tuple[int, int], ...]], Route], route: Route) -> None:
    found[route.outlet, route.stops] = route


def _inserted(board: Board, free: list[int], hung: set[int]) -> list[tuple[int, list[int]]]:
    """Chains of a board's runs, as outlets and nodes; the ports that are free and the runs that are hung are brought up
    to date.
    """
    chains: list[tuple[int, list[int]]] = []
    best: list[tuple[Floats, Floats]] = []
    barred = np.isin(board.run, list(hung))
    for outlet, number in enumerate(board.outlets):
        if free[number]:
            chains.append((outlet, []))
            best.append(_insertions(board, outlet, [], barred))
    while chains:
        cost, which, node = min((float(values.min()), at, int(values.argmin())) for at, (values, _) in enumerate(best))
        if cost >= FAR:
            break
        outlet, chain = chains[which]
        number = int(board.outlets[outlet])
        if not chain:
            free[number] -= 1
            if free[number]:
                chains.append((outlet, []))
                best.append(best[which])
        chain.insert(int(best[which][1][node]), node)
        barred |= board.run == board.run[node]
        hung.add(int(board.run[node]))
        best[which] = _insertions(board, outlet, chain, barred)
        for values, _ in best:
            values[board.run == board.run[node]] = FAR
    return [(outlet, chain) for outlet, chain in chains if chain]


def _insertions(board: Board, outlet: int, chain: list[int], barred: np.ndarray) -> tuple[Floats, Floats]:
    """What each node adds to a chain where it adds the least, and where that is; FAR where it does not fit."""
    rows = []
    for at in range(len(chain) + 1):
        before = board.between[chain[at - 1]] if at else board.first[outlet]
        if at < len(chain):
            rows.append(before + board.between[:, chain[at]] - before[chain[at]])
        else:
            rows.append(before)
    values = np.array(rows, dtype=np.float64)
    where = values.argmin(axis=0)
    found = values[where, np.arange(len(board.run))]
    full = board.pixels + int(board.pixels[chain].sum()) > board.room[outlet]
    found[full | barred] = FAR
    return found, where.astype(np.float64)
