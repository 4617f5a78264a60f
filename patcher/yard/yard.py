"""The yard: every box of a show, simulated, and which of its pixels are lit.

A box knows what is typed into it, the patch; its pixels hang as built, which may differ from the plan. A pixel is named
by where the plan has it, for that is where a person sees it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from ipaddress import IPv4Address
from pathlib import Path
from typing import Any

import numpy as np

from patcher.faults import Built, departure, planned
from patcher.frames.looks import Look
from patcher.listener.receiver import Ear, is_free
from patcher.patch.patch import Patch
from patcher.show.schema import Show
from patcher.stream.sender import Target
from patcher.trade import UDP_PORTS
from patcher.wire import e131
from patcher.wiring import Wiring
from patcher.yard.network_trouble import Trouble
from patcher.yard.pixels import PixelBlock, PixelValues
from patcher.yard.simulated_box import SimulatedBox

LOOPBACK = "127.0.0.1"


def _before_boxes(show_path: Path) -> IPv4Address:
    """The loopback address behind which those of a show's boxes begin: of its own for each show file."""
    digest = hashlib.sha256(str(show_path.resolve()).encode()).digest()
    return IPv4Address(f"127.{64 + digest[0] % 64}.{digest[1]}.0")


def addresses(show_path: Path, show: Show) -> dict[str, str]:
    """A loopback address for each box of a show: of its own for each show file, the same in every program."""
    boxes = [name for name, controller in show.controllers.items() if not controller.spare]
    return {name: str(_before_boxes(show_path) + number) for number, name in enumerate(boxes, start=1)}


def sign(show_path: Path) -> Ear:
    """Where the yard of a show listens for as long as it runs, whichever of its boxes are dead. No box is there, and
    nothing is sent there.
    """
    return Ear(str(_before_boxes(show_path)), UDP_PORTS["e131"])


def is_running(show_path: Path) -> bool:
    """Whether a yard of a show runs on this machine."""
    return not is_free(sign(show_path))


def near(show_path: Path, show: Show) -> dict[str, str]:
    """The loopback address of each unicast box, by name: a sender to the yard uses it in place of the box's own."""
    tables = show.controllers
    return {box: host for box, host in addresses(show_path, show).items() if tables[box].delivery == "unicast"}


def ears(
    show: Show, patch: Patch, hosts: Mapping[str, str], universes: Mapping[str, Sequence[int]] | None = None
) -> dict[Ear, list[str]]:
    """What to listen on, and which boxes hear it.

    Args:
        show: the show.
        patch: its patch.
        hosts: the address of each box.
        universes: those that each box listens to, where they are not the patch's; a box that has none hears nothing.
    """
    found: dict[Ear, list[str]] = {}
    for name, numbers in (universes or patch.box_universes).items():
        for ear in _box_ears(show, name, numbers, hosts):
            found.setdefault(ear, []).append(name)
    return found


def _box_ears(show: Show, name: str, universes: Sequence[int], hosts: Mapping[str, str]) -> list[Ear]:
    controller = show.controllers[name]
    if controller.delivery == "multicast":
        return [Ear(e131.multicast_group(universe), UDP_PORTS["e131"], LOOPBACK) for universe in universes]
    return [Ear(hosts[name], Target(controller.protocol, 1, "").port)] if universes else []


def sync_ears(show: Show, yard: Yard) -> dict[Ear, list[str]]:
    """The groups of synchronization addresses that packets name: what to listen on besides, and which boxes hear it."""
    found: dict[Ear, list[str]] = {}
    for name, box in yard.boxes.items():
        if show.controllers[name].delivery == "multicast":
            for universe in box.stream_sync.universes:
                if universe not in box.universes:
                    found.setdefault(Ear(e131.multicast_group(universe), UDP_PORTS["e131"], LOOPBACK), []).append(name)
    return found


