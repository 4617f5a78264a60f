"""Which pattern was asked for: a pattern by its name, with its colour, its way and its rate."""

from __future__ import annotations

from patcher.errors import choose_from, refuse
from patcher.frames import patterns, still_patterns
from patcher.frames.looks import colour
from patcher.frames.patterns import Pattern
from patcher.frames.request import STEPPED_RAMP, Asked, PatternName
from patcher.patch.patch import Patch
from patcher.patch.thing import Thing
from patcher.trade import FASTEST_FLASH
from patcher.wiring import Wiring


def named(asked: Asked, wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    """The pattern of that name; PatcherError where a colour or way is not known. It may flash: see `chosen`."""
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
            pattern = still_patterns.milestones(*show, colour(asked.colour), asked.every)
        case PatternName.edges:
            pattern = still_patterns.edges(*show, asked.level)
        case PatternName.ends:
            pattern = still_patterns.ends(*show, colour(asked.colour))
        case PatternName.sweep:
            if asked.by not in patterns.SWEEPS:
                raise refuse("--by", f"cannot be “{asked.by}”", choose_from(asked.by, patterns.SWEEPS))
            pattern = patterns.sweep(*show, colour(asked.colour), asked.by)
        case PatternName.ramp if asked.step:
            return patterns.ramp(*show, colour(asked.colour), STEPPED_RAMP, 1.0, asked.level)
        case PatternName.ramp:
            seconds = patterns.RAMP_SECONDS if asked.rate is None else 1 / asked.rate
            return patterns.ramp(*show, colour(asked.colour), asked.frames, seconds, asked.level)
    return pattern.at(asked.rate)


def chosen(asked: Asked, wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    """The pattern that was asked for.

    Raises:
        PatcherError: its colour or way is not known, or it would flash faster than is safe and was not told to.
    """
    pattern = named(asked, wiring, patch, thing)
    if pattern.flashes > FASTEST_FLASH and not (asked.flashing or asked.step):
        says = f"{asked.rate or pattern.rate:g} would flash {pattern.flashes} times in one second"
        remedy = f"more than {FASTEST_FLASH} can bring on a seizure: choose a lower rate; if you must, add --flashing"
        raise refuse("--rate", says, remedy)
    return pattern
