"""A table of addresses as people bring it: the text of a CSV file → rows, and why the others are none.

Columns are known by the trade's words, in any order; the separator is whichever makes most sense of the heading. A cell
of the box or the port that is left empty is the one above it, as in a table with merged cells.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import StringIO
from typing import Literal, NamedTuple

from patcher.errors import Finding, Severity, refuse
from patcher.show.tables import MOST_PIXELS, station_address
from patcher.trade import CHANNELS, FIRST_UNIVERSE, HIGHEST_UNIVERSE, MOST_LETTERS, MOST_PORTS, USUAL_CHANNELS

Column = Literal[
    "controller", "port", "run", "prop", "start of", "universe", "channel", "address", "running channel", "pixels",
    "channels", "channels a pixel", "colours", "ip", "notes",
]  # fmt: skip

_WORDS = {
    "controller": "box controller node",
    "port": "port output out outlet",
    "run": "run runs string strand name label what item description",
    "prop": "prop",
    "universe": "universe universes uni univ",
    "channel": "channel chan ch",
    "channels": "channels chans",
    "start": "start first begin begins starting beginning from",
    "address": "address addr",
    "ip": "ip ipv4",
    "notes": "note notes remark remarks comment comments",
    "running": "running absolute abs",
    "pixels": "pixel pixels px lamp lamps light lights led leds bulb bulbs count qty quantity",
    "a": "a per each",
    "colours": "colour colours color colors rgb",
    "order": "order",
}
_SAME = {word: same for same, words in _WORDS.items() for word in words.split()}
_FILLERS = frozenset(
    ("of", "the", "no", "nr", "num", "number", "numbers", "s", "dmx", "sacn", "name", "data", "id", "total")
)
_VAGUE = frozenset(("name", "label", "what", "item", "description", "from", "count", "qty", "quantity", "universes"))
"""Headings that give way to one that says the same more plainly."""
_HEADINGS: dict[str, Column] = {
    "controller": "controller",
    "port": "port", "controller port": "port", "port controller": "port",
    "run": "run", "prop": "prop",
    "universe": "universe", "start universe": "universe", "universe start": "universe",
    "channel": "channel", "start channel": "channel", "channel start": "channel",
    "address": "address", "start": "address", "start address": "address", "universe channel": "address",
    "start universe channel": "address", "address start": "address",
    "universe a channel": "address", "start universe a channel": "address",
    "running channel": "running channel", "running": "running channel", "running start channel": "running channel",
    "start running channel": "running channel", "running address": "running channel",
    "pixels": "pixels", "pixels pixels": "pixels", "run pixels": "pixels", "pixels run": "pixels",
    "pixels a run": "pixels",
    "channels": "channels", "channels pixels": "channels", "channel pixels": "channels",
    "channels a pixels": "channels a pixel", "channel a pixels": "channels a pixel",
    "colours": "colours", "colours order": "colours",
    "ip": "ip", "ip address": "ip", "address ip": "ip", "controller ip": "ip", "ip controller": "ip",
    "controller ip address": "ip", "controller address": "ip", "notes": "notes",
}  # fmt: skip
"""What a heading means, once its words are those of `_WORDS` and its fillers are gone."""

_BEFORE = r"(?:(?:port|p|output|out|universe|uni|u|channel|chan|ch|c|no|nr|#)[.:#]?\s*)?"
_BEHIND = r"\s*(?:px|pixels?|lamps?|lights?|leds?|ch|channels?)?\.?"
_NUMBER = re.compile(rf"{_BEFORE}(\d{{1,3}}(?:[ ',]\d{{3}})+|\d{{1,12}})(?:[.,]0{{1,2}})?{_BEHIND}", re.IGNORECASE)
_BETWEEN = r"(?:\s*[/:]\s*|\s*,\s*(?=[a-z])|\s+(?=[a-z]))"
_TIMES = re.compile(r"(\d{1,3})\s*[x×*]\s*(.+)", re.IGNORECASE)
_IPV4 = re.compile(r"\d{1,3}(?:\.\d{1,3}){3}")
_PAIR = re.compile(rf"{_BEFORE}(\d{{1,9}}){_BETWEEN}{_BEFORE}(\d{{1,9}})", re.IGNORECASE)
_RANGE = re.compile(r"(\d{1,9})\s*(?:-|–|to)\s*\d{1,9}")
_COLOURS = re.compile(r"(?=.*R)(?=.*G)(?=.*B)[RGBWACVUY]{3,9}|W")
_HEADING_WITHIN = 20
"""Lines among which the heading is looked for; above it may stand a title."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the table: where a run, a port or a box begins.

    Attributes:
        line: its line in the file, from 1.
        controller: the box, as the table names it; empty where it does not.
        port: the port's number.
        runs: the runs that begin there, as the table names them, in its order.
        prop: the prop, as the table names it.
        universe: of its first channel.
        channel: its first channel.
        pixels: how many pixels.
        channels: channels that one of its pixels takes.
        colours: its colour order.
        is_start: the address is that of a start, before any null pixel; else that of the first pixel.
        parts: of how many runs of the same length these pixels are, as in `3 x 190`.
        part: which of them it is, from 1, once they are rows of their own; 0 of a whole row.
        ip: the box's own address on the network, as the table gives it.
        note: what the table remarks.
    """

    line: int
    controller: str
    port: int | None
    runs: tuple[str, ...]
    prop: str
    universe: int
    channel: int
    pixels: int | None = None
    channels: int | None = None
    colours: str = ""
    is_start: bool = False
    parts: int = 1
    part: int = 0
    ip: str = ""
    note: str = ""

    @property
    def key(self) -> tuple[int, int]:
        """What tells it from all other rows."""
        return self.line, self.part

    @property
    def name(self) -> str:
        """What the row is about, in the table's own words."""
        names = ", ".join(self.runs) or self.prop
        place = f"{self.controller}/{self.port}" if self.port is not None else self.controller
        return names or place or f"{self.universe}/{self.channel}"


