"""One simulated box: which universes it holds, and whose packets it takes. No socket, no clock: time is given.

Of an E1.31 universe the sources with the highest priority count; packets out of order are dropped; a source that ends
its stream, or is silent for 2.5 s, is gone, and a universe without sources is dark. An Art-Net universe keeps what came
last.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from patcher.stream.levels import Slots
from patcher.wire import artnet, e131
from patcher.wire.malformed import Malformed


@dataclass
class _Source:
    priority: int
    sequence: int
    heard: float


@dataclass
class Box:
    """What a box has received.

    Attributes:
        name: the controller's name.
        protocol: what it listens to.
        universes: which universes, rising.
        slots: what it holds of them, a row of 512 each.
        counts: packets taken, and left aside by reason.
    """

    name: str
    protocol: str
    universes: tuple[int, ...]
    slots: Slots = field(init=False)
    counts: dict[str, int] = field(default_factory=dict)
    _sources: dict[int, dict[bytes, _Source]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.slots = np.zeros((len(self.universes), e131.SLOTS), dtype=np.uint8)
        self._row = {universe: row for row, universe in enumerate(self.universes)}

    def _count(self, what: str) -> None:
        self.counts[what] = self.counts.get(what, 0) + 1

    def receive(self, octets: bytes, sender: str, now: float) -> int | None:
        """Take a datagram in; the universe whose slots it set, or None."""
        packet = (e131 if self.protocol == "e131" else artnet).decode(octets)
        match packet:
            case Malformed():
                self._count("malformed")
            case e131.Data():
                return self._e131(packet, now)
            case artnet.Dmx():
                return self._artnet(packet, sender.encode(), now)
            case _:
                self._count("other")
        return None

    def _e131(self, packet: e131.Data, now: float) -> int | None:
        row = self._row.get(packet.universe)
        if row is None or packet.start_code != 0 or packet.preview:
            self._count("not for it")
            return None
        sources = self._sources.setdefault(packet.universe, {})
        self._forget_silent(sources, now)
        known = sources.get(packet.cid)
        if known is not None and e131.out_of_order(known.sequence, packet.sequence):
            self._count("out of order")
            return None
        if packet.terminated:
            self._count("taken")
            sources.pop(packet.cid, None)
            return self._dark_without_sources(packet.universe)
        sources[packet.cid] = _Source(packet.priority, packet.sequence, now)
        if packet.priority < max(source.priority for source in sources.values()):
            self._count("lower priority")
            return None
        self._set(row, packet.slots)
        return packet.universe

    def _artnet(self, packet: artnet.Dmx, sender: bytes, now: float) -> int | None:
        row = self._row.get(packet.port_address)
        if row is None:
            self._count("not for it")
            return None
        sources = self._sources.setdefault(packet.port_address, {})
        known = sources.get(sender)
        if known is not None and artnet.out_of_order(known.sequence, packet.sequence):
            self._count("out of order")
            return None
        sources[sender] = _Source(0, packet.sequence, now)
        self._set(row, packet.slots)
        return packet.port_address

    def _set(self, row: int, slots: bytes) -> None:
        self._count("taken")
        self.slots[row, : len(slots)] = np.frombuffer(slots, dtype=np.uint8)

    def _dark_without_sources(self, universe: int) -> int | None:
        if self._sources.get(universe):
            return None
        self.slots[self._row[universe]] = 0
        return universe

    def _forget_silent(self, sources: dict[bytes, _Source], now: float) -> bool:
        silent = [cid for cid, source in sources.items() if now - source.heard > e131.NETWORK_DATA_LOSS_TIMEOUT]
        for cid in silent:
            del sources[cid]
        return bool(silent)

    def expire(self, now: float) -> Iterable[int]:
        """Forget E1.31 sources that have been silent too long; the universes that went dark by it."""
        if self.protocol != "e131":
            return []
        gone = []
        for universe, sources in self._sources.items():
            if self._forget_silent(sources, now) and self._dark_without_sources(universe) is not None:
                gone.append(universe)
        return gone
