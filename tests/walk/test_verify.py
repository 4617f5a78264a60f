"""The round: its order, its looks, and the command that walks it, in the yard, by keys and from a file."""

import json
import os
import pty
import re
import shutil
import signal
import subprocess
import sys
import tomllib
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.answers.witness import Witness
from patcher.cli.inputs import load
from patcher.diagnosis.case import Diagnosis
from patcher.diagnosis.frame_timing import step_moments
from patcher.dialogue.handover import about, seen_of
from patcher.errors import PatcherError
from patcher.eye import Eye
from patcher.faults import build, departure, parse, planned
from patcher.placement.allocation import allocate
from patcher.shapes import positions
from patcher.walk.box_order import EXACT, shortest, way
from patcher.walk.items import digests, items
from patcher.walk.record_file import checks_path, read_record
from patcher.walk.record_file import parse as parse_record
from patcher.walk.round_plan import plan
from patcher.walk.step import as_said
from rig.examples import examples, later
from rig.heron_lock import heron, listening
from rig.shipped import SHOWS, Patcher, wired
from rig.slow_steps import passes, shown


def chance_of_all_yes(faults) -> float:
    _, _, sound, steps = heron()
    takes, found = sound.takes | departure(sound, faults).takes, 1.0
    for step in steps:
        found = found and found * passes(step, sound, takes)
    return found


def said_of(name: str, *faults: str) -> dict[str, float]:
    """How likely an eye finds each thing of a step right, with some faults in the wiring."""
    wiring, _, sound, steps = heron()
    step = next(step for step in steps if step.name == name)
    takes = sound.takes | departure(sound, [parse(fault, wiring) for fault in faults]).takes
    return as_said(step, wiring, [shown(look, sound, takes) for look in step.looks], Eye())


def test_a_sound_show_is_proved_by_every_eye_in_at_most_three_looks_a_run() -> None:
    # Source: the design: a sound show, at most 3 looks a run
    wiring, _, _, steps = heron()
    assert chance_of_all_yes(()) == 1.0
    assert sorted(item for step in steps for item in step.proves) == sorted(items(wiring))
    fed = [run for run in wiring.show.runs.values() if run.same_data_as is None]
    assert len(steps) <= 3 * len(fed)
    assert len({step.name for step in steps}) == len(steps)
    assert all(1 <= len(step.subjects) <= 5 for step in steps)
    boxes = [step.box for step in steps if step.name.startswith("colours")]
    assert sorted(boxes) == sorted({wiring.ports[run.name][0] for run in fed}), "a box's colours are one step"


def test_when_it_should_not_flicker_is_said_as_it_is_shown() -> None:
    # Judge: the frames themselves: only what has several looks is held, and only its last look then changes its level
    white = wired({
        "show": {"title": "One colour"}, "pixel": {"bulb": {"colour_order": "W"}},
        "controller": {"hut": {"address": "192.0.2.1", "ports": 2, "port": {"1": ["eaves"], "2": ["sill"]}}},
        "run": {name: {"pixel": "bulb", "pixels": 3} for name in ("eaves", "sill")},
    })  # fmt: skip
    told = "At the end of each round the light grows brighter and dimmer for 10 s: nothing should flicker then."
    several, single = 0, 0
    for step in (*heron()[3], *plan(white, items(white))):
        if not step.name.startswith("colours"):
            continue
        dimmed = [part for _, part in step_moments(len(step.looks)) if part != 1.0]
        assert step.where.endswith(told) == bool(dimmed), step.where
        assert step.where.endswith("of another colour. Nothing should flicker.") == (not dimmed)
        several, single = several + bool(dimmed), single + (not dimmed)
    assert several
    assert single


