"""A fault: one difference between the wiring as planned and as built, written `KIND:WHERE=VALUE`.

The rule of this file: whatever a person writes becomes a fault that makes sense in their show, or is refused in words.
What several faults do together is checked by `build`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NamedTuple, cast, get_args

from patcher.errors import PatcherError, choose_from, refuse
from patcher.shapes import Lattice, lattice
from patcher.show.run_tables import LoopRun, Run
from patcher.show.schema import Controller, Show
from patcher.show.tables import Corner, End
from patcher.trade import CHANNELS, HIGHEST_UNIVERSE, MOST_LETTERS
from patcher.wiring import Wiring, port_name

MOST_PIXELS_OFF = 10_000
"""A count or a place on a chain is off by fewer pixels than that."""


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
ENTRIES = (*get_args(End), *get_args(Corner))
"""Where the data may enter a loop, beside the places drawn."""

AT_A_LAMP = ("dark", "dark-channel", "replaced", "missing", "cut", "flicker")
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
    def lamp(self) -> tuple[str, int]:
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


def parse(text: str, wiring: Wiring) -> Fault:
    """The fault that a person wrote, of a wiring without errors.

    Raises:
        PatcherError: there is no such kind or place, or it cannot have that value.
    """
    kind, colon, rest = text.partition(":")
    if kind not in FORMS or not colon:
        raise refuse(text, "is no fault that can be built", f"{choose_from(kind, KINDS, most=99)}, as KIND:WHERE=VALUE")
    where, equals, value = rest.partition("=")
    if not FORMS[kind].value and equals:
        raise refuse(text, "takes no value", f"write {kind}:{where}")
    where = ",".join(part.strip() for part in where.split(","))
    return Fault(kind, where, _CHECKS[kind](_Said(text, kind, where, value.strip(), wiring)))


@dataclass(frozen=True, slots=True)
class _Said:
    """What a person wrote of a fault, not yet checked."""

    text: str
    kind: str
    where: str
    value: str
    wiring: Wiring

    @property
    def show(self) -> Show:
        return self.wiring.show

    def wrong(self, says: str, remedy: str = "") -> PatcherError:
        return refuse(self.text, says, remedy or f"write {FORMS[self.kind].written(self.kind)}")

    def run(self, name: str) -> Run:
        runs = self.show.runs
        if name not in runs:
            raise self.wrong(f"names the run “{name}”, which there is not", choose_from(name, runs))
        if not runs[name].hung:
            raise self.wrong(f"is about “{name}”, which is not up this season", "name a run that hangs")
        return runs[name]

    def port(self, name: str) -> tuple[Controller, int]:
        box, slash, number = name.rpartition("/")
        if not slash:
            raise self.wrong(f"names no port with “{name}”", f"write {name or 'BOX'}/1")
        controller = self.box(box)
        if not number.isascii() or not number.isdigit() or not 1 <= int(number[:6]) <= controller.ports:
            raise self.wrong(f"names a port that “{box}” has not", f"its ports are 1 to {controller.ports}")
        return controller, int(number)

    def used_port(self, name: str) -> tuple[Controller, int]:
        controller, number = self.port(name)
        chains = self.wiring.of_controller(controller.name)
        if number not in chains:
            used = [port_name(controller.name, port) for port in chains]
            raise self.wrong(f"is about {name}, on which nothing hangs", choose_from(name, used))
        return controller, number

    def box(self, name: str) -> Controller:
        boxes = {box: table for box, table in self.show.controllers.items() if self.wiring.of_controller(box)}
        if name not in boxes:
            what = "on which nothing hangs" if name in self.show.controllers else "which there is not"
            raise self.wrong(f"names the box “{name}”, {what}", choose_from(name, boxes))
        return boxes[name]

    def start(self, name: str) -> str:
        """The name of a start, or of a box for all of its starts."""
        if name in self.show.controllers:
            self.box(name)
        elif name in self.show.runs:
            self.run(name)
            if not self.starts(name):
                raise self.wrong(f"is about “{name}”, a run that has no start of its own", "name its port, as BOX/1")
        elif (table := self.used_port(name)[0]).start_per == "controller":
            raise self.wrong(f"is about a port of “{table.name}”, which has one start", f"name the box: {table.name}")
        return name

    def starts(self, run: str) -> bool:
        """Whether a run has a start of its own."""
        box, _ = self.wiring.ports[run]
        return self.wiring.source(run) == run and self.show.controllers[box].start_per == "run"

    def whole(self, low: int, high: int, why: str = "") -> int:
        """The value as a whole number from `low` to `high` that is not 0."""
        if not re.fullmatch(r"[+-]?[0-9]{1,9}", self.value):
            raise self.wrong(f"has the value “{self.value}”, which is no whole number")
        if not low <= int(self.value) <= high or int(self.value) == 0:
            says = f"cannot be off by {int(self.value)}" + (f": {why}" if why else "")
            span = " or ".join(
                f"{sign}1" if first == last else f"{first} to {last}"
                for sign, first, last in (("-", low, -1), ("", 1, high)) if first <= last
            )  # fmt: skip
            raise self.wrong(says, f"a value is {span}")
        return int(self.value)


def _reversed(said: _Said) -> str:
    said.run(said.where)
    return ""


def _data_in(said: _Said) -> str:
    run = said.run(said.where)
    if not isinstance(run, LoopRun):
        return _grid(said)
    where = said.value.removesuffix(BACKWARDS)
    choices = [*ENTRIES, "1"]
    if where not in ENTRIES and not re.fullmatch(r"[1-9][0-9]{0,8}", where):
        says = f"cannot have the value “{said.value}”"
        raise said.wrong(says, f"{choose_from(where, choices)}, or {BACKWARDS} behind it")
    if said.value == f"last{BACKWARDS}":
        raise said.wrong("goes round backwards twice", f"write {said.kind}:{said.where}=last")
    try:
        run.entry_of(int(where) if where.isdecimal() else where)
    except ValueError as error:
        says, _, remedy = str(error).partition(" → ")
        raise said.wrong(f"cannot be: {says}", remedy) from None
    return said.value


def _grid(said: _Said) -> str:
    if lattice(said.show, said.run(said.where)) is None:
        raise said.wrong(f"is about “{said.where}”, which is not a grid", "use reversed:RUN for a run that is no grid")
    known = CHOICES[said.kind]
    if said.value not in known:
        raise said.wrong(f"cannot have the value “{said.value}”", choose_from(said.value, known))
    return said.value


def _colour_order(said: _Said) -> str:
    planned = said.show.type_of(said.run(said.where)).colour_order
    if sorted(said.value) != sorted(planned):
        raise said.wrong(f"does not order the letters of {planned}", f"write {said.kind}:{said.where}={planned[::-1]}")
    return said.value


def _two(said: _Said) -> tuple[str, str]:
    parts = said.where.split(",")
    if len(parts) != 2 or parts[0] == parts[1]:
        raise said.wrong("is about two different things, with a comma between them")
    return parts[0], parts[1]


def _swapped_ports(said: _Said) -> str:
    pair = [said.port(name) for name in _two(said)]
    if pair[0][0].name == pair[1][0].name and pair[0][1] == pair[1][1]:
        raise said.wrong("is about two different things, with a comma between them")
    if not any((controller.name, number) in said.wiring.chains for controller, number in pair):
        raise said.wrong("is about two ports on which nothing hangs", "name a port that has a run")
    return ""


def _swapped_runs(said: _Said) -> str:
    one, other = _two(said)
    for name in (one, other):
        if said.run(name).same_data_as is not None:
            raise said.wrong(
                f"is about “{name}”, which is a tee and stands in no chain", "name the run whose data it shares"
            )
    return ""


def _shift(said: _Said) -> str:
    run = said.run(said.where)
    before = run.nulls + run.pixels - 1
    chain = said.wiring.chains[said.wiring.ports[run.name]]
    if run.name in chain:
        ahead = [said.show.runs[name] for name in chain[: chain.index(run.name)]]
        before += sum(one.nulls + one.pixels for one in ahead if one.hung)
    return str(said.whole(-before, MOST_PIXELS_OFF, f"at most {before} pixels could be cut off, one must be left"))


def _lamp(said: _Said) -> str:
    name, slash, number = said.where.rpartition("/")
    run = said.run(name if slash else said.where)
    if not re.fullmatch(r"[0-9]{1,9}", number) or not 1 <= int(number) <= run.pixels or number[0] == "0":
        raise said.wrong(f"names a pixel that is not in the run, whose pixels are 1 to {run.pixels}")
    letters = said.show.type_of(run).colour_order
    if said.kind == "replaced":
        if not re.fullmatch(rf"[A-Z]{{1,{MOST_LETTERS}}}", said.value) or len(set(said.value)) != len(said.value):
            raise said.wrong(
                "names no colour order", f"write one capital letter a channel, as {said.kind}:{said.where}=GRB"
            )
        if said.value == letters:
            raise said.wrong(f"is a pixel as planned: {letters}", "write the order that its chip takes instead")
        return said.value
    if said.kind != "dark-channel":
        return ""
    if len(said.value) != 1 or said.value not in letters:
        raise said.wrong(f"cannot have the value “{said.value}”", choose_from(said.value, letters))
    return said.value


def _dead(said: _Said) -> str:
    if "/" in said.where:
        said.used_port(said.where)
    else:
        said.box(said.where)
    return ""


def _universe_shift(said: _Said) -> str:
    said.start(said.where)
    return str(said.whole(1 - HIGHEST_UNIVERSE, HIGHEST_UNIVERSE - 1))


def _swapped_starts(said: _Said) -> str:
    one, other = (starts_of(said.wiring, said.start(name)) for name in _two(said))
    if set(one) & set(other):
        raise said.wrong("is about one start twice", "name two starts, as BOX/1,BOX/2")
    return ""


def _channel_shift(said: _Said) -> str:
    amount = str(said.whole(1 - CHANNELS, CHANNELS - 1, "a whole universe is universe-shift"))
    if said.where in said.show.controllers:
        if (per := said.box(said.where).start_per) != "controller":
            raise said.wrong(f"is about a box that has a start per {per}", f"write {said.kind}:{said.where}/1={amount}")
    elif said.where in said.show.runs:
        if not said.starts(said.run(said.where).name):
            raise said.wrong("is about a run that has no start of its own", "name its port, as BOX/1")
    else:
        said.used_port(said.where)
    return amount


def _count(said: _Said) -> str:
    controller, port = said.used_port(said.where)
    counted = _counted_pixels(said.wiring, controller, port)
    return str(said.whole(-counted, MOST_PIXELS_OFF, f"{counted} pixels are planned on it"))


_CHECKS: dict[str, Callable[[_Said], str]] = {
    "reversed": _reversed,
    "data-in": _data_in, "lines": _grid, "turns": _grid,
    "colour-order": _colour_order,
    "swapped-ports": _swapped_ports,
    **dict.fromkeys(SWAPS, _swapped_runs),
    "shift": _shift,
    **dict.fromkeys(AT_A_LAMP, _lamp),
    "dead": _dead,
    "universe-shift": _universe_shift,
    "channel-shift": _channel_shift,
    "count": _count,
    "swapped-starts": _swapped_starts,
}  # fmt: skip


def _counted_pixels(wiring: Wiring, controller: Controller, port: int) -> int:
    """The number of pixels that is typed into the box for a port: those that take channels and hang this season."""
    runs = [wiring.show.runs[name] for name in wiring.chains[controller.name, port]]
    runs = [run for run in runs if run.hung]
    return sum(run.pixels + (0 if controller.skips_nulls else run.nulls) for run in runs)


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
    kinds, pair = {one.kind, other.kind}, (one.where, other.where)
    if kinds <= set(SWAPS) and set(one.places) & set(other.places):
        return "swaps again what is swapped"
    if len(kinds) == 1:
        if one.kind == "swapped-starts":
            here, there = ({run for name in fault.places for run in starts_of(wiring, name)} for fault in (one, other))
            return "swaps again what is swapped" if here & there else None
        if one.kind.startswith("swapped") and set(one.places) & set(other.places):
            return "swaps again what is swapped"
        if one.kind == "dead" and any(here in (there, there.split("/")[0]) for here, there in (pair, pair[::-1])):
            return "is dead already, in whole or in part,"
        if one.kind in ("channel-shift", "universe-shift") and _same_start(wiring, one.where, other.where):
            return "shifts the same start again"
        if one.where == other.where and (one.kind != "dark-channel" or one.value == other.value):
            return "says the same thing again"
    elif kinds <= set(AT_A_LAMP) and one.where == other.where:
        return "says something else of the same pixel"
    return None


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
    """The boxes that a fault of `OF_BOX` is about, from the port of each run."""
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
    return (fault.lamp[0],) if fault.kind in AT_A_LAMP else fault.places


def first_run(wiring: Wiring, where: str) -> str:
    """The run with which the one start begins that RUN, BOX/1 or a BOX with one start names."""
    if where in wiring.show.runs:
        return where
    box, _, port = where.rpartition("/")
    chains = wiring.of_controller(box or where)
    if wiring.show.controllers[box or where].start_per == "controller":
        return next(iter(chains.values()))[0]
    return chains[int(port)][0]
