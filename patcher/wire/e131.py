r"""The packets of E1.31 (ANSI E1.31-2018, Streaming ACN): data, synchronization, universe discovery.

The rule of this file: one packet is one value. What is sent is built whole by the functions that end in `packet` or
`packets`; what is received becomes a `Data`, a `Sync`, a `Discovery`, or a `Malformed` that says why not.

A data packet is built once for each universe and then patched in place, frame by frame:

>>> packet = data_packet(cid=bytes(16), source="heron lock", universe=3)
>>> write_levels(packet, 0, bytes([255, 0, 0]))
>>> decode(packet).slots[:4]
b'\xff\x00\x00\x00'

Octets count from 0 and numbers are high octet first. Layers nest, and each begins with its flags (0x7) and length:
root at octet 16, framing at 38, DMP at 115 or universe discovery at 112. Clause numbers are the standard's.
"""

import struct
from collections.abc import Iterable
from dataclasses import dataclass

from patcher.trade import CHANNELS, DISCOVERY_UNIVERSE, FIRST_UNIVERSE, LAST_PRIORITY, LAST_UNIVERSE, PRIORITY
from patcher.wire.malformed import Malformed

Octets = bytes | bytearray | memoryview

SOURCE_NAME_OCTETS = 63
"""Longest source name in UTF-8, less the zero that ends it (6.2.2)."""
PAGE_UNIVERSES = 512
"""Most universes on one discovery page (8.5)."""

_LAST_UNIVERSE = LAST_UNIVERSE["e131"]

# Preamble size, post-amble size, ACN packet identifier (5.1-5.3).
_PREAMBLE = b"\x00\x10\x00\x00ASC-E1.17\x00\x00\x00"
_FLAGS = 0x7

_VECTOR_ROOT_E131_DATA = 0x00000004
_VECTOR_ROOT_E131_EXTENDED = 0x00000008
_VECTOR_E131_DATA_PACKET = 0x00000002
_VECTOR_E131_EXTENDED_SYNCHRONIZATION = 0x00000001
_VECTOR_E131_EXTENDED_DISCOVERY = 0x00000002
_VECTOR_UNIVERSE_DISCOVERY_UNIVERSE_LIST = 0x00000001

# DMP vector, address and data type, first property address, address increment (7.2-7.5).
_DMP_HEAD = (0x02, 0xA1, 0x0000, 0x0001)

_PREVIEW_DATA = 0x80
_STREAM_TERMINATED = 0x40
_FORCE_SYNCHRONIZATION = 0x20

_ROOT_AT, _FRAMING_AT, _DMP_AT, _DISCOVERY_AT = 16, 38, 115, 112
SEQUENCE_AT, SLOTS_AT, SYNC_SEQUENCE_AT = 111, 126, 44
"""Octets of a data packet where its sequence and its first slot stand, and of a synchronization
packet where its sequence does, for those who write many packets at once."""
_SYNC_UNIVERSE_AT, _OPTIONS_AT, _START_CODE_AT = 109, 112, 125
_FRAMING_END, _SYNC_END, _LIST_AT = 44, 49, 120

_FLAGS_AND_LENGTH = struct.Struct("!H")
_HEADS = struct.Struct("!I16s2xI")  # from 18: root vector, CID, the framing layer's vector
_DATA = struct.Struct("!64sBHBBH2xBBHHHB")  # from 44: source name to start code
_SYNC = struct.Struct("!BH")  # from 44: sequence, synchronization address
_DISCOVERY = struct.Struct("!64s6xIBB")  # from 44: source name, vector, page, last page


@dataclass(frozen=True, slots=True)
class Data:
    """One universe's slots from one source (E1.31 data packet, clauses 6.2 and 7).

    Attributes:
        cid: 16 octets that name the sending component.
        source: its name for people; octets that are no UTF-8 become U+FFFD.
        priority: 0 to 200; where sources compete, the highest wins.
        sync_universe: wait for a `Sync` of this universe before showing the slots; 0: show them at once.
        sequence: 0 to 255, counted for each universe.
        preview: not meant for live output.
        terminated: the source stops sending this universe; the slots mean nothing.
        force_sync: without synchronization, a receiver goes on showing slots rather than holding the last.
        universe: 1 to 63999.
        start_code: what the slots are; 0 for levels.
        slots: the values, 0 to 512 octets; the first is channel 1.
    """

    cid: bytes
    source: str
    priority: int
    sync_universe: int
    sequence: int
    preview: bool
    terminated: bool
    force_sync: bool
    universe: int
    start_code: int
    slots: bytes


