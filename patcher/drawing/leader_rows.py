"""Labels over or under a line, each with an upright leader to its place on it, in as few rows as they need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from patcher.drawing.svg import long

_AIR = 1.4
"""Millimetres from label to label."""


@dataclass(frozen=True, slots=True)
class LabelWords:
    """A label of one line.

    Attributes:
        at: millimetres of its place on the line.
        text: what it says.
        kind: what it is.
        of: whose it is.
        size: of its letters.
        bold: whether they are bold.
    """

    at: float
    text: str
    kind: str
    of: str
    size: float
    bold: bool = False

    @property
    def wide(self) -> float:
        """Millimetres that it takes."""
        return long(self.text, self.size, bold=self.bold)


@dataclass(frozen=True, slots=True)
class LeaderStep:
    """A label in its row: rows count from 0 next to the line; `left` is where it begins."""

    words: LabelWords
    row: int
    left: float


def stairs(
    labels: Sequence[LabelWords], left: float, right: float, most: int, blocked: Sequence[float] = ()
) -> tuple[list[LeaderStep], list[LabelWords]]:
    """The row of each label, and the labels that found none in `most` rows.

    No label lies over another one or over the leader of one that stands farther from the line. None stands where an
    upright is `blocked`. Some ways are tried: the nearest row on any side of the leader; labels to the right of their
    leaders, which rise to the left like stairs; the same with those first that would pass the right end, or with names
    first. The way is taken that leaves out the fewest names, then the fewest labels, then has the fewest rows.
    """
    ordered = sorted(labels, key=lambda each: (-each.at, each.text))
    over = [words for words in ordered if words.at + words.wide > right]
    under = [words for words in ordered if words not in over]
    names = sorted(ordered, key=lambda each: not each.bold)
    ways = (
        (ordered, True),
        ([*under, *over[::-1]], False),
        ([*over[::-1], *under], False),
        (names, True),
        (names, False),
    )
    tried = (_climb(way, left, right, most, blocked, nearest=nearest) for way, nearest in ways)
    return min(tried, key=_worth)


def _worth(found: tuple[list[LeaderStep], list[LabelWords]]) -> tuple[int, int, int]:
    steps, lost = found
    return sum(words.bold for words in lost), len(lost), max((step.row for step in steps), default=0)


def _climb(
    ordered: Sequence[LabelWords], left: float, right: float, most: int, blocked: Sequence[float], *, nearest: bool
) -> tuple[list[LeaderStep], list[LabelWords]]:
    rows: list[list[tuple[float, float]]] = [[] for _ in range(most)]
    uprights = [list(blocked) for _ in range(most)]
    found, left_out = [], []
    for words in ordered:
        begins = [words.at - 0.2, words.at + 1.0, words.at - words.wide + 0.2, words.at - words.wide / 2]
        begins = [begin for begin in begins if begin >= left and begin + words.wide <= right]
        tries = [begins] if nearest else [[begin] for begin in begins]
        steps = (_step(words, each, rows, uprights) for each in tries)
        step = next((each for each in steps if each is not None), None)
        if step is None:
            left_out.append(words)
            continue
        rows[step.row].append((step.left, step.left + words.wide))
        for below in range(step.row):
            uprights[below].append(words.at)
        found.append(step)
    return found, left_out


def _step(
    words: LabelWords, begins: list[float], rows: list[list[tuple[float, float]]], uprights: list[list[float]]
) -> LeaderStep | None:
    for row, taken in enumerate(rows):
        if row and any(begin - 0.3 < words.at < end + 0.3 for begin, end in rows[row - 1]):
            return None
        for begin in begins:
            end = begin + words.wide
            if any(begin < other_end + _AIR and other_begin < end + _AIR for other_begin, other_end in taken):
                continue
            if any(begin - 0.3 < upright < end + 0.3 for upright in uprights[row]):
                continue
            return LeaderStep(words, row, begin)
    return None
