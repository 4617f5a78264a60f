"""Where a file names a thing, and another name for it in all those places."""

from __future__ import annotations

import re
from copy import deepcopy
from typing import Any

from patcher.acts.act import Rename
from patcher.acts.rewriting import Renamed
from patcher.acts.things import KINDS, Raw, check_free, kind_of, kinds_of, listed, ports, tables

_KEYS = {
    "run": (("run", "same_data_as"), ("run", "like"), ("run", "about"), ("prop", "about")),
    "prop": (("run", "of"), ("prop", "like"), ("run", "about"), ("prop", "about")),
    "controller": (("supply", "box"),),
    "supply": (("feed", "supply"),),
    "feed": (("feed", "from"),),
    "pixel": (("run", "pixel"),),
    "route": (),
}
"""Keys that name a thing of each kind: the kind of table that they stand in, and the key."""


def named(raw: Raw, act: Rename) -> tuple[Raw, Renamed]:
    """The tables with another name for a thing, and which headings change for it.

    A run and a prop of one name are one thing to the eye, and are given another name together.
    """
    first = kind_of(raw, act.thing, *KINDS, "pixel")
    kinds = kinds_of(raw, act.thing, ("run", "prop")) if first in ("run", "prop") else [first]
    if act.name == act.thing:
        return raw, {}
    check_free(raw, first, act.name)
    new = deepcopy(raw)
    for kind in kinds:
        new[kind] = {act.name if name == act.thing else name: table for name, table in new[kind].items()}
        _rename_mentions(new, kind, act.thing, act.name)
    return new, {(kind, act.thing): act.name for kind in kinds}


def _rename_mentions(raw: Raw, kind: str, old: str, new: str) -> None:
    for owner, key in _KEYS[kind]:
        for table in tables(raw, owner).values():
            if table.get(key) == old:
                table[key] = new
    if kind == "run":
        for _, box, number, names in list(ports(raw)):
            box["port"][number] = _replaced(names, old, new)
        for prop in tables(raw, "prop").values():
            if isinstance(prop.get("runs"), list):
                prop["runs"] = _replaced(prop["runs"], old, new)
        for tap in taps_on(raw, old):
            tap["run"] = new
    if kind in ("run", "controller"):
        _rename_pins(raw, kind, old, new)
    if kind == "supply":
        for logic in logics_on(raw, old):
            logic["supply"] = new
    for accept in listed(raw.get("accept")):
        if mentions(accept, kind, old):
            accept["where"] = accept["where"].replace(f"{kind}.{old}", f"{kind}.{new}", 1)


def _replaced(names: list[Any], old: str, new: str) -> list[Any]:
    return [new if name == old else name for name in names]


def _rename_pins(raw: Raw, kind: str, old: str, new: str) -> None:
    """Give a run or box another name in the pins of its own start."""
    for name, box in tables(raw, "controller").items():
        start = box.get("start")
        of_its_own = box.get("start_per") == kind and (kind == "run" or name == new)
        if of_its_own and isinstance(start, dict) and old in start:
            box["start"] = {new if key == old else key: pin for key, pin in start.items()}


def taps_on(raw: Raw, run: str) -> list[Raw]:
    """Every tap of any feed that is on a run."""
    taps = [tap for feed in tables(raw, "feed").values() for tap in listed(feed.get("taps"))]
    return [tap for tap in taps if isinstance(tap, dict) and tap.get("run") == run]


def logics_on(raw: Raw, supply: str) -> list[Raw]:
    """The tables of every controller's own electronics that hang on a supply."""
    every = [box.get("logic") for box in tables(raw, "controller").values()]
    return [logic for logic in every if isinstance(logic, dict) and logic.get("supply") == supply]


def mentions(accept: Any, kind: str, name: str) -> bool:
    """Whether a judged warning is about a thing."""
    where = accept.get("where") if isinstance(accept, dict) else None
    return isinstance(where, str) and re.match(rf"{kind}\.{re.escape(name)}(?![A-Za-z0-9_-])", where) is not None
