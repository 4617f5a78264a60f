"""`send`: test patterns onto the wire, with words for what should be lit."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import AsJson, ShowFile, load, load_patch
from patcher.cli.pattern_options import (
    PATTERNS,
    By,
    ColourName,
    DryRun,
    Every,
    Flashing,
    FramesASecond,
    Interface,
    Level,
    Loops,
    Priority,
    Rate,
    Seconds,
    Step,
    Sync,
    choose,
)
from patcher.errors import refuse
from patcher.frames.request import FASTEST_STREAM, Asked, PatternName
from patcher.terminal.screen import order
from patcher.terminal.tables import count, say_json
from patcher.trade import PRIORITY, TEST_LEVEL

if TYPE_CHECKING:
    from patcher.frames.levels import Levels
    from patcher.frames.looks import Look
    from patcher.frames.patterns import Pattern
    from patcher.patch.patch import Patch
    from patcher.stream.clock import Clock
    from patcher.stream.reach import Place, Reach
    from patcher.stream.sender import Sender, Target
    from patcher.wiring import Wiring

MOST_LINES = 12
LISTENS = 1.0
"""Seconds to listen for others before sending: a stream whose levels stay is heard once in so long."""


def send(
    pattern: Annotated[PatternName, typer.Argument(metavar="PATTERN", help=PATTERNS)],
    show: ShowFile,
    on: Annotated[str | None, typer.Option(metavar="THING", help="A box, port, run, pixels or prop.")] = None,
    colour: ColourName = "white",
    level: Level = TEST_LEVEL,
    by: By = "rows",
    every: Every = 10,
    rate: Rate = None,
    fps: FramesASecond = None,
    seconds: Seconds = None,
    loops: Loops = None,
    step: Step = False,
    priority: Priority = PRIORITY,
    interface: Interface = None,
    sync: Sync = False,
    to: Annotated[str | None, typer.Option(metavar="ADDRESS", help="Send there, not to the boxes.")] = None,
    yard: Annotated[bool, typer.Option("--yard", help="Send to `patcher yard` on this machine.")] = False,
    flashing: Flashing = False,
    dry_run: DryRun = False,
    as_json: AsJson = False,
) -> None:
    """Stream a test pattern to the boxes; Ctrl-C ends it, and leaves everything dark."""
    from patcher.patch.thing import find, whole_show
    from patcher.stream.sender import targets

    wiring = load(show)
    patch = load_patch(show, wiring)
    thing = find(on, wiring, patch) if on else whole_show(wiring)
    if not thing.parts:
        raise refuse(on or str(show), "has no pixels to light", "name a box, port, run, pixel or prop that has")
    frames = fps or min(wiring.show.settings.frame_rate, FASTEST_STREAM)
    asked = Asked(pattern, colour, by, every, rate, frames, step, flashing, level)
    chosen = choose(asked, wiring, patch, thing)
    boxes = list(dict.fromkeys(wiring.ports[part.run][0] for part in thing.parts))
    goals = targets(wiring.show, patch, boxes, _hosts(boxes, to))
    if yard:
        from patcher.yard.yard import addresses

        if to is not None or interface is not None:
            raise refuse("--yard", "does not go together with --to or --interface", "leave one of them out")
        interface = "127.0.0.1"
        unicast = [box for box in boxes if wiring.show.controllers[box].delivery == "unicast"]
        near = addresses(show, wiring.show)
        goals = targets(wiring.show, patch, boxes, {box: near[box] for box in unicast})
    if dry_run:
        say_dry_run(chosen, goals, as_json=as_json)
        return
    if yard:
        need_yard(goals, show)
    stream(
        chosen, wiring, patch, goals, level=level, frames=frames, seconds=seconds, loops=loops, step=step,
        priority=priority, interface=interface, sync=sync, quiet=yard,
        as_json=as_json,
    )  # fmt: skip


def stream(
    chosen: Pattern, wiring: Wiring, patch: Patch, goals: list[Target], *, level: float, frames: float,
    seconds: float | None, loops: float | None, step: bool, priority: int, interface: str | None, sync: bool,
    quiet: bool, as_json: bool,
) -> None:  # fmt: skip
    """Play a pattern to some targets until it is enough, and say what was sent; the one way of every command.

    Args:
        quiet: nobody else sends there, so it need not be listened for.
    """
    show_look = _quietly if as_json else _say_look
    with _keys(step) as hands, ExitStack() as stack:
        from patcher.frames.levels import levels
        from patcher.stream.clock import Clock
        from patcher.stream.player import Playing
        from patcher.stream.sender import Sender
        from patcher.terminal.signals import stopping

        stop = stack.enter_context(stopping())
        if not quiet:
            say_others(goals, priority, interface, stop)
        sender = stack.enter_context(Sender(goals, priority=priority, interface=interface, sync=sync))
        universes = sorted({goal.universe for goal in goals})
        clock = Clock(frames, stop.now)
        stopped: Callable[[], bool] = (lambda: stop() or hands.done) if hands else stop
        playing = Playing(chosen, chosen.rate, seconds, loops, stopped, hands)

        def render(look: Look) -> Levels:
            return levels(look, wiring, patch, universes, level)

        sent = playing.play(sender, clock, render, show_look, _say_reach)
    for news in sender.news():
        _say_reach(news)
    _report(sent, clock, sender, len(universes), sender.reached.lost, as_json=as_json)


def say_others(goals: list[Target], priority: int, interface: str | None, stopped: Callable[[], bool]) -> None:
    """Who else sends there, and who will win."""
    from patcher.listener.listen_sockets import others_on

    near = all(goal.host.startswith("127.") for goal in goals)
    for other in others_on(goals, LISTENS, "127.0.0.1" if near else interface, stopped):
        print(other.says(priority), file=sys.stderr)


def need_yard(goals: list[Target], show: Path) -> None:
    """Raise PatcherError where the yard that is to be sent to is not there to hear it."""
    from patcher.listener.receiver import Ear, is_free

    own = [goal for goal in goals if goal.host.startswith("127.")]
    if own and is_free(Ear(own[0].host, own[0].port)):
        raise refuse("--yard", "finds no yard that would hear it", f"in another terminal: patcher yard {show}")


def _hosts(boxes: list[str], to: str | None) -> dict[str, str]:
    if to is None:
        return {}
    from ipaddress import IPv4Address

    try:
        IPv4Address(to)
    except ValueError:
        raise refuse("--to", f"“{to}” is no IPv4 address", "write one such as 127.0.0.1") from None
    return dict.fromkeys(boxes, to)


@contextmanager
def _keys(wanted: bool) -> Iterator:  # type: ignore[type-arg]
    if not wanted:
        yield None
        return
    from patcher.terminal.keys import HELP, keys

    print(f"Keys: {HELP}.", file=sys.stderr)
    with keys() as hands:
        yield hands


def _quietly(step: int, look: Look) -> None:
    """For scripts nothing is said on the way."""


def _say_look(step: int, look: Look) -> None:
    lines = list(look.says[:MOST_LINES])
    if len(look.says) > MOST_LINES:
        lines.append(f"… and {len(look.says) - MOST_LINES} more")
    if len(lines) == 1 and sys.stdout.isatty():
        order("\r\x1b[K")
        print(f"{step + 1:>4}  {lines[0]}", end="", flush=True)
        return
    for number, line in enumerate(lines):
        print(f"{step + 1:>4}  {line}" if number == 0 else f"      {line}", flush=True)


def _say_reach(news: Reach) -> None:
    if sys.stdout.isatty():
        print()
    if news.reason is None:
        print(f"{news.host} can be reached again.", file=sys.stderr)
        return
    print(
        f"{news.host} cannot be reached: {news.reason}. Is the box on, and this machine on its network? "
        "The others go on; it is tried again every second.",
        file=sys.stderr,
    )


def say_dry_run(pattern: Pattern, goals: list[Target], *, as_json: bool) -> None:
    """What would be sent where."""
    looks = [pattern.look(step) for step in range(min(pattern.steps, 200))]
    if as_json:
        to = [{"protocol": goal.protocol, "universe": goal.universe, "host": goal.host} for goal in goals]
        say_json({"steps": pattern.steps, "says": [look.says for look in looks], "targets": to})
        return
    every = list(dict.fromkeys(f"{goal.host}:{goal.port}" for goal in goals))
    hosts = ", ".join(every[:MOST_LINES]) + (f" and {len(every) - MOST_LINES} more" if every[MOST_LINES:] else "")
    print(f"Would send {count(len(goals), 'packet')} a frame to {hosts}. Nothing is sent.")
    for step, look in enumerate(looks):
        for line in look.says:
            print(f"{step + 1:>4}  {line}")
    if pattern.steps > len(looks):
        print(f"… and {pattern.steps - len(looks)} more steps")


def _report(
    frames: int, clock: Clock, sender: Sender, universes: int, lost: Mapping[Place, str], *, as_json: bool
) -> None:
    gone = {place for place in lost if place in sender.reached.gone}
    if as_json:
        say_json({
            "frames": frames, "packets": sender.packets, "seconds": round(clock.elapsed, 3),
            "late_ms_p50": clock.late.percentile(0.5), "late_ms_p99": clock.late.percentile(0.99),
            "dropped": clock.dropped, "universes": universes,
            "unreachable": [
                {"host": place[0], "port": place[1], "reason": reason, "back": place not in gone}
                for place, reason in lost.items()
            ],
        })  # fmt: skip
    else:
        if sys.stdout.isatty():
            print()
        left_out = f" ({count(clock.dropped, 'late frame')} left out)" if clock.dropped else ""
        packets = count(sender.packets, "packet")
        print(f"Sent {count(frames, 'frame')}{left_out}, {packets}; now dark, and the streams are ended.")
    for host in dict.fromkeys(host for host, _ in gone):
        print(f"{host} could not be reached at the end, so nobody knows whether its pixels are dark.", file=sys.stderr)
    if gone:
        raise typer.Exit(1)
