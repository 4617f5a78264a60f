"""`adopt`: people's tables, held against the pencil of `test_patch_rules` and against Patcher's own tables."""

import csv
import io
import json
import re
import string
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from patcher.adoption.address_table import Listing, read_listing
from patcher.adoption.adoption import Match, adopt, joined, match
from patcher.adoption.draft import MARK, draft_text, outline
from patcher.errors import PatcherError
from patcher.patch.changes import misfits
from patcher.patch.patch_file import dump
from patcher.patch.rules import breaches
from patcher.placement.allocation import allocate
from patcher.show.parser import read
from patcher.wiring import Wiring, problems, wire
from rig.examples import examples
from rig.patch_pencil import ORDERS, allocated, pencil_lay, pencil_starts, shows
from rig.shipped import Patcher, wired

Address = tuple[int, int]

TWO_BOXES = """\
[show]
title = "Garden"
placement = "follow"
[pixel.lamp]
colour_order = "RGB"
[controller.shed]
address = "192.0.2.1"
ports = 2
port = { 1 = ["front-hedge", "back_hedge"], 2 = ["rail"] }
[controller.bridge]
address = "192.0.2.2"
ports = 1
start_per = "run"
port = { 1 = ["arch-left", "arch-right"] }
[run.front-hedge]
pixel = "lamp"
pixels = 50
[run.back_hedge]
pixel = "lamp"
pixels = 40
[run.rail]
pixel = "lamp"
pixels = 30
[run.arch-left]
pixel = "lamp"
pixels = 20
[run.arch-right]
pixel = "lamp"
pixels = 20
[prop.arch]
runs = ["arch-left", "arch-right"]
"""
WHOLE = """\
Controller,Port,Run,Universe,Channel,Pixels
shed,1,front-hedge,1,1,50
shed,1,back_hedge,1,151,40
shed,2,rail,1,271,30
bridge,1,arch-left,2,1,20
bridge,1,arch-right,2,61,20
"""


@pytest.fixture
def garden(tmp_path: Path) -> Path:
    (tmp_path / "garden.toml").write_text(TWO_BOXES)
    return tmp_path / "garden.toml"


def told(here: Patcher, show: object, code: int = 0) -> dict:
    """What adopting table.csv says to a script."""
    ran = here("adopt", show, "table.csv", "--json")
    assert ran.returncode == code, ran.stdout + ran.stderr
    return json.loads(ran.stdout)


def rules_by_line(document: dict) -> list[tuple[int | None, str, str]]:
    return [(one["line"], one["severity"], one["rule"]) for one in document["findings"]]


def with_show(listing: Listing, wiring: Wiring):
    rows, _ = joined(listing.rows, "t.csv")
    matched = match(rows, wiring, "t.csv")
    adoption = adopt(matched, wiring, "t.csv")
    return adoption, [*listing.findings, *matched.findings, *adoption.findings]


def wired_text(text: str) -> Wiring:
    reading = read(text)
    assert reading.findings == ()
    wiring = wire(reading.show)
    # Source: the design: a show file that passes check
    assert problems(wiring) == []
    return wiring


def without_show(listing: Listing):
    """The drafted show's wiring, which row is which run, what is adopted, and the draft's text."""
    rows, _ = joined(listing.rows, "t.csv")
    draft, by_run = outline(rows, "T", "t.csv")
    wiring = wired_text(draft_text(draft))
    return wiring, by_run, adopt(Match(by_run, frozenset(by_run), ()), wiring, "t.csv"), draft_text(draft)


def addresses(patch) -> dict[str, Address]:
    """Where each run's first pixel is."""
    found: dict[str, Address] = {}
    for span in patch.spans():
        found.setdefault(span.run, (span.universe, span.first_channel))
    return found


# --- a table of a show, written as people write tables -------------------------------------------------------------

SPELLINGS = {
    "controller": ("Controller", "box", "Controller name", "BOX"),
    "port": ("Port", "Port #", "port no", "Output", "Port number", "Output No."),
    "run": ("Run", "Run name", "String", "Name", "Strand name"),
    "universe": ("Universe", "Uni", "Start universe", "Univ.", "start_universe"),
    "channel": ("Channel", "Ch", "Start channel", "Start ch.", "First channel"),
    "pixels": ("Pixels", "Pixel count", "No. of pixels", "Count", "Lamps", "# pixels", "Number of lights"),
    "channels": ("Channels per pixel", "Channels a pixel", "Ch/pixel"),
}


def pencil_addresses(tables: dict, patch) -> dict[str, Address]:
    """Where the pencil lays each run's first pixel, from the starts of a patch."""
    found: dict[str, Address] = {}
    for start, (_, _, lamps) in zip(patch.starts, pencil_starts(tables), strict=True):
        for address, lamp in pencil_lay((start.universe, start.channel), lamps):
            if lamp.number == 1:
                found[lamp.run] = address
    return found


def _number(draw, number: int) -> str:
    return draw(st.sampled_from(("{}", " {} ", "{}.0", "0{}"))).format(number)


@st.composite
def tables_of_shows(draw):
    """A show, where its runs are, and a table that says so in some spelling, order and form."""
    tables = draw(shows(pins=draw(st.booleans())))
    _, patch = allocated(tables)
    places = pencil_addresses(tables, patch) if patch else {}
    hung = [
        (box, port, run)
        for box, controller in tables["controller"].items()
        for port, runs in sorted(controller["port"].items(), key=lambda item: int(item[0]))
        for run in runs
    ]
    form = draw(st.sampled_from(("two", "one", "through")))
    where = ["universe", "channel"] if form == "two" else [form]
    columns = ["controller", "port", "run", "pixels", "channels", *where]
    columns = draw(st.permutations(columns))
    heads = SPELLINGS | {
        "one": ("Address", "Start", "Universe/channel"),
        "through": ("Start channel", "Running channel"),
    }
    rows = [[draw(st.sampled_from(heads[column])) for column in columns] + ["Remarks"]]
    box_before = None
    for box, port, run in hung if places else ():
        universe, channel = places[run]
        table = tables["run"][run]
        cells = {
            "controller": "" if box == box_before and draw(st.booleans()) else box,
            "port": _number(draw, int(port)),
            "run": draw(st.sampled_from((run, run.upper(), run.replace("-", " "), run.replace("-", "_")))),
            "pixels": _number(draw, table["pixels"]),
            "channels": str(len(ORDERS[table["pixel"]])),
            "universe": _number(draw, universe),
            "channel": _number(draw, channel),
            "one": f"{universe}/{channel}",
            "through": str((universe - 1) * 512 + channel),
        }
        box_before = box
        rows.append([*(cells[column] for column in columns), draw(st.sampled_from(("", "by the gate, left", "x;y")))])
    written = io.StringIO()
    csv.writer(
        written, delimiter=draw(st.sampled_from(",;\t")), lineterminator=draw(st.sampled_from(("\n", "\r\n")))
    ).writerows(rows)
    return tables, patch, places, written.getvalue()


