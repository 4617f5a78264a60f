"""A fault: one difference between the wiring as planned and as built, written `KIND:WHERE=VALUE`.

`fault_text.py` reads one; whether several make sense together is checked by `build`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NamedTuple, cast, get_args

from patcher.errors import refuse
from patcher.shapes import Lattice
from patcher.show.tables import Corner
from patcher.wiring import Wiring


class Form(NamedTuple):
    """How a kind of fault is written: its place, an example of its value (empty where it has none), what it means."""

    where: str
    value: str
    means: str

    def written(self, kind: str) -> str:
        """How a person writes a fault of the kind."""
        return f"{kind}:{self.where}" + (f"={self.value}" if self.value else "")


FORMS: dict[str, Form] = {
    "reversed": Form("RUN", "", "the data enters at its other end"),
    "data-in": Form(
        "GRID or LOOP",
        "top-right",
        "a grid entered at another corner; a closed outline entered at a corner or at a place drawn "
        "(data-in:LOOP=12), gone round against the order of its corners with -backwards behind it "
        "(data-in:LOOP=12-backwards)",
    ),
    "lines": Form("GRID", "columns", "a grid wired by rows instead of columns, or the other way round"),
    "turns": Form("GRID", "same-way", "a grid whose lines all run the same way (same-way), or to and fro (serpentine)"),
    "colour-order": Form("RUN", "GRB", "its chips take another order of colours"),
    "swapped-ports": Form("BOX/1,BOX/2", "", "two leads in each other's socket"),
    "swapped-runs": Form(
        "RUN,RUN",
        "",
        "two runs, of one port or of two, in each other's place; their leads with null pixels and tees stay",
    ),
    "swapped-with-leads": Form(
        "RUN,RUN",
        "",
        "two runs in each other's place; their leads with null pixels and tees go along",
    ),
    "shift": Form("RUN", "1", "pixels more before its first one, or fewer with a minus"),
    "dark": Form("RUN/57", "", "one pixel dark"),
    "dark-channel": Form("RUN/57", "G", "one pixel lacks a colour"),
    "replaced": Form(
        "RUN/57",
        "GRB",
        "a pixel that takes another colour order, or more or fewer channels (RGBW): then all behind it is shifted (a "
        "white that the others lack is not simulated)",
    ),
    "missing": Form("RUN/57", "", "one pixel cut out, the wires joined"),
    "cut": Form("RUN/57", "", "dark from that pixel on"),
    "flicker": Form("RUN/57", "", "random colours from that pixel on"),
    "dead": Form("BOX or BOX/1", "", "the box or the port does nothing"),
    "universe-shift": Form(
        "BOX or BOX/1",
        "1",
        "the universe typed in wrongly by so many, of all starts of a box or of one (a run's name where each run has "
        "one)",
    ),
    "channel-shift": Form("BOX/1", "3", "the channel typed in wrongly by so many"),
    "count": Form("BOX/1", "-20", "the number of pixels typed in wrongly by so many"),
    "swapped-starts": Form(
        "BOX/1,BOX/2",
        "",
        "two starts, of one box or of two, typed in each other's place; of two boxes all of them "
        "(swapped-starts:BOX,BOX). The numbers of pixels stay",
    ),
}
"""Every kind of fault."""

KINDS = tuple(FORMS)

CHOICES: dict[str, tuple[str, ...]] = {
    "data-in": get_args(Corner),
    "lines": ("rows", "columns"),
    "turns": ("serpentine", "same-way"),
}
"""The values that a grid's kinds may have."""
AT_A_PIXEL = ("dark", "dark-channel", "replaced", "missing", "cut", "flicker")
OF_BOX = ("dead", "universe-shift", "channel-shift", "count", "swapped-starts")
"""Kinds that are what a box is set to, or does not do."""
SWAPS = ("swapped-runs", "swapped-with-leads")
"""Kinds that put two runs in each other's place."""
BACKWARDS = "-backwards"
"""Behind the place where the data enters a loop: it then goes round against the order of the corners."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One difference between the wiring as planned and as built; `str` writes it as `parse` reads it.

    Attributes:
        kind: one of `KINDS`.
        where: the thing or, with a comma between, the two things that it is about.
        value: by how much or to what; empty where the kind has none.
    """

    kind: str
    where: str
    value: str = ""

    def __str__(self) -> str:
        return f"{self.kind}:{self.where}" + (f"={self.value}" if self.value else "")

    @property
    def places(self) -> tuple[str, ...]:
        """The things that it is about, one by one."""
        return tuple(self.where.split(","))

    @property
    def pixel(self) -> tuple[str, int]:
        """Run and pixel, from 0, of a fault at one pixel."""
        run, _, pixel = self.where.rpartition("/")
        return run, int(pixel) - 1

    @property
    def entry(self) -> tuple[str | int, bool]:
        """Where the data enters a loop, and whether it goes round backwards, as the show file says it."""
        where = self.value.removesuffix(BACKWARDS)
        return int(where) if where.isdecimal() else where, where != self.value

    @property
    def amount(self) -> int:
        """By how much, of a fault that says so."""
        return int(self.value)


