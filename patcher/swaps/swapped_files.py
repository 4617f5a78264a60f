"""A swap written into the show file and the patch file, proved by reading the new text back."""

from __future__ import annotations

from pathlib import Path

from patcher.errors import refuse
from patcher.patch.changes import misfits
from patcher.patch.patch import Patch
from patcher.patch.patch_file import dump, patch_path
from patcher.show.parser import read
from patcher.show.run_tables import PointsRun
from patcher.show.schema import Show
from patcher.show.text_edits import edited
from patcher.show.writer import Seen, write_together
from patcher.wiring import problems, wire


def write_swap(path: Path, seen: Seen, before: Show, after: Show, patch: Patch | None, spare: str) -> list[str]:
    """Change the show file and, where there is a new patch, write the patch file; both or none.

    Args:
        path: the show file.
        seen: what the files said when they were read.
        before: the show as it was read.
        after: the show with the spare.
        patch: the patch of a swapped box; None for a supply.
        spare: the name of the spare.

    Returns:
        The names of the files that were written.

    Raises:
        PatcherError: the text cannot be changed so that it says what it should.
    """
    again = "spare = true, without address, runs and starts" if patch is not None else "spare = true"
    note = f"Dead: {spare} has taken its place. Once repaired, uncomment it with {again}."
    changed = edited(seen[path] or "", before, after, note)
    if not _says(changed, path, after, patch):
        says = "is written in a way that cannot be changed here; nothing was written"
        raise refuse(str(path), says, "give each box and supply a heading of its own: [controller.NAME]")
    texts = {path: changed} | ({patch_path(path): dump(patch)} if patch is not None else {})
    write_together(seen, texts)
    return list(map(str, texts))


def _says(text: str, path: Path, after: Show, patch: Patch | None) -> bool:
    """Whether a text, read back, is the show that it should be, and the patch fits it."""
    runs = after.runs.values()
    points = {run.file: [list(at) for at in run.at] for run in runs if isinstance(run, PointsRun) and run.file}
    reading = read(text, lambda name: points[name], str(path))
    if reading.show is None or reading.findings:
        return False
    wiring = wire(reading.show)
    if problems(wiring) or (patch and misfits(patch, wiring)):
        return False
    return _compared(reading.show) == _compared(after)


def _compared(show: Show) -> tuple[object, ...]:
    """What a swap may change. Places and lengths are left out: a file in feet gives them with other roundings."""
    lead = {"lead_via", "lead_awg", "lead_mm2", "nulls", "power_joined"}
    boxes = {name: box.model_dump(exclude={"at"}) for name, box in show.controllers.items()}
    leads = {name: run.model_dump(include=lead) for name, run in show.runs.items()}
    return show.supplies, show.feeds, show.accepts, boxes, leads
