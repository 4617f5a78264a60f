"""The voltage along runs as a picture: an SVG document for paper and phone, or lines of text for a terminal.

Both say in words what they draw, and mark every meaning by line, shape or label as well as by colour. In the SVG the
axis under the plot is the run itself: a feed's tap stands on it as a triangle, a cut of V+ is a gap in it, and where
it is dotted the pixels are not fed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from itertools import groupby, pairwise

from rich.cells import cell_len, set_cell_size

from patcher.drawing.svg import BLACK
from patcher.drawing.voltage_profile import (
    Profile,
    cut_words,
    limit_words,
    pieces,
    pixel_ticks,
    plain,
    said,
    scale,
    spread,
    thin,
    tick_words,
    unfed,
    words,
    wrap,
)

# Source: Okabe and Ito, "Color Universal Design", 2002: the colour-blind-safe set (from memory). All text is black.
_BLUE, _VERMILLION = "#0072B2", "#D55E00"

_WIDE, _LEFT, _RIGHT, _HIGH, _LANE = 400.0, 52.0, 350.0, 104.0, 15.0
"""Units of the viewBox: the page, the plot's sides, its height, and under it the lane with the taps and the run."""

_HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:.6g}" width="100%" '
    'style="height:auto;max-width:150mm" font-family="sans-serif" font-size="12" fill="{black}">'
    '<title>{title}</title><defs><pattern id="volts-below" width="5" height="5" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><path d="M1,0V5" stroke="{vermillion}" stroke-width="1.6"/></pattern></defs>'
    '<rect width="100%" height="100%" fill="#ffffff"/>'
)
_HALO = 'stroke="#ffffff" stroke-width="6" stroke-linejoin="round" paint-order="stroke"'


# --- SVG ----------------------------------------------------------------------------------------------------------


def svg(title: str, profiles: Sequence[Profile]) -> str:
    """One SVG document with a panel a run, stacked in one column; it needs nothing from outside itself.

    Args:
        title: what stands above all panels; any script; nothing, where it is empty.
        profiles: the runs, in the order of the panels.

    """
    title = plain(title)
    parts, y = [], 8.0
    for line in wrap(title, _WIDE - 16, lambda text: _long(text, 15)) if title else ():
        y += 19
        parts.append(_text(8, y, line, 'font-size="15" font-weight="bold"'))
    for profile in profiles:
        y += 18
        lines, high = _panel(profile)
        parts += [f'<g class="panel" transform="translate(0,{y:.8g})">', *lines, "</g>"]
        y += high
    head = _HEAD.format(wide=_WIDE, high=y + 10, title=escape(title or "Voltage"), black=BLACK, vermillion=_VERMILLION)
    return "\n".join([head, *parts, "</svg>\n"])


def _long(text: str, size: float = 12) -> float:
    """About how long a text is in a sans-serif face, rather too long than too short."""
    capitals, broad = sum(map(str.isupper, text)), sum(letter in "MWmw@%—" for letter in text)
    return size * (0.55 * cell_len(text) + 0.16 * capitals + 0.4 * broad)


def _text(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}"{" " + more if more else ""}>{escape(text)}</text>'