@dataclass(frozen=True, slots=True)
class Sync:
    """Show now what waits for this synchronization universe (E1.31 synchronization packet, clause 6.3)."""

    cid: bytes
    sequence: int
    sync_universe: int


@dataclass(frozen=True, slots=True)
class Discovery:
    """One page of the universes that a source sends (universe discovery packet, clauses 6.4 and 8).

    Pages count from 0 to `last_page`; `universes` are as the source listed them, at most 512.
    """

    cid: bytes
    source: str
    page: int
    last_page: int
    universes: tuple[int, ...]


def multicast_group(universe: int) -> str:
    """The IPv4 multicast group of a universe, 239.255.HIGH.LOW (clause 9.3).

    Raises:
        ValueError: neither 1 to 63999 nor the discovery universe.
    """
    if universe != DISCOVERY_UNIVERSE:
        _check_universe(universe)
    return f"239.255.{universe >> 8}.{universe & 0xFF}"


def data_packet(
    *, cid: bytes, source: str, universe: int, priority: int = PRIORITY, sync_universe: int = 0
) -> bytearray:
    """A data packet of 638 octets: 512 slots at 0, start code 0, sequence 0, no option set (clauses 6.2 and 7).

    Build it once for each universe, then use `write_levels`.

    Args:
        cid: 16 octets, one for this sender, the same in all its packets.
        source: name for people, at most 63 octets of UTF-8.
        universe: 1 to 63999.
        priority: 0 to 200.
        sync_universe: which synchronization packets receivers are to wait for, 1 to 63999; 0: none.

    Raises:
        ValueError: one of these is out of its bounds.
    """
    from sacn.messages.data_packet import DataPacket

    _check_sender(cid, source)
    _check_universe(universe)
    if not 0 <= priority <= LAST_PRIORITY:
        raise ValueError(f"priority {priority} is not 0 to {LAST_PRIORITY}")
    if sync_universe:
        _check_universe(sync_universe)
    packet = DataPacket(tuple(cid), source, universe, priority=priority, sync_universe=sync_universe)
    return bytearray(packet.getBytes())


def write_levels(packet: bytearray, sequence: int, slots: Octets) -> None:
    """Put the next frame's levels into a packet from `data_packet`, in place.

    Args:
        packet: changed; its length is not.
        sequence: any running count; its lowest 8 bits go on the wire (clause 6.2.5).
        slots: up to 512 octets, from channel 1; channels beyond them are set to 0.

    Raises:
        ValueError: more than 512 slots; the packet is left as it was.
    """
    given = len(slots)
    if given > CHANNELS:
        raise ValueError(f"{given} slots do not fit into a universe of {CHANNELS}")
    packet[SEQUENCE_AT] = sequence & 0xFF
    packet[SLOTS_AT : SLOTS_AT + given] = slots
    if given < CHANNELS:
        packet[SLOTS_AT + given :] = bytes(CHANNELS - given)


def set_terminated(packet: bytearray | memoryview) -> None:
    """Set the Stream_Terminated option of a data packet, in place (clause 6.2.6).

    A source ends a stream by sending three such packets. They wait for no synchronization packet, as none will come.
    """
    packet[_OPTIONS_AT] |= _STREAM_TERMINATED
    packet[_SYNC_UNIVERSE_AT : _SYNC_UNIVERSE_AT + 2] = bytes(2)


def sync_packet(*, cid: bytes, sync_universe: int, sequence: int) -> bytearray:
    """A synchronization packet of 49 octets (clause 6.3).

    Args:
        cid: 16 octets, the sender's.
        sync_universe: 1 to 63999, the one that the data packets name.
        sequence: any running count; its lowest 8 bits go on the wire.

    Raises:
        ValueError: `cid` or `sync_universe` is out of its bounds.
    """
    from sacn.messages.sync_packet import SyncPacket

    _check_sender(cid, "")
    _check_universe(sync_universe)
    return bytearray(SyncPacket(tuple(cid), sync_universe, sequence & 0xFF).getBytes())


