r"""The packets of Art-Net 4 that carry levels and find boxes: ArtDmx, ArtSync, ArtPoll, ArtPollReply.

The rule of this file: one packet is one value. What is sent is built whole by the functions that end in `packet`; what
is received becomes a `Dmx`, a `Sync`, a `Poll`, a `PollReply`, or a `Malformed` that says why not.

An ArtDmx packet is built once for each Port-Address and then patched in place, frame by frame:

>>> packet = dmx_packet(port_address=3)
>>> write_levels(packet, 0, bytes([255, 0, 0]))
>>> decode(packet).slots[:4]
b'\xff\x00\x00\x00'

Octets count from 0. Opcodes, Port-Addresses and UDP ports go low octet first; versions and lengths high octet first.
Field names are those of the Art-Net 4 specification (Artistic Licence), which numbers no clauses: the reference is a
packet's name.
"""

import ipaddress
import struct
from collections.abc import Iterable
from dataclasses import dataclass

from patcher.trade import CHANNELS, LAST_UNIVERSE, UDP_PORTS
from patcher.wire.malformed import Malformed

Octets = bytes | bytearray | memoryview

PROTOCOL_VERSION = 14
"""What is sent, and the least that is read."""
REPLY_PORTS = 4
"""Most ports that one ArtPollReply describes."""

_LAST_PORT_ADDRESS = LAST_UNIVERSE["artnet"]
"""A Port-Address is a net of 7 bits, a sub-net of 4 and a universe of 4, from the highest."""

_IDENTIFIER = b"Art-Net\x00"
_OP_POLL, _OP_POLL_REPLY, _OP_DMX, _OP_SYNC = 0x2000, 0x2100, 0x5000, 0x5200
_OPCODE_AT, _VERSION_AT = 8, 10
SEQUENCE_AT, SLOTS_AT = 12, 18
"""Octets of ArtDmx where its sequence and its first slot stand, for those who write many packets at once."""
_SHORTEST_SYNC = _SHORTEST_POLL = 14
_SHORTEST_POLL_REPLY = 207

_LOW_FIRST, _HIGH_FIRST = struct.Struct("<H"), struct.Struct(">H")
_DMX = struct.Struct("BBBBBB")  # from 12: Sequence, Physical, SubUni, Net, LengthHi, Length
# From 10: IP address; at 18: NetSwitch, SubSwitch; at 26: ShortName, LongName; at 172: NumPorts, PortTypes; at 190:
# SwOut; at 201: MAC.
_POLL_REPLY = struct.Struct(">4s4xBB6x18s64s64xH4s12x4s7x6s")

_OUTPUT_FROM_ART_NET = 0x80  # PortTypes
_POLL_REPLY_OCTETS = 239
_PORT_AT, _OEM_AT, _GOOD_OUTPUT_AT, _BIND_IP_AT, _BIND_INDEX_AT, _STATUS2_AT = 14, 20, 182, 207, 211, 212
_OEM_UNKNOWN = 0x00FF
_LONG_PORT_ADDRESSES = 0x08  # Status2: Port-Addresses of 15 bits
_SHORT_NAME, _LONG_NAME = 18, 64


@dataclass(frozen=True, slots=True)
class Dmx:
    """The slots of one Port-Address (ArtDmx).

    Attributes:
        port_address: 0 to 32767.
        sequence: 1 to 255; 0 where the sender counts none.
        slots: the values, an even number of octets from 2 to 512; the first is channel 1.
    """

    port_address: int
    sequence: int
    slots: bytes


@dataclass(frozen=True, slots=True)
class Sync:
    """Show now what ArtDmx packets have brought (ArtSync)."""


@dataclass(frozen=True, slots=True)
class Poll:
    """Asks who is there (ArtPoll)."""


@dataclass(frozen=True, slots=True)
class PollReply:
    """Says who is there (ArtPollReply).

    Attributes:
        address: the replier's IPv4 address, as "192.0.2.21".
        short_name: up to 17 characters.
        long_name: up to 63 characters.
        port_addresses: one for each port that puts out what ArtDmx brings, in the order of the ports.
        mac: 6 octets; all 0 where the replier does not say.
    """

    address: str
    short_name: str
    long_name: str
    port_addresses: tuple[int, ...]
    mac: bytes


def dmx_packet(*, port_address: int) -> bytearray:
    """An ArtDmx packet of 530 octets: 512 slots at 0, sequence unused.

    Build it once for each Port-Address, then use `write_levels`.

    Raises:
        ValueError: `port_address` is not 0 to 32767.
    """
    _check_port_address(port_address)
    sub_uni, net = port_address & 0xFF, port_address >> 8
    return _head(_OP_DMX) + _DMX.pack(0, 0, sub_uni, net, CHANNELS >> 8, CHANNELS & 0xFF) + bytes(CHANNELS)


