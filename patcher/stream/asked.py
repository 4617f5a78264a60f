"""A pattern as it is asked for: its name, its colour, its way and its rate. Nothing heavy is imported here."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from patcher.trade import HIGHEST_RATE

FASTEST_STREAM = float(HIGHEST_RATE)
"""Frames a second of a test stream, unless it is told otherwise, by either protocol."""
STEPPED_RAMP = 20.0
"""Steps of a ramp that is stepped by keys: a tenth of full each."""


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
