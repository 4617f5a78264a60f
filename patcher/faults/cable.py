"""One port's cable: the pixels on it in the order in which the data passes them, and what each takes of the stream.

Each pixel takes as many octets as it has channels and passes on the rest, whoever it is. What comes behind the end of
the stream is nothing, and a pixel that gets nothing is dark. A tee branches off at the beginning of its run's place,
before the nulls there. Two runs may be swapped without their leads, which then stay where they are with their nulls and
tees, or with them.

A pixel that was replaced may take more or fewer octets than its neighbours; a colour that it has beside the planned
ones is not followed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from patcher.faults.fault import AT_A_LAMP, SWAPS, Fault
from patcher.faults.sent import DARK, Port, Stream
from patcher.shapes import Lattice, lattice, pixels_at
from patcher.show.run_tables import LoopRun, Run
from patcher.show.schema import Show
from patcher.wiring import Wiring

Takes = NDArray[np.int32]
"""For each pixel of a run, as the plan numbers them, and each letter of its planned colour order, the running channel
that sets it: shape (pixels, channels)."""
Order = NDArray[np.int64]

NEVER = 2**40
"""An octet that is behind every stream."""
RANDOM = -2
"""In place of a running channel: it gets data, but broken."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place in a port's chain: the lead to it with its nulls, and what hangs there."""

    run: str
    nulls: tuple[int, ...]
    """Channels of each null pixel."""
    tees: tuple[str, ...]


def places_of(wiring: Wiring) -> dict[Port, tuple[Place, ...]]:
    """The places of every port's chain, as planned; what is not up this season is not there."""
    show = wiring.show
    return {
        port: tuple(
            Place(run, (channels_of(show, run),) * show.runs[run].nulls, wiring.tees(run))
            for run in chain
            if show.runs[run].hung
        )
        for port, chain in wiring.chains.items()
    }


def rearranged(places: Mapping[Port, tuple[Place, ...]], faults: Iterable[Fault]) -> dict[Port, tuple[Place, ...]]:
    """The places of the ports where runs are in each other's place."""
    found = dict(places)
    for fault in (fault for fault in faults if fault.kind in SWAPS):
        (one, first), (other, second) = (_place(found, run) for run in fault.places)
        now = {one: list(found[one]), other: list(found[other])}
        here, there = now[one][first], now[other][second]
        if fault.kind == "swapped-runs":
            here, there = replace(there, run=here.run), replace(here, run=there.run)
        now[one][first], now[other][second] = there, here
        found |= {port: tuple(own) for port, own in now.items()}
    return found


def _place(places: Mapping[Port, tuple[Place, ...]], run: str) -> tuple[Port, int]:
    return next((port, number) for port, own in places.items() for number, place in enumerate(own) if place.run == run)


def channels_of(show: Show, run: str) -> int:
    """Channels of one of a run's pixels."""
    return show.type_of(show.runs[run]).channels


def dark(show: Show, run: Run) -> Takes:
    """What a run takes that nothing sets."""
    return np.full((run.pixels, show.type_of(run).channels), DARK, dtype=np.int32)


@dataclass(slots=True)
class _Branch:
    """What stands at one place: null pixels, then pixels by their planned numbers."""

    run: str
    nulls: list[int]
    lamps: Order


@dataclass(frozen=True, slots=True)
class _Harm:
    """From which octet of the stream on a wire is cut, and from which its data is broken; None: nowhere."""

    cut: int | None = None
    broken: int | None = None


