"""The tables of a show file as its reader of TOML gives them, and which of them a name means."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from typing import Any

from patcher.errors import PatcherError, choose_from, refuse

Raw = dict[str, Any]
"""The tables of a show file."""
ReadPoints = Callable[[str], list[list[float]]]
KINDS = ("run", "prop", "controller", "supply", "feed", "route")
"""Tables whose names are in one name space; of two things with one name the first of these is meant."""
WORDS = {
    "run": "run", "prop": "prop", "controller": "box", "supply": "supply", "feed": "feed", "socket": "socket",
    "pixel": "pixel type", "route": "route",
}  # fmt: skip
_COUNTED = re.compile(r"(.*)-([1-9][0-9]{0,8})")


def tables(raw: Mapping[str, Any], kind: str) -> dict[str, Raw]:
    """The tables of one kind, by name; what is no table is left out."""
    own = raw.get(kind)
    return {name: table for name, table in own.items() if isinstance(table, dict)} if isinstance(own, dict) else {}


def kinds_of(raw: Mapping[str, Any], name: str, kinds: Collection[str] = KINDS) -> list[str]:
    """Of which kinds there is a thing with a name."""
    return [kind for kind in kinds if name in tables(raw, kind)]


def kind_of(raw: Mapping[str, Any], name: str, *kinds: str) -> str:
    """Of which kind the thing with a name is.

    Raises:
        PatcherError: there is none of these kinds.
    """
    if found := kinds_of(raw, name, kinds):
        return found[0]
    words = " or ".join(WORDS[kind] for kind in kinds)
    known = [each for kind in kinds for each in tables(raw, kind)]
    raise refuse(name, f"is the name of no {words}", choose_from(name, known))


def listed(value: Any) -> list[Any]:
    """A list that a key holds; an empty one where it holds something else."""
    return value if isinstance(value, list) else []


def ports(raw: Raw) -> Iterator[tuple[str, Raw, str, list[Any]]]:
    """Every port that has runs: its box's name and table, the port's number, and the names on it."""
    for box, table in tables(raw, "controller").items():
        port = table.get("port")
        for number, names in port.items() if isinstance(port, dict) else ():
            if isinstance(names, list):
                yield box, table, number, names


def check_free(raw: Mapping[str, Any], kind: str, name: str) -> None:
    """Refuse a name that something has already."""
    named = kinds_of(raw, name, (*KINDS, "socket"))
    taken = "settings" if name == "show" else next((WORDS[each] for each in named), None)
    if taken is not None:
        raise refuse(f"{kind}.{name}", f"has the name of a {taken}", f"choose another name: {next_name(raw, name)}")


def next_name(raw: Mapping[str, Any], name: str) -> str:
    """The next free name: `tree-2` behind `tree`, `tree-8` behind `tree-7`."""
    counted = _COUNTED.fullmatch(name)
    stem, number = (counted[1], int(counted[2])) if counted else (name, 1)
    while True:
        number += 1
        if not kinds_of(raw, found := f"{stem}-{number}", (*KINDS, "socket", "pixel")):
            return found


def odd(where: str) -> PatcherError:
    """The error for a table that stands in the file in a form that cannot be edited."""
    says = "is written in a way that cannot be changed here"
    return refuse(where, says, f"write it under a heading of its own, [{where}]")
