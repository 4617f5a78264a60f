"""Values as TOML text, and lists that change in place, so that the lines and comments in them stay."""

from __future__ import annotations

from itertools import takewhile
from typing import Any

import tomlkit
from tomlkit.items import AbstractTable, Array, Item

from patcher.show.text_edits import add_key, comments, replace, take_out

_WIDEST = 110
"""A list of more letters stands on lines of its own."""


def toml(value: Any) -> str:
    """A value as TOML text."""
    if isinstance(value, dict):
        pairs = (f"{tomlkit.key(key).as_string()} = {toml(part)}" for key, part in value.items())
        return f"{{ {', '.join(pairs)} }}" if value else "{}"
    if isinstance(value, list):
        parts = [toml(part) for part in value]
        line = f"[{', '.join(parts)}]"
        if any(isinstance(part, dict) for part in value):
            return "[\n" + "".join(f"  {part},\n" for part in parts) + "]"
        return line if len(line) <= _WIDEST else "[\n" + "".join(f"  {row},\n" for row in _rows(parts)) + "]"
    text: str = tomlkit.item(value).as_string()
    return text


def _rows(parts: list[str]) -> list[str]:
    """Parts of a list, as many on a line as have room."""
    rows = parts[:1]
    for part in parts[1:]:
        if len(rows[-1]) + len(part) < _WIDEST:
            rows[-1] += f", {part}"
        else:
            rows.append(part)
    return rows


def item(value: Any) -> Item:
    """A value as the text editor holds it."""
    return item_of_text(toml(value))


def item_of_text(text: str) -> Item:
    """A value as the text editor holds it, of its TOML text."""
    held = tomlkit.parse(f"x = {text}").item("x")
    if not isinstance(held, Item):
        raise TypeError(type(held))
    return held


def set_key(table: AbstractTable, key: str, value: Any) -> None:
    """Give a key a value, where it stands or behind the table's other keys; None takes it out, but for its comment."""
    if value is None:
        take_out(table, key)
    elif key not in table:
        add_key(table, key, item(value))
    elif isinstance(held := table[key], Array) and (changed := _in_place(held, value)) is not None:
        table[key] = changed
    elif isinstance(held, AbstractTable) and isinstance(value, dict) and held.keys() == value.keys():
        for name in (name for name in value if held[name] != value[name]):
            set_key(held, name, value[name])
    else:
        replace(table, key, item(value))


def _in_place(held: Array, value: Any) -> Array | None:
    """A list with other values and the same comments; None where it cannot be changed so."""
    if not isinstance(value, list):
        return None
    changed = item_of_text(held.as_string())
    if not isinstance(changed, Array):
        return None
    _change(changed, held.unwrap(), value)
    again = item_of_text(changed.as_string())
    return changed if again.unwrap() == value and comments(again) == comments(item_of_text(held.as_string())) else None


def _change(array: Array, old: list[Any], new: list[Any]) -> None:
    head = _alike(old, new)
    tail = min(_alike(old[::-1], new[::-1]), len(old) - head, len(new) - head)
    both = min(len(old), len(new)) - head - tail
    for at in range(head, head + both):
        _change_part(array, at, old[at], new[at])
    for _ in range(len(old) - len(new)):
        del array[head + both]
    for at in range(head + both, len(new) - tail):
        array.insert(at, item(new[at]))


def _change_part(array: Array, at: int, old: Any, new: Any) -> None:
    part = array[at]
    if isinstance(part, Array) and isinstance(new, list):
        _change(part, old, new)
    elif isinstance(part, AbstractTable) and isinstance(new, dict) and old.keys() == new.keys():
        for key in (key for key in new if old[key] != new[key]):
            part[key] = item(new[key])
    else:
        array[at] = item(new)


def _alike(old: list[Any], new: list[Any]) -> int:
    """How many parts two lists have alike from their beginnings."""
    return sum(1 for _ in takewhile(lambda two: two[0] == two[1], zip(old, new, strict=False)))
