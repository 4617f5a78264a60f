"""All words at a spot, and whose light it is: from the slots that are sent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from patcher.clip.decode import templates
from patcher.clip.lights import direct, lights, without
from patcher.frames.code_words import words
from rig.examples import seeds
from rig.film_lights import line_code, sent

PIXELS = 200
CODE = line_code(PIXELS)
WORDS = templates(CODE)
MIX = np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.05, 0.15, 0.8]])


def light(pixels: np.ndarray, level: float = 100.0) -> np.ndarray:
    return (sent(CODE)[pixels] @ MIX * level).astype(np.float32)


def noise(rng: np.random.Generator, count: int, size: float) -> np.ndarray:
    return rng.normal(0, size, (count, CODE.bins, 3)).astype(np.float32)


def apart(count: int, step: float = 20.0) -> np.ndarray:
    return np.column_stack([np.arange(count) * step, np.full(count, 50.0)])


@pytest.mark.parametrize("seed", seeds(2, 20))
@pytest.mark.parametrize("part", [1.0, 0.6])
def test_two_words_at_one_spot_are_both_read(seed: int, part: float) -> None:
    rng = np.random.default_rng(seed)
    own = rng.permutation(PIXELS)[:60]
    first, second = own[:30], own[30:]
    found = lights(apart(30), light(first) + light(second, 100 * part) + noise(rng, 30, 2), WORDS)
    for row in range(30):
        here = set(found.pixel[found.at[:, 0] == row * 20].tolist())
        # Where neither is the clearer one, none of the two may be; another word never is.
        assert here == {first[row], second[row]} or (part == 1.0 and not here)
    assert len(found) > 50
    assert found.agrees.min() > 0.6


@pytest.mark.parametrize("second", [0.0, 0.6])
def test_light_of_a_word_is_how_much_it_makes_red_green_and_blue_swing(second: float) -> None:
    rng = np.random.default_rng(3)
    own = rng.permutation(PIXELS)[:60]
    first = own[:30]
    found = lights(apart(30), light(first) + light(own[30:], 100 * second) + noise(rng, 30, 0.5), WORDS)
    for pixel in first.tolist():
        row = int(np.flatnonzero(found.pixel == pixel)[0])
        for segment in range(3):
            # Its own light alone: the word has a size of 1, so what goes with it is its deviation.
            bins = slice(62 * segment + 1, 62 * segment + 62)
            swings = light(np.array([pixel]))[0, bins].std(axis=0)
            assert found.swing[row, segment] == pytest.approx(swings, abs=2)


def test_a_glow_is_no_second_light() -> None:
    rng = np.random.default_rng(4)
    at = np.array([[50, 50], [54, 50], [50, 57], [62, 50], [120, 50.0]])
    strength = np.array([1.0, 0.3, 0.2, 0.4, 0.1])[:, None, None]
    seen = light(np.full(5, 7)) * strength + noise(rng, 5, 0.3)
    found = lights(at, seen, WORDS)
    assert (found.pixel == 7).all()
    # What stands nine points away and more may be a reflection: it is told.
    assert sorted(found.at[:, 0].tolist()) == [50, 62, 120]
    assert sorted(found.at[:, 1].tolist()) == [50, 50, 50]


def test_what_is_mirrored_onto_another_light_has_no_more_light_than_it_gives() -> None:
    # Source: a film in which a pane mirrored a panel onto itself; all of its lights were taken for reflections.
    rng = np.random.default_rng(8)
    own = rng.permutation(PIXELS)[:20]
    seen = light(own) + 0.2 * light(own[::-1]) + noise(rng, 20, 0.5)
    found = lights(apart(20), seen, WORDS, flux=np.full(20, 100, np.float32))
    assert len(found) == 40
    itself = np.isclose(found.at[:, 0], [apart(20)[own.tolist().index(pixel), 0] for pixel in found.pixel])
    assert itself.sum() == 20
    assert (found.flux[itself] == 100).all()
    assert (found.flux[~itself] < 60).all()
    assert len(direct(found)) == 20


def test_two_lights_as_bright_as_each_other_in_one_place_have_all_the_light_there() -> None:
    own = np.array([3, 40])
    found = lights(apart(1), light(own[:1]) + light(own[1:]), WORDS, flux=np.array([80], np.float32))
    assert found.flux == pytest.approx([80, 80], rel=0.15)


def test_the_stronger_one_stays_whichever_comes_first() -> None:
    at = np.array([[54.0, 50], [50, 50]])
    seen = light(np.array([9, 9])) * np.array([0.2, 1.0])[:, None, None]
    assert lights(at, seen, WORDS).at.tolist() == [[50, 50]]
    assert lights(at[::-1], seen[::-1], WORDS).at.tolist() == [[50, 50]]


def test_neighbours_with_words_of_their_own_both_stay() -> None:
    rng = np.random.default_rng(5)
    at = apart(40, 3.0)
    own = rng.permutation(PIXELS)[:40]
    clean = light(own)
    mixed = clean + noise(rng, 40, 2)
    mixed[1:] += 0.3 * clean[:-1]
    mixed[:-1] += 0.3 * clean[1:]
    found = lights(at, mixed, WORDS)
    assert sorted(found.pixel.tolist()) == sorted(own.tolist())
    for row, pixel in zip(found.at, found.pixel, strict=True):
        assert row[0] == pytest.approx(at[own.tolist().index(pixel), 0])


def test_noise_is_no_light() -> None:
    rng = np.random.default_rng(6)
    assert len(lights(apart(300), noise(rng, 300, 20) + 100, WORDS)) == 0
    blinking = rng.choice([20.0, 120.0], (300, CODE.bins, 1)).astype(np.float32) * np.ones(3, np.float32)
    assert len(lights(apart(300), blinking, WORDS)) == 0
    assert len(lights(np.empty((0, 2)), np.empty((0, CODE.bins, 3), np.float32), WORDS)) == 0


def test_a_word_that_no_pixel_of_the_show_plays_is_not_read() -> None:
    """The neighbours' display, or a part of the show that is not asked for: its words are half like one of ours."""
    strange = words(3)[PIXELS:].reshape(-1, 93)
    ours = words(3)[:PIXELS:2].reshape(-1, 93)
    alike = ((1 - 2.0 * strange) @ (1 - 2.0 * ours).T / 93).max(axis=1)
    nearest = np.argsort(-alike)[:60]
    assert alike[nearest].min() > 0.44
    grey = np.repeat(strange[nearest], 2, axis=1).astype(np.float32) * 80 + 20
    found = lights(apart(60), np.repeat(grey[:, :, None], 3, axis=2), WORDS)
    assert len(found) == 0


