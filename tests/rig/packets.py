"""Packets of a sender of the tests' own, octet by octet: written from the standards and not by our encoder.

Source: ANSI E1.31-2018, table 4-1 (clause from memory); Art-Net 4, ArtDmx and ArtPollReply
"""

import socket
import struct
from collections.abc import Sequence

ALICE, BOB = b"a" * 16, b"b" * 16
ROOM = "192.0.2.5:5568"
DARK = bytes(512)
MAC = bytes.fromhex("020000000107")


def e131(
    universe: int, slots: bytes = DARK, sequence: int = 0, *, priority: int = 100, options: int = 0,
    start_code: int = 0, cid: bytes = ALICE, name: str = "test", sync: int = 0,
) -> bytes:  # fmt: skip
    end = 126 + len(slots)
    root = struct.pack("!HH12sHI16s", 0x10, 0, b"ASC-E1.17", 0x7000 | (end - 16), 4, cid)
    framing = struct.pack(
        "!HI64sBHBBH", 0x7000 | (end - 38), 2, name.encode(), priority, sync, sequence % 256, options, universe
    )
    layer = struct.pack("!HBBHHHB", 0x7000 | (end - 115), 2, 0xA1, 0, 1, len(slots) + 1, start_code)
    return root + framing + layer + slots


# Source: ANSI E1.31-2018, 6.3: root vector 8, framing vector 1, sequence, synchronization address, 2 reserved.
def e131_sync(address: int, sequence: int = 0, cid: bytes = ALICE) -> bytes:
    root = struct.pack("!HH12sHI16s", 0x10, 0, b"ASC-E1.17", 0x7000 | 33, 8, cid)
    return root + struct.pack("!HIBHH", 0x7000 | 11, 1, sequence % 256, address, 0)


# Source: ANSI E1.31-2018, 6.4 and 8: framing vector 2, source name, 4 reserved; then vector 1, page, last page.
def discovery(universes: list[int], page: int = 0, last: int = 0, cid: bytes = ALICE, name: str = "test") -> bytes:
    end = 120 + 2 * len(universes)
    root = struct.pack("!HH12sHI16s", 0x10, 0, b"ASC-E1.17", 0x7000 | (end - 16), 8, cid)
    framing = struct.pack("!HI64sI", 0x7000 | (end - 38), 2, name.encode(), 0)
    layer = struct.pack("!HIBB", 0x7000 | (end - 112), 1, page, last)
    return root + framing + layer + struct.pack(f"!{len(universes)}H", *universes)


# Source: Art-Net 4, ArtDmx: opcode low octet first, version and length high octet first.
def artnet(port_address: int, slots: bytes = DARK, sequence: int = 0) -> bytes:
    low, high = port_address & 0xFF, port_address >> 8
    return b"Art-Net\0\x00\x50\x00\x0e" + bytes([sequence, 0, low, high]) + struct.pack("!H", len(slots)) + slots


# Source: Art-Net 4, the table of ArtPollReply (from memory: the offsets): address 10, port 14, NetSwitch 18, SubSwitch
# 19, Oem 20, ShortName 26 (18), LongName 44 (64), NumPorts 172 (2), PortTypes 174 (4), GoodOutput 182 (4), SwOut 190
# (4), MAC 201 (6), Status2 212; 239 in all.
def art_poll_reply(
    port_addresses: Sequence[int] = (0x1231, 0x1235, 0x1230), address: str = "192.0.2.21",
    short_name: str = "lockhouse", long_name: str = "Heron Lock, lockhouse", mac: bytes = MAC,
) -> bytearray:  # fmt: skip
    switch, ports = port_addresses[0] >> 4 if port_addresses else 0, len(port_addresses)
    reply = bytearray(239)
    for at, octets in (
        (0, b"Art-Net\0\x00\x21"), (10, socket.inet_aton(address)), (14, struct.pack("<H", 6454)),
        (18, bytes((switch >> 4, switch & 0xF))), (20, b"\x00\xff"), (26, short_name.encode()),
        (44, long_name.encode()), (172, bytes((0, ports))), (174, b"\x80" * ports), (182, b"\x80" * ports),
        (190, bytes(port_address & 0xF for port_address in port_addresses)), (201, mac), (212, b"\x08"),
    ):  # fmt: skip
        reply[at : at + len(octets)] = octets
    return reply


def full(value: int) -> bytes:
    return bytes([value]) * 512
