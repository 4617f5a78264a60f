"""The test patterns: each is a pure function from the show, a thing and a step to a look.

A pattern runs through its steps at a rate and begins again. What each step says is what a person should see.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from itertools import accumulate
from math import ceil

import numpy as np

from patcher.errors import PatcherError, first_few, refuse
from patcher.frames.looks import COLOURS, DARK, Colour, Glow, Look
from patcher.patch.patch import Patch
from patcher.patch.thing import Part, Thing, lighting, spans_of
from patcher.shapes import Cells, cells, positions
from patcher.trade import letter_name, letter_place
from patcher.wiring import Wiring, port_name

PORT_COLOURS = ("red", "green", "blue", "white", "yellow", "magenta")
"""Colours that an eye tells apart from afar; more ports than that take turns."""

STRIPS = 24
"""Strips into which a sweep along x or y is cut."""


RAMP_SECONDS = 8.0
"""From dark to the level and back, unless asked otherwise: slow enough to see a pixel flicker on the way."""
TENTHS = 10
FIRST_STEPS = 4
"""So many steps tell whether a pattern lights much at once."""


@dataclass(frozen=True)
class Pattern:
    """A test pattern: a number of steps, and what is lit at each.

    Attributes:
        steps: how many there are.
        rate: steps a second, unless asked otherwise.
        brightens: the steps at which more than a pixel or two grow brighter: each is half of a flash.
        look: what is lit at a step, from 0.
    """

    steps: int
    rate: float
    brightens: tuple[int, ...]
    look: Callable[[int], Look]

    def at(self, rate: float | None) -> Pattern:
        """The same at another rate, in steps a second; None leaves it."""
        return self if rate is None else replace(self, rate=rate)

    @property
    def flashes(self) -> int:
        """The most flashes in any one second, while the pattern repeats."""
        rounds, rest = divmod(ceil(self.rate), self.steps or 1)
        marks = np.zeros(2 * self.steps + 1, dtype=int)
        for step in self.brightens:
            marks[[step + 1, step + self.steps + 1]] = 1
        before = marks.cumsum()
        return rounds * len(self.brightens) + int((before[rest:] - before[: len(before) - rest]).max())


def lights_much(pattern: Pattern, thing: Thing) -> bool:
    """Whether a pattern lights half of a thing's pixels or more at once, told from its first steps."""
    most = max(
        (sum(len(glow.pixels) for glow in pattern.look(step).glows) for step in range(min(pattern.steps, FIRST_STEPS))),
        default=0,
    )
    return 2 * most >= sum(part.pixels for part in thing.parts)


def glow_of(part: Part, colour: Colour) -> Glow:
    """All of a part in one colour."""
    return Glow(part.run, np.arange(part.first - 1, part.last), colour)


def _range(part: Part, wiring: Wiring, patch: Patch) -> str:
    spans = spans_of(Thing(part.run, "pixels", (part,)), wiring, patch)
    first, last = spans[0], spans[-1]
    ends = f"{first.universe}/{first.first_channel} to {last.universe}/{last.last_channel}"
    return f"{part.in_words} at {ends}{also(part.run, wiring)}"


def sharing(run: str, wiring: Wiring) -> list[str]:
    """The other runs that hang on the same data, and so light too."""
    source = wiring.source(run)
    return [name for name in (source, *wiring.tees(source)) if name != run]


def also(run: str, wiring: Wiring) -> str:
    """In brackets, the other runs that light too; nothing where there are none."""
    others = sharing(run, wiring)
    return f" (and {', '.join(others)})" if others else ""


def steady(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour) -> Pattern:
    """One colour, for as long as it is wanted."""
    parts = lighting(thing, wiring)
    glows = tuple(glow_of(part, colour) for part in parts)
    says = tuple(f"{colour.name}: {_range(part, wiring, patch)}" for part in parts)
    return Pattern(1, 1.0, (), lambda step: Look(glows, says))