class Yard:
    """All boxes and pixels of a show, simulated.

    Attributes:
        letters: for each run, the channels of a pixel as columns of `pixels`: its planned colour order.
        pixels: for each run, what each of its pixels shows: shape (pixels, channels), 0 to 255.
        boxes: the boxes by name; a dead one is there, and takes nothing.
        universes: for each box, the universes that it listens to, as built.
    """

    def __init__(
        self, wiring: Wiring, patch: Patch, built: Built, *, trouble: Trouble | None = None, seed: int = 0
    ) -> None:
        """A dark yard, wired as built, its boxes set as the patch says.

        Args:
            wiring: the wiring as planned.
            patch: what should be typed into the boxes.
            built: its faults.
            trouble: what goes wrong with packets and power; None: nothing.
            seed: of the colours of pixels whose data is broken.
        """
        show = wiring.show
        plan = planned(wiring, patch)
        differs = departure(plan, built.faults)
        self.letters = {name: show.type_of(run).colour_order for name, run in show.runs.items()}
        self.universes = {**patch.box_universes, **differs.universes}
        fed_by = plan.boxes | differs.boxes
        takes = {name: differs.takes.get(name, plan.takes[name]) for name in show.runs}
        self._block = PixelBlock(takes, fed_by, self.universes, seed)
        self.pixels: dict[str, PixelValues] = self._block.of
        self.boxes = {
            name: SimulatedBox(name, show.controllers[name].protocol, numbers)
            for name, numbers in self.universes.items()
        }
        self._dimmer = {
            name: np.floor(np.arange(256) * show.controllers[name].level + 0.5).astype(np.uint8)
            for name in self.boxes
            if show.controllers[name].level < 1
        }
        for name, box in self.boxes.items():
            box.overwrites = partial(self._light, name)
        self._trouble = trouble
        self.packets = 0
        """Datagrams that came for boxes, of whatever use they were."""

    def receive(self, boxes: Iterable[str], octets: bytes, sender: str, now: float) -> None:
        """Take a datagram for some boxes, and light their pixels."""
        self.hear([(boxes, octets, sender)], now)

    def hear(self, datagrams: Iterable[tuple[Iterable[str], bytes, str]], now: float) -> None:
        """Datagrams come at once, each for some boxes. Pixels light frame by frame: when all are taken, or before a
        universe changes again.
        """
        for boxes, octets, sender in datagrams:
            for name in boxes:
                self.packets += 1
                if self._trouble is None:
                    self.boxes[name].receive(octets, sender, now)
                else:
                    self._trouble.send(name, octets, sender, now)
        if self._trouble is not None:
            self._arrive(self._trouble, now)
        self._light_all()

    def expire(self, now: float) -> None:
        """Time goes on: what was delayed arrives, boxes lose power or get it back, what has been silent too long goes
        dark.
        """
        if self._trouble is not None:
            self._arrive(self._trouble, now)
        for box in self.boxes.values():
            box.expire(now)
        self._light_all()

    def next_due(self) -> float:
        """When a delayed datagram arrives; infinite where none is under way."""
        return self._trouble.next_due() if self._trouble else float("inf")

    def _arrive(self, trouble: Trouble, now: float) -> None:
        off = trouble.without_power(now)
        for name, box in self.boxes.items():
            if box.on is (name in off):
                box.switch(on=name not in off)
        for name, octets, sender in trouble.arrived(now):
            self.boxes[name].receive(octets, sender, now)

    def _light_all(self) -> None:
        for name, box in self.boxes.items():
            if box.changed:
                self._light(name)

    def _light(self, name: str) -> None:
        box = self.boxes[name]
        self._block.light(name, box.octets, box.changed, self._dimmer.get(name))
        box.changed.clear()

    @property
    def seen(self) -> dict[tuple[str, int], dict[tuple[int, ...], None]]:
        """Every colour that each pixel ever showed but dark, in the order in which pixels first lit; of many, the
        first eight.
        """
        return {pixel: dict.fromkeys(colours) for pixel, colours in self._block.seen()}

    def ever_lit(self) -> int:
        """How many pixels were ever lit."""
        return self._block.ever_lit()

    def lit(self) -> int:
        """How many pixels are lit."""
        return sum(int(shown.any(axis=1).sum()) for shown in self.pixels.values())


def snapshot(yard: Yard) -> dict[str, Any]:
    """What every box has taken and every pixel shows now, as scripts read it.

    Returns:
        `boxes`: `controller`, `universes`, `on`, `packets` (how many were taken, or left aside by reason);
        `runs`: `run`, `letters`, `lit`, and `lamps`: the values of each pixel's channels, 0 to 255, in the order of the
        letters.
    """
    return {
        "boxes": [
            {"controller": name, "universes": list(box.universes), "on": box.on, "packets": dict(box.counts)}
            for name, box in yard.boxes.items()
        ],
        "runs": [
            {"run": name, "letters": yard.letters[name], "lit": int(shown.any(axis=1).sum()), "lamps": shown.tolist()}
            for name, shown in yard.pixels.items()
        ],
    }


@dataclass(frozen=True, slots=True)
class Difference:
    """How a run differs from the plan, with pixels by number.

    Attributes:
        run: its name.
        missing: pixels that should have been lit and were dark.
        extra: pixels that should have been dark and were lit.
        odd: pixels that were lit in another colour.
    """

    run: str
    missing: tuple[int, ...]
    extra: tuple[int, ...]
    odd: tuple[int, ...]


def differences(look: Look, level: float, wiring: Wiring, yard: Yard) -> list[Difference]:
    """Where the yard's pixels differ from a look that was sent at a level; nothing, where all is as planned."""
    show = wiring.show
    meant = {name: np.zeros_like(shown) for name, shown in yard.pixels.items() if show.runs[name].hung}
    for glow in look.glows:
        source = wiring.source(glow.run)
        dimmer = show.controllers[wiring.ports[source][0]].level
        for name in (source, *wiring.tees(source)):
            sent = np.floor(np.array(glow.colour.on(yard.letters[name])) * level * 255 + 0.5)
            if name in meant:
                meant[name][glow.pixels] = np.floor(sent * dimmer + 0.5).astype(np.uint8)
    found = []
    for name, wanted in meant.items():
        shown = yard.pixels[name]
        should, does = wanted.any(axis=1), shown.any(axis=1)
        odd = should & does & (wanted != shown).any(axis=1)
        if (should != does).any() or odd.any():
            missing, extra, other = (
                tuple((np.flatnonzero(mask) + 1).tolist()) for mask in (should & ~does, does & ~should, odd)
            )
            found.append(Difference(name, missing, extra, other))
    return found
