"""Runs and grids that are like another: what they do not say themselves is taken over, moved, mirrored, turned.

It is worked out on the tables of the file, before anything else reads them; from then on a copy is a run as any other.
What a table says itself stands as it is: it is neither moved nor turned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

from pydantic import Field, ValidationError

from patcher.errors import Finding
from patcher.show.line_numbers import Place
from patcher.show.outlines import place_at_corner
from patcher.show.run_tables import Run
from patcher.show.tables import Flag, Name, Point, Real, Table

Tables = dict[str, Any]
Spot = tuple[float, float]
Put = Callable[[Spot], Spot]

LONGEST = 100
"""So many copies of copies, one of another, are written out."""
PLACES = ("path", "corners", "feet", "area", "at")
"""Keys that hold places, [x, y] each."""
_ACROSS = {"left": "right", "right": "left"}
CORNERS = {
    "bottom-left": "bottom-right", "bottom-right": "top-right", "top-right": "top-left", "top-left": "bottom-left",
}  # fmt: skip
"""Where each corner of a grid is after a quarter turn against the clock."""
_EITHER = (("at", "file"), ("file", "at"), ("lead_awg", "lead_mm2"), ("lead_mm2", "lead_awg"), ("nulls", "nulls_at"))
"""Of two keys that say the same in two ways a table's own takes the place of the other."""
EXAMPLES = {
    "like": 'the name of another: like = "tree-1"', "moved": "how far to the right and up: moved = [2.0, 0.0]",
    "mirrored": "mirrored = true, or take it out", "turned": "degrees against the clock, -360 to 360: turned = 15",
    "about": 'the name of a run or prop: about = "tree"',
}  # fmt: skip
"""What to write, where a value of a copy's is none."""


class Copy(Table):
    """[run.NAME] or a grid's [prop.NAME]: one that is like another, but for what its own table says."""

    like: Name
    """The run, or the prop with a grid, that it is like. It has all keys of it that it does not give itself; where it
    gives a shape, its own picture."""
    moved: Point = (0.0, 0.0)
    """How far it is from there: [x, y]."""
    mirrored: Flag = False
    """Left and right exchanged."""
    turned: Real = Field(default=0.0, ge=-360, le=360, json_schema_extra={"unit": "degrees"})
    """Turned against the clock, after it was mirrored; a grid by 90, 180 or 270."""
    about: Name | None = None
    """The run or prop about whose middle it is mirrored and turned, so that the parts of a prop stay together; the one
    that it is like, where not said."""


def expanded(raw: Tables, read_points: Callable[[str], Any]) -> tuple[Tables, list[Finding]]:
    """The tables with every copy written out, and what is wrong with copies; those are left out.

    Args:
        raw: the tables of a show file.
        read_points: reads the places of a points file; ValueError says why not.
    """
    writing = _Writing(raw, read_points)
    tables = dict(raw)
    for kind in ("run", "prop"):
        if sources(raw, kind):
            written = {name: writing.out(kind, name) for name in raw[kind]}
            tables[kind] = {name: table for name, table in written.items() if table is not None}
    return tables, writing.found


def sources(raw: Mapping[str, Any], kind: str) -> dict[str, str]:
    """The run or prop that each copy is like, as the file says it."""
    own = raw.get(kind)
    every = own.items() if isinstance(own, dict) else ()
    return {name: table["like"] for name, table in every if isinstance(table, dict) and "like" in table}


def inherited(place: Place, raw: Mapping[str, Any], like: Mapping[str, Mapping[str, str]]) -> Place | None:
    """The place from which a copy has what stands at a place; None where its own table says it.

    Args:
        place: the place.
        raw: the tables of a show file.
        like: the `sources` of each kind of copy.
    """
    match place:
        case (str(kind), str(name), *rest) if name in like.get(kind, ()):
            return (kind, like[kind][name], *rest) if not rest or rest[0] not in raw[kind][name] else None
    return None


