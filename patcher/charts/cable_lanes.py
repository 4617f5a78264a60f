"""A box's cables, stretched out straight: how far along each cable every end, edge and tap lies, in metres."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from patcher.charts.other_loads import other_loads
from patcher.drawing.run_facts import Facts, amps_words
from patcher.drawing.svg import Floats
from patcher.power.circuit import joints, metres_between
from patcher.power.flow import Power, if_known
from patcher.power.stretches import branches_of
from patcher.power.wires import wire_of
from patcher.shapes import positions
from patcher.show.run_tables import Run
from patcher.show.schema import Feed, Show, Supply
from patcher.wiring import Wiring

_NOMINAL = 0.1
"""Metres from pixel to pixel where nothing says how far it is; the chart says that it does not know."""


@dataclass(frozen=True, eq=False)
class StringLane:
    """A run along its lane, and the lead before it.

    Attributes:
        fact: what is said of it.
        lead_from: metres at which its lead begins.
        along: metres at which each pixel lies.
        known: whether the file says how far its pixels lie apart.
    """

    fact: Facts
    lead_from: float
    along: Floats
    known: bool

    @property
    def end(self) -> float:
        """Metres at which its last pixel lies."""
        return float(self.along[-1])


@dataclass(frozen=True, eq=False)
class PortLane:
    """What hangs on one port, or a tee beside it.

    Attributes:
        name: the port; the tee's run.
        port: its number.
        begin: metres at which it begins: 0 at the box, or where a tee leaves its source.
        strings: its runs in data order.
        tee: whether it is a tee.
    """

    name: str
    port: int
    begin: float
    strings: tuple[StringLane, ...]
    tee: bool = False

    @property
    def end(self) -> float:
        """Metres at which it ends."""
        return max([self.begin, *(string.end for string in self.strings)])


@dataclass(frozen=True, slots=True)
class Joint:
    """Where a feed joins a run: metres along the feed from its supply, the run, the pixel, and amperes into it."""

    number: int
    at: float
    run: str
    pixel: int
    amps: float | None

    @property
    def words(self) -> str:
        """The run and the pixel, and the amperes."""
        return f"{self.run} {self.pixel} · {amps_words(self.amps)}"


@dataclass(frozen=True, eq=False)
class FeedLane:
    """A feed, from its supply or from the feed that it branches off.

    Attributes:
        feed: the feed.
        begin: metres at which it begins: 0 at its supply.
        joints: where it joins runs, in order.
        amps: into its first piece of wire; None where that cannot be said.
        wire: what it is made of; empty where the file does not say.
    """

    feed: Feed
    begin: float
    joints: tuple[Joint, ...]
    amps: float | None
    wire: str

    @property
    def end(self) -> float:
        """Metres at which it ends."""
        return max([self.begin, *(joint.at for joint in self.joints)])


@dataclass(frozen=True, eq=False)
class SupplyLanes:
    """A supply and the feeds that come from it, each before those that branch off it.

    Attributes:
        supply: the supply.
        amps: what it gives at the show's level; None where that cannot be said.
        feeds: its feeds, as far as they join runs of this box.
        others: what it gives besides, in words.
    """

    supply: Supply
    amps: float | None
    feeds: tuple[FeedLane, ...]
    others: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Cables:
    """All cables of a box.

    Attributes:
        ports: its ports that carry runs, and tees right behind the port of their source.
        supplies: the supplies that feed its runs.
        absent: runs that are not up.
        units: the show's, in which lengths are written; here all are metres.
    """

    ports: tuple[PortLane, ...]
    supplies: tuple[SupplyLanes, ...]
    absent: tuple[str, ...]
    units: str

    @property
    def end(self) -> float:
        """Metres of the longest."""
        feeds = [lane.end for each in self.supplies for lane in each.feeds]
        return max([0.0, *(lane.end for lane in self.ports), *feeds])


def cables(wiring: Wiring, known: Mapping[str, Facts], state: Power | None, box: str) -> Cables:
    """The cables of one box of a sound show."""
    show = wiring.show
    ports = []
    for number, chain in wiring.of_controller(box).items():
        hung = [name for name in chain if show.runs[name].hung]
        if not hung:
            continue
        lane = _lane(show, known, f"{box}/{number}", number, 0.0, hung)
        ports += [lane, *_tees(wiring, known, lane)]
    mine = {string.fact.name for lane in ports for string in lane.strings}
    absent = tuple(fact.name for fact in known.values() if fact.box == box and not fact.run.hung)
    return Cables(tuple(ports), tuple(_supplies(wiring, state, mine)), absent, show.settings.units)


def _lane(
    show: Show, known: Mapping[str, Facts], name: str, port: int, begin: float, runs: list[str], *, tee: bool = False
) -> PortLane:
    at, strings = begin, []
    for run in (show.runs[each] for each in runs):
        steps, is_known = _steps(show, run)
        along = at + run.lead + np.concatenate([[0.0], np.cumsum(steps)])
        strings.append(StringLane(known[run.name], at, along, is_known))
        at = float(along[-1])
    return PortLane(name, port, begin, tuple(strings), tee)


def _steps(show: Show, run: Run) -> tuple[Floats, bool]:
    """Metres from each pixel to the next, and whether the file says them."""
    pitch = show.type_of(run).pitch
    if pitch is not None:
        return metres_between(run, pitch), True
    found = positions(show, run)
    if found is not None:
        return np.hypot(*np.diff(found, axis=0).T), False
    return np.full(run.pixels - 1, _NOMINAL), False


def _tees(wiring: Wiring, known: Mapping[str, Facts], lane: PortLane) -> Iterator[PortLane]:
    """The tees of a lane's runs, each followed by its own."""
    show = wiring.show

    def of(lane: PortLane) -> list[PortLane]:
        return [
            _lane(show, known, name, lane.port, float(string.along[0]), [name], tee=True)
            for string in lane.strings
            for name in wiring.joined_to(string.fact.name)
            if show.runs[name].hung
        ]

    waiting = of(lane)[::-1]
    while waiting:
        tee = waiting.pop()
        yield tee
        waiting += of(tee)[::-1]


