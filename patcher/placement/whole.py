"""Placement `whole`: every start where its chain touches no more universes than it must, and the fewest universes.

A chain touches so many universes whole, and its remainder is an item of bin packing: the chains of one bin, laid end
to end, touch together one universe more than they fill. Where two controllers share no universe, each is packed by
itself. What bin packing does not know (pins, limits, boxes that share and must not be torn apart) is tried in every
order where the chains are few, and else laid as well as it can be, without a proof.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

from patcher.patch.patch import Chain, running, universe_from
from patcher.placement.bin_packing import Packing, pack
from patcher.placement.bounds import Remainders, lower_bound, remainders
from patcher.placement.constrained import around, box_by_box, without_gap
from patcher.placement.effort import Effort
from patcher.placement.orders import ChainItem, Limits, Orders, Pinned, Task, end_of, may_begin, shape_of, universes_of
from patcher.show.schema import Show
from patcher.trade import CHANNELS, LAST_UNIVERSE

FEW = 12
"""Most chains whose every order is tried."""

_ENDLESS = 1 << 30
"""Universes that no laying takes: the count of none found yet."""

BEAMS = (1, 30)
"""Orders of boxes that are followed at once, where boxes are laid one behind the other."""

Places = dict[int, int]
"""The running channel of each item, by its number."""


@dataclass(frozen=True, slots=True)
class Laid:
    """Where each chain begins, and how good that is.

    Attributes:
        places: the running channel of each chain, in the order given.
        lower_bound: distinct universes that no patch under the same rules can beat.
        proved: whether the places meet it.
        reason: the bound's reason, in words for a person.
    """

    places: tuple[int, ...]
    lower_bound: int
    proved: bool
    reason: str


@dataclass(frozen=True, slots=True)
class _Part:
    """A solved task: all chains of a controller, or of several that must be laid together."""

    numbers: tuple[int, ...]
    places: tuple[int, ...]
    count: int
    bound: int
    reason: str
    sound: bool


def whole(show: Show, chains: Sequence[Chain], *, effort: Effort, spare_pixels: int = 0) -> Laid:
    """Lay the chains of all controllers afresh.

    A rule is broken only where no patch was found that keeps them all: the caller holds the patch against the rules.

    Args:
        show: the show, with its pins and limits.
        chains: everything that has a start of its own, in the order of the file.
        effort: after which to stop with the best found; what breaks no rule is looked for to the end.
        spare_pixels: pixels, as wide as a chain's last, that stay free behind each start.
    """
    task = _task(show, chains, spare_pixels)
    first = show.settings.first_universe - 1
    parts = [_solve(one, numbers, first, effort) for numbers, one in _tasks(task, together=False)]
    if not task.share and _collide(task, parts):
        parts = [_solve(one, numbers, first, effort) for numbers, one in _tasks(task, together=True)]
    places = _set_down(task, parts, first)
    return Laid(
        places=tuple(places[number] for number in range(len(chains))),
        lower_bound=sum(part.bound for part in parts),
        proved=all(part.sound and part.count == part.bound for part in parts),
        reason=_reason(parts),
    )


def _reason(parts: list[_Part]) -> str:
    if len(parts) == 1:
        return parts[0].reason
    if not parts:
        return "there is nothing to lay"
    counts = " + ".join(str(part.bound) for part in parts[:12]) + (" + …" if len(parts) > 12 else "")
    return f"controllers share no universe, and need by themselves {counts}; the first: {parts[0].reason}"


def _task(show: Show, chains: Sequence[Chain], spare: int) -> Task:
    """The show's rules; the first free chain of a pinned box is pinned to channel 1 there, if its channels are free."""
    boxes = {
        name: Limits(controller.consecutive, controller.universes, LAST_UNIVERSE[controller.protocol] - 1)
        for name, controller in show.controllers.items()
    }
    items: list[ChainItem] = []
    for chain in chains:
        controller = show.controllers[chain.controller]
        floor = (controller.first_universe or show.settings.first_universe) - 1
        pin = controller.pins.get(chain.key)
        items.append(ChainItem(chain.controller, shape_of(chain), floor, None if pin is None else running(*pin)))
    task = Task(tuple(items), boxes, show.settings.share_universes, spare)
    for name, controller in show.controllers.items():
        free = [number for number, item in enumerate(task.items) if item.box == name and item.at is None]
        if controller.first_universe is not None and free:
            item, at = task.items[free[0]], running(controller.first_universe, 1)
            pinned = Pinned(task)
            foreign = not task.share and pinned.foreign(name, item.touched(at))
            if pinned.taken.behind(at, at + end_of(item.shape, 0)) is None and not foreign:
                every = list(task.items)
                every[free[0]] = replace(item, at=at)
                task = replace(task, items=tuple(every))
    return task


