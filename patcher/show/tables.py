"""What the tables of a show file are made of: names, numbers, lengths, and the bare table.

Lengths arrive in the file's `units` and are metres from here on: the reader gives `metres`, the metres in one of the
file's units, as validation context.
"""

from __future__ import annotations

import re
from ipaddress import IPv4Address
from math import dist
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    JsonValue,
    PrivateAttr,
    StringConstraints,
    ValidationInfo,
    model_validator,
)

from patcher.trade import CHANNELS, FIRST_UNIVERSE, HIGHEST_UNIVERSE, MOST_LETTERS

MOST_PIXELS = HIGHEST_UNIVERSE * CHANNELS
"""Pixels of one channel that fill every universe of E1.31; no count in a show is larger."""
NAME_PATTERN = r"^[A-Za-z][A-Za-z0-9_-]*$"
Corner = Literal["bottom-left", "bottom-right", "top-left", "top-right"]
End = Literal["first", "last"]


def to_metres(length: float, info: ValidationInfo) -> float:
    """A length in metres that stands in the file's units."""
    metres: float = (info.context or {}).get("metres", 1.0)
    return length * metres


def _known_letters(order: str) -> str:
    if len(set(order)) != len(order):
        raise ValueError("names a colour twice → write each of its letters once")
    return order


def station_address(text: str) -> str:
    """The text of an IPv4 address that one box can have; ValueError says why not."""
    try:
        address = IPv4Address(text)
    except ValueError:
        raise ValueError("is not an IPv4 address → write the one set in the box, such as 192.0.2.21") from None
    if address.is_multicast or address.is_unspecified or address == IPv4Address("255.255.255.255"):
        raise ValueError("is not the address of one box → write the one set in the box, such as 192.0.2.21")
    return text


def same_place(one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether two places in metres are one: files hold a millimetre, so what is closer than two is not told apart."""
    return dist(one, other) < 0.002


def _port_number(key: Any) -> Any:
    if isinstance(key, str) and not re.fullmatch(r"[1-9][0-9]{0,5}", key):
        raise ValueError("is not a port number: ports count from 1")
    return key


LONGEST_NAME = 60
"""Letters of a name, at most. No source: it must fit a label and a line of a table."""
Name = Annotated[str, StringConstraints(strict=True, pattern=NAME_PATTERN, max_length=LONGEST_NAME)]
LENGTHS: dict[str, JsonValue] = {"unit": "m or ft"}
"""What the JSON Schema says of lengths: in which unit they are written."""
Real = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Positive = Annotated[Real, Field(gt=0)]
NotNegative = Annotated[Real, Field(ge=0)]
Fraction = Annotated[Real, Field(ge=0, le=1)]
Whole = Annotated[int, Field(strict=True, ge=0)]
Count = Annotated[int, Field(strict=True, ge=1, le=MOST_PIXELS)]
Entry = Literal["first", "last", "bottom-left", "bottom-right", "top-left", "top-right"] | Count
Flag = Annotated[bool, Field(strict=True)]
Text = Annotated[str, Field(strict=True)]
Coordinate = Annotated[Real, Field(ge=-1e6, le=1e6, json_schema_extra=LENGTHS), AfterValidator(to_metres)]
# Numbers past all that is ever built are refused here, so that no sum of them overflows further on.
Length = Annotated[NotNegative, Field(le=100_000, json_schema_extra=LENGTHS), AfterValidator(to_metres)]
Pitch = Annotated[Positive, Field(ge=1e-6, le=10_000, json_schema_extra=LENGTHS), AfterValidator(to_metres)]
Volts = Annotated[Positive, Field(ge=1e-3, le=1_000, json_schema_extra={"unit": "V"})]
Amps = Annotated[Positive, Field(ge=1e-3, le=1_000_000, json_schema_extra={"unit": "A"})]
Milliamps = Annotated[NotNegative, Field(le=10_000_000, json_schema_extra={"unit": "mA"})]
SquareMillimetres = Annotated[Positive, Field(ge=1e-3, le=10_000, json_schema_extra={"unit": "mm²"})]
Point = tuple[Coordinate, Coordinate]
ColourOrder = Annotated[
    str, StringConstraints(strict=True, pattern=rf"^[A-Z]{{1,{MOST_LETTERS}}}$"), AfterValidator(_known_letters)
]
UniverseNumber = Annotated[int, Field(strict=True, ge=FIRST_UNIVERSE, le=HIGHEST_UNIVERSE)]
PortNumber = Annotated[int, BeforeValidator(_port_number), Field(ge=1)]
Awg = Annotated[int, Field(strict=True, ge=0, le=40)]


class Table(BaseModel):
    """A table of the show file: only the keys that it names, and fixed once read."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


class Named(Table):
    """A table with a name, such as `[run.towpath]`."""

    _name: str = PrivateAttr(default="")

    @property
    def name(self) -> str:
        """The name after the dot in the table's heading."""
        return self._name

    def called(self, name: str) -> Self:
        """The same table under a name."""
        table = self.model_copy()
        table._name = name
        return table


def one_gauge(awg: int | None, mm2: float | None, of: str = "") -> None:
    """Refuse a table that says the same wire by two keys; `of` stands before both keys: `lead_`."""
    if awg is not None and mm2 is not None:
        raise ValueError(f"gives the wire twice → write {of}awg or {of}mm2, not both")


class Wired(Named):
    """A table that says what its wire is."""

    awg: Awg | None = None
    """American wire gauge of the copper; or `mm2`."""
    mm2: SquareMillimetres | None = None
    """Cross-section of the copper, instead of `awg`."""

    @model_validator(mode="after")
    def _gauge(self) -> Wired:
        one_gauge(self.awg, self.mm2)
        return self
