"""Packets for what listens: E1.31 data and ArtPollReply, octet by octet."""

import socket
import struct

ALICE, BOB = b"a" * 16, b"b" * 16


ROOM = "192.0.2.5:5568"


# Source: ANSI E1.31-2018, table 4-1 (clause from memory), octet by octet; not from our encoder.
def e131(
    universe: int, sequence: int, *, slots: bytes = bytes(512), priority: int = 100, options: int = 0,
    cid: bytes = ALICE, name: str = "test", sync: int = 0, start_code: int = 0,
) -> bytes:  # fmt: skip
    end = 126 + len(slots)
    root = struct.pack("!HH12sHI16s", 0x10, 0, b"ASC-E1.17", 0x7000 | (end - 16), 4, cid)
    framing = struct.pack(
        "!HI64sBHBBH", 0x7000 | (end - 38), 2, name.encode(), priority, sync, sequence % 256, options, universe
    )
    dmp = struct.pack("!HBBHHHB", 0x7000 | (end - 115), 2, 0xA1, 0, 1, len(slots) + 1, start_code)
    return root + framing + dmp + slots


# Source: Art-Net 4, the table of ArtPollReply (from memory: the offsets): address 10, port 14, NetSwitch 18, SubSwitch
# 19, ShortName 26 (18), LongName 44 (64), NumPorts 172 (2), PortTypes 174 (4), SwOut 190 (4), MAC 201 (6); 239 in all.
def art_poll_reply(address: str, short: str, long: str, port_addresses: list[int]) -> bytes:
    reply = bytearray(239)
    reply[:10] = b"Art-Net\0\x00\x21"
    reply[10:14] = socket.inet_aton(address)
    reply[14:16] = struct.pack("<H", 6454)
    reply[18], reply[19] = port_addresses[0] >> 8, port_addresses[0] >> 4 & 0xF
    reply[26 : 26 + len(short)] = short.encode()
    reply[44 : 44 + len(long)] = long.encode()
    reply[172:174] = struct.pack("!H", len(port_addresses))
    for place, port_address in enumerate(port_addresses):
        reply[174 + place] = 0x80
        reply[190 + place] = port_address & 0xF
    reply[201:207] = bytes.fromhex("02000000002a")
    return bytes(reply)
