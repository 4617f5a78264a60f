"""What feeds the runs: supplies with what they give, feeds with what they carry, tap by tap.

Currents are amperes at the show's level, lengths metres; what the show file does not say is None.
"""

from __future__ import annotations

from dataclasses import dataclass

from patcher.mains.circuits import mains_at_level
from patcher.power.flow import Power, if_known
from patcher.sheets.figures import fuses, highest_level, tap_fuse
from patcher.show.schema import Feed


@dataclass(frozen=True, slots=True)
class SupplySheet:
    """One supply: its rating, what it gives at the show's level, and the level at which it gives 80 % of its rating.

    The socket that it is plugged into, and the name of the residual-current device before it, that of its circuit where
    it has none of its own: where they are given.
    """

    supply: str
    volts: float
    amps: float
    box: str | None
    amps_at_level: float | None
    full_white_amps: float | None
    highest_level: str
    logic: tuple[str, ...]
    socket: str | None
    rcd_of: str | None


@dataclass(frozen=True, slots=True)
class TapSheet:
    """Where a feed joins a run: metres of wire from the joint before, amperes into the run, its own fuse in words."""

    tap: int
    run: str
    pixel: int
    metres: float | None
    amps: float | None
    fuse: str


@dataclass(frozen=True, slots=True)
class FeedSheet:
    """One feed with its taps, in order along the wire.

    Attributes:
        feed: its name.
        supply: the supply that it comes from, through whatever feeds it branches off.
        source: where it begins, in words.
        wire: its wire; None where not said.
        bears: amperes that the wire bears.
        fuse: amperes of its fuse; None where it has none of its own.
        fuse_words: its fuse in words, or whose fuse it is behind.
        smallest_fuse: the smallest blade fuse that holds, in words: it carries its current for hours and protects its
            wires; empty where it has none of its own.
        amps: what it carries at its beginning.
        taps: its joints.
    """

    feed: str
    supply: str
    source: str
    wire: str | None
    bears: float | None
    fuse: float | None
    fuse_words: str
    smallest_fuse: str
    amps: float | None
    taps: tuple[TapSheet, ...]


def supply_sheets(state: Power) -> tuple[SupplySheet, ...]:
    """Every supply that is not kept on the shelf."""
    boxes = state.show.controllers.values()
    tested = {
        load.supply.name: circuit.rcd_name
        for circuit in mains_at_level(state) if circuit.rcd for load in circuit.supplies
    }  # fmt: skip
    found = []
    for load in state.supplies:
        supply = load.supply
        logic = tuple(box.name for box in boxes if box.logic is not None and box.logic.supply == supply.name)
        amps = if_known(load.amps), if_known(load.full_white)
        found.append(
            SupplySheet(
                supply.name, supply.volts, supply.amps, supply.box, *amps, highest_level(load), logic, supply.socket,
                tested.get(supply.name),
            )
        )  # fmt: skip
    return tuple(found)


def fuse_words(feed: Feed) -> str:
    """The fuse of a feed; a branch without one is behind the fuse of the feed that it leaves."""
    if feed.fuse is not None:
        return f"fuse {feed.fuse:g} A"
    return "no fuse" if feed.source is None else f"behind the fuse of {feed.source}"


def feed_sheets(state: Power) -> tuple[FeedSheet, ...]:
    """Every feed."""
    found = []
    for load in state.feeds:
        feed, joins = load.feed, state.circuit.joins[load.feed.name]
        source = f"{feed.source}, tap {feed.tap}" if feed.source is not None else str(feed.supply)
        _, smallest_fuse = fuses(load)
        wire = None if load.wire is None else str(load.wire)
        taps = tuple(
            TapSheet(join.tap, join.run, join.pixel, if_known(join.metres), if_known(into), tap_fuse(fuse))
            for join, into, fuse in zip(joins, load.into, state.taps[feed.name], strict=True)
        )
        bears = None if load.wire is None else load.wire.bears
        found.append(
            FeedSheet(
                feed.name,
                load.supply,
                source,
                wire,
                bears,
                feed.fuse,
                fuse_words(feed),
                smallest_fuse,
                if_known(load.amps),
                taps,
            )
        )
    return tuple(found)
