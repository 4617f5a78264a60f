"""A plan of feeds for a show, as a value: what is added, what is proved of it, what could not be planned."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from patcher.errors import Finding
from patcher.power.flow import TINY, Power, highest_level
from patcher.power.stretches import Parts
from patcher.power.wires import Wire


@dataclass(frozen=True, slots=True)
class RailPlan:
    """What is planned for one stretch of V+.

    Attributes:
        parts: of each run in it, the first and the last pixel, from 1.
        supply: what feeds it.
        taps: the taps that are added, as run and pixel.
        bound: a number of added taps that no plan with this supply can go below whose taps all give current to the
            rail. (A wire that takes current out of a thick rail and brings it on, a jumper, is not looked for.) 0 where
            feeds that it shares with others might bring more, if the others took less.
        feeds: the feeds that bring them.
    """

    parts: Parts
    supply: str
    taps: tuple[tuple[str, int], ...]
    bound: int
    feeds: tuple[str, ...]

    @property
    def proved(self) -> bool:
        """Whether these are the fewest taps."""
        return len(self.taps) == self.bound


@dataclass(frozen=True, slots=True)
class NewSupplies:
    """Supplies that a plan adds.

    Attributes:
        names: the supplies.
        cuts: the runs and pixels just before which V+ is cut for them.
        bound: a number of them that nothing can go below, whatever feeds what.
        best: whether no fewer would do where each stretch is fed from its own box or the nearest one.
        places: what is not known of places, in words.
    """

    names: tuple[str, ...]
    cuts: tuple[tuple[str, int], ...]
    bound: int
    best: bool
    places: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Plan:
    """Feeds for a show.

    Attributes:
        before: the power of the show as it is.
        after: its power with the feeds.
        feeds: the names of the feeds that are added.
        rails: what is planned for each stretch that wanted any.
        open: what could not be planned, and why.
        assumed: what was assumed where the file does not say.
        margin: the part of its rated volts that each pixel of what is planned has above its least.
        slack: the part by which its wire is longer than the straight line.
        new: the supplies that are added; None where none were asked for.
    """

    before: Power
    after: Power
    feeds: tuple[str, ...]
    rails: tuple[RailPlan, ...]
    open: tuple[Finding, ...]
    assumed: tuple[str, ...]
    margin: float
    slack: float
    new: NewSupplies | None = None

    @property
    def metres(self) -> dict[str, float]:
        """Metres of two-core wire to buy, by its size."""
        total: defaultdict[str, float] = defaultdict(float)
        for name in self.feeds:
            planned = self.after.show.feeds[name]
            total[str(Wire(planned.awg, planned.mm2))] += sum(tap.length for tap in planned.taps)
        return dict(total)


def level_that_holds(state: Power) -> float | None:
    """The highest level in whole hundredths at which every pixel that is fed and known has its volts.

    None where there is no such level, or no such pixel.
    """
    runs = [state.show.runs[name] for name in state.circuit.runs]
    each = [state.show.type_of(run).min_volts for run in runs]
    least = np.repeat([np.nan if volts is None else volts for volts in each], [run.pixels for run in runs])
    asked = ~np.isnan(least) & state.drop.fed & state.drop.known
    if not asked.any():
        return None
    return highest_level(state.circuit, lambda drop: bool((drop.volts[asked] >= least[asked] - TINY).all()))
