"""A box's cables as the lanes of a chart: which line stands under which, and what is said above and below each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from patcher.charts.cable_lanes import Cables, FeedLane, PortLane, SupplyLanes
from patcher.drawing.leader_rows import LabelWords, LeaderStep, stairs
from patcher.drawing.run_facts import Facts, amps_words
from patcher.drawing.svg import LINE, PLAIN, SMALL, fitted, long
from patcher.units import length

LEFT, RIGHT = 13.0, 2.5
"""Millimetres before metre 0 and behind the last one."""
ROW = SMALL * LINE + 0.1
_EDGES = 20
"""Edges of universes that are named on one run: of more, some are only marked."""
_BESIDE = 70.0
"""Millimetres that are kept for names beside their lines, where nothing else is said."""
_SUPPLY = 3.2
"""Millimetres more above a supply."""
_LEVELS = 5
"""How much is left out: 0 nothing; 1 the lengths of leads; 2 feeds on the runs; 3 runs on the feeds, which are then
named beside their wires; 4 all numbers; 5 names that do not fit in one row, the last of a port beside its end."""


@dataclass(eq=False)
class Lane:
    """A line of the chart, with its labels above and below.

    Attributes:
        above: what is said above it.
        below: what is said below it.
        beside: what is said behind its end.
        parent: which lane it branches off; None where it begins at the left.
        begin: millimetres at which it begins.
        up: the rows of the labels above.
        down: the rows of the labels below.
        y: millimetres from the top.
        rows_up: how many rows there are above.
        rows_down: how many there are below.
    """

    what: PortLane | FeedLane | SupplyLanes
    above: list[LabelWords] = field(default_factory=list)
    below: list[LabelWords] = field(default_factory=list)
    beside: LabelWords | None = None
    parent: int | None = None
    begin: float = LEFT
    up: list[LeaderStep] = field(default_factory=list)
    down: list[LeaderStep] = field(default_factory=list)
    y: float = 0.0
    rows_up: int = 0
    rows_down: int = 0

    @property
    def high(self) -> float:
        """Millimetres that it takes."""
        first = _SUPPLY if isinstance(self.what, SupplyLanes) else 0.0
        return 2.6 + first + self.rows_up * ROW + self.rows_down * ROW + (1.6 if self.rows_down else 0.0) + 1.6


class Stack:
    """The lanes of a chart that is at most `room` high, with as many labels as fit.

    Attributes:
        lanes: from the top.
        scale: millimetres a metre.
        notes: what found no room.
        cut: how many lanes found none.
        level: how much is left out, as `_LEVELS` says.
    """

    def __init__(self, found: Cables, wide: float, room: float) -> None:
        self.found, self.wide = found, wide
        self.scale = self._scale(0.0)
        self.notes: list[str] = []
        self.lanes: list[Lane] = []
        self.cut = 0
        for level in range(_LEVELS + 1):
            self.level = level
            self._lay(level)
            if self.high <= room:
                break
        while self.high > room and len(self.lanes) > 1:
            self.lanes.pop()
            self.cut += 1
        self._down()

    @property
    def worded(self) -> set[str]:
        """The kinds of labels that stand in the chart; `feed-tap` is a feed that is named at a string's tap."""
        kinds = {step.words.kind for lane in self.lanes for step in (*lane.up, *lane.down)}
        kinds |= {lane.beside.kind for lane in self.lanes if lane.beside is not None}
        named = any(
            step.words.kind == "feed" for lane in self.lanes if isinstance(lane.what, PortLane) for step in lane.down
        )
        return (kinds - {"feed"}) | ({"feed", "feed-tap"} if named else set())

    @property
    def omitted(self) -> list[str]:
        """The kinds of labels that are left out everywhere, as far as the chart would have them."""
        facts = [string.fact for lane in self.found.ports for string in lane.strings]
        kinds = (
            (1, any(fact.run.lead for fact in facts), "lengths of leads"),
            (2, any(fact.taps for fact in facts), "feeds and currents at the strings’ taps"),
            (3, any(each.feeds for each in self.found.supplies), "runs and currents at the feeds’ taps"),
            (4, any(fact.volts is not None for fact in facts), "volts of last pixels"),
            (4, any(fact.edges for fact in facts), "addresses of new universes"),
            (4, any(fact.run.nulls for fact in facts), "numbers of null pixels"),
        )
        few = "some addresses of new universes"
        some = [few] if self.level < 4 and any(len(fact.edges) > _EDGES for fact in facts) else []
        return [words for level, is_there, words in kinds if is_there and level <= self.level] + some

    @property
    def high(self) -> float:
        """Millimetres of all lanes and the heading."""
        return 5.0 + sum(lane.high for lane in self.lanes)

    def _scale(self, kept: float) -> float:
        """Millimetres a metre, where `kept` millimetres stay free at the right."""
        return min((self.wide - LEFT - RIGHT - kept) / self.found.end, 200.0) if self.found.end > 1e-9 else 10.0

    def x(self, metres: float) -> float:
        """Millimetres from the left."""
        return LEFT + metres * self.scale

    def _lay(self, level: int) -> None:
        self.lanes, self.notes = [], []
        if level == _LEVELS:
            self.scale = self._scale(min(_BESIDE, self.wide / 2))
        owners: dict[str, int] = {}
        for lane in self.found.ports:
            parent = None
            if lane.tee:
                parent = owners.get(str(lane.strings[0].fact.run.same_data_as))
            owners |= {string.fact.name: len(self.lanes) for string in lane.strings}
            self.lanes.append(self._port(lane, level, parent))
        for each in self.found.supplies:
            self.lanes.append(Lane(each))
            for feed in each.feeds:
                parent = owners.get(feed.feed.source) if feed.feed.source is not None else None
                owners[feed.feed.name] = len(self.lanes)
                self.lanes.append(self._feed(feed, level, parent))
        rows = 40 if level < 3 else 4 if level < 5 else 1
        for place, one in enumerate(self.lanes):
            self._stack(place, one, rows)

    def _stack(self, place: int, one: Lane, rows: int) -> None:
        """Find the rows of a lane's labels, clear of branches that pass."""
        inside = [
            each.begin for at, each in enumerate(self.lanes) if each.parent is not None and each.parent < place < at
        ]
        into = [one.begin] if one.parent is not None else []
        out = [each.begin for each in self.lanes if each.parent == place]
        right = self.wide - 0.5
        one.up, lost = stairs(one.above, LEFT - 3.5, right, rows, [*inside, *into])
        one.down, more = stairs(one.below, LEFT - 3.5, right, rows, [*inside, *out])
        self.notes += [f"{words.of}: {words.text}" for words in (*lost, *more)]
        one.rows_up = max((step.row + 1 for step in one.up), default=0)
        one.rows_down = max((step.row + 1 for step in one.down), default=0)

    def _port(self, lane: PortLane, level: int, parent: int | None) -> Lane:
        found = Lane(lane, parent=parent, begin=self.x(lane.begin))
        for string in lane.strings:
            fact, first = string.fact, self.x(string.along[0])
            label = self._name(fact, first)
            beside = self.x(string.end) + 2.5
            if level >= 5 and string is lane.strings[-1] and beside + label.wide < self.wide - 0.5:
                found.beside = replace(label, at=beside)
            else:
                found.above.append(label)
            if level < 4:
                found.above.append(LabelWords(self.x(string.end), fact.far_words, "last", fact.name, SMALL))
                for span in fact.edges[:: -(-len(fact.edges) // _EDGES) or 1]:
                    at = self.x(string.along[span.first_pixel - 2 : span.first_pixel].mean())
                    text = f"{span.first_pixel}: {span.universe}/{span.first_channel}"
                    found.above.append(LabelWords(at, text, "edge", fact.name, SMALL))
                if fact.run.nulls:
                    text = f"{fact.run.nulls} null{'s' if fact.run.nulls > 1 else ''}"
                    found.below.append(LabelWords(first - 1.2, text, "null", fact.name, SMALL))
            if level < 2:
                joined = [
                    (self.x(string.along[tap.pixel - 1]), f"{tap.feed} {amps_words(tap.amps)}") for tap in fact.taps
                ]
                found.below += self._merged(joined, "feed", fact.name)
            if level < 1 and fact.run.lead:
                middle = self.x(string.lead_from + fact.run.lead / 2)
                found.below.append(
                    LabelWords(middle, length(fact.run.lead, self.found.units), "lead", fact.name, SMALL)
                )
        return found

    def _name(self, fact: Facts, at: float) -> LabelWords:
        """A run's name with its pixels and its address, or the run whose data it shares."""
        pixels = f"1–{fact.run.pixels}" if fact.run.pixels > 1 else "1"
        what = f"same data as {fact.source}" if fact.source is not None else fact.start
        words = " · ".join(filter(None, [f"{fact.name} {pixels}", what]))
        return LabelWords(at, fitted(words, self.wide - LEFT - 4, PLAIN, bold=True), "run", fact.name, PLAIN, True)

    def _feed(self, lane: FeedLane, level: int, parent: int | None) -> Lane:
        found = Lane(lane, parent=parent, begin=self.x(lane.begin))
        feed = lane.feed
        fuse = f"fuse {feed.fuse:g} A" if feed.fuse is not None else "no fuse of its own"
        carries = amps_words(lane.amps)
        tries = ([feed.name, lane.wire, fuse, f"carries {carries}"], [feed.name, lane.wire, fuse, carries],
                 [feed.name, fuse, carries])  # fmt: skip
        words = first_fit([" · ".join(filter(None, each)) for each in tries], self.wide - LEFT - 3)
        at = found.begin + (1.2 if parent is not None else 0.2)
        label = LabelWords(at, words, "feed", feed.name, PLAIN)
        beside = self.x(lane.end) + 2.5
        if level >= 3 and beside + label.wide < self.wide - 0.5:
            found.beside = replace(label, at=beside)
        else:
            found.above.append(label)
        if level < 3:
            joined = [(self.x(joint.at), joint.words) for joint in lane.joints]
            found.below += self._merged(joined, "joint", feed.name)
        return found

    def _merged(self, labels: Sequence[tuple[float, str]], kind: str, of: str) -> list[LabelWords]:
        """Labels, those together that lie nearly at one place."""
        found: list[tuple[float, list[str]]] = []
        for at, text in sorted(labels):
            if found and at - found[-1][0] < 0.6:
                found[-1][1].append(text)
            else:
                found.append((at, [text]))
        most = self.wide - LEFT - 3
        return [LabelWords(at, fitted("; ".join(texts), most, SMALL), kind, of, SMALL) for at, texts in found]

    def _down(self) -> None:
        """Give every lane its y."""
        y = 5.0
        for lane in self.lanes:
            lane.y = y + lane.high - 1.6 - (1.6 if lane.rows_down else 0.0) - lane.rows_down * ROW
            y += lane.high


def first_fit(tries: Sequence[str], most: float, *, bold: bool = False) -> str:
    """The first text that is short enough; of the last one the middle is left out where it is not."""
    fits = [text for text in tries if long(text, PLAIN, bold=bold) <= most]
    return fits[0] if fits else fitted(tries[-1], most, PLAIN, bold=bold)
