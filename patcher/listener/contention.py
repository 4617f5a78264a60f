"""Sources that collide, and what else is worth knowing of the streams that were heard.

Two sources collide on a universe where their times overlap: one that ends before the other begins has only been
followed by it. E1.31 lets the highest priority win (6.2.3) and leaves to each receiver what it does among equals;
Art-Net has no priorities at all.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import accumulate, groupby, pairwise

from patcher.errors import Finding, first_few
from patcher.listener.heard import Heard, Stream
from patcher.sheets.figures import ranges
from patcher.trade import PROTOCOL_NAMES, Protocol

_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
RULES = ("equal-priority", "no-priority", "two-protocols", "cid-shared")
"""The rules by which sources collide, worst first."""
_ON = "\0"
"""Stands for the universes that a finding is about, until they are known."""
MOST_NAMED = 5
MOST_RANGES = 12


def by_universe(streams: Iterable[Stream]) -> dict[int, list[Stream]]:
    """The streams of each universe, universes rising."""
    ordered = sorted(streams, key=lambda stream: stream.universe)
    return {universe: list(same) for universe, same in groupby(ordered, key=lambda stream: stream.universe)}


def rivals(streams: Sequence[Stream]) -> list[Stream]:
    """The streams of one universe that boxes get at the same time as another one: live, with overlapping times."""
    live = sorted((stream for stream in streams if stream.live), key=lambda stream: stream.began)
    before = list(accumulate((stream.heard for stream in live), max))
    return [
        stream for n, stream in enumerate(live)
        if (n > 0 and before[n - 1] >= stream.began) or (n + 1 < len(live) and live[n + 1].began <= stream.heard)
    ]  # fmt: skip


def winners(streams: Iterable[Stream]) -> list[Stream]:
    """The streams of one universe and protocol that boxes show: the live ones of the highest priority."""
    live = [stream for stream in streams if stream.live]
    highest = max((stream.priority or 0 for stream in live), default=0)
    return [stream for stream in live if (stream.priority or 0) == highest]


def findings(heard: Heard) -> list[Finding]:
    """Everything about the streams that a person should know, conflicts first."""
    found = _on_universes(by_universe(heard.streams))
    found += _shared_cids(heard.streams)
    found += _changed_cids(heard.streams)
    found += _unsynchronized(heard)
    order = {"error": 0, "warning": 1, "note": 2}
    place = {rule: number for number, rule in enumerate(RULES)}
    return sorted(found, key=lambda finding: (order[finding.severity], place.get(finding.rule, len(RULES))))


def _on_universes(streams: Mapping[int, Sequence[Stream]]) -> list[Finding]:
    """The findings of each universe; the same finding on several universes is given once."""
    same: dict[Finding, list[int]] = {}
    for universe, here in streams.items():
        for finding in _on_universe(here):
            same.setdefault(finding, []).append(universe)
    return [
        replace(finding, where=f"universe.{universes[0]}", says=finding.says.replace(_ON, in_words(universes)))
        for finding, universes in same.items()
    ]


def _on_universe(streams: Sequence[Stream]) -> list[Finding]:
    """What is to be said of one universe, which is named as `_ON`."""
    at_once = rivals(streams)
    e131 = [stream for stream in at_once if stream.protocol == "e131"]
    art_net = [stream for stream in at_once if stream.protocol == "artnet"]
    found = [*_by_priority(e131), *_without_priority(rivals(art_net))]
    if e131 and art_net:
        says = (
            f"{_ON} by E1.31 from {_all(e131)} and by Art-Net from {_all(art_net)}: a box set to both mixes or flickers"
        )
        found.append(_warning("two-protocols", "", says, "end one of them, or set each box to one protocol"))
    return found


def _by_priority(e131: Sequence[Stream]) -> list[Finding]:
    """What is to be said of E1.31 streams on one universe: equal ones collide, the highest win."""
    found = []
    top = winners(e131)
    if equal := rivals(top):
        sources = f"{_number(len(equal))} sources on {_ON} with equal priority {equal[0].priority}"
        says = f"{sources}: {_all(equal)}: boxes mix or flicker"
        found.append(_warning("equal-priority", "", says, "end one of them, or give one a lower priority"))
    lower = [stream for stream in e131 if stream not in top]
    if top and lower:
        below = ", ".join(f"{stream.who} with {stream.priority}" for stream in lower[:MOST_NAMED])
        verb = "wins" if len(top) == 1 else "win"
        says = f"on {_ON} {_all(top)} with priority {top[0].priority} {verb} over {below}"
        remedy = "boxes show the highest priority only; where that is not meant, change one"
        found.append(Finding("note", "priority", "network", "", says, remedy))
    return found


def _without_priority(art_net: Sequence[Stream]) -> list[Finding]:
    """What is to be said of Art-Net streams that are on one universe at once."""
    if not art_net:
        return []
    ports = len({stream.address for stream in art_net}) < len(art_net)
    names = _and([stream.who + f" port {stream.port}" * ports for stream in art_net])
    sources = f"{_number(len(art_net))} sources on {_ON} by Art-Net, which has no priorities"
    return [_warning("no-priority", "", f"{sources}: {names}: boxes mix or flicker", "end one of them")]


def _shared_cids(streams: Iterable[Stream]) -> list[Finding]:
    found = []
    with_cid = sorted(
        (stream for stream in streams if stream.cid and stream.state == "live"), key=lambda stream: stream.cid
    )
    for cid, group in groupby(with_cid, key=lambda stream: stream.cid):
        first = {stream.address: stream for stream in reversed(list(group))}
        if len(first) > 1:
            names = _all(sorted(first.values(), key=lambda stream: stream.address))
            says = f"{names} have one CID, {cid}: boxes take them for one source, whose packets come out of order"
            remedy = "give each program a CID of its own: one was copied, perhaps with its folder"
            found.append(_warning("cid-shared", f"cid.{cid}", says, remedy))
    return found


def _changed_cids(streams: Iterable[Stream]) -> list[Finding]:
    """Sources of one name and address whose CIDs follow each other on a universe."""
    found: dict[tuple[str, str], Finding] = {}
    key = lambda stream: (stream.source_name, stream.address, stream.universe)  # noqa: E731  (used twice, just below)
    for (name, address, _), group in groupby(sorted((s for s in streams if s.cid), key=key), key=key):
        lives = sorted(group, key=lambda stream: stream.began)
        if any(before.heard < after.began for before, after in pairwise(lives)):
            times = len(lives) - 1
            says = (
                f"{lives[0].who} changed its CID {'once' if times == 1 else f'{times} times'}, to {lives[-1].cid}: "
                "boxes take it for another source, and may hold on to the old one for 2.5 seconds"
            )
            remedy = "all is well if it was restarted; else make the program keep one CID"
            found[name, address] = Finding("note", "cid-changed", "network", f"source.{name or address}", says, remedy)
    return list(found.values())


def _unsynchronized(heard: Heard) -> list[Finding]:
    synced = {stream.synchronization_address for stream in heard.synchronizations if stream.live}
    waiting: dict[tuple[int, str], list[int]] = {}
    for stream in heard.streams:
        if stream.live and stream.synchronization_address and stream.synchronization_address not in synced:
            waiting.setdefault((stream.synchronization_address, stream.who), []).append(stream.universe)
    return [
        _warning(
            "no-synchronization", f"universe.{universes[0]}",
            f"{who} waits for Synchronization Address {sync} on {in_words(universes)}, and no synchronization "
            "packet of it was heard: boxes may hold their last frame",
            "set the source's Synchronization Address to 0, or have it send the packets",
        )
        for (sync, who), universes in waiting.items()
    ]  # fmt: skip


def against_show(heard: Heard, expected: Mapping[tuple[Protocol, int], Collection[str]]) -> list[Finding]:
    """What is worth knowing of the streams beside a show.

    Args:
        heard: the streams.
        expected: the boxes that listen to a universe by a protocol.
    """
    found = []
    live = {(stream.protocol, stream.universe) for stream in heard.streams if stream.live}
    boxes: dict[int, tuple[Protocol, Collection[str]]] = {u: (p, names) for (p, u), names in expected.items()}
    nobody: list[int] = []
    for protocol, universe in sorted(live - set(expected), key=lambda pair: pair[1]):
        if universe in boxes and (boxes[universe][0], universe) not in live:
            right, names = boxes[universe]
            says = (
                f"universe {universe} comes by {PROTOCOL_NAMES[protocol]}, but {', '.join(names)} takes it by "
                f"{PROTOCOL_NAMES[right]}"
            )
            found.append(_warning("other-protocol", f"universe.{universe}", says, "set the player or the box right"))
        elif universe not in boxes:
            nobody.append(universe)
    if nobody:
        says = f"sent, but no box of this show listens there: {in_words(nobody)}"
        found.append(Finding("note", "nobody-listens", "network", "show", says, "compare with: patcher patch SHOW"))
    if silent := sorted({universe for _, universe in set(expected) - live}):
        says = f"not heard here: {in_words(silent)}"
        remedy = "start the player; if it sends by unicast, only the boxes can hear it"
        found.append(Finding("note", "silent", "network", "show", says, remedy))
    return found


def _warning(rule: str, where: str, says: str, remedy: str) -> Finding:
    return Finding("warning", rule, "network", where, says, remedy)


def _number(count: int) -> str:
    return _WORDS[count] if count < len(_WORDS) else str(count)


def _all(streams: Sequence[Stream]) -> str:
    return _and([stream.who for stream in streams])


def _and(names: Sequence[str]) -> str:
    if len(names) > MOST_NAMED:
        return first_few(names, MOST_NAMED)
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def in_words(numbers: Sequence[int], one: str = "universe", many: str = "universes") -> str:
    """Numbers written short: universes 1–3, 7."""
    parts = ranges(sorted(set(numbers))).split(", ")
    more = " ranges" if parts[MOST_RANGES:] else ""
    return f"{many if len(set(numbers)) > 1 else one} {first_few(parts, MOST_RANGES)}{more}"
