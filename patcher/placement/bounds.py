"""Lower bounds on the universes that placement `whole` takes, and the reason for each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from patcher.patch.patch import pieces
from patcher.placement.bin_packing import Packing, pack
from patcher.placement.effort import Effort
from patcher.placement.orders import ChainItem, Pinned, Task, universes_of
from patcher.trade import CHANNELS


def lower_bound(task: Task, over: Remainders, packing: Packing, effort: Effort) -> tuple[int, str]:
    """Universes that no laying can beat, and why; from the remainders of its chains and their packing."""
    bounds = [_by_volume(task), _by_packing(over, packing)]
    if not task.share and len(task.boxes) > 1:
        alone = 0
        for name in task.boxes:
            items = tuple(item for item in task.items if item.box == name)
            alone += _bound_of(replace(task, items=items, boxes={name: task.boxes[name]}), effort)
        bounds.append((alone, f"the controllers by themselves need {alone}, and share none"))
    widths = sorted({width for item in task.items for _, width in item.shape})
    for width in widths if len(widths) > 1 else []:
        alike = tuple(item for item in task.items if all(other == width for _, other in item.shape))
        bound = _bound_of(replace(task, items=alike), effort)
        bounds.append((bound, f"those of {width} channels a pixel need {bound} by themselves"))
    return max(bounds, key=lambda one: one[0])


def _bound_of(task: Task, effort: Effort) -> int:
    over = remainders(task.items)
    return lower_bound(task, over, pack(over.sizes, over.capacity, effort.part(1 / 3)), effort)[0]


def _by_volume(task: Task) -> tuple[int, str]:
    """What the channels alone fill, besides the universes that pinned chains touch."""
    pinned = Pinned(task)
    free = sum(pixels * channels for item in task.items if item.at is None for pixels, channels in item.shape)
    more = max(0, -(-(free - pinned.room_behind(-1)) // CHANNELS))
    if pinned.universes:
        return len(
            pinned.universes
        ) + more, f"the pinned starts touch {len(pinned.universes)}, and the rest fills {more}"
    return more, "the channels alone fill as many"


def _by_packing(over: Remainders, packing: Packing) -> tuple[int, str]:
    """Every chain fills some universes; what is over must be packed."""
    bound, count = over.filled + packing.lower_bound, len(over.sizes)
    if not count:
        return bound, "the chains fill them outright"
    if not over.filled:
        return bound, f"the {count} chains need {packing.lower_bound}: {packing.reason}"
    return bound, (
        f"{over.filled} are filled outright, and the {count} remainders need {packing.lower_bound}: {packing.reason}"
    )


@dataclass(frozen=True, slots=True)
class Remainders:
    """What the chains have over when they have filled universes outright.

    Attributes:
        filled: universes filled outright.
        numbers: the items that have something over.
        sizes: how much, in pixels where all pixels have one width, else in channels.
        capacity: what a universe holds of it.
        exact: whether all remainders that fit into one universe can lie in it.
    """

    filled: int
    numbers: tuple[int, ...]
    sizes: tuple[int, ...]
    capacity: int
    exact: bool


def _pieces(item: ChainItem) -> Iterator[ChainItem]:
    """A chain as it is, but for one that is pinned where it touches more universes than it must: what it has in each is
    an item by itself, since nothing of the above holds for it as a whole.
    """
    if item.at is None or len(item.touched(item.at)) <= universes_of(item.shape):
        yield item
        return
    parts: dict[int, list[tuple[int, int]]] = {}
    at = item.at
    for pixels, width in item.shape:
        for where, count in pieces(at, pixels, width):
            parts.setdefault(where // CHANNELS, []).append((count, width))
            at = where + count * width
    for part in parts.values():
        yield ChainItem(item.box, tuple(part), item.floor)


def remainders(items: Sequence[ChainItem]) -> Remainders:
    """Universes filled outright, and what is over.

    A chain in `k` universes that lies in one group with others, m universes in a row, adds k - 1 to m - 1. So it fills
    k - 1 outright, and the group's one universe more holds what is over. With pixels of one width this is counted in
    pixels; else in channels, where each universe between the first and the last of a chain loses the tail that no
    pixel fits in, but the first may lose none. A chain that leaves no more free than such a tail has no neighbour.
    """
    items = [piece for item in items for piece in _pieces(item)]
    widths = {width for item in items for _, width in item.shape}
    least, single = min(widths, default=1), len(widths) <= 1
    filled, over = 0, {}
    for number, item in enumerate(items):
        size, full = _one_width(item, least) if single else _any_width(item, least)
        filled += universes_of(item.shape) - 1 + full
        if size > 0 and not full:
            over[number] = size
    capacity = CHANNELS // least if single else CHANNELS
    return Remainders(filled, tuple(over), tuple(over.values()), capacity, single)


def _one_width(item: ChainItem, width: int) -> tuple[int, bool]:
    """The pixels that a chain has over where all pixels have one width, and whether it fills its last universe."""
    size = sum(pixels for pixels, _ in item.shape) % (CHANNELS // width)
    return size, size == 0


def _any_width(item: ChainItem, least: int) -> tuple[int, bool]:
    """The channels that a chain has over, and whether nothing of its last universe is left to another."""
    channels = sum(pixels * width for pixels, width in item.shape)
    more = universes_of(item.shape) - 1
    width, *others = {width for _, width in item.shape}
    if others:
        return channels - CHANNELS * more, False
    lost = CHANNELS % width
    full = channels % (CHANNELS - lost) == 0 and lost < least
    return channels - CHANNELS * more + max(0, more - 1) * lost, full
