"""Where a point of the scene falls in the picture: a pinhole with Brown and Conrady's radial distortion."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from film_camera.things import Camera

Floats = NDArray[np.float64]


def _turn(axis: int, degrees: float) -> Floats:
    """The rotation about one axis, right-handed."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    a, b = [(1, 2), (2, 0), (0, 1)][axis]
    turned = np.eye(3)
    turned[a, a], turned[a, b], turned[b, a], turned[b, b] = c, -s, s, c
    return turned


def pose(camera: Camera) -> tuple[Floats, Floats]:
    """The rotation and the shift from the scene (y up, z to the camera) to the camera (x right, y down, z forward).

    A camera that is rolled clockwise sees the scene turn the other way; so does one whose picture a player has to turn
    clockwise by `rotation`.
    """
    flip = np.diag([1.0, -1.0, -1.0])
    turned = _turn(2, -camera.roll - camera.rotation) @ _turn(0, -camera.pitch) @ _turn(1, -camera.yaw) @ flip
    return turned, -turned @ np.asarray(camera.position)


def matrix(camera: Camera) -> Floats:
    """The camera matrix: the focal length, and the principal point in the middle."""
    return np.array(
        [[camera.focal, 0, (camera.width - 1) / 2], [0, camera.focal, (camera.height - 1) / 2], [0, 0, 1.0]]
    )


def seen(camera: Camera, points: Floats) -> Floats:
    """float[n, 3]: points of the scene in the camera's own coordinates, metres."""
    turned, shift = pose(camera)
    return points @ turned.T + shift


def projected(camera: Camera, own: Floats, lean: Floats | None = None) -> Floats:
    """float[n, 2]: places in the picture, in points, of points in the camera's coordinates; NaN for what is behind.

    Args:
        lean: float[n, 3] or [3]: a small rotation vector by which the camera leans for each point, radians.

    Source: D. C. Brown, "Close-range camera calibration", 1971: x (1 + k1 r² + k2 r⁴).
    """
    if lean is not None:
        own = own - np.cross(np.broadcast_to(lean, own.shape), own)
    ahead = np.where(own[:, 2:] > 1e-3, own[:, 2:], np.nan)
    flat = own[:, :2] / ahead
    square = (flat**2).sum(axis=1, keepdims=True)
    k1, k2 = camera.distortion
    flat = flat * (1 + k1 * square + k2 * square**2)
    return flat * camera.focal + np.array([(camera.width - 1) / 2, (camera.height - 1) / 2])


def nearest(places: Floats) -> Floats:
    """float[n]: the distance from each place to the nearest other; infinite where there is none."""
    from scipy.spatial import cKDTree

    found = np.full(len(places), np.inf)
    there = np.flatnonzero(np.isfinite(places).all(axis=1))
    if len(there) > 1:
        found[there] = cKDTree(places[there]).query(places[there], k=2)[0][:, 1]
    return found
