"""What a supply gives besides the feeds that stand on a sheet: so that its amperes can be added up there."""

from __future__ import annotations

from collections.abc import Collection

from patcher.drawing.run_facts import amps_words
from patcher.errors import first_few
from patcher.power.circuit import joints
from patcher.power.flow import Power, if_known
from patcher.power.stretches import roots
from patcher.show.schema import Feed
from patcher.wiring import Wiring

_PIXELS = 4
"""Pixels that are named of one run."""


def other_loads(wiring: Wiring, state: Power | None, supply: str, shown: Collection[str], does: str) -> list[str]:
    """What a supply also feeds, in words: a sentence for each feed, and one for the boxes that it runs.

    A feed that joins no run that is hung carries nothing, and is left out.

    Args:
        wiring: the wiring.
        state: the power; None where it is not worked out.
        supply: the supply.
        shown: the feeds that stand on the sheet.
        does: what the other sheet does with a feed: `drawn` or `listed`.
    """
    show = wiring.show
    carries = {} if state is None else {load.feed.name: if_known(load.amps) for load in state.feeds}
    root = roots(show)
    found = []
    for feed in show.feeds.values():
        places = {} if feed.name in shown or root[feed.name].supply != supply else _places(wiring, feed)
        if places:
            where = " and ".join(f"{run} at {first_few(pixels, _PIXELS)}" for run, pixels in places.items())
            boxes = " and ".join(dict.fromkeys(wiring.ports[run][0] for run in places))
            what = [feed.name, amps_words(carries.get(feed.name))]
            what += [] if feed.source is None else [f"a branch of {feed.source}"]
            found.append(f"{supply} also feeds {where} ({', '.join(what)}), {does} on the sheet of {boxes}")
    logic = [box for box in show.controllers.values() if box.logic is not None and box.logic.supply == supply]
    if logic:
        runs = ", ".join(f"{box.name} ({amps_words(box.logic.amps)})" for box in logic if box.logic is not None)
        found.append(f"{supply} also runs the box{'es' if len(logic) > 1 else ''} {runs}")
    return found


def _places(wiring: Wiring, feed: Feed) -> dict[str, list[str]]:
    """The pixels that a feed joins, of each run that is hung."""
    places: dict[str, list[str]] = {}
    for _, run, pixel, _ in joints(wiring.show, feed):
        if wiring.show.runs[run].hung:
            places.setdefault(run, []).append(str(pixel))
    return places
