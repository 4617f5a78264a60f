"""Our E1.31 packets read by other people's code, and theirs by ours.

sacn builds our packets, so that its reading of them is no independent proof: it shows that nothing was spoilt behind
its back, and that its receiver acts as we mean. tshark (test_wire_tshark.py) and pyartnet are independent.
"""

import queue
import socket
from collections.abc import Iterable

import pytest
import sacn
from hypothesis import given
from hypothesis import strategies as st
from pyartnet.base.network import UnicastNetworkTarget
from pyartnet.impl_sacn import SacnNode
from sacn.messages.data_packet import DataPacket
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from patcher.trade import UDP_PORTS
from patcher.wire import e131
from patcher.wire.e131 import Data, Discovery, Sync
from rig.coroutines import finished
from rig.wire_samples import CID, LEVELS, SOURCE, e131_data

universes = st.integers(1, 63999)
octet = st.integers(0, 255)
WAIT = 20.0


@pytest.mark.parametrize("terminated", [False, True])
def test_sacn_reads_our_data(terminated: bool) -> None:
    # Judge: sacn 1.11, not independent
    read = DataPacket.make_data_packet(e131_data(universe=0x1234, sequence=410, terminated=terminated))
    assert (bytes(read.cid), read.sourceName, read.priority, read.universe) == (CID, SOURCE, 100, 0x1234)
    assert (read.sequence, read.syncAddr, read.dmxStartCode) == (154, 0, 0)
    assert (read.option_StreamTerminated, read.option_PreviewData, read.option_ForceSync) == (terminated, False, False)
    assert bytes(read.dmxData) == LEVELS


def test_sacn_reads_our_sync_and_discovery() -> None:
    # Judge: sacn 1.11, not independent
    sync = SyncPacket.make_sync_packet(e131.sync_packet(cid=CID, sync_universe=7962, sequence=67))
    assert (bytes(sync.cid), sync.syncAddr, sync.sequence) == (CID, 7962, 67)
    listed: list[int] = []
    for number, packet in enumerate(e131.discovery_packets(cid=CID, source=SOURCE, universes=range(1300, 0, -1))):
        page = UniverseDiscoveryPacket.make_universe_discovery_packet(packet)
        assert (bytes(page.cid), page.sourceName, page.page, page.lastPage) == (CID, SOURCE, number, 2)
        listed += page.universes
    assert listed == list(range(1, 1301))


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


@given(
    universe=universes,
    priority=st.integers(0, 200),
    sequence=octet,
    terminated=st.booleans(),
    preview=st.booleans(),
    force_sync=st.booleans(),
    sync_universe=st.integers(0, 63999),
    start_code=octet,
    slots=st.binary(min_size=512, max_size=512),
)
def test_we_read_sacns_data(
    universe: int,
    priority: int,
    sequence: int,
    terminated: bool,
    preview: bool,
    force_sync: bool,
    sync_universe: int,
    start_code: int,
    slots: bytes,
) -> None:
    # Judge: sacn 1.11 writes
    packet = DataPacket(
        tuple(CID),
        "Häron",
        universe,
        tuple(slots),
        priority=priority,
        sequence=sequence,
        streamTerminated=terminated,
        previewData=preview,
        forceSync=force_sync,
        sync_universe=sync_universe,
        dmxStartCode=start_code,
    )
    assert e131.decode(bytes(packet.getBytes())) == Data(
        cid=CID,
        source="Häron",
        priority=priority,
        sync_universe=sync_universe,
        sequence=sequence,
        preview=preview,
        terminated=terminated,
        force_sync=force_sync,
        universe=universe,
        start_code=start_code,
        slots=slots,
    )


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


class Outbox:
    """Stands where pyartnet keeps its socket, and keeps what it would send."""

    def __init__(self) -> None:
        self.packets: list[bytes] = []

    def sendto(self, octets: bytes, address: tuple[str, int]) -> None:
        assert address == ("127.0.0.1", UDP_PORTS["e131"])
        self.packets.append(bytes(octets))


def pyartnet_writes(levels: bytes, frames: int, sync_universe: int = 0) -> list[bytes]:
    """What pyartnet's own code sends for universe 7: so many times the levels, and a synchronization after each."""

    async def write() -> list[bytes]:
        node = SacnNode(UnicastNetworkTarget.create("127.0.0.1", UDP_PORTS["e131"]), cid=CID, source_name=SOURCE)
        outbox = node._socket = Outbox()
        universe = node.add_universe(7)
        universe.add_channel(1, len(levels)).set_values(list(levels))
        if sync_universe:
            node.set_synchronous_mode(True, sync_universe)
        for _ in range(frames):
            universe.send_data()
            node._send_synchronization()
        await node._process_task.cancel_wait()
        return outbox.packets

    return finished(write())


def our_data(frames: Iterable[int]) -> list[bytes]:
    return [bytes(e131_data(sequence=frame)) for frame in frames]


def test_pyartnet_writes_the_same_data_packets() -> None:
    # Judge: pyartnet 2.0 writes the same octets, independently; 300 frames take the sequence past 255
    assert pyartnet_writes(LEVELS, frames=300) == our_data(range(300))


def test_pyartnet_writes_the_same_sync_packets() -> None:
    # Judge: pyartnet 2.0 writes the same octets, independently
    packets = pyartnet_writes(LEVELS, frames=300, sync_universe=7962)
    ours = [bytes(e131.sync_packet(cid=CID, sync_universe=7962, sequence=frame)) for frame in range(300)]
    assert packets[1::2] == ours
    data = [e131.decode(packet) for packet in packets[::2]]
    assert all(isinstance(packet, Data) and packet.sync_universe == 7962 for packet in data)


@pytest.mark.parametrize("slots", [2, 30, 510])
def test_we_read_pyartnets_shorter_packets(slots: int) -> None:
    # Judge: pyartnet 2.0 writes only the slots in use
    (packet,) = pyartnet_writes(LEVELS[:slots], frames=1)
    assert len(packet) == 126 + slots
    data = e131.decode(packet)
    assert isinstance(data, Data)
    assert (data.cid, data.source, data.universe, data.slots) == (CID, SOURCE, 7, LEVELS[:slots])
