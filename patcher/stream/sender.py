"""Sends levels as E1.31 and Art-Net packets: on time, and no more of them than the boxes need.

However a stream ends, its pixels end dark: `close` sends dark frames and then ends each E1.31 stream as the standard
asks, with three packets that say so. They are spread over a quarter of a second, for the network may be out for a
moment just then. Another thread can ask for the same, for good (`end`) or for a while (`rest`); see `blackout`.
"""

from __future__ import annotations

import os
import socket
import time
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress

import numpy as np

from patcher.errors import refuse
from patcher.frames.levels import Levels
from patcher.patch.patch import Patch
from patcher.show.schema import Show
from patcher.stream import blackout
from patcher.stream.datagrams import FULL, Rows, datagrams, returning
from patcher.stream.interfaces import interfaces
from patcher.stream.packets import Mask, Packets, Target
from patcher.stream.reach import Place, Reach, Reached
from patcher.trade import (
    CHANNELS,
    DISCOVERY_INTERVAL,
    DISCOVERY_UNIVERSE,
    ENDING_PACKETS,
    HIGHEST_RATE,
    KEEP_ALIVE,
    LIKE_PACKETS,
    PRIORITY,
    UDP_PORTS,
)
from patcher.wire import e131

__all__ = ["Sender", "Target", "targets"]

DARK_GAP, END_GAP = 0.1, 1 / HIGHEST_RATE
"""Seconds between two dark frames at the end, four frames of a usual show, and from there between packets that end a
stream. From memory: 6.2.6 does not say how soon those follow each other; 6.6.1: no quicker than the highest rate."""
PATIENCE, LAST_PATIENCE = 0.01, 0.5
"""Seconds to wait for room in the system's buffer, in a frame and in one of the last; what finds none goes with the
next frame."""
DARK = Levels((), np.zeros((0, CHANNELS), dtype=np.uint8))
"""Levels of no universe: all that a sender has goes dark."""


def targets(show: Show, patch: Patch, boxes: Iterable[str], hosts: Mapping[str, str]) -> list[Target]:
    """Where each universe of some boxes goes, each place once.

    Args:
        show: the show.
        patch: its patch.
        boxes: names of controllers.
        hosts: an address for boxes that are not to be sent to by their own.
    """
    found: set[Target] = set()
    for box in boxes:
        controller = show.controllers[box]
        for universe in patch.box_universes.get(box, ()):
            host = hosts.get(box)
            if host is None and controller.delivery == "multicast":
                host = e131.multicast_group(universe)
            host = host or controller.address
            if host is None:
                raise refuse(f"controller.{box}.address", "is missing", "write the address set in the box")
            found.add(Target(controller.protocol, universe, host))
    return sorted(found)


