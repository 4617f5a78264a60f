"""All packets of a stream in one block of memory, a row each: what numpy writes there, the system sends from there.

In every row the slots begin at the same octet, whatever the protocol, so that a frame's levels are one copy; that
octet is a multiple of 64, so that levels can be compared eight at a time. A packet's head lies before it.

No socket and no clock: the rows go out through `datagrams`, when `sender` says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.frames.levels import Levels, Slots
from patcher.trade import CHANNELS, UDP_PORTS, Protocol
from patcher.wire import artnet, e131

STRIDE, SLOTS_AT = 640, 128
"""Octets of a row, and the octet of a row at which slots begin: an E1.31 packet has 126 before them."""
_HEADS: dict[Protocol, int] = {"e131": e131.SLOTS_AT, "artnet": artnet.SLOTS_AT}
SEQUENCE_AT: dict[Protocol, int] = {
    "e131": SLOTS_AT - e131.SLOTS_AT + e131.SEQUENCE_AT,
    "artnet": SLOTS_AT - artnet.SLOTS_AT + artnet.SEQUENCE_AT,
}

Rows = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, order=True)
class Target:
    """Where one universe goes.

    Attributes:
        protocol: how it is packed.
        universe: its number.
        host: an IPv4 address, of a box or of the universe's group.
    """

    protocol: Protocol
    universe: int
    host: str

    @property
    def port(self) -> int:
        """The protocol's UDP port."""
        return UDP_PORTS[self.protocol]


