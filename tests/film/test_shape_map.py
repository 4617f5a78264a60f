"""A map by the shape of the lights alone."""

from __future__ import annotations

import numpy as np
import pytest

from patcher.film.camera_map import CameraMap
from patcher.film.shape_map import shape_map
from rig.examples import seeds

SHAPE = (360, 640)
PITCH, COLUMNS, ROWS = 0.05, 24, 17


def panel() -> np.ndarray:
    x, y = np.meshgrid(np.arange(COLUMNS) * PITCH, np.arange(ROWS) * PITCH)
    return np.column_stack([x.ravel(), y.ravel()])


def camera(rng: np.random.Generator, turn: float = 0.0) -> CameraMap:
    """One that stands a little to a side, with the lens of a phone."""
    scale = rng.uniform(120, 200)
    a, b = scale * np.cos(turn), scale * np.sin(turn)
    matrix = np.array(
        [[a, b, rng.uniform(120, 260)], [b, -a, rng.uniform(220, 300)], [*rng.uniform(-0.04, 0.04, 2), 1]]
    )
    return CameraMap(matrix, np.array(SHAPE[::-1]) / 2 - 0.5, float(np.hypot(*SHAPE)) / 2, (-0.05, 0.02))


def mapped(places: np.ndarray, true: CameraMap, lights: np.ndarray) -> float | None:
    """Points by which places are off at most; None where there is no map."""
    spacing = float(np.hypot(*(true.picture(places[1:2]) - true.picture(places[:1])).T)[0])
    found = shape_map({"panel": places}, lights, SHAPE, spacing, max(1.5, 0.35 * spacing))
    return None if found is None else float(np.hypot(*(found.picture(places) - true.picture(places)).T).max()) / spacing


@pytest.mark.parametrize("seed", seeds(3, 20))
def test_the_lights_of_a_panel_tell_where_it_is(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places, true = panel(), camera(rng, float(rng.uniform(-0.2, 0.2)))
    lights = true.picture(places) + rng.normal(0, 0.15, places.shape)
    off = mapped(places, true, lights[rng.permutation(len(lights))][: int(0.95 * len(lights))])
    assert off is not None
    assert off < 0.3


@pytest.mark.parametrize("seed", seeds(3, 20))
def test_a_panel_that_is_dark_in_part_may_be_anywhere(seed: int) -> None:
    """Rows that are dark at its edge: the rest may hang higher or lower; no map is better than a wrong one."""
    rng = np.random.default_rng(seed)
    places, true = panel(), camera(rng)
    dark = COLUMNS * int(rng.integers(1, ROWS // 2))
    off = mapped(places, true, true.picture(places)[dark:])
    assert off is None or off < 0.3


@pytest.mark.parametrize("seed", seeds(2, 10))
def test_what_has_another_shape_gives_no_map(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places, true = panel(), camera(rng)
    assert mapped(places, true, rng.uniform([100, 80], [420, 300], (len(places), 2))) is None
    assert mapped(places, true, np.empty((0, 2))) is None
    around = np.linspace(0, 2 * np.pi, 200)[:, None]
    assert mapped(places, true, 200 + 80 * np.hstack([np.cos(around), np.sin(around)])) is None
