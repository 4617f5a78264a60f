"""A spare supply in a dead one's place: whether it can give what hangs there, by the circuit solved with it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from patcher.errors import PatcherError, choose_from, first_few, refuse
from patcher.power.flow import SLIGHT, Power, SupplyLoad, power
from patcher.power.shortfalls import unsaid
from patcher.power.stretches import roots
from patcher.power.wires import wire_of
from patcher.show.schema import Feed, Logic, Show, Supply
from patcher.wiring import Wiring

_MOST_TREES = 15
"""Feeds of which every set is looked at; of more, the heaviest that still fits is taken each time."""


@dataclass(frozen=True, eq=False)
class SupplySwap:
    """A spare supply in a dead one's place.

    Attributes:
        dead: the dead supply.
        spare: the spare.
        before: the power of the show with the dead one in place.
    """

    dead: Supply
    spare: Supply
    before: Power

    @cached_property
    def load(self) -> SupplyLoad:
        """What the spare has to give with all feeds of the dead one."""
        return self._load(self.show)

    @property
    def known(self) -> bool:
        """Whether what it has to give can be told."""
        return not np.isnan(self.load.amps)

    @property
    def holds(self) -> bool:
        """Whether it can; where its load cannot be told, whether it is as strong as the dead one."""
        if self.known:
            return not self.load.is_over
        return not self.collapses and self.spare.amps >= self.dead.amps

    @property
    def feeds(self) -> tuple[Feed, ...]:
        """The feeds that move to it, branches left out."""
        return tuple(feed for feed in self.before.show.feeds.values() if feed.supply == self.dead.name)

    @property
    def boxes(self) -> tuple[str, ...]:
        """The controllers that it runs."""
        boxes = self.before.show.controllers.values()
        return tuple(box.name for box in boxes if box.logic is not None and box.logic.supply == self.dead.name)

    @cached_property
    def runs(self) -> tuple[str, ...]:
        """The hung runs that share a V+ with its feeds."""
        mine = (part for part in self.before.stretches if self.dead.name in part.supplies)
        return tuple(dict.fromkeys(run for part in mine for run, _, _ in part.parts))

    @property
    def collapses(self) -> bool:
        """Whether its pixels want more power than the wires can bring, with whatever supply."""
        net, drop = self.before.circuit, self.before.drop
        return any(bool(drop.collapsed[net.runs[run]].any()) for run in self.runs)

    @property
    def unknown(self) -> tuple[str, ...]:
        """The kinds of pixel that it feeds whose current the file does not say."""
        show = self.before.show
        kinds = {show.runs[run].pixel for run in self.runs}
        every = show.pixel_types.values()
        return tuple(kind.name for kind in every if kind.name in kinds and None in (kind.channel_ma, kind.idle_ma))

    @property
    def missing(self) -> tuple[str, ...]:
        """What the file does not say and the load needs, key by key."""
        show, found = self.before.show, []
        for name in dict.fromkeys(show.runs[run].pixel for run in self.runs):
            keys = [key for key in unsaid(show.pixel_types[name]) if key != "min_volts"]
            found += [f"{' and '.join(keys)} for {name}"] if keys else []
        feeds = (feed.name for feed in show.feeds.values() if wire_of(feed.awg, feed.mm2) is None)
        return (*found, *(f"awg or mm2 for feed {name}" for name in feeds))

    @property
    def unfed(self) -> tuple[str, ...]:
        """The runs of its volts that no feed in the file reaches: if they hang on it, they are not counted."""
        show = self.before.show
        runs = dict.fromkeys(run for part in self.before.stretches if not part.trees for run, _, _ in part.parts)
        return tuple(run for run in runs if show.type_of(show.runs[run]).volts in (None, self.dead.volts))

    @property
    def show(self) -> Show:
        """The show afterwards; the dead supply is gone from it."""
        show, dead, spare = self.before.show, self.dead.name, self.spare.name
        socket = self.dead.socket or self.spare.socket
        taken = self.spare.model_copy(update={"spare": False, "box": self.dead.box, "socket": socket})
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

    def amps_of(self, trees: Iterable[str]) -> float:
        """Amperes that the spare gives at the show's level with only these of its feeds joined, and their branches."""
        kept, show = set(trees), self.show
        root = roots(show)
        feeds = {
            name: feed
            for name, feed in show.feeds.items()
            if root[name].supply != self.spare.name or root[name].name in kept
        }
        return self._load(show.model_copy(update={"feeds": feeds})).amps

    def fitting(self) -> tuple[str, ...] | None:
        """The feeds that it can bear at the show's level, where it cannot bear all; None where not even the boxes.

        Those that draw most are looked for by what their pixels draw at the supply's volts, and taken where the solved
        circuit gives no more than the limit; else a set that draws as much less. Exact where no pixel is regulated and
        no other supply feeds the same V+.
        """
        if self.before.logic[[*self.before.show.supplies].index(self.dead.name)] > self.load.limit + SLIGHT:
            return None
        trees = [feed.name for feed in self.feeds]
        most = self.load.limit - self.amps_of(())
        while True:
            chosen = self._heaviest(trees, most)
            given = self.amps_of(chosen)
            if not chosen or given <= self.load.limit + SLIGHT:
                return tuple(tree for tree in trees if tree in chosen)
            most = min(most, self._drawn(chosen)) * min(self.load.limit / given, 0.999)

    def _heaviest(self, trees: list[str], amps: float) -> frozenset[str]:
        """The feeds whose pixels draw most but no more than `amps`; of equals the most feeds."""
        if len(trees) <= _MOST_TREES:
            every = [frozenset(some) for n in range(len(trees) + 1) for some in combinations(trees, n)]
            drawn = {some: self._drawn(some) for some in every}
            fit = [some for some in every if drawn[some] <= amps + SLIGHT]
            return max(fit, key=lambda some: (round(drawn[some], 9), len(some)), default=frozenset())
        chosen: frozenset[str] = frozenset()
        while more := [tree for tree in trees if tree not in chosen and self._drawn(chosen | {tree}) <= amps + SLIGHT]:
            chosen |= {max(more, key=lambda tree: self._drawn(chosen | {tree}))}
        return chosen

    def _drawn(self, trees: frozenset[str]) -> float:
        """What the pixels on some feeds draw at the supply's volts."""
        return sum(amps for fed_by, amps in self._draws if fed_by & trees)

    @cached_property
    def _draws(self) -> list[tuple[frozenset[str], float]]:
        """Of each stretch its feeds, and amperes of its pixels at the supply's volts."""
        mine = [part for part in self.before.stretches if self.dead.name in part.supplies]
        return [(part.trees, float(self.before.drawn(part, self.dead.volts).sum())) for part in mine]

    def _load(self, show: Show) -> SupplyLoad:
        return next(load for load in self.before.of(show).supplies if load.supply.name == self.spare.name)


