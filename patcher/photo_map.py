"""From points of a photograph (x right, y down) to the show's metres (x right, y up), and back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.show.photo_tables import Photo, PhotoSpan, PhotoWall

Matrix = NDArray[np.float64]
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PhotoMap:
    """Where points of a picture lie in the show.

    Points on the horizon of the wall's plane or beyond it lie nowhere in that plane; neither do metres that lie
    behind the camera. Both give nan.

    Attributes:
        matrix: takes points of the picture to metres, both as homogeneous coordinates: shape (3, 3). Its third row
            gives what is divided by: more than 0 on the wall's side of the horizon.
    """

    matrix: Matrix

    def metres(self, points: Points) -> Points:
        """Where points of the picture lie in the show: shape (points, 2), in metres."""
        return _moved(self.matrix, points)

    def points(self, metres: Points) -> Points:
        """The points of the picture where places of the show are: shape (places, 2)."""
        return _moved(np.asarray(np.linalg.inv(self.matrix), dtype=np.float64), metres)


@dataclass(frozen=True)
class SpanAgreement:
    """What a map says of a span whose length was measured.

    Attributes:
        metres: its length by the map; nan where one of its ends lies on the horizon or beyond it.
        percent: by how much that is more (or, negative, less) than what was typed, in per cent of what was typed.
    """

    metres: float
    percent: float


def photo_map(photo: Photo, size: tuple[int, int]) -> PhotoMap | None:
    """The map of a photograph; None where neither a wall nor a span is known.

    A wall decides alone, wherever there is one: spans need not lie in its plane. Without one the camera is taken to
    have looked straight at the house and to have stood upright: one scale, and no turn.

    Args:
        photo: what is known of the picture.
        size: its width and height in points, as a browser shows it.
    """
    if photo.wall is not None:
        return PhotoMap(_from_wall(photo.wall, photo.origin or photo.wall.corners[0]))
    if not photo.spans:
        return None
    x, y = photo.origin or (0.0, float(size[1]))
    scale = _scale(photo.spans)
    return PhotoMap(np.array([[scale, 0.0, -scale * x], [0.0, -scale, scale * y], [0.0, 0.0, 1.0]]))


def agreement(photo: Photo, size: tuple[int, int]) -> tuple[SpanAgreement, ...]:
    """What the map of a photograph says of each of its spans, in their order; none where there is no map."""
    found = photo_map(photo, size)
    if found is None or not photo.spans:
        return ()
    ends = found.metres(np.array([end for span in photo.spans for end in (span.begin, span.end)])).reshape(-1, 2, 2)
    lengths = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    return tuple(
        SpanAgreement(float(metres), float((metres / span.length - 1) * 100))
        for metres, span in zip(lengths, photo.spans, strict=True)
    )


def _scale(spans: tuple[PhotoSpan, ...]) -> float:
    """Metres of one point: the scale s with the least sum of (s × points - metres)² over all spans, which is
    Σ points × metres / Σ points².

    A tape and a finger are off by about as much on a long span as on a short one, so that a long one says more of the
    scale; here it counts by its length.
    """
    points = np.array([np.hypot(*np.subtract(span.end, span.begin)) for span in spans])
    metres = np.array([span.length for span in spans])
    return float(points @ metres / (points @ points))


def _from_wall(wall: PhotoWall, origin: tuple[float, float]) -> Matrix:
    """The projective map that takes the wall's corners to its rectangle, and a point of the picture to [0, 0].

    Two equations a corner for the eight numbers of the matrix, the ninth being 1. Source: R. Hartley and A. Zisserman,
    Multiple View Geometry, 2nd edition, 4.1, and 4.4.4 for the corners in a size of their own, about their middle
    (numbers of sections from memory). The ninth is what the middle is divided by; since that lies inside the wall, it
    cannot be 0.
    """
    corners = np.array(wall.corners)
    middle = corners.mean(axis=0)
    size = np.abs(corners - middle).max()
    own = np.array([[1 / size, 0.0, -middle[0] / size], [0.0, 1 / size, -middle[1] / size], [0.0, 0.0, 1.0]])
    rows, there = [], np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    for (x, y), (u, v) in zip((corners - middle) / size, there, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    eight = np.linalg.solve(np.array(rows), there.ravel())
    matrix = np.diag([wall.width, wall.height, 1.0]) @ np.append(eight, 1.0).reshape(3, 3) @ own
    shift = np.eye(3)
    shift[:2, 2] = -_moved(matrix, np.array([origin]))[0]
    return np.asarray(shift @ matrix, dtype=np.float64)


def _moved(matrix: Matrix, places: Points) -> Points:
    """Where a projective map takes places: shape (places, 2); nan for those on its horizon or beyond it."""
    x, y, w = matrix @ np.column_stack([places, np.ones(len(places))]).T
    w = np.where(w > 0, w, np.nan)
    return np.asarray(np.column_stack([x / w, y / w]), dtype=np.float64)