class Packets:
    """A packet for each target, and with synchronization one more for each place that is to be told of it.

    Rows are numbered: E1.31 data, Art-Net data, E1.31 synchronization, Art-Net synchronization.

    Attributes:
        goals: the target of each data row.
        places: host and UDP port of each row.
        octets: the rows: shape (rows, STRIDE).
        begins: octet of its row at which each packet begins.
        lengths: octets of each packet.
        e131: how many data rows are E1.31; those come first.
        sync_universe: what E1.31 receivers are told to wait for; 0: nothing.
    """

    def __init__(self, goals: Sequence[Target], *, cid: bytes, source: str, priority: int, sync: bool) -> None:
        """Dark packets for the goals; one goal may come twice.

        Args:
            goals: where to send.
            cid: of the sender, 16 octets.
            source: the sender's name.
            priority: of the E1.31 streams.
            sync: whether boxes are to wait until a frame is whole.
        """
        # Stable: within a protocol the order of the caller is kept.
        self.goals = sorted(goals, key=lambda goal: goal.protocol != "e131")
        self.e131 = sum(goal.protocol == "e131" for goal in goals)
        streamed = [goal.universe for goal in self.goals[: self.e131]]
        self.sync_universe = min(streamed, default=0) if sync else 0
        packets: list[bytearray] = []
        for goal in self.goals:
            if goal.protocol == "e131":
                universe, sync_universe = goal.universe, self.sync_universe
                packets.append(
                    e131.data_packet(
                        cid=cid, source=source, universe=universe, priority=priority, sync_universe=sync_universe
                    )
                )
            else:
                packets.append(artnet.dmx_packet(port_address=goal.universe))
        told = _told(self.goals, self.sync_universe) if sync else []
        for goal in told:
            if goal.protocol == "e131":
                packets.append(e131.sync_packet(cid=cid, sync_universe=goal.universe, sequence=0))
            else:
                packets.append(artnet.sync_packet())
        self.places = [(goal.host, goal.port) for goal in (*self.goals, *told)]
        protocols = [goal.protocol for goal in (*self.goals, *told)]
        self.begins = np.array([SLOTS_AT - _HEADS[protocol] for protocol in protocols], dtype=np.int64)
        self.lengths = np.array([len(packet) for packet in packets], dtype=np.int64)
        self.octets = np.zeros((len(packets), STRIDE), dtype=np.uint8)
        for row, packet in enumerate(packets):
            begin = int(self.begins[row])
            self.octets[row, begin : begin + len(packet)] = np.frombuffer(packet, dtype=np.uint8)
        data = len(self.goals)
        self._slots = self.octets[:data, SLOTS_AT:]
        self._eights = self.octets.view(np.uint64)[:data, SLOTS_AT // 8 :]
        self._first_eights = self._eights[:, 0]
        # Counted close together and then put in: adding where they stand, a row apart, would wait for each row.
        self._sequences = np.zeros(data, dtype=np.uint8)
        self._sequences[: self.e131] = 255  # so that the first to leave is 0
        self._e131_syncs = np.arange(data, data + sum(goal.protocol == "e131" for goal in told))
        self._artnet_syncs = np.arange(data + len(self._e131_syncs), len(packets))
        self.synchronizes = bool(told)
        self._universes: tuple[int, ...] | None = None
        self._source_rows: Rows | None = None
        self._without: Rows = np.zeros(0, dtype=np.int64)

    def write(self, levels: Levels) -> Mask:
        """Write a frame's levels; returns the data rows that changed. A universe that is not in `levels` goes dark."""
        slots = self._in_rows(levels)
        eights = slots.view(np.uint64)
        # A glance at the first slots tells most of a frame that changes much: the one that takes longest to send.
        changed: Mask = self._first_eights != eights[:, 0]
        if np.count_nonzero(changed) < len(changed):
            alike = np.flatnonzero(~changed)
            changed[alike] = (self._eights[alike] != eights[alike]).any(axis=1)
        self._slots[:] = slots
        return changed

    def _in_rows(self, levels: Levels) -> Slots:
        if levels.universes is not self._universes:
            row_of = {universe: row for row, universe in enumerate(levels.universes)}
            rows = np.array([row_of.get(goal.universe, -1) for goal in self.goals], dtype=np.int64)
            self._without = np.flatnonzero(rows < 0)
            as_they_are = np.array_equal(rows, np.arange(len(levels.universes)))
            self._source_rows = None if as_they_are else rows
            self._universes = levels.universes
        if self._source_rows is None:
            return np.ascontiguousarray(levels.slots, dtype=np.uint8)
        if not levels.universes:
            return np.zeros((len(self.goals), CHANNELS), dtype=np.uint8)
        slots = levels.slots[self._source_rows]
        slots[self._without] = 0
        return slots

    def count_on(self, rows: Rows) -> None:
        """Give the next sequence to these data rows, which rise: E1.31 goes 255, 0, 1; Art-Net 255, 1, 2."""
        if len(rows) == len(self.goals):
            self._count_on("e131", slice(0, self.e131))
            self._count_on("artnet", slice(self.e131, len(self.goals)))
        else:
            own = np.searchsorted(rows, self.e131)
            self._count_on("e131", rows[:own])
            self._count_on("artnet", rows[own:])

    def _count_on(self, protocol: Protocol, rows: Rows | slice) -> None:
        counts = self._sequences[rows]
        if not len(counts):
            return
        if protocol == "artnet":
            counts %= np.uint8(255)
        counts += np.uint8(1)
        self._sequences[rows] = counts
        self.octets[rows, SEQUENCE_AT[protocol]] = counts

    def syncs(self, rows: Rows) -> Rows:
        """The synchronization rows that follow these data rows, which rise; E1.31's get their next sequence."""
        if not self.synchronizes:
            return self._e131_syncs
        own = np.searchsorted(rows, self.e131)
        found = [self._e131_syncs if own else self._e131_syncs[:0]]
        found.append(self._artnet_syncs if own < len(rows) else self._artnet_syncs[:0])
        # E1.31-2018, 6.3.2: the sequence of synchronization packets is counted by itself; it stands at octet 44.
        self.octets[found[0], SLOTS_AT - e131.SLOTS_AT + e131.SYNC_SEQUENCE_AT] += np.uint8(1)
        return np.concatenate(found)

    def terminate(self) -> Rows:
        """Turn the E1.31 data rows into packets that end their streams; returns those rows."""
        for row in range(self.e131):
            e131.set_terminated(memoryview(self.octets[row])[int(self.begins[row]) :])
        return np.arange(self.e131)

    def held(self) -> NDArray[np.uint8]:
        """The data rows as they are now, for `begin_again`."""
        return self.octets[: len(self.goals)].copy()

    def begin_again(self, held: NDArray[np.uint8]) -> None:
        """Make the data rows what they were when they were `held`; their sequences go on with the next `count_on`."""
        self.octets[: len(held)] = held


def _told(goals: Sequence[Target], sync_universe: int) -> list[Target]:
    """Where synchronization goes: to each box once, and to the group of the synchronization universe for all boxes that
    listen to groups.
    """
    group = e131.multicast_group(sync_universe) if sync_universe else ""
    told: dict[Target, None] = {}
    for goal in goals:
        if goal.protocol == "e131":
            in_group = goal.host == e131.multicast_group(goal.universe)
            told[Target("e131", sync_universe, group if in_group else goal.host)] = None
        else:
            told[Target("artnet", 0, goal.host)] = None
    return list(told)
