"""Many datagrams with one call to the system: recvmmsg of Linux, through ctypes into one block of memory.

Where there is no such call, `many` says so, and the receiver takes them one by one.
"""

from __future__ import annotations

import ctypes
import socket
import struct
import sys
from collections.abc import Callable

import numpy as np

from patcher.stream.datagrams import ADDRESS, headers

LONGEST = 2048
"""Octets of a datagram that are kept; no packet of E1.31 or Art-Net is longer than 1144."""
A_CALL = 512
"""Datagrams that one call takes."""
_REMEMBERED = 4096
_MSG_DONTWAIT = 0x40
"""Linux, recv(2): an answer at once, whether anything has come or not."""
_PORT_AND_HOST = struct.Struct("!H4s")

Arrived = tuple[bytes, str]
"""A datagram and its sender, address:port."""


def many() -> Callable[[socket.socket, int], list[Arrived]] | None:
    """A function that takes up to so many waiting datagrams from a socket of IPv4; None where the system cannot."""
    if not sys.platform.startswith("linux"):
        return None
    try:
        call = ctypes.CDLL(None, use_errno=True).recvmmsg
    except (OSError, AttributeError):
        return None
    call.argtypes = [ctypes.c_int, ctypes.c_void_p, ctypes.c_uint, ctypes.c_int, ctypes.c_void_p]
    return _Many(call)


class _Many:
    def __init__(self, call: Callable[..., int]) -> None:
        self._call = call
        self._block = np.zeros((A_CALL, LONGEST), dtype=np.uint8)
        self._names = np.zeros(A_CALL, dtype=ADDRESS)
        self._parts, self._headers = headers(
            self._block.ctypes.data + np.arange(A_CALL) * LONGEST, LONGEST,
            self._names.ctypes.data + np.arange(A_CALL) * ADDRESS.itemsize,
        )  # fmt: skip
        self._senders: dict[bytes, str] = {}

    def __call__(self, source: socket.socket, most: int) -> list[Arrived]:
        found: list[Arrived] = []
        while (wanted := min(most - len(found), A_CALL)) > 0:
            got = self._call(source.fileno(), self._headers.ctypes.data, wanted, _MSG_DONTWAIT, None)
            if got <= 0:
                break
            # One copy of all, then slices of it: quicker than a copy each out of the block.
            octets, names = self._block[:got].tobytes(), self._names[:got].tobytes()
            for number, length in enumerate(self._headers["octets"][:got].tolist()):
                at = number * LONGEST
                name = names[number * ADDRESS.itemsize + 2 : number * ADDRESS.itemsize + 8]
                sender = self._senders.get(name) or self._sender(name)
                found.append((octets[at : at + length], sender))
            if got < wanted:
                break
        return found

    def _sender(self, name: bytes) -> str:
        if len(self._senders) >= _REMEMBERED:
            self._senders.clear()
        port, address = _PORT_AND_HOST.unpack(name)
        self._senders[name] = f"{socket.inet_ntoa(address)}:{port}"
        return self._senders[name]
