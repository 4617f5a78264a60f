"""Which data each pixel takes, as planned and with faults.

Two sides meet on a port. The *box* sends a stream of octets: for each pixel that it believes to be on the port, in
order, the channels of that pixel, or dark ones where it inserts a null. On the *wire* the pixels stand in the order in
which the data passes them, whoever they are; each takes as many octets as it has channels and passes on the rest. What
comes behind the end of the stream is nothing, and a pixel that gets nothing is dark.

What a pixel takes is written as running channels (see `patch/patch.py`): two wirings in which all pixels take the same
from the same boxes look alike in every frame that can be sent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from patcher.faults.cable import Cable, Place, Takes, dark, places_of, rearranged
from patcher.faults.fault import OF_BOX, Fault, boxes_of, runs_of
from patcher.faults.sent import NOTHING, Port, Stream, port_of, streams
from patcher.patch.patch import Patch
from patcher.trade import CHANNELS
from patcher.wiring import Wiring

Sends = Callable[[str, tuple[Fault, ...]], tuple[dict[Port, Stream], tuple[int, ...]]]

KEPT = 8192
"""So many boxes' streams and cables are kept for the next set of faults."""


@dataclass(frozen=True, eq=False)
class Planned:
    """A wiring with its patch, taken apart so that faults can be put in quickly; made once, by `planned`.

    Attributes:
        wiring: the wiring.
        patch: what is typed into its boxes.
        sent: what its boxes send on each port, as planned.
        places: the places of each port's chain, as planned.
        takes: what each run's pixels take as planned.
        boxes: for each run, the box that feeds it.
    """

    wiring: Wiring
    patch: Patch
    sent: dict[Port, Stream]
    places: dict[Port, tuple[Place, ...]]
    takes: dict[str, Takes]
    boxes: dict[str, str]


@dataclass(frozen=True, eq=False)
class Departure:
    """What faults change; whatever is not named is as planned.

    Attributes:
        takes: for runs whose pixels take other data, what they take.
        boxes: for runs that another box feeds, that box.
        universes: for boxes that listen to others, or to none, their universes.
    """

    takes: dict[str, Takes]
    boxes: dict[str, str]
    universes: dict[str, tuple[int, ...]]


def planned(wiring: Wiring, patch: Patch, fed_as: Planned | None = None) -> Planned:
    """A wiring and its patch, ready for faults.

    Args:
        wiring: the wiring.
        patch: what is typed into its boxes.
        fed_as: another plan, whose boxes send in place of the patch's; None: they are the patch's.
    """
    show, places = wiring.show, places_of(wiring)
    sent: dict[Port, Stream] = {}
    for box in patch.boxes if fed_as is None else ():
        sent |= streams(wiring, patch, box, ())[0]
    if fed_as is not None:
        sent |= fed_as.sent
    takes = {name: dark(show, run) for name, run in show.runs.items()}
    for port, own in places.items():
        takes |= Cable.of(show, own, (), sent.get(port, NOTHING)).takes()
    return Planned(wiring, patch, sent, places, takes, {name: wiring.ports[name][0] for name in show.runs})


def departure(plan: Planned, faults: Iterable[Fault]) -> Departure:
    """What faults that make sense together change.

    Raises:
        PatcherError: a box would begin before universe 1, or end behind the last one.
    """
    return Departures(plan).of(faults)


class Departures:
    """What many sets of faults change in one plan: of two that leave a cable alike it is worked out once."""

    def __init__(self, plan: Planned) -> None:
        self._plan = plan
        self._streams = lru_cache(KEPT)(partial(streams, plan.wiring, plan.patch))
        self._takes = lru_cache(KEPT)(partial(_taken, plan, self._streams))

    def of(self, faults: Iterable[Fault]) -> Departure:
        """What faults that make sense together change; what it holds is not to be written to.

        Raises:
            PatcherError: a box would begin before universe 1, or end behind the last one.
        """
        cables = BuiltCables(self._plan, faults, self._streams)
        takes: dict[str, Takes] = {}
        boxes: dict[str, str] = {}
        for port in cables.touched():
            socket = cables.socket(port)
            for run, taken in self._takes(cables.places(port), cables.on_wire(port), *cables.source(port)).items():
                if not np.array_equal(taken, self._plan.takes[run]):
                    takes[run] = taken
                if socket[0] != self._plan.boxes[run]:
                    boxes[run] = socket[0]
        return Departure(takes, boxes, cables.universes)