def _panel(profile: Profile) -> tuple[list[str], float]:
    """A run's panel from y = 0 downwards, and how high it is."""
    parts, y = [], 0.0
    for line in wrap(plain(profile.run), _WIDE - 16, lambda text: _long(text, 13.5)):
        y += 13
        parts.append(_text(8, y, line, 'class="run" font-size="13" font-weight="bold"'))
    for sentence in words(profile):
        for line in wrap(sentence, _WIDE - 16, _long):
            y += 15
            parts.append(_text(8, y, line, 'class="says"'))
    if not profile.has_axis:
        return parts, y + 14
    plot = _Plot(profile, y + (24 if profile.cuts else 12))
    parts += [*plot.grid(), *plot.unfed(), *plot.below(), *plot.curve(), *plot.limit()]
    parts += [*plot.axis(), *plot.taps(), *plot.lowest()]
    y = plot.foot + 18
    for place, (feed, pixels) in enumerate(profile.feeds.items(), 1):
        name = f"{place}  {plain(feed)}" if len(profile.feeds) > 1 else plain(feed)
        for row, line in enumerate(wrap(f"{name}: {spread(pixels)}", _WIDE - _LEFT - 12, _long)):
            y += 14
            parts += [_triangle(_LEFT, y - 0.5, place, "key")] if row == 0 else []
            parts.append(_text(_LEFT + 9, y, line, 'class="feed"'))
    for sentence in cut_words(profile):
        for line in wrap(sentence, _WIDE - _LEFT - 12, _long):
            y += 14
            parts.append(_text(_LEFT + 9, y, line, 'class="cuts"'))
    return parts, y


def _triangle(x: float, y: float, place: int, kind: str) -> str:
    """The mark of a tap, its tip at x, y; of every second feed it is hollow."""
    fill = BLACK if place % 2 else "#ffffff"
    return f'<path class="{kind}" d="M{x:.2f},{y:.2f}l-4,-8h8z" fill="{fill}" stroke="{BLACK}"/>'