def _collide(task: Task, parts: list[_Part]) -> bool:
    """Whether boxes with a pin, each laid as though it were alone, meet in a universe."""
    taken: set[int] = set()
    for part in parts:
        if any(task.items[number].at is not None for number in part.numbers):
            mine: set[int] = set()
            _put(task, part, 0, {}, mine)
            if mine & taken:
                return True
            taken |= mine
    return False


def _tasks(task: Task, *, together: bool) -> Iterator[tuple[tuple[int, ...], Task]]:
    """What can be solved by itself: all, where universes are shared; else each box, or those with a pin together."""
    members: dict[str, list[int]] = {}
    for number, item in enumerate(task.items):
        members.setdefault(item.box, []).append(number)
    pinned = {item.box for item in task.items if item.at is not None}
    one_group = set(members) if task.share else pinned if together else set()
    groups = [[name for name in members if name in one_group], *([name] for name in members if name not in one_group)]
    for group in filter(None, groups):
        numbers = tuple(sorted(number for name in group for number in members[name]))
        items = tuple(task.items[number] for number in numbers)
        yield numbers, replace(task, items=items, boxes={name: task.boxes[name] for name in group})


def _set_down(task: Task, parts: list[_Part], first: int) -> Places:
    """The parts beside each other: those with pins where they are, the others one behind the other."""
    tried: list[Places] = []
    for order in (parts, sorted(parts, key=lambda part: _last_of(task, part))):
        places: Places = {}
        taken: set[int] = set()
        free = []
        for part in order:
            if task.share or any(task.items[number].at is not None for number in part.numbers):
                _put(task, part, 0, places, taken)
            else:
                free.append(part)
        cursor = first
        for part in free:
            stop = _touched_to(task, part)
            while block := [universe for universe in taken if cursor <= universe < cursor + stop - first]:
                cursor = max(block) + 1
            _put(task, part, cursor - first, places, taken)
            cursor = cursor + stop - first
        tried.append(places)
        if all(task.items[n].touched(at).stop - 1 <= task.boxes[task.items[n].box].last for n, at in places.items()):
            return places
    return tried[0]


def _last_of(task: Task, part: _Part) -> int:
    return min(task.boxes[task.items[number].box].last for number in part.numbers)


