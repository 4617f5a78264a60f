"""What is in the boxes and what the player knows: what a person has ticked off as done, beside what is planned.

The patch file is the plan. What of it has been typed into a box, or told the player, nobody knows but the person who
did it. What was never ticked off is still to do.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from patcher.errors import choose_from, refuse
from patcher.patch.changes import (
    BoxChange,
    BoxSetting,
    RunChange,
    RunPlace,
    Setting,
    StartChange,
    box_settings,
    place_changes,
    places,
    setting_changes,
    settings,
)
from patcher.patch.patch import Patch
from patcher.patch.thing import split
from patcher.wiring import Wiring

ALL = "all"
OWN = ""
"""What stands for a box's own setting among its starts."""
_Held = TypeVar("_Held", Setting, RunPlace)


@dataclass(frozen=True)
class Entered:
    """What was ticked off.

    Attributes:
        boxes: of each box the settings that are in it: start → setting.
        player: what the player was told: run → its addresses.
        own: of each box its own setting. Of one that was ticked off before they were kept, nothing is known.
    """

    boxes: Mapping[str, Mapping[str, Setting]] = field(default_factory=dict)
    player: Mapping[str, RunPlace] = field(default_factory=dict)
    own: Mapping[str, BoxSetting] = field(default_factory=dict)

    @property
    def nothing(self) -> bool:
        """Whether nothing was ever ticked off."""
        return not self.boxes and not self.player and not self.own


NOTHING = Entered()
"""Nothing was ever ticked off."""


@dataclass(frozen=True)
class Todo:
    """What is still to type into the boxes, and still to tell the player."""

    starts: tuple[StartChange, ...]
    runs: tuple[RunChange, ...]
    boxes: tuple[BoxChange, ...]

    @property
    def to_type(self) -> bool:
        """Whether anything is still to type into a box."""
        return bool(self.starts or self.boxes)


def todo(entered: Entered, wiring: Wiring, patch: Patch) -> Todo:
    """What is planned and not ticked off. Of a box that feeds nothing, nothing is to type.

    Of a box whose own setting was never kept, since an older Patcher ticked it off, nothing is asked anew.
    """
    planned = settings(patch, wiring.show)
    before = {box: entered.boxes.get(box, {}) for box in planned}
    boxes = tuple(
        BoxChange(box, held, wanted)
        for box, wanted in box_settings(patch, wiring.show).items()
        if (held := entered.own.get(box)) is None or held.known_differs(wanted)
    )
    return Todo(tuple(setting_changes(before, planned)), tuple(place_changes(entered.player, places(patch))), boxes)


def named_starts(names: Iterable[str], entered: Entered, wiring: Wiring, patch: Patch) -> list[tuple[str, str]]:
    """The starts that are meant by boxes, by starts as they are named everywhere, or by `all`: box and start of each.

    A box is all its starts and its own setting, which has `OWN` for its start.

    Raises:
        PatcherError: a name is no box and no start, neither of the plan nor of what was ticked off.
    """
    planned = settings(patch, wiring.show)
    known = {
        box: [OWN, *{**entered.boxes.get(box, {}), **planned.get(box, {})}]
        for box in dict.fromkeys([*planned, *entered.boxes, *entered.own])
    }
    every = [(box, start) for box, starts in known.items() for start in starts]
    found: list[tuple[str, str]] = []
    for name in names:
        _, box_name = split(name, ("controller",))
        if name == ALL:
            found += every
        elif box_name in known:
            found += [(box, start) for box, start in every if box == box_name]
        elif chosen := [(box, start) for box, start in every if start == box_name != OWN]:
            found += chosen
        else:
            remedy = choose_from(name, [*known, *(start for _, start in every if start != OWN)])
            raise refuse(name, "is not a box, and not a start address of one", remedy)
    return list(dict.fromkeys(found))


def typed(entered: Entered, wiring: Wiring, patch: Patch, starts: Iterable[tuple[str, str]]) -> Entered:
    """What is ticked off once these starts are typed in as planned, or gone where none is planned."""
    planned, boxes = settings(patch, wiring.show), dict(entered.boxes)
    wanted, own = box_settings(patch, wiring.show), dict(entered.own)
    for box, start in starts:
        if start != OWN:
            boxes[box] = _ticked(boxes.get(box, {}), planned.get(box, {}), start)
        elif box in wanted:
            own[box] = wanted[box]
        else:
            own.pop(box, None)
    return Entered({box: held for box, held in boxes.items() if held}, entered.player, own)


def _ticked(held: Mapping[str, _Held], planned: Mapping[str, _Held], name: str) -> dict[str, _Held]:
    """What is held once a thing is as planned, or gone where it is not planned."""
    wanted = planned.get(name)
    # What has another name, holds the very same, and is planned no more, is this: it was renamed.
    others = {other: was for other, was in held.items() if other != name and (was != wanted or other in planned)}
    return others if wanted is None else others | {name: wanted}


def untyped(entered: Entered, starts: Iterable[tuple[str, str]]) -> Entered:
    """What is ticked off when these starts are not typed in after all."""
    gone = set(starts)
    boxes = {
        box: {start: held for start, held in inside.items() if (box, start) not in gone}
        for box, inside in entered.boxes.items()
    }
    own = {box: held for box, held in entered.own.items() if (box, OWN) not in gone}
    return Entered({box: held for box, held in boxes.items() if held}, entered.player, own)


def named_runs(names: Iterable[str], entered: Entered, wiring: Wiring, patch: Patch) -> list[str]:
    """The runs that are meant by runs, by props, or by `all`; PatcherError where a name is none that a player knows."""
    known = [*places(patch), *(run for run in entered.player if not patch.has(run))]
    props = wiring.show.prop_runs()
    found: list[str] = []
    for name in names:
        kinds, plain = split(name, ("run", "prop"))
        if name == ALL:
            found += known
        elif "run" in kinds and plain in known:
            found.append(plain)
        elif "prop" in kinds and plain in props:
            found += [run for run in props[plain] if run in known]
        else:
            raise refuse(name, "is not a run that the player is told of", choose_from(name, [*known, *props]))
    return list(dict.fromkeys(found))


def told(entered: Entered, patch: Patch, runs: Iterable[str]) -> Entered:
    """What is ticked off once the player was told of these runs as planned, or to forget them where none is planned."""
    planned, player = places(patch), entered.player
    for run in runs:
        player = _ticked(player, planned, run)
    return Entered(entered.boxes, player, entered.own)


def untold(entered: Entered, runs: Iterable[str]) -> Entered:
    """What is ticked off when the player was not told of these runs after all."""
    gone = set(runs)
    return Entered(entered.boxes, {run: place for run, place in entered.player.items() if run not in gone}, entered.own)
