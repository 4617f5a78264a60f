"""What a supply has to give, and whether a spare can give it.

Each supply of a stretch is taken to bear an equal share; what wires and sagging make of that is another matter, so a
supply at the far end of a long wire bears less than is said here. The level is the show's; a dimmer set in a box is
left out, so that the load is never too low.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from math import floor

from patcher.errors import choose_from, refuse
from patcher.limits.stretches import Stretch, stretches
from patcher.show.schema import Feed, Logic, PixelType, Show, Supply
from patcher.wiring import Wiring

LOADED = 0.8
"""Part of its rating that a supply is loaded to. Common practice, no source."""
_MOST_TREES = 15
_AMPS = 1e-9
"""Amperes that are none: what sums of floats differ by."""

Draw = tuple[float, float]
"""Amperes in the dark, and what the colours add at full."""


def _unknown(kind: PixelType) -> bool:
    return kind.channel_ma is None or kind.idle_ma is None


def _draw(show: Show, stretch: Stretch) -> Draw:
    idle = full = 0.0
    for run, first, last in stretch.parts:
        kind = show.type_of(show.runs[run])
        pixels = last - first + 1
        idle += pixels * (kind.idle_ma or 0.0) / 1000
        full += pixels * kind.channels * (kind.channel_ma or 0.0) / 1000
    return idle, full


@dataclass(frozen=True)
class Load:
    """What one supply has to give when only some of its feeds are joined to it.

    Attributes:
        show: the show.
        supply: the supply.
        stretches: everything that shares its V+.
    """

    show: Show
    supply: str
    stretches: tuple[Stretch, ...]

    @cached_property
    def trees(self) -> tuple[str, ...]:
        """Its feeds with their branches, each by the name of the feed at the supply."""
        return tuple(feed.name for feed in self.show.feeds.values() if feed.supply == self.supply)

    @cached_property
    def logic(self) -> float:
        """Amperes of the controllers that it runs."""
        boxes = self.show.controllers.values()
        return sum(box.logic.amps for box in boxes if box.logic is not None and box.logic.supply == self.supply)

    def draw(self, trees: frozenset[str] | None = None) -> Draw:
        """Amperes in the dark and what the colours add at full, the controllers' own left out.

        Args:
            trees: those of its feeds that are joined; all, where not said.
        """
        mine = frozenset(self.trees)
        joined = mine if trees is None else trees
        idle = full = 0.0
        for stretch in self.stretches:
            if stretch.trees & joined:
                fed_by = {self.show.feeds[tree].supply for tree in stretch.trees - mine}
                dark, colours = _draw(self.show, stretch)
                idle += dark / (len(fed_by) + 1)
                full += colours / (len(fed_by) + 1)
        return idle, full

    def amps(self, level: float, trees: frozenset[str] | None = None) -> float:
        """Amperes at a level from 0 to 1, the controllers' own with them."""
        idle, full = self.draw(trees)
        return self.logic + idle + full * level

    def level_for(self, amps: float) -> float | None:
        """The highest level, in whole hundredths, that draws no more amperes; None where the dark is too much."""
        idle, full = self.draw()
        left = amps - self.logic - idle
        if left < -_AMPS:
            return None
        return 1.0 if full <= left + _AMPS else floor((left + _AMPS) / full * 100) / 100

    @cached_property
    def unknown(self) -> tuple[str, ...]:
        """The kinds of pixel that it feeds whose current the file does not say."""
        runs = {run for stretch in self.stretches if stretch.trees & set(self.trees) for run, _, _ in stretch.parts}
        kinds = {self.show.runs[run].pixel for run in runs}
        return tuple(kind for kind in self.show.pixel_types if kind in kinds and _unknown(self.show.pixel_types[kind]))

    @cached_property
    def unfed(self) -> tuple[str, ...]:
        """The runs of its volts that no feed in the file reaches: if they hang on it, they are not counted."""
        volts = self.show.supplies[self.supply].volts
        runs = dict.fromkeys(run for stretch in self.stretches if not stretch.trees for run, _, _ in stretch.parts)
        return tuple(run for run in runs if self.show.type_of(self.show.runs[run]).volts in (None, volts))

    def fitting(self, amps: float, level: float) -> frozenset[str] | None:
        """The feeds that draw most without drawing more; of equals the most feeds. None where not even the logic fits.

        Exact up to 15 feeds with their branches; of more, the heaviest that still fits is taken each time.
        """
        if self.logic > amps + _AMPS:
            return None
        if len(self.trees) <= _MOST_TREES:
            every = [frozenset(some) for n in range(len(self.trees) + 1) for some in combinations(self.trees, n)]
            loads = {some: self.amps(level, some) for some in every}
            fit = [some for some in every if loads[some] <= amps + _AMPS]
            return max(fit, key=lambda some: (round(loads[some], 9), len(some)))
        chosen: frozenset[str] = frozenset()
        while more := [t for t in self.trees if t not in chosen and self.amps(level, chosen | {t}) <= amps + _AMPS]:
            chosen |= {max(more, key=lambda tree: self.amps(level, chosen | {tree}))}
        return chosen


