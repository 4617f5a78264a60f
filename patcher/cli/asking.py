"""What is sent while a person is asked: where frames go, and the steps of a frame in time."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from patcher.address.patch import Patch
    from patcher.stream.sender import Target
    from patcher.verify import Frame
    from patcher.wiring import Wiring

FRAME = 0.1
"""Seconds from one frame to the next; a dot stays as long on each lamp."""
REST = 10
"""Dark frames between two goes of a dot."""


def frame_goals(show: Path, wiring: Wiring, patch: Patch, *, yard: bool) -> list[Target]:
    """Where frames go: every box, its universes and those two up and down, for what may be off."""
    from patcher.show.tables import LAST_UNIVERSE
    from patcher.stream.sender import Target, box_universes, targets
    from patcher.wire import e131

    tables = wiring.show.controllers
    boxes = box_universes(patch)
    hosts = {}
    if yard:
        from patcher.yard.yard import addresses

        near = addresses(show, wiring.show)
        hosts = {box: near[box] for box in boxes if tables[box].delivery == "unicast"}
    found = set(targets(wiring.show, patch, boxes, hosts))
    for box, own in boxes.items():
        host = hosts.get(box) or tables[box].address or ""
        for universe in {one + off for one in own for off in (-2, -1, 1, 2)} - set(own):
            if 1 <= universe <= LAST_UNIVERSE:
                multicast = tables[box].delivery == "multicast"
                goal = e131.multicast_group(universe) if multicast else host
                found.add(Target(tables[box].protocol, universe, goal))
    return sorted(found)


def moments(frame: Frame) -> list[int | None]:
    """The steps of a frame in the order in which they are sent; None: dark, between two goes."""
    found: list[int | None] = []
    for step in range(len(frame.steps)):
        if frame.goes and step and frame.goes[step] != frame.goes[step - 1]:
            found += [None] * REST
        found.append(step)
    return found + [None] * REST * 2 * bool(frame.goes)
