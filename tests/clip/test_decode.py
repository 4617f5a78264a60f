"""Which word a spot plays, and where the cycle begins: from the slots that are sent, with noise."""

from __future__ import annotations

import numpy as np
import pytest

from patcher.clip.decode import clear, decode, disturbed, parts, templates, turn
from patcher.frames.code_words import words
from rig.examples import seeds
from rig.film_lights import line_code, sent

PIXELS = 300
CODE = line_code(PIXELS)
WORDS = templates(CODE)
MIXES = np.array([[0.7, 0.2, 0.1], [0.2, 0.6, 0.2], [0.1, 0.3, 0.6]])


def light(rng: np.random.Generator, pixels: np.ndarray, noise: float, drift: float = 0.0) -> np.ndarray:
    """The light of pixels as a camera sees it: shape (pixels, bins, 3); noise as a part of what a pixel changes by."""
    clean = sent(CODE)[pixels] @ MIXES * rng.uniform(40, 200, (len(pixels), 1, 1))
    change = np.sqrt(clean.var(axis=1).mean(axis=1))[:, None, None]
    slow = drift * change * np.sin(np.linspace(0, 2 * np.pi, CODE.bins) + 1)[:, None]
    return (clean + slow + rng.normal(0, 1, clean.shape) * noise * change).astype(np.float32)


@pytest.mark.parametrize("begin", [0, 1, 2, 61, 100, CODE.bins - 1])
@pytest.mark.parametrize("noise", [0.0, 0.5])
def test_where_the_cycle_begins_is_found(begin: int, noise: float) -> None:
    rng = np.random.default_rng(begin)
    seen = np.roll(light(rng, rng.choice(PIXELS, 40, replace=False), noise), begin, axis=1)
    found = turn(seen, WORDS)
    assert found.bins == begin
    assert found.agrees > found.next_best + 0.25


def test_a_few_strange_lights_do_not_turn_the_cycle() -> None:
    rng = np.random.default_rng(1)
    seen = np.roll(light(rng, rng.choice(PIXELS, 60, replace=False), 0.3), 77, axis=1)
    seen[::4] = rng.choice([0.0, 200.0], seen[::4].shape)
    assert turn(seen, WORDS).bins == 77


def test_noise_begins_nowhere() -> None:
    rng = np.random.default_rng(2)
    found = turn(rng.normal(100, 20, (96, CODE.bins, 3)).astype(np.float32), WORDS)
    assert found.agrees - found.next_best < 0.03