def write_levels(packet: bytearray, sequence: int, slots: Octets) -> None:
    """Put the next frame's levels into a packet from `dmx_packet`, in place.

    Args:
        packet: changed; its length is not.
        sequence: any running count from 0; on the wire it goes 1, 2 ... 255, 1, since 0 would mean no count.
        slots: up to 512 octets, from channel 1; channels beyond them are set to 0.

    Raises:
        ValueError: more than 512 slots; the packet is left as it was.
    """
    given = len(slots)
    if given > CHANNELS:
        raise ValueError(f"{given} slots do not fit into a universe of {CHANNELS}")
    packet[SEQUENCE_AT] = sequence % 255 + 1
    packet[SLOTS_AT : SLOTS_AT + given] = slots
    if given < CHANNELS:
        packet[SLOTS_AT + given :] = bytes(CHANNELS - given)


def in_parts(port_address: int) -> str:
    """A Port-Address as boxes ask for it, Net.Sub-Net.Universe, each counted from 0: 3 is `0.0.3`, 299 is `1.2.11`.

    Source: Art-Net 4, Port-Address: Net in bits 14-8, Sub-Net in bits 7-4, Universe in bits 3-0.
    """
    return f"{port_address >> 8}.{port_address >> 4 & 0xF}.{port_address & 0xF}"


def sync_packet() -> bytearray:
    """An ArtSync packet of 14 octets."""
    return _head(_OP_SYNC) + bytes(2)


def poll_packet() -> bytearray:
    """An ArtPoll packet of 14 octets that asks everyone for one reply and no diagnostics.

    It leaves out the fields behind DiagPriority, which a receiver takes as 0.
    """
    return _head(_OP_POLL) + bytes(2)


def poll_reply_packets(address: str, short_name: str, long_name: str, port_addresses: Iterable[int]) -> list[bytearray]:
    """ArtPollReply packets of 239 octets that say who is there, and which Port-Addresses it puts out.

    One packet describes up to four ports of one net and sub-net. What has more sends several, which BindIndex counts
    from 1.

    Args:
        address: the replier's IPv4 address.
        short_name: cut to 17 octets.
        long_name: cut to 63 octets.
        port_addresses: one for each port.

    Raises:
        ValueError: a Port-Address is not 0 to 32767.
    """
    groups: list[list[int]] = []
    for port_address in port_addresses:
        _check_port_address(port_address)
        if groups and len(groups[-1]) < REPLY_PORTS and groups[-1][0] >> 4 == port_address >> 4:
            groups[-1].append(port_address)
        else:
            groups.append([port_address])
    own = ipaddress.IPv4Address(address).packed
    names = _cut(short_name, _SHORT_NAME), _cut(long_name, _LONG_NAME)
    return [_poll_reply(own, *names, ports, index) for index, ports in enumerate(groups or [[]], start=1)]


def _poll_reply(own: bytes, short_name: bytes, long_name: bytes, ports: list[int], index: int) -> bytearray:
    packet = bytearray(_POLL_REPLY_OCTETS)
    packet[: len(_IDENTIFIER) + 2] = _IDENTIFIER + _LOW_FIRST.pack(_OP_POLL_REPLY)
    switch, types = ports[0] >> 4 if ports else 0, bytes([_OUTPUT_FROM_ART_NET] * len(ports))
    low = bytes(port & 0xF for port in ports)
    fields = (switch >> 4, switch & 0xF, short_name, long_name, len(ports), types, low, bytes(6))
    _POLL_REPLY.pack_into(packet, 10, own, *fields)
    _LOW_FIRST.pack_into(packet, _PORT_AT, UDP_PORTS["artnet"])
    _HIGH_FIRST.pack_into(packet, _OEM_AT, _OEM_UNKNOWN)
    packet[_GOOD_OUTPUT_AT : _GOOD_OUTPUT_AT + len(types)] = types
    packet[_BIND_IP_AT:_BIND_INDEX_AT] = own
    packet[_BIND_INDEX_AT], packet[_STATUS2_AT] = index, _LONG_PORT_ADDRESSES
    return packet


def _cut(name: str, octets: int) -> bytes:
    """A name as a field holds it, its last octet 0; no character is cut in two."""
    return name.encode()[: octets - 1].decode(errors="ignore").encode()