quick = examples(15, 80)


@quick
@given(tables_of_shows())
def test_a_table_of_a_show_gives_its_addresses(drawn) -> None:
    tables, patch, places, text = drawn
    if not places:
        return
    listing = read_listing(text, "t.csv")
    assert len(listing.rows) == len(places)
    wiring, _ = allocated(tables)
    adoption, found = with_show(listing, wiring)
    # Source: the design: column names by the trade's words, in any order and any common spelling; addresses are kept
    assert addresses(adoption.patch) == places
    assert (found, adoption.left) == ([], ())
    laid_nulls = any(
        table["nulls"] and not controller["skips_nulls"]
        for controller in tables["controller"].values()
        for runs in controller["port"].values()
        for table in (tables["run"][run] for run in runs)
    )
    if not laid_nulls:
        # a table of pixels does not tell where null pixels before them begin; without any it tells all
        assert dump(adoption.patch) == dump(patch)


@quick
@given(tables_of_shows())
def test_a_table_alone_gives_a_show_with_its_addresses(drawn) -> None:
    tables, _, places, text = drawn
    if not places:
        return
    wiring, by_run, adoption, _ = without_show(read_listing(text, "t.csv"))
    said = {row.name.lower().replace(" ", "-").replace("_", "-"): run for run, row in by_run.items()}
    assert {run: addresses(adoption.patch)[said[run]] for run in places} == places
    assert (adoption.left, adoption.findings) == ((), ())
    assert misfits(adoption.patch, wiring) == []
    # Source: the design: a patch that keeps the rules breaks none of them in the drafted show either
    assert breaches(wiring.show, adoption.patch) == []
    hold_the_placement(wiring, adoption.patch)
    for run, name in said.items():
        drafted, table = wiring.show.runs[name], tables["run"][run]
        assert (drafted.pixels, wiring.show.type_of(drafted).channels) == (table["pixels"], len(ORDERS[table["pixel"]]))


def hold_the_placement(wiring: Wiring, patch) -> None:
    """Source: the design: fresh begins on channel 1; follow right behind the one before; pins hold."""
    for name, controller in wiring.show.controllers.items():
        own = [start for start in patch.starts if start.controller == name]
        if controller.pins:
            assert {start.chain.key: (start.universe, start.channel) for start in own} == controller.pins
        elif wiring.show.settings.placement == "fresh":
            assert {start.channel for start in own} == {1}
        else:
            for one, two in pairwise(own):
                *_, last = one.spans()
                width = two.chain.links[0].channels
                behind = (last.universe, last.last_channel + 1)
                behind = behind if behind[1] + width - 1 <= 512 else (last.universe + 1, 1)
                assert (two.universe, two.channel) == behind


@quick
@given(tables_of_shows())
def test_a_pinned_draft_is_laid_as_it_stands_in_the_table(drawn) -> None:
    *_, places, text = drawn
    if not places:
        return
    wiring, _, adoption, _ = without_show(read_listing(text, "t.csv"))
    if all(controller.pins for controller in wiring.show.controllers.values()):
        # Source: the design: a pin is where a start begins, whatever is kept
        assert allocate(wiring).patch == adoption.patch


NULLS = {
    "show": {"title": "Nulls", "placement": "follow"},
    "pixel": {name: {"colour_order": order} for name, order in ORDERS.items()},
    "controller": {
        "box": {"address": "192.0.2.1", "ports": 1, "skips_nulls": False, "port": {"1": ["one", "two"]}},
    },
}  # fmt: skip


@quick
@given(
    st.sampled_from(tuple(ORDERS)), st.integers(1, 400), st.integers(0, 9), st.integers(2, 9), st.integers(1, 400),
    st.booleans(),
)  # fmt: skip
def test_null_pixels_before_a_run_are_no_part_of_its_address(kind, nulls, more, universe, channel, before) -> None:
    # Source: the design: nulls with skips_nulls = false are laid like pixels of their run.
    runs = {"one": {"pixel": kind, "pixels": 5, "nulls": nulls}, "two": {"pixel": kind, "pixels": 5, "nulls": more}}
    tables = NULLS | {"run": runs}
    (start,) = pencil_starts(tables)
    laid = pencil_lay((universe, channel), start[2])
    places = {lamp.run: place for place, lamp in laid if lamp.number == 1}
    if before:  # an address typed from the plan of the cable, nulls included
        places["two"] = next(place for place, lamp in laid if lamp.run == "two")
    text = "run,address\n" + "".join(f"{run},{u}/{c}\n" for run, (u, c) in places.items())
    adoption, found = with_show(read_listing(text, "t.csv"), wired(tables))
    assert found == []
    (adopted,) = adoption.patch.starts
    again = pencil_lay((adopted.universe, adopted.channel), start[2])
    assert [place for place, lamp in again if lamp.number] == [place for place, lamp in laid if lamp.number]
    if places["one"][0] == universe:
        assert (adopted.universe, adopted.channel) == (universe, channel)