@pytest.mark.parametrize(
    ("fault", "things"),
    [
        ("reversed:towpath", {"towpath"}),
        ("shift:towpath=1", {"towpath"}),
        ("shift:towpath=-2", {"towpath"}),
        ("missing:towpath/50", {"towpath"}),
        ("cut:willow/499", {"willow"}),
        ("count:mooring/4=-1", {"hedge"}),
        ("swapped-ports:mooring/1,mooring/2", {"towpath", "willow"}),
    ],
)
def test_the_look_at_both_ends_shows_by_itself_whether_ends_and_count_are_right(fault: str, things: set[str]) -> None:
    # Source: worked by hand: one pixel at the data-in end and three at the other, so a step along the cable shows
    assert {thing for thing, chance in said_of("ends mooring", fault).items() if chance == 0} == things


def test_one_lamp_that_flickers_and_one_that_should_be_dark_are_seen() -> None:
    # Source: the eye: a pixel whose data is broken flickers, and where nothing else is lit a single pixel is counted
    assert said_of("parts towpath", "flicker:towpath/101")["towpath"] == 0
    assert said_of("parts towpath") == {"towpath": 1, "": 1}
    assert said_of("parts towpath", "universe-shift:lockhouse=29") == {"towpath": 1, "": 0}


def test_every_other_wiring_of_a_grid_is_seen() -> None:
    # Source: the design: a grid's 16 wirings; what each pixel then takes is from the fault model, tested by itself
    wiring, _, sound, _ = heron()
    corners = ("bottom-left", "bottom-right", "top-left", "top-right")
    for grid in ("weir", "gate-left", "gate-right"):
        for corner in corners:
            for lines in ("rows", "columns"):
                for turns in ("serpentine", "same-way"):
                    texts = (f"data-in:{grid}={corner}", f"lines:{grid}={lines}", f"turns:{grid}={turns}")
                    faults = tuple(parse(text, wiring) for text in texts)
                    looks_planned = grid not in departure(sound, faults).takes
                    assert (chance_of_all_yes(faults) > 0) == looks_planned, texts


POINTS = st.tuples(st.floats(0, 50), st.floats(0, 20))


@given(st.one_of(st.lists(POINTS, min_size=1, max_size=7), st.lists(POINTS, min_size=EXACT + 1, max_size=16)))
@examples(25, 60)
def test_the_walk_visits_every_box_once_and_is_the_shortest(places) -> None:
    # Judge: every order there is, up to 7 boxes
    order = shortest(places)
    assert sorted(order) == list(range(len(places)))
    assert order[0] == 0
    if len(places) <= 7:
        at = np.array(places)
        best = min(way(at, [0, *rest]) for rest in permutations(range(1, len(places))))
        assert way(at, order) == pytest.approx(best, abs=1e-9)


def test_the_round_goes_box_by_box_and_never_returns() -> None:
    steps = heron()[3]
    boxes = [step.box for step in steps]
    assert list(dict.fromkeys(boxes)) == ["lockhouse", "gatepost", "weirside", "mooring"]
    assert boxes == sorted(boxes, key=list(dict.fromkeys(boxes)).index)


def test_words_say_where_by_the_drawing() -> None:
    # Source: shows/heron-lock.toml as drawn: towpath is fed from its right end, the eaves run from right to left,
    # the weir begins at the top left, a window goes up its left side first
    said = {(step.name.partition(" ")[0], s.thing): s.says for step in heron()[3] for s in step.subjects}
    assert said["ends", "towpath"] == "towpath: one green at the right end, three red at the left end"
    assert said["parts", "towpath"] == "towpath: from left to right: white, blue, green, red"
    assert said["parts", "gable"] == "gable: from left to right: red, green, blue, white"
    assert said["parts", "window-left"] == "window-left: left red, top green, right blue, bottom white"
    assert said["ends", "weir"].startswith("weir: one green at the top left corner")
    assert said["parts", "hedge"] == "hedge: from the data-in end: red, green, blue, white"


