"""A supply of other volts than the pixels: one error, no remedy that cannot help, and one verdict on every surface."""

from __future__ import annotations

import pytest

from patcher.drawing.run_facts import facts
from patcher.drawing.voltage_profile import profiles, words
from patcher.placement.allocation import allocate
from patcher.power import shortfalls
from patcher.power.flow import power
from patcher.reports import power_report
from patcher.sheets.contents import show_sheet
from patcher.sheets.label_stock import LabelStock
from patcher.sheets.page import Drawings, pages
from rig.power_show import fed, said, show, tap
from rig.shipped import wired

BESIDE = {"low-volts", "collapse"}


def on_other(volts: float, *, draw: str, pixels: int = 60) -> dict:
    """A run of pixels of some volts and one of 12 V behind it, cut from it, each with a feed of a supply of 12 V."""
    kinds = {"odd": {"volts": volts, "min_volts": volts * 0.8, "draw": draw}}
    runs = {"a": {"pixels": pixels, "pixel": "odd"}, "b": {"pixels": pixels, "power_joined": False}}
    return show(runs, {"f": fed(tap("a")), "g": fed(tap("b"))}, kinds=kinds, level=1.0)


@pytest.mark.parametrize("draw", ["current", "power"])
@pytest.mark.parametrize("volts", [5.0, 11.5, 12.5, 24.0, 48.0])
@pytest.mark.parametrize("pixels", [5, 60, 600])
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
