"""Arguments and options that several commands share, each declared once with its help."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.frames.request import FASTEST_STREAM, LEAST_EVERY, Asked, PatternName
from patcher.trade import LAST_PRIORITY, PRIORITY, TEST_LEVEL

if TYPE_CHECKING:
    from patcher.show.schema import Show

SEARCH = 10.0
"""About how many seconds to search for a better patch, unless the person says otherwise."""
PATTERNS = "The test pattern; patcher help patterns explains each."

ShowFile = Annotated[Path, typer.Argument(metavar="SHOW", help="The show file.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document, for scripts.")]
Yard = Annotated[bool, typer.Option("--yard", help="Send to `patcher yard` on this machine, not to the boxes.")]
To = Annotated[
    str | None, typer.Option("--to", metavar="ADDRESS", help="Send everything to this address, not to the boxes.")
]
Interface = Annotated[
    str | None, typer.Option("--interface", metavar="ADDRESS", help="Address of this machine to send from.")
]
Seed = Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Random seed: the same one gives the same run.")]
Faults = Annotated[
    list[str] | None,
    typer.Option(
        "--fault", metavar="KIND:WHERE=VALUE",
        help="Wire or set the simulated yard wrongly; may be repeated. See: patcher help faults.",
    ),
]  # fmt: skip
SearchSeconds = Annotated[
    float,
    typer.Option("--seconds", metavar="N", help="About how long to search for a better patch.", min=0.1, max=3600),
]
SparePixels = Annotated[
    int,
    typer.Option(
        "--spare-pixels", metavar="N", help="Leave N spare pixels after each start address that is newly assigned.",
        min=0, max=10_000,
    ),
]  # fmt: skip

# What `send`, `bench` and `film` share.
Level = Annotated[float, typer.Option("--level", metavar="0..1", min=0, max=1, help="Brightness.")]
Priority = Annotated[int, typer.Option("--priority", metavar="N", min=0, max=LAST_PRIORITY, help="E1.31 priority.")]
Pattern = Annotated[PatternName, typer.Argument(metavar="PATTERN", help=PATTERNS)]
BenchPattern = Annotated[PatternName, typer.Argument(metavar="[PATTERN]", help=PATTERNS)]
Seconds = Annotated[float | None, typer.Option("--seconds", metavar="N", min=0, help="Stop after N seconds.")]
Flashing = Annotated[bool, typer.Option("--flashing", help="Allow more than three flashes a second.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Say what would be sent; send nothing.")]


@dataclass(frozen=True)
class PatternOptions:
    """How a pattern looks, and how it is played: each field is an option; see `spread`."""

    colour: Annotated[str, typer.Option(metavar="COLOUR", help="A colour by name, or #rrggbb.")] = "white"
    level: Level = TEST_LEVEL
    by: Annotated[
        str, typer.Option(metavar="WAY", help="How a sweep moves: rows or columns of a grid; x or y of anything drawn.")
    ] = "rows"
    every: Annotated[
        int, typer.Option(metavar="N", min=LEAST_EVERY, max=100_000, help="Pixels from one milestone to the next.")
    ] = 10
    rate: Annotated[
        float | None, typer.Option(metavar="N", min=0.01, max=1000, help="Steps a second; for ramp, ramps a second.")
    ] = None
    fps: Annotated[float | None, typer.Option(metavar="N", min=0.5, max=1000, help="Frames a second.")] = None
    seconds: Seconds = None
    loops: Annotated[
        float | None, typer.Option(metavar="N", min=0.01, help="Stop after N times through the pattern.")
    ] = None
    step: Annotated[bool, typer.Option("--step", help="Step by hand: → next, ← previous, q stop.")] = False
    priority: Priority = PRIORITY
    interface: Interface = None
    sync: Annotated[bool, typer.Option("--sync", help="Send synchronization packets: all boxes change at once.")] = (
        False
    )

    def frames(self, show: Show) -> float:
        """Frames a second: those asked for, or the show's."""
        return self.fps or min(show.settings.frame_rate, FASTEST_STREAM)

    def asked(self, pattern: PatternName, show: Show, *, flashing: bool) -> Asked:
        """The pattern that these options ask for."""
        return Asked(
            pattern, self.colour, self.by, self.every, self.rate, self.frames(show), self.step, flashing, self.level
        )


USUAL = PatternOptions()


def spread(command: Callable[..., None]) -> Callable[..., None]:
    """A command as typer reads it: in the place of its parameter `options`, every option of `PatternOptions`."""
    fields = signature(PatternOptions, eval_str=True).parameters
    parameters = [
        each.replace(kind=Parameter.POSITIONAL_OR_KEYWORD)
        for name, parameter in signature(command, eval_str=True).parameters.items()
        for each in (fields.values() if name == "options" else [parameter])
    ]

    @wraps(command)
    def spread_out(**given: Any) -> None:
        command(options=PatternOptions(**{name: given.pop(name) for name in fields}), **given)

    spread_out.__signature__ = Signature(parameters)  # type: ignore[attr-defined]
    spread_out.__annotations__ = {each.name: each.annotation for each in parameters}
    return spread_out
