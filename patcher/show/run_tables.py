"""Runs and the grids that they are wired on: one model a shape, each with the keys that its picture needs."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Discriminator, Field, PrivateAttr, Tag, ValidationInfo, model_validator

from patcher.show.outlines import corner_places, place_at_corner
from patcher.show.tables import (
    MOST_PIXELS,
    Awg,
    Corner,
    Count,
    End,
    Entry,
    Flag,
    Length,
    Name,
    Named,
    Pitch,
    Point,
    SquareMillimetres,
    Table,
    Text,
    Whole,
    one_gauge,
)


class Run(Named):
    """[run.NAME]: one unbroken chain of pixels; without a shape it has no picture."""

    shape_name: ClassVar[str] = "none"

    pixel: Name
    """Its kind of pixel: a name of [pixel.NAME]."""
    lead: Length = 0.0
    """Length of cable before the first pixel."""
    lead_awg: Awg | None = None
    """Gauge of the lead's V+ and ground; the string's own where not said."""
    lead_mm2: SquareMillimetres | None = None
    """Cross-section of the lead's V+ and ground, instead of `lead_awg`."""
    lead_via: Literal["cable", "booster", "differential"] = "cable"
    """How the data crosses the lead: a plain cable, a booster in it, or a differential pair."""
    nulls: Annotated[Whole, Field(le=1000)] = 0
    """Null pixels in the lead: at its end, where `nulls_at` does not say where."""
    nulls_at: tuple[Length, ...] = ()
    """Where its null pixels sit: lengths along the lead from its beginning, as many as `nulls`. A null pixel needs V+:
    where the lead brings none, it comes back from the run's first pixel."""
    power_joined: Flag = True
    """Whether its V+ goes on from the run before it on the port. The first run of a port has none before it: its lead
    brings data and ground only."""
    power_cuts: tuple[Count, ...] = ()
    """V+ is cut just before these pixels."""
    batch: Text = ""
    """Which purchase its pixels came from."""
    hung: Flag = True
    """False: not up this season; its addresses stay reserved."""
    same_data_as: Name | None = None
    """The run whose data it shares (a tee): same length, no port, no channels."""

    @property
    def places(self) -> int:
        """Places drawn, those without a pixel included."""
        raise NotImplementedError

    @property
    def gap_places(self) -> tuple[int, ...]:
        """Drawn places without a pixel, counted from 1."""
        return ()

    @property
    def pixels(self) -> int:
        """How many pixels it has."""
        return self.places - len(self.gap_places)

    @property
    def takes_power_on(self) -> bool:
        """Whether V+ goes on to it from a run before it: not where the file cuts it there, nor at a tee."""
        return self.power_joined and self.same_data_as is None

    @property
    def lead_stretches(self) -> tuple[float, ...]:
        """Metres of lead from its beginning to its first null pixel, from each to the next, and to the first pixel."""
        ends = (0.0, *(self.nulls_at or (self.lead,) * self.nulls), self.lead)
        return tuple(behind - before for before, behind in pairwise(ends))

    @model_validator(mode="after")
    def _nulls_lie_in_the_lead(self) -> Run:
        if self.nulls_at and len(self.nulls_at) != self.nulls:
            raise ValueError(
                f"nulls_at names {len(self.nulls_at)} places, and nulls = {self.nulls} → name as many places as nulls"
            )
        if list(self.nulls_at) != sorted(self.nulls_at):
            raise ValueError("nulls_at runs backwards → count every place from the beginning of the lead")
        if self.nulls_at and self.nulls_at[-1] > self.lead + 1e-9:
            raise ValueError("nulls_at goes past the end of the lead → no place is farther along than lead is long")
        return self

    @model_validator(mode="after")
    def _lead_gauge(self) -> Run:
        one_gauge(self.lead_awg, self.lead_mm2, "lead_")
        return self


class PlainRun(Run):
    """[run.NAME]: a run with no picture."""

    drawn: Count = Field(alias="pixels")
    """How many pixels it has."""

    @property
    def places(self) -> int:  # noqa: D102
        return self.drawn


class DrawnRun(Run):
    """A run with a picture."""

    gaps: tuple[Count, ...] = ()
    """Drawn places without a pixel, from 1 (in a grid or band in wiring order); pixel numbers leave them out."""

    @property
    def gap_places(self) -> tuple[int, ...]:  # noqa: D102
        return self.gaps

    @model_validator(mode="after")
    def _gaps_fit(self) -> DrawnRun:
        if not self.gaps:
            return self
        if len(set(self.gaps)) != len(self.gaps):
            raise ValueError("gaps names a place twice → write each once")
        try:
            places = self.places
        except NotImplementedError:  # a band's places are counted where its prop is known
            return self
        if max(self.gaps) > places:
            raise ValueError(
                f"gaps names place {max(self.gaps)}, but {places} places are drawn → gaps are 1 to {places}"
            )
        if len(self.gaps) == places:
            raise ValueError("gaps leaves no pixel at all")
        return self


