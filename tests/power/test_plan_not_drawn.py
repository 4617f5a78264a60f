"""A run that is not drawn: nobody knows how far it is from another box's supply."""

import pytest

from patcher.power import feed_plan
from rig.power_show import show
from rig.shipped import wired


@pytest.mark.parametrize("drawn", [True, False])
@pytest.mark.parametrize("has_own", [True, False])
def test_a_run_that_is_not_drawn_is_fed_from_its_own_box(drawn: bool, has_own: bool) -> None:
    # Source: found by a reader: a run without a shape, behind one of another place, was fed from the other box's supply
    # with a length that was guessed. The wire follows the lead: 30 m of it, and 15 % of slack.
    where = {"shape": "line", "path": [[1.0, 0.0], [10.0, 0.0]]} if drawn else {}
    runs = {"a": {"pixels": 20, "lead": 30.0} | where}
    runs["b"] = {"pixels": 1, "hung": False}
    supplies = {"far": {"volts": 12.0, "amps": 30.0, "box": "other"}}
    supplies |= {"own": {"volts": 12.0, "amps": 30.0, "box": "box"}} if has_own else {}
    file = show(runs, {}, supplies=supplies, ports={"1": ["a"]})
    file["controller"]["other"] = {"address": "192.0.2.2", "ports": 1, "port": {"1": ["b"]}, "at": [31.0, 0.0]}
    file["controller"]["box"]["at"] = [0.0, 0.0] if not drawn else [100.0, 0.0]
    planned = feed_plan.plan(wired(file))
    (rail,) = planned.rails
    assert rail.supply == ("own" if has_own and not drawn else "far")
    said = [words for words in planned.assumed if "a is not drawn" in words]
    assert len(said) == (0 if drawn else 1)
    if has_own and not drawn:
        (name,) = planned.feeds
        (one,) = planned.after.show.feeds[name].taps
        assert 30.0 * 1.15 <= one.length <= (30.0 + 1.9) * 1.15 + 0.1
