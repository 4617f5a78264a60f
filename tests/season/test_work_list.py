"""The season's list in the terminal, on paper and as JSON; how long work took; what opens again, and what does not."""

import csv
import json
import random
import re
import socket
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.reports.work_report import say_boxes
from patcher.season.jobs import STEPS, Job, jobs
from patcher.season.ticks import PAUSE, Answered, Done, Season, Spent, Ticks, Worked, spent
from patcher.season.ticks_file import dump, parse, read_ticks, ticks_path
from patcher.season.work_list import BoxWork, Task, time_words
from rig.shipped import Patcher, wired

NOON = datetime(2026, 11, 29, 12, tzinfo=UTC)
BOXES = ["lockhouse", "gatepost", "weirside", "mooring"]


def boxes_of(here: Patcher, show: Path) -> dict[str, dict[str, list[tuple[str, bool]]]]:
    """What `todo --json` says: box → step → things, each with whether it is done."""
    found: dict[str, dict[str, list[tuple[str, bool]]]] = {}
    for box in json.loads(here("todo", show, "--json").stdout)["boxes"]:
        for task in box["tasks"]:
            found.setdefault(box["controller"], {}).setdefault(task["step"], []).append((task["thing"], task["done"]))
    return found


def test_the_list_goes_box_by_box_in_the_order_of_a_day(heron_lock: Path, here: Patcher) -> None:
    # Source: the issue: bench test, hang, leads, power, type, prove; the file's own tables, counted by hand
    assert here("patch", heron_lock).returncode == 0
    found = boxes_of(here, heron_lock)
    assert list(found) == BOXES  # from left to right, as the boxes stand
    assert all(list(steps) == list(STEPS) for steps in found.values())
    assert [name for name, _ in found["lockhouse"]["hang"]] == ["gable", "eaves", "window-left", "window-right"]
    assert [name for name, _ in found["lockhouse"]["power"]] == ["lockhouse-12v", "roof-wire", "windows-wire"]
    assert {name for name, _ in found["weirside"]["power"]} == {
        "weir", "weir-12v", "footbridge-12v", "weir-upper-wire", "weir-lower-wire", "footbridge-wire",
    }  # fmt: skip
    assert "narrowboat-5v" in [name for name, _ in found["mooring"]["power"]]  # it stands in no box: with its run's
    assert not any(done for steps in found.values() for own in steps.values() for _, done in own)


