"""Test patterns of one step, read along a string: marks to count by, where universes change, both ends.

Each is a pure function from the show and a thing to a pattern of one step.
"""

from __future__ import annotations

import numpy as np

from patcher.ends import readings
from patcher.frames.looks import COLOURS, Colour, Glow, Look, brightest
from patcher.frames.patterns import Pattern, also, glow_of
from patcher.patch.patch import Patch, Span, cut
from patcher.patch.thing import Part, Thing, lighting
from patcher.shapes import positions
from patcher.trade import tells_colours
from patcher.wiring import Wiring

EVERY = 10
"""Pixels from one milestone to the next, unless asked otherwise."""
WIDTHS = ((10, 3), (5, 2), (1, 1))
"""How many pixels are lit side by side at which multiples of a milestone."""
NUMBERS = {1: "one", 2: "two", 3: "three"}
FIRST_AND_LAST = ("where these pixels begin", "where they end")
"""The ends of a part of a run, whose sides are those of the part."""
EDGE_COLOURS = ("red", "green", "blue", "yellow", "magenta", "cyan")
EDGE_LEVELS = (0.125, 0.5)


def _still(glows: list[Glow], says: list[str]) -> Pattern:
    look = Look(tuple(glows), tuple(says))
    return Pattern(1, 1.0, (), lambda step: look)


def _letters(part: Part, wiring: Wiring) -> str:
    return wiring.show.type_of(wiring.show.runs[part.run]).colour_order


def milestones(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour, every: int = EVERY) -> Pattern:
    """Every tenth pixel of a run lit, at each fiftieth two side by side, at each hundredth three; the rest dark.

    The last pixel of a mark is the one that is counted. What a mark is shows by its width, so that pixels of one colour
    can show it, and it asks for no colour vision.

    Args:
        wiring: what hangs where.
        patch: which channels it has.
        thing: what is lit; pixels are counted from their run's data-in, whatever part of it is lit.
        colour: of the marks; pixels that cannot show it light all their channels.
        every: from one mark to the next; each fifth mark is two wide, each tenth three. Four or more, so that there is
            a dark pixel between any two marks.
    """
    glows, says = [], []
    for part in lighting(thing, wiring):
        letters = _letters(part, wiring)
        shown = colour if colour.name != "white" and any(colour.on(letters)) else brightest(letters)
        lit = np.array([], dtype=np.int64)
        marks: dict[int, list[str]] = {}
        for last in range(part.first + (-part.first) % every, part.last + 1, every):
            width = next(width for times, width in WIDTHS if last % (every * times) == 0)
            first = max(last - width + 1, part.first)
            lit = np.append(lit, np.arange(first, last + 1))
            marks.setdefault(last - first + 1, []).append(f"{first}–{last}" if last > first else str(last))
        if len(lit):
            glows.append(Glow(part.run, lit - 1, shown))
        said = [
            f"{NUMBERS[width]} at {_others(places, every) if width == 1 else _listed(places)}"
            for width, places in sorted(marks.items(), reverse=True)
        ]
        where = f"{part.run} {part.first}–{part.last}{also(part.run, wiring)}"
        says.append(f"{where}: {shown.name}: {'; '.join([*said, 'the rest dark'])}")
    return _still(glows, says)


MOST_LISTED = 4
"""So many marks are listed; of more the middle is left out."""


def _listed(places: list[str]) -> str:
    """Places in words, the middle of many left out: `98–100, 198–200, 298–300 … 498–500`."""
    return ", ".join(places) if len(places) <= MOST_LISTED else f"{', '.join(places[:3])} … {places[-1]}"


def _others(places: list[str], every: int) -> str:
    """Marks of one pixel in words; what is left out of many must not seem to hold the wider marks too."""
    return f"the other multiples of {every}: " * (len(places) > MOST_LISTED) + _listed(places)


def edges(wiring: Wiring, patch: Patch, thing: Thing, sent: float = 1.0) -> Pattern:
    """Each universe in another colour, its first pixel on each run white: a wrong start shows at once.

    A universe's colour follows from its number, so that it is the same in every box, and neighbours differ. Where a run
    has one pixel only in a universe, that has the universe's colour. `sent` is the level that everything is sent at.
    """
    glows: list[Glow] = []
    says: list[str] = []
    for part in lighting(thing, wiring):
        letters = _letters(part, wiring)
        for span in patch.run_spans(wiring.source(part.run)):
            first, last = max(span.first_pixel, part.first), min(span.last_pixel, part.last)
            if first > last:
                continue
            colour = _universe_colour(span.universe, letters)
            marked = first == span.first_pixel < span.last_pixel
            if marked:
                glows.append(glow_of(Part(part.run, first, first), brightest(letters)))
            if first + marked <= last:
                glows.append(glow_of(Part(part.run, first + marked, last), colour))
            mark = f", {part.run}/{first} itself {brightest(letters).words(sent)}" if marked else ""
            says.append(
                _edge_words(colour.words(sent), part.run, cut(span, first, last), mark) + also(part.run, wiring)
            )
    return _still(glows, says)


def _universe_colour(universe: int, letters: str) -> Colour:
    if tells_colours(letters):
        return COLOURS[EDGE_COLOURS[universe % len(EDGE_COLOURS)]]
    return brightest(letters).at(EDGE_LEVELS[universe % len(EDGE_LEVELS)])


def _edge_words(colour: str, run: str, span: Span, mark: str) -> str:
    where = f"universe {span.universe}, from {span.universe}/{span.first_channel}"
    return f"{colour}: {run} {span.first_pixel}–{span.last_pixel}, {where}{mark}"


def ends(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour) -> Pattern:
    """One pixel where the data enters a run and three at its other end: a run that is turned round shows.

    Of four pixels the last two are lit and of two or three none, so that there too the ends differ. Of a part of a run
    the ends of that part are lit.
    """
    glows, says = [], []
    for part in lighting(thing, wiring):
        far = min(3, part.pixels - 2) if part.pixels > 3 else 0
        lit = [part.first, *range(part.last - far + 1, part.last + 1)]
        glows.append(Glow(part.run, np.array(lit) - 1, colour))
        near_side, far_side = _sides(part, wiring)
        whole = part.pixels == wiring.show.runs[part.run].pixels
        near, beyond = ("at the data-in end", "at the other end") if whole else FIRST_AND_LAST
        words = f"{colour.name}: {part.run}/{part.first} {near}{near_side}"
        if far:
            words += f", {part.run} {part.last - far + 1}–{part.last} {beyond}{far_side}"
        elif part.pixels > 1:
            words += f", no pixel {beyond}{far_side}: too short for more"
        says.append(words + also(part.run, wiring))
    return _still(glows, says)


def _sides(part: Part, wiring: Wiring) -> tuple[str, str]:
    """Which side each end is on, as the audience sees it; nothing where no side tells them apart."""
    places = positions(wiring.show, wiring.show.runs[part.run])
    if places is None:
        return "", ""
    near, far = readings(places[part.first - 1 : part.last])
    whole = part.pixels == wiring.show.runs[part.run].pixels
    sides = [f" ({end.side if whole else f'at their {end.side}'})" * bool(end.side) for end in (near, far)]
    if near.begin == far.begin:
        sides[1] = f" (next to it; the data goes round {near.way})"
    return sides[0], sides[1]