def discovery_packets(*, cid: bytes, source: str, universes: Iterable[int]) -> list[bytes]:
    """The universe discovery packets of a source, a packet a page (clauses 6.4 and 8).

    Args:
        cid: 16 octets, the sender's.
        source: name for people, at most 63 octets of UTF-8.
        universes: what it sends, in any order; each is listed once. None at all gives one page with none.

    Raises:
        ValueError: one of these is out of its bounds.
    """
    from sacn.messages.universe_discovery import UniverseDiscoveryPacket

    _check_sender(cid, source)
    listed = sorted(set(universes))
    for universe in listed[:1] + listed[-1:]:
        _check_universe(universe)
    # sacn's own paging gives no packet at all for no universes, so only its packet class is used.
    pages = [tuple(listed[at : at + PAGE_UNIVERSES]) for at in range(0, len(listed), PAGE_UNIVERSES)] or [()]
    last = len(pages) - 1
    return [
        bytes(UniverseDiscoveryPacket(tuple(cid), source, page, number, last).getBytes())
        for number, page in enumerate(pages)
    ]


def decode(octets: Octets) -> Data | Sync | Discovery | Malformed:
    """Read one UDP payload. Never raises, whatever the octets.

    Lengths, flags, vectors and counts must agree with each other and with what follows them, to the octet, and numbers
    must be within the standard's bounds. Reserved bits and fields are ignored, as is what a name has behind its zero.
    """
    if len(octets) < _FRAMING_END:
        return Malformed(f"{len(octets)} octets are too few for the root layer and a framing vector")
    if octets[:_ROOT_AT] != _PREAMBLE:
        return Malformed("it does not begin with the preamble and packet identifier of ACN")
    fault = _length_fault(octets, _ROOT_AT, "root") or _length_fault(octets, _FRAMING_AT, "framing")
    if fault:
        return Malformed(fault)
    root_vector, cid, framing_vector = _HEADS.unpack_from(octets, _ROOT_AT + 2)
    if root_vector == _VECTOR_ROOT_E131_DATA:
        if framing_vector == _VECTOR_E131_DATA_PACKET:
            return _decode_data(octets, cid)
    elif root_vector == _VECTOR_ROOT_E131_EXTENDED:
        if framing_vector == _VECTOR_E131_EXTENDED_SYNCHRONIZATION:
            return _decode_sync(octets, cid)
        if framing_vector == _VECTOR_E131_EXTENDED_DISCOVERY:
            return _decode_discovery(octets, cid)
    else:
        return Malformed(f"root vector 0x{root_vector:08x} is no E1.31")
    return Malformed(f"framing vector 0x{framing_vector:08x} is unknown under root vector 0x{root_vector:08x}")


def out_of_order(last: int, new: int) -> bool:
    """Whether a packet is to be dropped, by its sequence and that of the last one taken (clause 6.7.2).

    It is where new - last, as a signed octet, is over -20 and not over 0: a repetition, or a little late. What is
    further behind is taken for a source that began anew.
    """
    return -20 < ((new - last + 0x80) & 0xFF) - 0x80 <= 0


def _check_sender(cid: bytes, source: str) -> None:
    if len(cid) != 16:
        raise ValueError(f"a CID has 16 octets, not {len(cid)}")
    try:
        name = source.encode()
    except UnicodeEncodeError:
        raise ValueError(f"source name {source!r} has a character that UTF-8 cannot hold") from None
    if len(name) > SOURCE_NAME_OCTETS:
        raise ValueError(f"source name {source!r} is {len(name)} octets of UTF-8; {SOURCE_NAME_OCTETS} fit")
    if b"\x00" in name:
        raise ValueError(f"source name {source!r} contains a zero, which would end it")


def _check_universe(universe: int) -> None:
    if not FIRST_UNIVERSE <= universe <= _LAST_UNIVERSE:
        raise ValueError(f"universe {universe} is not {FIRST_UNIVERSE} to {_LAST_UNIVERSE}")


def _length_fault(octets: Octets, at: int, layer: str) -> str | None:
    """What is wrong with the flags and length of a layer that runs from octet `at` to the end (5.4, 6.1, 7.1, 8.1)."""
    (word,) = _FLAGS_AND_LENGTH.unpack_from(octets, at)
    flags, length, follow = word >> 12, word & 0xFFF, len(octets) - at
    if flags != _FLAGS:
        return f"the {layer} layer's flags are 0x{flags:x}, not 0x{_FLAGS:x}"
    if length != follow:
        return f"the {layer} layer's length says {length} octets but {follow} follow"
    return None


