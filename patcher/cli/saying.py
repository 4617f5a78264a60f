"""How results are put on the screen: findings in words, tables, or one JSON document."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from patcher.errors import Finding

NARROWEST = 160
"""Columns to lay a table out for where it goes to a file or another program."""


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

    console = Console(highlight=False)
    if not console.is_terminal:
        console = Console(highlight=False, width=NARROWEST)
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="")
    for head in heads:
        table.add_column(head, justify="right" if head in right.split() else "left", overflow="fold")
    for row in rows:
        table.add_row(*(str(cell) for cell in row))
    for line in _lines(console, table):
        print(line)


def _lines(console: Any, table: Any) -> list[str]:
    with console.capture() as caught:
        console.print(table, markup=False)
    return [line.rstrip() for line in caught.get().rstrip("\n").split("\n")]


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
