"""`propose` as a person and a script run it: tables, JSON, exit codes, drawings, and what it writes."""

import json
import math
import re
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from patcher.limits.findings import check
from patcher.shapes import positions
from patcher.show.show_file import read_show
from patcher.wiring import Wiring, problems, wire
from rig.comments import MARK, commented
from rig.shipped import Patcher
from rig.unhung_shows import Tables, unhung

QUICK = ("--seconds", "60")
"""More than any of these shows needs, also on a busy machine: then the same call gives the same proposals."""


def save(folder: Path, tables: Tables, picks: tuple[int, ...] = (3, 1, 4, 2, 0)) -> Path:
    """A show with comments on some of its lines and between them."""
    file = folder / "towpath.toml"
    file.write_text(commented(tomli_w.dumps(tables), [*picks]), encoding="utf-8")
    return file


@pytest.fixture
def towpath(tmp_path: Path) -> Path:
    """A show of which no run hangs."""
    return save(tmp_path, unhung(2, runs=6, boxes=2, ports=2, width=15.0))


def of(show: Path) -> Wiring:
    """The wiring of a show file that can be read."""
    reading = read_show(show)
    assert reading.findings == ()
    assert reading.show is not None
    return wire(reading.show)


def document(here: Patcher, show: Path, *options: str, code: int = 0) -> dict[str, Any]:
    ran = here("propose", show, *QUICK, *options, "--json")
    assert ran.returncode == code, ran.stdout + ran.stderr
    assert ran.stderr == ""
    found: dict[str, Any] = json.loads(ran.stdout)
    return found


def chains(proposal: dict[str, Any]) -> dict[tuple[str, int], tuple[str, ...]]:
    return {
        (chain["controller"], chain["port"]): tuple(run["run"] for run in chain["runs"])
        for chain in proposal["chains"]
    }  # fmt: skip


def says_the_same(proposal: dict[str, Any], wiring: Wiring) -> None:
    """What a proposal says is what the file says."""
    show, leads = wiring.show, 0.0
    assert chains(proposal) == wiring.chains
    for chain in proposal["chains"]:
        for each in chain["runs"]:
            run = show.runs[each["run"]]
            assert (each["data_in"], each["lead_via"]) == (getattr(run, "data_in", None), run.lead_via)
            assert each["lead"] == pytest.approx(run.lead, abs=1e-3)
            leads += run.lead
    assert proposal["metres"] == pytest.approx(leads, abs=0.01)
    assert proposal["boxes"] == len({box for box, _ in wiring.chains})
    ways = [show.runs[run].lead_via for chain in wiring.chains.values() for run in chain]
    assert proposal["boosters"] == ways.count("booster")
    assert proposal["differentials"] == ways.count("differential")


# --- what it writes ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_what_is_written_is_what_was_said_and_check_has_nothing_against_it(
    seed: int, tmp_path: Path, here: Patcher
) -> None:
    # Source: the design; the program's own check, which knows nothing of proposals
    kinds = ("bulb", "dot", "foam") if seed % 2 else ("bulb",)
    show = save(tmp_path, unhung(seed, runs=6, boxes=2, ports=3, width=15.0, pixels=(30, 200), kinds=kinds))
    before = show.read_text(encoding="utf-8")
    for proposal in document(here, show)["proposals"]:
        show.write_text(before, encoding="utf-8")
        number = proposal["number"]
        written = document(here, show, "--write", str(number))
        assert written["written"] == {"number": number, "file": str(show)}
        assert written["proposals"][number - 1] == proposal
        wiring = of(show)
        says_the_same(proposal, wiring)
        assert problems(wiring) == []
        assert [each for each in check(wiring)[1] if each.severity != "note" and each.area != "power"] == []
        after = show.read_text(encoding="utf-8")
        assert MARK.findall(after) == MARK.findall(before)
        assert list(tomllib.loads(after)["run"]) == list(tomllib.loads(before)["run"])


