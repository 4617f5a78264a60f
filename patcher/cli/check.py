"""Commands that only look: `check`, `where`, `schema`."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import examine, load, load_patch
from patcher.cli.options import AsJson, ShowFile
from patcher.errors import Finding, PatcherError
from patcher.terminal.printed import count, say_json, say_table

if TYPE_CHECKING:
    from patcher.patch.patch import Patch, Span
    from patcher.reports.check_report import Checked


def check(show: ShowFile, as_json: AsJson = False) -> None:
    """List the problems of a show, each with what to do.

    First those of the file and its wiring; once these are fixed also those of addresses, timing, network and power.
    """
    from patcher.reports.check_report import document, say

    checked = _checked(show)
    if as_json:
        say_json(document(checked))
    else:
        say(checked, show)
    if checked.wrong:
        raise typer.Exit(2 if checked.unreadable else 1)


def _checked(path: Path) -> Checked:
    """What is wrong with a file; where that is nothing, with the show that it describes."""
    from patcher.adoption.draft import MARK, marks
    from patcher.limits import findings, network, refresh
    from patcher.mains.circuits import mains
    from patcher.patch.patch_file import read_patch
    from patcher.power import shortfalls
    from patcher.power.flow import power
    from patcher.reports.check_report import Checked
    from patcher.show.line_numbers import located

    wiring, found, text = examine(path)
    if wiring is None or found:
        return Checked(found, unreadable=any(finding.area == "file" for finding in found), cut_short=True)
    kept, unread = None, list[Finding]()
    try:
        kept = read_patch(path)
    except PatcherError as error:
        unread = list(error.findings)
    state = power(wiring) if shortfalls.described(wiring.show) else None
    patch, found = findings.check(wiring, kept, state=state)
    if left := marks(text):
        says = f"{count(len(left), 'line')} with {MARK}: what stands there was made up for you"
        unread.append(Finding("note", "fill-in", "file", str(path), says, "put in what is so", line=left[0][0]))
    times = refresh.port_times(wiring)
    return Checked(
        located([*unread, *found], text),
        times,
        network.traffic(wiring.show, patch) if patch is not None else None,
        wiring.show.settings.frame_rate,
        bool(times) and state is not None,
        0 if state is None else len(state.tap_fuses),
        () if state is None else mains(state),
        wiring.show.settings.level,
    )


def where(
    show: ShowFile,
    thing: Annotated[
        str, typer.Argument(metavar="THING", help="An address, as 3/100, or a box, port, run, pixel or prop.")
    ],
    as_json: AsJson = False,
) -> None:
    """Look up the addresses of a thing, or the pixel of an address."""
    from patcher.patch.thing import find, spans_of

    wiring = load(show)
    patch = load_patch(show, wiring)
    spans = spans_of(find(thing, wiring, patch), wiring, patch)
    if as_json:
        say_json([asdict(span) for span in spans])
    elif spans:
        say_table(("pixels", "port", "from", "to"), map(_row, spans))
    else:
        print(_nothing_at(thing, patch))


def _row(span: Span) -> tuple[str, ...]:
    last = f"–{span.last_pixel}" if span.last_pixel > span.first_pixel else ""
    return (
        f"{span.run}/{span.first_pixel}{last}", f"{span.controller}/{span.port}",
        f"{span.universe}/{span.first_channel}", f"{span.universe}/{span.last_channel}",
    )  # fmt: skip


def _nothing_at(thing: str, patch: Patch) -> str:
    """Why a thing or an address has no pixel."""
    from patcher.patch.thing import without_pixel

    parts = thing.split("/")
    is_channel = len(parts) == 2 and all(part.isdigit() for part in parts)
    why = without_pixel(int(parts[0]), int(parts[1]), patch) if is_channel else "nothing hangs on it"
    return f"{thing} has no pixel: {why}."


def schema() -> None:
    """Print the show file's JSON Schema.

    With it an editor completes and checks the show file.
    """
    from patcher.show.schema import json_schema

    say_json(json_schema())
