"""The film's code flashes no more than three times a second, by the definitions of WCAG 2.2, from the frames sent.

Source (from memory): W3C, WCAG 2.2, success criterion 2.3.1, and in its glossary "general flash and red flash
thresholds" and "relative luminance". No more than three general flashes and no more than three red flashes within any
one-second period. A general flash is a pair of opposing changes in relative luminance of 10 % or more of the maximum
relative luminance (1.0), where the relative luminance of the darker image is below 0.80. A red flash is a pair of
opposing transitions involving a saturated red: one transition is to or from a state whose R/(R + G + B) is 0.8 or
more, and the states are more than 0.2 apart in the CIE 1976 UCS chromaticity diagram. WCAG 2.1 asked for a change of
more than 20 in (R − G − B) × 320, where that is not negative; both are held here. 341 × 256 points of 1024 × 768
are about 10 degrees of view.

The light of a pixel is taken to be as its slot says (pulses whose length is the slot), or by the curve of sRGB, as of a
box that dims by such a curve. White light and light without a name count as the full luminance of a screen's white.
"""

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

from patcher.cli.inputs import load
from patcher.faults import wire_letters
from patcher.frames.film_code import BIN, Code, code_of
from patcher.patch.patch import Patch, pixel_places
from patcher.placement.allocation import allocate
from patcher.shapes import positions
from patcher.trade import FASTEST_FLASH
from patcher.wiring import Wiring
from rig.any_show import any_show
from rig.examples import later
from rig.shipped import SHOWS, laid

Light = np.ndarray
"""Red, green and blue in each bin: shape (signals, bins, 3)."""

SECOND = round(1 / BIN)
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Source (from memory): WCAG 2.2, relative luminance."""
COLOURS = {"R": (1.0, 0.0, 0.0), "G": (0.0, 1.0, 0.0), "B": (0.0, 0.0, 1.0)}
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""Source: IEC 61966-2-1: from linear sRGB."""
VIEW = np.array([2 * np.tan(np.radians(5.0)), 2 * np.tan(np.radians(5.0)) * 256 / 341])
"""Width and height of a patch, at a distance of 1."""
NEAR = 2.0
"""Metres: nearer than that nobody watches a display."""
WIDEST = 0.05
"""Metres: the light of a pixel is as wide as its pitch, but no wider than that."""


def srgb(value: np.ndarray) -> np.ndarray:
    """Source (from memory): WCAG 2.2, relative luminance."""
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


CURVES: dict[str, Callable[[np.ndarray], np.ndarray]] = {"as sent": lambda value: value, "sRGB": srgb}


# --- the definitions ----------------------------------------------------------------------------------------------


def turns(signal: np.ndarray, least: float, darker: float = np.inf) -> np.ndarray:
    """In which bins a change of `least` or more, against the one before, is complete: shape like `signal`.

    Each is measured from the extreme since the last one.
    """
    found = np.zeros(signal.shape, dtype=bool)
    low, high = signal[:, 0].copy(), signal[:, 0].copy()
    way = np.zeros(len(signal), dtype=int)
    for at in range(1, signal.shape[1]):
        now = signal[:, at]
        low, high = np.where(way <= 0, np.minimum(low, now), low), np.where(way >= 0, np.maximum(high, now), high)
        up = (way <= 0) & (now - low >= least - 1e-9) & (low < darker)
        down = (way >= 0) & (high - now >= least - 1e-9) & (now < darker) & ~up
        found[:, at] = up | down
        way = np.where(up, 1, np.where(down, -1, way))
        high, low = np.where(up, now, high), np.where(down, now, low)
    return found


def most_flashes(turned: np.ndarray) -> int:
    """The most pairs of opposing changes within one second, its first and its last moment included."""
    sums = np.concatenate([np.zeros((len(turned), 1), dtype=int), turned.cumsum(axis=1)], axis=1)
    return int((sums[:, SECOND + 1 :] - sums[:, : -SECOND - 1]).max(initial=0)) // 2


def general(light: Light) -> int:
    return most_flashes(turns(light @ LUMINANCE, 0.1, 0.8))


def red(light: Light) -> int:
    """By either definition, whichever finds more."""
    much = np.maximum(0.0, (light[..., 0] - light[..., 1] - light[..., 2]) * 320)
    whole = np.maximum(light.sum(axis=-1), 1e-12)
    saturated = light[..., 0] / whole >= 0.8
    older = turns(np.where(saturated, much, 0.0), 20.0 + 1e-6)
    x, y, z = np.moveaxis(light @ XYZ.T, -1, 0)
    chromaticity = np.stack([4 * x, 9 * y], axis=-1) / np.maximum(x + 15 * y + 3 * z, 1e-12)[..., None]
    newer = np.zeros_like(saturated)
    before, was = chromaticity[:, 0].copy(), saturated[:, 0].copy()
    for at in range(1, light.shape[1]):
        apart = np.hypot(*(chromaticity[:, at] - before).T) > 0.2
        newer[:, at] = apart & (was | saturated[:, at])
        before[newer[:, at]], was = chromaticity[newer[:, at], at], np.where(newer[:, at], saturated[:, at], was)
    return max(most_flashes(older), most_flashes(newer))


