"""Being told to stop: Ctrl-C, a closing terminal or the system ask, and the work ends in order."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager


class Stop:
    """Whether someone has asked to stop; asking twice is no different."""

    def __init__(self) -> None:
        self.asked = False

    def __call__(self) -> bool:
        """Whether to stop."""
        return self.asked


@contextmanager
def stopping() -> Iterator[Stop]:
    """While this lasts, Ctrl-C and its like only set the `Stop`, so that lamps are dark before the program ends."""
    stop = Stop()

    def ask(number: int, frame: object) -> None:
        stop.asked = True

    names = [name for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {getattr(signal, name): signal.signal(getattr(signal, name), ask) for name in names}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
