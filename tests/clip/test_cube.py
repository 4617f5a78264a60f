"""The mean picture of each bin, from frames that are made here one by one."""

from __future__ import annotations

import numpy as np
import pytest

from patcher.clip.cube import SCALE, Cube, cube, kept_points
from patcher.clip.phase import Phase
from patcher.clip.registration import Laid

HIGH, WIDE = 40, 30
BINS = 12
WHOLE = np.ones((HIGH, WIDE), dtype=bool)


def laid(time: float, matrix: np.ndarray | None = None, part: float = 1.0) -> Laid:
    return Laid(time, np.eye(3) if matrix is None else matrix, part, 0.0, np.empty(0))


def flat(level: np.ndarray) -> np.ndarray:
    """A picture of one colour."""
    return np.broadcast_to(np.round(level).astype(np.uint8), (HIGH, WIDE, 3)).copy()


def shot(times: np.ndarray, levels: np.ndarray, first: float, exposure: float = 0.01) -> list[tuple[float, np.ndarray]]:
    """Frames of a wall whose colour changes every 0.1 s; one that is open at a change mixes both."""
    found = []
    for time in times.tolist():
        inner = np.linspace(time - exposure / 2, time + exposure / 2, 21)
        found.append((time, flat(levels[np.floor((inner - first) / 0.1).astype(int) % len(levels)].mean(axis=0))))
    return found


def values(own: Cube) -> np.ndarray:
    return own.values.astype(float) / SCALE


@pytest.mark.parametrize("rate", [24, 25, 30000 / 1001, 60])
def test_each_bin_has_its_own_light_and_nothing_of_its_neighbours(rate: float) -> None:
    rng = np.random.default_rng(1)
    levels = rng.integers(0, 256, (BINS, 3)).astype(float)
    frames = shot(np.arange(0, 3 * BINS * 0.1, 1 / rate), levels, 0.03)
    own = cube(frames, [laid(time) for time, _ in frames], Phase(0.03, 0.0, 1.0), WHOLE, BINS)
    assert own.missing() == 0
    assert np.abs(values(own) - levels[:, None]).max() < 0.6


def test_a_mean_counts_each_frame_by_its_weight() -> None:
    rng = np.random.default_rng(2)
    when = Phase(0.0, 0.0, 1.0)
    times = np.sort(rng.uniform(0, 5 * BINS * 0.1, 300))
    frames = [(time, flat(rng.integers(0, 256, 3))) for time in times.tolist()]
    own = cube(frames, [laid(time) for time, _ in frames], when, WHOLE, BINS)
    for number in range(BINS):
        total, weights = np.zeros(3), 0.0
        for time, picture in frames:
            into = time / 0.1 % 1
            near = min(into, 1 - into)
            # The words: in full from 0.34 of a bin on, not at all below 0.14.
            weight = min(1.0, max(0.0, (near - 0.14) / 0.2))
            if int(time / 0.1) % BINS == number:
                total += weight * picture[0, 0]
                weights += weight
        assert np.abs(values(own)[number] - total / weights).max() < 0.1
        assert own.weights[number] == pytest.approx(weights, rel=1e-3)


def test_bins_of_dropped_frames_are_said_to_be_missing() -> None:
    rng = np.random.default_rng(3)
    levels = rng.integers(0, 256, (BINS, 3)).astype(float)
    times = np.arange(0, 2 * BINS * 0.1, 1 / 30)
    gone = [3, 7, 8]
    kept = times[~np.isin(np.floor(times / 0.1 + 1e-9).astype(int) % BINS, gone)]
    frames = shot(kept, levels, 0.0)
    own = cube(frames, [laid(time) for time, _ in frames], Phase(0.0, 0.0, 1.0), WHOLE, BINS)
    assert np.flatnonzero(own.weights.max(axis=1) < 0.2).tolist() == gone
    assert own.missing() == pytest.approx(len(gone) / BINS)
    there = np.setdiff1d(np.arange(BINS), gone)
    assert np.abs(values(own)[there] - levels[there, None]).max() < 0.6


def test_frames_that_could_not_be_laid_or_are_not_known_do_not_count() -> None:
    times = np.arange(0, 2 * BINS * 0.1, 1 / 30)
    frames = [(time, flat(np.array([10.0 if n % 2 else 250.0] * 3))) for n, time in enumerate(times.tolist())]
    known = [laid(time, part=0.0 if n % 2 == 0 else 1.0) for n, (time, _) in enumerate(frames) if n % 4 < 3]
    own = cube(frames, known, Phase(0.0, 0.0, 1.0), WHOLE, BINS)
    held = own.weights[:, 0] > 0
    assert held.any()
    assert np.abs(values(own)[held] - 10).max() < 0.1


def test_a_point_keeps_its_light_though_the_picture_moves() -> None:
    rng = np.random.default_rng(4)
    scene = rng.integers(0, 256, (HIGH, WIDE, 3)).astype(np.uint8)
    inside = np.zeros((HIGH, WIDE), dtype=bool)
    inside[8:-8, 8:-8] = True
    frames, known = [], []
    for number, time in enumerate(np.arange(0, BINS * 0.1, 1 / 30).tolist()):
        dx, dy = number % 5 - 2, number % 7 - 3
        frames.append((time, np.roll(scene, (dy, dx), axis=(0, 1))))
        known.append(laid(time, np.array([[1, 0, dx], [0, 1, dy], [0, 0, 1.0]])))
    own = cube(frames, known, Phase(0.0, 0.0, 1.0), inside, BINS)
    assert np.array_equal(own.rows, np.nonzero(inside)[0])
    assert np.array_equal(own.columns, np.nonzero(inside)[1])
    has = own.weights.max(axis=1) > 0
    assert np.abs(values(own)[has] - scene[inside]).max() < 0.1
    assert own.number[own.rows, own.columns].tolist() == list(range(inside.sum()))
    assert (own.number[~inside] == -1).all()


def test_rows_that_are_read_later_fall_into_the_bin_that_they_show() -> None:
    """The lower half of a frame is read 40 ms after the upper: it changes in a frame of an earlier time."""
    rng = np.random.default_rng(5)
    levels = rng.integers(0, 256, (BINS, 3)).astype(float)
    readout = 0.08 / HIGH
    frames = []
    for time in np.arange(0, 4 * BINS * 0.1, 1 / 60).tolist():
        shown = np.floor((time + readout * np.arange(HIGH)) / 0.1 + 1e-9).astype(int) % BINS
        frames.append((time, np.repeat(levels[shown][:, None], WIDE, axis=1).astype(np.uint8)))
    own = cube(frames, [laid(time) for time, _ in frames], Phase(0.0, -readout, 1.0), WHOLE, BINS)
    # Rows of a strip count alike, by its middle: 16 rows are 32 ms here, so their edges see a little of the next bin.
    middle = np.isin(own.rows % 16, (6, 7, 8, 9))
    assert np.abs(values(own)[:, middle] - levels[:, None]).max() < 1


def test_only_what_is_brighter_than_around_it_is_kept() -> None:
    mean = np.full((60, 80), 30, dtype=np.float32)
    mean[20, 30], mean[40, 60] = 90, 60
    kept = kept_points(mean)
    y, x = np.nonzero(kept)
    assert kept[20, 30]
    assert kept[40, 60]
    away = np.minimum(np.hypot(x - 30, y - 20), np.hypot(x - 60, y - 40))
    assert away.max() < 4.3
    assert not kept_points(np.full((60, 80), 30, dtype=np.float32)).any()
