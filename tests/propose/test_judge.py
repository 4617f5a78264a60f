"""Proposals of a size that cannot be tried out, against a solver of another kind."""

from __future__ import annotations

import pytest

from patcher.chains.instance import instance
from patcher.propose.proposal import propose
from propose.cp_sat import least
from rig.unhung_shows import unhung, wiring_of


@pytest.mark.parametrize("seed", range(4))
def test_a_middling_proposal_costs_what_cp_sat_finds_the_least(seed: int) -> None:
    # Source: OR-Tools CP-SAT over single leads, not chains
    given = instance(wiring_of(unhung(seed, runs=14, boxes=3, ports=3, width=22.0, pixels=(120, 400))))
    made = propose(given, "least cable")
    assert made.proved
    assert made.left_over == ()
    assert round(made.cost * 100) == least(given, 800)[1]
