"""Packets of a sender of the tests' own, octet by octet.

Source: ANSI E1.31-2018, clauses 4 to 7; Art-Net 4, ArtDmx"""

import struct

ALICE, BOB = b"a" * 16, b"b" * 16


# Source: ANSI E1.31-2018, table 4-1 (clause from memory), octet by octet; not from our encoder.
def e131(
    universe: int, slots: bytes, sequence: int, *,
    priority: int = 100, options: int = 0, start_code: int = 0, cid: bytes = ALICE, sync: int = 0,
) -> bytes:  # fmt: skip
    end = 126 + len(slots)
    root = struct.pack("!HH12sHI16s", 0x10, 0, b"ASC-E1.17", 0x7000 | (end - 16), 4, cid)
    framing = struct.pack(
        "!HI64sBHBBH", 0x7000 | (end - 38), 2, b"test", priority, sync, sequence % 256, options, universe
    )  # fmt: skip
    dmp = struct.pack("!HBBHHHB", 0x7000 | (end - 115), 2, 0xA1, 0, 1, len(slots) + 1, start_code)
    return root + framing + dmp + slots


# Source: as above; the extended root layer carries the synchronization packet of 49 octets.
def e131_sync(address: int, sequence: int, cid: bytes = ALICE) -> bytes:
    root = struct.pack("!HH12sHI16s", 0x10, 0, b"ASC-E1.17", 0x7000 | 33, 8, cid)
    return root + struct.pack("!HIBHH", 0x7000 | 11, 1, sequence % 256, address, 0)


# Source: Art-Net 4, ArtDmx: opcode low octet first, version and length high octet first.
def artnet(port_address: int, slots: bytes, sequence: int) -> bytes:
    low, high = port_address & 0xFF, port_address >> 8
    return b"Art-Net\0\x00\x50\x00\x0e" + bytes([sequence, 0, low, high]) + struct.pack("!H", len(slots)) + slots


def full(value: int) -> bytes:
    return bytes([value]) * 512
