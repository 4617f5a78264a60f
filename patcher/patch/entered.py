"""What is in the boxes and what the player knows: what a person has ticked off as done, beside what is planned.

The patch file is the plan. What of it has been typed into a box, or told the player, nobody knows but the person who
did it. What was never ticked off is still to do.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
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
from patcher.patch.player import (
    MULTICAST,
    DrawChange,
    Drawing,
    SendChange,
    Sending,
    draw_changes,
    drawing,
    send_changes,
    sendings,
)
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
        sent: how the player was told to send each run. One that was ticked off before this was kept is missing.
        drawn: where each run began, and which way it went, when the player was told of it. Those without a picture, and
            those that were ticked off before this was kept, are missing.
    """

    boxes: Mapping[str, Mapping[str, Setting]] = field(default_factory=dict)
    player: Mapping[str, RunPlace] = field(default_factory=dict)
    own: Mapping[str, BoxSetting] = field(default_factory=dict)
    sent: Mapping[str, Sending] = field(default_factory=dict)
    drawn: Mapping[str, Drawing] = field(default_factory=dict)

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
    sent: tuple[SendChange, ...] = ()
    drawn: tuple[DrawChange, ...] = ()

    @property
    def to_type(self) -> bool:
        """Whether anything is still to type into a box."""
        return bool(self.starts or self.boxes)

    @property
    def to_tell(self) -> list[str]:
        """The runs of which anything is still to tell the player: addresses, how they are sent, where they begin."""
        return list(dict.fromkeys([
            *(change.run for change in self.runs),
            *(run for change in self.sent for run in change.runs),
            *(change.run for change in self.drawn),
        ]))  # fmt: skip


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
    return Todo(
        tuple(setting_changes(before, planned)), tuple(place_changes(entered.player, places(patch))), boxes,
        tuple(send_changes(entered.player, _sent(entered, wiring, patch), wiring, patch)),
        tuple(draw_changes(entered.player, entered.drawn, wiring, patch)),
    )  # fmt: skip


def _kept(entered: Entered, wiring: Wiring, patch: Patch) -> Entered:
    """The same with what an older Patcher did not keep of the player, as far as it can be told before anything is
    ticked off anew: how it sends each run, and that it draws each as the show file does.
    """
    drawn = dict(entered.drawn)
    for run in entered.player:
        if run not in drawn and patch.has(run) and (how := drawing(wiring, run)) is not None:
            drawn[run] = how
    return replace(entered, sent=_sent(entered, wiring, patch), drawn=drawn)


def _sent(entered: Entered, wiring: Wiring, patch: Patch) -> dict[str, Sending]:
    """How the player was told to send each run.

    Of what was ticked off before this was kept, it is that the player sent it to its box as that was ticked off last:
    nobody knows better, and to ask all of it anew would be false alarm.
    """
    found = dict(entered.sent)
    for run, place in entered.player.items():
        if run not in found and (box := _box_told(run, place, entered, patch)) is not None:
            how = _as_ticked(entered.own[box], box, wiring)
            found |= {run: how} if how else {}
    return found


def _box_told(run: str, place: RunPlace, entered: Entered, patch: Patch) -> str | None:
    """The box that a run hung on when it was told: the one that is planned where it was ticked off, else the only one
    of those that were ticked off that had the run's address; None where nobody knows.
    """
    planned = patch.start_of(run).controller if patch.has(run) else None
    if planned in entered.own:
        return planned
    starts = [
        ((held.universe, held.channel), box)
        for box, inside in entered.boxes.items()
        for held in inside.values()
        if (held.universe, held.channel) <= (place.universe, place.channel)
    ]
    nearest, _ = max(starts, default=((0, 0), ""))
    boxes = {box for at, box in starts if at == nearest} & entered.own.keys()
    return boxes.pop() if len(boxes) == 1 else None