def test_what_is_said_is_where_the_lamps_are_lit() -> None:
    # Source: the drawing: positions of the pixels that a look lights, against the sides that its words name
    wiring, _, _, steps = heron()
    told = 0
    for step in steps:
        for subject in step.subjects:
            runs = wiring.show.prop_runs()[subject.thing] if step.name.startswith("picture") else [subject.thing]
            lit: dict[str, list] = {}
            every = []
            for run in runs:
                if (
                    not step.name.startswith(("ports", "colours"))
                    and (at := positions(wiring.show, wiring.show.runs[run])) is not None
                ):
                    every.append(at)
                    for glow in step.looks[0].glows:
                        if glow.run == wiring.source(run):
                            lit.setdefault(glow.colour.name, []).append(at[glow.pixels])
            if not every:
                continue
            low, high = np.concatenate(every).min(axis=0), np.concatenate(every).max(axis=0)
            x, y = {}, {}
            for colour, points in lit.items():
                x[colour], y[colour] = (np.concatenate(points).mean(axis=0) - low) / np.maximum(high - low, 1e-9)
            if found := re.search(r"from left to right: (.*)", subject.says):
                named = found[1].split(", ")
                assert named == sorted(x, key=lambda colour: x[colour]), subject.says
                told += 1
            for side, colour in re.findall(
                r"((?:top |bottom )?(?:left|right)|top|bottom) (red|green|blue|white)", subject.says
            ):
                assert ("left" not in side) or x[colour] < 0.5, subject.says
                assert ("right" not in side) or x[colour] > 0.5, subject.says
                assert ("top" not in side) or y[colour] > 0.5, subject.says
                assert ("bottom" not in side) or y[colour] < 0.5, subject.says
                told += 1
            if found := re.search(r"green at the (left|right) end, three red at the (left|right)", subject.says):
                assert found[1] != found[2]
                assert (x["green"] < x["red"]) == (found[1] == "left"), subject.says
                told += 1
    assert told > 30


def test_the_picture_of_a_prop_is_told_in_the_colours_that_are_lit_side_by_side() -> None:
    # The oracle: each pixel's place and the colour that it is sent, pixel by pixel; the prop's middle by its bounds.
    kinds = {"full": {"colour_order": "GRB"}, "bare": {"colour_order": "W"}, "duo": {"colour_order": "RG"}}
    left = {"shape": "line", "path": [[0.0, 0.0], [0.0, 3.0]], "pixels": 30}
    top = {"shape": "line", "path": [[0.2, 3.2], [3.0, 3.2]], "pixels": 30}
    right = {"shape": "line", "path": [[3.1, 3.0], [3.1, 0.0]], "pixels": 30}
    counted = set()
    for pixels, lines in [
        ("full full", (left, top)), ("full full full", (left, top, right)), ("bare bare", (left, top)),
        ("full bare", (left, top)), ("duo duo duo", (left, top, right)), ("full full full", (left, left, top)),
    ]:  # fmt: skip
        runs = {
            f"part-{n}": line | {"pixel": kind}
            for n, (kind, line) in enumerate(zip(pixels.split(), lines, strict=True))
        }
        if lines == (left, left, top):  # the second hangs on the first one's data, turned round, where the first is not
            runs["part-1"] |= {"same_data_as": "part-0", "path": [[3.0, 3.0], [3.0, 0.0]]}
        wiring = wired({
            "show": {"title": "arch"}, "pixel": kinds, "run": runs, "prop": {"arch": {"runs": [*runs]}},
            "controller": {"box": {
                "address": "192.0.2.1", "ports": 4,
                "port": {str(n + 1): [run] for n, run in enumerate(runs) if "same_data_as" not in runs[run]},
            }},
        })  # fmt: skip
        [step] = [step for step in plan(wiring, set(items(wiring))) if step.name == "picture arch"]
        places = {run: positions(wiring.show, wiring.show.runs[run]) for run in runs}
        every = np.concatenate(list(places.values()))
        x, y = (every.min(axis=0) + every.max(axis=0)) / 2
        lit: dict[str, set[str]] = {}
        for run, at in places.items():
            sent = {n: g.colour.name for g in step.looks[0].glows if g.run == wiring.source(run) for n in g.pixels}
            for n, place in enumerate(at):
                side = ("top " if place[1] > y else "bottom ") + ("right" if place[0] > x else "left")
                lit.setdefault(side, set()).add(sent[n])
        colours = set.union(*lit.values())
        number = {1: "one colour", 2: "two colours", 3: "three colours", 4: "four colours"}[len(colours)]
        counted.add(len(colours))
        assert step.where.endswith(f": one picture in {number}."), step.where
        words = step.subjects[0].says.removeprefix("arch: ")
        if len(colours) == 1:
            assert words == f"all of it {colours.pop()}"
            continue
        told = {
            match[1]: set(match[2].split(" and "))
            for part in words.split(", ")
            if (match := re.fullmatch(r"(top left|top right|bottom left|bottom right) (.+)", part))
        }
        assert told == lit, words
    assert counted == {1, 2, 3, 4}


