"""What `film --measure` prints: where runs hang, how sure that is, and what was not seen."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import ceil
from typing import Any

from patcher.errors import first_few
from patcher.film.measured import Measured
from patcher.sheets.figures import count
from patcher.units import METRES_PER

MOST_NUMBERS = 8
"""So many pixels that were not seen are named."""
MEANT = (
    "How the error is meant: 19 of 20 pixels of the drawn runs lie so near to their places on the same map; it is more "
    "where no drawn run is near. What hangs before or behind the drawn runs is farther off: film it from two places, "
    "and hold one pixel's place against a tape."
)


def say_measured(found: Iterable[Measured], units: str, say: Callable[[str], None]) -> None:
    """Print it for people."""
    every = list(found)
    for one in every:
        if one.against:
            say(f"Not measured: {one.run} {one.against} → {one.todo}.")
            continue
        line = f"Measured: {one.run}: {count(len(one.places), 'pixel')}, each to about {error(one.error, units)}"
        if one.unseen:
            names = first_few([str(number) for number in one.unseen], MOST_NUMBERS)
            line += f"; not seen, and put between their neighbours: {names}"
        say(f"{line}.")
    if any(not one.against for one in every):
        say(MEANT)
    if any(one.against for one in every):
        say("No place was written.")


def error(metres: float, units: str) -> str:
    """How far off a place may be, rounded up: centimetres, or tenths of a foot."""
    if units == "m":
        return f"{max(1, ceil(metres * 100 - 1e-6))} cm"
    return f"{max(1, ceil(metres / METRES_PER[units] * 10 - 1e-6)) / 10:.1f} {units}"


def measured_json(found: Iterable[Measured], files: dict[str, str], *, written: bool) -> list[dict[str, Any]]:
    """It for scripts."""
    return [
        {
            "run": one.run, "file": files[one.run], "written": written and not one.against,
            "pixels": len(one.places), "error_cm": None if one.against else round(one.error * 100, 2),
            "unseen": list(one.unseen), "says": f"{one.against}; {one.todo}" if one.against else "",
        }
        for one in found
    ]  # fmt: skip