def primaries(wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    """Red, green, blue, white where the pixel has it, any other channel by its letter, then off."""
    show, parts = wiring.show, lighting(thing, wiring)
    letters = {part.run: show.type_of(show.runs[part.run]).colour_order for part in parts}
    steps = sorted({letter for order in letters.values() for letter in order}, key=letter_place)

    def look(step: int) -> Look:
        if step == len(steps):
            return Look(tuple(glow_of(part, DARK) for part in parts), ("dark: everything",))
        letter = steps[step]
        colour = Colour(letter_name(letter), {letter: 1.0})
        lit = [part for part in parts if letter in letters[part.run]]
        says = tuple(f"{colour.name}: {_range(part, wiring, patch)}" for part in lit)
        return Look(tuple(glow_of(part, colour) for part in lit), says)

    return Pattern(len(steps) + 1, 0.5, tuple(range(len(steps) + 1)), look)


def dot(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour) -> Pattern:
    """One pixel after another, in data order."""
    parts = lighting(thing, wiring)
    ends = list(accumulate(part.pixels for part in parts))

    @cache
    def cells_of(run: str) -> Cells | None:
        return cells(wiring.show, wiring.show.runs[run])

    def look(step: int) -> Look:
        index = bisect_right(ends, step)
        part = parts[index]
        pixel = part.first + step - (ends[index] - part.pixels)
        pixel_part = Part(part.run, pixel, pixel)
        span = spans_of(Thing(part.run, "pixel", (pixel_part,)), wiring, patch)[0]
        words = f"{part.run}/{pixel}  {span.universe}/{span.first_channel}"
        grid = cells_of(part.run)
        if grid is not None:
            column, row = grid[pixel - 1] + 1
            words += f"  column {column} from the left, row {row} from the bottom"
        if others := sharing(part.run, wiring):
            words += "  also " + ", ".join(f"{other}/{pixel}" for other in others)
        return Look((glow_of(pixel_part, colour),), (f"{colour.name}: {words}",))

    return Pattern(ends[-1] if ends else 0, 5.0, (), look)


def ports(wiring: Wiring, patch: Patch, thing: Thing) -> Pattern:
    """Each port of a box its own colour, named in words; a box with more ports than colours shows them in turns."""
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
                glows += [glow_of(part, colour) for part in parts]
                runs = [run for part in parts for run in (part.run, *sharing(part.run, wiring))]
                says.append(f"{colour.name}: {port_name(controller, port)} ({', '.join(runs)})")
        return Look(tuple(glows), tuple(says))

    return Pattern(turns, 0.2, tuple(range(turns)) if turns > 1 else (), look)


def joined(first: Pattern, second: Pattern) -> Pattern:
    """One pattern, then the other, at the rate of the first."""

    def look(step: int) -> Look:
        return first.look(step) if step < first.steps else second.look(step - first.steps)

    later = tuple(step + first.steps for step in second.brightens)
    return Pattern(first.steps + second.steps, first.rate, first.brightens + later, look)


STRIP_NAMES = {
    "rows": "row {} from the bottom",
    "columns": "column {} from the left",
    "x": f"strip {{}} of {STRIPS} from the left",
    "y": f"strip {{}} of {STRIPS} from the bottom",
}
SWEEPS = tuple(STRIP_NAMES)


def sweep(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour, by: str) -> Pattern:
    """A bar that moves: rows or columns of grids, or strips along x or y by where the pixels are.

    A grid that is wired otherwise than planned breaks the bar. What has no picture stays dark, and that is said.
    """
    found: list[tuple[str, np.ndarray, np.ndarray]] = []
    dark: list[str] = []
    for part in lighting(thing, wiring):
        run = wiring.show.runs[part.run]
        places = cells(wiring.show, run) if by in ("rows", "columns") else positions(wiring.show, run)
        if places is None:
            dark.append(part.run)
            continue
        own = np.arange(part.first - 1, part.last)
        found.append((part.run, own, places[own][:, 1 if by in ("rows", "y") else 0]))
    needs = "grid" if by in ("rows", "columns") else "picture"
    if not found:
        raise _nothing_to_sweep(wiring, thing, by, needs)
    if by in ("x", "y"):
        found = _in_strips(found)
    stops = sorted({int(stop) for _, _, along in found for stop in np.unique(along)})
    left_out = f"; no {needs}, so dark: {first_few(dark, 3)}" if dark else ""

    def look(step: int) -> Look:
        lit = [(run, own[along == stops[step]]) for run, own, along in found]
        glows = tuple(Glow(run, pixels, colour) for run, pixels in lit if len(pixels))
        runs = ", ".join(f"{glow.run} ({len(glow.pixels)} pixels)" for glow in glows)
        return Look(glows, (f"{colour.name}: {STRIP_NAMES[by].format(stops[step] + 1)}: {runs}{left_out}",))

    lit = [sum(int((along == stop).sum()) for _, _, along in found) for stop in stops]
    return Pattern(len(stops), 2.0, _brightening(lit), look)


def _nothing_to_sweep(wiring: Wiring, thing: Thing, by: str, needs: str) -> PatcherError:
    """Why a thing cannot be swept so, and how it can."""
    says = f"“{thing.name}” has nothing to sweep by {by}: that needs a {needs}"
    drawn = any(positions(wiring.show, wiring.show.runs[part.run]) is not None for part in lighting(thing, wiring))
    ways = "sweep it left to right (--by x) or bottom to top (--by y), or " if needs == "grid" and drawn else ""
    return refuse("sweep", says, f"{ways}name a thing that has a {needs}")


def _in_strips(found: list[tuple[str, np.ndarray, np.ndarray]]) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """The strip, from 0, in place of each coordinate."""
    low = min(float(along.min()) for _, _, along in found)
    high = max(float(along.max()) for _, _, along in found)
    width = (high - low) / STRIPS or 1.0
    return [(run, own, np.minimum((along - low) // width, STRIPS - 1)) for run, own, along in found]


def _brightening(lit: list[int]) -> tuple[int, ...]:
    """The steps at which so many more pixels are lit than a moment before that the whole has grown brighter.

    A tenth of the most counts; each pixel by itself grows brighter once a round, so that there is one step at least.
    From memory: WCAG 2.2, general flash: opposing changes of a tenth of full luminance.
    """
    found: set[int] = set()
    extreme, rising = lit[0], True
    for step, count in enumerate([*lit, *lit]):
        turns = abs(count - extreme) >= max(lit) / 10 and (count > extreme) != rising
        if turns and not rising:
            found.add(step % len(lit))
        if turns or (count > extreme) == rising:
            extreme, rising = count, rising != turns
    return tuple(sorted(found)) or ((0,) if len(lit) > 1 else ())


def ramp(
    wiring: Wiring, patch: Patch, thing: Thing, colour: Colour, frames: float, seconds: float = RAMP_SECONDS,
    sent: float = 1.0,
) -> Pattern:  # fmt: skip
    """From dark to the level and back, evenly, a step each frame: shows dimming, and pixels that flicker.

    Args:
        wiring: what hangs where.
        patch: which channels it has.
        thing: what is lit.
        colour: at full.
        frames: frames a second.
        seconds: from dark to dark, rounded up to an even number of frames.
        sent: the level that everything is sent at, for the words.
    """
    parts = lighting(thing, wiring)
    half = max(1, ceil(frames * seconds / 2 - 1e-9))
    names = first_few([f"{part.in_words}{also(part.run, wiring)}" for part in parts], 3)

    def level(step: int) -> float:
        return 1 - abs(half - step) / half

    def tenth(step: int) -> int:
        return step * TENTHS // half if step <= half else -((step - 2 * half) * TENTHS // half)

    def look(step: int) -> Look:
        now = colour.at(level(step))
        passed = step == 0 or tenth(step) != tenth(step - 1)
        says = (f"{now.words(sent)}, {'falling' if step >= half else 'rising'}: {names}",) if passed else ()
        return Look(tuple(glow_of(part, now) for part in parts), says)

    return Pattern(2 * half, frames, (1,), look)
