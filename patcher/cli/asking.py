"""A person is asked: the frame is sent over and over until a key is pressed; whatever happens, lamps end dark."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from patcher.address.patch import Patch
    from patcher.stream.sender import Sender, Target
    from patcher.verify import Frame, Question
    from patcher.wiring import Wiring

FRAME = 0.1
"""Seconds from one frame to the next; a dot stays as long on each lamp."""
REST = 10
"""Dark frames between two goes of a dot."""
QUIT = ("q", "\x04")


def frame_goals(show: Path, wiring: Wiring, patch: Patch, *, yard: bool) -> list[Target]:
    """Where frames go: every box, its universes and those two up and down, for what may be off."""
    from patcher.show.tables import LAST_UNIVERSE
    from patcher.stream.sender import Target, box_universes, targets
    from patcher.wire import e131

    tables = wiring.show.controllers
    boxes = box_universes(patch)
    hosts = {}
    if yard:
        from patcher.yard.yard import addresses

        near = addresses(show, wiring.show)
        hosts = {box: near[box] for box in boxes if tables[box].delivery == "unicast"}
    found = set(targets(wiring.show, patch, boxes, hosts))
    for box, own in boxes.items():
        host = hosts.get(box) or tables[box].address or ""
        for universe in {one + off for one in own for off in (-2, -1, 1, 2)} - set(own):
            if 1 <= universe <= LAST_UNIVERSE:
                multicast = tables[box].delivery == "multicast"
                goal = e131.multicast_group(universe) if multicast else host
                found.add(Target(tables[box].protocol, universe, goal))
    return sorted(found)


def moments(frame: Frame) -> list[int | None]:
    """The steps of a frame in the order in which they are sent; None: dark, between two goes."""
    found: list[int | None] = []
    for step in range(len(frame.steps)):
        if frame.goes and step and frame.goes[step] != frame.goes[step - 1]:
            found += [None] * REST
        found.append(step)
    return found + [None] * REST * 2 * bool(frame.goes)


class Asking:
    """Sends frames and takes single keys; use it in a `with` block, which leaves the terminal as it was."""

    def __init__(self, sender: Sender, universes: Sequence[int], stopped: Callable[[], bool]) -> None:
        self._sender, self._universes, self._stopped = sender, universes, stopped
        self._source = sys.stdin.fileno()
        self._waiting = ""
        self._stack = ExitStack()

    def __enter__(self) -> Asking:
        if os.isatty(self._source):
            import termios
            import tty

            before: list[Any] = termios.tcgetattr(self._source)
            self._stack.callback(termios.tcsetattr, self._source, termios.TCSADRAIN, before)
            tty.setcbreak(self._source)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stack.close()

    def answer(self, question: Question) -> str | None:
        """The key of the answer; None where the person stops, or nothing more can be typed."""
        from patcher.stream.levels import Levels

        keys = {answer.key for answer in question.answers}
        still = [question.frame.levels(self._universes, step) for step in range(len(question.frame.steps))]
        dark = Levels((), still[0].slots[:0])
        order = moments(question.frame)
        at = 0
        while not self._stopped():
            step = order[at % len(order)]
            self._sender.send(dark if step is None else still[step])
            at += 1
            key = self._key()
            if key is None or key in QUIT:
                return None
            if key in keys:
                return key
        return None

    def _key(self) -> str | None:
        """The next key, "" where there is none yet, None where there never will be."""
        if not self._waiting and select.select([self._source], [], [], FRAME)[0]:
            typed = os.read(self._source, 64)
            if not typed:
                return None
            self._waiting = typed.decode(errors="replace")
        key, self._waiting = self._waiting[:1], self._waiting[1:]
        return key
