"""What `todo`, `diff` and `patch` print of changes: settings to change in the boxes, addresses to tell the player."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from itertools import groupby
from pathlib import Path
from typing import Any

from patcher.errors import first_few
from patcher.patch.changes import BoxChange, RunChange, Setting, StartChange
from patcher.patch.entered import Todo
from patcher.patch.patch import Patch, Start
from patcher.sheets import patch_tables
from patcher.terminal.printed import count, say_table
from patcher.visible import argument
from patcher.wiring import Wiring


def say_ticked(typed: Iterable[str], told: Iterable[str], *, undo: bool) -> None:
    """Print which things were ticked off just now, or whose ticks were taken away, as they were named."""
    named = {"typed in": ", ".join(dict.fromkeys(typed)), "told to the player": ", ".join(dict.fromkeys(told))}
    parts = [f"as {what}: {things}" for what, things in named.items() if things]
    print(f"{'No longer ticked off' if undo else 'Ticked off'} {'; '.join(parts)}.")


def say_notes(wiring: Wiring, starts: Iterable[Start]) -> None:
    """Print what the table above, of starts of one box, cannot say."""
    for words in patch_tables.typed_notes(wiring, starts):
        print(f"  {words}")


def say(wiring: Wiring, patch: Patch, left: Todo, show: Path, *, hint: bool) -> None:
    """Print all that is still to do; `hint` says how to tick it off."""
    if not left.to_type and not left.to_tell:
        print("Nothing to type in or to tell: all settings are in the boxes, and the player knows all addresses.")
        return
    if left.to_type:
        print("Settings to change in the boxes:")
        say_settings(wiring, patch, left.starts, own=left.boxes)
    if left.to_tell:
        print("\nTo tell the player:" if left.to_type else "To tell the player:")
        say_told(left.runs)
        lines = [patch_tables.send_words(change) for change in left.sent]
        lines += [f"{patch_tables.IN_ITS_DRAWING}: {patch_tables.draw_words(change)}" for change in left.drawn]
        for line in lines:
            print(f"{'- ' * bool(left.runs)}{line}")
    if hint:
        print(f"\nTick off what is done: patcher todo {argument(show)} --typed BOX, or --told RUN")


def say_settings(
    wiring: Wiring,
    patch: Patch,
    changes: Sequence[StartChange],
    before: str = patch_tables.IN_THE_BOX,
    *,
    own: Sequence[BoxChange] = (),
) -> None:
    """Print the settings to change, box by box; they are those of a patch. `before` heads what they were; `own` are
    those of whole boxes.
    """
    table = patch_tables.to_type(changes, before)
    starts = {name: [row[1:] for row in rows] for name, rows in groupby(table.rows, key=lambda row: str(row[0]))}
    whole = {change.controller: f" {patch_tables.own_change(change)}" for change in own}
    for name in [
        *(box for box in patch.boxes if box in whole or box in starts),
        *(box for box in starts if box not in patch.boxes),
    ]:
        gone = "" if name in wiring.show.controllers else ", no longer in the show"
        print(f"{name}{gone}:{whole.get(name, '')}")
        if changed := starts.get(name):
            say_table(table.heads[1:], changed)
            say_notes(wiring, patch.starts_named(name, {row[0] for row in changed}))


def say_told(changes: Sequence[RunChange], before: str = patch_tables.PLAYER_HAS) -> None:
    """Print what to tell the player, run by run. `before` heads the addresses of before."""
    table = patch_tables.to_tell(changes, before)
    if changes:
        say_table(table.heads, table.rows)


def say_besides(left: Todo, listed: Sequence[StartChange]) -> None:
    """Print what differs from what was ticked off and no patch file tells: settings, how universes are sent, and
    where runs begin. `listed` are said already.

    What was never ticked off is not known, so nobody can say whether it has changed: then that is said.
    """
    said = {(change.controller, change.name) for change in listed if len(set(_nulls(change))) > 1}
    words = [f"{change.controller} {patch_tables.own_change(change)}" for change in left.boxes if change.old]
    words += [
        f"{change.name} {', '.join(parts)}"
        for change in left.starts
        if (parts := _besides(change, nulls=(change.controller, change.name) not in said))
    ]
    if words:
        print(f"Settings to type: {'; '.join(words)}.")
    if sent := [patch_tables.send_words(change) for change in left.sent if change.old]:
        print(f"To tell the player: {'; '.join(sent)}.")
    for drawn in left.drawn:
        print(f"In the player, {patch_tables.IN_ITS_DRAWING}: {patch_tables.draw_words(drawn)}.")
    new = {(change.controller, change.name) for change in listed if change.old is None}
    unknown = [each for each in left.starts if each.old is None and (each.controller, each.name) not in new]
    if boxes := list(dict.fromkeys(change.controller for change in unknown)):
        print(f"Colours and nulls not compared, for they are not ticked off as typed in: {first_few(boxes, 6)}.")


def _nulls(change: StartChange) -> list[tuple[object, ...]]:
    """The nulls before and after, all of them and those of each port."""
    both = [setting for setting in (change.old, change.new) if setting]
    return [(setting.nulls, *((port.port, port.nulls) for port in setting.ports or ())) for setting in both]


def _besides(change: StartChange, *, nulls: bool) -> list[str]:
    """What of a start's setting no patch file tells, before and after, where it differs."""
    old, new = change.old, change.new
    if old is None or new is None:
        return []
    found = _nulls_besides(old, new) if nulls else []
    if old.colours and old.colours != new.colours:
        found.append(f"colours {old.colours} → {new.colours}")
    return found


def _nulls_besides(old: Setting, new: Setting) -> list[str]:
    """The nulls of a start, before and after, where they differ: of each port where it covers several."""
    parts = [("nulls", old.nulls, new.nulls)]
    if len(old.ports or ()) > 1 and len(new.ports or ()) > 1:
        before = {port.port: port.nulls for port in old.ports or ()}
        parts = [(f"nulls of port {port.port}", before.get(port.port, 0), port.nulls) for port in new.ports or ()]
    return [f"{name} {was} → {then}" for name, was, then in parts if was != then]


def say_left(show: Path, left: Todo) -> None:
    """Print, where anything is still to do, for which boxes, and where the list is."""
    boxes = dict.fromkeys([*(one.controller for one in left.boxes), *(one.controller for one in left.starts)])
    parts = [f"Not typed in yet: {', '.join(boxes)}."] * bool(boxes)
    parts += [f"Not told to the player yet: {count(len(left.to_tell), 'run')}."] * bool(left.to_tell)
    if parts:
        print(" ".join(parts))
        print(f"The list, to tick off what is done: patcher todo {argument(show)}")


def setting_json(change: StartChange) -> dict[str, Any]:
    """A setting to change, for scripts."""

    def of(setting: Setting | None) -> dict[str, Any] | None:
        if setting is None:
            return None
        ports = None if setting.ports is None else [port._asdict() for port in setting.ports]
        return {key: value for key, value in asdict(setting).items() if key != "port"} | {"ports": ports}

    return {"controller": change.controller, "start": change.name, "old": of(change.old), "new": of(change.new)}


def document(left: Todo) -> dict[str, Any]:
    """What is still to do, for scripts."""
    return {
        "to_type": [setting_json(change) for change in left.starts],
        "to_tell": [asdict(change) for change in left.runs],
        "own_settings": [asdict(change) for change in left.boxes],
        "to_send": [asdict(change) for change in left.sent],
        "to_draw": [asdict(change) for change in left.drawn],
    }
