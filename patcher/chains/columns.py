"""Chains as columns of the master program, and the program over them."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patcher.chains.boards import Floats, Ints
from patcher.chains.bounds import Duals
from patcher.chains.chains import Route, universes
from patcher.chains.cuts import Cuts, Parts, no_cuts
from patcher.chains.instance import Instance, one_order
from patcher.chains.places import together


@dataclass(frozen=True, eq=False)
class Columns:
    """Chains, all arrays of one length.

    Attributes:
        price: what each costs.
        outlet: where it begins.
        universes: universes that it adds to its box.
        runs: how often it passes each run: shape (columns, runs).
    """

    price: Floats
    outlet: Ints
    universes: Floats
    runs: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.price)

    def take(self, which: Ints | NDArray[np.bool_]) -> Columns:
        """Some of the columns."""
        return Columns(self.price[which], self.outlet[which], self.universes[which], self.runs[which])


def columns_of(given: Instance, routes: Sequence[Route]) -> Columns:
    """Chains as columns; universes are counted where any box has a limit of them."""
    limited = any(box.universes is not None for box in given.boxes)
    runs = np.zeros((len(routes), len(given.runs)), dtype=np.int8)
    for row, route in enumerate(routes):
        for run, _ in route.stops:
            runs[row, run] += 1
    return Columns(
        np.array([route.price for route in routes], dtype=np.float64),
        np.array([route.outlet for route in routes], dtype=np.int64),
        np.array([universes(given, route) for route in routes]) if limited else np.zeros(len(routes)),
        runs,
    )


@dataclass(frozen=True, eq=False)
class Rows:
    """The master program's fixed part.

    Attributes:
        given: the instance.
        left_over: what a run costs that is not hung: more than all leads together.
        counts: the ports of each outlet, as many as may be used.
        box: the box of each outlet.
        capped: the boxes whose universes are limited, and how many are free.
        either: the outlets of boxes that take one colour order, box by box: one of them at most is used.
        cuts: the cuts.
        most_boxes: how many boxes may be used besides those in use; None without a limit.
    """

    given: Instance
    left_over: int
    counts: Floats
    box: Ints
    capped: dict[int, float]
    either: tuple[tuple[int, ...], ...]
    cuts: Cuts
    most_boxes: int | None = None

    @property
    def switches(self) -> tuple[tuple[int, ...], ...]:
        """Outlets that one column each lets be used: those of `either`, and those of each box that is counted."""
        alone = tuple((outlet,) for group in self.either for outlet in group)
        done = {int(self.box[outlet]) for (outlet,) in alone}
        counted = sorted({box for boxes, _ in self.few for box in boxes} - done)
        return (*alone, *(of for box in counted if (of := tuple(np.flatnonzero(self.box == box).tolist()))))

    @property
    def few(self) -> tuple[tuple[tuple[int, ...], int], ...]:
        """Sets of boxes, and how many of each may be used."""
        idle = tuple(box for box, each in enumerate(self.given.boxes) if not each.in_use)
        return self.given.few if self.most_boxes is None else (*self.given.few, (idle, self.most_boxes))


_MUCH = 10
"""A run that is left over costs so many times as much as all leads may: a plan that leaves a tenth of one over is seen
to need more ports."""


def rows(given: Instance, dearest: int) -> Rows:
    """The rows of an instance whose dearest lead has this price."""
    capped = {
        number: max(0.0, box.universes - given.universes_taken[number]) + 1e-9
        for number, box in enumerate(given.boxes) if box.universes is not None
    }  # fmt: skip
    either: dict[int, list[int]] = {}
    for number, outlet in enumerate(given.outlets):
        box = given.boxes[outlet.box]
        if one_order(box.start_per, box.reorders) and not box.in_use:
            either.setdefault(outlet.box, []).append(number)
    several = tuple(tuple(group) for group in either.values() if len(group) > 1)
    counts = np.array([min(len(outlet.ports), len(given.runs)) for outlet in given.outlets], dtype=np.float64)
    box_of = np.array([outlet.box for outlet in given.outlets], dtype=np.int64)
    none = no_cuts(len(given.runs))
    return Rows(given, _MUCH * dearest * len(given.runs) + 1, counts, box_of, capped, several, none)


def fits_universes(fixed: Rows, routes: Sequence[Route]) -> bool:
    """Whether a plan keeps what boxes hold together: universes, one colour order where they take one, places."""
    columns = columns_of(fixed.given, routes)
    box = fixed.box[columns.outlet]
    used = {outlet for group in fixed.either for outlet in group} & set(columns.outlet.tolist())
    one_each = len(used) == len({int(fixed.box[outlet]) for outlet in used})
    one_each = one_each and together(fixed.given, set(box.tolist()))
    return one_each and all(columns.universes[box == capped].sum() <= most for capped, most in fixed.capped.items())


@dataclass(frozen=True, eq=False)
class Program:
    """A program over some chains, then one column for each run left over, then one for each switch."""

    cost: Floats
    equal: Any
    at_most: Any
    limits: Floats


def program(fixed: Rows, columns: Columns) -> Program:
    """The program over some chains. Rows: runs, equal to 1; at most: outlets, universes, cuts, `either`, boxes."""
    from scipy.sparse import csr_array, hstack, vstack

    count, runs, outlets = len(columns), len(fixed.given.runs), len(fixed.counts)
    switches = fixed.switches
    width, every = count + runs + len(switches), np.arange(count)
    equal = hstack([csr_array(columns.runs.T.astype(np.float64)), csr_array(np.eye(runs, runs + len(switches)))])
    limits = [fixed.counts.copy(), np.array(list(fixed.capped.values())), fixed.cuts.limits]
    row, column, value = [columns.outlet], [every], [np.ones(count)]
    for number, of in enumerate(switches):
        row, column = [*row, np.array(of)], [*column, np.full(len(of), count + runs + number)]
        value.append(-fixed.counts[list(of)])
        limits[0][list(of)] = 0.0
    for number, box in enumerate(fixed.capped):
        of_box = np.flatnonzero(fixed.box[columns.outlet] == box)
        row, column = [*row, np.full(len(of_box), outlets + number)], [*column, of_box]
        value.append(columns.universes[of_box])
    at = (np.concatenate(row), np.concatenate(column))
    top = csr_array((np.concatenate(value), at), shape=(outlets + len(fixed.capped), width))
    cuts = csr_array(np.pad(fixed.cuts.of(columns.runs).T, ((0, 0), (0, width - count))).astype(np.float64))
    several, few = _switched(fixed, width)
    cost = np.concatenate([columns.price, np.full(runs, float(fixed.left_over)), np.zeros(len(switches))])
    return Program(cost, equal, vstack([top, cuts, csr_array(several)]).tocsr(), np.concatenate([*limits, few]))


def _switched(fixed: Rows, width: int) -> tuple[Floats, Floats]:
    """The rows of the switches, which are the last columns: one of each group of `either`, and so few boxes."""
    switches = fixed.switches
    found = np.zeros((len(fixed.either) + len(fixed.few), width))
    limits = np.ones(len(found))
    for number, group in enumerate(fixed.either):
        found[number, [width - len(switches) + switches.index((outlet,)) for outlet in group]] = 1.0
    for number, (boxes, most) in enumerate(fixed.few, start=len(fixed.either)):
        found[number, width - len(switches) :] = [int(fixed.box[of[0]]) in boxes for of in switches]
        limits[number] = most
    return found, limits


_LEAST_SECONDS = 0.1
"""The least time that a program is given."""


@dataclass(frozen=True, eq=False)
class LinearAnswer:
    """The least cost of a linear program, its duals, what it takes of each column, and how many runs it leaves over."""

    value: float
    duals: Duals
    cuts: Floats
    taken: Floats
    left_over: float


class OutOfTimeError(Exception):
    """A linear program was not solved in its time."""


def linear(fixed: Rows, columns: Columns, seconds: float = inf) -> LinearAnswer:
    """The linear program over some chains.

    Raises:
        OutOfTimeError: it was not solved in so many seconds.
    """
    from scipy.optimize import linprog

    table = program(fixed, columns)
    ones = np.ones(len(fixed.given.runs))
    found = linprog(
        table.cost, A_ub=table.at_most, b_ub=table.limits, A_eq=table.equal, b_eq=ones, bounds=(0, None),
        method="highs", options={"time_limit": max(seconds, _LEAST_SECONDS)},
    )  # fmt: skip
    if found.status != 0:
        raise OutOfTimeError
    outlets, capped = len(fixed.counts), len(fixed.capped)
    most = np.minimum(found.ineqlin.marginals, 0.0)
    worth = np.zeros(len(fixed.given.boxes))
    worth[list(fixed.capped)] = most[outlets : outlets + capped]
    cuts = most[outlets + capped : outlets + capped + len(fixed.cuts)]
    count, left = len(columns), float(found.x[len(columns) : len(columns) + len(ones)].sum())
    return LinearAnswer(
        float(found.fun), Duals(found.eqlin.marginals, most[:outlets], worth), cuts, found.x[:count], left
    )


def reduced_costs(fixed: Rows, columns: Columns, answer: LinearAnswer, parts: Parts) -> Floats:
    """What each column costs beyond what its runs are worth; `parts` are what it adds to the cuts."""
    duals = answer.duals
    found = columns.price - columns.runs @ duals.runs - duals.outlets[columns.outlet]
    found -= duals.universes[fixed.box[columns.outlet]] * columns.universes
    if len(fixed.cuts):
        found -= parts @ answer.cuts
    return np.asarray(found, dtype=np.float64)


def integer(
    fixed: Rows, columns: Columns, seconds: float, cutoff: float = np.inf, *, cover: bool = False
) -> tuple[Ints | None, bool]:
    """The columns of the cheapest plan that costs less than a cutoff, None where none was found; and whether that is
    proved. A cover may have a run in several of its chains, and is found sooner.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    table = program(fixed, columns)
    ones = np.ones(len(fixed.given.runs))
    limits = [
        LinearConstraint(table.equal, ones, np.inf if cover else ones),
        LinearConstraint(table.at_most, -np.inf, table.limits),
    ]
    top = np.ones(len(table.cost))
    if np.isfinite(cutoff):
        # A plan below the cutoff leaves no more runs over than this: their price would swamp the others'.
        count, left = len(columns), int(cutoff // fixed.left_over)
        top[count : count + len(ones)] = min(left, 1)
        row = np.where(top > 0, table.cost, 0.0)
        limits.append(LinearConstraint(row[None, :], -np.inf, cutoff - 0.5))
    with _silent():
        found = milp(
            table.cost,
            integrality=np.ones(len(table.cost)),
            bounds=Bounds(0, top),
            constraints=limits,
            options={"time_limit": max(seconds, _LEAST_SECONDS), "mip_rel_gap": 0.0},
        )
    taken = None if found.x is None else np.flatnonzero(found.x[: len(columns)] > 0.5)
    return taken, found.status in (0, 2)


@contextmanager
def _silent() -> Iterator[None]:
    """With nothing written to the standard output below Python: HiGHS now and then writes a line there, though it is
    told not to, and a script reads JSON from it.
    """
    sys.stdout.flush()
    try:
        before = os.dup(1)
    except OSError:  # closed: nothing is read from it
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(before, 1)
        os.close(nowhere)
        os.close(before)
