"""`adopt`: takes the addresses of a person's own table as the patch to keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load, show_name
from patcher.cli.options import AsJson
from patcher.errors import Finding, PatcherError, refuse
from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from patcher.adoption.address_table import Row
    from patcher.adoption.adoption import Match
    from patcher.reports.adopt_report import Adopted
    from patcher.wiring import Wiring


def adopt(
    show: Annotated[Path, typer.Argument(metavar="SHOW", help="The show file; drafted where there is none.")],
    table: Annotated[Path, typer.Argument(metavar="TABLE.csv", help="Your own table of addresses.")],
    as_json: AsJson = False,
) -> None:
    """Take the addresses of your own table as the patch."""
    from patcher.patch.patch_file import dump, patch_path, read_patch
    from patcher.reports.adopt_report import document, say
    from patcher.show.writer import as_read, write_together

    path = patch_path(show)
    seen = as_read(show, path)
    drafted = not show.exists()
    if drafted:
        show_name(show)
    adopted = _adopted(show, table, path, drafted=drafted)
    patch, kept = adopted.adoption.patch, read_patch(show)
    if kept not in (None, patch):
        says = "exists already, with other addresses; nothing was changed"
        raise refuse(str(path), says, "move it away first, and adopt again", rule="patch-file", area="address")
    adopted = replace(adopted, kept=kept is not None)
    write_together(seen, ({show: adopted.text} if drafted else {}) | {path: dump(patch)})
    if as_json:
        say_json(document(adopted))
    else:
        say(adopted)
    if adopted.wrong:
        raise typer.Exit(1)


def _adopted(show: Path, table: Path, path: Path, *, drafted: bool) -> Adopted:
    """The table, read and matched with the show, or with a draft made of it; nothing is written."""
    from patcher.adoption import adoption
    from patcher.adoption.address_table import read_listing
    from patcher.patch.rules import breaches
    from patcher.reports.adopt_report import Adopted
    from patcher.show.line_numbers import located
    from patcher.show.show_file import read_text

    listing = read_listing(_table_text(table), table.name)
    rows, twice = adoption.joined(listing.rows, table.name)
    if drafted:
        if not rows:
            remedy = "correct the rows; its columns are: controller, port, run, universe, channel, pixels"
            raise _nothing(table, "has no row with an address", remedy, listing.findings)
        text, wiring, matched = _draft(show, table, rows)
    else:
        wiring = load(show)
        text = read_text(show)
        matched = adoption.match(rows, wiring, table.name)
    taken = adoption.adopt(matched, wiring, table.name)
    found = sorted(
        [*listing.findings, *twice, *matched.findings, *taken.findings], key=lambda each: each.line or 1 << 30
    )
    if not taken.patch.starts:
        remedy = "name the table of this show, or correct its names"
        raise _nothing(table, "no row matches a name in this show", remedy, [each for each in found if each.line])
    broken = located(breaches(wiring.show, taken.patch), text)
    return Adopted(show, table, path, listing, wiring, text, drafted, matched, taken, found + broken)


def _draft(show: Path, table: Path, rows: Sequence[Row]) -> tuple[str, Wiring, Match]:
    """A show file made of the rows: its text, its wiring, and which row is which run."""
    from patcher.adoption.adoption import Match, uncounted
    from patcher.adoption.draft import draft_text, outline, shown
    from patcher.show.parser import read
    from patcher.wiring import wire

    title = shown(show.stem.replace("-", " ").replace("_", " "))
    draft, by_run = outline(rows, title[:1].upper() + title[1:], table.name)
    text = draft_text(draft)
    reading = read(text)
    if reading.show is None or reading.findings:
        raise PatcherError(*reading.findings)
    return text, wire(reading.show), Match(by_run, frozenset(by_run), tuple(uncounted(rows, table.name)))


def _table_text(table: Path) -> str:
    from patcher.show.show_file import read_text

    try:
        return read_text(table)
    except PatcherError as error:
        remedy = "name your table, saved as CSV in UTF-8"
        raise PatcherError(*(replace(finding, remedy=remedy) for finding in error.findings)) from None


def _nothing(table: Path, says: str, remedy: str, findings: Sequence[Finding]) -> PatcherError:
    """Nothing can be taken, so nothing is written; the reason of each row follows."""
    return PatcherError(
        Finding("error", "table", "address", str(table), f"{says}; nothing was written", remedy), *findings
    )
