"""Edits of a show file's text that leave every comment, every blank line and the order of things as they are.

An edit is asked for as the show before and the show after; only keys whose values differ are touched. A table that is
gone afterwards is not deleted: its lines are turned into comments under a note that says why. A kind of pixel may be
new: it is written behind the one that it is like.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import tomlkit
from pydantic import BaseModel
from tomlkit.items import AbstractTable, Array, Comment, InlineTable, Item, Table, Trivia, Whitespace

from patcher.errors import refuse
from patcher.show.likeness import sources
from patcher.show.line_numbers import HEADING, PART, _plain, with_ends_of
from patcher.show.run_tables import Run
from patcher.show.schema import Feed, PixelType, Show, Supply, Tap
from patcher.units import METRES_PER

_TABLES = {"pixel": "pixel_types", "controller": "controllers", "run": "runs", "supply": "supplies", "feed": "feeds"}
_LENGTHS = ("lead", "nulls_at", "at")
_COMMENT = re.compile(r"#[^\n]*")
Place = tuple[str, ...]


def edited(text: str, before: Show, after: Show, note: str) -> str:
    """The text of a show file that said `before` and now says `after`.

    Args:
        text: the file's text.
        before: the show that it describes.
        after: the same show with some values changed, with some controllers or supplies gone, or with another kind of
            pixel.
        note: the words put above a table that is gone, after its `#`.

    Raises:
        PatcherError: a table that is gone is not written under a heading of its own.
    """
    if "\r\n" in text:
        return with_ends_of(text, edited(text.replace("\r\n", "\n"), before, after, note))
    unit = METRES_PER[before.settings.units]
    document = tomlkit.parse(text)
    gone: list[Place] = []
    like = sources(document, "run")
    for table, attribute in _TABLES.items():
        old, new = getattr(before, attribute), getattr(after, attribute)
        for name, model in old.items():
            if name not in new:
                gone.append((table, name))
                continue
            for key, value in _changes(model, new[name], unit):
                if key == "taps":
                    _set_taps(document[table][name]["taps"], model.taps, new[name].taps)
                else:
                    if table == "run" and name in like.values():
                        _leave_copies(document["run"], [run for run in like if like[run] == name], key, old, unit)
                    _set(document[table][name], key, value)
    for number, (accept, changed) in enumerate(zip(before.accepts, after.accepts, strict=True)):
        for key, value in _changes(accept, changed, unit):
            _set(document["accept"][number], key, value)
    found = tomlkit.dumps(document)
    for place in gone:
        found = _commented_out(found, place, note)
    for name, kind in after.pixel_types.items():
        if name not in before.pixel_types:
            found = _with_kind(found, kind, before)
    return found


def _leave_copies(tables: Any, copies: Iterable[str], key: str, before: Mapping[str, BaseModel], unit: float) -> None:
    """Let what is like a run, and has a key from it, say itself what it was: it does not change with it."""
    for copy in (copy for copy in copies if key not in tables[copy]):
        field = next(field for field, spec in type(before[copy]).model_fields.items() if key in (spec.alias, field))
        value = _written(field, getattr(before[copy], field), unit)
        if value is not None:
            _set(tables[copy], key, value)


def _set_taps(held: Any, old: Iterable[Tap], new: Iterable[Tap]) -> None:
    """Give taps the pixels that they join now."""
    for number, (was, now) in enumerate(zip(old, new, strict=True)):
        if was != now:
            held[number]["pixel"] = now.pixel


def _with_kind(text: str, kind: PixelType, before: Show) -> str:
    """The text with one more kind of pixel, behind the one that differs from it in the fewest keys."""
    keys = kind.model_dump()

    def differs(other: PixelType) -> int:
        return sum(value != keys[key] for key, value in other.model_dump().items())

    like = min(before.pixel_types.values(), key=differs)
    said = {**tomllib.loads(text)["pixel"][like.name]}
    said |= {key: value for key, value in keys.items() if value != getattr(like, key)}
    new = [f"[pixel.{kind.name}]", *(f"{key} = {tomlkit.item(value).as_string()}" for key, value in said.items())]
    lines = text.split("\n")
    last = next((end for _, end, place in sections(text) if place == ("pixel", like.name)), len(lines))
    while last and not says_more(lines[last - 1]):
        last -= 1
    return "\n".join([*lines[:last], "", *new, *(lines[last:] or [""])])


def sections(text: str) -> list[tuple[int, int, Place]]:
    """Where the table under each heading begins and ends, as lines from 0, and its place."""
    heads = [
        (number - 1, tuple(part.strip("\"'") for part in PART.findall(match[2])))
        for number, line in _plain(text)
        if (match := HEADING.match(line))
    ]
    ends = [*(at for at, _ in heads[1:]), text.count("\n") + 1][: len(heads)]
    return [(at, end, place) for (at, place), end in zip(heads, ends, strict=True)]


def says_more(line: str) -> bool:
    """Whether a line is more than a blank or a comment."""
    return bool(line.strip()) and not line.lstrip().startswith("#")


def with_supplies(text: str, supplies: Iterable[Supply], note: str) -> str:
    """The text of a show file with supplies written behind everything else: volts, amperes and box.

    Args:
        text: the file's text.
        supplies: the supplies.
        note: the words put above them, after a `#`.

    Raises:
        PatcherError: the file says its supplies in a form that no table can be put behind.
    """
    lines = ["", f"# {note}"]
    for supply in supplies:
        keys = {"volts": supply.volts, "amps": supply.amps, "box": supply.box}
        lines += ["", f"[supply.{supply.name}]"]
        lines += [f"{key} = {tomlkit.item(value).as_string()}" for key, value in keys.items() if value is not None]
    return _behind(text, lines, "supply")


def with_feeds(text: str, show: Show, feeds: Iterable[Feed], note: str) -> str:
    """The text of a show file with feeds written behind everything else.

    Args:
        text: the file's text.
        show: the show that it describes, for its units.
        feeds: the feeds; each tap at a pixel's number.
        note: the words put above them, after a `#`.

    Raises:
        PatcherError: the file says its feeds in a form that no table can be put behind.
    """
    unit = METRES_PER[show.settings.units]
    lines = ["", f"# {note}"]
    for feed in feeds:
        keys = {"supply": feed.supply, "from": feed.source, "tap": feed.tap, "awg": feed.awg, "mm2": feed.mm2}
        keys["fuse"] = None if feed.fuse is None else _amps(feed.fuse)
        lines += ["", f"[feed.{feed.name}]"]
        lines += [f"{key} = {tomlkit.item(value).as_string()}" for key, value in keys.items() if value is not None]
        lines += ["taps = ["]
        lines += [
            f'  {{ run = "{tap.run}", {_place(tap)}, length = {_length(tap.length, unit)!r}{_tap_fuse(tap)} }},'
            for tap in feed.taps
        ]
        lines += ["]"]
    return _behind(text, lines, "feed")


def _behind(text: str, lines: Iterable[str], table: str) -> str:
    """A text with tables behind everything else."""
    new = with_ends_of(text, text.rstrip("\r\n") + "\n" + "".join(f"{line}\n" for line in lines))
    try:
        tomllib.loads(new)
    except tomllib.TOMLDecodeError:
        says = f"is written so that no {table} can be put behind it"
        raise refuse(table, says, f"write each {table} under a heading of its own, [{table}.NAME]") from None
    return new


def with_points(text: str, run: str, file: str) -> str:
    """The text of a show file with a run drawn by the points of a file, in place of however it is drawn.

    Every comment stays. Keys that only another shape has are taken out, and where its data enters is, too: the points
    begin at pixel 1.

    Args:
        text: the file's text.
        run: the run.
        file: the CSV file with the places of its pixels, as the show file names it.

    Raises:
        PatcherError: the file says the run in a form that cannot be changed here.
    """
    if "\r\n" in text:
        return with_ends_of(text, with_points(text.replace("\r\n", "\n"), run, file))
    document = tomlkit.parse(text)
    table = document["run"][run]
    if not isinstance(table, AbstractTable):
        says = "is written in a way that cannot be changed here"
        raise refuse(f"run.{run}", says, f"write it under a heading of its own, [run.{run}]")
    for key in [*table]:
        if key not in {*Run.model_fields, "shape", "file", "like"}:
            take_out(table, key)
    _set(table, "shape", "points")
    _set(table, "file", file)
    return tomlkit.dumps(document)


def _amps(fuse: float) -> float:
    """A fuse as a person writes it."""
    return int(fuse) if fuse == int(fuse) else fuse


def _tap_fuse(tap: Tap) -> str:
    return "" if tap.fuse is None else f", fuse = {_amps(tap.fuse)!r}"


def _place(tap: Tap) -> str:
    return f"every = {tap.every}" if tap.every is not None else f"pixel = {tomlkit.item(tap.pixel).as_string()}"


def _changes(old: BaseModel, new: BaseModel, unit: float) -> Iterator[tuple[str, Any]]:
    """The keys whose values differ, as the file writes them; None where a key is to go."""
    if old == new:
        return
    for name, spec in type(new).model_fields.items():
        value = getattr(new, name)
        if value == getattr(old, name):
            continue
        key = spec.alias or name
        yield key, None if key == "spare" and not value else _written(key, value, unit)


def _written(key: str, value: Any, unit: float) -> Any:
    """A value as the file has it; None where the key is to go."""
    if key in _LENGTHS and value is not None:
        lengths = isinstance(value, tuple)
        return [_length(part, unit) for part in value] or None if lengths else _length(value, unit)
    return _plain_value(value)


def _plain_value(value: Any) -> Any:
    """A value of a model's as TOML holds it; None where a table would be empty."""
    if isinstance(value, BaseModel):
        return value.model_dump()
    if isinstance(value, Mapping):
        return {str(key): _plain_value(part) for key, part in value.items()} or None
    return list(value) if isinstance(value, tuple) else value


