"""What the sheets say, against a pencil: addresses pixel by pixel, cable and fuses summed from the file's tables."""

import csv
import io
import json
import re
import tomllib
from collections import Counter
from pathlib import Path

import pytest
import tomli_w
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher.drawing.svg import long, middle_out
from patcher.drawing.voltage_profile import wrap
from patcher.placement.allocation import allocate
from patcher.power import shortfalls
from patcher.power.flow import power
from patcher.sheets.box_sheet import box_sheets
from patcher.sheets.contents import show_sheet
from patcher.sheets.exports import as_markdown, document, tables
from patcher.sheets.label_stock import LabelStock, fit
from patcher.sheets.labels import Label, Repairs, labels, tags
from patcher.sheets.parts_list import shopping
from patcher.show.show_file import read_show
from patcher.units import length
from patcher.visible import as_csv, as_json
from patcher.wiring import wire
from rig.any_power import anything, wired_or_none
from rig.examples import examples
from rig.in_process import run as patcher
from rig.patch_pencil import allocated, laid_by_pencil, shows
from rig.power_show import fed, show, tap
from rig.shipped import SHOWS, wired

HERON = tomllib.loads((SHOWS / "heron-lock.toml").read_text(encoding="utf-8"))
FIGURED = examples(15, 40)


@pytest.fixture(scope="module")
def heron():
    wiring = wire(read_show(SHOWS / "heron-lock.toml").show)
    return wiring, allocate(wiring).patch, power(wiring)


# --- boxes --------------------------------------------------------------------------------------------------------


@FIGURED
@given(shows(pins=True))
def test_a_box_sheet_says_where_every_run_begins_and_ends(drawn: dict) -> None:
    # Source: the design: the patch, laid pixel by pixel with a pencil in test_patch_rules.py
    wiring, patch = allocated(drawn)
    if patch is None:
        return
    first, last, ports = {}, {}, {}
    for _, _, laid in laid_by_pencil(drawn, patch):
        for (universe, channel), lamp in laid:
            if lamp.number is not None:
                first.setdefault(lamp.run, (universe, channel))
                last[lamp.run] = universe, channel + lamp.width - 1
            port = next(n for n, chain in drawn["controller"][lamp.controller]["port"].items() if lamp.run in chain)
            ports.setdefault((lamp.controller, int(port)), (universe, channel))
    seen = set()
    for box in box_sheets(wiring, patch, power(wiring)):
        table = drawn["controller"][box.box]
        assert (box.address, len(box.ports)) == (table["address"], table["ports"])
        for port in box.ports:
            chain = table["port"].get(str(port.port), [])
            own = [run for run in port.chain if run.tee_of is None]
            assert [run.run for run in own] == chain
            count = 0
            for run in port.chain:
                source = run.tee_of or run.run
                assert (run.begins, run.ends) == (first[source], last[source])
                assert run.last - run.first + 1 == run.pixels == drawn["run"][run.run]["pixels"]
                if run.tee_of is None:
                    assert run.first == count + 1
                    count = run.last
                seen.add(run.run)
            assert port.pixels == sum(drawn["run"][run]["pixels"] for run in chain)
            assert port.nulls == sum(drawn["run"][run]["nulls"] for run in chain)
            if chain:
                assert (port.begins, port.ends) == (ports[box.box, port.port], last[chain[-1]])
        universes = {place[0] for run in box.used for link in run.chain for place in (link.begins, link.ends)}
        assert universes <= spelled(box.universes)
    hung = {run for box in drawn["controller"].values() for chain in box["port"].values() for run in chain}
    assert seen == hung | {name for name, run in drawn["run"].items() if run.get("same_data_as") in hung}


def spelled(ranges: str) -> set[int]:
    parts = [part.split("–") for part in ranges.split(", ")]
    return {number for part in parts for number in range(int(part[0]), int(part[-1]) + 1)}


