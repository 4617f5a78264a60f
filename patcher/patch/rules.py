"""The rules that every patch keeps, whatever its placement; each breach is a finding.

That a pixel has channels once and is never split follows from how a chain is laid; here stands what depends on where
the starts are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import accumulate

from patcher.errors import Finding, first_few
from patcher.patch.occupancy import Taken
from patcher.patch.patch import Patch, Start, address, first_fit, running
from patcher.show.schema import Controller, Show
from patcher.trade import CHANNELS, LAST_UNIVERSE, PROTOCOL_NAMES

PIN_OUT = "take the pin out: patcher patch finds a place"


def _breach(rule: str, where: str, says: str, remedy: str) -> Finding:
    return Finding("error", rule, "address", where, says, remedy)


def breaches(show: Show, patch: Patch) -> list[Finding]:
    """Everything in a patch that cannot be."""
    room = _Room(show, patch)
    found = [finding for start in patch.starts for finding in _start(show, start, room)]
    found += _overlaps(show, patch, room)
    for name, starts in patch.boxes.items():
        found += _box(show.controllers[name], starts, patch)
    return found


class _Room:
    """Universes that are free for starts that cannot stay: what one is advised to take, no other is."""

    def __init__(self, show: Show, patch: Patch) -> None:
        self._show = show
        self._patch = patch
        self._given: dict[str, int] = {}
        self._boxes: dict[str, int] = {}

    @cached_property
    def _taken(self) -> Taken:
        taken = Taken()
        taken.add_universes(range(start.universes.start - 1, start.universes.stop - 1) for start in self._patch.starts)
        return taken

    def pin(self, start: Start) -> str:
        """The advice to pin a start on channel 1 of a universe where it collides with nothing and its box can take it;
        where there is none, to move the whole box.
        """
        box = self._show.controllers[start.controller]
        last = LAST_UNIVERSE[box.protocol]
        length = _universes(start)
        if start.chain.name not in self._given:
            first = self._place(box, start, length)
            if first is None:
                return PIN_OUT if start.chain.key in box.pins else self._whole(box)
            self._given[start.chain.name] = first
            self._taken.add_universes([range(first, first + length)])
        first = self._given[start.chain.name]
        if first + length > last:
            return "pin it lower: no universe behind it is free"
        return f'pin it where it is free: "{first + 1}/1"'

    def _place(self, box: Controller, start: Start, length: int) -> int | None:
        """The first universe, from 0, of a place that a start can take beside the others of its box."""
        if box.name in self._boxes:
            return None
        held = self._held_beside(start)
        if box.universes is not None and len(held) + length > box.universes:
            return None
        lowest = (box.first_universe or 1) - 1
        if held and box.consecutive:
            return self._joining(held, length, lowest)
        return self._taken.hole(length, max(start.universe, lowest))

    def _held_beside(self, start: Start) -> set[int]:
        """The universes that the other starts of a start's box hold, where those have been given theirs."""
        held: set[int] = set()
        for each in self._patch.boxes[start.controller]:
            at = self._given.get(each.chain.name)
            if each is not start:
                held |= set(each.universes) if at is None else set(range(at + 1, at + 1 + _universes(each)))
        return held

    def _joining(self, held: set[int], length: int, lowest: int) -> int | None:
        """The first universe, from 0, of a place with which the universes held are all in a row."""
        every = sorted(held)
        gaps = [universe for universe in range(every[0], every[-1]) if universe not in held]
        wanted = [gaps[0] - 1] if gaps else [every[-1], every[0] - 1 - length]
        free = (at for at in wanted if at >= lowest and self._taken.free(range(at, at + length)))
        return next((at for at in free if _in_a_row(held | set(range(at + 1, at + 1 + length)))), None)

    def _whole(self, box: Controller) -> str:
        """The advice to move a whole box."""
        if box.name not in self._boxes:
            length = sum(map(_universes, self._patch.boxes[box.name]))
            self._boxes[box.name] = self._taken.hole(length, 0)
            self._taken.add_universes([range(self._boxes[box.name], self._boxes[box.name] + length)])
        says = "no pin is free beside the rest of the box: move the whole box, with no pin but first_universe = "
        return f"{says}{self._boxes[box.name] + 1} in [controller.{box.name}]"


