"""One-dimensional bin packing: the fewest bins of one capacity that hold items of given sizes, with a proof.

What is shorter comes first: reductions that cannot lose an optimum, best-fit and first-fit decreasing, Martello and
Toth's bound L2, a depth-first search for a few items, and for many the linear programme over the ways to fill one bin,
its columns made by a knapsack (Gilmore and Gomory 1961), whose columns an integer programme then picks from. The bound
of the linear programme is worked out again in whole numbers, so that no rounding of a solver can make it too high.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from time import monotonic

import numpy as np

NODES = 30_000
"""Most steps of the depth-first search: a count, not a time, so that the same input gives the same output."""

SCALE = 1_000_000
"""Parts into which the worth of an item is divided, so that the bound is worked out in whole numbers."""

Bins = list[list[int]]


@dataclass(frozen=True, slots=True)
class Packing:
    """Items in bins, and a count of bins that nothing can beat.

    Attributes:
        bins: the indices of each bin's items.
        lower_bound: no packing has fewer bins; it equals their number where the packing is proved to be the best.
        reason: what the bound is, in words.
    """

    bins: tuple[tuple[int, ...], ...]
    lower_bound: int
    reason: str


def pack(sizes: Sequence[int], capacity: int, seconds: float = 10.0) -> Packing:
    """Pack items into as few bins as can be found in a time.

    Args:
        sizes: the size of each item, from 1 to the capacity.
        capacity: what one bin holds.
        seconds: when to stop with the best found.

    Raises:
        ValueError: a size is below 1 or above the capacity.
    """
    if any(not 1 <= size <= capacity for size in sizes):
        raise ValueError(f"sizes lie between 1 and the capacity, {capacity}")
    until = monotonic() + seconds
    best = min((_decreasing(sizes, capacity, best=fit) for fit in (True, False)), key=len)
    bound, reason = _simple_bound(sizes, capacity)
    if len(best) > bound:
        fixed, left = _reduce(sizes, capacity)
        rest = [sizes[index] for index in left]
        packed, rest_bound, rest_reason = _pack_rest(rest, capacity, until)
        if len(fixed) + rest_bound > bound:
            bound, reason = len(fixed) + rest_bound, rest_reason
        if len(fixed) + len(packed) < len(best):
            best = fixed + [[left[index] for index in one] for one in packed]
    return Packing(tuple(sorted(tuple(sorted(one)) for one in best)), bound, reason)


def _simple_bound(sizes: Sequence[int], capacity: int) -> tuple[int, str]:
    volume, l2 = -(-sum(sizes) // capacity), martello_toth(sizes, capacity)
    return max(volume, l2), "too many of them are too long to share one" if l2 > volume else "they fill as many"


def martello_toth(sizes: Sequence[int], capacity: int) -> int:
    """The lower bound L2. Source: Martello and Toth, Knapsack Problems, 1990, chapter 8 (from memory)."""
    bound = 0
    for least in {0, *(size for size in sizes if 2 * size <= capacity)}:
        alone = sum(size > capacity - least for size in sizes)
        large = [size for size in sizes if 2 * size > capacity and size <= capacity - least]
        small = sum(size for size in sizes if least <= size and 2 * size <= capacity)
        over = small - (len(large) * capacity - sum(large))
        bound = max(bound, alone + len(large) + max(0, -(-over // capacity)))
    return bound


def _decreasing(sizes: Sequence[int], capacity: int, *, best: bool) -> Bins:
    """Best-fit or first-fit decreasing."""
    bins: Bins = []
    room: list[int] = []
    for index in sorted(range(len(sizes)), key=lambda index: (-sizes[index], index)):
        fits = [number for number, free in enumerate(room) if free >= sizes[index]]
        if not fits:
            bins.append([])
            room.append(capacity)
            fits = [len(bins) - 1]
        number = min(fits, key=lambda number: room[number]) if best else fits[0]
        bins[number].append(index)
        room[number] -= sizes[index]
    return bins


def _reduce(sizes: Sequence[int], capacity: int) -> tuple[Bins, list[int]]:
    """Bins that some best packing holds, and the items that are left.

    An item that nothing fits beside stands alone. Two that fill a bin exactly stand together: whatever stood beside
    the one can change places with the other. So does an item with the largest that fits, where no two would fit.
    """
    left = sorted(range(len(sizes)), key=lambda index: (-sizes[index], index))
    bins: Bins = []
    while len(left) > 1:
        found = _sure(left, sizes, capacity)
        if found is None:
            break
        bins.append(found)
        left = [index for index in left if index not in found]
    if len(left) == 1:
        bins.append(left)
        left = []
    return bins, left


def _sure(left: list[int], sizes: Sequence[int], capacity: int) -> list[int] | None:
    by_size: dict[int, list[int]] = {}
    for index in left:
        by_size.setdefault(sizes[index], []).append(index)
    for index in left:
        room = capacity - sizes[index]
        beside = next((other for other in by_size.get(room, ()) if other != index), None)
        if beside is not None:
            return [index, beside]
        smallest = [other for other in left[-3:] if other != index][-2:]
        if sizes[smallest[-1]] > room:
            return [index]
        if len(smallest) == 1 or sizes[smallest[0]] + sizes[smallest[1]] > room:
            return [index, next(other for other in left if other != index and sizes[other] <= room)]
    return None


def _pack_rest(sizes: list[int], capacity: int, until: float) -> tuple[Bins, int, str]:
    """What the reductions left: the bins, a bound, and its reason."""
    best = min((_decreasing(sizes, capacity, best=fit) for fit in (True, False)), key=len)
    bound, reason = _simple_bound(sizes, capacity)
    if len(best) > bound and len(sizes) <= 40:
        best, exhausted = _depth_first(sizes, capacity, best, bound, until)
        if exhausted:
            return best, len(best), "every way to put them together was tried"
    if len(best) > bound and monotonic() < until:
        counts = Counter(sizes)
        patterns, columns_bound = _by_columns(counts, capacity, [[sizes[i] for i in one] for one in best], until)
        if columns_bound > bound:
            bound, reason = columns_bound, "no mixture of ways to fill one leaves fewer (a linear programme)"
        if patterns is not None and len(patterns) < len(best):
            best = _named(patterns, sizes)
    return best, bound, reason


def _named(patterns: list[list[int]], sizes: list[int]) -> Bins:
    """The items of each bin, from their sizes."""
    waiting: dict[int, list[int]] = {}
    for index in reversed(range(len(sizes))):
        waiting.setdefault(sizes[index], []).append(index)
    return [[waiting[size].pop() for size in pattern] for pattern in patterns]


def _depth_first(sizes: list[int], capacity: int, best: Bins, bound: int, until: float) -> tuple[Bins, bool]:
    """The best packing, and whether all were tried: the largest item first, into each bin that differs."""
    order = sorted(range(len(sizes)), key=lambda index: (-sizes[index], index))
    behind = np.cumsum([0, *(sizes[index] for index in reversed(order))])[::-1].tolist()
    bins: Bins = []
    room: list[int] = []
    nodes = 0

    def step(number: int) -> bool:
        """Whether the search may end: the bound is met, or its steps are spent."""
        nonlocal best, nodes
        nodes += 1
        if nodes > NODES or (nodes % 1000 == 0 and monotonic() > until):
            return True
        if number == len(order):
            best = [list(one) for one in bins]
            return len(best) == bound
        if len(bins) + -(-(behind[number] - sum(room)) // capacity) >= len(best):
            return False
        size, tried = sizes[order[number]], set()
        for place, free in sorted(enumerate(room), key=lambda one: one[1]):
            if free >= size and free not in tried:
                tried.add(free)
                bins[place].append(order[number])
                room[place] -= size
                if step(number + 1):
                    return True
                room[place] += size
                bins[place].pop()
                if free == size:
                    return False
        if len(bins) + 1 < len(best):
            bins.append([order[number]])
            room.append(capacity - size)
            if step(number + 1):
                return True
            bins.pop()
            room.pop()
        return False

    ended = step(0)
    return best, not ended or len(best) == bound


def _by_columns(
    demand: Counter[int], capacity: int, known: list[list[int]], until: float
) -> tuple[list[list[int]] | None, int]:
    """Bins as lists of sizes, None where none were found in time; and the bound of the linear programme.

    The columns are ways to fill one bin; those known are the first.
    """
    from scipy.optimize import linprog

    sizes = sorted(demand, reverse=True)
    columns = dict.fromkeys(_column(pattern, sizes) for pattern in known)
    wanted = np.array([demand[size] for size in sizes])
    best: list[list[int]] | None = None
    bound, ended = 0, False
    while not ended and monotonic() < until:
        matrix = np.array(list(columns), dtype=float).T
        solved = linprog(np.ones(len(columns)), A_ub=-matrix, b_ub=-wanted, method="highs")
        if solved.status != 0 or solved.fun is None:
            break
        worth = np.maximum(0, -solved.ineqlin.marginals * SCALE).astype(np.int64)
        most, patterns = _knapsack(sizes, worth.tolist(), demand, capacity)
        if most == 0:
            break
        # any worths whose best pattern is worth `most` bound the bins by their sum over it (Farley 1990)
        bound = max(bound, -(-int(worth @ wanted) // most))
        before = len(columns)
        columns.update(dict.fromkeys(patterns))
        ended = most <= SCALE or len(columns) == before
        if ended or (best is None and bound >= -(-int(solved.fun * SCALE) // SCALE)):
            useful = _useful(columns, worth, wanted, bound if best is None else len(known) - 1)
            best = _fewer(best, _pick(useful, sizes, wanted, until))
            if best is not None and len(best) <= bound:
                break
    return best, bound


def _useful(
    columns: Iterable[tuple[int, ...]], worth: np.ndarray, wanted: np.ndarray, bins: int
) -> list[tuple[int, ...]]:
    """The patterns that a packing in so many bins may have: none loses more than such a packing loses altogether."""
    may_lose = bins * SCALE - int(worth @ wanted) + SCALE // 1000
    return [column for column in columns if SCALE - int(worth @ np.array(column)) <= may_lose]


def _column(pattern: list[int], sizes: list[int]) -> tuple[int, ...]:
    """How often each size is in a pattern."""
    count = Counter(pattern)
    return tuple(count[size] for size in sizes)


def _fewer(one: list[list[int]] | None, other: list[list[int]] | None) -> list[list[int]] | None:
    """The bins that are fewer; of equally many the first."""
    return other if one is None or (other is not None and len(other) < len(one)) else one


def _knapsack(
    sizes: list[int], worth: list[int], demand: Counter[int], capacity: int
) -> tuple[int, list[tuple[int, ...]]]:
    """The most that the items of one bin are worth, and such patterns: the best ones, and the best with each size."""
    value = np.zeros(capacity + 1, dtype=np.int64)
    taken: list[tuple[int, np.ndarray]] = []
    for place, size in enumerate(sizes):
        if worth[place] == 0:
            continue
        for _ in range(min(demand[size], capacity // size)):
            with_it = value[: capacity + 1 - size] + worth[place]
            better = with_it > value[size:]
            if not better.any():
                break
            value[size:][better] = with_it[better]
            taken.append((place, better))
    steps = np.flatnonzero(np.diff(value, prepend=0))
    loads = [(int(load), -1) for load in sorted(steps, key=lambda load: (-value[load], load))[:12]]
    loads += [(capacity - size, place) for place, size in enumerate(sizes)]
    patterns: dict[tuple[int, ...], None] = {}
    for at, forced in loads:
        pattern = [0] * len(sizes)
        if forced >= 0:
            pattern[forced] = 1
        for place, better in reversed(taken):
            if at >= sizes[place] and better[at - sizes[place]] and pattern[place] < demand[sizes[place]]:
                pattern[place] += 1
                at -= sizes[place]
        patterns[tuple(pattern)] = None
    return int(value[-1]), list(patterns)


def _pick(columns: list[tuple[int, ...]], sizes: list[int], wanted: np.ndarray, until: float) -> list[list[int]] | None:
    """The fewest of the columns that hold every item, by an integer programme."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    left = until - monotonic()
    if left <= 0 or not columns:
        return None
    rows = LinearConstraint(np.array(columns).T, wanted, np.inf)
    limit = Bounds(0, np.inf)
    ones = np.ones(len(columns))
    whole = np.ones(len(columns), dtype=np.int64)
    solved = milp(ones, constraints=rows, integrality=whole, bounds=limit, options={"time_limit": left})
    if solved.x is None:
        return None
    bins, lacking = [], Counter(dict(zip(sizes, wanted.tolist(), strict=True)))
    for column, times in zip(columns, np.round(solved.x).astype(int), strict=True):
        for _ in range(times):
            held = Counter(dict(zip(sizes, column, strict=True))) & lacking
            lacking -= held
            if held:
                bins.append(list(held.elements()))
    return None if lacking else bins
