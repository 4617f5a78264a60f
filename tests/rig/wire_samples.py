"""Packets that the tests of wire/ share, and small ways to bend them.

The rule of this file: nothing here judges; what a packet should be stands in the tests, with its source.
"""

import struct

from patcher.wire import artnet, e131
from rig.packets import art_poll_reply

# The component of E1.31's own examples, as sacn 1.11 quotes them.
CID = bytes.fromhex("ef07c8dd00644401a3a2459ef8e6143e")
SOURCE = "Heron Lock"
LEVELS = bytes(7 * slot % 256 for slot in range(512))


def e131_data(*, universe: int = 7, sequence: int = 154, levels: bytes = LEVELS, terminated: bool = False) -> bytearray:
    packet = e131.data_packet(cid=CID, source=SOURCE, universe=universe)
    e131.write_levels(packet, sequence, levels)
    if terminated:
        e131.set_terminated(packet)
    return packet


def artnet_dmx(*, port_address: int = 0x1234, sequence: int = 3, levels: bytes = LEVELS) -> bytearray:
    packet = artnet.dmx_packet(port_address=port_address)
    artnet.write_levels(packet, sequence, levels)
    return packet


def e131_packets() -> list[bytes]:
    """One of every kind that is sent, and a few of data."""
    packets = [
        e131_data(),
        e131_data(universe=63999, terminated=True),
        with_slots(e131_data(), 170),
        e131.sync_packet(cid=CID, sync_universe=7962, sequence=67),
        *e131.discovery_packets(cid=CID, source=SOURCE, universes=range(1, 41)),
        *e131.discovery_packets(cid=CID, source=SOURCE, universes=()),
    ]
    return [bytes(packet) for packet in packets]


def artnet_packets() -> list[bytes]:
    """One of every kind that is sent, and a few of ArtDmx."""
    short = artnet_dmx()
    short[16:] = b"\x00\x20" + bytes(32)
    packets = [artnet_dmx(), short, artnet.sync_packet(), artnet.poll_packet(), art_poll_reply()]
    return [bytes(packet) for packet in packets]


def with_word(packet: bytes, at: int, word: int) -> bytes:
    """The packet with the 16 bits at octet `at`, high octet first, set to `word`."""
    bent = bytearray(packet)
    struct.pack_into("!H", bent, at, word)
    return bytes(bent)


def with_octet(packet: bytes, at: int, octet: int) -> bytes:
    bent = bytearray(packet)
    bent[at] = octet
    return bytes(bent)


def with_lengths(packet: bytes, *layers: int) -> bytes:
    """The packet with the flags and length of the layers that begin at these octets set to what follows them."""
    for at in layers:
        packet = with_word(packet, at, 0x7000 + len(packet) - at)
    return bytes(packet)


def with_slots(packet: bytes, slots: int) -> bytes:
    """An E1.31 data packet cut to its first `slots` slots, or filled up to as many with 0, lengths and count right."""
    cut = bytes(packet[: 126 + slots]).ljust(126 + slots, b"\x00")
    return with_lengths(with_word(cut, 123, slots + 1), 16, 38, 115)