def blinking(period: int, low: float, high: float, colour: tuple[float, ...] = (1.0, 1.0, 1.0)) -> Light:
    """A square wave of so many bins."""
    steps = np.arange(4 * SECOND)
    return (np.where(steps % period < period // 2, high, low)[:, None] * np.array(colour))[None]


@pytest.mark.parametrize(
    ("light", "general_flashes", "red_flashes"),
    [
        (blinking(2, 0.0, 1.0), 5, 0),
        (blinking(4, 0.0, 1.0), 3, 0),
        (blinking(2, 0.0, 0.09), 0, 0),
        (blinking(2, 0.0, 0.1), 5, 0),
        (blinking(2, 0.81, 1.0), 0, 0),
        (blinking(2, 0.79, 1.0), 5, 0),
        (blinking(2, 0.0, 1.0, (1, 0, 0)), 5, 5),
        (blinking(2, 0.0, 0.3, (1, 0, 0)), 0, 5),
        (blinking(2, 0.0, 1.0, (0, 0, 1)), 0, 0),
        (blinking(2, 0.0, 1.0, (1, 0, 0)) + blinking(2, 0.3, 0.0, (0, 1, 0)), 0, 5),
    ],
)
def test_the_definitions_tell_what_flashes(light: Light, general_flashes: int, red_flashes: int) -> None:
    # Source: the definitions above, by hand: a square wave of 5 Hz has 11 changes in a second with both its ends
    assert (general(light), red(light)) == (general_flashes, red_flashes)


# --- the light of a show ------------------------------------------------------------------------------------------


class Field:
    """Every pixel that plays, where it is and what it shows; those that are not drawn hang below in a row."""

    def __init__(self, wiring: Wiring, patch: Patch, code: Code, level: float) -> None:
        universes = sorted({universe for own in patch.box_universes.values() for universe in own})
        slots = np.stack([frame.slots for frame in code.frames(universes, level)]).reshape(code.bins, -1)
        # A cycle, and a second more: the code goes round.
        slots = np.concatenate([slots, slots[: SECOND + 1]]) / 255
        at, side, value = [], [], []
        for run in wiring.show.runs.values():
            source = wiring.source(run.name)
            link, first = patch.link_of(source)
            letters = wire_letters(wiring.show, patch.start_of(source).controller, wiring.show.runs[source])
            own = pixel_places(first, np.arange(link.pixels), link.channels)
            columns = np.searchsorted(universes, own // 512 + 1) * 512 + own % 512
            value.append((slots[:, columns[:, None] + np.arange(link.channels)].transpose(1, 0, 2), letters))
            places = positions(wiring.show, run)
            if places is None:
                places = np.column_stack([np.arange(link.pixels) * 0.05, np.full(link.pixels, -0.5 - 0.1 * len(at))])
            step = np.hypot(*np.diff(places, axis=0).T)
            at.append(places[: link.pixels])
            side.append(np.full(link.pixels, min(WIDEST, float(np.median(step)) if len(step) else WIDEST)))
        self.at, self.side, self._value = np.concatenate(at), np.concatenate(side), value

    def light(self, curve: Callable[[np.ndarray], np.ndarray]) -> Light:
        """What each pixel shows: shape (pixels, bins, 3)."""
        found = []
        for value, letters in self._value:
            colours = np.array([COLOURS.get(letter, (1.0, 1.0, 1.0)) for letter in letters])
            found.append(curve(value) @ colours)
        return np.concatenate(found)

    def patches(self, distance: float, *, most: int = 60) -> np.ndarray:
        """The part of each patch that each pixel fills: shape (patches, pixels).

        They lie half their size apart; of very many some are left out.
        """
        size = VIEW * distance
        low, high = self.at.min(axis=0) - size, self.at.max(axis=0)
        corners = [np.arange(low[axis], high[axis] + size[axis] / 2, size[axis] / 2) for axis in (0, 1)]
        grid = np.stack(np.meshgrid(*corners), axis=-1).reshape(-1, 2)
        middles = grid + size / 2
        near = np.array([(np.abs(self.at - middle) < size / 2).all(axis=1).any() for middle in middles])
        grid = grid[near]
        grid = grid[:: max(1, len(grid) // most)]
        parts = 1.0
        for axis in (0, 1):
            begin, end = self.at[:, axis] - self.side / 2, self.at[:, axis] + self.side / 2
            first, last = grid[:, axis, None], grid[:, axis, None] + size[axis]
            parts = parts * np.clip(np.minimum(end, last) - np.maximum(begin, first), 0, None) / size[axis]
        return parts / np.maximum(1.0, parts.sum(axis=1, keepdims=True))

    @property
    def whole(self) -> float:
        """The distance from which the show fills 1024 × 768 points, in metres; no nearer than somebody stands."""
        wide, high = np.ptp(self.at, axis=0)
        return max(NEAR, float(wide / 3 / VIEW[0]), float(high / 3 / VIEW[1]))


def check(wiring: Wiring, patch: Patch, level: float) -> None:
    """At most three flashes a second: of each pixel; of each patch of the field, and if its pixels filled it; of all
    together.
    """
    field = Field(wiring, patch, code_of(patch), level)
    for name, curve in CURVES.items():
        light = field.light(curve)
        signals = {"a pixel": light, "all": light.mean(axis=0, keepdims=True)}
        for distance in {field.whole, NEAR}:
            parts = field.patches(distance)
            filled = parts / np.maximum(parts.sum(axis=1, keepdims=True), 1e-12)
            signals[f"a patch at {distance:.1f} m"] = np.tensordot(parts, light, 1)
            signals[f"a filled patch at {distance:.1f} m"] = np.tensordot(filled, light, 1)
        for what, signal in signals.items():
            assert general(signal) <= FASTEST_FLASH, (what, name)
            assert red(signal) <= FASTEST_FLASH, (what, name, "red")


LEVELS = (0.3, 1.0)


@pytest.mark.long
@pytest.mark.parametrize("level", [1.0, 0.3])
def test_the_shipped_show(level: float) -> None:
    # Source: WCAG 2.2, as above
    wiring = load(SHOWS / "heron-lock.toml")
    check(wiring, allocate(wiring).patch, level)


@pytest.mark.parametrize(
    ("most", "seed"),
    [
        *((5, 0), (60, 1), (300, 29)),
        *later(*((most, seed) for most in (5, 60, 300) for seed in range(12) if seed != (most == 60))),
        *later(*((1000, seed) for seed in range(12))),
    ],
)
def test_random_shows(seed: int, most: int) -> None:
    # Source: WCAG 2.2, as above
    check(*laid(any_show(seed, most)), LEVELS[seed % 2])


def grid(columns: int, rows: int, pitch: float, letters: str) -> dict[str, Any]:
    area = [[0.0, 0.0], [(columns - 1) * pitch, (rows - 1) * pitch]]
    run = {"pixel": "kind", "shape": "grid", "area": area, "columns": columns, "rows": rows, "lines": "rows",
           "turns": "serpentine", "data_in": "bottom-left"}  # fmt: skip
    return {
        "show": {"title": "Grid"}, "pixel": {"kind": {"colour_order": letters}}, "run": {"grid": run},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["grid"]}}},
    }  # fmt: skip


@pytest.mark.parametrize("letters", ["RGB", *later("W"), "R", *later("GRBW")])
@pytest.mark.parametrize(("columns", "rows", "pitch"), [(5, 1, 0.1), (21, 10, 0.05), *later((60, 40, 0.025))])
def test_grids(letters: str, columns: int, rows: int, pitch: float) -> None:
    # Source: WCAG 2.2, as above; the light of their pixels fills them
    wiring, patch = laid(grid(columns, rows, pitch, letters))
    for level in LEVELS:
        check(wiring, patch, level)


# --- any of its pixels --------------------------------------------------------------------------------------------


def sets(pixels: int) -> Iterator[np.ndarray]:
    """Pixels next to each other by number, as a patch may hold them."""
    for many in (1, 2, 3, 4, 5, 6, 8, 12, 20):
        for first in range(0, pixels - many + 1, 1 + pixels // 200):
            yield np.arange(first, first + many)


def worst(columns: int, letters: str) -> int:
    """The most flashes of either kind of some pixels next to each other that fill a view, at full level."""
    wiring, patch = laid(grid(columns, 1, 0.05, letters))
    field = Field(wiring, patch, code_of(patch), 1.0)
    found = []
    for curve in CURVES.values():
        light = field.light(curve)
        signals = np.stack([light[some].mean(axis=0) for some in sets(columns)])
        found += [general(signals), red(signals)]
    return max(found)


@pytest.mark.parametrize("letters", ["RGB", *later("W", "R", "GRBW", "RG")])
@pytest.mark.parametrize("pixels", [200, *later(401)])
def test_pixels_next_to_each_other_that_fill_the_view_flash_no_faster_than_one(pixels: int, letters: str) -> None:
    # Source: WCAG 2.2, as above
    assert worst(pixels, letters) <= FASTEST_FLASH


def test_half_of_them_a_moment_later_would_be_told(monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: arithmetic: two that take turns change ten times a second between them
    sound = Code.drive

    def late(code: Code, channels: np.ndarray) -> np.ndarray:
        odd = code.number[code.pixel_of(channels)[0]] % 2 == 1
        drive = sound(code, channels)
        return np.where(odd[..., None], np.roll(drive, 1, axis=-1), drive)

    monkeypatch.setattr(Code, "drive", late)
    assert worst(200, "RGB") > FASTEST_FLASH
