"""The show file changed to what hangs, and the proof of it, before a letter is written.

Two worlds are held against each other pixel by pixel: the wire as built, fed by boxes that are set as the changed show
says; and the changed show as planned. Where what is wrong is in a box, that box is left as it is set.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.errors import PatcherError
from patcher.faults import DARK, Fault, Planned, departure, planned
from patcher.faults.fault import OF_BOX
from patcher.patch.changes import changed_boxes, misfits, moved_runs, setting_changes, settings
from patcher.patch.patch import Patch
from patcher.placement.allocation import allocate
from patcher.remedies.plan_edits import NUMBERS, cannot, changed
from patcher.shapes import lattice, pixels_at
from patcher.show.parser import read
from patcher.show.run_tables import PathRun, PlainRun, PointsRun, Run
from patcher.show.schema import Show
from patcher.show.text_edits import edited
from patcher.wiring import Wiring, problems, wire

MISFIT = "some pixel would then get other data than it takes"
IN_A_BOX = "it cannot describe this fault. Correct the number in the box"
SECONDS = 2.0
"""To search for the changed show's patch."""


@dataclass(frozen=True, eq=False)
class Rewritten:
    """A show file changed so that faults are none, and read back.

    Attributes:
        old: the text that it was.
        text: the text that it is.
        wiring: the wiring that it now says.
        patch: what its boxes are then set to: as few of them change as can be.
        lines: the edits, in words, by the numbers of the lines in the old text.
        boxes: the boxes to type anew: another start, count, colour order or number of null pixels. None where what is
            wrong is in a box: then the file says what is typed there.
        ports: those of the boxes whose list of what to change says nothing: only what each run has differs, which
            `patch` prints.
        moved: the runs whose channels are others then, which the player must be told.
        counted: feeds that join a run by its pixels' numbers, where those now count from elsewhere.
    """

    old: str
    text: str
    wiring: Wiring
    patch: Patch
    lines: tuple[str, ...]
    boxes: tuple[str, ...]
    ports: tuple[str, ...]
    moved: tuple[str, ...]
    counted: tuple[str, ...]


def rewritten(text: str, plan: Planned, faults: Sequence[Fault]) -> Rewritten:
    """The show file changed so that faults are none: what hangs is what it plans.

    Args:
        text: the show file's text.
        plan: the wiring and the patch that it says.
        faults: what differs from them, together.

    Raises:
        PatcherError: no edit can say it, or not in the form in which this file is written; the reason is in it.
    """
    show = plan.wiring.show
    after = changed(show, plan.patch, faults)
    new = edited(text, show, after, "no longer hangs")
    wiring = _read_back(new, after, faults[0])
    try:
        patch = allocate(wiring, plan.patch, seconds=SECONDS).patch
    except PatcherError as error:
        raise cannot(faults[0], f"{error.findings[0].where} {error.findings[0].says}") from None
    said = planned(wiring, patch)
    if misfits(patch, wiring) or not holds(plan, faults, said):
        raise cannot(faults[0], IN_A_BOX if all(fault.kind in NUMBERS for fault in faults) else MISFIT)
    in_box = any(fault.kind in OF_BOX for fault in faults)
    moved = tuple(moved_runs(plan.patch, patch))
    boxes = () if in_box else _to_type(plan, said)
    changes = setting_changes(settings(plan.patch, show), settings(patch, wiring.show))
    listed = {change.controller for change in changes}
    ports = tuple(box for box in boxes if box not in listed)
    return Rewritten(text, new, wiring, patch, edits(text, new), boxes, ports, moved, _counted(show, after))


def edits(old: str, new: str) -> tuple[str, ...]:
    """What to do to the lines of a text by hand, by the numbers that they have before any of it is done.

    A table that is put in begins with its heading.
    """
    before, after = (text.replace("\r\n", "\n").split("\n") for text in (old, new))
    found: list[str] = []
    for kind, at, end, first, last in difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        while kind == "insert" and last < len(after) and after[first] == after[last] and after[first].strip():
            at, end, first, last = at + 1, end + 1, first + 1, last + 1
        if kind != "equal":
            found += _edit(at, end, [line.strip() for line in after[first:last]])
    return tuple(found)


def _edit(at: int, end: int, lines: Sequence[str]) -> Iterator[str]:
    """What to do so that other lines stand in place of those from `at` on, from 0, up to before `end`."""
    same = min(end - at, len(lines))
    yield from (f"line {at + row}: {line}" for row, line in enumerate(lines[:same], start=1))
    if end > at + same:
        yield f"take out line {at + same + 1}" + f" to {end}" * (end > at + same + 1)
    if more := [line for line in lines[same:] if line]:
        yield f"after line {end}, put in:" if same else f"before line {at + 1}, put in:"
        yield from (f"  {line}" for line in more)


