"""Lighting what is drawn: one thing at test level, through the yard or the boxes, by the frames of the phone's page.

The show is sent as the file says it: where it cannot be sent, nothing is lit, and the page is told why. Whatever
happens, pixels end dark: when the page is gone, when the file changes, and at the end.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from patcher.errors import PatcherError
from patcher.phone.content import Content
from patcher.phone.desk import Desk
from patcher.phone.frame_thread import play
from patcher.phone.state import Act
from patcher.stream.sender import Target

HOLD = 5.0
"""Seconds without any page after which all goes dark."""


class Lamps:
    """What is lit from the page; nothing at first."""

    def __init__(
        self, read: Callable[[], Content], goals_of: Callable[[Content], list[Target]], interface: str | None
    ) -> None:
        """Nothing is sent yet.

        Args:
            read: reads the show as it is now; PatcherError: it cannot be sent.
            goals_of: where its frames go.
            interface: the address of this machine to send from.
        """
        self._read, self._goals_of, self._interface = read, goals_of, interface
        self._desk: Desk | None = None
        self._thread: threading.Thread | None = None
        self._ended = threading.Event()
        self._listeners: list[Callable[[], None]] = []
        self._lit = ""
        self._lock = threading.Lock()

    def listen(self, listener: Callable[[], None]) -> Callable[[], None]:
        """Call `listener` at every change, until what is returned is called. It must only wake somebody up."""
        self._listeners.append(listener)
        return lambda: self._listeners.remove(listener)

    def light(self, thing: str) -> None:
        """Light a thing, steady at test level.

        Raises:
            PatcherError: the show cannot be sent as it is, or there is no such thing, or nothing hears it.
        """
        with self._lock:
            plan = self._read()
            plan.find(thing)
            self._goals_of(plan)
            self._end()
            desk = self._desk = Desk(plan, HOLD)
            desk.listen(self._tell)
            self._ended = ended = threading.Event()
            self._thread = threading.Thread(target=self._play, args=(desk, ended), name="lamps")
            self._thread.start()
            desk.tap(Act("find", thing))
            desk.tap(Act("light"))
            self._lit = thing
        self._tell()

    def dark(self) -> None:
        """All dark."""
        with self._lock:
            self._end()
        self._tell()

    def beat(self) -> None:
        """A page is there."""
        if desk := self._desk:
            desk.tap(Act("here"))

    def document(self) -> dict[str, Any]:
        """What pages are told."""
        desk = self._desk
        if desk is None or desk.state.dark:
            return {"lit": "", "lost": [], "failed": desk.failed if desk else ""}
        return {"lit": self._lit, "lost": [*desk.shown.lost], "failed": desk.failed}

    def _end(self) -> None:
        if self._thread is not None:
            self._ended.set()
            self._thread.join()
        self._desk, self._thread, self._lit = None, None, ""

    def _play(self, desk: Desk, ended: threading.Event) -> None:
        try:
            play(desk, self._goals_of, self._interface, ended.is_set)
        except PatcherError as error:
            desk.fail(error.findings[0].says)
        except Exception as error:
            desk.fail(f"sending has failed: {type(error).__name__}: {error}")

    def _tell(self) -> None:
        for listener in [*self._listeners]:
            listener()
