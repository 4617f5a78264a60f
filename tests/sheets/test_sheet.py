"""`sheet` as a person and a script run it: the folder, what stands in the pages, hostile words, and what goes wrong."""

import json
import os
import re
import subprocess
import sys
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.drawing.run_facts import amps_words
from patcher.drawing.voltage_profile import plain
from patcher.patch.patch import Patch
from patcher.patch.patch_file import read_patch
from patcher.placement.allocation import allocate
from patcher.power.flow import power
from patcher.reference import parts_of, topics
from patcher.sheets import drawings
from patcher.sheets.contents import mark, show_sheet
from patcher.sheets.figures import amps
from patcher.sheets.label_stock import LabelStock
from patcher.sheets.labels import Repairs, tags
from patcher.sheets.page import Drawings, css_string, file_names, inline, pages
from patcher.show.show_file import read_show
from patcher.units import length
from patcher.walk.items import Item, digests, items
from patcher.walk.record import Entry, RecordedAnswer
from patcher.walk.record_file import change_record
from patcher.wiring import Wiring, wire
from rig.examples import examples
from rig.html_page import Page
from rig.power_show import fed, show, tap
from rig.shipped import ROOT, SHOWS, Patcher, wired

README = (ROOT / "README.md").read_text(encoding="utf-8")
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


DRAWN: dict[str, Drawings] = {}


