"""A drawing over a still, as values, and the two files that it becomes: SVG and PNG. Lengths are its points."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from patcher.drawing.svg import attributes, number, path, rect, trace_of

if TYPE_CHECKING:
    import cv2

Still = NDArray[np.uint8]
"""Red, green and blue: shape (height, width, 3)."""
DARK = "#05070c"


@dataclass(frozen=True)
class Way:
    """A line through points; `halo` parts it from what is below it."""

    points: tuple[tuple[float, float], ...]
    colour: str
    width: float
    halo: float = 0.0


@dataclass(frozen=True)
class Area:
    """A polygon: filled, or only its edge."""

    points: tuple[tuple[float, float], ...]
    fill: str | None
    edge: str | None = None
    width: float = 0.0


@dataclass(frozen=True)
class Disc:
    """A circle: filled, or only its edge."""

    x: float
    y: float
    radius: float
    fill: str | None
    edge: str | None = None
    width: float = 0.0


@dataclass(frozen=True)
class Words:
    """A line of text, its baseline at x, y; with a dark rim where it stands on the still."""

    x: float
    y: float
    text: str
    size: float
    colour: str = "#ffffff"
    bold: bool = False
    rim: bool = False


Shape = Way | Area | Disc | Words


@dataclass(frozen=True, eq=False)
class Canvas:
    """A picture: a still in a larger dark area, and shapes on it.

    Attributes:
        title, says: what it is, for whoever cannot see it.
        wide, high: of the whole.
        still: the picture below the shapes.
        top: how far down it begins.
        shapes: in the order in which they are drawn.
    """

    title: str
    says: str
    wide: int
    high: int
    still: Still
    top: int
    shapes: tuple[Shape, ...]


def as_svg(canvas: Canvas, head: str = "") -> str:
    """An SVG document with the still inside it; `head` is put before it."""
    import cv2

    _, jpeg = cv2.imencode(".jpg", canvas.still[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
    still = base64.b64encode(jpeg.tobytes()).decode()
    high, wide = canvas.still.shape[:2]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {canvas.wide} {canvas.high}" width="{canvas.wide}" '
        f'height="{canvas.high}" role="img" font-family="Rubik, Inter, Arial, sans-serif">',
        f"<title>{escape(canvas.title)}</title><desc>{escape(canvas.says)}</desc>",
        rect(0, 0, canvas.wide, canvas.high, fill=DARK),
        f'<image x="0" y="{canvas.top}" width="{wide}" height="{high}" href="data:image/jpeg;base64,{still}"/>',
        *(_svg(shape) for shape in canvas.shapes),
        "</svg>\n",
    ]
    return head + "\n".join(parts)


def _svg(shape: Shape) -> str:
    match shape:
        case Way(points, colour, width, halo):
            line = {"stroke_linejoin": "round", "stroke_linecap": "round"}
            d = trace_of(points)
            below = path(d, stroke=DARK, stroke_width=number(width + 2 * halo), stroke_opacity=0.7, **line)
            return below * bool(halo) + path(d, stroke=colour, stroke_width=number(width), **line)
        case Area(points, fill, edge, width):
            d = trace_of(points, closed=True)
            return path(d, fill=fill or "none", stroke=edge, stroke_width=edge and number(width))
        case Disc(x, y, radius, fill, edge, width):
            return (
                f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"'
                + attributes(fill=fill or "none", stroke=edge, stroke_width=edge and number(width)) + "/>"
            )  # fmt: skip
        case Words(x, y, text, size, colour, bold, rim):
            around = {"stroke": DARK, "stroke_width": number(size / 4), "paint_order": "stroke"} if rim else {}
            return (
                f'<text x="{number(x)}" y="{number(y)}" font-size="{size:g}"'
                + attributes(fill=colour, font_weight=600 if bold else None, stroke_linejoin="round", **around)
                + f">{escape(text)}</text>"
            )


def as_png(canvas: Canvas) -> bytes:
    """The octets of a PNG."""
    import cv2

    picture = np.empty((canvas.high, canvas.wide, 3), dtype=np.uint8)
    picture[:] = _bgr(DARK)
    high, wide = canvas.still.shape[:2]
    picture[canvas.top : canvas.top + high, :wide] = canvas.still[:, :, ::-1]
    pencil = _Pencil(picture)
    for shape in canvas.shapes:
        pencil.draw(shape)
    _, octets = cv2.imencode(".png", picture, [cv2.IMWRITE_PNG_COMPRESSION, 9])
    return octets.tobytes()


SHIFT = 4
"""Bits behind the point of a coordinate."""


class _Pencil:
    """Draws shapes into a picture in blue, green and red."""

    def __init__(self, picture: Still) -> None:
        self._picture = picture
        self._face: cv2.FontFace | None = None

    def draw(self, shape: Shape) -> None:
        match shape:
            case Way(points, colour, width, halo):
                if halo:
                    self._line(points, DARK, width + 2 * halo, closed=False)
                self._line(points, colour, width, closed=False)
            case Area(points, fill, edge, width):
                self._area(points, fill)
                if edge:
                    self._line(points, edge, width, closed=True)
            case Disc(x, y, radius, fill, edge, width):
                self._disc(x, y, radius, fill, edge, width)
            case Words(x, y, text, size, colour, bold, rim):
                self._words(x, y, text, size, colour, bold=bold, rim=rim)

    def _line(self, points: Iterable[tuple[float, float]], colour: str, width: float, *, closed: bool) -> None:
        import cv2

        cv2.polylines(
            self._picture, [_fixed(points)], closed, _bgr(colour), max(1, round(width)), cv2.LINE_AA, SHIFT
        )  # fmt: skip

    def _area(self, points: Iterable[tuple[float, float]], fill: str | None) -> None:
        import cv2

        if fill:
            cv2.fillPoly(self._picture, [_fixed(points)], _bgr(fill), cv2.LINE_AA, SHIFT)

    def _disc(self, x: float, y: float, radius: float, fill: str | None, edge: str | None, width: float) -> None:
        import cv2

        middle, size = (round(x * 2**SHIFT), round(y * 2**SHIFT)), round(radius * 2**SHIFT)
        if fill:
            cv2.circle(self._picture, middle, size, _bgr(fill), cv2.FILLED, cv2.LINE_AA, SHIFT)
        if edge:
            cv2.circle(self._picture, middle, size, _bgr(edge), max(1, round(width)), cv2.LINE_AA, SHIFT)

    def _words(self, x: float, y: float, text: str, size: float, colour: str, *, bold: bool, rim: bool) -> None:
        import cv2

        self._face = self._face or cv2.FontFace("sans")
        own, weight = round(size), 600 if bold else 400
        for turn in np.arange(12 * rim) * np.pi / 6:
            at = (round(x + size / 8 * np.cos(turn)), round(y + size / 8 * np.sin(turn)))
            cv2.putText(self._picture, text, at, _bgr(DARK), self._face, own, weight)
        cv2.putText(self._picture, text, (round(x), round(y)), _bgr(colour), self._face, own, weight)


def _fixed(points: Iterable[Sequence[float]]) -> NDArray[np.int32]:
    found: NDArray[np.int32] = np.round(np.array(list(points)) * 2**SHIFT).astype(np.int32)
    return found


def _bgr(colour: str) -> tuple[int, int, int]:
    red, green, blue = bytes.fromhex(colour.removeprefix("#"))
    return blue, green, red
