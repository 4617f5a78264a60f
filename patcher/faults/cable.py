"""One port's cable as built: where on the stream each pixel stands, and what it takes of it.

Each pixel takes as many octets as it has channels and passes on the rest, whoever it is. What comes behind the end of
the stream is nothing, and a pixel that gets nothing is dark. A tee branches off at the beginning of its run's place,
before the nulls there. Two runs may be swapped without their leads, which then stay where they are with their nulls and
tees, or with them.

A fault at a pixel leaves the rest of the cable as it finds it, so many of them are tried at once: each on top of the
same cable. A pixel that was replaced may take more or fewer octets than its neighbours; a colour that it has beside the
planned ones is not followed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from patcher.faults.fault import AT_A_PIXEL, CHOICES, SWAPS, Fault, wired_so
from patcher.faults.sent import DARK, Port, Stream
from patcher.shapes import Lattice, lattice, pixels_at
from patcher.show.run_tables import LoopRun, Run
from patcher.show.schema import Show
from patcher.wiring import Wiring

Takes = NDArray[np.int32]
"""For each pixel of a run, as the plan numbers them, and each letter of its planned colour order, the running channel
that sets it: shape (pixels, channels), or of many wirings (wirings, pixels, channels)."""
Octets = NDArray[np.int32]
Order = NDArray[np.int64]
Bits = NDArray[np.bool_]

NEVER = 2**29
"""An octet that is behind every stream, however few are added to it or taken away."""
OFF = NEVER // 2
"""From this octet on no stream reaches."""
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


def _columns(letters: str, chip: str) -> Octets:
    """Which of its octets each planned letter takes in a pixel of that colour order; one that it lacks takes none."""
    return np.array([chip.index(letter) if letter in chip else NEVER for letter in letters], dtype=np.int32)


@dataclass(frozen=True, eq=False)
class AtPixels:
    """Faults at pixels of one run, one a row.

    Attributes:
        faults: the faults.
        kinds: the kind of each.
        pixels: its pixel, from 0.
    """

    faults: tuple[Fault, ...]
    kinds: NDArray[np.str_]
    pixels: Order

    @classmethod
    def of(cls, faults: Iterable[Fault]) -> AtPixels:
        """Some faults of `AT_A_PIXEL`."""
        every = tuple(faults)
        pixels = np.array([fault.pixel[1] for fault in every], dtype=np.int64)
        return cls(every, np.array([fault.kind for fault in every], dtype=np.str_), pixels)

    def rows(self, kind: str) -> Order:
        """The rows of a kind."""
        return np.flatnonzero(self.kinds == kind)


@dataclass(frozen=True, eq=False)
class Cable:
    """What stands on one port's cable as built, and what is sent to it.

    Attributes:
        show: the show.
        places: the places of its chain, as wired.
        faults: what is otherwise than planned on it.
        stream: what is sent, octet by octet.
        first: for each run on it, tees before their run, the first octet that each pixel takes, from `OFF` on where
            none reaches it: shape (pixels,).
        columns: for each run, which of its octets each letter of the planned colour order takes: shape (pixels,
            channels).
        broken: for each run, the pixels whose data is broken: shape (pixels,).
    """

    show: Show
    places: Sequence[Place]
    faults: tuple[Fault, ...]
    stream: Stream
    first: dict[str, Octets]
    columns: dict[str, Octets]
    broken: dict[str, Bits]

    @classmethod
    def of(cls, show: Show, places: Sequence[Place], faults: Iterable[Fault], stream: Stream) -> Cable:
        """The cable of a chain that is wired so, with these faults on it."""
        every = tuple(faults)
        first: dict[str, Octets] = {}
        at = 0
        for branch, tees in _branches(show, places, every):
            for tee in tees:
                first[tee.run], _ = tee.laid(show, at)
            first[branch.run], at = branch.laid(show, at)
        chips = {fault.where: fault.value for fault in every if fault.kind == "colour-order"}
        orders = {run: show.type_of(show.runs[run]).colour_order for run in first}
        columns = {
            run: np.tile(_columns(letters, chips.get(run, letters)), (len(first[run]), 1))
            for run, letters in orders.items()
        }
        broken = {run: np.zeros(len(own), dtype=bool) for run, own in first.items()}
        cable = cls(show, places, tuple(f for f in every if not _on_top(f)), stream, first, columns, broken)
        for fault in filter(_on_top, every):
            cable = cable._besides(fault) if fault.pixel[0] in first else cable
        return cable

    def takes(self) -> dict[str, Takes]:
        """What every pixel on the cable takes."""
        return {run: self._taken(own[:, None] + self.columns[run], self.broken[run]) for run, own in self.first.items()}

    def each(self, run: str, some: AtPixels) -> dict[str, Takes]:
        """What the pixels take with each of some faults at pixels of a run besides, by itself.

        Returns:
            For each run that they can reach: shape (faults, pixels, channels).
        """
        rows, found = np.arange(len(some.pixels)), {}
        for name, first, broken in self._moved(run, some):
            octets = first[:, :, None] + self.columns[name]
            if name == run:
                octets[rows, some.pixels] = first[rows, some.pixels, None] + self._own_columns(run, some)
            found[name] = self._taken(octets, broken)
        for row in self._cut_off(run, some).tolist():
            takes = Cable.of(self.show, self.places, (*self.faults, some.faults[row]), self.stream).takes()
            for name, own in found.items():
                own[row] = takes[name]
        return found

    def _besides(self, fault: Fault) -> Cable:
        """The cable with one more fault, at a pixel."""
        run, some = fault.pixel[0], AtPixels.of([fault])
        moved = [*self._moved(run, some)]
        columns = self.columns[run].copy()
        columns[some.pixels] = self._own_columns(run, some)
        return replace(
            self,
            faults=(*self.faults, fault),
            first=self.first | {name: first[0] for name, first, _ in moved},
            columns=self.columns | {run: columns},
            broken=self.broken | {name: broken[0] for name, _, broken in moved},
        )

    def _cut_off(self, run: str, some: AtPixels) -> Order:
        """The rows in which a pixel is missing that a shift would have cut off: the shift then cuts off another one."""
        if not any(fault.kind == "shift" and fault.amount < 0 for fault in self.faults):
            return np.empty(0, dtype=np.int64)
        return np.flatnonzero((some.kinds == "missing") & (self.first[run][some.pixels] >= OFF))

    def _moved(self, run: str, some: AtPixels) -> Iterator[tuple[str, Octets, Bits]]:
        """For each run that faults at pixels of a run can reach, itself and, for what is no tee, what stands behind it:
        the first octet of each pixel and whether its data is broken, under each: shape (faults, pixels).
        """
        names = [run] if self.show.runs[run].same_data_as is not None else [*self.first]
        here = self.first[run][some.pixels][:, None]
        there, channels = here < OFF, channels_of(self.show, run)
        wider = np.zeros_like(here)
        wider[some.rows("missing")] = -channels
        for row in some.rows("replaced"):
            wider[row] = len(some.faults[row].value) - channels
        ends, breaks = (there & (some.kinds == kind)[:, None] for kind in ("cut", "flicker"))
        wider = np.where(there, wider, 0)
        for name in names[names.index(run) :]:
            own, broken = self.first[name], self.broken[name]
            first = own + np.where(own > here, wider, 0) if wider.any() else np.tile(own, (len(here), 1))
            if ends.any():
                first[ends & (own >= here)] = NEVER
            if name == run:
                lost = some.rows("missing")
                first[lost, some.pixels[lost]] = NEVER
            yield name, first, broken | (breaks & (own >= here))

    def _own_columns(self, run: str, some: AtPixels) -> Octets:
        """The columns of the pixel at which each fault is: shape (faults, channels)."""
        letters = self.show.type_of(self.show.runs[run]).colour_order
        found = self.columns[run][some.pixels]
        found[some.rows("dark")] = NEVER
        for row in some.rows("dark-channel"):
            found[row, letters.index(some.faults[row].value)] = NEVER
        for row in some.rows("replaced"):
            found[row] = _columns(letters, some.faults[row].value)
        return found

    def _taken(self, octets: Octets, broken: Bits) -> Takes:
        """What stands at octets of the stream: shape (…, pixels, channels)."""
        taken: Takes = np.append(self.stream, np.int32(DARK)).take(octets, mode="clip")
        if broken.any():
            taken[broken[..., None] & (octets < len(self.stream))] = RANDOM
        return taken


def _on_top(fault: Fault) -> bool:
    """Whether a fault leaves the cable as it finds it; how many pixels are missing, a shift must know."""
    return fault.kind in AT_A_PIXEL and fault.kind != "missing"


@dataclass(slots=True)
class _Branch:
    """What stands at one place: null pixels, then pixels by their planned numbers."""

    run: str
    nulls: list[int]
    pixels: Order

    def laid(self, show: Show, at: int) -> tuple[Octets, int]:
        """The first octet of each of the run's pixels where the branch begins at one, and the octet behind it."""
        channels, begin = channels_of(show, self.run), at + sum(self.nulls)
        first = np.full(show.runs[self.run].pixels, NEVER, dtype=np.int32)
        first[self.pixels] = begin + np.arange(len(self.pixels)) * channels
        return first, begin + len(self.pixels) * channels


