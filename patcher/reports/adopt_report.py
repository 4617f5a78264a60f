"""What `adopt` prints: which columns it read, which addresses it took, what did not fit, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from patcher.adoption.address_table import Listing, Row
from patcher.adoption.adoption import Adoption, Match
from patcher.adoption.draft import MARK, marks
from patcher.errors import Finding
from patcher.terminal.printed import count, finding_json, in_words, say_table, start_json
from patcher.visible import argument, one_line
from patcher.wiring import Wiring

NUMBERS = "universe channel pixels table_line"


@dataclass(frozen=True)
class Adopted:
    """A table that was taken.

    Attributes:
        show, table, patch_path: the files.
        listing: the table as it was read.
        wiring: the show's, or that of the draft.
        text: the show file's text.
        drafted: whether the show file was written from the table.
        matched: which row is which run.
        adoption: the patch, and which starts the table does not give.
        findings: what did not fit, by row; then what breaks a rule of the show.
        kept: whether the patch file held the same addresses already.
    """

    show: Path
    table: Path
    patch_path: Path
    listing: Listing
    wiring: Wiring
    text: str
    drafted: bool
    matched: Match
    adoption: Adoption
    findings: Sequence[Finding]
    kept: bool = False

    @property
    def wrong(self) -> bool:
        """Whether something breaks a rule, or could not be taken."""
        return any(finding.severity == "error" for finding in self.findings)

    @property
    def by_row(self) -> list[Finding]:
        """What did not fit in the table."""
        return [finding for finding in self.findings if finding.where == self.table.name]


def say(adopted: Adopted) -> None:
    """Print it for people."""
    for line in _columns(adopted):
        print(line)
    print()
    say_table(("start of", "universe", "channel", "pixels", "table_line", "runs"), _starts(adopted), right=NUMBERS)
    print()
    in_show = [each for each in adopted.findings if each.where != adopted.table.name and each.rule != "no-start"]
    for heading, findings in (("What did not fit, by row:", adopted.by_row), ("In the show:", in_show)):
        if findings:
            print(heading)
            for finding in findings:
                print(in_words(finding))
            print()
    patch, left = adopted.adoption.patch, adopted.adoption.left
    if left:
        print(f"The table gives no start for: {', '.join(left)}.")
    boxes, universes = count(len(patch.boxes), "box"), count(patch.universe_count, "universe")
    print(f"Taken: {count(patch.pixels, 'pixel')} on {boxes}, {count(len(patch.starts), 'start')}, {universes}.")
    for line in _written(adopted):
        print(line)


def _columns(adopted: Adopted) -> Iterator[str]:
    """Which columns were used, and which were not: notes only where a show file was drafted."""
    columns = adopted.listing.columns
    used = {column: heading for column, heading in columns.items() if adopted.drafted or column != "notes"}
    words = {"running channel": "absolute channel"}
    named = ", ".join(f"{words.get(column, column)} “{one_line(heading)}”" for column, heading in used.items())
    yield f"Columns of {adopted.table}: {named}."
    if "universe" not in columns and "running channel" in columns:
        yield "There is no universe in it: channels are taken as absolute (counted from 1/1), so 513 is 2/1."
    unused = [*adopted.listing.unused, *(columns[column] for column in columns if column not in used)]
    if unused:
        yield f"Not used: {', '.join(f'“{one_line(heading)}”' for heading in unused)}."


def _starts(adopted: Adopted) -> Iterator[tuple[object, ...]]:
    for start in adopted.adoption.patch.starts:
        runs = [link.run for link in start.chain.links]
        line = adopted.matched.rows[runs[0]].line
        yield start.chain.name, start.universe, start.channel, start.chain.pixels, line, ", ".join(runs)


def _written(adopted: Adopted) -> Iterator[str]:
    """What was written, and what to do next."""
    show, path = adopted.show, adopted.patch_path
    named = argument(show)
    if adopted.drafted:
        yield f"Wrote {show}: fill in {count(len(marks(adopted.text)), 'place')} in it; look for {MARK}."
    yield f"Kept {path}: the same addresses." if adopted.kept else f"Wrote {path}: your addresses, kept from now on."
    if adopted.drafted:
        yield f"Next: fill in {show}, then patcher check {named}"
        if adopted.by_row:
            yield f"Or correct {adopted.table}, move {show} and {path} away, and adopt it again."
    elif adopted.wrong:
        yield f"Next: look at each error above; then patcher patch {named}"
    else:
        yield f"Next: patcher patch {named}" + ", which finds free places for the rest" * bool(adopted.adoption.left)
    yield f"If your boxes and your player have these addresses already: patcher todo {named} --typed all --told all"


def document(adopted: Adopted) -> dict[str, Any]:
    """It for scripts."""
    patch, show = adopted.adoption.patch, adopted.wiring.show
    rows: list[tuple[str, Row]] = sorted(adopted.matched.rows.items(), key=lambda pair: pair[1].line)
    wrote = [str(adopted.show)] * adopted.drafted + [str(adopted.patch_path)] * (not adopted.kept)
    return {
        "show": show.settings.title,
        "pixels": patch.pixels, "channels": patch.channels, "universes": patch.universe_count,
        "columns": adopted.listing.columns, "unused": list(adopted.listing.unused),
        "rows": [
            {"line": row.line, "run": run, "universe": row.universe, "channel": row.channel} for run, row in rows
        ],
        "starts": [start_json(start, show) for start in patch.starts],
        "spans": [asdict(span) for span in patch.spans()],
        "left": list(adopted.adoption.left),
        "findings": [finding_json(finding) for finding in adopted.findings],
        "fill_in": [{"line": line, "asks": asks} for line, asks in marks(adopted.text)] if adopted.drafted else [],
        "wrote": wrote,
    }  # fmt: skip
