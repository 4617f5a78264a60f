"""Sends many datagrams from one block of memory, each to its own place, with few system calls.

Linux has `sendmmsg`, which takes up to 1024 datagrams; it is called through ctypes, with arrays that are built once.
Elsewhere a loop of `sendto` does the same. Both keep on when one place cannot be reached.

Python tells its audit hooks of every `sendto`, but cannot know of `sendmmsg`: so for each place the event
`patcher.sendmmsg` is raised, with the arguments of `socket.sendto`, before anything can leave.
"""

from __future__ import annotations

import errno
import select
import socket
import sys
import time
from collections.abc import Callable, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.int64]
Octets = NDArray[np.uint8]
Place = tuple[str, int]

MOST = 1024
"""Datagrams that Linux takes in one call, UIO_MAXIOV."""
BUFFER = 4 * 1024 * 1024
"""Octets that the system may keep for us until they are on the wire."""
FULL = {errno.EAGAIN, errno.EWOULDBLOCK, errno.ENOBUFS}
"""The system has no room just now; the datagram can go a little later."""
PAUSE = 0.001

_IP_RECVERR = 11
"""Linux, ip(7): tell of ICMP errors."""


class Datagrams(Protocol):
    """Rows of a block of memory, each a datagram that can be sent again and again."""

    def send(self, rows: Rows, patience: float) -> dict[int, int]:
        """Send some rows in their order, with what is in them now.

        Args:
            rows: which, rising.
            patience: seconds to wait, in all, for room in the system's buffer.

        Returns:
            The error number of each row that did not leave.
        """
        ...


def datagrams(sock: socket.socket, octets: Octets, begins: Rows, lengths: Rows, places: Sequence[Place]) -> Datagrams:
    """The quickest way to send them on this system.

    Args:
        sock: a UDP socket, from now on one that does not wait.
        octets: the block: shape (rows, octets of a row), contiguous; it must stay where it is.
        begins: octet of its row at which each datagram begins.
        lengths: octets of each datagram.
        places: host and port of each.
    """
    sock.setblocking(False)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, BUFFER)
    if sys.platform == "linux":
        return Sendmmsg(sock, octets, begins, lengths, places)
    return Sendto(sock, octets, begins, lengths, places)


def returning(sock: socket.socket) -> Callable[[], dict[Place, int]]:
    """What tells of ICMP messages, where the system can: for use in every frame.

    Returns:
        A function for the places that messages have spoken of since the last look, with the error number of each.
    """
    if sys.platform != "linux":
        return dict
    sock.setsockopt(socket.IPPROTO_IP, _IP_RECVERR, 1)
    poll = select.poll()
    poll.register(sock, 0)

    def returned() -> dict[Place, int]:
        found: dict[Place, int] = {}
        # Asked so, that there is none costs a tenth of what it costs to read none.
        while poll.poll(0):
            try:
                _, told, _, place = sock.recvmsg(0, 128, socket.MSG_ERRQUEUE)
            except OSError:
                return found
            for _, kind, extended in told:
                if kind == _IP_RECVERR and place:
                    found[place] = int.from_bytes(extended[:4], sys.byteorder)
        return found

    return returned


class _InTurn:
    """What both ways have in common: to go on after a datagram that could not be sent."""

    def __init__(self, sock: socket.socket) -> None:
        self._socket = sock

    def send(self, rows: Rows, patience: float) -> dict[int, int]:
        """As `Datagrams` says."""
        failed: dict[int, int] = {}
        self._line_up(rows)
        end, at, again, give_up = len(rows), 0, False, None
        while at < end:
            left = self._some(at, end)
            if left > 0:
                at, again = at + left, False
            elif -left in FULL:
                give_up = give_up or time.monotonic() + patience
                if time.monotonic() >= give_up:
                    return failed | {int(row): -left for row in rows[at:]}
                self._wait_for_room()
            elif not again:
                # It may be another's error, which came back by ICMP and was given to whoever sent next.
                again = True
            else:
                failed[int(rows[at])] = -left
                at, again = at + 1, False
        return failed

    def _wait_for_room(self) -> None:
        if select.select([], [self._socket], [], PAUSE)[1]:
            # A full queue of the network card is no full socket: there is nothing to wait for but time.
            time.sleep(PAUSE)

    def _line_up(self, rows: Rows) -> None:
        raise NotImplementedError

    def _some(self, at: int, end: int) -> int:
        """Send some of the rows that were lined up, from `at`: how many left, or less than 0, an error number."""
        raise NotImplementedError


