"""A session of the page: its server, its lamps, and an eye on the file that an editor may save."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable

from patcher.door.authentication import Authentication
from patcher.door.connections import serve
from patcher.draw.draft import Draft
from patcher.draw.lamps import Lamps
from patcher.draw.server import LONGEST, Server
from patcher.errors import PatcherError

GLANCE = 0.1
"""Seconds from look to look at the file."""


def go(
    draft: Draft, entry: Authentication, lamps: Lamps, sock: socket.socket, stopped: Callable[[], bool]
) -> None:  # fmt: skip
    """Serve on a socket until it is stopped; whatever happens, pixels end dark.

    Args:
        draft: the show file.
        entry: who is let in.
        lamps: what is lit from the page.
        sock: listens already; it is closed at the end.
        stopped: whether to stop.
    """
    ended = threading.Event()
    watching = threading.Thread(target=_watch, args=(draft, lamps, ended), name="file")
    watching.start()
    try:
        serve(Server(draft, entry, lamps).app(), sock, stopped, LONGEST)
    finally:
        ended.set()
        lamps.dark()
        watching.join()


def _watch(draft: Draft, lamps: Lamps, ended: threading.Event) -> None:
    """See what an editor saves; what is lit goes dark with any change, for it may hang elsewhere now."""
    stamp, number = draft.stamp(), draft.number
    while not ended.wait(GLANCE):
        if (new := draft.stamp()) != stamp:
            stamp = new
            try:
                draft.reread()
            except PatcherError as error:
                draft.say(error)
        if draft.number != number:
            number = draft.number
            lamps.dark()
