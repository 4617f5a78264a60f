"""`adopt`: the addresses of a person's own table become the patch to keep."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import AsJson, load
from patcher.errors import Finding, PatcherError, refuse
from patcher.terminal.tables import count, finding_json, in_words, say_json, say_table, start_json
from patcher.visible import one_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from patcher.adoption.address_table import Listing, Row
    from patcher.adoption.adoption import Adoption, Match
    from patcher.wiring import Wiring

NUMBERS = "universe channel pixels table_line"


@dataclass(frozen=True)
class _Adopted:
    """All that is to be told: the table, the show and its text, which row is which run, the patch, what was written."""

    listing: Listing
    wiring: Wiring
    text: str
    drafted: bool
    matched: Match
    adoption: Adoption
    findings: list[Finding]


def adopt(
    show: Annotated[Path, typer.Argument(metavar="SHOW", help="The show file; drafted where there is none.")],
    table: Annotated[Path, typer.Argument(metavar="TABLE.csv", help="Your own table of addresses.")],
    as_json: AsJson = False,
) -> None:
    """Take the addresses of a table of your own as the patch to keep."""
    from patcher.cli.inputs import show_name
    from patcher.patch.patch_file import dump, patch_path, read_patch
    from patcher.show.writer import as_read, write_together

    path = patch_path(show)
    seen = as_read(show, path)
    drafted = not show.exists()
    if drafted:
        show_name(show)
    made = _adopted(show, table, drafted=drafted)
    kept = read_patch(show)
    if kept is not None and kept != made.adoption.patch:
        says = "is there already, with other addresses; it was left as it is"
        raise refuse(str(path), says, "move it away first, and adopt again", rule="patch-file", area="address")
    texts = ({show: made.text} if drafted else {}) | {path: dump(made.adoption.patch)}
    write_together(seen, texts)
    if as_json:
        say_json(_document(made, [str(show)] * drafted + [str(path)] * (kept is None)))
    else:
        _say(made, show, table, path, again=kept is not None)
    if any(finding.severity == "error" for finding in made.findings):
        raise typer.Exit(1)


def _adopted(show: Path, table: Path, *, drafted: bool) -> _Adopted:
    from patcher.adoption.address_table import read_listing
    from patcher.adoption.adoption import Match, joined, match
    from patcher.adoption.adoption import adopt as take
    from patcher.adoption.draft import draft_text
    from patcher.adoption.outline import outline
    from patcher.patch.rules import breaches
    from patcher.show.line_numbers import located
    from patcher.show.parser import read
    from patcher.show.show_file import read_text
    from patcher.wiring import wire

    listing = read_listing(_table_text(table), table.name)
    rows, twice = joined(listing.rows, table.name)
    if drafted:
        if not rows:
            remedy = "correct the rows; its columns are: controller, port, run, universe, channel, pixels"
            raise _nothing(table, "has no row with an address", remedy, listing.findings)
        draft, by_run = outline(rows, _title(show), table.name)
        text = draft_text(draft)
        reading = read(text)
        if reading.show is None or reading.findings:
            raise PatcherError(*reading.findings)
        wiring, matched = wire(reading.show), Match(by_run, frozenset(by_run), ())
    else:
        wiring = load(show)
        text = read_text(show)
        matched = match(rows, wiring, table.name)
    adoption = take(matched, wiring, table.name)
    by_row = sorted(
        [*listing.findings, *twice, *matched.findings, *adoption.findings], key=lambda one: one.line or 1 << 30
    )
    if not adoption.patch.starts:
        remedy = "name the table of this show, or correct its names"
        raise _nothing(table, "gives no start of this show", remedy, [one for one in by_row if one.line])
    broken = located(breaches(wiring.show, adoption.patch), text)
    return _Adopted(listing, wiring, text, drafted, matched, adoption, by_row + broken)


def _table_text(table: Path) -> str:
    from patcher.show.show_file import read_text

    try:
        return read_text(table)
    except PatcherError as error:
        remedy = "name your table, saved as CSV in UTF-8"
        raise PatcherError(*(replace(finding, remedy=remedy) for finding in error.findings)) from None


def _nothing(table: Path, says: str, remedy: str, findings: Sequence[Finding]) -> PatcherError:
    """Nothing can be taken, so nothing is written; every row's reason follows."""
    return PatcherError(
        Finding("error", "table", "address", str(table), f"{says}; nothing was written", remedy), *findings
    )