def test_the_heron_locks_boxes(heron) -> None:
    # Source: shows/heron-lock.toml, read with tomllib alone; frame times by the data sheets of WS2812B and WS2811
    sheets = {box.box: box for box in box_sheets(*heron)}
    assert list(sheets) == ["lockhouse", "gatepost", "weirside", "mooring"]
    gate = sheets["gatepost"]
    assert gate.frame_ms == pytest.approx(560 * 24 * 1.25e-3 + 0.3)
    assert [(start.start_of, start.pixels) for start in gate.starts] == [("gatepost", 1000)]
    assert sheets["weirside"].groups == tuple(f"239.255.0.{universe}" for universe in (9, 10, 20, 21, 22, 23))
    boat = sheets["mooring"].ports[2].chain[0]
    assert (boat.run, boat.nulls, boat.lead, boat.begins) == ("narrowboat", 1, 11.0, (34, 4))
    assert {supply.supply for supply in sheets["mooring"].supplies} == {"mooring-12v", "narrowboat-5v"}
    for box in sheets.values():
        runs = {run.run for port in box.ports for run in port.chain}
        near = {name for name, supply in HERON["supply"].items() if supply.get("box") == box.box}
        wanted = {
            name for name, feed in HERON["feed"].items()
            if feed.get("supply", HERON["feed"].get(feed.get("from"), {}).get("supply")) in near
            or {each["run"] for each in feed["taps"]} & runs
        }  # fmt: skip
        assert {feed.feed for feed in box.feeds} == wanted


def test_a_supply_in_a_box_is_on_its_sheet_though_it_feeds_nothing_there() -> None:
    # Source: the design: a box sheet lists supplies; `help file`: whose enclosure it sits in
    supplies = {"s": {"volts": 12.0, "amps": 30.0}, "idle": {"volts": 5.0, "amps": 2.0, "box": "box"},
                "logic": {"volts": 5.0, "amps": 2.0}}  # fmt: skip
    tables = show({"a": {"pixels": 3}}, {"f": fed(tap("a"))}, supplies=supplies)
    tables["controller"]["box"]["logic"] = {"supply": "logic", "amps": 0.3}
    wiring = wired(tables)
    (box,) = box_sheets(wiring, allocate(wiring).patch, power(wiring))
    assert [supply.supply for supply in box.supplies] == ["s", "idle", "logic"]
    assert box.supplies[2].logic == ("box",)


# --- shopping -----------------------------------------------------------------------------------------------------


