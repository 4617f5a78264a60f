"""From the text of a show file to a `Show`, or to everything that is wrong with it in one go.

Reading executes, follows and fetches nothing. A table that cannot be read is set aside, so that the others are still
held against each other and every problem is said at once.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

from pydantic import ValidationError

from patcher.errors import Finding, refuse
from patcher.show import references
from patcher.show.lines import line_of
from patcher.show.problems import Place, translate
from patcher.show.schema import Show
from patcher.units import METRES_PER

ReadPoints = Callable[[str], list[list[float]]]


class Reading(NamedTuple):
    """What could be read of a show, and what is wrong with the rest.

    `show` is complete where there are no findings; with findings it is what could be read, for further checks only, and
    None where nothing could.
    """

    show: Show | None
    findings: tuple[Finding, ...]


def no_points(name: str) -> list[list[float]]:
    """Stands for the reader of points files where there is no folder to read from."""
    raise ValueError(f"names the file {name}, but there is no folder to look in")


def parse(text: str) -> dict[str, Any]:
    """The tables of a TOML text; PatcherError where it is not TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise refuse("the file", f"is not TOML: {error}", _toml_remedy(text, str(error)), rule="toml") from None
    except RecursionError:
        raise refuse("the file", "nests brackets too deeply to be a show file", "flatten it", rule="toml") from None


def _toml_remedy(text: str, message: str) -> str:
    found = re.search(r"at line (\d+)", message)
    lines = text.splitlines()
    line = lines[int(found[1]) - 1] if found and int(found[1]) <= len(lines) else ""
    if not line.isascii():
        return 'names and keys are letters from a to z; text in another script stands in "quotes"'
    if "overwrite" in message.lower() or "twice" in message.lower():
        return "the same key or heading stands there twice: take one out, or rename it"
    return 'look at this line and the one before: texts stand in "quotes", lists in [brackets], comments behind #'


def read(text: str, points: ReadPoints = no_points) -> Reading:
    """Read the text of a show file.

    Parameters
    ----------
        text: the file's text, without a byte order mark.
        points: reads the CSV file of a run of shape points, by the name that the run gives; ValueError says why not.

    Raises:
    ------
        PatcherError: the text is not TOML at all.

    """
    raw = parse(text)
    settings = raw.get("show")
    units = settings.get("units", "m") if isinstance(settings, dict) else "m"
    context = {"metres": METRES_PER.get(units, 1.0) if isinstance(units, str) else 1.0, "points": points}
    show, findings = _validate(raw, text, context)
    found = list(references.unknown_names(raw))
    if show is not None:
        found += references.misfits(show, references.declared(raw))
    findings += [replace(finding, line=line_of(text, _place_of(finding.where))) for finding in found]
    return Reading(show, tuple(sorted(findings, key=lambda finding: finding.line or 0)))


def _place_of(where: str) -> Place:
    return tuple(where.split("[")[0].split("."))


def _validate(raw: dict[str, Any], text: str, context: dict[str, Any]) -> tuple[Show | None, list[Finding]]:
    """The show of the tables that can be read, and what is wrong with the others."""
    try:
        return Show.model_validate(raw, context=context), []
    except ValidationError as error:
        problems = translate(error, raw, text)
    rest = copy.deepcopy(raw)
    for place, _ in problems:
        _set_aside(rest, place)
    rest.setdefault("show", {"title": ""})
    try:
        show = Show.model_validate(rest, context=context)
    except ValidationError:
        show = None
    return show, [finding for _, finding in problems]


def _set_aside(raw: dict[str, Any], place: Place) -> None:
    match place:
        case ():
            raw.clear()
        case (str(table), str(name), *_) if table in raw and table != "show" and isinstance(raw[table], dict):
            raw[table].pop(name, None)
        case (str(table), *_):
            raw.pop(table, None)
