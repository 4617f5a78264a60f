"""The list of what is still to type into the boxes and to tell the player, as a page shows it and ticks it off."""

from __future__ import annotations

from typing import Any

from patcher.errors import refuse
from patcher.patch import entered
from patcher.patch.patch_file import change_entered, read_entered
from patcher.phone.content import Content
from patcher.phone.state import Act
from patcher.sheets.patch_tables import (
    IN_ITS_DRAWING,
    OWN_SETTING,
    draw_words,
    own_change,
    send_words,
    to_tell,
    to_type,
    typed_notes,
)


def left(plan: Content) -> dict[str, list[dict[str, Any]]]:
    """What is still to do: of each thing its key in an act, and its words."""
    todo = entered.todo(read_entered(plan.path, practice=plan.practice), plan.wiring, plan.patch)
    starts = to_type(todo.starts)
    return {
        "to_type": [
            {
                "thing": f"{change.controller} {entered.OWN}", "name": f"{change.controller}: {OWN_SETTING}",
                "says": f"type in {own_change(change)}",
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
        "to_tell": [{"thing": run, "name": run, "says": "; ".join(says)} for run, says in _to_tell(todo).items()],
    }  # fmt: skip


def _to_tell(todo: entered.Todo) -> dict[str, list[str]]:
    """What the player is to be told of each run: addresses, how its universes are sent, where it begins."""
    found: dict[str, list[str]] = {run: [] for run in todo.to_tell}
    for (_, now, then, pixels), change in zip(to_tell(todo.runs).rows, todo.runs, strict=True):
        found[change.run].append(f"the player has: {now}; {_do('give it', then)}; pixels {pixels}")
    for sent in todo.sent:
        for run in sent.runs:
            found[run].append(send_words(sent))
    for drawn in todo.drawn:
        found[drawn.run].append(f"{IN_ITS_DRAWING}: {draw_words(drawn)}")
    return found


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
            lambda now: entered.told(now, plan.wiring, plan.patch, runs) if yes else entered.untold(now, runs),
            practice=plan.practice,
        )
        return
    box, space, start = act.thing.partition(" ")
    if not space or (box, start) not in entered.named_starts([entered.ALL], held, plan.wiring, plan.patch):
        raise refuse(act.thing, "is not a start of any box", "open this page again")
    change_entered(
        plan.path,
        lambda now: (entered.typed if yes else entered.untyped)(now, plan.wiring, plan.patch, [(box, start)]),
        practice=plan.practice,
    )