class Sender(AbstractContextManager["Sender"]):
    """A stream to some targets.

    Use it in a `with` block: leaving it, by whatever way, leaves the pixels dark and the streams ended.

    A universe leaves with each frame that changes it; unchanged, three times and then often enough to be kept alive.
    With an interface chosen, or where levels go to groups, discovery packets tell others of the E1.31 universes.

    Attributes:
        packets: how many have left, of levels and of synchronization.
        reached: which boxes cannot be reached, or could not.
    """

    def __init__(
        self,
        goals: Iterable[Target],
        *,
        priority: int = PRIORITY,
        interface: str | None = None,
        source: str = "Patcher",
        sync: bool = False,
        now: Callable[[], float] = time.monotonic,
        wait: Callable[[float], object] = time.sleep,
    ) -> None:
        """Open the socket.

        Args:
            goals: where to send.
            priority: of the E1.31 streams, 0 to 200.
            interface: the address of this machine from which to send; on a loopback address nothing leaves the machine.
            source: the name that E1.31 receivers see.
            sync: whether boxes wait until all of a frame has been sent, and then change at once. E1.31 boxes are told
                on the first E1.31 universe, in its group or each by itself, as their levels come. ArtSync goes to each
                box by itself and not, as the specification has it, to all of the network: nothing is to be sent to
                whoever is not of the show.
            now: seconds of a clock that only rises.
            wait: lets so many seconds of it pass.

        Raises:
            PatcherError: this machine has no such address.
        """
        wanted = list(goals)
        cid = uuid.uuid4().bytes
        self.packets = 0
        self.reached = Reached()
        self._now, self._wait = now, wait
        self._block = Packets(wanted, cid=cid, source=source, priority=priority, sync=sync)
        self._data = np.arange(len(wanted))
        self._frame = 0
        self._new_in = np.ones(len(wanted), dtype=np.int64)
        self._sent_at = np.full(len(wanted), -np.inf)
        self._rows_of: dict[Place, Rows] = {}
        self._earliest = np.inf
        streamed = sorted({goal.universe for goal in wanted if goal.protocol == "e131"})
        in_groups = any(goal.host.startswith("239.") for goal in wanted)
        self._discovery = (
            e131.discovery_packets(cid=cid, source=source, universes=streamed)
            if streamed and (interface is not None or in_groups)
            else []
        )
        self._discover_at = -np.inf
        self._socket = _open(interface)
        try:
            block = self._block
            self._returned = returning(self._socket)
            self._out = datagrams(self._socket, block.octets, block.begins, block.lengths, block.places)
        except BaseException:
            self._socket.close()
            raise
        self._ended = self._resting = False
        blackout.opened(self)

    def __exit__(self, *_: object) -> None:
        self.close()

    def send(self, levels: Levels) -> None:
        """Send a frame: what has changed, at once. A universe not in `levels` goes dark. Once ended, do nothing."""
        with blackout.LOCK:
            if self._ended:
                return
            now = self._now()
            changed = self._block.write(levels)
            self._new_in[changed] = self._frame + 1
            self._leave(now)

    def news(self) -> tuple[Reach, ...]:
        """Which boxes have been lost or found again since this was asked last."""
        return self.reached.news()

    def keep_alive(self) -> None:
        """Send again what has been silent for almost too long; for use between frames that are far apart."""
        with blackout.LOCK:
            now = self._now()
            if not self._ended and self._silent(now):
                self._leave(now)

    def _silent(self, now: float) -> bool:
        """Whether something has been silent for as long as it may be."""
        # What was the earliest time of leaving some time ago is never later than what is: it spares most frames a look.
        if self._earliest > now - KEEP_ALIVE:
            return False
        self._earliest = float(self._sent_at.min(initial=np.inf))
        return self._earliest <= now - KEEP_ALIVE

    def _leave(self, now: float) -> None:
        self._hear(now)
        if now >= self._discover_at:
            self._discover_at = now + DISCOVERY_INTERVAL
            self._discover()
        self._frame += 1
        # What is new leaves with each frame, so that frames since then are like packets.
        due = self._new_in > self._frame - LIKE_PACKETS
        if self._silent(now):
            due |= self._sent_at <= now - KEEP_ALIVE
        spared = self._spare(due, now) if self.reached.gone else frozenset()
        rows = due.nonzero()[0]
        if len(rows):
            syncs: list[int] = []
            if self._block.synchronizes:
                syncs = [row for row in self._block.syncs(rows).tolist() if self._block.places[row] not in spared]
            self._put_out(rows, now, PATIENCE, syncs)
        self._earliest = min(self._earliest, now)

    def _spare(self, due: Mask, now: float) -> frozenset[Place]:
        """Leave out places that cannot be reached, except those to be tried now; returns the latter."""
        for place in self.reached.back(now):
            self._new_in[self._rows(place)] = self._frame
            due[self._rows(place)] = True
        tried = self.reached.to_try(now)
        for place in self.reached.gone:
            due[self._rows(place)] = place in tried
        return self.reached.gone - tried

    def _put_out(self, rows: Rows, now: float, patience: float, syncs: Sequence[int] = ()) -> None:
        """Send data rows, rising, and then what synchronizes them."""
        self._block.count_on(rows)
        every = np.concatenate((rows, np.array(syncs, dtype=np.int64))) if syncs else rows
        failed = self._out.send(every, patience)
        self._sent_at[rows if len(rows) < len(self._data) else slice(None)] = now
        self.packets += len(every) - len(failed)
        for row, error in failed.items():
            self._failed(row, error, now)

    def _failed(self, row: int, error: int, now: float) -> None:
        if row < len(self._data):
            self._new_in[row] = self._frame + 1
        if error not in FULL:
            self.reached.failed(self._block.places[row], os.strerror(error), now)

    def _hear(self, now: float) -> None:
        for place, error in self._returned().items():
            self.reached.failed(place, os.strerror(error), now)

    def _rows(self, place: Place) -> Rows:
        if place not in self._rows_of:
            rows = [row for row, goal in enumerate(self._block.goals) if (goal.host, goal.port) == place]
            self._rows_of[place] = np.array(rows, dtype=np.int64)
        return self._rows_of[place]

    def _discover(self) -> None:
        group = e131.multicast_group(DISCOVERY_UNIVERSE)
        for packet in self._discovery:
            # It is for others to know of, and no box waits for it.
            with suppress(OSError):
                self._socket.sendto(packet, (group, UDP_PORTS["e131"]))

    def close(self) -> None:
        """End what has not ended yet, and close the socket; once only."""
        with blackout.LOCK:
            if self._socket.fileno() < 0:
                return
            try:
                self.end()
            finally:
                blackout.closed(self)
                self._socket.close()

    def end(self) -> None:
        """Send dark frames and end the E1.31 streams, for good: what is asked for afterwards is not sent.

        It takes a quarter of a second. Whoever does not wait for it, as by Ctrl-C, gets the rest of it at once.
        """
        with blackout.LOCK:
            if not self._ended:
                self._ended = True
                if not self._resting:
                    self._end()

    @contextmanager
    def rest(self) -> Iterator[None]:
        """Dark, and the streams ended, while this lasts; then the last frame is sent again. Other threads wait."""
        with blackout.LOCK:
            if self._ended:
                yield
                return
            held = self._block.held()
            self._end()
            self._resting = True
            try:
                yield
            finally:
                self._resting = False
            if self._ended:
                return
            self._block.begin_again(held)
            self._new_in[:] = self._frame + 1
            self._leave(self._now())

    def _end(self) -> None:
        steps = [(self._go_dark, DARK_GAP)] * (ENDING_PACKETS - 1) + [(self._go_dark, END_GAP)]
        if self._block.e131:
            steps += [(self._terminate, END_GAP)] * ENDING_PACKETS
        stopped: BaseException | None = None
        while steps:
            try:
                step, gap = steps.pop(0)
                step()
                if steps and stopped is None:
                    self._wait(gap)
            except BaseException as error:
                # Whatever it is, pixels that stay lit are worse: what is left of the end comes first.
                stopped = stopped or error
        self._hear(self._now())
        if stopped is not None:
            raise stopped

    def _go_dark(self) -> None:
        self._block.write(DARK)
        syncs = self._block.syncs(self._data).tolist()
        self._put_out(self._data, self._now(), LAST_PATIENCE, syncs)

    def _terminate(self) -> None:
        self._put_out(self._block.terminate(), self._now(), LAST_PATIENCE)


def _open(interface: str | None) -> socket.socket:
    opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        if interface is not None:
            opened.bind((interface, 0))
            opened.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(interface))
            if interface.startswith("127."):
                opened.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 0)
    except OSError:
        opened.close()
        own = ", ".join(map(str, interfaces()))
        raise refuse("--interface", f"this machine has no address {interface}", f"choose from: {own}") from None
    return opened