@pytest.fixture(autouse=True)
def drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each show is drawn once; `test_show_drawing.py` draws twice and compares."""
    draw = drawings.draw

    def once(wiring: Wiring, patch: Patch, *more: Any) -> Drawings:
        key = mark(wiring, patch)
        if key not in DRAWN:
            DRAWN[key] = draw(wiring, patch, *more)
        return DRAWN[key]

    monkeypatch.setattr(drawings, "draw", once)


def files_in(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    ("start_per", "words"),
    [("port", "port"), ("run", "run"), ("controller", "controller (the whole box)")],
)
def test_what_a_start_address_is_for_is_said_in_the_words_of_the_key(
    tmp_path: Path, here: Patcher, start_per: str, words: str
) -> None:
    # Source: found by a reader: the sheet said "box", and start_per = "box" is refused
    tables = show({"roof": {"pixels": 4}}, {"f": fed(tap("roof"))}, box={"start_per": start_per})
    (tmp_path / "hall.toml").write_text(tomli_w.dumps(tables))
    assert here("sheet", tmp_path / "hall.toml", "--out", "out").returncode == 0
    text = (tmp_path / "out/sheets.html").read_text(encoding="utf-8")
    assert re.findall(r"<dt>Start address per</dt><dd>(.*?)</dd>", text) == [words]


# --- the folder ---------------------------------------------------------------------------------------------------


def test_the_folder_holds_what_is_listed_and_nothing_else(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: --json prints one document; the design: the parts
    ran = here("sheet", heron_lock, "--out", "out/deep", "--store", "--json")
    said = json.loads(ran.stdout)
    folder = heron_lock.parent / "out/deep"
    assert ran.returncode == 0
    assert files_in(folder) == set(said["files"])
    assert json.loads((folder / "sheets.json").read_text())["files"] == said["files"]
    boxes = ("lockhouse", "gatepost", "weirside", "mooring")
    wanted = {"sheets.html", "sheets.md", "sheets.json", "labels.html", "tags.html", "drawings/show.svg"}
    wanted |= {f"boxes/{box}.html" for box in boxes} | {f"drawings/chart-{box}.svg" for box in boxes}
    wanted |= {f"tables/{name}.csv" for name in ("patch", "player", "shopping", "labels", "tags", "chains", "taps")}
    assert wanted <= set(said["files"])
    for path in folder.glob("drawings/*.svg"):
        assert ElementTree.parse(path).getroot().tag == "{http://www.w3.org/2000/svg}svg"
    assert not (heron_lock.parent / "heron-lock.patch.toml").exists()


def test_the_same_show_gives_the_same_octets_and_leaves_foreign_files(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: an existing folder's foreign files untouched; the same to the byte
    folder = heron_lock.parent / "out"
    folder.mkdir()
    (folder / "mine.txt").write_text("mine")
    assert here("sheet", heron_lock, "--out", folder).returncode == 0
    before = {name: (folder / name).read_bytes() for name in files_in(folder)}
    ran = here("sheet", heron_lock, "--out", folder)
    assert "Left over" not in ran.stdout
    assert {name: (folder / name).read_bytes() for name in files_in(folder)} == before
    assert before["mine.txt"] == b"mine"


@pytest.mark.long
def test_sheets_of_a_box_that_is_gone_are_named_and_left(heron_lock: Path, here: Patcher) -> None:
    # Source: what an earlier call wrote and this one does not; a stale sheet on a ladder is a hazard
    folder = heron_lock.parent / "out"
    assert here("sheet", heron_lock, "--out", folder, "--store").returncode == 0
    (folder / "boxes" / "by-hand.html").write_text("mine")
    ran = here("sheet", heron_lock, "--out", folder)
    assert re.search(r"^Left over from before, and out of date: tables/tags.csv, tags.html$", ran.stdout, re.MULTILINE)
    assert (folder / "tags.html").exists()
    assert here("sheet", heron_lock, "--out", folder).stdout == ran.stdout
    (folder / "tags.html").unlink()
    assert "before, and out of date: tables/tags.csv\n" in here("sheet", heron_lock, "--out", folder).stdout


@pytest.mark.parametrize("name", ["sheets.html", "tables/patch.csv", "sheets.json"])
def test_a_file_of_another_is_not_written_over(name: str, heron_lock: Path, here: Patcher) -> None:
    # Source: the design: an existing folder's foreign files untouched
    path = heron_lock.parent / "out" / name
    path.parent.mkdir(parents=True)
    path.write_text('{"files": 3}')
    before = files_in(heron_lock.parent)
    ran = here("sheet", heron_lock, "--out", "out")
    assert ran.returncode == 2
    assert name in ran.stderr
    assert "Patcher did not write it" in ran.stderr
    assert path.read_text() == '{"files": 3}'
    assert files_in(heron_lock.parent) == before


@pytest.mark.parametrize("words", ["file", "below", "way", "proc"])
def test_what_stands_in_the_way_is_named_and_nothing_is_written(words: str, heron_lock: Path, here: Patcher) -> None:
    # Source: the design: exit 2, the input or the call is wrong, nothing was written
    folder = heron_lock.parent
    (folder / "file").write_text("x")
    (folder / "way" / "boxes" / "mooring.html").mkdir(parents=True)
    out = {"file": "file", "below": "file/x", "way": "way", "proc": "/proc/nowhere"}[words]
    before = files_in(folder)
    ran = here("sheet", heron_lock, "--out", out)
    assert ran.returncode == 2
    assert ran.stderr.startswith("error: ")
    assert "→" in ran.stderr
    assert files_in(folder) == before


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written_is_named(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: messages name the place, what is wrong and what to do
    folder = heron_lock.parent / "shut"
    folder.mkdir(mode=0o500)
    assert here("sheet", heron_lock, "--out", folder).returncode == 2


@pytest.mark.parametrize(
    "words",
    [("--label", "60"), ("--label", "30x30"), ("--label", "60x400"), ("--label", "300x30"), ("--label", "nanxnan"),
     ("--label-columns", "4"), ("--label-columns", "0"), ("--label-top", "1"), ("--spares", "101")],
)  # fmt: skip
def test_options_that_make_no_sense_are_refused(words: tuple[str, str], heron_lock: Path, here: Patcher) -> None:
    # Source: a label wider than A4, higher than Letter, or too small for a name and a code
    ran = here("sheet", heron_lock, "--out", "out", *words)
    assert ran.returncode == 2
    assert not (heron_lock.parent / "out").exists()


@pytest.mark.parametrize(
    ("label", "top", "fits"),
    [("210x30", 15, True), ("210.1x30", 15, False), ("60x254.4", 15, True), ("60x254.5", 15, False),
     ("60x244.4", 25, True), ("60x244.5", 25, False), ("40x20", 15, True), ("39.9x20", 15, False)],
)  # fmt: skip
def test_a_label_fits_both_papers(label: str, top: int, fits: bool, heron_lock: Path, here: Patcher) -> None:
    # Source: ISO 216: A4 is 210 mm wide; ANSI Y14.1: Letter is 11 in, 279.4 mm, high; 10 mm stay free below
    ran = here("sheet", heron_lock, "--out", "out", "--label", label, "--label-top", top)
    assert (ran.returncode == 2) is not fits, ran.stderr


def test_an_error_of_the_show_is_said_and_printed_all_the_same(tmp_path: Path, here: Patcher) -> None:
    # Source: the design: exit 1, done, and something is wrong
    tables = show({"a": {"pixels": 2000}}, {"f": fed(tap("a"))})
    path = tmp_path / "s.toml"
    path.write_text(tomli_w.dumps(tables))
    ran = here("sheet", path, "--out", "out")
    assert ran.returncode == 1
    assert "error: " in ran.stdout
    page = Page((tmp_path / "out/sheets.html").read_text())
    assert any(row[0].startswith("error: ") for row in page.of("findings"))


def test_the_sheet_shows_all_that_check_says(tmp_path: Path, here: Patcher) -> None:
    # Source: `patcher check` itself; a lead that is too short for where its ends are, a string too long, a note
    runs: dict = {"a": {"pixels": 2000, "shape": "line", "path": [[9.0, 0.0], [209.0, 0.0]], "lead": 1.0},
                  "b": {"pixels": 5, "lead": 40.0}}  # fmt: skip
    tables = show(runs, {"f": fed(tap("a")), "g": {"supply": "s", "taps": [tap("b")]}}, box={"at": [0.0, 0.0]})
    path = tmp_path / "s.toml"
    path.write_text(tomli_w.dumps(tables))
    checked = json.loads(here("check", path, "--json").stdout)["findings"]
    assert {"error", "warning", "note"} == {each["severity"] for each in checked}
    assert {"wiring", "timing", "power"} <= {each["area"] for each in checked}
    assert here("sheet", path, "--out", "out").returncode == 1
    rows = Page((tmp_path / "out/sheets.html").read_text()).of("findings")[1:]
    wanted = [[f"{each['severity']}: {each['where']}", each["says"], each["try"]] for each in checked]
    assert sorted(rows) == sorted(wanted)


def test_a_show_without_power_or_pictures_is_printed(tmp_path: Path, here: Patcher) -> None:
    # Source: the starter and the design: supplies, feeds, shapes are all optional
    assert here("new", "my.toml").returncode == 0
    assert here("sheet", "my.toml", "--out", "out", "--store").returncode == 0
    bare = {
        "show": {"title": "bare"}, "pixel": {"lamp": {"colour_order": "RGB"}},
        "run": {"a": {"pixel": "lamp", "pixels": 3}},
        "controller": {"box": {"delivery": "multicast", "ports": 2, "port": {"2": ["a"]}}},
    }  # fmt: skip
    (tmp_path / "bare.toml").write_text(tomli_w.dumps(bare))
    ran = here("sheet", "bare.toml", "--out", "bare", "--store")
    assert ran.returncode == 0
    assert "The show file names no supply" in (tmp_path / "bare/boxes/box.html").read_text()


def test_readme_prints_what_is_printed(heron_lock: Path, here: Patcher) -> None:
    # Source: README.md, On paper
    shows = heron_lock.parent / "shows"
    shows.mkdir()
    for name in ("heron-lock.toml", "willow.csv"):
        (heron_lock.parent / name).rename(shows / name)
    said = re.search(r"^\$ patcher sheet (.*)\n((?:.+\n)+?)```", README, re.MULTILINE)
    ran = here("sheet", *said[1].split())
    assert (ran.returncode, ran.stdout) == (0, said[2])
    help_ = " ".join(part.says for part in parts_of(topics()["sheet"]))
    tables = re.search(r"are in the folder tables: `(.*?)`", help_)[1].split()
    assert {path.stem for path in (heron_lock.parent / "sheets/tables").iterdir()} == set(tables)


@pytest.mark.parametrize(("kept", "drawn"), [("heron-lock", "show"), ("heron-lock-mooring", "chart-mooring")])
def test_readme_shows_the_drawings_that_are_drawn(kept: str, drawn: str, page: Page, heron_lock: Path) -> None:
    # Source: README.md, On paper: every word in them, in its order
    assert f"(shows/{kept}.svg)" in README
    files = SHOWS / f"{kept}.svg", heron_lock.parent / f"out/drawings/{drawn}.svg"
    one, other = (list(ElementTree.parse(file).getroot().itertext()) for file in files)
    assert one == other


# --- the numbers --------------------------------------------------------------------------------------------------


@pytest.fixture
def page(heron_lock: Path, here: Patcher) -> Page:
    assert here("sheet", heron_lock, "--out", "out", "--store").returncode == 0
    return Page((heron_lock.parent / "out/sheets.html").read_text(encoding="utf-8"))


def test_the_numbers_on_the_sheets_are_those_of_patch_and_power(page: Page, heron_lock: Path, here: Patcher) -> None:
    # Source: the design: read back from the HTML and compared with the patch JSON
    patch = json.loads(here("patch", heron_lock, "--json").stdout)
    typed = page.of("typed")[1:]
    keys = ("universe", "channel", "pixels", "nulls")
    wanted = [
        (one["controller"], *(one[key] for key in keys), one["universe"] + one["universes"] - 1)
        for one in patch["starts"]
    ]  # fmt: skip
    assert [(row[0], *map(int, row[2:7])) for row in typed] == wanted
    first, last = {}, {}
    for span in patch["spans"]:
        first.setdefault(span["run"], f"{span['universe']}/{span['first_channel']}")
        last[span["run"]] = f"{span['universe']}/{span['last_channel']}"
    told = page.of("player")[1:]
    assert {row[1]: f"{row[2]}/{row[3]}" for row in told} == first
    solved = json.loads(here("power", heron_lock, "--json").stdout)
    volts = {run["run"]: f"{run['lowest_volts']:.2f} V" for run in solved["runs"]}
    found = set()
    for number, box in enumerate(("lockhouse", "gatepost", "weirside", "mooring"), start=1):
        own = [start for start in patch["starts"] if start["controller"] == box]
        rows = page.of(f"box-{number}-typed")[1:]
        assert [tuple(map(int, row[1:4])) for row in rows] == [
            (start["universe"], start["channel"], start["pixels"]) for start in own
        ]
        for row in page.of(f"box-{number}-ports")[1:]:
            if row[0].startswith("Port "):
                continue
            run, _, tee = row[0].partition(" ")
            source = re.match(r"\(tee of (.*?)\)|", tee)[1] or run
            assert (row[5], row[6], row[7]) == (first[source], last[source], volts[run])
            found.add(run)
    assert found == set(volts)
    supplies = {row[0]: row for label, rows in page.tables if label.startswith("Supplies of") for row in rows[1:]}
    for supply in solved["supplies"]:
        row = supplies[supply["supply"]]
        assert (row[2], row[3]) == (f"{supply['volts']:g} V", f"{supply['amps']:g} A")
        assert (row[4], row[5]) == (f"{supply['amps_at_level']:.1f} A", f"{supply['full_white_amps']:.1f} A")
    taps: dict[str, list] = {}
    fuses: dict[str, list] = {}
    for label, rows in page.tables:
        if label.startswith("Feed "):
            head = rows[0][0].replace("\u00a0", " ")
            taps[head.split(" from ")[0]] = [head, *(tuple(row[:3]) for row in rows[2:])]
            fuses[head.split(" from ")[0]] = rows[2:]
            assert rows[1][:4] == ["tap at", "wire before it", "current", "tap fuse"]
    for feed in solved["feeds"]:
        head, *rows = taps[feed["feed"]]
        assert f"carries {feed['amps']:.1f} A" in head
        assert feed["fuse"] is None or head.endswith(f"fuse {feed['fuse']:g} A")
        assert rows == [
            (f"{one['run']}/{one['pixel']}", length(one["metres"], "m"), f"{one['amps']:.1f} A") for one in feed["taps"]
        ]
        assert all(re.fullmatch(r"–|\d+ A", row[3]) for row in fuses[feed["feed"]])


def test_each_box_says_up_to_which_level_the_whole_show_holds(heron_lock: Path, here: Patcher) -> None:
    # Judge: `patcher power`, run for itself
    [line] = [line for line in here("power", heron_lock).stdout.splitlines() if "the limit is" in line]
    assert here("sheet", heron_lock, "--out", "out").returncode == 0
    text = (heron_lock.parent / "out/sheets.html").read_text()
    assert text.count(f"<strong>Whole show:</strong> {line}") == 4


def test_each_box_says_where_its_supplies_are_plugged_in_and_which_rcd_is_tested(
    heron_lock: Path, here: Patcher
) -> None:
    # Source: the show file, read as TOML: two sockets of one circuit, one of which says its device; one without
    text = heron_lock.read_text()
    plugged = {"lockhouse-12v": "porch", "gate-5v": "lamp", "mooring-12v": "jetty"}
    for supply, socket in plugged.items():
        head = f"[supply.{supply}]\n"
        assert text.count(head) == 1
        text = text.replace(head, f'{head}socket = "{socket}"\n')
    text += """
