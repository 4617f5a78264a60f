"""What each channel plays, against a slow definition: pixel by pixel, bin by bin."""

from math import floor
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from patcher.errors import PatcherError
from patcher.frames.code_words import SYMBOLS, words
from patcher.frames.film_code import BIN, LOW, Code, code_of
from patcher.patch.patch import Chain, Link, Patch, Start
from rig.any_show import any_show
from rig.examples import seeds
from rig.shipped import laid

Pixel = tuple[int, int, int, str]
"""Universe and first channel, from 1; channels; run."""


def pixels_of(patch: Patch) -> list[Pixel]:
    """Every pixel that has channels, in the order of its channels: by the spans that a person reads."""
    found = []
    for start in patch.starts:
        for span in start.spans():
            for pixel in range(span.first_pixel, span.last_pixel + 1):
                channel = span.first_channel + (pixel - span.first_pixel) * span.width
                found.append((span.universe, channel, span.width, span.run))
    return sorted(found)


def part_of_full(number: int, width: int, segments: int, step: int) -> tuple[int, float]:
    """Which of its channels a pixel plays in a bin, and how bright.

    Source: the design: a symbol is two bins; segment s of number a lights colour s + a; it is bright, or a quarter of
    that.
    """
    segment, at = divmod(step // 2, SYMBOLS)
    bright = words(segments)[number][segment][at] == 1
    return (segment + number) % width, 1.0 if bright else 0.25


def slow_frames(patch: Patch, universes: list[int], level: float) -> np.ndarray:
    """What goes into each slot in each bin: shape (bins, universes, 512)."""
    every = pixels_of(patch)
    segments = max([3, *(width for _, _, width, _ in every)])
    frames = np.zeros((62 * segments, len(universes), 512), dtype=np.uint8)
    for number, (universe, channel, width, _) in enumerate(every):
        if universe in universes:
            for step in range(len(frames)):
                letter, part = part_of_full(number, width, segments, step)
                slot = floor(part * level * 255 + 0.5)
                frames[step, universes.index(universe), channel - 1 + letter] = slot
    return frames


def sent(code: Code, universes: list[int], level: float) -> np.ndarray:
    frames = code.frames(universes, level)
    assert all(frame.universes == tuple(universes) for frame in frames)
    return np.stack([frame.slots for frame in frames])


def universes_of(patch: Patch) -> list[int]:
    return sorted({universe for own in patch.box_universes.values() for universe in own})


def a_show(seed: int) -> dict:
    """Every second one has many pixels."""
    return any_show(seed, 60 if seed % 2 else 300)


@pytest.mark.parametrize("seed", seeds(6, 16))
def test_frames_are_as_the_slow_definition_has_them(seed: int) -> None:
    # Source: `part_of_full`
    _, patch = laid(a_show(seed))
    universes = universes_of(patch)
    some = universes[: 1 + seed % 3] if seed % 4 == 3 else universes
    level = (0.3, 1.0, 0.07)[seed % 3]
    assert np.array_equal(sent(code_of(patch), some, level), slow_frames(patch, some, level))


@pytest.mark.parametrize("seed", seeds(4, 12))
def test_drive_is_what_is_sent(seed: int) -> None:
    # Source: the frames at full level, which the slow definition holds: 0, a quarter, or all of it
    _, patch = laid(a_show(seed))
    code, universes = code_of(patch), universes_of(patch)
    running = (np.array(universes)[:, None] - 1) * 512 + np.arange(512)
    drive = code.drive(running)
    assert set(np.unique(drive)) == {0.0, LOW, 1.0}
    assert np.array_equal(np.floor(drive * 255 + 0.5), np.moveaxis(sent(code, universes, 1.0), 0, -1))
    # What lies before, behind and between is dark.
    assert not code.drive(np.array([-5, -1, 10**7])).any()


@pytest.mark.parametrize("seed", seeds(6, 20))
def test_each_pixel_plays_each_letter_and_one_at_a_time(seed: int) -> None:
    # Source: the design: each pixel shows each of its colours at least once; one at any time; all else stays dark
    _, patch = laid(a_show(seed))
    code, universes = code_of(patch), universes_of(patch)
    assert {code.segments} == {max(3, int(code.width.max()))}
    assert code.seconds == pytest.approx(code.segments * SYMBOLS * 0.2)
    slots = sent(code, universes, 0.3)
    left = np.ones((len(universes), 512), dtype=bool)
    for universe, channel, width, _ in pixels_of(patch):
        row = universes.index(universe)
        own = slots[:, row, channel - 1 : channel - 1 + width]
        assert ((own > 0).sum(axis=1) == 1).all()
        assert (own.max(axis=0) > 0).all()
        left[row, channel - 1 : channel - 1 + width] = False
    assert not slots[:, left].any()  # nulls and gaps
    assert left.any()


@pytest.mark.parametrize("seed", seeds(6, 16))
def test_all_pixels_change_at_the_same_moments(seed: int) -> None:
    # Source: the design: a symbol is held 0.2 s
    _, patch = laid(a_show(seed))
    slots = sent(code_of(patch), universes_of(patch), 1.0)
    assert BIN == 0.1
    changes = (slots != np.roll(slots, 1, axis=0)).any(axis=(1, 2))
    assert changes[::2].any()
    assert not changes[1::2].any()


def test_level_scales() -> None:
    # Source: arithmetic: an octet is the level's part of 255, to the nearest
    _, patch = laid(any_show(1))
    code, universes = code_of(patch), universes_of(patch)
    full = sent(code, universes, 1.0).astype(float)
    assert set(np.unique(full)) == {0, 64, 255}
    for level in (0.0, 0.01, 0.3, 0.77):
        assert np.abs(sent(code, universes, level) - full * level).max() <= 0.75


def test_pixels_of_three_and_four_letters_together() -> None:
    # Source: the design: a fourth channel gets a segment of its own where there is one; colour (s + a) mod 3 repeats
    tables: dict[str, Any] = {
        "show": {"title": "Two kinds"},
        "pixel": {"rgb": {"colour_order": "RGB"}, "rgbw": {"colour_order": "GRBW"}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 2, "port": {"1": ["three"], "2": ["four"]}}},
        "run": {"three": {"pixel": "rgb", "pixels": 7}, "four": {"pixel": "rgbw", "pixels": 5}},
    }
    _, patch = laid(tables)
    code = code_of(patch)
    assert (code.segments, code.seconds) == (4, pytest.approx(24.8))
    letters = code.letter_of(np.arange(12))
    wide = [width for _, _, width, _ in pixels_of(patch)]
    for number, width in enumerate(wide):
        assert letters[number].tolist() == [(segment + number) % width for segment in range(4)]
        assert set(letters[number].tolist()) == set(range(width))


