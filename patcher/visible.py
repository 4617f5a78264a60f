"""Makes other people's text safe to show: it cannot control a terminal, reorder a line or be run by a spreadsheet.

Names, notes, cells of tables, names of files and of sources on the network are written by whoever likes. Control
characters (C0, DEL, C1) move the cursor, colour or retitle a terminal; bidirectional controls show text in another
order than it has (Unicode Technical Report 36, 3.2); a cell that begins with = + - @ is worked out by a spreadsheet.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
from collections.abc import Iterable, Sequence
from io import StringIO
from pathlib import Path
from typing import Any

_CONTROLS = "\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069"
_ORDER = re.compile(f"[{_CONTROLS}]")
_ORDER_IN_LINES = re.compile(f"(?!\n)[{_CONTROLS}]")
_ESCAPED = re.compile(f"(?!\n)[{_CONTROLS}\ud800-\udfff]")
_BLANK = re.compile(r"[\t\r\n]+")
_FORMULA = re.compile(r"(^|[;,|])(?=\s*[=+\-@＝＋－＠])")


def visible(text: str) -> str:
    """Text of several lines, each control character replaced by U+FFFD."""
    return text if text.isascii() and text.isprintable() else _ORDER_IN_LINES.sub("\ufffd", text)


def one_line(text: str) -> str:
    """The same for text of one line, such as a name, a note or a cell: line breaks become spaces."""
    return text if text.isascii() and text.isprintable() else _ORDER.sub("\ufffd", _BLANK.sub(" ", text))


def argument(path: Path | str) -> str:
    """A path as it is written in a command that a person copies: quoted where this machine's shell wants that."""
    return shlex.quote(str(path)) if os.name == "posix" else subprocess.list2cmdline([str(path)])


def sent_from(path: Path | str, *, practice: bool) -> str:
    """A show file as it is written in a command that sends, or that reads what was practised: in practice with the
    option that keeps it away from the real boxes.
    """
    return f"{argument(path)} --yard" if practice else argument(path)


def cell(value: object) -> object:
    """The value of a table cell, with a ' before words that a spreadsheet would calculate.

    Numbers stay numbers, also where they are written in words, as -1. Source: OWASP, CSV Injection.
    """
    if not isinstance(value, str):
        return value
    text = one_line(value)
    try:
        float(text)
    except ValueError:
        return _FORMULA.sub(r"\1'", text)
    return text


def as_csv(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV (RFC 4180, but for its line ends), what is not known left empty."""
    import csv

    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([cell(head) for head in heads])
    writer.writerows([cell(value) for value in row] for row in rows)
    return text.getvalue()


def as_json(document: Any, *, indent: int | None = 1) -> str:
    """A JSON document, its control characters escaped."""
    text = json.dumps(document, ensure_ascii=False, indent=indent, allow_nan=False)
    return _ESCAPED.sub(lambda sign: f"\\u{ord(sign[0]):04x}", text) + "\n"
