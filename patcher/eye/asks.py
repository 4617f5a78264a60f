"""What can be asked of the eye about a frame, and the answers that it can give, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from patcher.eye.shades import COLOURS, ODD

CANNOT_TELL = "can't tell"
IN_PARTS = "several colours, or only about half of it lit"
"""Of a run most of which shows no one shade."""
NEVER_DARK, NEVER_APART = "it never vanished", "they never came apart"
NEVER = (NEVER_DARK, NEVER_APART)
"""Answers that say of a frame that moves that all of it was right."""
WHOLE = 1 << 20
"""In place of a number of passes: all of them, to the end."""
QUARTERS = ("bottom left", "bottom right", "top left", "top right")

AskKind = Literal[
    "whole", "outer", "colours", "gap", "where", "flicker", "few", "vanish", "together", "even", "alike", "odd"
]
PRICES: dict[AskKind, float] = {
    "whole": 1.0, "outer": 1.0, "colours": 1.0, "flicker": 1.0, "where": 1.0, "few": 1.0, "gap": 1.5, "vanish": 2.0,
    "together": 2.0, "even": 1.0, "alike": 1.5, "odd": 1.5,
}  # fmt: skip
"""What an ask costs a person, in asks about one place. A proposal too: a gap has to be searched, a dot waited for."""
FURTHER = 0.15
"""What each further run costs where few pixels are read off several."""

Sight = tuple[tuple[int, ...], ...]
"""What is read off some runs on which few pixels are lit: for each run its steady pixels in order, each as the sum of
its shade, `GAP` where a dark pixel follows before the next, and on a grid `QUARTER` times its quarter, from 1. `MANY`
and `FLICKERS` stand for what cannot be counted.
"""
MANY, FLICKERS = -1, -2
GAP, QUARTER = 8, 16


@dataclass(frozen=True)
class Ask:
    """One thing that an eye is asked about a frame.

    Attributes:
        kind: what is asked. `whole`: the shade of a run as a whole; `outer`: the shade of the outermost steady pixel at
            an end; `colours`: which colour is missing; `gap`: behind which colour a dark pixel is; `odd`: behind which
            colour a single pixel of another colour is; `where`: in which quarter a colour is; `flicker`: whether it
            flickers; `few`: which of some sights the few lit pixels give; `vanish`: in which pass a dot was first not
            seen; `together`: in which pass two pixels were first not side by side; `even`: whether all that should be
            lit has one colour; `alike`: the same of several runs, in one colour after the other.
        runs: the runs to look at: one, but for `few`, `alike` and what goes on along others.
        answers: what can be said, for a person, "can't tell" last.
        colours: those of the frame, as far as they are asked about.
        end: for `outer`: −1 for the last pixel, 0 for the first.
        quarters: for `where`: the quarter, 0 to 3, that each pixel is in.
        goes: for `vanish` and `together`: the pass, from 0, that each step of the frame belongs to.
        places: for `together`: where the pixels of the runs are, 1 or `LINE` apart where side by side: shape (pixels,).
        sights: for `few`: those that are offered.
        grids: for `few`: for each run the quarter of each pixel, None where it is no grid.
        count: for `even`: how many pixels should be lit.
        part: for `even`: the first and the last of the pixels that should be lit, from 1; None: all of the run.
        counts: for `alike`: how many pixels of each run should be lit in each colour: one tuple for each colour.
        needs: for each answer how many passes must have begun before it can be true: one that names a pass needs that
            pass, one about the whole frame all of it, `WHOLE`. Empty where nothing moves: all can be said at once.
        parts: for `vanish` and `together`: the runs along which it goes only a part of the way.
        steady: for `alike`: what is dark or flickers is not asked about.
    """

    kind: AskKind
    runs: tuple[str, ...]
    answers: tuple[str, ...]
    colours: tuple[str, ...] = ()
    end: int = 0
    quarters: NDArray[np.int8] | None = field(default=None, compare=False, repr=False)
    goes: NDArray[np.int8] | None = field(default=None, compare=False, repr=False)
    places: NDArray[np.int64] | None = field(default=None, compare=False, repr=False)
    sights: tuple[Sight, ...] = ()
    grids: tuple[NDArray[np.int8] | None, ...] = field(default=(), compare=False, repr=False)
    count: int = 0
    part: tuple[int, int] | None = None
    counts: tuple[tuple[int, ...], ...] = ()
    needs: tuple[int, ...] = ()
    parts: tuple[str, ...] = ()
    steady: bool = False

    @property
    def price(self) -> float:
        """What it costs."""
        return PRICES[self.kind] + (FURTHER * (len(self.runs) - 1) if self.kind == "few" else 0.0)


def whole(run: str) -> Ask:
    """What does the run look like as a whole?"""
    said = ("dark", *COLOURS, "another colour", "it flickers", IN_PARTS, CANNOT_TELL)
    return Ask("whole", (run,), said)


def outer(run: str, end: int) -> Ask:
    """What colour is the outermost pixel that is lit and steady, from the first pixel (0) or the last (−1)?"""
    said = ("nothing is lit", *COLOURS, "another colour", "what is lit only flickers", CANNOT_TELL)
    return Ask("outer", (run,), said, end=end)


def even(run: str, colour: str, count: int, part: tuple[int, int] | None = None) -> Ask:
    """So many pixels should be lit, in one colour (any but those of `COLOURS` is another one): are they all alike? Of a
    part of a run its first pixel and its last, from 1.
    """
    said = ("all alike", "not all: one is dark, dimmer or of another colour", CANNOT_TELL)
    if part is not None and count == 1:
        said = ("yes", "no: it is dark, dimmer or of another colour", CANNOT_TELL)
    return Ask("even", (run,), said, (colour,), count=count, part=part)


def alike(
    runs: tuple[str, ...], colours: tuple[str, ...], counts: tuple[tuple[int, ...], ...], *, steady: bool = False
) -> Ask:
    """All of some runs in one colour after the other: is any pixel dark, dimmer or of another colour? Steady: is any of
    another colour, of those that are lit and steady?
    """
    said = (
        "all are alike",
        *(f"not in {colour}" for colour in colours),
        "not in several colours",
        "something flickers",
    )
    needs = (WHOLE,) * (len(said) - 1) + (0, 0)
    return Ask("alike", runs, (*said, CANNOT_TELL), colours, counts=counts, needs=needs, steady=steady)


def missing(run: str, colours: tuple[str, ...]) -> Ask:
    """Which of the frame's colours is missing?"""
    said = ("none is missing", *(f"{colour} is missing" for colour in colours), "several are missing", "nothing is lit")
    return Ask("colours", (run,), (*said, CANNOT_TELL), colours)