def test_the_shopping_list_is_what_the_file_adds_up_to(heron) -> None:
    # Source: sums over the tables of shows/heron-lock.toml, read with tomllib alone
    wiring, _, state = heron
    needs = {need.what: need for need in shopping(wiring, state)}
    kinds = HERON["pixel"]
    leads: Counter = Counter()
    firsts = {chain[0] for box in HERON["controller"].values() for chain in box.get("port", {}).values()}
    for name, run in HERON["run"].items():
        kind = kinds[run["pixel"]]
        bare = name in firsts or "same_data_as" in run or run.get("power_joined") is False
        what = "lead for data and ground" if bare else "lead"
        leads[f"{what}, {'AWG 18' if kind.get('awg') == 18 else '0.75 mm²'}"] += round(run.get("lead", 0) * 1000)
    assert {what: round(needs[what].metres * 1000) for what in leads} == dict(leads)
    feeds: Counter = Counter()
    for feed in HERON["feed"].values():
        every = [10.0 if "every" in each else 0.0 for each in feed["taps"]]  # the towpath: 100 pitches of 0.1 m
        feeds[feed["awg"]] += round(1000 * (sum(each["length"] for each in feed["taps"]) + sum(every)))
    assert {awg: round(needs[f"feed, AWG {awg}"].metres * 1000) for awg in feeds} == dict(feeds)
    # Source: found in use: "feed, AWG 14 | 5" of four feeds: it counts pieces of wire
    for awg in feeds:
        need = needs[f"feed, AWG {awg}"]
        number = sum(feed["awg"] == awg for feed in HERON["feed"].values())
        assert (f"{number} feed" in need.note and f"in {need.count} pieces" in need.note) == (need.count != number)
    fuses = Counter(feed["fuse"] for feed in HERON["feed"].values() if "fuse" in feed)
    assert {amps: needs[f"fuse {amps:g} A, with holder"].count for amps in fuses} == dict(fuses)
    # From memory, NFPA 70 and DIN VDE 0298-4: AWG 18 bears 7 A, 0.75 mm² bears 6 A: each joint of a feed with a larger
    # fuse before it (its own, or its trunk's) has a fuse of its own.
    bears = {18: 7.0, 0.75: 6.0}
    joints = 0
    for feed in HERON["feed"].values():
        trunk = feed
        while "fuse" not in trunk:
            trunk = HERON["feed"][trunk["from"]]
        for each in feed["taps"]:
            run = HERON["run"][each["run"]]
            kind = HERON["pixel"][run["pixel"]]
            if bears[kind.get("awg") or kind.get("mm2")] < trunk["fuse"]:
                pixels = wiring.show.runs[each["run"]].pixels
                joints += len({*range(1, pixels + 1, each["every"]), pixels}) if "every" in each else 1
    at_taps = [need for need in needs.values() if need.what.startswith("tap fuse ")]
    assert sum(need.count for need in at_taps) == joints > 0
    assert needs["dot-5v"].count == 560 + 440 + 216
    assert needs["dot-5v"].spare == 61  # 5 % of 1216 is 60.8
    assert needs["dot-5v, as null pixel"].count == 1
    assert needs["bulb-12v"].count == 89 + 77 + 52 + 52 + 108 + 58 + 58 + 101 + 500 + 150
    assert needs["plug and socket, 3-pole, one pair"].count == 2 * len(HERON["run"])
    assert needs["supply 12 V, 29 A"].count == 2
    assert needs["supply 12 V, 29 A"].spare == 1
    assert needs["data booster"].count == 2


@given(st.integers(1, 5000), st.floats(0, 100))
def test_spares_are_enough_and_not_one_too_many(pixels: int, percent: float) -> None:
    # Source: arithmetic
    wiring = wired(show({"a": {"pixels": pixels}}, {"f": fed(tap("a"))}))
    need = next(need for need in shopping(wiring, power(wiring), spares=percent) if need.what == "lamp")
    assert need.spare >= pixels * percent / 100 - 1e-6
    assert need.spare - 1 < pixels * percent / 100


def test_what_is_not_hung_is_not_bought_and_has_no_label() -> None:
    # Source: the design: hung = false, not up this season
    wiring = wired(show({"a": {"pixels": 10, "lead": 2.0}, "b": {"pixels": 7, "lead": 3.0, "hung": False}}, {}))
    state = power(wiring)
    needs = {need.what: need for need in shopping(wiring, state)}
    assert (needs["lamp"].count, needs["lead for data and ground, AWG 18"].metres) == (10, 2.0)
    assert {label.name for label in labels(wiring, state)} == {"a"}
    assert {tag.run: tag.hung for tag in tags(wiring, {"a": "left", "b": "left"}, {})} == {"a": True, "b": False}


@pytest.mark.parametrize("metres", [0.1, 1.24, 1.241, 2.25, 2.2500001, 26.5, 123.456])
@pytest.mark.parametrize(("units", "unit"), [("m", 1.0), ("ft", 0.3048)])
def test_no_paper_says_less_wire_than_there_is(metres: float, units: str, unit: float) -> None:
    # Source: arithmetic: as long as the cable or, by less than a hundredth, longer; on labels, and to buy
    feeds = {"wire": fed(tap("a", 1, metres / unit))}
    wiring = wired(show({"a": {"pixels": 10, "lead": metres / unit}}, feeds, units=units))
    state = power(wiring)
    said = {label.name: label.says for label in labels(wiring, state)}
    words = [said["a"].split(", ")[2], said["wire"].split(", ")[-1]]
    words += [length(need.metres, units) for need in shopping(wiring, state) if need.metres]
    assert len(words) == 4
    for number, word in map(str.split, words):
        assert word == units
        assert metres - 1e-6 <= float(number) * unit < metres + 0.01 * unit + 1e-6