class Sendto(_InTurn):
    """A call for each datagram."""

    def __init__(
        self, sock: socket.socket, octets: Octets, begins: Rows, lengths: Rows, places: Sequence[Place]
    ) -> None:
        """As `datagrams`."""
        super().__init__(sock)
        ends = (begins + lengths).tolist()
        self._every = [
            (memoryview(octets[row])[begin : ends[row]], place)
            for row, (begin, place) in enumerate(zip(begins.tolist(), places, strict=True))
        ]
        self._lined: list[int] = []

    def _line_up(self, rows: Rows) -> None:
        self._lined = rows.tolist()

    def _some(self, at: int, end: int) -> int:
        send, every = self._socket.sendto, self._every
        number = at
        try:
            for number in range(at, end):
                send(*every[self._lined[number]])
        except OSError as error:
            return number - at or -(error.errno or errno.EIO)
        return end - at


_MESSAGE = np.dtype(
    [
        ("name", np.uintp), ("name_length", np.uint32), ("parts", np.uintp), ("part_count", np.uintp),
        ("control", np.uintp), ("control_length", np.uintp), ("flags", np.int32),
    ],
    align=True,
)  # fmt: skip
_HEADER = np.dtype([("message", _MESSAGE), ("octets", np.uint32)], align=True)
_PART = np.dtype([("at", np.uintp), ("length", np.uintp)])
ADDRESS = np.dtype([("family", np.uint16), ("port", ">u2"), ("host", "S4"), ("rest", "V8")])


def headers(at: Rows, lengths: Rows | int, names: Rows) -> tuple[NDArray[np.void], NDArray[np.void]]:
    """Structs iovec and mmsghdr for datagrams in memory, one part each, for sendmmsg(2) and recvmmsg(2).

    Args:
        at: the address of each datagram.
        lengths: its octets.
        names: the address of the sockaddr_in (`ADDRESS`) of each.
    """
    parts, found = np.zeros(len(at), dtype=_PART), np.zeros(len(at), dtype=_HEADER)
    parts["at"], parts["length"] = at, lengths
    messages = found["message"]
    messages["name"], messages["name_length"] = names, ADDRESS.itemsize
    messages["parts"] = parts.ctypes.data + np.arange(len(at)) * _PART.itemsize
    messages["part_count"] = 1
    return parts, found


class Sendmmsg(_InTurn):
    """Up to 1024 datagrams a call: struct mmsghdr, iovec and sockaddr_in as Linux lays them out, sendmmsg(2)."""

    def __init__(
        self, sock: socket.socket, octets: Octets, begins: Rows, lengths: Rows, places: Sequence[Place]
    ) -> None:
        """As `datagrams`."""
        import ctypes

        super().__init__(sock)
        for place in places:
            sys.audit("patcher.sendmmsg", sock, place)
        library = ctypes.CDLL(None, use_errno=True)
        self._call, self._errno = library.sendmmsg, ctypes.get_errno
        self._call.argtypes = [ctypes.c_int, ctypes.c_void_p, ctypes.c_uint, ctypes.c_int]
        self._octets = octets
        own = {place: number for number, place in enumerate(dict.fromkeys(places))}
        self._addresses = np.array(
            [(socket.AF_INET, port, socket.inet_aton(host), bytes(8)) for host, port in own], dtype=ADDRESS
        )
        self._parts, self._headers = headers(
            octets.ctypes.data + np.arange(len(places)) * octets.strides[0] + begins, lengths,
            self._addresses.ctypes.data + np.array([own[place] for place in places]) * ADDRESS.itemsize,
        )  # fmt: skip
        self._lined, self._headers_at = self._headers, self._headers.ctypes.data
        self._lined_at = self._headers_at

    def _line_up(self, rows: Rows) -> None:
        if len(rows) and int(rows[-1]) - int(rows[0]) == len(rows) - 1:
            self._lined_at = self._headers_at + int(rows[0]) * _HEADER.itemsize
        else:
            self._lined = self._headers[rows]
            self._lined_at = self._lined.ctypes.data

    def _some(self, at: int, end: int) -> int:
        first = self._lined_at + at * _HEADER.itemsize
        left = int(self._call(self._socket.fileno(), first, min(end - at, MOST), 0))
        return left if left > 0 else -(self._errno() or errno.EIO)
