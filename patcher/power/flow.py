"""What the supplies give, what the wires carry and what the pixels get: loads, feeds and voltages of a show.

A level is the show's; a dimmer set in a box comes on top of it. The worst frame is taken: every pixel white at once.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from math import floor

import numpy as np

from patcher.power.circuit import Circuit, Floats, circuit
from patcher.power.drop import Drop, solve
from patcher.power.stretches import Stretch, branches_of, outwards, roots, stretches
from patcher.power.tap_fuse import TapFuse
from patcher.power.wires import CELSIUS, Wire, blade, wire_of
from patcher.show.schema import Feed, Show, Supply
from patcher.wiring import Wiring, wire

LOADED = 0.8
"""Part of its rating that a supply is loaded to. Common practice, no source."""
TINY = 1e-9
"""Amperes and volts that are none: what sums of floats differ by."""
SLIGHT = 1e-6
"""Amperes of a supply that are none: what its solved current may be off by (drop.py)."""


def if_known(value: float | None) -> float | None:
    """A number, or None where it is NaN: not known."""
    return None if value is None or np.isnan(value) else float(value)


@dataclass(frozen=True, slots=True)
class SupplyLoad:
    """What one supply has to give; NaN where the file does not say enough, or there is no solution.

    Attributes:
        supply: the supply.
        dark: amperes with every pixel dark.
        amps: amperes at the level.
        full_white: amperes at a level of 1.
        max_level: the highest level, in whole hundredths, at which it gives no more than 80 % of its rating; None where
            even the dark is too much, or nothing is known.
    """

    supply: Supply
    dark: float
    amps: float
    full_white: float
    max_level: float | None

    @property
    def limit(self) -> float:
        """Amperes that it is loaded to at most."""
        return self.supply.amps * LOADED

    @property
    def is_over(self) -> bool:
        """Whether it gives more than that at the level; not where that is not known."""
        return self.amps > self.limit + SLIGHT


@dataclass(frozen=True, slots=True)
class RunVolts:
    """The lowest voltage on one run.

    Attributes:
        run: its name.
        lowest: volts; NaN where it is not fed, not known, or has no solution.
        pixel: the pixel that has it, from 1.
        least: below this its pixels misbehave; None where the file does not say.
        other: whether a supply of other volts than its pixels' own reaches it.
    """

    run: str
    lowest: float
    pixel: int
    least: float | None
    other: bool

    @property
    def holds(self) -> bool | None:
        """Whether every pixel has enough, from supplies of its own volts; None where that cannot be said."""
        if np.isnan(self.lowest):
            return None
        if self.other:
            return False
        return None if self.least is None else self.lowest >= self.least - TINY


@dataclass(frozen=True, slots=True)
class FeedLoad:
    """What one feed carries.

    Attributes:
        feed: the feed.
        supply: the supply that it comes from, through whatever feeds it branches off.
        wire: its wire; None where the file does not say.
        weakest: of its wire and those of the branches behind it that have no fuse of their own, the one that bears
            least: what a fuse at its beginning must protect. None where the file says none of them.
        all_said: whether the file says all of those wires.
        amps: into its first piece of wire.
        into: amperes that leave it into the run at each joint.
    """

    feed: Feed
    supply: str
    wire: Wire | None
    weakest: Wire | None
    all_said: bool
    amps: float
    into: tuple[float, ...]

    @property
    def known(self) -> bool:
        """Whether its current and all the wires that its fuse must protect are known."""
        return self.all_said and not np.isnan(self.amps)

    @property
    def smallest_fuse(self) -> float | None:
        """The smallest blade fuse that carries its current for hours and protects its wires; None if there is none, or
        not enough is known.
        """
        if self.weakest is None or not self.known:
            return None
        return blade(self.amps, self.weakest.bears)


@dataclass(frozen=True, eq=False)
class Power:
    """The power of a show at one level and one temperature.

    Attributes:
        wiring: the wiring.
        level: the level from 0 to 1.
        celsius: temperature of the wires.
        circuit: its copper.
        drop: voltages and currents at the level.
    """

    wiring: Wiring
    level: float
    celsius: float
    circuit: Circuit
    drop: Drop

    @property
    def show(self) -> Show:
        """The show."""
        return self.wiring.show

    def volts(self, run: str) -> Floats:
        """Volts at each pixel of a run that is hung."""
        return self.drop.volts[self.circuit.runs[run]]

    def of(self, show: Show) -> Power:
        """The power of another show at the same level and temperature."""
        return power(wire(show), level=self.level, celsius=self.celsius)

    def drawn(self, part: Stretch, volts: Floats | float | None = None) -> Floats:
        """Amperes that each pixel of a stretch draws at the level; at its rated volts, where none are given."""
        return self.circuit.drawn(self.circuit.points_of(part), self.level, volts)

    @cached_property
    def stretches(self) -> tuple[Stretch, ...]:
        """Everything that shares its V+."""
        return tuple(stretches(self.wiring))

    @cached_property
    def other_volts(self) -> frozenset[str]:
        """The runs that a supply of other volts than their pixels' own reaches."""
        found = set()
        for part in self.stretches:
            volts = {self.show.supplies[name].volts for name in part.supplies}
            found |= {run for run, _, _ in part.parts if volts - {self.show.type_of(self.show.runs[run]).volts}}
        return frozenset(run for run in found if self.show.type_of(self.show.runs[run]).volts is not None)

    @cached_property
    def rails(self) -> dict[str, float]:
        """The highest volts of the supplies that feed each run's V+; its pixels' own where none does."""
        found: dict[str, float] = {}
        for part in self.stretches:
            volts = [self.show.supplies[name].volts for name in part.supplies]
            for run, _, _ in part.parts:
                found[run] = max([*volts, *([found[run]] if run in found else [])], default=np.nan)
        return found

    @cached_property
    def runs(self) -> tuple[RunVolts, ...]:
        """Every run that is hung."""
        found = []
        for name, where in self.circuit.runs.items():
            volts = self.drop.volts[where]
            at = 0 if np.isnan(volts).all() else int(np.nanargmin(volts))
            least = self.show.type_of(self.show.runs[name]).min_volts
            lowest = np.nan if np.isnan(volts).any() else float(volts[at])
            found.append(RunVolts(name, lowest, at + 1, least, name in self.other_volts))
        return tuple(found)

    @cached_property
    def feeds(self) -> tuple[FeedLoad, ...]:
        """Every feed."""
        amps, found = self.drop.amps, []
        branches = branches_of(self.show)
        root = roots(self.show)
        protected: dict[str, tuple[Wire | None, bool]] = {}
        for feed in reversed([*outwards(self.show)]):
            protected[feed.name] = _unfused(feed, branches[feed.name], protected)
        for feed in self.show.feeds.values():
            joins = self.circuit.joins[feed.name]
            wires = [join.wire for join in joins]
            onward = np.append(amps[wires[1:]], 0.0)
            into = amps[wires] - onward
            for branch in branches[feed.name]:
                at = max(number for number, join in enumerate(joins) if join.tap == branch.tap)
                into[at] -= amps[self.circuit.joins[branch.name][0].wire]
            wire = wire_of(feed.awg, feed.mm2)
            supply = str(root[feed.name].supply)
            weakest, said = protected[feed.name]
            found.append(FeedLoad(feed, supply, wire, weakest, said, float(amps[wires[0]]), tuple(into.tolist())))
        return tuple(found)

    @cached_property
    def taps(self) -> dict[str, tuple[TapFuse, ...]]:
        """Of each feed its joints, in order along the wire, with what is known of a fuse there."""
        before: dict[str, float | None] = {}
        loads = {load.feed.name: load for load in self.feeds}
        found = {}
        together: defaultdict[int, float] = defaultdict(float)
        for load in self.feeds:
            for join, amps in zip(self.circuit.joins[load.feed.name], load.into, strict=True):
                together[join.point] += amps
        for feed in outwards(self.show):
            fuse = before[feed.name] = feed.fuse or before.get(str(feed.source))
            load, fuses = loads[feed.name], []
            for join, amps in zip(self.circuit.joins[feed.name], load.into, strict=True):
                kind = self.show.type_of(self.show.runs[join.run])
                passes = self.show.supplies[load.supply].amps if fuse is None else fuse
                wire = wire_of(kind.awg, kind.mm2)
                every, own = max(abs(amps), together[join.point]), feed.taps[join.tap - 1].fuse
                fuses.append(TapFuse(feed.name, join, wire, passes, own, fuse is not None, abs(amps), every))
            found[feed.name] = tuple(fuses)
        return found

    @cached_property
    def tap_fuses(self) -> tuple[TapFuse, ...]:
        """The joints at which a string's own wire may carry less than the last fuse before it passes."""
        return tuple(tap for taps in self.taps.values() for tap in taps if tap.needed)

    @cached_property
    def overloaded_taps(self) -> frozenset[int]:
        """The points of the circuit at which a feed joins a string for which no fuse can be had."""
        return frozenset(tap.join.point for tap in self.tap_fuses if tap.overloaded)

    @cached_property
    def thinner_strings(self) -> dict[Wire, list[str]]:
        """Strings' own wires that bear less than the last fuse before them lets through, with the feeds there."""
        found: dict[Wire, list[str]] = {}
        for name in self.show.feeds:
            for string in dict.fromkeys(tap.wire for tap in self.taps[name] if tap.needed):
                if string is not None:
                    found.setdefault(string, []).append(name)
        return found

    @cached_property
    def logic(self) -> Floats:
        """Amperes of the controllers that each supply runs."""
        amps = dict.fromkeys(self.show.supplies, 0.0)
        for box in self.show.controllers.values():
            if box.logic is not None:
                amps[box.logic.supply] += box.logic.amps
        return np.array(list(amps.values()))

    @cached_property
    def supplies(self) -> tuple[SupplyLoad, ...]:
        """Every supply that is not kept on the shelf; solved for dark and for full white too."""
        dark, now, white = (self.given(level) for level in (0.0, self.level, 1.0))
        levels = self._highest(dark, white)
        return tuple(
            SupplyLoad(supply, float(dark[at]), float(now[at]), float(white[at]), levels[at])
            for at, supply in enumerate(self.show.supplies.values())
            if not supply.spare
        )

    @cached_property
    def left(self) -> dict[str, float]:
        """Amperes that each supply in use can still give, up to 80 % of its rating; 0 where its load is not known."""
        given = self.given(self.level)
        return {
            supply.name: 0.0 if np.isnan(amps) else supply.amps * LOADED - float(amps)
            for supply, amps in zip(self.show.supplies.values(), given, strict=True)
            if not supply.spare
        }

    def given(self, level: float) -> Floats:
        """Amperes that each supply gives at a level, controllers and all; NaN where that cannot be told.

        Where the file does not say all of the wires, what leaves a supply is still what the pixels on its V+ draw, if
        no other supply feeds them and they draw the same at any voltage.
        """
        drop = self.drop if level == self.level else solve(self.circuit, level)
        amps = drop.supply_amps.copy()
        for at, supply in enumerate(self.show.supplies.values()):
            parts = [part for part in self.stretches if supply.name in part.supplies]
            if np.isnan(amps[at]) and all(len(part.supplies) == 1 for part in parts) and not self._regulated(supply):
                amps[at] = sum(float(self.circuit.drawn(self.circuit.points_of(part), level).sum()) for part in parts)
        found: Floats = amps + self.logic
        return found

    def _highest(self, dark: Floats, white: Floats) -> list[float | None]:
        """The highest level of each supply, on a straight line where no regulated pixel hangs on it."""
        found: list[float | None] = []
        for at, supply in enumerate(self.show.supplies.values()):
            most = supply.amps * LOADED + SLIGHT
            if np.isnan(dark[at] + white[at]) or dark[at] > most:
                found.append(None)
            elif white[at] <= most:
                found.append(1.0)
            elif self._regulated(supply):
                found.append(highest_level(self.circuit, _gives_at_most(at, most - self.logic[at])))
            else:
                found.append(floor((most - dark[at]) / (white[at] - dark[at]) * 100) / 100)
        return found

    def _regulated(self, supply: Supply) -> bool:
        """Whether a regulated pixel hangs on a supply, also behind a run that has none."""
        runs = {run for part in self.stretches if supply.name in part.supplies for run, _, _ in part.parts}
        return any(self.circuit.regulated[self.circuit.runs[run]].any() for run in runs)