class _Plot:
    """The drawn part of a panel, `top` units down in it."""

    def __init__(self, profile: Profile, top: float) -> None:
        self.profile, self.top, self.foot = profile, top, top + _HIGH + _LANE
        self.low, self.high, self.ticks = scale(profile, 0.24, 6)

    def x(self, pixel: float) -> float:
        """Where a pixel (from 1) stands, left to right."""
        number = len(self.profile.volts)
        return _LEFT + (_RIGHT - _LEFT) * ((pixel - 1) / (number - 1) if number > 1 else 0.5)

    def y(self, volts: float) -> float:
        """Where a voltage stands, downwards."""
        return self.top + (self.high - volts) / (self.high - self.low) * _HIGH

    def lines(self) -> Iterator[list[tuple[float, float]]]:
        """Pixel and volts of each point of the line, broken where V+ or the feeding is; one alone comes twice."""
        volts = self.profile.volts
        for first, end in pieces(self.profile):
            drawn = thin(volts, first, end)
            points = list(zip((drawn + 1).tolist(), volts[drawn].tolist(), strict=True))
            yield points * 2 if len(points) == 1 else points

    def at(self, points: Sequence[tuple[float, float]]) -> str:
        """Points of pixel and volts as SVG writes them."""
        return " ".join([f"{self.x(pixel):.2f},{self.y(volts):.2f}" for pixel, volts in points])

    def grid(self) -> Iterator[str]:
        """Ticks of volts."""
        for tick, label in zip(self.ticks, tick_words(self.ticks), strict=True):
            y = self.y(tick)
            yield f'<path class="volt" d="M{_LEFT:g},{y:.2f}H{_RIGHT:g}" stroke="{BLACK}" stroke-opacity="0.2"/>'
            yield _text(_LEFT - 8, y + 4, label, 'class="volts" text-anchor="end"')

    def limit(self) -> Iterator[str]:
        """The limit: dashes with a white edge, to be seen over a crowded line too."""
        if (least := self.profile.least) is None:
            return
        x, y = _RIGHT + 3, self.y(least)
        along = f'd="M{_LEFT:g},{y:.2f}H{_RIGHT:g}" stroke-dasharray="6 3"'
        yield f'<path {along} stroke="#ffffff" stroke-width="2.8"/>'
        yield f'<path class="limit" {along} stroke="{_VERMILLION}" stroke-width="1.6"/>'
        words_below = f'<tspan x="{x:g}" dy="12">{limit_words(least)}</tspan>'
        yield f'<text class="least" x="{x:g}" y="{y - 1:.2f}">needs {words_below}</text>'

    def _reach(self, first: int, end: int) -> tuple[float, float]:
        """From left to right, pixels given from 0, end not included, with half a pixel to both sides."""
        return max(self.x(first + 0.5), _LEFT) - 1, min(self.x(end + 0.5), _RIGHT) + 1

    def unfed(self) -> Iterator[str]:
        """Where pixels are not fed: a dotted frame, and words where they fit."""
        for first, end in unfed(self.profile):
            x, until = self._reach(first, end)
            wide = until - x
            yield (
                f'<rect class="unfed" x="{x:.2f}" y="{self.top:.2f}" width="{wide:.2f}" height="{_HIGH:g}" '
                f'fill="none" stroke="{BLACK}" stroke-dasharray="1 3"/>'
            )
            if wide > 48:
                more = f'text-anchor="middle" {_HALO}'
                yield _text(x + wide / 2, self.top + _HIGH / 2, "not known" if self.profile.why else "not fed", more)

    def below(self) -> Iterator[str]:
        """What lies below the limit, hatched down from it."""
        if (least := self.profile.least) is None:
            return
        outlines = []
        for points in self.lines():
            edge = points[:1]
            for (pixel, volts), (later, then) in pairwise(points):
                if (volts < least) != (then < least):
                    edge.append((pixel + (later - pixel) * (least - volts) / (then - volts), least))
                edge.append((later, then))
            for is_sunk, part in groupby(edge, lambda point: point[1] <= least):
                sunk = list(part)
                if is_sunk and any(volts < least for _, volts in sunk):
                    ends = [[(end, least)] if volts < least else [] for end, volts in (sunk[0], sunk[-1])]
                    outlines.append(f"M{self.at([*ends[0], *sunk, *ends[1]])}Z")
        if outlines:
            yield f'<path class="below" d="{"".join(outlines)}" fill="url(#volts-below)" stroke="{_VERMILLION}"/>'

    def curve(self) -> Iterator[str]:
        """The voltage."""
        yield f'<g fill="none" stroke="{_BLUE}" stroke-width="2" stroke-linejoin="round" stroke-linecap="round">'
        for points in self.lines():
            alone = ' stroke-width="4"' if points[0] == points[-1] else ""
            yield f'<polyline class="curve"{alone} points="{self.at(points)}"/>'
        yield "</g>"

    def axis(self) -> Iterator[str]:
        """The run itself with its pixel numbers, dotted where it is not fed, with a gap where V+ is cut."""
        number, y = len(self.profile.volts), self.foot
        along = f"M{self.x(1) - 2:.2f},{y:g}H{self.x(number) + 2:.2f}"
        yield f'<path class="axis" d="{along}" stroke="{BLACK}" stroke-width="3"/>'
        for first, end in unfed(self.profile):
            along = "M{:.2f},{y:g}H{:.2f}".format(*self._reach(first, end), y=y)
            yield f'<path d="{along}" stroke="#ffffff" stroke-width="4"/>'
            yield f'<path class="dead" d="{along}" stroke="{BLACK}" stroke-width="2" stroke-dasharray="2 3"/>'
        for pixel in pixel_ticks(number, 6):
            yield f'<path d="M{self.x(pixel):.2f},{y:g}v5" stroke="{BLACK}"/>'
            yield _text(self.x(pixel), y + 16, str(pixel), 'class="pixel" text-anchor="middle"')
        free = 0.0
        for pixel in sorted(set(self.profile.cuts)):
            x = self.x(pixel - 0.5)
            yield (
                f'<g class="cut" stroke="{BLACK}"><path d="M{x - 2.5:.2f},{y:g}h5" stroke="#ffffff" stroke-width="4"/>'
                f'<path d="M{x - 2.5:.2f},{y - 5:g}v10M{x + 2.5:.2f},{y - 5:g}v10"/>'
                f'<path d="M{x:.2f},{self.top - 4:g}V{y - 6:g}" stroke-dasharray="1 3"/></g>'
            )
            if x - 24 > free:
                free = x + 24
                yield _text(x, self.top - 7, "V+ cut", 'text-anchor="middle"')

    def taps(self) -> Iterator[str]:
        """Triangles on the axis, with their feed's number where there are several feeds and there is room.

        Of two feeds all are numbered or none: solid and hollow tell them apart too.
        """
        feeds = self.profile.feeds
        marks = sorted((pixel, place) for place, pixels in enumerate(feeds.values(), 1) for pixel in pixels)
        ends = [self.x(pixel) - 5 for pixel, _ in marks[1:]] + [_WIDE]
        fits = [self.x(pixel) + 5 + _long(str(place)) <= end for (pixel, place), end in zip(marks, ends, strict=False)]
        if len(feeds) < 2 or (len(feeds) == 2 and not all(fits)):
            fits = [False] * len(marks)
        for (pixel, place), is_numbered in zip(marks, fits, strict=True):
            yield _triangle(self.x(pixel), self.foot - 2, place, "tap")
            if is_numbered:
                yield _text(self.x(pixel) + 5, self.foot - 3, str(place), 'class="number"')

    def lowest(self) -> Iterator[str]:
        """A ring round the lowest point, and under it what it is."""
        if (pixel := self.profile.lowest) is None:
            return
        volts = float(self.profile.volts[pixel - 1])
        x, y = self.x(pixel), self.y(volts)
        label = f"{said(volts, self.profile.least)} at pixel {pixel}"
        half = _long(label) / 2
        middle = min(max(x, _LEFT + half), _RIGHT - half)
        yield _text(middle, y + 16, label, f'class="lowest" text-anchor="middle" {_HALO}')
        ring = f'r="3.5" fill="#ffffff" stroke="{BLACK}" stroke-width="1.5"'
        yield f'<circle class="lowest" cx="{x:.2f}" cy="{y:.2f}" {ring}/>'


