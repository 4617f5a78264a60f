"""How often light changes within a second, as WCAG 2.2 counts what flashes: see `flashing`, where its source stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Signal = NDArray[np.float32]
_Kind = TypeVar("_Kind", np.float32, np.bool_)

SECOND = 10
"""Bins."""
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
"""Source (from memory): WCAG 2.2, relative luminance."""
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], dtype=np.float32)
"""Source: IEC 61966-2-1: from linear sRGB."""
LOWS = (0.05, 0.09, 0.14, 0.19, 0.23, 0.245, 0.253, 0.3)
"""What a low light is of a bright one: by sRGB's curve at full level, at lower ones, and without a curve. There octets
are rounded, and a light of 0.249 beside one of 0.251 is on the other side of what is saturated."""
SURE = 0.9
"""So large a part of what the standard counts is counted."""
CHANGE, SATURATED, APART, OLDER = 0.1 * SURE, 0.8, 0.2 * SURE, 20 / 320 * SURE
"""Of luminance; R / (R + G + B) of a saturated red; distance of chromaticity; R − G − B."""


@dataclass(frozen=True, eq=False)
class Light:
    """What patches show in the bins of a cycle.

    Attributes:
        low: red, green and blue of the pixels whose symbol is low, as if they were bright: shape (patches, bins, 3).
        bright: of those whose symbol is bright.
    """

    low: Signal
    bright: Signal


def most_changes(light: Light) -> int:
    """The most changes of one kind, general or red, that any patch has within a second with both its ends."""
    most = 0
    low, bright = (_luminance_red_every(each) for each in (light.low, light.bright))
    for part in LOWS:
        luminance, red, every = (one * part + other for one, other in zip(low, bright, strict=True))
        most = max(most, _general(luminance), _older_red(red, every), _newer_red(light, part, red, every))
    return most


def _luminance_red_every(shown: Signal) -> tuple[Signal, Signal, Signal]:
    """Luminance, red, and the sum of red, green and blue: each of shape (patches, bins)."""
    return _mixed(shown, LUMINANCE), shown[..., 0], shown[..., 0] + shown[..., 1] + shown[..., 2]


def _mixed(shown: Signal, weights: Signal) -> Signal:
    """Red, green and blue, weighed, in the same order on every machine: whoever plays and whoever reads must agree."""
    red, green, blue = weights
    mixed: Signal = shown[..., 0] * red + shown[..., 1] * green + shown[..., 2] * blue
    return mixed


def _general(luminance: Signal) -> int:
    return _most(_opposing(_round(luminance[np.ptp(luminance, axis=1) >= CHANGE]), CHANGE))


def _is_saturated(red: Signal, every: Signal) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = (red >= SATURATED * every) & (red > 0)
    return found


def _older_red(red: Signal, every: Signal) -> int:
    """Of red flashes as WCAG 2.1 had them."""
    much = np.where(_is_saturated(red, every), 2 * red - every, 0)
    return _most(_opposing(_round(much[much.max(axis=1) >= OLDER]), OLDER))


def _newer_red(light: Light, part: float, red: Signal, every: Signal) -> int:
    """Of red flashes as WCAG 2.2 has them. No two saturated reds are so far apart."""
    saturated = _is_saturated(red, every)
    some = np.flatnonzero(saturated.any(axis=1) & ~saturated.all(axis=1))
    return _most(_to_or_from_red(_round(light.low[some] * part + light.bright[some]), _round(saturated[some])))


def _round(signal: NDArray[_Kind]) -> NDArray[_Kind]:
    """A cycle with two seconds more: the code goes round."""
    return np.moveaxis(np.concatenate([signal, signal[:, : 2 * SECOND]], axis=1), 1, 0)


def _most(changes: NDArray[np.bool_]) -> int:
    """The most within a second; changes have shape (bins, patches)."""
    sums = np.cumsum(changes, axis=0, dtype=np.int32)
    return int((sums[SECOND + 1 :] - sums[: -SECOND - 1]).max(initial=0))


def _opposing(signal: Signal, least: float) -> NDArray[np.bool_]:
    """When a change of `least` against the extreme since the one before it, the other way, is complete."""
    found = np.zeros(signal.shape, dtype=bool)
    if not signal.size:
        return found
    extreme, up = signal[0].copy(), np.ones(signal.shape[1], dtype=np.float32)
    for at in range(1, len(signal)):
        gone = (signal[at] - extreme) * up
        extreme = np.where(gone > 0, signal[at], extreme)
        turned = gone <= -least
        extreme[turned] = signal[at][turned]
        up[turned] *= -1
        found[at] = turned
    return found


def _to_or_from_red(shown: Signal, saturated: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """When the chromaticity is so far from what it was at the change before, and one of both is a saturated red."""
    found = np.zeros(saturated.shape, dtype=bool)
    if not saturated.size:
        return found
    x, y, z = (_mixed(shown, each) for each in XYZ)
    across, up = np.stack([4 * x, 9 * y]) / np.maximum(x + 15 * y + 3 * z, 1e-12)
    was_across, was_up, was_red = across[0].copy(), up[0].copy(), saturated[0].copy()
    for at in range(1, len(found)):
        far = (across[at] - was_across) ** 2 + (up[at] - was_up) ** 2 > APART**2
        turned = far & (was_red | saturated[at])
        was_across[turned], was_up[turned] = across[at][turned], up[at][turned]
        was_red[turned] = saturated[at][turned]
        found[at] = turned
    return found
