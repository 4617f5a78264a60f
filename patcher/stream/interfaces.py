"""This machine's own IPv4 addresses, as its system tells them."""

from __future__ import annotations

import socket
import struct
import sys
from dataclasses import dataclass

_SIOCGIFCONF = 0x8912
"""Linux, netdevice(7): the list of interface addresses."""
_NAME, _MOST = 16, 512


@dataclass(frozen=True, slots=True)
class Interface:
    """An address of this machine, and the system's name of the interface that has it (empty where it does not tell)."""

    address: str
    name: str = ""

    def __str__(self) -> str:
        return f"{self.address} ({self.name})" if self.name else self.address


def interfaces() -> list[Interface]:
    """The IPv4 addresses of this machine in the system's order; on Linux those of interfaces that are up."""
    if sys.platform == "linux":
        return _of_linux()
    # Elsewhere only the addresses of the machine's own name can be had without a further library.
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET, socket.SOCK_DGRAM)
    except OSError:
        found = []
    return [Interface(address) for address in dict.fromkeys(["127.0.0.1", *(str(one[4][0]) for one in found)])]


def _of_linux() -> list[Interface]:
    from array import array
    from fcntl import ioctl

    # struct ifreq: a name of 16 octets, then a union as large as struct ifmap, which holds two longs.
    size = _NAME + 2 * struct.calcsize("l") + 8
    requests = array("B", bytes(size * _MOST))
    at, length = requests.buffer_info()
    asked = struct.pack("iP", length, at)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        used, _ = struct.unpack("iP", ioctl(sock, _SIOCGIFCONF, asked))
    octets = requests.tobytes()[:used]
    return [
        Interface(
            socket.inet_ntoa(octets[at + _NAME + 4 : at + _NAME + 8]),
            octets[at : at + _NAME].partition(b"\x00")[0].decode(errors="replace"),
        )
        for at in range(0, used, size)
    ]