@pytest.mark.parametrize("leads", [(), (0.0, 0.0, 0.0), (1.0, 0.0, 2.0)])
@pytest.mark.parametrize("power_", ["none", "shelf", "no feed", "one of three", "all"])
def test_the_list_says_what_it_lacks_and_counts_no_plug_without_a_lead(power_: str, leads: tuple[float, ...]) -> None:
    # Source: found by a reader: a show without a supply and a lead was to buy 10 pairs of plugs, and nothing for power
    runs = {name: {"pixels": 10, "power_joined": False} for name in "abc"}
    for name, lead in zip(runs, leads, strict=False):
        runs[name]["lead"] = lead
    some = {"all": "abc", "one of three": "b"}.get(power_, "")
    supplies = {"none": {}, "shelf": {"s": {"volts": 12.0, "amps": 3.0, "spare": True}}}.get(power_)
    wiring = wired(show(runs, {f"f{name}": fed(tap(name), fuse=5) for name in some}, supplies=supplies))
    needs = sheet_of(wiring).shopping
    plugs = [need.count for need in needs if need.what.startswith("plug")]
    assert plugs == ([2 * sum(lead > 0 for lead in leads)] if any(leads) else [])
    lacks = [need for need in needs if "not given" in need.what]
    assert len(lacks) == (power_ != "all")
    for need in lacks:
        assert need.count == 0
        assert ("the file has none" in need.note) == (power_ in ("none", "shelf"))
        if power_ in ("no feed", "one of three"):
            assert {name for name in "abc" if re.search(rf"\b{name}\b", need.note)} == set("abc") - set(some)


TAP_FUSES = {
    # By hand, from memory of NFPA 70: AWG 18 carries 7 A. 50 pixels at level 1 draw 3.05 A.
    "small-fuse": ({"fuse": 5}, {}, 30.0, "–"),
    "large-fuse": ({"fuse": 20}, {}, 30.0, "4 A"),
    "no-fuse": ({}, {}, 30.0, "4 A"),
    "no-fuse-no-wire": ({}, {"awg": None}, 30.0, "not known"),
    "no-fuse-weak-supply": ({}, {}, 5.0, "–"),
    "no-wire": ({"fuse": 20}, {"awg": None}, 30.0, "not known"),
    "no-current": ({"fuse": 20}, {"channel_ma": None}, 30.0, "at most 5 A"),
    "too-much": ({"fuse": 20}, {"channel_ma": 60.0}, 30.0, "none fits"),
}


@pytest.mark.parametrize("case", TAP_FUSES)
def test_each_tap_says_its_fuse_and_the_list_adds_them_up(case: str) -> None:
    # Source: README, Safety: a tap whose string's own wire may carry less than that fuse gets a fuse of its own
    fuse, kind, amps, words = TAP_FUSES[case]
    tables_ = show({"a": {"pixels": 50}}, {"f": {"supply": "s", "awg": 12, "taps": [tap("a", 1)]} | fuse},
                   supplies={"s": {"volts": 12.0, "amps": amps}}, level=1.0)  # fmt: skip
    tables_["pixel"]["lamp"] = {key: value for key, value in (tables_["pixel"]["lamp"] | kind).items() if value}
    found = sheet_of(wired(tables_))
    assert tap_fuses_said(found) == {("f", "a/1"): {words}}
    bought = [need for need in found.shopping if need.what.startswith("tap fuse")]
    assert len(bought) == (words != "–")
    for need in bought:
        assert need.count == 1
        assert words in need.what or "none fits" in need.what
        assert "level 1" in need.note or words == "not known"


