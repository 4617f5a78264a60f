"""What is to be decided: the runs that hang nowhere yet, and the ports that they could hang on.

All of it is frozen and pure. A run comes with every way in which its data may enter; a port comes with what hangs on it
already, which is kept. What cannot be decided here is left out, and said with its reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor

from patcher.lead_ways import STRAIGHT, LeadWays, lead_ways
from patcher.limits.refresh import BITS, frame_ms
from patcher.shapes import positions
from patcher.show.box_places import boxes_alike, open_places
from patcher.show.run_tables import BandRun, GridRun, LoopRun, PathRun, Run
from patcher.show.schema import Controller, Show
from patcher.trade import CHANNELS
from patcher.wiring import Wiring

Place = tuple[float, float]
"""x and y, in metres."""

_CORNERS = ("bottom-left", "bottom-right", "top-left", "top-right")


@dataclass(frozen=True, slots=True)
class Entry:
    """One way in which data may enter a run.

    Attributes:
        data_in: what the show file then says; None for a run whose drawing has no such key.
        first: where pixel 1 then is.
        last: where the last pixel then is.
    """

    data_in: str | int | None
    first: Place
    last: Place


@dataclass(frozen=True, slots=True)
class LineKind:
    """What the pixels of one data line must share.

    Attributes:
        bit_rate: bits a second that their chips take.
        channels: channels of a pixel.
        colour_order: the order of them.
    """

    bit_rate: float
    channels: int
    colour_order: str

    @property
    def per_universe(self) -> int:
        """Pixels that one universe holds."""
        return CHANNELS // self.channels


@dataclass(frozen=True, slots=True)
class OpenRun:
    """A run that is to be hung.

    Attributes:
        name: its name.
        pixels: its pixels, null pixels included.
        kind: what it needs of its line.
        reset_us: microseconds of quiet that latch its pixels.
        entries: the ways in which data may enter it; the first is the one that the show file says.
    """

    name: str
    pixels: int
    kind: LineKind
    reset_us: float
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Box:
    """A box that runs may hang on; or a place where one of some boxes may stand, as a box of its own.

    Attributes:
        names: its name; those of all the boxes that may stand in the place.
        in_use: whether a kept run hangs on it.
        start_per: what has a start address of its own.
        reorders: whether it puts colours into chip order, one order a start address.
        port_pixels: most pixels on one port; None without a limit.
        universes: most universes; None without a limit.
        place: the place; None for a box that stands where it stands.
        here: which of the boxes stands in the place now; None where none does.
    """

    names: tuple[str, ...]
    in_use: bool
    start_per: str
    reorders: bool
    port_pixels: int | None
    universes: int | None
    place: Place | None = None
    here: str | None = None


@dataclass(frozen=True, slots=True)
class Outlet:
    """Places of one box where a chain may begin: its free ports, which are all alike, or the end of one kept chain.

    Attributes:
        box: which box, by its number in the instance.
        ports: the ports.
        at: where the first lead begins.
        behind: the kept runs on that port; none on a free one.
        taken: their pixels, null pixels included.
        reset_us: the quiet that they need.
        kind: what they need of the line; None on a free port that takes any kind.
        colour_order: the one order that the box can take; None where it can take any.
    """

    box: int
    ports: tuple[int, ...]
    at: Place
    behind: tuple[str, ...] = ()
    taken: int = 0
    reset_us: float = 0.0
    kind: LineKind | None = None
    colour_order: str | None = None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A run or box that no proposal is made for, and why."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Instance:
    """What is to be decided.

    Attributes:
        runs: the runs to hang.
        boxes: the boxes that they may hang on.
        outlets: where their chains may begin.
        frame_rate: frames a second that every port must keep.
        booster: metres of cable that one booster counts for.
        universes_taken: universes that the kept runs of each box take.
        left_out: what no proposal is made for.
        present: the chains of today, where all is decided anew: the outlet of each, and its runs, each with its way.
        few: sets of boxes, and how many of each may be used: one in each place, and as many as there are boxes.
        ways: how long a lead is from one place to another.
    """

    runs: tuple[OpenRun, ...]
    boxes: tuple[Box, ...]
    outlets: tuple[Outlet, ...]
    frame_rate: float
    booster: float
    universes_taken: tuple[float, ...]
    left_out: tuple[LeftOut, ...] = ()
    present: tuple[tuple[int, tuple[tuple[int, int], ...]], ...] = ()
    few: tuple[tuple[tuple[int, ...], int], ...] = ()
    ways: LeadWays = STRAIGHT


NO_PLACE = "has no place (at), so no lead to it can be measured"
NO_PLACE_BUT_RUNS = "has no place (at), and runs that stay hang on it, so it is not given one of its stands"
EVERY_PLACE_TAKEN = "may stand only where other boxes stand already"
"""Why nothing is decided about a box."""
BOOSTER = 10.0
"""Metres of cable that one booster counts for. A choice, no source."""


def instance(wiring: Wiring, *, afresh: bool = False, booster: float = BOOSTER) -> Instance:
    """The runs of a wiring that hang nowhere, and the ports that could take them.

    Args:
        wiring: what hangs on what; every run that hangs somewhere does so once.
        afresh: whether the runs that hang somewhere are decided anew too; those that cannot be stay on their ports.
        booster: metres of cable that one booster counts for.
    """
    show = wiring.show
    kept = {port: kept for port, chain in wiring.chains.items() if (kept := _stays(wiring, chain) if afresh else chain)}
    placed = {run for chain in kept.values() for run in chain}
    runs, left = [], []
    for run in show.runs.values():
        if run.name in placed or run.same_data_as is not None:
            continue
        if not run.hung:
            left.append(LeftOut(run.name, "is not hung this season"))
        elif not (ways := tuple(entries(wiring, run))):
            left.append(LeftOut(run.name, "has no picture, so where it begins and ends is not known"))
        else:
            kind = show.type_of(run)
            runs.append(OpenRun(run.name, run.pixels + run.nulls, line_kind(show, run), kind.reset_us, ways))
    found, without = _boxes(show, kept, {run.kind.colour_order for run in runs}, afresh=afresh)
    boxes, outlets, taken, few = found
    present = _present(wiring, runs, boxes, outlets) if afresh else ()
    rate, left = show.settings.frame_rate, [*left, *without]
    return Instance(
        tuple(runs), boxes, outlets, rate, booster, taken, tuple(left), tuple(present), few, lead_ways(show)
    )  # fmt: skip


_Boxes = tuple[tuple[Box, ...], tuple[Outlet, ...], tuple[float, ...], tuple[tuple[tuple[int, ...], int], ...]]


def _boxes(
    show: Show, kept: Mapping[tuple[str, int], tuple[str, ...]], orders: set[str], *, afresh: bool
) -> tuple[_Boxes, list[LeftOut]]:
    """The boxes and places for boxes, their outlets, the universes taken, and how few of them may be used; and the
    boxes that nothing is decided about.
    """
    boxes, outlets, taken, left = list[Box](), list[Outlet](), list[float](), list[LeftOut]()
    places = open_places(show, {box for box, _ in kept}, afresh=afresh)
    for name, box in show.controllers.items():
        if box.spare or places.get(name):
            continue
        if box.at is None or name in places:
            why = EVERY_PLACE_TAKEN if name in places else NO_PLACE_BUT_RUNS if box.stands else NO_PLACE
            left.append(LeftOut(name, why))
            continue
        chains = {port: chain for (of, port), chain in kept.items() if of == name}
        outlets += _outlets(show, box, len(boxes), chains, orders, box.at)
        boxes.append(_box(show, (name,), in_use=bool(chains), here=name))
        taken.append(_taken(show, box, list(chains.values())))
    few: list[tuple[tuple[int, ...], int]] = []
    for each in boxes_alike(show, places):
        few.append((tuple(range(len(boxes), len(boxes) + len(each.places))), len(each.names)))
        for place, here in zip(each.places, each.here, strict=True):
            outlets += _outlets(show, show.controllers[each.names[0]], len(boxes), {}, orders, place)
            boxes.append(_box(show, each.names, place=place, here=here))
            taken.append(0.0)
    for place in dict.fromkeys(box.place for box in boxes if box.place is not None):
        few.append((tuple(number for number, box in enumerate(boxes) if box.place == place), 1))
    return (tuple(boxes), tuple(outlets), tuple(taken), tuple(each for each in few if len(each[0]) > each[1])), left


def _box(
    show: Show, names: tuple[str, ...], *, in_use: bool = False, place: Place | None = None, here: str | None = None
) -> Box:
    box = show.controllers[names[0]]
    return Box(names, in_use, box.start_per, box.reorders, box.port_pixels, _universes(show, box), place, here)


def _stays(wiring: Wiring, chain: Sequence[str]) -> tuple[str, ...]:
    """The runs of a chain that nothing can be decided about: they have no picture, or do not hang this season."""
    runs = wiring.show.runs
    return tuple(run for run in chain if not runs[run].hung or next(entries(wiring, runs[run]), None) is None)


def _present(
    wiring: Wiring, runs: Sequence[OpenRun], boxes: Sequence[Box], outlets: Sequence[Outlet]
) -> Iterator[tuple[int, tuple[tuple[int, int], ...]]]:
    """The chains of today that are decided anew, each run entered as the show file says, behind those that stay."""
    numbers = {run.name: number for number, run in enumerate(runs)}
    for (box, port), chain in wiring.chains.items():
        stops = tuple((numbers[name], 0) for name in chain if name in numbers)
        stays = tuple(name for name in chain if name not in numbers)
        orders = {runs[run].kind.colour_order for run, _ in stops}
        for number, outlet in enumerate(outlets):
            fits = outlet.colour_order is None or {outlet.colour_order} == orders
            here = boxes[outlet.box].here == box and port in outlet.ports and outlet.behind == stays
            if stops and fits and here:
                yield number, stops


def line_kind(show: Show, run: Run) -> LineKind:
    """What a run needs of its line."""
    kind = show.type_of(run)
    return LineKind(kind.bit_rate, kind.channels, kind.colour_order)


def _universes(show: Show, box: Controller) -> int | None:
    """Universes that may be filled: one fewer where the box may have to begin in the middle of another one's."""
    if box.universes is None:
        return None
    begins_inside = show.settings.placement == "follow" and show.settings.share_universes
    return box.universes - begins_inside