def _universes(start: Start) -> int:
    """The universes that a start takes from channel 1 of one on."""
    return -(-start.chain.end(0) // CHANNELS)


def _in_a_row(universes: set[int]) -> bool:
    return max(universes) - min(universes) < len(universes)


def _named(start: Start) -> str:
    """A start with the channels that it takes."""
    return f"{start.chain.name} ({start.address} to {address(start.end - 1)})"


def _others(patch: Patch, box: str, universes: range) -> str:
    """The starts of other boxes in some universes, in brackets; nothing where there are none."""
    there = [
        _named(start) for start in patch.starts
        if start.controller != box and start.universes.start < universes.stop and universes.start < start.universes.stop
    ]  # fmt: skip
    return f" (there: {first_few(there, MOST_NAMED)})" if there else ""


MOST_NAMED = 3
"""So many starts are named where a box cannot be as it is pinned."""


def _start(show: Show, start: Start, room: _Room) -> Iterator[Finding]:
    controller = show.controllers[start.controller]
    where = f"controller.{controller.name}.start.{start.chain.key}"
    last = LAST_UNIVERSE[controller.protocol]
    if start.universes.stop - 1 > last:
        name = PROTOCOL_NAMES[controller.protocol]
        says = f"reaches universe {start.universes.stop - 1}; {name} ends at {last}"
        other = next((p for p, most in LAST_UNIVERSE.items() if start.universes.stop - 1 <= most), None)
        remedy = "begin lower (first_universe)" + (f", or use {PROTOCOL_NAMES[other]} (protocol)" if other else "")
        yield _breach("universe-range", where, says, remedy)
    width = start.chain.links[0].channels
    pin = controller.pins.get(start.chain.key)
    if pin is not None and pin != (start.universe, start.channel):
        says = f"is pinned to {pin[0]}/{pin[1]}, but begins at {start.address}"
        yield _breach("pin", where, says, "run patcher patch, or take the pin out")
    if first_fit(start.at, width) != start.at:
        says = f"begins at {start.address}, where no pixel of {width} channels fits before channel {CHANNELS}"
        yield _breach("split-pixel", where, says, room.pin(start))


def _further(one: Start, two: Start) -> Start:
    return two if two.end > one.end else one


def _overlaps(show: Show, patch: Patch, room: _Room) -> Iterator[Finding]:
    by_place = sorted(patch.starts, key=lambda start: (start.at, start.end))
    shared: set[tuple[str, str]] = set()
    furthest: Iterator[Start] = accumulate(by_place, _further)
    for one, two in zip(furthest, by_place[1:], strict=False):
        where = f"controller.{two.controller}.start.{two.chain.key}"
        if two.at < one.end:
            says = f"{two.chain.name} begins at {two.address}, on channels of {_named(one)}"
            yield _breach("overlap", where, says, room.pin(two))
        elif (
            one.controller != two.controller
            and not show.settings.share_universes
            and one.universes[-1] == two.universe
            and (pair := (one.controller, two.controller)) not in shared
        ):
            shared.add(pair)
            says = f"{two.chain.name} shares universe {two.universe} with {_named(one)}, and share_universes is false"
            yield _breach("shared-universe", where, says, f"{room.pin(two)}, or set share_universes")


def _box(controller: Controller, starts: Sequence[Start], patch: Patch) -> Iterator[Finding]:
    """A box's pin and limits: where it begins, how many universes it listens to, and that they follow each other."""
    where = f"controller.{controller.name}"
    free = [start.at for start in starts if start.chain.key not in controller.pins]
    if controller.first_universe is not None and free:
        first = running(controller.first_universe, 1)
        if min(free) < first or all(start.at != first for start in starts):
            says = f"is pinned to begin at {controller.first_universe}/1, but begins at {address(min(free))}"
            says += _others(patch, controller.name, range(controller.first_universe, min(free) // CHANNELS + 1))
            yield _breach("pin", f"{where}.first_universe", says, "pin it where it is free, or take the other pin out")
    ranges = sorted((start.universes.start, start.universes.stop) for start in starts)
    count, last = 0, 0
    for first, stop in ranges:
        if controller.consecutive and last and first > last:
            says = f"has pixels in universes up to {last - 1} and from {first}, but they must be consecutive"
            says += _others(patch, controller.name, range(last, first))
            remedy = "pin its starts side by side, pin the box (first_universe), or set consecutive = false"
            yield _breach("consecutive", where, says, remedy)
        count += max(0, stop - max(first, last))
        last = max(last, stop)
    if controller.universes is not None and count > controller.universes:
        says = f"needs {count} universes, but listens to at most {controller.universes}"
        yield _breach("universes", where, says, "move a run to another box, or begin its starts closer (placement)")
