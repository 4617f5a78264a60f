"""What `yard` prints: where its boxes listen, which packets they took, and which pixels were lit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from patcher.show.schema import Show
from patcher.terminal.folds import fold
from patcher.terminal.printed import count
from patcher.yard.network_trouble import Trouble
from patcher.yard.simulated_box import NOT_ITS_UNIVERSE, WHY_NOT_ITS
from patcher.yard.yard import Yard, snapshot


def listens(yard: Yard, show: Show, box: str, hosts: Mapping[str, str]) -> str:
    """Where a box listens, in words."""
    if not yard.universes[box]:
        return f"{box} is dead, and listens on nothing"
    groups = show.controllers[box].delivery == "multicast"
    return f"{box} listens on {'its multicast groups' if groups else hosts[box]}"


def say(yard: Yard, groups: int, trouble: Trouble | None) -> None:
    """Print what came and what was lit; `groups` is how many there was no room to join."""
    print(f"{count(yard.ever_lit(), 'pixel')} lit at some time, {yard.lit()} lit at the end.")
    for name, box in yard.boxes.items():
        print(
            f"  {name}: " + (", ".join(f"{count(n, 'packet')} {what}" for what, n in box.counts.items()) or "no packet")
        )
    if any(NOT_ITS_UNIVERSE in box.counts for box in yard.boxes.values()):
        print(fold(WHY_NOT_ITS))
    if groups:
        print(f"Not listened on: {count(groups, 'more group')} of synchronization addresses.")
    if trouble is not None and trouble.too_many:
        print(f"{count(trouble.too_many, 'packet')} lost: too many were delayed at once.")


def document(
    yard: Yard, hosts: Mapping[str, str], seconds: float, groups: int, trouble: Trouble | None
) -> dict[str, Any]:
    """The same for scripts, with every pixel that was ever lit and its colours."""

    def colours(run: str, values: dict[tuple[int, ...], None]) -> list[dict[str, int]]:
        return [dict(zip(yard.letters[run], value, strict=True)) for value in values]

    now, seen = snapshot(yard), yard.seen
    return {
        "seconds": round(seconds, 3),
        "boxes": [
            box | {"address": hosts[box["controller"]], "protocol": yard.boxes[box["controller"]].protocol}
            for box in now["boxes"]
        ],
        "lamps": [
            {"run": run, "pixel": pixel, "colours": colours(run, values)}
            for (run, pixel), values in sorted(seen.items())
        ],
        "order": [f"{run}/{pixel}" for run, pixel in seen],
        "runs": now["runs"],
        "left_out": {"groups": groups, "under_way": trouble.too_many if trouble else 0},
    }
