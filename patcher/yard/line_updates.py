"""Updates lines on a terminal: only those that have changed are written, so that nothing flickers."""

from __future__ import annotations

from collections.abc import Callable, Sequence

REFRESH = 1.0
"""Seconds without a picture after which another may have written there: then all is written anew."""


class LineUpdates:
    """A terminal that shows a picture.

    Args:
        size: says how many columns and lines it has now.
        picture: for such a size, what gives the lines of the picture at any time.
    """

    def __init__(self, size: Callable[[], tuple[int, int]], picture: Callable[[int, int], Callable[[], Sequence[str]]]):
        self._size, self._picture = size, picture
        self._known: tuple[int, int] | None = None
        self._lines: Callable[[], Sequence[str]] = list
        self._shown: list[str] = []
        self._drawn_at = float("-inf")

    def text(self, now: float) -> str:
        """What is to be written now; nothing, where nothing has changed."""
        size = self._size()
        if size != self._known:
            self._known, self._lines = size, self._picture(*size)
            self._shown = []
        elif now - self._drawn_at > REFRESH:
            self._shown = []
        self._drawn_at = now
        lines = list(self._lines())[: size[1]]
        anew = not self._shown
        parts = ["\x1b[2J"] if anew else []
        before = [*self._shown, *[""] * len(lines)]
        for number, line in enumerate(lines):
            if anew or line != before[number]:
                parts.append(f"\x1b[{number + 1};1H{line}\x1b[K")
        if len(lines) < len(self._shown):
            parts.append(f"\x1b[{len(lines) + 1};1H\x1b[J")
        self._shown = lines
        if not parts:
            return ""
        return "".join(parts) + f"\x1b[{len(lines)};1H"