def swap_supply(wiring: Wiring, dead: str, spare: str) -> SupplySwap:
    """A spare supply in a dead one's place, whether it is strong enough or not.

    Raises:
        PatcherError: the two are not a supply and a free spare of the same volts, or there is nothing to move.
    """
    show = wiring.show
    old, new = show.supplies[dead], show.supplies[spare]
    if problem := _not_free(show, new):
        raise problem
    if old.volts != new.volts:
        says = f"gives {new.volts:g} V, but the pixels on {dead} want {old.volts:g} V"
        raise refuse(f"supply.{spare}", says, f"never join the two: name a spare of {old.volts:g} V", area="power")
    found = SupplySwap(old, new, power(wiring))
    if not found.feeds and not found.boxes:
        raise refuse(f"supply.{dead}", "feeds nothing, so there is nothing to move", "name the supply that died")
    return found


def _not_free(show: Show, spare: Supply) -> PatcherError | None:
    """Why a supply is no free spare."""
    where, hanging = f"supply.{spare.name}", _hanging(show, spare.name)
    others = [supply.name for supply in show.supplies.values() if supply.spare and supply.name != spare.name]
    if hanging:
        says = f"{', '.join(hanging)} hang{'s' if len(hanging) == 1 else ''} on it"
        another = f"name a supply that feeds nothing{f': {first_few(others, 8)}' if others else ''}"
        if spare.spare:
            return refuse(where, f"is marked as a spare, yet {says}", f"take spare = true out, and {another}")
        return refuse(where, f"is in use: {says}", f"{another}; a spare is a [supply.NAME] with spare = true")
    if not spare.spare:
        remedy = f", or {choose_from(spare.name, others)}" if others else ""
        return refuse(where, "is not marked as a spare", f"write spare = true there{remedy}")
    return None


def _hanging(show: Show, supply: str) -> list[str]:
    """The feeds of a supply, and the boxes that it runs."""
    feeds = [feed.name for feed in show.feeds.values() if feed.supply == supply]
    boxes = [box.name for box in show.controllers.values() if box.logic is not None and box.logic.supply == supply]
    return [*feeds, *boxes]
