"""What a player knows of each run besides its addresses, and what of it has changed.

How it sends the run's universes: by which protocol, and to which address. And, where it has a drawing of its own, where
the run begins in that and which way it goes (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from patcher.ends import BARE, of_run
from patcher.patch.changes import RunPlace, places, same_runs
from patcher.patch.patch import Patch
from patcher.show.schema import Controller
from patcher.trade import Protocol
from patcher.wiring import Wiring

MULTICAST = "multicast"
"""What stands for an address where universes are sent to their own groups: then the player needs no box's address."""


@dataclass(frozen=True, slots=True)
class Sending:
    """How a player sends universes.

    Attributes:
        protocol: E1.31 or Art-Net.
        to: an IPv4 address, or `MULTICAST`; empty where nobody knows the address.
    """

    protocol: Protocol
    to: str


@dataclass(frozen=True, slots=True)
class SendChange:
    """Universes of one box that the player must send otherwise than it was told, or begin to send.

    Attributes:
        controller: the box.
        universes: those universes, rising.
        runs: the runs that have pixels in them, in the patch's order; those that are to be told.
        old: how the player sends them; None where it was not told to send them.
        new: how it is to send them.
    """

    controller: str
    universes: tuple[int, ...]
    runs: tuple[str, ...]
    old: Sending | None
    new: Sending


def sending(box: Controller) -> Sending:
    """How the universes of a box are sent."""
    return Sending(box.protocol, MULTICAST if box.delivery == MULTICAST else box.address or "")


def sendings(wiring: Wiring, patch: Patch) -> dict[str, Sending]:
    """How the universes of each run are sent."""
    return {
        run: sending(wiring.show.controllers[patch.start_of(run).controller])
        for run in places(patch)
        if patch.start_of(run).controller in wiring.show.controllers
    }


def send_changes(
    told: Mapping[str, RunPlace], sent: Mapping[str, Sending], wiring: Wiring, patch: Patch
) -> list[SendChange]:
    """What the player must send otherwise, or begin to send, box by box.

    Args:
        told: the addresses that it was told, run by run.
        sent: how it was told to send each run; of a run that is missing here but has addresses, nobody knows.
        wiring: the wiring.
        patch: what is planned.
    """
    after = places(patch)
    names = same_runs(told, after)
    groups: dict[tuple[str, Sending | None], tuple[Sending, list[str], set[int]]] = {}
    for run, new in sendings(wiring, patch).items():
        name = names.get(run)
        old = None if name is None else sent.get(name, new)
        universes = set(after[run].universes)
        if name is not None and old == new:
            # Sent as before: only what it did not have before is new to the player.
            universes -= set(told[name].universes)
            old = None
        if universes:
            _, runs, every = groups.setdefault((patch.start_of(run).controller, old), (new, [], set()))
            runs.append(run)
            every |= universes
    return [
        SendChange(box, tuple(sorted(universes)), tuple(runs), old, new)
        for (box, old), (new, runs, universes) in groups.items()
    ]


@dataclass(frozen=True, slots=True)
class Drawing:
    """How a run is drawn from its first pixel on, in the words of `ends`.

    Attributes:
        begin: where its first pixel is: `its left end`, `its top right corner`.
        way: which way on, where that needs to be said: `clockwise`, `row by row, back and forth`; else empty.
    """

    begin: str
    way: str = ""

    def differs(self, other: Drawing) -> bool:
        """Whether it begins elsewhere or goes another way; of a way that is not said nobody knows."""
        return self.begin != other.begin or bool(self.way and other.way and self.way != other.way)


@dataclass(frozen=True, slots=True)
class DrawChange:
    """A run that begins elsewhere than the player was told, or goes another way."""

    run: str
    old: Drawing
    new: Drawing


@lru_cache(maxsize=4096)
def drawing(wiring: Wiring, run: str) -> Drawing | None:
    """How a run is drawn; None where it has no picture."""
    first, _ = of_run(wiring.show, run)
    return None if first == BARE[0] else Drawing(first.begin, first.way)


def draw_changes(
    told: Mapping[str, RunPlace], drawn: Mapping[str, Drawing], wiring: Wiring, patch: Patch
) -> list[DrawChange]:
    """The runs that begin elsewhere, or go another way, than the player was told; of others nobody knows.

    Args:
        told: the addresses that it was told, run by run.
        drawn: how each run was drawn when it was told.
        wiring: the wiring.
        patch: what is planned.
    """
    names = same_runs(told, places(patch))
    return [
        DrawChange(run, old, new)
        for run, name in names.items()
        if (old := drawn.get(name)) and (new := drawing(wiring, run)) and old.differs(new)
    ]
