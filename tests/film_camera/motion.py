"""What wanders in time: a hand's tremor, drift, and the path that electronic stabilisation makes of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from film_camera.things import Camera

Floats = NDArray[np.float64]

RATE = 250.0
"""Samples a second of a path."""
TREMOR_HZ = 10.0
"""Common practice: a hand's tremor has most of its power below about 10 Hz."""
SLOW_HZ = 0.4
_AHEAD = 1.0


def wander(rng: np.random.Generator, seconds: float, columns: int, top_hz: float, low_hz: float = 0.0) -> Floats:
    """float[samples, columns]: paths of mean 0 and rms 1 whose power falls with 1/f, and ends at `top_hz`."""
    samples = int(seconds * RATE) + 2
    frequencies = np.fft.rfftfreq(samples, 1 / RATE)
    inside = (frequencies > low_hz) & (frequencies <= max(top_hz, 1.01 * frequencies[1]))
    share = np.where(inside, 1 / np.sqrt(np.maximum(frequencies, 1e-9)), 0.0)
    wave = rng.normal(size=(columns, len(share))) + 1j * rng.normal(size=(columns, len(share)))
    path = np.fft.irfft(wave * share, samples, axis=1).T
    path -= path.mean(axis=0)
    return path / path.std(axis=0)


@dataclass(frozen=True)
class Motion:
    """Paths over a film's time, `RATE` samples a second from `_AHEAD` before its start.

    Attributes:
        lean: float[samples, 3]: how the camera leans, radians.
        steady: float[samples, 3]: the part of it that stabilisation takes out.
        warp: float[samples, 4]: what stabilisation's own warps add.
        stops: float[samples]: drift of the exposure, in stops.
        balance: float[samples, 2]: drift of red and of blue, as logarithms.
        focus: float[samples]: rms radius that a focus beside the pixels adds, in points.
    """

    start: float
    lean: Floats
    steady: Floats
    warp: Floats
    stops: Floats
    balance: Floats
    focus: Floats

    def at(self, path: Floats, times: Floats | float) -> Floats:
        """A path's values at the scene's times: one more axis, at the end, for a path of several columns."""
        where = np.clip((np.asarray(times) - self.start + _AHEAD) * RATE, 0, len(path) - 1.001)
        below = where.astype(int)
        rest = where - below
        if path.ndim > 1:
            rest = rest[..., None]
        return path[below] * (1 - rest) + path[below + 1] * rest


def motion(camera: Camera, start: float, seconds: float, rng: np.random.Generator) -> Motion:
    """How a camera moves and drifts while it films, the same for the same generator."""
    span = seconds + 2 * _AHEAD
    lean = wander(rng, span, 3, TREMOR_HZ) * (camera.shake / camera.focal)
    lean[:, 2] *= 0.5 * camera.focal / camera.width
    smooth = gaussian_filter1d(lean, 0.5 * RATE, axis=0)
    late = np.roll(lean - smooth, int(0.004 * RATE), axis=0)
    reach = 0.9 * camera.crop * min(camera.width, camera.height) / camera.focal
    steady = np.clip(camera.stabilise * late, -reach, reach)
    warp = wander(rng, span, 4, 3.0) * camera.wobble if camera.stabilise else np.zeros((len(lean), 4))
    stops = wander(rng, span, 1, SLOW_HZ)[:, 0] * camera.exposure_drift
    balance = wander(rng, span, 2, SLOW_HZ) * camera.white_balance_drift
    focus = np.abs(wander(rng, span, 1, SLOW_HZ)[:, 0]) * camera.focus_drift
    return Motion(start, lean, steady, warp, stops, balance, focus)


def stabilised(camera: Camera, moved: Motion, time: float) -> Floats | None:
    """float[3, 3]: the homography that stabilisation applies to a frame; None where the camera has none.

    It crops, shifts the whole frame by what it knew of the lean, shears it for the rolling shutter by the lean's own
    speed, and adds small warps of its own.
    """
    if not camera.stabilise:
        return None
    middle = np.array([(camera.width - 1) / 2, (camera.height - 1) / 2])
    half = camera.readout / 2
    away = moved.at(moved.steady, np.array([time, time + half, time + 2 * half]))
    shift = np.array([away[1, 1], -away[1, 0]]) * camera.focal
    shear = np.array([away[2, 1] - away[0, 1], -(away[2, 0] - away[0, 0])]) * camera.focal / camera.height
    roll = away[1, 2]
    zoom = 1 / (1 - 2 * camera.crop)
    warp = moved.at(moved.warp, time) / (camera.width / 2)
    linear = np.array([[1 + warp[0], shear[0] - roll + warp[1]], [roll + warp[2], 1 + shear[1] + warp[3]]]) * zoom
    whole = np.eye(3)
    whole[:2, :2] = linear
    whole[:2, 2] = middle + linear @ shift - linear @ middle
    return whole


def through(homography: Floats | None, places: Floats) -> Floats:
    """Places in a picture after a homography."""
    if homography is None:
        return places
    whole = np.column_stack([places, np.ones(len(places))]) @ homography.T
    return whole[:, :2] / whole[:, 2:]
