"""All senders of this program dark at once, from any thread: for good, or for as long as the program is stopped.

Every open `Sender` is known here, so that no command can forget its own. One lock guards them all: while it is held
nothing is sent but by whoever holds it.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from typing import Protocol
from weakref import WeakSet


class Lights(Protocol):
    """What lights pixels."""

    def end(self) -> None:
        """Dark and the streams ended, for good; once is enough."""

    def rest(self) -> AbstractContextManager[None]:
        """Dark and the streams ended while this lasts; then all is sent as it was before."""


LOCK = threading.RLock()
"""Held by whoever sends."""
_lit: WeakSet[Lights] = WeakSet()


def opened(lights: Lights) -> None:
    """These may light pixels from now on."""
    with LOCK:
        _lit.add(lights)


def closed(lights: Lights) -> None:
    """These light nothing any more."""
    with LOCK:
        _lit.discard(lights)


def end() -> None:
    """All is dark, for good."""
    with LOCK:
        for lights in list(_lit):
            lights.end()


@contextmanager
def rest() -> Iterator[None]:
    """All is dark, and no thread can send, while this lasts."""
    with LOCK, ExitStack() as stack:
        for lights in list(_lit):
            stack.enter_context(lights.rest())
        yield
