"""What the pages are about: a show as it was read, and what follows from it until it is read again."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np

from patcher.diagnosis.question_frame import Channels
from patcher.errors import PatcherError
from patcher.faults import Takes, planned
from patcher.frames.film_code import Code, code_of
from patcher.frames.levels import Levels
from patcher.frames.looks import Look, Pixels
from patcher.frames.pattern_choice import named
from patcher.frames.patterns import Pattern, sharing
from patcher.frames.request import Asked, PatternName
from patcher.patch.patch import Patch
from patcher.patch.thing import Thing, find, spans_of, whole_show
from patcher.power.flow import power
from patcher.shapes import positions
from patcher.trade import colour_name, shows_white
from patcher.walk.items import Item, digests, items, older_digests
from patcher.wiring import Wiring, port_name

WHOLE = "everything"
"""What a person calls the whole show."""
MOST_PLACES = 6000
"""Pixels whose places a page is given; of a larger show every second pixel's, or every third's …"""
RAMP_FRAMES = 20.0
"""Steps a second of a ramp, enough for an eye; fewer than frames, so that pages can follow."""

Lit = tuple[str, str, float, tuple[tuple[int, int, int], ...]]
"""Pixels of one run in one colour: the run, the colour's name, its level, and rows of pixels: first, how many, step."""


@dataclass(frozen=True, eq=False)
class Content:
    """A show, its wiring and its patch.

    Attributes:
        number: another for each reading, so that a page knows that it is out of date.
        path: the show file.
        wiring: what hangs where.
        patch: which channels it has.
        practice: whether the simulated yard stands in for the boxes: what is kept then is kept apart.
    """

    number: int
    path: Path
    wiring: Wiring
    patch: Patch
    practice: bool = False

    @cached_property
    def digests(self) -> dict[Item, str]:
        """What each proof depends on."""
        return digests(self.wiring, self.patch, items(self.wiring))

    @cached_property
    def older(self) -> dict[Item, str]:
        """What proofs of an older version depended on, where they meant less."""
        return older_digests(self.wiring, self.patch, self.digests)

    @property
    def universes(self) -> tuple[int, ...]:
        """All universes of the show, rising."""
        return self.patch.universes

    def find(self, name: str) -> Thing:
        """The thing of that name; PatcherError where there is none, or where it has no pixel."""
        return whole_show(self.wiring) if name == WHOLE else find(name, self.wiring, self.patch)

    @cached_property
    def pattern(self):  # type: ignore[no-untyped-def]
        """See `_pattern`; patterns that were asked for lately are kept."""
        return lru_cache(maxsize=32)(self._pattern)

    def _pattern(
        self, thing: str, name: PatternName, colour: str, by: str, rate: float | None, level: float
    ) -> Pattern:
        """The pattern on a thing; PatcherError where there is none such."""
        asked = Asked(name, colour, by, 10, rate, RAMP_FRAMES, step=False, flashing=False, level=level)
        return named(asked, self.wiring, self.patch, self.find(thing))

    @cached_property
    def code(self) -> Code:
        """What the show plays to a camera; PatcherError where it has more pixels than there are words."""
        return code_of(self.patch)

    @cached_property
    def too_many_to_film(self) -> str:
        """That it has more pixels than there are words; else nothing."""
        try:
            _ = self.code
        except PatcherError as error:
            return error.findings[0].says
        return ""

    @cached_property
    def film_frames(self) -> dict[float, Sequence[Levels]]:
        """What the code sends in each bin at the levels for which that was worked out."""
        return {}

    def work_out_film(self, level: float) -> None:
        """Work out what the code sends at a level: of many pixels that takes a second or two."""
        self.film_frames[level] = self.code.frames(self.universes, level)

    @cached_property
    def _takes(self) -> dict[str, Takes]:
        return planned(self.wiring, self.patch).takes

    @cached_property
    def highest(self) -> dict[str, tuple[float, str]]:
        """For each run that supplies feed the highest level that they hold, as `power` has it, and the supply that
        holds least; runs of which that is not known are left out.
        """
        if not self.wiring.show.supplies:
            return {}
        try:
            state = power(self.wiring)
            holds = {load.supply.name: load.max_level for load in state.supplies if load.max_level is not None}
        except PatcherError:
            return {}
        found: dict[str, tuple[float, str]] = {}
        for stretch in state.stretches:
            levels = [(holds[supply], supply) for supply in stretch.supplies if supply in holds]
            for run, _, _ in stretch.parts:
                if least := min([*levels, *([found[run]] if run in found else [])], default=None):
                    found[run] = least
        return found

    @cached_property
    def place(self):  # type: ignore[no-untyped-def]
        """See `_place`; places that were asked for lately are kept."""
        return lru_cache(maxsize=32)(self._place)

    def _place(self, name: str) -> str:
        """The port that a thing hangs on and its first and last address, where all of it hangs on one; else nothing."""
        thing = self.find(name)
        ports = {self.wiring.ports.get(self.wiring.source(part.run)) for part in thing.parts}
        port = ports.pop() if len(ports) == 1 else None
        spans = spans_of(thing, self.wiring, self.patch)
        if port is None or not spans or thing.kind == "channel":
            return ""
        first, last = spans[0], spans[-1]
        begins, ends = (
            f"{span.universe}/{at}" for span, at in ((first, first.first_channel), (last, last.last_channel))
        )
        return f"{port_name(*port)}, {begins} to {ends}"

    def with_tees(self, run: str) -> tuple[str, ...]:
        """All runs that light with a run, itself first."""
        return (run, *sharing(run, self.wiring))

    def lit(self, look: Look) -> tuple[Lit, ...]:
        """Which pixels a look lights, tees too."""
        glows = [glow for glow in look.glows if glow.colour.name != "dark" and glow.colour.level > 0]
        return self._drawn([
            (run, glow.colour.name, round(glow.colour.level, 3), glow.pixels)
            for glow in glows
            for run in self.with_tees(glow.run)
        ])  # fmt: skip

    def lit_by(self, channels: Channels) -> tuple[Lit, ...]:
        """Which pixels some absolute channels, from 0, light."""
        show = self.wiring.show
        found: list[tuple[str, str, float, Pixels]] = []
        for name, taken in self._takes.items():
            letters, on = show.type_of(show.runs[name]).colour_order, np.isin(taken, channels)
            for bits in np.unique(on[on.any(axis=1)], axis=0).tolist():
                pixels = np.flatnonzero((on == bits).all(axis=1))
                found.append((name, _colour_of(letters, bits), 1.0, pixels))
        return self._drawn(found)

    @cached_property
    def every(self) -> int:
        """From one pixel of a run that has a place on a page to the next."""
        return _every(run.pixels for run in self.wiring.show.runs.values())

    def _drawn(self, lit: Sequence[tuple[str, str, float, Pixels]]) -> tuple[Lit, ...]:
        """The same in rows; where they are more pixels than a page can draw, long stretches are thinned out."""
        every = self.every if sum(len(pixels) for *_, pixels in lit) > MOST_PLACES else 1
        return tuple((run, colour, level, rows(_thinned(pixels, every))) for run, colour, level, pixels in lit)

    def places(self, wanted: Collection[str] = ()) -> dict[str, dict[str, object]]:
        """For each run, or each of those that are wanted, its pixels' places in centimetres, x and y in turn, y
        downwards, where it has a picture; of many pixels in all every second, or every third …
        """
        show = self.wiring.show
        runs = {name: run for name, run in show.runs.items() if not wanted or name in wanted}
        every = _every(run.pixels for run in runs.values())
        found: dict[str, dict[str, object]] = {}
        for name, run in runs.items():
            at = positions(show, run)
            entry: dict[str, object] = {"pixels": run.pixels, "every": every}
            if at is not None:
                entry["at"] = np.round(at[::every] * [100, -100]).astype(int).ravel().tolist()
            found[name] = entry
        return found


