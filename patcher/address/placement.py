"""Where each start falls: placement `fresh` and `follow`.

Pinned starts lie where they are pinned and move nobody; the others follow in the order of the file, controllers first,
then ports, and step over universes that a pin takes.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

from patcher.address.patch import CHANNELS, Chain, Link, Patch, Start, first_fit, running, written
from patcher.address.rules import breaches
from patcher.errors import Finding, PatcherError, refuse
from patcher.show.schema import Controller, Show
from patcher.wiring import Wiring


@dataclass(frozen=True, slots=True)
class Allocation:
    """A patch, and how good it is.

    Attributes:
        patch: the patch.
        lower_bound: a count of universes that no patch under the same rules can beat.
        proved: that the patch meets the bound, or that the search was exhausted.
    """

    patch: Patch
    lower_bound: int
    proved: bool


def chains(wiring: Wiring) -> list[Chain]:
    """Everything that has a start of its own, controllers in the file's order, ports in theirs."""
    show = wiring.show
    found: list[Chain] = []
    for controller in show.controllers.values():
        ports = wiring.of_controller(controller.name)
        links = {port: tuple(_link(show, controller, port, run) for run in runs) for port, runs in ports.items()}
        if not links:
            continue
        match controller.start_per:
            case "controller":
                every = tuple(link for port in links.values() for link in port)
                found.append(Chain(controller.name, None, None, every))
            case "port":
                found += [Chain(controller.name, port, None, chain) for port, chain in links.items()]
            case "run":
                every_run = [(port, link) for port, chain in links.items() for link in chain]
                found += [Chain(controller.name, port, link.run, (link,)) for port, link in every_run]
    return found


def _link(show: Show, controller: Controller, port: int, name: str) -> Link:
    run = show.runs[name]
    nulls = 0 if controller.skips_nulls else run.nulls
    return Link(port, name, run.pixels, show.type_of(run).channels, nulls)


def allocate(wiring: Wiring) -> Allocation:
    """Lay every chain of a sound wiring.

    Raises:
        PatcherError: no patch can be under the show's pins and limits, with every reason.
    """
    show = wiring.show
    if show.settings.placement == "whole":
        says = "“whole” is not built yet in this version"
        raise refuse("show.placement", says, "use “fresh” or “follow”", rule="placement", area="address")
    todo = chains(wiring)
    places = _place(show, todo)
    patch = Patch(tuple(Start(chain, *written(at)) for chain, at in zip(todo, places, strict=True)))
    if found := breaches(show, patch):
        raise PatcherError(*found)
    return Allocation(patch, lower_bound=patch.universe_count, proved=True)


class _Blocked:
    """Universes that pins take, as ranges that do not touch each other."""

    def __init__(self) -> None:
        self._firsts: list[int] = []
        self._stops: list[int] = []

    def add(self, ranges: Iterable[range]) -> None:
        every = sorted([(r.start, r.stop) for r in ranges] + list(zip(self._firsts, self._stops, strict=True)))
        self._firsts, self._stops = [], []
        for first, stop in every:
            if self._stops and first <= self._stops[-1]:
                self._stops[-1] = max(self._stops[-1], stop)
            else:
                self._firsts.append(first)
                self._stops.append(stop)

    def behind(self, universes: range) -> int | None:
        """The first universe behind what blocks any of these; None where nothing does."""
        found = bisect_right(self._firsts, universes.stop - 1) - 1
        return self._stops[found] if found >= 0 and self._stops[found] > universes.start else None


