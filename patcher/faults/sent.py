"""What a box sends: on each port a stream of octets, each written as the running channel that it copies.

For each pixel that the box believes to be on the port, in order, stand the channels of that pixel, or dark octets where
the box inserts a null. A number that was typed in wrongly changes what the box believes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from patcher.errors import refuse
from patcher.faults.fault import Fault, first_run, starts_of
from patcher.patch.patch import Link, Patch, Start, behind, pixel_places
from patcher.show.run_tables import Run
from patcher.show.schema import Show
from patcher.trade import CHANNELS, LAST_UNIVERSE, letter_place
from patcher.wiring import Wiring, port_name

Stream = NDArray[np.int32]
Port = tuple[str, int]

DARK = -1
"""In place of a running channel: nothing sets it."""
NOTHING: Stream = np.empty(0, dtype=np.int32)


def port_of(name: str) -> Port:
    """A port by its name, BOX/1."""
    box, _, number = name.rpartition("/")
    return box, int(number)


def wire_letters(show: Show, controller: str, run: Run) -> str:
    """The order in which a run's colours stand in its channels: the chip's own, or R, G, B, W and then the others where
    the box puts them into chip order itself.
    """
    order = show.type_of(run).colour_order
    if not show.controllers[controller].reorders:
        return order
    return "".join(sorted(order, key=letter_place))


def exchanged(wiring: Wiring, patch: Patch, faults: Iterable[Fault]) -> dict[str, int]:
    """Where starts begin that are typed in each other's place, by the run with which each begins. Of two boxes the
    first start goes with the first, as far as both have some.
    """
    found: dict[str, int] = {}
    for fault in faults:
        if fault.kind == "swapped-starts":
            one, other = (starts_of(wiring, name) for name in fault.places)
            for here, there in zip(one, other, strict=False):
                found[here], found[there] = patch.start_of(there).at, patch.start_of(here).at
    return found


def streams(
    wiring: Wiring, patch: Patch, box: str, faults: Sequence[Fault]
) -> tuple[dict[Port, Stream], tuple[int, ...]]:
    """What a box sends on each of its ports, and which universes it listens to, rising.

    Args:
        wiring: the wiring as planned.
        patch: its patch as planned.
        box: its name.
        faults: those that are about what it sends.

    Raises:
        PatcherError: it would begin before universe 1, or end behind the last one.
    """
    show = wiring.show
    starts = patch.boxes.get(box, ())
    moved = exchanged(wiring, patch, faults)
    off = _moved(wiring, faults)
    dead = {fault.where for fault in faults if fault.kind == "dead"}
    own = [port for port in wiring.chains if port[0] == box]
    if box in dead:
        return dict.fromkeys(own, NOTHING), ()
    counts = _counts(show, starts, faults)
    pieces: dict[Port, list[Stream]] = {}
    listened: set[int] = set()
    for start in starts:
        begins = start.chain.links[0].run
        at = first = moved.get(begins, start.at) + off.get(begins, 0)
        for link in start.chain.links:
            count = counts.get(link.run, link.nulls + link.pixels)
            if count and show.runs[link.run].hung:
                pieces.setdefault((box, link.port), [NOTHING]).append(_piece(show, box, link, at, count))
            at = behind(at, count, link.channels)
        if why := _outside(LAST_UNIVERSE[show.controllers[box].protocol], first, at):
            raise refuse(", ".join(map(str, faults)), f"would let the box {why}", "write a smaller value")
        if at > first:
            listened.update(range(first // CHANNELS + 1, (at - 1) // CHANNELS + 2))
    sent = {port: NOTHING if port_name(*port) in dead else np.concatenate(pieces.get(port, [NOTHING])) for port in own}
    return sent, tuple(sorted(listened))


def _outside(last: int, begin: int, end: int) -> str:
    """What a box would do that sends from a running channel up to another, where it cannot; else empty."""
    if begin < 0:
        return "begin before universe 1"
    return f"end behind universe {last}" if end > last * CHANNELS else ""


def _moved(wiring: Wiring, faults: Sequence[Fault]) -> dict[str, int]:
    """By how many channels starts are off, each by the run with which it begins."""
    found: dict[str, int] = {}
    for fault in faults:
        if fault.kind == "universe-shift":
            for run in starts_of(wiring, fault.where):
                found[run] = found.get(run, 0) + fault.amount * CHANNELS
        elif fault.kind == "channel-shift":
            run = first_run(wiring, fault.where)
            found[run] = found.get(run, 0) + fault.amount
    return found


def _counts(show: Show, starts: Sequence[Start], faults: Sequence[Fault]) -> dict[str, int]:
    """How many pixels with channels the box believes each run to have, where the number typed in for a port is off."""
    found: dict[str, int] = {}
    for fault in (fault for fault in faults if fault.kind == "count"):
        box, port = port_of(fault.where)
        links = [link for start in starts for link in start.chain.links if (box, link.port) == (start.controller, port)]
        links = [link for link in links if show.runs[link.run].hung]
        left = sum(link.nulls + link.pixels for link in links) + fault.amount
        for link in links:
            here = left if link is links[-1] else min(left, link.nulls + link.pixels)
            found[link.run] = here
            left -= here
    return found


def _piece(show: Show, box: str, link: Link, at: int, count: int) -> Stream:
    """What the box sends for one run that it lays from `at`: its inserted nulls, then `count` pixels with channels."""
    run = show.runs[link.run]
    order, letters = show.type_of(run).colour_order, wire_letters(show, box, run)
    channels = pixel_places(at, np.arange(count), link.channels)[:, None] + np.array(
        [letters.index(letter) for letter in order]
    )
    octets: Stream = channels.ravel().astype(np.int32)
    inserted = (run.nulls - link.nulls) * link.channels
    if not inserted:
        return octets
    return np.concatenate([np.full(inserted, DARK, dtype=np.int32), octets])
