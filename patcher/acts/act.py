"""What may be asked for: one model an act, as it comes in JSON. Every place and length in it is in metres."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Discriminator, Field, StringConstraints, TypeAdapter

from patcher.show.tables import Name, PortNumber

MOST_COPIES = 100
"""So many copies are made by one act. No source: more is a slip of the hand."""
MOST_PARTS = 20_000
"""So many numbers, texts and lists stand in the keys of one act. No source: a picture traced by hand has fewer."""
_DEEPEST = 6
_LONGEST_TEXT = 1000
_LARGEST = 1e9


def _bounded(value: Any) -> Any:
    """A value of a key, where it is one that a show file can hold; ValueError where it is not."""
    level, parts = [value], 0
    for _ in range(_DEEPEST):
        inner: list[Any] = []
        for part in level:
            inner += _parts_of(part)
        parts += len(inner)
        if parts > MOST_PARTS:
            raise ValueError(f"holds more than {MOST_PARTS} values")
        level = inner
    if level:
        raise ValueError("nests lists and tables too deeply")
    return value


def _parts_of(value: Any) -> list[Any]:
    """What stands in a list or table; nothing in a number, a text, or a yes or no."""
    match value:
        case bool():
            return []
        case int() | float() if math.isfinite(value) and abs(value) <= _LARGEST:
            return []
        case str() if _is_text(value):
            return []
        case list():
            return value
        case dict() if all(isinstance(key, str) and _is_text(key) for key in value):
            return [*value.values()]
    raise ValueError("holds what no show file can hold")


def _is_text(text: str) -> bool:
    return len(text) <= _LONGEST_TEXT and not any("\ud800" <= letter <= "\udfff" for letter in text)


Metres = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-1e6, le=1e6)]
Spot = tuple[Metres, Metres]
Key = Annotated[str, StringConstraints(strict=True, pattern=r"^[a-z][a-z0-9_]*$", max_length=40)]
Value = Annotated[Any, AfterValidator(_bounded)]
Keys = Annotated[dict[Key, Value], Field(max_length=60)]
Index = Annotated[int, Field(strict=True, ge=0, le=1_000_000)]
Number = Annotated[int, Field(strict=True, ge=1, le=1_000_000)]
Flag = Annotated[bool, Field(strict=True)]


class _Asked(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Draw(_Asked):
    """A new run, behind the last run's table."""

    act: Literal["draw"]
    run: Name
    keys: Keys


class DrawGrid(_Asked):
    """A new prop with a grid, on which bands are drawn."""

    act: Literal["draw-grid"]
    prop: Name
    keys: Keys


class MoveCorner(_Asked):
    """One point of a picture is put elsewhere."""

    act: Literal["corner"]
    thing: Name
    corner: Index
    to: Spot


class CornerIn(_Asked):
    """A new point before one of a picture's points; before none of them: behind the last."""

    act: Literal["corner-in"]
    thing: Name
    before: Index
    to: Spot


class CornerOut(_Asked):
    """One point of a picture is taken out."""

    act: Literal["corner-out"]
    thing: Name
    corner: Index


class Shift(_Asked):
    """Runs, props, boxes and routes are moved; all others stay where they are."""

    act: Literal["shift"]
    things: Annotated[tuple[Name, ...], Field(min_length=1, max_length=10_000)]
    by: Spot


class SetKey(_Asked):
    """One key gets a value; null takes it out. The thing `show` is the table [show]."""

    act: Literal["set"]
    thing: Name
    key: Key
    value: Annotated[Any, AfterValidator(lambda value: None if value is None else _bounded(value))]


class CopyThing(_Asked):
    """Copies of a run or a prop, each so far from the one before."""

    act: Literal["copy"]
    thing: Name
    by: Spot
    count: Annotated[int, Field(strict=True, ge=1, le=MOST_COPIES)]
    mirrored: Flag = False
    turned: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-360, le=360)] = 0.0


class TakeOut(_Asked):
    """A table is deleted, and every mention of it."""

    act: Literal["take-out"]
    thing: Name


class Rename(_Asked):
    """A thing gets another name, wherever it is named."""

    act: Literal["rename"]
    thing: Name
    name: Name


class AddBox(_Asked):
    """A new box."""

    act: Literal["box"]
    name: Name
    at: Spot | None
    keys: Keys


class Hang(_Asked):
    """A run is hung on a port, behind another run of it or, with null, first."""

    act: Literal["hang"]
    run: Name
    box: Name
    port: Annotated[PortNumber, Field(strict=True, le=1_000_000)]
    behind: Name | None


class Unhang(_Asked):
    """A run is taken off its port."""

    act: Literal["unhang"]
    run: Name


class AddSupply(_Asked):
    """A new supply."""

    act: Literal["supply"]
    name: Name
    keys: Keys


class AddFeed(_Asked):
    """A new feed with its taps."""

    act: Literal["feed"]
    name: Name
    keys: Keys
    taps: Annotated[tuple[Keys, ...], Field(max_length=10_000)]


class AddRoute(_Asked):
    """A new route, along which cables are run."""

    act: Literal["route"]
    name: Name
    keys: Keys


class MeasureLead(_Asked):
    """A run's lead becomes as long as its way is drawn, with a tenth of slack, rounded up to 0.1 m; as it is where its
    ends have no places.
    """

    act: Literal["measure-lead"]
    run: Name


class AddTap(_Asked):
    """A new tap before the one with a number, counted from 1; one past the last: behind it."""

    act: Literal["tap"]
    feed: Name
    number: Number
    tap: Keys


class Untap(_Asked):
    """A tap is taken out; they count from 1."""

    act: Literal["untap"]
    feed: Name
    number: Number


Act = Annotated[
    Draw | DrawGrid | MoveCorner | CornerIn | CornerOut | Shift | SetKey | CopyThing | TakeOut | Rename
    | AddBox | Hang | Unhang | AddSupply | AddFeed | AddRoute | MeasureLead | AddTap | Untap,
    Discriminator("act"),
]  # fmt: skip
_ACT: TypeAdapter[Act] = TypeAdapter(Act)


def read_act(document: Any) -> Act:
    """The act that a JSON document asks for; ValueError where it is none."""
    return _ACT.validate_python(document)
