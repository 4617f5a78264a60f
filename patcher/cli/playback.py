"""Playing a test pattern to boxes until it is enough: what `send` and `bench` have in common."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import typer

from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from patcher.frames.levels import Levels
    from patcher.frames.looks import Look
    from patcher.frames.patterns import Pattern
    from patcher.patch.patch import Patch
    from patcher.stream.sender import Target
    from patcher.terminal.keys import Keys
    from patcher.wiring import Wiring

LISTENS = 1.0
"""Seconds to listen for others before sending: a stream whose levels stay is heard once in so long."""


@dataclass(frozen=True)
class Playback:
    """How a pattern is played.

    Attributes:
        level: brightness, 0 to 1.
        frames: frames a second.
        seconds: to stop after so many; None: not by time.
        loops: to stop after so many times through; None: not by loops.
        step: whether a person steps by keys.
        priority: of the E1.31 streams.
        interface: the address of this machine to send from.
        sync: whether boxes wait for a synchronization packet.
        to_yard: whether it goes to the yard, where nobody else sends.
        as_json: whether one JSON document is printed at the end, and nothing before.
    """

    level: float
    frames: float
    seconds: float | None
    loops: float | None
    step: bool
    priority: int
    interface: str | None
    sync: bool
    to_yard: bool
    as_json: bool


def play(pattern: Pattern, wiring: Wiring, patch: Patch, goals: list[Target], how: Playback) -> None:
    """Play a pattern to some targets until it is enough, and say what was sent; at the end all of it is dark."""
    from patcher.frames.levels import levels
    from patcher.reports import send_report
    from patcher.stream.clock import Clock
    from patcher.stream.player import Playing
    from patcher.stream.sender import Sender
    from patcher.terminal.signals import stopping

    universes = sorted({goal.universe for goal in goals})

    def render(look: Look) -> Levels:
        return levels(look, wiring, patch, universes, how.level)

    with _keys(how.step) as keys, ExitStack() as stack:
        stop = stack.enter_context(stopping())
        if not how.to_yard:
            say_others(goals, how.priority, how.interface, stop)
        sender = stack.enter_context(Sender(goals, priority=how.priority, interface=how.interface, sync=how.sync))
        clock = Clock(how.frames, stop.now)
        stopped: Callable[[], bool] = (lambda: stop() or keys.done) if keys else stop
        playing = Playing(pattern, pattern.rate, how.seconds, how.loops, stopped, keys)
        say_look = (lambda step, look: None) if how.as_json else send_report.say_look
        frames = playing.play(sender, clock, render, say_look, send_report.say_reach)
    for news in sender.news():
        send_report.say_reach(news)
    sent = send_report.Sent(frames, len(universes), clock, sender)
    if how.as_json:
        say_json(send_report.document(sent))
    else:
        send_report.say(sent)
    if send_report.say_lost(sent):
        raise typer.Exit(1)


def dry_run(pattern: Pattern, goals: list[Target], *, as_json: bool) -> None:
    """Say what would be sent where."""
    from patcher.reports import send_report

    if as_json:
        say_json(send_report.dry_run_document(pattern, goals))
    else:
        send_report.say_dry_run(pattern, goals)


def say_others(goals: list[Target], priority: int, interface: str | None, stopped: Callable[[], bool]) -> None:
    """Listen for a moment, and say who else sends to the same universes, and who will win."""
    from patcher.listener.listen_sockets import others_on

    near = all(goal.host.startswith("127.") for goal in goals)
    for other in others_on(goals, LISTENS, "127.0.0.1" if near else interface, stopped):
        print(other.says(priority), file=sys.stderr)


@contextmanager
def _keys(wanted: bool) -> Iterator[Keys | None]:
    if not wanted:
        yield None
        return
    from patcher.terminal.keys import HELP, keys

    print(f"Keys: {HELP}.", file=sys.stderr)
    with keys() as typed:
        yield typed
