"""Why something of the power is not known: each row that says so gives its reason, and no other row gives one."""

from __future__ import annotations

import io
import re
from contextlib import redirect_stdout

import numpy as np
import pytest
from hypothesis import given

from patcher.charts.voltage_plot import svg
from patcher.drawing.voltage_profile import profiles, words
from patcher.power.flow import Power, power
from patcher.reports import power_report
from rig.any_power import anything, wired_or_none
from rig.examples import examples
from rig.power_show import fed, show, tap
from rig.shipped import wired

BOTH = {"s": {"volts": 12.0, "amps": 30.0}, "t": {"volts": 12.0, "amps": 30.0}}
BARE = {"supply": "s", "fuse": 5, "taps": [tap("a")]}


def pixel(**keys: object) -> dict:
    return {"kinds": {"lamp": keys}}


CASES = {
    "two supplies": ([fed(tap("a")), fed(tap("a", 9), supply="t")], {"supplies": BOTH}, "s and t are joined on one V+"),
    "no size": ([BARE], {}, "feed.f0 has no wire size"),
    "no pitch": ([fed(tap("a"))], pixel(pitch=None), "pixel.lamp lacks pitch"),
    "no wire": ([fed(tap("a"))], pixel(awg=None), "pixel.lamp lacks awg or mm2"),
    "no amperes": ([fed(tap("a"))], pixel(channel_ma=None, idle_ma=None), "pixel.lamp lacks channel_ma, idle_ma"),
    "no least": ([fed(tap("a"))], pixel(min_volts=None), "pixel.lamp lacks min_volts"),
    "no feed": ([], {}, "no feed reaches it"),
    "collapse": ([fed(tap("a"))], pixel(draw="power", channel_ma=90000.0), "the voltage collapses: "),
}


def rows(state: Power) -> dict[str, tuple[str, str]]:
    """Of each row of the three tables what it says before the column of reasons, and the reason."""
    out = io.StringIO()
    with redirect_stdout(out):
        power_report.say(state, [])
    found, at = {}, None
    for line in out.getvalue().splitlines():
        if re.match(r"(supply|feed|run)  ", line):
            at = line.find("why not known") if "why not known" in line else len(line) + 99
        elif not line or re.match(r"Highest level|Not counted|Fuse:", line):
            at = None
        elif at is not None and not line.startswith("─"):
            found[line.split()[0]] = line[:at], line[at:]
    return found


def whole(state: Power) -> dict[str, str | None]:
    """Why of each supply, feed and run, as scripts read it."""
    document = power_report.document(state)
    return {
        each[kind]: each["why"]
        for kind in ("supply", "feed", "run")
        for each in document[f"{kind}s" if kind != "supply" else "supplies"]
    }


@pytest.mark.parametrize("case", CASES)
def test_the_reason_is_the_one_that_was_put_in(case: str) -> None:
    # Source: found by a reader: "not known" in a row, and no word of why
    feeds, more, why = CASES[case]
    tables = show({"a": {"pixels": 9}}, {f"f{number}": feed for number, feed in enumerate(feeds)}, level=1.0, **more)
    tables["pixel"] = {name: {k: v for k, v in kind.items() if v is not None} for name, kind in tables["pixel"].items()}
    state = power(wired(tables))
    assert rows(state)["a"][1].startswith(why)
    assert (whole(state)["a"] or "").startswith(why)


@pytest.mark.parametrize(("level", "idle", "at"), [(0.0, 1.0, "full white"), (0.5, 1.0, "level 0.5"), (0.0, 9e4, "")])
def test_a_supply_says_at_which_level_the_voltage_collapses(level: float, idle: float, at: str) -> None:
    # Source: no wire brings 90 A a colour; in the dark all is well, but where each pixel takes that in the dark too
    more = pixel(draw="power", channel_ma=90000.0, idle_ma=idle)
    state = power(wired(show({"a": {"pixels": 9}}, {"f": fed(tap("a"))}, level=level, **more)))
    before, why = rows(state)["s"]
    assert "not known" in before
    assert why.startswith(f"at {at} the voltage collapses" if at else "the voltage collapses")


