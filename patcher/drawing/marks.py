"""The marks of a drawing: ends of runs, edges of universes, taps of feeds, cuts of V+, boxes and boosters.

Each differs from every other by its shape. Where an electrical symbol is wanted it follows IEC 60617 (from memory):
an amplifier is a triangle that points where the signal goes, a fuse a rectangle with the wire through it, a source a
circle with the wire through it.
"""

from __future__ import annotations

import numpy as np

from patcher.drawing.svg import BLACK, WHITE, Floats, attributes, number, path, rect, trace_of

EDGED = {"stroke": BLACK, "stroke_width": "0.3"}


def group(inner: str, **more: object) -> str:
    """Elements that belong together."""
    return f"<g{attributes(**more)}>{inner}</g>"


def mark(inner: str, **more: object) -> str:
    """A mark, and what it stands for."""
    return group(inner, class_="mark", **more)


def _disc(x: float, y: float, radius: float, fill: str, edge: str, width: float) -> str:
    return (
        f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}" stroke="{edge}" '
        f'stroke-width="{number(width)}"/>'
    )


def first(at: Floats, size: float) -> str:
    """The first pixel, where the data enters: a disc."""
    return _disc(at[0], at[1], size, BLACK, WHITE, 0.3)


def last(at: Floats, way: Floats, size: float) -> str:
    """The last pixel: a bar across the run."""
    across = _turned(way) * size * 1.3
    return _bar(at, across, 0.95) + _bar(at, across, 0.6, BLACK, 0.0)


def _bar(at: Floats, across: Floats, width: float, colour: str = WHITE, more: float = 0.25) -> str:
    long = across * (1 + more / max(float((across @ across) ** 0.5), 1e-9))
    return path(trace_of([at - long, at + long]), stroke=colour, stroke_width=f"{width:g}")


def edge(at: Floats, way: Floats, size: float) -> str:
    """The edge of a universe: two thin lines across the run."""
    across = _turned(way) * size * 1.5
    lines = [path(trace_of([at - across, at + across]), stroke=WHITE, stroke_width="1")]
    for side in (-0.28, 0.28):
        middle = at + way * side
        lines.append(
            path(trace_of([tuple(middle - across), tuple(middle + across)]), stroke=BLACK, stroke_width="0.22")
        )
    return "".join(lines)


def cut(at: Floats, way: Floats, size: float) -> str:
    """Where V+ is cut: a stroke aslant through a gap."""
    across = (_turned(way) + way * 0.7) * size * 1.2
    gap = path(trace_of([at - way * 0.5, at + way * 0.5]), stroke=WHITE, stroke_width="1.6")
    return gap + "".join(
        path(
            trace_of([at + way * side - across, at + way * side + across]),
            stroke=BLACK,
            stroke_width="0.3",
        )
        for side in (-0.45, 0.45)
    )


def tap(at: Floats, outward: Floats, size: float) -> str:
    """Where a feed joins: a filled triangle beside the run that points at it."""
    side = _turned(outward) * size * 0.85
    tip, base = at + outward * size * 0.9, at + outward * size * 2.5
    corners = [tip, base - side, base + side]
    return path(trace_of(corners, closed=True), fill=BLACK, **EDGED)


def arrow(at: Floats, way: Floats, size: float) -> str:
    """The direction of the data: a filled head."""
    across = _turned(way) * size * 0.62
    corners = [at + way * size * 0.75, at - way * size * 0.6 - across, at - way * size * 0.25,
               at - way * size * 0.6 + across]  # fmt: skip
    return path(trace_of(corners, closed=True), fill=BLACK, stroke=WHITE, stroke_width="0.2")


def chevron(at: Floats, way: Floats, size: float) -> str:
    """The direction of the data on a ribbon: an open head, as the `d` of a path."""
    across = _turned(way) * size
    return trace_of([at - way * size * 0.6 - across, at + way * size * 0.4,
                     at - way * size * 0.6 + across])  # fmt: skip


def gap(at: Floats, size: float) -> str:
    """A place that has no pixel: an empty ring."""
    return _disc(at[0], at[1], size * 0.7, WHITE, BLACK, 0.25)


def booster(at: Floats, way: Floats, size: float) -> str:
    """A booster of the data: an amplifier."""
    across = _turned(way) * size
    corners = [at + way * size, at - way * size - across, at - way * size + across]
    return path(trace_of(corners, closed=True), fill=WHITE, **EDGED)


def box(at: Floats, size: float) -> str:
    """A box: a rectangle with a lid."""
    x, y, wide, high = at[0] - size * 1.5, at[1] - size, size * 3, size * 2
    lid = path(f"M{number(x)},{number(y + high * 0.32)}h{number(wide)}", stroke=BLACK, stroke_width="0.3")
    return rect(x, y, wide, high, rx="0.4", fill=WHITE, stroke=BLACK, stroke_width="0.5") + lid


def ring(at: Floats, size: float) -> str:
    """What is still to be put there: a dashed ring round it."""
    x, y, r = number(at[0] - size), number(at[1]), number(size)
    ways = f"M{x},{y}a{r},{r} 0 1 0 {number(2 * size)},0a{r},{r} 0 1 0 {number(-2 * size)},0"
    return path(ways, stroke=BLACK, stroke_width="0.3", stroke_dasharray="0.8 0.6")


def null(at: Floats, size: float) -> str:
    """A null pixel: an empty lozenge."""
    corners = [(at[0] - size, at[1]), (at[0], at[1] - size), (at[0] + size, at[1]), (at[0], at[1] + size)]
    return path(trace_of(corners, closed=True), fill=WHITE, **EDGED)


def fuse(x: float, y: float, wide: float) -> str:
    """A fuse: a rectangle with the wire through it."""
    wire = path(f"M{number(x)},{number(y)}h{number(wide)}", **EDGED)
    return rect(x, y - 0.8, wide, 1.6, fill=WHITE, **EDGED) + wire


def source(x: float, y: float, radius: float) -> str:
    """A source of voltage: a circle with the wire through it."""
    inner = path(f"M{number(x)},{number(y - radius)}v{number(2 * radius)}", **EDGED)
    return _disc(x, y, radius, WHITE, BLACK, 0.35) + inner


def joint(x: float, y: float) -> str:
    """Where wires are joined: a dot."""
    return f'<circle cx="{number(x)}" cy="{number(y)}" r="0.55" fill="{BLACK}"/>'


def _turned(way: Floats) -> Floats:
    """A quarter turn."""
    return np.array([-way[1], way[0]])
