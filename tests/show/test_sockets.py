"""What the show file may say of sockets, and what is wrong with it in plain words."""

import pytest
import tomli_w

from patcher.errors import Finding
from patcher.mains import usual
from patcher.show.parser import read
from patcher.show.schema import Supply
from rig.mains_shows import hut


def found(tables: dict) -> list[Finding]:
    return list(read(tomli_w.dumps(tables)).findings)


def one(tables: dict, where: str, *words: str) -> None:
    [finding] = found(tables)
    assert finding.where == where
    assert all(word in f"{finding.says} → {finding.remedy}" for word in words), finding


def yard(plug: dict, sockets: dict[str, dict]) -> dict:
    return hut({"gable": 1}, {"gable": plug}, sockets)


def test_an_unknown_socket_gives_a_hint() -> None:
    one(yard({"socket": "porhc"}, {"porch": {}}), "supply.gable.socket", "no socket", "did you mean “porch”?")
    one(yard({"socket": "box"}, {"porch": {}}), "supply.gable.socket", "is a controller, not a socket")
    one(yard({"socket": "porch"}, {}), "supply.gable.socket", "no socket is named", "none to choose from yet")


@pytest.mark.parametrize(
    ("plug", "socket", "where", "hint"),
    [
        ({}, {"volt": 230.0}, "socket.porch.volt", "“volts”"),
        ({}, {"rcd_mA": 30.0}, "socket.porch.rcd_mA", "“rcd_ma”"),
        ({"eficiency": 0.9}, {}, "supply.gable.eficiency", "“efficiency”"),
        ({}, {"rcd_ma": True}, "socket.porch.rcd_ma", "must be a number"),
        ({}, {"rcd_ma": 0}, "socket.porch.rcd_ma", "at least 0.001"),
        ({}, {"rcd": False, "rcd_ma": 30.0}, "socket.porch", "take one of them out"),
        ({}, {"rcd": False, "rcd_name": "board"}, "socket.porch", "take one of them out"),
        ({"efficiency": 1.2}, {}, "supply.gable.efficiency", "at most 1"),
        ({"efficiency": "85 %"}, {}, "supply.gable.efficiency", "0.85"),
        ({"power_factor": 0.0}, {}, "supply.gable.power_factor", "at least 0.01"),
        ({}, {"other_amps": -1.0}, "socket.porch.other_amps", "at least 0"),
    ],
)
def test_a_wrong_key_or_value_is_said_with_what_to_write(plug: dict, socket: dict, where: str, hint: str) -> None:
    one(yard(plug, {"porch": socket}), where, hint)


@pytest.mark.parametrize(
    ("first", "second", "key"),
    [
        ({"volts": 230.0}, {"volts": 120.0}, "volts"),
        ({"breaker": 16.0}, {"breaker": 10.0}, "breaker"),
        ({"rcd_ma": 30.0}, {"rcd_ma": 300.0}, "rcd_ma"),
        ({"rcd_ma": 30.0}, {"rcd": False}, "rcd"),
        ({"rcd_name": "board"}, {"rcd_name": "shed"}, "rcd_name"),
    ],
)
def test_sockets_of_one_circuit_say_the_same_of_it(first: dict, second: dict, key: str) -> None:
    pair = {"a": first | {"circuit": "garden"}, "b": second | {"circuit": "garden"}}
    one(yard({}, pair), f"socket.b.{key}", "on the same circuit, garden", "socket a")
    assert found(yard({}, {"a": first, "b": second})) == []
    assert found(yard({}, {"a": first | {"circuit": "garden"}, "b": {"circuit": "garden"}})) == []
    assert found(yard({}, {"a": first | {"circuit": "garden"}, "b": first | {"circuit": "garden"}})) == []


def test_circuits_behind_one_device_say_the_same_of_it() -> None:
    board = {"rcd_name": "board", "rcd_ma": 30.0}
    pair = {"a": board | {"breaker": 16.0}, "b": board | {"breaker": 10.0}}
    assert found(yard({}, pair)) == []
    pair["b"]["rcd_ma"] = 300.0
    one(yard({}, pair), "socket.b.rcd_ma", "behind the same device, board,", "socket a")


def test_a_device_may_bear_the_name_of_a_circuit() -> None:
    garden, quay = {"circuit": "garden", "rcd_ma": 30.0}, {"circuit": "quay", "rcd_name": "garden"}
    assert found(yard({}, {"a": garden, "b": quay})) == []
    one(yard({}, {"a": garden, "b": quay, "c": {"circuit": "quay", "rcd": False}}),
        "socket.c.rcd", "behind the same device, garden,", "socket a")  # fmt: skip


def test_what_help_says_is_counted_where_a_supply_is_silent_is_counted() -> None:
    # Source: the numbers that the sums use
    counted = {
        "efficiency": usual.EFFICIENCY, "power_factor": usual.POWER_FACTOR, "inrush_amps": usual.INRUSH_AMPS,
        "leakage_ma": usual.LEAKAGE_MA,
    }  # fmt: skip
    for key, number in counted.items():
        assert f"not given, {number:g} is counted" in " ".join(str(Supply.model_fields[key].description).split())
