"""Units: lengths are metres everywhere but in a person's file. Numbers that are compared in words."""

import re
from math import ceil, isnan

METRES_PER: dict[str, float] = {"m": 1.0, "ft": 0.3048}
"""Metres in one unit of length. Source: international yard and pound agreement, 1959 (1 ft = 0.3048 m)."""


def in_units(metres: float, units: str) -> str:
    """A length in a file's units, with the unit: `2.5 m`, `8.2 ft`."""
    return f"{metres / METRES_PER[units]:.4g} {units}"


def length(metres: float, units: str) -> str:
    """A length in the show's own units, rounded up to a hundredth: no paper may promise, or ask for, less wire.

    What is over by less than a thousandth of that comes of converting units, and is no length.
    """
    if isnan(metres):
        return "not known"
    return f"{ceil(metres / METRES_PER[units] * 100 - 1e-3) / 100:.2f}".removesuffix("0") + f" {units}"


def apart(*numbers: float, decimals: int = 1) -> tuple[str, ...]:
    """Numbers that a sentence compares, with as many decimals as tell apart those that differ, `decimals` at least.

    Six at most: what differs by less is taken for the same.
    """
    different = len({f"{number:.6f}" for number in numbers})
    for places in range(decimals, 7):
        texts = tuple(f"{number:.{places}f}" for number in numbers)
        if len(set(texts)) >= different:
            break
    return texts


def of_percent(text: str) -> str:
    """What to write for a part of 1 that is written in percent: `0.3 for 30 %`; empty where it is not one."""
    found = re.fullmatch(r"\s*(\d{1,3}(?:[.,]\d{1,6})?)\s*(%?)\s*", text)
    if found is None:
        return ""
    percent = float(found[1].replace(",", "."))
    least = 0.0 if found[2] else 1.0
    return f"{percent / 100:g} for {percent:g} %" if least < percent <= 100 else ""