@pytest.mark.parametrize("number", [1, 2])
def test_the_shipped_show_stays_sound_with_each_proposal(number: int, heron_lock: Path, here: Patcher) -> None:
    # Source: `check` of the shipped show has no error and no warning
    before = heron_lock.read_text(encoding="utf-8")
    said = document(here, heron_lock, "--afresh", "--write", str(number))
    proposal = said["proposals"][number - 1]
    assert proposal["findings"] == []
    says_the_same(proposal, of(heron_lock))
    ran = here("check", heron_lock, "--json")
    assert ran.returncode == 0
    assert [each for each in json.loads(ran.stdout)["findings"] if each["severity"] != "note"] == []
    after = heron_lock.read_text(encoding="utf-8")
    assert re.findall("#.*", after) == re.findall("#.*", before)


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_line_ends_and_the_byte_order_mark_stay(mark: str, end: str, towpath: Path, here: Patcher) -> None:
    # Source: the design: edits keep a person's file
    text = towpath.read_text(encoding="utf-8")
    towpath.write_bytes((mark + text.replace("\n", end)).encode())
    document(here, towpath, "--write", "1")
    after = towpath.read_bytes().decode()
    assert after.startswith("\ufeff") == bool(mark)
    assert after.count("\n") == after.count(end) > text.count("\n")


def test_a_second_call_keeps_all(towpath: Path, here: Patcher) -> None:
    # Source: the design: what hangs stays
    document(here, towpath, "--write", "1")
    written = towpath.read_bytes()
    ran = here("propose", towpath, *QUICK)
    assert ran.returncode == 0
    assert "Nothing to decide: every run that has a picture hangs on a port." in ran.stdout
    assert towpath.read_bytes() == written
    assert document(here, towpath)["proposals"] == []


def test_without_write_nothing_is_written(towpath: Path, here: Patcher) -> None:
    # Source: the design
    before = towpath.read_bytes()
    assert "Nothing was written" in here("propose", towpath, *QUICK, "--number", "1").stdout
    document(here, towpath)
    assert towpath.read_bytes() == before
    assert [path.name for path in towpath.parent.iterdir()] == [towpath.name]


def test_a_file_in_feet_gets_feet(tmp_path: Path, here: Patcher) -> None:
    # Source: the design: lengths as the file has them, JSON in metres
    tables = unhung(2, runs=5, boxes=2, ports=3, width=12.0)
    tables["show"]["units"] = "ft"
    show = save(tmp_path, tables)
    proposal = document(here, show, "--write", "1")["proposals"][0]
    says_the_same(proposal, of(show))
    raw = tomllib.loads(show.read_text(encoding="utf-8"))["run"]
    feet = sum(run["lead"] for run in raw.values())
    assert feet == pytest.approx(proposal["metres"] / 0.3048, abs=0.1)


def test_a_copy_does_not_take_over_what_its_run_gets(tmp_path: Path, here: Patcher) -> None:
    # Source: the design: a run that is like another one has its keys
    tables = unhung(2, runs=3, boxes=2, ports=2, width=12.0)
    tables["run"]["old"] = {"pixel": "bulb", "shape": "line", "path": [[0.0, 7.0], [3.0, 7.0]], "pixels": 40}
    tables["run"]["old"] |= {"lead": 11.0, "lead_via": "booster"}
    tables["run"]["twin"] = {"like": "old", "moved": [0.0, 0.5], "lead": 11.5}
    tables["controller"]["box-1"]["port"] = {"2": ["twin"]}
    show = save(tmp_path, tables)
    proposal = document(here, show, "--write", "1")["proposals"][0]
    says_the_same(proposal, wiring := of(show))
    assert "old" in proposal["moved_runs"]
    twin = wiring.show.runs["twin"]
    assert (twin.lead, twin.lead_via, getattr(twin, "data_in", None)) == (11.5, "booster", "first")
    assert wiring.show.runs["old"].lead < 11.0


# --- what stays -------------------------------------------------------------------------------------------------------


def test_a_lead_whose_ends_stay_keeps_its_length_and_a_chain_its_port(heron_lock: Path, here: Patcher) -> None:
    # Source: the file's own lengths were measured; plugging over from port to port is work for nothing
    now = of(heron_lock)
    for proposal in document(here, heron_lock, "--afresh")["proposals"]:
        leads = {run["run"]: run for chain in proposal["chains"] for run in chain["runs"]}
        assert leads["weir"]["lead"] == now.show.runs["weir"].lead
        assert not leads["weir"]["moves"]
        assert ("weirside", 1) in chains(proposal)
        still = [run for run in leads if not leads[run]["moves"]]
        assert all(leads[run]["lead"] == now.show.runs[run].lead for run in still)
        assert {run for run in leads if leads[run]["moves"]} == set(proposal["moved_runs"])


