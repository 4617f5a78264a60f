"""Label stock: how large a label is, and how its words are set so that they keep inside it.

The name is set as large as it goes. Where a label is too small for all that is to be said, its letters are smaller.
Then it is left out where the cable goes, then what is plugged in here, then the length. Volts, wire and fuse always
stand there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from patcher.drawing.svg import long, middle_out
from patcher.drawing.voltage_profile import wrap
from patcher.sheets.labels import Label

NARROW, LOW = 210.0, 279.4
"""Millimetres: the width of A4 and the height of Letter, the lesser of both papers. Source: ISO 216; ANSI Y14.1."""
POINT = 25.4 / 72
"""Millimetres in a point. Source: CSS Values and Units Level 4, absolute lengths."""
WORDS = ((8.0, 10.0), (7.5, 8.0), (7.0, 7.0))
"""Points of a label's words, and the least of its name beside them: 7 are the smallest on paper."""
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
    """A label's words as they are set.

    Attributes:
        name: the name; without its middle only where nothing else is left to leave out.
        size: points of the name.
        words: points of the lines under it.
        lines: those lines, the first of them bold.
    """

    name: str
    size: float
    words: float
    lines: tuple[str, ...]


def fit(labels: Sequence[Label], stock: LabelStock) -> tuple[Fitted, ...]:
    """The words of labels, set so that they keep inside; the labels of one cable have one size of name.

    Args:
        labels: what they say.
        stock: how large they are.
    """
    each = [_fit(label, stock) for label in labels]
    sizes: dict[str, float] = {}
    for label, set_as in zip(labels, each, strict=True):
        sizes[label.name] = min(set_as.size, sizes.get(label.name, set_as.size))
    return tuple(replace(set_as, size=sizes[label.name]) for label, set_as in zip(labels, each, strict=True))


def _fit(label: Label, stock: LabelStock) -> Fitted:
    here, way = f"{label.which}: {label.here}", "to" if label.end == 1 else "from"
    ways = [
        (here, f"{way} {label.there}", label.says), (here, label.says), (label.which, label.says),
        (label.which, label.needed), (label.needed,),
    ]  # fmt: skip
    for lines in (tuple(filter(None, each)) for each in ways):
        for words, least in WORDS:
            high = _left(lines, words, stock)
            for size in (size for size in _SIZES if size >= least):
                rows = _rows(label.name, stock.room, size * 1.02, bold=True)
                if (rows == 1 or size < _ONE_LINE) and rows * size * POINT * 1.05 <= high:
                    return Fitted(label.name, size, words, lines)
    least, lines = _SIZES[-1], (label.needed,)
    room = max(1, int(_left(lines, least, stock) / (least * POINT * 1.05)))
    shorter = (middle_out(label.name, keep) for keep in range(len(label.name) - 1, 0, -1))
    name = next((each for each in shorter if _rows(each, stock.room, least * 1.02, bold=True) <= room), "…")
    return Fitted(name, least, least, lines)


def _left(lines: Sequence[str], words: float, stock: LabelStock) -> float:
    """Millimetres that lines under a name leave for the name."""
    return stock.high - 2 * PADDING - 0.3 - sum(_high(line, words, stock, bold=line is lines[0]) for line in lines)


def _high(line: str, words: float, stock: LabelStock, *, bold: bool) -> float:
    return GAP + _rows(line, stock.room, words, bold=bold) * words * POINT * 1.15


@lru_cache(maxsize=50_000)
def _rows(text: str, room: float, size: float, *, bold: bool) -> int:
    return len(wrap(text, room, lambda words: long(words, size * POINT, bold=bold)))
