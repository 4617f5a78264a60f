"""What is said to do about a fault: a number in a box may be right, and a plan as wired may be one that must not be."""

import json
import re
from itertools import combinations
from pathlib import Path

import pytest

from patcher.cli.inputs import load
from patcher.dialogue.remedy_words import MOST_ERRORS, say_remedies
from patcher.faults import parse, planned
from patcher.placement.allocation import allocate
from patcher.remedies.remedies import TYPED, remedy
from patcher.remedies.rewrite import rewritten
from rig.heron_lock import HERON_LOCK, heron
from rig.in_process import run

WIRING, _, PLAN, _ = heron()
TYPE = """[pixel.{name}]
colour_order = "RGB"
volts = {volts}
channel_ma = 12.0
min_volts = {least}
awg = 20
"""
SHOW = """[show]
title = "Ferry landing"
""" + TYPE.format(name="lantern", volts=12.0, least=9.5) + TYPE.format(name="ribbon", volts=5.0, least=4.0) + """
[controller.ferry]
address = "192.0.2.7"
ports = 4
[controller.ferry.port]
1 = ["jetty", "steps"]
2 = ["sign"]
3 = ["mast"]
[supply.ferry-12v]
volts = 12.0
amps = 12.5
box = "ferry"
[supply.ferry-5v]
volts = 5.0
amps = 10.0
box = "ferry"
[feed.jetty-wire]
supply = "ferry-12v"
awg = 16
fuse = 5
taps = [{ run = "jetty", pixel = "first", length = 3.0 }, { run = "mast", pixel = "first", length = 3.0 }]
[feed.sign-wire]
supply = "ferry-5v"
awg = 14
fuse = 7.5
taps = [{ run = "sign", pixel = "first", length = 1.0 }]
""" + "".join(
    f"[run.{name}]\npixel = '{kind}'\npixels = {pixels}\nlead = {lead}\n"
    for name, kind, pixels, lead in (
        ("jetty", "lantern", 40, 3.0), ("steps", "lantern", 25, 2.0), ("sign", "ribbon", 40, 1.0),
        ("mast", "lantern", 30, 3.0),
    )
)  # fmt: skip
TWO_RUNS = [*combinations(["jetty", "steps", "sign", "mast"], 2)]


def errors(show: Path) -> set[tuple[str, str]]:
    found = json.loads(run(show.parent, "check", show, "--json").stdout)["findings"]
    return {(one["where"], one["says"]) for one in found if one["severity"] == "error"}


def exchanged(two: tuple[str, str], folder: Path) -> tuple[set[tuple[str, str]], list[str]]:
    """The errors that `check` finds only once the file says that two runs hang in each other's place; what is said."""
    now, then = folder / "now.toml", folder / "then.toml"
    now.write_text(SHOW)
    wiring = load(now)
    plan, said = planned(wiring, allocate(wiring).patch), list[str]()
    faults = (parse(f"swapped-runs:{two[0]},{two[1]}", wiring),)
    then.write_text(rewritten(SHOW, plan, faults).text)
    say_remedies(now, plan, [faults], said.append)
    return errors(then) - errors(now), said


@pytest.mark.parametrize("two", TWO_RUNS)
def test_what_check_would_find_is_said_before_a_plan_is_changed(two: tuple[str, str], tmp_path: Path) -> None:
    # Judge: the command itself, of the file as it is and as it would be. Source: a reader with runs of 12 V and 5 V
    # exchanged, who was told to leave the wiring as it is
    new, said = exchanged(two, tmp_path)
    told = [line for line in said if "finds an error" in line]
    assert len(told) == min(len(new), MOST_ERRORS)
    assert all(any(line.endswith(f"{where}: {says}") for where, says in new) for line in told)
    assert any(f"and {len(new) - MOST_ERRORS} more" in line for line in said) == (len(new) > MOST_ERRORS)


def test_some_exchange_is_an_error_and_some_is_none(tmp_path: Path) -> None:
    assert len({bool(exchanged(two, tmp_path)[0]) for two in TWO_RUNS}) == 2


@pytest.mark.parametrize(
    ("likeliest", "others", "hands"),
    [
        ("count:mooring/1=-1", ["cut:towpath/3", "dark:towpath/3"], ["cut:towpath/3", "dark:towpath/3"]),
        ("count:mooring/1=-1", ["universe-shift:mooring=1", "dark:towpath/3"], ["dark:towpath/3"]),
        ("universe-shift:mooring=1", ["channel-shift:mooring/1=3"], []),
        ("cut:towpath/3", ["count:mooring/1=-1", "dark:towpath/3"], []),
        ("count:mooring/1=-1", [], []),
    ],
)
def test_a_number_that_is_right_in_the_box_leads_to_the_hands(
    likeliest: str, others: list[str], hands: list[str]
) -> None:
    # Source: a reader whose last pixel was dead, whose box had the right number, and who was told no more
    same, said = [(parse(text, WIRING),) for text in (likeliest, *others)], list[str]()
    say_remedies(HERON_LOCK, PLAN, same, said.append)
    right = [line for line in said if re.search("If the box has it as planned", line)]
    assert len(right) == bool(hands)
    for text in hands:
        fault = parse(text, WIRING)
        assert fault.kind not in TYPED
        assert remedy(HERON_LOCK, WIRING, fault).says in right[0]