def test_a_lead_behind_a_run_that_is_turned_round_is_a_new_one(tmp_path: Path, here: Patcher) -> None:
    # Source: geometry: a's last pixel is then half a metre from b's first one
    tables: Tables = {"show": {"title": "x"}, "pixel": {"p": {"colour_order": "RGB"}}}
    tables["controller"] = {"box": {"address": "192.0.2.1", "ports": 1, "at": [0.0, 0.0], "port": {"1": ["a", "b"]}}}
    line = {"pixel": "p", "shape": "line", "pixels": 30}
    tables["run"] = {"a": line | {"path": [[1.0, 0.0], [4.0, 0.0]], "data_in": "last", "lead": 4.4}}
    tables["run"]["b"] = line | {"path": [[4.5, 0.0], [8.0, 0.0]], "lead": 9.0, "nulls": 1, "nulls_at": [6.0]}
    show = save(tmp_path, tables)
    proposal = document(here, show, "--afresh", "--kind", "cable", "--write", "1")["proposals"][0]
    assert proposal["moved_runs"] == ["a", "b"]
    runs = of(show).show.runs
    assert (runs["a"].lead, runs["b"].lead) == (1.1, 0.55)
    assert (runs["b"].nulls, runs["b"].nulls_at) == (1, ())


def test_what_cannot_be_decided_stays_alone_on_its_port(heron_lock: Path, here: Patcher) -> None:
    # Source: hedge has no picture; a chain that nobody can measure is left alone
    ran = here("propose", heron_lock, *QUICK, "--afresh")
    assert ran.returncode == 0
    for proposal in document(here, heron_lock, "--afresh")["proposals"]:
        assert chains(proposal)["mooring", 4] == ("hedge",)


def test_two_supplies_are_never_joined(heron_lock: Path, here: Patcher) -> None:
    # Source: safety: two supplies on one V+ feed each other's faults
    said = document(here, heron_lock, "--afresh", "--kind", "boxes", "--write", "1")["proposals"][0]
    assert len(said["power_cut"]) > 2
    wiring = of(heron_lock)
    for run in said["power_cut"]:
        assert not wiring.show.runs[run].power_joined
    assert not {"joined-supplies", "other-volts"} & {each.rule for each in check(wiring)[1]}
    joined = dict(wiring.show.runs)
    joined |= {run: joined[run].model_copy(update={"power_joined": True}) for run in said["power_cut"]}
    worse = check(wire(wiring.show.model_copy(update={"runs": joined})))[1]
    assert "joined-supplies" in {each.rule for each in worse}


# --- what it says -----------------------------------------------------------------------------------------------------


def rows(printed: str) -> list[list[str]]:
    """The cells of the first table."""
    lines = printed.split("\n\n")[0].splitlines()
    return [re.split(r"\s{2,}", line.strip()) for line in lines[2:]]


def test_the_table_and_the_document_say_the_same(heron_lock: Path, here: Patcher) -> None:
    # Source: the design
    said = document(here, heron_lock, "--afresh")
    printed = here("propose", heron_lock, *QUICK, "--afresh").stdout
    now, *offers = rows(printed)
    figures = [
        (said["now"], now[1:]),
        *((each, cells[2:]) for each, cells in zip(said["proposals"], offers, strict=True)),
    ]
    for each, cells in figures:
        assert float(cells[0].removesuffix(" m")) == pytest.approx(each["metres"], abs=0.01)
        assert (int(cells[1]), int(cells[2])) == (each["boosters"], each["boxes"])
        assert float(cells[3].removesuffix(" ms")) == pytest.approx(each["slowest"]["frame_ms"], abs=0.06)
        assert float(cells[4]) == math.floor(each["slowest"]["max_rate"] * 10) / 10
    assert [cells[1] for cells in offers] == [each["proofs"][0]["first"] for each in said["proposals"]]
    assert [int(cells[7]) for cells in offers] == [len(each["moved_runs"]) for each in said["proposals"]]
    for each in said["proposals"]:
        for proof in each["proofs"]:
            assert proof["says"][1:] in printed
            assert proof["proved"] == proof["says"].startswith("proved: no plan")


