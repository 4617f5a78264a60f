"""Which supplies are chosen where several choices have as few of them and as few watts."""

import numpy as np
import pytest

from patcher.power.supply_choice import Kind, Load, choose


@pytest.mark.parametrize("mirrored", [False, True])
def test_of_as_few_supplies_and_watts_those_are_chosen_that_have_the_shortest_way(mirrored: bool) -> None:
    # By hand: one supply a load, wherever they stand: 6.1 A each, and each gives 6.4 A. Only the way is left to save.
    near, far = ("two", "one") if mirrored else ("one", "two")
    ways = [{near: 1.0, far: 30.0}, {near: 30.0, far: 1.0}, {far: 30.0, near: 1.0}, {near: 2.0, far: 1.0}]
    loads = [Load(np.full(100, 0.061), 6.1, (), away, {}) for away in ways]
    found = choose(loads, [Kind(12.0, 8.0)], {})
    assert found is not None
    boxes = {piece.load: found.supplies[piece.supply][0] for piece in found.pieces}
    assert boxes == {0: near, 1: far, 2: near, 3: far}
    assert len(found.pieces) == len(found.supplies) == 4
    # A supply that is there and has room is taken from where it stands, however near a new one would be: it costs none.
    there = [Load(load.amps, load.least, (), load.away, {"old": 40.0}) for load in loads]
    found = choose(there, [Kind(12.0, 8.0)], {"old": 24.4})
    assert found is not None
    assert found.supplies == ()
