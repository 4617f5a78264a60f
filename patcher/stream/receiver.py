"""Datagrams from the network: one socket for each address or multicast group that is listened to."""

from __future__ import annotations

import selectors
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from types import TracebackType
from typing import NamedTuple

from patcher.errors import PatcherError, refuse
from patcher.stream.many import LONGEST, Arrived, many

BUFFER = 32 * 1024 * 1024
"""Octets that the system is asked to keep for us between two looks; it grants what it allows."""
AT_ONCE = 512
"""Datagrams of one ear that are taken at a time, so that the others have their turn."""
_RCVBUFFORCE = 33
"""SO_RCVBUFFORCE of Linux, which Python does not name: over the system's limit, for those who may."""


@dataclass(frozen=True, slots=True)
class Ear:
    """An address to listen on.

    Attributes:
        host: an address of this machine, or a multicast group.
        port: UDP port.
        interface: for a group, the address of this machine on whose network it is joined.
    """

    host: str
    port: int
    interface: str | None = None


class Datagram(NamedTuple):
    """What arrived, where, and from whom (address:port)."""

    octets: bytes
    ear: Ear
    sender: str


def is_free(ear: Ear) -> bool:
    """Whether nobody on this machine listens there yet."""
    try:
        _open(ear).close()
    except PatcherError:
        return False
    return True


class Receiver:
    """Listens until it is closed; use it in a `with` block."""

    def __init__(self, ears: Iterable[Ear]) -> None:
        """Open every ear.

        Raises:
            PatcherError: an address is not this machine's, or its port is busy.
        """
        self._selector = selectors.DefaultSelector()
        self._take = many()
        try:
            for ear in ears:
                self.listen(ear)
        except PatcherError:
            self.close()
            raise

    def __enter__(self) -> Receiver:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def listen(self, ear: Ear) -> None:
        """Open one more ear; PatcherError as above."""
        self._selector.register(_open(ear), selectors.EVENT_READ, ear)

    def poll(self, seconds: float) -> list[Datagram]:
        """What has arrived, of each ear at most `AT_ONCE`, after waiting at most so many seconds for the first."""
        found: list[Datagram] = []
        for key, _ in self._selector.select(seconds):
            source = key.fileobj
            assert isinstance(source, socket.socket)  # noqa: S101  (only sockets are registered)
            ear: Ear = key.data
            arrived: list[Arrived] = self._take(source, AT_ONCE) if self._take else _one_by_one(source, AT_ONCE)
            found += [Datagram(octets, ear, sender) for octets, sender in arrived]
        return found

    def close(self) -> None:
        """Stop listening."""
        for key in list(self._selector.get_map().values() if self._selector.get_map() else ()):
            source = key.fileobj
            self._selector.unregister(source)
            if isinstance(source, socket.socket):
                source.close()
        self._selector.close()


def _one_by_one(source: socket.socket, most: int) -> list[Arrived]:
    found: list[Arrived] = []
    for _ in range(most):
        try:
            octets, sender = source.recvfrom(LONGEST)
        except OSError:
            break
        found.append((octets, "{}:{}".format(*sender)))
    return found


def _ask_for_room(opened: socket.socket) -> None:
    try:
        opened.setsockopt(socket.SOL_SOCKET, _RCVBUFFORCE, BUFFER)
    except OSError:
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER)


def _open(ear: Ear) -> socket.socket:
    opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        opened.setblocking(False)
        _ask_for_room(opened)
        if ear.interface is not None:
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind((ear.host, ear.port))
        if ear.interface is not None:
            group = socket.inet_aton(ear.host) + socket.inet_aton(ear.interface)
            opened.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, group)
    except OSError as error:
        opened.close()
        where = f"{ear.host}:{ear.port}"
        remedy = "end the other program that listens there (perhaps another yard), then try again"
        raise refuse(where, f"cannot be listened on: {error.strerror}", remedy) from None
    return opened
