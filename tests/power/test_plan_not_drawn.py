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


@pytest.mark.parametrize("drawn", [True, False])
@pytest.mark.parametrize("slack", [0.0, 0.15])
@pytest.mark.parametrize("behind", [False, True])
def test_the_wire_of_a_box_without_a_place_follows_the_cable(drawn: bool, slack: float, behind: bool) -> None:
    # Source: found by a reader: the supply of a box without `at` was taken to stand at the run's first pixel, and the
    # wire of 0.1 m was printed as any other. By hand: the lead of 12 m, and where it hangs behind another run that
    # one's lead of 3 m and its 9 steps of 0.1 m; 20 pixels on, at the other end, 1.9 m more.
    where = {"shape": "line", "path": [[50.0, 7.0], [51.9, 7.0]]} if drawn else {}
    runs = {"a": {"pixels": 20, "lead": 12.0, "power_joined": False} | where}
    if behind:
        runs = {"first": {"pixels": 10, "lead": 3.0}} | runs
    feeds = {"f": {"supply": "own", "awg": 12, "fuse": 20, "taps": [{"run": "first", "pixel": 1, "length": 1.0}]}}
    supplies = {name: {"volts": 12.0, "amps": 30.0, "box": box} for name, box in (("own", "box"), ("far", "other"))}
    file = show(runs | {"b": {"pixels": 1, "hung": False}}, feeds if behind else {}, supplies=supplies,
                ports={"1": list(runs)})  # fmt: skip
    file["controller"]["other"] = {"address": "192.0.2.2", "ports": 1, "port": {"1": ["b"]}}
    planned = feed_plan.plan(wired(file), slack=slack)
    (rail,) = planned.rails
    assert rail.supply == "own"  # how far the other box is from the run, nobody knows
    (name,) = planned.feeds
    (joint,) = planned.after.show.feeds[name].taps
    cable = 12.0 + (3.0 + 0.9) * behind + 0.1 * (int(joint.pixel) - 1)
    assert cable * (1 + slack) <= joint.length + 1e-6 <= cable * (1 + slack) + 0.1 + 1e-5
    assert "box box has no place (at) in the file: the length follows the cable of a; measure it" in planned.assumed


@pytest.mark.parametrize("drawn", [True, False])
def test_a_distance_that_nobody_knows_is_said_not_to_be_known(drawn: bool) -> None:
    # Source: as above; the one supply stands in another box, which has no place
    where = {"shape": "line", "path": [[50.0, 7.0], [51.9, 7.0]]} if drawn else {}
    runs = {"a": {"pixels": 20, "lead": 12.0} | where, "b": {"pixels": 1, "hung": False}}
    supplies = {"far": {"volts": 12.0, "amps": 30.0, "box": "other"}}
    file = show(runs, {}, supplies=supplies, ports={"1": ["a"]})
    file["controller"]["other"] = {"address": "192.0.2.2", "ports": 1, "port": {"1": ["b"]}}
    planned = feed_plan.plan(wired(file))
    assert planned.feeds
    unknown = [words for words in planned.assumed if "how far" in words and "not known" in words]
    assert len(unknown) == (1 if drawn else 2)
    assert not any("follows" in words for words in planned.assumed)
    file["controller"]["other"]["at"] = [40.0, 7.0]
    placed = feed_plan.plan(wired(file)).assumed
    assert len([words for words in placed if "not known" in words]) == (0 if drawn else 1)
