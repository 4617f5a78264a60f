"""Cameras and scenes at random: they hold what they are told to hold."""

from __future__ import annotations

import numpy as np
import pytest

from film_camera import random_camera, random_scene
from film_camera.optics import projected, seen

X, Y = np.meshgrid(np.arange(40) * 0.05, np.arange(25) * 0.05)
PLACES = np.column_stack([X.ravel(), Y.ravel()])


@pytest.mark.parametrize("kind", ["propped", "hand"])
def test_cameras_at_random_hold_the_display_in_the_picture(kind: str) -> None:
    apart = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        camera, scene = random_camera(rng, PLACES, kind), random_scene(rng, PLACES)
        at = projected(camera, seen(camera, scene.points))
        inside = ((at >= 0) & (at <= [camera.width - 1, camera.height - 1])).all(axis=1)
        assert inside.mean() > 0.97, seed
        apart.append(np.median(np.linalg.norm(np.diff(at.reshape(25, 40, 2), axis=1), axis=2)))
        assert camera.readout < 1 / camera.fps
        assert camera.exposure < 1 / camera.fps
        np.testing.assert_allclose(scene.response.sum(axis=0), 1)
    assert 1.7 < min(apart) < 3
    assert 9 < max(apart) < 13


def test_a_spacing_that_is_told_is_kept_where_it_fits() -> None:
    for spacing in (2.0, 6.0, 11.0):
        camera = random_camera(np.random.default_rng(3), PLACES, spacing=spacing)
        at = projected(camera, seen(camera, np.column_stack([PLACES, np.zeros(len(PLACES))])))
        apart = np.linalg.norm(np.diff(at.reshape(25, 40, 2), axis=1), axis=2)
        assert np.median(apart) == pytest.approx(spacing, rel=0.1)
    with pytest.raises(ValueError, match="choose propped or hand"):
        random_camera(np.random.default_rng(3), PLACES, "tripod")


def test_the_same_generator_gives_the_same_camera_and_scene() -> None:
    one, two = (np.random.default_rng(9) for _ in range(2))
    assert random_camera(one, PLACES, "hand") == random_camera(two, PLACES, "hand")
    assert random_scene(one, PLACES).ambient == random_scene(two, PLACES).ambient


def test_every_effect_is_on_in_some_cameras_and_off_in_others() -> None:
    rng = np.random.default_rng(0)
    cameras = [random_camera(rng, PLACES, "hand") for _ in range(80)]
    switched = (
        "focus_drift", "exposure_drift", "auto_exposure", "white_balance_drift", "bayer", "bloom", "local_tone",
        "spatial_denoise", "temporal_denoise", "sharpen", "stabilise", "wobble", "dropped", "doubled", "jitter",
        "variable_rate", "full_range", "sound", "hlg", "rotation",
    )  # fmt: skip
    for name in switched:
        on = np.mean([bool(getattr(camera, name)) for camera in cameras])
        assert 0.03 < on < 0.97, name
    assert {camera.codec for camera in cameras} == {"h264", "hevc"}
    assert {camera.fps for camera in cameras} == {24.0, 25.0, 29.97, 30.0, 60.0}
    ambients = [random_scene(rng, PLACES).ambient for _ in range(80)]
    for name in ("street_light", "car", "branch", "glass"):
        assert 0.1 < np.mean([bool(a and getattr(a, name)) for a in ambients]) < 0.6, name
