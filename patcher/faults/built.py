"""Which data each lamp takes, as planned and with faults.

Two sides meet on a port. The *box* sends a stream of octets: for each pixel that it believes to be on the port, in
order, the channels of that pixel, or dark ones where it inserts a null. On the *wire* the pixels stand in the order in
which the data passes them, whoever they are; each takes as many octets as it has channels and passes on the rest. What
comes behind the end of the stream is nothing, and a pixel that gets nothing is dark.

What a lamp takes is written as running channels (see `address/patch.py`): two wirings in which all lamps take the same
from the same boxes look alike in every frame that can be sent.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from patcher.address.patch import CHANNELS, Patch, Start
from patcher.faults.cable import Cable, Place, Takes, channels_of, dark
from patcher.faults.fault import Fault, first_run
from patcher.faults.sent import NOTHING, Port, Stream, port_of, streams
from patcher.wiring import Wiring


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
    _places: dict[Port, tuple[Place, ...]] = field(default_factory=dict)


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
        sent, plan.universes[box] = streams(wiring, plan._starts[box], box, ())
        plan._streams.update(sent)
    for port, chain in wiring.chains.items():
        plan._places[port] = tuple(
            Place(run, (channels_of(show, run),) * show.runs[run].nulls, wiring.tees(run))
            for run in chain
            if show.runs[run].hung
        )
        stream = plan._streams.get(port, NOTHING)
        plan.takes.update(Cable(show, plan._places[port], ()).takes(stream))
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
        changed, universes[box] = streams(plan.wiring, plan._starts[box], box, own)
        sent.update(changed)
    for port in sides.ports:
        socket = sides.socket.get(port, port)
        same = port not in sides.of_wire and np.array_equal(sent.get(socket, NOTHING), plan._streams[port])
        if same and socket == port:
            continue
        cable = Cable(plan.wiring.show, plan._places[port], sides.of_wire.get(port, ()))
        for run, taken in cable.takes(sent.get(socket, NOTHING)).items():
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
                    one, other = (port_of(name) for name in fault.places)
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
