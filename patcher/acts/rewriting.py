"""What differs between the tables of a file before and after, put into its text; all other lines stay as they are.

A table under a heading of its own is edited by itself, in its own lines; only what is written in another form is looked
for in the whole text.
"""

from __future__ import annotations

import re
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AbstractTable

from patcher.acts.things import Raw, listed, odd, tables
from patcher.acts.toml_text import set_key, toml
from patcher.show.line_numbers import HEADING, PART
from patcher.show.text_edits import says_more, sections

Place = tuple[str, ...]
Renamed = dict[tuple[str, str], str]
"""The new name of a thing, by its kind and its old name."""
_ORDER = ("pixel", "controller", "run", "prop", "supply", "feed", "route")
_APART = (("controller", "port"), ("controller", "start"), ("show", "photo"))
"""Tables in another one's that stand under headings of their own."""


def rewritten(text: str, before: Raw, after: Raw, renamed: Renamed) -> str:
    """The text of a file that held the tables `before` and is to hold the tables `after`.

    Raises:
        PatcherError: a table stands there in a form that cannot be edited.
    """
    for (kind, old), new in renamed.items():
        text = _with_heading(text, (kind, old), new)
    if before.get("show") != after.get("show"):
        text = _edited(text, ("show",), before.get("show"), after.get("show"))
    for kind in _ORDER:
        was = {renamed.get((kind, name), name): table for name, table in tables(before, kind).items()}
        now = tables(after, kind)
        for name in (name for name in was if name in now and was[name] != now[name]):
            text = _edited(text, (kind, name), was[name], now[name])
        for name in (name for name in was if name not in now):
            text = _without(text, (kind, name))
        for name in (name for name in now if name not in was):
            text = _with_table(text, (kind, name), now[name])
    return _with_accepts(text, listed(before.get("accept")), listed(after.get("accept")))


def _edited(text: str, place: Place, old: Any, new: Any) -> str:
    """The text with some keys of a table changed."""
    if not (isinstance(old, dict) and isinstance(new, dict)):
        raise odd(".".join(place))
    keys = [key for key in {**old, **new} if old.get(key) != new.get(key)]
    direct = []
    for key in keys:
        if _has_heading(text, (*place, key)):
            inner = (*place, key)
            text = _edited(text, inner, old[key], new[key]) if key in new else _without(text, inner)
        elif key not in old and (place[0], key) in _APART and _has_heading(text, place):
            text = _with_table(text, (*place, key), new[key])
        else:
            direct.append(key)
    return _with_keys(text, place, direct, old, new) if direct else text


def _has_heading(text: str, place: Place) -> bool:
    return any(own == place for _, _, own in sections(text))


def _with_keys(text: str, place: Place, keys: list[str], old: Raw, new: Raw) -> str:
    spans = [(at, end) for at, end, own in sections(text) if own == place]
    if len(spans) != 1:
        return _keys_set(text, place, keys, new)
    lines = text.split("\n")
    at, end = spans[0][0], _own_end(lines, *spans[0])
    return "\n".join([*lines[:at], _own_keys("\n".join(lines[at:end]), place, keys, old, new), *lines[end:]])


def _own_keys(part: str, place: Place, keys: list[str], old: Raw, new: Raw) -> str:
    """The lines of one table with some keys changed; a key that only has another name stays where it is."""
    gone, come = [key for key in keys if key not in new], [key for key in keys if key not in old]
    if len(gone) == len(come) == 1 and old[gone[0]] == new[come[0]]:
        name = re.escape(gone[0])
        line = re.compile(rf"(?m)^(\s*)(?:{name}|\"{name}\"|'{name}')(?=\s*=)")
        part, count = line.subn(lambda match: match[1] + come[0], part)
        keys = [key for key in keys if key not in (*gone, *come)] if count == 1 else keys
    return _keys_set(part, place, keys, new)


def _keys_set(text: str, place: Place, keys: list[str], new: Raw) -> str:
    try:
        document = tomlkit.parse(text if text.endswith("\n") else f"{text}\n")
        table: Any = document
        for part in place:
            table = table[part]
        if isinstance(table, list):
            table = table[0]
        if not isinstance(table, AbstractTable):
            raise odd(".".join(place))
        for key in keys:
            set_key(table, key, new.get(key))
        return tomlkit.dumps(document).removesuffix("\n" * (not text.endswith("\n")))
    except (TOMLKitError, LookupError, TypeError, ValueError, AttributeError):
        raise odd(".".join(place)) from None