def _title(show: Path) -> str:
    from patcher.adoption.draft import shown

    words = shown(show.stem.replace("-", " ").replace("_", " "))
    return words[:1].upper() + words[1:]


def _given(made: _Adopted) -> list[tuple[Row, str]]:
    return sorted(((row, run) for run, row in made.matched.rows.items()), key=lambda pair: pair[0].line)


def _document(made: _Adopted, wrote: list[str]) -> dict[str, object]:
    from patcher.adoption.draft import marks

    patch = made.adoption.patch
    return {
        "show": made.wiring.show.settings.title,
        "pixels": patch.pixels,
        "channels": patch.channels,
        "universes": patch.universe_count,
        "columns": made.listing.columns,
        "unused": list(made.listing.unused),
        "rows": [
            {"line": row.line, "run": run, "universe": row.universe, "channel": row.channel}
            for row, run in _given(made)
        ],
        "starts": [start_json(start, made.wiring.show) for start in patch.starts],
        "spans": [asdict(span) for span in patch.spans()],
        "left": list(made.adoption.left),
        "findings": [finding_json(finding) for finding in made.findings],
        "fill_in": [{"line": line, "asks": asks} for line, asks in marks(made.text)] if made.drafted else [],
        "wrote": wrote,
    }  # fmt: skip


def _say(made: _Adopted, show: Path, table: Path, path: Path, *, again: bool) -> None:
    from patcher.adoption.draft import MARK, marks

    patch = made.adoption.patch
    used = {
        column: heading for column, heading in made.listing.columns.items() if made.drafted or column != "notes"
    }  # fmt: skip
    columns = ", ".join(f"{column} “{one_line(heading)}”" for column, heading in used.items())
    print(f"Columns of {table}: {columns}.")
    if "universe" not in made.listing.columns and "running channel" in made.listing.columns:
        print("No universe there: channels are counted through, so 513 is 2/1.")
    notes = made.listing.columns.get("notes")
    unused = [*made.listing.unused, *([notes] if notes and not made.drafted else [])]
    if unused:
        print(f"Not used: {', '.join(f'“{one_line(heading)}”' for heading in unused)}.")
    print()
    rows = []
    for start in patch.starts:
        runs = [link.run for link in start.chain.links]
        row = made.matched.rows[runs[0]]
        rows.append((start.chain.name, start.universe, start.channel, start.chain.pixels, row.line, ", ".join(runs)))
    say_table(("start of", "universe", "channel", "pixels", "table_line", "runs"), rows, right=NUMBERS)
    print()
    by_row = [finding for finding in made.findings if finding.where == table.name]
    others = [one for one in made.findings if one.where != table.name and one.rule != "no-start"]
    for heading, found in (("What did not fit, by row:", by_row), ("In the show:", others)):
        if found:
            print(heading)
            for finding in found:
                print(in_words(finding))
            print()
    if made.adoption.left:
        print(f"The table gives no start of: {', '.join(made.adoption.left)}.")
    boxes = count(len(patch.boxes), "box")
    starts, pixels = count(len(patch.starts), "start"), count(patch.pixels, "pixel")
    print(f"Taken: {pixels} on {boxes}, {starts}, {count(patch.universe_count, 'universe')}.")
    if made.drafted:
        places = count(len(marks(made.text)), "place")
        print(f"Wrote {show}: {places} in it for you to fill in; look for {MARK}.")
    print(f"Kept {path}: the same addresses." if again else f"Wrote {path}: your addresses, kept from now on.")
    if made.drafted:
        print(f"Next: fill in {show}, then patcher check {show}")
        if by_row:
            print(f"Or mend {table}, move {show} and {path} away, and adopt it again.")
    elif any(finding.severity == "error" for finding in made.findings):
        print(f"Next: look at each error above; then patcher patch {show}")
    elif made.adoption.left:
        print(f"Next: patcher patch {show}, which finds free places for the rest")
    else:
        print(f"Next: patcher patch {show}")
    print(f"Where your boxes and your player have these addresses already: patcher todo {show} --typed all --told all")