# --- Patcher's own tables ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("options", [("--csv",), ("--player", "--csv")])
def test_patchers_own_tables_come_back_as_the_same_patch_file(here: Patcher, heron_lock: Path, options) -> None:
    # Source: the design: old addresses are kept as if Patcher had made them.
    table = heron_lock.with_name("table.csv")
    table.write_text(here("patch", heron_lock, *options).stdout)
    kept = heron_lock.with_name("heron-lock.patch.toml")
    octets = kept.read_bytes()
    kept.unlink()
    ran = here("adopt", heron_lock, table)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert kept.read_bytes() == octets
    again = here("adopt", heron_lock, table)
    assert again.returncode == 0
    assert "the same addresses" in again.stdout
    assert here("where", heron_lock, "towpath/12").returncode == 0


@pytest.mark.parametrize("options", [("--csv",), ("--player", "--csv")])
def test_patchers_own_tables_alone_give_a_show_that_is_sound(here: Patcher, heron_lock: Path, options) -> None:
    table = heron_lock.with_name("table.csv")
    table.write_text(here("patch", heron_lock, *options).stdout)
    ran = here("adopt", "other.toml", table, "--json")
    document = json.loads(ran.stdout)
    assert (ran.returncode, document["findings"]) == (0, [])
    wanted = {(int(row["universe"]), int(row["channel"])) for row in csv.DictReader(io.StringIO(table.read_text()))}
    assert {(row["universe"], row["channel"]) for row in document["rows"]} == wanted
    spans = document["spans"]
    assert wanted <= {(span["universe"], span["first_channel"]) for span in spans}
    assert here("check", "other.toml").returncode == 0


# --- what a table may look like ------------------------------------------------------------------------------------


def rows_of(text: str) -> list[tuple]:
    return [
        (row.controller, row.port, ", ".join(row.runs) or row.prop, row.universe, row.channel, row.pixels)
        for row in read_listing(text, "t.csv").rows
    ]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("Box,Port,Run,Uni,Ch,Pixels\nShed,1,Hedge,3,100,50\n", ("Shed", 1, "Hedge", 3, 100, 50)),
        ("Pixels;Ch;Uni;Run;Port;Box\n50;100;3;Hedge;1;Shed\n", ("Shed", 1, "Hedge", 3, 100, 50)),
        ("Garden 2025\n\nbox\tport\tprop\tstart\tlamps\nShed\t1\tHedge\t3/100\t50\n", ("Shed", 1, "Hedge", 3, 100, 50)),
        ('"Run","Address","Count"\n"Hedge, left","3:100","1,024"\n', ("", None, "Hedge, left", 3, 100, 1024)),
        ("Run;Start\nHedge;U3 C100\n", ("", None, "Hedge", 3, 100, None)),
        ("Run,Start channel,Pixels\nHedge,1 124,1 024\n", ("", None, "Hedge", 3, 100, 1024)),
        ("Run,Absolute channel,Pixels\nHedge,512,1\n", ("", None, "Hedge", 1, 512, 1)),
        ("Run,Absolute channel,Pixels\nHedge,513,1\n", ("", None, "Hedge", 2, 1, 1)),
        ("Run,Universe,Pixels\nHedge,U 7,50 px\n", ("", None, "Hedge", 7, 1, 50)),
        ("Box,Output #,Universe,Channel,End channel\nShed,Port 2,007,1.0,150\n", ("Shed", 2, "", 7, 1, None)),
        ("Box,Universe,Channel\nShed/2,7,1-150\n", ("Shed", 2, "", 7, 1, None)),
        ("Run,Universe,Channel,Channels\nHedge,7,1,150\n", ("", None, "Hedge", 7, 1, 50)),
        ("Name,Run,Universe,Channel\nx,Hedge,7,1\n", ("", None, "Hedge", 7, 1, None)),
    ],
)  # fmt: skip
def test_tables_as_people_write_them(text: str, wanted: tuple) -> None:
    # Source: the design: any order and any common spelling; the arithmetic: 512 channels make a universe.
    assert rows_of(text) == [wanted]
    assert read_listing(text, "t.csv").findings == ()


@pytest.mark.parametrize(
    ("heads", "cells", "wanted"),
    [
        ("Pixels,Channels", "50,200", (50, 4)), ("Pixels,Channels", "50,4", (50, 4)),
        ("Pixels,Colours", "50,GRBW", (50, 4)), ("Pixels,Colours", "50,white", (50, None)),
        ("Pixels,Channels", "50,7", (50, 7)), ("Pixels", "x", (None, None)),
        ("Channels", "150", (50, None)), ("Pixels,Channel count", "50,150", (50, 3)),
    ],
)  # fmt: skip
def test_the_channels_of_a_pixel(heads: str, cells: str, wanted: tuple) -> None:
    # Source: arithmetic; a count over twelve is that of all the row's pixels.
    (row,) = read_listing(f"Run,Universe,Channel,{heads}\nHedge,7,1,{cells}\n", "t.csv").rows
    assert (row.pixels, row.channels) == wanted


def test_an_empty_cell_of_box_and_port_is_the_one_above() -> None:
    # Common practice, no source: merged cells are saved as one full cell and empty ones.
    text = "Box,Port,Run,Uni,Ch\nShed,1,a,1,1\n,,b,1,31\n,2,c,2,1\nGate,,x,0,1\n,,d,3,1\nTotal,,,,\n,,e,4,1\n"
    assert [row[:3] for row in rows_of(text)] == [
        ("Shed", 1, "a"), ("Shed", 1, "b"), ("Shed", 2, "c"), ("Gate", None, "d"), ("Gate", None, "e"),
    ]  # fmt: skip