@pytest.mark.parametrize(
    ("awg", "pixels", "add", "other"),
    [
        (28, 10, False, True),
        (28, 100, True, True),
        (30, 100, True, True),
        (26, 100, True, False),
        (20, 100, True, False),
    ],
)
def test_what_to_do_where_no_blade_is_small_enough_and_where_too_much_goes_in(
    awg: int, pixels: int, add: bool, other: bool
) -> None:
    # Source: the least blade of ISO 8820-3 (1 A) against what each gauge may carry: AWG 28 0.8 A, AWG 26 1 A. 100
    # pixels of 61 mA are too much for a fuse of either; shared out to more taps they are not for AWG 26. 10 of them,
    # 0.61 A, are less than 80 % of 0.8 A, so a fuse of another kind is all that AWG 28 needs.
    tables_ = show(
        {"a": {"pixels": pixels}}, {"f": fed(tap("a"))}, kinds={"lamp": {"awg": awg, "pitch": 0.001}}, level=1.0
    )
    wiring = wired(tables_)
    (need,) = [need for need in sheet_of(wiring).shopping if need.what.startswith("tap fuse")]
    (wrong,) = [found for found in shortfalls.findings(wiring) if found.rule == "tap-fuse"]
    assert ("add taps" in need.note) == add
    assert ("tap it at more points" in wrong.remedy) == add
    for words in (need.note, wrong.remedy):
        assert ("fuse of another kind" in words) == other


def test_the_heron_locks_tap_fuses_are_the_same_on_each_paper(heron) -> None:
    # Source: the list counts, size by size, what table, label and CSV say tap by tap
    wiring, patch, state = heron
    found = show_sheet(wiring, patch, None, state)
    every = tap_fuses_said(found)
    assert all(len(words) == 1 for words in every.values())
    counted = Counter(word for words in every.values() for word in words if word != "–")
    assert counted == {
        need.what.removeprefix("tap fuse ").removesuffix(", with holder"): need.count
        for need in found.shopping
        if need.what.startswith("tap fuse")
    }
    assert all("level 0.4" in need.note for need in found.shopping if need.what.startswith("tap fuse"))
    assert set(counted) == {"1 A", "2 A", "3 A"}
    assert every["towpath-wire", "towpath/51"] == {"–"}  # its fuse of 5 A is below the 7 A of AWG 18


def sheet_of(wiring):
    return show_sheet(wiring, allocate(wiring).patch, None, power(wiring))


def tap_fuses_said(found) -> dict[tuple[str, str], set[str]]:
    """Of each tap what the box sheet, the label there and the CSV say of its fuse."""
    said: dict[tuple[str, str], set[str]] = {}
    for box in found.boxes:
        for feed in box.feeds:
            for joint in feed.taps:
                said.setdefault((feed.feed, f"{joint.run}/{joint.pixel}"), set()).add(joint.fuse)
    for label in found.labels:
        if label.kind == "feed" and label.end > 1:
            own = [words.removeprefix("tap fuse ") for words in label.says.split(", ") if words.startswith("tap fuse")]
            said[label.name, label.here].add(own[0] if own else "–")
    table = tables(found)["taps"]
    for row in (dict(zip(table.heads, row, strict=True)) for row in table.rows):
        said[row["feed"], f"{row['run']}/{row['pixel']}"].add(row["tap_fuse"])
    return said


# --- labels -------------------------------------------------------------------------------------------------------


