"""Finds the line of a file on which a heading or a key stands; and keeps how its lines end.

The TOML reader of the standard library keeps no line numbers, so places are looked for in the text. What cannot be
found plainly has no line; a wrong line would be worse than none.
"""

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from patcher.errors import Finding

Place = tuple[str | int, ...]
Lines = Mapping[Place, int]

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|\#[^\n]*|[][{}\n]', re.DOTALL
)
HEADING = re.compile(r"\s*(\[{1,2})((?:\"(?:\\.|[^\"\\])*\"|'[^']*'|[^][\"'#])+)\]{1,2}\s*(?:#.*)?$")
"""Nothing in it can be matched in two ways, so that no line takes longer than its length."""
PART = re.compile(r"\"[^\"]*\"|'[^']*'|[^.\s]+")
_ARRAY = re.compile(r"([a-z]+)\[(\d{1,9})\](?:\.([a-z]+))?")
_KEY = re.compile(r"\s*([A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')\s*[=.]")


def _plain(text: str) -> Iterator[tuple[int, str]]:
    """The lines, with their numbers from 1, that begin outside every list, inline table and text."""
    lines = text.split("\n")
    yield 1, lines[0]
    number, depth = 1, 0
    for token in _TOKEN.finditer(text):
        mark = token[0]
        if mark in "[{":
            depth += 1
        elif mark in "]}":
            depth -= 1
        number += mark.count("\n")
        if mark == "\n" and depth == 0:
            yield number, lines[number - 1]


def lines_of(text: str) -> Lines:
    """The line, counted from 1, of every heading and key that the text shows plainly."""
    found: dict[Place, int] = {}
    heading: Place = ()
    seen: dict[Place, int] = {}
    for number, line in _plain(text):
        if match := HEADING.match(line):
            heading = tuple(part.strip("\"'") for part in PART.findall(match[2]))
            if match[1] == "[[":
                seen[heading] = seen.get(heading, -1) + 1
                heading = (*heading, seen[heading])
            for depth in range(1, len(heading) + 1):
                found.setdefault(heading[:depth], number)
        elif match := _KEY.match(line):
            found.setdefault((*heading, match[1].strip("\"'")), number)
    return found


def line_of(lines: Lines, place: Place) -> int | None:
    """The line of the longest beginning of `place` that is known, down to its table; None where that is not."""
    shortest = 1 if place[:1] == ("show",) or len(place) == 1 else 2
    return next((lines[place[:depth]] for depth in range(len(place), shortest - 1, -1) if place[:depth] in lines), None)


def located(findings: Iterable[Finding], text: str) -> list[Finding]:
    """The findings with the lines that they are about, in the order of the lines."""
    lines = lines_of(text)
    found = [replace(finding, line=line_of(lines, _place(finding.where))) for finding in findings]
    return sorted(found, key=lambda finding: finding.line or 0)


def _place(where: str) -> Place:
    """The place that is written `run.towpath.path[2]` or `accept[1].why`, as far as lines are known by it."""
    if found := _ARRAY.fullmatch(where):
        return (found[1], int(found[2]) - 1, *filter(None, [found[3]]))
    return tuple(where.partition("[")[0].split("."))


def with_ends_of(old: str, new: str) -> str:
    r"""The new text, its lines ending (`\n` or `\r\n`) as they do in the old one; a new line as most lines there."""
    new = new.replace("\r\n", "\n")
    if "\r\n" not in old:
        return new
    *before, _ = old.split("\n")
    *after, rest = new.split("\n")
    number = sum(line.endswith("\r") for line in before)
    many, all_alike = 2 * number >= len(before), number == len(before)
    ends = [many] * len(after)
    for first, last, to, end in _same([line.removesuffix("\r") for line in before], after) if not all_alike else ():
        ends[to:end] = [line.endswith("\r") for line in before[first:last]]
    return "".join(line + "\r" * crlf + "\n" for line, crlf in zip(after, ends, strict=True)) + rest


def _same(before: list[str], after: list[str]) -> Iterator[tuple[int, int, int, int]]:
    """Stretches of lines that are the same, or stand one for one in each other's place: from and to, in both."""
    short = min(len(before), len(after))
    head = next((at for at in range(short) if before[at] != after[at]), short)
    tail = next((at for at in range(short - head) if before[-1 - at] != after[-1 - at]), short - head)
    yield 0, head, 0, head
    yield len(before) - tail, len(before), len(after) - tail, len(after)
    middle = before[head : len(before) - tail], after[head : len(after) - tail]
    for _, first, last, to, end in difflib.SequenceMatcher(None, *middle, autojunk=False).get_opcodes():
        if last - first == end - to:
            yield head + first, head + last, head + to, head + end
