"""What should be lit: a `Look` is a set of pixels with their colours, and the words for it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from patcher.errors import choose_from, refuse
from patcher.trade import COLOUR_LETTERS, shows_white

Pixels = NDArray[np.int64]


@dataclass(frozen=True)
class Colour:
    """A colour by name, as the part of full that each of a pixel's channels has.

    White is a pixel's own white channel where it has one, else its red, green and blue together.

    Attributes:
        name: what a person calls it.
        parts: each channel's part of full, by its letter; a channel that is not named is dark.
        level: how bright the whole colour is, 0 to 1: it dims every channel alike.
    """

    name: str
    parts: Mapping[str, float] = field(default_factory=dict)
    level: float = 1.0

    def on(self, letters: str) -> list[float]:
        """The part of full of each channel of a pixel with these channels."""
        parts = dict.fromkeys("RGB", 1.0) if self.name == "white" and "W" not in letters else self.parts
        return [parts.get(letter, 0.0) * self.level for letter in letters]

    def at(self, level: float) -> Colour:
        """The same colour at another level."""
        return replace(self, level=level)

    def words(self, sent: float = 1.0) -> str:
        """Its name, and how much of full it has on the wire, where that is not all.

        Args:
            sent: the level that everything is sent at.
        """
        part = self.level * sent
        if part == 0:
            return DARK.name
        return self.name if part == 1 else f"{self.name} at {percent(part)}"


COLOURS: dict[str, Colour] = {
    name: Colour(name, dict.fromkeys(letters, 1.0)) for name, letters in COLOUR_LETTERS.items()
}
"""The colours that have a name: one channel, or two at once."""

DARK = COLOURS["dark"]


def percent(part: float) -> str:
    """A part of full in whole percent; one figure of what is less than one."""
    return f"{part:.0%}".replace("%", " %") if part >= 0.01 else f"{part * 100:.1g} %"


def colour(text: str) -> Colour:
    """The colour that a person named, or wrote as #rrggbb."""
    if re.fullmatch(r"#[0-9a-fA-F]{6}", text):
        parts = {letter: int(text[at : at + 2], 16) / 255 for letter, at in zip("RGB", (1, 3, 5), strict=True)}
        return Colour(text.lower(), parts)
    if text not in COLOURS:
        raise refuse("--colour", f"“{text}” is not a known colour", f"{choose_from(text, COLOURS)}, or write #rrggbb")
    return COLOURS[text]


def brightest(letters: str) -> Colour:
    """White where a pixel with these channels can show it, else all of its channels at once."""
    if shows_white(letters):
        return COLOURS["white"]
    return Colour(f"channel {letters}" if len(letters) == 1 else "all channels", dict.fromkeys(letters, 1.0))


@dataclass(frozen=True, eq=False)
class Glow:
    """Pixels of one run in one colour.

    Attributes:
        run: the run; a tee's look is its run's.
        pixels: which of its pixels, from 0, in data order.
        colour: what they show.
    """

    run: str
    pixels: Pixels
    colour: Colour


@dataclass(frozen=True, eq=False)
class Look:
    """One step of a pattern: what is lit, all else being dark, and what a person is told to expect."""

    glows: tuple[Glow, ...]
    says: tuple[str, ...]
