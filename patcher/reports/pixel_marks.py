"""How each word that is said of a pixel looks: a shape and a colour of its own, told apart in both colour visions."""

from __future__ import annotations

from math import cos, pi, sin

from patcher.drawing.canvas import DARK, Area, Disc, Shape
from patcher.film.verdict import Word

# Source: Okabe and Ito, "Color Universal Design", 2002 (from memory), made lighter for a dark ground.
COLOURS: dict[Word, str] = {
    "proved": "#4fb8f5",
    "other": "#f2641c",
    "colour": "#f7e94a",
    "dark-or-hidden": "#ffffff",
    "faint": "#d98cb8",
    "unproved": "#98a1ab",
    "unseen": "#5d6670",
}
NAMES: dict[Word, str] = {
    "proved": "proved",
    "other": "on another address",
    "colour": "another colour",
    "dark-or-hidden": "dark or hidden",
    "faint": "too faint",
    "unproved": "lit, not proved",
    "unseen": "not in the picture",
}


def mark(word: Word, x: float, y: float, size: float) -> list[Shape]:
    """The mark of a pixel about a place.

    Args:
        word: what is said of it.
        x, y: its middle.
        size: about half of how wide it is.
    """
    colour, thin = COLOURS[word], max(1.0, size / 5)
    match word:
        case "proved":
            return [Disc(x, y, size, colour)]
        case "other":  # a diamond
            return [Area(_corners(x, y, 1.45 * size, 4, 0), colour, DARK, thin)]
        case "colour":  # a triangle
            return [Area(_corners(x, y, 1.5 * size, 3, -pi / 2), colour, DARK, thin)]
        case "dark-or-hidden":  # a ring with nothing in it
            return [Disc(x, y, size, None, DARK, 3 * thin + 1), Disc(x, y, size, None, colour, max(1.5, size / 3))]
        case "faint":  # a triangle on its head, empty
            return [Area(_corners(x, y, 1.3 * size, 3, pi / 2), DARK, colour, max(1.5, size / 3))]
        case "unproved":  # a square, empty
            return [Area(_corners(x, y, 1.2 * size, 4, pi / 4), DARK, colour, max(1.5, size / 3))]
        case "unseen":  # a dash
            return [Area(((x - size, y - size / 4), (x + size, y - size / 4), (x + size, y + size / 4),
                          (x - size, y + size / 4)), colour)]  # fmt: skip


def _corners(x: float, y: float, size: float, count: int, turn: float) -> tuple[tuple[float, float], ...]:
    angles = [turn + 2 * pi * corner / count for corner in range(count)]
    return tuple((x + size * cos(angle), y + size * sin(angle)) for angle in angles)
