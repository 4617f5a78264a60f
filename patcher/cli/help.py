"""`help`: reference text by topic, folded to the terminal."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import AsJson
from patcher.errors import choose_from, refuse
from patcher.terminal.tables import say_json

if TYPE_CHECKING:
    from patcher.reference import Part

WIDEST = 100
"""Columns of a line, in a terminal that has more; longer ones are hard to read."""
LONGEST_TERM = 22
"""Columns of the terms that stand beside their text; where one is longer, text begins on the next line."""
NARROW = 60
"""Columns of a terminal in which no text stands beside its term."""


def help_(
    context: typer.Context,
    topic: Annotated[str | None, typer.Argument(metavar="TOPIC", help="A topic; none lists them all.")] = None,
    as_json: AsJson = False,
) -> None:
    """Explain a topic: the show file's keys, test patterns, faults, JSON, power, safety and more."""
    from patcher.reference import Part, parts_of, topics

    known = topics()
    width = min(shutil.get_terminal_size().columns, WIDEST)
    if topic is None:
        if as_json:
            say_json({"topics": [{"topic": each.name, "says": each.says} for each in known.values()]})
            return
        listed = [Part("entry", each.says, each.name) for each in known.values()]
        ends = [Part("text", "Read one: patcher help TOPIC. The options of a command: patcher COMMAND --help.")]
        print("\n".join(lines([*listed, *ends], width)))
        return
    if topic not in known:
        raise refuse(topic, "is no topic", _remedy(topic, list(known), context))
    found = known[topic]
    parts = parts_of(found)
    if as_json:
        said = [{"kind": part.kind, "term": part.term, "says": part.says} for part in parts]
        say_json({"topic": found.name, "says": found.says, "parts": said})
        return
    print("\n".join(lines([Part("heading", f"{found.name}: {found.says}"), *parts], width)))


def _remedy(topic: str, known: Sequence[str], context: typer.Context) -> str:
    commands = getattr(context.parent and context.parent.command, "commands", {})
    if topic in commands:
        return f"its options: patcher {topic} --help; all topics: patcher help"
    return choose_from(topic, known, most=len(known))


def lines(parts: Sequence[Part], width: int) -> Iterator[str]:
    """The parts as lines, none wider than `width` columns."""
    between = False
    for kind, group in groupby(parts, key=lambda part: part.kind):
        same = list(group)
        if kind == "entry":
            if between:
                yield ""
            yield from _entries(same, width)
        for part in same if kind != "entry" else ():
            if between and not (kind in ("bullet", "code") and part is not same[0]):
                yield ""
            between = True
            if kind == "heading":
                yield from _wrapped(part.says, width)
                yield "─" * min(width, len(part.says))
            else:
                yield from _wrapped(part.says, width, {"bullet": "- ", "code": "    "}.get(kind, ""))
        between = True


def _entries(parts: Sequence[Part], width: int) -> Iterator[str]:
    """Terms with their texts beside them, or below where a term or the terminal leaves no room."""
    column = min(max(len(part.term) for part in parts), LONGEST_TERM) + 4
    for part in parts:
        texts = part.says.split("\n")
        beside = width >= NARROW and len(part.term) <= LONGEST_TERM
        indent = " " * (column if width >= NARROW else 4)
        if not beside:
            yield from _wrapped(part.term, width, "  ")
        below = [line for text in texts for line in _wrapped(text, width, indent)]
        if beside:
            below[0] = f"  {part.term}".ljust(column) + below[0][column:]
        yield from below


def _wrapped(text: str, width: int, begin: str = "") -> list[str]:
    """A text in lines that hang under where it begins."""
    return textwrap.wrap(text, width, initial_indent=begin, subsequent_indent=" " * len(begin),
                         break_on_hyphens=False) or [begin]  # fmt: skip
