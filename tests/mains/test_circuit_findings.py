"""Each finding about the mains is there exactly when its inequality holds, and says what to do."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.errors import Finding
from patcher.limits.findings import check
from patcher.mains import circuit_findings
from patcher.power.flow import power
from rig.examples import examples
from rig.mains_shows import hut
from rig.shipped import wired

QUIET = {"efficiency": 1.0, "power_factor": 1.0, "inrush_amps": 0.0, "leakage_ma": 0.0, "socket": "hut"}
GOOD = {"volts": 12.0, "breaker": 100.0, "rcd_ma": 30.0}
"""Of 12 V, so that amperes are those of the supply."""


def said(tables: dict, **keys: float) -> list[Finding]:
    wiring = wired(tables)
    return circuit_findings.findings(wiring, power(wiring, **keys))


def rules(tables: dict, **keys: float) -> list[str]:
    return [f"{finding.severity} {finding.rule} {finding.where}" for finding in said(tables, **keys)]


def one_socket(plug: dict | None = None, socket: dict | None = None, pixels: int = 100, level: float = 1.0) -> dict:
    """One supply on one socket."""
    return hut({"gable": pixels}, {"gable": QUIET | (plug or {})}, {"hut": GOOD | (socket or {})}, level=level)


def test_a_sound_socket_says_nothing() -> None:
    assert rules(one_socket()) == []


def test_a_show_without_sockets_says_nothing() -> None:
    assert rules(hut({"gable": 100}, {"gable": {}}, {})) == []


def test_a_supply_without_a_socket_says_nothing_and_the_empty_socket_does() -> None:
    tables = hut({"gable": 100}, {"gable": {}}, {"hut": {}})
    assert rules(tables) == ["note socket-empty socket.hut"]
    [found] = said(tables)
    assert 'socket = "hut"' in found.remedy


# By hand: 100 pixels take 6.1 A at level 1, 3.1 A at 0.5, 0.1 A dark
@pytest.mark.parametrize(
    ("breaker", "level", "wanted"),
    [
        (7.7, 1.0, []),  # 80 % of it is 6.16 A
        (7.5, 1.0, ["warning breaker socket.hut"]),  # 6 A
        (6.2, 1.0, ["warning breaker socket.hut"]),
        (6.0, 1.0, ["error breaker socket.hut"]),
        (6.2, 0.5, []),
        (6.0, 0.5, ["note breaker-full-white socket.hut"]),
        (3.8, 0.5, ["warning breaker socket.hut", "note breaker-full-white socket.hut"]),  # 3.04 A
        (3.0, 0.5, ["error breaker socket.hut"]),
    ],
)
def test_a_breaker_is_held_against_the_level_and_full_white(breaker: float, level: float, wanted: list[str]) -> None:
    assert rules(one_socket(socket={"breaker": breaker}, level=level)) == wanted


def test_what_else_hangs_on_a_circuit_counts_also_where_no_supply_does() -> None:
    assert rules(one_socket(socket={"breaker": 10.0, "other_amps": 1.8})) == []
    assert rules(one_socket(socket={"breaker": 10.0, "other_amps": 2.0})) == ["warning breaker socket.hut"]
    kettle = hut({"gable": 1}, {"gable": {}}, {"hut": GOOD | {"breaker": 10.0, "other_amps": 10.5}})
    assert rules(kettle) == ["note socket-empty socket.hut", "error breaker socket.hut"]


@examples(25, 200)
@given(st.integers(1, 100), st.floats(0, 20), st.floats(0.1, 40), st.floats(0.3, 1), st.floats(0.3, 1), st.floats(0, 1))
def test_each_finding_about_a_breaker_is_there_when_its_inequality_holds(
    pixels: int, other: float, breaker: float, efficiency: float, factor: float, level: float
) -> None:
    # By arithmetic: 1 mA dark and 60 mA more at full white, at 12 V on both sides
    def takes(level: float) -> float:
        return pixels * (0.001 + 0.06 * level) / efficiency / factor + other

    limits = [takes(level) - breaker, takes(level) - 0.8 * breaker, takes(1.0) - breaker]
    if any(abs(each) < 1e-4 for each in limits):
        return
    over, hours, white = (each > 0 for each in limits)
    wanted = ["error breaker"] if over else ["warning breaker"] if hours else []
    wanted += ["note breaker-full-white"] if white and not over else []
    tables = one_socket(
        {"efficiency": efficiency, "power_factor": factor}, {"breaker": breaker, "other_amps": other}, pixels, level
    )
    assert rules(tables) == [f"{each} socket.hut" for each in wanted]


@examples(25, 200)
@given(st.lists(st.floats(0, 20), min_size=1, max_size=3), st.floats(0.1, 100))
def test_leakage_is_held_against_a_third_of_what_trips_the_device(leaks: list[float], trips: float) -> None:
    if abs(sum(leaks) - trips / 3) < 1e-4:
        return
    plugged = {f"s{at}": QUIET | {"leakage_ma": each} for at, each in enumerate(leaks)}
    tables = hut(dict.fromkeys(plugged, 1), plugged, {"hut": GOOD | {"rcd_ma": trips}})
    assert rules(tables) == (["warning rcd-leakage socket.hut"] if sum(leaks) > trips / 3 else [])


def test_leakage_behind_one_device_is_said_once_of_all_its_circuits() -> None:
    # By hand: 4 and 7 mA are each less than 10, a third of 30 mA; together they are more.
    plugged = {"a": QUIET | {"socket": "hut", "leakage_ma": 4.0}, "b": QUIET | {"socket": "quay", "leakage_ma": 7.0}}
    sockets = {"hut": GOOD | {"rcd_name": "board"}, "quay": GOOD | {"rcd_name": "board"}}
    tables = hut({"a": 1, "b": 1}, plugged, sockets)
    assert rules(tables) == ["warning rcd-leakage socket.hut"]
    [finding] = said(tables)
    assert "11.0 mA leak from the supplies of 2 circuits" in finding.says
    assert "(device board: hut, quay)" in finding.says
    assert rules(hut({"a": 1, "b": 1}, plugged, dict.fromkeys(sockets, GOOD))) == []


@examples(25, 200)
@given(st.lists(st.floats(0, 200), min_size=1, max_size=3), st.floats(20, 60))
def test_inrush_is_held_against_five_times_the_breaker(peaks: list[float], breaker: float) -> None:
    if abs(sum(peaks) - 5 * breaker) < 1e-4:
        return
    plugged = {f"s{at}": QUIET | {"inrush_amps": each} for at, each in enumerate(peaks)}
    tables = hut(dict.fromkeys(plugged, 1), plugged, {"hut": GOOD | {"breaker": breaker}})
    assert rules(tables) == (["note inrush socket.hut"] if sum(peaks) > 5 * breaker else [])


def test_inrush_names_the_order_biggest_load_first_where_there_is_one() -> None:
    plugged = {name: QUIET | {"inrush_amps": 60.0} for name in ("small", "big", "middle")}
    tables = hut({"small": 1, "big": 30, "middle": 10}, plugged, {"hut": GOOD | {"breaker": 16.0}})
    [found] = said(tables)
    assert "one after the other, as big, middle, small" in found.remedy
    [alone] = said(one_socket({"inrush_amps": 90.0}, {"breaker": 16.0}))
    assert "one after the other" not in alone.remedy


@pytest.mark.parametrize(
    ("gone", "words"), [("volts", "has no volts,"), ("breaker", "has no breaker,"), ("rcd_ma", "does not say")]
)
def test_what_the_sums_need_is_asked_for(gone: str, words: str) -> None:
    socket = {key: value for key, value in GOOD.items() if key != gone}
    tables = one_socket() | {"socket": {"hut": socket}}
    assert rules(tables) == ["note mains-not-said socket.hut"]
    [found] = said(tables)
    assert words in found.says
    assert f"write {gone}" in found.remedy


def test_no_residual_current_device_is_warned_of_and_one_of_unknown_rating_asked_about() -> None:
    bare = {key: value for key, value in GOOD.items() if key != "rcd_ma"}
    assert rules(one_socket() | {"socket": {"hut": bare | {"rcd": False}}}) == ["warning no-rcd socket.hut"]
    tables = one_socket() | {"socket": {"hut": bare | {"rcd": True}}}
    assert rules(tables) == ["note mains-not-said socket.hut"]
    assert "nor whether" not in said(tables)[0].says


def test_a_load_that_is_not_known_is_said_so() -> None:
    tables = one_socket()
    del tables["pixel"]["plain"]["channel_ma"]
    assert rules(tables) == ["note mains-unknown socket.hut"]
    assert "gable" in said(tables)[0].says


def test_what_is_known_may_be_too_much_already() -> None:
    # By hand: other loads of 9 A on a breaker of 10 A; what the supply takes on top is not known
    tables = one_socket(socket={"breaker": 10.0, "other_amps": 9.0})
    del tables["pixel"]["plain"]["channel_ma"]
    assert rules(tables) == ["warning breaker socket.hut", "note mains-unknown socket.hut"]
    assert said(tables)[0].says.startswith("at least 9.00 A")
    tables = one_socket(socket={"breaker": 10.0, "other_amps": 10.5})
    del tables["socket"]["hut"]["volts"]
    assert rules(tables) == ["error breaker socket.hut", "note mains-not-said socket.hut"]


def test_an_empty_socket_is_named_beside_one_that_is_used() -> None:
    tables = one_socket() | {"socket": {"hut": GOOD | {"circuit": "x"}, "shed": {"circuit": "x"}}}
    assert rules(tables) == ["note socket-empty socket.shed"]


def test_sockets_of_one_circuit_are_added_up_and_named() -> None:
    # By hand: 6.1 A each: 12.2 A are over 80 % of 15 A, 12 A, and each alone is not
    plugged = {"gable": QUIET, "jetty": QUIET | {"socket": "jetty"}}
    sockets = {"jetty": {"circuit": "garden"}, "hut": GOOD | {"breaker": 15.0, "circuit": "garden"}}
    tables = hut({"gable": 100, "jetty": 100}, plugged, sockets)
    assert rules(tables) == ["warning breaker socket.hut"]
    assert "(circuit garden: hut, jetty)" in said(tables)[0].says
    sockets["jetty"] = GOOD
    assert rules(tables) == []


def test_check_says_it_of_the_area_power_with_local_code_first_and_a_warning_can_be_accepted() -> None:
    tables = one_socket(socket={"breaker": 7.0})
    tables["accept"] = [{"rule": "breaker", "where": "socket.hut", "why": "half an hour a day"}]
    [found] = [finding for finding in check(wired(tables))[1] if finding.rule == "breaker"]
    assert found.accepted
    assert found.area == "power"
    assert found.remedy.endswith("local code and a licensed electrician come first")
    assert re.search(r"6\.10 A .* 7\.00 A: for 3 hours and more it carries 80 % of that, 5\.60 A", found.says)
