"""How what was heard is put on the screen: conflicts first, then universe by universe, sources, boxes and pixels."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

from patcher.terminal.tables import count, finding_json, in_words, ranges, say_table
from patcher.trade import PROTOCOL_NAMES

if TYPE_CHECKING:
    from patcher.cli.listen import Outcome
    from patcher.errors import Finding
    from patcher.listener.lit_pixels import Lit
    from patcher.listener.presence import Presence
    from patcher.listener.streams import Heard, Stream

MOST_NAME = 24
MOST_LIT = 8
MOST_DEAF = 4
MOST_SOURCES = 20
MOST_ROWS = 200
MUCH = 512 * 1024
"""Octets that wait to be read: more than a busy moment leaves."""


def say(outcome: Outcome) -> None:
    """The report for people."""
    from patcher.listener.lit_pixels import lit

    heard = outcome.heard
    live = {one.universe for one in heard.streams if one.state == "live"}
    print(
        f"Listened for {outcome.seconds:.1f} s to {count(outcome.groups, 'multicast group')} and this machine's own "
        f"addresses; {count(len(live), 'universe')} heard."
    )
    _say_troubles(outcome)
    _say_findings(outcome.findings)
    if heard.streams:
        print()
        _say_universes(heard.streams, _fought(outcome.findings))
    if heard.streams or heard.announced or heard.synchronizations:
        print("\nSources")
        _say_sources(heard)
    if outcome.boxes:
        print()
        say_table(("box", "address", "answers"), [_box(one) for one in outcome.boxes])
    if outcome.scene.wiring is not None and outcome.scene.patch is not None and live:
        print()
        _say_lit(lit(heard, outcome.scene.wiring, outcome.scene.patch))


def _say_troubles(outcome: Outcome) -> None:
    from patcher.listener.listen_sockets import TOO_MANY, TOO_MANY_GROUPS

    heard = outcome.heard
    if outcome.deaf:
        by_reason: dict[str, list[str]] = {}
        for place, reason in outcome.deaf.items():
            by_reason.setdefault(reason, []).append(place)
        for reason, places in by_reason.items():
            more = f" and {len(places) - MOST_DEAF} more" if places[MOST_DEAF:] else ""
            choose = ""
            if any(map(_is_group, places)):
                few = reason in (TOO_MANY, TOO_MANY_GROUPS)
                choose = " Name fewer with --universe." if few else " Choose a network with --interface."
            _wrapped(f"Not listened on {', '.join(places[:MOST_DEAF])}{more}: {reason}.{choose}")
    if heard.malformed:
        _wrapped(f"{count(heard.malformed, 'packet')} could not be read: {'; '.join(heard.reasons)}.")
    if heard.left_aside:
        _wrapped(f"{count(heard.left_aside, 'packet')} from more sources than can be kept apart were left aside.")
    if outcome.burden.dropped:
        _wrapped(
            f"This machine was too slow for {count(outcome.burden.dropped, 'packet')}: what counts as lost below may "
            "be its own doing. Listen to fewer universes."
        )
    elif outcome.burden.waiting > MUCH:
        _wrapped("This machine fell behind what came: rates below are too low. Listen to fewer universes.")


def _is_group(place: str) -> bool:
    return place.startswith("239.")


def _wrapped(text: str, indent: str = "") -> None:
    if sys.stdout.isatty():
        columns = max(40, shutil.get_terminal_size().columns)
        text = textwrap.fill(text, columns, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    print(text)


def _say_findings(found: Sequence[Finding]) -> None:
    for finding in found:
        first, then = in_words(finding).split("\n", 1)
        _wrapped(first, "       ")
        _wrapped(then, "         ")


def _fought(found: Iterable[Finding]) -> set[int]:
    """The universes that have a warning of their own."""
    from patcher.listener.contention import RULES

    numbers = (one.where.removeprefix("universe.") for one in found if one.rule in RULES)
    return {int(number) for number in numbers if number.isdigit()}


# --- universes ----------------------------------------------------------------------------------------------------


def _say_universes(streams: Sequence[Stream], fought: set[int]) -> None:
    """A row a stream; universes that follow each other and are alike share their rows. Those fought over come first."""
    from patcher.listener.contention import by_universe

    every = by_universe(streams)
    order = [*sorted(fought & every.keys()), *(universe for universe in every if universe not in fought)]
    rows: list[tuple[str, ...]] = []
    for numbers in _alike(order, every, fought):
        columns = [[every[universe][place] for universe in numbers] for place in range(len(every[numbers[0]]))]
        shown = ranges(numbers)
        for same in columns:
            rows.append((shown, *_row(same, every[numbers[0]])))
            shown = ""
    say_table(("universe", "Source Name", "address", "Priority", "a second", "Options"), rows[:MOST_ROWS], right=RIGHT)
    if rows[MOST_ROWS:]:
        print(f"… and {len(rows) - MOST_ROWS} more; --json has them all.")


RIGHT = "universe Priority a second"


def _alike(order: Sequence[int], every: dict[int, list[Stream]], fought: set[int]) -> Iterator[list[int]]:
    run: list[int] = []
    for universe in order:
        signs = [_sign(one) for one in every[universe]]
        follows = run and universe == run[-1] + 1 and (universe in fought) == (run[-1] in fought)
        if follows and signs == [_sign(one) for one in every[run[-1]]]:
            run.append(universe)
            continue
        if run:
            yield run
        run = [universe]
    if run:
        yield run


def _sign(one: Stream) -> tuple[object, ...]:
    return (
        one.protocol, one.source_name, one.cid, one.address, one.priority, one.synchronization_address, one.state,
        one.preview_data, one.force_synchronization,
    )  # fmt: skip


def _row(same: Sequence[Stream], rivals: Sequence[Stream]) -> tuple[str, ...]:
    one = same[0]
    rates = [each.rate for each in same]
    low, high = f"{min(rates):.1f}", f"{max(rates):.1f}"
    rate = low if low == high else f"{min(rates):.0f}–{max(rates):.0f}"
    name = one.source_name or ("no name" if one.protocol == "e131" else "")
    return (
        name if len(name) <= MOST_NAME else name[: MOST_NAME - 1] + "…", one.address,
        "" if one.priority is None else str(one.priority), rate if one.state == "live" else "",
        ", ".join(_options(same, rivals)),
    )  # fmt: skip


def _options(same: Sequence[Stream], rivals: Sequence[Stream]) -> Iterator[str]:
    one = same[0]
    if one.protocol == "artnet":
        yield PROTOCOL_NAMES[one.protocol]
    if one.preview_data:
        yield "Preview_Data"
    if one.state == "terminated":
        yield "Stream_Terminated"
    if one.state == "gone":
        yield "silent, gone"
    if one.synchronization_address:
        yield f"Synchronization Address {one.synchronization_address}"
    if one.force_synchronization:
        yield "Force_Synchronization"
    against = [other.priority or 0 for other in rivals if other.live and other.protocol == one.protocol == "e131"]
    if one.live and len(against) > 1:
        if (one.priority or 0) < max(against):
            yield "outranked"
        else:
            yield "wins" if against.count(max(against)) == 1 else "equal"
    for number, what in (
        (sum(each.lost for each in same), "lost"),
        (sum(each.out_of_order for each in same), "out of order"),
        (sum(each.repeated for each in same), "repeated"),
    ):
        if number:
            yield f"{number} {what}"


# --- sources, boxes, pixels ----------------------------------------------------------------------------------------


def _say_sources(heard: Heard) -> None:

    def key(one: Stream) -> tuple[str, str, str, str]:
        return one.protocol, one.source_name, one.cid, one.address

    told: set[tuple[str, str]] = set()
    announced = {(one.cid, one.address): one for one in heard.announced}
    lines: list[tuple[str, str]] = []
    for (protocol, _, cid, address), group in groupby(sorted(heard.streams, key=key), key=key):
        streams = list(group)
        numbers = ranges(sorted({one.universe for one in streams}))
        cid_words = f", CID {cid}" if cid else ""
        said = f"sends {numbers}"
        if listed := announced.get((cid, address)):
            told.add((cid, address))
            unheard = sorted(set(listed.universes) - {one.universe for one in streams})
            said += f"; announces also {ranges(unheard)}, not heard here" if unheard else "; announces the same"
        syncs = [one for one in heard.synchronizations if one.address == address and one.cid == cid]
        for sync in (one for one in syncs if one.protocol == protocol):
            to = f" of {sync.synchronization_address}" if sync.synchronization_address else ""
            said += f"; {sync.rate:.1f} synchronization packets{to} a second"
        lines.append((f"{streams[0].who} by {PROTOCOL_NAMES[streams[0].protocol]}{cid_words}", said))
    for key_, one in announced.items():
        if key_ not in told:
            name = one.source_name or "a source without a name"
            lines.append((f"{name} ({one.address}) by E1.31, CID {one.cid}",
                          f"announces {ranges(one.universes) or 'no universe'}, not heard here"))  # fmt: skip
    for who, said in lines[:MOST_SOURCES]:
        _wrapped(f"  {who}", "    ")
        _wrapped(f"    {said}", "      ")
    if lines[MOST_SOURCES:]:
        print(f"  … and {len(lines) - MOST_SOURCES} more; --json has them all.")


def _box(one: Presence) -> tuple[str, str, str]:
    from patcher.listener.contention import in_words as in_few_words

    if one.address is None:
        return one.box, "", "has no address to be asked at"
    if one.answers == "ArtPoll":
        named = ", ".join(dict.fromkeys(name for name in (one.short_name, one.long_name) if name)) or "without a name"
        ports = in_few_words(one.port_addresses, "Port-Address", "Port-Addresses") if one.port_addresses else "no ports"
        return one.box, one.address, f"ArtPoll: {named}; {ports}"
    ways = {"echo": "ICMP echo", "ARP": "only the ARP cache, which may be minutes old", "yard": "the yard has it"}
    return one.box, one.address, ways.get(one.answers or "", "no answer")


def _say_lit(found: Sequence[Lit]) -> None:
    if not found:
        print("No pixel of the show is lit by it.")
        return
    rows = []
    for run, group in groupby(found, key=lambda one: one.run):
        parts = list(group)
        lamps = sum(part.last - part.first + 1 for part in parts)
        rows.append((run, str(lamps), _lamps(parts)))
    say_table(("run", "lit", "pixels"), rows, right="lit")


def _lamps(parts: Sequence[Lit]) -> str:
    """Ranges of pixels with their colours; where those are many, the ranges and then the colours that occur."""
    if len(parts) <= MOST_LIT:
        return ", ".join(f"{_range(one.first, one.last)} {one.colour}" for one in parts)
    joined: list[list[int]] = []
    for one in parts:
        if joined and one.first == joined[-1][1] + 1:
            joined[-1][1] = one.last
        else:
            joined.append([one.first, one.last])
    said = [_range(first, last) for first, last in joined]
    more = f" and {len(said) - MOST_LIT} more ranges" if said[MOST_LIT:] else ""
    return f"{', '.join(said[:MOST_LIT])}{more}: {', '.join(sorted({one.colour for one in parts}))}"


def _range(first: int, last: int) -> str:
    return f"{first}–{last}" if last > first else str(first)


# --- for scripts --------------------------------------------------------------------------------------------------


def document(outcome: Outcome) -> dict[str, Any]:
    """The report for scripts."""
    from dataclasses import asdict

    from patcher.listener.contention import by_universe
    from patcher.listener.lit_pixels import lit

    heard, scene = outcome.heard, outcome.scene
    fought = _fought(outcome.findings)
    every = by_universe(heard.streams)
    order = [*sorted(fought & every.keys()), *(universe for universe in every if universe not in fought)]
    lamps = lit(heard, scene.wiring, scene.patch) if scene.wiring is not None and scene.patch is not None else []
    return {
        "seconds": round(outcome.seconds, 3), "groups": outcome.groups, "not_listened": outcome.deaf,
        "universes": [
            {"universe": universe, "conflict": universe in fought, "streams": [stream_json(s) for s in every[universe]]}
            for universe in order
        ],
        "synchronizations": [asdict(one) for one in heard.synchronizations],
        "announced": [asdict(one) for one in heard.announced],
        "nodes": [asdict(one) for one in heard.nodes],
        "boxes": [asdict(one) for one in outcome.boxes],
        "lit": [asdict(one) for one in lamps],
        "malformed": heard.malformed, "malformed_reasons": heard.reasons,
        "left_aside": heard.left_aside, "dropped": outcome.burden.dropped, "waiting": outcome.burden.waiting,
        "findings": [finding_json(finding) for finding in outcome.findings],
    }  # fmt: skip


def stream_json(one: Stream) -> dict[str, Any]:
    """A stream as scripts read it: without its levels and its own clock's times."""
    return {
        "protocol": one.protocol, "source_name": one.source_name, "cid": one.cid or None, "address": one.address,
        "port": one.port, "priority": one.priority, "synchronization_address": one.synchronization_address,
        "sequence_number": one.sequence_number,
        "options": {
            "preview_data": one.preview_data, "stream_terminated": one.state == "terminated",
            "force_synchronization": one.force_synchronization,
        },
        "state": one.state, "rate": round(one.rate, 2), "packets": one.packets, "lost": one.lost,
        "out_of_order": one.out_of_order, "repeated": one.repeated, "restarts": one.restarts,
    }  # fmt: skip
