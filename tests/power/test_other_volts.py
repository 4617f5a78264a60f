"""A supply of other volts than the pixels: one error, no remedy that cannot help, and one verdict on every surface."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from patcher.drawing.run_facts import facts
from patcher.drawing.voltage_profile import profiles, words
from patcher.errors import Finding
from patcher.placement.allocation import allocate
from patcher.power import shortfalls
from patcher.power.flow import power
from patcher.reports import power_report
from patcher.sheets.contents import show_sheet
from patcher.sheets.label_stock import LabelStock
from patcher.sheets.page import Drawings, pages
from rig.examples import later
from rig.power_show import cut_as_said, fed, said, show, tap
from rig.shipped import wired

BESIDE = {"low-volts", "collapse"}


def on_other(volts: float, *, draw: str, pixels: int = 60) -> dict:
    """A run of pixels of some volts and one of 12 V behind it, cut from it, each with a feed of a supply of 12 V."""
    kinds = {"odd": {"volts": volts, "min_volts": volts * 0.8, "draw": draw}}
    runs = {"a": {"pixels": pixels, "pixel": "odd"}, "b": {"pixels": pixels, "power_joined": False}}
    return show(runs, {"f": fed(tap("a")), "g": fed(tap("b"))}, kinds=kinds, level=1.0)


@pytest.mark.parametrize("draw", ["current", "power"])
@pytest.mark.parametrize("volts", [5.0, 11.5, 12.5, *later(24.0), 48.0])
@pytest.mark.parametrize("pixels", [5, 60, *later(600)])
def test_nothing_that_cannot_help_stands_beside_other_volts(volts: float, draw: str, pixels: int) -> None:
    # Source: found by a reader: "tap it at more points" stood beside a supply of other volts, for the same pixels. What
    # is said of the other run has a cause there: it is said where the first has its own volts, too.
    found = said(on_other(volts, draw=draw, pixels=pixels))
    assert [finding.where for finding in found if finding.rule == "other-volts"] == ["feed.f"]
    assert not [finding for finding in found if finding.rule in BESIDE and finding.where == "run.a"]
    alone = on_other(12.0, draw="current", pixels=pixels)
    beside = [{each.rule for each in said_ if each.where == "run.b"} for said_ in (found, said(alone))]
    assert beside[1] or not beside[0]


@pytest.mark.parametrize("draw", ["current", "power"])
@pytest.mark.parametrize(("volts", "least"), [(5.0, 4.0), (24.0, 8.0), (24.0, 20.0), (12.0, 10.0), (12.0, 11.99)])
def test_every_surface_judges_volts_alike(volts: float, least: float, draw: str) -> None:
    # Source: the rule: pixels on a supply of other volts are not OK, however many volts they have
    tables = on_other(volts, draw=draw, pixels=10)
    tables["pixel"]["odd"]["min_volts"] = least
    wiring = wired(tables)
    state, patch = power(wiring), allocate(wiring).patch
    sheet = show_sheet(wiring, patch, None, state)
    document = {run["run"]: run["holds"] for run in power_report.document(state)["runs"]}
    hung = {run.run: run for port in sheet.boxes[0].ports for run in port.chain}
    assert document == {run.run: run.holds for run in sheet.runs} == {name: run.holds for name, run in hung.items()}
    assert document["a"] is (volts == 12.0 and least == 10.0)
    assert document["b"] is True
    words_ = {"other": volts != 12.0, "low": volts == 12.0 and least > 10.0}
    assert ("of other volts" in hung["a"].wrong) == words_["other"]
    assert ("too low" in hung["a"].wrong) == words_["low"]
    assert hung["b"].wrong == ""
    page = pages(sheet, Drawings(), LabelStock())["sheets.html"]
    assert page.count(" from a supply of other volts</td>") == words_["other"]
    assert page.count(" too low</td>") == words_["low"]
    (profile,) = profiles(state, ["a"])
    assert words(profile)[0].endswith(": OK") == (document["a"] is True)
    far = facts(wiring, patch, state)["a"].far_words
    assert f"needs {volts:g} V" in far if words_["other"] else "needs" not in far or words_["low"]
    rules = {finding.rule for finding in shortfalls.findings(wiring, state)}
    assert (("other-volts" in rules), ("low-volts" in rules)) == (words_["other"], words_["low"])


# ─── Along V+ ────────────────────────────────────────────────────────────────────────────────────────────────────────

KINDS = {"low": {"volts": 5.0, "min_volts": 4.0}, "high": {"volts": 24.0, "min_volts": 20.0}}
SUPPLIES = {f"s{volts}": {"volts": float(volts), "amps": 30.0} for volts in (5, 12, 24)}
VOLTS = {"low": 5.0, "lamp": 12.0, "high": 24.0}


def in_a_row(kinds: list[str], taps: dict[int, int], apart: frozenset[int] = frozenset()) -> dict:
    """Runs of some kinds in a row on one port: which supply taps the first pixel of which, and which is cut off."""
    runs = {f"r{at}": {"pixels": 10, "pixel": kind, "power_joined": at not in apart} for at, kind in enumerate(kinds)}
    feeds = {f"f{at}": fed(tap(f"r{at}"), supply=f"s{volts}", fuse=5) for at, volts in taps.items()}
    return show(runs, feeds, supplies=SUPPLIES, kinds=KINDS)


def reached(tables: dict) -> dict[str, set[float]]:
    """The volts of all supplies that reach each run along V+, by a walk from each tap."""
    runs = list(tables["run"])
    found: dict[str, set[float]] = {run: set() for run in runs}
    for feed in tables["feed"].values():
        (joint,) = feed["taps"]
        volts, start = tables["supply"][feed["supply"]]["volts"], runs.index(joint["run"])
        at = start
        while at < len(runs) and (at == start or tables["run"][runs[at]].get("power_joined", True)):
            found[runs[at]].add(volts)
            at += 1
        at = start
        while at > 0 and tables["run"][runs[at]].get("power_joined", True):
            at -= 1
            found[runs[at]].add(volts)
    return found


def named_wrong(tables: dict) -> list[Finding]:
    return [finding for finding in said(tables) if finding.rule == "other-volts"]


@pytest.mark.parametrize(
    ("kinds", "taps", "where", "says", "cut"),
    [
        (["lamp", "low"], {0: 12}, "run.r1", "12 V from s12 through r0, and low needs 5 V", "before r1/1 "),
        (["low", "lamp"], {1: 12}, "run.r0", "12 V from s12 through r1, and low needs 5 V", "before r1/1 "),
        (["low", "lamp"], {0: 5}, "run.r1", "5 V from s5 through r0, and lamp needs 12 V", "before r1/1 "),
        (["lamp", "low", "low"], {0: 12}, "run.r1", "through r0, as r2 does, and low needs 5 V", "before r1/1 "),
        (["lamp", "low", "lamp"], {0: 12, 2: 12}, "run.r1", "and low needs 5 V", "before r1/1 and r2/1 "),
        (["lamp", "low", "lamp"], {0: 12}, "run.r1", "and low needs 5 V", "before r1/1 and r2/1 "),
        (["low", "lamp"], {0: 12}, "feed.f0", "to r0/1, whose low needs 5 V", "before r1/1 "),
    ],
)  # fmt: skip
def test_volts_along_v_plus_are_judged_too(
    kinds: list[str], taps: dict[int, int], where: str, says: str, cut: str
) -> None:
    # Source: found by a reader: 12 V reached pixels of 5 V along the string's own V+, and check said "OK"
    tables = in_a_row(kinds, taps)
    (finding,) = named_wrong(tables)
    assert (finding.severity, finding.where) == ("error", where)
    assert says in finding.says
    assert "do not switch it on" in finding.remedy
    assert cut in finding.remedy
    left = named_wrong(cut_as_said(tables, finding))
    assert not [each for each in left if each.where.startswith("run.")]


def test_no_cut_is_said_where_all_on_one_v_plus_need_the_same() -> None:
    (finding,) = named_wrong(in_a_row(["low", "low"], {0: 12}))
    assert "cut" not in finding.remedy


def test_what_no_feed_reaches_is_cut_first_where_its_volts_differ() -> None:
    # Source: the remedy of "unfed" alone, a tap at r0, would bring its volts to r1
    tables = in_a_row(["lamp", "low"], {})
    tables["feed"] = {"f": fed(tap("x"))}
    tables["run"]["x"] = {"pixel": "lamp", "pixels": 5, "power_joined": False}
    tables["supply"] = {"s": {"volts": 12.0, "amps": 30.0}}
    tables["controller"]["box"]["port"]["2"] = ["x"]
    (finding,) = [finding for finding in said(tables) if finding.rule == "unfed"]
    assert "cut V+ just before r1/1 (power_joined = false in [run.r1])" in finding.remedy
    assert sorted(each.where for each in said(cut_as_said(tables, finding)) if each.rule == "unfed") == [
        "run.r0", "run.r1",
    ]  # fmt: skip


@given(
    kinds=st.lists(st.sampled_from(sorted(VOLTS)), min_size=1, max_size=6),
    taps=st.dictionaries(st.integers(0, 5), st.sampled_from([5, 12, 24]), min_size=1, max_size=4),
    apart=st.frozensets(st.integers(1, 5)),
)
@example(kinds=["lamp", "lamp", "low"], taps={0: 12, 2: 5}, apart=frozenset())
def test_whatever_a_supply_of_other_volts_reaches_is_an_error_until_it_is_cut(
    kinds: list[str], taps: dict[int, int], apart: frozenset[int]
) -> None:
    # Judge: a walk along V+ from each tap
    tables = in_a_row(kinds, {at: volts for at, volts in taps.items() if at < len(kinds)} or {0: 12}, apart)
    wrong = any(volts - {VOLTS[tables["run"][run]["pixel"]]} for run, volts in reached(tables).items())
    hazards = [each for each in said(tables) if each.rule in ("other-volts", "joined-supplies")]
    assert all(finding.severity == "error" for finding in hazards)
    assert bool(hazards) == wrong or [each.rule for each in hazards] == ["joined-supplies"]
    for finding in hazards:
        tables = cut_as_said(tables, finding)
    tables["feed"] = {  # what is tapped by other volts is connected to its own
        name: feed | {"supply": f"s{VOLTS[tables['run'][feed['taps'][0]['run']]['pixel']]:g}"}
        for name, feed in tables["feed"].items()
    }
    for run, volts in reached(tables).items():
        assert volts <= {VOLTS[tables["run"][run]["pixel"]]}, run
