"""The show as a person writes it: one frozen model a table of the file.

The models are the whole rule of what a show file may hold, key by key; names that refer to other tables are held
against those tables in `references`.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    AfterValidator,
    Discriminator,
    Field,
    ModelWrapValidatorHandler,
    StringConstraints,
    Tag,
    model_validator,
)

from patcher.show.likeness import Copy
from patcher.show.mains_tables import LeakMilliamps, MainsAmps, Part, Socket
from patcher.show.photo_tables import Photo
from patcher.show.run_tables import AnyRun, BandRun, Grid, Run
from patcher.show.tables import (
    Amps,
    ColourOrder,
    Count,
    Flag,
    Fraction,
    Length,
    Milliamps,
    Name,
    Named,
    NotNegative,
    Pitch,
    Point,
    PortNumber,
    Positive,
    Table,
    Text,
    UniverseNumber,
    Volts,
    Wired,
    same_place,
    station_address,
)
from patcher.trade import FRAME_RATE, MOST_PORTS, Protocol


class Settings(Table):
    """[show]: what holds for the whole display."""

    title: Text
    """What the display is called; any script."""
    units: Literal["m", "ft"] = "m"
    """Metres or feet, for every length and coordinate in the file."""
    frame_rate: Annotated[Positive, Field(le=1000, json_schema_extra={"unit": "frames/s"})] = FRAME_RATE
    """How fast the show plays."""
    first_universe: UniverseNumber = 1
    """Where the patch begins."""
    placement: Literal["fresh", "follow", "whole"] = "fresh"
    """Where a start may fall. `"fresh"`: each on channel 1 of a new universe; `"follow"`: right behind the one before;
    `"whole"`: the runs of a start cross no more universes than they must; as few universes as possible."""
    share_universes: Flag = False
    """May two controllers share one universe?"""
    level: Fraction = 1.0
    """The brightest the show is run at, from 0 to 1."""
    photo: Photo | None = None
    """A photograph of the house, on which the show is drawn."""


class PixelType(Wired):
    """[pixel.NAME]: one kind of pixel, from its data sheet or from a measurement."""

    colour_order: ColourOrder
    """The order in which its chip takes its channels, one letter a channel: RGB, GRB, RGBW."""
    volts: Volts | None = None
    """Rated supply voltage."""
    channel_ma: Milliamps | None = None
    """Current of one channel at full, at the rated voltage."""
    idle_ma: Milliamps | None = None
    """Current of a dark pixel."""
    draw: Literal["current", "power"] = "current"
    """`"current"`: the same amperes at any voltage; `"power"`: the same watts, a regulated pixel."""
    min_volts: Volts | None = None
    """The least voltage at which it still works as it should."""
    bit_rate: Annotated[Positive, Field(ge=1_000, le=1_000_000_000, json_schema_extra={"unit": "bit/s"})] = 800_000
    """Speed of the data line."""
    reset_us: Annotated[NotNegative, Field(le=1_000_000, json_schema_extra={"unit": "µs"})] = 300
    """Quiet on the data line that latches a frame."""
    pitch: Pitch | None = None
    """Length of wire from pixel to pixel."""

    @property
    def channels(self) -> int:
        """Channels that one pixel takes."""
        return len(self.colour_order)


class Logic(Table):
    """What runs the controller itself: `{ supply = "NAME", amps = 0.4 }`."""

    supply: Name
    """The supply that it hangs on."""
    amps: Annotated[NotNegative, Field(le=100_000, json_schema_extra={"unit": "A"})]
    """What it draws."""


def _each_once(places: tuple[Point, ...]) -> tuple[Point, ...]:
    for number, place in enumerate(places):
        first = next(at for at, other in enumerate(places) if same_place(place, other))
        if first < number:
            raise ValueError(f"names place {first + 1} again as place {number + 1} → leave one of them out")
    return places


class Controller(Named):
    """[controller.NAME]: a box with its pixel controller, and its tables [controller.NAME.port] and
    [controller.NAME.start].
    """

    address: Annotated[str, Field(strict=True), AfterValidator(station_address)] | None = Field(
        default=None, json_schema_extra={"given": "must be given, but for multicast and for a spare"}
    )
    """IPv4 address set in the box."""
    delivery: Literal["unicast", "multicast"] = "unicast"
    """`"unicast"` to the address, or `"multicast"` to the group of each universe (address optional; E1.31 only)."""
    protocol: Protocol = "e131"
    """`"e131"` (E1.31, also called sACN) or `"artnet"` (Art-Net): what the box listens to."""
    start_per: Literal["controller", "port", "run"] = "port"
    """What has a start of its own in the box: the controller, each port, or each run."""
    ports: Annotated[Count, Field(le=MOST_PORTS)]
    """How many data ports the box has."""
    port_pixels: Count | None = None
    """Most pixels on one port, nulls included."""
    universes: Count | None = None
    """Most universes that it listens to."""
    consecutive: Flag = True
    """Must the universes that it has pixels in follow each other? `false` lets them lie apart, as a pin (a start
    address that you fix) may need."""
    first_universe: UniverseNumber | None = None
    """A pin: the box begins on channel 1 of this universe."""
    reorders: Flag = True
    """The box puts colours into chip order itself, so the network carries RGB(W)."""
    skips_nulls: Flag = True
    """Null pixels take no channels."""
    wifi_mbps: Annotated[Positive, Field(ge=1e-3, le=1_000_000, json_schema_extra={"unit": "Mb/s"})] | None = None
    """The box is reached over Wi-Fi, which was measured to carry this."""
    level: Fraction = 1.0
    """A dimmer set in the box."""
    logic: Logic | None = None
    """The controller's own electronics: `{ supply = "NAME", amps = 0.4 }`."""
    at: Point | None = None
    """Where the box stands."""
    stands: Annotated[tuple[Point, ...], Field(min_length=1, max_length=200), AfterValidator(_each_once)] = ()
    """The places where the box may stand, `[[x, y], [x, y]]`, for `propose`: without `at` it chooses one of them.
    Several boxes may share them: no two of them are put in one place."""
    spare: Flag = False
    """Kept on the shelf, feeding nothing."""
    port: dict[PortNumber, tuple[Name, ...]] = Field(default_factory=dict)
    """Each port's runs in data order along the cable: `1 = ["near", "far"]`."""
    start: dict[str, Annotated[str, StringConstraints(strict=True, pattern=r"^[0-9]{1,5}/[0-9]{1,3}$")]] = Field(
        default_factory=dict
    )
    """Pins of single starts, `2 = "24/1"`: left stands the port's number (or the run's or the box's name, as
    `start_per` says), right universe and channel."""

    @model_validator(mode="after")
    def _reachable(self) -> Controller:
        if self.protocol == "artnet" and self.delivery == "multicast":
            raise ValueError('Art-Net levels are sent unicast → write delivery = "unicast" and its address')
        if self.delivery == "unicast" and self.address is None and not self.spare:
            raise ValueError(
                'has no address → write the one set in the box, each box its own: address = "…", such as "192.0.2.21"'
            )
        return self

    @property
    def pins(self) -> dict[str, tuple[int, int]]:
        """Pinned starts as (universe, channel), by what stands left of the equals sign."""
        return {key: (int(u), int(c)) for key, (u, c) in ((k, v.split("/")) for k, v in self.start.items())}


