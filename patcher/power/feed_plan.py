"""Feeds for a whole show: which supply feeds which stretch of V+, and what is added so that every pixel has its volts.

Stretch by stretch, the heaviest first: one that is fed keeps its supply, one that is not gets the nearest of its volts
that has enough left. Stretches that are alike get their taps at like places, where that costs no more of them. Then the
show is solved as a whole, what still sags is added to, and what proves needless is taken out again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from patcher.errors import Finding
from patcher.power import no_plan
from patcher.power.circuit import Floats
from patcher.power.feeds import LONGEST, Feeding, FeedTask, Ground, at_ends
from patcher.power.flow import SLIGHT, TINY, Power, power
from patcher.power.plan import Plan, RailPlan
from patcher.power.planned_feeds import fitted, with_feeds, with_tap_fuses
from patcher.power.shortfalls import findings
from patcher.power.stretches import Parts, Stretch, grounds
from patcher.power.strip import RailStrip, near_enough, not_drawn, pixel_places, strip_of, supply_place
from patcher.power.wire_trees import Stock
from patcher.power.wires import CELSIUS, Wire
from patcher.show.schema import Show
from patcher.units import METRES_PER
from patcher.wiring import Wiring

GAUGES = (Wire(awg=18), Wire(awg=16), Wire(awg=14), Wire(awg=12), Wire(awg=10))
"""Wires that a plan chooses from, where the person names none."""
SLACK = 0.15
"""Part by which wire is longer than the straight line. Common practice, no source."""
MARGIN = 0.05
"""Part of a pixel's rated volts that a plan leaves it above its least. Common practice, no source."""
_PASSES = 4
"""How often the whole show is solved and added to."""


def plan(
    wiring: Wiring,
    *,
    gauges: tuple[Wire, ...] = GAUGES,
    slack: float = SLACK,
    level: float | None = None,
    celsius: float = CELSIUS,
    margin: float = MARGIN,
    assigned: Mapping[Parts, str] | None = None,
) -> Plan:
    """The feeds that a sound show needs besides those that it has.

    A plan holds at the temperature that `check` reckons with too, so it is never made for colder wires.

    Args:
        wiring: the wiring.
        gauges: the wires to choose from.
        slack: the part by which wire is longer than the straight line; it is rounded up to a tenth of the file's unit.
        level: the level that must hold; the show's, where not said.
        celsius: temperature of the wires.
        margin: the part of its rated volts that each pixel is to have above its least.
        assigned: the supply that is to feed a stretch which has none, by its parts; else the nearest that can.
    """
    before = power(wiring, level=level, celsius=max(celsius, CELSIUS))
    sizes = tuple(sorted(set(gauges), key=lambda size: (-size.ohms(), size.area)))
    work = _Work(before, Stock(sizes, slack, METRES_PER[wiring.show.settings.units] / 10), margin, assigned or {})
    if celsius < CELSIUS:
        work.assumed[f"wires at {CELSIUS:g} °C, the temperature that check reckons with"] = None
    if before.level < wiring.show.settings.level:
        work.assumed[f"level {before.level:g}; check reckons with the show's, {wiring.show.settings.level:g}"] = None
    for _ in range(_PASSES):
        if not work.add():
            break
    work.state = fitted(work.state, work.given, sizes)
    if work.add():  # a larger fuse may be more than the string at a tap bears
        work.state = fitted(work.state, work.given, sizes)
    work.take_out_needless()
    work.note_what_still_lacks()
    feeds = tuple(name for name in work.state.show.feeds if name not in wiring.show.feeds)
    done = with_tap_fuses(work.state, work.given)
    rails, assumed = tuple(work.rails.values()), tuple(work.assumed)
    return Plan(before, done, feeds, rails, work.findings(), assumed, margin, slack)


