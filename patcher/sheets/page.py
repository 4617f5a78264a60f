"""The page: one HTML document that needs nothing from outside itself, and its parts as documents of their own.

Every text is escaped, in the page by Jinja, in the style sheet by `css_string`. What runs at the head of a printed page
is a margin box of a named page (CSS Paged Media), one for each section.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import count, groupby
from typing import TYPE_CHECKING, Any

from patcher.drawing.voltage_profile import plain
from patcher.limits.refresh import rate_text
from patcher.sheets import figures
from patcher.sheets import labels as paper_labels
from patcher.sheets.contents import ShowSheet
from patcher.sheets.label_stock import LabelStock, fit
from patcher.sheets.patch_tables import NUMBERS, TYPED, shown_head
from patcher.units import length

if TYPE_CHECKING:
    from jinja2 import Environment, Template


@dataclass(frozen=True)
class Drawings:
    """SVG documents, one standalone text each.

    Attributes:
        show: the whole show.
        boxes: by box, where its runs hang.
        charts: by box, its cables to scale.
        props: by prop.
        universes: the bars of the universes, page by page.
        volts: by run, the voltage along it.
    """

    show: str = ""
    boxes: Mapping[str, str] = field(default_factory=dict)
    charts: Mapping[str, str] = field(default_factory=dict)
    props: Mapping[str, str] = field(default_factory=dict)
    universes: Sequence[str] = ()
    volts: Mapping[str, str] = field(default_factory=dict)


def pages(sheet: ShowSheet, drawings: Drawings, stock: LabelStock) -> dict[str, str]:
    """HTML documents by the name of their file: the whole, a sheet a box, the labels, the tags.

    Args:
        sheet: what is said.
        drawings: what is drawn.
        stock: the size of the labels.
    """
    write = _Writer(sheet, drawings, stock)
    names = file_names(box.box for box in sheet.boxes)
    found = {"sheets.html": write.page("sheets.html.jinja", "Sheets")}
    for box in sheet.boxes:
        found[f"boxes/{names[box.box]}.html"] = write.page("box.html.jinja", box.box, box=box)
    found["labels.html"] = write.page("labels.html.jinja", "Cable labels")
    if sheet.tags:
        found["tags.html"] = write.page("tags.html.jinja", "Tags for storage")
    return found


def drawing_files(drawings: Drawings) -> dict[str, str]:
    """The drawings by the name of their file."""
    found = {"drawings/show.svg": drawings.show}
    for kind, every in (
        ("box", drawings.boxes), ("chart", drawings.charts), ("prop", drawings.props), ("volts", drawings.volts),
    ):  # fmt: skip
        names = file_names(every)
        found |= {f"drawings/{kind}-{names[name]}.svg": svg for name, svg in every.items()}
    bars = enumerate(drawings.universes, start=1)
    return found | {f"drawings/universes-{number}.svg": svg for number, svg in bars}


class _Writer:
    """Writes pages of one show."""

    def __init__(self, sheet: ShowSheet, drawings: Drawings, stock: LabelStock) -> None:
        self.context: dict[str, Any] = {
            "sheet": sheet, "drawings": drawings, "stock": stock, "title": plain(sheet.title),
            "fitted": fit(sheet.labels, stock),
            "places": {box.box: number for number, box in enumerate(sheet.boxes, start=1)},
        }  # fmt: skip
        self.heads = {
            "of-show": "The whole show", "of-volts": "Voltages", "of-props": "Props", "of-tags": "Tags for storage",
            **{f"of-box-{number}": box for box, number in self.context["places"].items()},
        }  # fmt: skip

    def page(self, template: str, name: str, **more: object) -> str:
        """One document."""
        from markupsafe import Markup

        numbers = count(1)

        def drawn(svg: str) -> Markup:
            return Markup(inline(svg, f"d{next(numbers)}-"))  # noqa: S704  (our own, escaped where it is drawn)

        running = [(page, css_string(head)) for page, head in self.heads.items()]
        context = {**self.context, **more, "name": name, "running": running, "drawn": drawn}
        context["head"] = css_string(self.context["title"])
        return _template(template).render(context)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("patcher.sheets"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    environment.filters |= {
        "metres": length, "amps": figures.amps, "power_cuts": figures.power_cuts, "plain": plain, "place": _place,
        "count": figures.count, "count_of": lambda every, thing: figures.count(len(every), thing),
        "sections": _sections, "shown_head": shown_head, "fold": _fold,
        "rate": rate_text, "tied": lambda text: str(text).replace(" ", "\u00a0"), "zip": zip,
    }  # fmt: skip
    environment.globals |= {
        "typed": TYPED,
        "numbers": NUMBERS,
        "qr": lambda name: Markup(paper_labels.qr(name)),  # noqa: S704  (segno writes it; the name is in no text)
        "css": lambda text: Markup(text),  # noqa: S704  (css_string leaves nothing that could end it)
    }
    return environment


@cache
def _template(name: str) -> Template:
    return _environment().get_template(name)


def _place(place: tuple[int, int] | None) -> str:
    return "" if place is None else f"{place[0]}/{place[1]}"


_WHOLE = 24
"""Letters of a name that is kept in one line of a table; a longer one is broken where the column ends."""


def _fold(cell: object) -> str:
    """The class of a cell: a short one stands in one line, and only a word too long for a column is broken inside."""
    text = str(cell)
    if len(text) <= _WHOLE:
        return "whole"
    return "anywhere" if max(map(len, re.split(r"[\s-]+", text))) > _WHOLE else ""


def _sections(values: Sequence[Any], key: str) -> list[tuple[str, list[Any]]]:
    """Values that follow each other with the same attribute, in the order they have."""
    return [(name, list(every)) for name, every in groupby(values, key=lambda value: str(getattr(value, key)))]


def css_string(text: str) -> str:
    """A text as a CSS string in quotes, of which nothing can end the string or the style sheet it stands in.

    Source: CSS Syntax Module Level 3, escapes: a backslash, the code point in hexadecimal, a space.
    """
    return '"' + re.sub(r"[^A-Za-z0-9 .,:/-]", lambda sign: f"\\{ord(sign[0]):x} ", plain(text)) + '"'


def inline(svg: str, prefix: str) -> str:
    """An SVG document as part of a page: without prolog, its ids made its own, that no two drawings share one."""
    body = re.sub(r"^\s*(<\?xml.*?\?>|<!DOCTYPE[^>]*>)\s*", "", svg, flags=re.DOTALL)
    ids = set(re.findall(r'\sid="([^"]+)"', body))
    if not ids:
        return body

    return re.sub(
        r'(\sid="|href="#|url\(#)([^")]+)',
        lambda found: f"{found[1]}{prefix if found[2] in ids else ''}{found[2]}",
        body,
    )


def file_names(names: Any) -> dict[str, str]:
    """A file name for each name, other ones where two differ only in capitals, which some disks take for the same."""
    found: dict[str, str] = {}
    taken: set[str] = set()
    for name in names:
        number, as_file = 1, name
        while as_file.lower() in taken:
            number += 1
            as_file = f"{name}-{number}"
        taken.add(as_file.lower())
        found[name] = as_file
    return found
