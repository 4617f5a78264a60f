"""The terminal that keys are read from: it gives single keys while it is read, and is restored afterwards."""

from __future__ import annotations

import importlib.util
import os
import queue
import select
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class Terminal:
    """Reads keys from a terminal, or from a pipe or file in its place.

    Attributes:
        source: its file descriptor.
    """

    def __init__(self, source: int) -> None:
        """Read from a file descriptor; a terminal is changed with the first read."""
        self.source = source
        self._before: list[Any] | None = None

    def read(self, seconds: float) -> bytes | None:
        """What was typed within so many seconds; empty at the end of the input, None where nothing was typed."""
        if os.isatty(self.source) and not self._ready():
            time.sleep(seconds)
            return None
        if not select.select([self.source], [], [], seconds)[0]:
            return None
        return os.read(self.source, 256)

    def _ready(self) -> bool:
        """Whether this program may read it (in the background the shell does); if so, switch it to single keys."""
        if sys.platform == "win32":
            return False
        import termios
        import tty

        with _changing:
            if _lent or not self._foreground():
                return False
            mode = termios.tcgetattr(self.source)
            if mode[tty.LFLAG] & termios.ICANON:
                self._before = mode
                # Not TCSAFLUSH: what was typed meanwhile is kept. At once, not when all is written: nobody may read.
                tty.setcbreak(self.source, termios.TCSANOW)
            return True

    def _foreground(self) -> bool:
        if sys.platform == "win32":
            return True
        try:
            return os.tcgetpgrp(self.source) == os.getpgrp()
        except OSError:
            return True  # not this program's own terminal: nobody else reads there

    def put_back(self) -> None:
        """Leave the terminal as it was."""
        if sys.platform == "win32":
            return
        import termios

        with _changing:
            if self._before is not None and os.isatty(self.source) and self._foreground():
                termios.tcsetattr(self.source, termios.TCSANOW, self._before)
            self._before = None


class Console:
    """The same on systems without termios, such as Windows: it gives single keys without a change of mode.

    Attributes:
        source: its file descriptor.
    """

    def __init__(self, source: int) -> None:
        """Read from a file descriptor; what is no terminal is read by a thread of its own."""
        self.source = source
        self._come: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        if not os.isatty(source):
            threading.Thread(target=self._go, name="keys", daemon=True).start()

    def read(self, seconds: float) -> bytes | None:
        """What was typed within so many seconds; empty at the end of the input, None where nothing was typed."""
        if not os.isatty(self.source):
            try:
                return self._come.get(timeout=seconds)
            except queue.Empty:
                return None
        until = time.monotonic() + seconds
        while not _typed():
            if time.monotonic() >= until:
                return None
            time.sleep(_LOOK)
        from click import getchar

        try:
            key = getchar()
        except EOFError:
            return b""
        return ARROWS.get(key, key).encode()

    def put_back(self) -> None:
        """Do nothing: its mode was never changed."""

    def _go(self) -> None:
        octets = b"?"
        while octets:
            octets = os.read(self.source, 256)
            self._come.put(octets)


ARROWS = {"\xe0M": "\x1b[C", "\xe0K": "\x1b[D", "\x00M": "\x1b[C", "\x00K": "\x1b[D"}
"""Right and left as Windows tells them, and as terminals do. Source: Microsoft C runtime, _getch: 0 or 0xE0, then the
key's scan code, 77 and 75 (from memory).
"""
_LOOK = 0.01
"""Seconds from one look for a key to the next."""


def _typed() -> bool:
    if sys.platform != "win32":
        return True
    import msvcrt

    return msvcrt.kbhit()


_open: list[Terminal | Console] = []
_changing = threading.Lock()
_lent = False
"""Whether the terminal is another's for the moment, whoever reads."""


@contextmanager
def terminal() -> Iterator[Terminal | Console]:
    """Open what keys are read from, a terminal or a pipe; a terminal is restored afterwards."""
    opened = (Console if importlib.util.find_spec("termios") is None else Terminal)(sys.stdin.fileno())
    _open.append(opened)
    try:
        yield opened
    finally:
        _open.remove(opened)
        opened.put_back()


@contextmanager
def ordinary() -> Iterator[None]:
    """Restore the terminal while this lasts; it gives single keys again when it is next read."""
    global _lent
    _lent = True
    try:
        for opened in list(_open):
            opened.put_back()
        yield
    finally:
        _lent = False
