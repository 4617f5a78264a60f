"""The test patterns: each is a pure function from the show, a thing and a step to a look.

A pattern runs through its steps at a rate and begins again. What each step says is what a person should see.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import accumulate

import numpy as np

from patcher.address.patch import Patch
from patcher.address.thing import Part, Thing, lighting, spans_of
from patcher.errors import refuse
from patcher.shapes import Cells, cells, positions
from patcher.stream.looks import COLOURS, DARK, Colour, Glow, Look
from patcher.wiring import Wiring, port_name

PORT_COLOURS = ("red", "green", "blue", "white", "yellow", "magenta")
"""Colours that an eye tells apart from afar; more ports than that take turns."""

STRIPS = 24
"""Strips into which a sweep along x or y is cut."""


@dataclass(frozen=True)
class Pattern:
    """A run through looks.

    Attributes:
        steps: how many there are.
        rate: steps a second, unless asked otherwise.
        flashes: whether large parts change their brightness at each step.
        look: what is lit at a step, from 0.
    """

    steps: int
    rate: float
    flashes: bool
    look: Callable[[int], Look]


def _glow(part: Part, colour: Colour) -> Glow:
    return Glow(part.run, np.arange(part.first - 1, part.last), colour)


def _range(part: Part, wiring: Wiring, patch: Patch) -> str:
    spans = spans_of(Thing(part.run, "pixels", (part,)), wiring, patch)
    first, last = spans[0], spans[-1]
    ends = f"{first.universe}/{first.first_channel} to {last.universe}/{last.last_channel}"
    others = _sharing(part.run, wiring)
    return f"{part.run} {part.first}–{part.last} at {ends}" + (f" (and {', '.join(others)})" if others else "")


def _sharing(run: str, wiring: Wiring) -> list[str]:
    """The other runs that light with it, being on the same data."""
    source = wiring.source(run)
    return [name for name in (source, *wiring.tees(source)) if name != run]


def steady(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour) -> Pattern:
    """One colour, for as long as it is wanted."""
    parts = lighting(thing, wiring)
    glows = tuple(_glow(part, colour) for part in parts)
    says = tuple(f"{colour.name}: {_range(part, wiring, patch)}" for part in parts)
    return Pattern(1, 1.0, False, lambda step: Look(glows, says))


def primaries(wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    """Red, green, blue, white where the pixel has it, any other channel by its letter, then off."""
    show, parts = wiring.show, lighting(thing, wiring)
    letters = {part.run: show.type_of(show.runs[part.run]).colour_order for part in parts}
    others = sorted({letter for order in letters.values() for letter in order} - set("RGBW"))
    names = {"R": "red", "G": "green", "B": "blue", "W": "white"}
    steps = [letter for letter in [*"RGBW", *others] if any(letter in order for order in letters.values())]

    def look(step: int) -> Look:
        if step == len(steps):
            return Look(tuple(_glow(part, DARK) for part in parts), ("dark: everything",))
        letter = steps[step]
        colour = Colour(names.get(letter, f"channel {letter}"), {letter: 1.0})
        lit = [part for part in parts if letter in letters[part.run]]
        says = tuple(f"{colour.name}: {_range(part, wiring, patch)}" for part in lit)
        return Look(tuple(_glow(part, colour) for part in lit), says)

    return Pattern(len(steps) + 1, 0.5, True, look)


def dot(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour) -> Pattern:
    """One lamp after another, in data order."""
    parts = lighting(thing, wiring)
    ends = list(accumulate(part.pixels for part in parts))

    @cache
    def cells_of(run: str) -> Cells | None:
        return cells(wiring.show, wiring.show.runs[run])

    def look(step: int) -> Look:
        index = bisect_right(ends, step)
        part = parts[index]
        pixel = part.first + step - (ends[index] - part.pixels)
        one = Part(part.run, pixel, pixel)
        span = spans_of(Thing(part.run, "pixel", (one,)), wiring, patch)[0]
        words = f"{part.run}/{pixel}  {span.universe}/{span.first_channel}"
        grid = cells_of(part.run)
        if grid is not None:
            column, row = grid[pixel - 1] + 1
            words += f"  column {column} from the left, row {row} from the bottom"
        if others := _sharing(part.run, wiring):
            words += "  also " + ", ".join(f"{other}/{pixel}" for other in others)
        return Look((_glow(one, colour),), (f"{colour.name}: {words}",))

    return Pattern(ends[-1] if ends else 0, 5.0, False, look)


def ports(wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    """Each port its own colour, named in words; a box with more ports than colours shows them in turns."""
    by_port: dict[tuple[str, int], list[Part]] = {}
    for part in lighting(thing, wiring):
        by_port.setdefault(wiring.ports[part.run], []).append(part)
    number: dict[tuple[str, int], int] = {}
    for controller, port in by_port:
        number[controller, port] = sum(1 for other, _ in number if other == controller)
    turns = max(number.values(), default=0) // len(PORT_COLOURS) + 1

    def look(step: int) -> Look:
        glows: list[Glow] = []
        says: list[str] = []
        for (controller, port), parts in by_port.items():
            turn, place = divmod(number[controller, port], len(PORT_COLOURS))
            if turn == step:
                colour = COLOURS[PORT_COLOURS[place]]
                glows += [_glow(part, colour) for part in parts]
                says.append(f"{colour.name}: {port_name(controller, port)} ({', '.join(part.run for part in parts)})")
        return Look(tuple(glows), tuple(says))

    return Pattern(turns, 0.2, False, look)


def joined(first: Pattern, second: Pattern) -> Pattern:
    """One pattern, then the other, at the rate of the first."""

    def look(step: int) -> Look:
        return first.look(step) if step < first.steps else second.look(step - first.steps)

    return Pattern(first.steps + second.steps, first.rate, first.flashes or second.flashes, look)


STRIP_NAMES = {
    "x": f"strip {{}} of {STRIPS} from the left",
    "y": f"strip {{}} of {STRIPS} from the bottom",
}
SWEEPS = ("rows", "columns", "x", "y")


def sweep(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour, by: str) -> Pattern:
    """A bar that moves: rows or columns of grids, or strips along x or y by where the lamps are."""
    found: list[tuple[str, np.ndarray, np.ndarray]] = []
    for part in lighting(thing, wiring):
        run = wiring.show.runs[part.run]
        places = cells(wiring.show, run) if by in ("rows", "columns") else positions(wiring.show, run)
        if places is not None:
            own = np.arange(part.first - 1, part.last)
            found.append((part.run, own, places[own][:, 1 if by in ("rows", "y") else 0]))
    if not found:
        needs = "a grid" if by in ("rows", "columns") else "a run with a picture"
        raise refuse("sweep", f"“{thing.name}” has nothing to sweep by {by}: that needs {needs}", "name another thing")
    if by in ("x", "y"):
        low = min(float(along.min()) for _, _, along in found)
        high = max(float(along.max()) for _, _, along in found)
        width = (high - low) / STRIPS or 1.0
        found = [(run, own, np.minimum((along - low) // width, STRIPS - 1)) for run, own, along in found]
    stops = sorted({int(stop) for _, _, along in found for stop in np.unique(along)})
    name = {"rows": "row {} from the bottom", "columns": "column {} from the left"}.get(by, STRIP_NAMES.get(by, ""))

    def look(step: int) -> Look:
        lit = [(run, own[along == stops[step]]) for run, own, along in found]
        glows = tuple(Glow(run, pixels, colour) for run, pixels in lit if len(pixels))
        runs = ", ".join(f"{glow.run} ({len(glow.pixels)} lamps)" for glow in glows)
        return Look(glows, (f"{colour.name}: {name.format(stops[step] + 1)}: {runs}",))

    return Pattern(len(stops), 2.0, False, look)
