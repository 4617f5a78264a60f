"""Which places can be reached; one that cannot is tried again every second, until no more errors come.

A place is a host and a UDP port. What is known of it is only what the system says: that a datagram could not leave, or
that an ICMP message came back, which may be seconds later. So a place is back when tries have met no error for a while.
Time is given.
"""

from __future__ import annotations

from dataclasses import dataclass

Place = tuple[str, int]

RETRY = 1.0
"""Seconds between two tries."""
QUIET = 5.0
"""Seconds without an error after which a place is back. From memory: Linux asks three times, a second apart, for a
hardware address before it says that a host cannot be reached; a try before and some slack."""


@dataclass(frozen=True, slots=True)
class Reach:
    """News of a place: it cannot be reached, for the system's `reason`; or, where that is None, it can be again."""

    host: str
    port: int
    reason: str | None


@dataclass
class _Gone:
    failed: float
    tried: float


class Reached:
    """What is known of some places.

    Attributes:
        lost: those that could not be reached at some time, with the system's reason of the newest loss.
    """

    def __init__(self) -> None:
        self.lost: dict[Place, str] = {}
        self._gone: dict[Place, _Gone] = {}
        self._news: list[Reach] = []

    @property
    def gone(self) -> frozenset[Place]:
        """Those that cannot be reached now."""
        return frozenset(self._gone)

    def failed(self, place: Place, reason: str, now: float) -> None:
        """Note that a datagram could not be sent to a place."""
        if place in self._gone:
            self._gone[place].failed = now
            return
        self._gone[place] = _Gone(now, now)
        self.lost[place] = reason
        self._news.append(Reach(*place, reason))

    def back(self, now: float) -> list[Place]:
        """The places from which no error has come for long enough; they count as reached from now on."""
        found = [place for place, gone in self._gone.items() if now - gone.failed >= QUIET and gone.tried > gone.failed]
        for place in found:
            del self._gone[place]
            self._news.append(Reach(*place, None))
        return found

    def to_try(self, now: float) -> frozenset[Place]:
        """Those that cannot be reached and are to be tried with this frame."""
        found = frozenset(place for place, gone in self._gone.items() if now - gone.tried >= RETRY)
        for place in found:
            self._gone[place].tried = now
        return found

    def news(self) -> tuple[Reach, ...]:
        """What has changed since this was asked last."""
        found, self._news = tuple(self._news), []
        return found
