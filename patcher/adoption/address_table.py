"""Reads a table of addresses as people bring it: the text of a CSV file → rows, and findings for the rest.

Columns are known by the trade's words, in any order; the separator is whichever makes most sense of the heading. A cell
of the box or the port that is left empty is the one above it, as in a table with merged cells.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import StringIO
from typing import NamedTuple

from patcher.adoption.headings import BEFORE, PAIR, Column, counted_through, name_places, read_columns
from patcher.errors import Finding, Severity, refuse
from patcher.show.tables import MOST_PIXELS, station_address
from patcher.trade import CHANNELS, FIRST_UNIVERSE, HIGHEST_UNIVERSE, MOST_LETTERS, MOST_PORTS, USUAL_CHANNELS

_BEHIND = r"\s*(?:px|pixels?|lamps?|lights?|leds?|ch|channels?)?\.?"
_NUMBER = re.compile(rf"{BEFORE}(\d{{1,3}}(?:[ ',]\d{{3}})+|\d{{1,12}})(?:[.,]0{{1,2}})?{_BEHIND}", re.IGNORECASE)
_TIMES = re.compile(r"(\d{1,3})\s*[x×*]\s*(.+)", re.IGNORECASE)
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
            columns = read_columns(line.cells, [below.cells for below in lines[index + 1 :]])
            if name_places(columns) and len(columns) >= 2 and (found is None or len(columns) > found[0]):
                found = len(columns), lines, index
    if found is None:
        raise _no_heading(text, name)
    _, lines, index = found
    heading = lines[index].cells
    below = [line.cells for line in lines[index + 1 :]]
    columns = counted_through(read_columns(heading, below), below)
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
        start_of, prop = self._cell(line, "start of"), self._cell(line, "prop")
        box, port, runs = self._names(line, start_of)
        place = self._place(line)
        if place:
            # A row with no address at all, such as a total, is about no box; one with a wrong address is.
            box, port = self._carried_on(box, port, is_start=bool(start_of))
        about = ", ".join(runs) or prop or (f"{box}/{port}" if port else box) or "the row"
        if not isinstance(place, tuple):
            says = f"{about}: {place or 'has no universe and no channel'}"
            remedy = "correct the row, or leave it if it is not an address"
            self._say("error" if place else "note", "row", line.number, says, remedy)
            return None
        self._hold_against(line, about, place)
        number = self._port_number(line, about, port)
        self.ip = self._ip(line, about) or self.ip
        pixels, parts = self._count(line, about)
        pixels, channels, colours = self._widths(line, pixels)
        return Row(
            line.number, box, number, runs, prop, *place, pixels, channels, colours, bool(start_of), parts,
            ip=self.ip, note=self._cell(line, "notes"),
        )  # fmt: skip

    def _names(self, line: _Line, start_of: str) -> tuple[str, str, tuple[str, ...]]:
        """The box, the port and the runs that the row names, wherever it names them."""
        box, port = self._cell(line, "controller"), self._cell(line, "port")
        runs = tuple(filter(None, (part.strip() for part in self._cell(line, "run").split(","))))
        if "/" in start_of:
            box, port = box or start_of.partition("/")[0], port or start_of.partition("/")[2]
        if start_of and start_of not in (box, f"{box}/{port}"):
            runs = runs or (start_of,)
        if "/" in box and not port and _number(box.rpartition("/")[2]) is not None:
            box, _, port = box.rpartition("/")
        return box, port, runs

    def _carried_on(self, box: str, port: str, *, is_start: bool) -> tuple[str, str]:
        """The box and the port, those above where the row leaves them empty."""
        if box and box != self.controller:
            self.port = self.ip = ""
        self.controller = box or self.controller
        if not is_start:
            port = self.port = port or self.port
        return self.controller, port

    def _port_number(self, line: _Line, about: str, port: str) -> int | None:
        """The port's number; None where the row has none that can be."""
        number = _number(port) if port else None
        if port and (number is None or not 1 <= number <= MOST_PORTS):
            says = f"{about}: “{port}” is not a port number; its address is used"
            self._say("warning", "row", line.number, says, "ports count from 1")
            return None
        return number

    def _ip(self, line: _Line, about: str) -> str:
        """The box's address on the network; empty where the row gives none."""
        text = self._cell(line, "ip")
        try:
            return station_address(text) if text else ""
        except ValueError:
            says = f"{about}: “{text}” is not an address that a box can have; the rest of the row is used"
            self._say("warning", "row", line.number, says, "correct it: four numbers, as 192.0.2.21")
            return ""

    def _place(self, line: _Line) -> tuple[int, int] | str:
        """Universe and channel, or why they are none; an empty reason where the row gives none at all."""
        universe, running = self._cell(line, "universe"), self._cell(line, "running channel")
        start = self._cell(line, "channel" if universe else "address") or self._cell(line, "channel")
        if universe:
            return self._in_universe(universe, start)
        if pair := PAIR.fullmatch(start):
            return _checked(int(pair[1]), int(pair[2]))
        if start and "universe" in self.columns and not running:
            return "has no universe"
        return _counted_from_first(running or start)

    def _in_universe(self, universe: str, start: str) -> tuple[int, int] | str:
        if not start and "channel" in self.columns:
            return "has no channel"
        number = _number(universe)
        first = _RANGE.fullmatch(start)
        channel = _number(first[1] if first else start or "1")
        if number is None or channel is None:
            return f"“{universe}” is not a universe" if number is None else f"“{start}” is not a channel"
        return _checked(number, channel)

    def _hold_against(self, line: _Line, about: str, place: tuple[int, int]) -> None:
        """Say which other cells of the row give another address than the one that is taken."""
        absolute = (place[0] - 1) * CHANNELS + place[1]
        others: list[str] = []
        running = _number(self._cell(line, "running channel"))
        if running is not None and running != absolute:
            universe, channel = divmod(running - 1, CHANNELS)
            others.append(f"absolute channel {running} is " + (f"{universe + 1}/{channel + 1}" if running else "none"))
        for column in ("channel", "address"):
            text = self._cell(line, column)
            pair, first = PAIR.fullmatch(text), _RANGE.fullmatch(text)
            number = _number(first[1] if first else text)
            if pair and (int(pair[1]), int(pair[2])) != place:
                others.append(f"{column} is “{text}”")
            elif not pair and number is not None and number not in (place[1], absolute):
                others.append(f"{column} is {number}")
        written = f"{place[0]}/{place[1]}"
        for says in others:
            says = f"{about}: {says}, but the row says {written}; {written} was taken"
            self._say(
                "warning", "row", line.number, says, "look in the box which of them is right, and correct the row"
            )

    def _count(self, line: _Line, about: str) -> tuple[int | None, int]:
        """Its pixels, where the row gives them, and of how many runs."""
        text = self._cell(line, "pixels")
        times = _TIMES.fullmatch(text)
        parts = int(times[1]) if times else 1
        each = _number(times[2] if times else text)
        if not text or (each is not None and 1 <= each * parts <= MOST_PIXELS):
            return None if each is None else each * parts, parts
        says = f"{about}: “{text}” is not a number of pixels; its address is used"
        self._say("warning", "row", line.number, says, "correct the row")
        return None, 1

    def _widths(self, line: _Line, pixels: int | None) -> tuple[int | None, int | None, str]:
        """Its pixels, its channels a pixel and its colour order, each as far as the row tells."""
        width, channels = _number(self._cell(line, "channels a pixel")), _number(self._cell(line, "channels"))
        each = width or USUAL_CHANNELS
        if channels and not self.totals:
            width = width or channels
        elif channels and pixels and channels % pixels == 0:
            width = width or channels // pixels
        elif channels and not pixels and channels % each == 0:
            pixels = channels // each
        colours = _colour_order(self._cell(line, "colours"))
        width = width or len(colours)
        return pixels, width if 1 <= width <= MOST_LETTERS else None, colours if width == len(colours) else ""


def _colour_order(text: str) -> str:
    """The colour order that a cell holds; empty where it holds none."""
    order = text.upper()
    return order if _COLOURS.fullmatch(order) and len(set(order)) == len(order) else ""


def _counted_from_first(text: str) -> tuple[int, int] | str:
    """Universe and channel of a channel that is counted from 1/1; an empty reason where there is no text."""
    at = _number(text)
    if not at:
        return text and f"“{text}” is not a channel; an address is written 3/100"
    return _checked((at - 1) // CHANNELS + 1, (at - 1) % CHANNELS + 1)


def _checked(universe: int, channel: int) -> tuple[int, int] | str:
    if not 1 <= channel <= CHANNELS:
        return f"there is no channel {channel}: a universe has channels 1 to {CHANNELS}"
    if not FIRST_UNIVERSE <= universe <= HIGHEST_UNIVERSE:
        return f"there is no universe {universe}: universes are {FIRST_UNIVERSE} to {HIGHEST_UNIVERSE}"
    return universe, channel
