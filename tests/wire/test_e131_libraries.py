"""Our E1.31 packets read by other people's code, and theirs by ours.

sacn builds our packets, so that its reading of them is no independent proof: it shows that nothing was spoilt behind
its back, and that its receiver acts as we mean. tshark (test_wire_tshark.py) and pyartnet are independent.
"""

import queue
import socket

import pytest
import sacn
from hypothesis import given
from hypothesis import strategies as st
from sacn.messages.data_packet import DataPacket
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from patcher.wire import e131
from patcher.wire.e131 import Data, Discovery, Sync
from rig.pyartnet_sender import pyartnet_writes
from rig.wire_samples import CID, LEVELS, SOURCE, e131_data

universes = st.integers(1, 63999)
octet = st.integers(0, 255)
cids = st.binary(min_size=16, max_size=16)
sources = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=63).filter(
    lambda name: len(name.encode()) <= 63
)
OURS = {"cid": CID, "source_name": SOURCE}
WAIT = 20.0


def test_sacn_receiver_hears_our_stream_begin_and_end() -> None:
    # Judge: sacn 1.11, its receiver on a loopback socket; not independent
    heard: queue.SimpleQueue[object] = queue.SimpleQueue()
    receiver = sacn.sACNreceiver(bind_address="127.0.0.1", bind_port=0)
    port = receiver._handler.socket._socket.getsockname()[1]
    receiver.register_listener("availability", lambda universe, changed: heard.put((universe, changed)))
    for universe in (7, 8):
        receiver.register_listener(
            "universe", lambda packet: heard.put((packet.universe, bytes(packet.dmxData))), universe=universe
        )
    stream, other = bytes(e131_data(universe=7, sequence=1)), bytes(e131_data(universe=8, sequence=1))
    brighter = e131_data(universe=7, sequence=2, levels=bytes([255]) * 512)
    ended = e131_data(universe=7, sequence=3, levels=bytes([255]) * 512, terminated=True)
    receiver.start()
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for packet in (stream, brighter, ended, other):
                sender.sendto(packet, ("127.0.0.1", port))
        # The other universe comes last: what is said of universe 7 before it is said by its packets, not by silence.
        events = [heard.get(timeout=WAIT) for _ in range(6)]
    finally:
        receiver.stop()
    assert events == [
        (7, "available"),
        (7, LEVELS),
        (7, bytes([255]) * 512),
        (7, "timeout"),
        (8, "available"),
        (8, LEVELS),
    ]


@given(st.builds(
    Data, cids, sources, st.integers(0, 200), st.integers(0, 63999), octet, st.booleans(), st.booleans(), st.booleans(),
    universes, octet, st.binary(min_size=512, max_size=512),
))  # fmt: skip
def test_we_read_sacns_data(data: Data) -> None:
    # Judge: sacn 1.11 writes
    packet = DataPacket(
        tuple(data.cid), data.source, data.universe, tuple(data.slots), priority=data.priority, sequence=data.sequence,
        streamTerminated=data.terminated, previewData=data.preview, forceSync=data.force_sync,
        sync_universe=data.sync_universe, dmxStartCode=data.start_code,
    )  # fmt: skip
    assert e131.decode(bytes(packet.getBytes())) == data


@given(st.lists(st.tuples(st.integers(0, 1 << 40), st.binary(max_size=512)), min_size=1, max_size=4), universes)
def test_levels_written_in_place_equal_a_packet_built_afresh(frames: list[tuple[int, bytes]], universe: int) -> None:
    # Judge: sacn 1.11 builds the packet whole from the last frame alone
    packet = e131.data_packet(cid=CID, source=SOURCE, universe=universe)
    for sequence, slots in frames:
        e131.write_levels(packet, sequence, slots)
    whole = DataPacket(tuple(CID), SOURCE, universe, tuple(slots), sequence=sequence % 256)
    assert packet == bytes(whole.getBytes())


@given(sync_universe=universes, sequence=octet)
def test_we_read_sacns_sync(sync_universe: int, sequence: int) -> None:
    # Judge: sacn 1.11 writes
    octets = bytes(SyncPacket(tuple(CID), sync_universe, sequence).getBytes())
    assert e131.decode(octets) == Sync(cid=CID, sequence=sequence, sync_universe=sync_universe)


def test_we_read_sacns_discovery() -> None:
    # Judge: sacn 1.11 writes, and pages
    packets = UniverseDiscoveryPacket.make_multiple_uni_disc_packets(tuple(CID), "Häron", list(range(1, 1301)))
    parts = [range(1, 513), range(513, 1025), range(1025, 1301)]
    assert [e131.decode(bytes(packet.getBytes())) for packet in packets] == [
        Discovery(cid=CID, source="Häron", page=page, last_page=2, universes=tuple(part))
        for page, part in enumerate(parts)
    ]


def test_pyartnet_writes_the_same_data_packets() -> None:
    # Judge: pyartnet 2.0 writes the same octets, independently; 300 frames take the sequence past 255
    assert pyartnet_writes("e131", 7, LEVELS, 300, 0, **OURS) == [e131_data(sequence=n) for n in range(300)]


def test_pyartnet_writes_the_same_sync_packets() -> None:
    # Judge: pyartnet 2.0 writes the same octets, independently
    packets = pyartnet_writes("e131", 7, LEVELS, 300, 7962, **OURS)
    ours = [bytes(e131.sync_packet(cid=CID, sync_universe=7962, sequence=frame)) for frame in range(300)]
    assert packets[1::2] == ours
    data = [e131.decode(packet) for packet in packets[::2]]
    assert all(isinstance(packet, Data) and packet.sync_universe == 7962 for packet in data)


@pytest.mark.parametrize("slots", [2, 30, 510])
def test_we_read_pyartnets_shorter_packets(slots: int) -> None:
    # Judge: pyartnet 2.0 writes only the slots in use
    (packet,) = pyartnet_writes("e131", 7, LEVELS[:slots], 1, 0, **OURS)
    assert len(packet) == 126 + slots
    data = e131.decode(packet)
    assert isinstance(data, Data)
    assert (data.cid, data.source, data.universe, data.slots) == (CID, SOURCE, 7, LEVELS[:slots])
