"""A session of the phone: frames, walk-through, clips and pages in threads, begun and ended together."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass

from patcher.door.authentication import Authentication
from patcher.door.connections import serve
from patcher.phone.content import Content
from patcher.phone.desk import Desk
from patcher.phone.film_thread import FilmThread
from patcher.phone.frame_thread import play
from patcher.phone.pages import Pages
from patcher.phone.server import Server
from patcher.phone.walk_thread import WalkThread
from patcher.stream.sender import Target


@dataclass
class Session:
    """Everything that runs while phones may connect.

    Attributes:
        desk: the state.
        entry: who is let in.
        walks: the walk-through.
        films: the clips that are read.
        pages: the pages.
        goals_of: where a show's frames go.
        interface: the address of this machine to send from.
    """

    desk: Desk
    entry: Authentication
    walks: WalkThread
    films: FilmThread
    pages: Pages
    goals_of: Callable[[Content], list[Target]]
    interface: str | None = None

    def go(self, sock: socket.socket, stopped: Callable[[], bool], ready: Callable[[], None]) -> None:
        """Serve on a socket until it is stopped, or nothing can be sent; whatever happens, pixels end dark.

        Args:
            sock: listens already; it is closed at the end.
            stopped: whether to stop.
            ready: called once pages may come.
        """
        ended = threading.Event()

        def over() -> bool:
            return stopped() or ended.is_set() or bool(self.desk.failed)

        frames = threading.Thread(target=self._play, args=(over,), name="frames")
        frames.start()
        try:
            self.pages.page(self.desk.plan)
            ready()
            serve(Server(self.desk, self.entry, self.walks, self.films, self.pages).app(), sock, over)
        finally:
            ended.set()
            self.walks.end()
            self.films.end()
            frames.join()

    def _play(self, over: Callable[[], bool]) -> None:
        """What ends the pixels otherwise than by a stop is said to every page, and ends the session."""
        try:
            play(self.desk, self.goals_of, self.interface, over)
        except Exception as error:
            self.desk.fail(f"sending has failed: {type(error).__name__}: {error}")
