"""A box's cable chart: each port's cable and each feed's wire, stretched out straight, to one scale.

Ports come out of the box at the left, one under another: thin lines are leads, thick ones strings. Below stand the
supplies with their fuses and the wires of their feeds. A feed's taps stand twice: at their metre of the wire, and on
the strings that they join.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from patcher.charts.cable_lanes import Cables, FeedLane, PortLane, StringLane, SupplyLanes, cables
from patcher.charts.lane_rows import LEFT, ROW, Lane, Stack, first_fit
from patcher.drawing import legend, marks
from patcher.drawing.course import arrows
from patcher.drawing.leader_rows import LeaderStep
from patcher.drawing.run_facts import amps_words, facts
from patcher.drawing.svg import (  # fmt: skip
    BLACK,
    GREY,
    HALO,
    HIGH,
    LINE,
    PLAIN,
    SMALL,
    WHITE,
    Stroke,
    document,
    fitted,
    look,
    number,
    path,
    rect,
    text_at,
    threaded,
)
from patcher.patch.patch import Patch
from patcher.power.flow import Power
from patcher.wiring import Wiring

_STRING, _MARK = 1.3, 0.85
_LEADS = {"cable": "plain-lead", "booster": "booster-lead", "differential": "differential-lead"}
"""The legend's keys of leads."""
_FROM_PORT = "; from a port: data and ground only"


def cable_chart(wiring: Wiring, patch: Patch, state: Power | None, box: str, *, wide: float = 180.0) -> str:
    """The cable chart of one box.

    Args:
        wiring: the wiring of a sound show.
        patch: its patch.
        state: its power; None where it describes no supplies.
        box: the box.
        wide: millimetres of the paper.

    Raises:
        KeyError: there is no such box.
    """
    controller = wiring.show.controllers[box]
    known = facts(wiring, patch, state)
    found = cables(wiring, known, state, box)
    heading = box if controller.address is None else f"{box} · {controller.address}"
    return _Chart(found, wide, heading, box).document()


