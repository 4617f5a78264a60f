"""How far away a display may be filmed, and which ports are too slow for what is played to a camera."""

from __future__ import annotations

from collections.abc import Collection

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


def finest_pitch(wiring: Wiring, runs: Collection[str]) -> float | None:
    """The least distance from pixel to pixel of some runs, in metres; None where it is not known of any.

    Of a run that is drawn it is the median of all distances to the nearest pixel, else the pitch of its kind.
    """
    found: list[float] = []
    for run in runs:
        at = positions(wiring.show, wiring.show.runs[run])
        if at is None:
            found += filter(None, [wiring.show.type_of(wiring.show.runs[run]).pitch])
            continue
        places = at[np.unique(np.round(at / _SAME), axis=0, return_index=True)[1]]
        if len(places) > 1:
            found.append(float(np.median(KDTree(places).query(places, k=2)[0][:, 1])))
    return min(found, default=None)


def slow_ports(wiring: Wiring, runs: Collection[str], most_ms: float) -> list[PortTime]:
    """The ports of some runs whose frames take longer than so many milliseconds."""
    ports = {wiring.ports[run] for run in runs}
    return [time for time in port_times(wiring) if (time.controller, time.port) in ports and time.frame_ms > most_ms]