class _Work:
    """A plan as it grows.

    Attributes:
        state: the power of the show with what has been added.
        given: the feeds that the show has already.
        stock: what there is to wire with.
        margin: the part of its rated volts that each pixel is to have above its least.
        assigned: the supply that is to feed a stretch which has none, by its parts.
        grounds: whose ground each run's is joined with.
        left: amperes that each supply can still give; of one whose load is not known, none.
        rails: what is planned, by the parts of the stretch.
        open: what could not be planned, by the parts of the stretch.
        assumed: what was assumed, each once.
    """

    def __init__(self, state: Power, stock: Stock, margin: float, assigned: Mapping[Parts, str]) -> None:
        self.state, self.stock, self.margin, self.assigned = state, stock, margin, assigned
        self.given = frozenset(state.show.feeds)
        self.grounds = grounds(state.wiring)
        self.left: dict[str, float] = {}
        self.rails: dict[Parts, RailPlan] = {}
        self.open: dict[Parts, Finding] = {}
        self.assumed: dict[str, None] = {}

    def add(self) -> bool:
        """Add what lacks now, and solve the whole again; whether anything was added."""
        show, state = self.state.show, self.state
        self.left = dict(state.left)
        groups: defaultdict[object, list[tuple[Stretch, RailStrip]]] = defaultdict(list)
        for part in sorted(filter(self._lacks, state.stretches), key=lambda part: -float(state.drawn(part).sum())):
            strip = strip_of(state, part, self._asked(part))
            groups[strip.likeness].append((part, strip))
        for group in groups.values():
            each = ((part, self._feed(part, strip)) for part, strip in group)
            for part, fed in self._alike([(part, fed) for part, fed in each if fed is not None]):
                show = self._with_feeds(show, part, fed)
        if show is state.show:
            return False
        self.state = state.of(show)
        return True

    def note_what_still_lacks(self) -> None:
        """Note what was planned for and still has not what it was to have, in the whole show as it then is."""
        drop = self.state.drop
        for part in self.state.stretches:
            wanted = part.parts in self.rails or self._lacks(part)
            if part.parts in self.open or not wanted or _has(self.state, part, self._asked(part)):
                continue
            at = self.state.circuit.points_of(part)
            if drop.known[at].all():
                reason = no_plan.no_fuse(self.state, part) or no_plan.not_enough(part, drop.volts[at])
                self._cannot(part, reason, "the plan is not enough")
            else:
                self._cannot(part, no_plan.ground_not_known(part), "unsure")

    def take_out_needless(self) -> None:
        """Take out what was added to a stretch that is OK without it, since what was added elsewhere relieves it."""
        unproved = [parts for parts, rail in self.rails.items() if not rail.bound]
        while needless := next((parts for parts in unproved if self._taken_out(parts)), None):
            unproved.remove(needless)

    def _taken_out(self, parts: Parts) -> bool:
        """Take out what was added to a stretch if all that was OK is OK without it; whether it was."""
        before, rail = self.state, self.rails[parts]
        feeds = {name: feed for name, feed in before.show.feeds.items() if name not in rail.feeds}
        bare = before.of(before.show.model_copy(update={"feeds": feeds}))
        after = fitted(bare, self.given, self.stock.gauges)
        wrong, old = ({(f.rule, f.where) for f in findings(each.wiring, each)} for each in (after, before))
        if not (self._lacking(after) <= self._lacking(before) and wrong <= old):
            return False
        self.state = after
        del self.rails[parts]
        return True

    def _lacking(self, state: Power) -> set[Parts]:
        return {part.parts for part in state.stretches if not _has(state, part, self._asked(part))}

    def findings(self) -> tuple[Finding, ...]:
        """What could not be planned; where only the margin is missing it is a note."""
        stretch = {part.parts: part for part in self.state.stretches}
        found = []
        for parts, wrong in self.open.items():
            part = stretch[parts]
            ready = no_plan.not_ready(self.state, part) is None  # else what is wrong there is a hazard, not a margin
            if ready and self.margin > 0 and part.trees and _has(self.state, part, self._asked(part, 0.0)):
                says = f"{wrong.says}; its volts are enough as it is, without the margin of {self.margin * 100:g} %"
                wrong = replace(wrong, severity="note", says=says)
            found.append(wrong)
        return tuple(found)

    def _cannot(self, part: Stretch, reason: no_plan.Reason, what: str = "no feed was planned") -> None:
        says, remedy = reason
        where = f"run.{part.parts[0][0]}"
        self.open[part.parts] = Finding("warning", "no-plan", "power", where, f"{what}: {says}", remedy)

    # --- what a stretch lacks -----------------------------------------------------------------------------------------

    def _lacks(self, part: Stretch) -> bool:
        """Whether a stretch needs more feeds and can be planned; what stands in the way is noted."""
        reason = no_plan.not_ready(self.state, part)
        if reason is None and part.trees and not self.state.drop.known[self.state.circuit.points_of(part)].all():
            if part.parts in self.rails:
                return False
            reason = no_plan.load_not_known(part)
        if reason is not None:
            self._cannot(part, reason)
            return False
        return not _has(self.state, part, self._asked(part))

    def _asked(self, part: Stretch, margin: float | None = None) -> Floats:
        """Volts that each pixel of a stretch is to have: its least, and the margin."""
        show, more = self.state.show, self.margin if margin is None else margin
        kinds = [show.type_of(show.runs[run]) for run, _, _ in part.parts]
        asked = [(kind.min_volts or 0.0) + more * (kind.volts or 0.0) for kind in kinds]
        return np.repeat(asked, [last - first + 1 for _, first, last in part.parts])

    # --- how a stretch is fed -----------------------------------------------------------------------------------------

    def _able(self, part: Stretch) -> list[str]:
        """The supplies that may feed a stretch, the nearest first."""
        show, run = self.state.show, part.parts[0][0]
        if part.trees:
            return list(part.supplies)
        volts, load = show.type_of(show.runs[run]).volts, float(self.state.drawn(part).sum())
        able = near_enough(self.state.wiring, [name for name in self.left if show.supplies[name].volts == volts], run)
        able = [self.assigned[part.parts]] if part.parts in self.assigned else able
        enough = [name for name in able if self.left[name] >= load - SLIGHT]
        if not enough:
            self._too_weak(part, able, load)
        return sorted(enough, key=lambda name: (self._away(name, run), list(self.left).index(name)))

    def _too_weak(self, part: Stretch, able: list[str], load: float) -> None:
        left = {name: self.left[name] for name in able}
        self._cannot(part, no_plan.too_weak(self.state, part, left, load, self._asked(part)))

    def _away(self, supply: str, run: str) -> float:
        stand = supply_place(self.state.wiring, supply, run)
        return stand.cable + float(np.hypot(*(pixel_places(self.state.wiring, run) - stand.place).T).min())

    def _ground(self, part: Stretch) -> Ground:
        """Whose ground a stretch has, whatever else may yet be fed."""
        show = self.state.show
        together = self.grounds[part.parts[0][0]]
        beside = [other for other in self.state.stretches if other.parts[0][0] in together]
        if len(beside) == 1:
            return "own"
        supplies = {name for other in beside for name in other.supplies}
        dark = {show.type_of(show.runs[run]).volts for other in beside if not other.trees for run, _, _ in other.parts}
        supplies |= {name for name in self.left if show.supplies[name].volts in dark}
        return "one supply" if len(supplies) == 1 else "several supplies"

    def _feed(self, part: Stretch, strip: RailStrip) -> _Fed | None:
        """How a stretch is fed from the nearest supply that can give what it then draws; None where none can."""
        if len(strip.pixels) > LONGEST:
            self._cannot(part, no_plan.too_long(part, len(strip.pixels), LONGEST))
            return None
        able = self._able(part)
        for task, supply, assumed in self._tasks(part, strip, able):
            found = task.feed()
            if found is None:
                if (few := task.too_many()) is not None:
                    self._cannot(part, no_plan.too_many(part, few))
            elif not part.trees and found.amps > self.left[supply] + SLIGHT:
                self._too_weak(part, able, found.amps)
            else:
                self.left[supply] -= 0.0 if part.trees else found.amps
                self.assumed |= {} if assumed is None else {assumed: None}
                self.assumed |= dict.fromkeys(not_drawn(self.state.wiring, part, supply))
                self.open.pop(part.parts, None)
                return _Fed(supply, task, found)
        if able and part.parts not in self.open:
            asked, least = float(self._asked(part).max()), float(self._asked(part, 0.0).max())
            volts = max(self.state.show.supplies[name].volts for name in able)
            thickest = self.stock.gauges[-1]
            not_held = no_plan.not_held(part, able, volts, thickest, asked, least, self.margin)
            self._cannot(part, no_plan.no_fuse(self.state, part) or not_held)
        return None

    def _tasks(self, part: Stretch, strip: RailStrip, able: list[str]) -> Iterator[tuple[FeedTask, str, str | None]]:
        """A task for each supply, with its name and what is assumed of its place."""
        state, ground = self.state, self._ground(part)
        for supply in able:
            at = supply_place(state.wiring, supply, part.parts[0][0])
            rig = strip, state.show.supplies[supply].volts, at.place, self.stock, state.level, state.celsius, at.cable
            yield FeedTask(*rig, ground), supply, at.assumed

    def _alike(self, found: list[tuple[Stretch, _Fed]]) -> list[tuple[Stretch, _Fed]]:
        """Like stretches with their taps at like places, where as many taps as each has are enough for all of them."""
        done: dict[Stretch, _Fed] = dict(found)
        for taps in {len(fed.found.taps) for _, fed in found}:
            some = {part: fed for part, fed in found if len(fed.found.taps) == taps}
            if len({fed.found.taps for fed in some.values()}) < 2:
                continue
            strip = next(iter(some.values())).task.strip
            ways = chain(at_ends(strip, taps), (fed.found.taps for fed in some.values()))
            tried = (self._all_with(some, way) for way in dict.fromkeys(ways) if len(way) == taps)
            done |= next((alike for alike in tried if alike is not None), {})
        return list(done.items())

    def _all_with(self, some: dict[Stretch, _Fed], taps: tuple[int, ...]) -> dict[Stretch, _Fed] | None:
        """Each stretch with these taps; None where they are not enough for one, or its supply has not enough left."""
        alike: dict[Stretch, _Fed] = {}
        left = dict(self.left)
        for part, fed in some.items():
            trunks = fed.task.wired(taps)
            if trunks is None:
                return None
            alike[part] = replace(fed, found=replace(fed.found, taps=taps, trunks=trunks))
            if not part.trees:
                left[fed.supply] += fed.found.amps - alike[part].found.amps
        supplies = {fed.supply for part, fed in some.items() if not part.trees}
        if any(left[name] < min(0.0, self.left[name]) - SLIGHT for name in supplies):
            return None
        self.left = left
        return alike

    def _with_feeds(self, show: Show, part: Stretch, fed: _Fed) -> Show:
        """The show with feeds for one stretch, and what is planned for it."""
        strip, found = fed.task.strip, fed.found
        more = with_feeds(show, fed.supply, part.parts[0][0], strip, found)
        taps = tuple(strip.pixels[tap] for tap in found.taps)
        names = tuple(name for name in more.feeds if name not in show.feeds)
        before = self.rails.get(part.parts, RailPlan(part.parts, fed.supply, (), found.bound, ()))
        self.rails[part.parts] = replace(before, taps=before.taps + taps, feeds=before.feeds + names)
        return more


@dataclass(frozen=True, eq=False)
class _Fed:
    """How a stretch is fed: from which supply, the task, and what was found for it."""

    supply: str
    task: FeedTask
    found: Feeding


def _has(state: Power, part: Stretch, volts: Floats) -> bool:
    """Whether every pixel of a stretch has the volts given, and a fuse can be had wherever a feed joins it."""
    at = state.circuit.points_of(part)
    return state.overloaded_taps.isdisjoint(at.tolist()) and bool((state.drop.volts[at] >= volts - TINY).all())