def test_each_end_of_each_cable_has_one_label(heron) -> None:
    # Source: shows/heron-lock.toml: a lead has two ends; a feed one at its supply and one at each joint
    wiring, _, state = heron
    found: dict[str, list] = {}
    for label in labels(wiring, state):
        found.setdefault(label.name, []).append(label)
    joints = {name: len(feed["taps"]) for name, feed in HERON["feed"].items()} | {"towpath-wire": 3}
    assert {name: len(each) for name, each in found.items()} == (
        dict.fromkeys(HERON["run"], 2) | {name: number + 1 for name, number in joints.items()}
    )
    for every in found.values():
        assert [label.end for label in every] == list(range(1, len(every) + 1))
        assert {label.ends for label in every} == {len(every)}
        assert len({label.here for label in every}) == len(every)
    assert [label.here for label in found["eaves"]] == ["gable/89, data out", "eaves/1, data in"]
    assert [label.there for label in found["eaves"]] == ["eaves/1, data in", "gable/89, data out"]
    assert found["windows-wire"][0].here == "roof-wire, tap 1"
    assert found["footbridge-back"][0].here.startswith("footbridge-rail/1")
    for every in (each for each in found.values() if each[0].kind == "feed"):
        # Source: the wire itself: each tap's wire comes from the tap before it, the first one's from the source
        start, *taps = every
        for before, label in zip([None, *taps], taps, strict=False):
            assert label.there == (f"{before.here}; {start.here}" if before else start.here)


NAMES = st.text("wi-0", min_size=1, max_size=60)
STOCKS = st.builds(LabelStock, st.sampled_from([40.0, 60.0, 105.0]), st.sampled_from([20.0, 30.0, 40.0]))


@examples(60, 400)
@given(NAMES, NAMES, st.sampled_from([5.0, 12.0, 24.0]), st.sampled_from([None, 18, 10]), st.integers(1, 40), STOCKS)
def test_no_label_is_without_its_volts_its_wire_and_its_fuse(
    run: str, feed: str, volts: float, awg: int | None, fuse: int, stock: LabelStock
) -> None:
    # Source: the show file's own numbers; the label's height, with letters as `patcher.drawing.svg.long` measures them
    lines = {"volts": f"{volts:g} V", "wire": "" if awg is None else f"AWG {awg}", "fuse": f"fuse {fuse} A"}
    said = ", ".join(["feed", *filter(None, lines.values()), "a long story"])
    made = [
        Label(feed, "feed", end, 3, f"{run}/{end}", f"{run}/9; {run}", said if end == 1 else said.replace("fuse ", ""),
              volts, lines["wire"] or None, lines["fuse"] if end == 1 else "", None)
        for end in (1, 2, 3)
    ]  # fmt: skip
    for label, set_as in zip(made, fit(made, stock), strict=True):
        words = " ".join(set_as.lines)
        assert lines["volts"] in words
        assert lines["wire"] in words
        assert (lines["fuse"] in words) == (label.end == 1)
        assert min(set_as.words, set_as.size) >= 7
        high = rows(set_as.name, stock.room, set_as.size * 1.02, bold=True) * set_as.size * 1.05
        high += sum(
            rows(line, stock.room, set_as.words, bold=place == 0) * set_as.words * 1.15
            for place, line in enumerate(set_as.lines)
        )
        assert high * POINT + 0.5 * len(set_as.lines) <= stock.high - 4 + 0.01


@examples(25, 400)
@given(anything(), STOCKS)
def test_every_label_has_volts_and_every_end_of_a_feed_its_fuse(file: dict, stock: LabelStock) -> None:
    # Source: the file's own tables; found by a reader: leads of 5 V and 12 V looked alike, and no tap said its fuse
    wiring = wired_or_none(file)
    assume(wiring is not None)
    assert wiring is not None
    made = labels(wiring, power(wiring))
    for label, set_as in zip(made, fit(made, stock), strict=True):
        words = " ".join(set_as.lines)
        name = label.name.split(".")[-1]
        if label.kind == "lead":
            volts = file["pixel"][file["run"][name]["pixel"]].get("volts")
            assert volts is None or f"{volts:g} V pixels" in words
            continue
        feed = file["feed"][name]
        own, above = feed.get("fuse"), feed
        while "fuse" not in above and "from" in above:
            above = file["feed"][above["from"]]
        while "supply" not in feed:
            feed = file["feed"][feed["from"]]
        assert f"{file['supply'][feed['supply']]['volts']:g} V" in words
        before = f"behind fuse {above['fuse']:g} A" if "fuse" in above else "no fuse"
        if label.end == 1:
            assert (f"fuse {own:g} A" if own else before) in words
        else:
            assert before in words or "tap fuse " in words