[socket.porch]
circuit = "garden"
rcd_ma = 30
[socket.lamp]
circuit = "garden"
[socket.jetty]
rcd = false
"""
    heron_lock.write_text(text)
    assert here("sheet", heron_lock, "--out", "out").returncode == 0
    printed = (heron_lock.parent / "out/sheets.html").read_text()
    every = [rows for label, rows in Page(printed).tables if label.startswith("Supplies of")]
    assert len(every) == 4
    for head, *rows in every:
        given = any(row[0] in plugged for row in rows)
        assert ("socket" in head) == given
        for row in rows if given else ():
            assert row[head.index("socket")] == plugged.get(row[0], "not given")
    assert printed.count("The test key of the RCD (GFCI) of garden trips it") == 2


def test_a_number_that_can_be_counted_in_two_ways_says_which(page: Page) -> None:
    # Source: found in use: the mooring's nulls take channels, and its sheet counted pixels beside a list with nulls;
    # "80 % of rated at level" was read as a current.
    supplies = [rows for label, rows in page.tables if label.startswith("Supplies of")]
    assert len(supplies) == 4
    assert all(rows[0][6] == "stays within 80 % up to level" for rows in supplies)
    [head, *rows] = page.of("box-4-ports")
    at = head.index("place on port, nulls left out")
    assert [(row[at], row[head.index("nulls")]) for row in rows if row[0] == "narrowboat"] == [("1–216", "1")]


@pytest.mark.long
def test_what_is_still_to_do_is_what_todo_says(heron_lock: Path, here: Patcher) -> None:
    # Source: `patcher todo`, on the season of README.md
    def printed() -> Page:
        assert here("sheet", heron_lock, "--out", "out").returncode == 0
        return Page((heron_lock.parent / "out/sheets.html").read_text())

    assert here("patch", heron_lock).returncode == 0
    assert any("Nothing is ticked off yet" in text for text in printed().text)
    assert here("todo", heron_lock, "--typed", "all", "--told", "all").returncode == 0
    assert any("everything is ticked off" in text for text in printed().text)
    text = heron_lock.read_text()
    heron_lock.write_text(text.replace("pixels = 89\n", "pixels = 120\n"))
    kept = read_patch(heron_lock)
    page = printed()
    assert read_patch(heron_lock) == kept
    assert here("patch", heron_lock).returncode == 0
    left = json.loads(here("todo", heron_lock, "--json").stdout)
    typed, told = page.of("to-type")[1:], page.of("to-tell")[1:]
    assert [(row[0], row[1]) for row in typed] == [(one["controller"], one["start"]) for one in left["to_type"]]
    assert [row[3] for row in typed] == ["{universe}/{channel}".format(**one["new"]) for one in left["to_type"]]
    assert [row[0] for row in told] == [one["run"] for one in left["to_tell"]]
    assert typed
    assert told
    assert (page.of("to-type")[0][2:4], page.of("to-tell")[0][1:3]) == (
        ["in the box", "change to"],
        ["player has", "change to"],
    )


def test_where_nothing_is_ticked_off_there_is_a_box_for_all_of_it(page: Page) -> None:
    # Source: the page's own words: it names the tables in which everything is ticked off
    said = "".join(page.text)
    assert "Nothing is ticked off yet" in said
    for table, heading in (("typed", "What to type into each box"), ("player", "What to tell the player")):
        assert f"“{heading}”" in said
        assert page.of(table)[0][-1] == {"typed": "typed", "player": "told"}[table]


@given(st.floats(-0.2, 0.2) | st.floats(-50, 50))
def test_no_current_is_minus_nothing(current: float) -> None:
    # Source: arithmetic: what rounds to nothing has no sign; a minus is only where current flows back
    for words in (amps(current), amps_words(current)):
        number = float(words.removesuffix(" A").replace("−", "-"))
        assert abs(number - current) <= 0.0501
        assert ("−" in words) == (number < 0)
        assert "-" not in words


def test_headings_go_down_by_one_and_ids_are_there_once(page: Page, heron_lock: Path) -> None:
    # Source: W3C, WCAG 2.2, 1.3.1 and HTML Living Standard, the id attribute
    for path in [heron_lock.parent / "out/sheets.html", *(heron_lock.parent / "out").glob("boxes/*.html")]:
        read = Page(path.read_text())
        levels = [level for level, _ in read.headings]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(then <= level + 1 for level, then in pairwise(levels))
        assert len(set(read.ids)) == len(read.ids)
        assert all(address.startswith("#") and address[1:] in read.ids for address in read.addresses)
        assert "script" not in read.tags


def test_repairs_that_are_open_stand_on_the_tag(heron_lock: Path, here: Patcher) -> None:
    # Source: patcher/walk/record.py: failed is a no that still holds; a no against another plan is none
    wiring = wire(read_show(heron_lock).show)
    every = digests(wiring, allocate(wiring).patch, items(wiring))
    no = {
        Item("hedge", "ends"): RecordedAnswer(
            "no", NOON, every[Item("hedge", "ends")], ("dark:hedge/150", "cut:hedge/150")
        ),
        Item("gable", "colours"): RecordedAnswer("no", NOON, "older", ("colour-order:gable=GRB",)),
        Item("gatepost/1", "identity"): RecordedAnswer(
            "no", NOON, every[Item("gatepost/1", "identity")], ("swapped-runs:gate-left,willow",)
        ),
        Item("towpath", "direction"): RecordedAnswer("no", NOON, every[Item("towpath", "direction")]),
    }
    note = Entry("hedge/7", NOON, "<b>clip</b> is cracked")
    change_record(heron_lock, lambda kept: kept.answered(no).added("notes", note))
    assert here("sheet", heron_lock, "--out", "out", "--store").returncode == 0
    said = json.loads((heron_lock.parent / "out/sheets.json").read_text())
    mends = {tag["run"]: tag["repairs"]["open"] for tag in said["tags"]}
    assert mends["hedge"] == ["dark:hedge/150", "cut:hedge/150"]
    assert mends["gable"] == []
    assert mends["gate-left"] == mends["willow"] == ["swapped-runs:gate-left,willow"]
    assert mends["towpath"] == ["its direction not as planned"]
    checked = {tag["run"]: tag["repairs"]["checked"] for tag in said["tags"]}
    assert (checked["hedge"], checked["gable"], checked["weir"]) == ("part", "none", "none")
    assert Repairs().words == ("not checked",)  # nobody looked, so nobody knows
    assert [Repairs(checked=much).words for much in ("part", "all")] == [
        ("nothing found, not all checked",), ("nothing: all checked",),
    ]  # fmt: skip
    words = "".join(Page((heron_lock.parent / "out/tags.html").read_text()).text)
    assert "hedge/7: <b>clip</b> is cracked" in words
    assert words.count("not checked") == sum(much == "none" and not mends[run] for run, much in checked.items()) > 9


# --- hostile words ------------------------------------------------------------------------------------------------


def unescaped(text: str) -> str:
    """A CSS string's value. Source: CSS Syntax Module Level 3, 4.3.5 and 4.3.7."""
    assert text[0] == text[-1] == '"'
    return re.sub(r"\\([0-9a-f]{1,6}) ", lambda found: chr(int(found[1], 16)), text[1:-1])


