"""Playing a pattern: steps by time or by a person's keys, frames by the clock, until it is enough."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from patcher.frames.levels import Levels
from patcher.stream.clock import Clock
from patcher.stream.reach import Reach
from patcher.stream.sender import DARK, Sender

OWED = 2
"""Steps that are made up for after a pause, one a frame: more would flash by."""
SLIVER = 1e-6
"""Part of a step by which a frame that is in time may seem too early, for numbers are rounded."""
LONGEST_WAIT = 0.05
"""Seconds after which a stop is noticed at the latest."""


@dataclass(frozen=True, slots=True)
class Move:
    """What a person asked for: so many steps forward (negative: back), or to a step, from 0."""

    by: int = 0
    to: int | None = None


Shown = TypeVar("Shown")
ShownOnly = TypeVar("ShownOnly", covariant=True)


class Steps(Protocol[ShownOnly]):
    """What is played: a number of steps, and what each shows. A test pattern is such."""

    @property
    def steps(self) -> int:
        """How many there are."""

    @property
    def look(self) -> Callable[[int], ShownOnly]:
        """What a step shows, from 0."""


Hands = Callable[[float], Move | None]
"""Waits at most so many seconds for a person's next move."""


@dataclass
class Playing(Generic[Shown]):
    """How a pattern, or anything else of steps, is played.

    Attributes:
        pattern: the pattern.
        rate: steps a second; with `hands` steps wait for them instead.
        seconds: how long; None is until it is stopped.
        loops: how often through all steps; None is without end.
        stopped: whether to stop, asked between frames and while waiting.
        hands: a person's keys, or None.
        keeps_time: after a pause of the machine steps are left out, since somebody else counts the time, too.
    """

    pattern: Steps[Shown]
    rate: float
    seconds: float | None
    loops: float | None
    stopped: Callable[[], bool]
    hands: Hands | None = None
    keeps_time: bool = False

    def play(
        self,
        sender: Sender,
        clock: Clock,
        render: Callable[[Shown], Levels],
        tell: Callable[[int, Shown], None],
        tell_reach: Callable[[Reach], None],
    ) -> int:
        """Send frames until the time, the loops or the person says stop, and say how many they were.

        No step is left out: where frames come slower than steps, each frame shows the next step. After a pause of the
        machine the pattern goes on from where it was; what keeps time goes on where it would be without the pause.

        Args:
            sender: sends them.
            clock: says when.
            render: turns what a step shows into levels.
            tell: is given each new step and what it shows, after it was sent.
            tell_reach: is given what is heard of boxes that cannot be reached, or can again.
        """
        step, shown, sent, levels = 0, -1, 0, DARK
        pace, moves = _Pace(self.rate, keeps_time=self.keeps_time), _Moves(self.hands)

        def wait(left: float) -> bool:
            if self.stopped():
                return True
            sender.keep_alive()
            return moves.wait(min(left, LONGEST_WAIT))

        for elapsed in clock.frames(wait):
            if self.stopped() or (self.seconds is not None and elapsed >= self.seconds):
                break
            if self.hands is None:
                walked = pace.steps(elapsed)
                if self.loops is not None and walked >= self.loops * self.pattern.steps:
                    break
                step = walked % self.pattern.steps
            else:
                step = moves.applied(step, self.pattern.steps, ask=sent > 0)
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


class _Pace:
    """How many steps are due by time: none is left out, and after a pause of the machine they go on from where they
    were. What keeps time shows the step that is due.
    """

    def __init__(self, rate: float, *, keeps_time: bool) -> None:
        self._rate = rate
        self._keeps_time = keeps_time
        self._walked = -1
        self._forgotten = 0

    def steps(self, elapsed: float) -> int:
        """The step that a frame after so many seconds shows, counted on through all loops."""
        if self._keeps_time:
            return int(elapsed * self._rate + SLIVER)
        due = int(elapsed * self._rate) - self._forgotten
        more = max(0, due - self._walked - 1 - OWED)
        self._forgotten += more
        self._walked = min(due - more, self._walked + 1)
        return self._walked


class _Moves:
    """What a person has asked for by keys since the last frame."""

    def __init__(self, hands: Hands | None) -> None:
        self._hands = hands
        self._moves: list[Move] = []
        self._waited = False

    def wait(self, seconds: float) -> bool:
        """Wait for a key, or for so many seconds; whether one came."""
        self._waited = True
        if self._hands is None:
            time.sleep(seconds)
            return False
        return self._take(self._hands, seconds)

    def applied(self, step: int, steps: int, *, ask: bool) -> int:
        """The step, from 0, after all moves. Frames that leave no time to wait must not make the keys deaf: with `ask`
        a key is then looked for.
        """
        if ask and not self._waited and self._hands is not None:
            self._take(self._hands, 0.0)
        self._waited = False
        for move in self._moves:
            step = (move.to if move.to is not None else step + move.by) % steps
        self._moves.clear()
        return step

    def _take(self, hands: Hands, seconds: float) -> bool:
        move = hands(seconds)
        if move is not None:
            self._moves.append(move)
        return move is not None