def test_what_is_not_known_elsewhere_is_no_reason_here() -> None:
    # Source: two runs that share nothing: what one lacks leaves the other known
    kinds = {"vague": {"pitch": 0.1}}
    runs = {"a": {"pixels": 9}, "b": {"pixels": 9, "pixel": "vague"}}
    tables = show(runs, {"f": fed(tap("a")), "g": fed(tap("b"), supply="t")}, kinds=kinds, supplies=BOTH,
                  ports={"1": ["a"], "2": ["b"]})  # fmt: skip
    del tables["pixel"]["vague"]["idle_ma"]
    why = whole(power(wired(tables)))
    assert {name: bool(reason) for name, reason in why.items()} == {
        "s": False, "f": False, "a": False, "t": True, "g": True, "b": True,
    }  # fmt: skip
    assert why["b"] == "pixel.vague lacks idle_ma"


@pytest.mark.parametrize(
    ("case", "says"), [("two supplies", "not known: s and t are"), ("no feed", "not fed: none of its 9")]
)
def test_a_plot_of_what_is_not_known_does_not_say_that_it_is_not_fed(case: str, says: str) -> None:
    # Source: two supplies feed it
    feeds, more, _ = CASES[case]
    tables = show({"a": {"pixels": 9}}, {f"f{number}": feed for number, feed in enumerate(feeds)}, **more)
    (profile,) = profiles(power(wired(tables)), ["a"])
    assert words(profile)[0].startswith(says)
    assert ("not known" in svg("", [profile])) == says.startswith("not known")


@examples(12, 200)
@given(anything())
def test_a_row_gives_a_reason_if_it_says_not_known_and_only_then(tables: dict) -> None:
    # Source: the rule
    wiring = wired_or_none(tables)
    if wiring is None:
        return
    state = power(wiring)
    reasons = whole(state)
    for name, (before, why) in rows(state).items():
        assert bool(why.strip()) == ("not known" in before), (name, before, why)
        assert (reasons[name] or "") == why.strip()
        assert "nan" not in why


def test_a_wire_on_to_runs_that_are_not_hung_leaves_the_amperes_known() -> None:
    # Source: Kirchhoff's current law: a wire that ends at nothing carries nothing, however long it is. Found by a test
    # of charts (seed 76): its supply's amperes were known, those of its only feed were not.
    runs = {"a": {"pixels": 20}, "stored": {"pixels": 20, "hung": False, "pixel": "bare"}}
    tables = show(runs, {"f": fed(tap("a"), tap("a", 20))}, kinds={"bare": {}})
    tables["pixel"]["bare"] = {"colour_order": "RGB", "volts": 12.0}
    alone = power(wired(tables))
    tables["feed"]["f"]["taps"].append({"run": "stored", "every": 5, "length": 2.0})
    tables["feed"]["g"] = {"from": "f", "tap": 3, "taps": [tap("stored", 2)]}
    state = power(wired(tables))
    assert [load.amps for load in state.feeds] == pytest.approx([alone.feeds[0].amps, 0.0])
    assert state.feeds[0].amps == pytest.approx(state.supplies[0].amps) == pytest.approx(20 * 0.061)
    # On to a run that is hung it is not known, and so are the volts there.
    tables["feed"]["g"]["taps"].append(tap("a", 10))
    assert np.isnan(power(wired(tables)).feeds[0].amps)


@pytest.mark.parametrize("volts", [None, 12.0])
@pytest.mark.parametrize("supplies", [{}, None])
def test_where_there_is_no_power_no_empty_table_and_no_axis_stands_for_it(
    volts: float | None, supplies: dict | None, capsys: pytest.CaptureFixture[str]
) -> None:
    # Source: found by a reader: two empty tables, and an axis of 11 to 12 V for pixels of which nobody knows the volts
    tables = show({"a": {"pixels": 10}}, {}, supplies=supplies)
    if volts is None:
        tables["pixel"]["lamp"] = {"colour_order": "RGB"}
    state = power(wired(tables))
    power_report.say(state, [])
    said = capsys.readouterr().out
    assert ("The file has no supply in use" in said) == (supplies == {})
    assert ("To have supplies and feeds proposed: patcher power SHOW --plan --supplies" in said) == (supplies == {})
    assert "The file has no feed" in said
    assert "smallest fuse" not in said
    assert ("highest level" in said) == (supplies is None)
    power_report.say_plots(state, ["a"])
    plot = capsys.readouterr().out
    words_ = " ".join(plot.split())
    assert "not fed: none of its 10 pixels has a voltage" in words_
    assert ("which volts they need, the file does not say" in words_) == (volts is None)
    assert bool(re.search(r"\b1[12]\b", plot)) == (volts is not None)
    (profile,) = profiles(state, ["a"])
    drawn = svg("plot", [profile])
    assert ("V</text>" in drawn) == (volts is not None)
