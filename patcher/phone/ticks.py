"""The list of what is still to do, as a page shows it and ticks it off: by hand, typed in, told to the player."""

from __future__ import annotations

from typing import Any

from patcher.errors import refuse
from patcher.patch import entered
from patcher.patch.patch_file import change_entered, read_entered
from patcher.phone.content import Content
from patcher.phone.state import Act
from patcher.season.jobs import BY_HAND, ByHand, jobs
from patcher.season.ticks_file import change_ticks, read_ticks
from patcher.season.work_list import Kept, last_words, work
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
from patcher.walk.record_file import local_time, read_record

WORDS: dict[ByHand, str] = {
    "bench": "Test", "hang": "Hang", "leads": "Join the lead of", "power": "Power:",
}  # fmt: skip
"""What the page says is to be done."""


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


def by_hand(plan: Content) -> list[dict[str, Any]]:
    """What hands are still to do, box by box in the order of a day's work, and how long it took last season."""
    kept = Kept(
        read_entered(plan.path, practice=plan.practice), read_ticks(plan.path, practice=plan.practice),
        read_record(plan.path, practice=plan.practice),
    )  # fmt: skip
    return [
        {
            "box": box.box, "last": last_words(box),
            "rows": [
                {"thing": task.key, "name": f"{WORDS[step]} {task.thing}", "says": task.says}
                for step in BY_HAND for task in box.left(step)
            ],
        }
        for box in work(plan.wiring, plan.patch, kept)
    ]  # fmt: skip


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
    if act.do == "done":
        _tick_job(plan, act)
        return
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


def _tick_job(plan: Content, act: Act) -> None:
    """Tick a job of the hands off, or take its tick away."""
    planned = {f"{job.step} {job.kind} {job.name}": (job, held) for job, held in jobs(plan.wiring).items()}
    if act.thing not in planned:
        raise refuse(act.thing, "is nothing that is to be done", "open this page again")
    job, asked = planned[act.thing]
    now = local_time()
    change_ticks(
        plan.path,
        lambda kept: kept.ticked({job: asked}, now) if act.text == "yes" else kept.unticked([job]),
        practice=plan.practice,
    )
