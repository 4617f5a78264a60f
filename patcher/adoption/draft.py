"""A show file drafted from what a table of addresses tells; what it does not tell is marked `FILL IN`."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

MARK = "FILL IN"
"""Marks each comment where the person must look; they search for it."""
_LONGEST_NAME = 50


@dataclass(frozen=True, slots=True)
class DraftBox:
    """A box as the table shows it.

    Attributes:
        name: its name in the show file.
        said: its name in the table.
        start_per: what seems to have a start of its own in it: `port` or `run`.
        ports: its runs by port, in data order.
        ports_told: whether the table gives port numbers.
        consecutive: whether its universes follow each other.
        pins: starts that no placement gives, as they are pinned.
        address: its address on the network; empty where the table does not tell.
    """

    name: str
    said: str
    start_per: str
    ports: Mapping[int, tuple[str, ...]]
    ports_told: bool
    consecutive: bool = True
    pins: Mapping[str, str] = field(default_factory=dict)
    address: str = ""


@dataclass(frozen=True, slots=True)
class DraftRun:
    """A run as the table shows it.

    Attributes:
        name: its name in the show file.
        said: its name in the table.
        colour_order: its pixels'.
        pixels: how many; None where the table does not tell.
        several: whether the table names several runs here, with one address.
        note: what the table remarks of it.
    """

    name: str
    said: str
    colour_order: str
    pixels: int | None
    several: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Draft:
    """A show as the table shows it.

    Attributes:
        title: what it is called.
        table: the name of the table.
        first_universe: the lowest one.
        placement: the placement that its starts keep to.
        share_universes: whether boxes share universes in it.
        orders_told: the colour orders that the table tells; the others are taken for granted.
        boxes: in order of appearance.
        runs: in order of appearance.
        props: each with its runs.
    """

    title: str
    table: str
    first_universe: int
    placement: str
    share_universes: bool
    orders_told: frozenset[str]
    boxes: tuple[DraftBox, ...]
    runs: tuple[DraftRun, ...]
    props: Mapping[str, tuple[str, ...]]


def legal_name(text: str, kind: str) -> str:
    """A name as a show file takes it that is as near as can be: `6 ft Star` → `run-6-ft-star` for the kind `run`."""
    plain = unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode()
    name = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST_NAME].strip("-")
    return name if name[:1].isalpha() else f"{kind}-{name}".rstrip("-")


def folded(name: str) -> str:
    """A name without what people write now so, now so: capitals, spaces, dashes, underscores."""
    return re.sub(r"[\s_-]+", "", name.casefold())


def draft_text(draft: Draft) -> str:
    """The text of the show file."""
    return "\n".join(_lines(draft)) + "\n"


def marks(text: str) -> list[tuple[int, str]]:
    """What the person must fill in: the line, from 1, and what is asked there."""
    found = ((number, line.partition(f"# {MARK}: ")) for number, line in enumerate(text.split("\n"), start=1))
    return [(number, asks) for number, (_, mark, asks) in found if mark]


def _quoted(text: str) -> str:
    """A text as TOML takes it. Source: TOML 1.0, String: a basic string's escapes are JSON's, and DEL needs one too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _said(text: str, name: str) -> str:
    """A comment with the table's own name, where it is another."""
    return f"# in the table: {shown(text)}" if text and text != name else ""


def shown(text: str) -> str:
    """A text of a stranger's as it can stand in a comment. Source: TOML 1.0, Comment: no control characters."""
    return "".join(letter if letter.isprintable() else "?" for letter in " ".join(text.split()))[:80]


def _line(code: str, comment: str = "") -> str:
    return f"{code:<26} {comment}".rstrip() if comment else code


def _lines(draft: Draft) -> Iterator[str]:
    yield f"# Drafted by Patcher from the table {shown(draft.table)}."
    yield f"# What the table does not tell is marked: look for {MARK}, and take each mark away."
    yield "# Then: patcher check, and patcher patch, with the name of this file. Lengths are in metres."
    yield ""
    yield "[show]"
    yield f"title = {_quoted(draft.title)}"
    yield _line(f"first_universe = {draft.first_universe}", "# the lowest of the table")
    how = {
        "fresh": "# each start of the table is on channel 1 of a universe",
        "follow": "# the table's starts are not all on channel 1",
    }[draft.placement]
    yield _line(f'placement = "{draft.placement}"', how)
    if draft.share_universes:
        yield _line("share_universes = true", "# in the table, boxes share universes")
    yield _line("frame_rate = 40", f"# {MARK}: frames a second, as in your player")
    kinds = list(dict.fromkeys(run.colour_order for run in draft.runs))
    for order in kinds:
        yield ""
        yield f"[pixel.{_type_name(order)}]"
        asks = "the order in which the chip takes its colours" if order not in draft.orders_told else ""
        yield _line(f'colour_order = "{order}"', f"# {MARK}: {asks}" if asks else "# as in the table")
        yield f"# {MARK}: volts, channel_ma, idle_ma, min_volts, awg and pitch, from its data sheet"
    for box in draft.boxes:
        yield from _box(box)
    for run in draft.runs:
        yield ""
        yield _line(f"[run.{run.name}]", _said(run.said, run.name))
        if run.note:
            yield f"# the table's note: {shown(run.note)}"
        yield f'pixel = "{_type_name(run.colour_order)}"'
        asks = f"# {MARK}: part it, with how many pixels each has" if run.several else ""
        asks = asks if run.pixels else f"# {MARK}: how many pixels; the table does not tell"
        yield _line(f"pixels = {run.pixels or 1}", asks)
    if draft.runs:
        yield f"# {MARK}: give each run its shape, where it hangs, and its lead in metres (shape, lead)"
    for prop, runs in draft.props.items():
        yield ""
        yield f"[prop.{prop}]"
        yield f"runs = [{', '.join(map(_quoted, runs))}]"


def _box(box: DraftBox) -> Iterator[str]:
    yield ""
    yield _line(f"[controller.{box.name}]", _said(box.said, box.name))
    if box.address:
        yield _line(f'address = "{box.address}"', "# as in the table")
        yield _line('delivery = "unicast"', f'# {MARK}: or "multicast", as set in the box')
    else:
        yield _line('delivery = "multicast"', f'# {MARK}: or "unicast", and address = the one set in the box')
    yield _line('protocol = "e131"', f'# {MARK}: or "artnet", as set in the box; it then is unicast')
    yield _line(f'start_per = "{box.start_per}"', "# as the table's addresses go")
    yield _line(f"ports = {max(box.ports)}", f"# {MARK}: how many ports it has; so many the table uses")
    if not box.consecutive:
        yield _line("consecutive = false", "# in the table its universes have gaps")
    yield ""
    asks = "" if box.ports_told else f"# {MARK}: which run hangs on which output; the table does not tell"
    yield _line(f"[controller.{box.name}.port]", asks)
    for port, runs in sorted(box.ports.items()):
        yield f"{port} = [{', '.join(map(_quoted, runs))}]"
    if box.pins:
        yield ""
        yield _line(f"[controller.{box.name}.start]", "# pinned where the table has them")
        for key, start in box.pins.items():
            yield f'{key} = "{start}"'


def _type_name(order: str) -> str:
    """The name of the kind of pixel of a colour order."""
    return "bullet" if order == "RGB" else f"bullet-{order.lower()}"
