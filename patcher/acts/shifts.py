"""Runs, props, boxes and routes that are moved while all others stay where they are."""

from __future__ import annotations

from typing import Any

from patcher.acts.act import Shift
from patcher.acts.likes import DRAWN, Thing, all_spots, is_spots, key_of_places, settled
from patcher.acts.measures import spot_in_file
from patcher.acts.things import Raw, ReadPoints, kind_of, kinds_of, listed, tables
from patcher.errors import refuse

_MOVING = ("run", "prop", "controller", "route")
_DECIMALS = 9
"""Sums are rounded to what no person writes, so that 0.1 + 0.2 stands there as 0.3."""


def shifted(raw: Raw, act: Shift, points: ReadPoints) -> Raw:
    """The tables with things moved by so much."""
    x, y = spot_in_file(act.by, raw)
    if not (x or y):
        for name in act.things:
            kind_of(raw, name, *_MOVING)
        return raw
    target = all_spots(raw, points)
    moving = list(dict.fromkeys(thing for name in act.things for thing in _moving(raw, name, target)))
    for kind, name in moving:
        raw = {**raw, kind: {**raw[kind], name: _moved(raw, (kind, name), x, y)}}
        if (kind, name) in target:
            target[kind, name] = [[_sum(spot[0], x), _sum(spot[1], y)] for spot in target[kind, name]]
    return settled(raw, target, points)


def _moving(raw: Raw, name: str, drawn: dict[Thing, Any]) -> list[Thing]:
    """The tables that say where a thing is."""
    kind = kind_of(raw, name, *_MOVING)
    if kind == "route":
        return [("route", name)]
    if kind == "controller":
        if not is_spots([raw["controller"][name].get("at")]):
            raise refuse(f"controller.{name}.at", "is not given", "say first where the box stands")
        return [("controller", name)]
    things: list[Thing] = [(kind, name) for kind in kinds_of(raw, name, DRAWN)]
    runs = listed(tables(raw, "prop").get(name, {}).get("runs"))
    things += [("run", run) for run in runs if isinstance(run, str)]
    if found := [thing for thing in things if thing in drawn]:
        return found
    of = tables(raw, "run").get(name, {}).get("of")
    remedy = f"move prop {of}, on which it is drawn" if isinstance(of, str) else "draw it first"
    raise refuse(f"{things[0][0]}.{name}", "says no places of its own", remedy)


def _moved(raw: Raw, thing: Thing, x: float, y: float) -> Raw:
    """A table with its own places moved; of a copy, which has none, that is done when all are settled."""
    kind, name = thing
    table: Raw = raw[kind][name]
    if kind == "controller":
        return {**table, "at": [_sum(table["at"][0], x), _sum(table["at"][1], y)]}
    if key := key_of_places(table):
        return {**table, key: [[_sum(spot[0], x), _sum(spot[1], y)] for spot in table[key]]}
    if "like" not in table:
        raise refuse(f"{kind}.{name}", "has its places from a points file", "change them in the file")
    return table


def _sum(length: float, by: float) -> float:
    return round(length + by, _DECIMALS) if by else length