def _with_heading(text: str, place: Place, new: str) -> str:
    """The text with another name in the headings of a thing and of the tables in it."""
    lines = text.split("\n")
    for at, _, own in sections(text):
        heading = HEADING.match(lines[at]) if own[:2] == place else None
        if heading:
            name = list(PART.finditer(heading[2]))[1]
            start = heading.start(2)
            lines[at] = lines[at][: start + name.start()] + new + lines[at][start + name.end() :]
    return "\n".join(lines)


def _own_end(lines: list[str], at: int, end: int) -> int:
    """The line behind a table's last one: comments right below its keys are its own, those above a heading are not."""
    last = end
    while last > at + 1 and not says_more(lines[last - 1]):
        last -= 1
    below = last
    while below < end and lines[below].lstrip().startswith("#"):
        below += 1
    return last if below == end < len(lines) else below


def _without(text: str, place: Place) -> str:
    """The text without a table and the tables in it, each with the comments inside it."""
    lines = text.split("\n")
    spans = [(at, end) for at, end, own in sections(text) if own[: len(place)] == place]
    if not spans:
        raise odd(".".join(place))
    for at, end in reversed(spans):
        _cut(lines, at, _own_end(lines, at, end))
    return "\n".join(lines)


def _cut(lines: list[str], at: int, end: int) -> None:
    """Take lines out, and the blank line that would stand there twice."""
    del lines[at:end]
    if at < len(lines) and not lines[at].strip() and (at == 0 or not lines[at - 1].strip()):
        del lines[at]


def _with_table(text: str, place: Place, keys: Raw) -> str:
    """The text with a new table, behind the last one of its kind; at the end where it is the first."""
    apart = {key: value for key, value in keys.items() if (place[0], key) in _APART and isinstance(value, dict)}
    new = [f"[{'.'.join(place)}]", *_key_lines({key: keys[key] for key in keys if key not in apart})]
    for key, table in apart.items():
        new += ["", f"[{'.'.join(place)}.{key}]", *_key_lines(table)]
    lines = text.split("\n")
    kin = [(at, end) for at, end, own in sections(text) if own[: len(place) - 1] == place[:-1]]
    if not kin:
        body = text.rstrip("\n")
        return "\n".join([*([body, ""] if body else []), *new, ""])
    behind = _own_end(lines, *kin[-1])
    rest = lines[behind:] or [""]
    gap = [""] if rest[0].strip() else []
    return "\n".join([*lines[:behind], "", *new, *gap, *rest])


def _key_lines(keys: Raw) -> list[str]:
    return [line for key, value in keys.items() for line in f"{toml_key(key)} = {toml(value)}".split("\n")]


def toml_key(key: str) -> str:
    """A key as TOML text, in quotes where it needs them."""
    return tomlkit.key(key).as_string()


def _with_accepts(text: str, before: list[Any], after: list[Any]) -> str:
    """The text with the judged warnings that are left, in their order."""
    if before == after:
        return text
    spans = [(at, end) for at, end, own in sections(text) if own == ("accept",)]
    lines, left = text.split("\n"), list(after)
    if not spans:
        return _with_keys_above(text, {"accept": after})
    if len(spans) != len(before):
        raise odd("accept")
    kept = _kept(before, after)
    for (at, end), old, stays in reversed(list(zip(spans, before, kept, strict=True))):
        if not stays:
            _cut(lines, at, _own_end(lines, at, end))
        elif (new := left.pop()) != old:
            keys = [key for key in old if old[key] != new[key]]
            own = _own_end(lines, at, end)
            lines[at:own] = _keys_set("\n".join(lines[at:own]), ("accept",), keys, new).split("\n")
    return "\n".join(lines)


def _with_keys_above(text: str, keys: Raw) -> str:
    """The text with other values for keys that stand above the first heading."""
    lines = text.split("\n")
    first = next((at for at, _, _ in sections(text)), len(lines))
    above = _keys_set("\n".join(["[above]", *lines[:first], ""]), ("above",), [*keys], keys).split("\n")
    return "\n".join([*above[1:-1], *lines[first:]])


def _kept(before: list[Any], after: list[Any]) -> list[bool]:
    """Which of the judged warnings are still there; as many as before are all there."""
    if len(before) == len(after):
        return [True] * len(before)
    rest, kept = list(after), []
    for one in before:
        kept.append(bool(rest) and rest[0] == one)
        if kept[-1]:
            rest.pop(0)
    return kept
