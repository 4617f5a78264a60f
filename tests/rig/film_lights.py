"""Light that pixels give in a film, bin by bin, from the slots that are sent; and pictures of it as a cube."""

from __future__ import annotations

from functools import cache

import numpy as np

from patcher.clip.cube import SCALE, Cube
from patcher.frames.film_code import Code, code_of
from rig.shipped import laid

CHIP = {"volts": 12.0, "channel_ma": 9.0, "idle_ma": 0.8, "min_volts": 9.0, "awg": 18, "pitch": 0.05}


@cache
def line_code(pixels: int, order: str = "RGB") -> Code:
    """The code of one straight line on one box."""
    tables = {
        "show": {"title": "a line"},
        "pixel": {"dot": CHIP | {"colour_order": order}},
        "controller": {"box": {"address": "192.0.2.10", "ports": 1, "port": {"1": ["line"]}, "reorders": False}},
        "run": {"line": {"pixel": "dot", "lead": 0.5, "shape": "line", "path": [[0, 0], [pixels / 20, 0]],
                         "pixels": pixels}},
    }  # fmt: skip
    return code_of(laid(tables)[1])


def sent(code: Code) -> np.ndarray:
    """What each pixel's channels are sent, 0 to 1: shape (pixels, bins, channels)."""
    universes = range(1, int(code.first.max()) // 512 + 3)
    slots = np.stack([each.slots.reshape(-1) for each in code.frames(universes, 1.0)]) / 255
    wide = int(code.width.max())
    return np.stack([slots[:, first : first + wide] for first in code.first.tolist()]).astype(np.float32)


def cube_of(at: np.ndarray, light: np.ndarray, shape: tuple[int, int], spread: float, ground: float = 5.0) -> Cube:
    """A cube of every point of a picture, of round lights: `light` has shape (lights, bins, 3)."""
    y, x = np.divmod(np.arange(shape[0] * shape[1]), shape[1])
    falls = np.exp(-((x[:, None] - at[:, 0]) ** 2 + (y[:, None] - at[:, 1]) ** 2) / (2 * spread**2))
    seen = np.einsum("pl,lbc->bpc", falls, light) + ground
    values = np.round(seen.clip(0, 255) * SCALE).astype(np.uint16)
    weights = np.ones((light.shape[1], (shape[0] - 1) // 16 + 1), dtype=np.float32)
    return Cube(shape, y.astype(np.int32), x.astype(np.int32), values, weights)
