"""The question whether all is alike: what is dark in part is not named as lit all along."""

import re

import pytest

from patcher.answers.witness import Witness
from patcher.diagnosis.case import Diagnosis
from patcher.diagnosis.question_words import asks
from patcher.faults import build, departure, parse
from rig.examples import later
from rig.heron_lock import heron


def names(words: str, begins: str) -> set[str]:
    found = re.search(rf"{begins} ([\w\-, ]+?)(?: and the lit part| should be)", words)
    return {*re.split(r", | and ", found[1])} if found else set()


@pytest.mark.long
@pytest.mark.parametrize(
    ("thing", "fault"),
    [
        ("gable", "cut:gable/40"), ("lockhouse/1", "cut:eaves/20"),
        *later(("mooring/2", "count:mooring/2=-50"), ("gable", "reversed:gable")),
    ],
)  # fmt: skip
def test_only_what_is_lit_all_along_is_named_so(thing: str, fault: str) -> None:
    # Source: two readers who were asked whether any pixel of a run is dark of which half was, and had said so before
    wiring, patch, plan, _ = heron()
    faults = [parse(fault, wiring)]
    takes = {**plan.takes, **departure(plan, faults).takes}
    witness, asked = Witness(wiring, patch, build(wiring, faults)), 0
    diagnosis = Diagnosis.start(wiring, patch, thing)
    while (question := diagnosis.ask()) is not None:
        key = witness.answer(question)
        said = next(one.says for one in question.answers if one.key == key)
        words = asks(wiring.show, question.ask)
        if question.ask.kind == "alike" and not question.ask.steady and said == "all are alike":
            asked += 1
            lit = {run: (takes[run] >= 0).any(axis=1) for run in question.ask.runs}
            assert names(words, "All of") == {run for run, own in lit.items() if own.all()}
            assert names(words, "he lit part of") == {run for run, own in lit.items() if own.any() and not own.all()}
        diagnosis.tell(key)
    assert asked
