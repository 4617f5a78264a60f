"""Datagrams from the network: one socket for each address or multicast group that is listened to."""

from __future__ import annotations

import selectors
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from types import TracebackType

from patcher.errors import PatcherError, refuse

BUFFER = 4 * 1024 * 1024
"""Octets that the system may keep for us between two looks."""


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


@dataclass(frozen=True, slots=True)
class Datagram:
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
        try:
            for ear in ears:
                self._selector.register(_open(ear), selectors.EVENT_READ, ear)
        except PatcherError:
            self.close()
            raise

    def __enter__(self) -> Receiver:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def poll(self, seconds: float) -> list[Datagram]:
        """Everything that has arrived, after waiting at most so many seconds for the first."""
        found: list[Datagram] = []
        for key, _ in self._selector.select(seconds):
            source = key.fileobj
            assert isinstance(source, socket.socket)  # noqa: S101  (only sockets are registered)
            for _ in range(1000):
                try:
                    octets, sender = source.recvfrom(2048)
                except OSError:
                    break
                found.append(Datagram(octets, key.data, "{}:{}".format(*sender)))
        return found

    def close(self) -> None:
        """Stop listening."""
        for key in list(self._selector.get_map().values() if self._selector.get_map() else ()):
            source = key.fileobj
            self._selector.unregister(source)
            if isinstance(source, socket.socket):
                source.close()
        self._selector.close()


def _open(ear: Ear) -> socket.socket:
    opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        opened.setblocking(False)
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER)
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
