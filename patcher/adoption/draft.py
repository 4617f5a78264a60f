"""Drafts a show from its table of addresses alone: boxes, ports, runs, and the rules that the addresses keep.

Whatever the table does not tell is chosen so that every address of the table stays, and is marked `FILL IN`.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import chain, pairwise
from typing import TYPE_CHECKING

from patcher.adoption.address_table import Row
from patcher.patch.patch import Chain, Link, Patch, Start, behind, first_fit, running, written
from patcher.patch.rules import breaches
from patcher.show.parser import read
from patcher.trade import CHANNELS, MOST_PORTS, USUAL_CHANNELS, USUAL_WIDTHS

if TYPE_CHECKING:
    from jinja2 import Template

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
    return _template().render(draft=draft, line=_line, MARK=MARK)


@cache
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    templates = Environment(
        loader=PackageLoader("patcher", "adoption"), undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True,
        autoescape=False,  # noqa: S701  (it is TOML: what a stranger wrote goes through `quoted` or `shown`)
    )  # fmt: skip
    templates.filters |= {"quoted": _quoted, "shown": shown, "said": _said, "kind": _kind}
    return templates.get_template("draft.toml.jinja")


def marks(text: str) -> list[tuple[int, str]]:
    """What the person must fill in: the line, from 1, and what is asked there."""
    found = ((number, line.partition(f"# {MARK}: ")) for number, line in enumerate(text.split("\n"), start=1))
    return [(number, asks) for number, (_, mark, asks) in found if mark]


def _quoted(text: str) -> str:
    """A text as TOML takes it. Source: TOML 1.0, String: a basic string's escapes are JSON's, and DEL needs one too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _said(text: str, name: str) -> str:
    """The table's own name of a thing, where it is another."""
    return f"in the table: {shown(text)}" if text and text != name else ""


def shown(text: str) -> str:
    """A text of a stranger's as it can stand in a comment. Source: TOML 1.0, Comment: no control characters."""
    return "".join(letter if letter.isprintable() else "?" for letter in " ".join(text.split()))[:80]


def _line(code: str, comment: str) -> str:
    return f"{code:<26} # {comment}" if comment else code


def _kind(order: str) -> str:
    """The name of the kind of pixel of a colour order."""
    return "bullet" if order == "RGB" else f"bullet-{order.lower()}"


_ORDERS = {1: "W", 2: "RG"}
Key = tuple[int, int]
"""What tells a row from all others."""


def outline(rows: Sequence[Row], title: str, table: str) -> tuple[Draft, dict[str, Row]]:
    """The draft of a show that has these addresses, and the row of each of its runs.

    Args:
        rows: the table's rows, one a run.
        title: what the show is called.
        table: what the table is called.
    """
    rows = list(_parted(rows))
    names = _Names()
    by_box = _by_box(rows)
    addresses = _addresses(by_box)
    boxes = {key: names.give(own[0].controller or "box", "box") for key, own in by_box.items()}
    props = {names.give(own[0].prop, "prop"): own for own in _props(rows)}
    run_of = _run_names(rows, boxes, names)
    widths = {row.key: _channels(row, following) for own in by_box.values() for row, following in _with_next(own)}
    drafted = tuple(_run(row, run_of[row.key], widths[row.key]) for row in rows)
    laid = [_box(boxes[key], own, addresses.get(key, ""), run_of, widths) for key, own in by_box.items()]
    drafted_boxes, starts = zip(*laid, strict=True)
    members = {prop: tuple(run_of[row.key] for row in own) for prop, own in props.items()}
    draft = Draft(
        title, table, min(row.universe for row in rows), "fresh", False,
        frozenset(row.colours for row in rows) - {""}, drafted_boxes, drafted, members,
    )  # fmt: skip
    return _fitted(draft, Patch(tuple(chain.from_iterable(starts)))), {run_of[row.key]: row for row in rows}


def _parted(rows: Sequence[Row]) -> Iterator[Row]:
    """The rows, those of several runs of one length (`3 x 190`) as a row for each, one behind the other."""
    behind_it = {row.key: following for own in _by_box(rows).values() for row, following in _with_next(own)}
    for row in rows:
        if row.parts == 1 or row.pixels is None:
            yield row
        else:
            yield from parts_of(row, [_channels(row, behind_it[row.key])] * row.parts)