CABLES = ["w" * 60, "eaves", "-".join("abcdefgh" * 3)]


@examples(40, 300)
@given(st.lists(st.tuples(st.sampled_from(CABLES), NAMES), min_size=1, max_size=4), STOCKS)
def test_names_are_as_large_as_they_go_alike_at_both_ends_and_shortened_last(cables: list, stock: LabelStock) -> None:
    # Source: the rule; letters as `patcher.drawing.svg.long` measures them
    made = [
        Label(name, "lead", end, 2, here, there, "lead, AWG 18", None, "AWG 18", "", None)
        for name, run in dict(cables).items()
        for end, here, there in ((1, "box/1, port", f"{run}/1, data in"), (2, f"{run}/1", "box/1, port"))
    ]
    found = fit(made, stock)
    for label, set_as in zip(made, found, strict=True):
        assert {other.size for other, its in zip(found, made, strict=True) if its.name == label.name} == {set_as.size}
        assert rows(set_as.name, stock.room, set_as.size * 1.02, bold=True) == 1 or set_as.size < 10
        if set_as.name == label.name:
            continue
        begin, end = set_as.name.split("…")
        assert label.name.startswith(begin)
        assert label.name.endswith(end)
        free = stock.high - 4 - 0.3 - 0.5 - rows("AWG 18", stock.room, 7, bold=True) * 7 * POINT * 1.15
        room = max(1, int(free / (7 * POINT * 1.05)))
        longer = middle_out(label.name, len(begin) + len(end) + 1)
        assert rows(set_as.name, stock.room, 7 * 1.02, bold=True) <= room
        assert longer == label.name or rows(longer, stock.room, 7 * 1.02, bold=True) > room


@given(st.floats(40, 210), st.floats(20, 254))
def test_code_and_words_stand_side_by_side_on_a_label(wide: float, high: float) -> None:
    # Source: ISO/IEC 18004: a code is square, so it is no higher than the label inside its padding of 2 mm; beside it
    # 2 mm are free on each side
    stock = LabelStock(wide, high)
    assert 10 <= stock.code <= high - 4 + 0.05
    assert 15 <= stock.room <= wide - stock.code - 6


POINT = 25.4 / 72
"""Millimetres in a point. Source: CSS Values and Units Level 4."""


def rows(text: str, wide: float, size: float, *, bold: bool) -> int:
    """Lines that a text takes, `wide` in millimetres and the size of its letters in points."""
    return len(wrap(text, wide, lambda words: long(words, size * POINT, bold=bold)))


def test_every_printed_label_says_what_its_row_of_the_table_says(tmp_path: Path) -> None:
    # Source: labels.csv beside labels.html, read by Python's own readers
    names = [f"a-house-with-a-long-name-{number:02}-eaves" for number in range(2)]
    feeds = {f"feed-of-{name}": fed(tap(name), tap(name, 10), fuse=7.5) for name in names}
    file = tmp_path / "s.toml"
    file.write_text(tomli_w.dumps(show({name: {"pixels": 10, "lead": 3.0, "nulls": 1} for name in names}, feeds)))
    assert patcher(tmp_path, "sheet", file, "--out", tmp_path / "out").returncode in (0, 1)
    with (tmp_path / "out" / "tables" / "labels.csv").open(newline="") as table:
        rows = list(csv.DictReader(table))
    html = (tmp_path / "out" / "labels.html").read_text()
    printed = [re.sub("<[^>]*>", " ", part) for part in html.split('<div class="label">')[1:]]
    assert len(printed) == len(rows) == 2 * 5
    for row, text in zip(rows, printed, strict=True):
        needed = [f"{row['volts']} V".replace(".0 V", " V")] if row["volts"] else []
        needed += [row["wire"]] + ([row["fuse"]] if row["fuse"] else [])
        assert [words for words in needed if words not in text] == [], row
    assert sum(row["fuse"].startswith("fuse") for row in rows) == 2
    assert all(row["fuse"] for row in rows if row["kind"] == "feed"), "each tap has its own"


