"""What all printing goes through: it replaces control characters, and copes with a reader that has gone.

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
    """The reader of stdout has gone. Without an error number, for typer would handle a broken pipe itself."""


class Screen(TextIOBase):
    """Stands in for `sys.stdout` or `sys.stderr`.

    Attributes:
        under: the stream that it writes to.
        must: whether a failed write is an error. On stderr it is not, for there it could not be reported.
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
        """Write text, its control characters replaced."""
        self._do(lambda: self.under.write(visible(text)))
        return len(text)

    def order(self, sequence: str) -> None:
        """Write a control sequence as it is."""
        self._do(lambda: self.under.write(sequence))

    def flush(self) -> None:
        """Write what is buffered."""
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
        """Whether it is a terminal."""
        return self.under.isatty()

    def fileno(self) -> int:
        """The descriptor that it writes to."""
        return self.under.fileno()

    def writable(self) -> bool:
        """Say that text can be written."""
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
    """Write a control sequence of our own to the terminal on stdout, if there is one."""
    if sys.stdout.isatty():
        getattr(sys.stdout, "order", sys.stdout.write)(sequence)


def let_go(stream: TextIO) -> None:
    """Point a stream that fails at the null device, so that its buffered text raises no error at the end."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
        stream.flush()