class _Writing:
    """Writes copies out, each once, and keeps what is wrong with them."""

    def __init__(self, raw: Tables, read_points: Callable[[str], Any]) -> None:
        self.found: list[Finding] = []
        self._raw, self._read_points = raw, read_points
        self._done: dict[tuple[str, str], Tables | None] = {}
        self._under_way: list[tuple[str, str]] = []

    def out(self, kind: str, name: str) -> Any:
        """A table with all that it has of another; None where that cannot be."""
        tables = self._raw.get(kind)
        table = tables.get(name) if isinstance(tables, dict) else None
        if not isinstance(table, dict) or "like" not in table:
            return table
        key = kind, name
        if key in self._under_way:
            ring = [one for _, one in self._under_way[self._under_way.index(key) :]]
            says = f"is like itself: {' → '.join([*ring, name])}"
            self._wrong(kind, name, "like", says, "let one of them say all that it is")
            return None
        if key not in self._done and len(self._under_way) >= LONGEST:
            says = f"is like another by way of more than {LONGEST} others"
            self._wrong(kind, name, "like", says, "let all be like the first of them")
            return None
        if key not in self._done:
            self._under_way.append(key)
            self._done[key] = self._copied(kind, name, table)
            self._under_way.pop()
        return self._done[key]

    def _wrong(self, kind: str, name: str, key: str, says: str, remedy: str) -> None:
        self.found.append(Finding("error", "copy", "file", f"{kind}.{name}.{key}", says, remedy))

    def _copied(self, kind: str, name: str, table: Tables) -> Tables | None:
        own = {key: value for key, value in table.items() if key not in Copy.model_fields}
        try:
            copy = Copy.model_validate({key: table[key] for key in table.keys() & Copy.model_fields})
        except ValidationError as error:
            for key in dict.fromkeys(str(one["loc"][0]) for one in error.errors()):
                self._wrong(kind, name, key, "is not what this key holds", f"write {EXAMPLES[key]}")
            return None
        whole = self.out(kind, copy.like)
        if not isinstance(whole, dict) or copy.like not in self._raw[kind]:
            return None
        taken = {key: value for key, value in whole.items() if key not in {*own, *_instead(own)}}
        if kind == "prop":
            taken.pop("runs", None)
        elif "shape" in own:
            taken = {key: value for key, value in taken.items() if key in Run.model_fields}
        why = self._put(kind, copy, whole, taken, own)
        if why is not None:
            self._wrong(kind, name, *why)
            return None
        return taken | own

    def _put(self, kind: str, copy: Copy, whole: Tables, taken: Tables, own: Tables) -> tuple[str, str, str] | None:
        """Move, mirror and turn what is taken over; or the key that cannot be done, why, and what to do."""
        if not (any(copy.moved) or copy.mirrored or copy.turned):
            return None
        if (at := self._listed(taken)) is not None:
            taken["at"] = at
            del taken["file"]
        has = [key for key in PLACES if key in taken]
        first = "moved" if any(copy.moved) else "mirrored" if copy.mirrored else "turned"
        if not has:
            return first, "takes over no places, so there is nothing to move", f"take {first} out"
        middle = self._middle(kind, copy)
        if middle is None:
            return "about", f"“{copy.about}” has no places", "name a run or a prop that is drawn"
        if "area" in has and copy.turned % 90:
            return "turned", "a grid stands upright", "turn it by 90, 180 or 270"
        put = _put_about(middle, copy)
        if "feet" in has and not _stands(taken["feet"], put):
            return first, "would let the arch hang from its feet", "draw it as a line or as points"
        if (corner := _corner(taken)) and "corners" in whole:
            with suppress(ValueError, TypeError, KeyError):
                taken["data_in"] = place_at_corner(corner, whole["corners"], (taken | own)["pixels"])
        if "area" in has:
            _turn_grid(taken, whole, copy)
        for key in has:
            taken[key] = _moved(taken[key], put)
        return None

    def _middle(self, kind: str, copy: Copy) -> Spot | None:
        """The middle of all places that the file gives of a run or a prop."""
        about = copy.about or copy.like
        tables = [self.out(kind if copy.about is None else "run", about), self.out("prop", about)]
        for table in list(tables):
            members = table.get("runs") if isinstance(table, dict) else None
            if isinstance(members, list):
                tables += [self.out("run", run) for run in members if isinstance(run, str)]
        spots = [spot for table in tables if isinstance(table, dict) for spot in self._places_of(table)]
        if not spots:
            return None
        x, y = zip(*spots, strict=True)
        return (min(x) + max(x)) / 2, (min(y) + max(y)) / 2

    def _places_of(self, table: Tables) -> list[Spot]:
        table = table | {"at": at} if (at := self._listed(table)) is not None else table
        return [spot for key in PLACES for spot in _spots(table.get(key))]

    def _listed(self, table: Tables) -> Any:
        """The places in the file that a table names; None where it names none that can be read."""
        if isinstance(table.get("file"), str):
            with suppress(ValueError):
                return self._read_points(table["file"])
        return None


