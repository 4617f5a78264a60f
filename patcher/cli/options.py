"""Arguments and options that several commands share, each declared once with its help."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from patcher.frames.request import LEAST_EVERY, PatternName
from patcher.trade import LAST_PRIORITY

SEARCH = 10.0
"""About how many seconds to search for a better patch, unless the person says otherwise."""
PATTERNS = "The test pattern; patcher help patterns explains each."

ShowFile = Annotated[Path, typer.Argument(metavar="SHOW", help="The show file.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document, for scripts.")]
Yard = Annotated[bool, typer.Option("--yard", help="Send to `patcher yard` on this machine, not to the boxes.")]
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

# What `send` and `bench` share.
ColourName = Annotated[str, typer.Option("--colour", metavar="COLOUR", help="A colour by name, or #rrggbb.")]
Level = Annotated[float, typer.Option("--level", metavar="0..1", min=0, max=1, help="Brightness.")]
By = Annotated[str, typer.Option("--by", metavar="WAY", help="How a sweep moves: rows, columns, x or y.")]
Every = Annotated[
    int,
    typer.Option("--every", metavar="N", min=LEAST_EVERY, max=100_000, help="Pixels from one milestone to the next."),
]
Rate = Annotated[
    float | None,
    typer.Option("--rate", metavar="N", min=0.01, max=1000, help="Steps a second; for ramp, ramps a second."),
]
FramesASecond = Annotated[float | None, typer.Option("--fps", metavar="N", min=0.5, max=1000, help="Frames a second.")]
Seconds = Annotated[float | None, typer.Option("--seconds", metavar="N", min=0, help="Stop after N seconds.")]
Loops = Annotated[
    float | None, typer.Option("--loops", metavar="N", min=0.01, help="Stop after N times through the pattern.")
]
Step = Annotated[bool, typer.Option("--step", help="Step by hand: → next, ← previous, q stop.")]
Priority = Annotated[int, typer.Option("--priority", metavar="N", min=0, max=LAST_PRIORITY, help="E1.31 priority.")]
Sync = Annotated[bool, typer.Option("--sync", help="Send synchronization packets: all boxes change at once.")]
Flashing = Annotated[bool, typer.Option("--flashing", help="Allow more than three flashes a second.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Say what would be sent; send nothing.")]
Pattern = Annotated[PatternName, typer.Argument(metavar="PATTERN", help=PATTERNS)]
BenchPattern = Annotated[PatternName, typer.Argument(metavar="[PATTERN]", help=PATTERNS)]
