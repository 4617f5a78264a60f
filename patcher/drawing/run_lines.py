"""Runs where they hang, strip by strip: lines, marks and, where there is room for them, labels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from patcher.drawing import legend, marks
from patcher.drawing.course import Course, arrows, course, inside
from patcher.drawing.drawn_leads import band, middle
from patcher.drawing.label_places import Paper, Rect
from patcher.drawing.run_facts import Facts, Tapped, amps_words
from patcher.drawing.strips import Strip
from patcher.drawing.subject import Subject
from patcher.drawing.svg import (  # fmt: skip
    BLACK,
    GREY,
    HALO,
    LINE,
    PLAIN,
    SMALL,
    WHITE,
    Floats,
    Stroke,
    fitted,
    long,
    number,
    path,
    text_at,
    threaded,
    trace_of,
)
from patcher.shapes import data_order
from patcher.show.run_tables import DrawnRun

_NARROW = 1.1
"""Millimetres from line to line of a grid below which its lines have no thread and no chevrons."""
_LONGEST = 60.0
"""Millimetres of a label at most."""


_TRIED = 60
"""Labels that found no room before no other number is tried: the drawing is full then."""
_SPREAD = np.array([0.5, 0.33, 0.67, 0.17, 0.83])


@dataclass(frozen=True, eq=False)
class RunLabel:
    """Words that want a place.

    Attributes:
        rank: who chooses first; the least does.
        anchors: what they belong to; the first is the best.
        lines: the words.
        within: where they may stand.
        kind: what they say: `run`, `last`, `edge`, `feed`, `box`, `route`.
        run: whose they are; a box's or route's own name where they are its.
        bold: whether the first line is bold.
        note: what is said under the drawing where there is no room for them.
        above: whether they rather stand above than at the right.
    """

    rank: int
    anchors: tuple[tuple[float, float], ...]
    lines: tuple[str, ...]
    within: Rect
    kind: str
    run: str
    bold: bool = False
    note: str = ""
    above: bool = False


@dataclass(eq=False)
class Hanging:
    """A picture as it is drawn.

    Attributes:
        subject: what is drawn.
        paper: which places are taken.
        size: of the marks, in millimetres.
        notes: what found no room: the letter in its place, and the words.
        unsaid: how many numbers found none, and are said in another drawing.
        seen: which marks are drawn, by the keys of `legend.mark_items`.
        worded: which kinds of labels are written.
    """

    subject: Subject
    paper: Paper
    size: float
    below: list[str] = field(default_factory=list)
    above: list[str] = field(default_factory=list)
    over: list[str] = field(default_factory=list)
    labels: list[RunLabel] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    unsaid: int = 0
    seen: set[str] = field(default_factory=set)
    worded: set[str] = field(default_factory=set)

    def look(self, fact: Facts) -> Stroke:
        """How a run looks."""
        return self.subject.looks[fact.box if self.subject.by_box else fact.port_name]

    def draw(self, fact: Facts, found: Course, strip: Strip) -> None:
        """The part of a run that lies in a strip."""
        whole = [
            tuple(each for piece in part for each in inside(piece, strip.begins, strip.ends))
            for part in (found.strings, found.wires)
        ]
        strings, wires = whole
        inner = [*self._wires(fact, wires), *self._strings(fact, found, strings)]
        heads = self._heads(found, strings or wires)
        self.below.append(marks.group("".join(inner), class_="run", data_run=fact.name, data_port=fact.port_name))
        self.above.append(marks.group(heads, class_="way", data_run=fact.name) if heads else "")
        self._mark(fact, found, strip)

    def _wires(self, fact: Facts, wires: Sequence[Floats]) -> list[str]:
        self.seen |= {"wire"} if wires else set()
        for wire in wires:
            self.paper.cross(wire, owner=fact.name)
        return [path(trace_of(wire), class_="wire", stroke=GREY, stroke_width="0.25") for wire in wires]

    def _strings(self, fact: Facts, found: Course, strings: Sequence[Floats]) -> list[str]:
        width = self.size * 1.15
        if found.wired is not None:
            width = min(0.44 * found.pitch, 2.2)
        for string in strings:
            self.paper.cross(string, max(width, 0.3), owner=fact.name)
        drawn = " ".join(trace_of(string) for string in strings)
        if not drawn:
            return []
        seen = self.look(fact)
        lines = [threaded(drawn, seen, width, class_="string")]
        if found.wired is not None and found.pitch < _NARROW:
            lines = [path(drawn, class_="string", stroke=seen.colour, stroke_width=f"{width:.3g}")]
        if self.subject.detail == 2 and found.wired is None and found.pitch >= 3.0 and len(found.pixels) <= 500:
            self.seen.add("pixels")
            dots = "".join(f"M{number(x)},{number(y)}h0" for x, y in found.pixels)
            lines.append(path(dots, stroke=BLACK, stroke_width="1.2", stroke_linecap="round"))
            lines.append(path(dots, class_="pixels", stroke=WHITE, stroke_width="0.8", stroke_linecap="round"))
        return lines

    def _heads(self, found: Course, strings: Sequence[Floats]) -> str:
        """The heads that show the data direction: chevrons on the lines of a grid with room for them, else arrows."""
        if found.wired is not None and found.pitch >= _NARROW:
            return self._chevrons(strings, min(0.28 * found.pitch, 1.1))
        if found.wired is not None:
            strings = [string[at : at + 2] for string in strings for at in (0, 2, len(string) - 2) if at >= 0]
        every = 40.0 if found.wired is None and len(strings) > 4 else 16.0
        if not self.subject.detail:
            strings, every = strings[:1], 1000.0
        places = [place for string in strings if len(string) > 1 for place in arrows(string, every)]
        self.seen |= {"way"} if places else set()
        return "".join(marks.arrow(at, way, self.size * 1.5) for at, way in places)

    def _chevrons(self, strings: Sequence[Floats], size: float) -> str:
        lines = [string[at : at + 2] for string in strings for at in range(0, len(string) - 1, 2)]
        heads = "".join(marks.chevron(at, way, size) for line in lines for at, way in arrows(line, 30.0))
        self.seen |= {"chevrons"} if heads else set()
        return path(heads, class_="chevrons", stroke=BLACK, stroke_width=f"{min(0.35, size / 2):.2f}") if heads else ""

    def _mark(self, fact: Facts, found: Course, strip: Strip) -> None:
        pixels, size = found.pixels, self.size
        name, drawn = {"data_run": fact.name}, []
        if strip.holds(pixels[0, 0]):
            drawn.append(marks.mark(marks.first(pixels[0], size), data_end="first", data_pixel=1, **name))
            self.seen.add("first")
            self._take(pixels[0], size)
            self._named(fact, found, strip)
        if strip.holds(pixels[-1, 0]):
            end = marks.last(pixels[-1], found.heading(len(pixels)), size)
            drawn.append(marks.mark(end, data_end="last", data_pixel=len(pixels), **name))
            self.seen.add("last")
            self._take(pixels[-1], size * 1.2)
            if self.subject.detail and not found.numbered:
                words = fact.far_words
                self._label(2, pixels[-1], (words,), strip, "last", fact, f"{fact.name}: last pixel {words}")
        for span in fact.edges:
            at = found.edge(span.first_pixel)
            if not strip.holds(at[0]):
                continue
            whose = {"data_edge": "universe", "data_pixel": span.first_pixel, "data_universe": span.universe}
            way = found.step(span.first_pixel)
            self.seen.add("edge")
            drawn.append(marks.mark(marks.edge(at, way, size), **whose, **name))
            self._take(at, size)
            words = f"{span.first_pixel}: {span.universe}/{span.first_channel}"
            if self.subject.detail:
                self._label(3, at, (words,), strip, "edge", fact, f"{fact.name} {words}")
        drawn += self._cuts(fact, found, strip)
        drawn += self._gaps(fact, found, strip)
        self._taps(fact, found, strip)
        self.over.append("".join(drawn))

    def _cuts(self, fact: Facts, found: Course, strip: Strip) -> list[str]:
        """Where V+ is cut: inside a run, and before the first pixel of one whose lead brings only data and ground."""
        places: list[tuple[str, Floats, Floats]] = [
            (str(pixel), found.edge(pixel), found.step(pixel)) for pixel in fact.run.power_cuts
        ]
        if not fact.run.takes_power_on:
            way = found.heading(1)
            places.insert(0, ("lead", found.pixels[0] - way * self.size * 2.2, way))
        drawn = []
        for which, at, way in places:
            if strip.holds((found.pixels[0] if which == "lead" else at)[0]):
                self.seen.add("cut")
                drawn.append(marks.mark(marks.cut(at, way, self.size), data_cut=which, data_run=fact.name))
                self._take(at, self.size)
                where = "in its lead" if which == "lead" else f"before {which}"
                self._label(5, at, ("V+ cut",), strip, "cut", fact, f"{fact.name}: V+ cut {where}")
        return drawn

    def _gaps(self, fact: Facts, found: Course, strip: Strip) -> list[str]:
        run = fact.run
        if not isinstance(run, DrawnRun) or not run.gaps or found.pitch < 0.7:
            return []
        every = course(self.subject.show, run.model_copy(update={"gaps": ()}), strip.paper)
        assert every is not None  # noqa: S101  (it has a picture)
        order = data_order(run).tolist()
        places = [order.index(gap - 1) for gap in run.gaps]
        drawn = []
        for place, gap in zip(places, run.gaps, strict=True):
            at = every.pixels[place]
            if strip.holds(at[0]):
                ring = marks.gap(at, min(self.size, found.pitch / 2))
                self.seen.add("gap")
                drawn.append(marks.mark(ring, data_gap=gap, data_run=run.name))
        return drawn

    def _taps(self, fact: Facts, found: Course, strip: Strip) -> None:
        feeds = list(dict.fromkeys(tap.feed for tap in fact.taps))
        named: set[str] = set()
        for tap in fact.taps:
            at = found.pixels[tap.pixel - 1]
            if not strip.holds(at[0]):
                continue
            way = found.heading(tap.pixel)
            outward = self._free_side(at, np.array([way[1], -way[0]]))
            inner = marks.tap(at, outward, self.size)
            self.seen.add("tap")
            amps = None if tap.amps is None else f"{tap.amps:.3f}"
            whose = {"data_feed": tap.feed, "data_joint": tap.number, "data_run": fact.name, "data_pixel": tap.pixel}
            self.over.append(marks.mark(inner, **whose, data_amps=amps))
            middle = at + outward * self.size * 1.7
            self._take(middle, self.size * 0.9)
            if self.subject.detail:
                self._tap_label(fact, tap, middle, strip, with_name=len(feeds) > 1 or tap.feed not in named)
            named.add(tap.feed)

    def _tap_label(self, fact: Facts, tap: Tapped, at: Floats, strip: Strip, *, with_name: bool) -> None:
        amps = amps_words(tap.amps)
        lines = (tap.feed, amps) if self.subject.detail == 2 and with_name else (amps,)
        note = f"{tap.feed} at {fact.name} {tap.pixel}: {amps}"
        self._label(4, at, lines, strip, "feed", fact, note)

    def _free_side(self, at: Floats, outward: Floats) -> Floats:
        """The side of a run on which a tap has room."""
        if outward[1] > 1e-9 or (abs(outward[1]) <= 1e-9 and outward[0] < 0):
            outward = -outward
        for side in (outward, -outward):
            x, y = at + side * self.size * 1.7
            half = self.size * 0.8
            if self.paper.is_free((x - half, y - half, x + half, y + half)):
                return side
        return outward

    def _take(self, at: Floats, half: float) -> None:
        self.paper.take((at[0] - half, at[1] - half, at[0] + half, at[1] + half))

    def _named(self, fact: Facts, found: Course, strip: Strip) -> None:
        if not self.subject.detail:
            return
        lines = [fact.name, " · ".join(filter(None, [fact.port_name, fact.start]))]
        if fact.source is not None:
            lines[1] = f"same data as {fact.source}"
        if fact.run.nulls:
            lines.append(f"behind {fact.run.nulls} null pixel{'s' if fact.run.nulls > 1 else ''}")
        if found.numbered and fact.volts is not None:
            lines.append(f"far end {fact.far_words}")
        anchors = [at for at in self._beside(found) if strip.holds(at[0])]
        note = " · ".join(lines)
        self._label(
            1, anchors[0], tuple(lines), strip, "run", fact, note, bold=True, others=anchors[1:], above=found.numbered
        )

    def _beside(self, found: Course) -> list[Floats]:
        """Where a run may be named: at its first pixel, else along it; a grid above or below it, numbers and all."""
        if found.wired is None:
            count = len(found.pixels)
            return [found.pixels[count * part // 8] for part in range(8)]
        low, high = found.pixels.min(axis=0), found.pixels.max(axis=0)
        if found.numbered and found.wired.lines == "columns":
            away = 2.0 + long(str(len(found.pixels)), SMALL)
            low, high = low - away, high + away
        outline = [np.array([x, y]) for y in (low[1], high[1]) for x in low[0] + (high[0] - low[0]) * _SPREAD]
        return outline if found.numbered else [found.pixels[0], *outline]

    def _label(
        self, rank: int, at: Floats, lines: tuple[str, ...], strip: Strip, kind: str, fact: Facts, note: str,
        *, bold: bool = False, others: Sequence[Floats] = (), above: bool = False,
    ) -> None:  # fmt: skip
        anchors = tuple((float(x), float(y)) for x, y in (at, *others))
        self.labels.append(RunLabel(rank, anchors, lines, strip.rect, kind, fact.name, bold, note, above))

    def write(self) -> None:
        """Give every label its place, and write it."""
        for label in sorted(self.labels, key=lambda each: each.rank):
            self._write(label)
        self.labels.clear()

    def _write(self, label: RunLabel) -> None:
        size = PLAIN if label.kind in ("run", "box") else SMALL
        left, top, right, bottom = label.within
        most = min(_LONGEST, right - left - 2)
        bolds = [label.bold and row == 0 for row in range(len(label.lines))]
        lines = [fitted(line, most, size, bold=bold) for line, bold in zip(label.lines, bolds, strict=True)]
        wide = max(long(line, size, bold=bold) for line, bold in zip(lines, bolds, strict=True))
        high = size * LINE * len(lines) - 0.3
        within = left + 0.5, top + 0.5, right - 0.5, bottom - 6.5
        needed = label.kind in ("run", "box")
        reach, crossing = (60.0, 1.0) if needed else (14.0, 0.12)
        if label.rank > 2 and self.unsaid + len(self.notes) > _TRIED:
            self.unsaid += 1
            return
        owner = "" if label.kind in ("box", "route") else label.run
        place = self.paper.place(
            label.anchors, wide, high, within, reach=reach, crossing=crossing, above=label.above, owner=owner
        )
        if place is None:
            if label.kind != "route":
                self._refer(label, within)
            return
        x, y = place.rect[:2]
        parts = []
        if place.leader is not None:
            parts.append(path(trace_of(place.leader), class_="leader", stroke=BLACK, stroke_width="0.18"))
        on_left = place.rect[2] <= label.anchors[0][0]
        at, anchor = (place.rect[2], "end") if on_left else (x, None)
        for row, (line, bold) in enumerate(zip(lines, bolds, strict=True)):
            weight = "bold" if bold else None
            base = y + size * (0.8 + LINE * row)
            grey = GREY if label.kind == "route" else None
            parts.append(text_at(at, base, line, size, text_anchor=anchor, font_weight=weight, fill=grey, **HALO))
        self.worded.add(label.kind)
        self.over.append(marks.group("".join(parts), class_=f"label {label.kind}", data_of=label.run))

    def _refer(self, label: RunLabel, within: Rect) -> None:
        """A letter in place of a label that found no room; the words then stand under the drawing."""
        if label.rank > self.subject.told:
            self.unsaid += 1
            return
        letter = legend.letters(sum(bool(given) for given, _ in self.notes))
        wide = long(letter, SMALL, bold=True) + 0.6
        place = self.paper.place(label.anchors, wide, SMALL, within, reach=4.5, crossing=1.0, pay=6.0)
        self.notes.append((letter if place else "", label.note))
        if place is not None:
            left, top = place.rect[:2]
            words = text_at(left + 0.3, top + SMALL * 0.86, letter, SMALL, font_weight="bold", **HALO)
            self.over.append(marks.group(words, class_="label letter", data_of=label.run))

    def lead(self, corners: Floats, run: str, via: str, strip: Strip) -> None:
        """The cable before a run's first pixel."""
        if float(np.hypot(*np.diff(corners, axis=0).T).sum()) < self.size:
            return
        drawn = ""
        for piece in inside(corners, strip.begins, strip.ends):
            self.paper.cross(piece)
            drawn += path(trace_of(piece), class_="lead", data_to=run, stroke=BLACK, stroke_width="0.2",
                          stroke_dasharray="0.9 0.7")  # fmt: skip
        self.seen.add("booster" if via == "booster" else "lead")
        if via == "booster":
            drawn += marks.booster(*middle(corners), self.size)
        self.below.insert(0, drawn)

    def route(self, name: str, points: Floats, strip: Strip) -> None:
        """The part of a route that lies in a strip, under all else, and its name where there is room."""
        for piece in inside(points, strip.begins, strip.ends):
            self.seen.add("route")
            self.below.insert(0, band(piece, name, self.size * 1.9))
            if self.subject.detail:
                anchors = tuple((float(x), float(y)) for x, y in piece[(_SPREAD * (len(piece) - 1)).astype(int)])
                self.labels.append(RunLabel(4, anchors, (name,), strip.rect, "route", name))

    def box(self, name: str, at: Floats, strip: Strip, above: tuple[float, float] | None) -> None:
        """A box where it stands, named beside it or `above` all that hangs on it."""
        self.seen.add("box")
        self.over.append(marks.mark(marks.box(at, self.size * 1.3), data_box=name))
        self.paper.take(
            (at[0] - self.size * 2, at[1] - self.size * 1.4, at[0] + self.size * 2, at[1] + self.size * 1.4)
        )
        anchors = [(float(at[0]), float(at[1]))]
        if above is not None:
            anchors.insert(0, above)
        self._write(
            RunLabel(0, tuple(anchors), (name,), strip.rect, "box", name, True, f"box {name}", above is not None)
        )
