"""Keeping a patch: the new one that changes the fewest boxes, then the fewest starts, then uses the fewest universes.

A box whose starts are as many as before, on the same ports, with the same pixels on each port, stays where it is,
unless a pin or a limit forbids it. Every other has seats near its old places, and may stand anywhere else;
`seat_choice` picks one for each, and `shared_universes` where controllers may share universes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from patcher.patch.occupancy import Taken
from patcher.patch.patch import Chain, Patch, Start, first_fit, running
from patcher.placement.effort import Effort
from patcher.placement.seat_choice import choose
from patcher.placement.seats import BoxSeats, Claim, Rule, Seat, stay
from patcher.placement.shared_universes import one_by_one
from patcher.show.schema import Show
from patcher.trade import CHANNELS, LAST_UNIVERSE


@dataclass(frozen=True, slots=True)
class Kept:
    """The places of a patch that keeps another.

    Attributes:
        places: the running channel of each chain.
        faulty: boxes that stay on channels that their old patch gave twice or split.
        excess: how many starts change beyond what is proved to be needed.
    """

    places: list[int]
    faulty: frozenset[str]
    excess: int


def keep(show: Show, todo: Sequence[Chain], old: Patch, *, reserve: int = 0, effort: Effort) -> Kept | None:
    """Lay the chains of a show so that the fewest boxes of an old patch change; None where none of it can be kept."""
    indices, boxes = _boxes(show, todo, old, reserve)
    begin = show.settings.first_universe - 1
    if show.settings.share_universes:
        laid, least = one_by_one(boxes, begin), 0
    else:
        found = choose(boxes, effort)
        if found is None:
            return None
        laid, least = _settled(boxes, found[0], begin), found[1]
    places: list[int] = [0] * len(todo)
    moved = 0
    for box, members, own in zip(boxes, indices, laid, strict=True):
        moved += sum(s.pin is None and s.home not in (None, at) for s, at in zip(box.starts, own, strict=True))
        for index, at in zip(members, own, strict=True):
            places[index] = at
    return Kept(places, frozenset(box.name for box in boxes if box.faulty), max(0, moved - least))


def _settled(boxes: list[BoxSeats], seats: list[Seat], begin: int) -> list[list[int]]:
    """The places of every start; what may lie anywhere goes, in the order of the file, to the first room there is."""
    tied = [seat.places() for seat in seats]
    taken = Taken()
    taken.add_universes(piece for seat in seats for piece in seat.footprint)
    taken.add_universes(
        box.starts[index].universes(at) for box, own in zip(boxes, tied, strict=True) for index, at in own.items()
    )
    places: list[list[int]] = []
    for box, seat, own in zip(boxes, seats, tied, strict=True):
        base = 0
        if seat.block:
            base = taken.hole(seat.length, max(begin, box.first or 0))
            taken.add_universes([range(base, base + seat.length)])
        laid = own | {i: base * CHANNELS + at for i, at in seat.block.items()}
        places.append([laid[i] for i in range(len(box.starts))])
    return places


# ─── What each box had ───────────────────────────────────────────────────────────────────────────────────────────────


def _boxes(show: Show, todo: Sequence[Chain], old: Patch, reserve: int) -> tuple[list[list[int]], list[BoxSeats]]:
    members: dict[str, list[int]] = defaultdict(list)
    for index, chain in enumerate(todo):
        members[chain.controller].append(index)
    faulty = _faulty(old)
    boxes = []
    for name, own in members.items():
        box = _box(show, name, [todo[i] for i in own], old.boxes.get(name, ()), old, reserve)
        stays = box.same and any(start.controller in faulty for start in old.boxes.get(name, ()))
        boxes.append(replace(box, faulty=stays and stay(replace(box, faulty=True)) is not None))
    return list(members.values()), boxes


def _faulty(old: Patch) -> set[str]:
    """The boxes of an old patch that hold channels twice, or a start where its first pixel does not fit."""
    ordered = sorted(old.starts, key=lambda start: start.at)
    found = {start.controller for start in ordered if first_fit(start.at, start.chain.links[0].channels) != start.at}
    furthest: Start | None = None
    for start in ordered:
        if furthest is not None and start.at < furthest.end:
            found |= {start.controller, furthest.controller}
        if furthest is None or start.end > furthest.end:
            furthest = start
    return found


def _box(show: Show, name: str, own: list[Chain], old: Sequence[Start], patch: Patch, reserve: int) -> BoxSeats:
    controller = show.controllers[name]
    same = [(chain.port, chain.port_pixels) for chain in own] == [(s.chain.port, s.chain.port_pixels) for s in old]
    homes: list[int | None] = [start.at for start in old] if same else _homes(own, old)
    pins = controller.pins
    starts = tuple(
        Claim(
            chain,
            home,
            _before(chain, patch, show.settings.placement),
            running(*pins[chain.key]) if chain.key in pins else None,
            reserve,
        )
        for chain, home in zip(own, homes, strict=True)
    )
    rule = show.settings.placement
    box = BoxSeats(
        name=name,
        starts=starts,
        rule=rule,
        consecutive=controller.consecutive,
        first=None if controller.first_universe is None else controller.first_universe - 1,
        most=controller.universes,
        lowest=min([show.settings.first_universe - 1, *(start.at // CHANNELS for start in old)]),
        last=LAST_UNIVERSE[controller.protocol] - 1,
        same=same,
        close=False,
        faulty=False,
    )
    may = rule == "follow" or (rule == "fresh" and controller.consecutive)
    return replace(box, close=may and not show.settings.share_universes and not box.pinned and _lay_close(box, old))


def _homes(own: list[Chain], old: Sequence[Start]) -> list[int | None]:
    """Where each chain would be no change: at the start of its own name, or else of one just like it."""
    left = list(old)
    homes: list[int | None] = [None] * len(own)
    for named in (True, False):
        for index, chain in enumerate(own):
            for start in left if homes[index] is None else ():
                alike = (chain.port, chain.port_pixels) == (start.chain.port, start.chain.port_pixels)
                if alike and (not named or chain.name == start.chain.name):
                    homes[index] = start.at
                    left.remove(start)
                    break
    return homes


def _before(chain: Chain, old: Patch, rule: Rule) -> int | None:
    """Where the first run of a chain began; under `fresh` only where a start may begin, or did."""
    run = chain.links[0].run
    if not old.has(run):
        return None
    start = old.start_of(run)
    if start.chain.links[0].run == run:
        return start.at
    at = old.link_of(run)[1]
    return None if rule == "fresh" and at % CHANNELS else at


def _lay_close(box: BoxSeats, old: Sequence[Start]) -> bool:
    behind = 0
    for number, start in enumerate(sorted(old, key=lambda start: start.at)):
        width = start.chain.links[0].channels
        begins = box.rule == "fresh" or number == 0
        if (begins and start.at % CHANNELS) or (not begins and first_fit(behind, width) != start.at):
            return False
        behind = start.end
    return True
