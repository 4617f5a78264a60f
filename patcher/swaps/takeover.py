"""Where the starts of a spare begin when it takes over a dead box's runs: wherever it can, where the runs are today.

Every other box keeps its starts. A start of the spare that finds no run where it was goes to channel 1 of free
universes, next to the box's others where they must follow each other.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise

from patcher.errors import Finding
from patcher.patch.patch import Chain, Patch, Start, first_fit, running, written
from patcher.patch.rules import breaches
from patcher.show.schema import Controller, Show
from patcher.trade import CHANNELS, LAST_UNIVERSE

_MOST_TRIALS = 2_000
"""Places that are tried; where they run out, the best so far is taken."""


def first_pixels_at(chain: Chain, at: int) -> dict[str, int]:
    """Where the first pixel of each run lies when the chain begins at `at`."""
    return {link.run: first for link, first in Start(chain, *written(at)).placed()}


def kept_pixels(chain: Chain, at: int, today: Mapping[str, int]) -> int:
    """How many pixels of a chain that begins at `at` are where they are today."""
    found = first_pixels_at(chain, at)
    return sum(link.pixels for link in chain.links if found[link.run] == today.get(link.run))


def places_kept(chain: Chain, today: Mapping[str, int], begins: Container[int] = ()) -> list[int]:
    """Where a chain can begin so that a run of it stays where it is; the place that keeps most pixels comes first.

    Null pixels that take channels may leave several places for one set of runs that stay: of these one where data
    begins today, so that nothing is typed in that need not be, then the last.

    Args:
        chain: the chain.
        today: the running channel of the first pixel of each run, today.
        begins: the running channels at which the data of a run begins today, its null pixels included.
    """
    found: dict[frozenset[str], list[int]] = {}
    for run in (link.run for link in chain.links if link.run in today):
        # A run never lies earlier when its chain begins later, so the places where it stays follow each other.
        channels, where = range(today[run] + 1), partial(_place_of, chain, run)
        for at in range(bisect_left(channels, today[run], key=where), bisect_right(channels, today[run], key=where)):
            if first_fit(at, chain.links[0].channels) == at:
                found.setdefault(_staying(chain, at, today), []).append(at)
    pixels = {link.run: link.pixels for link in chain.links}
    ranked = {
        at: (-sum(pixels[run] for run in stays), at not in begins, at)
        for stays, places in found.items()
        for at in {next((at for at in places if at in begins), places[-1]), places[-1]}
    }
    return sorted(ranked, key=ranked.__getitem__)


def _place_of(chain: Chain, run: str, at: int) -> int:
    return first_pixels_at(chain, at)[run]


def _staying(chain: Chain, at: int, today: Mapping[str, int]) -> frozenset[str]:
    places = first_pixels_at(chain, at)
    return frozenset(run for run in places if places[run] == today.get(run))


@dataclass
class _Search:
    """The best places found so far, and how many were tried."""

    show: Show
    controller: Controller
    others: tuple[Start, ...]
    today: Mapping[str, int]
    begins: Container[int]
    order: Sequence[Chain]
    already: frozenset[Finding]
    best: list[Start] | None = None
    kept: int = -1
    trials: int = 0
    most: list[int] = field(default_factory=list)

    def run(self) -> list[Start] | None:
        """The starts that leave most pixels where they are; None where no places are allowed at all."""
        choices = [places_kept(chain, self.today, self.begins) for chain in self.order]
        each = [kept_pixels(c, p[0], self.today) if p else 0 for c, p in zip(self.order, choices, strict=True)]
        self.most = [sum(each[number:]) for number in range(len(each) + 1)]
        self._keep([], [], choices, 0)
        return self.best

    def _keep(self, placed: list[Start], moved: list[Chain], choices: list[list[int]], kept: int) -> None:
        number = len(placed) + len(moved)
        if self.trials > _MOST_TRIALS or kept + self.most[number] <= self.kept:
            return
        if number == len(self.order):
            if (found := self._move(placed, moved)) is not None:
                self.best, self.kept = found, kept
            return
        chain = self.order[number]
        for at in choices[number]:
            start = Start(chain, *written(at))
            self.trials += 1
            if self._room([*placed, start]) and not _overlaps(start.at, start.end, (*self.others, *placed)):
                here = kept_pixels(chain, at, self.today)
                self._keep([*placed, start], moved, choices, kept + here)
        self._keep(placed, [*moved, chain], choices, kept)

    def _move(self, placed: list[Start], moved: list[Chain]) -> list[Start] | None:
        self.trials += 1
        if self.trials > _MOST_TRIALS:
            return None
        if not moved:
            return placed if self._allowed(placed) else None
        chain, *rest = moved
        for at in self._free_places(placed, chain):
            longer = [*placed, Start(chain, *written(at))]
            if self._room(longer) and (found := self._move(longer, rest)) is not None:
                return found
        return None

    def _free_places(self, placed: list[Start], chain: Chain) -> Iterator[int]:
        """Channel 1 of free universes; then right behind one of the box's own starts; then channel 1 from where it ends
        in the universe in which one of these begins.
        """
        length = len(Start(chain, 1, 1).universes)
        yield from self._free_universes(placed, length)
        behind = [first_fit(start.end, chain.links[0].channels) for start in placed]
        before = [running(first, 1) for start in placed if (first := start.universes.start - length + 1) >= 1]
        yield from (at for at in (*behind, *before) if not _overlaps(at, chain.end(at), (*self.others, *placed)))

    def _free_universes(self, placed: list[Start], length: int) -> Iterator[int]:
        """Channel 1 of so many free universes, those beside the box's own starts first."""
        taken = [start.universes for start in (*self.others, *placed)]
        firsts = [edge for start in reversed(placed) for edge in _edges(start.universes, length)]
        if not (placed and self.controller.consecutive):
            firsts.append(self.show.settings.first_universe)
            firsts += sorted(edge for used in taken for edge in _edges(used, length))
        last = LAST_UNIVERSE[self.controller.protocol]
        for first in dict.fromkeys(firsts):
            stop = first + length
            if 1 <= first <= stop - 1 <= last and not any(first < used.stop and used.start < stop for used in taken):
                yield running(first, 1)

    def _room(self, placed: list[Start]) -> bool:
        """Whether the box listens to as many universes as these starts have."""
        most = self.controller.universes
        return most is None or len({universe for start in placed for universe in start.universes}) <= most

    def _allowed(self, starts: list[Start]) -> bool:
        return set(breaches(self.show, Patch((*self.others, *starts)))) <= self.already


