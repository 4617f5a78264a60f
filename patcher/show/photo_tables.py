"""The photograph on which a show is drawn: its file, and what is known of the sizes in it.

Points of the picture count from its top left corner, to the right and down, as a browser shows it (turned as the camera
says). Lengths are the show's own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import PurePosixPath, PureWindowsPath
from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from patcher.show.tables import LENGTHS, Positive, Real, Table, Text, to_metres

PictureCoordinate = Annotated[Real, Field(ge=-1e6, le=1e6, json_schema_extra={"unit": "points of the picture"})]
PicturePoint = tuple[PictureCoordinate, PictureCoordinate]
MeasuredLength = Annotated[Positive, Field(ge=1e-3, le=10_000, json_schema_extra=LENGTHS), AfterValidator(to_metres)]
Corners = tuple[PicturePoint, PicturePoint, PicturePoint, PicturePoint]
_At = tuple[float, float]
_Line = tuple[float, float, float]

FLATTEST = 0.01
"""The sine of the flattest corner of a wall, about half a degree; a flatter one is taken for a straight line. Own
choice: a point that is one off would then move the other end of the wall by a hundred."""
_ORDER = "write them in this order: bottom left, bottom right, top right, top left"


def _below_the_folder(name: str) -> str:
    """The name of a file beside the show file or below it, by the name alone; ValueError where it is another's."""
    ways = (PurePosixPath(name), PureWindowsPath(name))
    depth = lowest = 0
    for part in ways[1].parts:
        depth += -1 if part == ".." else 1
        lowest = min(lowest, depth)
    if lowest < 0 or "\0" in name or any(way.is_absolute() or way.anchor for way in ways):
        raise ValueError(f"names the file {name!r}, which is not beside this show file or below it → put it there")
    if depth == 0:
        raise ValueError('names no file → write the name of the picture: file = "house.jpg"')
    return name


def _wall(corners: Sequence[_At]) -> Sequence[_At]:
    """Four corners that can be those of an upright wall, from bottom left round by bottom right; ValueError says why
    they cannot.
    """
    sides = [(x1 - x0, y0 - y1) for (x0, y0), (x1, y1) in zip(corners, (*corners[1:], corners[0]), strict=True)]
    if not all(math.hypot(*side) for side in sides):
        raise ValueError(f"names one point twice → {_ORDER}")
    turns = [_turn(before, behind) for before, behind in zip((sides[3], *sides[:3]), sides, strict=True)]
    if any(abs(turn) < FLATTEST for turn in turns):
        raise ValueError(f"has three corners in one line → a wall has four; {_ORDER}")
    left = sum(turn > 0 for turn in turns)
    if left == 2:
        raise ValueError(f"is crossed: two of its sides cut each other → {_ORDER}")
    if left in (1, 3):
        raise ValueError(f"has a corner that points inwards → correct it; {_ORDER}")
    if left == 0:
        raise ValueError(f"goes round the wrong way, as in a mirror → {_ORDER}")
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = corners
    if y0 + y1 - y2 - y3 <= abs(x2 + x3 - x0 - x1):
        raise ValueError(f"begins at another corner than the bottom left one, or lies on its side → {_ORDER}")
    return corners


def _turn(before: _At, behind: _At) -> float:
    """The sine of the turn to the left from one side to the next, y up."""
    (ax, ay), (bx, by) = before, behind
    return (ax * by - ay * bx) / (math.hypot(ax, ay) * math.hypot(bx, by))


class PhotoSpan(Table):
    """Two points of the picture and how far apart they are: `{ from = [100, 400], to = [400, 402], length = 3.2 }`."""

    begin: PicturePoint = Field(alias="from")
    """One point of the picture, [x, y]."""
    end: PicturePoint = Field(alias="to")
    """The other one."""
    length: MeasuredLength
    """How far they are apart, as measured on the house."""

    @model_validator(mode="after")
    def _two_points(self) -> PhotoSpan:
        if self.begin == self.end:
            raise ValueError("from and to are one point → write two points that lie apart")
        return self


class PhotoWall(Table):
    """An upright wall of known size, or a gate, a garage door: whatever is flat, with four corners in the picture."""

    corners: Annotated[Corners, AfterValidator(_wall)]
    """Its corners in the picture, [x, y] each: bottom left, bottom right, top right, top left."""
    width: MeasuredLength
    """How wide it is."""
    height: MeasuredLength
    """How high it is."""


class Photo(Table):
    """[show.photo]: a photograph of the house, on which the show is drawn. Points of the picture count from its top
    left corner, to the right and down. Without `spans` and `wall` nothing is known of its scale.
    """

    file: Annotated[Text, AfterValidator(_below_the_folder)]
    """The picture, JPEG or PNG, beside the show file or below it."""
    origin: PicturePoint | None = None
    """The point of the picture that is [0, 0] in the show. Where not said: the wall's bottom left corner; without a
    wall the picture's."""
    spans: tuple[PhotoSpan, ...] = ()
    """Two points of the picture and how far apart they are; several where you can. With a `wall` they only check it."""
    wall: PhotoWall | None = None
    """An upright wall of known size, for a picture that was taken from the side or from below."""

    @model_validator(mode="after")
    def _origin_is_on_the_wall(self) -> Photo:
        if self.origin is not None and self.wall is not None and not _this_side(self.wall.corners, self.origin):
            says = "origin lies on the wall's horizon or beyond it, where no point of its plane is"
            raise ValueError(f"{says} → write a point at the foot of the wall, or correct its corners")
        return self


def _this_side(corners: Sequence[_At], point: _At) -> bool:
    """Whether a point of the picture is one of a wall's plane, on the wall's side of that plane's horizon.

    The horizon joins the points in which its opposite sides meet. Source: R. Hartley and A. Zisserman, Multiple View
    Geometry, 2nd edition, 2.2 (joins and meets are cross products) and 8.6 (vanishing points and lines); numbers of
    sections from memory.
    """
    middle = (sum(x for x, _ in corners) / 4, sum(y for _, y in corners) / 4)
    size = max(math.dist(middle, corner) for corner in corners)
    a, b, c, d = (_seen_from(middle, size, corner) for corner in corners)
    horizon = _cross(_cross(_cross(a, b), _cross(d, c)), _cross(_cross(a, d), _cross(b, c)))
    return _dot(horizon, _seen_from(middle, size, point)) * horizon[2] > 0  # the middle is (0, 0, 1)


def _seen_from(middle: _At, size: float, point: _At) -> _Line:
    return (point[0] - middle[0]) / size, (point[1] - middle[1]) / size, 1.0


def _cross(a: _Line, b: _Line) -> _Line:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def _dot(a: _Line, b: _Line) -> float:
    return sum(x * y for x, y in zip(a, b, strict=True))
