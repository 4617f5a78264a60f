"""Points of light in a picture: a small spline at each place, then the lens's blur over the region that holds them."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SPLINE_VARIANCE = 0.25
"""Of the quadratic B-spline, per axis: the same wherever between the points a light falls, as are its sum and middle.

Source: M. Unser, "Splines: a perfect fit for signal and image processing", 1999: a B-spline of degree 2 reproduces
polynomials up to degree 2.
"""


@lru_cache(maxsize=4096)
def height(sigma: float) -> float:
    """The share of its light that a splat's middle point gets when it falls on the middle of a point."""
    side = 2 * int(np.ceil(4 * sigma)) + 3
    middle = np.full((1, 2), (side - 1) / 2)
    return float(splat((side, side), middle, np.ones((1, 3), np.float32), sigma)[2].max())


def splat(
    shape: tuple[int, int], places: Floats, light: NDArray[np.float32], sigma: float
) -> tuple[slice, slice, NDArray]:
    """The light of all points on a black picture: the region that holds it, as rows and columns, and float32[h, w, 3].

    Args:
        shape: the picture's height and width.
        places: float[n, 2]: x to the right, y down; whole numbers are the middles of picture points.
        light: float32[n, 3]: the sum of each one's light.
        sigma: rms radius per axis; at least that of the spline, 0.5.
    """
    reach = int(np.ceil(4 * sigma)) + 2
    tall, wide = shape
    x, y = places.T
    near = (x > -reach) & (x < wide - 1 + reach) & (y > -reach) & (y < tall - 1 + reach)
    if not near.all():
        places, light = places[near], light[near]
    if not len(places):
        return slice(0, 0), slice(0, 0), np.zeros((0, 0, 3), np.float32)
    low = np.floor(places.min(axis=0)).astype(int) - reach
    size = np.ceil(places.max(axis=0)).astype(int) + reach + 1 - low
    board = _spread(places - low, light, (int(size[1]), int(size[0])))
    rest = np.sqrt(max(sigma**2 - SPLINE_VARIANCE, 0.0))
    if rest > 0.15:
        side = 2 * int(np.ceil(3.5 * rest)) + 1
        board = cv2.GaussianBlur(board, (side, side), rest, borderType=cv2.BORDER_CONSTANT)
    x0, y0 = np.maximum(low, 0)
    x1, y1 = np.minimum(low + size, [wide, tall])
    return slice(y0, y1), slice(x0, x1), board[y0 - low[1] : y1 - low[1], x0 - low[0] : x1 - low[0]]


def _spread(places: Floats, light: NDArray[np.float32], shape: tuple[int, int]) -> NDArray[np.float32]:
    """Each light over 3 × 3 points by the quadratic B-spline."""
    middle = np.rint(places).astype(np.int64)
    off = (places - middle).astype(np.float32)
    weight = np.stack([0.5 * (0.5 - off) ** 2, 0.75 - off**2, 0.5 * (0.5 + off) ** 2])
    board = np.zeros((*shape, 3), np.float32)
    flat = board.reshape(-1)
    base = (middle[:, 1] * shape[1] + middle[:, 0]) * 3
    letters = np.arange(3)
    for down in range(3):
        for right in range(3):
            share = (weight[down, :, 1] * weight[right, :, 0])[:, None] * light
            where = (base + ((down - 1) * shape[1] + right - 1) * 3)[:, None] + letters
            np.add.at(flat, where.reshape(-1), share.reshape(-1))
    return board


def halo(picture: NDArray[np.float32], share: float) -> NDArray[np.float32]:
    """The picture with a share of its light in a wide halo (veiling glare); the sum is kept but at the edges."""
    tall, wide = picture.shape[:2]
    step = max(2, wide // 160)
    small = cv2.resize(picture, (max(1, wide // step), max(1, tall // step)), interpolation=cv2.INTER_AREA)
    near = cv2.GaussianBlur(small, (0, 0), 2.0)
    far = cv2.GaussianBlur(small, (0, 0), 8.0)
    glare = cv2.resize(cv2.addWeighted(near, 0.5, far, 0.5, 0), (wide, tall), interpolation=cv2.INTER_LINEAR)
    return cv2.addWeighted(picture, 1 - share, glare, share, 0)
