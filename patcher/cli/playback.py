"""Playing a test pattern to boxes until it is enough: what `send` and `bench` have in common."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING

import typer

from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from patcher.cli.options import PatternOptions
    from patcher.frames.levels import Levels
    from patcher.frames.looks import Look
    from patcher.frames.patterns import Pattern
    from patcher.patch.patch import Patch
    from patcher.stream.sender import Target
    from patcher.terminal.keys import Keys
    from patcher.wiring import Wiring

LISTENS = 1.0
"""Seconds to listen for others before sending: a stream whose levels stay is heard once in so long."""


def play(
    pattern: Pattern, wiring: Wiring, patch: Patch, goals: list[Target], options: PatternOptions, *,
    to_yard: bool = False, as_json: bool,
) -> None:  # fmt: skip
    """Play a pattern to some targets until it is enough, and say what was sent; at the end all of it is dark.

    To the yard nobody else sends. With `as_json` one document is printed at the end, and nothing before.
    """
    from patcher.frames.levels import levels
    from patcher.reports import send_report
    from patcher.stream.clock import Clock
    from patcher.stream.player import Playing
    from patcher.stream.sender import Sender
    from patcher.terminal.signals import stopping

    universes = sorted({goal.universe for goal in goals})
    interface, fps = "127.0.0.1" if to_yard else options.interface, options.frames(wiring.show)

    def render(look: Look) -> Levels:
        return levels(look, wiring, patch, universes, options.level)

    if not as_json:
        send_report.say_level(options.level)
    with _keys(options.step) as keys, ExitStack() as stack:
        stop = stack.enter_context(stopping())
        if not to_yard:
            say_others(goals, options.priority, interface, stop)
        sender = stack.enter_context(Sender(goals, priority=options.priority, interface=interface, sync=options.sync))
        clock = Clock(fps, stop.now)
        stopped: Callable[[], bool] = (lambda: stop() or keys.done) if keys else stop
        playing = Playing(pattern, pattern.rate, options.seconds, options.loops, stopped, keys)
        say_look = (lambda step, look: None) if as_json else send_report.say_look
        frames = playing.play(sender, clock, render, say_look, send_report.say_reach)
    for news in sender.news():
        send_report.say_reach(news)
    sent = send_report.Sent(frames, len(universes), clock, sender)
    if as_json:
        say_json(send_report.document(sent))
    else:
        send_report.say(sent)
    if send_report.say_lost(sent):
        raise typer.Exit(1)


def dry_run(pattern: Pattern, goals: list[Target], level: float, *, as_json: bool) -> None:
    """Say what would be sent where."""
    from patcher.reports import send_report

    if as_json:
        say_json(send_report.dry_run_document(pattern, goals))
    else:
        send_report.say_level(level)
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
