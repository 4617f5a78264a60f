"""How results are put on the screen: findings in words, tables, or one JSON document."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from patcher.errors import Finding

NARROWEST, WIDEST = 160, 10_000
"""Columns to lay a table out for where it goes to a file or another program; and more than any table needs."""


def say_json(document: Any) -> None:
    """One JSON document on stdout."""
    print(json.dumps(document, ensure_ascii=False, indent=1))


def finding_json(finding: Finding) -> dict[str, Any]:
    """A finding as scripts read it."""
    keys = {"remedy": "try"}
    return {keys.get(key, key): value for key, value in asdict(finding).items()}


def say_findings(findings: Iterable[Finding], *, as_json: bool = False) -> None:
    """Findings in words on stderr; for scripts as a document on stdout."""
    found = list(findings)
    if as_json:
        say_json({"findings": [finding_json(finding) for finding in found]})
        return
    for finding in found:
        print(in_words(finding), file=sys.stderr)


def in_words(finding: Finding) -> str:
    """A finding in two lines: where and what, then what to do."""
    kind = "accepted" if finding.accepted else finding.severity
    line = f" (line {finding.line})" if finding.line else ""
    return f"{kind}: {finding.where}{line}: {finding.says}\n       → {finding.remedy}  [{finding.rule}]"


def say_table(heads: Sequence[str], rows: Iterable[Sequence[object]], *, right: str = "") -> None:
    """A table on stdout; columns whose head is among the words of `right` are aligned right."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="")
    cells = [[str(cell) for cell in row] for row in rows]
    for number, head in enumerate(heads):
        name = head.replace("_", " ")
        whole = max(len(text) for text in [name, *(row[number] for row in cells)])
        narrowest = whole if head != heads[-1] else None
        table.add_column(name, justify="right" if head in right.split() else "left", min_width=narrowest)
    for row in cells:
        table.add_row(*row)
    console = Console(highlight=False, emoji=False, markup=False)
    width = console.width if console.is_terminal else NARROWEST
    console.width = WIDEST
    console.width = max(width, console.measure(table).minimum)
    with console.capture() as caught:
        console.print(table)
    for line in caught.get().rstrip("\n").split("\n"):
        print(line.rstrip())


def say_csv(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """A table as CSV on stdout."""
    import csv

    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows(rows)


def count(number: int, thing: str) -> str:
    """A number with its noun: `1 box`, `4 boxes`, `12 480 pixels`."""
    plural = thing if number == 1 else thing + ("es" if thing.endswith("x") else "s")
    return f"{number:,}".replace(",", "\u00a0") + f" {plural}"