HOSTILE = st.one_of(
    st.text(max_size=60),
    st.sampled_from([
        "<script>alert(1)</script>", "</title><script>x</script>", "</style><b>",
        '";}*{display:none}', "\\", '"', "{{ 7*7 }}",
        "{% raw %}", "&amp;&lt;", "--><!--", "]]>", "a\u202eb", "Знак 灯火", "𝕏\n\ttab", "\0\x1b[31m", "\ud800",
    ]),
)  # fmt: skip


@given(HOSTILE)
def test_a_css_string_is_its_text_and_nothing_more(text: str) -> None:
    # Source: CSS Syntax Module Level 3, 4.3.5; HTML Living Standard: only `</style` ends a style element
    written = css_string(text)
    assert unescaped(written) == plain(text)
    assert not set(written[1:-1]) & set("\"<>\n{};'&")


@examples(20, 40)
@given(HOSTILE, HOSTILE)
def test_hostile_words_are_words(title: str, batch: str) -> None:
    # Source: HTML Living Standard, read by Python's parser: the design: a show title of <script> is a title
    tables = show({"a": {"pixels": 3}}, {})
    wiring = wired(tables)
    wiring = wire(wiring.show.model_copy(update={
        "settings": wiring.show.settings.model_copy(update={"title": title}),
        "runs": {"a": wiring.show.runs["a"].model_copy(update={"batch": batch})},
    }))  # fmt: skip
    patch, state = allocate(wiring).patch, power(wiring)
    sheet = show_sheet(wiring, patch, None, state, tags=tags(wiring, {"a": "its left end"}, {}))
    for name, text in pages(sheet, Drawings(), LabelStock()).items():
        text.encode()
        read = Page(text)
        assert set(read.tags) <= SAFE, name
        assert not read.addresses or all(address.startswith("#") for address in read.addresses)
        assert "</" not in read.style
        if name == "sheets.html":
            assert (read.title.strip(), read.headings[0]) == (plain(title).strip(), (1, plain(title)))
    spoken = "".join(Page(pages(sheet, Drawings(), LabelStock())["tags.html"]).text)
    assert (plain(batch) or "not said") in spoken


