"""Who sends what: datagrams and times in, streams and their counts out. No socket, no clock.

A *stream* is one universe from one source. It lives from its first packet until it says that it ends, or has been
silent for 2.5 s; then it is *terminated* or *gone*, and is remembered for the report until the room is needed. So is
all else that is heard. Memory is bounded: what there is no room for is counted and left aside.
"""

from __future__ import annotations

import uuid
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from patcher.listener.heard import Announced, Heard, Node, State, Stream, Synchronization
from patcher.listener.packet_counts import Order, Rate
from patcher.trade import DISCOVERY_INTERVAL, NETWORK_DATA_LOSS, Protocol
from patcher.wire import artnet, e131
from patcher.wire.malformed import Malformed

MOST_STREAMS = 20_000
MOST_NODES = 2_000
MOST_SOURCES = 2_000
MOST_PAGES = 2_000
"""Pages of universe discovery, of up to 512 universes each: 125 of them name all universes that there are."""
MOST_PORT_ADDRESSES = 20_000
"""Port-Addresses of all nodes together."""
MOST_REASONS = 5
ANNOUNCED_AGAIN = 2.5 * DISCOVERY_INTERVAL
"""Seconds after which a source has missed two announcements. Own choice."""
T = TypeVar("T")


_Key = tuple[Protocol, int, bytes, str]


@dataclass(slots=True)
class _Stream:
    packet: e131.Data | artnet.Dmx
    port: int
    order: Order
    rate: Rate
    began: float
    heard: float
    packets: int = 1
    terminated: bool = False
    slots: bytes = b""

    def state(self, now: float) -> State:
        if self.terminated:
            return "terminated"
        return "gone" if now - self.heard > NETWORK_DATA_LOSS else "live"

    def lives(self, now: float) -> bool:
        return self.state(now) == "live"


@dataclass(slots=True)
class _Sync:
    rate: Rate
    heard: float
    packets: int = 1

    def lives(self, now: float) -> bool:
        return now - self.heard <= NETWORK_DATA_LOSS


@dataclass(slots=True)
class _Pages:
    source_name: str
    heard: float
    pages: dict[int, array[int]] = field(default_factory=dict)

    def universes(self) -> set[int]:
        return {universe for page in self.pages.values() for universe in page}

    def lives(self, now: float) -> bool:
        return now - self.heard <= ANNOUNCED_AGAIN


@dataclass(slots=True)
class _Node:
    heard: float
    short_name: str = ""
    long_name: str = ""
    mac: bytes = b""
    port_addresses: set[int] = field(default_factory=set)

    def lives(self, now: float) -> bool:
        return now - self.heard <= ANNOUNCED_AGAIN


