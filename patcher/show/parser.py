"""Reads the text of a show file into a `Show`, and finds everything that is wrong with it at once.

Reading executes, follows and fetches nothing. A table that cannot be read is set aside, so that the others are still
held against each other and every problem is said at once.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

from pydantic import ValidationError

from patcher.errors import Finding, PatcherError, refuse
from patcher.show import references
from patcher.show.likeness import expanded, inherited, sources
from patcher.show.line_numbers import Place, located
from patcher.show.schema import Show
from patcher.show.schema_problems import plain_name, translate
from patcher.units import METRES_PER, of_percent

ReadPoints = Callable[[str], list[list[float]]]


class ParsedShow(NamedTuple):
    """What could be read of a show, and what is wrong with the rest.

    `show` is complete where there are no findings; with findings it is what could be read, for further checks only, and
    None where nothing could.
    """

    show: Show | None
    findings: tuple[Finding, ...]
    text: str = ""


def no_points(name: str) -> list[list[float]]:
    """Stands for the reader of points files where there is no folder to read from."""
    raise ValueError(f"names the file {name}, but there is no folder to look in")


MOST_POINTS = 1_000_000
"""Places that the points files of one show may list, each as often as a run names it."""


def _bounded(points: ReadPoints) -> ReadPoints:
    """The same reader, which refuses what together is past all use."""
    listed = 0

    def read_points(name: str) -> list[list[float]]:
        nonlocal listed
        if listed > MOST_POINTS:
            raise ValueError(_TOO_MANY.format(name))
        places = points(name)
        listed += len(places)
        if listed > MOST_POINTS:
            raise ValueError(_TOO_MANY.format(name))
        return places

    return read_points


_TOO_MANY = (
    "names the file {}, and with it the points files of this show list more than a million places → "
    "name each file once, or draw a shape"
)


def parse(text: str, name: str = "the file") -> dict[str, Any]:
    """The tables of a TOML text; PatcherError where it is not TOML, or no show by its measure."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise refuse(name, f"is not TOML: {error}", _toml_remedy(text, str(error)), rule="toml") from None
    except RecursionError:
        raise _refused(name, _TOO_DEEP) from None
    except ValueError:
        raise _refused(name, _TOO_LARGE) from None
    _measure(tables, name)
    return tables


_DEEPEST = 16
_TOO_DEEP = "nests tables or brackets too deeply to be a show file"
_TOO_LARGE = "holds a whole number of more than 64 bits"


def _refused(name: str, says: str) -> PatcherError:
    return refuse(name, says, "write it as patcher new does", rule="toml")


def _measure(tables: dict[str, Any], name: str) -> None:
    """Refuse what TOML promises no reader: numbers past 64 bits (TOML 1.0, Integer), and a depth past all use."""
    level: list[Any] = [tables]
    for _ in range(_DEEPEST):
        inner: list[Any] = []
        for node in level:
            for value in node.values() if isinstance(node, dict) else node:
                if isinstance(value, dict | list):
                    inner.append(value)
                elif isinstance(value, int) and not -(1 << 63) <= value < 1 << 63:
                    raise _refused(name, _TOO_LARGE)
        level = inner
    if level:
        raise _refused(name, _TOO_DEEP)


def _toml_remedy(text: str, message: str) -> str:
    found = re.search(r"at line (\d+), column (\d+)", message)
    lines = text.splitlines()
    line = lines[int(found[1]) - 1] if found and int(found[1]) <= len(lines) else ""
    if found and (remedy := _other_letters(line, int(found[2]) - 1)):
        return remedy
    if number := re.search(r"=\s*([+-]?\d+),(\d+)\s*(?:#|$)", line):
        return f"a number has a point, not a comma: {number[1]}.{number[2]}"
    if (part := re.search(r"^\s*level\s*=\s*([\d.]+\s*%)\s*(?:#|$)", line)) and (percent := of_percent(part[1])):
        return f"a number stands alone: write {percent}"
    if any(word in message.lower() for word in ("overwrite", "twice", "immutable")):
        if clash := _key_and_heading(lines, int(found[1]) if found else 0):
            return clash
        return "the same key or heading stands there twice: take one out, or rename it"
    return 'look at this line and those above it: texts stand in "quotes", lists in [brackets], comments behind #'


_HEADING = re.compile(r"\s*\[\[?\s*([\w.-]+)\s*\]")


