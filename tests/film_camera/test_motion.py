"""What wanders in time, and what stabilisation makes of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from film_camera import Camera
from film_camera.motion import RATE, motion, stabilised, through, wander
from film_camera.optics import projected, seen

SMALL = Camera(width=160, height=90, focal=120.0, position=(0.0, 0.0, 3.0))


def test_a_hand_shakes_by_its_rms_with_a_falling_spectrum() -> None:
    path = wander(np.random.default_rng(2), 60.0, 2, 10.0)
    np.testing.assert_allclose(path.std(axis=0), 1.0)
    power = np.abs(np.fft.rfft(path[:, 0])) ** 2
    hertz = np.fft.rfftfreq(len(path), 1 / 250)
    low, mid, high = (power[(hertz > a) & (hertz < b)].mean() for a, b in ((0.3, 0.6), (3, 6), (11, 100)))
    assert 4 < low / mid < 25, "ten times the frequency has a tenth of the power"
    assert high < 1e-6 * mid
    camera = replace(SMALL, shake=2.0)
    truth_path = _path(camera)
    assert np.sqrt(((truth_path - truth_path.mean(axis=0)) ** 2).mean()) == pytest.approx(2.0, rel=0.4)


def _path(camera: Camera) -> NDArray:
    shaken = motion(camera, 0.0, 20.0, np.random.default_rng(4))
    times = np.arange(0, 20, 1 / 30)
    own = seen(camera, np.zeros((1, 3)))
    places = [projected(camera, own, shaken.at(shaken.lean, t + camera.readout / 2)) for t in times]
    return np.array([through(stabilised(camera, shaken, t), at)[0] for t, at in zip(times, places, strict=True)])


def test_stabilisation_takes_the_quick_shake_out_and_crops() -> None:
    free = _path(replace(SMALL, shake=1.0))
    held = _path(replace(SMALL, shake=1.0, stabilise=1.0, crop=0.1))
    assert np.diff(held, axis=0).std() < 0.5 * np.diff(free, axis=0).std()
    quiet = motion(SMALL, 0.0, 1.0, np.random.default_rng(0))
    crop = stabilised(replace(SMALL, stabilise=0.9, crop=0.1), quiet, 0.3)
    corner = np.array([[0.1 * 160, 0.1 * 90]])
    np.testing.assert_allclose(through(crop, corner), [[0, 0]], atol=0.6)


@pytest.mark.parametrize("way", [(0.0, 0.02, 0.0), (0.02, 0.0, 0.0), (0.0, 0.0, 0.03)])
def test_stabilisation_that_knows_all_undoes_all(way: tuple[float, float, float]) -> None:
    # Source: the definition: after it, a point is where a camera that does not lean would have it, but for the crop
    camera = replace(SMALL, readout=0.03, stabilise=1.0, crop=0.1, focal=400.0, position=(0.0, 0.0, 10.0))
    lean = np.array(way) * (1 + 10 * (np.arange(600)[:, None] / RATE - 1.1))
    leaning = replace(motion(camera, 0.0, 0.3, np.random.default_rng(0)), lean=lean, steady=lean)
    still = replace(leaning, steady=0 * lean)
    own = seen(camera, np.array([[1.0, 0.8, 0], [-1.2, 0.5, 0], [0.9, -0.7, 0], [-0.3, -0.9, 0]]))
    rows = projected(camera, own)[:, 1] / camera.height
    at = projected(camera, own, leaning.at(lean, 0.1 + rows * camera.readout))
    found = through(stabilised(camera, leaning, 0.1), at)
    np.testing.assert_allclose(found, through(stabilised(camera, still, 0.1), projected(camera, own)), atol=0.45)