def _branches(show: Show, places: Sequence[Place], faults: Sequence[Fault]) -> list[tuple[_Branch, list[_Branch]]]:
    """What stands at each place of a chain as built, and at its tees."""
    lost: dict[str, list[int]] = {}
    of_run: dict[str, list[Fault]] = {}
    for fault in faults:
        if fault.kind == "missing":
            lost.setdefault(fault.pixel[0], []).append(fault.pixel[1])
        elif fault.kind not in (*AT_A_PIXEL, *SWAPS):
            of_run.setdefault(fault.where, []).append(fault)

    def branch(run: str, nulls: Sequence[int], before: Sequence[_Branch]) -> _Branch:
        own = of_run.get(run, ())
        pixels = _order(show, run, own)
        made = _Branch(run, list(nulls), pixels[~np.isin(pixels, lost[run])] if run in lost else pixels)
        for fault in own:
            if fault.kind == "shift":
                _shift(made, fault.amount, channels_of(show, run), before)
        return made

    chain: list[tuple[_Branch, list[_Branch]]] = []
    for place in places:
        own = branch(place.run, place.nulls, [each for each, _ in chain])
        tees = [tee for tee in place.tees if show.runs[tee].hung]
        chain.append((own, [branch(tee, (channels_of(show, tee),) * show.runs[tee].nulls, ()) for tee in tees]))
    return chain


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
        kept = max(0, len(other.pixels) - left)
        left -= len(other.pixels) - kept
        other.pixels = other.pixels[:kept]
        kept = max(0, len(other.nulls) - left)
        left -= len(other.nulls) - kept
        del other.nulls[kept:]
    branch.pixels = branch.pixels[left:]


