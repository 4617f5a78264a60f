"""Where each start falls anew under `fresh` and `follow`.

Pinned starts lie where they are pinned and move nobody; the others follow in the order of the file, controllers first,
then ports, and step over universes that a pin takes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from patcher.patch.occupancy import Taken
from patcher.patch.patch import Chain, behind, first_fit, running, universe_from
from patcher.show.schema import Show
from patcher.trade import CHANNELS


def in_order(show: Show, todo: Sequence[Chain], spare_pixels: int) -> list[int]:
    """The running channel at which each chain begins.

    Args:
        show: its settings, pins and boxes.
        todo: the chains, controllers in the file's order, ports in theirs.
        spare_pixels: pixels to keep free behind each start.
    """
    boxes = {chain.controller: show.controllers[chain.controller] for chain in todo}
    pins = {name: box.pins for name, box in boxes.items()}
    places: dict[int, int] = {}
    free: dict[str, list[int]] = {}
    for index, chain in enumerate(todo):
        if chain.key in pins[chain.controller]:
            places[index] = running(*pins[chain.controller][chain.key])
        else:
            free.setdefault(chain.controller, []).append(index)
    blocked = Taken()

    def block(laid: Iterable[int]) -> None:
        blocked.add_universes(_universes(todo[index], places[index]) for index in laid)

    def lay(members: list[int], cursor: int, *, whole: bool) -> int:
        laid, behind_last = _lay_box(show, [todo[i] for i in members], cursor, blocked, spare_pixels, whole=whole)
        places.update(zip(members, laid, strict=True))
        return behind_last

    block(places)
    pinned = {name: first for name in free if (first := boxes[name].first_universe) is not None}
    for name, first in pinned.items():
        lay(free[name], running(first, 1), whole=False)
    block(index for name in pinned for index in free[name])
    cursor = running(show.settings.first_universe, 1)
    runs_on = show.settings.placement == "follow" and show.settings.share_universes
    for name, members in free.items():
        if name not in pinned:
            cursor = lay(members, cursor if runs_on else universe_from(cursor), whole=boxes[name].consecutive)
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
        at = first_fit(universe_from(cursor) if fresh else cursor, chain.links[0].channels)
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
