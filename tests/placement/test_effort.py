"""Effort: work that is counted, so that a busy machine gives the same patch as an idle one."""

import ast
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint

from patcher import placement
from patcher.placement.effort import Effort

ROOM = Path(placement.__file__).parent


@pytest.mark.parametrize("path", sorted(ROOM.glob("*.py")), ids=lambda path: path.stem)
def test_no_search_looks_at_a_clock(path: Path) -> None:
    # Source: the design: the same show and kept patch give the same patch, to the byte
    named = {
        word
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for word in [getattr(node, "module", None), *(alias.name for alias in node.names)]
    }
    assert not {"time", "datetime"} & named


def test_a_part_is_spent_with_the_whole() -> None:
    effort = Effort(1.0)
    part = effort.part(0.25)
    part.spend(0.25)
    assert part.over
    assert not effort.over
    assert effort.left == pytest.approx(0.75)
    assert effort.part(0.001).left == 0.05


@pytest.mark.long
def test_an_integer_programme_follows_no_more_nodes_than_there_is_effort_for() -> None:
    # A knapsack of even weights and an odd limit: no cut closes its gap soon, so a search of it follows many nodes.
    chance = np.random.default_rng(4)
    weights = 2 * chance.integers(500, 1000, (3, 40))
    programme = {
        "integrality": np.ones(40), "bounds": Bounds(0, 1),
        "constraints": LinearConstraint(weights, -np.inf, weights.sum(axis=1) / 2 // 2 * 2 + 1),
    }  # fmt: skip
    worth = -chance.integers(500, 1000, 40).astype(float)
    short, longer = Effort(0.02), Effort(0.5)
    few, more = (one.milp(worth, weights.size, **programme) for one in (short, longer))
    assert few.mip_node_count < more.mip_node_count
    assert short.over
    again = Effort(0.02)
    assert (again.milp(worth, weights.size, **programme).x == few.x).all()
    assert again.left == short.left
