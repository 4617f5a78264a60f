"""The list of what is still to type into the boxes and to tell the player, as a page shows it and ticks it off."""

from __future__ import annotations

from typing import Any

from patcher.errors import refuse
from patcher.patch import entered
from patcher.patch.patch_file import change_entered, read_entered
from patcher.phone.content import Content
from patcher.phone.state import Act
from patcher.sheets.patch_tables import OWN_SETTING, own_change, to_tell, to_type, typed_notes


def left(plan: Content) -> dict[str, list[dict[str, Any]]]:
    """What is still to do: of each thing its key in an act, and its words."""
    todo = entered.todo(read_entered(plan.path, practice=plan.practice), plan.wiring, plan.patch)
    starts, runs = to_type(todo.starts), to_tell(todo.runs)
    return {
        "to_type": [
            {
                "thing": f"{change.controller} {entered.OWN}", "name": f"{change.controller}: {OWN_SETTING}",
                "says": f"type in {own_change(change)}; tell the player too",
            }
            for change in todo.boxes
        ] + [
            {
                "thing": f"{box} {start}", "name": start,
                "says": "; ".join([
                    f"in the box: {now}; {_do('type in', then)}; pixels {pixels}, nulls {nulls}, colours {colours}",
                    *typed_notes(plan.wiring, plan.patch.starts_named(str(box), {start})),
                ]),
            }
            for box, start, now, then, pixels, nulls, colours in starts.rows
        ],
        "to_tell": [
            {"thing": run, "name": run, "says": f"the player has: {now}; {_do('give it', then)}; pixels {pixels}"}
            for run, now, then, pixels in runs.rows
        ],
    }  # fmt: skip


def _do(verb: str, then: object) -> str:
    """What to do about a start address."""
    return {"same": "that stays", "none": "take it out"}.get(str(then), f"{verb} {then}")


def tick(plan: Content, act: Act) -> None:
    """Tick one thing off, or take its tick away.

    Raises:
        PatcherError: there is no such thing, or it cannot be kept.
    """
    held, yes = read_entered(plan.path, practice=plan.practice), act.text == "yes"
    if act.do == "told":
        runs = entered.named_runs([act.thing], held, plan.wiring, plan.patch)
        change_entered(
            plan.path,
            lambda now: entered.told(now, plan.patch, runs) if yes else entered.untold(now, runs),
            practice=plan.practice,
        )
        return
    box, space, start = act.thing.partition(" ")
    if not space or (box, start) not in entered.named_starts([entered.ALL], held, plan.wiring, plan.patch):
        raise refuse(act.thing, "is not a start of any box", "open this page again")
    change_entered(
        plan.path,
        lambda now: (
            entered.typed(now, plan.wiring, plan.patch, [(box, start)]) if yes else entered.untyped(now, [(box, start)])
        ),
        practice=plan.practice,
    )
