"""Datagrams from the network: one socket for each address or multicast group that is listened to."""

from __future__ import annotations

import selectors
import socket
from collections.abc import Iterable
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from typing import NamedTuple

from patcher.errors import PatcherError, refuse
from patcher.listener.recvmmsg import LONGEST, Arrived, many
from patcher.wire.artnet import Octets

BUFFER = 32 * 1024 * 1024
"""Octets that the system is asked to keep for us between two looks; it grants what it allows."""
AT_ONCE, IN_ALL, AT_LEAST = 512, 8192, 8
"""Datagrams that are taken at a time: of one ear at most, so that the others have their turn; of all of them, about;
and of each at least.
"""
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


class Receiver(AbstractContextManager["Receiver"]):
    """Listens until it is closed; use it in a `with` block."""

    def __init__(self, ears: Iterable[Ear]) -> None:
        """Open every ear.

        Raises:
            PatcherError: an address is not this machine's, or its port is busy.
        """
        self._selector = selectors.DefaultSelector()
        self._sockets: dict[Ear, socket.socket] = {}
        self._take = many()
        try:
            for ear in ears:
                self.listen(ear)
        except PatcherError:
            self.close()
            raise

    def __exit__(self, *_: object) -> None:
        self.close()

    def listen(self, ear: Ear) -> None:
        """Open one more ear; PatcherError as above."""
        self._sockets[ear] = _open(ear)
        self._selector.register(self._sockets[ear], selectors.EVENT_READ, ear)

    def leave(self, ear: Ear) -> None:
        """Listen there no more."""
        left = self._sockets.pop(ear)
        self._selector.unregister(left)
        left.close()

    def answer(self, ear: Ear, octets: Octets, sender: str) -> None:
        """Send to whoever sent something here; what the system does not send is lost, as any datagram may be."""
        host, _, port = sender.rpartition(":")
        with suppress(OSError):
            self._sockets[ear].sendto(octets, (host, int(port)))

    def poll(self, seconds: float) -> list[Datagram]:
        """What has arrived, of each ear its share, after waiting at most so many seconds for the first."""
        found: list[Datagram] = []
        ready = self._selector.select(seconds)
        share = min(AT_ONCE, max(AT_LEAST, IN_ALL // max(1, len(ready))))
        for key, _ in ready:
            source = key.fileobj
            assert isinstance(source, socket.socket)  # noqa: S101  (only sockets are registered)
            ear: Ear = key.data
            arrived: list[Arrived] = self._take(source, share) if self._take else _one_by_one(source, share)
            found += [Datagram(octets, ear, sender) for octets, sender in arrived]
        return found

    def close(self) -> None:
        """Stop listening."""
        for ear in list(self._sockets):
            self.leave(ear)
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