# --- ways to enter a run ----------------------------------------------------------------------------------------------


def entries(wiring: Wiring, run: Run) -> Iterator[Entry]:
    """The ways in which data may enter a run, as the file says first; none for a run without a picture.

    Only the file's own way where pixel numbers are tied to places: a feed taps it, its V+ is cut at a pixel, a tee
    shows the same picture, or a grid's gaps are counted in wiring order.
    """
    show = wiring.show
    now = getattr(run, "data_in", None)
    tapped = any(tap.run == run.name for feed in show.feeds.values() for tap in feed.taps)
    tied = tapped or bool(run.power_cuts) or bool(wiring.tees(run.name))
    tied = tied or (isinstance(run, GridRun | BandRun) and bool(run.gaps))
    seen: set[tuple[Place, Place]] = set()
    for way in (now,) if tied else dict.fromkeys((now, *_ways(run))):
        entered = run if way == now else run.model_copy(update={"data_in": way})
        places = positions(show, entered)
        if places is None:
            return
        first, last = ((float(x), float(y)) for x, y in (places[0], places[-1]))
        if (first, last) not in seen:
            seen.add((first, last))
            yield Entry(way, first, last)


def _ways(run: Run) -> tuple[str | int, ...]:
    match run:
        case LoopRun():
            return run.corner_places
        case GridRun() | BandRun():
            return _CORNERS
        case PathRun():
            return ("first", "last")
        case _:
            return ()


