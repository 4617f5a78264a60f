"""Where something blinks, and how its light goes, in pictures of known lights."""

from __future__ import annotations

import numpy as np
import pytest

from patcher.clip.cube import SCALE, Cube
from patcher.clip.spots import LEAST_ACTIVE, kept_activity, series, spots
from rig.film_lights import cube_of

SHAPE = (60, 90)
BINS = 30


def blinks(rng: np.random.Generator, count: int) -> np.ndarray:
    """Light of pixels that blink each in its own colour: shape (pixels, bins, 3)."""
    return rng.choice([20.0, 120.0], (count, BINS, 1)) * rng.dirichlet(np.ones(3), count)[:, None]


def test_spots_are_where_light_changes_and_not_where_it_only_shines() -> None:
    rng = np.random.default_rng(1)
    at = np.array([[12.3, 10.7], [40.1, 30.4], [70.6, 44.2], [20.1, 45.9]])
    light = blinks(rng, 4)
    light[3] = 150.0
    found = spots(cube_of(at, light, SHAPE, 1.1), 100)
    assert len(found) == 3
    away = np.hypot(*(found[:, None] - at[None, :3]).transpose(2, 0, 1))
    assert sorted(away.argmin(axis=1).tolist()) == [0, 1, 2]
    assert away.min(axis=1).max() < 0.2


def test_those_that_change_most_come_first_and_no_more_than_asked_for() -> None:
    rng = np.random.default_rng(2)
    at = np.array([[15.0 + 12 * n, 30.0] for n in range(5)])
    strength = np.array([0.5, 1.0, 0.25, 0.75, 0.125])
    light = rng.choice([20.0, 120.0], (1, BINS, 1)) * np.ones((5, 1, 3)) * strength[:, None, None]
    own = cube_of(at, light, SHAPE, 1.1)
    assert np.allclose(spots(own, 100), at[np.argsort(-strength)], atol=0.1)
    assert np.allclose(spots(own, 2), at[[1, 3]], atol=0.1)


def test_how_much_a_point_changes_is_its_standard_deviation() -> None:
    # Source: a square wave between two values a part of the time p has a deviation of (a - b) × sqrt(p (1 - p)).
    values = np.zeros((20, 3, 3), dtype=np.uint16)
    values[:5, 0, 0] = 100 * SCALE
    values[::2, 1] = 40 * SCALE
    own = Cube((1, 3), np.zeros(3, np.int32), np.arange(3, dtype=np.int32), values, np.ones((20, 1), np.float32))
    assert kept_activity(own) == pytest.approx([100 * np.sqrt(0.25 * 0.75), 20 * np.sqrt(3), 0], rel=1e-4)


def test_nothing_blinks_where_noise_is_small() -> None:
    rng = np.random.default_rng(3)
    own = cube_of(np.array([[30.0, 30.0]]), np.full((1, BINS, 3), 90.0), SHAPE, 1.1)
    noisy = (own.values + rng.normal(0, 0.1 * LEAST_ACTIVE * SCALE, own.values.shape)).astype(np.uint16)
    assert len(spots(Cube(own.shape, own.rows, own.columns, noisy, own.weights), 100)) == 0


@pytest.mark.parametrize("where", [(20.0, 20.0), (20.4, 19.7), (0.0, 0.0), (89.0, 59.0), (-0.5, 30.2), (44.6, 59.4)])
def test_the_light_of_an_even_wall_is_its_light_even_at_its_edge(where: tuple[float, float]) -> None:
    rng = np.random.default_rng(4)
    level = rng.uniform(0, 250, (BINS, 3))
    own = cube_of(np.array([[0.0, 0.0]]), np.zeros((1, BINS, 3)), SHAPE, 1.0)
    values = np.broadcast_to((level * SCALE).round().astype(np.uint16)[:, None], own.values.shape).copy()
    wall = Cube(own.shape, own.rows, own.columns, values, own.weights)
    found = series(wall, np.array([where]))
    assert found.shape == (1, BINS, 3)
    assert found[0] == pytest.approx(level, abs=0.02)


def test_the_light_of_a_spot_goes_as_it_does() -> None:
    rng = np.random.default_rng(5)
    at, light = np.array([[30.3, 20.6], [60.0, 41.0]]), blinks(rng, 2)
    found = series(cube_of(at, light, SHAPE, 1.2), at)
    for seen, own in zip(found, light, strict=True):
        gain = (seen - 5).sum() / own.sum()
        assert 0.3 < gain < 1
        assert np.allclose(seen - 5, own * gain, atol=0.3)


def test_points_that_are_not_kept_have_no_say() -> None:
    rng = np.random.default_rng(6)
    whole = cube_of(np.array([[20.0, 20.0]]), blinks(rng, 1), SHAPE, 1.2)
    kept = (whole.rows < 21) & (np.hypot(whole.rows - 20, whole.columns - 20) < 10)
    part = Cube(SHAPE, whole.rows[kept], whole.columns[kept], whole.values[:, kept], whole.weights)
    found = series(part, np.array([[20.0, 20.0], [60.0, 50.0]]))
    # Judge: the weighted mean, point by point.
    total, weights = np.zeros((BINS, 3)), 0.0
    for y in range(18, 21):
        for x in range(18, 23):
            weight = np.exp(-((x - 20) ** 2 + (y - 20) ** 2) / 2)
            total += weight * whole.values[:, y * SHAPE[1] + x] / SCALE
            weights += weight
    assert found[0] == pytest.approx(total / weights, rel=1e-3)
    assert (found[1] == 0).all()
