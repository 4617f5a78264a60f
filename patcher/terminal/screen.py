"""Where all that is printed goes through: other people's text gives no orders, and who cannot be told is left in peace.

Orders of our own to a terminal, as to go back to the line's beginning, are given by `order` alone.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import TextIOBase, TextIOWrapper
from typing import Any, TextIO, cast

from patcher.visible import visible


class Unread(OSError):  # noqa: N818  (it is no error of anybody's)
    """Whoever read stdout has gone. It has no number, for typer would take a broken pipe for its own."""


class Screen(TextIOBase):
    """Stands in for `sys.stdout` or `sys.stderr`.

    Attributes:
        under: the stream that it writes to.
        must: whether it is an error that nothing can be written. On stderr it is none: whom should it be said to?
    """

    def __init__(self, under: TextIO, *, must: bool) -> None:
        """Write to `under`."""
        self.under, self.must = under, must

    def __getattr__(self, name: str) -> Any:
        return getattr(self.under, name)

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """The encoding of what is written."""
        return self.under.encoding or "utf-8"

    @property
    def errors(self) -> str:  # type: ignore[override]
        """What becomes of signs that the encoding lacks."""
        return self.under.errors or "replace"

    def write(self, text: str) -> int:
        """Write text, no character of which is an order."""
        self._do(lambda: self.under.write(visible(text)))
        return len(text)

    def order(self, sequence: str) -> None:
        """Write an order of our own."""
        self._do(lambda: self.under.write(sequence))

    def flush(self) -> None:
        """Have it written now."""
        self._do(self.under.flush)

    def _do(self, what: Any) -> None:
        try:
            what()
        except BrokenPipeError as error:
            if self.must:
                raise Unread from error
        except (OSError, ValueError):
            if self.must:
                raise

    def isatty(self) -> bool:
        """Whether a person looks at it."""
        return self.under.isatty()

    def fileno(self) -> int:
        """The descriptor that it writes to."""
        return self.under.fileno()

    def writable(self) -> bool:
        """It is."""
        return True


@contextmanager
def screens() -> Iterator[None]:
    """While this lasts, all that is printed goes through a `Screen`."""
    before = sys.stdout, sys.stderr
    for stream in before:
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    sys.stdout, sys.stderr = cast(TextIO, Screen(before[0], must=True)), cast(TextIO, Screen(before[1], must=False))
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def order(sequence: str) -> None:
    """Give the terminal on stdout, where there is one, an order of our own."""
    if sys.stdout.isatty():
        getattr(sys.stdout, "order", sys.stdout.write)(sequence)


def let_go(stream: TextIO) -> None:
    """Write no more to a stream that fails, also not when the program ends: what waits in it goes nowhere."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
        stream.flush()
