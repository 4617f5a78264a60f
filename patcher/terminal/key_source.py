"""Single characters as a person types them, from a terminal or a pipe; the terminal is restored afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from patcher.terminal.keyboard import Console, Terminal, terminal

END = "\x04"
"""Ctrl-D: nothing more is typed."""


class Typed:
    """Keys, one at a time.

    Attributes:
        ended: nothing more can be typed.
    """

    def __init__(self, source: Terminal | Console) -> None:
        self.ended = False
        self._source = source
        self._octets = b""
        self._waiting = ""

    def __call__(self, seconds: float) -> str | None:
        """The next key, after waiting at most so many seconds."""
        if not self._waiting and not self.ended and (octets := self._source.read(seconds)) is not None:
            self.ended = not octets
            self._octets += octets
            try:
                self._waiting, self._octets = self._octets.decode(), b""
            except UnicodeDecodeError as error:
                self._waiting, self._octets = self._octets[: error.start].decode(), self._octets[error.start :]
                if len(self._octets) > 3:
                    self._octets = b""
        if not self._waiting:
            return None
        key, self._waiting = self._waiting[0], self._waiting[1:]
        self.ended = self.ended or key == END
        return None if key == END else key


@contextmanager
def typed() -> Iterator[Typed]:
    """Characters from the terminal or a pipe, one by one; the terminal is restored afterwards."""
    with terminal() as source:
        yield Typed(source)
