"""The fuse that a string needs of its own where a feed joins it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patcher.power.circuit import Join
from patcher.power.wires import BLADES, Wire, blade, tap_is_safe


@dataclass(frozen=True, slots=True)
class TapFuse:
    """Whether a joint needs a fuse of its own, and of which size.

    Attributes:
        feed: the feed.
        join: the joint.
        wire: the string's own wire behind it; None where the file does not say.
        before: amperes that the last fuse on the way to it passes; where there is none what its supply is rated for.
        given: the fuse that it has of its own, as the file says; None where it has none.
        behind: whether there is a fuse on the way to it.
        amps: what goes into the string there, either way; NaN where it is not known.
        together: what goes in there from all feeds that join it at that pixel: they are one tap to its wire.
    """

    feed: str
    join: Join
    wire: Wire | None
    before: float
    given: float | None
    behind: bool
    amps: float
    together: float

    @property
    def fused(self) -> bool:
        """Whether there is a fuse before the string, on the way or its own."""
        return self.behind or self.given is not None

    @property
    def passes(self) -> float:
        """Amperes that get through to the string: what the smallest fuse before it passes."""
        return self.before if self.given is None else min(self.before, self.given)

    @property
    def needed(self) -> bool | None:
        """Whether the string's wire may carry less than what gets there: then it lacks a fuse, or one that is small
        enough. None where the file does not say enough.
        """
        return None if self.wire is None else self.bears < self.passes

    @property
    def bears(self) -> float:
        """Amperes that the string's own wire may carry; NaN where the file does not say."""
        return np.nan if self.wire is None else self.wire.bears

    @property
    def too_thin(self) -> bool:
        """Whether no blade is small enough for the string's wire, whatever it carries."""
        return self.wire is not None and self.wire.bears < min(BLADES)

    @property
    def overloaded(self) -> bool:
        """Whether no fuse of any kind both carries its current for hours and protects the string."""
        wire = self.wire
        return self.needed is True and wire is not None and not tap_is_safe(wire.bears, self.passes, self.together)

    @property
    def blade(self) -> float | None:
        """The smallest blade that carries its current and protects the string, of an unknown one the largest."""
        if self.wire is None or self.overloaded:
            return None
        if np.isnan(self.amps):
            return max((size for size in BLADES if size <= self.wire.bears), default=None)
        return blade(self.amps, self.wire.bears)
