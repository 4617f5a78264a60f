"""A fault as a plain sentence: every kind has one, which names its places and its value."""

from collections import Counter
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.faults import KINDS, Fault, code_in_words, codes, in_words
from patcher.faults.fault import CHOICES, FORMS
from patcher.faults.fault_sentences import SENTENCES, sentence
from patcher.reports.film_picture import fault_lines
from patcher.trade import letter_name
from patcher.walk.items import Item
from patcher.walk.progress import failed
from patcher.walk.record import Record, RecordedAnswer
from patcher.walk.unproved import cannot_be_seen
from rig.heron_lock import heron

PLACES = {"GRID or LOOP": "net", "BOX or BOX/1": "hut/1"}


def example(kind: str, value: str | None = None) -> Fault:
    """A fault of a kind as `help faults` writes it."""
    form = FORMS[kind]
    where = PLACES.get(form.where, form.where.lower()).replace("run,run", "net,sail")
    return Fault(kind, where, form.value if value is None else value)


def test_every_kind_has_a_sentence_and_no_other_has() -> None:
    # Source: KINDS, every kind of fault
    assert SENTENCES.keys() == set(KINDS)
    said = [sentence(example(kind)) for kind in KINDS]
    assert [count for count in Counter(said).values() if count > 1] == [], "no two kinds are said alike"


@pytest.mark.parametrize("kind", KINDS)
def test_a_sentence_names_each_place_and_the_value(kind: str) -> None:
    # Source: nothing that tells two faults of a kind apart is lost in words
    values = CHOICES.get(kind, (FORMS[kind].value,))
    for value in values:
        fault = example(kind, value)
        says = sentence(fault)
        for place in fault.places:
            assert place in says
        assert ":" not in says
        assert "=" not in says
        assert not says.endswith(".")
    told = {sentence(example(kind, value)) for value in values}
    assert len(told) == len(values)
    if FORMS[kind].value.lstrip("-").isdigit():
        low, high = (sentence(example(kind, value)) for value in ("-7", "7"))
        assert "7" in low
        assert "7" in high
        assert low != high
        assert "-" not in low
    if kind == "dark-channel":
        assert letter_name("G") in sentence(example(kind))


def test_words_as_a_person_says_them() -> None:
    # Source: common practice, no source: what a fitter would say
    swapped = Fault("swapped-ports", "gatepost/1,gatepost/2")
    assert in_words([swapped]) == (
        "the plugs of gatepost/1 and gatepost/2 are swapped (swapped-ports:gatepost/1,gatepost/2)"
    )
    cut = Fault("cut", "willow/301")
    assert in_words([swapped, cut]) == (
        "the plugs of gatepost/1 and gatepost/2 are swapped, and no data from pixel willow/301 on "
        "(swapped-ports:gatepost/1,gatepost/2 + cut:willow/301)"
    )
    assert in_words([]) == "wired as planned"
    assert sentence(Fault("shift", "willow", "-1")) == "1 pixel fewer than planned before the first pixel of willow"
    assert sentence(Fault("data-in", "sail", "12-backwards")) == (
        "the data enters sail at place 12 of its outline, against the order of its corners"
    )


@given(st.lists(st.sampled_from(KINDS), min_size=1, max_size=2).map(lambda kinds: [example(kind) for kind in kinds]))
def test_a_saved_code_is_said_as_the_faults_are(faults: list[Fault]) -> None:
    # Source: the record keeps codes; progress and report say them
    assert code_in_words(codes(faults)) == in_words(faults)


def test_a_plug_in_a_port_that_should_be_empty_is_said_so_wherever_a_fault_is_said() -> None:
    # Source: found in use: nothing hangs on lockhouse/3, so no plugs were swapped; `diagnose` said it, the film and
    # what was saved did not.
    wiring, _, _, _ = heron()
    run = wiring.chains["lockhouse", 1][0]
    assert not wiring.chains.get(("lockhouse", 3))
    fault = Fault("swapped-ports", "lockhouse/1,lockhouse/3")
    says = f"the lead of {run} is in lockhouse/3, not in lockhouse/1"
    item = Item(run, "colours")
    saved = RecordedAnswer("no", datetime(2026, 11, 29, tzinfo=UTC), "a", (codes([fault]),))
    assert code_in_words(codes([fault]), wiring).startswith(says)
    assert fault_lines([fault], wiring) == [says]
    assert says in failed(Record(answers={item: saved}), {item: "a"}, wiring)[0]
    other = Fault("swapped-ports", "no port,nor this")
    assert code_in_words(codes([other]), wiring) == code_in_words(codes([other]))


@given(st.text(max_size=30) | st.sampled_from(["none", "gable/17", "cut:", "cut:gable/3=4", "count:hut/1", "cat:hut"]))
def test_a_saved_text_that_is_no_fault_is_said_as_it_is(text: str) -> None:
    # Source: the record is a file that a person may have written in; a pixel may be saved as what was found
    said = code_in_words(text)
    assert said == text or said.endswith(f"({text})")


def test_many_numbers_too_high_are_one_sentence() -> None:
    # Source: found in use: a sound box was said to look the same as 32 faults, each a number too high at a port's end
    many = [Fault("count", f"hut/{port}", str(off)) for port in (1, 2) for off in (1, 2, 20)]
    (said,) = cannot_be_seen(many)
    assert said == "a number of pixels on hut/1 and hut/2 typed in too high. Read it in the box."
    low, shift = cannot_be_seen(
        [Fault("count", "hut/1", "-1"), *(Fault("channel-shift", "hut", n) for n in ("-1", "-2"))]
    )
    assert "too low" in low
    assert shift == (
        "the start of hut typed in 1 or 2 channels too low: at the end of a universe, where no whole pixel fits, so "
        "the box begins at the planned channel all the same. Compare the box's page with the sheet."
    )
