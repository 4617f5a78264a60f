"""Which pattern a person asked for, and how: the options that `send` and `bench` share, and the pattern they choose."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.errors import choose_from, refuse
from patcher.wire.e131 import HIGHEST_RATE

if TYPE_CHECKING:
    from patcher.address.patch import Patch
    from patcher.address.thing import Thing
    from patcher.stream.patterns import Pattern
    from patcher.wiring import Wiring

TEST_LEVEL = 0.3
"""Low enough that a whole show in white stays far below what its supplies are built for."""
FASTEST_STREAM = float(HIGHEST_RATE)
"""Frames a second of a test stream, unless it is told otherwise, by either protocol."""


class PatternName(StrEnum):
    """The patterns there are."""

    steady = "steady"
    primaries = "primaries"
    dot = "dot"
    ports = "ports"
    milestones = "milestones"
    edges = "edges"
    ends = "ends"
    sweep = "sweep"
    ramp = "ramp"


PATTERNS = "One of: " + ", ".join(PatternName) + "."

ColourName = Annotated[str, typer.Option("--colour", help="A colour by name, or #rrggbb.")]
Level = Annotated[float, typer.Option("--level", min=0, max=1, help="Brightness, 0 to 1.")]
By = Annotated[str, typer.Option("--by", help="What a sweep goes by: rows, columns, x or y.")]
Every = Annotated[
    int, typer.Option("--every", metavar="N", min=2, max=100_000, help="Pixels from milestone to milestone.")
]
Rate = Annotated[
    float | None, typer.Option("--rate", min=0.01, max=1000, help="Steps a second; of a ramp, times up and down.")
]
FramesASecond = Annotated[float | None, typer.Option("--fps", min=0.5, max=1000, help="Frames a second.")]
Seconds = Annotated[float | None, typer.Option("--seconds", min=0, help="Stop after so long.")]
Loops = Annotated[float | None, typer.Option("--loops", min=0.01, help="Stop after so many times through.")]
Step = Annotated[bool, typer.Option("--step", help="Step by keys, on and back.")]
Priority = Annotated[int, typer.Option("--priority", min=0, max=200, help="E1.31 priority.")]
Interface = Annotated[str | None, typer.Option("--interface", help="Address of this machine to send from.")]
Sync = Annotated[bool, typer.Option("--sync", help="Boxes wait, and change all at once.")]
Flashing = Annotated[bool, typer.Option("--flashing", help="Allow more than three flashes a second.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Say what would be sent; send nothing.")]

STEPPED_RAMP = 20.0
"""Steps of a ramp that is stepped by keys: a tenth of full each."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A pattern as it was asked for.

    Attributes:
        name: which one.
        colour: the name of its colour, where it has one.
        by: what a sweep goes by.
        every: pixels from milestone to milestone.
        rate: steps a second, or ramps; None is the pattern's own.
        frames: frames a second.
        step: whether a person steps by keys.
        flashing: whether it may flash.
    """

    name: PatternName
    colour: str
    by: str
    every: int
    rate: float | None
    frames: float
    step: bool
    flashing: bool


def choose(asked: Asked, wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    """The pattern; PatcherError where there is none such, or where it would flash and was not told to."""
    from patcher.stream.patterns import FASTEST_FLASH

    pattern = _named(asked, wiring, patch, thing)
    if pattern.flashes > FASTEST_FLASH and not (asked.flashing or asked.step):
        says = f"{asked.rate or pattern.rate:g} would flash {pattern.flashes} times in one second"
        remedy = f"more than {FASTEST_FLASH} can bring on a seizure: choose a lower rate; if you must, add --flashing"
        raise refuse("--rate", says, remedy)
    return pattern


def _named(asked: Asked, wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    from patcher.stream import marks, patterns
    from patcher.stream.looks import colour

    show = (wiring, patch, thing)
    match asked.name:
        case PatternName.steady:
            pattern = patterns.steady(*show, colour(asked.colour))
        case PatternName.primaries:
            pattern = patterns.primaries(*show)
        case PatternName.dot:
            pattern = patterns.dot(*show, colour(asked.colour))
        case PatternName.ports:
            pattern = patterns.ports(*show)
        case PatternName.milestones:
            pattern = marks.milestones(*show, asked.every)
        case PatternName.edges:
            pattern = marks.edges(*show)
        case PatternName.ends:
            pattern = marks.ends(*show, colour(asked.colour))
        case PatternName.sweep:
            if asked.by not in patterns.SWEEPS:
                raise refuse("--by", f"cannot be “{asked.by}”", choose_from(asked.by, patterns.SWEEPS))
            pattern = patterns.sweep(*show, colour(asked.colour), asked.by)
        case PatternName.ramp if asked.step:
            return patterns.ramp(*show, colour(asked.colour), STEPPED_RAMP, 1.0)
        case PatternName.ramp:
            seconds = patterns.RAMP_SECONDS if asked.rate is None else 1 / asked.rate
            return patterns.ramp(*show, colour(asked.colour), asked.frames, seconds)
    return pattern.at(asked.rate)
