"""What differs between two patches: box by box what is typed anew, run by run what the player is told; and between a
patch and the wiring.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from patcher.address.patch import Patch, Start, written
from patcher.address.placement import chains
from patcher.errors import Finding
from patcher.wiring import Wiring


@dataclass(frozen=True, slots=True)
class StartChange:
    """One start of a box that is typed anew.

    Attributes:
        controller: the box.
        name: the start, as it is named everywhere.
        old: as it is typed in now; None where it is new.
        new: as it is to be; None where it goes.
    """

    controller: str
    name: str
    old: Start | None
    new: Start | None


@dataclass(frozen=True, slots=True)
class RunPlace:
    """What a player knows of a run: its first channel, its pixels, and the channels that one of them takes."""

    universe: int
    channel: int
    pixels: int
    channels: int


@dataclass(frozen=True, slots=True)
class RunChange:
    """A run that the player must be told of; `old` is None where it is new, `new` where it goes."""

    run: str
    old: RunPlace | None
    new: RunPlace | None


Typed = tuple[int | None, int, int, int]


def _typed(start: Start) -> Typed:
    """What is typed into the box: the port, the universe, the channel and the pixels; not what the run is called."""
    return (start.chain.port, start.universe, start.channel, start.chain.pixels)


def _by_box(patch: Patch | None) -> dict[str, list[Start]]:
    found: dict[str, list[Start]] = {}
    for start in patch.starts if patch else ():
        found.setdefault(start.controller, []).append(start)
    return found


def changed_boxes(old: Patch | None, new: Patch) -> list[str]:
    """The controllers whose settings differ: their starts with their pixel counts. All, where there is no old patch."""
    before, after = _by_box(old), _by_box(new)
    return [
        name
        for name, starts in after.items()
        if [_typed(start) for start in starts] != [_typed(start) for start in before.get(name, ())]
    ]


def start_changes(old: Patch | None, new: Patch) -> list[StartChange]:
    """The starts to type anew, box by box, and those that go; nothing of what stays."""
    before, after = _by_box(old), _by_box(new)
    return [
        change for name in [*after, *(name for name in before if name not in after)]
        for change in _box_changes(name, before.get(name, []), after.get(name, []))
    ]  # fmt: skip


def _box_changes(name: str, old: list[Start], new: list[Start]) -> Iterator[StartChange]:
    left = list(old)
    stays: set[int] = set()
    for number, start in enumerate(new):
        twin = next((other for other in left if _typed(other) == _typed(start)), None)
        if twin is not None:
            left.remove(twin)
            stays.add(number)
    for number, start in enumerate(new):
        if number not in stays:
            was = next((other for other in left if other.chain.name == start.chain.name), None)
            if was is not None:
                left.remove(was)
            yield StartChange(name, start.chain.name, was, start)
    for gone in left:
        yield StartChange(name, gone.chain.name, gone, None)


def run_changes(old: Patch | None, new: Patch) -> list[RunChange]:
    """The runs whose addresses differ, and those that go; a run with a new name in the very place of one that is gone
    is the same run.
    """
    before, after = _places(old or Patch(())), _places(new)
    gone = {place: run for run, place in before.items() if run not in after}
    found: list[RunChange] = []
    for run, place in after.items():
        if run not in before and place in gone:
            del gone[place]
        elif before.get(run) != place:
            found.append(RunChange(run, before.get(run), place))
    return found + [RunChange(run, place, None) for place, run in gone.items()]


def moved_runs(old: Patch | None, new: Patch) -> list[str]:
    """The runs of the new patch whose addresses differ; all, where there is no old patch."""
    return [change.run for change in run_changes(old, new) if change.new is not None]


def _places(patch: Patch) -> dict[str, RunPlace]:
    return {
        link.run: RunPlace(*written(at), link.pixels, link.channels)
        for start in patch.starts
        for link, at in start.placed()
    }


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
