"""Feeds for a whole show: which supply feeds which stretch of V+, and what is added so that every pixel has its volts.

Stretch by stretch, the heaviest first: one that is fed keeps its supply, one that is not gets the nearest of its volts
that has enough left. Then the show is solved as a whole, and what still sags is added to.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import count

import numpy as np

from patcher.errors import Finding
from patcher.limits.circuit import Floats
from patcher.limits.feeding import Feeding, Strip, feed, strip_of
from patcher.limits.hold import unsaid
from patcher.limits.places import pixel_places, supply_place
from patcher.limits.power import TINY, Power, highest_level, power
from patcher.limits.stretches import Stretch, stretches
from patcher.limits.supplies import LOADED
from patcher.limits.wires import CELSIUS, Wire
from patcher.show.schema import Feed, Show, Tap
from patcher.wiring import Wiring, wire

GAUGES = (Wire(awg=18), Wire(awg=16), Wire(awg=14), Wire(awg=12), Wire(awg=10))
"""Wires that a plan chooses from, where the person names none."""
SLACK = 0.15
"""Part by which wire is longer than the straight line. Common practice, no source."""
_PASSES = 4
"""How often the whole show is solved and added to."""


@dataclass(frozen=True, slots=True)
class RailPlan:
    """What is planned for one stretch of V+.

    Attributes:
        parts: of each run in it, the first and the last pixel, from 1.
        supply: what feeds it.
        taps: the taps that are added, as run and pixel.
        bound: a number of added taps that no plan with this supply can go below.
    """

    parts: tuple[tuple[str, int, int], ...]
    supply: str
    taps: tuple[tuple[str, int], ...]
    bound: int

    @property
    def proved(self) -> bool:
        """Whether these are the fewest taps."""
        return len(self.taps) == self.bound


@dataclass(frozen=True, eq=False)
class Plan:
    """Feeds for a show.

    Attributes:
        before: the power of the show as it is.
        after: its power with the feeds.
        feeds: the names of the feeds that are added.
        rails: what is planned for each stretch that wanted any.
        open: what could not be planned, and why.
        assumed: what was assumed where the file does not say.
    """

    before: Power
    after: Power
    feeds: tuple[str, ...]
    rails: tuple[RailPlan, ...]
    open: tuple[Finding, ...]
    assumed: tuple[str, ...]

    @property
    def metres(self) -> dict[str, float]:
        """Metres of two-core wire to buy, by its size."""
        total: defaultdict[str, float] = defaultdict(float)
        for name in self.feeds:
            planned = self.after.show.feeds[name]
            total[str(Wire(planned.awg, planned.mm2))] += sum(tap.length for tap in planned.taps)
        return dict(total)


def level_that_holds(state: Power) -> float | None:
    """The highest level in whole hundredths at which every pixel that is fed and known has its volts; None at none."""
    runs = [state.show.runs[name] for name in state.circuit.runs]
    each = [state.show.type_of(run).min_volts for run in runs]
    least = np.repeat([np.nan if volts is None else volts for volts in each], [run.pixels for run in runs])
    asked = ~np.isnan(least) & state.drop.fed & state.drop.known
    return highest_level(state.circuit, lambda drop: bool((drop.volts[asked] >= least[asked] - TINY).all()))


def plan(
    wiring: Wiring,
    *,
    gauges: tuple[Wire, ...] = GAUGES,
    slack: float = SLACK,
    level: float | None = None,
    celsius: float = CELSIUS,
) -> Plan:
    """The feeds that a sound show needs besides those that it has.

    Args:
        wiring: the wiring.
        gauges: the wires to choose from.
        slack: the part by which wire is longer than the straight line.
        level: the level that must hold; the show's, where not said.
        celsius: temperature of the wires.
    """
    before = power(wiring, level=level, celsius=celsius)
    work = _Work(before, tuple(sorted(gauges, key=lambda wire: wire.area)), slack)
    for _ in range(_PASSES):
        if not work.add():
            break
    feeds = tuple(name for name in work.state.show.feeds if name not in wiring.show.feeds)
    return Plan(before, work.state, feeds, tuple(work.rails.values()), tuple(work.open.values()), tuple(work.assumed))


class _Work:
    """A plan as it grows.

    Attributes:
        state: the power of the show with what has been added.
        rails: what is planned, by the parts of the stretch.
        open: what could not be planned, by its place.
        assumed: what was assumed, each once.
    """

    def __init__(self, state: Power, gauges: tuple[Wire, ...], slack: float) -> None:
        self.state = state
        self.gauges = gauges
        self.slack = slack
        self.rails: dict[tuple[tuple[str, int, int], ...], RailPlan] = {}
        self.open: dict[str, Finding] = {}
        self.assumed: dict[str, None] = {}

    def add(self) -> bool:
        """Add what lacks now, and solve the whole again; whether anything was added."""
        show = self.state.show
        left = self._left()
        lacking = [part for part in stretches(self.state.wiring) if self._lacks(part)]
        for part in sorted(lacking, key=lambda part: -self._load(part)):
            for piece, supply in self._fed_by(part, left):
                show = self._feed(show, piece, supply)
        if show is self.state.show:
            return False
        self.state = power(wire(show), level=self.state.level, celsius=self.state.celsius)
        return True

    def _points(self, part: Stretch) -> Floats:
        runs = self.state.circuit.runs
        return np.concatenate([runs[run].start + np.arange(first - 1, last) for run, first, last in part.parts])

    def _load(self, part: Stretch) -> float:
        """Amperes that a stretch draws at its rated volts."""
        at = self._points(part)
        return float((self.state.circuit.idle[at] + self.state.level * self.state.circuit.full[at]).sum())

    def _left(self) -> dict[str, float]:
        """Amperes that each supply can still give."""
        show, drop = self.state.show, self.state.drop
        given = np.nan_to_num(drop.supply_amps) + self.state.logic
        return {
            supply.name: supply.amps * LOADED - float(amps)
            for supply, amps in zip(show.supplies.values(), given, strict=True)
            if not supply.spare
        }

    def _lacks(self, part: Stretch) -> bool:
        """Whether a stretch wants more feeds and can be planned; what stands in the way is noted."""
        show = self.state.show
        kinds = {show.runs[run].pixel: show.type_of(show.runs[run]) for run, _, _ in part.parts}
        where = f"run.{part.parts[0][0]}"
        if missing := {name: unsaid(kind) for name, kind in kinds.items() if unsaid(kind)}:
            what = "; ".join(f"pixel.{name} lacks {', '.join(keys)}" for name, keys in missing.items())
            self._cannot(where, what, "write it in the show file")
            return False
        supplies = {str(show.feeds[tree].supply) for tree in part.trees}
        if len(supplies) > 1:
            says = f"{' and '.join(sorted(supplies))} share its V+"
            self._cannot(where, says, "cut it first: patcher check says where")
            return False
        least = np.concatenate(
            [np.full(last - first + 1, show.type_of(show.runs[run]).min_volts) for run, first, last in part.parts]
        )
        return not bool((self.state.drop.volts[self._points(part)] >= least - TINY).all())

    def _cannot(self, where: str, says: str, remedy: str) -> None:
        self.open[where] = Finding("warning", "no-plan", "power", where, f"no feed was planned: {says}", remedy)

    def _fed_by(self, part: Stretch, left: dict[str, float]) -> list[tuple[Stretch, str]]:
        """The supply of a stretch, or its pieces with one each; what is taken is taken off `left`."""
        if part.trees:
            return [(part, str(self.state.show.feeds[next(iter(part.trees))].supply))]
        run = part.parts[0][0]
        volts = self.state.show.type_of(self.state.show.runs[run]).volts
        able = [name for name in left if self.state.show.supplies[name].volts == volts]
        load = self._load(part)
        enough = [name for name in able if left[name] >= load - TINY]
        if not enough:
            most = max((left[name] for name in able), default=0.0)
            has = f"the most that is left is {most:.1f} A" if able else f"the file has no supply of {volts:g} V"
            says = f"what hangs together wants {load:.1f} A at {volts:g} V, and {has}"
            remedy = f"add a supply; {self._cut(part, most)}or lower the level"
            self._cannot(f"run.{run}", says, remedy)
            return []
        nearest = min(enough, key=lambda name: (self._away(name, run), list(left).index(name)))
        left[nearest] -= load
        return [(part, nearest)]

    def _cut(self, part: Stretch, amps: float) -> str:
        """Where V+ would be cut for what is left of one supply to feed the pixels before it."""
        at = self._points(part)
        loads = np.cumsum(self.state.circuit.idle[at] + self.state.level * self.state.circuit.full[at])
        fits = int(np.searchsorted(loads, amps, side="right"))
        names = [(run, pixel) for run, first, last in part.parts for pixel in range(first, last + 1)]
        if not 0 < fits < len(names):
            return ""
        run, pixel = names[fits]
        key = f"power_cuts = [{pixel}]" if pixel > 1 else "power_joined = false"
        return f"cut V+ before {run}/{pixel} ({key}) and plan again; "

    def _away(self, supply: str, run: str) -> float:
        place, _ = supply_place(self.state.wiring, supply, run)
        return float(np.hypot(*(pixel_places(self.state.wiring, run) - place).T).min())

    def _feed(self, show: Show, part: Stretch, supply: str) -> Show:
        """The show with feeds for one stretch."""
        state = self.state
        strip = strip_of(state, part)
        run = part.parts[0][0]
        place, assumed = supply_place(state.wiring, supply, run)
        if assumed is not None:
            self.assumed[assumed] = None
        volts = state.show.supplies[supply].volts
        found = feed(strip, volts, place, self.gauges, self.slack, state.level, state.celsius)
        if found is None:
            says = f"no number of taps from {supply} with {self.gauges[-1]} holds it"
            remedy = "allow a thicker wire (--wire), stand the supply nearer, or lower the level"
            self._cannot(f"run.{run}", says, remedy)
            return show
        taps = tuple(strip.pixels[tap] for tap in found.taps)
        known = self.rails.get(part.parts)
        self.rails[part.parts] = (
            RailPlan(part.parts, supply, taps, found.bound) if known is None else replace(known, taps=known.taps + taps)
        )
        return _with_feeds(show, supply, run, strip, found)


def _with_feeds(show: Show, supply: str, run: str, strip: Strip, found: Feeding) -> Show:
    """The show with a feed for each trunk."""
    taken = {*show.controllers, *show.runs, *show.props, *show.supplies, *show.feeds}
    feeds = dict(show.feeds)
    joined: dict[int, tuple[str, int]] = {}
    for trunk in found.trunks:
        candidates = (f"{run[:50]}-feed{f'-{number}' if number > 1 else ''}" for number in count(1))
        name = next(name for name in candidates if name not in taken and name not in feeds)
        at = [strip.pixels[found.taps[tap - 1]] for tap in trunk.taps]
        taps = tuple(
            Tap(run=one, pixel=pixel, length=metres) for (one, pixel), metres in zip(at, trunk.metres, strict=True)
        )
        source: dict[str, object] = {"supply": supply}
        if trunk.start:
            source = dict(zip(("from", "tap"), joined[trunk.start], strict=True))
        size = {"awg": trunk.wire.awg, "mm2": trunk.wire.mm2}
        planned = Feed.model_validate({**source, **size, "fuse": trunk.fuse, "taps": taps})
        planned._name = name
        feeds[name] = planned
        joined |= {tap: (name, number) for number, tap in enumerate(trunk.taps, start=1)}
    return show.model_copy(update={"feeds": feeds})
