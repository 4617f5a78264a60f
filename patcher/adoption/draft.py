"""A show file drafted from what a table of addresses tells; what it does not tell is marked `FILL IN`."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Template

MARK = "FILL IN"
"""Marks each comment where the person must look; they search for it."""
_LONGEST_NAME = 50


@dataclass(frozen=True, slots=True)
class DraftBox:
    """A box as the table shows it.

    Attributes:
        name: its name in the show file.
        said: its name in the table.
        start_per: what seems to have a start of its own in it: `port` or `run`.
        ports: its runs by port, in data order.
        ports_told: whether the table gives port numbers.
        consecutive: whether its universes follow each other.
        pins: starts that no placement gives, as they are pinned.
        address: its address on the network; empty where the table does not tell.
    """

    name: str
    said: str
    start_per: str
    ports: Mapping[int, tuple[str, ...]]
    ports_told: bool
    consecutive: bool = True
    pins: Mapping[str, str] = field(default_factory=dict)
    address: str = ""


@dataclass(frozen=True, slots=True)
class DraftRun:
    """A run as the table shows it.

    Attributes:
        name: its name in the show file.
        said: its name in the table.
        colour_order: its pixels'.
        pixels: how many; None where the table does not tell.
        several: whether the table names several runs here, with one address.
        note: what the table remarks of it.
    """

    name: str
    said: str
    colour_order: str
    pixels: int | None
    several: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Draft:
    """A show as the table shows it.

    Attributes:
        title: what it is called.
        table: the name of the table.
        first_universe: the lowest one.
        placement: the placement that its starts keep to.
        share_universes: whether boxes share universes in it.
        orders_told: the colour orders that the table tells; the others are taken for granted.
        boxes: in order of appearance.
        runs: in order of appearance.
        props: each with its runs.
    """

    title: str
    table: str
    first_universe: int
    placement: str
    share_universes: bool
    orders_told: frozenset[str]
    boxes: tuple[DraftBox, ...]
    runs: tuple[DraftRun, ...]
    props: Mapping[str, tuple[str, ...]]


def legal_name(text: str, kind: str) -> str:
    """A name as a show file takes it that is as near as can be: `6 ft Star` → `run-6-ft-star` for the kind `run`."""
    plain = unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode()
    name = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST_NAME].strip("-")
    return name if name[:1].isalpha() else f"{kind}-{name}".rstrip("-")


def folded(name: str) -> str:
    """A name without what people write now so, now so: capitals, spaces, dashes, underscores."""
    return re.sub(r"[\s_-]+", "", name.casefold())


def draft_text(draft: Draft) -> str:
    """The text of the show file."""
    return _template().render(draft=draft, line=_line, MARK=MARK)


@cache
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    templates = Environment(
        loader=PackageLoader("patcher", "adoption"), undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True,
        autoescape=False,  # noqa: S701  (it is TOML: what a stranger wrote goes through `quoted` or `shown`)
    )  # fmt: skip
    templates.filters |= {"quoted": _quoted, "shown": shown, "said": _said, "kind": _kind}
    return templates.get_template("draft.toml.jinja")


def marks(text: str) -> list[tuple[int, str]]:
    """What the person must fill in: the line, from 1, and what is asked there."""
    found = ((number, line.partition(f"# {MARK}: ")) for number, line in enumerate(text.split("\n"), start=1))
    return [(number, asks) for number, (_, mark, asks) in found if mark]


def _quoted(text: str) -> str:
    """A text as TOML takes it. Source: TOML 1.0, String: a basic string's escapes are JSON's, and DEL needs one too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _said(text: str, name: str) -> str:
    """The table's own name of a thing, where it is another."""
    return f"in the table: {shown(text)}" if text and text != name else ""


def shown(text: str) -> str:
    """A text of a stranger's as it can stand in a comment. Source: TOML 1.0, Comment: no control characters."""
    return "".join(letter if letter.isprintable() else "?" for letter in " ".join(text.split()))[:80]


def _line(code: str, comment: str) -> str:
    return f"{code:<26} # {comment}" if comment else code


def _kind(order: str) -> str:
    """The name of the kind of pixel of a colour order."""
    return "bullet" if order == "RGB" else f"bullet-{order.lower()}"
