"""The yard: every box of a show, simulated, and which of its lamps are lit.

A box knows what is typed into it, the patch; its lamps hang as built, which may differ from the plan. A lamp is named
by where the plan has it, for that is where a person sees it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv4Address
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patcher.address.patch import Patch
from patcher.faults import Built
from patcher.show.schema import Show
from patcher.stream.levels import Places, pixel_places, wire_letters
from patcher.stream.looks import Look
from patcher.stream.receiver import Ear
from patcher.stream.sender import Target, box_universes
from patcher.wire import e131
from patcher.wiring import Wiring
from patcher.yard.boxes import Box

Lamps = NDArray[np.uint8]
LOOPBACK = "127.0.0.1"


def addresses(show_path: Path, show: Show) -> dict[str, str]:
    """A loopback address for each box of a show: of its own for each show file, the same in every program."""
    digest = hashlib.sha256(str(show_path.resolve()).encode()).digest()
    boxes = [name for name, controller in show.controllers.items() if not controller.spare]
    first = IPv4Address(f"127.{64 + digest[0] % 64}.{digest[1]}.1")
    return {name: str(first + number) for number, name in enumerate(boxes)}


def ears(show: Show, patch: Patch, hosts: dict[str, str]) -> dict[Ear, list[str]]:
    """What to listen on, and which boxes hear it."""
    found: dict[Ear, list[str]] = {}
    for name, universes in box_universes(patch).items():
        controller = show.controllers[name]
        if controller.delivery == "multicast":
            here = [Ear(e131.multicast_group(universe), e131.PORT, LOOPBACK) for universe in universes]
        else:
            here = [Ear(hosts[name], Target(controller.protocol, 1, "").port)]
        for ear in here:
            found.setdefault(ear, []).append(name)
    return found


@dataclass(frozen=True, eq=False)
class _String:
    """One run's lamps at a box: where their bytes come from and which lamp each is."""

    run: str
    box: Box
    rows: Places
    columns: Places
    reorder: list[int]
    lamp_of_place: Places


class Yard:
    """All boxes and all lamps.

    Attributes:
        letters: for each run, the channels of a lamp as columns of `lamps`: its planned colour order.
        lamps: for each run, what each of its lamps shows: shape (pixels, channels), 0 to 255.
        seen: every colour that each lamp ever showed but dark, in the order in which lamps first lit.
        boxes: the boxes by name.
    """

    def __init__(self, wiring: Wiring, patch: Patch, built: Built) -> None:
        """A dark yard, wired as built, its boxes set as the patch says."""
        show = wiring.show
        universes = box_universes(patch)
        self.letters = {name: show.type_of(run).colour_order for name, run in show.runs.items()}
        self.lamps: dict[str, Lamps] = {
            name: np.zeros((run.pixels, len(self.letters[name])), dtype=np.uint8) for name, run in show.runs.items()
        }
        self.seen: dict[tuple[str, int], dict[tuple[int, ...], None]] = {}
        self.boxes = {
            name: Box(name, show.controllers[name].protocol, tuple(numbers)) for name, numbers in universes.items()
        }
        self._level = {name: show.controllers[name].level for name in self.boxes}
        self._strings: dict[tuple[str, int], list[_String]] = {}
        for name in show.runs:
            self._hang(wiring, patch, built, name)

    def _hang(self, wiring: Wiring, patch: Patch, built: Built, name: str) -> None:
        source = wiring.source(name)
        link, at = patch.link_of(source)
        box = self.boxes[patch.start_of(source).controller]
        places = pixel_places(at, np.arange(link.pixels), link.channels)
        rows = np.searchsorted(np.array(box.universes), places // e131.SLOTS + 1)
        columns = (places % e131.SLOTS)[:, None] + np.arange(link.channels)
        on_wire = wire_letters(wiring.show, box.name, wiring.show.runs[source])
        set_in_box = self.letters[source]
        chips = built.letters.get(name, self.letters[name])
        if wiring.show.controllers[box.name].reorders:
            to_chip = [on_wire.index(letter) for letter in set_in_box]
        else:
            to_chip = list(range(link.channels))
        reorder = [to_chip[chips.index(letter)] for letter in self.letters[name]]
        lamp_of_place = built.order.get(name, np.arange(link.pixels))
        string = _String(name, box, rows, columns, reorder, lamp_of_place)
        for universe in {box.universes[row] for row in set(rows.tolist())}:
            self._strings.setdefault((box.name, universe), []).append(string)

    def receive(self, boxes: Iterable[str], octets: bytes, sender: str, now: float) -> None:
        """A datagram arrives at some boxes."""
        for name in boxes:
            universe = self.boxes[name].receive(octets, sender, now)
            if universe is not None:
                self._light(name, universe)

    def expire(self, now: float) -> None:
        """Time goes on: what has been silent too long goes dark."""
        for name, box in self.boxes.items():
            for universe in box.expire(now):
                self._light(name, universe)

    def _light(self, box: str, universe: int) -> None:
        for string in self._strings.get((box, universe), ()):
            values = string.box.slots[string.rows[:, None], string.columns][:, string.reorder]
            if self._level[box] < 1:
                values = np.floor(values * self._level[box] + 0.5).astype(np.uint8)
            shown = self.lamps[string.run]
            lamps = string.lamp_of_place
            changed = (shown[lamps] != values).any(axis=1)
            shown[lamps] = values
            for place in np.flatnonzero(changed & values.any(axis=1)).tolist():
                key = (string.run, int(lamps[place]) + 1)
                self.seen.setdefault(key, {})[tuple(values[place].tolist())] = None

    @property
    def packets(self) -> int:
        """Datagrams that boxes were given, of whatever use they were."""
        return sum(sum(box.counts.values()) for box in self.boxes.values())

    def lit(self) -> int:
        """How many lamps are lit."""
        return sum(int(lamps.any(axis=1).sum()) for lamps in self.lamps.values())


@dataclass(frozen=True, slots=True)
class Difference:
    """Where a run looked otherwise than planned, with lamps by number.

    Attributes:
        run: its name.
        missing: lamps that should have been lit and were dark.
        extra: lamps that should have been dark and were lit.
        odd: lamps that were lit in another colour.
    """

    run: str
    missing: tuple[int, ...]
    extra: tuple[int, ...]
    odd: tuple[int, ...]


def differences(look: Look, level: float, wiring: Wiring, yard: Yard) -> list[Difference]:
    """Where the yard's lamps differ from a look that was sent at a level; nothing, where all is as planned."""
    show = wiring.show
    planned = {name: np.zeros_like(lamps) for name, lamps in yard.lamps.items()}
    for glow in look.glows:
        source = wiring.source(glow.run)
        dimmer = show.controllers[wiring.ports[source][0]].level
        for name in (source, *wiring.tees(source)):
            sent = np.floor(np.array(glow.colour.on(yard.letters[name])) * level * 255 + 0.5)
            planned[name][glow.pixels] = np.floor(sent * dimmer + 0.5).astype(np.uint8)
    found = []
    for name, wanted in planned.items():
        shown = yard.lamps[name]
        should, does = wanted.any(axis=1), shown.any(axis=1)
        odd = should & does & (wanted != shown).any(axis=1)
        if (should != does).any() or odd.any():
            missing, extra, other = (
                tuple((np.flatnonzero(mask) + 1).tolist()) for mask in (should & ~does, does & ~should, odd)
            )
            found.append(Difference(name, missing, extra, other))
    return found