class Prop(Named):
    """[prop.NAME]: one thing that the eye sees, made of one or more runs."""

    runs: Annotated[tuple[Name, ...], Field(min_length=1)]
    """Its runs."""


class GridProp(Named, Grid):
    """A prop that is one grid, drawn here once and wired by runs of shape band."""

    runs: tuple[Name, ...] = ()
    """Its runs; bands of it need not be named."""


def prop_kind(table: Any) -> str:
    """`grid` where a prop's table has a key of a grid, else `runs`."""
    return "grid" if isinstance(table, dict) and table.keys() & Grid.model_fields.keys() else "runs"


AnyProp = Annotated[Annotated[Prop, Tag("runs")] | Annotated[GridProp, Tag("grid")], Discriminator(prop_kind)]


class Supply(Named):
    """[supply.NAME]: a DC power supply."""

    volts: Volts
    """What it gives."""
    amps: Amps
    """Its rating."""
    box: Name | None = None
    """Whose enclosure it sits in."""
    spare: Flag = False
    """Kept on the shelf."""
    socket: Name | None = None
    """The socket of the mains that it is plugged into."""
    efficiency: Part | None = None
    """The part of its mains power that it gives as DC. Where it is not given, 0.85 is counted."""
    power_factor: Part | None = None
    """Its watts as a part of its volt-amperes on the mains. Where it is not given, 0.6 is counted."""
    inrush_amps: MainsAmps | None = None
    """The mains current that it draws for a moment when it is switched on cold. Where it is not given, 60 is
    counted."""
    leakage_ma: LeakMilliamps | None = None
    """The current that leaks from it to earth all the time. Where it is not given, 1 is counted."""


class Tap(Table):
    """A point on a run where a feed is joined; or one at every nth pixel, the wire following the run."""

    run: Name
    """The run that it joins."""
    pixel: Count | Literal["first", "last"] | None = Field(
        default=None, json_schema_extra={"given": "this or every must be given"}
    )
    """The pixel that it joins: a number, `"first"` or `"last"`. Give this or `every`."""
    every: Count | None = Field(default=None, json_schema_extra={"given": "this or pixel must be given"})
    """Joins pixel 1, then every nth, and the last; the wire follows the run."""
    length: Length
    """Length of wire, one way, from the tap before; of the first, from the supply."""
    fuse: Amps | None = None
    """The tap's own fuse, where it joins the run; with `every`, one at each of its pixels."""

    @model_validator(mode="after")
    def _one_place(self) -> Tap:
        if (self.pixel is None) == (self.every is None):
            raise ValueError("a tap is at a pixel, or every so many → write pixel or every, one of them")
        return self