def test_a_whole_round_in_the_yard_proves_a_sound_show(heron_lock: Path, here: Patcher) -> None:
    done = here("verify", heron_lock, "--yard", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    wiring = heron()[0]
    assert (found["proved"], found["failed"], found["open"]) == (len(items(wiring)), 0, 0)
    assert found["looks"] <= 3 * len(wiring.show.runs)
    record = tomllib.loads(checks_path(heron_lock, practice=True).read_text())
    assert sum(len(of) for of in record["proved"].values()) == len(items(wiring))
    when = record["proved"]["gable"]["ends"]["when"]
    assert when.utcoffset() is not None
    again = here("verify", heron_lock, "--yard")
    assert "Practice with simulated boxes: all of it has passed already" in again.stdout
    assert "proved already" not in again.stdout


@pytest.mark.long
@pytest.mark.parametrize("box", ["lockhouse", "gatepost", "mooring"])
def test_a_fault_is_looked_for_though_all_was_practised_before(heron_lock: Path, here: Patcher, box: str) -> None:
    sound = here("verify", heron_lock, box, "--yard", "--json")
    assert sound.returncode == 0, sound.stderr
    thing = {"lockhouse": "eaves", "gatepost": "gate-right", "mooring": "hedge"}[box]
    faulty = here("verify", heron_lock, box, "--yard", "--json", "--fault", f"cut:{thing}/31")
    assert faulty.returncode == 1, faulty.stderr
    stands = json.loads(faulty.stdout)
    assert stands["looks"] > 1  # not only what is open
    assert f"cut:{thing}/31" in str([item["found"] for item in stands["items"]])
    assert "passed already" not in faulty.stderr.replace("\n", " ")  # no --again is asked for: it is walked again


@pytest.mark.long
def test_what_passed_already_is_said_as_practice_and_not_beside_again(heron_lock: Path, here: Patcher) -> None:
    checks = here("verify", heron_lock, "gatepost", "--yard", "--json")
    number = json.loads(checks.stdout)["proved"]
    part = " ".join(here("verify", heron_lock, "--yard").stdout.split())
    assert f"{number} of " in part
    assert "have passed in practice already; --again shows them too." in part
    assert "proved already" not in part
    again = " ".join(here("verify", heron_lock, "gatepost", "--yard", "--again").stdout.split())
    assert "--again shows them too" not in again


@pytest.mark.long
def test_what_is_practised_never_counts_for_the_boxes(heron_lock: Path, here: Patcher) -> None:
    here("verify", heron_lock, "gable", "--note", "real")
    kept = checks_path(heron_lock).read_bytes()
    done = here("verify", heron_lock, "lockhouse", "--yard", "--fault", "reversed:gable")
    assert "Practice with simulated boxes" in done.stdout
    here("verify", heron_lock, "lockhouse", "--yard", "--note", "practised")
    assert checks_path(heron_lock).read_bytes() == kept
    real, practised = (
        json.loads(here("verify", heron_lock, "--report", "--json", *yard).stdout) for yard in ((), ("--yard",))
    )
    assert (real["practice"], real["proved"], real["failed"], len(real["notes"])) == (False, 0, 0, 1)
    assert practised["practice"]
    assert practised["proved"] > 5
    assert practised["failed"] > 0
    assert [note["what"] for note in practised["notes"]] == ["practised"]
    assert "In practice" in here("verify", heron_lock, "--yard", "--report").stdout
    assert "In practice" not in here("verify", heron_lock, "--report").stdout
    here("verify", heron_lock, "--yard", "--new-season")
    assert read_record(heron_lock, practice=True).answers == {}
    assert checks_path(heron_lock).read_bytes() == kept


@pytest.mark.parametrize(
    ("fault", "box", "hands"),
    [
        ("universe-shift:lockhouse=1", "lockhouse", False),
        *later(("universe-shift:gatepost=1", "gatepost", False), ("cut:gate-left/300", "gatepost", True)),
    ],
)
def test_the_yards_eye_is_asked_to_press_no_key_and_a_wrong_setting_needs_no_hand_on_a_wire(
    heron_lock: Path, here: Patcher, fault: str, box: str, hands: bool
) -> None:
    # Source: found by a reader: "press b" where nobody has a key; "Solder" for a universe typed in wrong
    said = " ".join(here("verify", heron_lock, box, "--yard", "--fault", fault).stdout.split())
    assert f"({fault})" in said
    assert "Saved as failed." in said
    assert "press" not in said
    assert ("Solder on the ground" in said) == hands
    # the caution for whoever walks stands at the top all the same
    assert "before you open a box or touch a connector" in said


@pytest.mark.parametrize(
    ("fault", "thing"),
    [
        ("reversed:gable", "gable"),
        *later(("data-in:gate-right=top-left", "gate-right"), ("colour-order:willow=RBG", "willow")),
    ],
)
def test_a_fault_is_found_named_and_kept(heron_lock: Path, here: Patcher, fault: str, thing: str) -> None:
    done = here("verify", heron_lock, thing, "--yard", "--fault", fault)
    assert done.returncode == 1
    answers = read_record(heron_lock, practice=True).answers
    failed = {item: answer for item, answer in answers.items() if answer.says == "no"}
    assert thing in {item.thing for item in failed}
    assert all(fault in answer.found for answer in failed.values())
    assert f"failed: {thing}" in done.stdout
    report = here("verify", heron_lock, thing, "--yard", "--report")
    assert report.returncode == 1
    assert fault in report.stdout


@pytest.mark.long
@pytest.mark.parametrize(
    ("port", "run", "others"),
    [
        ("lockhouse/1", "eaves", ("window-left", "window-right")),
        *later(("mooring/3", "narrowboat", ("willow", "hedge"))),
    ],
)
def test_what_hides_behind_a_fault_is_passed_over_and_stays_open(
    heron_lock: Path, here: Patcher, port: str, run: str, others: tuple[str, str]
) -> None:
    box, number = port.split("/")
    done = here("verify", heron_lock, box, "--yard", "--fault", f"dead:{port}", "--json")
    found = json.loads(done.stdout)
    state = {(one["thing"], one["what"]): one["state"] for one in found["items"]}
    assert state[port, "identity"] == "failed"
    assert state[run, "colours"] == "failed", "it was seen to be dark"
    assert state[run, "direction"] == "open"
    other = f"{box}/{'2' if number == '1' else '1'}"
    assert state[others[0], "colours"] == state[others[1], "ends"] == state[other, "identity"] == "proved"
    assert "skipped until this is fixed: " in done.stderr
    assert f"dead:{port}" in done.stderr


def test_a_box_stands_where_the_file_says_in_the_units_of_the_file(tmp_path: Path, here: Patcher) -> None:
    show = tmp_path / "yard.toml"
    tables = {
        "show": {"title": "Yard", "units": "ft"}, "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": {"shed": {"address": "192.0.2.1", "ports": 1, "at": [40.0, 2.5], "port": {"1": ["rail"]}}},
        "run": {"rail": {"pixel": "rgb", "pixels": 4}},
    }  # fmt: skip
    show.write_text(tomli_w.dumps(tables))
    assert "── shed (x 40 ft, y 2.5 ft) ──" in here("verify", show, "--yard").stdout


@pytest.mark.long
def test_an_edit_brings_back_what_it_changed_and_no_more(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    assert here("verify", heron_lock, "mooring", "--yard").returncode == 0
    text = heron_lock.read_text()
    heron_lock.write_text(text.replace("path = [[17.0, 0.1], [27.0, 0.1]]", "path = [[17.0, 0.1], [26.0, 0.1]]"))
    found = json.loads(here("verify", heron_lock, "mooring", "--yard", "--report", "--json").stdout)
    opened = {(one["thing"], one["what"]) for one in found["items"] if one["state"] == "open"}
    assert opened == {("towpath", "ends"), ("towpath", "direction"), ("towpath", "geometry")}
    assert all(one["changed"] for one in found["items"] if one["state"] == "open")
    done = here("verify", heron_lock, "mooring", "--yard")
    assert "2 steps" in done.stdout.replace("\u00a0", " ")
    assert done.returncode == 0


def answers_of(show: Path, lines: dict[str, str]) -> Path:
    """A file that answers every step with yes, but for those named."""
    wiring = load(show)
    path = show.with_name("answers.txt")
    steps = plan(wiring, items(wiring))
    path.write_text("# an evening\n" + "".join(f"{step.name}: {lines.get(step.name, 'yes')}\n" for step in steps))
    return path


@pytest.mark.long
def test_answers_from_a_file(heron_lock: Path, here: Patcher) -> None:
    path = answers_of(heron_lock, {
        "ports gatepost": "cannot tell", "parts hedge": "skip", "ends lockhouse": "no eaves",
        "parts weir": "note щит мокрый\nparts weir: yes",
    })  # fmt: skip
    done = here("verify", heron_lock, "--answers", path)
    assert done.returncode == 1
    record = read_record(heron_lock)
    says = {(item.thing, item.what): answer.says for item, answer in record.answers.items()}
    assert says["gatepost/1", "identity"] == "cannot tell"
    assert ("hedge", "direction") not in says
    assert says["eaves", "ends"] == "no"
    assert says["gable", "ends"] == says["weir", "colours"] == "yes"
    assert [(note.thing, note.what) for note in record.notes] == [("weir", "щит мокрый")]
    assert "щит мокрый" in here("verify", heron_lock, "--report").stdout
    assert here("verify", heron_lock, "--new-season").returncode == 0
    record = read_record(heron_lock)
    assert record.answers == {}
    assert len(record.notes) == 1


@pytest.mark.parametrize("spelled", ["can't tell", "can’t tell", "c"])
def test_back_answers_a_step_anew(spelled: str, heron_lock: Path, here: Patcher) -> None:
    path = heron_lock.with_name("answers.txt")
    path.write_text(
        f"colours gatepost: cannot tell\nports gatepost: yes\nparts gate-left: back\nports gatepost: {spelled}\n"
    )
    here("verify", heron_lock, "gatepost", "--answers", path)
    assert {answer.says for answer in read_record(heron_lock).answers.values()} == {"cannot tell"}


def talk_about(show: Path, fault: str, begin) -> list[str]:
    """The lines that answer the diagnosis of a run as its pixels would."""
    wiring = load(show)
    patch = allocate(wiring).patch
    faults = [parse(fault, wiring)]
    witness = Witness(wiring, patch, build(wiring, faults))
    diagnosis = Diagnosis.start(wiring, patch, fault.partition(":")[2], begin=begin)
    lines = []
    while (question := diagnosis.ask()) is not None:
        lines.append(f"ask: {witness.answer(question)}")
        diagnosis.tell(lines[-1].removeprefix("ask: "))
    return lines


@pytest.mark.long
@pytest.mark.parametrize("deed", ["fixed", "mended", "write"])
def test_after_a_mend_the_look_is_shown_again_and_proves_it(heron_lock: Path, here: Patcher, deed: str) -> None:
    # Source: the design: the last frame confirms it on the wire; what is mended by the file is proved against the file
    wiring = load(heron_lock)
    patch = allocate(wiring).patch
    wanted = [item for item in items(wiring) if item.thing in ("towpath", "mooring/1")]
    colours, ports = plan(wiring, wanted)[:2]
    sound = planned(wiring, patch)
    begin = about([*seen_of(sound, colours, ["towpath"]), *seen_of(sound, ports, ["mooring/1"])], ["towpath"])
    lines = [
        "colours mooring: yes",
        "ports mooring: yes",
        "parts towpath: no",
        *talk_about(heron_lock, "reversed:towpath", begin),
    ]
    path = heron_lock.with_name("answers.txt")
    path.write_text("\n".join(lines) + f"\nthen: {deed}\nparts towpath: yes\nends mooring: yes\n")
    done = here("verify", heron_lock, "towpath", "--answers", path)
    assert done.returncode == 0, done.stdout
    record = read_record(heron_lock)
    assert {answer.says for answer in record.answers.values()} == {"yes"}
    assert re.search(r"in all +\d+ +0 +0\n", done.stdout), "the table is of the file as it is at the end"
    assert ('data_in = "last"' in heron_lock.read_text()) == (deed != "write")
    wiring = load(heron_lock)
    now = digests(wiring, allocate(wiring).patch, items(wiring))
    assert all(record.state(item, now[item]) == "proved" for item in wanted)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("ports lockhouse: yes\n", "but the step is “colours lockhouse”"),
        ("ports lockhouse yes\n", "is not an answer"),
        ("colours lockhouse: perhaps\n", "“perhaps” is not an answer"),
        ("colours lockhouse: no mooring/1\n", "not in this step"),
    ],
)
def test_a_wrong_file_of_answers_is_said_in_words(heron_lock: Path, here: Patcher, text: str, named: str) -> None:
    path = heron_lock.with_name("answers.txt")
    path.write_text(text)
    done = here("verify", heron_lock, "--answers", path)
    assert done.returncode == 2
    assert "answers.txt, line 1" in done.stderr
    assert named in done.stderr
    assert not checks_path(heron_lock).exists()


