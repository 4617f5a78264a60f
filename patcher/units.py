"""Units: lengths are metres everywhere but in a person's file."""

METRES_PER: dict[str, float] = {"m": 1.0, "ft": 0.3048}
"""Metres in one unit of length. Source: international yard and pound agreement, 1959 (1 ft = 0.3048 m)."""


def in_units(metres: float, units: str) -> str:
    """A length in a file's units, with the unit: `2.5 m`, `8.2 ft`."""
    return f"{metres / METRES_PER[units]:.4g} {units}"