def test_what_is_left_without_some_words_is_the_rest() -> None:
    # Judge: numpy.linalg.lstsq, segment by segment and colour by colour.
    rng = np.random.default_rng(7)
    seen = light(np.arange(6)) + light(np.arange(6) + 20, 70) + noise(rng, 6, 5)
    held = [[0], [1, 21], [], [50], [4, 24, 60], [5]]
    left = without(seen, held, WORDS)
    for row, taken in enumerate(held):
        for segment in range(3):
            bins = slice(62 * segment + 1, 62 * segment + 62)
            want = seen[row, bins].astype(float)
            if taken:
                table = np.stack([np.ones(61), *(sent(CODE)[one, bins].sum(axis=1) for one in taken)], axis=1)
                gain = np.linalg.lstsq(table, want, rcond=None)[0]
                want = want - table @ gain + want.mean(axis=0)
            assert left[row, bins] == pytest.approx(want, abs=0.05)


def test_of_two_pixels_that_take_the_same_data_the_one_with_less_light_is_no_reflection() -> None:
    """A run that is sent another one's universe plays its words a second time, and its pixels may be smaller."""
    own = np.arange(10)
    twice = np.concatenate([own, own])
    share = np.concatenate([np.full(10, 100), np.full(10, 45)]).astype(np.float32)
    found = lights(apart(20), light(twice), WORDS, flux=share)
    assert len(direct(found)) == 10
    assert len(direct(found, np.ones(20, dtype=bool))) == 20
    assert (
        len(direct(replace(found, flux=found.flux * np.where(found.flux < 50, 0.2, 1)), np.ones(20, dtype=bool))) == 10
    )
