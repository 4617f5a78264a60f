"""Several wirings of one show side by side, at one scale, for their leads: what hangs where, and how far cable goes.

Runs are thin and grey; a lead looks as its box does, in colour and in the dashes of its black thread, so that no
meaning hangs on colour alone. Boxes that feed nothing are empty outlines. Runs with no picture are not drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from patcher.drawing import legend, marks
from patcher.drawing.course import course
from patcher.drawing.drawn_leads import band, drawn_leads, middle
from patcher.drawing.svg import (
    GREY,
    HALO,
    PLAIN,
    SMALL,
    Floats,
    Stroke,
    document,
    fitted,
    look,
    path,
    text_at,
    threaded,
    trace_of,
)
from patcher.shapes import positions
from patcher.show.schema import Show
from patcher.wiring import Wiring

WIDE = 270.0
"""Millimetres of the whole: a page of A4 or Letter across, less its margins."""
_GAP, _HEAD, _MARGIN = 8.0, 7.0, 6.0
"""Millimetres between panels, above each for its title, and round its picture."""
_FLAT = 2.0
"""A picture so many times as wide as it is high has its panels one below another."""
_TALLEST = 110.0
"""Millimetres of a picture."""
_FAINT = "#bdbdbd"
Panel = tuple[str, Wiring]


@dataclass(frozen=True, eq=False)
class _Sheet:
    """Where a show lies in a panel: its scale in millimetres a metre, and its upper left corner in metres."""

    scale: float
    left: float
    top: float
    x: float
    y: float

    def paper(self, places: Floats) -> Floats:
        """Millimetres of places in metres."""
        x = self.x + (places[..., 0] - self.left) * self.scale
        return np.stack([x, self.y + (self.top - places[..., 1]) * self.scale], axis=-1)


def lead_panels(panels: Sequence[Panel], title: str = "Proposals", now: Show | None = None) -> str:
    """An SVG of wirings of the same runs and boxes, each under its title.

    Args:
        panels: the titles and the wirings.
        title: the title of the whole.
        now: the show as it is; what stands elsewhere in a wiring is ringed there.
    """
    show = panels[0][1].show
    every = np.concatenate([_places(wiring.show) for _, wiring in panels])
    if not len(every):
        return document(title, "No run has a picture.", WIDE, 12.0, [text_at(2, 8, "No run has a picture.", PLAIN)])
    low, high = every.min(axis=0), every.max(axis=0)
    across, tall = (float(part) for part in np.maximum(high - low, 1.0))
    columns = 1 if across > _FLAT * tall or len(panels) == 1 else 2
    wide = (WIDE - _GAP * (columns - 1)) / columns
    scale = min((wide - 2 * _MARGIN) / across, _TALLEST / tall)
    row = _HEAD + tall * scale + 2 * _MARGIN
    looks = {name: look(number) for number, name in enumerate(show.controllers)}
    parts: list[str] = []
    for number, (says, wiring) in enumerate(panels):
        x, y = (number % columns) * (wide + _GAP), (number // columns) * row
        parts.append(text_at(x + 1, y + _HEAD - 2, fitted(says, wide - 2, 3.2, bold=True), 3.2, font_weight="bold"))
        sheet = _Sheet(scale, float(low[0]), float(high[1]), x + _MARGIN, y + _HEAD + _MARGIN)
        parts.append(marks.group("".join(_picture(wiring, sheet, looks, now)), class_="panel"))
    bottom = -(-len(panels) // columns) * row
    parts += [part for wiring in [panels[0][1]] for part in legend.ruler(
        float(low[0]), float(high[0]), scale, _MARGIN, bottom, wiring.show.settings.units
    )]  # fmt: skip
    listed = legend.rows(_items(panels, looks, now), WIDE - 2)
    parts += legend.write(listed, 1.0, bottom + 6.0)
    says = f"{len(panels)} wirings of {len(show.runs)} runs, side by side, with their leads."
    return document(title, says, WIDE, bottom + 8.0 + len(listed) * legend.ROW, parts)


def _places(show: Show) -> Floats:
    """Every place that is drawn: of pixels, of boxes and of routes."""
    found = [at for run in show.runs.values() if run.hung and (at := positions(show, run)) is not None]
    boxes = [box.at for box in show.controllers.values() if box.at is not None]
    routes = [np.array(route.path, float) for route in show.routes.values()]
    return np.concatenate([*found, *([np.array(boxes, float)] if boxes else []), *routes, np.empty((0, 2))])


def _placed(show: Show, now: Show | None) -> set[str]:
    """The boxes that stand elsewhere than now, or have no place now."""
    return {name for name, box in show.controllers.items() if now and box.at and box.at != now.controllers[name].at}


def _picture(wiring: Wiring, sheet: _Sheet, looks: dict[str, Stroke], now: Show | None) -> Iterator[str]:
    """The elements of one panel, from the lowest to the uppermost."""
    show = wiring.show
    for name, route in show.routes.items():
        points = sheet.paper(np.array(route.path))
        at, _ = middle(points)
        yield band(points, name, 1.6)
        yield text_at(at[0], at[1] - 1.2, name, SMALL, text_anchor="middle", fill=GREY, **HALO)
    for run in show.runs.values():
        drawn = course(show, run, sheet.paper) if run.hung else None
        for string in drawn.strings if drawn is not None else ():
            yield path(trace_of(string), class_="run", data_run=run.name, stroke=_FAINT, stroke_width="0.7",
                       stroke_linejoin="round")  # fmt: skip
    for lead in (lead for lead in drawn_leads(wiring) if not lead.is_tee):
        corners = sheet.paper(np.array(lead.way.corners))
        yield marks.group(threaded(trace_of(corners), looks[lead.box], 1.0), class_="lead", data_to=lead.run)
        if show.runs[lead.run].lead_via != "cable":
            yield marks.booster(*middle(corners), 1.1)
        yield marks.first(corners[-1], 0.7)
    used, placed = {box for box, _ in wiring.chains}, _placed(show, now)
    for name, box_ in show.controllers.items():
        if box_.at is not None:
            at = sheet.paper(np.array(box_.at))
            if name in placed:
                yield marks.group(marks.ring(at, 3.0), class_="placed", data_box=name)
            yield marks.group(marks.box(at, 1.1 if name in used else 0.7), class_="box", data_box=name)
            yield text_at(at[0], at[1] - 2.0, name, SMALL, text_anchor="middle",
                          fill=None if name in used else GREY, **HALO)  # fmt: skip


def _items(panels: Sequence[Panel], looks: dict[str, Stroke], now: Show | None) -> list[legend.Item]:
    """The key below: a line of each box in use, and the marks."""
    used = {box for _, wiring in panels for box, _ in wiring.chains}
    found = legend.look_items((f"leads of {name}", looks[name]) for name in looks if name in used)
    at, right = np.array([4.0, 0.0]), np.array([1.0, 0.0])
    found.append((path("M0,0H8", stroke=_FAINT, stroke_width="0.7"), "run"))
    if panels[0][1].show.routes:
        found.append((band(np.array([[0.8, 0.0], [7.2, 0.0]]), "", 1.6), "route for leads"))
    found.append((marks.first(at, 0.7), "pixel 1: data enters"))
    if any(_placed(wiring.show, now) for _, wiring in panels):
        found.append((marks.ring(at, 3.0), "box to be put there"))
    runs = [run for _, wiring in panels for run in wiring.show.runs.values()]
    if any(run.lead_via != "cable" for run in runs):
        found.append((marks.booster(at, right, 1.1), "booster, or differential"))
    return found
