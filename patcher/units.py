"""Units: lengths are metres everywhere but in a person's file."""

METRES_PER: dict[str, float] = {"m": 1.0, "ft": 0.3048}
"""Metres in one unit of length. Source: international yard and pound agreement, 1959 (1 ft = 0.3048 m)."""
