"""Art-Net octet by octet: what is sent, what is read, and what is refused with which words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.wire import artnet
from patcher.wire.artnet import Dmx, Poll, PollReply, Sync
from patcher.wire.malformed import Malformed
from rig.packets import MAC, art_poll_reply
from rig.wire_samples import LEVELS, artnet_dmx, with_octet, with_word

DMX_ROWS = [
    # Judge: tshark 4.0 reads each of these so from bytes alone (test_wire_tshark.py).
    (0, "4172742d4e657400"),  # identifier Art-Net and a zero
    (8, "0050"),  # opcode ArtDmx 0x5000, low octet first
    (10, "000e"),  # protocol version 14, high octet first
    (12, "04"),  # sequence
    (13, "00"),  # physical
    (14, "34"),  # SubUni: sub-net 3, universe 4
    (15, "12"),  # Net
    (16, "0200"),  # length 512, high octet first
    (18, LEVELS.hex()),  # slots
]


@given(st.integers(0, 32767))
def test_a_port_address_in_parts_is_what_stands_in_the_packet(port_address: int) -> None:
    # Source: Art-Net 4, ArtDmx: SubUni, the sub-net in its high four bits and the universe in its low four, then Net
    packet = artnet.dmx_packet(port_address=port_address)
    assert artnet.in_parts(port_address) == f"{packet[15]}.{packet[14] // 16}.{packet[14] % 16}"


def test_every_octet_of_dmx() -> None:
    # Judge: stupidArtnet 1.6 and pyartnet 2.0 both make 530 octets for 512 slots.
    laid = bytearray()
    for at, octets in DMX_ROWS:
        assert at == len(laid)
        laid += bytes.fromhex(octets)
    assert artnet_dmx(port_address=0x1234, sequence=3).hex(" ") == laid.hex(" ")


def test_sync_packet_octets() -> None:
    # Judge: tshark 4.0, pyartnet 2.0 and stupidArtnet 1.6; the two octets behind the version are Aux1 and Aux2, 0.
    assert artnet.sync_packet().hex() == "4172742d4e657400" + "0052" + "000e" + "0000"


def test_poll_packet_octets() -> None:
    # Judge: tshark 4.0; the two octets behind the version are Flags and DiagPriority.
    assert artnet.poll_packet().hex() == "4172742d4e657400" + "0020" + "000e" + "0000"


@pytest.mark.parametrize(
    ("count", "on_the_wire"), [(0, 1), (1, 2), (253, 254), (254, 255), (255, 1), (256, 2), (509, 255), (510, 1)]
)
def test_sequence_is_never_0(count: int, on_the_wire: int) -> None:
    # Source: Art-Net 4, ArtDmx,: 1 to 255; 0 means unused.
    packet = artnet_dmx()
    artnet.write_levels(packet, count, LEVELS)
    assert packet[12] == on_the_wire


def test_sequence_runs_as_pyartnet_counts() -> None:
    # Judge: pyartnet 2.0, whose counter of ArtDmx packets begins with 1
    from pyartnet.base.seq_counter import SequenceCounter

    counter, packet = SequenceCounter(1), artnet_dmx()
    for count in range(1000):
        artnet.write_levels(packet, count, LEVELS)
        assert packet[12] == counter.value


@given(
    st.integers(0, 32767), st.lists(st.tuples(st.integers(0, 1 << 40), st.binary(max_size=512)), min_size=1, max_size=4)
)
def test_of_levels_written_in_place_the_last_are_read(port_address: int, frames: list[tuple[int, bytes]]) -> None:
    # Common practice, no source: nothing of an earlier frame stays; a channel that nothing was said of is dark.
    packet = artnet.dmx_packet(port_address=port_address)
    for sequence, slots in frames:
        artnet.write_levels(packet, sequence, slots)
    assert len(packet) == 530
    assert artnet.decode(packet) == Dmx(port_address, sequence % 255 + 1, slots.ljust(512, b"\0"))


def test_write_levels_refuses_more_than_a_universe() -> None:
    # Source: Art-Net 4, ArtDmx,: length 2 to 512.
    packet = artnet_dmx()
    before = bytes(packet)
    with pytest.raises(ValueError, match=r"^513 slots do not fit into a universe of 512$"):
        artnet.write_levels(packet, 1, bytes(513))
    assert packet == before


@pytest.mark.parametrize("slots", [2, 170 * 3, 512])
def test_fewer_slots_are_read_and_octets_behind_them_ignored(slots: int) -> None:
    # Source: Art-Net 4, ArtDmx,: even, 2 to 512. From memory: later revisions add fields at the end.
    packet = with_word(artnet_dmx(), 16, slots)
    for octets in (packet, packet[: 18 + slots], packet + b"\xff"):
        dmx = artnet.decode(octets)
        assert isinstance(dmx, Dmx)
        assert dmx.slots == LEVELS[:slots]


@pytest.mark.parametrize("version", [14, 15, 0x0100, 0xFFFF])
def test_later_protocol_versions_are_read(version: int) -> None:
    # Source: Art-Net 4, ProtVer,: a receiver takes 14 or more.
    packets = (artnet_dmx(), artnet.sync_packet(), artnet.poll_packet())
    assert [type(artnet.decode(with_word(packet, 10, version))) for packet in packets] == [Dmx, Sync, Poll]


def test_any_buffer_is_read_and_slots_are_bytes() -> None:
    # Common practice, no source: values are frozen, so a receive buffer used again must not change them.
    packet = artnet_dmx(levels=memoryview(LEVELS))
    for octets in (bytes(packet), packet, memoryview(packet)):
        dmx = artnet.decode(octets)
        assert isinstance(dmx, Dmx)
        assert type(dmx.slots) is bytes
        assert dmx.slots == LEVELS
    for octets in (artnet.poll_packet(), memoryview(artnet.poll_packet())):
        assert isinstance(artnet.decode(octets), Poll)


@pytest.mark.parametrize("behind_version", ["0210", "200012340003", "2000123400037ff000ff", "200012"])
def test_poll_is_read(behind_version: str) -> None:
    # Judge: tshark 4.0 reads targets so (test_wire_tshark.py). From memory: an older sender leaves fields out.
    assert artnet.decode(artnet.poll_packet()[:12] + bytes.fromhex(behind_version)) == Poll()


def test_poll_reply_is_read() -> None:
    # From memory: Art-Net 4, ArtPollReply: only ports whose type has bit 7 put anything out.
    reply = art_poll_reply()
    expected = PollReply(
        address="192.0.2.21",
        short_name="lockhouse",
        long_name="Heron Lock, lockhouse",
        port_addresses=(0x1231, 0x1235, 0x1230),
        mac=MAC,
    )
    assert artnet.decode(reply) == expected
    assert artnet.decode(reply[:207]) == expected
    second_is_an_input = artnet.decode(with_octet(reply, 175, 0x40))
    assert isinstance(second_is_an_input, PollReply)
    assert second_is_an_input.port_addresses == (0x1231, 0x1230)


def names(most: int) -> st.SearchStrategy[str]:
    return st.text(st.characters(min_codepoint=1, max_codepoint=127), max_size=most)


@given(
    st.ip_addresses(v=4),
    names(17),
    names(63),
    st.integers(0, 2047),
    st.lists(st.integers(0, 15), max_size=4),
    st.binary(min_size=6, max_size=6),
)
def test_art_poll_reply(
    address: object, short_name: str, long_name: str, switch: int, ports: list[int], mac: bytes
) -> None:
    # Judge: tshark 4.0 reads what the samples lay out by hand (test_wire_tshark.py)
    given_ports = tuple(switch * 16 + port for port in ports)
    packet = art_poll_reply(given_ports, address=str(address), short_name=short_name, long_name=long_name, mac=mac)
    assert artnet.decode(packet) == PollReply(
        address=str(address), short_name=short_name, long_name=long_name, port_addresses=given_ports, mac=mac
    )


def test_a_reply_is_laid_out_as_the_specification_says() -> None:
    # Source: Art-Net 4, ArtPollReply, laid out by hand in rig/packets.py; there BindIp and BindIndex are left out.
    # From memory: BindIp at 207, BindIndex at 211, which counts a node's replies from 1.
    (sent,) = artnet.poll_reply_packets("192.0.2.21", "lockhouse", "Heron Lock, lockhouse", (0x1231, 0x1235, 0x1230))
    by_hand = art_poll_reply(mac=bytes(6))
    by_hand[207:212] = bytes((192, 0, 2, 21, 1))
    assert sent == by_hand


@given(st.sets(st.integers(0, 32767), max_size=40))
def test_a_node_of_many_ports_sends_several_replies(ports: set[int]) -> None:
    # Source: Art-Net 4: one reply has one NetSwitch, one SubSwitch and four ports at most
    replies = artnet.poll_reply_packets("192.0.2.21", "n" * 30, "ä" * 40, sorted(ports))
    assert [reply[211] for reply in replies] == [*range(1, len(replies) + 1)]
    read = [artnet.decode(reply) for reply in replies]
    assert all(isinstance(one, PollReply) for one in read)
    assert [port for one in read for port in one.port_addresses] == sorted(ports)
    assert {(one.address, one.short_name, one.long_name) for one in read} == {("192.0.2.21", "n" * 17, "ä" * 31)}
    assert len(replies) <= max(1, len(ports))
    with pytest.raises(ValueError, match="Port-Address 32768 is not"):
        artnet.poll_reply_packets("192.0.2.21", "", "", [32768])


@pytest.mark.parametrize("port_address", [-1, 32768])
def test_what_cannot_be_sent_is_refused(port_address: int) -> None:
    # Source: Art-Net 4, Port-Address: 0 to 32767. The words are ours.
    with pytest.raises(ValueError, match=f"^Port-Address {port_address} is not 0 to 32767$"):
        artnet.dmx_packet(port_address=port_address)


DMX = bytes(artnet_dmx())
POLL_REPLY = bytes(art_poll_reply())

# Source: Art-Net 4,: identifier, version, even length 2 to 512, 15 bits. From memory: the least sizes.
# The words are ours.
REFUSED = {
    "nothing": (b"", "0 octets are too few for an Art-Net identifier and opcode"),
    "short": (DMX[:9], "9 octets are too few for an Art-Net identifier and opcode"),
    "identifier": (with_octet(DMX, 7, 1), "it does not begin with the identifier Art-Net and a zero"),
    "opcode": (with_octet(DMX, 9, 0x51), "opcode 0x5100 is none of ArtDmx, ArtSync, ArtPoll, ArtPollReply"),
    "no version": (DMX[:11], "it ends before its protocol version"),
    "version 13": (with_word(DMX, 10, 13), "protocol version 13 is older than 14"),
    "version 13 of sync": (with_word(artnet.sync_packet(), 10, 13), "protocol version 13 is older than 14"),
    "version 13 of poll": (with_word(artnet.poll_packet(), 10, 13), "protocol version 13 is older than 14"),
    "no slots": (DMX[:17], "17 octets are too few for ArtDmx; its slots begin at octet 18"),
    "cut": (DMX[:-1], "ArtDmx's length says 512 slots but 511 follow"),
    "odd": (with_word(DMX, 16, 511), "ArtDmx's length 511 is odd"),
    "length 0": (with_word(DMX, 16, 0), "ArtDmx's length 0 is not 2 to 512"),
    "length 514": (with_word(DMX + b"\x00\x00", 16, 514), "ArtDmx's length 514 is not 2 to 512"),
    "length low first": (with_word(DMX, 16, 0x0002 << 8 | 0x02), "ArtDmx's length says 514 slots but 512 follow"),
    "net": (with_octet(DMX, 15, 128), "ArtDmx's net 128 is not 0 to 127"),
    "sync": (artnet.sync_packet()[:13], "13 octets are too few for ArtSync, which has 14"),
    "poll": (artnet.poll_packet()[:13], "13 octets are too few for ArtPoll, which has at least 14"),
    "poll reply": (POLL_REPLY[:206], "206 octets are too few for ArtPollReply, which has at least 207"),
    "ports": (with_word(POLL_REPLY, 172, 5), "ArtPollReply says 5 ports; it can describe 4"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_read_says_why(case: str) -> None:
    octets, why = REFUSED[case]
    assert artnet.decode(octets) == Malformed(why)


def test_out_of_order_for_every_pair() -> None:
    # From memory: Art-Net gives no window, only that 0 means unused and that the count goes 255, 1; the width of 20
    # is E1.31-2018's (6.7.2). Written out here as steps forward that lead from the new one to the last.
    def steps(sequence: int) -> list[int]:
        walk = [sequence]
        while len(walk) < 20:
            walk.append(1 if walk[-1] == 255 else walk[-1] + 1)
        return walk

    for new in range(256):
        behind = set(steps(new)) if new else set()
        for last in range(256):
            assert artnet.out_of_order(last, new) is (last in behind and last != 0), (last, new)
