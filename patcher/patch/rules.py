"""The rules that every patch keeps, whatever its placement; each breach is a finding.

That a pixel has channels once and is never split follows from how a chain is laid; here stands what depends on where
the starts are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from patcher.errors import Finding
from patcher.patch.patch import Patch, Start, address, first_fit, running
from patcher.show.schema import Controller, Show
from patcher.trade import CHANNELS, LAST_UNIVERSE, PROTOCOL_NAMES


def _breach(rule: str, where: str, says: str, remedy: str) -> Finding:
    return Finding("error", rule, "address", where, says, remedy)


def breaches(show: Show, patch: Patch) -> list[Finding]:
    """Everything in a patch that cannot be."""
    found = [finding for start in patch.starts for finding in _start(show, start)]
    found += _overlaps(show, patch)
    for name, starts in patch.boxes.items():
        found += _box(show.controllers[name], starts)
    return found


def _start(show: Show, start: Start) -> Iterator[Finding]:
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
        yield _breach("split-pixel", where, says, f'pin it to "{start.universe + 1}/1"')


def _overlaps(show: Show, patch: Patch) -> Iterator[Finding]:
    by_place = sorted(patch.starts, key=lambda start: (start.at, start.end))
    shared: set[tuple[str, str]] = set()
    for one, two in pairwise(by_place):
        where = f"controller.{two.controller}.start.{two.chain.key}"
        names = f"{one.chain.name} ({one.address} to {address(one.end - 1)})"
        if two.at < one.end:
            says = f"{two.chain.name} begins at {two.address}, on channels of {names}"
            yield _breach("overlap", where, says, f'pin it behind: "{one.universes.stop}/1"')
        elif (
            one.controller != two.controller
            and not show.settings.share_universes
            and one.universes[-1] == two.universe
            and (pair := (one.controller, two.controller)) not in shared
        ):
            shared.add(pair)
            says = f"shares universe {two.universe} with {one.controller}, and share_universes is false"
            yield _breach("shared-universe", where, says, f'pin it to "{two.universe + 1}/1", or set share_universes')


def _box(controller: Controller, starts: Sequence[Start]) -> Iterator[Finding]:
    """A box's pin and limits: where it begins, how many universes it listens to, and that they follow each other."""
    where = f"controller.{controller.name}"
    free = [start.at for start in starts if start.chain.key not in controller.pins]
    if controller.first_universe is not None and free:
        first = running(controller.first_universe, 1)
        if min(free) < first or all(start.at != first for start in starts):
            says = f"is pinned to begin at {controller.first_universe}/1, but begins at {address(min(free))}"
            yield _breach("pin", f"{where}.first_universe", says, "pin it where it is free, or take the other pin out")
    ranges = sorted((start.universes.start, start.universes.stop) for start in starts)
    count, last = 0, 0
    for first, stop in ranges:
        if controller.consecutive and last and first > last:
            says = f"has pixels in universes up to {last - 1} and from {first}, but they must be consecutive"
            remedy = "pin its starts side by side, pin the box (first_universe), or set consecutive = false"
            yield _breach("consecutive", where, says, remedy)
        count += max(0, stop - max(first, last))
        last = max(last, stop)
    if controller.universes is not None and count > controller.universes:
        says = f"needs {count} universes, but listens to at most {controller.universes}"
        yield _breach("universes", where, says, "move a run to another box, or begin its starts closer (placement)")
