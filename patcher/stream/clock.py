"""A clock for frames without drift: frame n is due n periods after the beginning, however late the last one was."""

from __future__ import annotations

import math
import time
from array import array
from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import accumulate

SHORTEST = 1e-6
"""Seconds; what is late by less counts as in time."""
FINENESS = 100
"""Steps in which lateness is counted for each factor of e: each is one part in a hundred longer than the one before."""
STEPS = 2000


class Lateness:
    """How late frames were, in steps of one part in a hundred: an hour takes no more room than a second.

    Attributes:
        frames: how many were counted.
        most: seconds by which the latest was late.
    """

    def __init__(self) -> None:
        self.frames = 0
        self.most = 0.0
        self._counts = array("q", bytes(8 * STEPS))

    def add(self, seconds: float) -> None:
        """Count a frame that was late by so much."""
        step = 0 if seconds <= SHORTEST else min(STEPS - 1, math.ceil(math.log(seconds / SHORTEST) * FINENESS))
        self._counts[step] += 1
        self.frames += 1
        self.most = max(self.most, seconds)

    def percentile(self, part: float) -> float:
        """Milliseconds by which at most that part of the frames was late, to one part in a hundred; 0 for no frame."""
        wanted = min(self.frames, int(part * self.frames) + 1)
        step = bisect_left(list(accumulate(self._counts)), wanted)
        seconds = SHORTEST * math.exp(step / FINENESS) if step else 0.0
        return round(min(seconds, self.most) * 1000, 3)


@dataclass
class Clock:
    """Frames a second, kept without drift; frames that can no longer be in time are left out.

    Attributes:
        rate: frames a second.
        now: seconds of a clock that only rises.
        late: by how much the frames were late.
        dropped: how many were left out because the time for the next one had come.
        elapsed: seconds from the beginning to the newest frame.
    """

    rate: float
    now: Callable[[], float] = time.monotonic
    late: Lateness = field(default_factory=Lateness)
    dropped: int = 0
    elapsed: float = 0.0

    def frames(self, wait: Callable[[float], bool]) -> Iterator[float]:
        """Seconds since the beginning, once a frame, when it is due.

        Args:
            wait: lets at most so many seconds pass; true asks for a frame at once, beside those that are due.
        """
        begin = self.now()
        number = 0
        while True:
            due = begin + number / self.rate
            early = False
            while not early and (left := due - self.now()) > 0:
                early = wait(left)
            self.elapsed = self.now() - begin
            late = self.elapsed - number / self.rate
            yield self.elapsed
            # Only what was used is counted: whoever stops at a frame does not come back here.
            self.late.add(late)
            after = number + (not early)
            coming = max(after, int((self.now() - begin) * self.rate))
            self.dropped += coming - after
            number = coming
