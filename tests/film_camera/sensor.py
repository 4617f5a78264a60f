"""From light on the sensor to a picture of 8 bits: noise, clipping, mosaic, tone, and what a phone does to films."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from film_camera.things import Camera

FULL = 3840
"""Steps of the converter from black to full scale, of 12 bits."""
BLACK = 255
"""The converter's step for no light: below it there is room for noise."""
CALM = 10
"""Temporal denoising leaves alone what changed by more than this many grey levels."""


def tone(camera: Camera, light: NDArray) -> NDArray:
    """0..1 linear to 0..1 as stored: a shoulder from the knee on, then the transfer of a film camera.

    Source: ITU-R BT.709-6, item 1.2, the opto-electronic transfer function.
    """
    light = np.clip(light, 0, 1)
    if camera.knee < 1:
        over = np.maximum(light - camera.knee, 0) / (1 - camera.knee)
        light = np.where(light > camera.knee, camera.knee + (1 - camera.knee) * (1.5 * over - 0.5 * over**2), light)
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
        steps = (np.arange(1 << 12) - BLACK) / FULL
        self._curve = np.rint(255 * tone(self.camera, steps)).astype(np.uint8)

    def picture(self, light: NDArray[np.float32], balance: NDArray) -> NDArray[np.uint8]:
        """One frame: uint8[h, w, 3] from linear light, 1 at full scale.

        Args:
            balance: float[2]: by what red and blue are multiplied (white balance).
        """
        scale = np.array([balance[0], 1.0, balance[1]], np.float32)
        counted = self._demosaiced(light, scale) if self.camera.bayer else self._counted(light) * scale
        if self.camera.local_tone:
            counted = _evened(counted, self.camera.local_tone)
        numbers = np.clip(counted * FULL + (BLACK + 0.5), 0, (1 << 12) - 1).astype(np.uint16)
        return self._finished(self._curve[numbers])

    def _counted(self, light: NDArray[np.float32]) -> NDArray[np.float32]:
        """Light as the converter gives it: with shot and read noise, clipped at full scale.

        Source: EMVA Standard 1288, release 4.0, eq. 14: the variance is that of the dark plus the signal's own.
        """
        many = self.camera.electrons
        flat = np.maximum(light, 0).reshape(light.shape[0], -1)
        spread = cv2.sqrt(flat * np.float32(1 / many) + np.float32((self.camera.read_noise / many) ** 2))
        begin = int(self.rng.integers(200_000))
        noise = self._bank[begin : begin + flat.size].reshape(flat.shape)
        spread *= noise
        spread += flat
        return np.minimum(spread, 1, out=spread).reshape(light.shape)

    def _demosaiced(self, light: NDArray[np.float32], scale: NDArray[np.float32]) -> NDArray[np.float32]:
        """Through a mosaic of RGGB and bilinear demosaicing."""
        raw = np.empty(light.shape[:2], np.float32)
        sites = ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2))
        for down, right, letter in sites:
            raw[down::2, right::2] = light[down::2, right::2, letter]
        raw = self._counted(raw)
        for down, right, letter in sites:
            raw[down::2, right::2] *= scale[letter]
        steps = np.clip(raw * 16 * FULL * 0.5 + 16 * BLACK, 0, 65535).astype(np.uint16)
        full = cv2.cvtColor(steps, cv2.COLOR_BayerRGGB2RGB)
        return (full.astype(np.float32) - 16 * BLACK) / (16 * FULL * 0.5)

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


def _evened(light: NDArray[np.float32], strength: float) -> NDArray[np.float32]:
    """Local tone mapping: bright regions are held down, dark ones lifted, by the mean light around.

    Source: E. Reinhard and others, "Photographic tone reproduction for digital images", 2002, the idea of a local mean.
    """
    tall, wide = light.shape[:2]
    step = max(2, wide // 80)
    small = cv2.resize(light, (max(1, wide // step), max(1, tall // step)), interpolation=cv2.INTER_AREA)
    around = cv2.GaussianBlur(np.maximum(small.max(axis=2), 0), (0, 0), 3.0) + 0.01
    lift = (np.exp(np.log(around).mean()) / around) ** (0.5 * strength)
    lift = cv2.resize(lift.astype(np.float32), (wide, tall), interpolation=cv2.INTER_LINEAR)
    return light * lift[..., None]