def _as_ticked(held: BoxSetting, box: str, wiring: Wiring) -> Sending | None:
    """How the universes of a box were sent that was set so; None where nobody knows."""
    if held.protocol is None or held.address is None:
        return None
    now = wiring.show.controllers.get(box)
    # Whether it was multicast was not kept: without an address it was, else it is as in the show file.
    multicast = now is not None and now.delivery == MULTICAST and now.protocol == held.protocol
    return Sending(held.protocol, MULTICAST if multicast or not held.address else held.address)


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
    # What the player knows is told by the boxes where it was not kept: so it is kept before they change.
    held = {box: starts for box, starts in boxes.items() if starts}
    return replace(_kept(entered, wiring, patch), boxes=held, own=own)


def _ticked(held: Mapping[str, _Held], planned: Mapping[str, _Held], name: str) -> dict[str, _Held]:
    """What is held once a thing is as planned, or gone where it is not planned."""
    wanted = planned.get(name)
    # What has another name, holds the very same, and is planned no more, is this: it was renamed.
    others = {other: was for other, was in held.items() if other != name and (was != wanted or other in planned)}
    return others if wanted is None else others | {name: wanted}


def untyped(entered: Entered, wiring: Wiring, patch: Patch, starts: Iterable[tuple[str, str]]) -> Entered:
    """What is ticked off when these starts are not typed in after all."""
    gone = set(starts)
    boxes = {
        box: {start: held for start, held in inside.items() if (box, start) not in gone}
        for box, inside in entered.boxes.items()
    }
    own = {box: held for box, held in entered.own.items() if (box, OWN) not in gone}
    held = {box: starts for box, starts in boxes.items() if starts}
    return replace(_kept(entered, wiring, patch), boxes=held, own=own)


def named_runs(names: Iterable[str], entered: Entered, wiring: Wiring, patch: Patch) -> list[str]:
    """The runs that are meant by runs, by props, by boxes, or by `all`; PatcherError where a name is none of them."""
    known = [*places(patch), *(run for run in entered.player if not patch.has(run))]
    props = wiring.show.prop_runs()
    found: list[str] = []
    for name in names:
        kinds, plain = split(name, ("run", "prop", "controller"))
        if name == ALL:
            found += known
        elif "run" in kinds and plain in known:
            found.append(plain)
        elif "prop" in kinds and plain in props:
            found += [run for run in props[plain] if run in known]
        elif "controller" in kinds and plain in patch.boxes:
            found += [link.run for start in patch.boxes[plain] for link in start.chain.links]
        else:
            raise refuse(
                name, "is not a run that the player is told of", choose_from(name, [*known, *props, *patch.boxes])
            )
    return list(dict.fromkeys(found))


def told(entered: Entered, wiring: Wiring, patch: Patch, runs: Iterable[str]) -> Entered:
    """What is ticked off once the player was told of these runs as planned, or to forget them where none is planned."""
    planned, kept, how = places(patch), _kept(entered, wiring, patch), sendings(wiring, patch)
    player, sent, drawn = kept.player, dict(kept.sent), dict(kept.drawn)
    for run in runs:
        player = _ticked(player, planned, run)
        sent |= {run: how[run]} if run in how else {}
        drawn.pop(run, None)
        if run in planned and (begins := drawing(wiring, run)) is not None:
            drawn[run] = begins
    return _of_player(replace(kept, player=player, sent=sent, drawn=drawn))


def untold(entered: Entered, runs: Iterable[str]) -> Entered:
    """What is ticked off when the player was not told of these runs after all."""
    gone = set(runs)
    return _of_player(replace(entered, player={run: at for run, at in entered.player.items() if run not in gone}))


def _of_player(entered: Entered) -> Entered:
    """The same without what is kept of runs that the player does not have."""
    sent = {run: how for run, how in entered.sent.items() if run in entered.player}
    drawn = {run: how for run, how in entered.drawn.items() if run in entered.player}
    return replace(entered, sent=sent, drawn=drawn)