def test_one_row_a_universe_is_one_run() -> None:
    # Source: arithmetic: 170 RGB pixels fill a universe.
    text = "Port,Run,Uni,Ch,Pixels\n1,wall,1,1,170\n1,wall,2,1,170\n1,wall,3,1,60\n1,eave,3,181,9\n"
    rows, twice = joined(read_listing(text, "t.csv").rows, "t.csv")
    assert ([(row.name, row.pixels) for row in rows], twice) == ([("wall", 400), ("eave", 9)], [])
    # On another channel than 1 it may be a second run of that name, so nothing is joined.
    text = "Port,Run,Uni,Ch,Pixels\n1,star,1,1,50\n1,star,1,151,50\n"
    assert len(joined(read_listing(text, "t.csv").rows, "t.csv")[0]) == 2


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("Hedge,0,1,50", "universe 0"),
        ("Hedge,64000,1,50", "universe 64000"),
        ("Hedge,1,513,50", "channel 513"),
        ("Hedge,1,0,50", "channel 0"),
        ("Hedge,one,1,50", "“one” is not a universe"),
        ("Hedge,1,1.5,50", "“1.5” is not a channel"),
        ("Hedge,1,,50", "has no channel"),
        ("Hedge,,1,50", "has no universe"),
        ("Hedge,1,-3,50", "“-3” is not a channel"),
    ],
)
def test_an_address_that_is_none_is_said_with_its_line(row: str, words: str) -> None:
    # Source: ANSI E1.31-2018, 6.2.7: universes 1 to 63999; ANSI E1.11: 512 slots.
    listing = read_listing(f"Run,Universe,Channel,Pixels\n\nRail,1,1,30\n# a remark, 1\n{row}\n", "t.csv")
    assert [one.name for one in listing.rows] == ["Rail"]
    (finding,) = listing.findings
    assert (finding.where, finding.line, finding.severity) == ("t.csv", 5, "error")
    assert words in finding.says
    assert "Hedge" in finding.says


@pytest.mark.parametrize(
    ("head", "cells", "words"),
    [
        ("universe,channel,absolute", "5,1,2049", None),
        ("universe,channel,absolute", "5,1,-", None),
        ("universe,channel,absolute", "5,1,9999", "gate: absolute channel 9999 is 20/271, but the row says 5/1; 5/1"),
        ("universe,channel,absolute", "5,1,1", "absolute channel 1 is 1/1, but the row says 5/1; 5/1 was taken"),
        ("universe,channel,absolute", "5,1,0", "absolute channel 0 is none, but the row says 5/1; 5/1 was taken"),
        ("universe,channel,address", "5,1,5/1", None),
        ("universe,channel,address", "5,1,2049", None),
        ("universe,channel,address", "5,1,7/9", "address is “7/9”, but the row says 5/1; 5/1 was taken"),
        ("address,absolute", "5/1,2050", "absolute channel 2050 is 5/2, but the row says 5/1; 5/1 was taken"),
        ("channel,absolute", "1,2049", None),
        ("channel,absolute", "3,2049", "channel is 3, but the row says 5/1; 5/1 was taken"),
    ],
)
def test_a_cell_that_says_another_address_than_the_row_is_told(head: str, cells: str, words: str | None) -> None:
    # Judge: arithmetic by hand: 4 universes of 512 channels stand before 5/1, 19 and 270 channels before 9999
    listing = read_listing(f"run,pixels,{head}\ngate,10,{cells}\n", "t.csv")
    assert [(row.universe, row.channel) for row in listing.rows] == [(5, 1)]
    assert [finding.line for finding in listing.findings] == [2] * bool(words)
    assert all(words in finding.says and finding.severity == "warning" for finding in listing.findings)


def test_an_open_quotation_mark_swallows_no_row_in_silence() -> None:
    listing = read_listing('Run,Universe,Channel\nRail,1,1\n"Hedge,2,1\nGate,3,1\nPond,4,1\n', "t.csv")
    assert [row.name for row in listing.rows] == ["Rail"]
    (finding,) = listing.findings
    assert finding.line == 3
    assert "lines 3 to 5" in finding.says


@pytest.mark.parametrize("cell", ["1-150", "3.100", "3,100,7", "192.0.2.1", "x"])
def test_an_address_that_may_mean_two_things_is_not_guessed(cell: str) -> None:
    # Common practice, no source: 1-150 is a range of channels to one person and a universe and channel to another.
    listing = read_listing(f'Run,Start\nHedge,"{cell}"\n', "t.csv")
    assert listing.rows == ()
    assert [(one.line, one.severity) for one in listing.findings] == [(2, "error")]


@pytest.mark.parametrize("text", ["", "\n\n", "hello", "Name,Colour\nHedge,red\n", "universe\n1\n", "1,2,3\n4,5,6\n"])
def test_a_table_without_addresses_is_refused(here: Patcher, tmp_path: Path, text: str) -> None:
    (tmp_path / "table.csv").write_text(text)
    ran = here("adopt", "new.toml", "table.csv")
    assert ran.returncode == 2
    assert "table.csv" in ran.stderr
    # Source: the design: exit 2: nothing was written.
    assert sorted(path.name for path in tmp_path.iterdir()) == ["table.csv"]


# --- a table and a show that differ --------------------------------------------------------------------------------


