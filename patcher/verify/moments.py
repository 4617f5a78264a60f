"""What is sent while a person is asked: where frames go, and the steps of a frame in time."""

from __future__ import annotations

from collections.abc import Mapping

from patcher.address.patch import Patch
from patcher.address.rules import LAST_UNIVERSE
from patcher.stream.sender import Target, box_universes, targets
from patcher.verify.frames import Frame
from patcher.verify.hypotheses import BOXES_OFF
from patcher.wire import e131
from patcher.wiring import Wiring

FRAME = 0.1
"""Seconds from one frame to the next; a dot stays as long on each lamp."""
REST = 10
"""Dark frames between two goes of a dot."""
EACH = 30
"""Frames that each look of a step with several is shown: 3 s, far from the three flashes a second that an eye bears."""
HELD = 100
"""Frames that the last of them is held for, growing brighter and dimmer: 10 s."""
UP_OR_DOWN, DIMMEST = 25, 1 / 3
"""Frames in which it grows dimmer, and how dim it gets, as a part of what it began with."""


def frame_goals(wiring: Wiring, patch: Patch, hosts: Mapping[str, str]) -> list[Target]:
    """Where frames go: every box, its universes, those two up and down, for what may be off, and those of boxes near it
    in the file, for starts that may be typed into the wrong box.

    Args:
        wiring: what hangs where.
        patch: its patch.
        hosts: an address for boxes that are not to be sent to by their own.

    Returns:
        The boxes' own universes first.
    """
    tables = wiring.show.controllers
    boxes = box_universes(patch)
    found = dict.fromkeys(sorted(targets(wiring.show, patch, boxes, hosts)))
    others = set[Target]()
    names = list(boxes)
    for number, (box, own) in enumerate(boxes.items()):
        near = names[max(number - BOXES_OFF, 0) : number + BOXES_OFF + 1]
        of_others = {universe for name in near for universe in boxes[name]}
        host = hosts.get(box) or tables[box].address or ""
        for universe in {one + off for one in own for off in (-2, -1, 1, 2)} | of_others:
            if 1 <= universe <= LAST_UNIVERSE[tables[box].protocol] and universe not in own:
                multicast = tables[box].delivery == "multicast"
                goal = e131.multicast_group(universe) if multicast else host
                others.add(Target(tables[box].protocol, universe, goal))
    return list(found | dict.fromkeys(sorted(others)))


def moments(frame: Frame) -> list[int | None]:
    """The steps of a frame in the order in which they are sent; None: dark, between two goes."""
    found: list[int | None] = []
    for step in range(len(frame.steps)):
        if frame.goes and step and frame.goes[step] != frame.goes[step - 1]:
            found += [None] * REST
        found.append(step)
    return found + [None] * REST * 2 * bool(frame.goes)


def step_moments(looks: int) -> list[tuple[int, float]]:
    """What a step shows, frame by frame: the look, from 0, and its part of full brightness. Once round is all of it.

    Each frame of the part that is held has other levels than the one before, in every channel: as much as the data
    lines of a box ever carry.
    """
    if looks == 1:
        return [(0, 1.0)]
    ramp = [abs(frame % (2 * UP_OR_DOWN) - UP_OR_DOWN) / UP_OR_DOWN for frame in range(HELD)]
    held = [(looks - 1, DIMMEST + (1 - DIMMEST) * part) for part in ramp]
    return [(number, 1.0) for number in range(looks) for _ in range(EACH)] + held
