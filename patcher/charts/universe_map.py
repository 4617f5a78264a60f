"""The universe map: a bar of 512 channels for each universe, who sits where in it, and what is free."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from patcher.drawing import legend, marks
from patcher.drawing.svg import (  # fmt: skip
    BLACK,
    HALO,
    LINE,
    PLAIN,
    SMALL,
    WHITE,
    Stroke,
    document,
    fitted,
    long,
    look,
    number,
    path,
    rect,
    text_at,
)
from patcher.patch.patch import Patch, Start, pieces, written
from patcher.trade import CHANNELS, HIGHEST_UNIVERSE
from patcher.wiring import Wiring

_HEAD, _BAR, _SPACE, _EDGE = 8.0, 5.4, 2.2, 9.0
_PIXEL = 3
"""Channels that are worth a word of their own: an RGB pixel's."""
_ROWS = 4
"""Rows of words under a bar, each under its channels; where more would be needed, they are listed."""
_APART = 2.0
"""Millimetres between two of them."""
_TICKS = (1, 64, 128, 192, 256, 320, 384, 448, 512)


@dataclass(frozen=True, slots=True)
class UniverseSeat:
    """Channels of a universe that have a use.

    Attributes:
        first: its first channel.
        last: its last channel.
        box: whose they are.
        run: of which run; what is said of them where they are null pixels.
        pixels: first and last pixel of the run; None for null pixels.
    """

    first: int
    last: int
    box: str
    run: str
    pixels: tuple[int, int] | None

    @property
    def words(self) -> str:
        """What they are."""
        if self.pixels is None:
            return f"nulls of {self.run}"
        first, last = self.pixels
        return f"{self.run} {first}–{last}" if last > first else f"{self.run} {first}"

    @property
    def channels(self) -> str:
        """Which they are."""
        return f"{self.first}–{self.last}" if self.last > self.first else str(self.first)


def seats(patch: Patch) -> dict[int, list[UniverseSeat]]:
    """Of every universe that has any, the channels that have a use, rising."""
    found: dict[int, list[UniverseSeat]] = {}
    for start in patch.starts:
        for universe, seat in _of_start(start):
            found.setdefault(universe, []).append(seat)
    return {universe: sorted(found[universe], key=lambda seat: (seat.first, seat.last)) for universe in sorted(found)}


def _of_start(start: Start) -> Iterator[tuple[int, UniverseSeat]]:
    for link, begin, _, _ in start.laid():
        for where, count in pieces(begin, link.nulls, link.channels):
            universe, channel = written(where)
            yield universe, UniverseSeat(channel, channel + count * link.channels - 1, start.controller, link.run, None)
    for span in start.spans():
        pixels = span.first_pixel, span.last_pixel
        yield span.universe, UniverseSeat(span.first_channel, span.last_channel, start.controller, span.run, pixels)


def free(taken: Sequence[UniverseSeat]) -> list[tuple[int, int]]:
    """The channels of a universe that have no use, first and last of each stretch."""
    found, next_ = [], 1
    for seat in taken:
        if seat.first > next_:
            found.append((next_, seat.first - 1))
        next_ = max(next_, seat.last + 1)
    return found + ([(next_, CHANNELS)] if next_ <= CHANNELS else [])


def twice(taken: Sequence[UniverseSeat]) -> list[tuple[int, int]]:
    """The channels of a universe that are given to two, first and last of each stretch."""
    found = []
    reached = 0
    for seat in taken:
        if seat.first <= reached:
            found.append((seat.first, min(seat.last, reached)))
        reached = max(reached, seat.last)
    return found


def universe_bars(wiring: Wiring, patch: Patch, *, wide: float = 180.0, high: float = 240.0) -> list[str]:
    """The universe map, a page each; one page that says so where the patch has no universes.

    Args:
        wiring: the wiring.
        patch: its patch.
        wide: millimetres of a page.
        high: millimetres of a page.
    """
    boxes = [name for name, box in wiring.show.controllers.items() if not box.spare or wiring.of_controller(name)]
    boxes += sorted(patch.boxes.keys() - set(boxes))
    looks = {name: look(place) for place, name in enumerate(boxes)}
    rows = [_Row(universe, taken, wide, looks) for universe, taken in seats(patch).items()]
    pages: list[list[_Row]] = [[]]
    room = 0.0
    for row in rows:
        listed = _legend(looks, [*pages[-1], row], wide)
        if pages[-1] and _HEAD + room + row.high + len(listed) * legend.ROW + 2 > high:
            pages.append([])
            room = 0.0
        pages[-1].append(row)
        room += row.high
    title = f"Universe map: {wiring.show.settings.title}"
    return [_page(page, looks, wide, f"{title}, page {place} of {len(pages)}") for place, page in enumerate(pages, 1)]