class Listing(NamedTuple):
    """What could be read of a table: its rows, what each heading means, the headings not used, what does not fit."""

    rows: tuple[Row, ...]
    columns: dict[Column, str]
    unused: tuple[str, ...]
    findings: tuple[Finding, ...]


class _Line(NamedTuple):
    number: int
    last: int
    cells: list[str]


def read_listing(text: str, name: str) -> Listing:
    """Read the text of a CSV file.

    Args:
        text: the file's text, without a byte order mark.
        name: what the file is called, for the findings.

    Raises:
        PatcherError: it has no heading that says where the addresses are.
    """
    found: tuple[int, list[_Line], int] | None = None
    for separator in ",;\t":
        lines = _lines(text, separator)
        for index, line in enumerate(lines[:_HEADING_WITHIN]):
            columns = _read_columns(line.cells, lines[index + 1 :])
            if _places(columns) and len(columns) >= 2 and (found is None or len(columns) > found[0]):
                found = len(columns), lines, index
    if found is None:
        raise _no_heading(text, name)
    _, lines, index = found
    heading = lines[index].cells
    columns = _counted_through(_read_columns(heading, lines[index + 1 :]), lines[index + 1 :])
    reader = _Reader(name, columns, lines[index + 1 :])
    rows = tuple(reader.rows())
    used = {column: heading[at].strip() for column, at in sorted(columns.items(), key=lambda item: item[1])}
    unused = tuple(cell.strip() for at, cell in enumerate(heading) if cell.strip() and at not in columns.values())
    return Listing(rows, used, unused, tuple(reader.findings))


def _lines(text: str, separator: str) -> list[_Line]:
    """The lines that are not empty."""
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    lines: list[_Line] = []
    before = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return lines
        except csv.Error:
            cells = ["\n"]
        if any(cell.strip() for cell in cells) or "\n" in "".join(cells):
            lines.append(_Line(before + 1, max(reader.line_num, before + 1), cells))
        before = reader.line_num


def _meaning(heading: str) -> Column | None:
    if heading.strip().casefold() == "start of":
        return "start of"
    text = heading.casefold().replace("#", " no ").replace("/", " per ")
    words = re.sub(r"[^a-z0-9]+", " ", text).split()
    kept = [_SAME.get(word, word) for word in words if word not in _FILLERS]
    return _HEADINGS.get(" ".join(kept or [_SAME.get(word, word) for word in words]))


def _columns(heading: list[str]) -> dict[Column, int]:
    """Which column means what; of two that mean the same, the one whose heading says it most fully."""

    def plainness(at: int) -> tuple[bool, int]:
        return heading[at].strip().casefold() not in _VAGUE, len(heading[at].split())

    columns: dict[Column, int] = {}
    for at, cell in enumerate(heading):
        meaning = _meaning(cell) if len(cell) < 60 else None
        if meaning and (meaning not in columns or plainness(columns[meaning]) < plainness(at)):
            columns[meaning] = at
    return columns


