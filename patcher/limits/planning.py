"""Feeds for a whole show: which supply feeds which stretch of V+, and what is added so that every pixel has its volts.

Stretch by stretch, the heaviest first: one that is fed keeps its supply, one that is not gets the nearest of its volts
that has enough left. Stretches that are alike get their taps at like places, where that costs no more of them. Then the
show is solved as a whole, what still sags is added to, and what proves needless is taken out again.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import chain, count

import numpy as np

from patcher.errors import Finding
from patcher.limits.circuit import Floats
from patcher.limits.feeding import LONGEST, Feeding, Ground, Stock, Strip, Task, strip_of
from patcher.limits.hold import cut_at, findings, unsaid
from patcher.limits.places import pixel_places, supply_place
from patcher.limits.power import LOADED, SLIGHT, TINY, FeedLoad, Power, highest_level, most_amps, power
from patcher.limits.stretches import Stretch, grounds, roots
from patcher.limits.wires import CELSIUS, Wire, wire_of
from patcher.show.schema import Feed, Show, Tap
from patcher.units import METRES_PER
from patcher.wiring import Wiring, wire

GAUGES = (Wire(awg=18), Wire(awg=16), Wire(awg=14), Wire(awg=12), Wire(awg=10))
"""Wires that a plan chooses from, where the person names none."""
SLACK = 0.15
"""Part by which wire is longer than the straight line. Common practice, no source."""
MARGIN = 0.05
"""Part of a pixel's rated volts that a plan leaves it above its least. Common practice, no source."""
_PASSES = 4
"""How often the whole show is solved and added to."""


@dataclass(frozen=True, slots=True)
class RailPlan:
    """What is planned for one stretch of V+.

    Attributes:
        parts: of each run in it, the first and the last pixel, from 1.
        supply: what feeds it.
        taps: the taps that are added, as run and pixel.
        bound: a number of added taps that no plan with this supply can go below whose taps all give current to the
            rail. (A wire that takes current out of a thick rail and brings it on, a jumper, is not looked for.) 0 where
            feeds that it shares with others might bring more, if the others took less.
        feeds: the feeds that bring them.
    """

    parts: tuple[tuple[str, int, int], ...]
    supply: str
    taps: tuple[tuple[str, int], ...]
    bound: int
    feeds: tuple[str, ...]

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
        margin: the part of its rated volts that each pixel of what is planned has above its least.
    """

    before: Power
    after: Power
    feeds: tuple[str, ...]
    rails: tuple[RailPlan, ...]
    open: tuple[Finding, ...]
    assumed: tuple[str, ...]
    margin: float

    @property
    def metres(self) -> dict[str, float]:
        """Metres of two-core wire to buy, by its size."""
        total: defaultdict[str, float] = defaultdict(float)
        for name in self.feeds:
            planned = self.after.show.feeds[name]
            total[str(Wire(planned.awg, planned.mm2))] += sum(tap.length for tap in planned.taps)
        return dict(total)


def level_that_holds(state: Power) -> float | None:
    """The highest level in whole hundredths at which every pixel that is fed and known has its volts.

    None where there is no such level, or no such pixel.
    """
    runs = [state.show.runs[name] for name in state.circuit.runs]
    each = [state.show.type_of(run).min_volts for run in runs]
    least = np.repeat([np.nan if volts is None else volts for volts in each], [run.pixels for run in runs])
    asked = ~np.isnan(least) & state.drop.fed & state.drop.known
    if not asked.any():
        return None
    return highest_level(state.circuit, lambda drop: bool((drop.volts[asked] >= least[asked] - TINY).all()))


def plan(
    wiring: Wiring,
    *,
    gauges: tuple[Wire, ...] = GAUGES,
    slack: float = SLACK,
    level: float | None = None,
    celsius: float = CELSIUS,
    margin: float = MARGIN,
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
    """
    before = power(wiring, level=level, celsius=max(celsius, CELSIUS))
    sizes = tuple(sorted(set(gauges), key=lambda size: (-size.ohms(), size.area)))
    work = _Work(before, Stock(sizes, slack, METRES_PER[wiring.show.settings.units] / 10), margin)
    if celsius < CELSIUS:
        work.assumed[f"wires at {CELSIUS:g} °C, the temperature that check reckons with"] = None
    if before.level < wiring.show.settings.level:
        work.assumed[f"level {before.level:g}; check reckons with the show's, {wiring.show.settings.level:g}"] = None
    for _ in range(_PASSES):
        if not work.add():
            break
    work.settle({*wiring.show.feeds})
    work.take_out_needless()
    work.end()
    feeds = tuple(name for name in work.state.show.feeds if name not in wiring.show.feeds)
    return Plan(
        before, work.state, feeds, tuple(work.rails.values()), work.findings(), tuple(work.assumed), margin
    )  # fmt: skip