SAFE = {
    "html", "head", "meta", "title", "style", "body", "main", "section", "h1", "h2", "h3", "p", "dl", "div", "dt", "dd",
    "nav", "ul", "li", "a", "table", "thead", "tbody", "tr", "th", "td", "span", "ol", "svg", "path", "strong", "b",
    "header", "figure", "br", "rect", "g", "text",
}  # fmt: skip


def test_ids_of_drawings_do_not_meet() -> None:
    # Source: HTML Living Standard: an id is there once in a document; SVG 2: url(#id) and href name it
    svg = (
        '<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg">'
        '<title id="t">x</title>'
        '<pattern id="p"/><use href="#p"/><path fill="url(#p)" stroke="url(#elsewhere)"/></svg>'
    )
    assert inline(svg, "d1-") == (
        '<svg xmlns="http://www.w3.org/2000/svg"><title id="d1-t">x</title>'
        '<pattern id="d1-p"/><use href="#d1-p"/><path fill="url(#d1-p)" stroke="url(#elsewhere)"/></svg>'
    )


@given(st.lists(st.text("aAbB-2", min_size=1, max_size=4), unique=True, max_size=8))
def test_names_that_differ_in_capitals_have_files_of_their_own(names: list[str]) -> None:
    # Source: file systems that fold case, as most of Windows and macOS
    found = file_names(names)
    assert set(found) == set(names)
    assert len({name.lower() for name in found.values()}) == len(names)