def _read_columns(heading: list[str], lines: list[_Line]) -> dict[Column, int]:
    """Which column means what; one headed “Address” that holds addresses on the network is that of the boxes."""
    columns = _columns(heading)
    at = columns.get("address")
    if at is None:
        return columns
    cells = [line.cells[at].strip() for line in lines if at < len(line.cells) and line.cells[at].strip()]
    if not cells or not all(map(_IPV4.fullmatch, cells)):
        return columns
    others = _columns([*heading[:at], "", *heading[at + 1 :]])
    if not _places(others):
        return columns
    others.setdefault("ip", at)
    return others


def _counted_through(columns: dict[Column, int], lines: list[_Line]) -> dict[Column, int]:
    """The columns, a start beside a universe being its channel; a channel with none is counted through, or a pair."""
    if "universe" in columns:
        if "address" in columns and "channel" not in columns:
            columns["channel"] = columns.pop("address")
        return columns
    for column in ("channel", "address"):
        if column in columns and "running channel" not in columns:
            at = columns.pop(column)
            pairs = any(_PAIR.fullmatch(line.cells[at].strip()) for line in lines if at < len(line.cells))
            columns["address" if pairs else "running channel"] = at
    return columns


def _places(columns: dict[Column, int]) -> bool:
    return bool(columns.keys() & {"universe", "channel", "address", "running channel"})


def _no_heading(text: str, name: str) -> Exception:
    first = next((line.strip() for line in text.splitlines() if line.strip()), "")
    says = f"has no heading that names the addresses; its first line is “{first[:60]}”" if first else "is empty"
    remedy = "head the columns: controller, port, run, universe, channel, pixels"
    return refuse(name, says, remedy, rule="heading", area="address")


def _number(text: str) -> int | None:
    """The whole number that a cell holds: `12`, `001`, `1.0`, `1 024`, `Port 2`, `50 px`; None where it holds none."""
    found = _NUMBER.fullmatch(re.sub(r"\s", " ", text).strip())
    return int(re.sub(r"\D", "", found[1])) if found else None