def gap(run: str, colours: tuple[str, ...]) -> Ask:
    """Is there a gap, and which colour is just before it, coming from the first pixel?"""
    said = ("no gap", *(f"after {colour}" for colour in colours), "several gaps, or elsewhere", CANNOT_TELL)
    return Ask("gap", (run,), said, colours)


def odd(run: str, colours: tuple[str, ...]) -> Ask:
    """Is there a single pixel of another colour in a stretch, and which colour is just before it?"""
    said = ("none", *(f"after {colour}" for colour in colours), "several, or elsewhere", CANNOT_TELL)
    return Ask("odd", (run,), said, colours)


def where(run: str, colour: str, quarters: NDArray[np.int8], names: Sequence[str]) -> Ask:
    """In which quarter is the light of that colour?"""
    said = (*names, "in more than one", f"no {colour} anywhere", CANNOT_TELL)
    return Ask("where", (run,), said, (colour,), quarters=quarters)


def flicker(run: str) -> Ask:
    """Does anything on the run flicker?"""
    return Ask("flicker", (run,), ("nothing", "a part of it", "all of it", CANNOT_TELL))


def vanish(runs: tuple[str, ...], goes: NDArray[np.int8], parts: tuple[str, ...] = ()) -> Ask:
    """A single dot steps along in up to four passes, with a rest between: in which did it first vanish? It may go on
    along other runs.
    """
    said, needs = _of_passes(goes, NEVER_DARK, "I never saw one")
    return Ask("vanish", runs, said, goes=goes, needs=needs, parts=parts)


def together(
    runs: tuple[str, ...], goes: NDArray[np.int8], places: NDArray[np.int64], parts: tuple[str, ...] = ()
) -> Ask:
    """The same with two pixels side by side: in which pass were they first not so, one dark or another between them?"""
    said, needs = _of_passes(goes, NEVER_APART, "I never saw two")
    return Ask("together", runs, said, goes=goes, places=places, needs=needs, parts=parts)


def _of_passes(goes: NDArray[np.int8], never: str, none: str) -> tuple[tuple[str, ...], tuple[int, ...]]:
    """What can be said of passes, and how many must have begun before it can be said."""
    passes = range(1, int(goes.max()) + 2)
    return (*(f"pass {number}" for number in passes), never, none, CANNOT_TELL), (*passes, WHOLE, WHOLE, 0)


def few(runs: tuple[str, ...], sights: tuple[Sight, ...], grids: tuple[NDArray[np.int8] | None, ...]) -> Ask:
    """Where few pixels are lit on some runs: which of these do they give?"""
    lit = any(pixels for sight in sights for pixels in sight)
    said = (*(in_words(runs, sight) for sight in sights), "none of these" if lit else "something is lit", CANNOT_TELL)
    return Ask("few", runs, said, sights=sights, grids=grids)


def in_words(runs: Sequence[str], sight: Sight) -> str:
    """A sight for a person, each run from its first pixel on: `eaves: red, gap, blue; gable: nothing`."""
    of_runs = [", ".join(_pixel_words(pixels)) or "nothing" for pixels in sight]
    if len(runs) == 1 or set(of_runs) == {"nothing"}:
        return of_runs[0]
    return "; ".join(f"{run}: {words}" for run, words in zip(runs, of_runs, strict=True))


def _pixel_words(pixels: Sequence[int]) -> Iterator[str]:
    names = {shade: name for name, shade in COLOURS.items()} | {ODD: "another colour"}
    for quarter, group in groupby(pixels, lambda pixel: max(pixel, 0) // QUARTER):
        said: list[str] = []
        for pixel in group:
            said += [names[pixel % GAP]] if pixel >= 0 else ["more than four" if pixel == MANY else "some flicker"]
            said += ["gap"] * (pixel >= 0 and bool(pixel & GAP))
        in_quarter = " and ".join(filter(None, (", ".join(said[:-1]), said[-1])))
        yield f"{in_quarter} {QUARTERS[quarter - 1]}" if quarter else ", ".join(said)


def goes_of(lengths: Sequence[int]) -> NDArray[np.int8]:
    """The pass, from 0, that each step belongs to, for passes of so many steps each."""
    return np.repeat(np.arange(len(lengths), dtype=np.int8), lengths)
