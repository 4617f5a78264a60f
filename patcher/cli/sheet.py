"""`sheet`: what a person takes up the ladder, as pages, labels, drawings and tables in a folder."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import SEARCH, AsJson, Seconds, ShowFile, allocated, load
from patcher.errors import Finding, refuse
from patcher.terminal.folds import on_screen
from patcher.terminal.tables import count, finding_json, in_words, say_json
from patcher.visible import one_line

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.power.flow import Power
    from patcher.sheets.label_stock import LabelStock
    from patcher.sheets.labels import Repairs
    from patcher.wiring import Wiring

Begin = Callable[[str, int], Callable[[], None]]
LABEL = "60x30"


MOST_RUNS = 2_500
"""Runs that are printed: about ten times those of 25 houses, and some minutes' work."""


def sheet(
    show: ShowFile,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="The folder to write into; made if missing.")],
    store: Annotated[bool, typer.Option("--store", help="Also a tag for each run, for packing away.")] = False,
    label: Annotated[
        str, typer.Option("--label", metavar="WIDTHxHEIGHT", help="The size of a cable label in millimetres.")
    ] = LABEL,
    label_columns: Annotated[
        int | None, typer.Option("--label-columns", metavar="N", help="Labels side by side; as many as fit.", min=1)
    ] = None,
    label_top: Annotated[
        float, typer.Option("--label-top", metavar="MM", help="From the paper's edge to the first row.", min=5, max=100)
    ] = 15.0,
    spares: Annotated[
        float, typer.Option("--spares", metavar="PERCENT", help="Pixels and fuses to have besides.", min=0, max=100)
    ] = 5.0,
    seconds: Seconds = SEARCH,
    as_json: AsJson = False,
) -> None:
    """Box sheets, cable labels and drawings to print, and the same as tables; the patch file is left as it is."""
    from patcher.patch.patch_file import read_entered, read_patch
    from patcher.power.flow import power
    from patcher.sheets import exports, folder, page
    from patcher.sheets.contents import show_sheet, with_tags
    from patcher.sheets.drawings import draw

    stock = _stock(label, label_columns, label_top)
    wiring = load(show)
    kept, entered = read_patch(show), read_entered(show)
    if len(wiring.show.runs) > MOST_RUNS:
        says = f"has {count(len(wiring.show.runs), 'run')}, and more than {MOST_RUNS} on paper take hours"
        raise refuse(str(show), says, f"print its tables: patcher patch {show} --csv, or one show file for some boxes")
    folder.prepare(out)
    with _progress() as begin:
        done = begin("patch and power", 2)
        made = allocated(show, wiring, kept, seconds=seconds)
        done()
        state = power(wiring)
        done()
        found = _findings(wiring, made.patch, made.faults, state)
        said = show_sheet(wiring, made.patch, kept, state, entered=entered, spares=spares, findings=found)
        if store:
            said = with_tags(said, wiring, *_record(show, wiring, made.patch))
        drawings = draw(wiring, made.patch, state, begin)
        done = begin("pages", 1)
        texts = {**page.pages(said, drawings, stock), **page.drawing_files(drawings)}
        texts |= {f"tables/{name}.csv": exports.as_csv(table) for name, table in exports.tables(said).items()}
        texts["sheets.md"] = exports.as_markdown(said)
        done()
        old = folder.write(out, texts, exports.document(said), begin("files", len(texts) + 1))
    wrong = any(finding.severity == "error" for finding in found)
    if as_json:
        say_json({
            "show": said.title, "out": str(out), "mark": said.mark, "kept": said.kept,
            "files": [folder.LISTING, *texts],
            "left_over": old, "findings": [finding_json(finding) for finding in said.findings],
        })  # fmt: skip
    else:
        _say(out, said.kept, len(said.boxes), len(said.labels), len(said.tags), show, old)
        for finding in said.findings:
            if finding.severity == "error":
                print(on_screen(in_words(finding)))
    if wrong:
        raise typer.Exit(1)


def _say(out: Path, kept: bool | None, boxes: int, labels: int, tags: int, show: Path, old: list[str]) -> None:
    tagged = f", {count(tags, 'tag')}" if tags else ""
    print(
        f"Wrote {out / 'sheets.html'}: {count(boxes, 'box')}, {count(labels, 'label')}{tagged}. Open it and print it."
    )
    print(
        f"Beside it: each box, the labels{', the tags' if tags else ''}, drawings (SVG), tables (CSV, JSON, Markdown)."
    )
    if not kept:
        print(f"These addresses are not kept yet: patcher patch {show}")
    if old:
        names = one_line(", ".join(old[:8]))
        print(f"Left over from before, and no longer true: {names}{' …' if len(old) > 8 else ''}")


def _stock(label: str, columns: int | None, top: float) -> LabelStock:
    """The size of labels that a person asked for."""
    from patcher.sheets.label_stock import LOW, NARROW, LabelStock

    size = re.fullmatch(r"(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)", label.strip())
    if size is None:
        raise refuse("--label", f"“{label}” is no size of a label", f"write millimetres, width first: {LABEL}")
    wide, high = float(size[1]), float(size[2])
    if not (40 <= wide <= NARROW and 20 <= high <= LOW - top - 10):
        says = f"{wide:g} × {high:g} mm is no label that fits the paper with a name and a code on it"
        raise refuse("--label", says, f"give it from 40x20 to {NARROW:g}x{LOW - top - 10:g}")
    most = int(NARROW // wide)
    if columns is not None and columns > most:
        raise refuse("--label-columns", f"{columns} labels of {wide:g} mm are wider than the paper", f"{most} fit")
    return LabelStock(wide, high, columns or max(1, int((NARROW - 10) // wide)), top)


def _findings(wiring: Wiring, patch: Patch, faults: tuple[Finding, ...], state: Power) -> list[Finding]:
    """What `check` says of the show, on the power that is solved already; notes are left out."""
    from patcher.limits import advice, network, refresh
    from patcher.limits.findings import accepted
    from patcher.power import shortfalls

    found = [*faults, *advice.findings(wiring), *refresh.findings(wiring), *network.findings(wiring, patch)]
    found += shortfalls.findings(wiring, state)
    return [finding for finding in accepted(wiring.show, found) if finding.severity != "note"]


def _record(show: Path, wiring: Wiring, patch: Patch) -> tuple[dict[str, str], dict[str, Repairs]]:
    """For the tags: which end of each run is its data-in, and what the record says of it."""
    from patcher.diagnosis.question_words import ends
    from patcher.sheets.labels import Repairs
    from patcher.walk.items import digests, items
    from patcher.walk.record import states
    from patcher.walk.record_file import read_record

    record, runs = read_record(show), wiring.show.runs
    failed = [
        item for item, state in states(record, digests(wiring, patch, items(wiring))).items() if state == "failed"
    ]
    repairs = {}
    for run in runs:
        mends: dict[str, None] = {}
        for item in failed:
            faults = record.answers[item].found
            if item.thing == run:
                mends |= dict.fromkeys(faults or (f"its {item.what} not as planned",))
            else:
                mends |= dict.fromkeys(fault for fault in faults if run in re.split(r"[:=,/]", fault))
        notes = [f"{one.thing}: {one.what}" for one in record.notes if one.thing.split("/")[0] == run]
        repairs[run] = Repairs(tuple(mends), tuple(notes))
    return {run: ends(wiring.show, run)[0] for run in runs}, repairs


@contextmanager
def _progress() -> Iterator[Begin]:
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
