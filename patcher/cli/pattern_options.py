"""Which pattern a person asked for, and how: the options that `send` and `bench` share, and the pattern they choose."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from patcher.errors import refuse
from patcher.frames.request import Asked, PatternName
from patcher.trade import FASTEST_FLASH, LAST_PRIORITY

if TYPE_CHECKING:
    from patcher.frames.patterns import Pattern
    from patcher.patch.patch import Patch
    from patcher.patch.thing import Thing
    from patcher.wiring import Wiring

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
Priority = Annotated[int, typer.Option("--priority", min=0, max=LAST_PRIORITY, help="E1.31 priority.")]
Interface = Annotated[str | None, typer.Option("--interface", help="Address of this machine to send from.")]
Sync = Annotated[bool, typer.Option("--sync", help="Boxes wait, and change all at once.")]
Flashing = Annotated[bool, typer.Option("--flashing", help="Allow more than three flashes a second.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Say what would be sent; send nothing.")]


def choose(asked: Asked, wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    """The pattern; PatcherError where there is none such, or where it would flash and was not told to."""
    from patcher.frames.pattern_choice import named

    pattern = named(asked, wiring, patch, thing)
    if pattern.flashes > FASTEST_FLASH and not (asked.flashing or asked.step):
        says = f"{asked.rate or pattern.rate:g} would flash {pattern.flashes} times in one second"
        remedy = f"more than {FASTEST_FLASH} can bring on a seizure: choose a lower rate; if you must, add --flashing"
        raise refuse("--rate", says, remedy)
    return pattern