# --- one thing alone ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", seeds(4, 12))
def test_what_does_not_play_stays_dark_and_the_rest_plays_the_same(seed: int) -> None:
    # Source: the design: --on lights only that. Words keep their numbers, so a clip may be read with the whole show.
    _, patch = laid(a_show(seed))
    universes, every = universes_of(patch), pixels_of(patch)
    runs = {run for *_, run in every}
    chosen = set(sorted(runs)[::2])
    some, whole = code_of(patch, chosen), code_of(patch)
    assert np.array_equal(some.number, whole.number)
    slots = sent(some, universes, 1.0)
    lit = [on for *_, run in every for on in [run in chosen]]
    assert some.lit.tolist() == lit
    for (universe, channel, width, _), on in zip(every, lit, strict=True):
        own = slots[:, universes.index(universe), channel - 1 : channel - 1 + width]
        assert own.any(axis=1).all() if on else not own.any()


# --- more pixels than words ---------------------------------------------------------------------------------------


def a_patch(*pixels: int, channels: int = 3) -> Any:
    """Runs of so many pixels, each with a start of its own, far from each other."""
    at, starts = 1, []
    for number, count in enumerate(pixels):
        link = Link(1, f"run{number}", count, channels)
        starts.append(Start(Chain(f"box{number}", None, None, (link,)), at, 1))
        at += count * channels // 500 + 2
    return SimpleNamespace(starts=starts)


def test_as_many_pixels_as_words_and_no_more() -> None:
    # Source: 33 838 words of three segments, 27 167 of four: `test_words.py`
    most = code_of(a_patch(33_838))
    assert sorted(most.number.tolist()) == list(range(33_838))
    with pytest.raises(PatcherError) as refused:
        code_of(a_patch(30_000, 3_839))
    (finding,) = refused.value.findings
    assert "33838" in finding.says
    assert "33839" in finding.says
    assert "--on" in finding.remedy
    with pytest.raises(PatcherError):
        code_of(a_patch(27_168, channels=4))


def test_parts_of_a_show_that_is_too_large() -> None:
    # Source: the remedy that the refusal names
    patch = a_patch(30_000, 20_000, 9_000)
    part = code_of(patch, ["run1", "run2"])
    assert part.lit.sum() == 29_000
    assert sorted(part.number[part.lit].tolist()) == list(range(29_000))
    dark = part.drive(part.first[~part.lit][::100])
    assert not dark.any()
