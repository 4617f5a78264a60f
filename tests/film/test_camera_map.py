"""The map from the plan to the picture, held against OpenCV's own camera."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from patcher.film.camera_map import BENT, CameraMap, camera_map
from rig.examples import seeds

SHAPE = (540, 960)
HIGH, WIDE = SHAPE
MIDDLE = np.array([WIDE - 1, HIGH - 1]) / 2
FOCAL = 900.0
NEAR = 1.5
K1 = -0.2
LENS = (K1 * (np.hypot(WIDE, HIGH) / 2 / FOCAL) ** 2, 0.0)
"""The same in halves of the diagonal: OpenCV counts from the middle in focal lengths."""


def places(rng: np.random.Generator, count: int) -> np.ndarray:
    """Places on a wall of 8 × 4 metres."""
    return rng.uniform([0, 0], [8, 4], (count, 2))


def filmed(at: np.ndarray, rng: np.random.Generator, k1: float = 0.0, k2: float = 0.0) -> np.ndarray:
    """Where OpenCV's camera sees places of a wall, from some metres in front of its middle.

    # Judge: cv2.projectPoints.
    """
    facing, _ = cv2.Rodrigues(rng.uniform(-0.15, 0.15, 3))
    wall = np.diag([1.0, -1.0, -1.0])
    turn, _ = cv2.Rodrigues(facing @ wall)
    shift = facing @ wall @ -np.array([4.0, 2.0, 0.0]) + np.array([0.0, 0.0, 9.5])
    lens = np.array([[FOCAL, 0, MIDDLE[0]], [0, FOCAL, MIDDLE[1]], [0, 0, 1]])
    deep = np.column_stack([at, np.zeros(len(at))])
    seen, _ = cv2.projectPoints(deep, turn, shift, lens, np.array([k1, k2, 0, 0, 0]))
    return seen[:, 0]


@pytest.mark.parametrize("seed", seeds(4, 12))
@pytest.mark.parametrize(("k1", "k2"), [(0.0, 0.0), (-0.12, 0.03), (0.15, 0.0)])
def test_a_lens_is_found_though_a_third_of_the_lights_lie(seed: int, k1: float, k2: float) -> None:
    rng = np.random.default_rng(seed)
    at, held_out = places(rng, 200), places(rng, 100)
    view = int(rng.integers(1 << 30))
    points = filmed(at, np.random.default_rng(view), k1, k2) + rng.normal(0, 0.1, at.shape)
    wrong = rng.choice(len(at), len(at) * 3 // 10, replace=False)
    points[wrong] = rng.uniform([0, 0], [WIDE, HIGH], (len(wrong), 2))
    found = camera_map(at, points, SHAPE, NEAR)
    assert found is not None
    assert found.upright()
    truth = filmed(held_out, np.random.default_rng(view), k1, k2)
    inside = ((truth > 0) & (truth < [WIDE, HIGH])).all(axis=1)
    off = np.hypot(*(found.picture(held_out) - truth)[inside].T)
    assert np.median(off) < 0.15
    assert off.max() < 0.8
    assert np.allclose(found.plan(found.picture(held_out)), held_out, atol=1e-6)


@pytest.mark.parametrize("seed", seeds(3, 10))
def test_without_a_lens_it_is_the_projective_map_of_opencv(seed: int) -> None:
    # Judge: cv2.findHomography, by least squares over the same points, none of which lies.
    rng = np.random.default_rng(seed)
    at = places(rng, 300)
    points = filmed(at, rng) + rng.normal(0, 0.2, at.shape)
    matrix, _ = cv2.findHomography(at, points, 0)
    found = camera_map(at, points, SHAPE, NEAR)
    assert found is not None
    theirs = cv2.perspectiveTransform(at[:, None], matrix)[:, 0]
    assert np.hypot(*(found.picture(at) - theirs).T).max() < 0.25


@pytest.mark.parametrize("seed", seeds(3, 10))
def test_with_its_lens_known_a_map_reaches_beyond_its_lights(seed: int) -> None:
    rng = np.random.default_rng(seed)
    view, at, beyond = int(rng.integers(1 << 30)), places(rng, 150) * [0.3, 1.0], places(rng, 100)
    points = filmed(at, np.random.default_rng(view), K1) + rng.normal(0, 0.1, at.shape)
    found = camera_map(at, points, SHAPE, NEAR, LENS)
    assert found is not None
    assert found.bend == LENS
    truth = filmed(beyond, np.random.default_rng(view), K1)
    inside = ((truth > 0) & (truth < [WIDE, HIGH])).all(axis=1)
    assert np.hypot(*(found.picture(beyond) - truth)[inside].T).mean() < 1.0


@pytest.mark.parametrize("seed", [8, 12])
def test_a_wall_that_is_not_flat_bends_no_lens_further_than_lenses_bend(seed: int) -> None:
    """Without a limit the lens took on all that leans out of the wall: k2 was -0.158 and -0.07."""
    rng = np.random.default_rng(seed)
    view, at = int(rng.integers(1 << 30)), places(rng, 150) * [0.3, 1.0]
    points = filmed(at, np.random.default_rng(view), -0.05)
    points = points + 4 * np.sin(2.5 * at[:, :1] + np.random.default_rng(seed).uniform(0, 6))
    found = camera_map(at, points, SHAPE, 3.0)
    assert found is not None
    assert (np.abs(found.bend) <= 4 * np.array(BENT)).all()


@pytest.mark.parametrize("degrees", [-25, 0, 25])
def test_up_is_up(degrees: float) -> None:
    assert turned(degrees).upright()


@pytest.mark.parametrize("degrees", [90, -90, 180, 150, -60])
def test_what_is_turned_round_is_not_upright(degrees: float) -> None:
    assert not turned(degrees).upright()


@pytest.mark.parametrize("degrees", range(0, 360, 30))
def test_what_is_mirrored_is_never_upright(degrees: float) -> None:
    assert not turned(degrees, mirrored=True).upright()


def turned(degrees: float, *, mirrored: bool = False) -> CameraMap:
    """The map of points that a picture turned by this shows of some places, found from them."""
    rng = np.random.default_rng(7)
    at = places(rng, 60)
    angle = np.radians(degrees)
    out = (at - [4, 2]) * [-1 if mirrored else 1, -1] * 55
    points = out @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]) + MIDDLE
    found = camera_map(at, points, SHAPE, NEAR)
    assert found is not None
    assert np.hypot(*(found.picture(at) - points).T).max() < 0.1
    return found


@pytest.mark.parametrize("seed", range(5))
def test_lights_that_agree_on_nothing_give_no_map(seed: int) -> None:
    rng = np.random.default_rng(seed)
    at = places(rng, 60)
    assert camera_map(at, rng.uniform([0, 0], [WIDE, HIGH], (60, 2)), SHAPE, NEAR) is None


def test_few_lights_or_lights_on_one_line_give_no_map() -> None:
    rng = np.random.default_rng(1)
    at = places(rng, 11)
    assert camera_map(at, filmed(at, rng), SHAPE, NEAR) is None
    line = np.column_stack([np.linspace(0, 8, 60), np.linspace(1, 2, 60)])
    assert camera_map(line, filmed(line, rng), SHAPE, NEAR) is None
    assert camera_map(np.empty((0, 2)), np.empty((0, 2)), SHAPE, NEAR) is None


def test_a_lens_bends_as_opencv_says() -> None:
    # Judge: cv2.projectPoints, whose k1 and k2 are for distances in parts of the focal length.
    rng = np.random.default_rng(3)
    at = places(rng, 500)
    size = float(np.hypot(WIDE, HIGH)) / 2
    k1, k2 = -0.2, 0.05
    straight = filmed(at, np.random.default_rng(5))
    matrix, _ = cv2.findHomography(at, straight, 0)
    own = CameraMap(matrix, MIDDLE, size, (k1 * (size / FOCAL) ** 2, k2 * (size / FOCAL) ** 4))
    assert np.allclose(own.picture(at), filmed(at, np.random.default_rng(5), k1, k2), atol=1e-3)
