"""The keys of the show file, from the models that read it: meaning, default, unit and limits, table by table."""

from __future__ import annotations

import re
from collections.abc import Iterator, Set
from typing import Any, get_args, get_origin

from patcher.reference.topics import TopicPart
from patcher.show.likeness import Copy
from patcher.show.schema import Show
from patcher.show.tables import NAME_PATTERN, Table

WORDS = {NAME_PATTERN: "a name", r"^[0-9]{1,5}/[0-9]{1,3}$": "universe/channel", r"^[A-Z]{1,12}$": "1 to 12 letters"}
"""What a pattern of the schema means, in words."""


GIVEN = "given"
"""What the JSON Schema of a key has that must be given in some tables and not in others: when."""


def show_keys() -> list[TopicPart]:
    """Every table of the show file with its keys, in the schema's order."""
    top = {name: _models(field.annotation) for name, field in Show.model_fields.items()}
    apart = {model for models in top.values() for model in models}
    parts: list[TopicPart] = []
    for name, models in top.items():
        key = Show.model_fields[name].alias or name
        title = _title(key, Show.model_fields[name].annotation)
        shared = _shared(models)
        if shared is not None:
            parts += _table(title, shared, ())
        for model in models:
            parts += _table(title + _shape(model, models), model, shared.model_fields if shared else ())
        if key == "run":
            parts += _table('[run.NAME] like = "OTHER"', Copy, ())
        for model in dict.fromkeys([*models, *([shared] if shared else [])]):
            parts += _inner_tables(title, model, apart)
    return parts


def _inner_tables(title: str, model: type[Table], apart: Set[type[Table]]) -> list[TopicPart]:
    """The tables in a table, and those in them, but for those that stand apart; under a heading of their own where
    what they are begins with it.
    """
    parts: list[TopicPart] = []
    for name, field in model.model_fields.items():
        for inner in (each for each in _models(field.annotation) if each not in apart):
            own = re.match(r"\[[\w.]+\](?=: )", inner.__doc__ or "")
            heading = own[0] if own else f"{title} {field.alias or name}"
            parts += [*_table(heading, inner, ()), *_inner_tables(heading, inner, apart)]
    return parts


def _title(key: str, annotation: Any) -> str:
    """How a table's heading is written: with a name, as one of a list, or as a table that there is once."""
    origin = get_origin(annotation)
    return f"[{key}.NAME]" if origin is dict else f"[[{key}]]" if origin is tuple else f"[{key}]"


def _models(annotation: Any) -> list[type[Table]]:
    """The tables that an annotation is made of."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models(part)]


def _shared(models: list[type[Table]]) -> type[Table] | None:
    """The base that gives all kinds of a table their common keys; None where they have none."""
    bases = (base for base in models[0].__mro__ if all(issubclass(model, base) for model in models))
    base = next(bases)
    return base if len(models) > 1 and issubclass(base, Table) and base.model_fields else None


def _shape(model: type[Table], models: list[type[Table]]) -> str:
    """Which kind of a table it is, where there are several that say so by their shape."""
    if not any("shape" in each.model_fields for each in models):
        return ""
    field = model.model_fields.get("shape")
    return f' shape = "{get_args(field.annotation)[0]}"' if field else " without a shape"


def _table(title: str, model: type[Table], without: Any) -> list[TopicPart]:
    """A heading, what the table is, and its keys but for some; its shape stands in the heading."""
    schema = model.model_json_schema(by_alias=True)
    says = re.sub(r"^\[+[^\]]*\]+: ", "", schema.get("description", "")).strip()
    entries = [
        TopicPart("entry", "\n".join(_key(key, field, key in schema.get("required", ()))), key)
        for name, info in model.model_fields.items()
        if name not in without and (key := info.alias or name)
        for field in [schema["properties"][key]]
        if "const" not in field
    ]
    text = [TopicPart("text", says[:1].upper() + says[1:])] if says else []
    return [TopicPart("heading", title), *text, *entries]


def _key(key: str, field: dict[str, Any], required: bool) -> Iterator[str]:
    """What a key means; then its default, and what it may be."""
    yield " ".join(field.get("description", "").split())
    default = field.get("default")
    shown = f'"{default}"' if isinstance(default, str) else str(default).lower()
    if isinstance(default, float):
        shown = f"{default:g}"
    given = "may be left out" if default in (None, "", (), [], {}) else f"default {shown}"
    given = field.get(GIVEN, given)
    yield f"{'must be given' if required else given}; {_values(field)}"


def _values(field: dict[str, Any]) -> str:
    """What a value may be, in words: `number in V, 0.001 to 1000`."""
    if "anyOf" in field:
        return " or ".join(_values(each) for each in field["anyOf"] if each.get("type") != "null")
    if "enum" in field:
        return " or ".join(f'"{word}"' for word in field["enum"])
    match field.get("type"):
        case "number" | "integer":
            return _range(field)
        case "boolean":
            return "true or false"
        case "string":
            return WORDS.get(field.get("pattern", ""), "text")
        case "array":
            return _list(field)
    return "a table"


def _range(field: dict[str, Any]) -> str:
    kind = "whole number" if field["type"] == "integer" else "number"
    unit = f" {field['unit']}" if "unit" in field else ""
    low, high, over = (field.get(limit) for limit in ("minimum", "maximum", "exclusiveMinimum"))
    least = _digits(low) if low is not None else f"more than {_digits(over)}" if over is not None else ""
    if low is not None and high is not None:
        return f"{kind}, {least} to {_digits(high)}{unit}"
    most = f"at most {_digits(high)}" if high is not None else ""
    return ", ".join(filter(None, (kind, least + " or more" * (low is not None), most))) + unit


def _digits(number: float) -> str:
    return str(int(number)) if number == int(number) else f"{number:f}".rstrip("0")


def _list(field: dict[str, Any]) -> str:
    """A list in words; of a point, or of a few places that each have their meaning, their number."""
    if "prefixItems" in field:
        inner = field["prefixItems"]
        if all(each.get("type") == "number" for each in inner):
            return f"[x, y], each a {_range(inner[0])}"
        return f"{len(inner)} of: {_values(inner[0])}"
    least = f", {field['minItems']} or more" if field.get("minItems") else ""
    inner = field.get("items", {})
    return f"a list{least}, of: {_values(inner)}" if "$ref" not in inner else f"a list of tables{least}"
