"""Our Art-Net packets read by other people's code, and theirs by ours. All of it is independent of ours."""

import importlib
import queue
import socket
import threading
from collections.abc import Callable, Iterator
from types import SimpleNamespace

import pytest
from stupidArtnet import StupidArtnet

from patcher.wire import artnet
from patcher.wire.artnet import Dmx, Sync
from rig.pyartnet_sender import pyartnet_writes
from rig.wire_samples import LEVELS, artnet_dmx

WAIT = 20.0


@pytest.fixture
def inbox() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(WAIT)
        yield receiver


@pytest.mark.parametrize("port_address", [0, 1, 256, 0x1234, 32767])
@pytest.mark.parametrize("slots", [2, 170, 512])
def test_we_read_stupidartnets_dmx_and_sync(inbox: socket.socket, port_address: int, slots: int) -> None:
    # Judge: stupidArtnet 1.6 writes and sends, on the loopback
    port = inbox.getsockname()[1]
    sender = StupidArtnet("127.0.0.1", universe=port_address, packet_size=slots, artsync=True, port=port)
    try:
        sender.set(bytearray(LEVELS[:slots]))
        sender.show()
    finally:
        sender.close()
    assert artnet.decode(inbox.recv(2048)) == Dmx(port_address=port_address, sequence=0, slots=LEVELS[:slots])
    assert artnet.decode(inbox.recv(2048)) == Sync()


def test_we_split_port_addresses_as_stupidartnet_does(inbox: socket.socket) -> None:
    # Judge: stupidArtnet 1.6 puts net 0x12, sub-net 3 and universe 4 together
    sender = StupidArtnet("127.0.0.1", port=inbox.getsockname()[1])
    try:
        sender.set_simplified(False)
        sender.set_net(0x12)
        sender.set_subnet(3)
        sender.set_universe(4)
        sender.show()
    finally:
        sender.close()
    dmx = artnet.decode(inbox.recv(2048))
    assert isinstance(dmx, Dmx)
    assert dmx.port_address == 0x1234


@pytest.fixture
def stupid_server(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[object, int]]:
    """stupidArtnet's receiver and its UDP port, on a thread that can be joined."""
    module = importlib.import_module("stupidArtnet.StupidArtnetServer")
    threads: list[threading.Thread] = []

    def start_new_thread(function: Callable[..., None], args: tuple[object, ...]) -> None:
        threads.append(threading.Thread(target=function, args=args, daemon=True))
        threads[-1].start()

    monkeypatch.setattr(module, "_thread", SimpleNamespace(start_new_thread=start_new_thread))
    server = module.StupidArtnetServer(port=0)
    port, pause = 0, threading.Event()
    for _ in range(int(WAIT / 0.01)):
        # It makes and binds its socket on its own thread, and tells nobody.
        port = server.socket_server.getsockname()[1] if server.socket_server else 0
        if port:
            break
        pause.wait(0.01)
    assert port
    yield server, port
    server.close()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as waker:
        waker.sendto(b"", ("127.0.0.1", port))
    threads[0].join(WAIT)
    server.socket_server.close()


def test_stupidartnet_reads_our_dmx(stupid_server: tuple[object, int]) -> None:
    # Judge: stupidArtnet 1.6 receives, on the loopback: the Port-Address, the slots, and that our sequence never
    # looks old to it, though it wraps
    server, port = stupid_server
    heard: queue.SimpleQueue[tuple[int, bytes]] = queue.SimpleQueue()
    for net, sub_net, universe in [(0x12, 3, 4), (0x12, 3, 5)]:
        server.register_listener(  # type: ignore[attr-defined]
            universe, sub_net, net, False, lambda slots, address: heard.put((address, bytes(slots)))
        )
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for frame in range(300):
            levels = LEVELS[frame:] + LEVELS[:frame]
            sender.sendto(artnet_dmx(port_address=0x1234, sequence=frame, levels=levels), ("127.0.0.1", port))
            assert heard.get(timeout=WAIT) == (0x1234, levels)
        sender.sendto(artnet_dmx(port_address=0x1235, sequence=0), ("127.0.0.1", port))
        assert heard.get(timeout=WAIT) == (0x1235, LEVELS)


@pytest.mark.parametrize("port_address", [0, 1, 256, 0x1234, 32767])
def test_pyartnet_writes_the_same_packets(port_address: int) -> None:
    # Judge: pyartnet 2.0 writes the same octets; 300 frames take the sequence past 255
    packets = pyartnet_writes("artnet", port_address, LEVELS, frames=300)
    assert packets[::2] == [artnet_dmx(port_address=port_address, sequence=frame) for frame in range(300)]
    assert packets[1::2] == [artnet.sync_packet()] * 300


@pytest.mark.parametrize("slots", [2, 30, 510])
def test_we_read_pyartnets_shorter_packets(slots: int) -> None:
    # Judge: pyartnet 2.0 writes only the slots in use
    dmx, sync = pyartnet_writes("artnet", 3, LEVELS[:slots], frames=1)
    assert len(dmx) == 18 + slots
    assert artnet.decode(dmx) == Dmx(port_address=3, sequence=1, slots=LEVELS[:slots])
    assert artnet.decode(sync) == Sync()
