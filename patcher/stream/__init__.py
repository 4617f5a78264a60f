"""Test frames: what should be lit, as levels, as packets, on a clock."""