def _corner(table: Tables) -> str | None:
    """The corner by which a table says where its data enters."""
    said = table.get("data_in")
    return said if isinstance(said, str) and said in CORNERS else None


def _instead(own: Tables) -> set[str]:
    """Keys of which a table has another in their place."""
    return {other for one, other in _EITHER if one in own}


def _spots(value: Any) -> list[Spot]:
    """The places that a key holds, as far as they are some."""
    every = value if isinstance(value, list) else []
    return [(spot[0], spot[1]) for spot in every if _is_spot(spot)]


def _is_spot(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(type(part) in (int, float) for part in value)


def _moved(value: Any, put: Put) -> Any:
    """Places moved; what is none stays, for whoever reads it to say so."""
    if not isinstance(value, list):
        return value
    return [list(put((spot[0], spot[1]))) if _is_spot(spot) else spot for spot in value]


def _put_about(middle: Spot, copy: Copy) -> Put:
    """How a place is mirrored and turned about a middle, and moved."""
    angle = math.radians(copy.turned)
    cos, sin = (round(part, 15) for part in (math.cos(angle), math.sin(angle)))  # a quarter turn is one

    def put(spot: Spot) -> Spot:
        x, y = (-1 if copy.mirrored else 1) * (spot[0] - middle[0]), spot[1] - middle[1]
        return middle[0] + x * cos - y * sin + copy.moved[0], middle[1] + x * sin + y * cos + copy.moved[1]

    return put


def _stands(feet: Any, put: Put) -> bool:
    """Whether an arch that is put elsewhere stands as `shapes.py` draws one on its feet: upright, or to the right."""
    spots = _spots(feet)
    if len(spots) != 2 or spots[0] == spots[1]:
        return True
    (x0, y0), (x1, y1) = spots
    across, up = y0 - y1, x1 - x0
    if (up, across) < (0, 0):
        across, up = -across, -up
    here, there = put((x0, y0)), put((x0 + across, y0 + up))
    return (round(there[1] - here[1], 9), round(there[0] - here[0], 9)) > (0, 0)


def _turn_grid(taken: Tables, whole: Tables, copy: Copy) -> None:
    """Let a grid's rows, columns and corner go along. One column stands at the left of its area, one row below."""
    if len(spots := _spots(taken["area"])) == 2:
        alone = [whole.get(key) == 1 for key in ("columns", "rows")]
        low = [min(parts) for parts in zip(*spots, strict=True)]
        taken["area"] = [[low[axis] if alone[axis] else spot[axis] for axis in (0, 1)] for spot in spots]
    quarters = round(copy.turned / 90) % 4
    if quarters % 2:
        swapped = {"columns": whole.get("rows"), "rows": whole.get("columns")}
        swapped["lines"] = {"rows": "columns", "columns": "rows"}.get(str(whole.get("lines")), whole.get("lines"))
        taken |= {key: value for key, value in swapped.items() if key in taken}
    if corner := _corner(taken):
        if copy.mirrored:
            up, side = corner.split("-")
            corner = f"{up}-{_ACROSS[side]}"
        for _ in range(quarters):
            corner = CORNERS[corner]
        taken["data_in"] = corner
