"""One simulated box: which universes it holds, and whose packets it takes. No socket, no clock: time is given.

Of an E1.31 universe the sources with the highest priority count; packets out of order are dropped; a source that ends
its stream, or is silent for 2.5 s, is gone, and a universe without sources is dark. An Art-Net universe keeps what came
last. Nothing is merged. Both wait for synchronization packets where the sender uses them (`sync.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from patcher.frames.levels import Slots
from patcher.trade import CHANNELS, NETWORK_DATA_LOSS
from patcher.wire import artnet, e131
from patcher.wire.malformed import Malformed
from patcher.yard.sync import ArtSync, StreamSync

REMEMBERED, A_UNIVERSE = 256, 4
"""Packet heads that a box remembers having read, and how many more for each of its universes."""
MOST_ASKED = 64
"""Questions who is there that wait for an answer; more are ignored."""
MOST_SOURCES = 16
"""Sources that a box keeps apart in one universe. Those of a higher priority take the place of lower ones."""
NOT_ITS_UNIVERSE = "of universes that it has no pixels in"
WHY_NOT_ITS = (
    "Packets of other universes are no mistake of verify, diagnose or phone: those send to the universes beside a "
    "box's own too, for a start may be typed in wrongly."
)
NO_LEVELS = "without levels to show"
TOO_MANY_SOURCES = "of more sources than it keeps apart"
TOO_MANY_ADDRESSES = "with more synchronization addresses than it keeps apart"

Packet = e131.Data | e131.Sync | e131.Discovery | artnet.Dmx | artnet.Sync | artnet.Poll | artnet.PollReply | Malformed


@dataclass(slots=True)
class _Source:
    priority: int
    sequence: int
    heard: float


@dataclass
class SimulatedBox:
    """What a box has received.

    Attributes:
        name: the controller's name.
        protocol: what it listens to.
        universes: which universes, rising.
        slots: what it holds of them, a row of 512 each.
        counts: packets taken, and left aside by reason.
        changed: rows of `slots` that were set since this was last emptied.
        overwrites: called before a row in `changed` is set again, so that nothing goes by unseen.
        on: whether it has power; without it takes nothing.
        asked: who asked, by ArtPoll, whether it is there, as address:port; whoever answers them empties this.
    """

    name: str
    protocol: str
    universes: tuple[int, ...]
    slots: Slots = field(init=False)
    counts: dict[str, int] = field(default_factory=dict)
    changed: set[int] = field(default_factory=set)
    overwrites: Callable[[], None] | None = None
    on: bool = True
    asked: list[str] = field(default_factory=list)
    _sources: dict[int, dict[bytes, _Source]] = field(default_factory=dict)
    _heads: dict[bytes, e131.Data | artnet.Dmx] = field(default_factory=dict)
    _oldest: float = float("inf")

    def __post_init__(self) -> None:
        # One dark slot stands behind them all: what is in none of the universes is looked up there.
        self._octets = bytearray(len(self.universes) * CHANNELS + 1)
        self.octets = np.frombuffer(self._octets, dtype=np.uint8)
        self.slots = self.octets[:-1].reshape(len(self.universes), CHANNELS)
        self._row = {universe: row for row, universe in enumerate(self.universes)}
        self.stream_sync = StreamSync()
        self.art_sync = ArtSync()

    def _count(self, what: str) -> None:
        self.counts[what] = self.counts.get(what, 0) + 1

    def receive(self, octets: bytes, sender: str, now: float) -> None:
        """Take a datagram in."""
        if not self.on:
            return
        packet, sequence, slots = self._read(octets)
        match packet:
            case e131.Data():
                self._e131(packet, sequence, slots, now)
            case artnet.Dmx():
                self._artnet(packet, sequence, slots, sender, now)
            case e131.Sync():
                self._count("synchronization")
                self._show(self.stream_sync.released(packet, now))
            case artnet.Sync():
                self._count("synchronization")
                self._show(self.art_sync.released(sender, now))
            case artnet.Poll() if len(self.asked) < MOST_ASKED:
                self._count("that asked who is there")
                self.asked.append(sender)
            case Malformed():
                self._count("malformed")
            case _:
                self._count("other")

    def _read(self, octets: bytes) -> tuple[Packet, int, bytes]:
        """A packet, with its sequence and slots beside it: what these are does not change how a full packet is read, so
        the rest of it is decoded once.
        """
        if self.protocol == "e131":
            at, begin = e131.SEQUENCE_AT, e131.SLOTS_AT
        else:
            at, begin = artnet.SEQUENCE_AT, artnet.SLOTS_AT
        full = len(octets) == begin + CHANNELS
        head, sequence, slots = octets[:at] + octets[at + 1 : begin], octets[at : at + 1], octets[begin:]
        if full and (known := self._heads.get(head)) is not None:
            return known, sequence[0], slots
        read: Packet = e131.decode(octets) if self.protocol == "e131" else artnet.decode(octets)
        if not isinstance(read, e131.Data | artnet.Dmx):
            return read, 0, b""
        if full and len(read.slots) == CHANNELS:
            if len(self._heads) >= REMEMBERED + A_UNIVERSE * len(self.universes):
                self._heads.clear()
            self._heads[head] = replace(read, slots=b"")
        return read, read.sequence, read.slots

    def _e131(self, packet: e131.Data, sequence: int, slots: bytes, now: float) -> None:
        row = self._row.get(packet.universe)
        if row is None:
            self._count(NOT_ITS_UNIVERSE)
            return
        if packet.start_code != 0 or packet.preview:
            self._count(NO_LEVELS)
            return
        sources = self._sources.setdefault(packet.universe, {})
        refused = self._refused(packet, sources, sequence, now)
        self._count(refused or "taken")
        if refused:
            return
        if packet.terminated:
            sources.pop(packet.cid, None)
            self._dark_without_sources(packet.universe)
            return
        if packet.sync_universe:
            held = self.stream_sync.holds(packet, row, slots, now)
            if held is None:
                self._count(TOO_MANY_ADDRESSES)
            if held:
                return
        self.stream_sync.drop(row)
        self._set(row, slots)

    def _refused(self, packet: e131.Data, sources: dict[bytes, _Source], sequence: int, now: float) -> str | None:
        """Why a packet is not taken, by its sequence and by what else its universe gets; None where it is."""
        known = sources.get(packet.cid)
        if known is None or len(sources) > 1 or now - known.heard > NETWORK_DATA_LOSS:
            self._forget_silent(sources, now)
            known = sources.get(packet.cid)
        if known is not None and e131.out_of_order(known.sequence, sequence):
            return "out of order"
        if packet.terminated:
            return None
        if known is None:
            if len(sources) >= MOST_SOURCES and not _give_way(sources, packet.priority):
                return TOO_MANY_SOURCES
            sources[packet.cid] = _Source(packet.priority, sequence, now)
            self._oldest = min(self._oldest, now)
        else:
            known.priority, known.sequence, known.heard = packet.priority, sequence, now
        if len(sources) > 1 and packet.priority < max(source.priority for source in sources.values()):
            return "lower priority"
        return None

    def _artnet(self, packet: artnet.Dmx, sequence: int, slots: bytes, sender: str, now: float) -> None:
        row = self._row.get(packet.port_address)
        if row is None:
            self._count(NOT_ITS_UNIVERSE)
            return
        sources, name = self._sources.setdefault(packet.port_address, {}), sender.encode()
        known = sources.get(name)
        if known is not None and artnet.out_of_order(known.sequence, sequence):
            self._count("out of order")
            return
        if known is None and len(sources) >= MOST_SOURCES:
            self._forget_silent(sources, now)
            if len(sources) >= MOST_SOURCES:
                self._count(TOO_MANY_SOURCES)
                return
        sources[name] = _Source(0, sequence, now)
        self._count("taken")
        if not self.art_sync.holds(sender, row, slots, now):
            self._set(row, slots)

    def _show(self, held: dict[int, bytes]) -> None:
        for row, slots in held.items():
            self._set(row, slots)

    def _set(self, row: int, slots: bytes) -> None:
        if row in self.changed and self.overwrites:
            self.overwrites()
        self.changed.add(row)
        at = row * CHANNELS
        self._octets[at : at + len(slots)] = slots

    def _dark_without_sources(self, universe: int) -> None:
        if not self._sources.get(universe):
            row = self._row[universe]
            self.stream_sync.drop(row)
            self._set(row, bytes(CHANNELS))

    def _forget_silent(self, sources: dict[bytes, _Source], now: float) -> bool:
        silent = [cid for cid, source in sources.items() if now - source.heard > NETWORK_DATA_LOSS]
        for cid in silent:
            del sources[cid]
        return bool(silent)

    def expire(self, now: float) -> None:
        """Let time go on: forget E1.31 sources that have been silent too long, and show what has waited too long for a
        synchronization packet.
        """
        if self.protocol != "e131":
            self._show(self.art_sync.expired(now))
            return
        self._show(self.stream_sync.expired(now))
        if now - self._oldest <= NETWORK_DATA_LOSS:
            return
        for universe, sources in self._sources.items():
            if self._forget_silent(sources, now):
                self._dark_without_sources(universe)
        heard = [source.heard for sources in self._sources.values() for source in sources.values()]
        self._oldest = min(heard, default=float("inf"))

    def switch(self, *, on: bool) -> None:
        """Take its power, or give it back: it is dark then, and knows of no source."""
        self.on = on
        self._sources.clear()
        self._oldest = float("inf")
        self.stream_sync, self.art_sync = StreamSync(), ArtSync()
        for row in range(len(self.universes)):
            self._set(row, bytes(CHANNELS))


def _give_way(sources: dict[bytes, _Source], priority: int) -> bool:
    """Forget a source of a lower priority, if there is one."""
    lowest = min(sources, key=lambda cid: sources[cid].priority)
    if sources[lowest].priority >= priority:
        return False
    del sources[lowest]
    return True