@pytest.mark.parametrize(
    "call",
    [("--fault", "reversed:gable"), ("--by-hand",), ("--yard", "--interface", "127.0.0.1"), ("nothing",),
     ("towpath/3",), ("--yard", "--answers", "x"), ("gable", "--new-season"),
     ("--yard", "--fault", "upside-down:gable")],
)  # fmt: skip
def test_calls_that_make_no_sense_are_refused(heron_lock: Path, here: Patcher, call: tuple[str, ...]) -> None:
    done = here("verify", heron_lock, *call)
    assert done.returncode == 2
    assert "→" in done.stderr
    assert not checks_path(heron_lock).exists()


def test_with_no_yard_it_says_so(heron_lock: Path, here: Patcher) -> None:
    for call in (("verify", heron_lock, "--yard", "--by-hand"), ("diagnose", heron_lock, "gable", "--yard")):
        done = here(*call)
        assert done.returncode == 2
        assert f"patcher yard {heron_lock}" in done.stderr


def start_by_hand(show: Path, **keys) -> subprocess.Popen:
    command = [sys.executable, "-m", "patcher", "verify", str(show), "--yard", "--by-hand"]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, **keys)


def read_until(process: subprocess.Popen, words: str) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        if words in line:
            return
    pytest.fail(f"it ended before it said “{words}”")


