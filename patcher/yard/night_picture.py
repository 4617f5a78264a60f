"""A camera before the yard at night: pictures of pixels as a phone on a stand would take them.

It is there to try the film without a house. What judges the reader of films is another camera, in the tests.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import ceil

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from patcher.frames.film_code import BIN
from patcher.shapes import Positions
from patcher.yard.filmed import Filmed

Picture = NDArray[np.uint8]
Linear = NDArray[np.float32]
Map = NDArray[np.float64]

MARGIN = 0.07
"""Of the picture's width and height on each side, in which nothing hangs."""
AWAY = 1.1
"""Times the display's width that the camera stands away."""
ASIDE, BELOW, ROLL = 0.13, 0.07, 0.006
"""Parts of that which it stands to the right of the middle and below it; and by how much it is tilted, in radians."""
SMALLEST = 1.0
"""Metres: a smaller display is filmed from as far away as one of this width."""
BLUR = 0.85
"""Points: the standard deviation of a pixel's light in the picture."""
BRIGHT = 0.55
"""Of what the camera can take: the middle of one letter's light at its brightest."""
SHUTTER = 1 / 60
"""Seconds that each frame takes light."""
GLOW, GLOW_WIDTH, COARSE = 0.03, 20.0, 8
"""What part of all light the air and the lens spread, over how many points, worked out on every eighth one."""
NOISE = 2.0
"""Grey levels: standard deviation."""
SHAKE = 0.25
"""Points in a picture 1280 wide: the standard deviation of each axis, as of a stand in a breeze."""
_WAVES = 9


@dataclass(frozen=True, slots=True)
class Shot:
    """How a clip is taken.

    Attributes:
        width, height: points of its picture.
        rate: frames a second.
        seconds: how long it lasts.
        begin: seconds into the cycle at which it begins.
        seed: of noise and shake.
    """

    width: int
    height: int
    rate: int
    seconds: float
    begin: float
    seed: int = 0

    @property
    def frames(self) -> int:
        """How many pictures it has."""
        return round(self.seconds * self.rate)


def seen_from(places: Positions, width: int, height: int) -> Map:
    """The map from metres to points of the picture of a camera that has all of a display in view: shape (3, 3)."""
    low, high = places.min(axis=0), places.max(axis=0)
    middle = (low + high) / 2
    size = max(high[0] - low[0], (high[1] - low[1]) * width / height, SMALLEST)
    eye = np.array([middle[0] + ASIDE * size, middle[1] - BELOW * size, AWAY * size])
    ahead = np.array([middle[0], middle[1], 0.0]) - eye
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [np.sin(ROLL), np.cos(ROLL), 0.0])
    right /= np.linalg.norm(right)
    turned = np.stack([right, np.cross(ahead, right), ahead])  # to the right, down, ahead
    view = np.column_stack([turned[:, 0], turned[:, 1], -turned @ eye])
    corners = np.array([[x, y] for x in (low[0], high[0]) for y in (low[1], high[1])])
    at = mapped(view, corners)
    least = SMALLEST / (AWAY * size)
    extent = np.maximum(np.ptp(at, axis=0), [least, least * height / width])
    scale = ((1 - 2 * MARGIN) * np.array([width, height]) / extent).min()
    shift = np.array([width, height]) / 2 - scale * (at.max(axis=0) + at.min(axis=0)) / 2 - 0.5
    found: Map = np.array([[scale, 0, shift[0]], [0, scale, shift[1]], [0, 0, 1]]) @ view
    return found


def mapped(by: Map, places: Positions) -> Positions:
    """Places under a projective map: shape (places, 2)."""
    found = np.column_stack([places, np.ones(len(places))]) @ by.T
    at: Positions = found[:, :2] / found[:, 2:]
    return at


