"""What a supply gives besides what is drawn on a sheet: all of its feeds stand there, or are named with their sheet."""

from __future__ import annotations

import re

import pytest
from hypothesis import given

from patcher.charts.cable_chart import cable_chart
from patcher.charts.cable_lanes import cables
from patcher.charts.other_loads import other_loads
from patcher.drawing.run_facts import facts
from patcher.placement.allocation import allocate
from patcher.power.flow import power
from patcher.power.stretches import roots
from patcher.reports import power_report
from patcher.sheets.contents import show_sheet
from patcher.sheets.label_stock import LabelStock
from patcher.sheets.page import Drawings, pages
from rig.drawing_scenes import SHOW_SEEDS, joints_of, scene
from rig.examples import examples
from rig.power_show import fed, show, tap
from rig.shipped import wired
from rig.sketches import Drawn, sketch


def two_boxes() -> dict:
    """A supply in one box with a feed to each of two boxes, a branch of the first, and both boxes' logic."""
    runs = {name: {"pixels": 30, "power_joined": False} for name in ("here", "there", "beyond", "stored")}
    runs["stored"]["hung"] = False
    feeds = {
        "near": fed(tap("here")), "far": fed(tap("there", 1), tap("there", 30)), "loose": fed(tap("stored")),
        "off": {"from": "near", "tap": 1, "awg": 12, "taps": [tap("beyond", 30)]},
    }  # fmt: skip
    supplies = {"s": {"volts": 12.0, "amps": 30.0, "box": "box"}}
    file = show(runs, feeds, supplies=supplies, ports={"1": ["here"]}, level=1.0)
    file["controller"]["box"]["logic"] = {"supply": "s", "amps": 0.5}
    file["controller"]["other"] = {"address": "192.0.2.2", "ports": 2, "port": {"1": ["there", "beyond", "stored"]},
                                   "logic": {"supply": "s", "amps": 0.3}}  # fmt: skip
    return file


SAID = (
    r"s also feeds there at 1, 30 \(far, 1\.[89] A\), {does} on the sheet of other",
    r"s also feeds beyond at 30 \(off, 1\.[89] A, a branch of near\), {does} on the sheet of other",
    r"s also runs the boxes box \(0\.5 A\), other \(0\.3 A\)",
)


def test_a_chart_names_what_its_supply_feeds_elsewhere() -> None:
    # Source: found by a reader: a supply "gives 4.5 A", and one of its wires was drawn on another box's sheet only. By
    # hand: 30 pixels of 3 × 20 mA and 1 mA take 1.8 A.
    found = scene(wired(two_boxes()))
    here, other = (Drawn(cable_chart(*found, box)) for box in ("box", "other"))
    words = " ".join(here.said().split())
    for pattern in SAID:
        assert re.search(pattern.format(does="drawn"), words), words
    assert "loose" not in words
    drawn = {element.get("data-feed") for element in other.root.iter()}
    assert {"far", "off", "near"} <= drawn
    assert "also feeds" not in " ".join(other.said().split())


def test_the_sheet_of_a_box_says_it_too() -> None:
    # Source: as above; the table of a box's own supply lists all its feeds, that of another's only those to its runs
    wiring = wired(two_boxes())
    sheet = show_sheet(wiring, allocate(wiring).patch, None, power(wiring))
    box, other = sheet.boxes
    assert {feed.feed for feed in box.feeds} == {"near", "far", "off", "loose"}
    assert [words.split(" also ")[1][:5] for words in box.others] == ["runs "]
    assert {feed.feed for feed in other.feeds} == {"far", "off", "loose"}
    assert other.others[0].startswith("s also feeds here at 1 (near, ")
    assert other.others[0].endswith("A), listed on the sheet of box")


@examples(20, 100)
@given(SHOW_SEEDS)
def test_what_a_supply_gives_adds_up_on_each_chart(seed: int) -> None:
    # Source: Kirchhoff's current law: what a supply gives is what its trunks carry and the boxes that it runs take
    tables = sketch(seed)
    for box in tables["controller"].values() if "supply" in tables else ():
        box["logic"] = {"supply": "s", "amps": 0.4}
    found = scene(wired(tables))
    wiring, patch, state = found
    every = facts(wiring, patch, state)
    root = roots(wiring.show)
    for name in patch.boxes:
        for each in cables(wiring, every, state, name).supplies:
            assert state is not None
            shown = {lane.feed.name: lane.amps for lane in each.feeds}
            assert list(each.others) == other_loads(wiring, state, each.supply.name, shown, "drawn")
            named = {}
            for words in each.others:
                if match := re.search(
                    r" \((wire-\d+), (\S+) A(?:, a branch of \S+)?\), drawn on the sheet of (.*)$", words
                ):
                    named[match[1]] = match[2]
                    for box in match[3].split(" and "):
                        assert match[1] in {
                            lane.feed.name for one in cables(wiring, every, state, box).supplies for lane in one.feeds
                        }
            assert not named.keys() & shown.keys()
            runs = wiring.show.runs
            hung = {run for run in runs if runs[run].hung and runs[wiring.source(run)].hung}
            joined = {feed for feed, _, _ in joints_of(found, hung)}
            mine = {feed for feed in joined if root[feed].supply == each.supply.name}
            assert mine <= shown.keys() | named.keys()
            if each.amps is None or None in shown.values():  # what one feed carries is not known
                continue
            trunks = {feed for feed in (*shown, *named) if root[feed].name == feed}
            amps = sum(
                float((shown | named)[feed].replace("−", "-") if feed in named else shown[feed]) for feed in trunks
            )
            logic = [
                float(amps) for words in each.others if " runs " in words for amps in re.findall(r"\((\S+) A\)", words)
            ]
            assert amps + sum(logic) == pytest.approx(each.amps, abs=0.06 * (len(named) + len(logic) + 1))


@pytest.mark.parametrize("bare", [(), ("box",), ("other",), ("box", "other")])
def test_what_a_box_draws_itself_is_said_where_it_is_not_counted(
    bare: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    # Source: found by a reader: a supply's "11.1 A" looked complete, and the file said nothing of the box's own current
    tables = two_boxes()
    tables["controller"]["shelf"] = {"ports": 2, "spare": True}
    for name in bare:
        del tables["controller"][name]["logic"]
    wiring = wired(tables)
    power_report.say(power(wiring), [])
    said = [line for line in capsys.readouterr().out.splitlines() if line.startswith("Not counted")]
    assert len(said) == bool(bare)
    for line in said:
        named = " and ".join(bare) if len(bare) > 1 else bare[0]
        assert re.sub(", ", " and ", line).startswith(f"Not counted: what {named} draw")
    sheet = show_sheet(wiring, allocate(wiring).patch, None, power(wiring))
    assert {box.box for box in sheet.boxes if not box.counted} == set(bare)
    page = pages(sheet, Drawings(), LabelStock())["sheets.html"]
    assert page.count("what the box itself draws") == len(bare)
