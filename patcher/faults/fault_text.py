"""A fault as a person writes it: read, and refused in words where it makes no sense in their show."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np

from patcher.errors import PatcherError, choose_from, refuse
from patcher.faults.fault import AT_A_PIXEL, BACKWARDS, CHOICES, FORMS, KINDS, SWAPS, Fault, starts_of
from patcher.shapes import lattice, positions
from patcher.show.run_tables import LoopRun, Run
from patcher.show.schema import Controller, Show
from patcher.show.tables import Corner, End
from patcher.trade import CHANNELS, HIGHEST_UNIVERSE, MOST_LETTERS
from patcher.wiring import Wiring, port_name

MOST_PIXELS_OFF = 10_000
"""A count or a place on a chain is off by fewer pixels than that."""
SAME_PLACE = 1e-3
"""Metres; pixels that are nearer hang in one place."""
WHOLE = re.compile(r"[+-]?[0-9]{1,9}")
TWO = "is about two different things, with a comma between them"
ENTRIES = (*get_args(End), *get_args(Corner))
"""Where the data may enter a loop, beside the places drawn."""


def parse(text: str, wiring: Wiring) -> Fault:
    """The fault that a person wrote, of a wiring without errors.

    Raises:
        PatcherError: there is no such kind or place, or it cannot have that value.
    """
    kind, colon, rest = text.partition(":")
    if kind not in FORMS or not colon:
        says = f"no fault is named “{kind}”" if kind not in FORMS else "does not say where"
        remedy = choose_from(kind, KINDS, most=99) if kind not in FORMS else f"write {FORMS[kind].written(kind)}"
        raise refuse(text, says, remedy)
    where, equals, value = rest.partition("=")
    if not FORMS[kind].value and equals:
        raise refuse(text, "takes no value", f"write {kind}:{where}")
    where, value = ",".join(part.strip() for part in where.split(",")), value.strip()
    _CHECKS[kind](_Said(text, kind, where, value, wiring))
    return Fault(kind, where, str(int(value)) if WHOLE.fullmatch(value) else value)


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
            raise self.wrong(f"no run is named “{name}”", choose_from(name, runs))
        if not runs[name].hung:
            raise self.wrong(f"is about “{name}”, which is not up this season", "name a run that hangs")
        return runs[name]

    def port(self, name: str) -> tuple[Controller, int]:
        box, slash, number = name.rpartition("/")
        if not slash:
            port = port_name(*self.wiring.ports.get(name, (name or "BOX", 1)))
            raise self.wrong(f"names no port with “{name}”", f"write {port}")
        controller = self.box(box)
        if not number.isascii() or not number.isdigit() or not 1 <= int(number[:6]) <= controller.ports:
            raise self.wrong(f"{box} has no port {number}", f"its ports are 1 to {controller.ports}")
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
            if name in self.show.controllers:
                raise self.wrong(f"nothing hangs on {name}", choose_from("", boxes))
            raise self.wrong(f"no box is named “{name}”", choose_from(name, boxes))
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

    def one_of(self, choices: Sequence[str]) -> None:
        """That the value is one of these."""
        if self.value not in choices:
            raise self.wrong(f"cannot have the value “{self.value}”", choose_from(self.value, choices))

    def whole(self, low: int, high: int, why: str = "") -> int:
        """The value as a whole number from `low` to `high` that is not 0."""
        if not WHOLE.fullmatch(self.value):
            raise self.wrong(f"has the value “{self.value}”, which is no whole number")
        if not low <= int(self.value) <= high or int(self.value) == 0:
            says = f"cannot be off by {int(self.value)}" + (f": {why}" if why else "")
            span = " or ".join(
                f"{sign}1" if first == last else f"{first} to {last}"
                for sign, first, last in (("-", low, -1), ("", 1, high)) if first <= last
            )  # fmt: skip
            raise self.wrong(says, f"a value is {span}")
        return int(self.value)


def practised(texts: Iterable[str], wiring: Wiring) -> list[Fault]:
    """Faults that a person wrote for the eye of the yard to find.

    Raises:
        PatcherError: one is none of this show, or nobody can see it.
    """
    found = [parse(text, wiring) for text in texts]
    for fault in found:
        if fault.kind == "reversed" and not has_ends(wiring.show, fault.where):
            says = f"cannot be seen: nothing says at which end of {fault.where} the data comes in"
            raise refuse(str(fault), says, "name a run that is drawn and whose two ends are apart")
    return found


def has_ends(show: Show, name: str) -> bool:
    """Whether a person can tell at which end the data enters: a run with no picture is known by its lead alone, and an
    arch that goes over and back begins and ends in one place.
    """
    places = positions(show, show.runs[name])
    return places is not None and not np.allclose(places, places[::-1], atol=SAME_PLACE)


def _reversed(said: _Said) -> None:
    said.run(said.where)


def _data_in(said: _Said) -> None:
    run = said.run(said.where)
    if not isinstance(run, LoopRun):
        _grid(said)
        return
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


def _grid(said: _Said) -> None:
    if lattice(said.show, said.run(said.where)) is None:
        raise said.wrong(f"is about “{said.where}”, which is not a grid", "use reversed:RUN for a run that is no grid")
    said.one_of(CHOICES[said.kind])


def _colour_order(said: _Said) -> None:
    planned = said.show.type_of(said.run(said.where)).colour_order
    if sorted(said.value) != sorted(planned):
        raise said.wrong(f"does not order the letters of {planned}", f"write {said.kind}:{said.where}={planned[::-1]}")


def _two(said: _Said) -> tuple[str, str]:
    parts = said.where.split(",")
    if len(parts) != 2 or parts[0] == parts[1]:
        raise said.wrong(TWO)
    return parts[0], parts[1]


def _swapped_ports(said: _Said) -> None:
    pair = [said.port(name) for name in _two(said)]
    if pair[0] == pair[1]:
        raise said.wrong(TWO)
    if not any((controller.name, number) in said.wiring.chains for controller, number in pair):
        raise said.wrong("is about two ports on which nothing hangs", "name a port that has a run")


def _swapped_runs(said: _Said) -> None:
    one, other = _two(said)
    for name in (one, other):
        if said.run(name).same_data_as is not None:
            raise said.wrong(
                f"is about “{name}”, which is a tee and stands in no chain", "name the run whose data it shares"
            )


def _shift(said: _Said) -> None:
    run = said.run(said.where)
    before = run.nulls + run.pixels - 1
    chain = said.wiring.chains[said.wiring.ports[run.name]]
    if run.name in chain:
        ahead = [said.show.runs[name] for name in chain[: chain.index(run.name)]]
        before += sum(one.nulls + one.pixels for one in ahead if one.hung)
    said.whole(-before, MOST_PIXELS_OFF, f"at most {before} pixels could be cut off, one must be left")


def _pixel(said: _Said) -> None:
    name, slash, number = said.where.rpartition("/")
    run = said.run(name if slash else said.where)
    if not re.fullmatch(r"[0-9]{1,9}", number) or not 1 <= int(number) <= run.pixels or number[0] == "0":
        last = f"{said.kind}:{run.name}/{run.pixels}" + "=VALUE" * bool(FORMS[said.kind].value)
        raise said.wrong(f"{run.name} has pixels 1 to {run.pixels}", f"name one of them, as {last}")
    letters = said.show.type_of(run).colour_order
    if said.kind == "replaced":
        if not re.fullmatch(rf"[A-Z]{{1,{MOST_LETTERS}}}", said.value) or len(set(said.value)) != len(said.value):
            raise said.wrong(
                "names no colour order", f"write one capital letter a channel, as {said.kind}:{said.where}=GRB"
            )
        if said.value == letters:
            raise said.wrong(f"is a pixel as planned: {letters}", "write the order that its chip takes instead")
    elif said.kind == "dark-channel":
        said.one_of([*letters])


def _dead(said: _Said) -> None:
    if "/" in said.where:
        said.used_port(said.where)
    else:
        said.box(said.where)


def _universe_shift(said: _Said) -> None:
    said.start(said.where)
    said.whole(1 - HIGHEST_UNIVERSE, HIGHEST_UNIVERSE - 1)


def _swapped_starts(said: _Said) -> None:
    one, other = (starts_of(said.wiring, said.start(name)) for name in _two(said))
    if set(one) & set(other):
        raise said.wrong("is about one start twice", "name two starts, as BOX/1,BOX/2")


def _channel_shift(said: _Said) -> None:
    amount = said.whole(1 - CHANNELS, CHANNELS - 1, "a whole universe is universe-shift")
    if said.where in said.show.controllers:
        if (per := said.box(said.where).start_per) != "controller":
            raise said.wrong(f"is about a box that has a start per {per}", f"write {said.kind}:{said.where}/1={amount}")
    elif said.where in said.show.runs:
        if not said.starts(said.run(said.where).name):
            raise said.wrong("is about a run that has no start of its own", "name its port, as BOX/1")
    else:
        said.used_port(said.where)


def _count(said: _Said) -> None:
    controller, port = said.used_port(said.where)
    counted = _counted_pixels(said.wiring, controller, port)
    said.whole(-counted, MOST_PIXELS_OFF, f"{counted} pixels are planned on it")


_CHECKS: dict[str, Callable[[_Said], None]] = {
    "reversed": _reversed,
    "data-in": _data_in, "lines": _grid, "turns": _grid,
    "colour-order": _colour_order,
    "swapped-ports": _swapped_ports,
    **dict.fromkeys(SWAPS, _swapped_runs),
    "shift": _shift,
    **dict.fromkeys(AT_A_PIXEL, _pixel),
    "dead": _dead,
    "universe-shift": _universe_shift,
    "channel-shift": _channel_shift,
    "count": _count,
    "swapped-starts": _swapped_starts,
}  # fmt: skip


def _counted_pixels(wiring: Wiring, controller: Controller, port: int) -> int:
    """The number of pixels that is typed into the box for a port: those that take channels and hang this season."""
    runs = [wiring.show.runs[name] for name in wiring.chains[controller.name, port]]
    return sum(run.pixels + (0 if controller.skips_nulls else run.nulls) for run in runs if run.hung)
