"""Lights that stand closer than a picture parts them, told apart: against a dense solution by another library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from patcher.clip.cube import SCALE, Cube
from patcher.film.sites import DAMPED, REACH, SPREADS, parted, together
from rig.examples import seeds
from rig.film_lights import cube_of

SHAPE = (34, 60)
BINS = 40


def row_of(apart: float, count: int) -> np.ndarray:
    """A slanting row of places."""
    step = np.array([np.cos(0.2), np.sin(0.2)]) * apart
    return np.array([8.3, 10.4]) + np.arange(count)[:, None] * step


def blinks(rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.choice([15.0, 60.0], (count, BINS, 1)) * rng.uniform(0.3, 1, (count, 1, 3))


@pytest.mark.parametrize("apart", [2.0, 2.5, 4.0])
@pytest.mark.parametrize("spread", [1.0, 1.2])
@pytest.mark.parametrize("seed", seeds(1, 4))
def test_lights_two_points_apart_are_parted(apart: float, spread: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    at, light = row_of(apart, 11), blinks(rng, 11)
    own = cube_of(at, light, SHAPE, spread)
    found = parted(own, at)
    assert found.spread == spread
    assert np.allclose(found.at, at, atol=1e-6)
    for seen, true in zip(found.light, light, strict=True):
        change = true - true.mean(axis=0)
        assert np.corrcoef((seen - seen.mean(axis=0)).ravel(), change.ravel())[0, 1] > 0.99
        assert np.abs(seen - seen.mean(axis=0) - change).max() < 0.25 * np.abs(change).max()


@pytest.mark.parametrize("seed", seeds(2, 5))
def test_their_light_is_that_of_a_dense_solution(seed: int) -> None:
    # Judge: scipy.optimize.lsq_linear over a dense table, damped by rows of its own.
    rng = np.random.default_rng(seed)
    at, light = row_of(2.5, 10) + rng.normal(0, 0.2, (10, 2)), blinks(rng, 10)
    own = cube_of(at, light, SHAPE, SPREADS[3])
    noisy = np.clip(own.values + rng.normal(0, 0.5 * SCALE, own.values.shape), 0, None).astype(np.uint16)
    own = Cube(SHAPE, own.rows, own.columns, noisy, own.weights)
    found = parted(own, at)
    assert found.spread == SPREADS[3]
    x, y = own.columns[:, None], own.rows[:, None]
    table = np.exp(-((x - at[:, 0]) ** 2 + (y - at[:, 1]) ** 2) / (2 * found.spread**2))
    middle = np.round(at)
    table[(np.abs(x - middle[:, 0]) > REACH) | (np.abs(y - middle[:, 1]) > REACH)] = 0
    damp = np.sqrt(DAMPED * (table**2).sum(axis=0).mean())
    dense = np.vstack([table, np.eye(10) * damp])
    seen = own.values.astype(float) / SCALE
    for number in rng.choice(BINS, 4, replace=False).tolist():
        for colour in range(3):
            aim = np.append(seen[number, :, colour] - seen[:, :, colour].mean(axis=0), np.zeros(10))
            assert found.light[:, number, colour] == pytest.approx(lsq_linear(dense, aim).x, abs=0.02)


def test_a_site_that_stays_dark_takes_no_light_of_its_neighbours() -> None:
    rng = np.random.default_rng(3)
    at, light = row_of(2.5, 9), blinks(rng, 9)
    light[4] = 0
    found = parted(cube_of(at, light, SHAPE, 1.0), at).light
    size = found.std(axis=1).sum(axis=1)
    assert size[4] < 0.1 * np.delete(size, 4).min()


def test_places_on_each_other_are_one_site() -> None:
    points = np.array([[10, 10], [10.3, 10], [10.6, 10.1], [20, 10], [30, 10], [30, 10.44], [40, 10], [40.46, 10.0]])
    found = together(points)
    assert len(found) == 5
    assert found[np.argsort(found[:, 0])] == pytest.approx(
        np.array([[10.3, 10.1 / 3 + 20 / 3], [20, 10], [30, 10.22], [40, 10], [40.46, 10]])
    )
    rng = np.random.default_rng(4)
    double = parted(cube_of(np.array([[20.0, 15.0]]), blinks(rng, 1), SHAPE, 1.0), np.array([[20, 15], [20.2, 15]]))
    assert len(double.at) == len(double.light) == len(double.tint) == 1


def test_places_outside_the_picture_are_no_sites() -> None:
    rng = np.random.default_rng(5)
    own = cube_of(np.array([[20.0, 15.0]]), blinks(rng, 1), SHAPE, 1.0)
    found = parted(own, np.array([[20, 15], [-5, 15], [70, 15], [20, 40], [20, -1e6]]))
    assert found.at.tolist() == [[20, 15]]
    none = parted(own, np.array([[-5.0, 15.0]]))
    assert none.light.shape == (0, BINS, 3)


def test_the_tint_is_of_points_that_are_never_too_bright() -> None:
    """A red light so bright that its middle is clipped and bleeds into white: its flanks still are red."""
    rng = np.random.default_rng(6)
    at = np.array([[15.0, 15.0], [40.0, 15.0]])
    light = rng.choice([60.0, 400.0], (2, BINS, 1)) * np.array([1.0, 0.1, 0.1])
    own = cube_of(at, light, SHAPE, 1.2, ground=2)
    over = own.values[..., :1] >= 250 * SCALE
    values = np.where(over, 255 * SCALE, own.values).astype(np.uint16)
    found = parted(Cube(SHAPE, own.rows, own.columns, values, own.weights), at)
    whole, tint = (each.std(axis=1) / each.std(axis=1).sum(axis=1, keepdims=True) for each in (found.light, found.tint))
    assert (tint[:, 0] > 0.8).all()
    assert (whole[:, 0] < 0.65).all()


def test_what_is_too_bright_only_while_something_else_shines_keeps_its_colour() -> None:
    rng = np.random.default_rng(1)
    at, light = row_of(4.0, 8), blinks(rng, 8)
    glare = np.zeros((BINS, 1))
    glare[10:14] = 250.0
    own = cube_of(at, light, SHAPE, 1.0)
    values = np.clip(own.values + (glare[:, None] * SCALE), 0, 255 * SCALE).astype(np.uint16)
    own = Cube(SHAPE, own.rows, own.columns, values, own.weights)
    counted = np.flatnonzero(glare[:, 0] == 0)
    assert not parted(own, at).tint.any()
    tint = parted(own, at, counted).tint[:, counted]
    for seen, true in zip(tint, light[:, counted], strict=True):
        assert np.corrcoef((seen - seen.mean(axis=0)).ravel(), (true - true.mean(axis=0)).ravel())[0, 1] > 0.95