class Cable:
    """One port's cable with all that hangs on it, as built."""

    def __init__(self, show: Show, places: Sequence[Place], faults: Sequence[Fault]) -> None:
        self._show = show
        self._at_lamp: dict[str, list[Fault]] = {}
        self._of_run: dict[str, list[Fault]] = {}
        for fault in faults:
            if fault.kind in AT_A_LAMP:
                self._at_lamp.setdefault(fault.lamp[0], []).append(fault)
            elif fault.kind not in SWAPS:
                self._of_run.setdefault(fault.where, []).append(fault)
        self._chain: list[tuple[_Branch, list[_Branch]]] = []
        for place in places:
            before = [branch for branch, _ in self._chain]
            tees = [tee for tee in place.tees if self._show.runs[tee].hung]
            own = self._branch(place.run, place.nulls, before)
            self._chain.append((own, [self._branch(tee, self._nulls(tee), []) for tee in tees]))

    def _nulls(self, run: str) -> tuple[int, ...]:
        return (channels_of(self._show, run),) * self._show.runs[run].nulls

    def _branch(self, run: str, nulls: Sequence[int], before: Sequence[_Branch]) -> _Branch:
        faults = self._of_run.get(run, ())
        lamps = _order(self._show, run, faults)
        if missing := [fault.lamp[1] for fault in self._at_lamp.get(run, ()) if fault.kind == "missing"]:
            lamps = lamps[~np.isin(lamps, missing)]
        branch = _Branch(run, list(nulls), lamps)
        for fault in faults:
            if fault.kind == "shift":
                _shift(branch, fault.amount, channels_of(self._show, run), before)
        return branch

    def takes(self, stream: Stream) -> dict[str, Takes]:
        """What every pixel on the cable takes of a stream."""
        found: dict[str, Takes] = {}
        ended = np.append(stream, np.int32(DARK))
        at, harm = 0, _Harm()
        for branch, tees in self._chain:
            for tee in tees:
                found[tee.run], _, _ = self._along(tee, ended, at, harm)
            found[branch.run], at, harm = self._along(branch, ended, at, harm)
        return found

    def _along(self, branch: _Branch, ended: Stream, at: int, harm: _Harm) -> tuple[Takes, int, _Harm]:
        """What a branch's pixels take from octet `at` on; the octet behind them, and the harm done by then."""
        run = self._show.runs[branch.run]
        letters = self._show.type_of(run).colour_order
        chips = next((f.value for f in self._of_run.get(branch.run, ()) if f.kind == "colour-order"), letters)
        columns = np.array([chips.index(letter) for letter in letters])
        at += sum(branch.nulls)
        faults = self._at_lamp.get(branch.run, ())
        others = [fault for fault in faults if fault.kind == "replaced" and fault.lamp[1] in branch.lamps]
        if others:
            first, octets, end = self._beside(branch, others, at, columns)
        else:
            first = at + np.arange(len(branch.lamps)) * len(letters)
            octets, end = first[:, None] + columns, at + len(first) * len(letters)
        for fault in faults:
            harm = _harmed(harm, fault, branch.lamps, first)
        inside = octets < len(ended) - 1
        taken = ended[np.where(inside, octets, len(ended) - 1)]
        if harm.broken is not None:
            taken[(first >= harm.broken)[:, None] & inside] = RANDOM
        if harm.cut is not None:
            taken[first >= harm.cut] = DARK
        found = dark(self._show, run)
        found[branch.lamps] = taken
        for fault in faults:
            if fault.kind == "dark":
                found[fault.lamp[1]] = DARK
            elif fault.kind == "dark-channel":
                found[fault.lamp[1], letters.index(fault.value)] = DARK
        return found, end, harm

    def _beside(self, branch: _Branch, replaced: Sequence[Fault], at: int, columns: Order) -> tuple[Order, Order, int]:
        """Where other pixels stand among a branch's: the first octet of each pixel from `at` on, the octet of each of
        its planned letters, and the octet behind them all.
        """
        letters = self._show.type_of(self._show.runs[branch.run]).colour_order
        widths = np.full(len(branch.lamps), len(letters))
        where = {int(np.flatnonzero(branch.lamps == fault.lamp[1])[0]): fault.value for fault in replaced}
        for place, chip in where.items():
            widths[place] = len(chip)
        ends = at + np.cumsum(widths)
        first = ends - widths
        octets = first[:, None] + columns
        for place, chip in where.items():
            octets[place] = [first[place] + chip.index(letter) if letter in chip else NEVER for letter in letters]
        return first, octets, int(ends[-1])


def _harmed(harm: _Harm, fault: Fault, lamps: Order, first: Order) -> _Harm:
    if fault.kind not in ("cut", "flicker") or not len(found := np.flatnonzero(lamps == fault.lamp[1])):
        return harm
    key = "cut" if fault.kind == "cut" else "broken"
    before: int | None = getattr(harm, key)
    here = int(first[found[0]])
    return replace(harm, **{key: here if before is None else min(before, here)})


def _shift(branch: _Branch, amount: int, channels: int, before: Sequence[_Branch]) -> None:
    """Put pixels before a run's first one, or cut off those that are there: its nulls, then what stands before them
    from the last on, then its own first pixels.
    """
    if amount > 0:
        branch.nulls += [channels] * amount
        return
    left = -amount
    kept = max(0, len(branch.nulls) - left)
    left -= len(branch.nulls) - kept
    del branch.nulls[kept:]
    for other in reversed(before):
        kept = max(0, len(other.lamps) - left)
        left -= len(other.lamps) - kept
        other.lamps = other.lamps[:kept]
        kept = max(0, len(other.nulls) - left)
        left -= len(other.nulls) - kept
        del other.nulls[kept:]
    branch.lamps = branch.lamps[left:]


def _order(show: Show, name: str, faults: Iterable[Fault]) -> Order:
    """The planned numbers, from 0, of a run's pixels in the order in which the data passes them."""
    run = show.runs[name]
    order: Order = np.arange(run.pixels)
    wired = {f.kind.replace("-", "_"): f.value for f in faults if f.kind in ("data-in", "lines", "turns")}
    if wired and isinstance(run, LoopRun):
        (fault,) = (f for f in faults if f.kind == "data-in")
        data_in, backwards = fault.entry
        now = run.model_copy(update={"data_in": data_in, "backwards": backwards})
        number = np.full(run.places, -1)
        number[pixels_at(run)] = order
        order = number[pixels_at(now)]
    elif wired:
        plan = lattice(show, run)
        assert plan is not None  # noqa: S101  (such a fault is about a grid)
        order = _rewired(plan, replace(plan, **wired), run.gap_places)  # type: ignore[arg-type]
    return order[::-1] if any(fault.kind == "reversed" for fault in faults) else order


def _rewired(plan: Lattice, now: Lattice, gaps: tuple[int, ...]) -> Order:
    """The planned numbers of a grid's pixels in the order of another wiring; empty places stay empty."""
    places = plan.cells() - [plan.column, plan.row]
    lamps = np.ones(len(places), dtype=bool)
    lamps[np.array(gaps, dtype=int) - 1] = False
    number = np.full((plan.columns, plan.rows), -1)
    number[tuple(places[lamps].T)] = np.arange(lamps.sum())
    passed: Order = number[tuple((now.cells() - [plan.column, plan.row]).T)]
    return passed[passed >= 0]
