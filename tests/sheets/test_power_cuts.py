"""Where V+ must be cut, on each paper that goes up the ladder: two supplies that meet on one V+ burn."""

import csv
import html
import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.charts.cable_chart import cable_chart
from patcher.drawing.show_drawing import box_drawing, show_drawing
from patcher.placement.allocation import allocate
from patcher.power.flow import power
from patcher.sheets.contents import ShowSheet, show_sheet
from patcher.sheets.exports import as_markdown, tables
from patcher.sheets.label_stock import LabelStock, fit
from patcher.sheets.labels import tags
from patcher.sheets.page import Drawings, pages
from patcher.visible import as_csv
from rig.drawing_scenes import scene
from rig.examples import examples
from rig.power_show import fed, show, tap
from rig.shipped import wired
from rig.sketches import Drawn

NOT_JOINED = "V+ not connected"


@st.composite
def cut_shows(draw) -> tuple[dict, set[str], dict[str, list[int]]]:
    """A show; the runs whose lead brings data and ground alone; and where V+ is cut inside runs."""
    runs, bare, cuts = {}, set(), {}
    for name in ("roof", "wall", "gate", "pond")[: draw(st.integers(1, 4))]:
        runs[name] = {
            "shape": "line", "path": [[0.0, 0.0], [4.0, draw(st.floats(0, 3))]], "pixels": 30,
            "lead": draw(st.sampled_from([0.0, 1.5, 3.0])),
        }  # fmt: skip
        if runs.keys() > {name} and draw(st.booleans()):
            runs[name]["same_data_as"] = "roof"
            bare.add(name)
        if draw(st.booleans()):
            runs[name]["power_joined"] = False
            bare.add(name)
        if cuts_ := sorted(draw(st.sets(st.integers(2, 30), max_size=2))):
            runs[name]["power_cuts"] = cuts[name] = cuts_
    return show(runs, {f"feed-{name}": fed(tap(name)) for name in runs}), bare, cuts


def words(text: str) -> str:
    return " ".join(html.unescape(re.sub("<[^>]*>", " ", text)).split())


def sheet_of(file: dict) -> ShowSheet:
    wiring = wired(file)
    ends = dict.fromkeys(file["run"], "its left end")
    return show_sheet(wiring, allocate(wiring).patch, None, power(wiring), tags=tags(wiring, ends, {}))


def cut_words(cuts: dict[str, list[int]]) -> dict[str, str]:
    return {run: f"V+ cut before {' and '.join(map(str, at))}" for run, at in cuts.items()}


STOCKS = st.builds(LabelStock, st.sampled_from([40.0, 60.0]), st.sampled_from([20.0, 30.0]))


@examples(25, 200)
@given(cut_shows(), STOCKS)
def test_labels_tags_and_the_list_say_where_v_plus_is_cut(drawn: tuple, stock: LabelStock) -> None:
    # Source: the show file's own power_joined, power_cuts and same_data_as (a tee is for data and ground)
    file, bare, cuts = drawn
    sheet, said = sheet_of(file), cut_words(cuts)
    for label, set_as in zip(sheet.labels, fit(sheet.labels, stock), strict=True):
        is_bare = label.kind == "lead" and label.name in bare
        assert (NOT_JOINED in " ".join(set_as.lines)) == is_bare == (NOT_JOINED in label.says)
        assert (NOT_JOINED in label.needed) == is_bare
    for each in sheet.tags:
        assert (NOT_JOINED in each.lead) == (each.run in bare)
        assert each.cuts == said.get(each.run, "")
    leads = [need for need in sheet.shopping if need.what.startswith("lead")]
    assert len({need.what for need in leads}) == len(leads)
    assert all(("two for V+" in need.note) != (NOT_JOINED in need.note) for need in leads)
    for is_bare in (True, False):
        own = [run.get("lead", 0) for name, run in file["run"].items() if (name in bare) == is_bare]
        bought = [need.metres for need in leads if (NOT_JOINED in need.note) == is_bare]
        assert sum(bought) == pytest.approx(sum(own))


@examples(15, 100)
@given(cut_shows())
def test_a_box_sheet_and_its_tables_say_where_v_plus_is_cut(drawn: tuple) -> None:
    # Source: the show file's own power_joined, power_cuts and same_data_as
    file, bare, cuts = drawn
    sheet, said = sheet_of(file), cut_words(cuts)
    made = tables(sheet)["chains"]
    for row in csv.DictReader(io.StringIO(as_csv(made.heads, made.rows))):
        assert row["v_plus_joined"] == str(row["run"] not in bare)
        assert row["v_plus_cuts"] == ", ".join(map(str, cuts.get(row["run"], [])))
    page = pages(sheet, Drawings(), LabelStock())["boxes/box.html"]
    ports = page[page.index('class="ports"') : page.index("Supplies, feeds and fuses")]
    todo = words(page[page.index('class="todo"') :])
    lines = as_markdown(sheet).replace("\\", "").splitlines()
    for run in file["run"]:
        row = words(next(each for each in ports.split("<tr>")[1:] if words(each).startswith(run)))
        line = next(each for each in lines if each.startswith("| 1 |") and f" {run}" in each.split("|")[2])
        for text in (row, line):
            assert (NOT_JOINED in text) == (run in bare), text
            assert re.findall(r"V\+ cut before \d+(?: and \d+)*", text) == ([said[run]] if run in said else []), text
        assert (f"in the lead of {run}" in todo) == (run in bare)
        assert all(f"before {run}/{pixel}" in todo for pixel in cuts.get(run, []))
    assert ("V+ is cut" in todo) == bool(bare or cuts)


@examples(15, 100)
@given(cut_shows())
def test_every_cut_has_its_mark_in_the_drawings(drawn: tuple) -> None:
    # Source: the show file's own power_joined, power_cuts and same_data_as
    file, bare, cuts = drawn
    found = scene(wired(file))
    wanted = {(run, str(pixel)) for run, at in cuts.items() for pixel in at} | {(run, "lead") for run in bare}
    for text in (show_drawing(*found, wide=180.0), box_drawing(*found, "box", wide=180.0), cable_chart(*found, "box")):
        seen = Drawn(text).data("run", "cut")
        assert set(seen) == wanted
        assert len(seen) == len(wanted)