def test_it_is_ticked_off_in_the_terminal_and_says_what_is_left(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    ran = here("todo", heron_lock, "--hung", "cottage", "--joined", "gable", "--powered", "roof-wire")
    assert ran.stdout.startswith("Ticked off as hung: cottage; as joined: gable; as powered: roof-wire.\n")
    assert "Still to do at lockhouse: bench 4, leads 3, power 2, type 3, tell 4, prove 7." in ran.stdout
    table = here("todo", heron_lock).stdout
    assert re.search(r"^lockhouse +4 +done +3 +2 +3 +4 +7$", table, re.MULTILINE)
    assert re.search(r"^gatepost +2 +2 +2 +3 +2 +2 +5$", table, re.MULTILINE)
    one = here("todo", heron_lock, "lockhouse").stdout
    assert re.search(r"^\[x\] +hang +gable +89 pixels, data-in at its left end$", one, re.MULTILINE)
    assert re.search(r"^\[ \] +eaves +0.3 m from gable, AWG 18$", one, re.MULTILINE)
    assert "Switch the supply off at its plug" in " ".join(one.split())
    assert f"Tick it off: patcher todo {heron_lock} --tested gable" in one
    undone = here("todo", heron_lock, "--hung", "gable", "--undo").stdout
    assert undone.startswith("No longer ticked off as hung: gable.\n")
    assert ("gable", False) in boxes_of(here, heron_lock)["lockhouse"]["hang"]


def test_a_port_stands_for_its_runs_and_for_no_more(heron_lock: Path, here: Patcher) -> None:
    # Source: the show file: lockhouse has gable and eaves on port 1, the windows on port 2
    here("patch", heron_lock)
    assert here("todo", heron_lock, "--hung", "lockhouse/1").returncode == 0
    assert boxes_of(here, heron_lock)["lockhouse"]["hang"] == [
        ("gable", True), ("eaves", True), ("window-left", False), ("window-right", False),
    ]  # fmt: skip
    assert here("todo", heron_lock, "--powered", "lockhouse/1").returncode == 2


def test_a_box_that_only_holds_a_supply_has_a_list_too(heron_lock: Path, here: Patcher) -> None:
    text = heron_lock.read_text().replace("[supply.narrowboat-5v]", '[supply.narrowboat-5v]\nbox = "shelf"', 1)
    heron_lock.write_text(text)
    here("patch", heron_lock)
    assert list(boxes_of(here, heron_lock)) == [*BOXES, "shelf"]
    one = here("todo", heron_lock, "shelf").stdout
    assert one.startswith("shelf (box 5 of 5): 3 of 3 things still to do.\n")
    assert here("todo", heron_lock, "--powered", "shelf").stdout.endswith("shelf is done.\n")


def test_each_command_that_the_list_names_can_be_run(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    for box in BOXES:
        for _ in range(6):
            said = here("todo", heron_lock, box).stdout
            tick = re.search(r"^Tick it off: patcher (todo .*)$", said, re.MULTILINE)
            if tick is None:
                break
            option, thing = tick[1].split()[-2:]
            assert here("todo", heron_lock, option, thing).returncode == 0
            assert here("todo", heron_lock, option, box).returncode == 0
    left = {
        task
        for steps in boxes_of(here, heron_lock).values()
        for task, own in steps.items()
        if not all(d for _, d in own)
    }
    assert left == {"prove"}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--hung", "gabel"), "did you mean “gable”?"),
        (("--hung", "roof-wire"), "is not a run to hang"),
        (("--powered", "gable"), "is not a supply, a feed or a run whose V+ is cut"),
        (("--took", "30"), "is about one step"),
        (("--took", "30", "--hung", "gable", "--joined", "gable"), "is about one step"),
        (("--took", "30", "--hung", "all"), "these are 4: gatepost, lockhouse, mooring, weirside"),
        (("--took", "30", "--told", "all"), "tick off each box by itself"),
        (("--undo",), "no tick is named"),
        (("shelf",), "is not a box at which anything is to be done"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_kept(words: tuple, says: str, heron_lock: Path, here: Patcher) -> None:
    assert here("todo", heron_lock, "--hung", "gable").returncode == 2  # there is no patch yet
    here("patch", heron_lock)
    ran = here("todo", heron_lock, *words)
    assert ran.returncode == 2
    assert says in ran.stderr
    assert not ticks_path(heron_lock).exists()


@pytest.mark.parametrize(
    ("before", "after", "opens"),
    [
        ("pixels = 89\nlead = 2.6", "pixels = 89\nlead = 3.1", {("leads", "gable")}),
        ("pixels = 89\nlead = 2.6", "pixels = 89\nlead = 2.6\nlead_mm2 = 0.5", {("leads", "gable")}),
        ('[run.hedge]', '[run.hedge]\nbatch = "2026"', {("bench", "hedge")}),
        ("pixels = 150", "pixels = 151",
         {("bench", "hedge"), ("hang", "hedge"), ("power", "hedge-wire"), ("type", "mooring/4"), ("tell", "hedge")}),
        ('colour_order = "GRBW"', 'colour_order = "RGBW"', {("bench", "weir")}),
        ("power_cuts = [241]", "power_cuts = [231]", {("power", "weir")}),
        ('awg = 14\nfuse = 7.5', 'awg = 14\nfuse = 5', {("power", "hedge-wire")}),
        ('pixel = 126, length = 1.4', 'pixel = 126, length = 1.4, fuse = 3', {("power", "willow-near-wire")}),
        ("level = 0.4", "level = 0.5", set()),
        ('title = "Heron Lock winter lights"', 'title = "Heron Lock"', set()),
        ('box = "gatepost"', 'box = "gatepost"\nsocket = "quay"\n[socket.quay]\nvolts = 230', {("power", "gate-5v")}),
        ("data_in = \"last\"", 'data_in = "first"', {("hang", "towpath"), ("tell", "towpath")}),
        ('address = "192.0.2.21"', 'address = "192.0.2.71"',
         {("type", "lockhouse"), *(("tell", run) for run in ("gable", "eaves", "window-left", "window-right"))}),
    ],
)  # fmt: skip
def test_a_change_opens_again_just_what_it_touches(
    before: str, after: str, opens: set, heron_lock: Path, here: Patcher
) -> None:
    # Source: what hands or fingers have to do again, thought through case by case
    here("patch", heron_lock)
    ticks = [w for option in ("tested", "hung", "joined", "powered", "typed", "told") for w in (f"--{option}", "all")]
    assert here("todo", heron_lock, *ticks).returncode == 0
    text = heron_lock.read_text()
    assert text.count(before) >= 1
    heron_lock.write_text(text.replace(before, after, 1))
    assert here("patch", heron_lock).returncode == 0
    left = {
        (step, thing)
        for steps in boxes_of(here, heron_lock).values()
        for step, own in steps.items() if step != "prove"
        for thing, done in own if not done
    }  # fmt: skip
    assert left == opens
    heron_lock.write_text(text)
    here("patch", heron_lock)
    again = boxes_of(here, heron_lock)
    assert all(done for steps in again.values() for step, own in steps.items() if step != "prove" for _, done in own)


def test_a_feed_is_listed_with_its_tap_fuses_and_another_size_is_work_again(heron_lock: Path, here: Patcher) -> None:
    # Source: a tap fuse that is too large lets a thin string burn: it is looked at wherever the feed is joined
    text = heron_lock.read_text()
    heron_lock.write_text(text.replace("pixel = 126, length = 1.4", "pixel = 126, length = 1.4, fuse = 5"))
    here("patch", heron_lock)
    here("todo", heron_lock, "--powered", "willow-near-wire")
    listed = here("todo", heron_lock, "mooring").stdout
    assert re.search(r"^\[x\] +willow-near-wire .*; joins willow/1, willow/126 \(tap fuse 5 A\)$", listed, re.MULTILINE)
    heron_lock.write_text(text.replace("pixel = 126, length = 1.4", "pixel = 126, length = 1.4, fuse = 3"))
    listed = here("todo", heron_lock, "mooring").stdout
    assert re.search(r"^\[ \] +willow-near-wire .* willow/126 \(tap fuse 3 A\)$", listed, re.MULTILINE)


def test_a_spare_box_takes_leads_and_settings_and_leaves_what_hangs(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    here("todo", heron_lock, "--tested", "all", "--hung", "all", "--joined", "all", "--powered", "all")
    assert here("swap", heron_lock, "gatepost", "shelf", "--write").returncode == 0
    found = boxes_of(here, heron_lock)
    assert "gatepost" not in found
    assert all(done for step in ("bench", "hang") for _, done in found["shelf"][step])
    assert not any(done for _, done in found["shelf"]["leads"])


# --- time ---------------------------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.integers(0, 400), st.sampled_from(["a", "b", ""]), st.sampled_from(["hang", "leads"]),
                          st.none() | st.integers(0, 90)), max_size=12))  # fmt: skip
def test_the_time_of_a_step_is_that_from_tick_to_tick(log: list[tuple]) -> None:
    # Judge: sums by a pencil, over minutes of a day
    at, sums, last = 0, {}, None
    ticks = []
    for gap, box, step, said in log:
        at += gap
        ticks.append(Worked(NOON + timedelta(minutes=at), box, step, said))
        took = said if said is not None else gap if last is not None and gap <= 120 else None
        last = at
        if box and took is not None:
            sums[box, step] = sums.get((box, step), 0) + took
    assert timedelta(minutes=120) == PAUSE
    assert {(one.box, one.step): one.minutes for one in spent(ticks)} == {
        key: pytest.approx(total) for key, total in sums.items() if total >= 1
    }


def test_last_seasons_times_are_said_where_they_are_known(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    here("todo", heron_lock, "--hung", "lockhouse", "--took", "75")
    here("todo", heron_lock, "--powered", "lockhouse", "--took", "20")
    here("todo", heron_lock, "--typed", "lockhouse", "--took", "5")
    assert "last season" not in here("todo", heron_lock).stdout
    ran = here("verify", heron_lock, "--new-season")
    assert "7 ticks for work by hand taken away" in ran.stderr
    table = here("todo", heron_lock).stdout
    assert re.search(r"^box .* last season$", table, re.MULTILINE)
    assert re.search(r"^lockhouse .* 1 h 40 min$", table, re.MULTILINE)
    assert re.search(r"^gatepost .* \d$", table, re.MULTILINE)
    assert "Last season: hang 1 h 15 min, power 20 min, type 5 min." in here("todo", heron_lock, "lockhouse").stdout
    (box, *_) = json.loads(here("todo", heron_lock, "--json").stdout)["boxes"]
    assert box["last_season"] == [
        {"step": "hang", "minutes": 75.0}, {"step": "power", "minutes": 20.0}, {"step": "type", "minutes": 5.0},
    ]  # fmt: skip
    by_hand = [task["done"] for task in box["tasks"] if task["step"] not in ("type", "tell")]
    assert not any(by_hand)


def test_the_time_at_a_box_that_a_spare_replaced_is_not_lost(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    here("todo", heron_lock, "--hung", "gatepost", "--took", "75")
    assert here("swap", heron_lock, "gatepost", "shelf", "--write").returncode == 0
    here("todo", heron_lock, "--joined", "shelf", "--took", "20")
    here("verify", heron_lock, "--new-season")
    table = here("todo", heron_lock).stdout
    assert re.search(r"^shelf .* 20 min$", table, re.MULTILINE)
    assert "Last season at gatepost, where there is no work now: hang 1 h 15 min.\n" in table


def test_ticks_are_put_into_the_order_of_their_times_and_a_pause_is_longer_than_two_hours() -> None:
    # By hand: 10:00, 10:30 (30 min), 12:30 (120 min: no pause yet), 14:31 (121 min: a pause)
    log = [Worked(NOON + timedelta(minutes=at), "hut", step) for at, step in
           ((0, "bench"), (30, "hang"), (150, "leads"), (271, "power"))]  # fmt: skip
    wanted = (Spent("hut", "hang", 30.0), Spent("hut", "leads", 120.0))
    assert spent(log) == spent(log[::-1]) == spent([log[2], log[0], log[3], log[1]]) == wanted


def test_the_answers_of_verify_tell_how_long_proving_took(heron_lock: Path, here: Patcher) -> None:
    from patcher.walk.items import Item
    from patcher.walk.record import RecordedAnswer
    from patcher.walk.record_file import change_record

    here("patch", heron_lock)
    whats = [("lockhouse/1", "identity", 0), ("gable", "colours", 4), ("gable", "ends", 9), ("gate-left", "ends", 15)]
    answers = {Item(thing, what): RecordedAnswer("yes", NOON + timedelta(minutes=at), "0") for thing, what, at in whats}
    change_record(heron_lock, lambda record: record.answered(answers))
    assert here("verify", heron_lock, "--new-season").returncode == 0
    (season,) = read_ticks(heron_lock).seasons
    assert set(season.spent) == {Spent("lockhouse", "prove", 9.0), Spent("gatepost", "prove", 6.0)}


def test_times_are_said_as_a_person_says_them() -> None:
    assert [time_words(minutes) for minutes in (1, 59.4, 59.6, 60, 125.2)] == [
        "1 min", "59 min", "1 h", "1 h", "2 h 5 min",
    ]  # fmt: skip


# --- the file -----------------------------------------------------------------------------------------------------


def test_what_is_kept_is_read_back() -> None:
    ticks = Ticks(
        {Job("hang", "run", "gable"): Done("12ab", NOON), Job("power", "feed", "roof"): Done("34cd", NOON)},
        (Worked(NOON, "lockhouse", "hang", 12.5), Worked(NOON, "", "tell")),
        (Season(NOON, (Spent("lockhouse", "hang", 75.0),)), Season(NOON)),
        {"gatepost": Answered((3, 4), NOON)},
    )
    assert parse(dump(ticks)) == ticks
    assert parse(dump(Ticks())) == Ticks()


@pytest.mark.parametrize("text", ["", "format = 1\n", "<<<<<<< mine", "format = 2\ndone = []\n",
                                  'format = 1\ndone = [{step = "fly"}]\nlog = []\nseason = []\n'])  # fmt: skip
def test_a_file_that_cannot_be_read_is_named_and_left(text: str, heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    ticks_path(heron_lock).write_text(text)
    for words in (("todo",), ("todo", "--hung", "all"), ("sheet", "--out", "out")):
        ran = here(words[0], heron_lock, *words[1:])
        assert ran.returncode == 2
        assert "heron-lock.done.toml" in ran.stderr
    assert ticks_path(heron_lock).read_text() == text
    assert "not a show" in here("check", ticks_path(heron_lock)).stderr


def test_a_string_that_passes_on_the_bench_is_ticked_off(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    host = f"127.91.{random.randrange(1, 255)}.{random.randrange(1, 255)}"
    bench = ("bench", host, "--as", f"{heron_lock}:willow", "--seconds", "0.1", "--result")
    practice = heron_lock.with_name("heron-lock.practice-done.toml")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as box:
        box.bind((host, 6454))
        assert here(*bench, "one pixel dark").returncode == 0
        assert not practice.exists()
        assert here(*bench, "as it should be").returncode == 0
    (one,) = tomllib.loads(practice.read_text())["done"]  # the loopback is practice
    assert (one["step"], one["name"]) == ("bench", "willow")


# --- paper --------------------------------------------------------------------------------------------------------


def test_paper_has_a_box_to_tick_for_each_thing_that_is_left(heron_lock: Path, here: Patcher) -> None:
    # Source: `patcher todo --json`
    here("patch", heron_lock)
    here("todo", heron_lock, "--hung", "all", "--typed", "lockhouse", "--told", "all")
    assert here("sheet", heron_lock, "--out", "out").returncode == 0
    out = heron_lock.parent / "out"
    left = [
        [box["controller"], task["step"], task["thing"], task["says"]]
        for box in json.loads(here("todo", heron_lock, "--json").stdout)["boxes"]
        for task in sorted(box["tasks"], key=lambda task: STEPS.index(task["step"]))
        if not task["done"]
    ]
    with (out / "tables/day.csv").open(newline="") as file:
        assert list(csv.reader(file)) == [["box", "step", "thing", "what"], *left]
    page = (out / "sheets.html").read_text()
    section = page[page.index('id="day"') : page.index('id="player"')]
    assert section.count('class="tickbox"') == len(left)
    assert section.count("Done: hang 4, type 3, tell 4.") == 1


def test_all_that_is_done_is_said_and_not_listed(capsys: pytest.CaptureFixture[str]) -> None:
    done = BoxWork("hut", (Task("hang", "roof", "", done=True),))
    say_boxes([done], Path("hut.toml"))
    assert capsys.readouterr().out.startswith("All boxes are done")
    say_boxes([done, BoxWork("shed", (Task("hang", "quay", "", done=False),))], Path("hut.toml"))
    said = capsys.readouterr().out
    assert re.search(r"^hut +– +done +–", said, re.MULTILINE)
    say_boxes([], Path("hut.toml"))
    assert capsys.readouterr().out == "No box has a run on it, so there is no work to list.\n"
    assert said.endswith("patcher todo hut.toml shed\n")


def test_what_does_not_hang_is_no_work(tmp_path: Path) -> None:
    show = {
        "show": {"title": "Hut"}, "pixel": {"bulb": {"colour_order": "RGB"}},
        "controller": {"hut": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["roof", "eaves"]}}},
        "run": {"roof": {"pixel": "bulb", "pixels": 9}, "eaves": {"pixel": "bulb", "pixels": 9, "hung": False}},
        "supply": {"hut-12v": {"volts": 12.0, "amps": 9.0}, "attic-12v": {"volts": 12.0, "amps": 9.0}},
        "feed": {"eaves-wire": {"supply": "attic-12v", "taps": [{"run": "eaves", "pixel": 1, "length": 1.0}]},
                 "roof-wire": {"from": "hut-wire", "tap": 1, "taps": [{"run": "roof", "pixel": 1, "length": 1.0}]},
                 "hut-wire": {"supply": "hut-12v", "taps": [{"run": "eaves", "pixel": 9, "length": 1.0}]}},
    }  # fmt: skip
    (tmp_path / "hut.toml").write_text(tomli_w.dumps(show))
    assert [(job.step, job.name) for job in jobs(wired(show))] == [
        ("bench", "roof"), ("hang", "roof"), ("leads", "roof"),
        ("power", "hut-12v"), ("power", "roof-wire"), ("power", "hut-wire"),
    ]  # fmt: skip
