"""What the columns of a table of addresses mean, by the trade's words in its heading."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

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

BEFORE = r"(?:(?:port|p|output|out|universe|uni|u|channel|chan|ch|c|no|nr|#)[.:#]?\s*)?"
_BETWEEN = r"(?:\s*[/:]\s*|\s*,\s*(?=[a-z])|\s+(?=[a-z]))"
PAIR = re.compile(rf"{BEFORE}(\d{{1,9}}){_BETWEEN}{BEFORE}(\d{{1,9}})", re.IGNORECASE)
"""A universe and a channel in one cell: `3/100`, `3: 100`, `universe 3, channel 100`."""
_IPV4 = re.compile(r"\d{1,3}(?:\.\d{1,3}){3}")


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


def read_columns(heading: list[str], rows: Sequence[Sequence[str]]) -> dict[Column, int]:
    """Which column means what; one headed “Address” that holds addresses on the network is that of the boxes."""
    columns = _columns(heading)
    at = columns.get("address")
    if at is None:
        return columns
    cells = _column(rows, at)
    if not cells or not all(map(_IPV4.fullmatch, cells)):
        return columns
    others = _columns([*heading[:at], "", *heading[at + 1 :]])
    if not name_places(others):
        return columns
    others.setdefault("ip", at)
    return others


def counted_through(columns: dict[Column, int], rows: Sequence[Sequence[str]]) -> dict[Column, int]:
    """The columns, a start beside a universe being its channel; a channel with none is counted through, or a pair."""
    if "universe" in columns:
        if "address" in columns and "channel" not in columns:
            columns["channel"] = columns.pop("address")
        return columns
    for column in ("channel", "address"):
        if column in columns and "running channel" not in columns:
            at = columns.pop(column)
            pairs = any(map(PAIR.fullmatch, _column(rows, at)))
            columns["address" if pairs else "running channel"] = at
    return columns


def name_places(columns: dict[Column, int]) -> bool:
    """Whether the columns say where something begins."""
    return bool(columns.keys() & {"universe", "channel", "address", "running channel"})


def _column(rows: Sequence[Sequence[str]], at: int) -> list[str]:
    """What stands in a column, empty cells left out."""
    return [row[at].strip() for row in rows if at < len(row) and row[at].strip()]