class PathRun(DrawnRun):
    """A run drawn from a first place to a last one, which its data may enter at either end."""

    data_in: End = "first"
    """Where the data enters: the first or the last place drawn. Pixel 1 is there."""


class CountedRun(PathRun):
    """A run along a curve, which says how many places are drawn on it."""

    drawn: Count = Field(alias="pixels")
    """How many places are drawn, gaps included."""

    @property
    def places(self) -> int:  # noqa: D102
        return self.drawn


class LineRun(CountedRun):
    """A path of two or more points; pixels evenly spaced along it, both ends lit."""

    shape_name: ClassVar[str] = "line"
    shape: Literal["line"]
    path: Annotated[tuple[Point, ...], Field(min_length=2)]
    """The points of the path, [x, y] each."""

    @model_validator(mode="after")
    def _has_length(self) -> LineRun:
        if len(set(self.path)) == 1:
            raise ValueError("path has no length: its points are all the same → give it two different points")
        return self


class LoopRun(CountedRun):
    """A closed outline, from its first corner round in the order of the corners."""

    shape_name: ClassVar[str] = "loop"
    shape: Literal["loop"]
    corners: Annotated[tuple[Point, ...], Field(min_length=3)]
    """The corners of the outline, [x, y] each."""
    data_in: Entry = "first"  # type: ignore[assignment]  # a closed outline may be entered anywhere
    """Where the data enters: "first" or "last" place drawn, a corner, or the number of a place drawn; "last" goes round
    backwards."""
    backwards: Flag = False
    """The data goes round against the order of the corners."""

    @property
    def entry(self) -> int:
        """The place drawn, from 1, where the data enters."""
        return self.entry_of(self.data_in)

    @property
    def against(self) -> bool:
        """Whether the data goes round against the order of the corners."""
        return self.backwards or self.data_in == "last"

    def entry_of(self, data_in: str | int) -> int:
        """The place drawn, from 1, that is meant by a way to say where the data enters.

        Raises:
            ValueError: there is no such place, or no saying which corner is meant.
        """
        if data_in in ("first", "last"):
            return 1 if data_in == "first" else self.drawn
        if isinstance(data_in, str):
            return place_at_corner(data_in, self.corners, self.drawn)
        if data_in > self.drawn:
            raise ValueError(
                f"data_in names place {data_in}, but {self.drawn} places are drawn → places are 1 to {self.drawn}"
            )
        return data_in

    @property
    def corner_places(self) -> tuple[int, ...]:
        """The place drawn, from 1, that is nearest to each corner along the outline."""
        return corner_places(self.corners, self.drawn)

    @model_validator(mode="after")
    def _has_length(self) -> LoopRun:
        if len(set(self.corners)) == 1:
            raise ValueError("corners has no length: its points are all the same → give it two different points")
        if self.backwards and self.data_in == "last":
            says = 'backwards is said twice: data_in = "last" goes round backwards already'
            raise ValueError(f"{says} → take backwards out, or write data_in = {self.drawn}")
        self.entry_of(self.data_in)
        return self


class ArchRun(CountedRun):
    """Half an ellipse standing on two feet, over and back."""

    shape_name: ClassVar[str] = "arch"
    shape: Literal["arch"]
    feet: tuple[Point, Point]
    """Where it stands, [[x, y], [x, y]], from its first place."""
    height: Pitch
    """Height from the line between the feet to the top."""
    passes: Count = 1
    """How often the run goes over the arch; each pass retraces the last one backwards."""

    @model_validator(mode="after")
    def _passes_fit(self) -> ArchRun:
        if self.feet[0] == self.feet[1]:
            raise ValueError("feet are both at one point → write where each foot stands")
        if self.drawn % self.passes:
            raise ValueError(
                f"pixels = {self.drawn} does not divide by passes = {self.passes} → give each pass as many pixels"
            )
        return self


