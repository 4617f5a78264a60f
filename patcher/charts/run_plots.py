"""The voltage plots of a solved show: what a plot of each run shows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from patcher.drawing.voltage_profile import Profile
from patcher.power.flow import Power

UNFED = 12.0
"""Volts on the axis of a run that no supply feeds and whose pixels do not say theirs."""


def profiles(state: Power, runs: Iterable[str]) -> Iterator[Profile]:
    """What a plot of each run shows, of runs that are hung."""
    taps: dict[str, list[tuple[int, str]]] = {}
    for feed, joins in state.circuit.joins.items():
        for join in joins:
            taps.setdefault(join.run, []).append((join.pixel, feed))
    rails = state.rails
    for run in runs:
        kind = state.show.type_of(state.show.runs[run])
        cuts = state.show.runs[run].power_cuts
        rated = rails[run] if rails[run] > 0 else kind.volts or UNFED
        volts = np.maximum(state.volts(run), 0.0)
        yield Profile(run, volts, rated, kind.min_volts, tuple(sorted(taps.get(run, ()))), cuts)
