"""What `sheet` prints of the folder that it wrote, and what the walk-through's record adds to the tags."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Literal

from patcher.diagnosis.question_words import ends
from patcher.patch.patch import Patch
from patcher.sheets import folder
from patcher.sheets.contents import ShowSheet
from patcher.sheets.labels import Repairs
from patcher.terminal.folds import on_screen
from patcher.terminal.printed import count, finding_json, in_words
from patcher.visible import argument, one_line
from patcher.walk.items import Item, digests, items
from patcher.walk.record import Record, State, states
from patcher.walk.record_file import read_record
from patcher.wiring import Wiring

MOST_NAMED = 8


def say(contents: ShowSheet, show: Path, out: Path, left_over: list[str]) -> None:
    """Print what was written, what is left over, and the show's errors."""
    tags = f", {count(len(contents.tags), 'tag')}" if contents.tags else ""
    written = f"{count(len(contents.boxes), 'box')}, {count(len(contents.labels), 'label')}{tags}"
    print(f"Wrote {out / 'sheets.html'}: {written}. Open it and print it.")
    beside = f"each box, the labels{', the tags' if tags else ''}, drawings (SVG), tables (CSV, JSON, Markdown)"
    print(f"Beside it: {beside}.")
    if not contents.kept:
        print(f"These addresses are not kept yet: patcher patch {argument(show)}")
    if left_over:
        names = one_line(", ".join(left_over[:MOST_NAMED]))
        print(f"Left over from before, and out of date: {names}{' …' * (len(left_over) > MOST_NAMED)}")
    for finding in contents.findings:
        if finding.severity == "error":
            print(on_screen(in_words(finding)))


def document(contents: ShowSheet, out: Path, files: list[str], left_over: list[str]) -> dict[str, Any]:
    """The same for scripts."""
    return {
        "show": contents.title, "out": str(out), "mark": contents.mark, "kept": contents.kept,
        "files": [folder.LISTING, *files], "left_over": left_over,
        "findings": [finding_json(finding) for finding in contents.findings],
    }  # fmt: skip


def for_tags(show: Path, wiring: Wiring, patch: Patch) -> tuple[dict[str, str], dict[str, Repairs]]:
    """For each run, by name: which end is its data-in, and what the record says is still to fix."""
    record, runs = read_record(show), wiring.show.runs
    state_of = states(record, digests(wiring, patch, items(wiring)))
    failed = [item for item, state in state_of.items() if state == "failed"]
    repairs = {
        run: Repairs(
            tuple(dict.fromkeys(fault for item in failed for fault in _to_fix(item, run, record))),
            tuple(f"{note.thing}: {note.what}" for note in record.notes if note.thing.split("/")[0] == run),
            _checked([state for item, state in state_of.items() if item.thing == run]),
        )
        for run in runs
    }
    return {run: ends(wiring.show, run)[0] for run in runs}, repairs


def _checked(of_run: list[State]) -> Literal["all", "part", "none"]:
    """How much of a run was checked and still counts."""
    left = of_run.count("open")
    return "none" if left == len(of_run) else "part" if left else "all"


def _to_fix(item: Item, run: str, record: Record) -> tuple[str, ...]:
    """What a failed item says of a run: the faults found; of another item only those that name the run."""
    faults = record.answers[item].found
    if item.thing == run:
        return tuple(faults) or (f"its {item.what} not as planned",)
    return tuple(fault for fault in faults if run in re.split(r"[:=,/]", fault))
