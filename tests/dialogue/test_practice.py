"""What is said in practice: no command that is printed goes to the real boxes, and a changed file is said to be one."""

from __future__ import annotations

import re
import shutil
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.answers.witness import Witness
from patcher.diagnosis.case import Diagnosis, Question
from patcher.diagnosis.hypotheses import singles
from patcher.dialogue.answerer import Deed, Reply
from patcher.dialogue.consultation import Consulting
from patcher.dialogue.talk import Talk
from patcher.dialogue.walk_through import Walk
from patcher.faults import Fault, build, codes, parse
from patcher.frames.levels import Levels, levels
from patcher.reports.verify_report import Progress, all_passed
from patcher.trade import TEST_LEVEL
from patcher.walk.items import digests, items
from patcher.walk.record import Record
from patcher.walk.step import Step
from rig.examples import examples
from rig.heron_lock import HERON_LOCK, heron
from rig.in_process import run

SENDS = ("send", "diagnose", "verify", "phone", "film")
"""Commands that send to the boxes, or keep what was seen of them, and have the option that practises."""


def commands(said: Sequence[str]) -> list[str]:
    """The commands of some lines that send, or keep what was seen: each up to its colon."""
    found = re.findall(rf"patcher (?:{'|'.join(SENDS)}) [^:;,\n]*", "\n".join(said))
    return [command for command in found if not command.endswith("asks for them.")]


@cache
def faults_at(thing: str) -> list[Fault]:
    return [fault for fault, _ in singles(heron()[2], [thing])]


class Asked:
    """Somebody who is asked nothing."""


@examples(6, 150)
@given(st.data())
def test_a_command_that_is_printed_in_practice_goes_to_the_simulated_boxes(data: st.DataObject) -> None:
    # Source: found in use: a practice ended with a command that would have sent to the real boxes.
    plan = heron()[2]
    thing = data.draw(st.sampled_from([*plan.wiring.show.runs]))
    fault = data.draw(st.sampled_from(faults_at(thing)))
    practice = data.draw(st.booleans())
    said: list[str] = []
    consulting = Consulting(HERON_LOCK, plan, Asked(), said.append, practice)  # type: ignore[arg-type]
    consulting.say_remedies([(fault,)])
    consulting.say_not_wiring(thing)
    assert commands(said)
    for command in commands(said):
        assert (" --yard" in command) is practice, command
    for command in re.findall(r"patcher send (\w+) \S+(?: --yard)? --on (\S+?)(?=[:\s])", "\n".join(said)):
        words = ["send", command[0], HERON_LOCK, *["--yard"] * practice, "--on", command[1], "--dry-run"]
        assert run(Path(), *words).returncode == 0


class Stops:
    """Somebody who says no to a step, stops its diagnosis at once, and then the walk-through."""

    def __init__(self) -> None:
        self.replies = [Reply("no", ("gable",))]

    def step(self, step: Step, sent: Sequence[Levels]) -> Reply:
        return self.replies.pop() if self.replies else Reply("stop")

    def question(self, question: Question) -> str | None:
        return None

    def point(self, run: str, pixels: int, question: Question) -> int | None:
        return None

    def deed(self, *, writable: bool) -> Deed:
        return "leave"

    def take_up(self, things: Sequence[str]) -> str | None:
        return None


@pytest.mark.parametrize("practice", [True, False])
def test_a_walk_through_that_is_stopped_goes_on_where_it_was(tmp_path: Path, practice: bool) -> None:
    wiring, patch, _, steps = heron()
    said: list[str] = []
    chosen = tuple(step for step in steps if any(subject.thing == "gable" for subject in step.subjects))[:1]
    known = digests(wiring, patch, items(wiring))
    walk = Walk(
        tmp_path / "show.toml", wiring, patch, known, chosen, Stops(),  # type: ignore[arg-type]
        lambda look: levels(look, wiring, patch, patch.universes, TEST_LEVEL), said.append, practice=practice,
    )  # fmt: skip
    walk.go()
    (command,) = commands(said)
    assert command == f"patcher diagnose {tmp_path}/show.toml{' --yard' * practice} gable"


@pytest.mark.parametrize("by_hand", [True, False])
def test_who_practises_by_hand_is_told_to_go_on_so(by_hand: bool) -> None:
    wiring, patch, _, _ = heron()
    progress = Progress(HERON_LOCK, wiring, patch, Record(), {}, practice=True)
    assert ("--by-hand" in all_passed(progress, by_hand=by_hand)) is by_hand
    assert "--by-hand" not in all_passed(Progress(HERON_LOCK, wiring, patch, Record(), {}), by_hand=by_hand)


class Sees(Witness):
    """What the yard shows; nobody fixes anything."""

    def deed(self, *, writable: bool) -> Deed:
        return "leave"


SWAPPED = "swapped-ports:mooring/1,mooring/2"


@cache
def swapped() -> tuple[Sees, Diagnosis]:
    """Who sees two swapped ports, and the diagnosis that names them."""
    wiring, patch, _, _ = heron()
    witness = Sees(wiring, patch, build(wiring, [parse(SWAPPED, wiring)]))
    diagnosis = Diagnosis.start(wiring, patch, "towpath")
    while (question := diagnosis.ask()) is not None:
        diagnosis.tell(witness.answer(question))
    return witness, diagnosis


@pytest.mark.long
@pytest.mark.parametrize("practice", [True, False])
def test_a_file_that_was_changed_for_a_fault_of_the_yard_is_said_to_be(tmp_path: Path, practice: bool) -> None:
    # Source: found in use: an invented fault went into the real show file, and nothing said so.
    show = Path(shutil.copy(HERON_LOCK, tmp_path))
    shutil.copy(HERON_LOCK.parent / "willow.csv", tmp_path)
    said: list[str] = []
    witness, diagnosis = swapped()
    talk = Talk(show, "towpath", False, True, said.append, practice)
    assert codes(diagnosis.found) == SWAPPED
    talk._fix(Consulting(show, heron()[2], witness, said.append, practice), diagnosis, witness)
    assert show.read_text() != HERON_LOCK.read_text()
    warned = [line for line in said if "work on a copy" in line]
    assert len(warned) == practice
    if practice:
        assert said.index(warned[0]) == next(n for n, line in enumerate(said) if "Changed:" in line) + 1
