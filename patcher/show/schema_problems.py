"""Errors of the schema as findings in plain words.

Each error of the schema's becomes one `Finding`: the place as it is written in the file, the reason, and what to do,
with the nearest known key where one was misspelt.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Literal, get_args, get_origin
from unicodedata import combining, normalize

from pydantic import BaseModel, ValidationError

from patcher.errors import DID_YOU_MEAN, Finding, choose_from, nearest
from patcher.show.likeness import Copy
from patcher.show.line_numbers import Place
from patcher.show.mains_tables import Socket
from patcher.show.photo_tables import Photo, PhotoSpan, PhotoWall, PicturePoint
from patcher.show.run_tables import RUN_KINDS, run_kind
from patcher.show.schema import (
    Accept,
    CableRoute,
    Controller,
    Feed,
    GridProp,
    Logic,
    PixelType,
    Prop,
    Settings,
    Show,
    Supply,
    Tap,
    prop_kind,
)
from patcher.show.tables import LONGEST_NAME, NAME_PATTERN, Point
from patcher.trade import SACN_IS_E131, UNIVERSE_0, is_sacn
from patcher.units import of_percent

_TABLES: dict[str, type[BaseModel]] = {
    "show": Settings,
    "pixel": PixelType,
    "controller": Controller,
    "supply": Supply,
    "socket": Socket,
    "feed": Feed,
    "route": CableRoute,
    "accept": Accept,
}

_WANTED: dict[str, str] = {
    "int_type": "a whole number",
    "float_type": "a number",
    "string_type": 'text in "quotes"',
    "bool_type": "true or false, without quotes",
    "tuple_type": "a list in [brackets]",
    "list_type": "a list in [brackets]",
    "dict_type": "a table of its own",
    "model_type": "a table of its own",
    "model_attributes_type": "a table of its own",
}


_RELATIONS = {
    "greater_than": "more than", "greater_than_equal": "at least",
    "less_than": "less than", "less_than_equal": "at most",
}  # fmt: skip


MOST_SHOWN = 4
"""So many points of a list are written out."""

ProblemWords = tuple[str, str, str]
"""The rule, what is wrong, and what to do about it."""


def keys_of(model: type[BaseModel]) -> list[str]:
    """The keys of a table as a person writes them."""
    return [field.alias or name for name, field in model.model_fields.items()]


def _model_at(place: Place, raw: Mapping[str, Any]) -> type[BaseModel] | None:
    match place:
        case ():
            return Show
        case ("run", name):
            return RUN_KINDS.get(run_kind(raw["run"][name]))
        case ("prop", name):
            return GridProp if prop_kind(raw["prop"][name]) == "grid" else Prop
        case ("controller", _, "logic"):
            return Logic
        case ("feed", _, "taps", _):
            return Tap
        case ("show", "photo"):
            return Photo
        case ("show", "photo", "wall"):
            return PhotoWall
        case ("show", "photo", "spans", _):
            return PhotoSpan
        case ("show",) | ("pixel" | "controller" | "supply" | "socket" | "feed" | "route" | "accept", _):
            return _TABLES[str(place[0])]
        case _:
            return None


def place_in(raw: Any, location: tuple[str | int, ...], *, names_a_key: bool) -> Place:
    """A schema location as a place in the file, without the tags that the schema puts in for its kinds of tables.

    Args:
        raw: the tables as they were read.
        location: where the schema says that it is.
        names_a_key: the last step is a key, whether it is there or missing; else what is not there is a tag.
    """
    steps = [step for step in location if step != "[key]"]
    if len(steps) > 2 and steps[0] in ("run", "prop"):
        del steps[2]
    place: list[str | int] = []
    node: Any = raw
    for index, step in enumerate(steps):
        held = isinstance(node, dict) and step in node
        if held or (isinstance(node, list) and isinstance(step, int) and step < len(node)):
            node = node[step]
        elif not (names_a_key and index == len(steps) - 1):
            continue
        place.append(step)
    return tuple(place)


def written(place: Place) -> str:
    """A place as a person reads it: `run.towpath.path[2]`; list items count from 1."""
    text = ""
    for step in place:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else step
    return text or "the file"


def _unknown_key(place: Place, raw: Mapping[str, Any]) -> ProblemWords:
    key = str(place[-1])
    model = _model_at(place[:-1], raw)
    known = keys_of(model) if model else []
    if place[0] in ("run", "prop") and key in Copy.model_fields:
        return "unknown-key", "is a key of what is like another", 'say which: like = "NAME"; or take it out'
    if place[0] == "run" and not nearest(key, known):
        kinds = [name for name, kind in RUN_KINDS.items() if key in keys_of(kind)]
        if kinds:
            shape = run_kind(raw["run"][place[1]])
            here = "a run with no shape" if shape == "none" else f"shape = “{shape}”"
            return "unknown-key", f"is not a key of {here}", f"take it out; it belongs to: {', '.join(kinds)}"
    if hint := nearest(key, known):
        return "unknown-key", "is not a known key", DID_YOU_MEAN.format(hint)
    return "unknown-key", "is not a known key", f"take it out; the keys here are: {', '.join(known)}"


def _choices(place: Place, raw: Mapping[str, Any]) -> str:
    """What may stand behind a key, where that is one of few words."""
    model = _model_at(place[:-1], raw)
    field = model.model_fields.get(str(place[-1])) if model else None
    if field is None or get_origin(field.annotation) is not Literal:
        return _EXAMPLES.get(str(place[-1]), "…")
    *few, last = (f'"{choice}"' for choice in get_args(field.annotation))
    return f"{', '.join(few)} or {last}"


_SHAPES = [kind for kind in RUN_KINDS if kind != "none"]
_EXAMPLES = {"colour_order": '"RGB", "GRB", "RGBW" …, as its chip takes them', "file": '"house.jpg"'}
"""What may stand behind a key that people leave out, where its name does not say."""


def _shown(value: Any) -> str:
    text = {True: "true", False: "false"}.get(value) if isinstance(value, bool) else repr(value)
    text = text or ""
    return text if len(text) <= 40 else text[:37] + "…"


def _wrong_length(context: Mapping[str, Any]) -> ProblemWords:
    has = f"has {context['actual_length']} item{'s' * (context['actual_length'] != 1)}"
    if "min_length" in context:
        return "value", f"{has}, but needs at least {context['min_length']}", "add to it"
    return "value", f"{has}, but may have at most {context['max_length']}", "shorten it"


def _words(error: Mapping[str, Any], place: Place, raw: Mapping[str, Any]) -> ProblemWords:
    context = error.get("ctx", {})
    if error["loc"][-1] == "[key]":
        if error["type"] == "value_error":
            return "name", str(context["error"]), 'write the port\'s number: 1 = ["run"]'
        return _bad_name(error["input"])
    match error["type"]:
        case "extra_forbidden":
            return _unknown_key(place, raw)
        case "missing":
            return _missing(place, raw)
        case "union_tag_invalid":
            known = choose_from(context["tag"], _SHAPES)
            return "shape", f"no shape is named “{context['tag']}”", f"{known}; or leave out the key shape"
        case "too_short" | "too_long":
            return _wrong_length(context)
        case kind if kind in _RELATIONS:
            return _out_of_range(error, place)
        case _:
            return _wrong_value(error, place, raw)


def _out_of_range(error: Mapping[str, Any], place: Place) -> ProblemWords:
    context, value = error.get("ctx", {}), error["input"]
    says = f"is {_shown(value)}, but must be {_RELATIONS[error['type']]} {next(iter(context.values())):g}"
    if place[-1] == "first_universe" and value == 0:
        return "value", says, UNIVERSE_0
    percent = of_percent(str(value)) if context.get("le") == 1 else ""
    return "value", says, f"write {percent}" if percent else "correct the number"


def _wrong_value(error: Mapping[str, Any], place: Place, raw: Mapping[str, Any]) -> ProblemWords:
    kind, context, value = error["type"], error.get("ctx", {}), error["input"]
    match kind:
        case "value_error":
            says, _, remedy = str(context["error"]).partition(" → ")
            return "value", says, remedy or "correct it"
        case "literal_error":
            choices = re.findall(r"'([^']*)'", context["expected"])
            sacn = place[-1] == "protocol" and is_sacn(str(value))
            return "value", f"cannot be {_shown(value)}", SACN_IS_E131 if sacn else choose_from(str(value), choices)
        case "finite_number":
            return "value", f"is {value}, which is not an ordinary number", "write an ordinary number"
        case "string_pattern_mismatch":
            return _bad_pattern(place, value)
        case "string_too_long":
            return "name", f"is longer than {context['max_length']} characters", "choose a shorter one"
        case "float_type" if _is_part(place, raw) and (percent := of_percent(str(value))):
            return "value", f"is {_shown(value)}, but must be a number from 0 to 1", f"write {percent}"
        case _ if kind in _WANTED:
            return "value", f"is {_shown(value)}, but must be {_WANTED[kind]}", f"write {_WANTED[kind]}"
        case _:
            return "value", str(error["msg"]), "correct it"


def _is_part(place: Place, raw: Mapping[str, Any]) -> bool:
    """Whether a key takes a part of 1."""
    model = _model_at(place[:-1], raw)
    field = model.model_fields.get(str(place[-1])) if model else None
    if field is None:
        return False
    either = (info for each in get_args(field.annotation) for info in getattr(each, "__metadata__", ()))  # or None
    bounds = [*field.metadata, *(bound for info in either for bound in getattr(info, "metadata", ()))]
    return any(getattr(bound, "le", None) == 1 for bound in bounds)


def _missing(place: Place, raw: Mapping[str, Any]) -> ProblemWords:
    if isinstance(place[-1], int):
        return "value", "is missing: a point is two numbers", "write [x, y]"
    if len(place) == 1:
        return "missing-key", "is missing", f"add a line [{place[0]}]; patcher new FILE writes a complete file"
    return "missing-key", "is missing", f"add it: {place[-1]} = {_choices(place, raw)}"


def _bad_name(name: Any) -> ProblemWords:
    instead = plain_name(name) if isinstance(name, str) else ""
    return (
        "name",
        "is not a name: a name is a letter from a to z, then letters, digits, - and _, at most 60",
        f"{f'write {instead}' if instead else 'rename it'} everywhere in this file; titles may be in any script",
    )


_GERMAN = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss"})


def plain_name(text: str) -> str:
    """A name that is nearest to a text with other letters than a to z; empty where there is none.

    Umlauts are written out, as German does; of other letters the marks are left out.
    """
    written_out = normalize("NFC", text).translate(_GERMAN)
    plain = "".join(letter for letter in normalize("NFKD", written_out) if not combining(letter))
    return plain if re.fullmatch(NAME_PATTERN, plain) and len(plain) <= LONGEST_NAME else ""


def _bad_pattern(place: Place, value: Any) -> ProblemWords:
    if place[-1] == "colour_order":
        return "value", f"is {_shown(value)}", "write one capital letter a channel: RGB, GRB, RGBW"
    if len(place) > 2 and place[2] == "start":
        return "value", f"is {_shown(value)}", 'write universe/channel in quotes: "24/1"'
    return _bad_name(value)


def _flat_points(place: Place, raw: Mapping[str, Any]) -> tuple[Place, ProblemWords] | None:
    """The key whose list of points was written as one list of numbers, with what to write; None where none was."""
    for length in range(1, len(place) + 1):
        key = place[:length]
        model = _model_at(key[:-1], raw)
        field = model.model_fields.get(str(key[-1])) if model else None
        if field is None or get_origin(field.annotation) is not tuple:
            continue
        if not {Point, PicturePoint} & {*get_args(field.annotation)}:
            continue
        node: Any = raw
        for step in key:
            node = node[step] if isinstance(node, dict) and step in node else None
        if isinstance(node, list) and node and all(isinstance(n, int | float) and n is not True for n in node):
            says = "is a list of numbers, but must be a list of points, each [x, y]"
            return key, ("value", says, f"write [{_in_pairs(node)}]")
    return None


def _in_pairs(numbers: Sequence[float]) -> str:
    """Numbers as points; an odd one has nobody to go with, so that only their form can be said."""
    if len(numbers) % 2:
        return "[x, y], [x, y] …"
    pairs = [f"[{', '.join(map(str, numbers[at : at + 2]))}]" for at in range(0, len(numbers), 2)]
    return ", ".join(pairs if len(pairs) <= MOST_SHOWN else [*pairs[:MOST_SHOWN], "…"])


def _either(detail: Mapping[str, Any], details: Sequence[Any]) -> ProblemWords | None:
    """Of a key that takes a number or one of few words: what it takes, where neither was written; else None."""
    around = [other for other in details if other["loc"][:-1] == detail["loc"][:-1]]
    words = [other["ctx"]["expected"] for other in around if other["type"] == "literal_error"]
    value = detail["input"]
    if not words or not any(other["type"] in ("int_type", "int_from_float") for other in around):
        return None
    choices = re.findall(r"'([^']*)'", words[0])
    remedy = choose_from(str(value), choices, most=20) if isinstance(value, str) else f"write {', '.join(choices)}"
    return "value", f"cannot be {_shown(value)}", f"{remedy.rstrip('?')}; or a whole number, without quotes"


def translate(error: ValidationError, raw: Mapping[str, Any]) -> list[tuple[Place, Finding]]:
    """Each error of the schema's, as the place it is about and the finding that tells a person of it."""
    found: dict[tuple[str, str], tuple[Place, Finding]] = {}
    details = error.errors(include_url=False)
    for detail in details:
        location = detail["loc"]
        follows_from_another = detail["type"] == "too_short" and any(
            other["loc"][: len(location)] == location and other is not detail for other in details
        )
        if follows_from_another:
            continue
        place = place_in(raw, location, names_a_key=detail["type"] == "missing")
        if flat := _flat_points(place, raw):
            place, (rule, says, remedy) = flat
        else:
            rule, says, remedy = _either(detail, details) or _words(detail, place, raw)
        finding = Finding("error", rule, "file", written(place), says, remedy)
        found.setdefault((finding.where, _one_of_a_union(detail, says)), (place, finding))
    meant = {(place[:-1], finding.remedy) for place, finding in found.values() if finding.rule == "unknown-key"}
    return [
        (place, finding)
        for place, finding in found.values()
        if finding.rule != "missing-key" or (place[:-1], DID_YOU_MEAN.format(place[-1])) not in meant
    ]


def _one_of_a_union(detail: Mapping[str, Any], says: str) -> str:
    """A key of several kinds (a pixel number, “first” or “last”) is complained of once, not once a kind."""
    return "union" if str(detail["loc"][-1]).startswith(("constrained-", "literal[")) else says
