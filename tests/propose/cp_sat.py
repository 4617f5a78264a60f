"""The least cost of an instance by OR-Tools' CP-SAT: an arc for each lead, pixels along each chain."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from math import ceil, dist

import numpy as np
from ortools.sat.python import cp_model

from patcher.chains.chains import prices
from patcher.chains.instance import Instance, Place


def least(
    given: Instance, limit: int, *, fewest_boxes: bool = False, metres: Callable[[Place, Place], float] = dist
) -> tuple[int, int]:
    """Boxes in use (0 where they do not count) and centimetres of the best plan that hangs every run.

    Args:
        given: an instance whose runs are of one kind, and whose boxes have no limit of universes.
        limit: pixels that fit on a port.
        fewest_boxes: whether the fewest boxes come before the least cable.
        metres: how long a cable is from one place to another, without the tenth of slack.
    """
    model = cp_model.CpModel()
    nodes = [(run, entry) for run, each in enumerate(given.runs) for entry in each.entries]
    runs = range(len(given.runs))
    load = [model.new_int_var(given.runs[run].pixels, limit, "") for run in runs]
    into = [[] for _ in nodes]
    out = [[] for _ in nodes]
    cost, used = [], [model.new_bool_var("") for _ in given.boxes]

    def price(here: tuple[float, float], to: tuple[float, float]) -> int:
        lead = ceil(round(metres(here, to) * 110, 6))
        return int(prices(np.array([lead]), given.booster)[0])

    for outlet in given.outlets:
        begins = []
        for number, (_, entry) in enumerate(nodes):
            begins.append(model.new_bool_var(""))
            into[number].append(begins[-1])
            cost.append(price(outlet.at, entry.first) * begins[-1])
        model.add(sum(begins) <= len(outlet.ports) * used[outlet.box])
    for (a, (run, entry)), (b, (other, to)) in product(enumerate(nodes), repeat=2):
        if run != other:
            arc = model.new_bool_var("")
            out[a].append(arc)
            into[b].append(arc)
            cost.append(price(entry.last, to.first) * arc)
            model.add(load[other] >= load[run] + given.runs[other].pixels).only_enforce_if(arc)
    for run in runs:
        model.add(sum(arc for number, (of, _) in enumerate(nodes) if of == run for arc in into[number]) == 1)
    for arcs_out, arcs_in in zip(out, into, strict=True):
        model.add(sum(arcs_out) <= sum(arcs_in))
    model.minimize(sum(cost) + (1_000_000 * sum(used) if fewest_boxes else 0))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    boxes, cm = divmod(round(solver.objective_value), 1_000_000)
    return boxes, cm