@pytest.mark.long
def test_killed_in_the_middle_nothing_is_lost(heron_lock: Path, here: Patcher) -> None:
    steps = heron()[3]
    with listening(heron_lock):
        process = start_by_hand(heron_lock, stdin=subprocess.PIPE)
        assert process.stdin is not None
        for number, step in enumerate(steps[:4], start=1):
            read_until(process, f"{number} of {len(steps)}   {step.name}")
            process.stdin.write("y" if number > 1 else "s")
            process.stdin.flush()
        read_until(process, f"5 of {len(steps)}")
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        process.communicate()
    record = parse_record(checks_path(heron_lock, practice=True).read_text())
    assert set(record.answers) == {item for step in steps[1:4] for item in step.proves}
    done = here("verify", heron_lock, "--yard")
    assert f"2 of {len(steps) - 3}   {steps[4].name}" in done.stdout
    assert done.returncode == 0, done.stdout


def test_keys_on_a_terminal_which_is_left_as_it_was(heron_lock: Path) -> None:
    import termios

    ours, theirs = pty.openpty()
    before = termios.tcgetattr(theirs)
    with listening(heron_lock):
        process = start_by_hand(heron_lock, stdin=theirs)
        read_until(process, "1 of 28")
        # Skip the colours; no answer, no, which, out of the diagnosis, a note, stop.
        os.write(ours, "sxn1\nqtзима\nq".encode())
        process.communicate(timeout=60)
    assert process.returncode == 1
    assert termios.tcgetattr(theirs) == before
    record = read_record(heron_lock, practice=True)
    says = {item.thing: answer.says for item, answer in record.answers.items()}
    assert says == {"lockhouse/1": "no", "lockhouse/2": "yes"}
    assert [(note.thing, note.what) for note in record.notes] == [("gable", "зима")]


