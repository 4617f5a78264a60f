"""Copies that must come out as given: where they are, and the table by which one is like another."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from typing import Any

from patcher.acts.measures import WRITTEN_OUT
from patcher.acts.things import Raw, ReadPoints, tables
from patcher.show.likeness import LONGEST, PLACES, Copy, expanded, sources

Spots = list[list[float]]
Thing = tuple[str, str]
"""A run or a prop: its kind and its name."""
DRAWN = ("run", "prop")
NEAR = 5e-9
"""Places that differ by less are the same; it is far below the last decimal that is written."""
_DECIMALS = 9
_SAME = 1e-6
"""So far a copy may be from where it is to be, for what sine and cosine leave."""


def is_spots(value: Any) -> bool:
    """Whether a value is a list of places, [x, y] each."""
    return isinstance(value, list) and all(
        isinstance(spot, list) and len(spot) == 2 and all(type(part) in (int, float) for part in spot) for spot in value
    )


def key_of_places(table: Raw) -> str | None:
    """The key by which a table says places."""
    return next((key for key in PLACES if is_spots(table.get(key)) and table[key]), None)


def whole_of(raw: Raw, points: ReadPoints) -> dict[Thing, Raw]:
    """Every run and prop as it is with what it has of others, those that cannot be read left out."""
    whole, _ = expanded(raw, points)
    return {(kind, name): table for kind in DRAWN for name, table in tables(whole, kind).items()}


def spots_of(table: Raw, points: ReadPoints) -> Spots | None:
    """The places that a table says, or that stand in its points file; None where there are none."""
    if (key := key_of_places(table)) is not None:
        return [[*spot] for spot in table[key]]
    if isinstance(table.get("file"), str):
        try:
            return [[*spot] for spot in points(table["file"])] or None
        except ValueError:
            return None
    return None


def all_spots(raw: Raw, points: ReadPoints) -> dict[Thing, Spots]:
    """The places of every run and prop that says some."""
    found = {thing: spots_of(table, points) for thing, table in whole_of(raw, points).items()}
    return {thing: spots for thing, spots in found.items() if spots}


def settled(raw: Raw, target: dict[Thing, Spots], points: ReadPoints) -> Raw:
    """The tables with every copy put where it is to be, by how far it is moved.

    Args:
        raw: the tables; whatever says its places itself is where it is to be.
        target: where all are to be, in the file's units.
        points: reads the places of a points file.

    Each pass puts right what follows from things that are right already, so there are as many as copies of copies.
    """
    for _ in range(LONGEST):
        now = all_spots(raw, points)
        off = {
            thing: (spots[0][0] - target[thing][0][0], spots[0][1] - target[thing][0][1])
            for thing, spots in now.items()
            if thing in target and "like" in raw[thing[0]][thing[1]]
        }
        off = {thing: by for thing, by in off.items() if max(map(abs, by)) > NEAR}
        ready = [thing for thing in off if key_of_places(raw[thing[0]][thing[1]]) is None]
        if not ready:
            break
        for kind, name in ready:
            x, y = off[kind, name]
            raw[kind] = {**raw[kind], name: pushed(raw[kind][name], -x, -y)}
    return raw


def pushed(table: Raw, x: float, y: float) -> Raw:
    """A copy's table, moved by so much more."""
    moved: Any = table.get("moved")
    was = moved if is_spots([moved]) else [0.0, 0.0]
    return with_move(table, [was[0] + x, was[1] + y])


def with_move(table: Raw, moved: Sequence[float]) -> Raw:
    """A copy's table, moved by so much; the key is taken out where that is nothing."""
    tidy = [round(part, _DECIMALS) + 0.0 for part in moved]
    if any(tidy):
        return {**table, "moved": tidy}
    return {key: value for key, value in table.items() if key != "moved"}


def in_order(table: Raw) -> Raw:
    """A copy's table, what it is like and how it is put first."""
    return {key: table[key] for key in (*Copy.model_fields, *table) if key in table}