def _length(metres: float, unit: float) -> float:
    return round(metres / unit, 6)


def _set(table: AbstractTable, key: str, value: Any) -> None:
    """Give a key a value, where it stands or behind the table's other keys; None takes it out, but for its comment."""
    if value is None:
        if key in table:
            take_out(table, key)
    elif isinstance(value, dict) and isinstance(held := table.get(key), AbstractTable):
        for gone in [name for name in held if name not in value]:
            take_out(held, gone)
        for name, part in value.items():
            _set(held, name, part)
    elif key in table:
        replace(table, key, value)
    elif isinstance(value, dict) and key != "logic" and isinstance(table, Table):
        section = tomlkit.table()
        for name, part in value.items():
            section.add(name, part)
        _add_section(table, key, section)
    else:
        add_key(table, key, _inline(value) if isinstance(value, dict) else tomlkit.item(value))


def _inline(value: dict[str, Any]) -> InlineTable:
    pairs = ", ".join(f"{key} = {tomlkit.item(part).as_string()}" for key, part in value.items())
    table = tomlkit.parse(f"x = {{ {pairs} }}")["x"]
    if not isinstance(table, InlineTable):
        raise TypeError(pairs)
    return table


def _place_of(table: AbstractTable, key: str) -> tuple[int, Item]:
    body = table.value.body
    return next((at, held) for at, (name, held) in enumerate(body) if name is not None and name.key == key)