def test_ctrl_c_ends_the_round_in_order_and_dark(heron_lock: Path) -> None:
    # Source: the packets themselves: slots stand from octet 126 in E1.31, from octet 18 in ArtDmx
    heard: dict[tuple[str, bytes], bool] = {}
    lit = False
    with listening(heron_lock) as receiver:
        process = start_by_hand(heron_lock, stdin=subprocess.PIPE)
        assert process.stdin is not None
        read_until(process, "y yes")
        told = False
        while process.poll() is None or (datagrams := receiver.poll(0.1)):
            for one in datagrams if process.poll() is not None else receiver.poll(0.1):
                e131 = one.ear.port == 5568
                key = one.ear.host, one.octets[113:115] if e131 else one.octets[14:16]
                heard[key] = any(one.octets[126:] if e131 else one.octets[18:])
                lit |= heard[key]
            if lit and not told:
                process.send_signal(signal.SIGINT)
                told = True
    said, _ = process.communicate(timeout=60)
    assert "Stopped here" in said
    assert process.returncode == 0
    assert lit
    assert not any(heard.values())


def test_a_note_and_a_replaced_lamp_are_kept_at_any_time(heron_lock: Path, here: Patcher) -> None:
    assert here("verify", heron_lock, "willow", "--note", "ветка сломана").returncode == 0
    assert here("verify", heron_lock, "gable/17", "--replaced", "batch 2026").returncode == 0
    assert here("verify", heron_lock, "gable", "--replaced", "batch 2026").returncode == 2
    assert here("verify", heron_lock, "--note", "of what?").returncode == 2
    said = here("verify", heron_lock, "--report").stdout
    assert "willow: ветка сломана" in said
    assert "gable/17: batch 2026" in said


def test_a_damaged_record_stops_the_round_and_stays(heron_lock: Path, here: Patcher) -> None:
    checks_path(heron_lock, practice=True).write_text("<<<<<<< mine\n")
    done = here("verify", heron_lock, "--yard")
    assert done.returncode == 2
    assert "merge conflict" in done.stderr
    assert checks_path(heron_lock, practice=True).read_text() == "<<<<<<< mine\n"


def test_the_digests_do_not_hang_on_the_road_to_the_show(tmp_path: Path) -> None:
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        for name in ("heron-lock.toml", "willow.csv"):
            shutil.copyfile(SHOWS / name, tmp_path / folder / name)
    found = []
    for folder in ("one", "two"):
        wiring = load(tmp_path / folder / "heron-lock.toml")
        found.append(digests(wiring, allocate(wiring).patch, items(wiring)))
    assert found[0] == found[1]
    assert len(set(found[0].values())) > 40
    with pytest.raises(PatcherError):
        load(tmp_path / "three.toml")
