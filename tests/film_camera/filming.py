"""A film of a scene, frame by frame, and what is true of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from film_camera import light as lighting
from film_camera.backdrop import Backdrop, mirrored
from film_camera.motion import Motion, motion, stabilised, through
from film_camera.optics import nearest, projected, seen
from film_camera.recording import Exposure, exposures, record
from film_camera.sensor import Sensor, noise_levels, tone
from film_camera.splats import halo, height, splat
from film_camera.things import Camera, Levels, Scene, Truth

Floats = NDArray[np.float64]

SMEAR = 0.5
"""Points that the picture may move while a row is exposed before its light is spread over several places."""
PROVABLE_SHARE, PROVABLE_OPEN, PROVABLE_LEVELS, PROVABLE_NOISE = 0.95, 0.5, 6.0, 3.0


@dataclass(frozen=True)
class Picture:
    """One stored frame before it is encoded: uint8[h, w, 3], red, green, blue, as stored."""

    time: float
    stamp: float
    rgb: NDArray[np.uint8]


@dataclass
class _Tally:
    """What is noted of the pixels while the frames are made."""

    first: Floats | None = None
    images: Floats | None = None
    inside: Floats | float = 0.0
    open: Floats | float = 0.0
    rise: Floats | float = 0.0
    frames: int = 0
    times: list[float] = field(default_factory=list)
    stamps: list[float] = field(default_factory=list)
    path: list[Floats] = field(default_factory=list)


class Shoot:
    """One film while it is taken: its frames, and what is true of those made so far."""

    def __init__(self, scene: Scene, camera: Camera, levels: Levels, seconds: float, start: float, seed: int) -> None:
        moving, timing, noise, drawing, clocks = (np.random.default_rng([seed, k]) for k in range(5))
        self.scene, self.camera = scene, camera
        self.moved: Motion = motion(camera, start, seconds, moving)
        self.taken: list[Exposure] = exposures(camera, start, seconds, timing)
        self.sensor = Sensor(camera, noise)
        self.backdrop = Backdrop(scene.ambient, camera, drawing)
        self.lights = lighting.lights(scene, levels, clocks)
        self.start = start
        self.own = seen(camera, scene.points)
        self.flat = projected(camera, self.own)
        glass = scene.ambient.glass if scene.ambient else None
        self.images = seen(camera, mirrored(glass, scene.points)) if glass else None
        self.image_share = glass.share if glass else 0.0
        self._meter()
        self.tally = _Tally()
        self.adapted = 0.0
        self.usual: float | None = None
        self._corners()

    def _meter(self) -> None:
        """How wide a splat is, and how much light each pixel gives the sensor at full drive."""
        ahead = np.where(self.own[:, 2] > 1e-3, self.own[:, 2], np.nan)
        usual = float(np.nanmedian(ahead)) if np.isfinite(ahead).any() else 1.0
        disc = self.scene.light_size * self.camera.focal / usual
        self.sigma = float(np.sqrt(max(self.camera.blur**2 + (disc / 4) ** 2, 0.25)))
        faces = self.scene.faces
        bright = float(np.median(faces[faces > 0])) if (faces > 0).any() else 1.0
        self.full = np.nan_to_num((usual / ahead) ** 2) * faces / bright / height(self.sigma)

    def _corners(self) -> None:
        """Four places by which the backdrop is moved, and their rays."""
        wide, tall = self.camera.width, self.camera.height
        self.anchors = np.array([[x * wide, y * tall] for x, y in ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9))])
        middle = np.array([(wide - 1) / 2, (tall - 1) / 2])
        self.rays = np.column_stack([(self.anchors - middle) / self.camera.focal, np.ones(4)])
        self.bare = Camera(width=wide, height=tall, focal=self.camera.focal)

    def frames(self) -> Iterator[Picture]:
        """Each stored frame in order."""
        rgb = np.zeros((self.camera.height, self.camera.width, 3), np.uint8)
        for exposure in self.taken:
            if not exposure.again:
                rgb = self._frame(exposure.time)
            self.tally.times.append(exposure.time)
            self.tally.stamps.append(exposure.stamp)
            self.tally.path.append(self.tally.path[-1] if exposure.again else self._now)
            yield Picture(exposure.time, exposure.stamp, rgb)

    def _opened(self, time: float, flat: Floats) -> Floats:
        """When the row of each place begins to gather light."""
        rows = np.clip(np.nan_to_num(flat[:, 1]) / self.camera.height, 0, 1)
        return time + rows * self.camera.readout

    def _frame(self, time: float) -> NDArray[np.uint8]:
        camera = self.camera
        opened = self._opened(time, self.flat)
        shone = self.lights.shone(opened, opened + camera.exposure) @ self.scene.response.astype(np.float32)
        opened_there = self._opened(time, self.anchors) + camera.exposure / 2
        leant = projected(self.bare, self.rays, self.moved.at(self.moved.lean, opened_there))
        stops = float(self.moved.at(self.moved.stops, time)) - self.adapted
        strength = camera.gain * 2.0**stops
        whole = self.backdrop.seen(self.anchors, leant, time - self.start)
        lit = shone * self.full[:, None].astype(np.float32)
        sigma = round(float(np.hypot(self.sigma, self.moved.at(self.moved.focus, time))), 3)
        at, smear = self._add(whole, self.own, lit, opened, sigma)
        images = None
        if self.images is not None:
            images, _ = self._add(whole, self.images, lit * np.float32(self.image_share), opened, sigma)
        shift = leant.mean(axis=0) - self.anchors.mean(axis=0)
        through_leaves = self.backdrop.open(shift, time - self.start)
        if through_leaves is not None:
            whole *= through_leaves[..., None]
        cv2.multiply(whole, (strength, strength, strength, 0.0), whole)
        self._adapt(whole)
        if camera.bloom:
            whole = halo(whole, camera.bloom)
        rgb = self.sensor.picture(whole, np.exp(self.moved.at(self.moved.balance, time)))
        warp = stabilised(camera, self.moved, time)
        if warp is not None:
            rgb = cv2.warpPerspective(rgb, warp, (camera.width, camera.height), borderMode=cv2.BORDER_REPLICATE)
        beside = ((np.nan_to_num(at) - np.rint(np.nan_to_num(at))) ** 2).sum(axis=1, keepdims=True)
        peak = height(sigma) * np.exp(-beside / (2 * sigma**2)) / np.sqrt(1 + (smear / sigma) ** 2 / 12)
        self._note(at, images, lit * (strength * peak), through_leaves, warp)
        return rgb

    def _add(
        self, board: NDArray[np.float32], own: Floats, lit: NDArray[np.float32], opened: Floats, sigma: float
    ) -> tuple[Floats, float]:
        """Adds points of light to a picture, smeared as the camera moves.

        Returns: their places in the exposure's middle, and the length of the smear in points.
        """
        camera = self.camera
        shares, moved = np.array([0.5]), 0.0
        if camera.shake:
            ends = self.moved.at(self.moved.lean, opened.mean() + camera.exposure * np.array([0.0, 0.5, 1.0]))
            moved = float(np.abs(np.diff(ends[:, :2], axis=0)).sum()) * camera.focal
            many = int(np.clip(np.ceil(moved / SMEAR), 1, 5))
            shares = (np.arange(many) + 0.5) / many
        for share in shares:
            lean = self.moved.at(self.moved.lean, opened + share * camera.exposure) if camera.shake else None
            at = projected(camera, own, lean)
            down, right, patch = splat(board.shape[:2], at, lit / np.float32(len(shares)), sigma)
            board[down, right] += patch
        if len(shares) > 1:
            at = projected(camera, own, self.moved.at(self.moved.lean, opened + camera.exposure / 2))
        return at, moved

    def _adapt(self, whole: NDArray[np.float32]) -> None:
        """Automatic exposure: follows the mean light with a time constant of half a second."""
        if not self.camera.auto_exposure:
            return
        mean = float(np.log2(np.minimum(whole[::4, ::4], 1).mean() + 1e-4)) + self.adapted
        self.usual = mean if self.usual is None else self.usual
        target = self.camera.auto_exposure * (mean - self.usual)
        self.adapted += (target - self.adapted) * min(1.0, 2.0 / self.camera.fps)

    def _note(
        self, at: Floats, images: Floats | None, peaks: NDArray, leaves: NDArray | None, warp: NDArray | None
    ) -> None:
        """Keeps what is true of this frame."""
        tally, camera = self.tally, self.camera
        stored = through(warp, at)
        x, y = stored.T
        inside = (x >= 0) & (x <= camera.width - 1) & (y >= 0) & (y <= camera.height - 1)
        through_it = np.ones(len(at))
        if leaves is not None:
            spots = np.nan_to_num(at).round().astype(int).clip(0, [camera.width - 1, camera.height - 1])
            through_it = leaves[spots[:, 1], spots[:, 0]].astype(float)
        if tally.first is None:
            tally.first = stored
            tally.images = np.full_like(stored, np.nan) if images is None else through(warp, images)
        tally.inside = tally.inside + inside
        tally.open = tally.open + through_it
        tally.rise = np.maximum(tally.rise, peaks * (through_it * inside)[:, None])
        tally.frames += 1
        self._now = np.nanmean(stored - tally.first, axis=0) if inside.any() else np.zeros(2)

    def truth(self) -> Truth:
        """What is true of the frames made so far."""
        tally, camera = self.tally, self.camera
        n = len(self.scene.places)
        assert tally.first is not None, "no frame was taken: film longer"
        quiet = self.backdrop.seen(self.anchors, self.anchors, -1.0) * camera.gain
        spots = np.nan_to_num(self.flat).round().astype(int).clip(0, [camera.width - 1, camera.height - 1])
        behind = quiet[spots[:, 1], spots[:, 0]].astype(float)
        rise = 255 * (tone(camera, behind + tally.rise) - tone(camera, behind))
        levels = rise.max(axis=1)
        noise = noise_levels(camera, float(np.median(behind)))
        share = np.broadcast_to(tally.inside / tally.frames, n)
        uncovered = np.broadcast_to(tally.open / tally.frames, n)
        enough = max(PROVABLE_LEVELS, PROVABLE_NOISE * noise)
        visible = (share >= PROVABLE_SHARE) & (uncovered >= PROVABLE_OPEN) & (levels >= enough)
        return Truth(
            tally.first, share, uncovered, levels, noise, nearest(tally.first), tally.images, visible,
            np.array(tally.times), np.array(tally.stamps), np.array(tally.path),
        )  # fmt: skip


def pictures(
    scene: Scene, camera: Camera, levels: Levels, seconds: float, *, start: float = 0.0, seed: int = 0
) -> Iterator[Picture]:
    """The frames of a film before they are encoded; the same arguments give the same frames."""
    return Shoot(scene, camera, levels, seconds, start, seed).frames()


def film(
    scene: Scene, camera: Camera, levels: Levels, seconds: float, file: Path, *, start: float = 0.0, seed: int = 0,
    threads: int = 2,
) -> Truth:  # fmt: skip
    """Films a scene into a file, and tells what is true of the film.

    Args:
        levels: times float[k] in seconds to drive, uint8[k, n, 3] or float[k, n, 3] (0 to 1), linear duty.
        start: the scene's time at which the film begins.
        seed: of everything that is random; the same arguments give the same frames.
        threads: of the encoder.
    """
    shoot = Shoot(scene, camera, levels, seconds, start, seed)
    record(camera, ((picture.stamp, picture.rgb) for picture in shoot.frames()), Path(file), threads)
    return shoot.truth()