def _overlaps(at: int, end: int, starts: Sequence[Start]) -> bool:
    """Whether some starts take any of these running channels."""
    return any(at < start.end and start.at < end for start in starts)


def _edges(used: range, length: int) -> tuple[int, int]:
    """The first of so many universes right behind, and right before, some that are used."""
    return used.stop, used.start - length


def spare_starts(
    show: Show, others: Sequence[Start], chains: Sequence[Chain], today: Mapping[str, int], begins: Container[int]
) -> list[Start] | None:
    """Where the chains of a spare begin, so that as many pixels as can be stay where they are.

    Args:
        show: the show with the spare in the dead box's place.
        others: the starts of the other boxes, which stay.
        chains: what has a start of its own in the spare, in the order of its ports.
        today: the running channel of the first pixel of each run, today.
        begins: the running channels at which the data of a run begins today, its null pixels included.

    Returns:
        The starts in the order of the chains; None where no place was found that the limits of the box and the
        universes of its protocol allow.
    """
    controller = show.controllers[chains[0].controller]
    channels = sum(link.pixels * link.channels for chain in chains for link in chain.links)
    if controller.universes is not None and channels > controller.universes * CHANNELS:
        return None
    longest_first = sorted(chains, key=lambda chain: -chain.pixels)
    already = frozenset(breaches(show, Patch(tuple(others))))
    found = _Search(show, controller, tuple(others), today, begins, longest_first, already).run()
    if found is None:
        return None
    by_name = {start.chain.name: start for start in found}
    return [by_name[chain.name] for chain in chains]


def falls_by_itself(show: Show, box: Controller, starts: Sequence[Start], others: Sequence[Start]) -> bool:
    """Whether a box's starts lie as the show's placement lays them, so that none needs a pin to stay there."""
    pins = box.pins
    free = [start for start in starts if start.chain.key not in pins]
    if not free:
        return True
    first = box.first_universe
    if (pins and box.consecutive) or (first is not None and free[0].at != running(first, 1)):
        return False
    if show.settings.placement == "follow":
        follows = all(two.at == first_fit(one.end, two.chain.links[0].channels) for one, two in pairwise(free))
        return follows and free[0].channel == 1
    side_by_side = first is None or all(two.universe == one.universes.stop for one, two in pairwise(free))
    return side_by_side and all(_lies_fresh(start, (*starts, *others)) for start in free)


def _lies_fresh(start: Start, every: Sequence[Start]) -> bool:
    """Whether a start is on channel 1 of universes that no other has."""
    others = (other.universes for other in every if other is not start)
    return start.channel == 1 and not any(set(start.universes) & set(used) for used in others)
