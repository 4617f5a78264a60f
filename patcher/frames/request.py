"""A test pattern as it is asked for: name, colour, way and rate. Imports nothing that takes time."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from patcher.trade import HIGHEST_RATE

FASTEST_STREAM = float(HIGHEST_RATE)
"""Frames a second of a test stream, unless it is told otherwise, by either protocol."""
STEPPED_RAMP = 20.0
"""Steps of a ramp that is stepped by keys: a tenth of full each."""

LEAST_EVERY = 4
"""Pixels from one milestone to the next at least: so a dark pixel is left between a mark of one and one of three."""


class PatternName(StrEnum):
    """The names of the test patterns."""

    steady = "steady"
    primaries = "primaries"
    dot = "dot"
    ports = "ports"
    milestones = "milestones"
    edges = "edges"
    ends = "ends"
    sweep = "sweep"
    ramp = "ramp"


SEEN: dict[PatternName, str] = {
    PatternName.steady: "one colour: `--colour red`, or `#ff8000`",
    PatternName.primaries: "red, green, blue, white where the pixel has a white, then dark: is the colour order right?",
    PatternName.dot: "one pixel steps along, in data order",
    PatternName.ports: "each port of a box its own colour, named in words: which cable is in which socket?",
    PatternName.milestones: "every 10th pixel lit; two at each 5th of these marks (49 and 50), three at each 10th (98 "
    "to 100); the rest dark: to count on a ladder; `--every N` (4 or more) for another step",
    PatternName.edges: "another colour in each universe; white the first pixel of each run and universe: a wrong start "
    "shows at once",
    PatternName.ends: "one pixel where the data enters, three at the other end: does a run hang the wrong way round?",
    PatternName.sweep: "a bar: `--by rows` or `--by columns` of a grid; of all that is drawn `--by x`, from the left, "
    "or `--by y`, from below: a grid wired wrongly breaks the bar",
    PatternName.ramp: "dark to `--level` and back in 8 s, for dimming and flicker; `--rate` is ramps a second",
}
"""What a person sees of each pattern, and what it is for."""


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
        level: the level that everything is sent at: words of brightness are of full, so they have it in them.
    """

    name: PatternName
    colour: str
    by: str
    every: int
    rate: float | None
    frames: float
    step: bool
    flashing: bool
    level: float = 1.0