def _order(show: Show, name: str, faults: Iterable[Fault]) -> Order:
    """The planned numbers, from 0, of a run's pixels in the order in which the data passes them."""
    run = show.runs[name]
    order: Order = np.arange(run.pixels)
    wired = {fault.kind: fault for fault in faults if fault.kind in CHOICES}
    if wired and isinstance(run, LoopRun):
        data_in, backwards = wired["data-in"].entry
        now = run.model_copy(update={"data_in": data_in, "backwards": backwards})
        number = np.full(run.places, -1)
        number[pixels_at(run)] = order
        order = number[pixels_at(now)]
    elif wired:
        plan = lattice(show, run)
        assert plan is not None  # noqa: S101  (such a fault is about a grid)
        now_wired = wired_so(plan, {kind: fault.value for kind, fault in wired.items()})
        order = _rewired(plan, now_wired, run.gap_places)
    return order[::-1] if any(fault.kind == "reversed" for fault in faults) else order


def _rewired(plan: Lattice, now: Lattice, gaps: tuple[int, ...]) -> Order:
    """The planned numbers of a grid's pixels in the order of another wiring; places without one stay without one."""
    places = plan.cells() - [plan.column, plan.row]
    pixels = np.ones(len(places), dtype=bool)
    pixels[np.array(gaps, dtype=int) - 1] = False
    number = np.full((plan.columns, plan.rows), -1)
    number[tuple(places[pixels].T)] = np.arange(pixels.sum())
    passed: Order = number[tuple((now.cells() - [plan.column, plan.row]).T)]
    return passed[passed >= 0]
