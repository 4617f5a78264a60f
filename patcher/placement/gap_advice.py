"""What to pin where a placement tears a box whose universes must be consecutive; each advice is tried beforehand.

A placement lays boxes and starts in its own order, around what is pinned. So a box with a pinned start can be torn
though a patch exists: more of the box must be pinned then.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from patcher.errors import Finding
from patcher.patch.patch import Chain, Patch, Start
from patcher.patch.rules import breaches
from patcher.show.schema import Controller, Show
from patcher.trade import CHANNELS

FEW = 4
"""So many pins are a remedy beside a shorter one; more are said only where there is no other."""
Lay = Callable[[Show], Patch]
"""Lays the chains afresh under another show's pins."""


def advised(show: Show, patch: Patch, wrong: Sequence[Finding], lay: Lay) -> list[Finding]:
    """What a patch breaks, with pins that mend a torn box where such are known.

    Args:
        show: the show.
        patch: what the placement gave.
        wrong: what that breaks.
        lay: lays the same chains under changed pins; what it gives is held against the rules before it is advised.
    """
    return [
        _advised(show, patch, wrong, finding, lay) if finding.rule == "consecutive" else finding for finding in wrong
    ]


def _advised(show: Show, patch: Patch, wrong: Sequence[Finding], finding: Finding, lay: Lay) -> Finding:
    box = show.controllers[finding.where.removeprefix("controller.")]
    broken = {(each.rule, each.where) for each in wrong}
    remedies: list[str] = []
    for change, pins, remedy in _tries(box, patch):
        if remedies and pins > FEW:
            continue
        changed = show.model_copy(update={"controllers": show.controllers | {box.name: box.model_copy(update=change)}})
        after = {(each.rule, each.where) for each in breaches(changed, lay(changed))}
        if after <= broken - {(finding.rule, finding.where)}:
            remedies.append(remedy)
        if len(remedies) == 2:
            break
    if not remedies:
        return finding
    placement = show.settings.placement
    order = "" if placement == "whole" else f"; placement “{placement}” lays in the file's order, around what is pinned"
    return replace(finding, says=f"{finding.says}{order}", remedy=", or ".join(remedies))


def _tries(box: Controller, patch: Patch) -> Iterator[tuple[dict[str, Any], int, str]]:
    """Changes of a box that may mend it: its keys, how many starts are pinned by them, and the remedy in words."""
    starts = patch.boxes[box.name]
    pinned = [start for start in starts if start.chain.key in box.pins]
    free = [start for start in starts if start.chain.key not in box.pins]
    if not pinned or not free:
        return
    first = min(start.universe for start in pinned)
    if box.first_universe is None:
        yield {"first_universe": first}, 0, f"write first_universe = {first} in [controller.{box.name}]"
    behind = max(start.universes.stop for start in pinned)
    length = sum(_universes(start.chain) for start in free)
    for begin in (behind, first - length):
        if begin < 1:
            continue
        pins = dict(_pins(free, begin))
        lines = ", ".join(f'{key} = "{at}"' for key, at in pins.items())
        yield (
            {"start": box.start | pins},
            len(pins),
            f"pin its other starts too: {lines} in [controller.{box.name}.start]",
        )


def _universes(chain: Chain) -> int:
    """How many universes a chain takes from channel 1 of one."""
    return -(-chain.end(0) // CHANNELS)


def _pins(starts: Sequence[Start], first: int) -> Iterator[tuple[str, str]]:
    """Pins of some starts, each on channel 1 of a universe, one behind the other from a universe on."""
    for start in starts:
        yield start.chain.key, f"{first}/1"
        first += _universes(start.chain)