def _touched_to(task: Task, part: _Part) -> int:
    held = (task.held(task.items[n], at) for n, at in zip(part.numbers, part.places, strict=True))
    return max((at - 1) // CHANNELS + 1 for at in held)


def _put(task: Task, part: _Part, shift: int, places: Places, taken: set[int]) -> None:
    for number, at in zip(part.numbers, part.places, strict=True):
        places[number] = at + shift * CHANNELS
        held = task.held(task.items[number], places[number])
        taken.update(range(places[number] // CHANNELS, (held - 1) // CHANNELS + 1))


def _solve(task: Task, numbers: tuple[int, ...], first: int, effort: Effort) -> _Part:
    """The best laying of a task, beginning in a universe counted from 0."""
    over = remainders(task.items)
    packing = pack(over.sizes, over.capacity, effort.part(1 / 3))
    bound, reason = lower_bound(task, over, packing, effort)
    best, count, sound = _best(task, _candidates(task, first, over, packing, effort), bound, effort)
    free = sum(item.at is None for item in task.items)
    if not (sound and count == bound) and free <= FEW:
        orders = Orders(task, first, count if sound else _ENDLESS, effort)
        found = orders.search()
        if found is not None:
            best = found | {number: item.at for number, item in enumerate(task.items) if item.at is not None}
            count, sound = judge(task, best)
        if orders.exhausted and sound and count > bound:
            bound, reason = count, "every order of the starts was tried"
    return _Part(numbers, tuple(best[number] for number in range(len(numbers))), count, bound, reason, sound)


def _best(
    task: Task, candidates: Iterator[Callable[[], Places]], bound: int, effort: Effort
) -> tuple[Places, int, bool]:
    """The best of some layings, its universes, and whether it keeps every rule; one that meets the bound ends it."""
    best: Places = {}
    count, sound = _ENDLESS, False
    for candidate in candidates:
        places = candidate()
        used, keeps = judge(task, places)
        if not best or (keeps, -used) > (sound, -count):
            best, count, sound = places, used, keeps
        if sound and (count == bound or effort.over):
            break
    return best, count, sound


def judge(task: Task, places: Places) -> tuple[int, bool]:
    """The distinct universes of a laying, and whether it keeps every rule."""
    line = sorted((at, number) for number, at in places.items())
    mine: dict[str, set[int]] = {name: set() for name in task.boxes}
    for at, number in line:
        mine[task.items[number].box].update(task.items[number].touched(at))
    used: set[int] = set().union(*mine.values())
    sound = all(two >= task.items[number].end(one) for (one, number), (two, _) in pairwise(line))
    sound = sound and (task.share or sum(map(len, mine.values())) == len(used))
    for name, box in task.boxes.items():
        if mine[name]:
            sound = sound and max(mine[name]) <= box.last and (box.limit is None or len(mine[name]) <= box.limit)
            sound = sound and not (box.consecutive and max(mine[name]) - min(mine[name]) >= len(mine[name]))
    return len(used), sound


# --- layings ------------------------------------------------------------------------------------------------------


def _candidates(
    task: Task, first: int, over: Remainders, packing: Packing, effort: Effort
) -> Iterator[Callable[[], Places]]:
    """Layings, the most natural first."""
    yield lambda: _in_order(task, first)
    if any(item.at is not None for item in task.items):
        yield from (partial(around, task, first, order) for order in _orders_around(task))
        yield lambda: _apart(task, first)
        return
    if task.spare:
        yield lambda: without_gap(task, first)
    numbers = list(range(len(task.items)))
    yield lambda: _end_to_end(task, _first_fit(task, numbers), first)
    yield lambda: _end_to_end(task, _first_fit(task, sorted(numbers, key=lambda n: (-_over(task.items[n]), n))), first)
    yield lambda: _end_to_end(task, _from_bins(task, over.numbers, packing.bins), first)
    if not over.exact or task.spare:
        yield lambda: _end_to_end(task, _packed(task, effort), first)
    if len(task.boxes) > 1:
        yield from (partial(box_by_box, task, first, beam, effort) for beam in BEAMS)


def _over(item: ChainItem) -> int:
    """Channels that the chain has over in its last universe, from channel 1 of a fresh one."""
    return end_of(item.shape, 0) - (universes_of(item.shape) - 1) * CHANNELS


def _in_order(task: Task, first: int) -> Places:
    """Each behind the one before; pinned ones where they are pinned, and everything else behind them."""
    places = {number: item.at for number, item in enumerate(task.items) if item.at is not None}
    last = max((task.held(task.items[n], at) for n, at in places.items()), default=0)
    at, box = max(first * CHANNELS, universe_from(last)), ""
    for number, item in enumerate(task.items):
        if item.at is None:
            if not task.share and item.box != box:
                at, box = universe_from(at), item.box
            places[number] = item.falls(max(at, item.floor * CHANNELS))
            at = task.held(item, places[number])
    return places


def _apart(task: Task, first: int) -> Places:
    """Boxes with a pin as though nobody shared a universe, and the others behind everything."""
    pinned = {item.box for item in task.items if item.at is not None}
    order = [number for number in _orders_around(task)[1] if task.items[number].box in pinned]
    places = around(replace(task, share=False), first, order)
    items = tuple(replace(item, at=places.get(number)) for number, item in enumerate(task.items))
    return _in_order(replace(task, items=items), first)


def _orders_around(task: Task) -> list[list[int]]:
    """Orders in which to find places around pinned chains: the file's; long ones first; and that box by box, those with
    a pin first, and of them those first that must have no gap.
    """
    numbers = [number for number, item in enumerate(task.items) if item.at is None]
    pinned = {item.box for item in task.items if item.at is not None}
    long = sorted(numbers, key=lambda n: (-universes_of(task.items[n].shape), -_over(task.items[n]), n))
    names = sorted(task.boxes, key=lambda name: (name not in pinned, not task.boxes[name].consecutive))
    return [numbers, long, sorted(long, key=lambda n: names.index(task.items[n].box))]


Group = list[int]
"""Items that lie end to end and together touch one universe more than they fill."""


def _grouped(task: Task, members: Group) -> Group | None:
    """The members in an order in which they are a group; None where none was found."""
    wide = sorted(members, key=lambda n: (-max(width for _, width in task.items[n].shape), n))
    wanted = 1 + sum(universes_of(task.items[n].shape) - 1 for n in members)
    for order in (sorted(members), wide):
        at = last = 0
        for number in order:
            item = task.items[number]
            if not may_begin(item.shape, at % CHANNELS):
                break
            last = item.touched(at).stop
            at = task.held(item, at)
        else:
            if last == wanted:
                return order
    return None


def _first_fit(task: Task, order: Sequence[int]) -> list[Group]:
    """Each item into the first group with which it is one."""
    groups: list[Group] = []
    over: list[int] = []
    for number in order:
        size = _over(task.items[number])
        for place, group in enumerate(groups):
            # a chain that begins part way in may end some channels earlier than its remainder says, never many
            if over[place] + size < CHANNELS + 32 and (together := _grouped(task, [*group, number])):
                groups[place] = together
                over[place] += size
                break
        else:
            groups.append([number])
            over.append(size)
    return groups


def _from_bins(task: Task, numbers: Sequence[int], bins: Sequence[Sequence[int]]) -> list[Group]:
    """A group of each bin; one that the widths of its pixels or what is kept free forbid is laid by first fit."""
    groups: list[Group] = []
    for members in bins:
        one = [numbers[place] for place in members]
        together = _grouped(task, one)
        groups += [together] if together else _first_fit(task, one)
    alone = [number for number in range(len(task.items)) if number not in set(numbers)]
    return groups + _first_fit(task, alone)


def _packed(task: Task, effort: Effort) -> list[Group]:
    """The groups by remainders as they are from channel 1, with what is kept free."""
    sizes = [min(_over(item) + task.spare * item.shape[-1][1], CHANNELS) for item in task.items]
    packed = pack(sizes, CHANNELS, effort.part(1 / 3))
    return _from_bins(task, range(len(sizes)), packed.bins)


def _end_to_end(task: Task, groups: list[Group], first: int) -> Places:
    """The groups one behind the other, the one with the earliest item first, each from channel 1."""
    places: Places = {}
    at = first * CHANNELS
    for group in sorted(groups, key=min):
        at = universe_from(at)
        for number in group:
            places[number] = at
            at = task.held(task.items[number], at)
    return places