@pytest.mark.parametrize("seed", seeds(2, 10))
def test_words_are_read_under_noise(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pixels = rng.permutation(PIXELS)
    found = decode(clear(light(rng, pixels, 0.0), WORDS), WORDS)
    assert found.pixel.tolist() == pixels.tolist()
    assert found.agrees.min() > 0.97
    # As much noise as light in each colour: the clearest of three colours is read.
    loud = decode(clear(light(rng, pixels, 0.8, drift=0.5), WORDS), WORDS)
    assert (loud.pixel == pixels).mean() > 0.99
    assert (loud.agrees - loud.next_best)[loud.pixel == pixels].min() > 0


def test_how_well_a_word_goes_is_the_correlation_with_it() -> None:
    # Judge: numpy.corrcoef, segment by segment, over what is sent.
    rng = np.random.default_rng(4)
    pixels = rng.choice(PIXELS, 20, replace=False)
    grey = light(rng, pixels, 0.5)
    grey[:] = grey.mean(axis=2, keepdims=True)
    own = sent(CODE)[pixels].sum(axis=2)
    found = decode(clear(grey, WORDS), WORDS)
    whole = []
    for row in range(20):
        each = []
        for segment in range(3):
            bins = slice(62 * segment + 1, 62 * segment + 62)
            each.append(np.corrcoef(grey[row, bins, 0], own[row, bins])[0, 1])
        assert found.pixel[row] == pixels[row]
        assert found.parts[row] == pytest.approx(each, abs=1e-3)
        whole.append(np.mean(each))
    assert found.agrees == pytest.approx(whole, abs=1e-3)


def test_a_dark_colour_leaves_two_segments_and_says_which() -> None:
    rng = np.random.default_rng(5)
    pixels = np.arange(60)
    channels = sent(CODE)[pixels]
    channels[:, :, 1] = 0
    seen = (channels @ MIXES * 100 + rng.normal(0, 1, (60, CODE.bins, 3))).astype(np.float32)
    found = decode(clear(seen, WORDS), WORDS)
    assert found.pixel.tolist() == pixels.tolist()
    # Which segment plays the second colour, from what is sent.
    middle = [sent(CODE)[pixels][:, 62 * s + 5 : 62 * s + 57].max(axis=1).argmax(axis=1) for s in range(3)]
    silent = np.stack(middle, axis=1) == 1
    assert found.parts[~silent].min() > 0.9
    assert np.abs(found.parts[silent]).max() < 0.6


def test_parts_are_those_of_the_word_that_is_asked_for() -> None:
    rng = np.random.default_rng(6)
    held = clear(light(rng, np.arange(10), 0.1), WORDS)
    assert parts(held, WORDS, np.arange(10)).min() > 0.9
    assert parts(held, WORDS, np.arange(10) + 20).mean() < 0.2


@pytest.mark.parametrize("count", [1000, pytest.param(5000, marks=pytest.mark.long)])
def test_words_are_as_far_from_each_other_as_is_said(count: int) -> None:
    # Source: the design: least distance over the first 5 000: 24 whole, 14 with one colour dead, 7 with two.
    own = 1 - 2.0 * words(3)[:count].astype(np.float32)
    apart = [(31 - own[:, s] @ own[:, s].T) / 2 for s in range(3)]
    for each in apart:
        np.fill_diagonal(each, 99)
    assert sum(apart).min() >= 24
    assert min((apart[0] + apart[1]).min(), (apart[1] + apart[2]).min(), (apart[0] + apart[2]).min()) >= 14
    assert min(each.min() for each in apart) >= 7


def passing(begin: int, long: int = 11) -> np.ndarray:
    """The light of a car that passes, brighter than the lights: shape (bins, 1)."""
    glare = np.zeros((CODE.bins, 1))
    glare[begin : begin + long, 0] = 400 * np.hanning(long + 2)[1:-1] + 60 * np.resize([1, -1], long)
    return glare


@pytest.mark.parametrize("begin", [20, 70, 140])
def test_a_car_that_passes_is_left_out_of_account(begin: int) -> None:
    rng = np.random.default_rng(begin)
    pixels = rng.permutation(PIXELS)[:100]
    seen = light(rng, pixels, 0.1) + passing(begin)
    away = disturbed(seen.astype(np.float32))
    assert away[begin + 2 : begin + 9].all()
    assert not away[: begin - 5].any()
    assert not away[begin + 18 :].any()
    own = templates(CODE, away)
    held, spoilt = (decode(clear(seen.astype(np.float32), each), each) for each in (own, WORDS))
    assert (held.pixel == pixels).all()
    assert held.parts.min() > 0.9
    assert spoilt.parts.min(axis=1).max() < 0.9


def test_lights_alone_disturb_nothing_nor_does_light_that_comes_slowly() -> None:
    rng = np.random.default_rng(3)
    for few in (0, 8, 300):
        assert not disturbed(light(rng, rng.permutation(PIXELS)[:few], 0.3, drift=0.4)).any()


def test_of_a_segment_that_is_disturbed_for_the_most_part_all_counts() -> None:
    away = np.zeros(CODE.bins, dtype=bool)
    away[5:50] = True
    away[100:110] = True
    assert [len(bins) for bins in templates(CODE, away).inner] == [61, 51, 61]
