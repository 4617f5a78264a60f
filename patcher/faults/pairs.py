"""Two faults at once: what every pixel takes under one fault together with each of many others, many at a time.

A fault at a pixel (dark, one colour dark, replaced, missing, cut, flicker) leaves the rest of the wiring as it finds
it. So it is put on top of the cable as the other fault leaves it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from patcher.errors import PatcherError
from patcher.faults.built import BuiltCables, Planned, departure
from patcher.faults.cable import AtPixels, Cable, Takes
from patcher.faults.fault import AT_A_PIXEL, Fault, build
from patcher.faults.sent import Port

Numbers = NDArray[np.int64]
Floats = NDArray[np.float64]

AT_A_TIME = 256
"""Pairs whose takes are held together, for memory."""


@dataclass(frozen=True, eq=False)
class Batch:
    """Pairs of faults with what pixels take under them.

    Attributes:
        pairs: the numbers of the two faults: shape (pairs, 2).
        takes: for each run of the scene what its pixels take: shape (pairs, pixels, channels).
        base: what they take under the one that all pairs have in common.
    """

    pairs: Numbers
    takes: dict[str, Takes]
    base: Mapping[str, Takes]


@dataclass(eq=False)
class Composer:
    """Puts single faults together, two and two.

    Attributes:
        plan: the wiring as planned.
        faults: the single faults.
        runs: the runs that are looked at.
        alone: what the pixels of each run take under each fault by itself.
    """

    plan: Planned
    faults: Sequence[Fault]
    runs: Sequence[str]
    alone: Sequence[Mapping[str, Takes]]
    _at_pixels: dict[str, Numbers] = field(default_factory=dict)
    _others: list[int] = field(default_factory=list)
    _cables: dict[int, BuiltCables] = field(default_factory=dict)
    _known_cables: dict[tuple[int, Port], Cable] = field(default_factory=dict)
    _known: dict[tuple[int, int], dict[str, Takes] | None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        numbers = dict[str, list[int]]()
        for number, fault in enumerate(self.faults):
            if fault.kind in AT_A_PIXEL:
                numbers.setdefault(fault.pixel[0], []).append(number)
            else:
                self._others.append(number)
        self._at_pixels = {run: np.array(own) for run, own in numbers.items()}

    def with_all(self, one: int, rank: Floats | None = None, most: int = 0, beside: int = 0) -> Iterator[Batch]:
        """All pairs of one fault and another that can both be there, in batches.

        Args:
            one: the fault's number.
            rank: how welcome each fault is as the other; None: all are taken.
            most: of the faults at pixels of a run so many are taken, those that rank highest.
            beside: so many of those at no pixel are taken, those that rank highest.
        """
        alone = self.alone[one]
        for run in self._at_pixels:
            if len(others := self._at(run, one, rank, most)):
                takes = {name: np.broadcast_to(alone[name], (len(others), *alone[name].shape)) for name in self.runs}
                takes |= {name: each for name, each in self._on_top(one, run, others).items() if name in takes}
                yield Batch(np.column_stack([np.full(len(others), one), others]), takes, alone)
        chosen = self._others if rank is None else sorted(self._others, key=lambda other: -rank[other])[:beside]
        every = {other: self._both(one, other) for other in chosen if other != one}
        both = [(other, takes) for other, takes in every.items() if takes is not None]
        for begin in range(0, len(both), AT_A_TIME):
            part = both[begin : begin + AT_A_TIME]
            pairs = np.array([(one, other) for other, _ in part])
            yield Batch(pairs, {run: np.stack([takes[run] for _, takes in part]) for run in self.runs}, alone)

    def _at(self, run: str, one: int, rank: Floats | None, most: int) -> Numbers:
        """The faults at pixels of a run that make sense beside one, as by `with_all`."""
        others, own = self._at_pixels[run], self.faults[one]
        if own.kind in AT_A_PIXEL and own.pixel[0] == run:
            others = np.array([other for other in others.tolist() if _apart(own, self.faults[other])])
        if rank is not None and len(others) > most:
            others = np.sort(others[np.argpartition(-rank[others], most)[:most]])
        return others

    def _on_top(self, one: int, run: str, others: Numbers) -> dict[str, Takes]:
        """What the pixels that they can reach take under one fault with each of some others at pixels of a run."""
        return self._cable(one, run).each(run, AtPixels.of(self.faults[other] for other in others.tolist()))

    def _cable(self, one: int, run: str) -> Cable:
        """The cable on which a run is under one fault."""
        if one not in self._cables:
            self._cables[one] = BuiltCables(self.plan, (self.faults[one],))
        key = one, self._cables[one].of_run(run)
        if key not in self._known_cables:
            self._known_cables[key] = self._cables[one].cable(key[1])
        return self._known_cables[key]

    def _both(self, one: int, other: int) -> dict[str, Takes] | None:
        """What pixels take under two faults one of which is at no pixel; None where they make no sense together."""
        if self.faults[one].kind in AT_A_PIXEL:
            takes = self._on_top(other, self.faults[one].pixel[0], np.array([one]))
            return dict(self.alone[other]) | {name: each[0] for name, each in takes.items()}
        key = min(one, other), max(one, other)
        if key not in self._known:
            pair = self.faults[key[0]], self.faults[key[1]]
            try:
                build(self.plan.wiring, pair)
                found = departure(self.plan, pair).takes
                self._known[key] = {run: found.get(run, self.plan.takes[run]) for run in self.runs}
            except PatcherError:
                self._known[key] = None
        return self._known[key]


def _apart(one: Fault, other: Fault) -> bool:
    """Whether two faults, the other at a pixel, make sense together: at one pixel only two of its colours."""
    if one.where != other.where:
        return True
    return one.kind == other.kind == "dark-channel" and one.value != other.value
