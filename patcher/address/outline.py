"""The outline of a show, told from its table of addresses alone: boxes, ports and runs, and the rules it seems to keep.

Whatever the table does not tell is chosen so that every address of the table stays.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from patcher.address.patch import CHANNELS, Chain, Link, Patch, Start, behind, first_fit, running
from patcher.address.rules import breaches
from patcher.show.drafting import Draft, DraftBox, DraftRun, draft_text, folded, legal_name
from patcher.show.listing import Row
from patcher.show.reading import read

_ORDERS = {1: "W", 2: "RG", 3: "RGB", 4: "RGBW"}
_MOST_PORTS = 10_000


def outline(rows: Sequence[Row], title: str, table: str) -> tuple[Draft, dict[str, Row]]:
    """The draft of a show that has these addresses, and the row of each of its runs.

    Args:
        rows: the table's rows, one a run.
        title: what the show is called.
        table: what the table is called.
    """
    names = _Names()
    by_box: dict[str, list[Row]] = {}
    for row in rows:
        by_box.setdefault(folded(row.controller), []).append(row)
    boxes = {key: names.give(own[0].controller or "box", "box") for key, own in by_box.items()}
    by_prop = _props(rows)
    props = {key: names.give(own[0].prop, "prop") for key, own in by_prop.items()}
    run_of = _run_names(rows, boxes, names)
    widths = {row.line: _channels(row, behind_it) for own in by_box.values() for row, behind_it in _with_next(own)}
    orders = {row.line: row.colours or _order(widths[row.line]) for row in rows}
    drafted = tuple(
        DraftRun(run_of[row.line], row.name, orders[row.line], row.pixels, len(row.runs) > 1) for row in rows
    )
    found: list[DraftBox] = []
    starts: list[Start] = []
    for key, own in by_box.items():
        box, its_starts = _box(boxes[key], own, run_of, widths)
        found.append(box)
        starts += its_starts
    members = {props[key]: tuple(run_of[row.line] for row in own) for key, own in by_prop.items()}
    draft = Draft(
        title, table, min(row.universe for row in rows), "fresh", False,
        frozenset(row.colours for row in rows if row.colours), tuple(found), drafted, members,
    )  # fmt: skip
    return _fitted(draft, Patch(tuple(starts))), {run_of[row.line]: row for row in rows}


def _props(rows: Sequence[Row]) -> dict[str, list[Row]]:
    """The rows of each prop, without those whose one run is the prop itself."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        if row.prop:
            found.setdefault(folded(row.prop), []).append(row)
    return {
        key: own for key, own in found.items()
        if len(own) > 1 or (own[0].runs and folded(" ".join(own[0].runs)) != key)
    }  # fmt: skip


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


def _run_names(rows: Sequence[Row], boxes: dict[str, str], names: _Names) -> dict[int, str]:
    """The name of each row's run, by the row's line."""
    uses = Counter(folded(" ".join(row.runs)) for row in rows)
    given: dict[int, str] = {}
    for row in rows:
        said = " ".join(row.runs) or row.prop
        if row.runs and row.prop and uses[folded(said)] > 1:
            said = f"{row.prop} {said}"
        if not said:
            box = boxes[folded(row.controller)]
            said = f"{box} {row.port}" if row.port is not None else f"{box} run"
        given[row.line] = names.give(said, "run")
    return given


def _with_next(rows: Sequence[Row]) -> list[tuple[Row, Row | None]]:
    return list(zip(rows, [*rows[1:], None], strict=True))


def _channels(row: Row, following: Row | None) -> int:
    """Channels a pixel: as the table tells, or as the step to the next address shows, else three."""
    if row.channels or not row.pixels or following is None or following.channel == 1:
        return row.channels or 3
    end = running(following.universe, following.channel)
    return next((width for width in (3, 4) if _end(row, width) == end), 3)


def _end(row: Row, width: int) -> int:
    return behind(running(row.universe, row.channel), row.pixels or 1, width)


def _order(width: int) -> str:
    return _ORDERS.get(width) or "RGBWACVUYDEF"[:width]


def _box(
    name: str, rows: Sequence[Row], run_of: dict[int, str], widths: dict[int, int]
) -> tuple[DraftBox, list[Start]]:
    """A box with its runs on its ports, and what is typed into it."""
    told = [row.port for row in rows if row.port is not None]
    ports: dict[int, list[Row]] = {}
    highest = max(told, default=0)
    for row in rows:
        if row.port is None:
            highest = min(highest + 1, _MOST_PORTS)
        ports.setdefault(highest if row.port is None else row.port, []).append(row)
    by_place = {port: sorted(own, key=lambda row: (row.universe, row.channel)) for port, own in ports.items()}
    follows = all(_follow(one, two, widths) for own in by_place.values() for one, two in pairwise(own))
    ordered = dict(sorted((by_place if follows else ports).items()))
    starts: list[Start] = []
    for port, own in ordered.items():
        links = [Link(port, run_of[row.line], row.pixels or 1, widths[row.line]) for row in own]
        if follows:
            starts.append(Start(Chain(name, port, None, tuple(links)), own[0].universe, own[0].channel))
        else:
            starts += [
                Start(Chain(name, port, link.run, (link,)), row.universe, row.channel)
                for link, row in zip(links, own, strict=True)
            ]
    chains = {port: tuple(run_of[row.line] for row in own) for port, own in ordered.items()}
    said = rows[0].controller
    return DraftBox(name, said, "port" if follows else "run", chains, len(told) == len(rows)), starts


def _follow(one: Row, two: Row, widths: dict[int, int]) -> bool:
    """Whether a run begins where a chain puts it that comes from the other."""
    end = first_fit(_end(one, widths[one.line]), widths[two.line])
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
    own = [start for start in patch.starts if start.controller == box.name]
    first = own[0]
    ends = {start.end for start in patch.starts if start.controller != box.name}
    begins = first.at % CHANNELS == 0 or (share and any(_fits(end, first) for end in ends))
    if begins and all(_fits(one.end, two) for one, two in pairwise(own)):
        return box
    return replace(box, pins={start.chain.key: f"{start.universe}/{start.channel}" for start in own})


def _fits(end: int, start: Start) -> bool:
    return first_fit(end, start.chain.links[0].channels) == start.at