def parts_of(row: Row, widths: Sequence[int]) -> Iterator[Row]:
    """A row of several runs of one length as a row for each, one behind the other, by the channels that a pixel of each
    takes.
    """
    at, name, pixels = running(row.universe, row.channel), " ".join(row.runs) or row.prop, row.pixels or 0
    for part, width in enumerate(widths, start=1):
        universe, channel = written(at := first_fit(at, width))
        yield replace(
            row, part=part, parts=1, pixels=pixels // row.parts, universe=universe, channel=channel,
            runs=(f"{name} {part}",) if name else (), prop=row.prop or name, channels=width,
        )  # fmt: skip
        at = behind(at, pixels // row.parts, width)


def _by_box(rows: Iterable[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(folded(row.controller), []).append(row)
    return found


def _addresses(by_box: Mapping[str, Sequence[Row]]) -> dict[str, str]:
    """The address on the network of each box for which the table gives one, and no other box the same."""
    given = {key: next((row.ip for row in own if row.ip), "") for key, own in by_box.items()}
    uses = Counter(given.values())
    return {key: ip for key, ip in given.items() if ip and uses[ip] == 1}


def _props(rows: Sequence[Row]) -> list[list[Row]]:
    """The rows of each prop, without those whose one run is the prop itself."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        if row.prop:
            found.setdefault(folded(row.prop), []).append(row)
    return [own for key, own in found.items() if len(own) > 1 or (own[0].runs and folded(" ".join(own[0].runs)) != key)]


class _Names:
    """Gives names that are legal, each once, whatever it names."""

    def __init__(self) -> None:
        self._kinds: dict[str, str] = {}

    def give(self, said: str, kind: str) -> str:
        """The name of a thing of that kind; where another has it, the kind or a number tells them apart."""
        name = legal_name(said, kind)
        if self._kinds.get(name, kind) != kind:
            name = f"{name}-{kind}"
        number, base = 1, name
        while name in self._kinds:
            number += 1
            name = f"{base}-{number}"
        self._kinds[name] = kind
        return name


def _run_names(rows: Sequence[Row], boxes: dict[str, str], names: _Names) -> dict[Key, str]:
    """The name of each row's run, by the row's key."""
    uses = Counter(folded(" ".join(row.runs)) for row in rows)
    given: dict[Key, str] = {}
    for row in rows:
        said = " ".join(row.runs) or row.prop
        if row.runs and row.prop and uses[folded(said)] > 1:
            said = f"{row.prop} {said}"
        if not said:
            box = boxes[folded(row.controller)]
            said = f"{box} {row.port}" if row.port is not None else f"{box} run"
        given[row.key] = names.give(said, "run")
    return given


def _with_next(rows: Sequence[Row]) -> list[tuple[Row, Row | None]]:
    return list(zip(rows, [*rows[1:], None], strict=True))


def _channels(row: Row, following: Row | None) -> int:
    """Channels a pixel: as the table tells, or as the step to the next address shows, else three."""
    if row.channels or not row.pixels or following is None or following.channel == 1:
        return row.channels or USUAL_CHANNELS
    end = running(following.universe, following.channel)
    return next((width for width in USUAL_WIDTHS if _end(row, width) == end), USUAL_CHANNELS)


def _end(row: Row, width: int) -> int:
    return behind(running(row.universe, row.channel), row.pixels or 1, width)


def _run(row: Row, name: str, width: int) -> DraftRun:
    order = row.colours or _ORDERS.get(width) or "RGBWACVUYDEF"[:width]
    return DraftRun(name, row.name, order, row.pixels, len(row.runs) > 1, row.note)


def _box(
    name: str, rows: Sequence[Row], address: str, run_of: dict[Key, str], widths: dict[Key, int]
) -> tuple[DraftBox, list[Start]]:
    """A box with its runs on its ports, and what is typed into it."""
    ports = _ports(rows)
    by_place = {port: sorted(own, key=lambda row: (row.universe, row.channel)) for port, own in ports.items()}
    follows = all(_follow(one, two, widths) for own in by_place.values() for one, two in pairwise(own))
    ordered = dict(sorted((by_place if follows else ports).items()))
    starts: list[Start] = []
    for port, own in ordered.items():
        links = [Link(port, run_of[row.key], row.pixels or 1, widths[row.key]) for row in own]
        if follows:
            starts.append(Start(Chain(name, port, None, tuple(links)), own[0].universe, own[0].channel))
        else:
            starts += [
                Start(Chain(name, port, link.run, (link,)), row.universe, row.channel)
                for link, row in zip(links, own, strict=True)
            ]
    chains = {port: tuple(run_of[row.key] for row in own) for port, own in ordered.items()}
    told = all(row.port is not None for row in rows)
    box = DraftBox(name, rows[0].controller, "port" if follows else "run", chains, told, address=address)
    return box, starts


def _ports(rows: Sequence[Row]) -> dict[int, list[Row]]:
    """The rows of a box by their port; each that names none on a port of its own behind those that do."""
    highest = max((row.port for row in rows if row.port is not None), default=0)
    ports: dict[int, list[Row]] = {}
    for row in rows:
        if row.port is None:
            highest = min(highest + 1, MOST_PORTS)
        ports.setdefault(highest if row.port is None else row.port, []).append(row)
    return ports


def _follow(one: Row, two: Row, widths: dict[Key, int]) -> bool:
    """Whether a run begins where a chain puts it that comes from the other."""
    end = first_fit(_end(one, widths[one.key]), widths[two.key])
    return one.pixels is not None and end == running(two.universe, two.channel)


def _fitted(draft: Draft, patch: Patch) -> Draft:
    """The draft with the rules that its addresses keep to, so that none of them must move."""
    if any(start.channel != 1 for start in patch.starts):
        draft = replace(draft, placement="follow")
    show = read(draft_text(draft)).show
    found = [] if show is None else breaches(show, patch)
    broken = {(finding.rule, finding.where) for finding in found}
    boxes = tuple(
        replace(box, consecutive=("consecutive", f"controller.{box.name}") not in broken) for box in draft.boxes
    )
    draft = replace(draft, boxes=boxes, share_universes=any(rule == "shared-universe" for rule, _ in broken))
    if draft.placement == "fresh":
        return draft
    return replace(draft, boxes=tuple(_pinned(box, patch, draft.share_universes) for box in draft.boxes))


def _pinned(box: DraftBox, patch: Patch, share: bool) -> DraftBox:
    """The box with its starts pinned, where they do not follow each other as the placement `follow` lays them."""
    own = patch.boxes[box.name]
    first = own[0]
    ends = {start.end for start in patch.starts if start.controller != box.name}
    begins = first.at % CHANNELS == 0 or (share and any(_fits(end, first) for end in ends))
    if begins and all(_fits(one.end, two) for one, two in pairwise(own)):
        return box
    return replace(box, pins={start.chain.key: start.address for start in own})


def _fits(end: int, start: Start) -> bool:
    return first_fit(end, start.chain.links[0].channels) == start.at