class _Chart:
    """The chart as it looks."""

    def __init__(self, found: Cables, wide: float, heading: str, box: str) -> None:
        self.found, self.wide, self.heading, self.box = found, wide, heading, box
        self.seen = self._possible()
        self.legend = legend.rows(self._items(legend.SAYS_ALL), wide - 2)
        self.others = self._others()
        kept = len(self.legend) * legend.ROW + len(self.others) * SMALL * LINE
        self.stack = Stack(found, wide, HIGH - kept - 8 - 8)
        self.lanes = self.stack.lanes
        self.scale, self.x = self.stack.scale, self.stack.x
        self.seen = set()

    def document(self) -> str:
        """The whole chart."""
        y = self.stack.high + 2
        parts = [*self._grid(y)]
        parts += [marks.group(self._riser(lane), class_="branch") for lane in self.lanes if lane.parent is not None]
        parts += self._ports()
        for lane in self.lanes:
            if isinstance(lane.what, PortLane):
                parts.append(self._draw_port(lane, lane.what))
            elif isinstance(lane.what, FeedLane):
                parts.append(self._draw_feed(lane, lane.what))
            else:
                parts.append(self._draw_supply(lane, lane.what))
            parts += self._words(lane)
        if self.found.end > 1e-9:
            parts += legend.ruler(0.0, self.found.end, self.scale, LEFT, y + 1, self.found.units)
        y += 8
        self.legend = legend.rows(self._items(self.stack.worded), self.wide - 2)
        parts += legend.write(self.legend, 1.0, y)
        y += len(self.legend) * legend.ROW + 1
        lines = self._says(HIGH - y)
        parts += legend.lines_at(lines, 1.0, y, "says")
        y += len(lines) * SMALL * LINE + 1
        axis = {"m": "metres", "ft": "feet"}[self.found.units]
        says = f"Each port's cable and each feed's wire as a length along an axis in {axis}."
        return document(f"Cables of box {self.box}", says, self.wide, min(y, HIGH), parts)

    def _others(self) -> list[str]:
        """Lines of what the supplies give besides the feeds that are drawn."""
        first, *more = [words for each in self.found.supplies for words in each.others] or [""]
        most = int(HIGH / 4 / (SMALL * LINE))
        return legend.paragraph([f"Also in what a supply gives: {first}", *more], self.wide - 2, most) if first else []

    def _says(self, room: float) -> list[str]:
        """What stands under the chart."""
        vague = [s.fact.name for lane in self.found.ports for s in lane.strings if not s.known]
        lists = [("Not hung this season", list(self.found.absent))]
        lists.append(("Not to scale: no pitch in the file", vague))
        lists.append(
            (
                "Left out for space",
                [
                    *self.stack.omitted,
                    *([f"{self.stack.cut} lines of the chart"] if self.stack.cut else []),
                    *self.stack.notes,
                ],
            )
        )
        if not self.found.ports:
            lists.append(("No run hangs on this box", ["nothing to draw"]))
        lines = list(self.others)
        for label, text in lists:
            if text:
                most = min(5, int(room / (SMALL * LINE)) - len(lines))
                lines += legend.paragraph([f"{label}: {text[0]}", *text[1:]], self.wide - 2, most)
        return lines

    def _possible(self) -> set[str]:
        """The marks that the chart may have: for so many the legend keeps room."""
        strings = [string.fact for lane in self.found.ports for string in lane.strings]
        feeds = [lane.feed for each in self.found.supplies for lane in each.feeds]
        found = {"first", "last", "way"} if strings else set()
        for fact in strings:
            may = {"tap": fact.taps, "edge": fact.edges, "null": fact.run.nulls, "cut": fact.run.power_cuts}
            found |= {_LEADS[fact.run.lead_via], *(key for key, has in may.items() if has)}
            found |= {"cut"} if not fact.run.takes_power_on else set()
        for feed in feeds:
            may = {"fuse": feed.fuse is not None, "joint": feed.source is not None}
            found |= {"tap", "supply", "feed", *(key for key, has in may.items() if has)}
        return found | ({"joint"} if any(lane.tee for lane in self.found.ports) else set())

    def _items(self, worded: Collection[str]) -> list[legend.Item]:
        """The legend: of the marks that are drawn, and of the labels that stand beside them."""
        strings = [string.fact for lane in self.found.ports for string in lane.strings]
        feed = path("M0,0H8", stroke=BLACK, stroke_width="0.6")
        branch = path("M4,-1.4V0", stroke=BLACK, stroke_width="0.3")
        every = {
            "string": (threaded("M0,0H8", look(0), _STRING), "string: each port has its own colour and dashes"),
            "plain-lead": (_lead_line(0.0, 8.0, 0.0, "cable"), "lead"),
            "booster-lead": (_lead_line(0.0, 8.0, 0.0, "booster"), "lead with a booster"),
            "differential-lead": (_lead_line(0.0, 8.0, 0.0, "differential"), "lead, data sent differentially"),
            "null": (marks.null(np.array([4.0, 0.0]), 1.0), "null pixels"),
            "supply": (marks.source(4.0, 0.0, 1.5), "supply"),
            "feed": (feed, "wire of a feed"),
            "fuse": (path("M0,0H8", stroke=BLACK, stroke_width="0.3") + marks.fuse(2.0, 0.0, 4.0), "fuse"),
            "joint": (feed + branch + marks.joint(4.0, 0.0), "joint: a branch leaves here"),
        }
        says = "its pixels · universe/channel of the first"
        shared = self.seen - {"lead", "booster"}
        lead = next((key for key in _LEADS.values() if key in self.seen), "")
        every |= {key: (swatch, words + _FROM_PORT) for key, (swatch, words) in every.items() if key == lead}
        return legend.mark_items(shared, worded, strings, run=says, named="feed-tap" in worded) + [
            legend.keyed(key, *item) for key, item in every.items() if key in self.seen
        ]

    def _grid(self, foot: float) -> list[str]:
        """Hair lines at every number of the ruler."""
        found = self.found
        places = legend.ticks(0.0, found.end, self.scale, found.units) if found.end * self.scale >= 8 else []
        d = "".join(f"M{number(self.x(metres))},5V{number(foot + 1)}" for metres, _ in places)
        return [path(d, class_="metre", stroke="#c8c8c8", stroke_width="0.15")] if d else []

    def _riser(self, lane: Lane) -> str:
        assert lane.parent is not None  # noqa: S101
        if lane.parent >= len(self.lanes):
            return ""
        top = self.lanes[lane.parent].y
        dashes = {"stroke_dasharray": "0.9 0.7"} if isinstance(lane.what, PortLane) else {}
        d = f"M{number(lane.begin)},{number(top)}V{number(lane.y)}"
        self.seen.add("joint")
        return path(d, stroke=BLACK, stroke_width="0.3", **dashes) + marks.joint(lane.begin, top)

    def _ports(self) -> list[str]:
        ports = [lane for lane in self.lanes if isinstance(lane.what, PortLane)]
        parts = [text_at(1.0, 3.2, fitted(self.heading, self.wide - 2, PLAIN, bold=True), PLAIN, font_weight="bold")]
        if ports:
            top, foot = ports[0].y - 3, ports[-1].y + 3
            edge = {"stroke": BLACK, "stroke_width": "0.5"}
            parts.append(rect(1, top, 8, foot - top, rx="0.8", fill=WHITE, **edge, data_box=self.box))
        for lane in ports:
            assert isinstance(lane.what, PortLane)  # noqa: S101
            if not lane.what.tee:
                parts.append(path(f"M9,{number(lane.y)}H{LEFT:g}", stroke=BLACK, stroke_width="0.4"))
                look_of = {"class_": "port", "font_weight": "bold", "text_anchor": "middle"}
                parts.append(text_at(5.0, lane.y + PLAIN * 0.36, str(lane.what.port), PLAIN, **look_of))
        return parts

    def _draw_port(self, lane: Lane, what: PortLane) -> str:
        seen = look(what.port - 1)
        parts = [self._string(string, seen, lane.y) for string in what.strings]
        return marks.group("".join(parts), class_="lane", data_port=what.name)

    def _string(self, string: StringLane, seen: Stroke, y: float) -> str:
        fact, run = string.fact, string.fact.run
        begin, end, right = self.x(string.along[0]), self.x(string.end), np.array([1.0, 0.0])
        name = {"data_run": fact.name}
        lead = {"data_to": fact.name, "data_metres": f"{run.lead:.3f}"}
        parts = [_lead_line(self.x(string.lead_from), begin, y, run.lead_via, **lead)]
        self.seen |= {"first", "last"} | ({_LEADS[run.lead_via]} if begin - self.x(string.lead_from) > 0.01 else set())
        if end - begin > 0.01:
            ends = np.array([[begin, y], [end, y]])
            whole = f"{string.end - string.along[0]:.3f}"
            along = f"M{number(begin)},{number(y)}H{number(end)}"
            parts.append(threaded(along, seen, _STRING, class_="string", data_metres=whole))
            self.seen |= {"way", "string"}
            parts += [marks.arrow(at, way, 1.3) for at, way in arrows(ends, 16.0)]
        at_the_end = min(run.nulls, 4, max(1, int((begin - self.x(string.lead_from) - 1) / 1.5)))
        nulls = [self.x(string.lead_from + metres) for metres in run.nulls_at]
        for null in nulls or [begin - 1.9 - 1.5 * place for place in range(at_the_end)]:
            self.seen.add("null")
            parts.append(marks.group(marks.null(np.array([null, y]), 0.8), class_="null"))
        for span in fact.edges:
            at = np.array([self.x(string.along[span.first_pixel - 2 : span.first_pixel].mean()), y])
            whose = {"data_edge": "universe", "data_pixel": span.first_pixel, "data_universe": span.universe}
            self.seen.add("edge")
            parts.append(marks.mark(marks.edge(at, right, _MARK), **whose, **name))
        for pixel in run.power_cuts:
            at = np.array([self.x(string.along[pixel - 2 : pixel].mean()), y])
            self.seen.add("cut")
            parts.append(marks.mark(marks.cut(at, right, _MARK), data_cut=pixel, **name))
        if not run.takes_power_on:
            at = np.array([(self.x(string.lead_from) + begin) / 2, y])
            self.seen.add("cut")
            parts.append(marks.mark(marks.cut(at, right, _MARK), data_cut="lead", **name))
        for tap in fact.taps:
            at = np.array([self.x(string.along[tap.pixel - 1]), y])
            inner = marks.tap(at, np.array([0.0, 1.0]), _MARK)
            self.seen.add("tap")
            whose = {"data_feed": tap.feed, "data_joint": tap.number, "data_pixel": tap.pixel}
            parts.append(marks.mark(inner, **whose, **name))
        last = marks.last(np.array([end, y]), right, _MARK)
        parts.append(marks.mark(last, data_end="last", data_pixel=run.pixels, **name))
        first = marks.first(np.array([begin, y]), _MARK)
        parts.append(marks.mark(first, data_end="first", data_pixel=1, **name))
        return marks.group("".join(parts), class_="run", **name)

    def _draw_feed(self, lane: Lane, what: FeedLane) -> str:
        y, end = lane.y, self.x(what.end)
        along, metres = f"M{number(lane.begin)},{number(y)}H{number(end)}", f"{what.end - what.begin:.3f}"
        self.seen |= {"feed"} | ({"fuse"} if what.feed.fuse is not None else set())
        parts = [path(along, class_="wire", stroke=BLACK, stroke_width="0.6", data_metres=metres)]
        if lane.parent is None:
            parts.append(path(f"M4.5,{number(y)}H{LEFT:g}", stroke=BLACK, stroke_width="0.6"))
            if what.feed.fuse is not None:
                parts.append(marks.fuse(6.8, y, 4.2))
        elif what.feed.fuse is not None:
            parts.append(marks.fuse(lane.begin + 0.8, y, 4.2))
        for joint in what.joints:
            at = np.array([self.x(joint.at), y])
            inner = marks.tap(at, np.array([0.0, 1.0]), _MARK)
            self.seen.add("tap")
            whose = {"data_joint": joint.number, "data_run": joint.run, "data_pixel": joint.pixel}
            parts.append(marks.mark(inner, **whose, data_metres=f"{joint.at:.3f}"))
        return marks.group("".join(parts), class_="feed", data_feed=what.feed.name)

    def _draw_supply(self, lane: Lane, what: SupplyLanes) -> str:
        supply = what.supply
        self.seen.add("supply")
        here = self.lanes.index(lane)
        ends = [each.y for each in self.lanes[here:] if each.parent is None and isinstance(each.what, FeedLane)
                and each.what.feed.supply == supply.name]  # fmt: skip
        gives = f" · gives {amps_words(what.amps)}" if what.amps is not None else ""
        elsewhere = "" if supply.box == self.box else f" · in {supply.box}" if supply.box else " · not in a box"
        rating = f"{supply.name} · {supply.volts:g} V, {supply.amps:g} A"
        words = first_fit([rating + gives + elsewhere, rating + gives, rating], self.wide - 9, bold=True)
        trunk = path(f"M4.5,{number(lane.y)}V{number(max(ends, default=lane.y))}", stroke=BLACK, stroke_width="0.6")
        text = text_at(8.0, lane.y + PLAIN * 0.36, words, PLAIN, font_weight="bold", class_="supply", **HALO)
        return marks.group(trunk + marks.source(4.5, lane.y, 2.0) + text, data_supply=supply.name)

    def _words(self, lane: Lane) -> list[str]:
        """The labels of a lane."""
        parts = []
        if (beside := lane.beside) is not None:
            weight = "bold" if beside.bold else None
            text = text_at(beside.at, lane.y + PLAIN * 0.36, beside.text, PLAIN, font_weight=weight, **HALO)
            parts.append(marks.group(text, class_=f"label {beside.kind}", data_of=beside.of))
        for steps, side in ((lane.up, -1), (lane.down, 1)):
            for step in steps:
                words = step.words
                base = lane.y - 1.9 - step.row * ROW if side < 0 else lane.y + 2.2 + SMALL * 0.86 + step.row * ROW
                edge = lane.y + side * 1.2
                far = base + 0.5 if side < 0 else base - SMALL * 0.8
                leader = ""
                if abs(far - edge) > 0.5:
                    d = f"M{number(words.at)},{number(edge)}V{number(far)}"
                    leader = path(d, class_="leader", stroke=GREY, stroke_width="0.15")
                weight = "bold" if words.bold else None
                x, anchor = _beside(step)
                text = text_at(x, base, words.text, words.size, font_weight=weight, text_anchor=anchor, **HALO)
                parts.append(marks.group(leader + text, class_=f"label {words.kind}", data_of=words.of))
        return parts


def _beside(step: LeaderStep) -> tuple[float, str | None]:
    """Where a label is written from, so that it is near its leader in a narrow face too."""
    words, end = step.words, step.left + step.words.wide
    if abs(end - words.at) < 0.5:
        return end, "end"
    if abs((step.left + end) / 2 - words.at) < 0.5:
        return (step.left + end) / 2, "middle"
    return step.left, None


def _lead_line(begin: float, end: float, y: float, via: str, **more: object) -> str:
    """A lead from left to right."""
    along = f"M{number(begin)},{number(y)}H{number(end)}"
    if via == "differential":
        along = f"M{number(begin)},{number(y - 0.3)}H{number(end)}M{number(begin)},{number(y + 0.3)}H{number(end)}"
    line = path(along, class_="lead", stroke=BLACK, stroke_width="0.4" if via != "differential" else "0.25", **more)
    middle = np.array([(begin + end) / 2, y])
    return line + (marks.booster(middle, np.array([1.0, 0.0]), 0.9) if via == "booster" else "")
