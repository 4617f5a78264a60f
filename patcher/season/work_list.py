"""The season's list: all that is to be done and all that is done, box by box, in the order of a day's work."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from patcher.patch import entered as typed_in
from patcher.patch.changes import StartChange, box_settings
from patcher.patch.entered import Entered, Todo
from patcher.patch.patch import Patch, written
from patcher.season.jobs import STEPS, Job, Plan, Step, jobs
from patcher.season.ticks import Ticks
from patcher.sheets.day_list import DayBox, DayRow
from patcher.sheets.patch_tables import OWN_SETTING, own_change, own_words, to_type
from patcher.walk.box_order import places_of_boxes, shortest
from patcher.walk.items import WHAT_WORDS, Item, digests, items
from patcher.walk.progress import by_box
from patcher.walk.record import Record, State, states
from patcher.wiring import Wiring


class Task(NamedTuple):
    """One thing of the list.

    Attributes:
        step: which step of its box's work.
        thing: what it is about, as it is named where it is ticked off.
        says: what to do, or what it is, in words.
        done: whether it is ticked off, or proved, for what the plan now asks for.
        key: what stands for it where a page ticks it off; empty where a page cannot.
    """

    step: Step
    thing: str
    says: str
    done: bool
    key: str = ""


@dataclass(frozen=True)
class BoxWork:
    """The work of one box.

    Attributes:
        box: its name.
        tasks: all of it, in the day's order.
        last: minutes that steps took last season, where that is known.
    """

    box: str
    tasks: tuple[Task, ...]
    last: Mapping[Step, float] = field(default_factory=dict)

    def of(self, step: Step) -> list[Task]:
        """The things of one step."""
        return [task for task in self.tasks if task.step == step]

    def left(self, step: Step) -> list[Task]:
        """The things of one step that are still to do."""
        return [task for task in self.tasks if task.step == step and not task.done]

    @property
    def done(self) -> bool:
        """Whether nothing of it is left to do."""
        return all(task.done for task in self.tasks)


@dataclass(frozen=True)
class Kept:
    """What is kept beside a show: what was typed in and told, what hands have done, what was proved."""

    entered: Entered
    ticks: Ticks
    record: Record


def work(wiring: Wiring, patch: Patch, kept: Kept) -> tuple[BoxWork, ...]:
    """All boxes' work, in the order of a short way from box to box."""
    boxes = list(patch.boxes)
    by_hand: dict[str, list[tuple[Job, Plan]]] = {box: [] for box in boxes}
    for job, plan in jobs(wiring).items():
        by_hand.setdefault(plan.box, []).append((job, plan))
    boxes += [box for box in by_hand if box not in boxes]
    left = typed_in.todo(kept.entered, wiring, patch)
    wanted = digests(wiring, patch, items(wiring))
    proofs, shown = by_box(wanted, wiring), states(kept.record, wanted)
    last = kept.ticks.last_season
    return tuple(
        BoxWork(
            box,
            (
                *_by_hand(by_hand[box], kept.ticks), *_type(box, left, kept, wiring, patch),
                *_tell(box, left, patch), *_prove(proofs.get(box, ()), shown),
            ),
            {step: minutes for (where, step), minutes in last.items() if where == box},
        )
        for box in _on_the_way(wiring, boxes)
    )  # fmt: skip


def _on_the_way(wiring: Wiring, boxes: Sequence[str]) -> list[str]:
    """Boxes in the order in which the walk-through comes to them; a box that feeds nothing comes last."""
    feeding = [box for box in boxes if wiring.of_controller(box)]
    order = shortest(places_of_boxes(wiring, feeding))
    return [feeding[number] for number in order] + [box for box in boxes if box not in feeding]


def _by_hand(planned: Iterable[tuple[Job, Plan]], ticks: Ticks) -> Iterator[Task]:
    for job, plan in planned:
        key = f"{job.step} {job.kind} {job.name}"
        yield Task(job.step, job.name, plan.says, ticks.is_done(job, plan), key)


