"""All lengths on paper are in the show's own units, and say so."""

import csv
import json
import re
from math import nan
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.limits import findings
from patcher.placement.allocation import allocate
from patcher.power.flow import power
from patcher.sheets import exports
from patcher.sheets.contents import show_sheet
from patcher.sheets.drawings import draw
from patcher.sheets.label_stock import LabelStock
from patcher.sheets.labels import tags
from patcher.sheets.page import drawing_files, pages
from patcher.sheets.parts_list import shopping
from patcher.units import length
from rig.examples import examples, later
from rig.power_show import show
from rig.shipped import Patcher, wired
from rig.sketches import sketch

LENGTH = {"m": r"\d\s*(m|metres?)(?![\w²/])", "ft": r"\d\s*(ft|feet)\b"}
"""What a person reads as a length in metres and in feet; `mm²`, `ms` and `A m` are none."""
WORDS = {"m": r"\bmet(re|er)s?\b", "ft": r"\bfeet\b"}
"""The unit in words."""


def read_by_people(text: str) -> str:
    """The text of a page or a drawing, without its marks and its style."""
    return re.sub(r"<[^>]+>", "\n", re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL))


def assert_units(texts: dict[str, str], units: str) -> int:
    """No text names a length in the other unit; how many lengths there are."""
    other = {"m": "ft", "ft": "m"}[units]
    said = 0
    for name, text in texts.items():
        words = read_by_people(text)
        found = re.search(f"{LENGTH[other]}|{WORDS[other]}", words)
        assert found is None, (name, words[max(found.start() - 60, 0) : found.end() + 60])
        said += len(re.findall(LENGTH[units], words))
    return said


@pytest.mark.parametrize("units", [*later("m"), "ft"])
def test_the_papers_of_a_show_name_no_length_in_another_unit(units: str, heron_lock: Path, here: Patcher) -> None:
    # Source: the design: lengths are in the show's units
    text = heron_lock.read_text(encoding="utf-8")
    heron_lock.write_text(text.replace("frame_rate = 40", f'frame_rate = 40\nunits = "{units}"'), encoding="utf-8")
    here("sheet", heron_lock, "--out", "out", "--store")
    out = heron_lock.parent / "out"
    papers = {
        path.relative_to(out).as_posix(): path.read_text(encoding="utf-8")
        for path in out.rglob("*")
        if path.suffix in (".html", ".svg", ".md")
    }
    assert assert_units(papers, units) > 100
    for chart in ("drawings/chart-mooring.svg", "drawings/show.svg", "boxes/mooring.html", "labels.html", "sheets.md"):
        assert re.search(LENGTH[units], read_by_people(papers[chart])), chart
    # Tables for a spreadsheet are in metres, and the head of a column of lengths says it.
    for name in ("chains", "taps", "shopping"):
        rows = list(csv.DictReader((out / "tables" / f"{name}.csv").read_text(encoding="utf-8").splitlines()))
        heads = [head for head in rows[0] if head.endswith("metres")]
        assert len(heads) == 1, name
        assert "lead" not in rows[0]
        for row in rows:
            assert len(row[heads[0]].partition(".")[2]) <= 6, row
    [row] = [
        row
        for row in csv.DictReader((out / "tables/chains.csv").read_text(encoding="utf-8").splitlines())
        if row["run"] == "narrowboat"
    ]
    assert float(row["lead_metres"]) == pytest.approx(11.0 * {"m": 1.0, "ft": 0.3048}[units], abs=1e-6)
    assert json.loads((out / "sheets.json").read_text())["units"] == units


@pytest.mark.long
@examples(4, 40)
@given(st.integers(0, 100_000), st.sampled_from(["m", "ft"]))
def test_no_show_names_a_length_in_another_unit(seed: int, units: str) -> None:
    tables = sketch(seed, most=5)
    tables.setdefault("show", {})["units"] = units
    wiring = wired(tables)
    patch, state = allocate(wiring).patch, power(wiring)
    found = findings.check(wiring, None)[1]
    stored = tags(wiring, dict.fromkeys(wiring.show.runs, "left"), {})
    sheet = show_sheet(wiring, patch, None, state, findings=found, tags=stored)
    drawings = draw(wiring, patch, state, lambda what, parts: lambda: None)
    texts = {**pages(sheet, drawings, LabelStock()), **drawing_files(drawings), **exports.files(sheet)}
    assert_units({name: text for name, text in texts.items() if not name.endswith(".csv")}, units)


@given(st.lists(st.integers(1, 5000), min_size=1, max_size=40), st.sampled_from([("m", 1.0), ("ft", 0.3048)]))
def test_what_is_to_be_bought_is_what_the_leads_add_up_to(tenths: list[int], unit: tuple[str, float]) -> None:
    # Source: arithmetic, in whole tenths of the unit; it was said 41.01 ft where the leads were 41 ft.
    units, _ = unit
    runs = {f"r{place}": {"pixels": 1, "lead": each / 10, "power_joined": False} for place, each in enumerate(tenths)}
    wiring = wired(show(runs, {}, units=units))
    [need] = [need for need in shopping(wiring, power(wiring)) if need.what.startswith("lead")]
    whole, tenth = divmod(sum(tenths), 10)
    assert length(need.metres, units) == f"{whole}.{tenth} {units}"
    assert need.metres == pytest.approx(sum(tenths) / 10 * unit[1], abs=1e-6)


@pytest.mark.parametrize(
    ("metres", "units", "words"),
    [
        (12.4968, "ft", "41.0 ft"),  # by hand: 41 × 0.3048
        (12.4968004, "ft", "41.0 ft"),  # metres are rounded to a millionth
        (12.49681, "ft", "41.01 ft"),
        (2.501, "m", "2.51 m"),
        (nan, "ft", "not known"),
    ],
)
def test_a_length_is_rounded_up_but_not_for_what_converting_leaves(metres: float, units: str, words: str) -> None:
    assert length(metres, units) == words
