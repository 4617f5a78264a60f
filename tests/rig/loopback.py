"""What the tests of the sender share: a host of their own on the loopback, raw octets, a clock that they set."""

import os
import socket

import numpy as np

from patcher.frames.levels import Levels
from patcher.stream.sender import Target

HOST = f"127.9.{os.getpid() // 250 % 250 + 1}.{os.getpid() % 250 + 1}"
E131, ARTNET = 5568, 6454  # Source: UDP ports: ANSI E1.31-2018, appendix A (clause from memory); Art-Net 4, 0x1936


class Time:
    """A clock that stands still but for those who wait, and wakes them a little late."""

    def __init__(self, wakes_late: float = 0.0) -> None:
        self.begin = self.seconds = 86_400.123
        self.wakes_late = wakes_late

    def now(self) -> float:
        return self.seconds

    def wait(self, left: float) -> bool:
        self.seconds += left + self.wakes_late
        return False


def ear(host: str, port: int, group: str | None = None) -> socket.socket:
    """A socket that listens there, or to a group by the loopback."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
    sock.setblocking(False)
    if group is not None:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    sock.bind((group or host, port))
    if group is not None:
        joined = socket.inet_aton(group) + socket.inet_aton("127.0.0.1")
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, joined)
    return sock


def heard(sock: socket.socket) -> list[bytes]:
    """All that has arrived: on the loopback a datagram has arrived when the call that sends it returns."""
    found = []
    while True:
        try:
            found.append(sock.recv(2048))
        except BlockingIOError:
            return found


# Source: ANSI E1.31-2018, table 4-1 (clause from memory): root vector 18–21, priority 108, sync address 109–110,
# sequence 111, options 112, universe 113–114, start code 125, slots 126…; of a sync packet (6.3): sequence 44, sync
# address 45–46.
def is_sync(packet: bytes) -> bool:
    return packet[18:22] == b"\x00\x00\x00\x08" and packet[40:44] == b"\x00\x00\x00\x01"


def sync_address(packet: bytes) -> int:
    at = 45 if is_sync(packet) else 109
    return packet[at] << 8 | packet[at + 1]


def sequence(packet: bytes) -> int:
    return packet[44 if is_sync(packet) else 111]


def terminated(packet: bytes) -> bool:
    return bool(packet[112] & 0x40)


def universe(packet: bytes) -> int:
    return packet[113] << 8 | packet[114]


# Source: Art-Net 4, ArtDmx: opcode 8–9 low octet first, sequence 12, SubUni 14, Net 15, slots from 18.
def is_art_sync(packet: bytes) -> bool:
    return packet[8:10] == b"\x00\x52"


def port_address(packet: bytes) -> int:
    return packet[15] << 8 | packet[14]


GOALS = [Target("e131", 3, HOST), Target("e131", 700, HOST), Target("artnet", 5, HOST), Target("artnet", 300, HOST)]


def lit(shift: int = 0) -> Levels:
    slots = (np.arange(4 * 512, dtype=np.int64).reshape(4, 512) + shift) % 251 + 1
    return Levels((3, 5, 300, 700), slots.astype(np.uint8))
