"""Copies: runs and props that are like another one, each so far from the one before."""

from __future__ import annotations

from typing import Any

from patcher.acts.act import CopyThing
from patcher.acts.likes import chain, expanded_as, in_order, like_of, spots_of, whole_of, with_move
from patcher.acts.measures import in_file
from patcher.acts.things import Raw, ReadPoints, kind_of, listed, next_name, tables
from patcher.show.likeness import CORNERS, Copy
from patcher.show.schema import prop_kind


def copied(raw: Raw, act: CopyThing, points: ReadPoints) -> Raw:
    """The tables with copies of a run or a prop."""
    kind = kind_of(raw, act.thing, "run", "prop")
    name = act.thing
    for number in range(1, act.count + 1):
        name = next_name(raw, name)
        turn: Raw = {"moved": [in_file(number * part, raw) for part in act.by]}
        turn |= ({"mirrored": True} if act.mirrored else {}) | ({"turned": act.turned} if act.turned else {})
        if kind == "run":
            raw = _with_copy(raw, "run", act.thing, name, turn, {}, points)
        elif prop_kind(whole_of(raw, points).get(("prop", act.thing), {})) == "grid":
            raw = _grid_copied(raw, act, name, turn, points)
        else:
            raw = _prop_copied(raw, act.thing, name, turn, points)
    return raw


def _prop_copied(raw: Raw, prop: str, name: str, turn: Raw, points: ReadPoints) -> Raw:
    """The tables with a copy of a prop of runs: each run is like its own, about the middle of the prop."""
    whole = whole_of(raw, points)
    runs = [run for run in listed(raw["prop"][prop].get("runs")) if isinstance(run, str) and ("run", run) in whole]
    names: dict[str, str] = {}
    for run in runs:
        names[run] = _free_besides(raw, run, {name, *names.values()})
    for run, new in names.items():
        tee = whole["run", run].get("same_data_as")
        own = {"same_data_as": names[tee]} if tee in names else {}
        raw = _with_copy(raw, "run", run, new, turn | {"about": prop}, own, points)
    return {**raw, "prop": {**raw["prop"], name: {"runs": [*names.values()]}}}


def _free_besides(raw: Raw, name: str, taken: set[str]) -> str:
    while (name := next_name(raw, name)) in taken:
        pass
    return name


def _grid_copied(raw: Raw, act: CopyThing, name: str, turn: Raw, points: ReadPoints) -> Raw:
    """The tables with a copy of a prop that is a grid, and of its bands."""
    whole = whole_of(raw, points)
    bands = [band for (kind, band), table in whole.items() if kind == "run" and table.get("of") == act.thing]
    raw = _with_copy(raw, "prop", act.thing, name, turn, {}, points)
    for band in bands:
        own: Raw = {"of": name}
        corner = _turned_corner(whole["run", band].get("data_in"), act)
        if corner != whole["run", band].get("data_in"):
            own["data_in"] = corner
        raw = _with_copy(raw, "run", band, _free_besides(raw, band, set()), {}, own, points)
    return raw


def _turned_corner(corner: Any, act: CopyThing) -> Any:
    """The corner at which a band is entered, on a grid that was mirrored and turned."""
    if corner not in CORNERS:
        return corner
    if act.mirrored:
        up, side = corner.split("-")
        corner = f"{up}-{'right' if side == 'left' else 'left'}"
    for _ in range(round(act.turned / 90) % 4):
        corner = CORNERS[corner]
    return corner


def _with_copy(raw: Raw, kind: str, source: str, name: str, turn: Raw, own: Raw, points: ReadPoints) -> Raw:
    """The tables with one more thing that is like another, or like the first of those that are like each other."""
    drawn = spots_of(whole_of(raw, points).get((kind, source), {}), points) is not None
    table: Raw = {"like": source} | own | (turn if drawn else {})
    if drawn and turn:
        table = with_move(table, turn["moved"])
    target = expanded_as(raw, (kind, name), table, points)
    if target is not None:
        may = {*Copy.model_fields, *own, *({"data_in"} if "of" in own else ())}
        about = raw[kind][source].get("about", turn.get("about"))
        for first in reversed(chain(raw, kind, source)):
            flat = like_of(raw, (kind, name), first, target, points, about if isinstance(about, str) else None)
            if flat is not None and flat.keys() <= may:
                table = flat
                break
    return {**raw, kind: {**tables(raw, kind), name: in_order(table)}}
