"""What a supply gives besides the feeds that stand on a sheet, so that its amperes can be added up there; and which
boxes' own current the file does not say, so that nobody counts on it.
"""

from __future__ import annotations

from collections.abc import Collection

from patcher.drawing.run_facts import amps_words
from patcher.errors import first_few
from patcher.power.circuit import joints
from patcher.power.flow import Power, if_known
from patcher.power.stretches import roots
from patcher.show.schema import Feed, Show
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
    root = roots(wiring.show)
    carries = {} if state is None else {load.feed.name: if_known(load.amps) for load in state.feeds}
    also = [
        feed for feed in wiring.show.feeds.values() if feed.name not in shown and root[feed.name].supply == supply
    ]  # fmt: skip
    found = [
        f"{supply} also feeds {says}, {does} on the sheet of {' and '.join(boxes)}"
        for says, boxes in (_of_feed(wiring, feed, carries.get(feed.name)) for feed in also) if boxes
    ]  # fmt: skip
    boxes = [
        f"{box.name} ({amps_words(box.logic.amps)})"
        for box in wiring.show.controllers.values() if box.logic is not None and box.logic.supply == supply
    ]  # fmt: skip
    if boxes:
        found.append(f"{supply} also runs the box{'es' if boxes[1:] else ''} {', '.join(boxes)}")
    return found


def boxes_not_counted(show: Show) -> list[str]:
    """The boxes, spares aside, of which the file does not say what they draw themselves, and from which supply."""
    return [box.name for box in show.controllers.values() if box.logic is None and not box.spare]


def _of_feed(wiring: Wiring, feed: Feed, amps: float | None) -> tuple[str, list[str]]:
    """What a feed joins and carries, in words, and the boxes whose runs those are: none where no such run hangs."""
    places = _places(wiring, feed)
    where = " and ".join(f"{run} at {first_few(pixels, _PIXELS)}" for run, pixels in places.items())
    branch = f", a branch of {feed.source}" if feed.source else ""
    says = f"{where} ({feed.name}, {amps_words(amps)}{branch})"
    return says, list(dict.fromkeys(wiring.ports[run][0] for run in places))


def _places(wiring: Wiring, feed: Feed) -> dict[str, list[str]]:
    """The pixels that a feed joins, of each run that is hung and drawn: a tee is drawn with the run that lights it."""
    runs = wiring.show.runs
    places: dict[str, list[str]] = {}
    for _, run, pixel, _ in joints(wiring.show, feed):
        if runs[run].hung and runs[wiring.source(run)].hung:
            places.setdefault(run, []).append(str(pixel))
    return places