class PointsRun(PathRun):
    """Places listed one by one, here or in a CSV file; their order is that of the pixels."""

    shape_name: ClassVar[str] = "points"
    shape: Literal["points"]
    at: Annotated[tuple[Point, ...], Field(min_length=1)] = Field(
        default=(), json_schema_extra={"given": "this or file must be given"}
    )
    """The places, [x, y] each, in order; or `file`."""
    file: Text | None = Field(default=None, json_schema_extra={"given": "this or at must be given"})
    """A CSV file with columns x and y, beside the show file or below it."""

    @model_validator(mode="before")
    @classmethod
    def _read_file(cls, table: Any, info: ValidationInfo) -> Any:
        if not isinstance(table, dict):
            return table
        if ("at" in table) == ("file" in table):
            raise ValueError('gives no places, or gives them twice → write at = [[x, y], …] or file = "….csv"')
        points: Callable[[str], list[tuple[float, float]]] | None = (info.context or {}).get("points")
        if isinstance(table.get("file"), str) and points is not None:
            return {**table, "at": points(table["file"])}
        return table

    @property
    def places(self) -> int:  # noqa: D102
        return len(self.at)


class Grid(Table):
    """Rows and columns of places."""

    area: tuple[Point, Point]
    """Two opposite corners, [[x0, y0], [x1, y1]]: the centres of the corner pixels."""
    columns: Count
    """How many columns it has."""
    rows: Count
    """How many rows it has."""
    lines: Literal["rows", "columns"]
    """What one line of wiring is: a row or a column."""
    turns: Literal["serpentine", "same-way"]
    """`"serpentine"`: every second line runs back; `"same-way"`: none does."""
    data_in: Corner
    """The corner where the data enters; of a grid's prop: where its lines are counted from."""

    @property
    def line_count(self) -> int:
        """How many lines of wiring it has."""
        return self.columns if self.lines == "columns" else self.rows

    @property
    def line_length(self) -> int:
        """How many places one line has."""
        return self.rows if self.lines == "columns" else self.columns

    @model_validator(mode="after")
    def _has_room(self) -> Grid:
        if self.columns * self.rows > MOST_PIXELS:
            raise ValueError(f"{self.columns} columns of {self.rows} rows are more pixels than all universes hold")
        (x0, y0), (x1, y1) = self.area
        if self.columns > 1 and x0 == x1:
            raise ValueError(f"area has no width for {self.columns} columns → write the corners' true x")
        if self.rows > 1 and y0 == y1:
            raise ValueError(f"area has no height for {self.rows} rows → write the corners' true y")
        return self


class GridRun(DrawnRun, Grid):
    """A grid that is one run. Its places are counted in wiring order."""

    shape_name: ClassVar[str] = "grid"
    shape: Literal["grid"]

    @property
    def places(self) -> int:  # noqa: D102
        return self.columns * self.rows


class BandRun(DrawnRun):
    """Some whole lines of a grid that is drawn once, on its prop. Its places are counted in wiring order."""

    shape_name: ClassVar[str] = "band"
    shape: Literal["band"]
    of: Name
    """The prop that draws the grid."""
    band: tuple[Count, Count]
    """First and last line, `[15, 28]`, counted from the prop's `data_in`."""
    data_in: Corner
    """The corner of the band where the data enters, whichever corner its prop has."""
    turns: Literal["serpentine", "same-way"] | None = None
    """How its own lines turn, where not as its prop's."""
    _line_length: int | None = PrivateAttr(default=None)

    @property
    def has_grid(self) -> bool:
        """Whether the prop is known on which its grid is drawn."""
        return self._line_length is not None

    def on(self, grid: Grid) -> BandRun:
        """The same band of a grid."""
        band = self.model_copy()
        band._line_length = grid.line_length
        return band

    @property
    def places(self) -> int:  # noqa: D102
        if self._line_length is None:
            raise NotImplementedError
        return (self.band[1] - self.band[0] + 1) * self._line_length

    @model_validator(mode="after")
    def _rises(self) -> BandRun:
        if self.band[0] > self.band[1]:
            raise ValueError(f"band = [{self.band[0]}, {self.band[1]}] runs backwards → write the lower line first")
        return self


RUN_KINDS: dict[str, type[Run]] = {
    kind.shape_name: kind for kind in (LineRun, LoopRun, ArchRun, GridRun, BandRun, PointsRun, PlainRun)
}


def run_kind(table: Any) -> str:
    """The shape that a table says it has; `none` where it says nothing."""
    shape = table.get("shape", "none") if isinstance(table, dict) else "none"
    return shape if isinstance(shape, str) else repr(shape)


AnyRun = Annotated[
    Annotated[LineRun, Tag("line")]
    | Annotated[LoopRun, Tag("loop")]
    | Annotated[ArchRun, Tag("arch")]
    | Annotated[GridRun, Tag("grid")]
    | Annotated[BandRun, Tag("band")]
    | Annotated[PointsRun, Tag("points")]
    | Annotated[PlainRun, Tag("none")],
    Discriminator(run_kind),
]