def _type(box: str, left: Todo, kept: Kept, wiring: Wiring, patch: Patch) -> Iterator[Task]:
    """A box's own setting, each of its starts, and those that go."""
    if box not in patch.boxes:
        return
    own = next((change for change in left.boxes if change.controller == box), None)
    setting = own_words(box_settings(patch, wiring.show).get(box)) if own is None else own_change(own)
    yield Task("type", box, f"{OWN_SETTING}: {setting}" if own is None else setting, own is None, f"{box} ")
    changes = {change.name: change for change in left.starts if change.controller == box}
    planned = {start.chain.name: start for start in patch.boxes[box]}
    for name in [*planned, *(name for name in changes if name not in planned)]:
        change = changes.get(name)
        says = planned[name].address if change is None else _change_words(change)
        yield Task("type", name, says, change is None, f"{box} {name}")


def _change_words(change: StartChange) -> str:
    """`1/1 → 11/1; pixels 166 → 197, nulls 0, colours RGB`."""
    ((_, _, now, then, pixels, nulls, colours),) = to_type([change]).rows
    if change.new is None:
        return f"{now}: take it out"
    what = {"same": f"{now} stays"}.get(str(then), f"{now} → {then}" if change.old else str(then))
    return f"{what}; pixels {pixels}, nulls {nulls}, colours {colours}"


def _tell(box: str, left: Todo, patch: Patch) -> Iterator[Task]:
    waiting = set(left.to_tell)
    for start in patch.boxes.get(box, ()):
        for link, (universe, channel) in ((link, written(at)) for link, at in start.placed()):
            says = f"{universe}/{channel}, {link.pixels} pixels"
            yield Task("tell", link.run, says, link.run not in waiting, link.run)


def _prove(wanted: Iterable[Item], shown: Mapping[Item, State]) -> Iterator[Task]:
    """What there is to prove of each thing; of one that is not proved, only what is open or failed."""
    things: dict[str, list[Item]] = {}
    for item in wanted:
        things.setdefault(item.thing, []).append(item)
    for thing, own in things.items():
        open_items = [item for item in own if shown[item] != "proved"]
        says = (WHAT_WORDS[item.what] + " (failed)" * (shown[item] == "failed") for item in open_items or own)
        yield Task("prove", thing, ", ".join(says), not open_items)


def time_words(minutes: float) -> str:
    """A time as a person says it: `40 min`, `1 h 5 min`."""
    hours, rest = divmod(round(minutes), 60)
    return " ".join([f"{hours} h"] * bool(hours) + [f"{rest} min"] * bool(rest or not hours))


def last_words(box: BoxWork) -> str:
    """How long the steps of a box took last season: `hang 40 min, prove 1 h 5 min`."""
    return step_words(box.last)


def step_words(last: Mapping[Step, float]) -> str:
    """Steps with their times, in the day's order: `hang 40 min, prove 1 h 5 min`."""
    return ", ".join(f"{step} {time_words(last[step])}" for step in STEPS if step in last)


def elsewhere(ticks: Ticks, boxes: Iterable[BoxWork]) -> dict[str, dict[Step, float]]:
    """Minutes that steps took last season at boxes that have no work now: replaced by a spare, renamed, or gone."""
    here = {box.box for box in boxes}
    gone: dict[str, dict[Step, float]] = {}
    for (box, step), minutes in ticks.last_season.items():
        if box not in here:
            gone.setdefault(box, {})[step] = minutes
    return gone


def on_paper(boxes: Iterable[BoxWork]) -> tuple[DayBox, ...]:
    """The same for paper: of each box what is left."""
    return tuple(
        DayBox(
            box.box,
            tuple(DayRow(task.step, task.thing, task.says) for step in STEPS for task in box.left(step)),
            ", ".join(f"{step} {done}" for step in STEPS if (done := len(box.of(step)) - len(box.left(step)))),
            last_words(box),
        )
        for box in boxes
    )
