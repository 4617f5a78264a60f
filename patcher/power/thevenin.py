"""What the part of a rail left of a pixel can supply to the part right of it (Thévenin equivalents).

Once there is a source on the left, the volts at the place are V = E − R i (Thévenin), i being the current that leaves
to the right; with none, i is minus their load and V is whatever the right gives. All that must hold on the left is the
harder the larger i is, and so comes to one bound on i (or, with no source, on V).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

MOST_AMPS = 1e9
"""Amperes that no rail carries: stands for a bound where none is known."""
_SAME = 1e-12
"""Volts that make no difference. Over n pixels the loss adds up to n times this."""
_ROUNDS = 3


def at_most(room: ArrayLike, slope: ArrayLike) -> Floats:
    """The largest x with slope · x ≤ room, for slopes of 0 or more; ± infinity where x does not matter."""
    room, slope = np.asarray(room, float), np.asarray(slope, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(slope > 0, room / slope, np.where(room >= 0, inf, -inf))


@dataclass(frozen=True, eq=False, slots=True)
class Labels:
    """Ways to tap the pixels so far, one a row.

    Attributes:
        count: new taps.
        volts: E, volts at the place while nothing leaves it.
        ohms: R, 0 where a tap without ohms stands there.
        most: largest i at which all on the left holds; no limit where there are no ohms.
        node: the number of its last tap, as the caller keeps them; −1 for none.
    """

    count: Whole
    volts: Floats
    ohms: Floats
    most: Floats
    node: Whole

    @staticmethod
    def none() -> Labels:
        """No row."""
        return Labels(np.zeros(0, int), np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0, int))

    def take(self, rows: NDArray[np.bool_] | Whole) -> Labels:
        """Some rows."""
        return Labels(self.count[rows], self.volts[rows], self.ohms[rows], self.most[rows], self.node[rows])

    def beside(self, other: Labels) -> Labels:
        """The rows of both."""
        return Labels(
            np.concatenate([self.count, other.count]),
            np.concatenate([self.volts, other.volts]),
            np.concatenate([self.ohms, other.ohms]),
            np.concatenate([self.most, other.most]),
            np.concatenate([self.node, other.node]),
        )

    def along(self, ohms: float) -> Labels:
        """Behind a wire."""
        return replace(self, ohms=self.ohms + ohms)

    def loaded(self, amps: float) -> Labels:
        """With a load there."""
        return replace(self, volts=self.volts - self.ohms * amps, most=self.most - amps)

    def tapped(self, volts: float, ohms: float) -> Labels:
        """With a source there; it or the rows have ohms."""
        total = self.ohms + ohms
        share = ohms / total
        most = at_most(self.most * total - (self.volts - volts), ohms)
        return replace(self, volts=share * self.volts + (1 - share) * volts, ohms=share * self.ohms, most=most)

    def holding(self, least: float) -> Labels:
        """With at least these volts needed there; rows that cannot give them are left out."""
        held = replace(self, most=np.minimum(self.most, at_most(self.volts - least, self.ohms)))
        return held.take(held.most > -inf)


@dataclass(frozen=True, slots=True)
class Dark:
    """Pixels so far with no source among them.

    Attributes:
        amps: what they draw.
        least: volts at the place at which they all hold.
    """

    amps: float = 0.0
    least: float = -inf

    def along(self, ohms: float) -> Dark:
        """Behind a wire."""
        return Dark(self.amps, self.least + ohms * self.amps)

    def tapped(self, volts: float, ohms: float) -> Labels:
        """With a source there: one row, or none."""
        volts -= ohms * self.amps
        most = at_most([volts - self.least], ohms)
        row = Labels(np.zeros(1, int), np.array([volts]), np.array([float(ohms)]), most, np.full(1, -1))
        return row.take(most > -inf)


def useful(labels: Labels, top: float, lowest: float, highest: float) -> Labels:
    """The rows without which some way to tap the rest could find no row of as few taps.

    What the right takes grows with V. So where it meets a row's line at (V, i), it also meets any line that gives i or
    more at that V, at a V that is no lower; and a row that holds at V then holds too. A row is therefore needed only
    where, at some V that it holds at, no other row of as few taps that holds there gives as much.

    Args:
        labels: the rows.
        top: the supply's volts.
        lowest: no current that leaves to the right is less.
        highest: nor more.
    """
    rows = labels.take(np.lexsort((-labels.most, labels.ohms, -labels.volts, labels.count)))
    rows = rows.take(~_below_one(rows, top, lowest, highest))
    return rows if len(rows.count) < 3 else rows.take(~_below_many(rows, top, lowest, highest))


def _below_one(rows: Labels, top: float, lowest: float, highest: float) -> NDArray[np.bool_]:
    """Rows that lie nowhere above one that comes before them, and hold only where it does."""
    volts, ohms = rows.volts[:, None], rows.ohms[:, None]
    high = np.minimum(rows.most, highest)
    at_high = rows.volts - rows.ohms * high
    low = np.maximum(np.where(rows.ohms > 0, -at_most(top - rows.volts, rows.ohms), lowest), lowest)
    at_low = rows.volts - rows.ohms * low
    holds_from = np.where(rows.most < highest, at_high, -inf)
    fits = holds_from[:, None] <= at_high + _SAME
    above = (volts - ohms * high >= at_high - _SAME) & (volts - ohms * low >= at_low - _SAME)
    return np.asarray(np.triu(fits & above & (rows.count[:, None] <= rows.count), 1).any(axis=0))


def _below_many(rows: Labels, top: float, lowest: float, highest: float) -> NDArray[np.bool_]:
    """Rows with ohms that lie nowhere above all the others; y is how far V is below the top."""
    ideal = rows.ohms == 0
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = 1 / rows.ohms
        at_top = (rows.volts - top) * slope
        holds_to = np.where(rows.most < highest, top - rows.volts + rows.ohms * rows.most, inf)
        first = np.maximum(0.0, (lowest - at_top) / slope)
        last = np.minimum(holds_to, (highest - at_top) / slope)
        steeper = slope[:, None] - slope
        meet = (at_top - at_top[:, None]) / steeper
    # From where to where the row of each line of the table is above the row of each column.
    begin = np.where(steeper > 0, meet, 0.0)
    end = np.where(steeper < 0, np.minimum(meet, holds_to[:, None]), holds_to[:, None])
    end[(steeper == 0) & (at_top[:, None] < at_top)] = -inf
    begin[ideal], end[ideal] = (top - rows.volts[ideal])[:, None], holds_to[ideal][:, None]
    end[rows.count[:, None] > rows.count] = -inf
    np.fill_diagonal(end, -inf)
    covered = first
    for _ in range(_ROUNDS):
        covered = np.maximum(covered, np.where(begin <= covered, end, -inf).max(axis=0))
    return np.asarray((covered >= last) & ~ideal)