# --- terminal -----------------------------------------------------------------------------------------------------

_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
"""Bits of a Braille character's four rows of two dots. Source: the Unicode Standard, block Braille Patterns."""


def terminal(profile: Profile, width: int, height: int = 8) -> list[str]:
    """The picture as lines of text, none wider than `width` columns; its words alone where it has no axis.

    Args:
        profile: the run.
        width: columns of the terminal, from 40.
        height: rows of the plot, from 3.
    """
    if not profile.has_axis:
        sentences = [*words(profile), *cut_words(profile)]
        return [_crop(plain(profile.run), width), *(line for each in sentences for line in wrap(each, width, cell_len))]
    field = _Field(profile, width, height)
    under, unnamed = field.names()
    lines = [plain(profile.run), *field.rows(), field.axis(), field.numbers(), *under]
    feeds = [f"▲ {plain(feed)}: {spread(pixels)}" for feed, pixels in unnamed.items()]
    sentences = [*words(profile), *feeds, *cut_words(profile)]
    wrapped = [line for sentence in sentences for line in wrap(sentence, width, cell_len)]
    return [_crop(line, width).rstrip() for line in lines] + wrapped


def _crop(text: str, width: int) -> str:
    return text if cell_len(text) <= width else set_cell_size(text, width - 1).rstrip() + "…"