def _gives_at_most(supply: int, amps: float) -> Callable[[Drop], bool]:
    return lambda drop: bool(drop.supply_amps[supply] <= amps)


def _unfused(feed: Feed, branches: list[Feed], known: dict[str, tuple[Wire | None, bool]]) -> tuple[Wire | None, bool]:
    """Of the wires of a feed and of what branches off without a fuse the weakest; and whether all of them are said."""
    wire = wire_of(feed.awg, feed.mm2)
    behind = [(wire, wire is not None), *(known[branch.name] for branch in branches if branch.fuse is None)]
    wires = [each for each, _ in behind if each is not None]
    return min(wires, key=lambda each: each.bears, default=None), all(said for _, said in behind)


def highest_level(net: Circuit, fits: Callable[[Drop], bool]) -> float | None:
    """The highest level in whole hundredths at which something that gets worse with the level still fits; None at none.

    What is NaN fits nothing, as no comparison with it is true.
    """
    first = bisect_left(range(101), True, key=lambda hundredths: not fits(solve(net, hundredths / 100)))
    return (first - 1) / 100 if first else None


def power(wiring: Wiring, *, level: float | None = None, celsius: float = CELSIUS) -> Power:
    """The power of a sound show.

    Args:
        wiring: the wiring.
        level: from 0 to 1; the show's, where not said.
        celsius: temperature of the wires.
    """
    at = wiring.show.settings.level if level is None else level
    net = replace(circuit(wiring, celsius=celsius), apart_only=True)
    return Power(wiring, at, celsius, net, solve(net, at))
