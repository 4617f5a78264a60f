"""Playing to boxes until it is enough: what `send`, `bench` and `film` have in common."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import typer

from patcher.errors import refuse
from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from pathlib import Path

    from patcher.cli.options import PatternOptions
    from patcher.frames.levels import Levels
    from patcher.frames.looks import Look
    from patcher.frames.patterns import Pattern
    from patcher.patch.patch import Patch
    from patcher.show.schema import Show
    from patcher.stream.player import Steps
    from patcher.stream.sender import Target
    from patcher.terminal.keys import Keys
    from patcher.wiring import Wiring

Shown = TypeVar("Shown")

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

    universes = universes_of(goals)

    def render(look: Look) -> Levels:
        return levels(look, wiring, patch, universes, options.level)

    say_look = (lambda step, look: None) if as_json else send_report.say_look
    fps = options.frames(wiring.show)
    play_steps(pattern, pattern.rate, render, say_look, goals, options, fps, to_yard=to_yard, as_json=as_json)


def play_steps(
    steps: Steps[Shown], rate: float, render: Callable[[Shown], Levels], tell: Callable[[int, Shown], None],
    goals: list[Target], options: PatternOptions, fps: float, *,
    keeps_time: bool = False, to_yard: bool, as_json: bool, more: dict[str, Any] | None = None,
) -> None:  # fmt: skip
    """Play steps, so many a second, to some targets until it is enough, and say what was sent; at the end all is dark.

    Args:
        steps: what is played.
        rate: steps a second.
        render: turns what a step shows into levels.
        tell: is given each new step.
        goals: where to send.
        options: how long, how bright, by what interface and so on.
        fps: frames a second.
        keeps_time: after a pause steps are left out.
        to_yard: nobody else sends there.
        as_json: print one document at the end, and nothing before.
        more: what else is in it.
    """
    from patcher.reports import send_report
    from patcher.stream.clock import Clock
    from patcher.stream.player import Playing
    from patcher.stream.sender import Sender
    from patcher.terminal.signals import stopping

    interface = "127.0.0.1" if to_yard else options.interface
    if not as_json:
        send_report.say_level(options.level)
    with _keys(options.step) as keys, ExitStack() as stack:
        stop = stack.enter_context(stopping())
        if not to_yard:
            say_others(goals, options.priority, interface, stop)
        sender = stack.enter_context(Sender(goals, priority=options.priority, interface=interface, sync=options.sync))
        clock = Clock(fps, stop.now)
        stopped: Callable[[], bool] = (lambda: stop() or keys.done) if keys else stop
        playing = Playing(steps, rate, options.seconds, options.loops, stopped, keys, keeps_time)
        frames = playing.play(sender, clock, render, tell, send_report.say_reach)
    for news in sender.news():
        send_report.say_reach(news)
    sent = send_report.Sent(frames, len(universes_of(goals)), clock, sender)
    if as_json:
        say_json(send_report.document(sent) | (more or {}))
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


def universes_of(goals: list[Target]) -> list[int]:
    """The universes that are sent, rising."""
    return sorted({goal.universe for goal in goals})


def goals_of(path: Path, show: Show, patch: Patch, boxes: list[str], to: str | None, *, yard: bool) -> list[Target]:
    """Where the universes of some boxes go: to the boxes, to the yard, or all to one address."""
    from patcher.stream.sender import targets

    return targets(show, patch, boxes, _hosts(path, show, boxes, to, yard=yard))


def _hosts(path: Path, show: Show, boxes: list[str], to: str | None, *, yard: bool) -> dict[str, str]:
    """The addresses of boxes that are not sent to by their own."""
    if yard:
        from patcher.yard.yard import near

        return {box: host for box, host in near(path, show).items() if box in boxes}
    if to is None:
        return {}
    from ipaddress import IPv4Address

    try:
        IPv4Address(to)
    except ValueError:
        raise refuse("--to", f"“{to}” is not an IPv4 address", "write one such as 127.0.0.1") from None
    return dict.fromkeys(boxes, to)


def warn_too_bright(path: Path, wiring: Wiring, level: float) -> None:
    """Say it where the supplies, wires, fuses and breakers of the show do not hold every pixel white at a level."""
    from patcher.mains import whole_level
    from patcher.power import shortfalls
    from patcher.power.flow import power

    if not shortfalls.described(wiring.show):
        return
    state = power(wiring, level=level)
    if not whole_level.holds(state):
        from patcher.reports import send_report

        most, limits = whole_level.brightest(state)
        send_report.say_too_bright(path, level, most, limits, whole_level.too_bright(state))


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
