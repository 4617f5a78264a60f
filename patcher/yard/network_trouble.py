"""A network that is not what it should be: packets lost, doubled, delayed or overtaken; boxes that drop off and come
back. No clock: time is given, and all chance comes from a seed.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Iterable
from dataclasses import dataclass, field

OVERTAKEN = 0.03
"""Seconds by which a packet that is out of order comes late: over one frame at 40 a second, so that the next passes."""
MOST_UNDER_WAY = 100_000
"""Datagrams that are delayed at once; more are lost."""


@dataclass(frozen=True, slots=True)
class Off:
    """A box without power from one second to another; `until` may be infinite."""

    box: str
    begin: float
    until: float


@dataclass
class Trouble:
    """What goes wrong between sender and boxes, packet by packet and box by box.

    Attributes:
        loss: the part of packets that never arrive, 0 to 1.
        double: the part that arrive twice.
        reorder: the part that arrive late, so that others overtake them.
        delay: seconds by which every packet is late.
        off: when which box has no power, in seconds from `begin`.
        seed: of all chance.
        begin: the time that counts as second 0; None: that of the first packet or look at the clock.
        too_many: datagrams that were lost because too many were under way.
    """

    loss: float = 0.0
    double: float = 0.0
    reorder: float = 0.0
    delay: float = 0.0
    off: tuple[Off, ...] = ()
    seed: int = 0
    begin: float | None = None
    too_many: int = 0
    _under_way: list[tuple[float, int, str, bytes, str]] = field(default_factory=list)
    _number: int = 0

    def __post_init__(self) -> None:
        self._chance = random.Random(self.seed)  # noqa: S311  (chance that can be repeated is what is wanted)

    def send(self, box: str, octets: bytes, sender: str, now: float) -> None:
        """A datagram is on its way to a box."""
        # Always as many numbers a packet, so that one option does not change the luck of another.
        lost, doubled, late = (self._chance.random() for _ in range(3))
        if lost < self.loss:
            return
        due = now + self.delay + (OVERTAKEN if late < self.reorder else 0.0)
        for _ in range(2 if doubled < self.double else 1):
            if len(self._under_way) >= MOST_UNDER_WAY:
                self.too_many += 1
                continue
            heapq.heappush(self._under_way, (due, self._number, box, octets, sender))
            self._number += 1

    def arrived(self, now: float) -> Iterable[tuple[str, bytes, str]]:
        """What has arrived by now: box, octets and sender, in the order of arrival."""
        while self._under_way and self._under_way[0][0] <= now:
            _, _, box, octets, sender = heapq.heappop(self._under_way)
            yield box, octets, sender

    def next_due(self) -> float:
        """When the next datagram arrives."""
        return self._under_way[0][0] if self._under_way else float("inf")

    def without_power(self, now: float) -> set[str]:
        """The boxes that are off now."""
        if self.begin is None:
            self.begin = now
        return {off.box for off in self.off if off.begin <= now - self.begin < off.until}