def test_every_proposal_is_better_than_now_at_what_it_puts_first(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: never worse than what the file had
    said = document(here, heron_lock, "--afresh")
    by = {proof["first"]: each for each in said["proposals"] for proof in each["proofs"]}
    assert set(by) == {"fewest boxes", "least cable", "best frame rate"}
    assert all(proof["beats_now"] for each in said["proposals"] for proof in each["proofs"])
    assert by["fewest boxes"]["boxes"] <= said["now"]["boxes"]
    assert by["least cable"]["metres"] <= said["now"]["metres"]
    assert by["best frame rate"]["slowest"]["frame_ms"] <= said["now"]["slowest"]["frame_ms"]


def test_what_was_written_is_not_beaten_by_the_next_call(towpath: Path, here: Patcher) -> None:
    # Source: what is proved to be the best cannot be beaten
    first = document(here, towpath, "--kind", "cable", "--write", "1")["proposals"][0]
    assert first["proofs"][0]["proved"]
    assert first["proofs"][0]["beats_now"]
    again = document(here, towpath, "--afresh", "--kind", "cable")["proposals"][0]
    assert again["metres"] == first["metres"]
    assert not again["proofs"][0]["beats_now"]
    ran = here("propose", towpath, *QUICK, "--afresh", "--kind", "cable")
    assert "What hangs now is as good at that, or better." in ran.stdout


def test_one_kind_only(towpath: Path, here: Patcher) -> None:
    # Source: its own option
    for kind, first in (("boxes", "fewest boxes"), ("cable", "least cable"), ("rate", "best frame rate")):
        [proposal] = document(here, towpath, "--kind", kind)["proposals"]
        assert [proof["first"] for proof in proposal["proofs"]] == [first]


def test_boxes_whose_settings_change_are_those_that_diff_names(heron_lock: Path, here: Patcher) -> None:
    # Source: `diff`, of the show as written
    assert here("patch", heron_lock).returncode == 0
    proposal = document(here, heron_lock, "--afresh", "--write", "2")["proposals"][1]
    ran = here("diff", heron_lock, "--json")
    starts = json.loads(ran.stdout)["starts"]
    assert {each["controller"] for each in starts} == set(proposal["changed"])
    assert 0 < len(proposal["changed"]) < 4


def too_much(tmp_path: Path) -> Path:
    """More runs than ports have room for, one of them too long for any."""
    tables = unhung(2, runs=3, boxes=1, ports=1, pixels=(300, 400))
    tables["run"]["endless"] = {"pixel": "bulb", "shape": "line", "path": [[0.0, 1.0], [9.0, 1.0]], "pixels": 1200}
    return save(tmp_path, tables)


def test_what_is_left_over_is_said_with_its_reason_and_ends_with_1(tmp_path: Path, here: Patcher) -> None:
    # Source: the design: exit 1: something is left over
    show = too_much(tmp_path)
    ran = here("propose", show, *QUICK)
    assert ran.returncode == 1
    assert "Left over:" in ran.stdout
    assert re.search(
        r"endless: its 1200 pixels take 36\.\d ms: 27\.\d frames a second, and the show plays 40", ran.stdout
    )
    said = document(here, show, "--write", "1", code=1)["proposals"][0]
    left = {each["run"] for each in said["left_over"]}
    assert all(each["why"] and each["try"] for each in said["left_over"])
    wiring = of(show)
    hung = {run for chain in wiring.chains.values() for run in chain}
    assert left | hung == wiring.show.runs.keys()
    assert not left & hung
    assert len(hung) == said["runs"] >= 1
    assert here("propose", show, *QUICK).returncode == 1


def test_the_shipped_show_with_nothing_on_its_ports(heron_lock: Path, here: Patcher) -> None:
    # Source: the show itself: what is left of it can be judged, with feeds at runs that hang nowhere
    text = heron_lock.read_text(encoding="utf-8")
    bare = re.sub(r"^\d = \[.*\]\n", "", text, flags=re.MULTILINE).replace('weir = "20/1"', "")
    heron_lock.write_text(bare, encoding="utf-8")
    said = document(here, heron_lock, "--write", "1", code=1)
    assert said["now"]["runs"] == 0
    assert [left["name"] for left in said["left_out"]] == ["hedge"]
    wiring = of(heron_lock)
    assert [finding.where for finding in problems(wiring)] == ["run.hedge"]
    assert said["proposals"][0]["runs"] == len(wiring.show.runs) - 2  # hedge, and the tee
    says_the_same(said["proposals"][0], wiring)
    assert re.findall("#.*", heron_lock.read_text(encoding="utf-8")) == re.findall("#.*", bare)


def test_a_box_without_a_place_is_said(tmp_path: Path, here: Patcher) -> None:
    # Source: its own words: no lead can be measured
    tables = unhung(2, runs=3, boxes=1, ports=2)
    del tables["controller"]["box-1"]["at"]
    ran = here("propose", save(tmp_path, tables), *QUICK)
    assert ran.returncode == 1
    assert "box-1: has no place (at)" in ran.stdout
    assert "at = [x, y]" in ran.stdout


# --- drawings ---------------------------------------------------------------------------------------------------------


def test_the_drawing_has_a_panel_for_now_and_for_each_proposal(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: drawings side by side
    svg = heron_lock.with_name("leads.svg")
    said = document(here, heron_lock, "--afresh", "--svg", str(svg))
    panels = [each for each in ET.parse(svg).iter() if each.get("class") == "panel"]
    assert len(panels) == 1 + len(said["proposals"])
    show = of(heron_lock).show
    drawn = {name for name, run in show.runs.items() if positions(show, run) is not None}
    for panel, proposal in zip(panels[1:], said["proposals"], strict=True):
        leads = [each.get("data-to") for each in panel.iter() if each.get("class") == "lead"]
        assert sorted(leads) == sorted(run for chain in chains(proposal).values() for run in chain if run in drawn)
    assert here("propose", heron_lock, *QUICK, "--afresh", "--svg", svg).returncode == 0
    svg.write_text("mine", encoding="utf-8")
    assert here("propose", heron_lock, *QUICK, "--afresh", "--svg", svg).returncode == 2
    assert svg.read_text(encoding="utf-8") == "mine"


# --- bad calls --------------------------------------------------------------------------------------------------------

BAD: list[tuple[Callable[[str], str], tuple[str, ...], str]] = [
    (str, ("--write", "3"), "there is no proposal 3"),
    (str, ("--number", "3"), "there is no proposal 3"),
    (str, ("--write", "0"), "too low"),
    (str, ("--write", "one"), "not a whole number"),
    (str, ("--kind", "speed"), "boxes, cable, rate"),
    (str, ("--number", "1", "--write", "2"), "--write 2"),
    (str, ("--seconds", "0"), "too low"),
    (str, ("--svg", "leads.toml"), "show file"),
    (lambda text: text.replace('pixel = "bulb"', 'pixel = "bulp"', 1), ("--write", "1"), "bulp"),
    (lambda text: text + "\n[[[", ("--write", "1"), "line"),
    (lambda text: text.replace("ports = 2", 'ports = 2\nport = { 9 = ["run-1"] }', 1), ("--write", "1"), "port"),
]


@pytest.mark.parametrize(("spoil", "options", "words"), BAD, ids=[" ".join(each[1]) + each[2] for each in BAD])
def test_a_bad_call_gives_words_and_writes_nothing(
    spoil: Callable[[str], str], options: tuple[str, ...], words: str, towpath: Path, here: Patcher
) -> None:
    # Source: the design: exit 2: nothing was written; no traceback ever reaches a person
    towpath.write_text(spoil(towpath.read_text(encoding="utf-8")), encoding="utf-8")
    before = towpath.read_bytes()
    options = ("--kind", "boxes", *options) if "3" in options else options
    ran = here("propose", towpath, "--seconds", "60", *options)
    assert ran.returncode == 2
    assert words in ran.stdout + ran.stderr
    assert "Traceback" not in ran.stderr
    assert "bug" not in ran.stderr
    assert towpath.read_bytes() == before
    assert [path.name for path in towpath.parent.iterdir()] == [towpath.name]