def test_help_answers_without_the_engine_of_pages() -> None:
    # Source: the design: heavy imports are made where they are used
    words = "import sys, patcher.cli; print({'jinja2', 'segno', 'numpy'} & set(sys.modules))"
    assert subprocess.check_output([sys.executable, "-c", words], text=True).strip() == "set()"


FULL_DISK = """
import resource, runpy, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))
runpy.run_module("patcher", run_name="__main__")
"""


@pytest.mark.long
def test_a_file_that_the_disk_refuses_is_named_and_stays_as_it_was(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: written whole or not at all, each file; the kernel's own limit stands in for a full disk
    folder = heron_lock.parent / "out"
    assert here("sheet", heron_lock, "--out", folder).returncode == 0
    before = {name: (folder / name).read_bytes() for name in files_in(folder)}
    heron_lock.write_text(heron_lock.read_text().replace("frame_rate = 40", "frame_rate = 30"))
    words = [sys.executable, "-c", FULL_DISK, "sheet", str(heron_lock), "--out", str(folder)]
    ran = subprocess.run(words, capture_output=True, text=True)
    assert ran.returncode == 2
    assert "could not be written" in ran.stderr
    assert files_in(folder) == set(before)
    assert (folder / "sheets.html").read_bytes() == before["sheets.html"]
