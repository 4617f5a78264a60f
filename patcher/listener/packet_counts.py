"""Counts of one stream's packets: how many a second, and how many lost, late or repeated."""

from __future__ import annotations

from array import array
from dataclasses import dataclass

from patcher.wire import artnet, e131

TICK = 0.125
TICKS = 16
"""A rate is counted over the last 16 ticks: from 1.875 to 2 seconds."""
WINDOW = 20
"""E1.31-2018, 6.7.2: what is less than 20 behind is late; further behind, the source began anew."""
UNCOUNTED_AT_0 = 255
"""The circle of Art-Net's numbers, which go from 1 to 255."""


class Rate:
    """Packets a second, from counts in the last ticks. Times are seconds of a clock that only rises."""

    __slots__ = ("_counts", "_first", "_newest")

    def __init__(self, now: float) -> None:
        """Of a stream whose first packet comes now, which is still to be counted."""
        self._counts = array("L", bytes(TICKS * array("L").itemsize))
        self._first = now
        self._newest = int(now / TICK)

    def _forward(self, tick: int) -> None:
        for passed in range(max(self._newest + 1, tick - TICKS + 1), tick + 1):
            self._counts[passed % TICKS] = 0
        self._newest = max(self._newest, tick)

    def count(self, now: float) -> None:
        """A packet comes."""
        tick = int(now / TICK)
        self._forward(tick)
        self._counts[tick % TICKS] += 1

    def at(self, now: float) -> float:
        """From the first packet on, that one not counted; of an older stream, from a full tick on, up to now."""
        tick = int(now / TICK)
        self._forward(tick)
        since = (tick - TICKS + 1) * TICK
        packets = sum(self._counts)
        if self._first >= since:
            since, packets = self._first, packets - 1
        return max(0, packets) / (now - since) if now - since >= TICK else 0.0


@dataclass(slots=True)
class Order:
    """What the sequence numbers of one stream tell.

    Attributes:
        circle: how many numbers there are: 256 in E1.31; 255 in Art-Net, whose 0 means that the sender counts none.
        last: the newest number taken.
        lost: numbers that were jumped over and did not come.
        late: packets that came behind a newer one.
        repeated: packets that came twice.
        restarts: how often the numbers began anew.

    `gaps` has a bit for each number behind the newest that was counted as lost; `passed` is how many numbers went by
    since the first, so that what is older than the first is not taken for a repetition.
    """

    circle: int
    last: int
    lost: int = 0
    late: int = 0
    repeated: int = 0
    restarts: int = 0
    gaps: int = 0
    passed: int = 0

    def begin(self, number: int) -> None:
        """The source begins anew: what came before says nothing of what is lost."""
        self.last, self.gaps, self.passed = number, 0, 0

    def is_behind(self, number: int) -> bool:
        """Whether a box would drop it as too late, or as repeated."""
        if self.circle == UNCOUNTED_AT_0:
            return artnet.out_of_order(self.last, number)
        return e131.out_of_order(self.last, number)

    def take(self, number: int) -> bool:
        """Count a packet; whether a box would take it."""
        if self.circle == UNCOUNTED_AT_0 and 0 in (self.last, number):
            self.begin(number)
            return True
        if self.is_behind(number):
            self._behind((self.last - number) % self.circle)
            return False
        ahead = (number - self.last) % self.circle
        if ahead > 127:
            self.restarts += 1
            self.begin(number)
            return True
        self.lost += ahead - 1
        jumped = ((1 << (ahead - 1)) - 1) << 1
        self.gaps = (self.gaps << ahead | jumped) & ((1 << WINDOW) - 1)
        self.passed = min(self.passed + ahead, WINDOW)
        self.last = number
        return True

    def _behind(self, by: int) -> None:
        if self.gaps >> by & 1:
            self.gaps ^= 1 << by
            self.lost -= 1
            self.late += 1
        elif by > self.passed:
            self.late += 1
        else:
            self.repeated += 1
