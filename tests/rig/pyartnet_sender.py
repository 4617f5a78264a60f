"""Judge: what pyartnet 2.0 would send, by its own code."""

from typing import Any

from pyartnet.base.network import UnicastNetworkTarget
from pyartnet.impl_artnet import ArtNetNode
from pyartnet.impl_sacn import SacnNode

from patcher.trade import UDP_PORTS
from rig.coroutines import finished

HOST = "127.0.0.1"


class Outbox:
    """Stands where pyartnet keeps its socket, and keeps what it would send."""

    def __init__(self) -> None:
        self.packets: list[tuple[bytes, tuple[str, int]]] = []

    def sendto(self, octets: bytes, address: tuple[str, int]) -> None:
        self.packets.append((bytes(octets), address))


def pyartnet_writes(protocol: str, universe: int, levels: bytes, frames: int, sync: object = True, **keys: Any) -> list:
    """So many times the levels of a universe, and a synchronization packet after each (of E1.31 by address `sync`)."""
    port = UDP_PORTS[protocol]  # type: ignore[index]
    kind: Any = SacnNode if protocol == "e131" else ArtNetNode

    async def write() -> list[bytes]:
        node = kind(UnicastNetworkTarget.create(HOST, port), **keys)
        outbox = node._socket = Outbox()
        laid = node.add_universe(universe)
        laid.add_channel(1, len(levels)).set_values(list(levels))
        if sync:
            node.set_synchronous_mode(True, *([sync] if protocol == "e131" else []))
        for _ in range(frames):
            laid.send_data()
            node._send_synchronization()
        await node._process_task.cancel_wait()
        assert {address for _, address in outbox.packets} == {(HOST, port)}
        return [octets for octets, _ in outbox.packets]

    return finished(write())  # type: ignore[no-any-return]
