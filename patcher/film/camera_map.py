"""From the plan to the picture: a projective map with the radial distortion of a lens.

Source: R. Hartley and A. Zisserman, Multiple View Geometry, 2nd edition, 4.1 and 7.4 (the radial model, with its centre
in the middle of the picture).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.clip.registration import Matrix, Points, moved

FEWEST = 12
"""So many pixels give a map."""
LOOSE = 0.01
"""Of half the picture's diagonal: points by which a pixel is off at most, before the lens is known."""
NEARLY_ALL = 0.75
"""Where so many of all pixels agree, nothing looser is tried."""
BENT, FINE = (0.03, 0.006), 0.2
"""How much a lens bends by k1 and by k2, on the mean of squares; of the points by which one that agrees may be off, by
how many most are."""
MOST_BENT = 4.0
"""So many times as much a lens bends at most: what hangs on a wall that is not flat would bend it further."""
UPRIGHT = 1.5
"""Up is up where it leans to a side by no more than so many times less: a picture is turned by 34 degrees at most."""
LENS = 40
"""So many give the lens, too."""


@dataclass(frozen=True, eq=False)
class CameraMap:
    """Where the plan's places are in the picture.

    Attributes:
        matrix: takes metres (x to the right, y up) to points without distortion: shape (3, 3).
        middle: of the picture, in points.
        size: half its diagonal.
        bend: k1 and k2: a point at distance r from the middle, in parts of `size`, stands at r × (1 + k1 r² + k2 r⁴).
    """

    matrix: Matrix
    middle: NDArray[np.float64]
    size: float
    bend: tuple[float, float] = (0.0, 0.0)

    def picture(self, places: Points) -> Points:
        """Points of the picture where places are: shape (places, 2)."""
        return self._bent(moved(self.matrix, places))

    def plan(self, points: Points) -> Points:
        """Places at which points of the picture are, if they hang in the plan's plane: shape (points, 2)."""
        straight: Points = points
        for _ in range(12):
            straight = np.asarray(straight + (points - self._bent(straight)), dtype=np.float64)
        return moved(_inverse(self.matrix), straight)

    def _bent(self, straight: Points) -> Points:
        off = (straight - self.middle) / self.size
        r2 = np.minimum((off**2).sum(axis=1, keepdims=True), 4.0)
        bent: Points = np.asarray(self.middle + self.size * off * (1 + self.bend[0] * r2 + self.bend[1] * r2**2), float)
        return bent

    def upright(self) -> bool:
        """Whether up is up in the picture, and nothing is mirrored."""
        middle = moved(_inverse(self.matrix), self.middle[None])[0]
        right, up = (moved(self.matrix, (middle + step)[None])[0] for step in ([1e-3, 0.0], [0.0, 1e-3]))
        here = moved(self.matrix, middle[None])[0]
        (ax, ay), (bx, by) = right - here, up - here
        return bool(ax * by - ay * bx < 0 and by < -UPRIGHT * abs(bx))


def _inverse(matrix: Matrix) -> Matrix:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def camera_map(
    places: Points, points: Points, shape: tuple[int, int], near: float, bend: tuple[float, float] | None = None
) -> CameraMap | None:
    """The map on which most of some pixels agree; None where there is none.

    Args:
        places: where the plan has them: shape (pixels, 2).
        points: where they are in the picture.
        shape: height and width of the picture.
        near: points by which one that agrees is off at most, once the lens is known.
        bend: k1 and k2 of the lens; None: they are to be found, too.
    """
    import cv2

    if len(places) < FEWEST or np.linalg.matrix_rank(places - places.mean(axis=0), tol=1e-3) < 2:
        return None
    high, wide = shape
    middle, size = np.array([wide - 1, high - 1]) / 2, float(np.hypot(wide, high)) / 2
    best, most = None, float(FEWEST - 1)
    for loose in sorted({near, max(near, LOOSE * size), max(near, 2 * LOOSE * size)}):
        if best is not None and loose > LOOSE * size and most > NEARLY_ALL * len(places):
            break
        matrix, _ = cv2.findHomography(places, points, cv2.RANSAC, loose, maxIters=4000, confidence=0.9999)
        if matrix is None or abs(np.linalg.det(matrix)) < 1e-12:
            continue
        found = CameraMap(np.asarray(matrix, dtype=np.float64), middle, size, bend or (0.0, 0.0))
        for limit, lens in ((loose, False), (near, False), (max(near, loose / 2), True), (near, True), (near, True)):
            agree = np.hypot(*(found.picture(places) - points).T) < limit
            if agree.sum() < FEWEST:
                break
            found = fitted(found, places[agree], points[agree], near, lens=lens and bend is None)
            score = _agreement(found, places, points, near)
            if score > most:
                best, most = found, score
    return best


def _agreement(found: CameraMap, places: Points, points: Points, near: float) -> float:
    """How many pixels a map puts at their points, each counted less the further it is off."""
    off = np.hypot(*(found.picture(places) - points).T)
    return float(np.exp(-((off / near) ** 2) / 2).sum())


def fitted(before: CameraMap, places: Points, points: Points, near: float, *, lens: bool) -> CameraMap:
    """The map and lens that fit best, from one that nearly fits."""
    from scipy.optimize import least_squares

    own, scale = places.mean(axis=0), float(places.std()) or 1.0
    out = np.array([[scale, 0, own[0]], [0, scale, own[1]], [0, 0, 1]])
    start = before.matrix @ out
    start = start / start[2, 2]
    units = np.array([before.size, before.size, before.size, before.size, before.size, before.size, 1.0, 1.0])
    lens = lens and len(places) >= LENS
    flat = (places - own) / scale

    def made(values: NDArray[np.float64]) -> CameraMap:
        matrix = np.append(values[:8] * units, 1.0).reshape(3, 3)
        return CameraMap(
            matrix, before.middle, before.size, (float(values[8]), float(values[9])) if lens else before.bend
        )

    def off(values: NDArray[np.float64]) -> NDArray[np.float64]:
        away = ((made(values).picture(flat) - points) / (FINE * near)).ravel()
        return np.append(away, values[8:] / (np.array(BENT) if lens else 1.0))

    most = MOST_BENT * np.array(BENT) if lens else np.empty(0)
    first = np.append(start.ravel()[:8] / units, np.clip(before.bend, -0.9 * most, 0.9 * most) if lens else [])
    limits = np.append(np.full(8, np.inf), most)
    best = made(least_squares(off, first, loss="soft_l1", max_nfev=40, bounds=(-limits, limits)).x)
    return CameraMap(best.matrix @ np.linalg.inv(out), best.middle, best.size, best.bend)
