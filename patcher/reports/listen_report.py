"""What `listen` prints: what collides first, then the universes, the sources, the boxes and the pixels that are lit."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import asdict
from itertools import groupby
from typing import TYPE_CHECKING, Any

from patcher.errors import first_few
from patcher.listener import contention
from patcher.listener.contention import by_universe
from patcher.listener.listen_sockets import TOO_MANY, TOO_MANY_GROUPS
from patcher.listener.lit_pixels import lit
from patcher.terminal.printed import count, finding_json, in_words, ranges, say_table
from patcher.trade import PROTOCOL_NAMES

if TYPE_CHECKING:
    from patcher.errors import Finding
    from patcher.listener.heard import Announced, Heard, Stream, Synchronization
    from patcher.listener.listen_session import Change, ListenedShow, Outcome
    from patcher.listener.lit_pixels import Lit
    from patcher.listener.presence import Presence

LONGEST_NAME = 24
MOST_LIT = 8
MOST_DEAF = 4
MOST_SOURCES = 20
MOST_ROWS = 200
MUCH = 512 * 1024
"""Octets that wait to be read: more than a busy moment leaves."""


def say(outcome: Outcome) -> None:
    """Print what was heard, for people."""
    heard, scene = outcome.heard, outcome.scene
    live = {stream.universe for stream in heard.streams if stream.state == "live"}
    print(
        f"Listened for {outcome.seconds:.1f} s to {count(outcome.groups, 'multicast group')} and this machine's own "
        f"addresses; {count(len(live), 'universe')} heard."
    )
    for words in (*_not_listened(outcome.deaf), *_not_of_yard(scene), *_troubles(outcome)):
        _wrapped(words)
    for finding in outcome.findings:
        first, then = in_words(finding).split("\n", 1)
        _wrapped(first, "       ")
        _wrapped(then, "         ")
    if heard.streams:
        print()
        _say_universes(heard.streams, _contested(outcome.findings))
    if heard.streams or heard.announced or heard.synchronizations:
        print("\nSources")
        _say_sources(heard)
    _say_boxes(outcome)
    if scene.wiring is not None and scene.patch is not None and live:
        print()
        _say_lit(lit(heard, scene.wiring, scene.patch))


def _not_of_yard(scene: ListenedShow) -> Iterator[str]:
    """That frames which go to one box of the yard cannot be heard beside it: only one program gets such a datagram."""
    if boxes := scene.unheard_boxes:
        named = first_few(boxes, MOST_SOURCES)
        yield f"Not heard: what is sent straight to boxes of the yard ({named}). The yard takes it and shows it."


def changes(scene: ListenedShow) -> Change:
    """Prints a line whenever a stream comes or goes, or sources begin or cease to collide."""
    known: dict[tuple[str, str], set[int]] = {}
    said: set[tuple[str, str]] = set()

    def changed(heard: Heard, seconds: float) -> None:
        nonlocal known, said
        now: dict[tuple[str, str], set[int]] = {}
        for stream in heard.streams:
            now.setdefault((stream.who, stream.state), set()).add(stream.universe)
        for (who, state), universes in now.items():
            if new := sorted(universes - known.get((who, state), set())):
                verb = {"live": "sends", "terminated": "has ended", "gone": "is gone from"}[state]
                print(f"{seconds:7.1f} s  {who} {verb} {contention.in_words(new)}", flush=True)
        wrong = {(each.where, each.says): each for each in scene.findings(heard) if each.severity != "note"}
        for key in wrong.keys() - said:
            print(f"{seconds:7.1f} s  {wrong[key].says}; {wrong[key].remedy}", flush=True)
        known, said = now, set(wrong)

    return changed


def _not_listened(deaf: dict[str, str]) -> Iterator[str]:
    """Where could not be listened, by reason."""
    by_reason: dict[str, list[str]] = {}
    for place, reason in deaf.items():
        by_reason.setdefault(reason, []).append(place)
    for reason, places in by_reason.items():
        remedy = ""
        if any(place.startswith("239.") for place in places):
            too_many = reason in (TOO_MANY, TOO_MANY_GROUPS)
            remedy = " Name fewer with --universe." if too_many else " Choose a network with --interface."
        yield f"Could not listen on {first_few(places, MOST_DEAF)}: {reason}.{remedy}"


def _troubles(outcome: Outcome) -> Iterator[str]:
    """What was missed, and why."""
    heard, burden = outcome.heard, outcome.burden
    if heard.malformed:
        yield f"{count(heard.malformed, 'packet')} could not be read: {'; '.join(heard.reasons)}."
    if heard.left_aside:
        yield f"{count(heard.left_aside, 'packet')} ignored: there are too many sources to tell apart."
    if burden.dropped:
        yield (
            f"This machine was too slow for {count(burden.dropped, 'packet')}: losses listed below may be its own. "
            "Listen to fewer universes."
        )
    elif burden.waiting > MUCH:
        yield "This machine fell behind: the rates below are too low. Listen to fewer universes."


def _wrapped(text: str, indent: str = "") -> None:
    if sys.stdout.isatty():
        columns = max(40, shutil.get_terminal_size().columns)
        text = textwrap.fill(text, columns, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    print(text)


def _contested(findings: Iterable[Finding]) -> set[int]:
    """The universes on which sources collide."""
    numbers = (each.where.removeprefix("universe.") for each in findings if each.rule in contention.RULES)
    return {int(number) for number in numbers if number.isdigit()}


def _ordered(streams: Iterable[Stream], contested: set[int]) -> dict[int, list[Stream]]:
    """The streams of each universe; contested universes first, then the others, each rising."""
    every = by_universe(streams)
    order = [*sorted(contested & every.keys()), *(universe for universe in every if universe not in contested)]
    return {universe: every[universe] for universe in order}


# --- universes ----------------------------------------------------------------------------------------------------

RIGHT = "universe Priority a second"


def _say_universes(streams: Sequence[Stream], contested: set[int]) -> None:
    """A row for each stream; neighbouring universes that are alike share their rows. Contested universes come first."""
    every = _ordered(streams, contested)
    rows: list[tuple[str, ...]] = []
    for numbers in _alike(every, contested):
        columns = [[every[universe][place] for universe in numbers] for place in range(len(every[numbers[0]]))]
        shown = ranges(numbers)
        for same in columns:
            rows.append((shown, *_row(same, every[numbers[0]])))
            shown = ""
    say_table(("universe", "Source Name", "address", "Priority", "a second", "Options"), rows[:MOST_ROWS], right=RIGHT)
    if rows[MOST_ROWS:]:
        print(f"… and {len(rows) - MOST_ROWS} more; --json has them all.")


def _alike(every: dict[int, list[Stream]], contested: set[int]) -> Iterator[list[int]]:
    """Universes in groups that follow each other and have the same streams."""

    def signs(universe: int) -> list[object]:
        return [
            (
                stream.protocol, stream.source_name, stream.cid, stream.address, stream.priority,
                stream.synchronization_address, stream.state, stream.preview_data, stream.force_synchronization,
            )
            for stream in every[universe]
        ]  # fmt: skip

    alike: list[int] = []
    for universe in every:
        follows = alike and universe == alike[-1] + 1 and (universe in contested) == (alike[-1] in contested)
        if alike and not (follows and signs(universe) == signs(alike[-1])):
            yield alike
            alike = []
        alike.append(universe)
    if alike:
        yield alike


def _row(same: Sequence[Stream], rivals: Sequence[Stream]) -> tuple[str, ...]:
    """The cells of one source on some universes; `rivals` are all streams of one of those."""
    stream = same[0]
    rates = [each.rate for each in same]
    low, high = f"{min(rates):.1f}", f"{max(rates):.1f}"
    rate = low if low == high else f"{min(rates):.0f}–{max(rates):.0f}"
    name = stream.source_name or ("no name" if stream.protocol == "e131" else "")
    options = filter(None, [*_flags(stream), _rank(stream, rivals), *_counts(same)])
    return (
        name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…", stream.address,
        "" if stream.priority is None else str(stream.priority), rate if stream.state == "live" else "",
        ", ".join(options),
    )  # fmt: skip


def _flags(stream: Stream) -> list[str]:
    """What a stream says of itself."""
    sync = stream.synchronization_address
    return [
        PROTOCOL_NAMES[stream.protocol] if stream.protocol == "artnet" else "",
        "Preview_Data" if stream.preview_data else "",
        {"terminated": "Stream_Terminated", "gone": "silent, gone"}.get(stream.state, ""),
        f"Synchronization Address {sync}" if sync else "",
        "Force_Synchronization" if stream.force_synchronization else "",
    ]


def _rank(stream: Stream, rivals: Sequence[Stream]) -> str:
    """Whether it wins among the live E1.31 streams of its universe, by priority."""
    against = [other.priority or 0 for other in rivals if other.live and other.protocol == stream.protocol == "e131"]
    if not stream.live or len(against) < 2:
        return ""
    if (stream.priority or 0) < max(against):
        return "outranked"
    return "wins" if against.count(max(against)) == 1 else "equal"


def _counts(same: Sequence[Stream]) -> list[str]:
    """Packets that came wrongly, over all universes."""
    numbers = {
        "lost": sum(each.lost for each in same),
        "out of order": sum(each.out_of_order for each in same),
        "repeated": sum(each.repeated for each in same),
    }
    return [f"{number} {what}" for what, number in numbers.items() if number]


# --- sources, boxes, pixels ----------------------------------------------------------------------------------------


def _say_sources(heard: Heard) -> None:
    lines = [*_senders(heard), *_unheard(heard)]
    for who, said in lines[:MOST_SOURCES]:
        _wrapped(f"  {who}", "    ")
        _wrapped(f"    {said}", "      ")
    if lines[MOST_SOURCES:]:
        print(f"  … and {len(lines) - MOST_SOURCES} more; --json has them all.")


def _senders(heard: Heard) -> Iterator[tuple[str, str]]:
    """Each source that was heard: who it is, and what it sends, announces and synchronizes."""

    def key(stream: Stream) -> tuple[str, str, str, str]:
        return stream.protocol, stream.source_name, stream.cid, stream.address

    announced = {(each.cid, each.address): each for each in heard.announced}
    for (protocol, _, cid, address), group in groupby(sorted(heard.streams, key=key), key=key):
        streams = list(group)
        universes = {stream.universe for stream in streams}
        said = [f"sends {ranges(sorted(universes))}"]
        if listed := announced.get((cid, address)):
            said.append(_announces(listed, universes))
        said += [
            _synchronizes(sync)
            for sync in heard.synchronizations
            if (sync.address, sync.cid, sync.protocol) == (address, cid, protocol)
        ]
        cid_words = f", CID {cid}" if cid else ""
        yield f"{streams[0].who} by {PROTOCOL_NAMES[streams[0].protocol]}{cid_words}", "; ".join(said)


def _announces(listed: Announced, universes: set[int]) -> str:
    unheard = sorted(set(listed.universes) - universes)
    return f"announces also {ranges(unheard)}, not heard here" if unheard else "announces the same"


def _synchronizes(sync: Synchronization) -> str:
    to = f" of {sync.synchronization_address}" if sync.synchronization_address else ""
    return f"{sync.rate:.1f} synchronization packets{to} a second"


def _unheard(heard: Heard) -> Iterator[tuple[str, str]]:
    """Sources that announce universes, and of which no stream was heard."""
    senders = {(stream.cid, stream.address) for stream in heard.streams}
    for each in heard.announced:
        if (each.cid, each.address) not in senders:
            name = each.source_name or "a source without a name"
            numbers = ranges(each.universes) or "no universe"
            yield f"{name} ({each.address}) by E1.31, CID {each.cid}", f"announces {numbers}, not heard here"


def _say_boxes(outcome: Outcome) -> None:
    if outcome.boxes:
        scene = outcome.scene
        boxes = scene.wiring.show.controllers if scene.wiring is not None else {}
        heard_only = {name for name, box in boxes.items() if scene.yard and box.delivery == "multicast"}
        print()
        say_table(("box", "address", "answers"), [_box(box, heard_only) for box in outcome.boxes])


def _box(box: Presence, heard_only: Collection[str]) -> tuple[str, str, str]:
    """The cells of a box; `heard_only` are those of the yard that have no address of their own to ask."""
    if box.box in heard_only:
        return box.box, "", "cannot be asked (multicast)"
    if box.address is None:
        return box.box, "", "not asked: it has no address in the show"
    if box.answers == "ArtPoll":
        short, long = box.short_name or "", box.long_name or ""
        names = ", ".join(filter(None, [short if not long.startswith(short) else "", long])) or "without a name"
        ports = contention.in_words(box.port_addresses, "Port-Address", "Port-Addresses") if box.port_addresses else ""
        return box.box, box.address, f"ArtPoll: {names}; {ports or 'no ports'}"
    ways = {"echo": "ICMP echo", "ARP": "only the ARP cache, which may be minutes old", "yard": "simulated by the yard"}
    return box.box, box.address, ways.get(box.answers or "", "no answer")


def _say_lit(parts: Sequence[Lit]) -> None:
    if not parts:
        print("No pixel of the show is lit by it.")
        return
    rows = []
    for run, group in groupby(parts, key=lambda part: part.run):
        same = list(group)
        rows.append((run, str(sum(part.last - part.first + 1 for part in same)), _pixels(same)))
    say_table(("run", "lit", "pixels"), rows, right="lit")


def _pixels(parts: Sequence[Lit]) -> str:
    """Ranges of pixels with their colours; where those are many, the ranges and then the colours that occur."""
    if len(parts) <= MOST_LIT:
        return ", ".join(f"{ranges(range(part.first, part.last + 1))} {part.colour}" for part in parts)
    said = ranges(pixel for part in parts for pixel in range(part.first, part.last + 1)).split(", ")
    more = f" and {len(said) - MOST_LIT} more ranges" if said[MOST_LIT:] else ""
    return f"{', '.join(said[:MOST_LIT])}{more}: {', '.join(sorted({part.colour for part in parts}))}"


# --- for scripts --------------------------------------------------------------------------------------------------


def document(outcome: Outcome) -> dict[str, Any]:
    """What was heard, for scripts."""
    heard, scene = outcome.heard, outcome.scene
    contested = _contested(outcome.findings)
    pixels = lit(heard, scene.wiring, scene.patch) if scene.wiring is not None and scene.patch is not None else []
    return {
        "seconds": round(outcome.seconds, 3), "groups": outcome.groups, "not_listened": outcome.deaf,
        "unheard_boxes": scene.unheard_boxes,
        "universes": [
            {"universe": universe, "conflict": universe in contested, "streams": list(map(stream_json, streams))}
            for universe, streams in _ordered(heard.streams, contested).items()
        ],
        "synchronizations": list(map(asdict, heard.synchronizations)), "announced": list(map(asdict, heard.announced)),
        "nodes": list(map(asdict, heard.nodes)), "boxes": list(map(asdict, outcome.boxes)),
        "lit": list(map(asdict, pixels)),
        "malformed": heard.malformed, "malformed_reasons": heard.reasons,
        "left_aside": heard.left_aside, "dropped": outcome.burden.dropped, "waiting": outcome.burden.waiting,
        "findings": [finding_json(finding) for finding in outcome.findings],
    }  # fmt: skip


def stream_json(stream: Stream) -> dict[str, Any]:
    """A stream as scripts read it: without its levels and its own clock's times."""
    return {
        "protocol": stream.protocol, "source_name": stream.source_name, "cid": stream.cid or None,
        "address": stream.address, "port": stream.port, "priority": stream.priority,
        "synchronization_address": stream.synchronization_address, "sequence_number": stream.sequence_number,
        "options": {
            "preview_data": stream.preview_data, "stream_terminated": stream.state == "terminated",
            "force_synchronization": stream.force_synchronization,
        },
        "state": stream.state, "rate": round(stream.rate, 2), "packets": stream.packets, "lost": stream.lost,
        "out_of_order": stream.out_of_order, "repeated": stream.repeated, "restarts": stream.restarts,
    }  # fmt: skip
