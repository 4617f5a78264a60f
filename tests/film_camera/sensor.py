"""From light on the sensor to a picture of 8 bits: noise, clipping, mosaic, tone, and what a phone does to films."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from film_camera.things import Camera

FULL = 30_720
"""Steps of 16 bits from black to full scale; above is room for white balance."""
BLACK = 4_080
"""The step for no light: below it there is room for noise."""
CALM = 10
"""Temporal denoising leaves alone what changed by more than this many grey levels."""


def tone(camera: Camera, light: NDArray) -> NDArray:
    """0..1 linear to 0..1 as stored: a shoulder from the knee on, then the opto-electronic transfer.

    Source: ITU-R BT.709-6, item 1.2; for HLG, ITU-R BT.2100-2, table 5.
    """
    light = np.clip(light, 0, 1)
    if camera.knee < 1:
        over = np.maximum(light - camera.knee, 0) / (1 - camera.knee)
        light = np.where(light > camera.knee, camera.knee + (1 - camera.knee) * (1.5 * over - 0.5 * over**2), light)
    if camera.hlg:
        a, b, c = 0.17883277, 0.28466892, 0.55991073
        return np.where(light <= 1 / 12, np.sqrt(3 * light), a * np.log(np.maximum(12 * light - b, 1e-9)) + c)
    return np.where(light < 0.018, 4.5 * light, 1.099 * np.maximum(light, 1e-9) ** 0.45 - 0.099)


def noise_levels(camera: Camera, light: float = 0.0) -> float:
    """Grey levels rms that noise makes where this much light falls, before denoising."""
    sigma = np.sqrt(max(light, 0.0) / camera.electrons + (camera.read_noise / camera.electrons) ** 2)
    low, high = tone(camera, np.array([max(light, 0.0), light + sigma]))
    return float(255 * (high - low))


@dataclass
class Sensor:
    """A sensor and its picture processing; it remembers the frame before for temporal denoising."""

    camera: Camera
    rng: np.random.Generator
    _bank: NDArray[np.float32] = field(init=False)
    _curve: NDArray[np.uint8] = field(init=False)
    _before: NDArray[np.uint8] | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        size = self.camera.width * self.camera.height * (1 if self.camera.bayer else 3)
        self._bank = self.rng.standard_normal(size + 200_003, dtype=np.float32)
        self._curve = np.rint(255 * tone(self.camera, (np.arange(1 << 16) - BLACK) / FULL)).astype(np.uint8)

    def picture(self, light: NDArray[np.float32], balance: NDArray) -> NDArray[np.uint8]:
        """One frame: uint8[h, w, 3] from linear light, 1 at full scale.

        Args:
            balance: float[2]: by what red and blue are multiplied (white balance).
        """
        tall, wide = light.shape[:2]
        scale = np.array([balance[0], 1.0, balance[1]], np.float32)
        lift = _evenness(light, self.camera.local_tone) if self.camera.local_tone else None
        if self.camera.bayer:
            counted = self._counted(_mosaic(light))
            counted[0::2] *= np.tile(scale[:2], wide // 2)
            counted[1::2] *= np.tile(scale[1:], wide // 2)
        else:
            counted = self._counted(light.reshape(tall, -1))
            counted *= np.tile(scale, wide)
        if lift is not None:
            counted *= lift if self.camera.bayer else np.repeat(lift, 3, axis=1)
        steps = cv2.addWeighted(counted, FULL, counted, 0, BLACK, dtype=cv2.CV_16U)
        if self.camera.bayer:
            steps = cv2.cvtColor(steps, cv2.COLOR_BayerRGGB2RGB)
        return self._finished(np.take(self._curve, steps.reshape(tall, wide, 3), mode="clip"))

    def _counted(self, light: NDArray[np.float32]) -> NDArray[np.float32]:
        """Light as the converter gives it, one number a site: with shot and read noise, clipped at full scale.

        Source: EMVA Standard 1288, release 4.0: the variance is that of the dark plus the signal's own.
        """
        many = self.camera.electrons
        light = np.maximum(light, 0)
        spread = cv2.addWeighted(light, 1 / many, light, 0, (self.camera.read_noise / many) ** 2)
        cv2.sqrt(spread, spread)
        begin = int(self.rng.integers(200_000))
        spread *= self._bank[begin : begin + light.size].reshape(light.shape)
        spread += light
        return np.minimum(spread, 1, out=spread)

    def _finished(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Smoothed, calmed and sharpened, as far as the camera does that."""
        camera = self.camera
        if camera.spatial_denoise:
            picture = cv2.GaussianBlur(picture, (0, 0), camera.spatial_denoise)
        if camera.temporal_denoise:
            if self._before is not None:
                calm = cv2.compare(cv2.absdiff(picture, self._before), CALM, cv2.CMP_LT)
                mixed = cv2.addWeighted(picture, 1 - camera.temporal_denoise, self._before, camera.temporal_denoise, 0)
                picture = cv2.bitwise_or(cv2.bitwise_and(mixed, calm), cv2.bitwise_and(picture, cv2.bitwise_not(calm)))
            self._before = picture
        if camera.sharpen:
            smooth = cv2.GaussianBlur(picture, (0, 0), 1.2)
            picture = cv2.addWeighted(picture, 1 + camera.sharpen, smooth, -camera.sharpen, 0)
        return picture


def _mosaic(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """One colour at each site: red and green in even rows, green and blue in odd ones."""
    raw = np.empty(light.shape[:2], np.float32)
    for down, right, letter in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        raw[down::2, right::2] = light[down::2, right::2, letter]
    return raw


def _evenness(light: NDArray[np.float32], strength: float) -> NDArray[np.float32]:
    """Local tone mapping: float32[h, w], by what bright regions are held down and dark ones lifted.

    Source: E. Reinhard and others, "Photographic tone reproduction for digital images", 2002, the idea of a local mean.
    """
    tall, wide = light.shape[:2]
    step = max(2, wide // 80)
    small = cv2.resize(light, (max(1, wide // step), max(1, tall // step)), interpolation=cv2.INTER_AREA)
    around = cv2.GaussianBlur(np.maximum(small.max(axis=2), 0), (0, 0), 3.0) + 0.01
    lift = (np.exp(np.log(around).mean()) / around) ** (0.5 * strength)
    return cv2.resize(lift.astype(np.float32), (wide, tall), interpolation=cv2.INTER_LINEAR)
