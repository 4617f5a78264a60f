"""An act done to the text of a show file: the text that comes of it, read again before it is given back."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache

from patcher.acts.act import (
    Act,
    AddBox,
    AddFeed,
    AddRoute,
    AddSupply,
    AddTap,
    CopyThing,
    CornerIn,
    CornerOut,
    Draw,
    DrawGrid,
    Hang,
    MeasureLead,
    MoveCorner,
    Rename,
    SetKey,
    Shift,
    TakeOut,
    Unhang,
    Untap,
)
from patcher.acts.chains import hung, unhung
from patcher.acts.copies import copied
from patcher.acts.measured_leads import lead_measured
from patcher.acts.mentions import named
from patcher.acts.new_tables import with_key, with_new
from patcher.acts.places import corner_moved, corner_put_in, corner_taken_out
from patcher.acts.rewriting import Renamed, rewritten
from patcher.acts.shifts import shifted
from patcher.acts.take_out import taken_out
from patcher.acts.taps import tap_put_in, tap_taken_out
from patcher.acts.things import Raw, ReadPoints
from patcher.errors import Finding, PatcherError, refuse
from patcher.show.line_numbers import with_ends_of
from patcher.show.parser import no_points, parse, read

_MARK = "\ufeff"
"""The byte order mark."""


def acted(text: str, act: Act, points: ReadPoints | None = None) -> str:
    """The text of a show file after an act.

    Args:
        text: the file's text, with a byte order mark or without.
        act: what is to be done.
        points: reads the places of a points file, as `read` takes it. Without it they are taken to be somewhere, and
            what would have to be worked out from them is refused.

    Raises:
        PatcherError: it cannot be done, or `read` would find something wrong that it does not find before.
    """
    if isinstance(act, MeasureLead):
        measured = lead_measured(text.removeprefix(_MARK), act, points or no_points)
        return text if measured is None else acted(text, measured, points)
    return _written(text, lambda raw, reads: _done(raw, act, points, reads), points)


def acted_together(text: str, acts: Iterable[Hang | Unhang | SetKey], points: ReadPoints | None = None) -> str:
    """The text of a show file after some acts, read again only once: what is wrong in between does not count.

    Args:
        text: the file's text, with a byte order mark or without.
        acts: what is to be done, one after the other.
        points: as of `acted`.

    Raises:
        PatcherError: one of them cannot be done, or `read` would find something wrong at the end that it does not find
            before.
    """

    def done(raw: Raw, reads: ReadPoints) -> _Done:
        for act in acts:
            raw = _changed(raw, act, reads)
        return raw, {}, {}

    return _written(text, done, points)


_Done = tuple[Raw, Renamed, Mapping[str, str]]


def _written(text: str, done: Callable[[Raw, ReadPoints], _Done], points: ReadPoints | None) -> str:
    """The text after `done`, which gives the tables afterwards, the headings that change, and names taken over."""
    mark, plain = (_MARK, text[1:]) if text.startswith(_MARK) else ("", text)
    lines = plain.replace("\r\n", "\n")
    reads = lru_cache(maxsize=64)(points or _somewhere)
    before = parse(lines)
    after, renamed, names = done(before, reads)
    if after == before and not renamed:
        return text
    new = rewritten(lines, before, after, renamed)
    _check_written(new, after)
    _check_findings(read(lines, reads).findings, read(new, reads).findings, names)
    return mark + with_ends_of(plain, new)


def _somewhere(_name: str) -> list[list[float]]:
    """Stands for the reader of points files: as many places as no feed and no gap goes beyond."""
    return [[0.01 * number, 0.0] for number in range(3000)]


def _done(raw: Raw, act: Act, points: ReadPoints | None, reads: ReadPoints) -> _Done:
    """The tables after an act, the headings that change, and names that others take over."""
    match act:
        case Rename():
            after, renamed = named(raw, act)
            return after, renamed, {act.thing: act.name}
        case TakeOut():
            after, heirs = taken_out(raw, act, points, reads)
            return after, {}, heirs
        case _:
            return _changed(raw, act, reads), {}, {}


def _changed(raw: Raw, act: Act, points: ReadPoints) -> Raw:
    match act:
        case Draw() | DrawGrid() | AddBox() | AddSupply() | AddFeed() | AddRoute():
            return with_new(raw, act)
        case SetKey():
            return with_key(raw, act, points)
        case MoveCorner():
            return corner_moved(raw, act, points)
        case CornerIn():
            return corner_put_in(raw, act, points)
        case CornerOut():
            return corner_taken_out(raw, act, points)
        case Shift():
            return shifted(raw, act, points)
        case CopyThing():
            return copied(raw, act, points)
        case Hang():
            return hung(raw, act, points)
        case Unhang():
            return unhung(raw, act)
        case AddTap():
            return tap_put_in(raw, act)
        case Untap():
            return tap_taken_out(raw, act)
    raise TypeError(type(act).__name__)


def _check_written(text: str, tables: Raw) -> None:
    """Refuse a text that does not hold the tables that it is to hold."""
    try:
        held = tomllib.loads(text)
    except ValueError:
        held = {}
    if _without_empty(held) != _without_empty(tables):
        says = "is written in a way that cannot be changed here"
        raise refuse("the file", says, "write each thing under a heading of its own, such as [run.NAME]")


def _without_empty(tables: Raw) -> Raw:
    """The tables but for kinds of which there is none: nothing is written of those."""
    return {kind: own for kind, own in tables.items() if own not in ({}, [])}


def _check_findings(before: Iterable[Finding], after: Iterable[Finding], names: Mapping[str, str]) -> None:
    """Refuse what brings an error that was not there, be it elsewhere or under another name."""
    known: Counter[tuple[str, str]] = Counter()
    for finding in before:
        known.update({_what(finding, {}), _what(finding, names)})
    new = [finding for finding in after if finding.severity == "error" and not known[_what(finding, {})]]
    if new:
        raise PatcherError(*new)


def _what(finding: Finding, names: Mapping[str, str]) -> tuple[str, str]:
    """The place and the reason, without numbers of list items, and with other names."""
    where, says = re.sub(r"\[\d+\]", "[]", finding.where), finding.says
    for old, new in names.items():
        where, says = (re.sub(rf"(?<![\w-]){re.escape(old)}(?![\w-])", new, part) for part in (where, says))
    return where, says