@dataclass(frozen=True)
class Built:
    """The wiring as planned, with these faults in it; they make sense together."""

    faults: tuple[Fault, ...] = ()


def build(wiring: Wiring, faults: Iterable[Fault]) -> Built:
    """A wiring without errors, with every one of the faults in it.

    Raises:
        PatcherError: two of them cannot be true at once, or one says what another has said.
    """
    built = tuple(faults)
    for one, other in combinations(built, 2):
        if why := _clash(wiring, one, other):
            raise refuse(str(other), f"{why} beside {one}", "leave one of the two out")
    return Built(built)


def _clash(wiring: Wiring, one: Fault, other: Fault) -> str | None:
    """Why two faults make no sense together."""
    kinds, here, there = {one.kind, other.kind}, f"{one.where}/", f"{other.where}/"
    if kinds <= {*SWAPS} or kinds in ({"swapped-ports"}, {"swapped-starts"}):
        return "swaps again what is swapped" if _swapped(wiring, one) & _swapped(wiring, other) else None
    if kinds == {"dead"} and (here.startswith(there) or there.startswith(here)):
        return "is dead already, in whole or in part,"
    if kinds in ({"channel-shift"}, {"universe-shift"}) and _same_start(wiring, one.where, other.where):
        return "shifts the same start again"
    if one.where != other.where:
        return None
    if len(kinds) > 1:
        return "says something else of the same pixel" if kinds <= {*AT_A_PIXEL} else None
    return None if kinds == {"dark-channel"} and one.value != other.value else "says the same thing again"


def _swapped(wiring: Wiring, fault: Fault) -> set[str]:
    """What a fault puts in each other's place."""
    if fault.kind != "swapped-starts":
        return {*fault.places}
    return {run for name in fault.places for run in starts_of(wiring, name)}


def _same_start(wiring: Wiring, one: str, other: str) -> bool:
    """Whether two names are of the same start; a box whose starts are several is none of them."""
    here, there = starts_of(wiring, one), starts_of(wiring, other)
    return here[0] == there[0] and len(here) == len(there)


def starts_of(wiring: Wiring, where: str) -> tuple[str, ...]:
    """The starts that BOX, BOX/1 or RUN names, each by the run with which it begins."""
    controller = wiring.show.controllers.get(where)
    if controller is None or controller.start_per == "controller":
        return (first_run(wiring, where),)
    chains = wiring.of_controller(where).values()
    return tuple(run for chain in chains for run in (chain if controller.start_per == "run" else chain[:1]))


def boxes_of(ports: Mapping[str, tuple[str, int]], fault: Fault) -> tuple[str, ...]:
    """The boxes that a fault is about that names boxes, ports or runs, from the port of each run."""
    return tuple(dict.fromkeys(ports[name][0] if name in ports else name.split("/")[0] for name in fault.places))


def wiring_values(wired: Lattice) -> dict[str, str]:
    """How a grid is wired, by the kinds of fault that are about it: those of `CHOICES`."""
    return {"data-in": wired.data_in, "lines": wired.lines, "turns": wired.turns}


def wired_so(wired: Lattice, values: Mapping[str, str]) -> Lattice:
    """A grid wired otherwise, by the kinds of fault that are about it."""
    now = wiring_values(wired) | dict(values)
    return replace(wired, data_in=cast("Corner", now["data-in"]), lines=now["lines"], turns=now["turns"])


def runs_of(fault: Fault) -> tuple[str, ...]:
    """The runs that a fault on a wire is about."""
    return (fault.pixel[0],) if fault.kind in AT_A_PIXEL else fault.places


def first_run(wiring: Wiring, where: str) -> str:
    """The run with which the one start begins that RUN, BOX/1 or a BOX with one start names."""
    if where in wiring.show.runs:
        return where
    box, _, port = where.rpartition("/")
    chains = wiring.of_controller(box or where)
    if wiring.show.controllers[box or where].start_per == "controller":
        return next(iter(chains.values()))[0]
    return chains[int(port)][0]
