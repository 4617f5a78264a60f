"""Frames of a grid that were laid a pixel beside where they lie, put back by the words that its dots play."""

from __future__ import annotations

import numpy as np
import pytest

from patcher.clip.cube import cube
from patcher.clip.phase import Phase
from patcher.clip.registration import Laid, shifted
from patcher.clip.slips import Known, relaid, slipped
from patcher.frames.film_code import LOW
from rig.examples import seeds

PITCH, COLUMNS, ROWS, SHAPE = 6.0, 9, 7, (72, 88)
BINS, RATE = 62, 30
WHEN = Phase(0.0, 0.0, 1.0)
TRUE, BESIDE = np.array([2.0, 1.0]), np.array([PITCH, 0.0])


def dots() -> np.ndarray:
    x, y = np.meshgrid(np.arange(COLUMNS) * PITCH + 18, np.arange(ROWS) * PITCH + 16)
    return np.column_stack([x.ravel(), y.ravel()])


def pictures(rng: np.random.Generator, level: np.ndarray, moved: np.ndarray) -> list[tuple[float, np.ndarray]]:
    """Frames of dots that play for a cycle, each moved by so many points."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    found = []
    for number, by in enumerate(moved):
        time = (number + 0.5) / RATE
        at = dots() + by
        away = (x[..., None] - at[:, 0]) ** 2 + (y[..., None] - at[:, 1]) ** 2
        grey = (np.exp(-away / (2 * 1.1**2)) * level[:, int(time / 0.1) % BINS]).sum(axis=-1) * 200
        grey = (grey + rng.normal(0, 3, SHAPE)).clip(0, 255)
        found.append((time, np.repeat(grey[..., None], 3, axis=2).astype(np.uint8)))
    return found


def laid(times: list[float], by: np.ndarray) -> list[Laid]:
    return [Laid(time, shifted(*own), 1.0, 0.0, np.empty(0)) for time, own in zip(times, by, strict=True)]


@pytest.mark.parametrize("seed", seeds(2, 12))
def test_frames_that_slipped_are_seen_and_put_back(seed: int) -> None:
    """Most lie where their lights were read; those before a jolt, and the last, a pixel beside, to either side."""
    rng = np.random.default_rng(seed)
    level = LOW + (1 - LOW) * np.repeat(rng.integers(0, 2, (COLUMNS * ROWS, BINS // 2)), 2, axis=1)
    count = round(BINS * 0.1 * RATE)
    moved = np.zeros((count, 2))
    jolt = int(rng.integers(20, 50))
    moved[jolt:] = TRUE
    slip = np.zeros_like(moved)
    slip[:jolt] = -BESIDE
    slip[jolt + 100 :] = BESIDE
    frames = pictures(rng, level, moved)
    times = [time for time, _ in frames]
    lights = Known(dots(), level, 14)

    def made(by: np.ndarray):
        return cube(frames, laid(times, by), WHEN, np.ones(SHAPE, dtype=bool), BINS)

    assert not slipped(made(moved), lights)
    assert slipped(made(moved + slip), lights)
    back = np.array([matrix[:2, 2] for matrix in relaid(frames, laid(times, moved + slip), WHEN, lights)])
    # Where the first frame lies, all do; at the jolt a frame or two may be told of either place.
    away = np.hypot(*(back - moved - (back - moved)[0]).T)
    assert (away[np.abs(np.arange(count) - jolt) > 4] < 1.5).mean() > 0.95
    right = np.array([matrix[:2, 2] for matrix in relaid(frames, laid(times, moved), WHEN, lights)])
    assert np.abs(right - moved).max() < 1.5


def test_dots_that_all_play_the_same_tell_no_slip() -> None:
    """There are no words then: nothing is put anywhere else."""
    rng = np.random.default_rng(3)
    level = np.repeat(
        LOW + (1 - LOW) * np.repeat(rng.integers(0, 2, (1, BINS // 2)), 2, axis=1), COLUMNS * ROWS, axis=0
    )
    moved = np.zeros((60, 2))
    frames = pictures(rng, level, moved)
    found = relaid(frames, laid([time for time, _ in frames], moved), WHEN, Known(dots(), level, 14))
    assert np.abs(np.array(found) - np.eye(3)).max() < 1e-9
