"""A thing by its name, as it is named everywhere: BOX, BOX/PORT, RUN, RUN/PIXEL, RUN/FIRST-LAST, PROP and
UNIVERSE/CHANNEL; GRID/COLUMN,ROW, a run or prop with a grid; and the pixels that it means.

Where a box and a prop have one name, the table's heading in the file says which: `controller.roof`, `prop.roof`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from patcher.errors import PatcherError, choose_from, refuse
from patcher.patch.occupancy import Taken
from patcher.patch.patch import Patch, Span, cut, pieces, running
from patcher.shapes import cells
from patcher.show.run_tables import BandRun, Grid, GridRun
from patcher.show.schema import Show
from patcher.trade import ADDRESSES, CHANNELS, is_address
from patcher.wiring import Wiring

ThingKind = Literal["show", "box", "port", "run", "pixel", "pixels", "prop", "channel"]


@dataclass(frozen=True, slots=True)
class Part:
    """Pixels `first` to `last` of a run, both included, in data order from 1."""

    run: str
    first: int
    last: int

    @property
    def pixels(self) -> int:
        """How many they are."""
        return self.last - self.first + 1

    @property
    def in_words(self) -> str:
        """What it is called where it is said what is lit: `willow/17`, `willow 1–50`."""
        return f"{self.run} {self.first}–{self.last}" if self.last > self.first else f"{self.run}/{self.first}"


@dataclass(frozen=True, slots=True)
class Thing:
    """What a person named, and the pixels that it means, in data order."""

    name: str
    kind: ThingKind
    parts: tuple[Part, ...]

    @property
    def pixels(self) -> int:
        """How many pixels it means."""
        return sum(part.pixels for part in self.parts)


def whole_show(wiring: Wiring) -> Thing:
    """Everything that has channels of its own: chain by chain, tees left out, for their runs light them."""
    runs = [run for name in wiring.show.controllers for chain in wiring.of_controller(name).values() for run in chain]
    return Thing(wiring.show.settings.title, "show", _whole(wiring.show, runs))


def _whole(show: Show, runs: list[str] | tuple[str, ...]) -> tuple[Part, ...]:
    return tuple(Part(run, 1, show.runs[run].pixels) for run in runs)


KINDS = ("controller", "run", "prop")
"""The tables of the file whose things have pixels."""


def split(name: str, kinds: Iterable[str] = KINDS) -> tuple[tuple[str, ...], str]:
    """The kinds of thing that a name may mean, and the name without its kind: `prop.roof` is a prop alone."""
    kind, dot, rest = name.partition(".")
    return ((kind,), rest) if dot and kind in kinds else (tuple(kinds), name)


def called(kind: str, name: str, show: Show) -> str:
    """The name by which `find` means a box or a prop, and nothing else."""
    return f"{kind}.{name}" if name in show.controllers and name in show.props else name


def swapped_as(box: str, show: Show) -> str:
    """The name by which `swap` means a box, and no supply."""
    return f"controller.{box}" if box in show.supplies else box


def find(name: str, wiring: Wiring, patch: Patch) -> Thing:
    """The thing of that name.

    Raises:
        PatcherError: there is none, with the nearest name there is; or two have it, with what tells them apart.
    """
    show = wiring.show
    if re.fullmatch(r"\d+/\d+", name):
        return _channel(name, wiring, patch)
    head, slash, tail = split(name)[1].partition("/")
    cell = re.fullmatch(r"(\d{1,9}),(\d{1,9})", tail)
    kind = _kind_of(name, show, numbered=bool(slash) and not cell, cell=cell is not None)
    if cell:
        runs = show.prop_runs()[head] if kind == "prop" else (head,)
        return _cell(name, runs, int(cell[1]), int(cell[2]), wiring)
    match kind, bool(slash):
        case "controller", False:
            every = [run for chain in wiring.of_controller(head).values() for run in chain]
            return Thing(name, "box", _whole(show, every))
        case "controller", True:
            return _port(name, head, tail, wiring)
        case "run", False:
            return Thing(name, "run", _whole(show, [head]))
        case "run", True:
            return _pixels(name, head, tail, show)
        case "prop", False:
            return Thing(name, "prop", _whole(show, show.prop_runs()[head]))
        case _:
            says = f"“{head}” is a prop, whose pixels are numbered run by run"
            raise refuse(name, says, f"name a run of it, as {_first(show, head)}/1")


def _kind_of(name: str, show: Show, *, numbered: bool, cell: bool) -> str:
    """Which kind of thing a name means, where it may mean several; PatcherError where that cannot be told.

    Args:
        name: the name.
        show: the show.
        numbered: whether a port's or a pixel's number stands behind it.
        cell: whether a place of a grid does.
    """
    tables: dict[str, Mapping[str, object]] = {"controller": show.controllers, "run": show.runs, "prop": show.props}
    kinds, rest = split(name)
    head = rest.partition("/")[0]
    meant = [kind for kind in kinds if head in tables[kind] and not (cell and kind == "controller")]
    if meant == ["run", "prop"] or (numbered and meant):
        return meant[0]  # a prop of one name with a run is that run; only ports and pixels are numbered
    if len(meant) > 1:
        says = f"is the name of two things: {' and '.join(f'the {_WORD[kind]} {head}' for kind in meant)}"
        raise refuse(name, says, "say which: " + " or ".join(f"{kind}.{rest}" for kind in meant))
    if not meant and rest != name:
        raise refuse(name, f"no {_WORD[kinds[0]]} is named “{head}”", choose_from(head, tables[kinds[0]]))
    if not meant:
        raise _no_such(head, show)
    return meant[0]


_WORD = {"controller": "box", "run": "run", "prop": "prop"}


def _cell(name: str, runs: tuple[str, ...], column: int, row: int, wiring: Wiring) -> Thing:
    """The pixel at a place of a grid: column from the left, row from the bottom, both from 1."""
    show = wiring.show
    grids = [show.runs[run] for run in runs if isinstance(show.runs[run], GridRun | BandRun)]
    if not grids:
        raise refuse(name, "is a place of a grid, and no grid is drawn there", "name a run or a prop that has one")
    whole = grids[0] if isinstance(grids[0], GridRun) else show.grid_of(grids[0])  # type: ignore[arg-type]
    if not (1 <= column <= whole.columns and 1 <= row <= whole.rows):
        says = f"lies outside the grid, which has {whole.columns} columns and {whole.rows} rows"
        raise refuse(name, says, "columns count from the left, rows from the bottom, both from 1: GRID/COLUMN,ROW")
    parts = []
    for run in grids:
        at = np.flatnonzero((cells(show, run) == (column - 1, row - 1)).all(axis=1))  # type: ignore[union-attr]
        parts += [Part(run.name, int(pixel) + 1, int(pixel) + 1) for pixel in at]
    if not parts:
        raise _no_pixel_at(name, runs, column, row, whole, wiring)
    return Thing(name, "pixel", tuple(parts))


def _no_pixel_at(name: str, runs: tuple[str, ...], column: int, row: int, whole: Grid, wiring: Wiring) -> PatcherError:
    """Why a place of a grid has no pixel of these runs: of a band, whose places count from the prop's corner, or of a
    prop.
    """
    show, (head, _, tail) = wiring.show, name.partition("/")
    band = show.runs[runs[0]] if len(runs) == 1 and runs[0] in show.runs else None
    if not isinstance(band, BandRun):
        says = f"has no pixel: a gap, or no run of {head} is wired there"
        return refuse(name, says, "name another place, or look at the gaps of its run")
    at = np.asarray(cells(show, band)) + 1
    (left, bottom), (right, top) = at.min(axis=0).tolist(), at.max(axis=0).tolist()
    where = f"columns {left} to {right}, rows {bottom} to {top} of {band.of}"
    if left <= column <= right and bottom <= row <= top:
        return refuse(name, f"has no pixel: a gap of {head}", "name another place, or look at its gaps")
    says = f"has no pixel: columns and rows count from the left and the bottom of all of {band.of}; {head} has {where}"
    return refuse(name, says, f"name a place there, or {band.of}/{tail} for the one that lies here")


def _first(show: Show, prop: str) -> str:
    return next(iter(show.prop_runs()[prop]), "RUN")


def _no_such(head: str, show: Show) -> PatcherError:
    if head in show.supplies or head in show.feeds:
        return refuse(head, "is a supply or a feed, which has no pixels", "name a box, port, run or prop")
    known = [*show.controllers, *show.runs, *show.props]
    return refuse(head, f"no box, run or prop is named “{head}”", choose_from(head, known))


def _port(name: str, head: str, tail: str, wiring: Wiring) -> Thing:
    chains = wiring.of_controller(head)
    by_number = {str(number): chain for number, chain in chains.items()}
    if tail not in by_number:
        ports = ", ".join(f"{head}/{number}" for number in chains) or "none"
        raise refuse(name, "is not a port with a run on it", f"ports in use: {ports}")
    return Thing(name, "port", _whole(wiring.show, by_number[tail]))


def _pixels(name: str, head: str, tail: str, show: Show) -> Thing:
    pixels = show.runs[head].pixels
    found = re.fullmatch(r"(\d{1,9})(?:[-–](\d{1,9}))?", tail)
    if not found:
        raise refuse(name, "is not a pixel or a range of pixels", f"write {head}/1 or {head}/1-{pixels}")
    first, last = int(found[1]), int(found[2] or found[1])
    if 1 <= last < first <= pixels:
        raise refuse(name, "names the last pixel first", f"write {head}/{last}-{first}")
    if not 1 <= first <= last <= pixels:
        raise refuse(name, f"is not in the run, whose pixels are 1 to {pixels}", f"write {head}/1 or {head}/1-{pixels}")
    return Thing(name, "pixel" if first == last else "pixels", (Part(head, first, last),))


def _channel(name: str, wiring: Wiring, patch: Patch) -> Thing:
    universe, channel = (int(part[:9]) for part in name.split("/"))
    if not is_address(universe, channel):
        raise refuse(name, "is not a universe and channel", ADDRESSES)
    span = patch.span_at(universe, channel)
    if span is None:
        return Thing(name, "channel", ())
    runs = (span.run, *wiring.tees(span.run))
    return Thing(name, "channel", tuple(Part(run, span.first_pixel, span.last_pixel) for run in runs))


def without_pixel(universe: int, channel: int, patch: Patch) -> str:
    """Why an address has no pixel, in words: of a null pixel, too near its universe's end, free, or on no box."""
    at = running(universe, channel)
    if not any(universe in start.universes for start in patch.starts):
        return f"no box has universe {universe}"
    taken = []
    for link, begin, first, _ in (laid for start in patch.starts for laid in start.laid()):
        for where, count in pieces(begin, link.nulls, link.channels):
            if where <= at < where + count * link.channels:
                return f"it is of a null pixel before {link.run}"
            taken.append((where, where + count * link.channels))
        taken += [(where, where + count * link.channels) for where, count in pieces(first, link.pixels, link.channels)]
    low, high = Taken(taken).gap(at)
    begins = running(universe, 1)
    room = min(begins + CHANNELS, high or begins + CHANNELS) - max(begins, low)
    narrowest = min(link.channels for start in patch.starts for link in start.chain.links)
    return "it is free" if room >= narrowest else "too few channels are free there for a pixel"


def lighting(thing: Thing, wiring: Wiring) -> tuple[Part, ...]:
    """The parts whose channels light the thing: without tees whose run is part of it too."""
    runs = {part.run for part in thing.parts}
    return tuple(p for p in thing.parts if wiring.source(p.run) == p.run or wiring.source(p.run) not in runs)


def spans_of(thing: Thing, wiring: Wiring, patch: Patch) -> list[Span]:
    """The spans of a thing's pixels; those of a tee carry its own name and its run's channels."""
    found: list[Span] = []
    for part in thing.parts:
        source = wiring.source(part.run)
        for span in patch.run_spans(source):
            first, last = max(span.first_pixel, part.first), min(span.last_pixel, part.last)
            if first <= last:
                piece = cut(span, first, last)
                found.append(replace(piece, run=part.run))
    return found