class _Work:
    """A plan as it grows.

    Attributes:
        state: the power of the show with what has been added.
        stock: what there is to wire with.
        margin: the part of its rated volts that each pixel is to have above its least.
        grounds: whose ground each run's is joined with.
        left: amperes that each supply can still give; of one whose load is not known, none.
        rails: what is planned, by the parts of the stretch.
        open: what could not be planned, by the parts of the stretch.
        assumed: what was assumed, each once.
    """

    def __init__(self, state: Power, stock: Stock, margin: float) -> None:
        self.state = state
        self.stock = stock
        self.margin = margin
        self.grounds = grounds(state.wiring)
        self.left: dict[str, float] = {}
        self.rails: dict[tuple[tuple[str, int, int], ...], RailPlan] = {}
        self.open: dict[tuple[tuple[str, int, int], ...], Finding] = {}
        self.assumed: dict[str, None] = {}

    def add(self) -> bool:
        """Add what lacks now, and solve the whole again; whether anything was added."""
        show = self.state.show
        self.left = self._left()
        lacking = [part for part in self.state.stretches if self._lacks(part)]
        groups: defaultdict[object, list[tuple[Stretch, Strip]]] = defaultdict(list)
        for part in sorted(lacking, key=lambda part: -self._load(part)):
            strip = strip_of(self.state, part, self._asked(part))
            groups[strip.likeness].append((part, strip))
        for group in groups.values():
            found = [(part, self._feed(part, strip)) for part, strip in group]
            for part, fed in self._alike([(part, fed) for part, fed in found if fed is not None]):
                show = self._with_feeds(show, part, fed)
        if show is self.state.show:
            return False
        self.state = power(wire(show), level=self.state.level, celsius=self.state.celsius)
        return True

    def end(self) -> None:
        """Say what was planned for and still has not what it was to have, in the whole show as it then is."""
        drop = self.state.drop
        for part in self.state.stretches:
            at = self.state.points(part)
            if (
                part.parts in self.open
                or not (part.parts in self.rails or self._lacks(part))
                or self._has(part, self._asked(part))
            ):
                continue
            if not drop.known[at].all():
                says = f"{_named(part)} is not known to hold: the file does not say all that its ground is joined with"
                self._cannot(part, says, "patcher check names what is missing: write it in the show file", "unsure")
                continue
            sags = f"sags to {drop.volts[at].min():.2f} V" if not np.isnan(drop.volts[at]).any() else "collapses"
            says = f"{_named(part)} still {sags} with all that was added"
            self._cannot(part, says, "allow a thicker wire (--wire), or lower the level", "the plan does not do")

    def settle(self, given: set[str]) -> None:
        """Fit fuses and wires of what was added to what it carries in the whole show, not on its rail alone.

        Args:
            given: the feeds that were there before.
        """
        for _ in range(_PASSES + len(self.stock.gauges)):
            feeds = self.state.show.feeds
            changed: dict[str, Feed] = {}
            for load in self.state.feeds:
                feed = load.feed
                if feed.name in given:
                    continue
                joins = self.state.circuit.joins[feed.name]
                drop, bears = self.state.drop, self.state.circuit.bears
                over = any(abs(drop.amps[join.wire]) > bears[join.wire] + TINY for join in joins)
                if over or (feed.supply is not None and load.blade is None and not np.isnan(load.amps)):
                    thin = feed if over or load.weakest in (None, load.wire) else self._behind(load)
                    changed |= self._thicker(thin)
                elif feed.supply is not None and load.blade is not None and load.amps >= (feed.fuse or 0.0):
                    changed[feed.name] = feed.model_copy(update={"fuse": load.blade})
            if not changed:
                return
            show = self.state.show.model_copy(update={"feeds": feeds | changed})
            self.state = power(wire(show), level=self.state.level, celsius=self.state.celsius)

    def _behind(self, load: FeedLoad) -> Feed:
        """The thinnest feed that branches off a feed, at any remove."""
        show = self.state.show
        behind = (show.feeds[name] for name, root in roots(show).items() if root.name == load.feed.name)
        return next(feed for feed in behind if wire_of(feed.awg, feed.mm2) == load.weakest)

    def _thicker(self, feed: Feed) -> dict[str, Feed]:
        """A feed with the next wire that bears more; none where there is no such wire."""
        now = wire_of(feed.awg, feed.mm2)
        if now is None:
            return {}
        more = [size for size in self.stock.gauges if size.bears > now.bears and size.ohms() <= now.ohms()]
        return {feed.name: feed.model_copy(update={"awg": more[0].awg, "mm2": more[0].mm2})} if more else {}

    def _load(self, part: Stretch) -> float:
        """Amperes that a stretch draws at its rated volts."""
        return self.state.drawn(part, self.state.level)

    def _left(self) -> dict[str, float]:
        """Amperes that each supply can still give."""
        show, given = self.state.show, self.state.given(self.state.level)
        return {
            supply.name: 0.0 if np.isnan(amps) else most_amps(supply) - float(amps)
            for supply, amps in zip(show.supplies.values(), given, strict=True)
            if not supply.spare
        }

    def _lacks(self, part: Stretch) -> bool:
        """Whether a stretch wants more feeds and can be planned; what stands in the way is noted."""
        show = self.state.show
        kinds = {show.runs[run].pixel: show.type_of(show.runs[run]) for run, _, _ in part.parts}
        if missing := {name: unsaid(kind) for name, kind in kinds.items() if unsaid(kind)}:
            what = "; ".join(f"pixel.{name} lacks {', '.join(keys)}" for name, keys in missing.items())
            self._cannot(part, what, "write it in the show file")
            return False
        supplies = {str(show.feeds[tree].supply) for tree in part.trees}
        if len(supplies) > 1:
            says = f"{' and '.join(sorted(supplies))} share its V+"
            self._cannot(part, says, "cut it first: patcher check says where")
            return False
        if wrong := self._other_volts(part, supplies):
            self._cannot(part, *wrong)
            return False
        at = self.state.points(part)
        if part.trees and not self.state.drop.known[at].all():
            if part.parts not in self.rails:
                says = f"the file does not say all of what hangs on {supplies.pop()}, so its voltages are not known"
                self._cannot(part, says, "patcher check names what is missing: write it in the show file")
            return False
        return not self._has(part, self._asked(part))

    def _other_volts(self, part: Stretch, supplies: set[str]) -> tuple[str, str] | None:
        """Why a stretch must get nothing more from what it hangs on, and what to do; None where it may."""
        show = self.state.show
        kinds = {show.runs[run].pixel: show.type_of(show.runs[run]).volts for run, _, _ in part.parts}
        if len(set(kinds.values())) > 1:
            wants = ", ".join(f"{name} of {volts:g} V" for name, volts in kinds.items())
            return f"{_named(part)} has {wants} on one V+", "cut it between them (power_joined = false, or power_cuts)"
        for supply in (show.supplies[name] for name in supplies):
            if supply.spare:
                return (
                    f"{supply.name}, which feeds it, is marked as a spare",
                    "take spare = true out, or feed it otherwise",
                )
            if supply.volts not in kinds.values():
                wants = ", ".join(f"{name} wants {volts:g} V" for name, volts in kinds.items())
                return (
                    f"{supply.name} gives it {supply.volts:g} V, and {wants}",
                    "never switch it on so: feed it otherwise",
                )
        return None

    def _has(self, part: Stretch, volts: Floats) -> bool:
        """Whether every pixel of a stretch has so many volts."""
        return bool((self.state.drop.volts[self.state.points(part)] >= volts - TINY).all())

    def _asked(self, part: Stretch, margin: float | None = None) -> Floats:
        """Volts that each pixel of a stretch is to have: its least, and the margin."""
        show, more = self.state.show, self.margin if margin is None else margin
        kinds = [show.type_of(show.runs[run]) for run, _, _ in part.parts]
        asked = [(kind.min_volts or 0.0) + more * (kind.volts or 0.0) for kind in kinds]
        return np.repeat(asked, [last - first + 1 for _, first, last in part.parts])

    def findings(self) -> tuple[Finding, ...]:
        """What could not be planned; where only the margin is missing it is a note."""
        stretch = {part.parts: part for part in self.state.stretches}
        found = []
        for parts, wrong in self.open.items():
            part = stretch[parts]
            only = self.margin > 0 and bool(part.trees) and self._has(part, self._asked(part, 0.0))
            if only:
                says = f"{wrong.says}; it holds as it is, without the margin of {self.margin * 100:g} %"
                wrong = replace(wrong, severity="note", says=says)
            found.append(wrong)
        return tuple(found)

    def _cannot(self, part: Stretch, says: str, remedy: str, what: str = "no feed was planned") -> None:
        where = f"run.{part.parts[0][0]}"
        self.open[part.parts] = Finding("warning", "no-plan", "power", where, f"{what}: {says}", remedy)

    def _able(self, part: Stretch) -> list[str]:
        """The supplies that may feed a stretch, the nearest first."""
        if part.trees:
            return [str(self.state.show.feeds[next(iter(part.trees))].supply)]
        run = part.parts[0][0]
        volts = self.state.show.type_of(self.state.show.runs[run]).volts
        able = [name for name in self.left if self.state.show.supplies[name].volts == volts]
        load = self._load(part)
        enough = [name for name in able if self.left[name] >= load - SLIGHT]
        if not enough:
            self._too_weak(part, able, load)
        return sorted(enough, key=lambda name: (self._away(name, run), list(self.left).index(name)))

    def _too_weak(self, part: Stretch, able: list[str], load: float) -> None:
        run = part.parts[0][0]
        volts = self.state.show.type_of(self.state.show.runs[run]).volts
        best = max(able, key=lambda name: self.left[name], default=None)
        has = f"the file has no supply of {volts:g} V"
        cut = ""
        if best is not None:
            most = max(self.left[best], 0.0)
            has = f"{best} has most left, {most:.1f} A of {LOADED:.0%} of its rating"
            cut = self._cut(part, most)
        says = f"{_named(part)} wants {load:.1f} A at {volts:g} V, and {has}"
        self._cannot(part, says, f"{cut}add a supply of {volts:g} V, or lower the level")

    def _cut(self, part: Stretch, amps: float) -> str:
        """Where V+ would be cut for what is left of one supply to feed the pixels before it."""
        draw = self.state.circuit.draw.at(self.state.points(part))
        loads = np.cumsum(draw.amps(self.state.level, self._asked(part)))
        fits = int(np.searchsorted(loads, amps + TINY, side="right"))
        names = [(run, pixel) for run, first, last in part.parts for pixel in range(first, last + 1)]
        if not 0 < fits < len(names):
            return ""
        return f"{cut_at(self.state.show, [names[fits]])} and plan again, or "

    def _away(self, supply: str, run: str) -> float:
        place, _ = supply_place(self.state.wiring, supply, run)
        return float(np.hypot(*(pixel_places(self.state.wiring, run) - place).T).min())

    def _ground(self, part: Stretch) -> Ground:
        """Whose ground a stretch has, whatever else may yet be fed."""
        show = self.state.show
        together = self.grounds[part.parts[0][0]]
        beside = [other for other in self.state.stretches if other.parts[0][0] in together]
        if len(beside) == 1:
            return "own"
        supplies = {str(show.feeds[tree].supply) for other in beside for tree in other.trees}
        dark = {show.type_of(show.runs[run]).volts for other in beside if not other.trees for run, _, _ in other.parts}
        supplies |= {name for name in self.left if show.supplies[name].volts in dark}
        return "one supply" if len(supplies) == 1 else "several supplies"

    def _feed(self, part: Stretch, strip: Strip) -> _Fed | None:
        """How a stretch is fed from the nearest supply that can give what it then draws; None where none can."""
        state = self.state
        run = part.parts[0][0]
        if len(strip.pixels) > LONGEST:
            says = (
                f"{_named(part)} has {len(strip.pixels)} pixels on one V+, and no more than {LONGEST} are planned for"
            )
            self._cannot(part, says, f"cut its V+ into parts (power_cuts in [run.{run}]), then plan again")
            return None
        able = self._able(part)
        ground = self._ground(part)
        for supply in able:
            place, assumed = supply_place(state.wiring, supply, run)
            volts = state.show.supplies[supply].volts
            task = Task(strip, volts, place, self.stock, state.level, state.celsius, ground)
            found = task.feed()
            if found is None:
                if (few := task.too_many()) is not None:
                    self._too_many(part, few)
                continue
            draws = found.amps
            if not part.trees and draws > self.left[supply] + SLIGHT:
                self._too_weak(part, able, draws)
                continue
            if not part.trees:
                self.left[supply] -= draws
            if assumed is not None:
                self.assumed[assumed] = None
            self.open.pop(part.parts, None)
            return _Fed(supply, task, found)
        if able and part.parts not in self.open:
            self._not_held(part, able)
        return None

    def _not_held(self, part: Stretch, able: list[str]) -> None:
        thickest = self.stock.gauges[-1]
        asked, least = float(self._asked(part).max()), float(self._asked(part, 0.0).max())
        most = max(self.state.show.supplies[name].volts for name in able)
        says = f"nothing was found that holds {_named(part)} from {' or '.join(able)}, even with {thickest}"
        if self.margin:
            says += f", at {asked:.2f} V: {least:.2f} V and the margin of {self.margin * 100:g} %"
        remedy = "allow a thicker wire (--wire), stand the supply nearer, or lower the level"
        if self.margin:
            remedy = (
                f"ask for less margin (--margin), {remedy}"
                if asked >= most
                else f"{remedy}, or ask for less margin (--margin)"
            )
        self._cannot(part, says, remedy)

    def _too_many(self, part: Stretch, few: int) -> None:
        run = part.parts[0][0]
        says = f"wires and fuses that bear what {_named(part)} draws would take {few} taps or more: too many for one V+"
        self._cannot(part, says, f"cut its V+ into parts (power_cuts in [run.{run}]), or lower the level")

    def _alike(self, found: list[tuple[Stretch, _Fed]]) -> list[tuple[Stretch, _Fed]]:
        """Like stretches with their taps at like places, where as many taps as each has hold all of them there."""
        done: dict[Stretch, _Fed] = dict(found)
        for taps in {len(fed.found.taps) for _, fed in found}:
            some = {part: fed for part, fed in found if len(fed.found.taps) == taps}
            if len({fed.found.taps for fed in some.values()}) < 2:
                continue
            ways = chain(next(iter(some.values())).task.at_ends(taps), [fed.found.taps for fed in some.values()])
            for way in dict.fromkeys(way for way in ways if len(way) == taps):
                if (alike := self._all_so(some, way)) is not None:
                    done |= alike
                    break
        return list(done.items())

    def _all_so(self, some: dict[Stretch, _Fed], taps: tuple[int, ...]) -> dict[Stretch, _Fed] | None:
        """Each stretch with these taps; None where one of them does not hold so, or its supply has not enough left."""
        alike: dict[Stretch, _Fed] = {}
        left = dict(self.left)
        for part, fed in some.items():
            trunks = fed.task.wired(taps)
            if trunks is None:
                return None
            alike[part] = replace(fed, found=replace(fed.found, taps=taps, trunks=trunks))
            if not part.trees:
                left[fed.supply] += fed.found.amps - alike[part].found.amps
        if any(
            left[fed.supply] < min(0.0, self.left[fed.supply]) - SLIGHT for part, fed in some.items() if not part.trees
        ):
            return None
        self.left = left
        return alike

    def _with_feeds(self, show: Show, part: Stretch, fed: _Fed) -> Show:
        """The show with feeds for one stretch, and what is planned for it."""
        strip, found = fed.task.strip, fed.found
        more = _with_feeds(show, fed.supply, part.parts[0][0], strip, found)
        taps = tuple(strip.pixels[tap] for tap in found.taps)
        names = tuple(name for name in more.feeds if name not in show.feeds)
        known = self.rails.get(part.parts)
        if known is None:
            self.rails[part.parts] = RailPlan(part.parts, fed.supply, taps, found.bound, names)
        else:
            self.rails[part.parts] = replace(known, taps=known.taps + taps, feeds=known.feeds + names)
        return more

    def take_out_needless(self) -> None:
        """Take out what was added to a stretch that holds without it, since what was added elsewhere relieves it."""
        for parts, rail in list(self.rails.items()):
            if rail.bound:
                continue
            before = self.state
            feeds = {name: feed for name, feed in before.show.feeds.items() if name not in rail.feeds}
            self.state = power(
                wire(before.show.model_copy(update={"feeds": feeds})), level=before.level, celsius=before.celsius
            )
            if self._no_worse_than(before):
                del self.rails[parts]
            else:
                self.state = before

    def _no_worse_than(self, before: Power) -> bool:
        """Whether all that held holds still."""
        after = self.state
        lacks = {part.parts for part in after.stretches if not self._has(part, self._asked(part))}
        self.state = before
        lacked = {part.parts for part in before.stretches if not self._has(part, self._asked(part))}
        self.state = after
        wrong, old = ({(f.rule, f.where) for f in findings(each.wiring, each)} for each in (after, before))
        return lacks <= lacked and wrong <= old


@dataclass(frozen=True, eq=False)
class _Fed:
    """How a stretch is fed: from which supply, the task, and what was found for it."""

    supply: str
    task: Task
    found: Feeding


def _named(part: Stretch) -> str:
    return ", ".join(f"{run}/{first}–{last}" for run, first, last in part.parts)


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
        feeds[name] = Feed.model_validate({**source, **size, "fuse": trunk.fuse, "taps": taps}).called(name)
        joined |= {tap: (name, number) for number, tap in enumerate(trunk.taps, start=1)}
    return show.model_copy(update={"feeds": feeds})
