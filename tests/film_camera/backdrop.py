"""The surroundings as the camera sees them: drawn once, larger than the picture, then moved as the camera leans."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from film_camera.ambience import Ambient, Colour, Glass
from film_camera.optics import projected, seen
from film_camera.things import Camera

Floats = NDArray[np.float64]
Board = NDArray[np.float32]

STILL = 0.02
"""The backdrop is not moved by less than this many points: nobody would see it."""
_FINE = 4
"""Binary digits after the point in what OpenCV draws."""


def mirrored(glass: Glass, points: Floats) -> Floats:
    """float[n, 3]: where the mirror images of points are; NaN for those that the glass does not show."""
    axis = "xy".index(glass.axis)
    images = points.copy()
    images[:, axis] = 2 * glass.at - points[:, axis]
    low, high = np.array([glass.left, glass.bottom]), np.array([glass.right, glass.top])
    inside = ((images[:, :2] >= low) & (images[:, :2] <= high)).all(axis=1)
    images[~inside] = np.nan
    return images


@dataclass
class Backdrop:
    """The surroundings of a scene before one camera."""

    ambient: Ambient | None
    camera: Camera
    rng: np.random.Generator
    margin: int = field(init=False)
    _still: Board = field(init=False)

    def __post_init__(self) -> None:
        self.margin = int(np.ceil(4.5 * self.camera.shake)) + 4 if self.camera.shake else 0
        self._still = self._drawn()

    def seen(self, anchors: Floats, leant: Floats, time: float) -> Board:
        """float32[h, w, 3]: the surroundings in one frame, a copy.

        Args:
            anchors: float[4, 2]: four places in the picture that does not lean.
            leant: float[4, 2]: where they are in this frame.
        """
        wide, tall = self.camera.width, self.camera.height
        if self.ambient is None:
            return np.zeros((tall, wide, 3), np.float32)
        if np.abs(anchors - leant).max() < STILL:
            m = self.margin
            board = self._still[m : m + tall, m : m + wide].copy()
        else:
            back = cv2.getPerspectiveTransform(leant.astype(np.float32), (anchors + self.margin).astype(np.float32))
            flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
            board = cv2.warpPerspective(self._still, back, (wide, tall), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        self._car(board, leant.mean(axis=0) - anchors.mean(axis=0), time)
        return board

    def open(self, shift: Floats, time: float) -> Board | None:
        """float32[h, w]: the share of light that the branch lets through in this frame; None without a branch."""
        branch = self.ambient.branch if self.ambient else None
        if branch is None:
            return None
        turn = np.radians(branch.degrees) * np.sin(2 * np.pi * branch.hertz * time + 0.6 * np.sin(1.7 * time))
        c, s = np.cos(turn), np.sin(turn)
        twigs = np.array(branch.twigs)
        ends = (twigs[:, :4].reshape(-1, 2) - branch.root) @ np.array([[c, s], [-s, c]]) + branch.root
        at = self._place(ends, branch.depth) + shift
        mask = np.full((self.camera.height, self.camera.width), 255, np.uint8)
        per_metre = self.camera.focal / max(self.camera.position[2] - branch.depth, 0.5)
        for line, thick in zip(at.reshape(-1, 2, 2), twigs[:, 4], strict=True):
            if np.isfinite(line).all():
                begin, end = np.rint(line * (1 << _FINE)).astype(int).clip(-(1 << 24), 1 << 24).tolist()
                width = min(max(1, round(thick * per_metre)), 250)
                cv2.line(mask, begin, end, 0, width, cv2.LINE_AA, _FINE)
        soft = cv2.GaussianBlur(mask, (5, 5), 1.0)
        return soft.astype(np.float32) * np.float32(1 / 255)

    def _place(self, spots: Floats, depth: float = 0.0) -> Floats:
        """Where spots of the plane (or of one nearer) are in the picture."""
        points = np.column_stack([spots, np.full(len(spots), depth)])
        return projected(self.camera, seen(self.camera, points))

    @cached_property
    def _shape(self) -> tuple[int, int]:
        return self.camera.height + 2 * self.margin, self.camera.width + 2 * self.margin

    def _drawn(self) -> Board:
        ambient = self.ambient
        if ambient is None:
            return np.zeros((0, 0, 3), np.float32)
        board = self._sky(ambient)
        for surface in ambient.surfaces:
            mask = self._filled(np.array(surface.corners))
            paint = self._grain(surface.grain)
            if surface.rows:
                paint = paint * self._courses(surface.rows)
            colour = np.array(surface.colour, np.float32) * paint[..., None]
            board += mask[..., None] * (colour - board)
        if ambient.street_light:
            lantern = ambient.street_light
            at = self._place(np.array([lantern.at]))[0]
            self._lantern(board, at + self.margin, lantern.colour, lantern.radius, lantern.glow)
        return board

    def _sky(self, ambient: Ambient) -> Board:
        """A gradient down to the ground, whichever way the phone is held."""
        tall, wide = self._shape
        x0 = self.camera.position[0]
        two = self._place(np.array([[x0, ambient.ground_y], [x0, ambient.ground_y + 1.0]]))
        up = two[1] - two[0]
        up = up / np.linalg.norm(up)
        grid_y, grid_x = np.mgrid[0:tall, 0:wide].astype(np.float32)
        high = (grid_x - self.margin - two[0, 0]) * up[0] + (grid_y - self.margin - two[0, 1]) * up[1]
        share = np.clip(high / max(float(high.max()), 1.0), 0, 1)[..., None].astype(np.float32)
        top, low, ground = (np.array(c, np.float32) for c in (ambient.sky_top, ambient.sky_low, ambient.ground))
        below = np.clip(0.5 - high, 0, 1)[..., None].astype(np.float32)
        earth = ground * self._grain(0.2)[..., None]
        return ((low + (top - low) * share) * (1 - below) + earth * below).astype(np.float32)

    def _filled(self, corners: Floats) -> Board:
        """A polygon's share of each point."""
        mask = np.zeros(self._shape, np.uint8)
        at = self._place(corners) + self.margin
        if np.isfinite(at).all():
            fixed = np.rint(at * (1 << _FINE)).clip(-(1 << 26), 1 << 26).astype(np.int32)
            cv2.fillPoly(mask, [fixed], 255, cv2.LINE_AA, _FINE)
        return mask.astype(np.float32) / 255

    def _grain(self, strength: float) -> Board:
        """Texture of mean 1, coarse and fine."""
        tall, wide = self._shape
        whole = np.ones((tall, wide), np.float32)
        if strength:
            for step in (3, 11, 47):
                small = self.rng.normal(size=(tall // step + 2, wide // step + 2)).astype(np.float32)
                whole += strength * 0.577 * cv2.resize(small, (wide, tall), interpolation=cv2.INTER_CUBIC)
        return np.maximum(whole, 0.1)

    def _courses(self, rows: float) -> Board:
        """Courses of brick or board: a dark joint between them."""
        tall, wide = self._shape
        x0, y0 = self.camera.position[:2]
        two = self._place(np.array([[x0, y0], [x0, y0 + rows]]))
        step = two[1] - two[0]
        grid_y, grid_x = np.mgrid[0:tall, 0:wide].astype(np.float32)
        turns = ((grid_x - two[0, 0]) * step[0] + (grid_y - two[0, 1]) * step[1]) / (step @ step)
        return (1 - 0.35 * (np.cos(2 * np.pi * turns) > 0.85)).astype(np.float32)

    def _lantern(self, board: Board, at: Floats, colour: Colour, radius: float, glow: float) -> None:
        """Adds a disc and a glow, in place."""
        per_metre = self.camera.focal / self.camera.position[2]
        if not np.isfinite(at).all():
            return
        inner = max(radius * per_metre, 0.7)
        for sigma, share in ((inner, 1.0), (glow * per_metre, 0.012)):
            reach = int(min(3.5 * sigma, 4000)) + 2
            x0, y0 = np.maximum(np.floor(at).astype(int) - reach, 0)
            x1, y1 = np.minimum(np.floor(at).astype(int) + reach, [board.shape[1], board.shape[0]])
            if x0 < x1 and y0 < y1:
                across = np.exp(-(((np.arange(x0, x1) - at[0]) / sigma) ** 2) / 2)
                down = np.exp(-(((np.arange(y0, y1) - at[1]) / sigma) ** 2) / 2)
                spot = np.multiply.outer(down, across).astype(np.float32)
                board[y0:y1, x0:x1] += spot[..., None] * (np.array(colour, np.float32) * share)

    def _car(self, board: Board, shift: Floats, time: float) -> None:
        """The headlights where they are at this time, in place."""
        car = self.ambient.car if self.ambient else None
        if car is None or not car.begin <= time <= car.end:
            return
        share = (time - car.begin) / (car.end - car.begin)
        middle = np.array(car.left) * (1 - share) + np.array(car.right) * share
        for side in (-0.6, 0.6):
            at = self._place(middle[None] + np.array([[side, 0.0]]))[0] + shift
            self._lantern(board, at, car.colour, car.radius, car.glow)
