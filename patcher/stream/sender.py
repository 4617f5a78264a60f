"""Levels onto the network: E1.31 and Art-Net packets, built once a universe and patched in place.

However a stream ends, its lamps end dark: `close` sends dark frames and then ends each E1.31 stream as the standard
asks, with three packets that say so.
"""

from __future__ import annotations

import socket
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import TracebackType
from typing import Literal

import numpy as np

from patcher.address.patch import Patch
from patcher.errors import refuse
from patcher.show.schema import Show
from patcher.stream.levels import Levels, Slots
from patcher.wire import artnet, e131

ENDINGS = 3
"""Packets that end a stream. From memory: ANSI E1.31-2018, 6.2.6, three with Stream_Terminated."""


@dataclass(frozen=True, slots=True, order=True)
class Target:
    """Where one universe goes.

    Attributes:
        protocol: how it is packed.
        universe: its number.
        host: an IPv4 address, of a box or of the universe's group.
    """

    protocol: Literal["e131", "artnet"]
    universe: int
    host: str

    @property
    def port(self) -> int:
        """The protocol's UDP port."""
        return e131.PORT if self.protocol == "e131" else artnet.PORT


def box_universes(patch: Patch) -> dict[str, list[int]]:
    """The universes that each box has pixels in, rising."""
    found: dict[str, set[int]] = {}
    for start in patch.starts:
        found.setdefault(start.controller, set()).update(start.universes)
    return {box: sorted(universes) for box, universes in found.items()}


def targets(show: Show, patch: Patch, boxes: Iterable[str], hosts: Mapping[str, str]) -> list[Target]:
    """Where each universe of some boxes goes, each place once.

    Args:
        show: the show.
        patch: its patch.
        boxes: names of controllers.
        hosts: an address for boxes that are not to be sent to by their own.
    """
    found: set[Target] = set()
    every = box_universes(patch)
    for box in boxes:
        controller = show.controllers[box]
        for universe in every.get(box, ()):
            host = hosts.get(box)
            if host is None and controller.delivery == "multicast":
                host = e131.multicast_group(universe)
            host = host or controller.address
            if host is None:
                raise refuse(f"controller.{box}.address", "is missing", "write the address set in the box")
            found.add(Target(controller.protocol, universe, host))
    return sorted(found)


class Sender:
    """A stream to some targets.

    Use it in a `with` block: leaving it, by whatever way, leaves the lamps dark and the streams ended.

    Attributes:
        packets: how many have left.
        unreachable: hosts that could not be sent to, with the system's reason.
    """

    def __init__(
        self, goals: Iterable[Target], *, priority: int = 100, interface: str | None = None, source: str = "Patcher"
    ) -> None:
        """Open the socket.

        Args:
            goals: where to send.
            priority: of the E1.31 streams, 0 to 200.
            interface: the address of this machine from which to send; on a loopback address nothing leaves the machine.
            source: the name that E1.31 receivers see.

        Raises:
            PatcherError: this machine has no such address.
        """
        cid = uuid.uuid4().bytes
        self.packets = 0
        self.unreachable: dict[str, str] = {}
        self._frame = 0
        self._outlets = [(goal, _packet(goal, cid, source, priority)) for goal in goals]
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        if interface is not None:
            try:
                self._socket.bind((interface, 0))
                self._socket.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(interface))
            except OSError:
                self._socket.close()
                says = f"this machine has no address {interface}"
                raise refuse("--interface", says, "name one of its own, as ip address shows them") from None
            if interface.startswith("127."):
                self._socket.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 0)

    def __enter__(self) -> Sender:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def send(self, levels: Levels) -> None:
        """One frame: every universe's slots to its targets; a universe that `levels` has not is sent dark."""
        row_of = {universe: row for row, universe in enumerate(levels.universes)}
        dark = bytes(e131.SLOTS)
        for goal, packet in self._outlets:
            row = row_of.get(goal.universe)
            slots = dark if row is None else levels.slots[row].tobytes()
            wire = e131 if goal.protocol == "e131" else artnet
            wire.write_levels(packet, self._frame, slots)
            self._out(goal, packet)
        self._frame += 1

    def _out(self, goal: Target, packet: bytearray) -> None:
        try:
            self._socket.sendto(packet, (goal.host, goal.port))
            self.packets += 1
        except OSError as error:
            self.unreachable.setdefault(goal.host, error.strerror or str(error))

    def close(self) -> None:
        """Send dark frames, end the E1.31 streams, close the socket; once only."""
        if self._socket.fileno() < 0:
            return
        try:
            dark = Levels((), _no_slots())
            for _ in range(ENDINGS):
                self.send(dark)
            for goal, packet in self._outlets:
                if goal.protocol == "e131":
                    e131.set_terminated(packet)
            self._outlets = [outlet for outlet in self._outlets if outlet[0].protocol == "e131"]
            for _ in range(ENDINGS):
                self.send(dark)
        finally:
            self._socket.close()


def _no_slots() -> Slots:
    return np.zeros((0, e131.SLOTS), dtype=np.uint8)


def _packet(goal: Target, cid: bytes, source: str, priority: int) -> bytearray:
    if goal.protocol == "e131":
        return e131.data_packet(cid=cid, source=source, universe=goal.universe, priority=priority)
    return artnet.dmx_packet(port_address=goal.universe)


def percentile(late: list[float], part: float) -> float:
    """Milliseconds by which at most that part of the frames was late."""
    return round(sorted(late)[min(len(late) - 1, int(part * len(late)))] * 1000, 3) if late else 0.0
