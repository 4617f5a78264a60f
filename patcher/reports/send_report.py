"""What `send`, `bench` and `film` print: what should be lit, which boxes cannot be reached, and how much was sent."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from patcher.errors import first_few
from patcher.terminal.printed import count
from patcher.terminal.screen import order

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from patcher.errors import Finding
    from patcher.frames.looks import Look
    from patcher.frames.patterns import Pattern
    from patcher.stream.clock import Clock
    from patcher.stream.reach import Place, Reach
    from patcher.stream.sender import Sender, Target

MOST_LINES = 12
MOST_STEPS = 200
"""Steps of a pattern that a dry run lists."""
NOT_REACHED = "Is the box on, and this machine on its network?"


@dataclass(frozen=True)
class Sent:
    """What was sent.

    Attributes:
        frames: how many.
        universes: how many.
        clock: by which they were sent.
        sender: that sent them; it is closed.
    """

    frames: int
    universes: int
    clock: Clock
    sender: Sender

    @property
    def lost(self) -> dict[Place, str]:
        """Where it could not send at some time, with the reason."""
        return dict(self.sender.reached.lost)

    @property
    def gone(self) -> list[Place]:
        """Where it could not send at the end."""
        return [place for place in self.lost if place in self.sender.reached.gone]


def say_level(level: float) -> None:
    """Print the level that everything is sent at."""
    print(f"At level {level:g} (--level).", flush=True)


def say_too_bright(
    path: Path, level: float, most: float | None, limits: Sequence[Finding], beyond: Sequence[Finding]
) -> None:
    """Print that a level is more than everything holds at, as far as `power` knows, and what gives way first.

    Args:
        path: the show file.
        level: what is sent at.
        most: the highest level at which everything is OK; None where it is at none.
        limits: what is not OK a hundredth above that, or at 0.
        beyond: what is not OK at the level that is sent at.
    """
    ok = "at no level is everything OK" if most is None else f"everything is OK only up to level {most:g}"
    print(f"Level {level:g} may be too much: with every pixel white {ok}.", file=sys.stderr)
    if limits:
        worst = limits[0]
        others = len({finding.where for finding in beyond} - {worst.where})
        at = 0.0 if most is None else most + 0.01
        more = ""
        if others:
            more = f" {count(others, 'more place')} {'is' if others == 1 else 'are'} not OK at level {level:g}."
        print(f"  First, at level {at:g}: {worst.where} {worst.says}.{more}", file=sys.stderr)
    print(f"  patcher power {path} --level {level:g} says what is not OK.", file=sys.stderr)


def say_look(step: int, look: Look) -> None:
    """Print what should be lit at a step; a single line takes the place of the last one in a terminal."""
    lines = list(look.says[:MOST_LINES])
    if len(look.says) > MOST_LINES:
        lines.append(f"… and {len(look.says) - MOST_LINES} more")
    if len(lines) == 1 and sys.stdout.isatty():
        order("\r\x1b[K")
        print(f"{step + 1:>4}  {lines[0]}", end="", flush=True)
        return
    for number, line in enumerate(lines):
        print(f"{step + 1:>4}  {line}" if number == 0 else f"      {line}", flush=True)


def say_reach(news: Reach) -> None:
    """Print that a box cannot be reached, or can be again."""
    if sys.stdout.isatty():
        print()
    if news.reason is None:
        print(f"{news.host} can be reached again.", file=sys.stderr)
        return
    then = "It is tried again every second; all others go on."
    print(f"{news.host} cannot be reached: {news.reason}. {NOT_REACHED} {then}", file=sys.stderr)


def say(sent: Sent) -> None:
    """Print how much was sent."""
    if sys.stdout.isatty():
        print()
    dropped, packets = sent.clock.dropped, count(sent.sender.packets, "packet")
    left_out = f" ({count(dropped, 'late frame')} left out)" if dropped else ""
    print(f"Sent {count(sent.frames, 'frame')}{left_out}, {packets}; now dark, and the streams are ended.")


def say_lost(sent: Sent) -> bool:
    """Print which boxes could not be reached at the end; whether there are any."""
    for host in dict.fromkeys(host for host, _ in sent.gone):
        print(f"{host} could not be reached at the end: its pixels may still be lit.", file=sys.stderr)
    return bool(sent.gone)


def document(sent: Sent) -> dict[str, Any]:
    """How much was sent, for scripts."""
    clock = sent.clock
    return {
        "frames": sent.frames, "packets": sent.sender.packets, "seconds": round(clock.elapsed, 3),
        "late_ms_p50": clock.late.percentile(0.5), "late_ms_p99": clock.late.percentile(0.99),
        "dropped": clock.dropped, "universes": sent.universes,
        "unreachable": [
            {"host": place[0], "port": place[1], "reason": reason, "back": place not in sent.gone}
            for place, reason in sent.lost.items()
        ],
    }  # fmt: skip


def say_goals(goals: list[Target]) -> None:
    """Print where a frame would be sent."""
    hosts = list(dict.fromkeys(f"{goal.host}:{goal.port}" for goal in goals))
    print(f"Would send {count(len(goals), 'packet')} a frame to {first_few(hosts, MOST_LINES)}. Nothing is sent.")


def say_dry_run(pattern: Pattern, goals: list[Target]) -> None:
    """Print what would be sent where."""
    say_goals(goals)
    for step in range(min(pattern.steps, MOST_STEPS)):
        for line in pattern.look(step).says:
            print(f"{step + 1:>4}  {line}")
    if pattern.steps > MOST_STEPS:
        print(f"… and {pattern.steps - MOST_STEPS} more steps")


def dry_run_document(pattern: Pattern, goals: list[Target]) -> dict[str, Any]:
    """What would be sent where, for scripts."""
    says = [pattern.look(step).says for step in range(min(pattern.steps, MOST_STEPS))]
    return {"steps": pattern.steps, "says": says, "targets": goals_document(goals)}


def goals_document(goals: list[Target]) -> list[dict[str, Any]]:
    """Where a frame would be sent, for scripts."""
    return [{"protocol": goal.protocol, "universe": goal.universe, "host": goal.host} for goal in goals]