def test_the_whole_table_is_taken(here: Patcher, garden: Path, tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text(WHOLE)
    document = told(here, garden)
    assert (document["findings"], document["left"], document["fill_in"]) == ([], [], [])
    starts = [
        (one["controller"], one["port"], one["run"], one["universe"], one["channel"]) for one in document["starts"]
    ]
    assert starts == [
        ("shed", 1, None, 1, 1), ("shed", 2, None, 1, 271),
        ("bridge", 1, "arch-left", 2, 1), ("bridge", 1, "arch-right", 2, 61),
    ]  # fmt: skip
    assert [one["line"] for one in document["rows"]] == [2, 3, 4, 5, 6]
    assert document.keys() == {
        "show", "pixels", "channels", "universes", "columns", "unused", "rows", "starts", "spans", "left", "findings",
        "fill_in", "wrote",
    }  # fmt: skip
    assert document["wrote"] == [str(garden.with_name("garden.patch.toml"))]
    assert here("where", garden, "rail").returncode == 0


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("shed,1,front-hedge,1,1,50\n", "", [(2, "error", "no-start")]),
        ("shed,1,front-hedge", "shed,1,sundial", [(2, "warning", "other-name")]),
        ("shed,1,front-hedge", ",,sundial", [(2, "error", "row"), (3, "error", "no-start")]),
        ("1,151,40", "1,160,40", [(3, "error", "follows-on")]),
        ("1,151,40", "1,151,41", [(3, "warning", "pixels")]),
        ("shed,2,rail", "shed,1,rail", [(4, "warning", "place")]),
        ("shed,2,rail", "bridge,1,rail", [(4, "warning", "place")]),
        ("shed,2,rail,1,271,30\n", "", [(None, "warning", "no-start")]),
        ("shed,1,back_hedge,1,151,40\n", "", [(None, "note", "follows-on")]),
        ("shed,2,rail,1,271,30\n", "shed,2,rail,1,271,30\n" * 2, [(5, "warning", "twice")]),
        ("shed,2,rail,1,271,30\n", "shed,2,rail,1,271,30\nshed,2,rail,4,1,30\n", [(5, "error", "twice")]),
        ("shed,2,rail,1,271,30\n", "shed,2,rail,1,271,30\nmill,1,wheel,9,1,30\n", [(5, "error", "row")]),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_listed_by_row(here: Patcher, garden: Path, tmp_path: Path, old, new, wanted) -> None:
    # Source: the design: what does not fit is listed by row.
    assert old in WHOLE
    (tmp_path / "table.csv").write_text(WHOLE.replace(old, new))
    code = int(any(severity == "error" for _, severity, _ in wanted))
    document = told(here, garden, code)
    assert rules_by_line(document) == wanted
    assert garden.with_name("garden.patch.toml").exists()


def test_a_row_a_port_and_a_row_a_prop(here: Patcher, garden: Path, tmp_path: Path) -> None:
    # Source: the design: run or prop; a port's row is the start of its chain.
    (tmp_path / "table.csv").write_text(
        "Output,Box,Prop,Uni,Ch,Pixels\n2,SHED,,5,1,30\n1,shed,,6,1,90\n1,bridge,Arch,7,1,\n,,Arch,7,61,\n"
    )
    document = told(here, garden)
    assert document["findings"] == []
    assert {one["run"]: (one["universe"], one["channel"]) for one in document["rows"]} == {
        "rail": (5, 1), "front-hedge": (6, 1), "arch-left": (7, 1), "arch-right": (7, 61)
    }  # fmt: skip


def test_a_props_rows_go_to_the_runs_on_their_ports(here: Patcher, garden: Path, tmp_path: Path) -> None:
    # Source: the design: run or prop. A row that says box and port can mean only the prop's run that hangs there.
    garden.write_text(TWO_BOXES + '[prop.border]\nruns = ["front-hedge", "rail"]\n')
    (tmp_path / "table.csv").write_text(
        "Box,Port,Prop,Run,Address\nshed,2,Border,,5/1\nshed,1,Border,,6/1\nbridge,1,Way,ARCH_LEFT,7/1\n,,Arch,Right,8/1\n"
    )
    document = told(here, garden)
    assert {one["run"]: one["universe"] for one in document["rows"]} == {
        "rail": 5, "front-hedge": 6, "arch-left": 7, "arch-right": 8
    }  # fmt: skip
    assert [one["where"] for one in document["findings"] if one["severity"] == "warning"] == []


def test_a_table_of_another_show_is_refused(here: Patcher, garden: Path, tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text("Run,Universe,Channel\nwheel,1,1\n")
    ran = here("adopt", garden, "table.csv")
    assert ran.returncode == 2
    assert "wheel" in ran.stderr
    assert not garden.with_name("garden.patch.toml").exists()


def test_a_patch_that_is_there_is_left_as_it_is(here: Patcher, garden: Path, tmp_path: Path) -> None:
    here("patch", garden)
    kept = garden.with_name("garden.patch.toml")
    octets = kept.read_bytes()
    (tmp_path / "table.csv").write_text(WHOLE.replace("1,271,30", "9,1,30"))
    ran = here("adopt", garden, "table.csv")
    assert ran.returncode == 2
    assert "garden.patch.toml" in ran.stderr
    assert kept.read_bytes() == octets


# --- breaches are kept, and said -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ("1,271,30", "1,268,30", "overlap"),
        ("2,1,20", "1,361,20", "shared-universe"),
        ("1,271,30", "4,1,30", "consecutive"),
        ("1,271,30", "1,511,30", "split-pixel"),
        ("2,61,20", "63999,511,20", "universe-range"),
    ],
)
def test_a_breach_is_a_finding_and_the_address_is_kept(here, garden: Path, tmp_path: Path, old, new, rule) -> None:
    # Source: the design: where they break one of the five rules they are kept all the same; each breach is a finding.
    assert old in WHOLE
    (tmp_path / "table.csv").write_text(WHOLE.replace(old, new))
    document = told(here, garden, code=1)
    assert (rule, "error") in {(one["rule"], one["severity"]) for one in document["findings"]}
    universe, channel, _ = map(int, new.split(","))
    assert (universe, channel) in {(one["universe"], one["channel"]) for one in document["starts"]}
    assert f'"{universe}/{channel}"' in garden.with_name("garden.patch.toml").read_text()


def test_a_table_that_runs_straight_across_a_universes_end(here: Patcher, tmp_path: Path) -> None:
    # Source: arithmetic: 200 RGB pixels are 600 channels, so the next would begin at channel 601: 2/89; the 171st takes
    # channels 511 to 513. The design: a pixel never straddles 512.
    (tmp_path / "table.csv").write_text("Box,Port,Run,Channel,Pixels\nShed,1,a,1,200\nShed,1,b,601,100\n")
    document = told(here, "new.toml", code=1)
    split = [one for one in document["findings"] if one["rule"] == "split-pixel"]
    assert [(one["line"], "pixel 171" in one["says"], "2/91" in one["try"]) for one in split] == [(2, True, True)]
    assert [(one["universe"], one["channel"]) for one in document["starts"]] == [(1, 1), (2, 89)]


# --- the drafted show ----------------------------------------------------------------------------------------------

VILLAGE = """\
Box;Output;Prop;Run;Uni;Start ch;Pixels
Well house;1;Hedge;left part;1;1;100
;1;Hedge;right part;1;301;60
;2;6 ft star;;3;1;40
Millbridge;1;Arch;;4;1;
"""


