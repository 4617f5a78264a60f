"""A person's keys: space or → next, b or ← previous, a number and Enter to jump, q to stop."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from patcher.stream.player import Move
from patcher.terminal.keyboard import Console, Terminal, terminal

NEXT, PREVIOUS = {" ", "n", "\x1b[C", "\x1bOC"}, {"b", "\x1b[D", "\x1bOD"}
HELP = "space or → next, b or ← previous, a number and Enter to jump, q to stop"


class Keys:
    """Turns what is typed into moves.

    Attributes:
        done: the person wants to stop, or nothing more can be typed.
    """

    def __init__(self, source: Terminal | Console) -> None:
        """Read from a terminal, or from a pipe in its place."""
        self.done = False
        self._source = source
        self._waiting = ""
        self._digits = ""

    def __call__(self, seconds: float) -> Move | None:
        """The next move, after waiting at most so many seconds."""
        if not self._waiting and (typed := self._source.read(seconds)) is not None:
            self.done = self.done or not typed
            self._waiting += typed.decode(errors="replace")
        while self._waiting and not self.done:
            move = self._take()
            if move is not None:
                return move
        return None

    def _take(self) -> Move | None:
        size = 3 if self._waiting.startswith("\x1b") else 1
        key, self._waiting = self._waiting[:size], self._waiting[size:]
        if key.isdecimal():
            self._digits = (self._digits + key)[-9:]
            return None
        digits, self._digits = self._digits, ""
        if key in "\r\n" and digits:
            return Move(to=int(digits) - 1)
        if key in NEXT or key in "\r\n":
            return Move(by=1)
        if key in PREVIOUS:
            return Move(by=-1)
        self.done = key in {"q", "\x04"}
        return None


@contextmanager
def keys() -> Iterator[Keys]:
    """A person's moves, read from the terminal or a pipe; the terminal is restored afterwards."""
    with terminal() as source:
        yield Keys(source)
