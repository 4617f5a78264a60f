"""The wiring as built: the wiring as planned, with faults in it.

A fault is written `KIND:WHERE=VALUE`. So far the faults that change the order of one run, or the colours of its chips,
are built; the others are refused by name.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from patcher.errors import choose_from, refuse
from patcher.shapes import Lattice, cells, lattice
from patcher.show.schema import Show
from patcher.show.tables import Corner

Order = NDArray[np.int64]

KINDS: dict[str, tuple[str, ...]] = {
    "reversed": (),
    "data-in": get_args(Corner),
    "lines": ("rows", "columns"),
    "turns": ("serpentine", "same-way"),
    "colour-order": (),
}
"""The kinds that can be built, with the values that they may have where those are few."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One difference between the wiring as planned and as built."""

    kind: str
    where: str
    value: str = ""

    def __str__(self) -> str:
        return f"{self.kind}:{self.where}" + (f"={self.value}" if self.value else "")


@dataclass(frozen=True)
class Built:
    """What differs from the plan.

    Attributes:
        order: for a run that is wired otherwise, the planned pixel (from 0) that stands at each place of its chain.
        letters: for a run whose chips take another colour order, that order.
    """

    order: dict[str, Order] = field(default_factory=dict)
    letters: dict[str, str] = field(default_factory=dict)


def parse(text: str, show: Show) -> Fault:
    """The fault that a person wrote; PatcherError says what is wrong with it."""
    kind, colon, rest = text.partition(":")
    where, _, value = rest.partition("=")
    if kind not in KINDS or not colon:
        remedy = f"{choose_from(kind, KINDS)}, as KIND:RUN=VALUE"
        raise refuse(text, "is no fault that can be built", remedy)
    if where not in show.runs:
        raise refuse(text, f"names the run “{where}”, which there is not", choose_from(where, show.runs))
    run = show.runs[where]
    if kind in ("data-in", "lines", "turns"):
        if lattice(show, run) is None:
            raise refuse(text, f"“{where}” is not a grid", "use reversed:RUN for a run that is no grid")
        if value not in KINDS[kind]:
            raise refuse(text, f"cannot have the value “{value}”", choose_from(value, KINDS[kind]))
    elif kind == "colour-order":
        planned = show.type_of(run).colour_order
        if sorted(value) != sorted(planned):
            raise refuse(text, f"does not order the letters of {planned}", f"write {kind}:{where}={planned[::-1]}")
    elif value:
        raise refuse(text, "takes no value", f"write {kind}:{where}")
    return Fault(kind, where, value)


def build(show: Show, faults: list[Fault]) -> Built:
    """The wiring as built, with every one of the faults in it."""
    order: dict[str, Order] = {}
    letters: dict[str, str] = {}
    wired: dict[str, Lattice] = {}
    for fault in faults:
        run = show.runs[fault.where]
        now = wired.get(fault.where) or lattice(show, run)
        match fault.kind:
            case "data-in" | "lines" | "turns" if now is not None:
                wired[fault.where] = replace(now, **{fault.kind.replace("-", "_"): fault.value})  # type: ignore[arg-type]
            case "colour-order":
                letters[fault.where] = fault.value
    for name, now in wired.items():
        order[name] = _as_wired(show, name, now)
    for fault in faults:
        if fault.kind == "reversed":
            order[fault.where] = order.get(fault.where, np.arange(show.runs[fault.where].pixels))[::-1]
    return Built(order, letters)


def _as_wired(show: Show, name: str, now: Lattice) -> Order:
    planned = cells(show, show.runs[name])
    assert planned is not None  # noqa: S101  (it has a lattice)
    number = {(int(column), int(row)): pixel for pixel, (column, row) in enumerate(planned)}
    return np.array([number[cell] for cell in map(tuple, now.cells().tolist()) if cell in number])