class _Reader:
    """Goes down the lines below the heading, and remembers the box and the port above."""

    def __init__(self, name: str, columns: dict[Column, int], lines: list[_Line]) -> None:
        self.name = name
        self.columns = columns
        self.lines = lines
        self.findings: list[Finding] = []
        self.controller = ""
        self.port = ""
        self.ip = ""
        self.totals = self._channels_are_totals()

    def _say(self, severity: Severity, rule: str, line: int, says: str, remedy: str) -> None:
        self.findings.append(Finding(severity, rule, "address", self.name, says, remedy, line=line))

    def _cell(self, line: _Line, column: Column) -> str:
        at = self.columns.get(column)
        return line.cells[at].strip() if at is not None and at < len(line.cells) else ""

    def _channels_are_totals(self) -> bool:
        """Whether a column `channels` counts those of all a row's pixels, not of one."""
        counts = [_number(self._cell(line, "channels")) for line in self.lines]
        return any(count is not None and count > MOST_LETTERS for count in counts)

    def rows(self) -> Iterator[Row]:
        for line in self.lines:
            if re.match(r"#\s*[^\s\d]", line.cells[0]):
                continue  # a remark; #12 is a number
            if line.last > line.number or any("\n" in cell or "\r" in cell for cell in line.cells):
                says = f"takes lines {line.number} to {line.last} as one row: a quotation mark opens and does not close"
                self._say("error", "row", line.number, says, "take the quotation mark out, and adopt it again")
                continue
            row = self._row(line)
            if row is not None:
                yield row

    def _row(self, line: _Line) -> Row | None:
        box, port = self._cell(line, "controller"), self._cell(line, "port")
        start_of = self._cell(line, "start of")
        runs = tuple(filter(None, (part.strip() for part in self._cell(line, "run").split(","))))
        prop = self._cell(line, "prop")
        if start_of:
            if "/" in start_of:
                box, port = box or start_of.partition("/")[0], port or start_of.partition("/")[2]
            runs = runs or (() if start_of in (box, f"{box}/{port}") else (start_of,))
        if "/" in box and not port and _number(box.rpartition("/")[2]) is not None:
            box, _, port = box.rpartition("/")
        place = self._place(line)
        if place:
            # A row with no address at all, such as a total, is about no box; one with a wrong address is.
            if box and box != self.controller:
                self.port = self.ip = ""
            box = self.controller = box or self.controller
            if not start_of:
                port = self.port = port or self.port
        about = ", ".join(runs) or prop or (f"{box}/{port}" if port else box) or "the row"
        if not isinstance(place, tuple):
            severity: Severity = "error" if place else "note"
            says = f"{about}: {place or 'gives no universe and no channel'}"
            self._say(severity, "row", line.number, says, "correct the row, or leave it if it is no address")
            return None
        number = _number(port) if port else None
        if port and (number is None or not 1 <= number <= MOST_PORTS):
            says = f"{about}: “{port}” is no port number"
            self._say("warning", "row", line.number, f"{says}; its address is taken", "ports count from 1")
            number = None
        self.ip = self._ip(line, about) or self.ip
        pixels, channels, colours, parts = self._pixels(line, about)
        return Row(
            line.number, box, number, runs, prop, *place, pixels, channels, colours, bool(start_of), parts,
            ip=self.ip, note=self._cell(line, "notes"),
        )  # fmt: skip

    def _ip(self, line: _Line, about: str) -> str:
        """The box's address on the network; empty where the row gives none."""
        text = self._cell(line, "ip")
        try:
            return station_address(text) if text else ""
        except ValueError:
            says = f"{about}: “{text}” is no address that a box can have; the rest of the row is taken"
            self._say("warning", "row", line.number, says, "correct it: four numbers, as 192.0.2.21")
            return ""

    def _place(self, line: _Line) -> tuple[int, int] | str:
        """Universe and channel, or why they are none; an empty reason where the row gives none at all."""
        universe, running = self._cell(line, "universe"), self._cell(line, "running channel")
        start = self._cell(line, "channel" if universe else "address") or self._cell(line, "channel")
        if not (universe or running or start):
            return ""
        if not universe:
            if pair := _PAIR.fullmatch(start):
                return _checked(int(pair[1]), int(pair[2]))
            if "universe" in self.columns and not running:
                return "gives no universe"
            at = _number(running or start)
            if not at:
                return f"“{running or start}” is no channel; an address is written 3/100"
            return _checked((at - 1) // CHANNELS + 1, (at - 1) % CHANNELS + 1)
        if not start and "channel" in self.columns:
            return "gives no channel"
        number = _number(universe)
        first = _RANGE.fullmatch(start)
        channel = _number(first[1] if first else start or "1")
        if number is None or channel is None:
            return f"“{universe}” is no universe" if number is None else f"“{start}” is no channel"
        return _checked(number, channel)

    def _pixels(self, line: _Line, about: str) -> tuple[int | None, int | None, str, int]:
        """Its pixels, its channels a pixel and its colour order, as far as the row gives them; of how many runs."""
        text = self._cell(line, "pixels")
        times = _TIMES.fullmatch(text)
        parts = int(times[1]) if times else 1
        each = _number(times[2] if times else text) if text else None
        pixels = None if each is None else each * parts
        if text and (pixels is None or not 1 <= pixels <= MOST_PIXELS):
            says = f"{about}: “{text}” is no number of pixels; its address is taken"
            self._say("warning", "row", line.number, says, "correct the row")
            pixels, parts = None, 1
        width = _number(self._cell(line, "channels a pixel"))
        channels = _number(self._cell(line, "channels"))
        if channels and not self.totals:
            width = width or channels
        elif channels and pixels and channels % pixels == 0:
            width = width or channels // pixels
        elif channels and not pixels and channels % (width or USUAL_CHANNELS) == 0:
            pixels = channels // (width or USUAL_CHANNELS)
        colours = self._cell(line, "colours").upper()
        if not _COLOURS.fullmatch(colours) or len(set(colours)) != len(colours):
            colours = ""
        width = width or len(colours) or None
        colours = colours if width == len(colours) else ""
        return pixels, width if width and width <= MOST_LETTERS else None, colours, parts


def _checked(universe: int, channel: int) -> tuple[int, int] | str:
    if not 1 <= channel <= CHANNELS:
        return f"channel {channel} is none: a universe has channels 1 to {CHANNELS}"
    if not FIRST_UNIVERSE <= universe <= HIGHEST_UNIVERSE:
        return f"universe {universe} is none: universes are {FIRST_UNIVERSE} to {HIGHEST_UNIVERSE}"
    return universe, channel
