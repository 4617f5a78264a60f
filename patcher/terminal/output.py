"""Printing that never blocks: text waits in memory, and a thread writes it.

A terminal that was stopped with Ctrl-S, or a pipe that nobody reads, would else stop whoever prints, in the middle of
sending. While something is timed nothing waits for a reader: what there is no room for is left out, and said. Behind
that, printing waits as it does everywhere; but where a signal asked to end, only as long as the reader goes on reading.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

from patcher.terminal.screen import Screen, Unread

STREAMS = ("stdout", "stderr")
MOST = 1 << 20
"""Characters that may wait for a reader."""
PIECE = 4096
"""Characters that are written at once: a sign that the reader still reads."""
PATIENCE = 1.0
"""Seconds without such a sign after which a program that was asked to end leaves the rest unsaid."""
BESIDE = 0.1
"""Seconds that one stream lets the other go first, so that what was said first is read first."""


class Output:
    """Stands in for a text stream such as `sys.stdout`.

    Attributes:
        timed: whether nothing may wait for a reader now.
        error: what writing came to, where it failed.
    """

    def __init__(self, under: TextIO) -> None:
        """Write to `under`, which nobody else may use meanwhile."""
        self.under = under
        self.timed = True
        self.error: OSError | ValueError | None = None
        self.beside: Output | None = None
        self._waiting: list[str] = []
        self._size = 0
        self._left_out = 0
        self._over = False
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._go, name="output", daemon=True)
        self._thread.start()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.under, name)

    def write(self, text: str) -> int:
        """Queue text to be written; raises the error of an earlier write."""
        with self._changed:
            self._fail()
            if self.timed and (self._left_out or self._size > MOST):
                self._left_out += text.count("\n")
                return len(text)
            self._changed.wait_for(lambda: self._size <= MOST or self.error)
            self._fail()
            self._waiting.append(text)
            self._size += len(text)
            self._changed.notify_all()
        return len(text)

    def flush(self) -> None:
        """Do nothing: the thread writes as soon as it can."""

    @property
    def busy(self) -> bool:
        """Whether something still waits to be written."""
        return self._size > 0

    def _fail(self) -> None:
        if self.error is not None:
            raise self.error

    def settled(self, patience: float | None) -> bool:
        """Whether all is written; waited for, where there is a patience, only as long as it goes on."""
        with self._changed:
            while self._size and self.error is None:
                before = self._size
                if not self._changed.wait_for(lambda before=before: self._size != before or self.error, patience):  # type: ignore[misc]
                    return False
        return True

    def end(self) -> None:
        """Stop the thread; nothing more can be written."""
        with self._changed:
            self._over = True
            self._changed.notify_all()
        self._thread.join()

    def _go(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting or self._over)
                if not self._waiting:
                    return
                text = "".join(self._waiting)
                self._waiting.clear()
            if self.beside is not None and self.beside.busy:
                self.beside.settled(BESIDE)
            for at in range(0, len(text), PIECE):
                piece = text[at : at + PIECE]
                try:
                    if self.error is None:
                        self.under.write(piece)
                        self.under.flush()
                except (OSError, ValueError) as error:
                    self.error = error
                with self._changed:
                    self._size -= len(piece)
                    if self._left_out and not self._size:
                        said = f"\n… {self._left_out} lines were not shown: nobody read them in time.\n"
                        self._waiting.append(said)
                        self._size, self._left_out = len(said), 0
                    self._changed.notify_all()


_outputs: list[Output] = []
_abandon = False


@contextmanager
def timed() -> Iterator[None]:
    """While this lasts, printing waits for no reader. `end` is to be called before the program ends."""
    if not _outputs:
        for name in STREAMS:
            stream = getattr(sys, name)
            if isinstance(stream, Screen):
                stream.under = cast(TextIO, made := Output(stream.under))
            else:
                setattr(sys, name, made := Output(stream))
            _outputs.append(made)
        _outputs[1].beside = _outputs[0]
    for output in _outputs:
        output.timed = True
    try:
        yield
    finally:
        for output in _outputs:
            output.timed = False


def failed() -> bool:
    """Whether something could not be written to stdout; on stderr that is no error, as in `Screen`."""
    return bool(_outputs) and _outputs[0].error is not None


def busy() -> bool:
    """Whether something still waits for its reader."""
    return any(output.busy for output in _outputs)


def abandon() -> None:
    """Wait no more for readers that do not read: the program was asked to end."""
    global _abandon
    _abandon = True


def end() -> None:
    """Wait until all is written, and print as usual again; OSError where it could not be written.

    Where nobody reads, and the program was asked to end, it ends here: a thread that is in the middle of writing
    cannot be ended otherwise.
    """
    global _abandon
    if not _outputs:
        return
    try:
        settled = all(output.settled(PATIENCE if _abandon else None) for output in _outputs)
    except KeyboardInterrupt:
        settled = False
    if not settled:
        os._exit(2)
    outputs, _abandon = list(_outputs), False
    _outputs.clear()
    for output, name in zip(outputs, STREAMS, strict=True):
        output.end()
        stream = getattr(sys, name)
        if isinstance(stream, Screen):
            stream.under = output.under
        else:
            setattr(sys, name, output.under)
    if (error := outputs[0].error) is not None:
        if isinstance(error, BrokenPipeError):
            raise Unread from error
        raise error
