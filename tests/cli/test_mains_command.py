"""`power` and `check` of a show with sockets, as a person and a script run them."""

import json
import re
import tomllib
from pathlib import Path

import pytest
import tomli_w

from patcher.mains import usual
from patcher.reference import parts_of, topics
from rig.mains_shows import hut
from rig.shipped import Patcher

SEASON = ("--hours", 6, "--days", 30, "--price", 0.25)
PORCH = {"volts": 230.0, "breaker": 16.0, "rcd_ma": 30.0, "circuit": "garden", "other_amps": 0.5}


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    """Two supplies on two sockets of one circuit, and a third socket with nothing on it."""
    plugged = {"gable": {"socket": "porch", "efficiency": 0.8}, "jetty": {"socket": "shed"}}
    sockets = {"porch": PORCH, "shed": {"circuit": "garden"}, "cellar": {}}
    return save(tmp_path, hut({"gable": 100, "jetty": 200}, plugged, sockets, level=0.5))


def save(folder: Path, tables: dict) -> Path:
    file = folder / "quay.toml"
    file.write_text(tomli_w.dumps(tables))
    return file


def rows(printed: str, head: str) -> dict[str, list[str]]:
    """The table whose first column has that head, by its first cell."""
    lines = printed.splitlines()
    start = next(at for at, line in enumerate(lines) if line.startswith(f"{head} ")) + 2
    table = [re.split(r" {3,}", line.strip()) for line in lines[start : start + next(
        at for at, line in enumerate([*lines[start:], ""]) if not re.search(r" {3,}", line)
    )]]  # fmt: skip
    return {row[0]: row[1:] for row in table}


def test_what_is_printed_is_what_scripts_get(here: Patcher, quay: Path) -> None:
    printed = here("power", quay, *SEASON).stdout
    found = json.loads(here("power", quay, *SEASON, "--json").stdout)
    sockets, circuits, energy = (rows(printed, head) for head in ("socket", "circuit", "all the time"))
    porch, shed, cellar = found["sockets"]
    for each in (porch, shed):
        values = [f"{each[f'{name}_watts']:.0f} W, {each[f'{name}_amps']:.2f} A" for name in ("dark", "full_white")]
        assert [sockets[each["socket"]][at] for at in (1, 3)] == values
    assert sockets["porch"][-1] == "gable, other loads 0.5 A"
    assert sockets["cellar"] == ["not said", *["0 W, 0.00 A"] * 3, "nothing"]
    assert (cellar["volts"], cellar["plugged_in"]) == (None, [])
    garden = found["circuits"][0]
    assert circuits["garden"] == [
        *(f"{garden[key]:.2f} A" for key in ("dark_amps", "amps_at_level", "full_white_amps")),
        "12.8 A", "16 A", "120 A", "2 of 10 mA", "30 mA",
    ]  # fmt: skip
    assert garden["amps_at_level"] == pytest.approx(porch["amps_at_level"] + shed["amps_at_level"])
    assert energy["full white"] == [
        f"{found['energy']['full_white_kwh']:.1f} kWh", f"{found['energy']['full_white_cost']:.2f}"
    ]  # fmt: skip
    # By hand: 100 pixels of 61 mA at 12 V over 0.8 and 200 over 0.85 are 263.735 W; 180 h of these 47.47 kWh
    assert energy["full white"] == ["47.5 kWh", "11.87"]
    assert garden["switch_on"] == ["jetty", "gable"]
    assert "Switch on garden one after the other: jetty, gable" in printed


def test_what_is_counted_without_being_given_is_said(here: Patcher, quay: Path) -> None:
    printed = here("power", quay).stdout
    assert "(common practice, no source): efficiency 0.85 of jetty." in printed
    assert "(common practice, no source): inrush 60 A, leakage 1 mA of gable, jetty." in printed
    assert "Power factor 0.6 is counted of gable, jetty" in printed
    assert usual.LOCAL in printed
    assert "Energy" not in printed


def test_without_sockets_nothing_is_said_of_the_mains(here: Patcher, tmp_path: Path) -> None:
    show = save(tmp_path, hut({"gable": 10}, {"gable": {}}, {}))
    for command in ("power", "check"):
        ran = here(command, show)
        assert ran.returncode == 0
        assert "ains" not in ran.stdout
    found = json.loads(here("power", show, "--json").stdout)
    assert (found["sockets"], found["circuits"], found["energy"]) == ([], [], None)