def _legend(looks: dict[str, Stroke], page: Sequence[_Row], wide: float) -> list[list[tuple[float, legend.Item]]]:
    used = {seat.box for row in page for seat in row.taken}
    items = legend.look_items((f"box {name}", seen) for name, seen in looks.items() if name in used)
    return legend.rows(items, wide - 2)


def _page(page: Sequence[_Row], looks: dict[str, Stroke], wide: float, title: str) -> str:
    parts, y = [], _HEAD
    left, scale = _left(), _scale(wide)
    free_from = 0.0
    for tick in _TICKS:
        x = left + (tick - 0.5) * scale
        half = long(str(tick), SMALL) / 2
        if x - half > free_from:
            parts.append(text_at(x, 3.2, str(tick), SMALL, class_="channel", text_anchor="middle"))
            parts.append(path(f"M{number(x)},4v2", stroke=BLACK, stroke_width="0.2"))
            free_from = x + half + 1
    if page:
        parts.append(text_at(wide - 0.8, 6.6, "free", SMALL, text_anchor="end"))
    for row in page:
        parts.append(row.drawn(y))
        y += row.high
    if not page:
        parts.append(text_at(1, y + 3, "no universe is used yet", PLAIN, class_="says"))
        y += 5
    listed = _legend(looks, page, wide)
    parts += legend.write(listed, 1.0, y)
    y += len(listed) * legend.ROW + 2
    says = "; ".join(f"universe {row.universe}: {row.in_words}" for row in page)
    return document(title, says, wide, y, parts)


def _left() -> float:
    return long(str(HIGHEST_UNIVERSE), PLAIN, bold=True) + 2.0


def _scale(wide: float) -> float:
    return (wide - _left() - _EDGE) / CHANNELS


@dataclass(frozen=True, slots=True)
class _Below:
    """Words under a bar, and the channels that they are of."""

    first: int
    last: int
    words: str


