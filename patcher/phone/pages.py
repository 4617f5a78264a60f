"""The pages as text: the first page, the page of a show, where its pixels are, and the progress."""

from __future__ import annotations

import json
import threading
from collections import defaultdict
from collections.abc import Callable, Collection
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.responses import Response

from patcher.drawing.show_drawing import show_drawing
from patcher.frames.patterns import SWEEPS
from patcher.frames.request import PatternName
from patcher.mains.whole_level import whole_level_words
from patcher.patch.thing import called
from patcher.phone.content import WHOLE, Content
from patcher.phone.dark_drawing import night_drawing
from patcher.phone.desk import hold_of
from patcher.phone.state import COLOUR_KEYS, LONGEST_TEXT
from patcher.phone.ticks import by_hand, left
from patcher.power.flow import power
from patcher.sheets.box_sheet import box_sheets
from patcher.sheets.patch_tables import TYPED
from patcher.walk.progress import failed, still_open, tallies
from patcher.walk.record import states, tally
from patcher.walk.record_file import read_record
from patcher.walk.unproved import TOO_MANY, in_words, left_open
from patcher.wiring import port_name

WIDE = 90.0
"""Millimetres of paper that the drawing is made for: its letters are then as large as the page's on a phone."""
KINDS = {"css": "text/css", "js": "text/javascript", "html": "text/html"}
LATEST = 30
"""Notes that are shown."""
T = TypeVar("T")


class Pages:
    """Pages of a show, each made once for each reading of it.

    Attributes:
        scripts: the scripts of the page of a show.
    """

    scripts = ("page.js", "picture.js", "film.js")

    def __init__(self, *, yard: bool, hold: float) -> None:
        self._words = {"yard": yard, "film_hold": f"{hold_of('film', hold):g} s"}
        self._made: dict[str, tuple[int, Any]] = {}
        self._making: defaultdict[str, threading.Lock] = defaultdict(threading.Lock)

    def file(self, name: str) -> Response:
        """A file that is the same for every show."""
        return Response(_text(name), media_type=KINDS[name.rpartition(".")[2]])

    def page(self, plan: Content) -> Response:
        """The page of a show."""
        return Response(self._once("page", plan, self._page), media_type="text/html")

    def pixels(self, plan: Content, wanted: Collection[str] = ()) -> Response:
        """Where its pixels are; those of some runs alone more closely, where a show has many."""

        def made(plan: Content) -> str:
            return json.dumps(plan.places(wanted), separators=(",", ":"))

        text = made(plan) if wanted else self._once("pixels", plan, made)
        return Response(text, media_type="application/json")

    def report(self, plan: Content) -> dict[str, Any]:
        """Progress, as the record is now."""
        record = read_record(plan.path, practice=plan.practice)
        in_all = tally(states(record, plan.digests).values())
        return {
            "practice": plan.practice, "in_all": in_all, "boxes": tallies(record, plan.digests, plan.wiring),
            "failed": failed(record, plan.digests), "open": still_open(record, plan.digests, plan.older),
            "unproved": self.unproved(plan),
            "notes": [f"{one.when:%d %b %H:%M} · {one.thing}: {one.what}" for one in reversed(record.notes[-LATEST:])],
            **left(plan), "by_hand": by_hand(plan),
        }  # fmt: skip

    def unproved(self, plan: Content) -> list[str]:
        """What no yes proves, worked out once for each reading of the show."""
        return self._once("unproved", plan, _unproved)

    def _once(self, name: str, plan: Content, make: Callable[[Content], T]) -> T:
        with self._making[name]:
            if name not in self._made or self._made[name][0] != plan.number:
                self._made[name] = (plan.number, make(plan))
            made: T = self._made[name][1]
            return made

    def _page(self, plan: Content) -> str:
        show, state = plan.wiring.show, power(plan.wiring)
        _ = plan.highest  # worked out here, where it keeps no tap waiting
        drawing = show_drawing(plan.wiring, plan.patch, state if show.supplies else None, wide=WIDE)
        ports = [
            (port_name(box, port), ", ".join(chain))
            for box in show.controllers
            for port, chain in plan.wiring.of_controller(box).items()
            if chain
        ]
        props = {prop: list(runs) for prop, runs in show.prop_runs().items() if list(runs) != [prop]}
        page: str = _template().render(
            title=show.settings.title, number=plan.number,
            whole_level=whole_level_words(state), drawing=Markup(night_drawing(drawing)),  # noqa: S704  (SVG of our own)
            boxes=box_sheets(plan.wiring, plan.patch, state), ports=ports, props=props, runs=show.runs, whole=WHOLE,
            called=lambda kind, name: called(kind, name, show),
            two=" ".join(name for name in show.props if name in show.controllers),
            patterns=list(PatternName), colours=COLOUR_KEYS, sweeps=SWEEPS, longest=LONGEST_TEXT, typed=TYPED,
            **self._words,
        )  # fmt: skip
        return page


def _unproved(plan: Content) -> list[str]:
    boxes = [box for box in plan.wiring.show.controllers if plan.wiring.of_controller(box)]
    yard = " --yard" if plan.practice else ""
    found = left_open(plan.wiring, plan.patch, boxes)
    return [f"This {TOO_MANY}: patcher verify SHOW{yard} BOX --report"] if found is None else in_words(found)


@cache
def _text(name: str) -> str:
    return (files("patcher.phone") / "page" / name).read_text(encoding="utf-8")


@cache
def _template() -> Any:
    loader = PackageLoader("patcher.phone", "page")
    templates = Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    templates.filters["zip"] = zip
    return templates.get_template("page.html.jinja")