def decode(octets: Octets) -> Dmx | Sync | Poll | PollReply | Malformed:
    """Read one UDP payload. Never raises, whatever the octets.

    Numbers must be within the specification's bounds. Octets behind a packet's last field are ignored, since later
    revisions of Art-Net add fields at the end.
    """
    if len(octets) < _VERSION_AT:
        return Malformed(f"{len(octets)} octets are too few for an Art-Net identifier and opcode")
    if octets[:_OPCODE_AT] != _IDENTIFIER:
        return Malformed("it does not begin with the identifier Art-Net and a zero")
    (opcode,) = _LOW_FIRST.unpack_from(octets, _OPCODE_AT)
    # Alone of these it carries no protocol version.
    if opcode == _OP_POLL_REPLY:
        return _decode_poll_reply(octets)
    reader = _READERS.get(opcode)
    if reader is None:
        return Malformed(f"opcode 0x{opcode:04x} is none of ArtDmx, ArtSync, ArtPoll, ArtPollReply")
    if len(octets) < SEQUENCE_AT:
        return Malformed("it ends before its protocol version")
    (version,) = _HIGH_FIRST.unpack_from(octets, _VERSION_AT)
    if version < PROTOCOL_VERSION:
        return Malformed(f"protocol version {version} is older than {PROTOCOL_VERSION}")
    return reader(octets)


def out_of_order(last: int, new: int) -> bool:
    """Whether an ArtDmx packet is to be dropped, by its sequence and that of the last one taken.

    It is where new is the same as last, or less than 20 behind it on the circle from 1 to 255. What is further behind
    is taken for a source that began anew. Where either is 0 the sender does not count, and nothing is dropped.

    Art-Net says what the sequence is for and gives no window; this one is E1.31's (clause 6.7.2).
    """
    return last != 0 and new != 0 and (last - new) % 255 < 20


def _head(opcode: int) -> bytearray:
    return bytearray(_IDENTIFIER + _LOW_FIRST.pack(opcode) + _HIGH_FIRST.pack(PROTOCOL_VERSION))


def _check_port_address(port_address: int) -> None:
    if not 0 <= port_address <= _LAST_PORT_ADDRESS:
        raise ValueError(f"Port-Address {port_address} is not 0 to {_LAST_PORT_ADDRESS}")


def _name(field: bytes) -> str:
    return field.partition(b"\x00")[0].decode("utf-8", "replace")


def _decode_dmx(octets: Octets) -> Dmx | Malformed:
    if len(octets) < SLOTS_AT:
        return Malformed(f"{len(octets)} octets are too few for ArtDmx; its slots begin at octet {SLOTS_AT}")
    sequence, _, sub_uni, net, length_high, length_low = _DMX.unpack_from(octets, SEQUENCE_AT)
    length = length_high << 8 | length_low
    follow = len(octets) - SLOTS_AT
    if length > follow:
        return Malformed(f"ArtDmx's length says {length} slots but {follow} follow")
    if not 2 <= length <= CHANNELS:
        return Malformed(f"ArtDmx's length {length} is not 2 to {CHANNELS}")
    if length % 2:
        return Malformed(f"ArtDmx's length {length} is odd")
    if net > 0x7F:
        return Malformed(f"ArtDmx's net {net} is not 0 to 127")
    return Dmx(net << 8 | sub_uni, sequence, bytes(octets[SLOTS_AT : SLOTS_AT + length]))


def _decode_sync(octets: Octets) -> Sync | Malformed:
    if len(octets) < _SHORTEST_SYNC:
        return Malformed(f"{len(octets)} octets are too few for ArtSync, which has {_SHORTEST_SYNC}")
    return Sync()


def _decode_poll(octets: Octets) -> Poll | Malformed:
    if len(octets) < _SHORTEST_POLL:
        return Malformed(f"{len(octets)} octets are too few for ArtPoll, which has at least {_SHORTEST_POLL}")
    return Poll()


def _decode_poll_reply(octets: Octets) -> PollReply | Malformed:
    if len(octets) < _SHORTEST_POLL_REPLY:
        return Malformed(
            f"{len(octets)} octets are too few for ArtPollReply, which has at least {_SHORTEST_POLL_REPLY}"
        )
    address, net, sub_net, short_name, long_name, ports, types, outputs, mac = _POLL_REPLY.unpack_from(octets, 10)
    if ports > REPLY_PORTS:
        return Malformed(f"ArtPollReply says {ports} ports; it can describe {REPLY_PORTS}")
    base = (net & 0x7F) << 8 | (sub_net & 0xF) << 4
    return PollReply(
        str(ipaddress.IPv4Address(address)),
        _name(short_name),
        _name(long_name),
        tuple(base | outputs[port] & 0xF for port in range(ports) if types[port] & _OUTPUT_FROM_ART_NET),
        mac,
    )


_READERS = {_OP_DMX: _decode_dmx, _OP_SYNC: _decode_sync, _OP_POLL: _decode_poll}