def _place(show: Show, todo: list[Chain]) -> list[int]:
    """The running channel at which each chain begins."""
    boxes: dict[str, list[int]] = {}
    for index, chain in enumerate(todo):
        boxes.setdefault(chain.controller, []).append(index)
    places: dict[int, int] = {}
    blocked = _Blocked()
    for name, members in boxes.items():
        pins = show.controllers[name].pins
        for index in members:
            if todo[index].key in pins:
                places[index] = running(*pins[todo[index].key])
    blocked.add(_universes(todo[index], at) for index, at in places.items())
    free = {name: [index for index in members if index not in places] for name, members in boxes.items()}
    pinned: dict[int, int] = {}
    for name, members in free.items():
        first = show.controllers[name].first_universe
        if first is not None:
            laid, _ = _lay_box(show, [todo[i] for i in members], running(first, 1), blocked, whole=False)
            pinned.update(zip(members, laid, strict=True))
    places |= pinned
    blocked.add(_universes(todo[index], at) for index, at in pinned.items())
    cursor = running(show.settings.first_universe, 1)
    for name, members in free.items():
        controller = show.controllers[name]
        if controller.first_universe is None and members:
            if not (show.settings.placement == "follow" and show.settings.share_universes):
                cursor = _next_universe(cursor)
            box = [todo[index] for index in members]
            laid, cursor = _lay_box(show, box, cursor, blocked, whole=controller.consecutive)
            places |= dict(zip(members, laid, strict=True))
    return [places[index] for index in range(len(todo))]


def _lay_box(show: Show, box: list[Chain], cursor: int, blocked: _Blocked, *, whole: bool) -> tuple[list[int], int]:
    """Lay the chains of one box from `cursor` on; where `whole`, none of them may stand behind a pin that another is
    before. Returns where each begins, and the running channel behind the last.
    """
    laid: list[int] = []
    fresh = show.settings.placement == "fresh"
    number = 0
    while number < len(box):
        chain = box[number]
        at = first_fit(_next_universe(cursor) if fresh else cursor, chain.links[0].channels)
        step = blocked.behind(_universes(chain, at))
        if step is not None:
            cursor = running(step, 1)
            if whole:
                laid, number = [], 0
            continue
        laid.append(at)
        cursor = chain.end(at)
        number += 1
    return laid, cursor


def _universes(chain: Chain, at: int) -> range:
    return range(written(at)[0], written(chain.end(at) - 1)[0] + 1)


def _next_universe(at: int) -> int:
    return -(-at // CHANNELS) * CHANNELS


def changed_boxes(old: Patch | None, new: Patch) -> list[str]:
    """The controllers whose settings differ: their starts with their pixel counts. All, where there is no old patch."""
    before, after = (_settings(patch) for patch in (old or Patch(()), new))
    return [name for name in after if after[name] != before.get(name)]


def _settings(patch: Patch) -> dict[str, list[tuple[object, ...]]]:
    found: dict[str, list[tuple[object, ...]]] = {}
    for start in patch.starts:
        chain = start.chain
        found.setdefault(start.controller, []).append(
            (chain.port, chain.run, start.universe, start.channel, chain.pixels)
        )
    return found


def moved_runs(old: Patch | None, new: Patch) -> list[str]:
    """The runs whose addresses differ; all, where there is no old patch."""
    before, after = (_addresses(patch) for patch in (old or Patch(()), new))
    return [run for run in after if after[run] != before.get(run)]


def _addresses(patch: Patch) -> dict[str, tuple[int, int, int]]:
    return {link.run: (at, link.pixels, link.channels) for start in patch.starts for link, at in start.placed()}


def misfits(patch: Patch, wiring: Wiring) -> list[Finding]:
    """Where a patch that was read from its file is not a patch of this wiring, box by box."""
    wanted = {chain.name: chain for chain in chains(wiring)}
    held = {start.chain.name: start.chain for start in patch.starts}
    boxes: dict[str, list[str]] = {}
    for name in [*wanted, *(name for name in held if name not in wanted)]:
        if wanted.get(name) != held.get(name):
            chain = wanted.get(name) or held[name]
            boxes.setdefault(chain.controller, []).append(name)
    return [
        Finding(
            "error", "patch-file", "address", f"controller.{box}",
            f"is wired otherwise than in the patch file: {', '.join(names[:4])}{' …' if names[4:] else ''}",
            "run patcher patch first, then type the new numbers into the box",
        )
        for box, names in boxes.items()
    ]  # fmt: skip