def _every(pixels: Iterable[int]) -> int:
    """From one pixel that has a place on a page to the next, where runs have so many pixels."""
    return max(1, -(-sum(pixels) // MOST_PLACES))


def _thinned(pixels: Pixels, every: int) -> list[int]:
    """Of pixels, from 0 and rising, all in stretches shorter than `every`, and of longer ones each `every`th."""
    if every == 1 or not len(pixels):
        return [int(pixel) for pixel in pixels.tolist()]
    stretch = np.cumsum(np.diff(pixels, prepend=pixels[0]) > 1)
    short = np.bincount(stretch)[stretch] < every
    return [int(pixel) for pixel in pixels[short | (pixels % every == 0)].tolist()]


def rows(pixels: Iterable[int]) -> tuple[tuple[int, int, int], ...]:
    """Pixels, from 0 and rising, as rows of equal steps: first, how many, step."""
    found: list[list[int]] = []
    for pixel in pixels:
        if found:
            first, count, step = found[-1]
            if count == 1 or pixel == first + count * step:
                found[-1] = [first, count + 1, pixel - first if count == 1 else step]
                continue
        found.append([pixel, 1, 1])
    return tuple((first, count, step) for first, count, step in found)


def _colour_of(letters: str, bits: list[bool]) -> str:
    """The name of a colour by the channels that are on."""
    on = {letter for letter, bit in zip(letters, bits, strict=True) if bit}
    return "white" if shows_white(on) else colour_name(on) or "other"
