"""A test pattern sent to a yard step by step, each step compared with the plan pixel by pixel."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from patcher.faults import build, parse
from patcher.frames.levels import levels
from patcher.frames.patterns import Pattern
from patcher.listener.receiver import Receiver
from patcher.patch.patch import Patch
from patcher.stream.sender import Sender, targets
from patcher.trade import TEST_LEVEL
from patcher.wiring import Wiring
from patcher.yard.yard import LOOPBACK, Difference, Yard, addresses, differences, ears, near

PATIENCE = 2.0
"""Seconds to wait for the packets of one frame on the loopback."""


@dataclass(frozen=True)
class Watched:
    """What was seen.

    Attributes:
        as_planned: at how many steps the pixels were lit as planned.
        first_wrong: the first step, from 0, at which they were not, and how they differed; None where there was none.
        packets: how many were sent.
        dark: whether all pixels were dark at the end.
        stopped: whether it was stopped before the end.
    """

    as_planned: int
    first_wrong: tuple[int, list[Difference]] | None
    packets: int
    dark: bool
    stopped: bool


def watch(
    show_path: Path, wiring: Wiring, patch: Patch, faults: Sequence[str], pattern: Pattern, stop: Callable[[], bool]
) -> Watched:
    """Send every step of a pattern once to a yard with some faults, and compare what its pixels show."""
    show = wiring.show
    heard_by = ears(show, patch, addresses(show_path, show))
    goals = targets(show, patch, patch.boxes, near(show_path, show))
    universes = sorted({goal.universe for goal in goals})
    yard = Yard(wiring, patch, build(wiring, [parse(fault, wiring) for fault in faults]))
    as_planned, first_wrong = 0, None
    with Receiver(heard_by) as receiver, Sender(goals, interface=LOOPBACK) as sender:

        def hear() -> None:
            """Take in what was sent."""
            give_up = time.monotonic() + PATIENCE
            while yard.packets < sender.packets and time.monotonic() < give_up and not stop():
                for datagram in receiver.poll(PATIENCE):
                    yard.receive(heard_by[datagram.ear], datagram.octets, datagram.sender, time.monotonic())

        for step in range(pattern.steps):
            if stop():
                break
            look = pattern.look(step)
            sender.send(levels(look, wiring, patch, universes, TEST_LEVEL))
            hear()
            if wrong := differences(look, TEST_LEVEL, wiring, yard):
                first_wrong = first_wrong or (step, wrong)
            else:
                as_planned += 1
        sender.close()
        hear()
    return Watched(as_planned, first_wrong, sender.packets, yard.lit() == 0, stop())
