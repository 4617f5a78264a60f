"""What every drawing is made of: the set of colours, dash patterns, how long a text is, elements of SVG.

Lengths are millimetres on paper. A drawing has no ids, no style sheet and no script, so that a page may hold it twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import gcd

import numpy as np
from numpy.typing import NDArray
from rich.cells import cell_len

from patcher.drawing.voltage_profile import plain

Floats = NDArray[np.float64]

BLACK, WHITE, GREY = "#000000", "#ffffff", "#595959"
# Source: Okabe and Ito, "Color Universal Design", 2002: the colour-blind-safe set (from memory).
COLOURS = ("#E69F00", "#56B4E9", "#009E73", "#D55E00", "#CC79A7", "#0072B2", "#F0E442")
DASHES = ("none", "2.4 1.2", "0.5 0.9", "3.2 0.8 0.5 0.8", "1.1 1.1", "4.4 1", "2 0.7 0.5 0.7 0.5 0.7", "0.9 2.2")
"""Of the black thread that is drawn along a coloured line, so that print without colour tells lines apart too."""
SMALL, PLAIN = 2.5, 2.6
"""Heights of text: 2.5 mm is 7.1 points, the least that is printed."""
LINE = 1.22
"""From line to line, as a part of the height of the text."""
HIGH = 229.0
"""The most that a drawing is high: with a heading of 10 mm and 4 mm behind it, it fits what a page of Letter, the lower
paper, has between its margins: 244 mm."""

HALO = {"stroke": WHITE, "stroke_width": "0.7", "stroke_linejoin": "round", "paint_order": "stroke"}
"""What keeps a text apart from what is drawn under it."""

# Advance widths of U+0020 to U+007E in hundredths of an em, of a broad sans-serif face: others are narrower.
_WIDTHS = (
    32, 40, 46, 84, 64, 95, 78, 28, 39, 39, 50, 84, 32, 36, 32, 34, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 34, 34, 84,
    84, 84, 53, 100, 69, 69, 70, 77, 63, 58, 78, 75, 30, 30, 66, 56, 86, 75, 79, 60, 79, 70, 64, 61, 73, 69, 99, 69, 61,
    69, 39, 34, 39, 84, 50, 50, 61, 64, 55, 64, 62, 35, 64, 63, 28, 28, 58, 28, 98, 63, 61, 64, 64, 41, 52, 39, 63, 59,
    82, 59, 59, 53, 64, 34, 64, 84,
)  # fmt: skip
_BOLD = 1.19


@dataclass(frozen=True, slots=True)
class Stroke:
    """How the line of a port or a box looks: a colour, and the dashes of the black thread along it."""

    colour: str
    dash: str


def look(number: int) -> Stroke:
    """The look of the port or box of a number from 0; the first 56 differ in colour or in dashes."""
    turn = number // (len(COLOURS) * len(DASHES) // gcd(len(COLOURS), len(DASHES)))
    return Stroke(COLOURS[number % len(COLOURS)], DASHES[(number + turn) % len(DASHES)])


def long(text: str, size: float, *, bold: bool = False) -> float:
    """About how long a text is, rather too long than too short."""
    em = sum(
        _WIDTHS[ord(letter) - 32] / 100 if " " <= letter <= "~" else max(0.85, 1.05 * cell_len(letter))
        for letter in text
    )
    return em * size * (_BOLD if bold else 1)


def fitted(text: str, most: float, size: float, *, bold: bool = False) -> str:
    """The text if it is no longer than `most`; else without its middle, since names often differ at their ends."""
    if long(text, size, bold=bold) <= most:
        return text
    kept = next(
        (keep for keep in range(len(text) - 1, 0, -1) if long(middle_out(text, keep), size, bold=bold) <= most), 0
    )
    return middle_out(text, kept)


def middle_out(text: str, keep: int) -> str:
    """A text of which only so many letters are kept, those at its ends."""
    behind = keep // 2
    return text[: keep - behind] + "…" + (text[-behind:] if behind else "")


def number(value: float) -> str:
    """A coordinate to a hundredth of a millimetre."""
    return f"{round(float(value), 2) + 0.0:g}"


def attributes(**given: object) -> str:
    """Attributes as SVG writes them, `data_run` as `data-run`; what is None is left out."""
    return "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(plain(str(value)))}"'
        for key, value in given.items()
        if value is not None
    )


def text_at(x: float, y: float, text: str, size: float = PLAIN, **more: object) -> str:
    """A line of text, its baseline at x, y."""
    return (
        f'<text x="{number(x)}" y="{number(y)}" font-size="{size:g}"{attributes(**more)}>{escape(plain(text))}</text>'
    )


def trace_of(points: Floats | Sequence[Floats | tuple[float, float]], *, closed: bool = False) -> str:
    """The `d` of a path through points."""
    pairs = np.asarray(points, float).round(2).tolist()
    return "M" + "L".join(f"{x:g},{y:g}" for x, y in pairs) + ("Z" if closed else "")


def path(d: str, **more: object) -> str:
    """A path that is not filled unless it says so."""
    return f'<path d="{d}"{attributes(**({"fill": "none"} | more))}/>'


def rect(x: float, y: float, wide: float, high: float, **more: object) -> str:
    """A rectangle from its upper left corner."""
    return f'<rect x="{number(x)}" y="{number(y)}" width="{number(wide)}" height="{number(high)}"{attributes(**more)}/>'


def document(title: str, says: str, wide: float, high: float, parts: Iterable[str]) -> str:
    """One SVG document as it is printed: its viewBox is in millimetres, white, and black where nothing else is said."""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {number(wide)} {number(high)}" '
        f'width="{number(wide)}mm" height="{number(high)}mm" role="img" font-family="sans-serif" fill="{BLACK}">'
        f"<title>{escape(plain(title))}</title><desc>{escape(plain(says))}</desc>"
        f'<rect width="{number(wide)}" height="{number(high)}" fill="{WHITE}"/>'
    )
    return "\n".join([head, *parts, "</svg>\n"])


def threaded(d: str, seen: Stroke, width: float, **more: object) -> str:
    """A coloured line with its black thread."""
    line = {"stroke_linejoin": "round"}
    thread = {} if seen.dash == "none" else {"stroke_dasharray": seen.dash}
    return path(d, stroke=seen.colour, stroke_width=f"{width:.3g}", **line, **more) + path(
        d, stroke=BLACK, stroke_width=f"{min(0.3, width / 3):.3g}", **line, **thread
    )
