"""Points of a picture: one is put elsewhere, one more comes in, one goes out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from patcher.acts.act import CornerIn, CornerOut, MoveCorner
from patcher.acts.likes import from_file, key_of_places, whole_of, written_out
from patcher.acts.measures import spot_in_file
from patcher.acts.things import Raw, ReadPoints, kind_of
from patcher.errors import refuse

_MANY = ("path", "corners", "at")
"""Keys that hold as many places as one likes."""
_TURNS = ("moved", "mirrored", "turned", "about")
_WITH_PLACES = ("data_in", "columns", "rows", "lines")
"""What is mirrored and turned along with places."""
Change = Callable[[list[Any]], None]


def corner_moved(raw: Raw, act: MoveCorner, points: ReadPoints) -> Raw:
    """The tables with one corner put elsewhere."""

    def change(spots: list[Any]) -> None:
        spots[act.corner] = spot_in_file(act.to, raw)

    return _changed(raw, act.thing, act.corner, change, points)


def corner_put_in(raw: Raw, act: CornerIn, points: ReadPoints) -> Raw:
    """The tables with one more corner, before another or behind the last."""

    def change(spots: list[Any]) -> None:
        spots.insert(act.before, spot_in_file(act.to, raw))

    return _changed(raw, act.thing, act.before - 1, change, points, _MANY)


def corner_taken_out(raw: Raw, act: CornerOut, points: ReadPoints) -> Raw:
    """The tables with one corner less."""

    def change(spots: list[Any]) -> None:
        del spots[act.corner]

    return _changed(raw, act.thing, act.corner, change, points, _MANY)


def _changed(
    raw: Raw, name: str, corner: int, change: Change, points: ReadPoints, keys: tuple[str, ...] | None = None
) -> Raw:
    """The tables with a change to the places of a thing, which must have that corner."""
    kind = kind_of(raw, name, "run", "prop", "route")
    where = f"{kind}.{name}"
    if from_file(raw, kind, name):
        raise refuse(where, "has its places from a points file", "change them in the file")
    whole = whole_of(raw, points)
    table = raw[kind][name] if kind == "route" else whole.get((kind, name), {})
    key = key_of_places(table)
    if key is None:
        remedy = f"change those of prop {table['of']}" if "of" in table else "draw it first"
        raise refuse(where, "says no places of its own", remedy)
    if keys is not None and key not in keys:
        raise refuse(f"{where}.{key}", "has two points, no more and no fewer", "move one of them instead")
    if corner >= len(table[key]):
        raise refuse(f"{where}.{key}", f"has no point {corner}", f"it has {len(table[key])}, counted from 0")
    own = raw[kind][name]
    if key not in own:
        own = _by_itself(own, table, whole.get((kind, str(own.get("like"))), {}), key)
    spots = list(own[key])
    change(spots)
    return {**raw, kind: {**raw[kind], name: {**own, key: spots}}}


def _by_itself(own: Raw, whole: Raw, source: Raw, key: str) -> Raw:
    """A copy's table that says its places itself; nothing is left for it to be moved, mirrored or turned."""
    said = {each: value for each, value in own.items() if each not in _TURNS}
    along = [each for each in _WITH_PLACES if each in whole and each not in own and whole[each] != source.get(each)]
    return said | {key: written_out(whole)[key]} | {each: whole[each] for each in along}
