"""What `film` prints before it plays: how to film, what to take care of, and what will read badly."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING

from patcher.errors import first_few
from patcher.limits.filming import FARTHEST
from patcher.terminal.printed import count
from patcher.units import METRES_PER, in_units
from patcher.visible import argument
from patcher.wiring import port_name

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from patcher.limits.filming import Closest
    from patcher.limits.refresh import PortTime

MOST_PORTS = 6


@dataclass(frozen=True)
class Filming:
    """What is played to a camera.

    Attributes:
        show: the show file.
        units: of its lengths.
        pixels: how many play.
        cycle: seconds until every pixel has played its whole word.
        closest: the run whose pixels are closest to each other; None where nothing is known of that.
        changes_ms: milliseconds from one change of the light to the next.
        slow: ports whose frames take longer than half of that.
        not_drawn: runs whose places the show file does not give.
    """

    show: Path
    units: str
    pixels: int
    cycle: float
    closest: Closest | None
    changes_ms: float
    slow: Sequence[PortTime]
    not_drawn: Sequence[str] = ()


def advice(filming: Filming) -> list[str]:
    """How to film, in lines."""
    least = ceil(filming.cycle)
    return [
        f"Each of {count(filming.pixels, 'pixel')} plays a word of its own in light, over and over, for "
        f"{filming.cycle:.1f} s each time.",
        f"Film at least {least} s, from any moment on; {2 * least} s are better.",
        "Prop the phone up: a hand shakes too much. Everything is in the picture, with a margin; or film it in parts.",
        _distance(filming),
        "Turn night mode and stabilisation off. Lock the exposure so that the picture is not dark.",
        "It flashes: that can bring on seizures. Tell whoever is near.",
        "Stand off the road, with the phone too. Stop if it distracts people who drive.",
    ]


def _distance(filming: Filming) -> str:
    """How far away to stand."""
    if filming.closest is None:
        return (
            f"Stand no farther away than {FARTHEST} times the distance from one pixel to the next, at 1080p; from "
            "farther away zoom with the lens."
        )
    pitch, run = filming.closest
    farthest = _down(pitch * FARTHEST / METRES_PER[filming.units])
    return (
        f"Stand no farther away than {farthest} {filming.units}, at 1080p: the pixels of {run} are closest, "
        f"{in_units(round(pitch, 3), filming.units)} from one to the next. "
        "From farther away zoom with the lens, or film it in parts."
    )


def _down(number: float) -> str:
    """A number rounded down, to whole ones where it has some."""
    number += 1e-6  # what is less than that comes of converting units
    return f"{floor(number)}" if number >= 3 else f"{floor(number * 10) / 10:g}"


def say(filming: Filming) -> None:
    """Print how to film."""
    for line in advice(filming):
        print(line, flush=True)


def warnings(filming: Filming) -> list[str]:
    """What will read badly, or prove nothing, in lines."""
    lines: list[str] = []
    if filming.not_drawn:
        those = first_few(filming.not_drawn, MOST_PORTS)
        lines.append(
            f"Not drawn in the show file: {those}. A clip proves nothing of them: draw them, or take their places from "
            "a clip with --measure; patcher verify asks for them."
        )
    if not filming.slow:
        return lines
    ports = [f"{port_name(port.controller, port.port)} {port.frame_ms:.0f} ms" for port in filming.slow]
    return [
        *lines,
        f"Too slow to be read well: a frame takes {first_few(ports, MOST_PORTS)}, and the light changes every "
        f"{filming.changes_ms:.0f} ms.",
        f"Their pixels may not be proved. Hang some of them on other ports: patcher check {argument(filming.show)}",
    ]


def say_warnings(filming: Filming) -> None:
    """Print what will read badly."""
    for line in warnings(filming):
        print(line, file=sys.stderr)


def say_cycle(played: int, cycle: float) -> None:
    """Print how often the whole code has been played."""
    again = "a film of all of it is enough" if played == 1 else f"{played * cycle:.1f} s"
    print(f"Played {count(played, 'time')} ({again}). Ctrl-C ends it.", flush=True)
