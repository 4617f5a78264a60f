"""Makes all senders of this program dark at once, from any thread: for good, or while the program is stopped.

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
    """A sender, as far as a blackout is concerned."""

    def end(self) -> None:
        """Dark and the streams ended, for good; once is enough."""

    def rest(self) -> AbstractContextManager[None]:
        """Dark and the streams ended while this lasts; then all is sent as it was before."""


LOCK = threading.RLock()
"""Held by whoever sends."""
_lit: WeakSet[Lights] = WeakSet()


def opened(lights: Lights) -> None:
    """Register a sender, which may light pixels from now on."""
    with LOCK:
        _lit.add(lights)


def closed(lights: Lights) -> None:
    """Unregister a sender, which lights nothing any more."""
    with LOCK:
        _lit.discard(lights)


def end() -> None:
    """Make all registered senders dark, for good."""
    with LOCK:
        for lights in list(_lit):
            lights.end()


@contextmanager
def rest() -> Iterator[None]:
    """Keep all pixels dark, and all threads from sending, while this lasts."""
    with LOCK, ExitStack() as stack:
        for lights in list(_lit):
            stack.enter_context(lights.rest())
        yield
