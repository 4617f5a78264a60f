"""What stands under a drawing: what its lines and marks mean, and what found no room in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from patcher.sheets import marks
from patcher.sheets.facts import Facts
from patcher.sheets.ink import (
    BLACK, LINE, PLAIN, SMALL, Look, fitted, long, number, path, text_at, threaded, trace_of,
)  # fmt: skip
from patcher.sheets.profile import wrap
from patcher.show.runs import DrawnRun

Item = tuple[str, str]
"""A swatch, drawn about the middle of an area of `SWATCH` by 3 mm whose left edge is at 0; and its words."""
SWATCH = 9.0
ROW = 3.9


def look_items(looks: Iterable[tuple[str, Look]]) -> list[Item]:
    """A line of each look, with its name."""
    return [(threaded("M0,0H8", seen, 1.2), name) for name, seen in looks]


def mark_items(facts: Sequence[Facts], *, leads: bool, ribbons: bool) -> list[Item]:
    """The marks that a drawing of some runs may have."""
    at, right, up = np.array([4.0, 0.0]), np.array([1.0, 0.0]), np.array([0.0, -1.0])
    line = path("M0,0H8", stroke=BLACK, stroke_width="0.25")
    volts = any(fact.volts is not None for fact in facts)
    found = [
        (line + marks.first(at, 0.9), "first pixel, where the data enters; run, port · universe/channel"),
        (line + marks.last(at, right, 0.9), "last pixel" + (" and its volts" if volts else "")),
        (line + marks.arrow(at, right, 1.3), "the way of the data"),
    ]
    if ribbons:
        chevrons = "".join(marks.chevron(np.array([x, 0.0]), right, 0.8) for x in (2.0, 4.0, 6.0))
        found.append((path(chevrons, stroke=BLACK, stroke_width="0.3"), "the same on a grid"))
    if any(fact.edges for fact in facts):
        found.append((line + marks.edge(at, right, 0.9), "a universe begins: pixel: universe/channel"))
    if any(fact.taps for fact in facts):
        found.append((line + marks.tap(at, up, 0.8, filled=True), "a feed joins, with its amperes"))
    if any(fact.run.power_cuts for fact in facts):
        found.append((line + marks.cut(at, right, 0.9), "V+ is cut"))
    if any(isinstance(fact.run, DrawnRun) and fact.run.gaps for fact in facts):
        found.append((line + marks.gap(at, 0.9), "a place without a lamp"))
    if leads:
        found.append((path("M0,0H8", stroke=BLACK, stroke_width="0.2", stroke_dasharray="0.9 0.7"), "lead"))
        if any(fact.run.lead_via == "booster" for fact in facts):
            found.append((path("M0,0H8", stroke=BLACK, stroke_width="0.2", stroke_dasharray="0.9 0.7")
                          + marks.booster(at, right, 0.9), "lead with a booster"))  # fmt: skip
    return found


def rows(items: Sequence[Item], wide: float) -> list[list[tuple[float, Item]]]:
    """Items in rows, each with how far from the left it stands."""
    found: list[list[tuple[float, Item]]] = []
    x = wide
    for swatch, words in items:
        words = fitted(words, wide - SWATCH - 2, PLAIN)
        needs = SWATCH + long(words, PLAIN) + 4
        if x + needs > wide + 3 or not found:
            found.append([])
            x = 0.0
        found[-1].append((x, (swatch, words)))
        x += needs
    return found


def write(found: Sequence[Sequence[tuple[float, Item]]], left: float, top: float) -> list[str]:
    """The rows of a key, from `top` downwards."""
    parts = []
    for place, row in enumerate(found):
        y = top + ROW * (place + 0.5)
        for x, (swatch, words) in row:
            parts.append(f'<g transform="translate({number(left + x)},{number(y)})">{swatch}</g>')
            parts.append(text_at(left + x + SWATCH, y + PLAIN * 0.36, words, PLAIN, class_="key"))
    return parts


def paragraph(sentences: Sequence[str], wide: float, most: int) -> list[str]:
    """Lines of a list of sentences, of which no more are said than have room; the rest are counted.

    Args:
        sentences: what is to be said.
        wide: millimetres of a line.
        most: how many lines there are.
    """
    if not sentences or most < 1:
        return []
    low, high = 0, len(sentences)
    while low < high:
        middle = (low + high + 1) // 2
        if len(wrap(_joined(sentences, middle), wide, _measure)) <= most:
            low = middle
        else:
            high = middle - 1
    return wrap(_joined(sentences, low), wide, _measure)[:most]


def _measure(text: str) -> float:
    return long(text, SMALL)


def _joined(sentences: Sequence[str], kept: int) -> str:
    more = len(sentences) - kept
    return "; ".join([*sentences[:kept], *([f"and {more} more"] if more else [])])


def lines_at(lines: Sequence[str], left: float, top: float, kind: str) -> list[str]:
    """Lines of small text from `top` downwards."""
    return [
        text_at(left, top + SMALL * (0.85 + LINE * row), line, SMALL, class_=kind) for row, line in enumerate(lines)
    ]


def ruler(left: float, right: float, scale: float, x: float, y: float) -> list[str]:
    """The metres along a strip: a line with ticks, numbered where they have room."""
    far = x + (right - left) * scale
    if (right - left) * scale < 8:
        return []
    step = next(
        base * 10.0**power
        for power in range(-2, 7)
        for base in (1, 2, 5)
        if base * 10.0**power * scale >= max(9.0, long(f"{max(abs(left), abs(right)):.0f}.00", SMALL) + 2)
    )
    parts = [path(f"M{number(x)},{number(y)}H{number(far)}", stroke=BLACK, stroke_width="0.2")]
    first, end = int(np.ceil(left / step - 1e-9)), int(np.floor(right / step + 1e-9))
    for count in range(first, end + 1):
        at = x + (count * step - left) * scale
        parts.append(path(f"M{number(at)},{number(y)}v1", stroke=BLACK, stroke_width="0.2"))
        words = f"{count * step:g}".replace("-", "−") + (" m" if count == first else "")
        parts.append(text_at(at, y + 1.3 + SMALL * 0.8, words, SMALL, class_="metres", text_anchor="middle"))
    return [marks.group("".join(parts), class_="ruler")]


def sample(points: Sequence[tuple[float, float]]) -> str:
    """A thin line through points."""
    return path(trace_of(points), stroke=BLACK, stroke_width="0.25")