# --- ports ------------------------------------------------------------------------------------------------------------


def _outlets(
    show: Show, box: Controller, number: int, chains: dict[int, tuple[str, ...]], orders: set[str], at: Place
) -> Iterator[Outlet]:
    """Where chains may begin on a box that stands in a place. One start address for a whole box that reorders colours
    means one order for it: then there is one outlet for each order, and `one_order` boxes take one of them.
    """
    kept = {line_kind(show, show.runs[name]).colour_order for chain in chains.values() for name in chain}
    if not one_order(box.start_per, box.reorders):
        may: Sequence[str | None] = (None,)
    else:
        may = sorted(orders if not kept else orders & kept if len(kept) == 1 else set())
    free = tuple(port for port in range(1, box.ports + 1) if port not in chains)
    for order in may:
        if free:
            yield Outlet(number, free, at, colour_order=order)
        for port, chain in sorted(chains.items()):
            runs = [show.runs[name] for name in chain]
            kinds = {line_kind(show, run) for run in runs}
            ends = positions(show, runs[-1])
            if ends is None or len(kinds) > 1 or not all(run.hung for run in runs):
                continue
            end = (float(ends[-1][0]), float(ends[-1][1]))
            taken = sum(run.pixels + run.nulls for run in runs)
            reset = max(show.type_of(run).reset_us for run in runs)
            yield Outlet(number, (port,), end, chain, taken, reset, next(iter(kinds)), order)


def one_order(start_per: str, reorders: bool) -> bool:
    """Whether a box has one start address for all its ports, and one colour order for it."""
    return start_per == "controller" and reorders


def _taken(show: Show, box: Controller, chains: Sequence[tuple[str, ...]]) -> float:
    """Universes that the kept chains of a box take, each start on a new one; null pixels counted like others."""
    found = 0.0
    for chain in chains:
        each = [
            ((run := show.runs[name]).pixels + run.nulls) / line_kind(show, run).per_universe for name in chain
        ]  # fmt: skip
        found += sum(map(ceil, each)) if box.start_per == "run" else sum(each)
        if box.start_per == "port":
            found = float(ceil(found - 1e-9))
    return found


def room(limits: Box, outlet: Outlet, kind: LineKind, reset_us: float, frame_rate: float) -> int:
    """Pixels that fit behind what hangs on a port, by `port_pixels` and by the frame rate.

    Args:
        limits: the box.
        outlet: the port.
        kind: what the pixels need of the line.
        reset_us: the longest quiet that any of them needs.
        frame_rate: frames a second that the port must keep.
    """
    quiet, period = max(reset_us, outlet.reset_us), 1000 / frame_rate
    most = floor((period - quiet / 1e3) * kind.bit_rate / 1e3 / (kind.channels * BITS)) + 1
    while most > 0 and frame_ms([(1, most * kind.channels)], kind.bit_rate, quiet) > period:
        most -= 1
    if limits.port_pixels is not None:
        most = min(most, limits.port_pixels)
    return max(most - outlet.taken, 0)
