"""Chains to begin with: each run where it costs the least more (cheapest insertion), and parts of those chains."""

from __future__ import annotations

import numpy as np

from patcher.propose.boards import Board, Floats
from patcher.propose.bounds import FAR
from patcher.propose.chains import Route
from patcher.propose.instance import Instance

_Insertion = tuple[float, int, int]
"""What it adds, which node, and before which node of the chain."""


def start_routes(given: Instance, some: list[Board]) -> list[Route]:
    """A plan of short leads, the ends of its chains, and each run alone on each outlet."""
    found: dict[tuple[int, tuple[tuple[int, int], ...]], Route] = {}
    hung: set[int] = set()
    free = [len(outlet.ports) for outlet in given.outlets]
    for board in some:
        for outlet, chain in _inserted(board, free, hung):
            for begin in range(len(chain)):
                for end in range(begin + 1, len(chain) + 1):
                    _add(found, board.route(outlet, tuple(chain[begin:end])))
        for outlet in range(len(board.outlets)):
            for begin, end in zip(board.run_starts, [*board.run_starts[1:], len(board.run)], strict=True):
                node = int(begin) + int(board.first[outlet, begin:end].argmin())
                if board.pixels[node] <= board.room[outlet]:
                    _add(found, board.route(outlet, (node,)))
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
