"""Formats amperes, fuses, voltages and counts, for the terminal and for paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import isnan
from typing import TYPE_CHECKING

from patcher.units import apart

if TYPE_CHECKING:
    from patcher.power.flow import FeedLoad, Power, RunVolts, SupplyLoad
    from patcher.power.tap_fuse import TapFuse
    from patcher.show.run_tables import Run


def amps(value: float | None) -> str:
    """Amperes to a tenth, never minus nothing; NaN and None are not known."""
    return "not known" if value is None or isnan(value) else f"{round(value, 1) + 0.0:.1f} A".replace("-", "−")


def count(number: int, thing: str) -> str:
    """A number with its noun: `1 box`, `4 boxes`, `12 480 pixels`."""
    plural = thing if number == 1 else thing + ("es" if thing.endswith("x") else "s")
    return f"{spaced(number)} {plural}"


def spaced(number: int) -> str:
    """A number as it is read at a glance: `12 480`."""
    return f"{number:,}".replace(",", "\u00a0")


def ranges(numbers: Iterable[int]) -> str:
    """Whole numbers in rising order, written short: `1–3, 7`."""
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    return ", ".join(f"{first}–{last}" if last > first else str(first) for first, last in found)


def fuses(load: FeedLoad) -> tuple[str, str]:
    """The fuse that a feed has, and the smallest one that holds; a branch without one is behind its trunk's."""
    if load.feed.fuse is None and load.feed.source is not None:
        return f"{load.feed.source}’s", ""
    has = "none" if load.feed.fuse is None else f"{load.feed.fuse:g} A"
    if load.smallest_fuse is None:
        return has, "none fits" if load.known else "not known"
    return has, f"{load.smallest_fuse:g} A"


NO_POWER = "V+ not connected"
"""What a lead that brings only data and ground says of itself, on every paper."""

NULL_POWER = "V+ from here to its null pixel, no farther"
"""What such a lead says at its run's end, where a null pixel in it takes its V+ from the run."""


def powered_lead(run: Run) -> float:
    """Metres of a lead from its first null pixel to the run: V+ goes back so far, where none comes along."""
    return run.lead - run.lead_stretches[0]


def without_power(run: Run, *, joined: bool) -> str:
    """What the lead of a run says of its V+; empty where V+ goes along all of it.

    A null pixel needs V+ like any other. Where the lead brings none, it comes back to the null pixel from the run's own
    first pixel: so no two supplies are joined.
    """
    if joined:
        return ""
    return f"V+ only from its null pixel to {run.name}/1" if powered_lead(run) else NO_POWER


def power_cuts(pixels: Sequence[int]) -> str:
    """Where V+ is cut inside a run, from the pixels behind the cuts; empty where it is whole."""
    numbers = [str(pixel) for pixel in sorted(set(pixels))]
    return f"V+ cut before {' and '.join(filter(None, [', '.join(numbers[:-1]), numbers[-1]]))}" if numbers else ""


def tap_fuse(tap: TapFuse) -> str:
    """The fuse at a joint: its size, as the file says unless that is too large; `–` where the string's wire carries
    what gets there; `not known`; `none fits`.
    """
    if tap.given is not None and not tap.needed:
        return f"{tap.given:g} A"
    if tap.needed is not True:
        return "not known" if tap.needed is None else "–"
    if tap.blade is None:
        return "none fits"
    return f"at most {tap.blade:g} A" if isnan(tap.amps) else f"{tap.blade:g} A"


def lowest(state: Power, found: RunVolts) -> str:
    """The lowest voltage on a run, or why there is none to say."""
    where = state.circuit.runs[found.run]
    if not state.drop.fed[where].all():
        return "not fed"
    if state.drop.collapsed[where].any():
        return "collapses"
    if found.lowest <= 0:
        return "none left"
    least = found.lowest if found.least is None else found.least
    return "not known" if isnan(found.lowest) else f"{apart(found.lowest, least, decimals=2)[0]} V"


def wrong(found: RunVolts) -> str:
    """What is wrong with the volts of a run; empty where nothing, as far as that is known."""
    if found.holds is not False:
        return ""
    return "from a supply of other volts" if found.other else "too low"


def highest_level(load: SupplyLoad) -> str:
    """The highest level at which a supply is loaded to no more than 80 %."""
    if isnan(load.dark):
        return "not known"
    return "none" if load.max_level is None else f"{load.max_level:g}"