class Listening:
    """Takes datagrams in, and says at any time who sends what."""

    def __init__(self, most: int = MOST_STREAMS) -> None:
        """Nothing heard yet; `most` streams are kept apart."""
        self._most = most
        self._streams: dict[_Key, _Stream] = {}
        self._syncs: dict[tuple[Protocol, int, bytes, str], _Sync] = {}
        self._sources: dict[tuple[bytes, str], _Pages] = {}
        self._nodes: dict[str, _Node] = {}
        self._pages = self._port_addresses = 0
        self._swept: dict[int, float] = {}
        self._announced: set[int] | None = set()
        self.malformed = 0
        self.left_aside = 0
        self._reasons: dict[str, None] = {}

    def receive(self, octets: bytes, protocol: Protocol, sender: str, now: float) -> None:
        """A datagram arrives.

        Args:
            octets: its UDP payload.
            protocol: whose port it came to.
            sender: where from, as address:port.
            now: seconds of a clock that only rises.
        """
        address, _, port = sender.rpartition(":")
        packet = (e131 if protocol == "e131" else artnet).decode(octets)
        match packet:
            case Malformed(why=why):
                self.malformed += 1
                if len(self._reasons) < MOST_REASONS:
                    self._reasons[why] = None
            case e131.Data():
                self._stream(("e131", packet.universe, packet.cid, address), packet, int(port), packet.sequence, now)
            case artnet.Dmx():
                key: _Key = ("artnet", packet.port_address, b"", sender)
                self._stream(key, packet, int(port), packet.sequence, now)
            case e131.Sync():
                self._sync(("e131", packet.sync_universe, packet.cid, address), now)
            case artnet.Sync():
                self._sync(("artnet", 0, b"", address), now)
            case e131.Discovery():
                self._announce(packet, address, now)
            case artnet.PollReply():
                self._node(packet, address, now)

    def _stream(self, key: _Key, packet: e131.Data | artnet.Dmx, port: int, number: int, now: float) -> None:
        known = self._streams.get(key)
        ends = isinstance(packet, e131.Data) and packet.terminated
        if known is None:
            if not self._room(lambda: len(self._streams) >= self._most, self._streams, _Stream.lives, now):
                return
            circle = 256 if key[0] == "e131" else 255
            known = self._streams[key] = _Stream(packet, port, Order(circle, number), Rate(now), now, now)
        elif not self._goes_on(known, number, ends, now):
            return
        known.rate.count(now)
        known.packet, known.port, known.heard, known.terminated = packet, port, now, ends
        if isinstance(packet, artnet.Dmx) or (packet.start_code == 0 and not ends):
            known.slots = packet.slots

    def _goes_on(self, known: _Stream, number: int, ends: bool, now: float) -> bool:
        """Count a packet of a stream that is known; whether a box would take it."""
        known.packets += 1
        if ends or known.state(now) == "live":
            if known.order.take(number):
                return True
            known.rate.count(now)
            return False
        if known.terminated and now - known.heard <= NETWORK_DATA_LOSS and known.order.is_behind(number):
            known.order.late += 1
            return False
        known.order.begin(number)
        known.began, known.rate = now, Rate(now)
        return True

    def _room(
        self, full: Callable[[], bool], kept: dict[Any, T], stays: Callable[[T, float], bool], now: float
    ) -> bool:
        """Whether there is room for more; if need be what has ended is forgotten. What finds none is counted.

        That is looked for at most once a second, for the search takes its time.
        """
        if full() and now - self._swept.get(id(kept), float("-inf")) >= 1.0:
            self._swept[id(kept)] = now
            for key in [key for key, value in kept.items() if not stays(value, now)]:
                del kept[key]
            self._pages = sum(len(source.pages) for source in self._sources.values())
            self._port_addresses = sum(len(node.port_addresses) for node in self._nodes.values())
            self._announced = None
        room = not full()
        self.left_aside += not room
        return room

    def _sync(self, key: tuple[Protocol, int, bytes, str], now: float) -> None:
        known = self._syncs.get(key)
        if known is not None:
            known.packets, known.heard = known.packets + 1, now
        elif self._room(lambda: len(self._syncs) >= MOST_SOURCES, self._syncs, _Sync.lives, now):
            known = self._syncs[key] = _Sync(Rate(now), now)
        else:
            return
        known.rate.count(now)

    def _announce(self, packet: e131.Discovery, address: str, now: float) -> None:
        key = (packet.cid, address)
        known = self._sources.get(key)
        if known is None or packet.page not in known.pages:
            if not self._room(
                lambda: (
                    self._pages >= MOST_PAGES or (key not in self._sources and len(self._sources) >= MOST_SOURCES)
                ),
                self._sources, _Pages.lives, now,
            ):  # fmt: skip
                return
            known = self._sources.setdefault(key, _Pages("", now))
        known.source_name, known.heard = packet.source, now
        before, listed = len(known.pages), array("H", packet.universes)
        if known.pages.get(packet.page) != listed or max(known.pages) > packet.last_page:
            known.pages[packet.page] = listed
            known.pages = {page: listed for page, listed in known.pages.items() if page <= packet.last_page}
            self._announced = None
        self._pages += len(known.pages) - before

    def _node(self, reply: artnet.PollReply, address: str, now: float) -> None:
        known = self._nodes.get(address, _Node(now))
        known.heard = now
        known.short_name, known.long_name, known.mac = reply.short_name, reply.long_name, reply.mac
        new = set(reply.port_addresses) - known.port_addresses
        if self._room(
            lambda: (
                self._port_addresses + len(new) > MOST_PORT_ADDRESSES
                or (address not in self._nodes and len(self._nodes) >= MOST_NODES)
            ),
            self._nodes, _Node.lives, now,
        ):  # fmt: skip
            self._nodes[address] = known
            known.port_addresses |= new
            self._port_addresses += len(new)

    def named(self) -> list[int]:
        """The universes that E1.31 sources announce, or whose synchronization packets they wait for; rising."""
        if self._announced is None:
            self._announced = {universe for pages in self._sources.values() for universe in pages.universes()}
        packets = [stream.packet for stream in self._streams.values()]
        waited_for = {packet.sync_universe for packet in packets if isinstance(packet, e131.Data)}
        return sorted(self._announced | (waited_for - {0}))

    def heard(self, now: float) -> Heard:
        """All of it, up to now."""
        streams = [self._seen(key, stream, now) for key, stream in self._streams.items()]
        syncs = [
            Synchronization(protocol, universe, _cid(cid), sender, sync.rate.at(now), sync.packets, sync.lives(now))
            for (protocol, universe, cid, sender), sync in self._syncs.items()
        ]
        announced = [
            Announced(printable(pages.source_name), _cid(cid), address, tuple(sorted(pages.universes())))
            for (cid, address), pages in self._sources.items()
        ]
        nodes = [
            Node(address, printable(node.short_name), printable(node.long_name), tuple(sorted(node.port_addresses)),
                 node.mac.hex(":"))
            for address, node in sorted(self._nodes.items())
        ]  # fmt: skip
        streams.sort(
            key=lambda each: (each.universe, each.protocol != "e131", each.source_name, each.address, each.port)
        )
        return Heard(
            tuple(streams), tuple(syncs), tuple(announced), tuple(nodes),
            self.malformed, tuple(self._reasons), self.left_aside,
        )  # fmt: skip

    def _seen(self, key: _Key, stream: _Stream, now: float) -> Stream:
        protocol, universe, cid, sender = key
        packet, order = stream.packet, stream.order
        address, name, priority, sync, preview, force = sender, "", None, 0, False, False
        if isinstance(packet, e131.Data):
            name, priority, sync = printable(packet.source), packet.priority, packet.sync_universe
            preview, force = packet.preview, packet.force_sync
        else:
            address = sender.rpartition(":")[0]
            node = self._nodes.get(address)
            name = printable(node.short_name) if node else ""
        return Stream(
            protocol, universe, name, _cid(cid), address, stream.port, priority, sync, order.last, preview, force,
            stream.state(now), stream.rate.at(now), stream.packets, order.lost, order.late, order.repeated,
            order.restarts, stream.began, stream.heard, stream.slots,
        )  # fmt: skip


def _cid(octets: bytes) -> str:
    return str(uuid.UUID(bytes=octets)) if octets else ""


def printable(text: str) -> str:
    """A name from the network, fit for a terminal: what cannot be printed becomes U+FFFD."""
    return "".join(letter if letter.isprintable() else "�" for letter in text).strip()