@dataclass(frozen=True, eq=False)
class Camera:
    """A camera that stands before a display.

    Attributes:
        filmed: the display.
        shot: how it is filmed.
    """

    filmed: Filmed
    shot: Shot

    @cached_property
    def map(self) -> Map:
        """From metres to points of the picture while nothing shakes."""
        return seen_from(self.filmed.places, self.shot.width, self.shot.height)

    @cached_property
    def at(self) -> Positions:
        """Where each pixel is in the picture while nothing shakes: shape (pixels, 2)."""
        return mapped(self.map, self.filmed.places)

    def pictures(self) -> Iterator[Picture]:
        """Its frames, one after the other: shape (height, width, 3), red, green, blue."""
        import cv2

        shot, chance = self.shot, np.random.default_rng(self.shot.seed)
        house, (rows, spread) = _house(self), self._spread
        noise = chance.normal(0, NOISE, (shot.height + 64, shot.width + 64, 3)).astype(np.float32)
        shakes = _shakes(shot, chance)
        image = np.zeros((shot.height * shot.width, 3), dtype=np.float32)
        for number in range(shot.frames):
            image[rows] = spread @ self.light(number / shot.rate)
            lit = image.reshape(shot.height, shot.width, 3)
            shaken = np.column_stack([np.eye(2), shakes[number]])
            taken = cv2.warpAffine(
                _glowing(lit) + house, shaken, (shot.width, shot.height), borderMode=cv2.BORDER_REPLICATE
            )
            curve = np.sqrt(np.minimum(taken, 1.0))  # as most pictures are kept: about the square root of light
            down, across = chance.integers(0, 65, 2)
            grain = noise[down : down + shot.height, across : across + shot.width]
            yield np.asarray(cv2.addWeighted(curve, 255.0, grain, 1.0, 0.0, dtype=cv2.CV_8U), dtype=np.uint8)

    def light(self, time: float) -> Linear:
        """What each pixel gives while a frame takes light that begins then: shape (pixels, 3)."""
        bins = len(self.filmed.light)
        begin = (self.shot.begin + time) / BIN + 1e-6
        first, end = int(begin), begin + SHUTTER / BIN
        later = max(0.0, end - first - 1) * BIN / SHUTTER
        found: Linear = self.filmed.light[first % bins].astype(np.float32)
        if later:
            found = (1 - later) * found + later * self.filmed.light[(first + 1) % bins].astype(np.float32)
        return found

    @cached_property
    def _spread(self) -> tuple[NDArray[np.int64], csr_array]:
        """The points of the picture that pixels light, and how much each gives them: shape (points, pixels)."""
        around = ceil(3 * BLUR)
        steps = np.arange(-around, around + 1)
        dx, dy = (each.ravel() for each in np.meshgrid(steps, steps))
        x, y = (np.round(self.at).astype(np.int64)[:, axis, None] + step for axis, step in ((0, dx), (1, dy)))
        off = (x - self.at[:, :1]) ** 2 + (y - self.at[:, 1:]) ** 2
        gives = BRIGHT * np.exp(-off / (2 * BLUR**2))
        inside = (x >= 0) & (x < self.shot.width) & (y >= 0) & (y < self.shot.height)
        rows, row = np.unique((y * self.shot.width + x)[inside], return_inverse=True)
        pixel = np.broadcast_to(np.arange(len(self.at))[:, None], inside.shape)[inside]
        spread = csr_array((gives[inside].astype(np.float32), (row, pixel)), shape=(len(rows), len(self.at)))
        return rows, spread


def _glowing(lit: Linear) -> Linear:
    """A picture with the glow around its lights."""
    import cv2

    high, wide = lit.shape[:2]
    small = cv2.resize(lit, (max(1, wide // COARSE), max(1, high // COARSE)), interpolation=cv2.INTER_AREA)
    around = cv2.GaussianBlur(small, (0, 0), GLOW_WIDTH / COARSE)
    return np.asarray(lit + GLOW * cv2.resize(around, (wide, high)), dtype=np.float32)


def _shakes(shot: Shot, chance: np.random.Generator) -> NDArray[np.float64]:
    """By how much the picture is displaced in each frame, in points: shape (frames, 2)."""
    times = np.arange(shot.frames) / shot.rate
    waves, begins = chance.uniform(0.2, 4.0, (_WAVES, 2)), chance.uniform(0, 2 * np.pi, (_WAVES, 2))
    sway = np.sin(2 * np.pi * waves * times[:, None, None] + begins).sum(axis=1) / (_WAVES / 2) ** 0.5
    found: NDArray[np.float64] = SHAKE * shot.width / 1280 * sway
    return found


def _house(camera: Camera) -> Linear:
    """What stands behind the display: a dark house before the night sky, one window lit; shape (height, width, 3)."""
    import cv2

    shot, places = camera.shot, camera.filmed.places
    (left, low), (right, high) = places.min(axis=0), places.max(axis=0)
    wide, tall = max(right - left, SMALLEST / 2), max(high - low, SMALLEST / 2)
    sky = np.linspace(0.0012, 0.0045, shot.height)[:, None, None] * np.array([0.55, 0.7, 1.3])
    house = np.ascontiguousarray(np.broadcast_to(sky, (shot.height, shot.width, 3)), dtype=np.float32)

    def fill(corners: list[tuple[float, float]], colour: tuple[float, float, float]) -> None:
        plan = np.array([(left + x * wide, low + y * tall) for x, y in corners])
        cv2.fillPoly(house, [np.round(mapped(camera.map, plan)).astype(np.int32)], colour, cv2.LINE_AA)

    fill([(-2, -0.04), (3, -0.04), (3, -2), (-2, -2)], (0.0014, 0.0016, 0.0012))
    fill([(-0.02, -0.04), (-0.02, 0.62), (0.3, 1.03), (0.62, 0.62), (0.62, -0.04)], (0.0052, 0.0042, 0.0034))
    fill([(0.62, -0.04), (0.62, 0.5), (1.02, 0.5), (1.02, -0.04)], (0.0036, 0.003, 0.0026))
    fill([(-0.06, 0.58), (0.3, 1.05), (0.66, 0.58), (0.66, 0.63), (0.3, 1.11), (-0.06, 0.63)], (0.001, 0.001, 0.0012))
    fill([(0.26, 0.68), (0.26, 0.82), (0.34, 0.82), (0.34, 0.68)], (0.05, 0.031, 0.012))
    return np.asarray(cv2.GaussianBlur(house, (0, 0), 1.0), dtype=np.float32)