def load_of(wiring: Wiring, supply: str) -> Load:
    """What a supply of a sound show feeds."""
    return Load(wiring.show, supply, tuple(stretches(wiring)))


@dataclass(frozen=True)
class SupplySwap:
    """A spare supply in a dead one's place.

    Attributes:
        dead: the dead supply.
        spare: the spare.
        load: what the dead one had to give.
        level: the level that the show is run at.
    """

    dead: Supply
    spare: Supply
    load: Load
    level: float

    @property
    def limit(self) -> float:
        """Amperes that the spare is loaded to at most."""
        return self.spare.amps * LOADED

    @property
    def amps(self) -> float:
        """Amperes that it has to give at the show's level."""
        return self.load.amps(self.level)

    @property
    def holds(self) -> bool:
        """Whether it can; where the file does not say the current, whether it is as strong as the dead one."""
        if self.load.unknown:
            return self.spare.amps >= self.dead.amps
        return self.amps <= self.limit + _AMPS

    @property
    def max_level(self) -> float | None:
        """The highest level at which it can, in whole hundredths; None where even the dark is too much."""
        return self.load.level_for(self.limit)

    @property
    def feeds(self) -> tuple[Feed, ...]:
        """The feeds that move to it, branches left out."""
        return tuple(self.load.show.feeds[tree] for tree in self.load.trees)

    @property
    def boxes(self) -> tuple[str, ...]:
        """The controllers that it runs."""
        boxes = self.load.show.controllers.values()
        return tuple(box.name for box in boxes if box.logic is not None and box.logic.supply == self.dead.name)

    @property
    def show(self) -> Show:
        """The show afterwards; the dead supply is gone from it."""
        show, dead, spare = self.load.show, self.dead.name, self.spare.name
        taken = self.spare.model_copy(update={"spare": False, "box": self.dead.box})
        supplies = {name: taken if name == spare else held for name, held in show.supplies.items() if name != dead}
        feeds = {
            name: feed.model_copy(update={"supply": spare}) if feed.supply == dead else feed
            for name, feed in show.feeds.items()
        }
        boxes = {
            name: box.model_copy(update={"logic": Logic(supply=spare, amps=box.logic.amps)})
            if box.logic is not None and box.logic.supply == dead
            else box
            for name, box in show.controllers.items()
        }
        accepts = tuple(
            accept.model_copy(update={"where": f"supply.{spare}{accept.where.removeprefix(f'supply.{dead}')}"})
            if accept.where.split(".")[:2] == ["supply", dead]
            else accept
            for accept in show.accepts
        )
        return show.model_copy(update={"supplies": supplies, "feeds": feeds, "controllers": boxes, "accepts": accepts})

    def fitting(self) -> tuple[str, ...] | None:
        """The feeds that it can bear at the show's level, where it cannot bear all; None where not even the boxes."""
        fit = self.load.fitting(self.limit, self.level)
        return None if fit is None else tuple(tree for tree in self.load.trees if tree in fit)


def swap_supply(wiring: Wiring, dead: str, spare: str) -> SupplySwap:
    """A spare supply in a dead one's place, whether it is strong enough or not.

    Raises:
        PatcherError: the two are not a supply and a free spare of the same volts, or there is nothing to move.
    """
    show = wiring.show
    old, new = show.supplies[dead], show.supplies[spare]
    where = f"supply.{spare}"
    if not new.spare:
        spares = [supply.name for supply in show.supplies.values() if supply.spare]
        raise refuse(where, "is not marked as a spare", f"write spare = true there, or {choose_from(spare, spares)}")
    busy = load_of(wiring, spare)
    runs = [box.name for box in show.controllers.values() if box.logic is not None and box.logic.supply == spare]
    if busy.trees or runs:
        says = f"is marked as a spare, yet {', '.join([*busy.trees, *runs])} hangs on it"
        raise refuse(where, says, "take spare = true out, and name another")
    if old.volts != new.volts:
        says = f"gives {new.volts:g} V, but the pixels on {dead} want {old.volts:g} V"
        raise refuse(where, says, f"never join the two: name a spare of {old.volts:g} V", area="power")
    found = SupplySwap(old, new, load_of(wiring, dead), show.settings.level)
    if not found.feeds and not found.boxes:
        raise refuse(f"supply.{dead}", "feeds nothing, so there is nothing to move", "name the supply that died")
    return found
