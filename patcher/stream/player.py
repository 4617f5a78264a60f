"""A pattern played: steps by time or by a person's keys, frames by the clock, until it is enough."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from patcher.frames.levels import Levels
from patcher.frames.looks import Look
from patcher.frames.patterns import Pattern
from patcher.stream.clock import Clock
from patcher.stream.reach import Reach
from patcher.stream.sender import DARK, Sender

OWED = 2
"""Steps that are made up for after a pause, one a frame: more would flash by."""
LONGEST_WAIT = 0.05
"""Seconds after which a stop is noticed at the latest."""


@dataclass(frozen=True, slots=True)
class Move:
    """What a person asked for: so many steps on (or back), or to a step, from 0."""

    by: int = 0
    to: int | None = None


Hands = Callable[[float], Move | None]
"""Waits at most so many seconds for a person's next move."""


@dataclass
class Playing:
    """How a pattern is played.

    Attributes:
        pattern: the pattern.
        rate: steps a second; with `hands` steps wait for them instead.
        seconds: how long; None is until it is stopped.
        loops: how often through all steps; None is without end.
        stopped: whether to stop, asked between frames and while waiting.
        hands: a person's keys, or None.
    """

    pattern: Pattern
    rate: float
    seconds: float | None
    loops: float | None
    stopped: Callable[[], bool]
    hands: Hands | None = None

    def play(
        self,
        sender: Sender,
        clock: Clock,
        render: Callable[[Look], Levels],
        tell: Callable[[int, Look], None],
        tell_reach: Callable[[Reach], None],
    ) -> int:
        """Send frames until the time, the loops or the person says stop, and say how many they were.

        No step is left out: where frames come slower than steps, each frame shows the next step. After a pause of the
        machine the pattern goes on from where it was.

        Args:
            sender: sends them.
            clock: says when.
            render: turns a look into levels.
            tell: is given each new step and its look, after it was sent.
            tell_reach: is given what is heard of boxes that cannot be reached, or can again.
        """
        step, walked, owed, shown, sent = 0, -1, 0, -1, 0
        levels = DARK
        moves: list[Move] = []
        waited = False

        def wait(left: float) -> bool:
            nonlocal waited
            waited = True
            if self.stopped():
                return True
            sender.keep_alive()
            if self.hands is None:
                time.sleep(min(left, LONGEST_WAIT))
            elif (move := self.hands(min(left, LONGEST_WAIT))) is not None:
                moves.append(move)
                return True
            return False

        for elapsed in clock.frames(wait):
            if self.stopped() or (self.seconds is not None and elapsed >= self.seconds):
                break
            if self.hands is None:
                due = int(elapsed * self.rate) - owed
                forgotten = max(0, due - walked - 1 - OWED)
                owed += forgotten
                walked = min(due - forgotten, walked + 1)
                if self.loops is not None and walked >= self.loops * self.pattern.steps:
                    break
                step = walked % self.pattern.steps
            elif sent and not waited and (move := self.hands(0.0)) is not None:
                # Frames that leave no time to wait must not make the keys deaf.
                moves.append(move)
            waited = False
            for move in moves:
                step = (move.to if move.to is not None else step + move.by) % self.pattern.steps
            moves.clear()
            new = self.pattern.look(step) if step != shown else None
            if new is not None:
                levels, shown = render(new), step
            sender.send(levels)
            sent += 1
            if new is not None:
                tell(step, new)
            for news in sender.news():
                tell_reach(news)
        return sent
