"""What we write we read, whatever the values: decode undoes encode, for every kind of packet.

A round trip proves only that reader and writer agree; who is right, the octet tables and the judges say.
"""

import pytest
import sacn.messages.data_packet
from hypothesis import given
from hypothesis import strategies as st

from patcher.wire import artnet, e131
from patcher.wire.artnet import Dmx, Poll, PollReply
from patcher.wire.e131 import Data, Discovery, Sync
from rig.wire_samples import CID, SOURCE, artnet_poll_reply, with_slots

cids = st.binary(min_size=16, max_size=16)
universes = st.integers(1, 63999)
port_addresses = st.integers(0, 32767)
counts = st.integers(0, 1 << 40)
levels = st.binary(max_size=512)
frames = st.lists(st.tuples(counts, levels), min_size=1, max_size=4)
sources = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=63).filter(
    lambda name: len(name.encode()) <= 63
)


def ascii_names(most: int) -> st.SearchStrategy[str]:
    return st.text(st.characters(min_codepoint=1, max_codepoint=127), max_size=most)


@given(cids, sources, universes, st.integers(0, 200), counts, levels, st.booleans())
def test_e131_data(
    cid: bytes, source: str, universe: int, priority: int, sequence: int, slots: bytes, terminated: bool
) -> None:
    # Common practice, no source: a round trip
    packet = e131.data_packet(cid=cid, source=source, universe=universe, priority=priority)
    e131.write_levels(packet, sequence, slots)
    if terminated:
        e131.set_terminated(packet)
    assert e131.decode(packet) == Data(
        cid=cid,
        source=source,
        priority=priority,
        sync_universe=0,
        sequence=sequence % 256,
        preview=False,
        terminated=terminated,
        force_sync=False,
        universe=universe,
        start_code=0,
        slots=slots.ljust(512, b"\0"),
    )


@given(levels)
def test_e131_data_of_any_size(slots: bytes) -> None:
    # Common practice, no source: a round trip
    packet = e131.data_packet(cid=CID, source=SOURCE, universe=1)
    e131.write_levels(packet, 0, slots)
    data = e131.decode(with_slots(packet, len(slots)))
    assert isinstance(data, Data)
    assert data.slots == slots


@given(cids, universes, counts)
def test_e131_sync(cid: bytes, sync_universe: int, sequence: int) -> None:
    # Common practice, no source: a round trip
    packet = e131.sync_packet(cid=cid, sync_universe=sync_universe, sequence=sequence)
    assert e131.decode(packet) == Sync(cid=cid, sequence=sequence % 256, sync_universe=sync_universe)


@given(cids, sources, st.lists(universes, max_size=1400))
def test_e131_discovery(cid: bytes, source: str, listed: list[int]) -> None:
    # Common practice, no source: a round trip; each page is a `Discovery`, and together they list every universe once
    pages = [e131.decode(packet) for packet in e131.discovery_packets(cid=cid, source=source, universes=listed)]
    found: list[int] = []
    for number, page in enumerate(pages):
        assert isinstance(page, Discovery)
        assert (page.cid, page.source, page.page, page.last_page) == (cid, source, number, len(pages) - 1)
        assert len(page.universes) <= 512
        found += page.universes
    assert found == sorted(set(listed))


@given(frames, universes)
def test_e131_levels_written_in_place_equal_a_packet_built_afresh(
    written: list[tuple[int, bytes]], universe: int
) -> None:
    # Judge: sacn 1.11 builds the packet whole from the last frame alone
    packet = e131.data_packet(cid=CID, source=SOURCE, universe=universe)
    for sequence, slots in written:
        e131.write_levels(packet, sequence, slots)
    sequence, slots = written[-1]
    whole = sacn.messages.data_packet.DataPacket(tuple(CID), SOURCE, universe, tuple(slots), sequence=sequence % 256)
    assert packet == bytes(whole.getBytes())
    fresh = e131.data_packet(cid=CID, source=SOURCE, universe=universe)
    e131.write_levels(fresh, sequence, slots)
    assert packet == fresh


@pytest.mark.parametrize("kind", [bytes, bytearray, memoryview])
def test_levels_come_in_any_buffer(kind: type) -> None:
    # Common practice, no source: numpy's levels come as a memoryview
    slots = bytes(range(256)) + bytes(reversed(range(256)))
    data, dmx = e131.data_packet(cid=CID, source=SOURCE, universe=1), artnet.dmx_packet(port_address=1)
    e131.write_levels(data, 1, kind(slots))
    artnet.write_levels(dmx, 1, kind(slots))
    assert (data[126:], dmx[18:]) == (slots, slots)


@given(port_addresses, counts, levels)
def test_artnet_dmx(port_address: int, sequence: int, slots: bytes) -> None:
    # Common practice, no source: a round trip
    packet = artnet.dmx_packet(port_address=port_address)
    artnet.write_levels(packet, sequence, slots)
    dmx = artnet.decode(packet)
    assert dmx == Dmx(port_address=port_address, sequence=1 + sequence % 255, slots=slots.ljust(512, b"\0"))


@given(frames, port_addresses)
def test_artnet_levels_written_in_place_equal_a_packet_built_afresh(
    written: list[tuple[int, bytes]], port_address: int
) -> None:
    # Common practice, no source: nothing of an earlier frame stays
    packet, fresh = artnet.dmx_packet(port_address=port_address), artnet.dmx_packet(port_address=port_address)
    for sequence, slots in written:
        artnet.write_levels(packet, sequence, slots)
    artnet.write_levels(fresh, *written[-1])
    assert packet == fresh


def test_artnet_sync_and_poll() -> None:
    # Common practice, no source: a round trip
    assert artnet.decode(artnet.sync_packet()) == artnet.Sync()
    assert artnet.decode(artnet.poll_packet()) == Poll()


@given(
    st.ip_addresses(v=4),
    ascii_names(17),
    ascii_names(63),
    st.integers(0, 2047),
    st.lists(st.integers(0, 15), max_size=4),
    st.binary(min_size=6, max_size=6),
)
def test_artnet_poll_reply(
    address: object, short_name: str, long_name: str, switch: int, ports: list[int], mac: bytes
) -> None:
    # Judge: tshark 4.0 reads what the samples lay out by hand (test_wire_tshark.py)
    given_ports = tuple(switch * 16 + port for port in ports)
    packet = artnet_poll_reply(given_ports, address=str(address), short_name=short_name, long_name=long_name, mac=mac)
    assert artnet.decode(packet) == PollReply(
        address=str(address), short_name=short_name, long_name=long_name, port_addresses=given_ports, mac=mac
    )