def _read_back(text: str, after: Show, fault: Fault) -> Wiring:
    """The wiring of a text, if it says what it should."""
    points = {
        run.file: [list(at) for at in run.at] for run in after.runs.values() if isinstance(run, PointsRun) and run.file
    }
    reading = read(text, lambda name: points[name])
    if reading.show is None or not _same(reading.show, after):
        raise cannot(fault, "the file is written in a way that cannot be changed here; give each table its own heading")
    wiring = wire(reading.show)
    for finding in (*reading.findings, *problems(wiring)):
        raise cannot(fault, f"{finding.where} then {finding.says}")
    return wiring


def _same(one: Show, other: Show) -> bool:
    """Whether two shows say the same, but for lengths, which a file in feet gives with other roundings."""
    return _without_lengths(one) == _without_lengths(other)


def _without_lengths(show: Show) -> dict[str, object]:
    of_runs = {name: run.model_dump(exclude={"lead", "at", "path", "corners"}) for name, run in show.runs.items()}
    boxes = {name: box.model_dump(exclude={"at"}) for name, box in show.controllers.items()}
    kinds = {name: kind.model_dump(exclude={"pitch"}) for name, kind in show.pixel_types.items()}
    taps = {name: [(tap.run, tap.pixel, tap.every) for tap in feed.taps] for name, feed in show.feeds.items()}
    return {"runs": of_runs, "boxes": boxes, "kinds": kinds, "taps": taps}


def holds(before: Planned, faults: Sequence[Fault], after: Planned) -> bool:
    """Whether every pixel takes, as built, what a changed show plans for the same pixel; and whether those that it
    plans no more take nothing for what is wrong on the wire: of a pixel that hangs no file says that it does not.
    """
    built = before.takes | departure(before, faults).takes
    lost = before.takes | departure(before, [fault for fault in faults if fault.kind not in NUMBERS]).takes
    if not any(fault.kind in OF_BOX for fault in faults):
        fed = planned(before.wiring, before.patch, fed_as=after)
        built = fed.takes | departure(fed, faults).takes
    show, now = before.wiring.show, after.wiring.show
    for name, takes in after.takes.items():
        numbers = same_pixels(show, now, name)
        if isinstance(now.runs[name], PlainRun) and len(takes) < len(built[name]):
            numbers = np.flatnonzero((built[name] != DARK).any(axis=1))
        was, letters = show.type_of(show.runs[name]).colour_order, now.type_of(now.runs[name]).colour_order
        columns = [was.index(letter) for letter in letters]
        if len(numbers) != len(takes) or not np.array_equal(built[name][numbers][:, columns], takes):
            return False
        if (np.delete(lost[name], numbers, axis=0) != DARK).any():
            return False
    return True


def same_pixels(before: Show, after: Show, name: str) -> NDArray[np.int64]:
    """For each pixel of a run, as a changed show counts them, its number from 0 as the show counted them before: the
    pixel at the same place.
    """
    was, now = before.runs[name], after.runs[name]
    if (old := lattice(before, was)) is not None and (new := lattice(after, now)) is not None:
        number = {tuple(cell): at for at, cell in enumerate(np.delete(old.cells(), _places(was), axis=0).tolist())}
        cells = np.delete(new.cells(), _places(now), axis=0).tolist()
        return np.array([number[tuple(cell)] for cell in cells], dtype=np.int64)
    if not isinstance(was, PathRun) or not isinstance(now, PathRun):
        return np.arange(now.pixels)
    number_at = np.full(was.places, -1)
    number_at[pixels_at(was)] = np.arange(was.pixels)
    found: NDArray[np.int64] = number_at[pixels_at(now)]
    return found


def _places(run: Run) -> list[int]:
    return [place - 1 for place in run.gap_places]


def _to_type(before: Planned, after: Planned) -> tuple[str, ...]:
    """The boxes whose settings differ, colour orders and null pixels included."""
    boxes = set(changed_boxes(before.patch, after.patch))
    return tuple(
        box for box in after.patch.boxes if box in boxes or _typed_runs(before, box) != _typed_runs(after, box)
    )  # fmt: skip


def _typed_runs(plan: Planned, box: str) -> list[tuple[int, list[tuple[str, int, int]]]]:
    show = plan.wiring.show
    table = show.controllers[box]
    return sorted(
        (port, [(show.type_of(show.runs[run]).colour_order if table.reorders else "", show.runs[run].nulls,
                 show.runs[run].pixels) for run in chain if show.runs[run].hung])
        for port, chain in plan.wiring.of_controller(box).items()
    )  # fmt: skip


def _counted(before: Show, after: Show) -> tuple[str, ...]:
    """The feeds that join by number a run whose pixels are counted from elsewhere."""

    def wired(run: Run) -> dict[str, object]:
        return run.model_dump(include={"data_in", "backwards", "lines", "turns"})

    turned = {name for name, run in after.runs.items() if wired(run) != wired(before.runs[name])}
    return tuple(name for name, feed in after.feeds.items() if any(tap.run in turned for tap in feed.taps))
