"""What stands under a drawing: the key to its lines and marks, lists, and the ruler."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from itertools import count

import numpy as np

from patcher.drawing import marks
from patcher.drawing.drawn_leads import BAND
from patcher.drawing.run_facts import Facts, amps_words
from patcher.drawing.svg import (  # fmt: skip
    BLACK,
    GREY,
    LINE,
    PLAIN,
    SMALL,
    WHITE,
    Stroke,
    fitted,
    long,
    number,
    path,
    text_at,
    threaded,
)
from patcher.drawing.voltage_profile import wrap
from patcher.units import METRES_PER

Item = tuple[str, str]
"""A swatch, drawn about the middle of an area of `SWATCH` by 3 mm whose left edge is at 0; and its words."""
SWATCH = 9.0
ROW = 3.9


def look_items(looks: Iterable[tuple[str, Stroke]]) -> list[Item]:
    """A line of each look, with its name."""
    return [(threaded("M0,0H8", seen, 1.2), name) for name, seen in looks]


SAYS_ALL = frozenset({"run", "last", "edge", "feed", "joint"})
"""Kinds of labels that change what a mark is said to be."""


def mark_items(
    seen: Collection[str], worded: Collection[str], facts: Sequence[Facts], *, run: str = "", named: bool = False
) -> list[Item]:
    """The marks of a drawing, and what stands beside them.

    Args:
        seen: which marks are drawn.
        worded: which kinds of labels are written.
        facts: of the runs that are drawn.
        run: what is said behind a run's name.
        named: whether the feed is named beside a tap.
    """
    at, right, up = np.array([4.0, 0.0]), np.array([1.0, 0.0]), np.array([0.0, -1.0])
    line = path("M0,0H8", stroke=BLACK, stroke_width="0.25")
    lead = path("M0,0H8", stroke=BLACK, stroke_width="0.2", stroke_dasharray="0.9 0.7")
    chevrons = "".join(marks.chevron(np.array([x, 0.0]), right, 0.8) for x in (2.0, 4.0, 6.0))
    says = _beside(worded, facts, named=named)
    every = {
        "first": (line + marks.first(at, 0.9), "first pixel: the data enters here"),
        "last": (line + marks.last(at, right, 0.9), "last pixel" + says["last"]),
        "way": (line + marks.arrow(at, right, 1.3), "data direction"),
        "chevrons": (path(chevrons, stroke=BLACK, stroke_width="0.3"), "data direction on a grid"),
        "pixels": (path("M4,0h0", stroke=BLACK, stroke_width="1.2", stroke_linecap="round")
                   + path("M4,0h0", stroke=WHITE, stroke_width="0.8", stroke_linecap="round"), "pixel"),
        "wire": (path("M0,0H8", stroke=GREY, stroke_width="0.25"), "wire between pixels"),
        "edge": (line + marks.edge(at, right, 0.9),
                 "new universe" + says["edge"]),
        "tap": (line + marks.tap(at, up, 0.8), "tap" + says["tap"]),
        "cut": (line + marks.cut(at, right, 0.9), "V+ is cut"),
        "gap": (line + marks.gap(at, 0.9), "gap: no pixel here"),
        "box": (marks.box(at, 1.1), "box"),
        "route": (path("M0.8,0H7.2", stroke=BAND, stroke_width="1.6", stroke_linecap="round"), "route for leads"),
        "lead": (lead, "lead; from a box: data and ground only"),
        "booster": (lead + marks.booster(at, right, 0.9), "lead with a booster"),
    }  # fmt: skip
    found = [keyed(key, *item) for key, item in every.items() if key in seen]
    name = text_at(0.0, PLAIN * 0.36, "run", PLAIN, font_weight="bold")
    return [(name, run), *found] if run and "run" in worded else found


def _beside(worded: Collection[str], facts: Sequence[Facts], *, named: bool) -> dict[str, str]:
    """What stands beside a last pixel, an edge and a tap, in words; empty where nothing does."""
    volts = "last" in worded and any(fact.volts is not None for fact in facts)
    back = any(tap.amps is not None and amps_words(tap.amps)[0] == "−" for fact in facts for tap in fact.taps)
    tap = (": feed and current" if named else " and its current") + ("; −: back into the feed" if back else "")
    return {
        "last": " and its volts" if volts else "",
        "edge": " (pixel: universe/channel)" if "edge" in worded else "",
        "tap": tap if {"feed", "joint"} & set(worded) else "",
    }


def keyed(key: str, swatch: str, words: str) -> Item:
    """An item of the legend that tells which mark it is of."""
    return marks.group(swatch, data_key=key), words


def rows(items: Sequence[Item], wide: float) -> list[list[tuple[float, Item]]]:
    """Items in rows, each in the first row that has room for it, with how far from the left it stands."""
    found: list[list[tuple[float, Item]]] = []
    ends: list[float] = []
    for swatch, words in items:
        words = fitted(words, wide - SWATCH - 1, PLAIN)
        needs = SWATCH + long(words, PLAIN)
        row = next((place for place, end in enumerate(ends) if end + needs <= wide), len(found))
        if row == len(found):
            found.append([])
            ends.append(0.0)
        found[row].append((ends[row], (swatch, words)))
        ends[row] += needs + 3.5
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


def columns(notes: Sequence[tuple[str, str]], left: float, top: float, wide: float, most: int) -> tuple[list[str], int]:
    """Notes with their letters in columns, and how many lines they take: no more than `most`."""
    if not notes or most < 1:
        return [], 0
    indent = max(long(letter, SMALL, bold=True) for letter, _ in notes) + 1.2
    widest = max(long(words, SMALL) for _, words in notes) + indent + 3
    across = max(1, int(wide // widest))
    lines = min(-(-len(notes) // across), most)
    parts = []
    shown = notes if len(notes) <= lines * across else notes[: lines * across - 1]
    for place, (letter, words) in enumerate(shown):
        column, row = divmod(place, lines)
        x, y = left + column * wide / across, top + SMALL * (0.85 + LINE * row)
        parts += [text_at(x, y, letter, SMALL, class_="says", font_weight="bold")] if letter else []
        parts.append(text_at(x + indent, y, fitted(words, wide / across - indent - 1, SMALL), SMALL, class_="says"))
    if len(shown) < len(notes):
        x, y = left + (across - 1) * wide / across + indent, top + SMALL * (0.85 + LINE * (lines - 1))
        parts.append(text_at(x, y, f"and {len(notes) - len(shown)} more", SMALL, class_="says"))
    return parts, lines


def lines_at(lines: Sequence[str], left: float, top: float, kind: str) -> list[str]:
    """Lines of small text from `top` downwards."""
    return [
        text_at(left, top + SMALL * (0.85 + LINE * row), line, SMALL, class_=kind) for row, line in enumerate(lines)
    ]


def _step(left: float, right: float, scale: float, units: str) -> float:
    """How far it is from tick to tick; all in one unit."""
    room = max(9.0, long(f"{max(abs(left), abs(right)):.0f}.0 {units}", SMALL) + 2)
    steps = (base * 10.0**power for power in count(-2) for base in (1, 2, 5))
    return next(step for step in steps if step * scale >= room)


_LETTERS = "abcdefghkmnprstuvwxy"
"""Those that nobody takes for a figure or for a line."""


def letters(place: int) -> str:
    """The letter of a place from 0, then two letters."""
    behind, at = divmod(place, len(_LETTERS))
    return (letters(behind - 1) if behind else "") + _LETTERS[at]


def ticks(left: float, right: float, scale: float, units: str) -> list[tuple[float, str]]:
    """The places between two that a ruler has room to number: in metres, and its number in words.

    Args:
        left: metres at the left.
        right: metres at the right.
        scale: millimetres a metre.
        units: the show's, in which numbers are round; the first of them says it.
    """
    unit = METRES_PER[units]
    step = _step(left / unit, right / unit, scale * unit, units)
    first, end = int(np.ceil(left / unit / step - 1e-9)), int(np.floor(right / unit / step + 1e-9))
    return [
        (place * step * unit, f"{place * step:g}".replace("-", "−") + f" {units}" * (place == first))
        for place in range(first, end + 1)
    ]


def ruler(left: float, right: float, scale: float, x: float, y: float, units: str) -> list[str]:
    """The lengths along a strip: a line with ticks; none where the strip is too short for one.

    Args:
        left: metres at its left edge.
        right: metres at its right edge.
        scale: millimetres a metre.
        x: millimetres of its left edge.
        y: millimetres from the top.
        units: the show's.
    """
    if (right - left) * scale < 8:
        return []
    parts = [path(f"M{number(x)},{number(y)}H{number(x + (right - left) * scale)}", stroke=BLACK, stroke_width="0.2")]
    for metres, words in ticks(left, right, scale, units):
        at = x + (metres - left) * scale
        parts.append(path(f"M{number(at)},{number(y)}v1", stroke=BLACK, stroke_width="0.2"))
        parts.append(text_at(at, y + 1.3 + SMALL * 0.8, words, SMALL, class_="metres", text_anchor="middle"))
    return [marks.group("".join(parts), class_="ruler")]
