"""Lines folded to the width of the terminal; no word is broken, nor a key parted from its words."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Iterable
from typing import TextIO

WIDEST = 120
"""Columns where nobody looks through a window of their own."""
HARD = "\x1f"
"""A space at which no line is broken."""
_MARK = re.compile(r"( *)((?:[0-9]+(?:\.|  ) ?|→ |[a-z ]{1,40}: (?=line [0-9]))?)")


def fold(text: str, stream: TextIO | None = None) -> str:
    """A text with each of its lines folded; what is folded hangs under where its words begin."""
    to = stream or sys.stdout
    width = min(shutil.get_terminal_size().columns, WIDEST) if to.isatty() else WIDEST
    return "\n".join(_folded(line, width) for line in text.split("\n")).replace(HARD, " ")


def on_screen(text: str, stream: TextIO | None = None) -> str:
    """A text folded where a person reads it in a terminal, and as it is where a program does."""
    to = stream or sys.stdout
    return fold(text, to) if to.isatty() else text


def choices(answers: Iterable[tuple[str, str]]) -> str:
    """Keys with their words, in one line that is folded between them only."""
    return " · ".join(f"{key} {says}".replace(" ", HARD) for key, says in answers)


def _folded(line: str, width: int) -> str:
    if len(line) <= width:
        return line
    match = _MARK.match(line)
    assert match is not None  # noqa: S101  (it matches the empty text)
    hang = " " * len(match[0])
    room = max(width - len(hang), 20)

    def wrapped(text: str) -> list[str]:
        return textwrap.wrap(text, room, break_long_words=False, break_on_hyphens=False)

    whole = wrapped(line[len(match[0]) :])
    pieces = [part for piece in whole for part in (wrapped(piece.replace(HARD, " ")) if len(piece) > room else [piece])]
    return "\n".join((match[0] if not number else hang) + piece for number, piece in enumerate(pieces))
