"""A bad piece of network for tests: what comes in at one end goes out at the others, late, twice, overtaken or never.

`python -m rig.relay NEAR FAR…  TROUBLE`, in a network namespace of its own, with names of interfaces and a JSON object:
`loss` and `double` (part of the datagrams, 0 to 1), `delay` (seconds: each takes some time up to that, its own, so that
they overtake each other), `in_a_row` (most datagrams of one universe that are lost one after another), `seed`. Only UDP
from NEAR has trouble. Says "ready", and when its standard input ends, what it has done to how many.
"""

import contextlib
import heapq
import json
import random
import select
import socket
import sys
import time

# Source: linux/if_packet.h: with PACKET_VNET_HDR a frame has its struct virtio_net_hdr of 10 octets before it. Linux
# leaves the UDP checksum of a veth's frame open and says so there; given back as it came, the frame stays whole.
SOL_PACKET, PACKET_VNET_HDR, HEADER = 263, 15, 10
ALL = 3  # ETH_P_ALL
FRAME = 65_536


# Source: IEEE 802.3 (type at 12), RFC 791 (header length, protocol 17), RFC 768 (destination port at 2, data from 8);
# ANSI E1.31-2018, table 4-1 (clause from memory): the universe stands at 113; Art-Net 4, ArtDmx: at 14, low octet
# first.
def flow(frame: bytes) -> bytes | None:
    """What tells the universe of a datagram; None for what is no datagram of IPv4."""
    if frame[12:14] != b"\x08\x00" or frame[23] != 17:
        return None
    at = 14 + (frame[14] & 0xF) * 4
    port, data = frame[at + 2 : at + 4], frame[at + 8 :]
    return frame[30:34] + port + (data[14:16] if port == (6454).to_bytes(2, "big") else data[113:115])


class Trouble:
    """Decides over datagrams, by dice."""

    def __init__(self, loss: float, double: float, delay: float, in_a_row: int, seed: int) -> None:
        self.loss, self.double, self.delay, self.in_a_row = loss, double, delay, in_a_row
        self.dice = random.Random(seed)
        self.lost_now: dict[bytes, int] = {}
        self.done = {"datagrams": 0, "lost": 0, "doubled": 0, "overtaken": 0}

    def delays(self, one: bytes) -> list[float]:
        """Seconds after which each copy of a datagram goes on."""
        self.done["datagrams"] += 1
        lost = self.lost_now.get(one, 0)
        if lost < self.in_a_row and self.dice.random() < self.loss:
            self.lost_now[one] = lost + 1
            self.done["lost"] += 1
            return []
        self.lost_now[one] = 0
        twice = self.dice.random() < self.double
        self.done["doubled"] += twice
        return [self.dice.uniform(0, self.delay) for _ in range(1 + twice)]


def put(sock: socket.socket, frame: bytes) -> None:
    with contextlib.suppress(OSError):  # its cable is out
        sock.send(frame)


def take(sock: socket.socket) -> bytes:
    """A frame that came in; nothing, where it is one that goes out."""
    try:
        frame, where = sock.recvfrom(FRAME)
    except OSError:
        return b""
    return b"" if where[2] == socket.PACKET_OUTGOING else frame


def main() -> None:
    *names, given = sys.argv[1:]
    trouble = Trouble(**json.loads(given))
    ends = []
    for name in names:
        sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        sock.setsockopt(SOL_PACKET, PACKET_VNET_HDR, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
        sock.bind((name, ALL))
        ends.append(sock)
    near, far = ends[0], ends[1:]
    under_way: list[tuple[float, int, bytes | None, bytes]] = []
    newest: dict[bytes, int] = {}
    print("ready", flush=True)
    number = 0
    while True:
        now = time.monotonic()
        while under_way and under_way[0][0] <= now:
            _, of, one, frame = heapq.heappop(under_way)
            if one is not None:
                trouble.done["overtaken"] += of < newest.get(one, 0)
                newest[one] = max(of, newest.get(one, 0))
            for end in far:
                put(end, frame)
        wait = max(0.0, under_way[0][0] - now) if under_way else None
        came, _, _ = select.select([*ends, sys.stdin], [], [], wait)
        if sys.stdin in came:
            print(json.dumps(trouble.done), flush=True)
            return
        for end in came:
            frame = take(end)
            if end is not near:
                for other in ends:
                    if frame and other is not end:
                        put(other, frame)
            elif frame:
                number += 1
                one = flow(frame[HEADER:])
                for delay in trouble.delays(one) if one is not None else [0.0]:
                    heapq.heappush(under_way, (time.monotonic() + delay, number, one, frame))


if __name__ == "__main__":
    main()
