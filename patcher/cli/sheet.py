"""`sheet`: what a person takes up the ladder, as pages, labels, drawings and tables in a folder."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import allocated, load
from patcher.cli.options import SEARCH, AsJson, SearchSeconds, ShowFile
from patcher.errors import refuse
from patcher.terminal.printed import count, say_json
from patcher.visible import argument

if TYPE_CHECKING:
    from patcher.sheets.drawings import Step
    from patcher.sheets.label_stock import LabelStock

LABEL = "60x30"
MOST_RUNS = 2_500
"""Runs that are printed: about ten times those of 25 houses, and some minutes' work."""


Out = Annotated[Path, typer.Option("--out", metavar="FOLDER", help="The folder to write into; made if it is missing.")]
Label = Annotated[str, typer.Option("--label", metavar="WIDTHxHEIGHT", help="Size of a cable label in millimetres.")]
LabelColumns = Annotated[
    int | None,
    typer.Option("--label-columns", metavar="N", min=1, help="Labels side by side.  [default: as many as fit]"),
]
LabelTop = Annotated[
    float,
    typer.Option("--label-top", metavar="MM", min=5, max=100, help="From the paper's edge to the first row of labels."),
]
Spares = Annotated[
    float, typer.Option("--spares", metavar="PERCENT", min=0, max=100, help="Spare pixels and fuses to buy.")
]


def sheet(
    show: ShowFile,
    out: Out,
    store: Annotated[bool, typer.Option("--store", help="Add a tag for each run, for packing away.")] = False,
    label: Label = LABEL,
    label_columns: LabelColumns = None,
    label_top: LabelTop = 15.0,
    spares: Spares = 5.0,
    seconds: SearchSeconds = SEARCH,
    as_json: AsJson = False,
) -> None:
    """Write box sheets, cable labels, drawings and tables.

    They go into a folder; the patch file is left as it is.
    """
    from patcher.limits import findings
    from patcher.patch.patch_file import read_entered, read_patch
    from patcher.power.flow import power
    from patcher.reports import sheet_report
    from patcher.season.batches import mixed
    from patcher.season.ticks_file import read_ticks
    from patcher.season.work_list import Kept, on_paper, work
    from patcher.sheets import exports, folder, page
    from patcher.sheets.contents import show_sheet
    from patcher.sheets.drawings import draw
    from patcher.sheets.labels import tags
    from patcher.walk.record_file import read_record

    stock = _stock(label, label_columns, label_top)
    wiring = load(show)
    kept, entered = read_patch(show), read_entered(show)
    _refuse_many(show, len(wiring.show.runs))
    folder.prepare(out)
    with _progress() as begin:
        done = begin("patch and power", 2)
        made = allocated(show, wiring, kept, seconds=seconds)
        done()
        state = power(wiring)
        done()
        record = read_record(show)
        recorded = mixed(wiring.show, record.replaced)
        found = findings.check(wiring, kept, made=made, state=state, recorded=recorded)[1]
        stored = tags(wiring, *sheet_report.for_tags(show, wiring, made.patch)) if store else ()
        day = on_paper(work(wiring, made.patch, Kept(entered, read_ticks(show), record)))
        contents = show_sheet(
            wiring, made.patch, kept, state, entered=entered, spares=spares, findings=found, tags=stored, day=day
        )
        drawings = draw(wiring, made.patch, state, begin)
        done = begin("pages", 1)
        texts = {**page.pages(contents, drawings, stock), **page.drawing_files(drawings), **exports.files(contents)}
        done()
        left_over = folder.write(out, texts, exports.document(contents), begin("files", len(texts) + 1))
    if as_json:
        say_json(sheet_report.document(contents, out, list(texts), left_over))
    else:
        sheet_report.say(contents, show, out, left_over)
    if any(finding.severity == "error" for finding in found):
        raise typer.Exit(1)


def _refuse_many(show: Path, runs: int) -> None:
    if runs > MOST_RUNS:
        says = f"has {count(runs, 'run')}, and more than {MOST_RUNS} on paper take hours"
        remedy = f"print its tables: patcher patch {argument(show)} --csv, or one show file for some boxes"
        raise refuse(str(show), says, remedy)


def _stock(label: str, columns: int | None, top: float) -> LabelStock:
    """The size of labels that a person asked for."""
    from patcher.sheets.label_stock import LOW, NARROW, LabelStock

    size = re.fullmatch(r"(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)", label.strip())
    if size is None:
        raise refuse("--label", f"“{label}” is not a size", f"write millimetres, width first: {LABEL}")
    wide, high = float(size[1]), float(size[2])
    highest = round(LOW - top - 10, 3)  # as it is said, or what is offered would be refused
    if not (40 <= wide <= NARROW and 20 <= high <= highest):
        says = f"{wide:g} × {high:g} mm does not fit the paper, or is too small for a name and a code"
        raise refuse("--label", says, f"give it from 40x20 to {NARROW:g}x{highest:g}")
    most = int(NARROW // wide)
    if columns is not None and columns > most:
        raise refuse("--label-columns", f"{columns} labels of {wide:g} mm are wider than the paper", f"{most} fit")
    return LabelStock(wide, high, columns or max(1, int((NARROW - 10) // wide)), top)


@contextmanager
def _progress() -> Iterator[Step]:
    """A line for each part of the work on a terminal, once it has taken a second."""
    import time

    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    console = Console(file=getattr(sys.stderr, "under", sys.stderr))  # its own orders; the names in it are ours
    columns = TextColumn("{task.description:16}"), BarColumn(), MofNCompleteColumn()
    progress = Progress(*columns, console=console, transient=True, disable=not sys.stderr.isatty())
    began = time.monotonic()

    def begin(what: str, parts: int) -> Callable[[], None]:
        task = progress.add_task(what, total=parts)

        def done() -> None:
            if time.monotonic() - began > 1:
                progress.start()
            progress.advance(task)

        return done

    try:
        yield begin
    finally:
        progress.stop()