def _taken(
    plan: Planned, sends: Sends, places: tuple[Place, ...], on_wire: tuple[Fault, ...], socket: Port,
    of_box: tuple[Fault, ...],
) -> dict[str, Takes]:  # fmt: skip
    """What the pixels of a chain take that is in a socket, by the faults on it and of the socket's box."""
    sent = sends(socket[0], of_box)[0] if of_box else plan.sent
    return Cable.of(plan.wiring.show, places, on_wire, sent.get(socket, NOTHING)).takes()


def slot_index(takes: Takes, universes: Sequence[int]) -> NDArray[np.int64]:
    """Where what pixels take stands in the slots of some universes, laid end to end with one dark slot behind them all.

    Args:
        takes: what pixels take.
        universes: rising.

    Returns:
        Shaped like `takes`; the dark slot's number, 512 × universes, for what is in none of them.
    """
    numbers = np.asarray(universes, dtype=np.int64)
    behind_all = len(numbers) * CHANNELS
    if not behind_all:
        return np.zeros(takes.shape, dtype=np.int64)
    universe, channel = np.divmod(takes.astype(np.int64), CHANNELS)
    rows = np.minimum(np.searchsorted(numbers, universe + 1), len(numbers) - 1)
    found: NDArray[np.int64] = np.where(numbers[rows] == universe + 1, rows * CHANNELS + channel, behind_all)
    return found


class BuiltCables:
    """Every cable of a wiring with faults in it.

    Attributes:
        universes: for boxes that listen to others than planned, or to none, their universes.
    """

    def __init__(self, plan: Planned, faults: Iterable[Fault], sends: Sends | None = None) -> None:
        """Sort the faults by what they touch: what a box sends, or what stands on a wire.

        Args:
            plan: the wiring as planned.
            faults: what is otherwise.
            sends: what a box sends with some of them, and which universes it listens to; None: it is worked out.

        Raises:
            PatcherError: a box would begin before universe 1, or end behind the last one.
        """
        self._plan = plan
        self._on_wire: list[Fault] = []
        self._wires: set[Port] = set()
        self._socket: dict[Port, Port] = {}
        self._of_box: dict[str, tuple[Fault, ...]] = {}
        for fault in faults:
            if fault.kind == "swapped-ports":
                one, other = (port_of(name) for name in fault.places)
                self._socket |= {one: other, other: one}
            elif fault.kind in OF_BOX:
                for box in boxes_of(plan.wiring.ports, fault):
                    self._of_box[box] = (*self._of_box.get(box, ()), fault)
            else:
                self._on_wire.append(fault)
                self._wires |= {plan.wiring.ports[run] for run in runs_of(fault)}
        self._places = rearranged(plan.places, self._on_wire)
        self._sent = dict(plan.sent)
        self.universes: dict[str, tuple[int, ...]] = {}
        sends = sends or partial(streams, plan.wiring, plan.patch)
        for box, own in self._of_box.items():
            changed, listens = sends(box, own)
            self._sent |= changed
            if listens != plan.patch.box_universes[box]:
                self.universes[box] = listens

    def socket(self, port: Port) -> Port:
        """The port in which the lead of a planned port's chain is."""
        return self._socket.get(port, port)

    def places(self, port: Port) -> tuple[Place, ...]:
        """The places of a planned port's chain, as wired."""
        return self._places[port]

    def on_wire(self, port: Port) -> tuple[Fault, ...]:
        """The faults on the cable of a planned port's chain."""
        runs = {run for place in self._places[port] for run in (place.run, *place.tees)}
        return tuple(fault for fault in self._on_wire if not runs.isdisjoint(runs_of(fault)))

    def source(self, port: Port) -> tuple[Port, tuple[Fault, ...]]:
        """The port in which a planned port's lead is, and the faults of its box."""
        socket = self.socket(port)
        return socket, self._of_box.get(socket[0], ())

    def of_run(self, run: str) -> Port:
        """The port, by its planned chain, on whose cable a run is."""
        return next(port for port, own in self._places.items() for place in own if run in (place.run, *place.tees))

    def touched(self) -> Iterator[Port]:
        """Every port whose chain may show something else than planned. (What another socket sends is never the same:
        no channel is given twice.)
        """
        for port in self._places:
            now, before = self._stream(port), self._plan.sent.get(port, NOTHING)
            if port in self._wires or not (now is before or np.array_equal(now, before)):
                yield port

    def cable(self, port: Port) -> Cable:
        """The cable of a planned port's chain."""
        return Cable.of(self._plan.wiring.show, self._places[port], self._on_wire, self._stream(port))

    def _stream(self, port: Port) -> Stream:
        return self._sent.get(self.socket(port), NOTHING)