def _name(field: bytes) -> str:
    # A name that breaks the rules is no reason to leave a universe dark.
    return field.partition(b"\x00")[0].decode("utf-8", "replace")


def _decode_data(octets: Octets, cid: bytes) -> Data | Malformed:
    if len(octets) < SLOTS_AT:
        return Malformed(f"{len(octets)} octets are too few for a data packet; its start code is octet 125")
    name, priority, sync_universe, sequence, options, universe, *dmp_head, count, start_code = _DATA.unpack_from(
        octets, _FRAMING_END
    )
    values = len(octets) - _START_CODE_AT
    fault = _length_fault(octets, _DMP_AT, "DMP")
    if fault:
        return Malformed(fault)
    if tuple(dmp_head) != _DMP_HEAD:
        said = "vector 0x{:02x}, type 0x{:02x}, first address {}, increment {}"
        return Malformed(f"the DMP layer has {said.format(*dmp_head)}; E1.31 has {said.format(*_DMP_HEAD)}")
    if count != values:
        return Malformed(f"the DMP layer's count says {count} values but {values} follow")
    if values > CHANNELS + 1:
        return Malformed(f"{values - 1} slots are more than the {CHANNELS} of a universe")
    if not FIRST_UNIVERSE <= universe <= _LAST_UNIVERSE:
        return Malformed(f"universe {universe} is not {FIRST_UNIVERSE} to {_LAST_UNIVERSE}")
    if sync_universe > _LAST_UNIVERSE:
        return Malformed(f"synchronization universe {sync_universe} is not 0 to {_LAST_UNIVERSE}")
    if priority > LAST_PRIORITY:
        return Malformed(f"priority {priority} is not 0 to {LAST_PRIORITY}")
    return Data(
        cid,
        _name(name),
        priority,
        sync_universe,
        sequence,
        bool(options & _PREVIEW_DATA),
        bool(options & _STREAM_TERMINATED),
        bool(options & _FORCE_SYNCHRONIZATION),
        universe,
        start_code,
        bytes(octets[SLOTS_AT:]),
    )


def _decode_sync(octets: Octets, cid: bytes) -> Sync | Malformed:
    if len(octets) != _SYNC_END:
        return Malformed(f"a synchronization packet has {_SYNC_END} octets, not {len(octets)}")
    sequence, sync_universe = _SYNC.unpack_from(octets, _FRAMING_END)
    if not FIRST_UNIVERSE <= sync_universe <= _LAST_UNIVERSE:
        return Malformed(f"synchronization universe {sync_universe} is not {FIRST_UNIVERSE} to {_LAST_UNIVERSE}")
    return Sync(cid, sequence, sync_universe)


def _decode_discovery(octets: Octets, cid: bytes) -> Discovery | Malformed:
    if len(octets) < _LIST_AT:
        return Malformed(f"{len(octets)} octets are too few for universe discovery; its list begins at octet 120")
    fault = _length_fault(octets, _DISCOVERY_AT, "universe discovery")
    if fault:
        return Malformed(fault)
    name, vector, page, last_page = _DISCOVERY.unpack_from(octets, _FRAMING_END)
    if vector != _VECTOR_UNIVERSE_DISCOVERY_UNIVERSE_LIST:
        return Malformed(f"universe discovery vector 0x{vector:08x} is no universe list")
    if page > last_page:
        return Malformed(f"page {page} comes after the last page, {last_page}")
    count, rest = divmod(len(octets) - _LIST_AT, 2)
    if rest:
        return Malformed("the list of universes ends in the middle of a number")
    if count > PAGE_UNIVERSES:
        return Malformed(f"{count} universes are more than the {PAGE_UNIVERSES} of a page")
    universes = struct.unpack_from(f"!{count}H", octets, _LIST_AT)
    if universes and not FIRST_UNIVERSE <= min(universes) <= max(universes) <= _LAST_UNIVERSE:
        return Malformed(f"universes {min(universes)} to {max(universes)} are not within 1 to {_LAST_UNIVERSE}")
    return Discovery(cid, _name(name), page, last_page, universes)
