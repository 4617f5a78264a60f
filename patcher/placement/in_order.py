"""Where each start falls anew under `fresh` and `follow`.

Pinned starts lie where they are pinned and move nobody; the others follow in the order of the file, controllers first,
then ports, and step over universes that a pin takes.
"""

from __future__ import annotations

from collections.abc import Sequence

from patcher.patch.occupancy import Taken
from patcher.patch.patch import Chain, behind, first_fit, running
from patcher.show.schema import Show
from patcher.trade import CHANNELS


def in_order(show: Show, todo: Sequence[Chain], spare_pixels: int) -> list[int]:
    """The running channel at which each chain begins.

    Args:
        show: its settings, pins and boxes.
        todo: the chains, controllers in the file's order, ports in theirs.
        spare_pixels: pixels to keep free behind each start.
    """
    boxes: dict[str, list[int]] = {}
    for index, chain in enumerate(todo):
        boxes.setdefault(chain.controller, []).append(index)
    places: dict[int, int] = {}
    blocked = Taken()
    for name, members in boxes.items():
        pins = show.controllers[name].pins
        for index in members:
            if todo[index].key in pins:
                places[index] = running(*pins[todo[index].key])
    blocked.add_universes(_universes(todo[index], at) for index, at in places.items())
    free = {name: [index for index in members if index not in places] for name, members in boxes.items()}
    pinned: dict[int, int] = {}
    for name, members in free.items():
        first = show.controllers[name].first_universe
        if first is not None:
            laid, _ = _lay_box(show, [todo[i] for i in members], running(first, 1), blocked, spare_pixels, whole=False)
            pinned.update(zip(members, laid, strict=True))
    places |= pinned
    blocked.add_universes(_universes(todo[index], at) for index, at in pinned.items())
    cursor = running(show.settings.first_universe, 1)
    for name, members in free.items():
        controller = show.controllers[name]
        if controller.first_universe is None and members:
            if not (show.settings.placement == "follow" and show.settings.share_universes):
                cursor = _next_universe(cursor)
            box = [todo[index] for index in members]
            laid, cursor = _lay_box(show, box, cursor, blocked, spare_pixels, whole=controller.consecutive)
            places |= dict(zip(members, laid, strict=True))
    return [places[index] for index in range(len(todo))]


def _lay_box(
    show: Show, box: list[Chain], cursor: int, blocked: Taken, spare_pixels: int, *, whole: bool
) -> tuple[list[int], int]:
    """Lay the chains of one box from `cursor` on; where `whole`, none of them may stand behind a pin that another is
    before. Returns where each begins, and the running channel behind the last.
    """
    laid: list[int] = []
    fresh = show.settings.placement == "fresh"
    number = 0
    while number < len(box):
        chain = box[number]
        at = first_fit(_next_universe(cursor) if fresh else cursor, chain.links[0].channels)
        universes = _universes(chain, at)
        step = blocked.behind(universes.start * CHANNELS, universes.stop * CHANNELS)
        if step is not None:
            cursor = step
            if whole:
                laid, number = [], 0
            continue
        laid.append(at)
        cursor = behind(chain.end(at), spare_pixels, chain.links[-1].channels)
        number += 1
    return laid, cursor


def _universes(chain: Chain, at: int) -> range:
    return range(at // CHANNELS, (chain.end(at) - 1) // CHANNELS + 1)


def _next_universe(at: int) -> int:
    return -(-at // CHANNELS) * CHANNELS