def _key_and_heading(lines: list[str], number: int) -> str:
    """What to do where a table has a key and a heading of one name, of which one stands on a line, from 1; empty where
    none does.
    """
    headings, key_of, table = dict[str, int](), dict[str, int](), ""
    for at, line in enumerate(lines[:number], start=1):
        if heading := _HEADING.match(line):
            table = heading[1]
            headings.setdefault(table, at)
        elif key := re.match(r"\s*([\w-]+)\s*=", line):
            key_of.setdefault(f"{table}.{key[1]}" if table else key[1], at)
    for name in sorted(headings.keys() & key_of.keys()):
        if number in (headings[name], key_of[name]):
            above, _, own = name.rpartition(".")
            here = f"[{above}]" if above else "the file"
            said = f"{own} is a key of {here} (line {key_of[name]}) and a heading, [{name}] (line {headings[name]})"
            return f"{said}: take one out, or rename it" + _of_ports(name)
    return ""


def _of_ports(name: str) -> str:
    """What else to say of `[controller.NAME.ports]`, which is meant as `port`."""
    box = re.fullmatch(r"controller\.([\w-]+)\.ports", name)
    return f"; the runs on its ports stand under [controller.{box[1]}.port]" if box else ""


_WORD = r"""[^\s\[\]{}=.,:;#"'“”„‘’‚«»]+"""


def _other_letters(line: str, column: int) -> str | None:
    """What to do where a line of TOML has other letters than a to z at a column, from 0, and outside quotes."""
    word = next((each for each in re.finditer(_WORD, line) if each.start() <= column < each.end()), None)
    if (word[0] if word else line[column : column + 1]).isascii():
        return None
    if word is None or ("=" in line[:column] and not re.match(r"\s*=", line[word.end() :])):
        return 'text in another script stands in straight "quotes"; a name has only letters from a to z'
    instead = plain_name(word[0])
    remedy = f"write {instead} everywhere" if instead else "choose another one, without quotes"
    return f"names and keys have only letters from a to z, digits, - and _: {remedy}; titles may have any letters"


def read(text: str, points: ReadPoints = no_points, name: str = "the file") -> ParsedShow:
    """Read the text of a show file.

    Parameters
    ----------
        text: the file's text, without a byte order mark.
        points: reads the CSV file of a run of shape points, by the name that the run gives; ValueError says why not.

    Raises:
    ------
        PatcherError: the text is not TOML at all.

    """
    raw = parse(text, name)
    settings = raw.get("show")
    units = settings.get("units", "m") if isinstance(settings, dict) else "m"
    context = {"metres": METRES_PER.get(units, 1.0) if isinstance(units, str) else 1.0, "points": _bounded(points)}
    whole, found = expanded(raw, _bounded(points))
    try:
        show: Show | None = Show.model_validate(whole, context=context)
    except ValidationError as error:
        problems = translate(error, whole)
        found += _each_once(problems, raw)
        show = _what_is_left(whole, [place for place, _ in problems], context | {"points": _bounded(points)})
    found += references.unknown_names(raw)
    if show is not None:
        found += references.misfits(show, references.declared(raw))
    return ParsedShow(show, tuple(located(found, text)) if found else (), text)


def _each_once(problems: Sequence[tuple[Place, Finding]], raw: dict[str, Any]) -> Iterator[Finding]:
    """What is wrong, without what copies have from others of which the same is said."""
    said = {(place, finding.says) for place, finding in problems}
    like = {kind: sources(raw, kind) for kind in ("run", "prop")}
    for place, finding in problems:
        source = inherited(place, raw, like)
        if source is None or (source, finding.says) not in said:
            yield finding


def _what_is_left(raw: dict[str, Any], places: list[Place], context: dict[str, Any]) -> Show | None:
    """The show without the tables that cannot be read."""
    rest = copy.deepcopy(raw)
    for place in places:
        _set_aside(rest, place)
    rest.setdefault("show", {"title": ""})
    try:
        return Show.model_validate(rest, context=context)
    except ValidationError:
        return None


def _set_aside(raw: dict[str, Any], place: Place) -> None:
    match place:
        case ():
            raw.clear()
        case ("show", "photo", *_) if isinstance(raw["show"], dict):
            raw["show"].pop("photo", None)
        case (str(table), str(name), *_) if table in raw and table != "show" and isinstance(raw[table], dict):
            raw[table].pop(name, None)
        case (str(table), *_):
            raw.pop(table, None)