def test_what_the_table_does_not_tell_is_marked(here: Patcher, tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text(VILLAGE, encoding="utf-8-sig")
    document = told(here, "village-green.toml")
    text = (tmp_path / "village-green.toml").read_text()
    assert document["show"] == "Village green"
    lines = text.splitlines()
    for one in document["fill_in"]:
        assert f"{MARK}: {one['asks']}" in lines[one["line"] - 1]
    asks = " ".join(one["asks"] for one in document["fill_in"])
    for word in ("address", "pixels", "ports", "colours", "frames a second", "lead"):
        assert word in asks
    # Source: found by a reader: a row without a number of pixels became 1 pixel without a warning
    warned = [each for each in document["findings"] if "no number of pixels; 1 is assumed" in each["says"]]
    assert [each["severity"] for each in warned] == ["warning"] * text.count(f"{MARK}: how many pixels")
    assert warned
    # No invented address: nothing would be sent to a stranger's.
    assert "address =" not in "\n".join(line.partition("#")[0] for line in lines)
    for said in ("Well house", "left part", "6 ft star"):
        assert said in text
    checked = here("check", "village-green.toml")
    assert checked.returncode == 0
    assert f"{len(document['fill_in'])} lines with {MARK}" in checked.stdout.replace("\u00a0", " ")
    assert "OK: no problems found" not in checked.stdout
    again = told(here, "village-green.toml")
    assert (again["starts"], again["wrote"]) == (document["starts"], [])
    assert (tmp_path / "village-green.toml").read_text() == text


def drafted(rows: str):
    wiring, by_run, *_ = without_show(read_listing(f"Box,Port,Run,Address,Pixels\n{rows}", "t.csv"))
    return wiring.show, {row.line: run for run, row in by_run.items()}


def test_the_step_to_the_next_address_tells_the_channels_of_a_pixel() -> None:
    # Source: arithmetic: 50 pixels of 4 channels end at 200; 128 pixels that end at 512 tell nothing, for a new
    # universe begins there whatever they take.
    show, _ = drafted("Shed,1,a,1/1,50\nShed,2,b,1/201,128\nShed,3,c,2/1,128\nShed,4,d,3/1,9\n")
    assert {name: show.type_of(run).colour_order for name, run in show.runs.items()} == {
        "a": "RGBW", "b": "RGB", "c": "RGB", "d": "RGB"
    }  # fmt: skip


def test_runs_that_follow_on_share_their_ports_start_in_whatever_order_they_are_listed() -> None:
    # Source: the design: along a start's chain, addresses rise with the data order.
    show, _ = drafted("Shed,1,b,1/151,40\nShed,1,a,1/1,50\n")
    assert (show.controllers["shed"].start_per, show.controllers["shed"].port) == ("port", {1: ("a", "b")})
    show, _ = drafted("Shed,1,b,1/154,40\nShed,1,a,1/1,50\n")
    assert (show.controllers["shed"].start_per, show.controllers["shed"].port) == ("run", {1: ("b", "a")})


def test_a_start_that_no_placement_gives_is_pinned() -> None:
    # Source: the design: follow begins a box on a new universe, unless share_universes.
    show, _ = drafted("Shed,1,a,3/100,50\n")
    assert show.controllers["shed"].pins == {"1": (3, 100)}
    show, _ = drafted("Shed,1,a,3/1,50\nShed,2,b,3/151,50\n")
    assert show.controllers["shed"].pins == {}
    show, _ = drafted("Shed,1,a,3/1,50\nGate,1,b,3/151,50\n")
    assert (show.controllers["gate"].pins, show.settings.share_universes) == ({}, True)
    show, _ = drafted("Shed,1,a,3/1,50\nShed,2,b,5/1,50\n")
    assert (show.controllers["shed"].pins, show.controllers["shed"].consecutive) == ({}, False)


def test_every_name_is_legal_and_told_apart() -> None:
    # Source: the design: names start with a letter; controllers, runs and props share one name space.
    show, runs = drafted("Star,1,Star,1/1,50\nStar,2,STAR,2/1,50\n7,1,Fähre!,3/1,50\n7,2,7,4/1,50\n,,,5/1,9\n")
    assert list(show.controllers) == ["star", "box-7"]
    assert list(runs.values()) == ["star-run", "star-run-2", "fahre", "run-7", "box-7-2"]


@pytest.mark.parametrize(("port", "marked"), [("", True), ("1", False)])
def test_ports_that_the_table_does_not_tell_are_marked(port: str, marked: bool) -> None:
    *_, text = without_show(read_listing(f"Box,Port,Run,Address\nShed,{port},a,1/1\nShed,{port},b,2/1\n", "t.csv"))
    assert ("which run hangs on which output" in text) == marked


def test_a_name_that_is_no_name_of_a_show_file_is_refused(here: Patcher, tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text(WHOLE)
    for name in ("village", "village.patch.toml", "village.csv"):
        assert here("adopt", name, "table.csv").returncode == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["table.csv"]


@pytest.mark.parametrize("octets", [b"\xff\xfea\x00", b"Run,Universe\nH\xe9dge,1\n", b"PK\x03\x04\x00\x00", None])
def test_a_file_that_is_no_text_is_refused_in_words_for_a_table(here: Patcher, tmp_path: Path, octets) -> None:
    (tmp_path / "table.csv").write_bytes(octets) if octets is not None else (tmp_path / "table.csv").mkdir()
    ran = here("adopt", "new.toml", "table.csv")
    assert ran.returncode == 2
    assert "saved as CSV in UTF-8" in ran.stderr
    assert not (tmp_path / "new.toml").exists()


# --- anything at all -----------------------------------------------------------------------------------------------

CELLS = st.one_of(
    st.sampled_from(
        ("", "1", "2", "511", "512", "513", "63999", "0", "-1", "1.0", "3/100", "a", "b", "A", "1/1", '"', "#", "\n",
         "é",          "10000", "99999999999999999999", "x" * 80, "toml = 1", "]", "\x07", "32767000", "12"),
    ),
    st.text(string.printable, max_size=6), st.text(max_size=4),
)  # fmt: skip
OTHERS = ("Address", "Prop", "start of", "Channels", "Colours", "Runs")
HEADS = st.sampled_from([*(head for heads in SPELLINGS.values() for head in heads), *OTHERS])


@st.composite
def odd_tables(draw) -> str:
    heads = draw(st.lists(HEADS, min_size=2, max_size=8))
    rows = draw(st.lists(st.lists(CELLS, min_size=len(heads), max_size=len(heads)), max_size=8))
    separator = draw(st.sampled_from(",;\t"))
    if draw(st.booleans()):
        return "\n".join(separator.join(row) for row in [heads, *rows])
    written = io.StringIO()
    csv.writer(written, delimiter=separator).writerows([heads, *rows])
    return written.getvalue()


FUZZED_SHOW = wire(read(TWO_BOXES).show)


@examples(25, 250)
@given(st.one_of(odd_tables(), st.text(max_size=200), st.text(string.printable, max_size=200)))
@example('Run,Universe\n"' + "x" * 200_000)
def test_any_text_gives_a_show_or_words(text: str) -> None:
    # Source: the design: no traceback ever reaches a person.
    try:
        listing = read_listing(text, "t.csv")
    except PatcherError:
        return
    adoption, _ = with_show(listing, FUZZED_SHOW)
    assert {start.chain.name for start in adoption.patch.starts}.isdisjoint(adoption.left)
    if listing.rows:
        wiring, by_run, adoption, _ = without_show(listing)
        breaches(wiring.show, adoption.patch)
        assert adoption.left == ()
        rows, _ = joined(listing.rows, "t.csv")
        assert sorted(row.line for row in by_run.values()) == [row.line for row in rows]
        kept = {(start.universe, start.channel) for start in adoption.patch.starts}
        assert {(row.universe, row.channel) for row in rows} <= kept | set(addresses(adoption.patch).values())
        dump(adoption.patch)


# --- what people's tables have besides -----------------------------------------------------------------------------


def draft_of(text: str):
    """The show that is drafted from a table, what is said of the table by line, and the draft's own text."""
    listing = read_listing(text, "mill.csv")
    wiring, _, adoption, drafted_text = without_show(listing)
    return wiring, adoption, drafted_text, listing


MILL = """\
Box,IP,Port,What,Universe,Channel,Pixels,Notes
Mill,192.0.2.31,1,Wheel,45,1,70,new in 2025
,,1,Sluice,45,{sluice},40,
Barn,192.0.2.32,1,Gable,50,1,3 x 190,two spare pixels
,,2,Door,60,1,50,
"""


def test_the_boxes_addresses_what_it_is_and_notes_are_used() -> None:
    # Source: found in use: columns for addresses, "What" and "Notes" were not used
    wiring, adoption, text, listing = draft_of(MILL.format(sluice=211))
    assert listing.unused == ()
    assert {box.name: (box.address, box.delivery) for box in wiring.show.controllers.values()} == {
        "mill": ("192.0.2.31", "unicast"), "barn": ("192.0.2.32", "unicast"),
    }  # fmt: skip
    assert {"wheel", "sluice", "door"} < wiring.show.runs.keys()
    assert "# the table's note: new in 2025" in text
    assert text.index("# the table's note: new in 2025") > text.index("[run.wheel]")
    assert adoption.findings == ()
    assert addresses(adoption.patch)["sluice"] == (45, 211)


@pytest.mark.parametrize("heading", ["IP", "ip address", "Address", "Controller IP", "IPv4"])
def test_a_column_of_network_addresses_is_known_by_its_heading_or_by_what_is_in_it(heading: str) -> None:
    text = f"Box,{heading},Port,Name,Uni,Start,Px\nMill,192.0.2.31,1,Wheel,45,7,70\n,,2,Sluice,46,1,40\n"
    wiring, adoption, _, listing = draft_of(text)
    assert listing.columns["ip"] == heading
    assert wiring.show.controllers["mill"].address == "192.0.2.31"
    assert addresses(adoption.patch) == {"wheel": (45, 7), "sluice": (46, 1)}


def test_an_address_that_no_box_can_have_or_that_two_have_is_not_taken() -> None:
    text = "Box,IP,Port,Uni,Channel,Px\nMill,239.255.0.1,1,1,1,50\nBarn,192.0.2.7,1,2,1,50\nKiln,192.0.2.7,1,3,1,50\n"
    wiring, _, _, listing = draft_of(text)
    assert {box.address for box in wiring.show.controllers.values()} == {None}
    assert [(finding.line, finding.severity) for finding in listing.findings] == [(2, "warning")]


def test_an_address_that_differs_from_the_shows_is_said(here: Patcher, garden: Path, tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    table.write_text("Box,IP,Port,Run,Universe,Channel,Notes\nShed,192.0.2.99,1,front-hedge,1,1,wet\n")
    said = told(here, garden, 0)
    finding = next(finding for finding in said["findings"] if finding["rule"] == "place")
    assert finding["line"] == 2
    assert "192.0.2.99" in finding["says"]
    assert "192.0.2.1" in finding["says"]


@examples(15, 60)
@given(st.integers(1, 5), st.integers(1, 200), st.sampled_from((1, 4, 100, 508)), st.sampled_from((3, 4)))
def test_so_many_times_so_many_are_so_many_runs(parts: int, each: int, channel: int, width: int) -> None:
    # Source: found in use: "3 x 190" is three runs; the pencil of test_patch_rules lays them
    text = (
        f"Box,Port,Name,Universe,Channel,Pixels,Channels per pixel\nBarn,1,Gable,5,{channel},{parts} x {each},{width}\n"
    )
    wiring, adoption, _, _ = draft_of(text)
    runs = [f"gable-{part}" for part in range(1, parts + 1)] if parts > 1 else ["gable"]
    assert list(wiring.show.runs) == runs
    assert {run.pixels for run in wiring.show.runs.values()} == {each}
    if parts > 1:
        assert wiring.show.props["gable"].runs == tuple(runs)
    at, wanted = 4 * 512 + channel - 1, {}
    for run in runs:
        for pixel in range(each):
            at = at if at % 512 + width <= 512 else (at // 512 + 1) * 512
            if pixel == 0:
                wanted[run] = (at // 512 + 1, at % 512 + 1)
            at += width
    assert addresses(adoption.patch) == wanted


def test_so_many_times_so_many_fit_the_runs_that_a_show_has() -> None:
    wiring, adoption, text, listing = draft_of(MILL.format(sluice=211))
    matched = match(listing.rows, wired_text(text), "mill.csv")
    again = adopt(matched, wiring, "mill.csv")
    assert matched.findings == ()
    assert again.patch == adoption.patch


@examples(40, 300)
@given(st.lists(st.tuples(st.sampled_from(("Barn", "Mill")), st.integers(1, 3), st.integers(1, 512),
                          st.integers(1, 250)), min_size=2, max_size=7), st.booleans())  # fmt: skip
def test_pins_that_are_advised_collide_with_nothing(rows: list[tuple[str, int, int, int]], share: bool) -> None:
    # Source: who follows all of the advice at once has each of those starts on universes of its own; whoever overlaps
    # another is told with whom, by a pencil that lays each pixel
    lines = [f"{box},{port},Row {port},{at[0]},{at[1]},{pixels}"
             for port, (box, *at, pixels) in enumerate(rows, start=1)]  # fmt: skip
    wiring, adoption, _, _ = draft_of("\n".join(["Box,Port,Name,Universe,Channel,Pixels", *lines]) + "\n")
    show, patch = wiring.show, adoption.patch
    show = show.model_copy(update={"settings": show.settings.model_copy(update={"share_universes": share})})
    taken = {start.chain.name: set(start.universes) for start in patch.starts}
    lengths = {start.chain.name: -(-start.chain.pixels // 170) for start in patch.starts}
    found = breaches(show, patch)
    for finding in found:
        if pin := re.search(r'pin it where it is free: "(\d+)/1"', finding.remedy):
            box, key = finding.where.removeprefix("controller.").split(".start.")
            moved = f"{box}/{key}" if key.isdigit() else key
            taken[moved] = {*range(int(pin[1]), int(pin[1]) + lengths[moved])}
            others = set().union(*(own for name, own in taken.items() if name != moved))
            assert not taken[moved] & others, (moved, taken)
    cells = {start.chain.name: set(range(start.at, start.end)) for start in patch.starts}
    overlaps = {finding.says.split(" ")[0]: finding.says for finding in found if finding.rule == "overlap"}
    for start in patch.starts:
        name = start.chain.name
        before = [other for other in patch.starts if other.at < start.at and cells[other.chain.name] & cells[name]]
        named = [other for other in cells if other != name and cells[other] & cells[name]]
        assert not before or any(f"on channels of {other} (" in overlaps[name] for other in named)


def test_a_pin_that_collides_is_told_with_whom(tmp_path: Path, here: Patcher) -> None:
    # Source: found in use: "is pinned to begin at 5/1, but begins at 7/1", and nobody said what lies there
    text = """
        [show]
        title = "Weir"
        share_universes = false
        [pixel.bulb]
        colour_order = "RGB"
        [controller.hut]
        address = "192.0.2.1"
        ports = 2
        first_universe = 5
        [controller.hut.port]
        1 = ["a"]
        [controller.quay]
        address = "192.0.2.2"
        ports = 2
        [controller.quay.port]
        1 = ["b"]
        2 = ["c"]
        [controller.quay.start]
        1 = "5/1"
        2 = "6/1"
        [run.a]
        pixel = "bulb"
        pixels = 10
        [run.b]
        pixel = "bulb"
        pixels = 10
        [run.c]
        pixel = "bulb"
        pixels = 10
    """
    show = tmp_path / "weir.toml"
    show.write_text(text)
    said = here("patch", show)
    assert (
        "is pinned to begin at 5/1, but begins at 7/1 (there: quay/1 (5/1 to 5/30), quay/2 (6/1 to 6/30))"
        in " ".join(said.stderr.split())
    )
    show.write_text(text.replace("first_universe = 5", "start = { 1 = '6/31' }"))
    said = here("patch", show)
    assert "hut/1 shares universe 6 with quay/2 (6/1 to 6/30)" in " ".join(said.stderr.split())


PART_ROWS = st.lists(
    st.tuples(
        st.sampled_from(("1", "2", "")), st.sampled_from(("Gable", "Door", "Step 2", "")),
        st.sampled_from(("50", "2 x 60", "3 x 190", "2 x 50")), st.sampled_from((1, 61, 400)),
    ),
    min_size=1, max_size=4, unique_by=lambda row: row[1] or id(row),
)  # fmt: skip


@examples(40, 300)
@given(PART_ROWS)
def test_a_table_fits_the_show_that_was_drafted_of_it(rows: list[tuple[str, str, str, int]]) -> None:
    # Source: the same table, adopted a second time, gives the same addresses
    lines = [f"Barn,{port},{name},{5 + 9 * at},{channel},{pixels}"
             for at, (port, name, pixels, channel) in enumerate(rows)]  # fmt: skip
    wiring, adoption, text, listing = draft_of("\n".join(["Box,Port,Name,Universe,Channel,Pixels", *lines]) + "\n")
    matched = match(joined(listing.rows, "barn.csv")[0], wired_text(text), "barn.csv")
    assert addresses(adopt(matched, wiring, "barn.csv").patch) == addresses(adoption.patch)


@pytest.mark.parametrize(("sluice", "meant"), [(211, None), (212, "45/211"), (213, "45/211"), (214, None), (300, None)])
def test_a_channel_that_does_not_follow_is_remarked(sluice: int, meant: str | None) -> None:
    # Source: found in use: 45/212, where 211 was meant, was not remarked. 70 RGB pixels from channel 1 end at 210.
    _, adoption, _, _ = draft_of(MILL.format(sluice=sluice))
    remarks = [finding for finding in adoption.findings if finding.rule == "gap"]
    assert [(finding.line, finding.severity) for finding in remarks] == ([(3, "warning")] if meant else [])
    assert all(str(meant) in finding.remedy for finding in remarks)
    assert addresses(adoption.patch)["sluice"] == (45, sluice)
