"""The eye: what a person sees of pixels from ten metres away, and what they can be asked. See `sight.py`."""
# ruff: noqa: I001

from patcher.eye.asks import (
    CANNOT_TELL, FLICKERS, IN_PARTS, MANY, NEVER, NEVER_APART, NEVER_DARK, QUARTERS, WHOLE, Ask, AskKind, Sight, alike,
    even, few, flicker, gap, goes_of, in_words, missing, odd, outer, together, vanish, where, whole,
)  # fmt: skip
from patcher.eye.shades import (
    BLUE, BROKEN, COLOURS, DARK, FLICKER, GREEN, LINE, NOBODY, ODD, RED, SEVERAL, WHITE, Shades, shade_table,
)  # fmt: skip
from patcher.eye.sight import COUNTS_TO, MISSES, MISSES_ODD, MOST, SEEN_FROM, Chances, Eye, parted

__all__ = [
    "BLUE", "BROKEN", "CANNOT_TELL", "COLOURS", "COUNTS_TO", "DARK", "FLICKER", "FLICKERS", "GREEN", "IN_PARTS", "LINE",
    "MANY", "MISSES", "MISSES_ODD", "MOST", "NEVER", "NEVER_APART", "NEVER_DARK", "NOBODY", "ODD", "QUARTERS", "RED",
    "SEEN_FROM", "SEVERAL", "WHITE", "WHOLE", "Ask", "AskKind", "Chances", "Eye", "Shades", "Sight", "alike", "even",
    "few", "flicker", "gap", "goes_of", "in_words", "missing", "odd", "outer", "parted", "shade_table", "together",
    "vanish", "where", "whole",
]  # fmt: skip
