"""Patterns that stand still and are read along a string: marks to count by, where universes change, both ends.

Each is a pure function from the show and a thing to a pattern of one step. Marks are colours where the pixels can show
them; pixels of one colour show levels instead.
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
DIM = 0.25
"""How bright the pixels between milestones are, beside the marks."""
MILESTONES = ((10, "red"), (5, "yellow"), (1, "blue"))
"""Which multiples of a milestone have which colour. Blue beside yellow is told apart by nearly every eye."""
EDGE_COLOURS = ("red", "green", "blue", "yellow", "magenta", "cyan")
EDGE_LEVELS = (0.125, 0.5)


def _still(glows: list[Glow], says: list[str]) -> Pattern:
    look = Look(tuple(glows), tuple(says))
    return Pattern(1, 1.0, (), lambda step: look)


def _letters(part: Part, wiring: Wiring) -> str:
    return wiring.show.type_of(wiring.show.runs[part.run]).colour_order


def milestones(wiring: Wiring, patch: Patch, thing: Thing, every: int = EVERY, sent: float = 1.0) -> Pattern:
    """Every tenth pixel of a run in blue, fiftieths in yellow, hundredths in red, the others in dim white.

    Args:
        wiring: what hangs where.
        patch: which channels it has.
        thing: what is lit; pixels are counted from their run's data-in, whatever part of it is lit.
        every: from one mark to the next; each fifth and each tenth mark has a colour of its own.
        sent: the level that everything is sent at, for the words.
    """
    glows, says = [], []
    for part in lighting(thing, wiring):
        letters = _letters(part, wiring)
        plain = brightest(letters)
        numbers = np.arange(part.first, part.last + 1)
        left = np.ones(len(numbers), dtype=bool)
        marks: list[str] = []
        for times, name in MILESTONES if tells_colours(letters) else ((1, plain.name),):
            own = left & (numbers % (every * times) == 0)
            left &= ~own
            if own.any():
                glows.append(Glow(part.run, numbers[own] - 1, COLOURS.get(name, plain)))
                marks.insert(0, f"{name} {_listed(numbers[own].tolist())}")
        if left.any():
            glows.append(Glow(part.run, numbers[left] - 1, plain.at(DIM)))
            marks.append(f"the others {plain.at(DIM).words(sent)}")
        says.append(f"{part.run} {part.first}–{part.last}{also(part.run, wiring)}: {'; '.join(marks)}")
    return _still(glows, says)


def _listed(numbers: list[int], most: int = 6) -> str:
    """Numbers in words, the middle of many left out: `10, 20, 30 … 490`."""
    return (
        ", ".join(map(str, numbers)) if len(numbers) <= most else f"{', '.join(map(str, numbers[:3]))} … {numbers[-1]}"
    )


def edges(wiring: Wiring, patch: Patch, thing: Thing, sent: float = 1.0) -> Pattern:
    """Another colour in each universe, its first pixel on each run white: a wrong start moves or recolours the picture.

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
            mark = f", {part.run}/{first} itself {_mark(brightest(letters), colour, sent)}" if marked else ""
            says.append(
                _edge_words(colour.words(sent), part.run, cut(span, first, last), mark) + also(part.run, wiring)
            )
    return _still(glows, says)


def _universe_colour(universe: int, letters: str) -> Colour:
    if tells_colours(letters):
        return COLOURS[EDGE_COLOURS[universe % len(EDGE_COLOURS)]]
    return brightest(letters).at(EDGE_LEVELS[universe % len(EDGE_LEVELS)])


def _mark(mark: Colour, colour: Colour, sent: float) -> str:
    """A mark's colour, with how bright it is beside pixels of the same colour."""
    return mark.words(sent) if mark.name == colour.name else mark.name


def _edge_words(colour: str, run: str, span: Span, mark: str) -> str:
    where = f"universe {span.universe}, from {span.universe}/{span.first_channel}"
    return f"{colour}: {run} {span.first_pixel}–{span.last_pixel}, {where}{mark}"


def ends(wiring: Wiring, patch: Patch, thing: Thing, colour: Colour) -> Pattern:
    """One pixel where the data enters a run and three at its other end: a run that hangs the wrong way round shows.

    Of four pixels the last two are lit and of two or three none, so that there too the ends differ. Of a part of a run
    the ends of that part are lit.
    """
    glows, says = [], []
    for part in lighting(thing, wiring):
        far = min(3, part.pixels - 2) if part.pixels > 3 else 0
        lit = [part.first, *range(part.last - far + 1, part.last + 1)]
        glows.append(Glow(part.run, np.array(lit) - 1, colour))
        near_side, far_side = _sides(part, wiring)
        words = f"{colour.name}: {part.run}/{part.first} at the data-in end{near_side}"
        if far:
            words += f", {part.run} {part.last - far + 1}–{part.last} at the other end{far_side}"
        elif part.pixels > 1:
            words += f", no pixel at the other end{far_side}: too short for more"
        says.append(words + also(part.run, wiring))
    return _still(glows, says)


def _sides(part: Part, wiring: Wiring) -> tuple[str, str]:
    """Which side each end is on, as the audience sees it; nothing where no side tells them apart."""
    places = positions(wiring.show, wiring.show.runs[part.run])
    if places is None:
        return "", ""
    near, far = readings(places[part.first - 1 : part.last])
    if near.begin == far.begin:
        return f" ({near.side})", f" (beside it, going {near.way})"
    return f" ({near.side})" * bool(near.side), f" ({far.side})" * bool(far.side)
