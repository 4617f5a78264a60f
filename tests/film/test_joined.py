"""Several clips of one show: what they say together."""

from dataclasses import replace
from itertools import combinations_with_replacement, permutations

import pytest

from patcher.film.joined import ORDER, from_elsewhere, joined
from patcher.film.verdict import Verdict
from rig.film_verdicts import LEFT, faults_of, perfect, words
from rig.heron_lock import heron

WIRING, PATCH, PLAN, _ = heron()
DRAWN = [name for name, run in WIRING.show.runs.items() if run.hung and run.shape_name != "none"]
SOUND = perfect(PLAN)
PIXELS = sum(run.pixels for run in WIRING.show.runs.values() if run.hung)


def with_word(verdict: Verdict, run: str, pixel: int, word: str, lit_by=None) -> Verdict:
    return replace(verdict, pixels=tuple(
        replace(one, word=word, lit_by=lit_by) if (one.run, one.pixel) == (run, pixel) else one
        for one in verdict.pixels
    ))  # fmt: skip


def test_one_clip_is_what_it_says_and_none_says_nothing() -> None:
    faults = faults_of(PLAN, "reversed:gable", "swapped-ports:mooring/1,mooring/2")
    clip = perfect(PLAN, faults)
    assert joined(PLAN, [clip]).verdict.pixels == clip.pixels
    assert joined(PLAN, [clip]).verdict.faults == faults
    nothing = joined(PLAN, [])
    assert (nothing.verdict.proved, len(nothing.verdict.pixels)) == (0, PIXELS)


def test_clips_of_parts_make_the_whole() -> None:
    # Source: what is in the picture of one of them is proved, all of it but what has no picture
    parts = [perfect(PLAN, unseen=[run for at, run in enumerate(DRAWN) if at % 3 != part]) for part in range(3)]
    whole = joined(PLAN, parts)
    assert whole.verdict.pixels == SOUND.pixels
    assert whole.contradicted == ()
    for pixel, clip in zip(whole.verdict.pixels, whole.clip, strict=True):
        if pixel.run in DRAWN:
            assert clip == DRAWN.index(pixel.run) % 3


@pytest.mark.parametrize(("first", "second"), list(combinations_with_replacement(ORDER, 2)))
def test_the_word_that_says_more_wins_and_two_that_differ_win_nothing(first: str, second: str) -> None:
    lit_by = {"other": (9, 1)}
    clips = [with_word(SOUND, "gable", 7, word, lit_by.get(word)) for word in (first, second)]
    for order in permutations(clips):
        found = joined(PLAN, order)
        read = {"proved", "other", "colour"} & {first, second}
        if len(read) > 1:
            assert words(found.verdict)["gable", 7] == "unproved"
        elif "other" not in read:  # with no fault that says so, a pixel that takes other data is believed by nobody
            assert words(found.verdict)["gable", 7] == min(first, second, key=ORDER.index)


def test_a_contradiction_takes_the_proof_from_the_whole_run_and_from_no_other() -> None:
    slipped = perfect(PLAN, faults_of(PLAN, "missing:gable/40"))
    found = joined(PLAN, [SOUND, slipped])
    assert "gable" in found.contradicted
    assert not {word for (run, _), word in words(found.verdict).items() if run == "gable"} & {
        "proved",
        "other",
        "colour",
    }
    assert found.verdict.faults == ()
    assert list(map(str, found.withdrawn)) == ["missing:gable/40"]
    port = set(WIRING.chains[WIRING.ports["gable"]])
    for (run, _), word in words(found.verdict).items():
        assert run in port or run not in DRAWN or word == "proved"


def test_two_names_for_what_two_clips_saw_are_believed_only_where_they_go_together() -> None:
    turned, swapped = faults_of(PLAN, "reversed:gable"), faults_of(PLAN, "swapped-ports:mooring/1,mooring/2")
    moored = {run for port in (1, 2) for run in WIRING.chains[("mooring", port)]}
    truth = (*turned, *swapped)
    one = perfect(PLAN, truth, unseen=moored, named=turned)
    two = perfect(PLAN, truth, unseen={*DRAWN} - moored, named=swapped)
    assert set(joined(PLAN, [one, two]).verdict.faults) == {*truth}
    # a fault that the other clip's light speaks against is not named
    wrong = perfect(PLAN, truth, unseen=moored, named=faults_of(PLAN, "reversed:eaves"))
    assert "reversed:eaves" not in map(str, joined(PLAN, [SOUND, wrong]).verdict.faults)


def test_light_refutes_a_fault_that_only_darkness_told() -> None:
    cut = faults_of(PLAN, "cut:gable/30")
    hidden = [("gable", pixel) for pixel in range(30, WIRING.show.runs["gable"].pixels + 1)]
    behind_a_tree = perfect(PLAN, hidden=hidden, named=cut)
    found = joined(PLAN, [behind_a_tree, perfect(PLAN, seen_from=LEFT)])
    assert found.verdict.faults == ()
    assert found.contradicted == ()
    assert found.withdrawn == cut
    assert {word for (run, _), word in words(found.verdict).items() if run == "gable"} == {"proved"}


def test_a_dark_pixel_is_named_only_by_two_clips_from_different_places_that_prove_its_neighbours() -> None:
    dark = [("gable", 20)]
    front, side = perfect(PLAN, hidden=dark), perfect(PLAN, seen_from=LEFT, hidden=dark)
    found = joined(PLAN, [front, side])
    assert list(map(str, found.verdict.faults)) == ["dark:gable/20"]
    assert words(found.verdict)["gable", 20] == "dark-or-hidden"
    assert joined(PLAN, [front, front]).verdict.faults == ()
    zoomed = perfect(PLAN, seen_from=((80.0, 9.0, 0.0), (9.0, -80.0, 900.0), (0.0, 0.0, 1.0)), hidden=dark)
    assert joined(PLAN, [front, zoomed]).verdict.faults == ()
    wider = perfect(PLAN, seen_from=LEFT, hidden=[("gable", 20), ("gable", 21)])
    assert joined(PLAN, [front, wider]).verdict.faults == ()
    for end in (1, WIRING.show.runs["gable"].pixels):
        ends = [
            perfect(PLAN, seen_from=at, hidden=[("gable", end)])
            for at in (LEFT, ((40.0, 0, 9), (0, -40.0, 9), (0, 0, 1)))
        ]
        assert joined(PLAN, ends).verdict.faults == ()
    assert from_elsewhere(front, side)
    assert not from_elsewhere(front, zoomed)
