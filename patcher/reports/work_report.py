"""What `todo` prints of the season's work: how much is left at each box, one box's list, what was just ticked off."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from patcher.listener.presence import listens_words
from patcher.reports.verify_report import CAUTION
from patcher.season.jobs import STEPS, ByHand, Step
from patcher.season.ticks import Answered
from patcher.season.work_list import BoxWork, last_words, step_words, time_words
from patcher.terminal.folds import fold
from patcher.terminal.printed import count, say_table
from patcher.visible import argument

LAST_SEASON = "last_season"
TICKS: dict[Step, str] = {
    "bench": "--tested", "hang": "--hung", "leads": "--joined", "power": "--powered", "type": "--typed",
    "tell": "--told",
}  # fmt: skip
"""The option that ticks off a step; what is proved is ticked off by `verify`."""
PARTICIPLES: dict[Step, str] = {
    "bench": "tested", "hang": "hung", "leads": "joined", "power": "powered", "type": "typed in",
    "tell": "told to the player",
}  # fmt: skip
MOST_BOXES = 5
"""Boxes of which it is said what is left, after a tick."""
MARKS = {True: "[x]", False: "[ ]"}


def say_boxes(boxes: Sequence[BoxWork], show: Path, gone: Mapping[str, Mapping[Step, float]] | None = None) -> None:
    """Print how many things are left of each step at each box, in the order of a day's work; `gone` are the times of
    last season at boxes that have no work now.
    """
    if not boxes:
        print("No box has a run on it, so there is no work to list.")
        return
    if all(box.done for box in boxes):
        print("All boxes are done: tested, hung, joined, powered, typed in, told and proved.")
        return
    known = any(box.last for box in boxes)
    print("The day’s work: how much is still to do at each box, in this order.")
    rows = [
        [
            box.box, *(_left(box, step) for step in STEPS),
            *([time_words(sum(box.last.values())) if box.last else ""] * known),
        ]
        for box in boxes
    ]  # fmt: skip
    say_table(["box", *STEPS, *[LAST_SEASON] * known], rows, right=" ".join([*STEPS, LAST_SEASON]))
    for name, last in (gone or {}).items():
        print(fold(f"Last season at {name}, where there is no work now: {step_words(last)}."))
    first = next(box.box for box in boxes if not box.done)
    print(f"\nOne box, thing by thing: patcher todo {argument(show)} {first}")


def _left(box: BoxWork, step: Step) -> str:
    if left := len(box.left(step)):
        return str(left)
    return "done" if box.of(step) else "–"


def say_box(box: BoxWork, place: tuple[int, int], show: Path, answered: str) -> None:
    """Print one box's list, thing by thing; `place` says which box of how many it is, `answered` what it told."""
    left = sum(not task.done for task in box.tasks)
    print(f"{box.box} (box {place[0]} of {place[1]}): {left} of {count(len(box.tasks), 'thing')} still to do.")
    print(fold(CAUTION))
    say_table(["", "step", "thing", "what"], [row for step in STEPS for row in _rows(box, step)])
    if answered:
        print(fold(answered))
    if box.last:
        print(fold(f"Last season: {last_words(box)}."))
    for line in _how(box, show):
        print(line if "patcher " in line else fold(line))  # a command is not broken: it is copied


def _rows(box: BoxWork, step: Step) -> list[list[str]]:
    """A row a thing, the step named at the first."""
    return [[MARKS[task.done], "" if at else step, task.thing, task.says] for at, task in enumerate(box.of(step))]


def _how(box: BoxWork, show: Path) -> list[str]:
    """How to tick off what is next, and how to prove what is to be proved."""
    lines = []
    following = next((step for step in STEPS if step in TICKS and box.left(step)), None)
    if following is not None:
        thing = box.left(following)[0].thing
        lines.append(f"Tick it off: patcher todo {argument(show)} {TICKS[following]} {thing}")
        more = f"{box.box} for all of a step; --took MINUTES says how long it took; --undo takes a tick away"
        options = ", ".join(option for step, option in TICKS.items() if step != following and box.left(step))
        lines.append(f"Likewise {options}; {more}." if options else f"{more}.")
    if box.left("prove"):
        lines.append(f"Prove it: patcher verify {argument(show)} {box.box}")
    return lines


def say_done(ticked: Mapping[ByHand, Iterable[str]], boxes: Sequence[BoxWork], show: Path, *, undo: bool) -> None:
    """Print what was ticked off just now, as it was named, and what is then left at the boxes that it was about."""
    each = (f"as {PARTICIPLES[step]}: {', '.join(dict.fromkeys(names))}" for step, names in ticked.items() if names)
    print(fold(f"{'No longer ticked off' if undo else 'Ticked off'} {'; '.join(each)}."))
    if len(boxes) > MOST_BOXES:
        print(f"Still to do at each box: patcher todo {argument(show)}")
        return
    for box in boxes:
        left = [f"{step} {len(box.left(step))}" for step in STEPS if box.left(step)]
        print(fold(f"Still to do at {box.box}: {', '.join(left)}." if left else f"{box.box} is done."))


def answered_words(box: str, answered: Answered | None, universes: Iterable[int]) -> str:
    """What a box said that it listens to, against the plan: `listens to 5, 6 of 5, 6, 7: 7 is missing`."""
    if answered is None:
        return ""
    return f"{answered.when:%Y-%m-%d %H:%M}: {box} {listens_words(answered.port_addresses, universes)}."


def document(boxes: Iterable[BoxWork], answered: Mapping[str, Answered]) -> list[dict[str, Any]]:
    """The season's work, for scripts: box by box in the day's order."""
    return [
        {
            "controller": box.box,
            "tasks": [
                {"step": task.step, "thing": task.thing, "says": task.says, "done": task.done} for task in box.tasks
            ],
            "last_season": [{"step": step, "minutes": minutes} for step, minutes in box.last.items()],
            "port_addresses": list(answered[box.box].port_addresses) if box.box in answered else None,
        }
        for box in boxes
    ]  # fmt: skip
