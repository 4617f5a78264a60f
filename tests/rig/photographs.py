"""A photograph of a house that does not exist, as taken from across the lane at dusk, a little from the side.

The wall is 12 m wide and 4.5 m high. All stands in its plane, so that its places in metres are known.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

WIDE, HIGH = 1800, 1100
WALL = ((0.0, 0.0), (12.0, 0.0), (12.0, 4.5), (0.0, 4.5))
IN_PICTURE = ((520.0, 812.0), (1190.0, 796.0), (1196.0, 532.0), (516.0, 548.0 - 22))
"""Where the wall's corners are in the picture: bottom left, bottom right, top right, top left."""
ROOF = (((-0.4, 4.4), (3.0, 7.0)), ((3.0, 7.0), (9.0, 7.0)), ((9.0, 7.0), (12.4, 4.4)))
WINDOWS = tuple((0.6 + 1.75 * column + (3.8 if column > 1 else 0.0), y) for y in (0.7, 2.8) for column in range(4))
"""The bottom left corner of each of the eight windows."""
PANE = (1.1, 1.2)
DOOR = ((4.5, 0.1), (7.5, 2.3))
TREES = tuple((-7.6 + 1.25 * number, -0.4) for number in range(6))
"""Where each tree stands; it is 1 m wide and 2.4 m high."""
ARCHES = tuple((12.9 + 1.3 * number, -0.5) for number in range(6))
"""The left foot of each arch: 1 m wide, 1.1 m high."""
POSTS = ((-4.1, -0.9), (0.2, -0.3), (6.0, -0.4), (11.6, -0.3), (20.9, -0.6))
"""Five posts at which boxes can stand."""


def matrix() -> np.ndarray:
    """From metres of the wall's plane to points of the picture."""
    return cv2.getPerspectiveTransform(np.float32(WALL), np.float32(IN_PICTURE))


def in_picture(*places: tuple[float, float]) -> np.ndarray:
    """Places in metres as points of the picture."""
    return cv2.perspectiveTransform(np.float32([places]), matrix())[0]


def photograph(path: Path) -> None:
    """Take it."""
    rng = np.random.default_rng(4)
    picture = np.zeros((HIGH, WIDE, 3), np.float32)
    picture[:] = np.linspace((92, 66, 52), (128, 122, 150), HIGH)[:, None]
    picture[int(HIGH * 0.745) :] = (46, 66, 52)

    def fill(places: list[tuple[float, float]], colour: tuple[int, int, int]) -> None:
        cv2.fillPoly(picture, [in_picture(*places).round().astype(np.int32)], colour)

    def box(x: float, y: float, wide: float, high: float, colour: tuple[int, int, int]) -> None:
        fill([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)], colour)

    box(0, 0, 12, 4.5, (150, 168, 182))
    for row in np.arange(0, 4.5, 0.22):
        box(0, row, 12, 0.02, (134, 152, 166))
    fill([(-0.5, 4.35), (12.5, 4.35), (9, 7.05), (3, 7.05)], (58, 62, 104))
    for x, y in WINDOWS:
        box(x - 0.08, y - 0.08, PANE[0] + 0.16, PANE[1] + 0.16, (214, 220, 224))
        box(x, y, *PANE, (92, 104, 84))
        box(x + PANE[0] / 2 - 0.03, y, 0.06, PANE[1], (214, 220, 224))
    (x0, y0), (x1, y1) = DOOR
    box(x0, y0, x1 - x0, y1 - y0, (84, 92, 70))
    for x in np.arange(x0, x1 + 0.01, 0.5):
        box(x, y0, 0.03, y1 - y0, (66, 74, 54))
    for x, y in TREES:
        box(x - 0.07, y, 0.14, 0.5, (44, 62, 84))
        fill([(x - 0.5, y + 0.4), (x + 0.5, y + 0.4), (x, y + 2.4)], (52, 88, 56))
    for x, y in ARCHES:
        angle = np.linspace(0, np.pi, 40)
        way = in_picture(*zip(x + 0.5 - 0.5 * np.cos(angle), y + 1.1 * np.sin(angle), strict=True))
        cv2.polylines(picture, [way.round().astype(np.int32)], False, (170, 178, 184), 3, cv2.LINE_AA)
    for x, y in POSTS:
        box(x - 0.06, y, 0.12, 0.9, (40, 56, 74))
        box(x - 0.16, y + 0.55, 0.32, 0.4, (120, 124, 126))
    picture = cv2.GaussianBlur(picture, (0, 0), 0.9) + rng.normal(0, 3.0, picture.shape)
    cv2.imwrite(str(path), picture.clip(0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 90])
