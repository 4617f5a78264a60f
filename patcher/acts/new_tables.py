"""New tables, and single keys of those there are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from patcher.acts.act import AddBox, AddFeed, AddRoute, AddSupply, Draw, DrawGrid, SetKey
from patcher.acts.likes import whole_of
from patcher.acts.measures import keys_in_file, spot_in_file, value_in_file
from patcher.acts.things import KINDS, Raw, ReadPoints, check_free, kind_of, tables
from patcher.errors import choose_from, refuse
from patcher.show.likeness import Copy
from patcher.show.run_tables import RUN_KINDS, Run, run_kind
from patcher.show.schema import CableRoute, Controller, Feed, GridProp, PixelType, Prop, Settings, Supply, prop_kind
from patcher.show.schema_problems import keys_of

_MODELS: dict[str, type[BaseModel]] = {
    "show": Settings, "controller": Controller, "supply": Supply, "feed": Feed, "pixel": PixelType,
    "route": CableRoute,
}  # fmt: skip


def with_new(raw: Raw, act: Draw | DrawGrid | AddBox | AddSupply | AddFeed | AddRoute) -> Raw:
    """The tables with one more."""
    match act:
        case Draw():
            return _added(raw, "run", act.run, act.keys)
        case DrawGrid():
            return _added(raw, "prop", act.prop, act.keys)
        case AddBox():
            at = {} if act.at is None else {"at": spot_in_file(act.at, raw)}
            new = _added(raw, "controller", act.name, act.keys)
            new["controller"][act.name] |= at
            return new
        case AddSupply():
            return _added(raw, "supply", act.name, act.keys)
        case AddRoute():
            return _added(raw, "route", act.name, act.keys)
        case AddFeed():
            return _added(raw, "feed", act.name, {**act.keys, "taps": list(act.taps)})


def _added(raw: Raw, kind: str, name: str, keys: Mapping[str, Any]) -> Raw:
    check_free(raw, kind, name)
    if kind in raw and not isinstance(raw[kind], dict):
        raise refuse(kind, "is no table", f"write each under a heading of its own, [{kind}.NAME]")
    return {**raw, kind: {**raw.get(kind, {}), name: keys_in_file(keys, raw)}}


def with_key(raw: Raw, act: SetKey, points: ReadPoints) -> Raw:
    """The tables with a value for one key, or without it."""
    kind = "show" if act.thing == "show" else kind_of(raw, act.thing, *KINDS, "pixel")
    where = "show" if kind == "show" else f"{kind}.{act.thing}"
    known = _keys(raw, kind, act.thing, points)
    if act.key not in known:
        raise refuse(f"{where}.{act.key}", "is no key of this table", choose_from(act.key, known))
    own = raw.get("show", {}) if kind == "show" else tables(raw, kind)[act.thing]
    if not isinstance(own, dict):
        raise refuse(where, "is no table", f"write it under a heading of its own, [{where}]")
    new = {key: value for key, value in own.items() if key != act.key or act.value is not None}
    if act.value is not None:
        new[act.key] = value_in_file(act.key, act.value, raw)
    return {**raw, "show": new} if kind == "show" else {**raw, kind: {**raw[kind], act.thing: new}}


def _keys(raw: Raw, kind: str, name: str, points: ReadPoints) -> list[str]:
    """The keys that a table may have."""
    if kind in _MODELS:
        return keys_of(_MODELS[kind])
    own = tables(raw, kind)[name]
    whole = whole_of(raw, points).get((kind, name), own)
    if kind == "prop":
        model: type[BaseModel] = GridProp if prop_kind(whole) == "grid" else Prop
        return [*keys_of(model), *keys_of(Copy)]
    return [*keys_of(RUN_KINDS.get(run_kind(whole), Run)), "shape", *keys_of(Copy)]
