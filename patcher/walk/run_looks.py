"""One run in the steps of a walk-through: the colours that it is lit in, the words for them, and an eye's answers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher import eye
from patcher.diagnosis import place_words
from patcher.diagnosis.scene import quarters_of
from patcher.ends import part_of, ways_round
from patcher.shapes import Positions, cells, lattice, positions
from patcher.trade import plain_colours
from patcher.walk.step import Check, Pixels
from patcher.wiring import Wiring

Parts = dict[str, Pixels]
"""Pixels of one run, from 0, by colour."""
SIDES = ("top left", "top right", "bottom left", "bottom right")
DARK = "dark"
"""In place of a colour: a part that is not lit."""


@dataclass(frozen=True, eq=False)
class Ends:
    """The pixels that are lit at both ends of a run, from 0, and their colours."""

    first: Pixels
    others: Pixels
    near: str
    far: str


class RunLooks:
    """How one run is lit, and what is then seen of it.

    Attributes:
        run: the run.
        count: how many pixels it has.
        letters: its colour order.
        colours: the colours that its pixels can show and an eye can tell; white where it has none of those.
        places: where its pixels are: shape (pixels, 2); None without a picture.
        closed: whether its picture closes on itself: no eye then tells its first pixel from the next, but in a corner.
        seam: of a closed outline the pixel at its seam, 0 or −1, that an eye finds.
    """

    def __init__(self, wiring: Wiring, run: str) -> None:
        show, table = wiring.show, wiring.show.runs[run]
        self.run, self.count = run, table.pixels
        self.letters = show.type_of(table).colour_order
        self.colours = plain_colours(self.letters) or ("white",)
        self.places = positions(show, table)
        self.closed = table.shape_name == "loop"
        self.seam = place_words.corner_at_seam(self.places) if self.closed else None
        self._lattice, self._cells = lattice(show, table), cells(show, table)
        self._square = self._cells is not None and bool((np.ptp(self._cells, axis=0) > 0).all())

    @property
    def all(self) -> Pixels:
        """All of its pixels."""
        return np.arange(self.count)

    def colour(self, number: int) -> str:
        """One of its colours, which come round again."""
        return self.colours[number % len(self.colours)]

    @cached_property
    def parts(self) -> Parts:
        """A grid in its quarters, else the run in as many equal parts as an eye can tell colours in it; a run of one
        colour half lit and half dark.
        """
        colours, count = self.colours, self.count
        if self._square and self.places is not None:
            return quarters(self.places, self.places, [*colours, DARK, DARK, DARK][:4])
        if len(colours) == 1 and count > 1:
            colours = (*colours, DARK)
        many = min(len(colours), count if count <= eye.COUNTS_TO else count // eye.SEEN_FROM)
        bounds = [round(count * part / many) for part in range(many + 1)]
        return {colours[part]: np.arange(bounds[part], bounds[part + 1]) for part in range(many)}

    def in_words(self, parts: Parts) -> str:
        """Which colour is where."""
        if not self._square:
            return place_words.colours_along(self.places, parts)
        sides = zip(SIDES, self.colours, strict=False)
        named = ", ".join(f"{side} {colour}" for side, colour in sides if colour in parts)
        return named + ", the rest dark" * (DARK in parts)

    def checks(self, parts: Parts, *, whole: bool = False) -> Iterator[Check]:
        """What an eye says of the run lit in these parts, as far as it would say so of a sound one."""
        shades = np.zeros(self.count, dtype=np.uint8)
        for colour, pixels in parts.items():
            shades[pixels] = eye.COLOURS.get(colour, eye.DARK)
        colours = tuple(colour for colour in parts if colour != DARK)
        checks = [Check(self.run, eye.whole(self.run), colour, pixels) for colour, pixels in parts.items()]
        checks.append(Check(self.run, eye.missing(self.run, colours), "none is missing"))
        if whole and self.count > 1:
            checks.append(Check(self.run, eye.gap(self.run, colours), "no gap"))
            checks.append(Check(self.run, eye.flicker(self.run), "nothing"))
        for end in () if self.closed else (0, -1):
            checks += [Check(self.run, eye.outer(self.run, end), colour) for colour in colours]
        if (lit := int((shades != eye.DARK).sum())) <= eye.COUNTS_TO:
            checks.append(Check(self.run, None, str(lit)))
            checks += [] if self.closed else [self._read(shades)]
        return (check for check in checks if check.chance(eye.Eye(), shades) == 1)

    @cached_property
    def ends(self) -> Ends:
        """Of a closed outline the pixel in the corner, and two on one side of it and one on the other; else the first
        pixel, and the last ones; of a run of one colour too short for that the first one alone.
        """
        near = "green" if "green" in self.colours else self.colours[0]
        far = "red" if "red" in self.colours else self.colours[-1]
        if self.seam is not None:
            beside = np.sort(np.array([1, 2, -1] if self.seam == 0 else [-2, -3, 0]) % self.count)
            return Ends(np.array([self.seam % self.count]), beside, near, far)
        many = 3 if self.count > 4 else max(0, min(self.count - 1, 2 if self.count == 4 else 1))
        if self.count < 4 and near == far:
            many = 0
        return Ends(np.arange(1), np.arange(self.count - many, self.count), near, far)

    def end_words(self, ends: Ends) -> str:
        """What should be lit at both ends, and where that is."""
        near, far = ends.near, ends.far
        if self.count == 1:
            return f"{self.run}: its one pixel {near}"
        if self.seam is not None and self.places is not None:
            corner = part_of(self.places[self.seam], self.places)
            two, one = ways_round(self.places)[:: 1 if self.seam == 0 else -1]
            return f"{self.run}: one {near} in the {corner} corner; next to it two {far} {two} and one {far} {one}"
        first, last = place_words.ends(self.places, self._lattice)
        count = ("", "one", "two", "three")[len(ends.others)]
        return f"{self.run}: one {near} at {first}, " + (f"{count} {far} at {last}" if count else f"{last} dark")

    def end_checks(self, ends: Ends) -> Iterator[Check]:
        """What an eye says of both ends of a sound run."""
        run, first, others = self.run, ends.first, ends.others
        quarter = -(-self.count // 4)
        begin, end = self.all[:quarter], self.all[-quarter:]
        yield Check(run, None, str(len(first) + len(others)))
        if self.seam is not None:
            yield Check(run, eye.outer(run, 0), ends.near, first)
            if quarter > 2:
                sides = (begin[1:], end) if self.seam == 0 else (end[:-1], begin)
                yield from (Check(run, None, str(count), side) for count, side in zip((2, 1), sides, strict=True))
        elif not self.closed:
            if len(others) <= quarter and 2 * quarter <= self.count:
                yield Check(run, None, str(len(first)), begin)
                yield Check(run, None, str(len(others)), end)
            yield Check(run, eye.outer(run, 0), ends.near)
            yield Check(run, eye.outer(run, -1), ends.far if len(others) else ends.near)
            shades = np.zeros(self.count, dtype=np.uint8)
            shades[first], shades[others] = eye.COLOURS[ends.near], eye.COLOURS[ends.far]
            yield self._read(shades)
        if len(others):
            yield Check(run, eye.missing(run, tuple(dict.fromkeys((ends.near, ends.far)))), "none is missing")

    def _read(self, shades: eye.Shades) -> Check:
        """What is read off a run on which few pixels are lit, one by one, with the gaps between."""
        quarter = quarters_of(self._cells)
        ask = eye.few((self.run,), (tuple(eye.Eye().reads(shades[None], quarter)),), (quarter,))
        return Check(self.run, ask, ask.answers[0])


def quarters(places: NDArray[np.float64], of: Positions, colours: Sequence[str]) -> Parts:
    """A run's pixels by the quarter of a picture that they are in, in the order of `SIDES`, each in its colour."""
    parts: Parts = {}
    for colour, inside in zip(colours, by_quarter(places, of), strict=True):
        if inside.any():
            parts[colour] = np.union1d(parts.get(colour, []), np.flatnonzero(inside)).astype(np.int64)
    return parts


def by_quarter(places: NDArray[np.float64], of: Positions) -> list[NDArray[np.bool_]]:
    """For each of `SIDES` which of a run's pixels are in that quarter of a picture: each of shape (pixels,)."""
    centre = (of.min(axis=0) + of.max(axis=0)) / 2
    right, top = (places[:, 0] > centre[0]), (places[:, 1] > centre[1])
    return [top & ~right, top & right, ~top & ~right, ~top & right]