def expanded_as(raw: Raw, thing: Thing, table: Raw, points: ReadPoints) -> Raw | None:
    """A run or prop with what it has of others, where this were its table; None where that cannot be."""
    kind, name = thing
    return whole_of({**raw, kind: {**tables(raw, kind), name: table}}, points).get(thing)


def like_of(
    raw: Raw, thing: Thing, source: str, target: Raw, points: ReadPoints, about: str | None = None
) -> Raw | None:
    """The table by which a thing is like another and comes out as given; None where there is none.

    Args:
        raw: the tables of the file.
        thing: which thing it is.
        source: what it is to be like.
        target: all its keys, as they are to come out.
        points: reads the places of a points file.
        about: the run or prop about whose middle it is mirrored and turned.
    """
    first = whole_of(raw, points).get((thing[0], source))
    if first is None:
        return None
    goal, here = spots_of(target, points), spots_of(first, points)
    for mirrored, turned in _turns(here, goal) if here and goal else [(False, 0.0)]:
        table: Raw = {"like": source} | ({"about": about} if about else {})
        table |= ({"mirrored": True} if mirrored else {}) | ({"turned": turned} if turned else {})
        if (got := expanded_as(raw, thing, table, points)) is None:
            continue
        if goal and (start := spots_of(got, points)):
            table = with_move(table, [goal[0][0] - start[0][0], goal[0][1] - start[0][1]])
        got = expanded_as(raw, thing, table, points) or {}
        table |= {key: value for key, value in target.items() if got.get(key) != value and key not in _DRAWS}
        if _same(expanded_as(raw, thing, table, points) or {}, target, points):
            return in_order(table)
    return None


_DRAWS = (*PLACES, "file")


def _same(table: Raw, target: Raw, points: ReadPoints) -> bool:
    """Whether two tables say the same, their places as near as numbers allow."""
    if {key: table[key] for key in table if key not in _DRAWS} != {
        key: target[key] for key in target if key not in _DRAWS
    }:
        return False
    here, there = spots_of(table, points) or [], spots_of(target, points) or []
    if len(here) != len(there):
        return False
    return all(math.dist(one, other) < _SAME for one, other in zip(here, there, strict=True))


def _turns(here: Spots, there: Spots) -> Iterator[tuple[bool, float]]:
    """Ways to mirror and turn one picture into the other, plain ones first."""
    if len(here) != len(there):
        return
    yield from ((False, 0.0), (True, 0.0))
    for mirrored in (False, True):
        one, other = _about_mean(here, mirrored), _about_mean(there, False)
        angle = math.degrees(cmath.phase(sum(b * a.conjugate() for a, b in zip(one, other, strict=True))))
        yield mirrored, round(angle, _DECIMALS)
    yield from ((mirrored, turned) for mirrored in (False, True) for turned in (90.0, 180.0, 270.0))


def _about_mean(spots: Spots, mirrored: bool) -> list[complex]:
    at = [complex(-x if mirrored else x, y) for x, y in spots]
    mean = sum(at) / len(at)
    return [each - mean for each in at]


def chain(raw: Raw, kind: str, name: str) -> list[str]:
    """What a copy is like, what that is like, and so on, to the first that says all itself."""
    like, found = sources(raw, kind), list[str]()
    while isinstance(source := like.get(name), str) and source not in found and len(found) < LONGEST:
        found.append(source)
        name = source
    return found


def from_file(raw: Raw, kind: str, name: str) -> bool:
    """Whether a thing, or what it is like, has its places from a points file."""
    own = tables(raw, kind)
    for each in (name, *chain(raw, kind, name)):
        table = own.get(each, {})
        if key_of_places(table) is not None:
            return False
        if "file" in table:
            return True
    return False


def written_out(table: Raw) -> Raw:
    """All that a copy is, as it says it by itself."""
    found = {key: value for key, value in table.items() if key not in Copy.model_fields}
    for key in (key for key in PLACES if is_spots(found.get(key))):
        found[key] = [[round(part, WRITTEN_OUT) + 0.0 for part in spot] for spot in found[key]]
    return found