def _supplies(wiring: Wiring, state: Power | None, mine: set[str]) -> Iterator[SupplyLanes]:
    show = wiring.show
    branches = branches_of(show)
    loads = {} if state is None else {load.feed.name: load for load in state.feeds}
    gives = {} if state is None else {load.supply.name: load.amps for load in state.supplies}

    def wanted(feed: Feed) -> bool:
        return any(tap.run in mine for tap in feed.taps) or any(wanted(branch) for branch in branches[feed.name])

    def lanes(feed: Feed, begin: float) -> Iterator[FeedLane]:
        load = loads.get(feed.name)
        at, found, ends = begin, [], {}
        for place, (tap, run, pixel, metres) in enumerate(joints(show, feed)):
            at += metres if metres == metres else 0.0
            ends[tap] = at
            amps = None if load is None else if_known(load.into[place])
            found.append(Joint(place + 1, at, run, pixel, amps))
        wire = wire_of(feed.awg, feed.mm2)
        amps = None if load is None else if_known(load.amps)
        yield FeedLane(feed, begin, tuple(found), amps, "" if wire is None else str(wire))
        for branch in branches[feed.name]:
            if wanted(branch) and branch.tap in ends:
                yield from lanes(branch, ends[branch.tap])

    for supply in show.supplies.values():
        trees = [feed for feed in show.feeds.values() if feed.supply == supply.name and wanted(feed)]
        if trees:
            found = tuple(lane for feed in trees for lane in lanes(feed, 0.0))
            others = other_loads(wiring, state, supply.name, {lane.feed.name for lane in found}, "drawn")
            yield SupplyLanes(supply, if_known(gives.get(supply.name)), found, tuple(others))
