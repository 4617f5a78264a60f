"""`diagnose`: answers from a yard's pixels through real packets, from a file, and by keys while frames are sent."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from patcher.answers.witness import Witness
from patcher.cli.inputs import load
from patcher.diagnosis.case import Diagnosis
from patcher.diagnosis.frame_timing import REST, moments
from patcher.diagnosis.question_frame import Frame
from patcher.diagnosis.questions import Repertoire
from patcher.diagnosis.scene import scene_of
from patcher.dialogue.consultation import write
from patcher.errors import PatcherError
from patcher.eye import goes_of
from patcher.faults import build, departure, parse, planned
from patcher.patch.patch_file import patch_path, read_patch
from patcher.placement.allocation import allocate
from patcher.power.flow import power
from patcher.remedies.rewrite import rewritten
from patcher.show.parser import read
from patcher.show.show_file import read_show
from patcher.wiring import wire
from rig.examples import later
from rig.heron_lock import listening
from rig.in_process import run
from rig.shipped import SHOWS, Patcher


@pytest.mark.parametrize(
    "fault", ["cut:gable/40", *later("swapped-runs:gable,eaves", "colour-order:eaves=BRG", "dead:lockhouse/1")]
)
def test_lamps_of_a_yard_answer(fault: str, here: Patcher, heron_lock: Path) -> None:
    ran = here("diagnose", heron_lock, "lockhouse/1", "--yard", "--fault", fault, "--json")
    said = json.loads(ran.stdout)
    assert ran.returncode == 1
    assert fault in said["same_look"]
    assert len(said["same_look"]) <= 5
    assert said["sure"]
    assert set(said["questions"][0]) == {"frame", "asks", "answer"}


@pytest.mark.long
@pytest.mark.parametrize("start", ["lockhouse/1", "mooring", "weirside"])
def test_a_start_typed_in_far_off_is_among_what_looks_the_same(start: str, here: Patcher, heron_lock: Path) -> None:
    # Source: a reader who was sent to pull fuses, and to swap a sound box
    ran = here("diagnose", heron_lock, start, "--yard", "--fault", f"universe-shift:{start}=400")
    said = " ".join(ran.stdout.split("Looks the same")[1].split("To fix it")[0].split())
    assert f"the start universe of {start} is typed in far off" in said


def test_help_says_who_answers_and_when_a_yard_must_run(here: Patcher, heron_lock: Path) -> None:
    # Judge: the commands themselves, where no yard runs: only the pixels of --fault answer without one
    for said in (here("diagnose", "--help").stdout, here("help", "diagnose").stdout):
        words = " ".join(said.split())
        assert "you answer" in words
        assert "`patcher yard`" in words
        assert "must run" in words
    assert here("diagnose", heron_lock, "mooring/1", "--yard", "--fault", "cut:towpath/3").returncode == 1
    alone = here("diagnose", heron_lock, "mooring/1", "--yard")
    assert "no yard is running" in alone.stderr


@pytest.mark.parametrize(
    "text",
    [
        "channel-shift:mooring/3=3",
        *later("flicker:narrowboat/100", "universe-shift:mooring=1", "dark:narrowboat/7"),
    ],
)
def test_the_yard_answers_as_the_engine_predicts(text: str) -> None:
    """Flicker, shifted boxes and dots through real packets, question by question."""
    reading = read((SHOWS / "heron-lock.toml").read_text(), lambda name: [[float(n), 0.0] for n in range(500)])
    wiring = wire(reading.show)
    patch = allocate(wiring).patch
    fault = parse(text, wiring)
    witness = Witness(wiring, patch, build(wiring, [fault]))
    diagnosis = Diagnosis.start(wiring, patch, "narrowboat")
    while (question := diagnosis.ask()) is not None:
        diagnosis.tell(witness.answer(question))
    assert (fault,) in diagnosis.same_look
    assert len(diagnosis.same_look) <= 2


def test_the_yard_sees_two_lamps_go_along_before_one_that_flickers(heron_lock: Path) -> None:
    wiring = wire(read_show(heron_lock).show)
    patch = allocate(wiring).patch
    built = build(wiring, [parse("flicker:gable/9", wiring)])
    scene = scene_of(planned(wiring, patch), "gable")
    takes = departure(scene.plan, built.faults).takes["gable"]
    (candidate,) = Repertoire(scene).followed({"gable": Repertoire(scene).along("gable", takes)})
    chances = Witness(wiring, patch, built)._chances(candidate.frame, candidate.asks[0])[0]
    assert candidate.asks[0].answers[int(chances.argmax())] == "they never came apart"


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> dict:
    """The diagnosis of a run that is fed from its other end."""
    call = ("diagnose", SHOWS / "heron-lock.toml", "gable", "--yard", "--fault", "reversed:gable", "--json")
    return json.loads(run(tmp_path_factory.mktemp("first"), *call).stdout)


def test_answers_from_a_file(here: Patcher, heron_lock: Path, tmp_path: Path, first: dict) -> None:
    file = tmp_path / "answers.txt"
    file.write_text("".join(f"{q['answer']}  # {q['frame']}\n" for q in first["questions"]))
    again = here("diagnose", heron_lock, "gable", "--answers", file, "--json")
    assert json.loads(again.stdout) == first
    file.write_text("")
    short = here("diagnose", heron_lock, "gable", "--answers", file)
    assert short.returncode == 1
    assert "Stopped after 0 questions: nothing is known yet." in short.stdout


def test_answers_that_say_nothing_make_nothing_known(here: Patcher, heron_lock: Path, tmp_path: Path) -> None:
    # Source: found in use: ten times "can't tell", and "Most likely so far: wired as planned"
    file = tmp_path / "answers.txt"
    file.write_text("?\n?\n?\n")
    ran = here("diagnose", heron_lock, "gable", "--answers", file)
    assert ran.returncode == 1
    assert "Stopped after 3 questions, with no answer but “can't tell”: nothing is known yet." in ran.stdout
    assert "Most likely" not in ran.stdout
    file.write_text("?\n1\n?\n")
    assert "Most likely so far: " in here("diagnose", heron_lock, "gable", "--answers", file).stdout


@pytest.mark.parametrize(
    ("fault", "was", "now"),
    [
        ("reversed:towpath", 'data_in = "last"', 'data_in = "first"'),
        pytest.param("turns:weir=same-way", 'turns = "serpentine"', 'turns = "same-way"', marks=pytest.mark.long),
    ],
)
def test_write_changes_the_show_and_keeps_comments(
    here: Patcher, heron_lock: Path, fault: str, was: str, now: str
) -> None:
    before = heron_lock.read_text()
    thing = fault.partition(":")[2].partition("=")[0]
    # Source: the design: --write changes it and keeps comments; a last frame confirms it on the wire
    ran = here("diagnose", heron_lock, thing, "--yard", "--fault", fault, "--write", "--json")
    said = json.loads(ran.stdout)
    assert ran.returncode == 0
    assert (said["found"], said["confirmed"], said["wrote"]) == ([fault], True, [str(heron_lock)])
    assert said["mended"] == [fault]
    after = heron_lock.read_text()
    old, new = before.splitlines(), after.splitlines()
    differing = [(a, b) for a, b in zip(old, new, strict=True) if a != b]
    assert differing == [(was, now)]


@pytest.mark.long
def test_one_fault_mended_it_asks_again(here: Patcher, heron_lock: Path) -> None:
    # Source: the design: one fault mended, it asks again: a cut hides what lies behind it
    call = ("--yard", "--fault", "cut:gable/40", "--fault", "reversed:eaves", "--mend")
    ran = here("diagnose", heron_lock, "lockhouse/1", *call, "--json")
    said = json.loads(ran.stdout)
    assert ran.returncode == 0
    assert said["mended"] == ["cut:gable/40", "reversed:eaves"]
    assert said["confirmed"]


@pytest.mark.parametrize(
    ("fault", "lines"),
    [
        ("colour-order:gable=BRG", ['pixel = "bulb-12v-brg"', "[pixel.bulb-12v-brg]", 'colour_order = "BRG"']),
        pytest.param("swapped-ports:mooring/2,mooring/4", ['2 = ["hedge"]', '4 = ["willow"]'], marks=pytest.mark.long),
        pytest.param("reversed:towpath", ['data_in = "first"'], marks=pytest.mark.long),
        pytest.param(
            "shift:narrowboat=1",
            ["nulls = 2                  # regenerates the data at the bow"],
            marks=pytest.mark.long,
        ),
    ],
)
def test_both_ways_are_said_and_the_other_is_written(
    here: Patcher, heron_lock: Path, fault: str, lines: list[str]
) -> None:
    # Source: the design: the keys that say each of these; nothing else of it changes
    thing = fault.partition(":")[2].partition("=")[0].partition(",")[0]
    before = heron_lock.read_text()
    here("patch", heron_lock)
    ran = here("diagnose", heron_lock, thing, "--yard", "--fault", fault, "--write")
    assert "To fix it" in ran.stdout
    # The box may be what is wrong: a colour order, a number of null pixels. Then the file stays as it is.
    only = {
        "colour-order": "Or, if lockhouse is set to RGB for gable, leave",
        "shift": "Or, if mooring/3 has 1 null pixel set before narrowboat, leave",
    }.get(fault.partition(":")[0], "Or leave")
    assert f"{only} the wiring as it is, and change heron-lock.toml:" in " ".join(ran.stdout.split())
    after = heron_lock.read_text().splitlines()
    assert set(lines) <= set(after)
    assert here("check", heron_lock).returncode == 0
    assert here("patch", heron_lock).returncode == 0
    kept = [line for line in before.splitlines() if line not in after]
    assert len(kept) <= 2
    assert comments(before) == comments("\n".join(after))


def comments(text: str) -> list[str]:
    return [comment for line in text.splitlines() if (comment := line.partition("#")[2])]


@pytest.mark.parametrize(
    ("thing", "fault", "says"),
    [
        ("hedge", "count:mooring/4=-20", "the pixels hang where they should; correct the number in the box"),
        *later(("weir", "channel-shift:weir=3", "weir is pinned to 20/1 there; correct the number in the box")),
    ],
)
def test_a_number_that_is_off_in_the_box_is_corrected_there(
    here: Patcher, heron_lock: Path, thing: str, fault: str, says: str
) -> None:
    # Source: the pixels hang, and the pin is the person's: a file that says otherwise is wrong
    said = " ".join(here("diagnose", heron_lock, thing, "--yard", "--fault", fault).stdout.split())
    assert f"({fault})" in said
    assert "To fix it: type in the planned" in said
    assert says in said
    assert "gaps" not in said
    assert "sound desk" not in said


@pytest.mark.long
def test_a_start_that_nobody_pinned_may_be_planned_where_it_is(here: Patcher, heron_lock: Path) -> None:
    # Source: the box stays as it is set; the file says so, and the player is told
    ran = here("diagnose", heron_lock, "gate-left", "--yard", "--fault", "channel-shift:gatepost=3")
    said = " ".join(ran.stdout.split())
    assert "Or leave the start addresses as they are, and plan them so; change heron-lock.toml:" in said
    # Source: found in use: "as if the likeliest fault so far were there" is read twice
    assert "sent on the addresses that these pixels seem to use so far" in said
    assert "as if" not in said


@pytest.mark.parametrize("fault", ["dark:gable/7", *later("cut:gable/40", "dead:lockhouse/1")])
def test_what_no_edit_can_say_is_refused_with_its_reason(here: Patcher, heron_lock: Path, fault: str) -> None:
    before = heron_lock.read_text()
    ran = here("diagnose", heron_lock, "gable", "--yard", "--fault", fault, "--write")
    assert ran.returncode == 2
    assert (
        "The show file cannot be changed instead: " in ran.stdout
        or "Or, if the lead of gable is in lockhouse/3, not in lockhouse/1 (" in " ".join(ran.stdout.split())
    )
    assert "the show file cannot say it" in ran.stderr
    assert heron_lock.read_text() == before


def test_a_file_that_was_changed_meanwhile_is_left_as_it_is(heron_lock: Path) -> None:
    wiring = load(heron_lock)
    plan = planned(wiring, allocate(wiring).patch)
    change = rewritten(heron_lock.read_text(), plan, [parse("reversed:gable", wiring)])
    heron_lock.write_text(heron_lock.read_text() + "# mine\n")
    with pytest.raises(PatcherError):
        write(heron_lock, change, print)
    assert heron_lock.read_text().endswith("# mine\n")
    assert 'data_in = "last"' in change.text


def test_a_patch_that_cannot_be_written_leaves_both_files(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    wiring = load(heron_lock)
    plan = planned(wiring, read_patch(heron_lock))
    change = rewritten(heron_lock.read_text(), plan, [parse("shift:narrowboat=1", wiring)])
    before, path = heron_lock.read_text(), patch_path(heron_lock)
    path.unlink()
    path.mkdir()
    with pytest.raises(PatcherError):
        write(heron_lock, change, print)
    assert heron_lock.read_text() == before


@pytest.mark.long
def test_what_was_done_comes_from_a_file_too(here: Patcher, heron_lock: Path, tmp_path: Path, first: dict) -> None:
    said = [q["answer"] for q in first["questions"]]
    file = tmp_path / "answers.txt"
    file.write_text("\n".join([*said, "mended", "no", *said, "write", "yes"]))
    ran = here("diagnose", heron_lock, "gable", "--answers", file)
    assert "no: not fixed yet" in ran.stdout
    assert "yes: it is fixed" in ran.stdout
    assert "Stopped after 0 questions" in ran.stdout
    assert ran.returncode == 1
    assert heron_lock.read_text().count('data_in = "last"') == 2
    file.write_text("perhaps\n")
    ran = here("diagnose", heron_lock, "gable", "--answers", file)
    assert ran.returncode == 2
    assert "answers.txt, line 1" in ran.stderr


@pytest.mark.long
def test_a_sound_thing_is_told_what_else_it_may_be(here: Patcher, heron_lock: Path) -> None:
    # Source: `patcher power --json`, which computes the voltage by its own road
    ran = here("diagnose", heron_lock, "hedge", "--yard", "--fault", "dead:lockhouse")
    assert ran.returncode == 0
    said = " ".join(ran.stdout.split())
    volts = load_volts(heron_lock, "hedge")
    assert f"hedge/150: planned {volts:.2f} V" in said
    assert "pink or brown" in said
    assert "Cannot be seen: a number of pixels on mooring/4 typed in too high. Read it in the box." in said
    assert "count:" not in said
    plain = heron_lock.read_text().split("# ─── Power")[0]
    heron_lock.write_text("\n".join(line for line in plain.splitlines() if not line.startswith("logic")))
    said = " ".join(here("diagnose", heron_lock, "hedge", "--yard", "--fault", "dead:lockhouse").stdout.split())
    assert "patcher power" in said
    assert ": planned" not in said


def load_volts(show: Path, run: str) -> float:
    return float(power(load(show)).volts(run)[-1])


def test_bad_calls_are_refused(here: Patcher, heron_lock: Path) -> None:
    for call in (["towpat"], ["gable", "--fault", "cut:gable/3"], ["gable/3"], ["shelf"]):
        assert here("diagnose", heron_lock, *call).returncode == 2


def test_keys_answer_while_frames_are_sent(patcher: Patcher, heron_lock: Path) -> None:
    """A key that is no answer is passed over; the end of the input ends the talk, and all is dark."""
    with listening(heron_lock):
        ran = patcher("diagnose", heron_lock, "gable", "--yard", stdin="x?")
    assert ran.returncode == 1
    assert "Traceback" not in ran.stderr
    assert "can't tell" in ran.stdout
    assert "  1  Lit" in ran.stdout
    assert "  2  Lit" in ran.stdout
    assert "Stopped after 1 question, with no answer but “can't tell”: nothing is known yet." in ran.stdout


def test_a_dot_rests_before_each_pass() -> None:
    frame = Frame("a dot", (), ())
    assert moments(frame) == []
    goes = tuple(goes_of([2, 1]).tolist())
    steps = tuple(np.array([number]) for number in range(3))
    assert moments(Frame("a dot", steps, goes)) == [*[None] * REST, 0, 1, *[None] * REST, 2]
