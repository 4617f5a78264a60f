"""An absolute clock for frames: frame n is due at the beginning plus n periods, however late the one before was."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field


@dataclass
class Clock:
    """Frames a second, kept without drift; frames that can no longer be in time are left out.

    Attributes:
        rate: frames a second.
        now: seconds of a clock that only rises.
        late: seconds by which each frame was late.
        elapsed: seconds from the beginning to the newest frame.
    """

    rate: float
    now: Callable[[], float] = time.monotonic
    late: list[float] = field(default_factory=list)
    elapsed: float = 0.0

    def frames(self, wait: Callable[[float], bool]) -> Iterator[float]:
        """Seconds since the beginning, once a frame, when it is due.

        Args:
            wait: lets at most so many seconds pass; true ends the waiting for this frame.
        """
        begin = self.now()
        number = 0
        while True:
            due = begin + number / self.rate
            while (left := due - self.now()) > 0 and not wait(left):
                pass
            self.elapsed = self.now() - begin
            self.late.append(max(0.0, self.elapsed - number / self.rate))
            yield self.elapsed
            number = max(number + 1, int((self.now() - begin) * self.rate))
