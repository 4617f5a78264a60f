"""Proposals of a size that cannot be tried out, against a solver of another kind."""

from __future__ import annotations

from itertools import product

import pytest
from ortools.sat.python import cp_model

from patcher.propose.chains import leads_cm, prices
from patcher.propose.instance import Instance, instance
from patcher.propose.proposal import propose
from rig.unhung_shows import unhung, wiring_of

LIMIT = 800


def judge(given: Instance) -> int:
    """The least cost by CP-SAT: an arc for each lead, a count of pixels along each chain."""
    import numpy as np

    model = cp_model.CpModel()
    nodes = [(run, entry) for run, each in enumerate(given.runs) for entry in each.entries]
    runs = range(len(given.runs))
    load = [model.new_int_var(given.runs[run].pixels, LIMIT, "") for run in runs]
    into = [[] for _ in nodes]
    out = [[] for _ in nodes]
    cost = []

    def price(here: tuple[float, float], to: tuple[float, float]) -> int:
        return int(prices(leads_cm(np.array([here]), np.array([to])), given.booster)[0, 0])

    for outlet in given.outlets:
        begins = []
        for number, (_, entry) in enumerate(nodes):
            begins.append(model.new_bool_var(""))
            into[number].append(begins[-1])
            cost.append(price(outlet.at, entry.first) * begins[-1])
        model.add(sum(begins) <= len(outlet.ports))
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
    model.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)


@pytest.mark.parametrize("seed", range(4))
def test_a_middling_proposal_costs_what_cp_sat_finds_the_least(seed: int) -> None:
    # Source: OR-Tools CP-SAT over single leads, not chains
    given = instance(wiring_of(unhung(seed, runs=14, boxes=3, ports=3, width=22.0, pixels=(120, 400))))
    made = propose(given, "least cable")
    assert made.proved
    assert made.left_over == ()
    assert round(made.cost * 100) == judge(given)
