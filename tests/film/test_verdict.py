"""What is said of each pixel, where all that is seen of it is known."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from patcher.faults import departure, parse
from patcher.film.evidence import Evidence
from patcher.film.faults_seen import Explained
from patcher.film.verdict import Verdict, verdict
from patcher.patch.patch import written
from rig.examples import later
from rig.hut import hut
from rig.made_up_film import Stage, explained, filmed


@cache
def sound() -> tuple[Stage, Evidence, Explained]:
    """A hut that is wired as planned, of which every light is read."""
    own = hut()
    seen = filmed(own, {}, np.random.default_rng(5), lost=0.0).seen
    assert seen is not None
    return own, seen, explained(seen)


def of(found: Verdict, run: str) -> list:
    return [one for one in found.pixels if one.run == run]


def said(text: str, seed: int = 5) -> Verdict:
    """What is said of a hut with this fault, of which every light is read."""
    own = hut()
    fault = parse(text, own.plan.wiring)
    seen = filmed(own, departure(own.plan, (fault,)).takes, np.random.default_rng(seed), lost=0.0).seen
    assert seen is not None
    return verdict(seen, explained(seen))


def test_each_pixel_is_said_once_in_the_order_of_the_file() -> None:
    own, seen, found = sound()
    whole = verdict(seen, found)
    show = own.plan.wiring.show
    assert [(one.run, one.pixel) for one in whole.pixels] == [
        (run, pixel) for run in show.runs for pixel in range(1, show.runs[run].pixels + 1)
    ]
    assert whole.proved == Counter(one.word for one in whole.pixels)["proved"]
    assert whole.faults == ()


def test_a_sound_hut_is_proved_by_its_own_addresses_where_it_hangs() -> None:
    own, seen, found = sound()
    whole = verdict(seen, found)
    assert whole.proved > 0.6 * len(whole.pixels)
    for one in whole.pixels:
        assert one.word in ("proved", "unproved")
        assert one.lit_by is not None
        # Universe and channel of its first channel: the least that it takes.
        assert one.lit_by == written(int(own.plan.takes[one.run][one.pixel - 1].min()))
        at = seen.map.picture(own.places[one.run][[one.pixel - 1]])[0]
        assert one.at == pytest.approx(tuple(at), abs=2.0)


def test_pixels_out_of_the_picture_are_unseen_and_nowhere() -> None:
    _, seen, found = sound()
    wide = 0.6 * seen.mean.shape[1]
    part = verdict(replace(seen, mean=seen.mean[:, : int(wide)]), found)
    whole = verdict(seen, found)
    for one, before in zip(part.pixels, whole.pixels, strict=True):
        assert before.at is not None
        if before.at[0] > wide - 1:
            assert (one.word, one.at) == ("unseen", None)
        elif before.at[0] < wide - 4:
            assert one.word == before.word


def test_a_light_in_another_colour_is_said_to_be_so() -> None:
    _, seen, found = sound()
    whole = verdict(seen, found)
    target = next(one for one in whole.pixels if one.word == "proved")
    row = int(found.fits[target.run].row[target.pixel - 1])
    hue = seen.hue.copy()
    hue[row] = np.roll(hue[row], 1)
    found_now = verdict(replace(seen, hue=hue), found)
    other = [b for a, b in zip(whole.pixels, found_now.pixels, strict=True) if a.word != b.word]
    assert [(one.run, one.pixel, one.word) for one in other] == [(target.run, target.pixel, "colour")]


def test_a_colour_that_was_not_told_proves_nothing() -> None:
    _, seen, found = sound()
    hue = np.full_like(seen.hue, -2)
    assert verdict(replace(seen, hue=hue), found).proved == 0


def test_a_dark_letter_leaves_its_pixel_unproved_and_the_others_proved() -> None:
    before = verdict(*sound()[1:]).proved
    found = said("dark-channel:panel/13=B")
    assert of(found, "panel")[12].word == "colour"
    assert found.proved >= before - 8


def test_pixels_behind_a_cut_are_dark_or_hidden_and_have_no_address() -> None:
    found = said("cut:ledge/9")
    words = [one.word for one in of(found, "ledge")]
    assert set(words[8:]) == {"dark-or-hidden"}
    assert all(one.lit_by is None for one in of(found, "ledge")[8:])
    assert "dark-or-hidden" not in words[:8]


def test_a_run_that_is_turned_round_takes_other_addresses() -> None:
    own, found = hut(), said("reversed:sill")
    planned = [written(int(row.min())) for row in own.plan.takes["sill"]]
    pixels = of(found, "sill")
    assert [one.lit_by for one in pixels] == planned[::-1]
    # The one in the middle takes its own.
    assert {one.word for n, one in enumerate(pixels) if n != 7} == {"other"}


@pytest.mark.parametrize("text", ["colour-order:sill=RGB", *later("colour-order:panel=BGR")])
def test_a_run_of_another_colour_order_is_not_proved(text: str) -> None:
    run = text.split(":")[1].split("=")[0]
    found = said(text)
    assert not any(one.word == "proved" for one in of(found, run))


def less_of_the_panel(rows: np.ndarray, beside: float = 0.0) -> Verdict:
    """What is said of the hut where some rows of the panel's lights are not read, or read beside their places."""
    own = hut()
    seen = filmed(own, {}, np.random.default_rng(5), lost=0.0).seen
    assert seen is not None
    every, _ = seen.rows(seen.code.word_of(own.plan.takes["panel"]))
    gone = every[rows[rows < len(every)]]
    if beside:
        at = seen.lights.at.copy()
        at[gone] += beside
        return verdict(moved := replace(seen, lights=replace(seen.lights, at=at)), explained(moved))
    kept = np.setdiff1d(np.arange(len(seen.lights)), gone)
    less = replace(seen, lights=seen.lights.of(kept), hue=seen.hue[kept])
    return verdict(less, explained(less))


def test_of_a_run_whose_lights_are_partly_hidden_the_others_are_proved() -> None:
    found = less_of_the_panel(4 * np.arange(200))
    words = [one.word for one in of(found, "panel")]
    assert words.count("proved") > 0.7 * len(words)


@pytest.mark.long
@pytest.mark.parametrize(("rows", "beside"), [(np.flatnonzero(np.arange(800) % 5 < 3), 0.0), (4 * np.arange(200), 9.0)])
def test_a_run_most_of_which_is_not_where_it_should_be_is_not_trusted(rows: np.ndarray, beside: float) -> None:
    """Three of five of a run's lights missing, or one of four elsewhere: nothing of it is proved."""
    found = less_of_the_panel(rows, beside)
    assert not any(one.word == "proved" for one in of(found, "panel"))
    # What blinks though nobody can read it is not dark.
    assert not any(one.word == "dark-or-hidden" for one in found.pixels)


def test_what_is_hidden_is_dark_or_hidden_and_no_fault() -> None:
    own = hut()
    film = filmed(own, {}, np.random.default_rng(11), lost=0.12)
    assert film.seen is not None
    found = verdict(film.seen, explained(film.seen))
    hidden = [one for one in found.pixels if one.word == "dark-or-hidden"]
    assert found.faults == ()
    assert 1 <= len(hidden) <= 0.12 * len(found.pixels)
    for one in hidden:
        assert one.at is not None
        assert film.seen.look(np.array([one.at])).std(axis=1).sum() < 4
