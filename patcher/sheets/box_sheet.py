"""What the sheet of one box says: what is typed into it, what hangs on each port, what feeds it, how fast it is.

Everything here follows from the wiring, the patch and the solved power of a show. Lengths are metres, currents amperes;
what the show file does not say is None.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan

from patcher.charts.other_loads import other_loads
from patcher.limits.network import traffic
from patcher.limits.refresh import PortTime, port_times
from patcher.patch.changes import colours
from patcher.patch.patch import Patch, written
from patcher.patch.thing import called
from patcher.power.circuit import lead_wire
from patcher.power.flow import Power, RunVolts
from patcher.sheets.feed_tables import FeedSheet, SupplySheet, feed_sheets, supply_sheets
from patcher.sheets.figures import lowest, ranges, without_power, wrong
from patcher.sheets.patch_tables import StartRow, start_row, typed_notes
from patcher.trade import PROTOCOL_NAMES
from patcher.wire.e131 import multicast_group
from patcher.wiring import Wiring, port_name

Place = tuple[int, int]
"""Universe and channel, both from 1."""


@dataclass(frozen=True, slots=True)
class HungRun:
    """One run on a port, in data order.

    Attributes:
        run: its name.
        pixel: its kind of pixel.
        pixels: how many pixels.
        first: the first of them, counted along the port from 1, nulls left out.
        last: the last of them.
        nulls: null pixels before the first.
        lead: metres of cable before it.
        lead_wire: its power wires; None where not said.
        via: how the data crosses it.
        comes_from: the port or the run that the lead comes from.
        begins: address of its first pixel; of a tee, the one of its run.
        ends: address of the last channel of its last pixel.
        volts: its lowest voltage, in words.
        at_pixel: the pixel that has it.
        holds: whether every pixel has enough, from supplies of its own volts; None where not known.
        wrong: what is wrong with its volts; empty where nothing.
        tee_of: the run on whose data it hangs.
        hung: whether it is up this season.
        joined: whether V+ goes along its lead; if not, the lead is for data and ground.
        without_power: what the lead then says of V+.
        power_cuts: the pixels before which its V+ is cut.
    """

    run: str
    pixel: str
    pixels: int
    first: int
    last: int
    nulls: int
    lead: float
    lead_wire: str | None
    via: str
    comes_from: str
    begins: Place
    ends: Place
    volts: str
    at_pixel: int | None
    holds: bool | None
    wrong: str
    tee_of: str | None
    hung: bool
    joined: bool
    without_power: str
    power_cuts: tuple[int, ...]

    @property
    def from_port(self) -> bool:
        """Whether its lead comes from the port itself, and not from another run."""
        return self.first == 1 and self.tee_of is None


@dataclass(frozen=True, slots=True)
class PortSheet:
    """One port.

    Attributes:
        port: its number.
        begins: where its data begins; None where nothing hangs on it.
        ends: the last channel of its last pixel.
        typed: what of it is typed in: `port`, `run` or, where it goes on from the port before, `controller`.
        pixels: pixels, without nulls.
        nulls: null pixels.
        colours: the colour order to set.
        frame_ms: milliseconds a frame.
        max_rate: frames a second at most.
        chain: its runs in data order, tees behind their run.
    """

    port: int
    begins: Place | None = None
    ends: Place | None = None
    typed: str = "port"
    pixels: int = 0
    nulls: int = 0
    colours: str = ""
    frame_ms: float | None = None
    max_rate: float | None = None
    chain: tuple[HungRun, ...] = ()


@dataclass(frozen=True, slots=True)
class BoxSheet:
    """One box.

    Attributes:
        box: its name.
        address: its IPv4 address; None where it has none.
        protocol: what it listens to, as a person calls it.
        delivery: `unicast` or `multicast`.
        groups: the multicast groups of its universes, where it is reached so.
        start_per: what has a start of its own.
        universes: the universes that it listens to, in words.
        at: where it stands, in metres.
        level: the dimmer set in it.
        reorders: whether it puts colours into chip order.
        skips_nulls: whether nulls take no channels.
        frame_ms: milliseconds a frame of its slowest port.
        max_rate: frames a second that it can keep.
        slowest_port: that port.
        packets: packets a second that it gets.
        starts: what is typed in.
        notes: what is to be said under them.
        ports: all its ports, unused ones too.
        supplies: those in it, and those elsewhere that feed its runs.
        feeds: those from its supplies, and those that tap its runs.
        others: what its supplies give besides, in words.
        called: its name in a command, by which it means nothing else.
    """

    box: str
    address: str | None
    protocol: str
    delivery: str
    groups: tuple[str, ...]
    start_per: str
    universes: str
    at: tuple[float, float] | None
    level: float
    reorders: bool
    skips_nulls: bool
    frame_ms: float
    max_rate: float
    slowest_port: int
    packets: float
    starts: tuple[StartRow, ...]
    notes: tuple[str, ...]
    ports: tuple[PortSheet, ...]
    supplies: tuple[SupplySheet, ...]
    feeds: tuple[FeedSheet, ...]
    others: tuple[str, ...]
    called: str

    @property
    def own_setting(self) -> str:
        """Its own setting, in words: `address 192.0.2.11, E1.31, unicast`."""
        return f"address {self.address or 'none'}, {self.protocol}, {self.delivery}"

    @property
    def counted(self) -> bool:
        """Whether what the box itself draws is in what one of its supplies gives."""
        return any(self.box in supply.logic for supply in self.supplies)

    @property
    def used(self) -> tuple[PortSheet, ...]:
        """The ports on which something hangs."""
        return tuple(port for port in self.ports if port.chain)

    @property
    def cut_places(self) -> tuple[str, ...]:
        """Where V+ must be cut among its runs, in words."""
        places = ["in each lead from a port (unless a feed runs in it)"] if self.used else []
        for run in (run for port in self.ports for run in port.chain):
            places += [] if run.joined or run.from_port else [f"in the lead of {run.run}"]
            places += [f"before {run.run}/{pixel}" for pixel in sorted(run.power_cuts)]
        return tuple(places)

    @property
    def gives_back(self) -> bool:
        """Whether current flows out of a string at a tap, as far as it is printed."""
        return any(tap.amps is not None and round(tap.amps, 1) < 0 for feed in self.feeds for tap in feed.taps)

    @property
    def plugged(self) -> bool:
        """Whether the file says where one of its supplies is plugged in."""
        return any(supply.socket is not None for supply in self.supplies)

    @property
    def rcds(self) -> tuple[str, ...]:
        """The names of the residual-current devices before the supplies in it."""
        return tuple(dict.fromkeys(one.rcd_of for one in self.supplies if one.rcd_of and one.box == self.box))

    @property
    def free(self) -> tuple[int, ...]:
        """The ports on which nothing hangs."""
        return tuple(port.port for port in self.ports if not port.chain)


def box_sheets(wiring: Wiring, patch: Patch, state: Power) -> tuple[BoxSheet, ...]:
    """The sheet of every box that has pixels, in the file's order."""
    read = _Reader(wiring, patch, state)
    return tuple(read.box(name) for name in wiring.show.controllers if name in patch.boxes)


