"""Which data each pixel takes, as planned and with faults.

Two sides meet on a port. The *box* sends a stream of octets: for each pixel that it believes to be on the port, in
order, the channels of that pixel, or dark ones where it inserts a null. On the *wire* the pixels stand in the order in
which the data passes them, whoever they are; each takes as many octets as it has channels and passes on the rest. What
comes behind the end of the stream is nothing, and a pixel that gets nothing is dark.

What a pixel takes is written as running channels (see `patch/patch.py`): two wirings in which all pixels take the same
from the same boxes look alike in every frame that can be sent.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from patcher.faults.cable import Cable, Place, Takes, dark, places_of, rearranged
from patcher.faults.fault import OF_BOX, Fault, boxes_of, runs_of
from patcher.faults.sent import NOTHING, Port, Stream, port_of, streams
from patcher.patch.patch import Patch
from patcher.trade import CHANNELS
from patcher.wiring import Wiring


@dataclass(frozen=True, eq=False)
class Planned:
    """A wiring with its patch, taken apart so that faults can be put in quickly; made once, by `planned`.

    Attributes:
        wiring: the wiring.
        patch: what is typed into its boxes.
        takes: what each run's pixels take as planned.
        boxes: for each run, the box that feeds it.
    """

    wiring: Wiring
    patch: Patch
    takes: dict[str, Takes] = field(default_factory=dict)
    boxes: dict[str, str] = field(default_factory=dict)
    _streams: dict[Port, Stream] = field(default_factory=dict)
    _places: dict[Port, tuple[Place, ...]] = field(default_factory=dict)


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


def planned(wiring: Wiring, patch: Patch) -> Planned:
    """A wiring and its patch, ready for faults."""
    show = wiring.show
    plan = Planned(wiring, patch)
    for box in patch.boxes:
        plan._streams.update(streams(wiring, patch, box, ())[0])
    plan._places.update(places_of(wiring))
    for port, places in plan._places.items():
        plan.takes.update(Cable(show, places, ()).takes(plan._streams.get(port, NOTHING)))
    for name, run in show.runs.items():
        plan.takes.setdefault(name, dark(show, run))
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
    sent = dict(plan._streams)
    for box, own in sides.of_box.items():
        changed, universes[box] = streams(plan.wiring, plan.patch, box, own)
        sent.update(changed)
    places = rearranged(plan._places, sides.on_wire)
    for port in sides.ports:
        socket = sides.socket.get(port, port)
        same = port not in sides.wires and np.array_equal(sent.get(socket, NOTHING), plan._streams[port])
        if same and socket == port:
            continue
        cable = Cable(plan.wiring.show, places[port], sides.on_wire)
        for run, taken in cable.takes(sent.get(socket, NOTHING)).items():
            if not np.array_equal(taken, plan.takes[run]):
                takes[run] = taken
            if socket[0] != plan.boxes[run]:
                boxes[run] = socket[0]
    listens = {box: numbers for box, numbers in universes.items() if numbers != plan.patch.box_universes[box]}
    return Departure(takes, boxes, listens)


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


class _Sides:
    """Faults sorted by what they touch: what a box sends, or what stands on a wire.

    Attributes:
        of_box: for each box, the faults of what it sends.
        on_wire: the faults of what stands on some wire.
        wires: the ports, by their planned chains, on whose wires something else stands.
        socket: for each port whose lead is in another socket, that socket.
        ports: every port whose chain may show something else.
    """

    def __init__(self, plan: Planned, faults: tuple[Fault, ...]) -> None:
        self.of_box: dict[str, list[Fault]] = {}
        self.on_wire: list[Fault] = []
        self.wires: set[Port] = set()
        self.socket: dict[Port, Port] = {}
        for fault in faults:
            match fault.kind:
                case "swapped-ports":
                    one, other = (port_of(name) for name in fault.places)
                    self.socket |= {one: other, other: one}
                case kind if kind in OF_BOX:
                    for box in boxes_of(plan.wiring.ports, fault):
                        self.of_box.setdefault(box, []).append(fault)
                case _:
                    self.on_wire.append(fault)
                    self.wires |= {plan.wiring.ports[run] for run in runs_of(fault)}
        touched = {*self.wires, *(port for port in self.socket if port in plan._places)}
        touched |= {port for port in plan._places if self.socket.get(port, port)[0] in self.of_box}
        self.ports = [port for port in plan._places if port in touched]
