"""Positions of supplies and pixels, which wires must reach, in metres."""

from __future__ import annotations

import numpy as np

from patcher.power.circuit import Floats, metres_between
from patcher.shapes import Positions, positions
from patcher.show.run_tables import Run
from patcher.show.schema import Show
from patcher.wiring import Wiring


def pixel_places(wiring: Wiring, name: str) -> Positions:
    """Where the pixels of a run are, shape (pixels, 2).

    A run with no picture is taken to lie straight to the right, from where its lead ends: that from the run before it
    on its port, or from its box.
    """
    show = wiring.show
    run = show.runs[name]
    drawn = positions(show, run)
    if drawn is not None:
        return drawn
    chain = wiring.chains[wiring.ports[name]]
    start = _box_place(show, wiring.ports[name][0])
    before: list[Run] = []
    for other in reversed(chain[: chain.index(wiring.source(name))]):
        drawn = positions(show, show.runs[other])
        if drawn is not None:
            start = drawn[-1]
            break
        before.append(show.runs[other])
    along = [_along(show, one) for one in (*reversed(before), run)]
    begin = (np.zeros(2) if start is None else start) + [sum(float(each[-1]) for each in along[:-1]), 0.0]
    placed: Positions = begin + np.column_stack([along[-1], 0 * along[-1]])
    return placed


def _along(show: Show, run: Run) -> Floats:
    """Metres from where a run's lead begins to each of its pixels."""
    between = metres_between(run, show.type_of(run).pitch or 0.0)
    found: Floats = run.lead + np.concatenate([[0.0], np.cumsum(between)])
    return found


def _box_place(show: Show, box: str) -> Positions | None:
    at = show.controllers[box].at
    return None if at is None else np.array(at)


def supply_place(wiring: Wiring, supply: str, run: str) -> tuple[Positions, str | None]:
    """Where a supply stands, and what was assumed where the file does not say.

    Args:
        wiring: the wiring.
        supply: the supply.
        run: a run that it feeds, whose box, or whose first pixel, stands in for a place that is not known.
    """
    show = wiring.show
    box = show.supplies[supply].box
    place = _box_place(show, box) if box is not None else None
    if place is not None:
        return place, None
    data_box = wiring.ports[run][0]
    place = _box_place(show, data_box)
    if place is not None and box is None:
        return place, f"{supply} has no box in the file: taken to stand at {data_box}"
    missing = f"{supply} has no place in the file" if box is None else f"box {box} has no place (at) in the file"
    return pixel_places(wiring, run)[0], f"{missing}: taken to stand at {run}/1"
