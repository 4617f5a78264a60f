"""Where V+ must be cut, on each paper that goes up the ladder: two supplies that meet on one V+ burn."""

import csv
import html
import io
import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher.charts.cable_chart import cable_chart
from patcher.drawing.show_drawing import box_drawing, show_drawing
from patcher.placement.allocation import allocate
from patcher.power.circuit import circuit
from patcher.power.flow import power
from patcher.power.shortfalls import findings
from patcher.sheets.contents import ShowSheet, show_sheet
from patcher.sheets.exports import as_markdown, tables
from patcher.sheets.label_stock import LabelStock, fit
from patcher.sheets.labels import labels, tags
from patcher.sheets.page import Drawings, pages
from patcher.sheets.parts_list import shopping
from patcher.visible import as_csv
from rig.any_power import anything, wired_or_none
from rig.drawing_scenes import scene
from rig.examples import examples
from rig.power_show import fed, show, tap
from rig.shipped import wired
from rig.sketches import Drawn

NOT_JOINED = "V+ not connected"


@st.composite
def cut_shows(draw) -> tuple[dict, set[str], dict[str, list[int]]]:
    """A show; the runs to which V+ does not go on from a run before; and where V+ is cut inside runs."""
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


def without_power(file: dict, bare: set[str]) -> set[str]:
    """The runs whose lead brings data and ground alone: also the first of each port, for a port gives no more."""
    return bare | {chain[0] for box in file["controller"].values() for chain in box["port"].values() if chain}


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
    # Source: the show file's own power_joined, power_cuts and same_data_as (a tee is for data and ground); the
    # first run of a port has no run before it whose V+ could go on
    file, bare, cuts = drawn
    bare = without_power(file, bare)
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
    bare = without_power(file, bare)
    sheet, said = sheet_of(file), cut_words(cuts)
    made = tables(sheet)["chains"]
    for row in csv.DictReader(io.StringIO(as_csv(made.heads, made.rows))):
        assert row["v_plus_joined"] == str(row["run"] not in bare)
        assert row["v_plus_cuts"] == ", ".join(map(str, cuts.get(row["run"], [])))
    (box,) = sheet.boxes
    assert f"; universe{'s' if len(box.universes) > 1 else ''} {box.universes};" in as_markdown(sheet).replace("\\", "")
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
        first = next(iter(file["controller"]["box"]["port"].values()))[0]
        assert (f"in the lead of {run}" in todo) == (run in bare and run != first)
        assert all(f"before {run}/{pixel}" in todo for pixel in cuts.get(run, []))
    assert "in each lead from a port (unless a feed runs in it)" in todo


@examples(7, 100)
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


@examples(25, 400)
@given(anything())
def test_paper_puts_v_plus_into_no_lead_that_the_solved_circuit_leaves_without(file: dict) -> None:
    # Source: the circuit that check and power solve: the wires that carry V+ on. A reader found a lead from a box with
    # V+ on paper, where check said that no power comes that way: with 5 V and 12 V in a box, that burns.
    wiring = wired_or_none(file)
    assume(wiring is not None)
    assert wiring is not None
    found, show_ = circuit(wiring), wiring.show
    carries = {run for run, lead in found.leads.items() if found.joined[lead]}
    hung = [run for run in show_.runs.values() if run.hung]
    ends = dict.fromkeys(show_.runs, "left")
    said = {label.name.removeprefix("run."): label for label in labels(wiring, power(wiring)) if label.kind == "lead"}
    on_tags = {tag.run: NOT_JOINED not in tag.lead for tag in tags(wiring, ends, {})}
    for box in wiring.chains:
        for before, name in zip([None, *wiring.chains[box]], wiring.chains[box], strict=False):
            volts = {show_.type_of(show_.runs[each]).volts for each in (before, name) if each is not None} - {None}
            if show_.runs[name].hung:
                assert said[name].joined == on_tags[name] == (name in carries and len(volts) < 2)
    needs = [need for need in shopping(wiring, power(wiring)) if need.what.startswith("lead")]
    with_power = sum(need.metres or 0 for need in needs if "two for V+" in need.note)
    assert with_power == pytest.approx(sum(run.lead for run in hung if run.name in said and said[run.name].joined))


def test_a_feed_along_the_lead_is_power_that_comes_through_the_port() -> None:
    # Source: `help power`: how power from a port is written; Ohm's law along two conductors, by a loop of its own
    runs = {"a": {"pixels": 30, "lead": 6.0}}
    file = show(runs, {"port": {"supply": "s", "awg": 18, "fuse": 5, "taps": [tap("a", 1, 6.0)]}})
    state = power(wired(file), level=0.5)
    amps = 30 * (0.001 + 0.5 * 3 * 0.020)
    (load,) = state.feeds
    assert load.amps == pytest.approx(amps)
    ohms = 20.95e-3  # a metre of AWG 18, from memory
    assert 12.0 - state.drop.volts[0] == pytest.approx(2 * 6.0 * ohms * amps, rel=0.02)
    sheet = sheet_of(file)
    (lead,) = {label.says for label in sheet.labels if label.kind == "lead"}
    assert NOT_JOINED in lead
    cables = {need.what: (need.count, need.metres) for need in sheet.shopping if need.section == "cable"}
    assert cables == {"lead for data and ground, AWG 18": (1, 6.0), "feed, AWG 18": (1, 6.0)}
    assert "power" in {part.area for part in findings(wired(show(runs, {})), power(wired(show(runs, {}))))}
