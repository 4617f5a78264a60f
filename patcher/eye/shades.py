"""What each pixel shows, as a small number: the shades that an eye can tell apart."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from patcher.trade import colour_name

Shades = NDArray[np.uint8]
"""What each pixel shows: shape (variants, pixels)."""

DARK, RED, GREEN, BLUE, WHITE, ODD, FLICKER = range(7)
COLOURS = {"red": RED, "green": GREEN, "blue": BLUE, "white": WHITE}
"""The shades that a frame may ask for, by name."""
BROKEN = 0x80
"""The bit that says that a pixel's data is broken, in place of which of its channels are lit."""

NOBODY, SEVERAL = -1, -2
"""In place of a pixel that a channel lights: it lights none, or more than one."""

LINE = 1 << 20
"""Between the places of pixels that are side by side on two lines of a grid; no run has so many pixels."""


@cache
def shade_table(letters: str) -> Shades:
    """From the bits of a pixel's lit channels, its first letter's lowest, to its shade; 256 of them.

    White is the white chip alone, or red, green and blue together.
    """
    table = np.full(256, FLICKER, dtype=np.uint8)
    named = COLOURS | {"dark": DARK}
    for bits in range(BROKEN):
        lit = {letter for number, letter in enumerate(letters) if bits >> number & 1}
        table[bits] = named.get(colour_name(lit) or "", ODD)
    table.flags.writeable = False
    return table