def test_check_says_it_too_and_an_overloaded_breaker_is_an_error(here: Patcher, quay: Path) -> None:
    ran = here("check", quay)
    assert ran.returncode == 0
    assert "note: socket.cellar" in ran.stdout
    assert re.search(r"Mains, .*level 0\.5: garden 1\.47 A of 16 A, cellar 0\.00 A\.", ran.stdout)
    tables = tomllib.loads(quay.read_text())
    tables["socket"]["porch"]["breaker"] = 1.0
    save(quay.parent, tables)
    for command in ("check", "power"):
        ran = here(command, quay)
        assert ran.returncode == 1
        assert "error: socket.porch" in ran.stdout
    document = json.loads(here("check", quay, "--json").stdout)
    assert [each["rule"] for each in document["findings"] if each["severity"] == "error"] == ["breaker"]
    assert document["circuits"] == json.loads(here("power", quay, "--json").stdout)["circuits"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--hours", 6), "--days: is missing"),
        (("--days", 6), "--hours: is missing"),
        (("--price", 0.3), "--days: is missing"),
        (("--hours", 6, "--days", 9, "--plan"), "leave out --hours"),
        (("--hours", 25, "--days", 9), "--hours"),
    ],
)
def test_options_that_do_not_go_together_are_refused(here: Patcher, quay: Path, options: tuple, words: str) -> None:
    ran = here("power", quay, *options)
    assert ran.returncode == 2
    assert words in ran.stderr


def test_energy_of_a_show_without_sockets_is_refused_with_what_to_add(here: Patcher, tmp_path: Path) -> None:
    ran = here("power", save(tmp_path, hut({"gable": 10}, {"gable": {}}, {})), *SEASON)
    assert ran.returncode == 2
    assert "add [socket.NAME]" in ran.stderr


def test_what_is_not_known_is_said_so(here: Patcher, quay: Path) -> None:
    tables = tomllib.loads(quay.read_text())
    del tables["pixel"]["plain"]["channel_ma"]
    save(quay.parent, tables)
    printed = here("power", quay, *SEASON).stdout
    assert rows(printed, "socket")["shed"][1:4] == ["not known"] * 3
    assert rows(printed, "all the time")["full white"] == ["not known", "not known"]
    assert json.loads(here("power", quay, "--json").stdout)["circuits"][0]["amps_at_level"] is None


def test_every_word_of_the_tables_and_every_key_is_in_help(here: Patcher, quay: Path) -> None:
    # Source: the heads of the tables that are printed, and the document
    printed = here("power", quay).stdout.partition("Mains, ")[2].splitlines()
    heads = [printed[at - 1] for at, line in enumerate(printed) if line.startswith("───")]
    words = {word for head in heads for word in re.split(r" {3,}", head.strip())}
    assert len(words) > 10
    mains = {part.term for part in parts_of(topics()["mains"]) if part.kind == "entry"}
    assert words - mains == {"socket", "circuit", "volts"}
    said = next(part.says for part in parts_of(topics()["json"]) if part.term == "power")
    known = set(re.findall(r"\w+", " ".join(re.findall(r"`([^`]*)`", said))))
    found = json.loads(here("power", quay, *SEASON, "--json").stdout)
    assert {*found["sockets"][0], *found["circuits"][0], *found["energy"]} <= known


def test_where_other_loads_count_it_is_said_that_they_are_not_in_the_watts(tmp_path: Path, here: Patcher) -> None:
    # By hand: 1.2 W of pixels beside a load of 0.5 A, which takes up to 115 W of 230 V: the two numbers do not agree
    words = "Watts are those of the supplies alone; amperes count the other loads too."
    for other in (0.0, 0.5):
        sockets = {"porch": {"volts": 230.0, "other_amps": other}}
        show = save(tmp_path, hut({"gable": 100}, {"gable": {"socket": "porch"}}, sockets))
        assert (words in here("power", show).stdout) == bool(other)


def test_help_counts_with_the_numbers_of_the_program() -> None:
    # Source: the constants that the sums use
    said = " ".join(f"{part.term} {part.says}" for part in parts_of(topics()["mains"]))
    for words in (
        f"efficiency {usual.EFFICIENCY:g},",
        f"power_factor {usual.POWER_FACTOR:g},",
        f"inrush_amps {usual.INRUSH_AMPS:g} A",
        f"leakage_ma {usual.LEAKAGE_MA:g} mA",
        f"for {usual.CONTINUOUS_HOURS} hours and more: {usual.CONTINUOUS * 100:g} %",
        f"more than {usual.AT_ONCE:g} times",
    ):
        assert words in said
    assert usual.LEAKED == 1 / 3
    assert said.count("From memory") == 3
