"""Many datagrams with one call to the system: recvmmsg of Linux, through ctypes into one block of memory.

Where there is no such call, `many` says so, and the receiver takes them one by one.
"""

from __future__ import annotations

import ctypes
import socket
import struct
import sys
from collections.abc import Callable

LONGEST = 2048
"""Octets of a datagram that are kept; no packet of E1.31 or Art-Net is longer than 1144."""
A_CALL = 512
"""Datagrams that one call takes."""
_NAME = 16
_REMEMBERED = 4096
_MSG_DONTWAIT = 0x40
"""Linux, recv(2): an answer at once, whether anything has come or not."""
_ADDRESS = struct.Struct("!H4s")

Arrived = tuple[bytes, str]
"""A datagram and its sender, address:port."""


class _Vector(ctypes.Structure):
    """struct iovec."""

    _fields_ = (("base", ctypes.c_void_p), ("length", ctypes.c_size_t))


class _Header(ctypes.Structure):
    """struct msghdr."""

    _fields_ = (
        ("name", ctypes.c_void_p),
        ("name_length", ctypes.c_uint32),
        ("vectors", ctypes.POINTER(_Vector)),
        ("vector_count", ctypes.c_size_t),
        ("control", ctypes.c_void_p),
        ("control_length", ctypes.c_size_t),
        ("flags", ctypes.c_int),
    )


class _Message(ctypes.Structure):
    """struct mmsghdr: a header and how many octets came."""

    _fields_ = (("header", _Header), ("length", ctypes.c_uint32))


def many() -> Callable[[socket.socket, int], list[Arrived]] | None:
    """A function that takes up to so many waiting datagrams from a socket of IPv4; None where the system cannot."""
    if not sys.platform.startswith("linux"):
        return None
    try:
        call = ctypes.CDLL(None, use_errno=True).recvmmsg
    except (OSError, AttributeError):
        return None
    return _Many(call)


class _Many:
    def __init__(self, call: Callable[..., int]) -> None:
        self._call = call
        self._block = bytearray(A_CALL * LONGEST)
        self._names = bytearray(A_CALL * _NAME)
        block = (ctypes.c_char * len(self._block)).from_buffer(self._block)
        names = (ctypes.c_char * len(self._names)).from_buffer(self._names)
        first, first_name = ctypes.addressof(block), ctypes.addressof(names)
        self._vectors = (_Vector * A_CALL)()
        self._messages = (_Message * A_CALL)()
        for number in range(A_CALL):
            self._vectors[number] = _Vector(first + number * LONGEST, LONGEST)
            vector = ctypes.pointer(self._vectors[number])
            self._messages[number].header = _Header(first_name + number * _NAME, _NAME, vector, 1, None, 0, 0)
        self._senders: dict[bytes, str] = {}

    def __call__(self, source: socket.socket, most: int) -> list[Arrived]:
        found: list[Arrived] = []
        while (wanted := min(most - len(found), A_CALL)) > 0:
            got = self._call(source.fileno(), self._messages, wanted, _MSG_DONTWAIT, None)
            if got <= 0:
                break
            # One copy of all, then slices of it: quicker than a copy each out of the block.
            octets, names = bytes(memoryview(self._block)[: got * LONGEST]), bytes(self._names[: got * _NAME])
            for number in range(got):
                at = number * LONGEST
                name = names[number * _NAME + 2 : number * _NAME + 8]
                sender = self._senders.get(name) or self._sender(name)
                found.append((octets[at : at + self._messages[number].length], sender))
            if got < wanted:
                break
        return found

    def _sender(self, name: bytes) -> str:
        if len(self._senders) >= _REMEMBERED:
            self._senders.clear()
        port, address = _ADDRESS.unpack(name)
        self._senders[name] = f"{socket.inet_ntoa(address)}:{port}"
        return self._senders[name]
