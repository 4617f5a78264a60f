"""Label stock: how large a label is, and how its words are set so that they keep inside it.

The name is set as large as it goes; where a label is too small for all that is to be said, what is needed least is
left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from patcher.drawing.svg import long
from patcher.drawing.voltage_profile import wrap
from patcher.sheets.labels import Label

NARROW, LOW = 210.0, 279.4
"""Millimetres: the width of A4 and the height of Letter, the lesser of both papers. Source: ISO 216; ANSI Y14.1."""
POINT = 25.4 / 72
"""Millimetres in a point. Source: CSS Values and Units Level 4, absolute lengths."""
WORDS = 7.0
"""Points of a label's words, the smallest on paper."""
PADDING, GAP = 2.0, 0.5
_ONE_LINE = 10
"""Points from which on a name stands in one line; a longer name is set smaller first, and broken only then."""
_SIZES = (20, 19, 18, 17, 16, 15, 14, 13, 12, 11, 10, 9.5, 9, 8.5, 8, 7.5, 7)


@dataclass(frozen=True, slots=True)
class LabelStock:
    """The size of cable labels, millimetres.

    Attributes:
        wide: width of one.
        high: height of one.
        columns: how many stand side by side, in the middle of the paper.
        top: from the paper's upper edge to the first row.
    """

    wide: float = 60.0
    high: float = 30.0
    columns: int = 3
    top: float = 15.0

    @property
    def code(self) -> float:
        """The side of a label's QR code with its quiet zone."""
        return round(min(self.high - 2 * PADDING, self.wide * 0.31, 30.0), 1)

    @property
    def room(self) -> float:
        """The width that is left for words."""
        return self.wide - self.code - 3 * PADDING - 0.5


@dataclass(frozen=True, slots=True)
class Fitted:
    """A label's words as they are set: points of its name, and the lines under it, the first of them bold."""

    size: float
    lines: tuple[str, ...]


def fit(labels: Sequence[Label], stock: LabelStock) -> tuple[Fitted, ...]:
    """The words of labels, set so that they keep inside; the labels of one cable have one size of name.

    Args:
        labels: what they say.
        stock: how large they are.
    """
    each = [_fit(label, stock) for label in labels]
    sizes: dict[str, float] = {}
    for label, fitted in zip(labels, each, strict=True):
        sizes[label.name] = min(fitted.size, sizes.get(label.name, fitted.size))
    return tuple(replace(fitted, size=sizes[label.name]) for label, fitted in zip(labels, each, strict=True))


def _fit(label: Label, stock: LabelStock) -> Fitted:
    end = f"End {label.end} of {label.ends}"
    way = "to" if label.end == 1 else "from"
    every = (f"{end}: {label.here}", f"{way} {label.there}", label.says)
    for lines in (every, every[:2], every[:1], (end,)):
        high = stock.high - 2 * PADDING - 0.3 - sum(_high(line, stock, bold=line is lines[0]) for line in lines)
        for size in _SIZES:
            rows = _rows(label.name, stock.room, size * 1.02, bold=True)
            if (rows == 1 or size < _ONE_LINE) and rows * size * POINT * 1.05 <= high:
                return Fitted(size, lines)
    return Fitted(WORDS, (end,))


def _high(line: str, stock: LabelStock, *, bold: bool) -> float:
    return GAP + _rows(line, stock.room, WORDS, bold=bold) * WORDS * POINT * 1.15


@lru_cache(maxsize=50_000)
def _rows(text: str, room: float, size: float, *, bold: bool) -> int:
    return len(wrap(text, room, lambda words: long(words, size * POINT, bold=bold)))
