"""How far away a display may be filmed, and which ports are too slow for what is played to a camera."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from scipy.spatial import KDTree

from patcher.limits.refresh import PortTime, port_times
from patcher.shapes import positions
from patcher.wiring import Wiring

FARTHEST = 370
"""Times the pitch from which a phone films at 1080p. Measured with films that were made up, not with a phone: four
points of the picture from pixel to pixel are read well, and a phone that sees 66° takes 1920 points across 1.3 times
the distance."""
_SAME = 1e-3
"""Metres; pixels that are drawn nearer than that to each other are at one place."""


class Closest(NamedTuple):
    """The run whose pixels are closest to each other, and the metres from one of them to the next."""

    metres: float
    run: str


def closest_pixels(wiring: Wiring, runs: Collection[str]) -> Closest | None:
    """Of some runs the one whose pixels are closest to each other; None where that is not known of any.

    Of a run that is drawn it is the median of all distances to the nearest pixel, else the pitch of its kind.
    """
    found: list[Closest] = []
    for run in runs:
        at = positions(wiring.show, wiring.show.runs[run])
        if at is None:
            pitch = wiring.show.type_of(wiring.show.runs[run]).pitch
            found += [Closest(pitch, run)] if pitch else []
            continue
        places = at[np.unique(np.round(at / _SAME), axis=0, return_index=True)[1]]
        if len(places) > 1:
            found.append(Closest(float(np.median(KDTree(places).query(places, k=2)[0][:, 1])), run))
    return min(found, default=None)


def slow_ports(wiring: Wiring, runs: Collection[str], most_ms: float) -> list[PortTime]:
    """The ports of some runs whose frames take longer than so many milliseconds."""
    ports = {wiring.ports[run] for run in runs}
    return [time for time in port_times(wiring) if (time.controller, time.port) in ports and time.frame_ms > most_ms]
