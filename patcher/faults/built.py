"""Which data each lamp takes, as planned and with faults.

Two sides meet on a port. The *box* sends a stream of octets: for each pixel that it believes to be on the port, in
order, the channels of that pixel, or dark ones where it inserts a null. On the *wire* the pixels stand in the order in
which the data passes them, whoever they are; each takes as many octets as it has channels and passes on the rest. What
comes behind the end of the stream is nothing, and a pixel that gets nothing is dark.

What a lamp takes is written as running channels (see `address/patch.py`): two wirings whose arrays are equal look alike
in every frame that can be sent.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from patcher.address.patch import CHANNELS, Link, Patch, Start, behind, first_fit
from patcher.errors import refuse
from patcher.faults.fault import Fault, first_run
from patcher.shapes import Lattice, lattice
from patcher.show.runs import Run
from patcher.show.schema import Show
from patcher.show.tables import LAST_UNIVERSE
from patcher.wiring import Wiring

Takes = NDArray[np.int32]
"""For each lamp of a run, as the plan numbers them, and each letter of its planned colour order, the running channel
that sets it: shape (pixels, channels)."""
Stream = NDArray[np.int32]
Order = NDArray[np.int64]
Port = tuple[str, int]

DARK = -1
"""In place of a running channel: nothing sets it."""
RANDOM = -2
"""In place of a running channel: it gets data, but broken."""

_NOTHING: Stream = np.empty(0, dtype=np.int32)


@dataclass(frozen=True, slots=True)
class _Place:
    """A place in a port's chain: the lead to it with its nulls, and what hangs there."""

    run: str
    nulls: tuple[int, ...]
    """Channels of each null pixel."""
    tees: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Planned:
    """A wiring with its patch, taken apart so that faults can be put in quickly; made once, by `planned`.

    Attributes:
        wiring: the wiring.
        patch: what is typed into its boxes.
        takes: what each run's lamps take as planned.
        boxes: for each run, the box that feeds it.
        universes: for each box, the universes that it listens to, rising.
    """

    wiring: Wiring
    patch: Patch
    takes: dict[str, Takes] = field(default_factory=dict)
    boxes: dict[str, str] = field(default_factory=dict)
    universes: dict[str, tuple[int, ...]] = field(default_factory=dict)
    _starts: dict[str, list[Start]] = field(default_factory=dict)
    _streams: dict[Port, Stream] = field(default_factory=dict)
    _places: dict[Port, tuple[_Place, ...]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Departure:
    """What faults change; whatever is not named is as planned.

    Attributes:
        takes: for runs whose lamps take other data, what they take.
        boxes: for runs that another box feeds, that box.
        universes: for boxes that listen to others, or to none, their universes.
    """

    takes: dict[str, Takes]
    boxes: dict[str, str]
    universes: dict[str, tuple[int, ...]]


def planned(wiring: Wiring, patch: Patch) -> Planned:
    """A wiring and its patch, ready for faults."""
    show = wiring.show
    plan = Planned(wiring, patch)
    for start in patch.starts:
        plan._starts.setdefault(start.controller, []).append(start)
    for box in plan._starts:
        streams, plan.universes[box] = _streams(plan, box, ())
        plan._streams.update(streams)
    for port, chain in wiring.chains.items():
        plan._places[port] = tuple(
            _Place(run, (_channels(show, run),) * show.runs[run].nulls, wiring.tees(run))
            for run in chain
            if show.runs[run].hung
        )
        stream = plan._streams.get(port, _NOTHING)
        plan.takes.update(_Wire(plan, port, ()).takes(stream))
    for name, run in show.runs.items():
        plan.takes.setdefault(name, _dark(show, run))
        plan.boxes[name] = wiring.ports[name][0]
    return plan


def departure(plan: Planned, faults: Iterable[Fault]) -> Departure:
    """What faults that make sense together change.

    Raises:
        PatcherError: a box would begin before universe 1, or end behind the last one.
    """
    sides = _Sides(plan, tuple(faults))
    takes: dict[str, Takes] = {}
    boxes: dict[str, str] = {}
    universes: dict[str, tuple[int, ...]] = {}
    streams = dict(plan._streams)
    for box, own in sides.of_box.items():
        changed, universes[box] = _streams(plan, box, own)
        streams.update(changed)
    for port in sides.ports:
        socket = sides.socket.get(port, port)
        wire = _Wire(plan, port, sides.of_wire.get(port, ()))
        for run, taken in wire.takes(streams.get(socket, _NOTHING)).items():
            if not np.array_equal(taken, plan.takes[run]):
                takes[run] = taken
            if socket[0] != port[0]:
                boxes[run] = socket[0]
    listens = {box: numbers for box, numbers in universes.items() if numbers != plan.universes[box]}
    return Departure(takes, boxes, listens)


def slot_index(takes: Takes, universes: Sequence[int]) -> NDArray[np.int64]:
    """Where what lamps take stands in the slots of some universes, laid end to end with one dark slot behind them all.

    Args:
        takes: what lamps take.
        universes: rising.

    Returns:
        Shaped like `takes`; the dark slot's number, 512 × universes, for what is in none of them.
    """
    numbers = np.asarray(universes, dtype=np.int64)
    dark = len(numbers) * CHANNELS
    if not dark:
        return np.zeros(takes.shape, dtype=np.int64)
    universe, channel = np.divmod(takes.astype(np.int64), CHANNELS)
    rows = np.minimum(np.searchsorted(numbers, universe + 1), len(numbers) - 1)
    found: NDArray[np.int64] = np.where(numbers[rows] == universe + 1, rows * CHANNELS + channel, dark)
    return found


class _Sides:
    """Faults sorted by what they touch: what a box sends, or what stands on a wire.

    Attributes:
        of_box: for each box, the faults of what it sends.
        of_wire: for each port, by its planned chain, the faults of what stands on it.
        socket: for each port whose lead is in another socket, that socket.
        ports: every port whose chain may show something else.
    """

    def __init__(self, plan: Planned, faults: tuple[Fault, ...]) -> None:
        self.of_box: dict[str, list[Fault]] = {}
        self.of_wire: dict[Port, list[Fault]] = {}
        self.socket: dict[Port, Port] = {}
        show = plan.wiring.show
        for fault in faults:
            match fault.kind:
                case "swapped-ports":
                    one, other = (_port(name) for name in fault.places)
                    self.socket |= {one: other, other: one}
                case "dead" | "universe-shift" | "count":
                    self.of_box.setdefault(fault.where.partition("/")[0], []).append(fault)
                case "channel-shift":
                    box = plan.wiring.ports[first_run(show, fault.where)][0]
                    self.of_box.setdefault(box, []).append(fault)
                case _:
                    run = fault.places[0] if fault.places[0] in show.runs else fault.lamp[0]
                    self.of_wire.setdefault(plan.wiring.ports[run], []).append(fault)
        touched = {*self.of_wire, *(port for port in self.socket if port in plan._places)}
        touched |= {port for port in plan._places if self.socket.get(port, port)[0] in self.of_box}
        self.ports = [port for port in plan._places if port in touched]


def _port(name: str) -> Port:
    box, _, number = name.rpartition("/")
    return box, int(number)


def _channels(show: Show, run: str) -> int:
    return show.type_of(show.runs[run]).channels


def _dark(show: Show, run: Run) -> Takes:
    return np.full((run.pixels, show.type_of(run).channels), DARK, dtype=np.int32)


# --- the box's side -----------------------------------------------------------------------------------------------


def wire_letters(show: Show, controller: str, run: Run) -> str:
    """The order in which a run's colours stand in its channels: the chip's own, or R, G, B, W and then the others where
    the box puts them into chip order itself.
    """
    order = show.type_of(run).colour_order
    if not show.controllers[controller].reorders:
        return order
    return "".join(sorted(order, key=lambda letter: (letter not in "RGBW", "RGBW".find(letter), letter)))


def laid(at: int, pixels: int, channels: int) -> Order:
    """The running channel of the first channel of each of so many pixels that are laid from `at`."""
    at = first_fit(at, channels)
    numbers = np.arange(pixels)
    beyond = numbers - (CHANNELS - at % CHANNELS) // channels
    whole, rest = np.divmod(beyond, CHANNELS // channels)
    further = (at // CHANNELS + 1 + whole) * CHANNELS + rest * channels
    places: Order = np.where(beyond < 0, at + numbers * channels, further)
    return places


def _streams(plan: Planned, box: str, faults: Sequence[Fault]) -> tuple[dict[Port, Stream], tuple[int, ...]]:
    """What a box sends on each of its ports, and which universes it listens to."""
    show = plan.wiring.show
    universes = sum(fault.amount for fault in faults if fault.kind == "universe-shift")
    moved = {first_run(show, f.where): f for f in faults if f.kind == "channel-shift"}
    dead = {fault.where for fault in faults if fault.kind == "dead"}
    if box in dead:
        return {port: _NOTHING for port in plan._places if port[0] == box}, ()
    counts = _counts(show, plan._starts[box], {f.where: f.amount for f in faults if f.kind == "count"})
    pieces: dict[Port, list[Stream]] = {}
    listened: set[int] = set()
    for start in plan._starts[box]:
        at = start.at + universes * CHANNELS
        if fault := moved.get(start.chain.links[0].run):
            at += fault.amount
        first = at
        for link in start.chain.links:
            count = counts.get(link.run, link.nulls + link.pixels)
            end = behind(at, count, link.channels)
            if count and show.runs[link.run].hung:
                piece = _piece(show, box, link, at, count)
                pieces.setdefault((box, link.port), []).append(piece)
            at = end
        if first < 0 or at > LAST_UNIVERSE * CHANNELS:
            _outside(faults, first)
        if at > first:
            listened.update(range(first // CHANNELS + 1, (at - 1) // CHANNELS + 2))
    streams = {port: np.concatenate(found) for port, found in pieces.items() if f"{port[0]}/{port[1]}" not in dead}
    return {port: streams.get(port, _NOTHING) for port in plan.wiring.chains if port[0] == box}, tuple(sorted(listened))


def _outside(faults: Sequence[Fault], at: int) -> None:
    if at < 0:
        says = "would let the box begin before universe 1"
    else:
        says = f"would let the box end behind universe {LAST_UNIVERSE}"
    raise refuse(", ".join(map(str, faults)), says, "write a smaller value")


def _counts(show: Show, starts: Sequence[Start], off: Mapping[str, int]) -> dict[str, int]:
    """How many pixels with channels the box believes each run to have, where the number typed in for a port is off."""
    found: dict[str, int] = {}
    for name, amount in off.items():
        box, port = _port(name)
        links = [link for start in starts for link in start.chain.links if (box, link.port) == (start.controller, port)]
        links = [link for link in links if show.runs[link.run].hung]
        left = sum(link.nulls + link.pixels for link in links) + amount
        for link in links:
            here = left if link is links[-1] else min(left, link.nulls + link.pixels)
            found[link.run] = here
            left -= here
    return found


def _piece(show: Show, box: str, link: Link, at: int, count: int) -> Stream:
    """What the box sends for one run that it lays from `at`: its inserted nulls, then `count` pixels with channels."""
    run = show.runs[link.run]
    order, letters = show.type_of(run).colour_order, wire_letters(show, box, run)
    octets = laid(at, count, link.channels)[:, None] + np.array([letters.index(letter) for letter in order])
    inserted = (run.nulls - link.nulls) * link.channels
    if not inserted:
        return octets.ravel().astype(np.int32)
    return np.concatenate([np.full(inserted, DARK, dtype=np.int32), octets.ravel().astype(np.int32)])


# --- the wire's side ----------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Branch:
    """What stands at one place: null pixels, then lamps by their planned numbers."""

    run: str
    nulls: list[int]
    lamps: Order


@dataclass(frozen=True, slots=True)
class _Harm:
    """From which octet of the stream on a wire is cut, and from which its data is broken; None: nowhere."""

    cut: int | None = None
    broken: int | None = None


class _Wire:
    """One port's cable with all that hangs on it, as built."""

    def __init__(self, plan: Planned, port: Port, faults: Sequence[Fault]) -> None:
        self._plan = plan
        self._show = plan.wiring.show
        self._at_lamp: dict[str, list[Fault]] = {}
        self._of_run: dict[str, list[Fault]] = {}
        runs = [place.run for place in plan._places[port]]
        for fault in faults:
            if fault.kind == "swapped-runs":
                one, other = (runs.index(name) for name in fault.places)
                runs[one], runs[other] = runs[other], runs[one]
            elif fault.where in self._show.runs:
                self._of_run.setdefault(fault.where, []).append(fault)
            else:
                self._at_lamp.setdefault(fault.lamp[0], []).append(fault)
        self._chain: list[tuple[_Branch, list[_Branch]]] = []
        for place, run in zip(plan._places[port], runs, strict=True):
            before = [branch for branch, _ in self._chain]
            tees = [tee for tee in place.tees if self._show.runs[tee].hung]
            own = self._branch(run, place.nulls, before)
            self._chain.append((own, [self._branch(tee, self._nulls(tee), []) for tee in tees]))

    def _nulls(self, run: str) -> tuple[int, ...]:
        return (_channels(self._show, run),) * self._show.runs[run].nulls

    def _branch(self, run: str, nulls: Sequence[int], before: Sequence[_Branch]) -> _Branch:
        faults = self._of_run.get(run, ())
        lamps = _order(self._show, run, faults)
        if missing := [fault.lamp[1] for fault in self._at_lamp.get(run, ()) if fault.kind == "missing"]:
            lamps = lamps[~np.isin(lamps, missing)]
        branch = _Branch(run, list(nulls), lamps)
        for fault in faults:
            if fault.kind == "shift":
                _shift(branch, fault.amount, _channels(self._show, run), before)
        return branch

    def takes(self, stream: Stream) -> dict[str, Takes]:
        """What every lamp on the cable takes of a stream."""
        found: dict[str, Takes] = {}
        ended = np.append(stream, np.int32(DARK))
        at, harm = 0, _Harm()
        for branch, tees in self._chain:
            for tee in tees:
                found[tee.run], _, _ = self._along(tee, ended, at, harm)
            found[branch.run], at, harm = self._along(branch, ended, at, harm)
        return found

    def _along(self, branch: _Branch, ended: Stream, at: int, harm: _Harm) -> tuple[Takes, int, _Harm]:
        """What a branch's lamps take from octet `at` on; the octet behind them, and the harm done by then."""
        run = self._show.runs[branch.run]
        letters = self._show.type_of(run).colour_order
        chips = next((f.value for f in self._of_run.get(branch.run, ()) if f.kind == "colour-order"), letters)
        columns = np.array([chips.index(letter) for letter in letters])
        at += sum(branch.nulls)
        first = at + np.arange(len(branch.lamps)) * len(letters)
        faults = self._at_lamp.get(branch.run, ())
        for fault in faults:
            harm = _harmed(harm, fault, branch.lamps, first)
        octets = first[:, None] + columns
        inside = octets < len(ended) - 1
        taken = ended[np.where(inside, octets, len(ended) - 1)]
        if harm.broken is not None:
            taken[(first >= harm.broken)[:, None] & inside] = RANDOM
        if harm.cut is not None:
            taken[first >= harm.cut] = DARK
        found = _dark(self._show, run)
        found[branch.lamps] = taken
        for fault in faults:
            if fault.kind == "dark":
                found[fault.lamp[1]] = DARK
            elif fault.kind == "dark-channel":
                found[fault.lamp[1], letters.index(fault.value)] = DARK
        return found, at + len(first) * len(letters), harm


def _harmed(harm: _Harm, fault: Fault, lamps: Order, first: Order) -> _Harm:
    if fault.kind not in ("cut", "flicker") or not len(found := np.flatnonzero(lamps == fault.lamp[1])):
        return harm
    key = "cut" if fault.kind == "cut" else "broken"
    before: int | None = getattr(harm, key)
    here = int(first[found[0]])
    return replace(harm, **{key: here if before is None else min(before, here)})


def _shift(branch: _Branch, amount: int, channels: int, before: Sequence[_Branch]) -> None:
    """Put pixels before a run's first one, or cut off those that are there: its nulls, then the lamps of the runs before
    it from the last on, then its own first ones.
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
    """The planned numbers, from 0, of a run's lamps in the order in which the data passes them."""
    run = show.runs[name]
    order: Order = np.arange(run.pixels)
    wired = {f.kind.replace("-", "_"): f.value for f in faults if f.kind in ("data-in", "lines", "turns")}
    if wired:
        plan = lattice(show, run)
        assert plan is not None  # noqa: S101  (such a fault is about a grid)
        order = _rewired(plan, replace(plan, **wired), run.gap_places)  # type: ignore[arg-type]
    return order[::-1] if any(fault.kind == "reversed" for fault in faults) else order


def _rewired(plan: Lattice, now: Lattice, gaps: tuple[int, ...]) -> Order:
    """The planned numbers of a grid's lamps in the order of another wiring; places without a lamp stay without one."""
    places = plan.cells() - [plan.column, plan.row]
    lamps = np.ones(len(places), dtype=bool)
    lamps[np.array(gaps, dtype=int) - 1] = False
    number = np.full((plan.columns, plan.rows), -1)
    number[tuple(places[lamps].T)] = np.arange(lamps.sum())
    passed: Order = number[tuple((now.cells() - [plan.column, plan.row]).T)]
    return passed[passed >= 0]