def test_a_tag_says_what_is_still_to_mend(heron) -> None:
    # Source: the design: name, pixels, batch, which end is data-in, repairs still open
    wiring, _, _ = heron
    ends = dict.fromkeys(HERON["run"], "its left end")
    mend = Repairs(("dark:hedge/57",), ("hedge: a clip is cracked",))
    found = {tag.run: tag for tag in tags(wiring, ends, {"hedge": mend})}
    assert list(found) == list(HERON["run"])
    assert (found["hedge"].repairs, found["hedge"].pixels) == (mend, 150)
    assert found["gate-right"].batch == "2025"
    assert found["gable"].prop == "cottage"
    assert found["willow"].prop is None
    assert found["footbridge-back"].hangs_on == "footbridge-rail"


# --- machines -----------------------------------------------------------------------------------------------------


def test_tables_for_machines_say_the_same(heron) -> None:
    # Source: the JSON document against the CSV tables, each read back by Python's own readers
    wiring, patch, state = heron
    sheet = show_sheet(wiring, patch, None, state)
    said = json.loads(as_json(document(sheet)))
    for name, table in tables(sheet).items():
        rows = list(csv.reader(io.StringIO(as_csv(table.heads, table.rows))))
        assert len(rows) == len(table.rows) + 1
        assert {len(row) for row in rows} <= {len(table.heads)}, name
    starts = list(csv.DictReader(io.StringIO(as_csv(sheet.starts.heads, sheet.starts.rows))))
    assert [int(row["universe"]) for row in starts] == [start["universe"] for start in said["starts"]]
    assert [box["box"] for box in said["boxes"]] == ["lockhouse", "gatepost", "weirside", "mooring"]
    assert said["kept"] is None
    assert show_sheet(wiring, patch, patch, state).kept is True


@given(st.text(max_size=40))
def test_markdown_takes_a_title_for_nothing_but_text(title: str) -> None:
    # Source: CommonMark 0.31, 2.4: a backslash before ASCII punctuation makes it plain; no raw HTML, no link, no table
    wiring = wired(show({"a": {"pixels": 3}}, {}) | {"show": {"title": title}})
    text = as_markdown(show_sheet(wiring, allocate(wiring).patch, None, power(wiring)))
    first, _, rest = text.partition("\n")
    assert first.startswith("# ")
    assert rest.startswith("\n3 pixels")
    unescaped = first[2:]
    for letter in "\\`*_{}[]<>()#+!|~&":
        unescaped = unescaped.replace("\\" + letter, "")
    assert not set(unescaped) & set("`*_{}[]<>()#+!|~&")


def test_the_mark_changes_with_the_show_and_with_the_patch(heron) -> None:
    # Source: `ShowSheet.mark`: by it two papers are known to be of one show and patch
    wiring, patch, state = heron
    mark = show_sheet(wiring, patch, None, state).mark
    assert show_sheet(wiring, patch, patch, state).mark == mark
    brighter = wired({**HERON, "show": {**HERON["show"], "level": 0.5}, "run": {**HERON["run"], "willow": {
        "pixel": "bulb-12v", "pixels": 500, "lead": 4.2}}})  # fmt: skip
    assert show_sheet(brighter, patch, None, power(brighter)).mark != mark
