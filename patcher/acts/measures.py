"""Metres, as acts have them, and the units of the file: the one place where the two meet."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

from patcher.acts.things import Raw
from patcher.show.likeness import Copy
from patcher.show.schema import Show
from patcher.show.tables import LENGTHS
from patcher.units import METRES_PER

_DECIMALS = {"m": 3, "ft": 4}
"""A millimetre, and what is finer than that in feet."""
_FINE = {"pitch": 6}
"""Pitch is multiplied by many pixels: a millimetre off is metres of string."""
PHOTO, POINTS = ("photo", "wall", "spans"), ("origin", "corners", "from", "to")
"""Tables about a photograph, and their keys that hold points of the picture."""
WRITTEN_OUT = 6
"""Decimals of places that were worked out: what is drawn already must not be seen to move."""


def units(raw: Mapping[str, Any]) -> str:
    """The units of a file's lengths, `m` or `ft`."""
    settings = raw.get("show")
    said = settings.get("units") if isinstance(settings, dict) else None
    return said if isinstance(said, str) and said in METRES_PER else "m"


def in_file(metres: float, raw: Mapping[str, Any], key: str = "") -> float:
    """A length in the file's units, rounded to the millimetre or finer."""
    unit = units(raw)
    return round(metres / METRES_PER[unit], _FINE.get(key, _DECIMALS[unit])) + 0.0


def spot_in_file(spot: tuple[float, float], raw: Mapping[str, Any]) -> list[float]:
    """A place in the file's units."""
    return [in_file(part, raw) for part in spot]


def keys_in_file(keys: Mapping[str, Any], raw: Mapping[str, Any]) -> Raw:
    """Keys of a table with their lengths in the file's units; keys without a value left out."""
    return {key: value_in_file(key, value, raw) for key, value in keys.items() if value is not None}


def value_in_file(key: str, value: Any, raw: Mapping[str, Any]) -> Any:
    """The value of a key, and of the keys of the tables in it, with lengths in the file's units."""
    if isinstance(value, dict):
        own = {name: part for name, part in value.items() if key in PHOTO and name in POINTS}  # they have no units
        return {name: own.get(name, part) for name, part in keys_in_file(value, raw).items()}
    if isinstance(value, list | tuple):
        return [value_in_file(key, part, raw) for part in value]
    if key in length_keys() and isinstance(value, int | float) and not isinstance(value, bool):
        return in_file(value, raw, key)
    return value


@lru_cache(maxsize=1)
def length_keys() -> frozenset[str]:
    """The keys that hold lengths or places, as the show file's own schema says."""
    schemas = Show.model_json_schema(by_alias=True), Copy.model_json_schema(by_alias=True)
    mark = json.dumps(LENGTHS)[1:-1]
    return frozenset(key for whole in schemas for key, own in _properties(whole) if mark in json.dumps(own))


def _properties(schema: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for table in (schema, *schema.get("$defs", {}).values()):
        yield from table.get("properties", {}).items()
