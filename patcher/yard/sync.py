"""Levels that wait for a synchronization packet, so that all change at once. No socket, no clock: time is given.

Sources, all from memory: ANSI E1.31-2018, 6.2.4.1 (a packet that names a synchronization address waits for a
synchronization packet of that address), 6.2.6 (Force_Synchronization: once synchronization is lost, set, the levels are
shown as they come; not set, nothing changes until it resumes), 11.1.2 (it is lost after the network data loss timeout);
Art-Net 4, ArtSync (once heard, ArtDmx waits for it; after 4 s without, it does not; one from another address than the
last ArtDmx is ignored).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from patcher.trade import ART_SYNC_LOSS, NETWORK_DATA_LOSS
from patcher.wire import e131

MOST_ADDRESSES = 16
"""Synchronization addresses that a box keeps apart."""
MOST_SOURCES = 16
"""Sources of one address whose sequences are kept."""


@dataclass(slots=True)
class _Address:
    """One synchronization address.

    Attributes:
        since: when a synchronization packet was last heard; before the first one, when levels first waited.
        named: when a packet last spoke of it.
        heard: whether one ever was.
        held: what waits, by row of the box.
        sequence: of the last synchronization packet of each source.
    """

    since: float
    named: float
    heard: bool = False
    held: dict[int, bytes] = field(default_factory=dict)
    sequence: dict[bytes, int] = field(default_factory=dict)

    def lost(self, now: float) -> bool:
        return now - self.since > NETWORK_DATA_LOSS


@dataclass(slots=True)
class StreamSync:
    """E1.31: what waits for which synchronization address.

    Where no synchronization packet was ever heard, levels wait for one as long as the network data loss timeout, and
    from then on are shown as they come.
    """

    _addresses: dict[int, _Address] = field(default_factory=dict)

    @property
    def universes(self) -> tuple[int, ...]:
        """The synchronization addresses that data packets named."""
        return tuple(self._addresses)

    def holds(self, packet: e131.Data, row: int, slots: bytes, now: float) -> bool | None:
        """Whether a packet's levels are not to be shown yet; None: there is no room for its address, so they are."""
        address = self._address(packet.sync_universe, now)
        if address is None:
            return None
        if address.lost(now) and (packet.force_sync or not address.heard):
            return False
        self.drop(row)
        address.held[row] = slots
        return True

    def drop(self, row: int) -> None:
        """Forget what waits for a row."""
        for address in self._addresses.values():
            address.held.pop(row, None)

    def released(self, packet: e131.Sync, now: float) -> dict[int, bytes]:
        """The levels that a synchronization packet releases, by row."""
        address = self._address(packet.sync_universe, now)
        if address is None:
            return {}
        last = address.sequence.get(packet.cid)
        if last is not None and not address.lost(now) and e131.out_of_order(last, packet.sequence):
            return {}
        if last is None and len(address.sequence) >= MOST_SOURCES:
            address.sequence.clear()
        address.sequence[packet.cid] = packet.sequence
        address.since, address.heard = now, True
        held, address.held = address.held, {}
        return held

    def expired(self, now: float) -> dict[int, bytes]:
        """What has waited in vain for a first synchronization packet, by row. Addresses of which nobody speaks any more
        are forgotten.
        """
        found: dict[int, bytes] = {}
        for address in self._addresses.values():
            if address.held and not address.heard and address.lost(now):
                found |= address.held
                address.held = {}
        self._forget(now)
        return found

    def _address(self, number: int, now: float) -> _Address | None:
        """What is kept of an address that a packet names; None where there are too many."""
        known = self._addresses.get(number)
        if known is None:
            if len(self._addresses) >= MOST_ADDRESSES:
                self._forget(now)
            if len(self._addresses) >= MOST_ADDRESSES:
                return None
            known = self._addresses[number] = _Address(now, now)
        known.named = now
        return known

    def _forget(self, now: float) -> None:
        silent = [number for number, address in self._addresses.items() if now - address.named > NETWORK_DATA_LOSS]
        for number in silent:
            del self._addresses[number]


@dataclass(slots=True)
class ArtSync:
    """Art-Net: what waits for the next ArtSync."""

    _until: float = float("-inf")
    _last_from: str = ""
    _held: dict[int, bytes] = field(default_factory=dict)

    def holds(self, sender: str, row: int, slots: bytes, now: float) -> bool:
        """Whether an ArtDmx packet's levels are not to be shown yet."""
        self._last_from = sender.partition(":")[0]
        if now > self._until:
            self._held.pop(row, None)
            return False
        self._held[row] = slots
        return True

    def released(self, sender: str, now: float) -> dict[int, bytes]:
        """The levels that an ArtSync packet releases, by row."""
        if sender.partition(":")[0] != self._last_from:
            return {}
        self._until = now + ART_SYNC_LOSS
        held, self._held = self._held, {}
        return held

    def expired(self, now: float) -> dict[int, bytes]:
        """The levels that have waited too long, by row."""
        if now <= self._until or not self._held:
            return {}
        held, self._held = self._held, {}
        return held