class _Row:
    """One universe: its bar, and under it what found no room inside."""

    def __init__(self, universe: int, taken: Sequence[UniverseSeat], wide: float, looks: dict[str, Stroke]) -> None:
        self.universe, self.taken, self.looks, self.wide = universe, taken, looks, wide
        self.left, self.scale = _left(), _scale(wide)
        small = [seat for seat in taken if self._shown(seat) is None]
        listed = [_Below(seat.first, seat.last, f"{seat.channels} {seat.words}") for seat in small]
        listed += [_Below(first, last, f"{first}–{last} used twice") for first, last in twice(taken)]
        narrow = [
            _Below(first, last, f"{first}–{last} free")
            for first, last in free(taken)
            if last - first >= _PIXEL - 1 and not self._free_words(first, last)
        ]
        self.below = self._rows([*listed, *narrow]) or self._rows(listed)
        # Where so many are small that their words cannot stand under them, those of what is free are left out: the
        # number at the right says how much that is.
        words = [] if self.below else [each.words for each in listed]
        self.lines = legend.paragraph(words, wide - self.left - 1.5, 60)
        rows = len(self.lines) + len(self.below)
        self.high = _BAR + _SPACE + (rows * SMALL * LINE + 0.6 if rows else 0.0)

    def _rows(self, below: list[_Below]) -> list[list[tuple[float, str, _Below]]]:
        """What stands under the bar, each under its channels, in rows: where, how it is set, and what. Empty where that
        takes too many rows.
        """
        right = self._x(CHANNELS + 1)
        rows: list[list[tuple[float, str, _Below]]] = []
        ends: list[float] = []
        whole = right - self.left
        below = [replace(each, words=fitted(each.words, whole, SMALL)) for each in below]
        for each in sorted(below, key=lambda each: (each.first + each.last, each.first)):
            middle, half = (self._x(each.first) + self._x(each.last + 1)) / 2, long(each.words, SMALL) / 2
            at, anchor = middle, "middle"
            if middle - half < self.left:
                at, anchor = self.left, "start"
            elif middle + half > right:
                at, anchor = right, "end"
            begin = {"start": at, "middle": at - half, "end": at - 2 * half}[anchor]
            row = next((number for number, end in enumerate(ends) if begin >= end + _APART), len(rows))
            if row == _ROWS:
                return []
            if row == len(rows):
                rows.append([])
                ends.append(0.0)
            rows[row].append((at, anchor, each))
            ends[row] = begin + 2 * half
        return rows

    @property
    def in_words(self) -> str:
        said = [f"{seat.channels} {seat.words}" for seat in self.taken]
        return ", ".join([*said, f"{self.free} free"])

    @property
    def free(self) -> int:
        """How many of its channels have no use."""
        return sum(last - first + 1 for first, last in free(self.taken))

    def _x(self, channel: int) -> float:
        """The left edge of a channel."""
        return self.left + (channel - 1) * self.scale

    def _room(self, first: int, last: int) -> float:
        return (last - first + 1) * self.scale - 1.4

    def _shown(self, seat: UniverseSeat) -> str | None:
        """What stands in the bar; of a long name its ends, where the numbers still have room."""
        room = self._room(seat.first, seat.last)
        if long(seat.words, PLAIN) <= room:
            return seat.words
        if room < 30:
            return None
        behind_name = seat.words[len(seat.run) :] if seat.pixels else ""
        return fitted(seat.run, room - long(behind_name, PLAIN), PLAIN) + behind_name

    def _free_words(self, first: int, last: int) -> str | None:
        count = last - first + 1
        for words in (f"{count} free: {first}–{last}", f"{first}–{last} free", f"{count} free"):
            if long(words, PLAIN) <= self._room(first, last):
                return words
        return None

    def drawn(self, y: float) -> str:
        base = y + _BAR * 0.62
        parts = [
            text_at(self.left - 1.5, base, str(self.universe), PLAIN, class_="universe", font_weight="bold",
                    text_anchor="end")
        ]  # fmt: skip
        for first, last in free(self.taken):
            parts.append(self._rect(first, last, y, WHITE, class_="free", data_first=first, data_last=last))
            words = self._free_words(first, last)
            if words:
                middle = (self._x(first) + self._x(last + 1)) / 2
                parts.append(text_at(middle, base, words, PLAIN, class_="free", text_anchor="middle"))
        for before, seat in zip((None, *self.taken), self.taken, strict=False):
            parts.append(self._seat(seat, y, over=before is not None and seat.first <= before.last))
        parts.append(self._rect(1, CHANNELS, y, "none"))
        parts.append(text_at(self.wide - 0.8, base, str(self.free), SMALL, class_="left", text_anchor="end"))
        parts += legend.lines_at(self.lines, self.left, y + _BAR + 0.5, "says")
        for place, row in enumerate(self.below):
            foot = y + _BAR + 0.5 + SMALL * (0.85 + LINE * place)
            for at, anchor, each in row:
                channels = {"data_from": each.first, "data_to": each.last}
                parts.append(text_at(at, foot, each.words, SMALL, class_="says", text_anchor=anchor, **channels))
        return marks.group("".join(parts), data_universe=self.universe)

    def _rect(self, first: int, last: int, y: float, fill: str, **more: object) -> str:
        x, end = self._x(first), self._x(last + 1)
        return rect(x, y, end - x, _BAR, fill=fill, stroke=BLACK, stroke_width="0.25", **more)

    def _seat(self, seat: UniverseSeat, y: float, *, over: bool) -> str:
        seen = self.looks[seat.box]
        whose = {"data_run": seat.run, "data_first": seat.first, "data_last": seat.last, "data_box": seat.box}
        parts = [self._rect(seat.first, seat.last, y, WHITE)]
        x, end = self._x(seat.first), self._x(seat.last + 1)
        foot = y + _BAR - (2.9 if over else 0.75)
        along = f"M{number(x)},{number(foot)}H{number(end)}"
        parts.append(path(along, stroke=seen.colour, stroke_width="1.2"))
        thread = {} if seen.dash == "none" else {"stroke_dasharray": seen.dash}
        parts.append(path(along, stroke=BLACK, stroke_width="0.3", **thread))
        if seat.pixels is None:
            slants = "".join(f"M{number(at)},{number(y + 2)}l1.2,-2" for at in _steps(x, end - 1.2, 0.9))
            parts.append(path(slants, stroke=BLACK, stroke_width="0.15"))
        words = self._shown(seat)
        if words:
            parts.append(text_at(x + 0.7, y + 0.55 + PLAIN * 0.86, words, PLAIN, class_="seat", **HALO))
        kind = "nulls" if seat.pixels is None else "seat"
        pixels = {} if seat.pixels is None else {"data_pixels": "-".join(map(str, seat.pixels))}
        return marks.group("".join(parts), class_=kind, **whose, **pixels)


def _steps(begin: float, end: float, step: float) -> Iterator[float]:
    while begin <= end:
        yield begin
        begin += step
