"""The search for one pixel: its words name the pixels that are lit, and whatever an eye sees has an answer."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.answers.witness import Witness
from patcher.diagnosis.case import Question
from patcher.dialogue.pixel_search import Narrowing
from patcher.faults import build, parse
from patcher.frames.looks import COLOURS
from rig.examples import examples
from rig.heron_lock import heron


def searched(run: str, fault: str, colour: str, pointed: int | str | None) -> list[tuple[Question, str]]:
    """The questions of a search and their answers, by an eye before a yard with that fault."""
    wiring, patch, sound, _ = heron()
    witness = Witness(wiring, patch, build(wiring, [parse(fault, wiring)]))
    asked: list[tuple[Question, str]] = []

    def answer(question: Question) -> str:
        key = witness.answer(question)
        asked.append((question, next(one.says for one in question.answers if one.key == key)))
        return key

    witness.question = answer  # type: ignore[method-assign, assignment]
    witness.point = lambda run, pixels, question: pointed  # type: ignore[method-assign, assignment]
    Narrowing(sound, run, witness, lambda line: None).narrow([COLOURS[colour]])
    return asked


@examples(15, 60)
@given(
    st.sampled_from(["gable", "eaves", "towpath", "narrowboat"]), st.sampled_from(["dark", "dark-channel"]), st.data()
)
def test_a_question_names_the_pixels_that_are_lit_and_no_others(run: str, kind: str, data: st.DataObject) -> None:
    # Source: what is sent, pixel by pixel; the words are read back
    wiring, patch, _, _ = heron()
    pixels = wiring.show.runs[run].pixels
    pixel = data.draw(st.integers(1, pixels))
    pointed = data.draw(st.none() | st.just(pixel - 1) | st.integers(0, pixels - 1))
    letter = wiring.show.type_of(wiring.show.runs[run]).colour_order[0]
    fault = f"{kind}:{run}/{pixel}" + f"={letter}" * (kind == "dark-channel")
    for question, _ in searched(run, fault, "white", pointed):
        if question.ask.kind != "even":
            continue
        said = re.search(
            rf"(?:All of {run}|Only {run}(?:/(\d+)| (\d+)–(\d+))) should be (?:lit, )?white", question.asks
        )
        assert said, question.asks
        first, last = int(said[1] or said[2] or 1), int(said[1] or said[3] or pixels)
        spans = [span for span in patch.run_spans(run) if span.first_pixel <= last and span.last_pixel >= first]
        assert question.ask.count == last - first + 1
        assert len(question.frame.steps[0]) == question.ask.count * 3
        assert set(question.frame.universes()) == {span.universe for span in spans}
        assert question.asks.endswith("Is it?") == (first == last)


@pytest.mark.parametrize("pixel", [30, 45, 60])
def test_where_half_a_run_is_lit_an_answer_says_so_and_ends_the_search(pixel: int) -> None:
    # Source: found in use: of a run that was cut in its middle nothing could be said but its colour
    (question, said), *rest = searched("gable", f"cut:gable/{pixel}", "white", None)
    assert question.ask.kind == "whole"
    assert said == "several colours, or only about half of it lit"
    assert rest == []


def test_who_stops_where_a_pixel_is_pointed_at_is_asked_nothing_more() -> None:
    # Source: found in use: "Stop here" was taken as "I can't point at it", and the halves were asked
    assert [question.ask.kind for question, _ in searched("gable", "dark:gable/7", "white", "stop")] == ["whole"]