class Feed(Wired):
    """[feed.NAME]: a feed (injection wire) is a pair of wires from a supply, with its taps (injection points)."""

    supply: Name | None = Field(default=None, json_schema_extra={"given": "this or from must be given"})
    """The supply that it comes from."""
    source: Name | None = Field(default=None, alias="from", json_schema_extra={"given": "this or supply must be given"})
    """The feed that it branches off, instead of a supply."""
    tap: Count | None = Field(default=None, json_schema_extra={"given": "must be given with from"})
    """Which tap of that feed it branches off at."""
    fuse: Amps | None = None
    """The fuse at its supply."""
    taps: Annotated[tuple[Tap, ...], Field(min_length=1)]
    """Where it joins the pixels, in order along the wire."""

    @model_validator(mode="after")
    def _one_source(self) -> Feed:
        if (self.supply is None) == (self.source is None):
            raise ValueError("a feed comes from a supply or from another feed → write supply or from, one of them")
        if (self.source is None) != (self.tap is None):
            raise ValueError("from and tap go together → say which feed, and at which of its taps")
        return self


class CableRoute(Named):
    """[route.NAME]: a way along which cables are run: eaves, a fence, a wall. Routes that cross or touch join there."""

    path: Annotated[tuple[Point, ...], Field(min_length=2)]
    """The points of the way, [x, y] each: where it begins, each corner, where it ends."""

    @model_validator(mode="after")
    def _goes_on(self) -> CableRoute:
        for number, (before, here) in enumerate(pairwise(self.path), start=1):
            if before == here:
                raise ValueError(
                    f"path names the same point twice, as its point {number} and {number + 1} → take one of them out"
                )
        return self


class Accept(Table):
    """[[accept]]: a warning that the person has judged."""

    rule: Text
    """The rule, as `check` prints it in brackets."""
    where: Text
    """The place, as `check` prints it."""
    why: Text
    """Why it is as you want it."""


_Some = TypeVar("_Some", bound=Named)


def _called(tables: dict[str, _Some]) -> dict[str, _Some]:
    return {name: table.called(name) for name, table in tables.items()}


_Tables = Annotated[dict[Name, _Some], AfterValidator(_called)]


class Show(Table):
    """The whole display."""

    settings: Settings = Field(alias="show")
    pixel_types: _Tables[PixelType] = Field(default_factory=dict, alias="pixel")
    controllers: _Tables[Controller] = Field(default_factory=dict, alias="controller")
    runs: _Tables[AnyRun] = Field(default_factory=dict, alias="run")
    props: _Tables[AnyProp] = Field(default_factory=dict, alias="prop")
    supplies: _Tables[Supply] = Field(default_factory=dict, alias="supply")
    sockets: _Tables[Socket] = Field(default_factory=dict, alias="socket")
    feeds: _Tables[Feed] = Field(default_factory=dict, alias="feed")
    routes: _Tables[CableRoute] = Field(default_factory=dict, alias="route")
    accepts: tuple[Accept, ...] = Field(default=(), alias="accept")

    @model_validator(mode="wrap")
    @classmethod
    def _bands_have_their_grids(cls, tables: Any, handler: ModelWrapValidatorHandler[Show]) -> Show:
        show = handler(tables)
        grids = {name: prop for name, prop in show.props.items() if isinstance(prop, GridProp)}
        bands = (run for runs in show.bands.values() for run in runs if run.of in grids)
        return show.model_copy(update={"runs": show.runs | {band.name: band.on(grids[band.of]) for band in bands}})

    @property
    def bands(self) -> dict[str, list[BandRun]]:
        """The bands of each prop's grid, in the file's order."""
        found: dict[str, list[BandRun]] = {}
        for run in self.runs.values():
            if isinstance(run, BandRun):
                found.setdefault(run.of, []).append(run)
        return found

    def type_of(self, run: Run) -> PixelType:
        """The kind of pixel of a run."""
        return self.pixel_types[run.pixel]

    def grid_of(self, band: BandRun) -> GridProp:
        """The prop on which a band's grid is drawn."""
        prop = self.props[band.of]
        assert isinstance(prop, GridProp)  # noqa: S101  (references are checked on reading)
        return prop

    def prop_runs(self) -> dict[str, tuple[str, ...]]:
        """Every prop with its runs, in the file's order; a run that no prop names is a prop of its own."""
        members = {name: list(prop.runs) for name, prop in self.props.items()}
        for name, run in self.runs.items():
            if isinstance(run, BandRun) and name not in members.get(run.of, [name]):
                members[run.of].append(name)
        named = {name for runs in members.values() for name in runs}
        alone = {name: (name,) for name in self.runs if name not in named}
        return {name: tuple(runs) for name, runs in members.items()} | alone


def json_schema() -> dict[str, Any]:
    """The show file's JSON Schema (draft 2020-12)."""
    schema = Show.model_json_schema(by_alias=True)
    schema["$defs"]["Copy"] = Copy.model_json_schema() | {"additionalProperties": True}
    for kind in ("run", "prop"):
        tables = schema["properties"][kind]["patternProperties"]
        for pattern, own in tables.items():
            tables[pattern] = {"anyOf": [own, {"$ref": "#/$defs/Copy"}]}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Patcher show file",
        **{key: value for key, value in schema.items() if key != "title"},
    }
