"""How results are printed: findings in words, tables, or one JSON document."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from patcher.errors import Finding
from patcher.sheets.figures import count as count
from patcher.sheets.figures import ranges as ranges
from patcher.terminal.folds import on_screen
from patcher.visible import as_csv, as_json, one_line

if TYPE_CHECKING:
    from patcher.patch.patch import Start
    from patcher.show.schema import Show

GAP = "   "
"""Between two columns."""
LEAST_LAST = 8
"""Columns that the last column of a table has at least."""


def say_json(document: Any) -> None:
    """One JSON document on stdout."""
    print(as_json(document), end="")


def finding_json(finding: Finding) -> dict[str, Any]:
    """A finding as scripts read it."""
    keys = {"remedy": "try"}
    return {keys.get(key, key): value for key, value in asdict(finding).items()}


def start_json(start: Start, show: Show) -> dict[str, Any]:
    """A start as scripts read it: what is typed into the box, and how many universes it touches."""
    from patcher.patch.changes import setting

    typed = setting(start, show)
    return {
        "controller": start.controller, "port": typed.port, "run": start.chain.run,
        "universe": typed.universe, "channel": typed.channel,
        "pixels": typed.pixels, "nulls": typed.nulls, "universes": len(start.universes),
    }  # fmt: skip


def say_findings(findings: Iterable[Finding], *, as_json: bool = False) -> None:
    """Findings in words on stderr; for scripts as a document on stdout."""
    found = list(findings)
    if as_json:
        say_json({"findings": [finding_json(finding) for finding in found]})
        return
    for finding in found:
        print(on_screen(in_words(finding), sys.stderr), file=sys.stderr)


def in_words(finding: Finding) -> str:
    """A finding in two lines: where and what, then what to do."""
    kind = "accepted" if finding.accepted else finding.severity
    line = f" (line {finding.line})" if finding.line else ""
    where, says, remedy = map(one_line, (finding.where, finding.says, finding.remedy))
    rule = "" if finding.rule == "call" else f"  [{finding.rule}]"  # no rule of a show's, so none to look up
    return f"{kind}: {where}{line}: {says}\n       → {remedy}{rule}"


def say_table(heads: Sequence[str], rows: Iterable[Sequence[object]], *, right: str = "") -> None:
    """A table on stdout; columns whose head is among the words of `right` are aligned right. On a terminal the last
    column is broken where it is too wide.

    Laid out here and not by rich: of a show with a thousand boxes, each with a table, that took most of the time.
    """
    from rich.cells import cell_len

    names = [head.replace("_", " ") for head in heads]
    table = [names, *([one_line(str(cell)) for cell in row] for row in rows)]
    lengths = [[len(cell) if cell.isascii() else cell_len(cell) for cell in row] for row in table]
    widths = [max(column) for column in zip(*lengths, strict=True)]
    before = sum(widths[:-1]) + len(GAP) * len(widths[:-1])
    if sys.stdout.isatty():
        widths[-1] = min(widths[-1], max(shutil.get_terminal_size().columns - before, cell_len(names[-1]), LEAST_LAST))
    rights = [head in right.split() for head in heads]
    for number, (row, long) in enumerate(zip(table, lengths, strict=True)):
        first, *more = (
            [row[-1]] if long[-1] <= widths[-1] else textwrap.wrap(row[-1], widths[-1], break_on_hyphens=False)
        )
        cells = [*map(_padded, row[:-1], long, widths, rights), first.rjust(widths[-1]) if rights[-1] else first]
        print(GAP.join(cells).rstrip())
        for piece in more:
            print(" " * before + piece)
        if number == 0:
            print("─" * (before + widths[-1]))


def _padded(cell: str, length: int, width: int, right: bool) -> str:
    return " " * (width - length) + cell if right else cell + " " * (width - length)


def say_csv(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """A table as CSV on stdout."""
    print(as_csv(heads, rows), end="")