class _Reader:
    """Reads boxes off one show, what all of them share once."""

    def __init__(self, wiring: Wiring, patch: Patch, state: Power) -> None:
        self.wiring, self.show, self.patch, self.state = wiring, wiring.show, patch, state
        self.times = {(time.controller, time.port): time for time in port_times(wiring)}
        self.volts = {found.run: found for found in state.runs}
        self.packets = traffic(self.show, patch).boxes
        self.supplies = {supply.supply: supply for supply in supply_sheets(state)}
        self.feeds = {feed.feed: feed for feed in feed_sheets(state)}
        self.places = {
            link.run: (begin, first_at, end) for start in patch.starts for link, begin, first_at, end in start.laid()
        }

    def box(self, name: str) -> BoxSheet:
        table, starts = self.show.controllers[name], self.patch.boxes[name]
        universes = self.patch.box_universes[name]
        ports = tuple(self._port(name, number) for number in range(1, table.ports + 1))
        slowest = max((self.times[name, port.port] for port in ports if port.chain), key=lambda time: time.frame_ms)
        groups = map(multicast_group, universes) if table.delivery == "multicast" else ()
        supplies, feeds = self._power(name, ports)
        shown = {feed.feed for feed in feeds}
        others = [
            words for each in supplies for words in other_loads(self.wiring, self.state, each.supply, shown, "listed")
        ]
        return BoxSheet(
            name, table.address, PROTOCOL_NAMES[table.protocol], table.delivery, tuple(groups), table.start_per,
            ranges(universes), table.at, table.level, table.reorders, table.skips_nulls,
            slowest.frame_ms, slowest.max_rate, slowest.port, self.packets[name].packets,
            tuple(start_row(self.wiring, start) for start in starts), 
            tuple(typed_notes(self.wiring, starts)), ports, supplies, feeds, tuple(others),
            called("controller", name, self.show),
        )  # fmt: skip

    def _port(self, box: str, number: int) -> PortSheet:
        chain = self.wiring.of_controller(box).get(number, ())
        if not chain:
            return PortSheet(number)
        time: PortTime = self.times[box, number]
        runs, before, port_first = [], port_name(box, number), 1
        for name in chain:
            runs.append(self._run(name, before, port_first))
            runs += [self._run(tee, self.wiring.source(name), port_first) for tee in self.wiring.tees(name)]
            before, port_first = name, port_first + self.show.runs[name].pixels
        own = [run for run in runs if run.tee_of is None]
        nulls = sum(run.nulls for run in own)
        return PortSheet(
            number, written(self.places[chain[0]][0]), own[-1].ends, self.show.controllers[box].start_per,
            port_first - 1, nulls, colours(self.show, box, chain), time.frame_ms, time.max_rate, tuple(runs),
        )  # fmt: skip

    def _run(self, name: str, before: str, first: int) -> HungRun:
        run, source = self.show.runs[name], self.wiring.source(name)
        _, first_at, end = self.places[source]
        wire, volts = lead_wire(self.show, run), self.volts.get(name)
        joined = self.wiring.lead_has_power(name)
        return HungRun(
            name, run.pixel, run.pixels, first, first + run.pixels - 1, run.nulls, run.lead,
            None if wire is None else str(wire), run.lead_via, before, written(first_at), written(end - 1),
            *self._lowest(volts), source if source != name else None, run.hung,
            joined, without_power(run, joined=joined), run.power_cuts,
        )  # fmt: skip

    def _lowest(self, found: RunVolts | None) -> tuple[str, int | None, bool | None, str]:
        if found is None:
            return "not hung", None, None, ""
        return lowest(self.state, found), None if isnan(found.lowest) else found.pixel, found.holds, wrong(found)

    def _power(self, box: str, ports: tuple[PortSheet, ...]) -> tuple[tuple[SupplySheet, ...], tuple[FeedSheet, ...]]:
        runs = {run.run for port in ports for run in port.chain}
        own = {name for name, supply in self.supplies.items() if supply.box == box}
        logic = self.show.controllers[box].logic
        feeds = [feed for feed in self.feeds.values() if feed.supply in own or {tap.run for tap in feed.taps} & runs]
        near = own | {feed.supply for feed in feeds} | ({logic.supply} if logic is not None else set())
        return tuple(supply for name, supply in self.supplies.items() if name in near), tuple(feeds)
