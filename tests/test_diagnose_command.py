"""`diagnose`: answers from a yard's lamps through real packets, from a file, and by keys while frames are sent."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from conftest import SHOWS, Patcher
from test_verify import listened

from patcher.address.placement import allocate
from patcher.cli.witness import Witness
from patcher.eye import goes_of
from patcher.faults import build, parse
from patcher.show.reading import read
from patcher.verify import Diagnosis, Frame
from patcher.verify.moments import REST, moments
from patcher.wiring import wire

assert listened


@pytest.mark.parametrize(
    "fault", ["cut:gable/40", "colour-order:eaves=BRG", "swapped-runs:gable,eaves", "dead:lockhouse/1"]
)
def test_lamps_of_a_yard_answer(fault: str, here: Patcher, heron_lock: Path) -> None:
    ran = here("diagnose", heron_lock, "lockhouse/1", "--yard", "--fault", fault, "--json")
    said = json.loads(ran.stdout)
    assert ran.returncode == 1
    assert fault in said["same_look"]
    assert len(said["same_look"]) <= 4
    assert said["sure"]
    assert set(said["questions"][0]) == {"frame", "asks", "answer"}


def test_the_yard_answers_as_the_engine_predicts(heron_lock: Path) -> None:
    """Flicker, shifted boxes and dots through real packets, question by question."""
    reading = read((SHOWS / "heron-lock.toml").read_text(), lambda name: [[float(n), 0.0] for n in range(500)])
    wiring = wire(reading.show)
    patch = allocate(wiring).patch
    for text in (
        "flicker:narrowboat/100",
        "universe-shift:mooring=1",
        "channel-shift:mooring/3=3",
        "dark:narrowboat/7",
    ):
        fault = parse(text, wiring.show)
        witness = Witness(wiring, patch, build(wiring.show, [fault]))
        diagnosis = Diagnosis.start(wiring, patch, "narrowboat")
        while (question := diagnosis.ask()) is not None:
            diagnosis.tell(witness.answer(question))
        assert (fault,) in diagnosis.same_look
        assert len(diagnosis.same_look) <= 2


def test_answers_from_a_file(here: Patcher, heron_lock: Path, tmp_path: Path) -> None:
    first = here("diagnose", heron_lock, "gable", "--yard", "--fault", "reversed:gable", "--json")
    file = tmp_path / "answers.txt"
    file.write_text("".join(f"{q['answer']}  # {q['frame']}\n" for q in json.loads(first.stdout)["questions"]))
    again = here("diagnose", heron_lock, "gable", "--answers", file, "--json")
    assert json.loads(again.stdout) == json.loads(first.stdout)
    file.write_text("")
    short = here("diagnose", heron_lock, "gable", "--answers", file)
    assert short.returncode == 1
    assert "Not sure" in short.stdout


def test_write_changes_the_show_and_keeps_comments(here: Patcher, heron_lock: Path) -> None:
    before = heron_lock.read_text()
    call = ("diagnose", heron_lock, "weir", "--yard", "--fault", "turns:weir=same-way", "--write")
    assert here(*call).returncode == 1
    after = heron_lock.read_text()
    old, new = before.splitlines(), after.splitlines()
    differing = [(a, b) for a, b in zip(old, new, strict=True) if a != b]
    assert differing == [('turns = "serpentine"', 'turns = "same-way"')]


def test_bad_calls_are_refused(here: Patcher, heron_lock: Path) -> None:
    for call in (["towpat"], ["gable", "--fault", "cut:gable/3"], ["gable/3"], ["shelf"]):
        assert here("diagnose", heron_lock, *call).returncode == 2


def test_keys_answer_while_frames_are_sent(patcher: Patcher, heron_lock: Path, listened: None) -> None:
    """A key that is no answer is passed over; the end of the input ends the talk, and all is dark."""
    ran = patcher("diagnose", heron_lock, "gable", "--yard", stdin="x?")
    assert ran.returncode == 1
    assert "Traceback" not in ran.stderr
    assert "can't tell" in ran.stdout
    assert ran.stdout.count("Sent:") == 2
    assert "Not sure after 1 question" in ran.stdout


def test_a_dot_rests_between_its_goes() -> None:
    frame = Frame("a dot", (), ())
    assert moments(frame) == []
    goes = tuple(goes_of([2, 1]).tolist())
    steps = tuple(np.array([number]) for number in range(3))
    assert moments(Frame("a dot", steps, goes)) == [0, 1, *[None] * REST, 2, *[None] * REST * 2]
