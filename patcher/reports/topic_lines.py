"""A reference topic as lines of text, folded to the width of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from itertools import groupby

from patcher.reference import TopicPart

WIDEST = 100
"""Columns of a line, in a terminal that has more; longer ones are hard to read."""
LONGEST_TERM = 22
"""Columns of the terms that stand beside their text; where one is longer, text begins on the next line."""
NARROW = 60
"""Columns of a terminal in which no text stands beside its term."""


def lines(parts: Sequence[TopicPart], width: int) -> Iterator[str]:
    """The parts as lines, none wider than `width` columns."""
    between = False
    for kind, group in groupby(parts, key=lambda part: part.kind):
        same = list(group)
        if kind == "entry":
            if between:
                yield ""
            yield from _entries(same, width)
        for part in same if kind != "entry" else ():
            if between and not (kind in ("bullet", "code") and part is not same[0]):
                yield ""
            between = True
            if kind == "heading":
                yield from _wrapped(part.says, width)
                yield "─" * min(width, len(part.says))
            else:
                yield from _wrapped(part.says, width, {"bullet": "- ", "code": "    "}.get(kind, ""))
        between = True


def _entries(parts: Sequence[TopicPart], width: int) -> Iterator[str]:
    """Terms with their texts beside them, or below where a term or the terminal leaves no room."""
    column = min(max(len(part.term) for part in parts), LONGEST_TERM) + 4
    for part in parts:
        texts = part.says.split("\n")
        beside = width >= NARROW and len(part.term) <= LONGEST_TERM
        indent = " " * (column if width >= NARROW else 4)
        if not beside:
            yield from _wrapped(part.term, width, "  ")
        below = [line for text in texts for line in _wrapped(text, width, indent)]
        if beside:
            below[0] = f"  {part.term}".ljust(column) + below[0][column:]
        yield from below


def _wrapped(text: str, width: int, begin: str = "") -> list[str]:
    """A text in lines that hang under where it begins."""
    return textwrap.wrap(text, width, initial_indent=begin, subsequent_indent=" " * len(begin),
                         break_on_hyphens=False) or [begin]  # fmt: skip