class _Field:
    """The drawn part: cells of two by four dots, right of a gutter with the volts."""

    def __init__(self, profile: Profile, width: int, height: int) -> None:
        self.profile, self.height = profile, height
        self.low, self.high, ticks = scale(profile, 0.06, self.height // 2)
        self.labels = {self.dot(tick) // 4: label for tick, label in zip(ticks, tick_words(ticks), strict=True)}
        if profile.least is not None:
            self.labels[self.dot(profile.least) // 4] = f"needs {limit_words(profile.least)}"
        self.gutter = min(max(map(len, self.labels.values())), width // 2)
        self.columns = width - self.gutter - 2

    def dot(self, volts: float) -> int:
        """The row of dots of a voltage, from the top."""
        return round((self.high - volts) / (self.high - self.low) * (4 * self.height - 1))

    def across(self, pixel: float) -> int:
        """The column of dots of a pixel, from the left."""
        number = len(self.profile.volts)
        return round(((pixel - 1) / (number - 1) if number > 1 else 0.5) * (2 * self.columns - 1))

    def rows(self) -> list[str]:
        """The plot: the line in dots, dashes for the limit, a black circle where the line is lowest."""
        signs = [[" "] * self.columns for _ in range(self.height)]
        if self.profile.least is not None:
            signs[self.dot(self.profile.least) // 4] = ["╌"] * self.columns
        for column in (self.across(cut - 0.5) // 2 for cut in self.profile.cuts):
            for row in signs:
                row[column] = "┊"
        cells: dict[tuple[int, int], int] = {}
        for x, y in self._dots():
            cells[y // 4, x // 2] = cells.get((y // 4, x // 2), 0) | _DOTS[y % 4][x % 2]
        for (at_row, at_column), bits in cells.items():
            signs[at_row][at_column] = chr(0x2800 + bits)
        if (pixel := self.profile.lowest) is not None:
            signs[self.dot(self.profile.volts[pixel - 1]) // 4][self.across(pixel) // 2] = "●"
        names = [self.labels.get(row, "")[: self.gutter] for row in range(self.height)]
        return [
            f"{name:>{self.gutter}} {'┤' if name else '│'}{''.join(row)}"
            for name, row in zip(names, signs, strict=True)
        ]

    def _dots(self) -> Iterator[tuple[int, int]]:
        for first, end in pieces(self.profile):
            drawn = thin(self.profile.volts, first, end)
            points = [(self.across(index + 1), self.dot(self.profile.volts[index])) for index in drawn.tolist()]
            for (x, y), (then_x, then_y) in zip(points, points[1:] or points, strict=False):
                steps = max(abs(then_x - x), abs(then_y - y), 1)
                for step in range(steps + 1):
                    yield round(x + (then_x - x) * step / steps), round(y + (then_y - y) * step / steps)

    def axis(self) -> str:
        """The run itself: dotted where it is not fed, a gap where V+ is cut."""
        signs = ["─"] * self.columns
        for pixel in self.numbered():
            signs[self.across(pixel) // 2] = "┬"
        for first, end in unfed(self.profile):
            for column in range(self.across(first + 1) // 2, self.across(end) // 2 + 1):
                signs[column] = "·"
        for cut in self.profile.cuts:
            signs[self.across(cut - 0.5) // 2] = " "
        return " " * (self.gutter + 1) + "└" + "".join(signs)

    def numbered(self) -> list[int]:
        """The pixels that have a number under the axis."""
        return pixel_ticks(len(self.profile.volts), max(2, self.columns // 12))

    def numbers(self) -> str:
        """Pixel numbers, each with its middle under its pixel but at the ends."""
        line = ""
        for pixel in self.numbered():
            text = str(pixel)
            at = min(self.across(pixel) // 2 - (len(text) - 1) // 2, self.columns - len(text))
            if not line or at > len(line):
                line = line.ljust(at) + text
        return " " * (self.gutter + 2) + line

    def names(self) -> tuple[list[str], dict[str, list[int]]]:
        """The taps, with the names of feeds under them where they fit, and the feeds whose name did not fit."""
        feeds = self.profile.feeds
        marks, line, ends = [" "] * self.columns, "", -1
        unnamed = dict(feeds)
        for pixel, feed in sorted((pixel, feed) for feed, pixels in feeds.items() for pixel in pixels):
            column, name = self.across(pixel) // 2, plain(feed)
            marks[column] = "▲"
            at = min(column, self.columns - cell_len(name))
            if feed in unnamed and at > ends:
                line += " " * (at - cell_len(line)) + name
                ends = cell_len(line)
                del unnamed[feed]
        found = ["".join(marks), line] if feeds else []
        return [" " * (self.gutter + 2) + one for one in found if one.strip()], unnamed