def comments(held: Item) -> list[str]:
    """The comments inside a value of several lines or a table, and the one behind it; no value holds a #."""
    inside = _COMMENT.findall(held.as_string()) if isinstance(held, Array | AbstractTable) else []
    behind = [comment] if (comment := held.trivia.comment) else []
    return [*behind, *inside] if isinstance(held, Table) else [*inside, *behind]


def take_out(table: AbstractTable, key: str) -> None:
    """Take a key out; its comments stay, on lines of their own."""
    at, held = _place_of(table, key)
    said = comments(held)
    table.remove(key)
    if said and isinstance(table, Table):
        table.value.body[at] = (None, Comment(Trivia(comment="\n".join(said))))


def replace(table: AbstractTable, key: str, value: Any) -> None:
    """Give a key another value where it stands; comments inside the old one stay, on lines behind it."""
    _, held = _place_of(table, key)
    said = comments(held)
    table[key] = value
    if len(said) > bool(held.trivia.comment):
        _, written = _place_of(table, key)
        written.trivia.comment_ws = written.trivia.comment = ""
        written.trivia.trail = "\n".join(["", *said, ""])


def add_key(table: AbstractTable, key: str, item: Item) -> None:
    """Give a table one more key, behind its others."""
    plain = [name for name, held in table.value.body if name is not None and not isinstance(held, Table)]
    if isinstance(table, Table) and plain:
        table.value._insert_after(plain[-1].key, key, item)
    else:
        table.add(key, item)


def _add_section(table: Table, key: str, section: Table) -> None:
    """Put a table of its own behind a table and what belongs to it, before what stands above the next heading."""
    last = table
    while inner := [item for name, item in last.value.body if name is not None and isinstance(item, Table)]:
        last = inner[-1]
    body = last.value.body
    trivia = len(body)
    while trivia and isinstance(body[trivia - 1][1], Comment | Whitespace):
        trivia -= 1
    blank = next((at for at in range(trivia, len(body)) if isinstance(body[at][1], Whitespace)), trivia)
    rest = body[blank:]
    del body[blank:]
    body.append((None, Whitespace("\n")))
    table.add(key, section)
    section.value.body.extend(rest)


def _commented_out(text: str, place: Place, note: str) -> str:
    """The text with every line of a table, and of the tables in it, made a comment."""
    lines = text.split("\n")
    own = [section for section in sections(text) if section[2][: len(place)] == place]
    if not own or own[0][2] != place:
        where = ".".join(place)
        raise refuse(where, "has no heading of its own in the file", f"write it under [{where}], then swap again")
    for at, end, _ in own:
        lines[at:end] = [f"# {line}" if says_more(line) else line for line in lines[at:end]]
    lines.insert(own[0][0], f"# {note}")
    return "\n".join(lines)
