"""Labels for cables and tags for storage: what each says, and its QR code, which reads as its name.

A cable is named by what it feeds: a lead by its run, a feed by itself; names are shared by nothing else in a show. Each
end of it has a label with that name, which says in words which end it is and where the other one goes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

from patcher.errors import first_few
from patcher.power.circuit import lead_wire
from patcher.power.flow import Power
from patcher.power.tap_fuse import TapFuse
from patcher.sheets.figures import NO_POWER, NULL_POWER, count, power_cuts, powered_lead, tap_fuse, without_power
from patcher.units import length
from patcher.wiring import Wiring, port_name


@dataclass(frozen=True, slots=True)
class Label:
    """The label at one end of a cable.

    Attributes:
        name: the cable: a run for its lead, else a feed; what the QR code reads as.
        kind: `lead` or `feed`.
        end: which end this is, from 1 at the port or the supply.
        ends: how many ends the cable has.
        here: what is plugged in at this end.
        there: where the cable goes from here, or comes from.
        says: what the cable is.
        volts: volts of a feed; of a lead those of its run's pixels; None where not said.
        wire: its power wire; None where not said.
        fuse: of a feed the fuse at this end in words, else the one before it, else that there is none; of a lead empty.
        box: the box whose chain it belongs to, or whose supply; None where that is in no box.
        joined: whether V+ goes along it; not where a lead brings only data and ground.
        power: of a lead without V+ from its beginning, what is said of V+ at this end.
    """

    name: str
    kind: Literal["lead", "feed"]
    end: int
    ends: int
    here: str
    there: str
    says: str
    volts: float | None
    wire: str | None
    fuse: str
    box: str | None
    joined: bool = True
    power: str = ""

    @property
    def which(self) -> str:
        """Which end this is, in words; a feed has one towards its supply, and taps."""
        if self.kind == "lead":
            return f"End {self.end} of {self.ends}"
        taps = self.ends - 1
        return f"Supply end ({count(taps, 'tap')})" if self.end == 1 else f"Tap {self.end - 1} of {taps}"

    @property
    def needed(self) -> str:
        """The words that no label is without: volts, wire and fuse; of a lead without V+ that it has none."""
        volts = _volts(self.volts, self.kind)
        return ", ".join(filter(None, [self.power, volts, self.wire, self.fuse]))


def _volts(volts: float | None, kind: str) -> str:
    """Volts in words: of a lead they are what its pixels need, whether V+ goes along it or not."""
    return "" if volts is None else f"{volts:g} V" + " pixels" * (kind == "lead")


@dataclass(frozen=True, slots=True)
class Repairs:
    """What the record says of a run: faults that were found and not fixed since, notes, and how much was checked."""

    open: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    checked: Literal["all", "part", "none"] = "none"

    @property
    def words(self) -> tuple[str, ...]:
        """What is to fix; where nothing is, what that is worth."""
        none = {"all": "nothing: all checked", "part": "nothing found, not all checked", "none": "not checked"}
        return self.open or (none[self.checked],)


@dataclass(frozen=True, slots=True)
class Tag:
    """The tag of one run in storage.

    Attributes:
        run: its name; what the QR code reads as.
        prop: the prop that it is part of; None where it is one by itself.
        pixel: its kind of pixel.
        pixels: how many pixels.
        nulls: null pixels before them.
        batch: which purchase they came from.
        data_in: which end of it the data enters, in words.
        hangs_on: where it hangs: a port, or the run whose data it shares.
        lead: its lead in words.
        cuts: where V+ is cut inside it, in words; empty where it is whole.
        hung: whether it was up this season.
        repairs: what is still to be fixed.
    """

    run: str
    prop: str | None
    pixel: str
    pixels: int
    nulls: int
    batch: str
    data_in: str
    hangs_on: str
    lead: str
    cuts: str
    hung: bool
    repairs: Repairs = field(default_factory=Repairs)


# --- cables -----------------------------------------------------------------------------------------------------------


def labels(wiring: Wiring, state: Power) -> tuple[Label, ...]:
    """One label for each end of each lead and feed that is up, box by box in the file's order."""
    found = [*_leads(wiring), *_feeds(state)]
    order = {box: place for place, box in enumerate(wiring.show.controllers)}
    return tuple(sorted(found, key=lambda label: (order.get(label.box or "", len(order)), label.kind == "feed")))


def _leads(wiring: Wiring) -> Iterator[Label]:
    show = wiring.show
    for (box, port), chain in wiring.chains.items():
        before = f"{port_name(box, port)}, port"
        for name in chain:
            if not show.runs[name].hung:
                continue
            yield from _both_ends(wiring, name, box, before)
            before = f"{name}/{show.runs[name].pixels}, data out"
            for tee in wiring.tees(name):
                if show.runs[tee].hung:
                    yield from _both_ends(wiring, tee, box, f"{wiring.source(tee)}/1, a tee in its lead")


def _both_ends(wiring: Wiring, name: str, box: str, start: str) -> Iterator[Label]:
    show = wiring.show
    says, into = _lead_words(wiring, name), f"{name}/1, data in"
    cable = f"run.{name}" if name in show.feeds else name
    size = lead_wire(show, show.runs[name])
    wire, joined = None if size is None else str(size), wiring.lead_has_power(name)
    volts = show.type_of(show.runs[name]).volts
    begins, ends = ("", "") if joined else (NO_POWER, NULL_POWER if powered_lead(show.runs[name]) else NO_POWER)
    yield Label(cable, "lead", 1, 2, start, into, says, volts, wire, "", box, joined, begins)
    yield Label(cable, "lead", 2, 2, into, start, says, volts, wire, "", box, joined, ends)


def _lead_words(wiring: Wiring, name: str) -> str:
    show, run = wiring.show, wiring.show.runs[name]
    wire = lead_wire(show, run)
    says = without_power(run, joined=wiring.lead_has_power(name))
    words = [f"lead: {says}" if says else "lead"]
    words += filter(None, [_volts(show.type_of(run).volts, "lead")])
    words += [*([length(run.lead, show.settings.units)] if run.lead else []), *([str(wire)] if wire else [])]
    words += [] if run.lead_via == "cable" else [run.lead_via]
    at = " and ".join(length(metres, show.settings.units) for metres in run.nulls_at)
    words += [f"{run.nulls} null pixel{'s' * (run.nulls != 1)}{f' at {at}' if at else ''}"] if run.nulls else []
    return ", ".join(words)


def _feeds(state: Power) -> Iterator[Label]:
    show = state.show
    for load in state.feeds:
        feed, joins = load.feed, state.circuit.joins[load.feed.name]
        box = show.supplies[load.supply].box
        volts, wire = show.supplies[load.supply].volts, None if load.wire is None else str(load.wire)
        source = str(feed.supply) if feed.supply is not None else f"{feed.source}, tap {feed.tap}"
        places = [f"{join.run}/{join.pixel}" for join in joins]
        ends = 1 + len(joins)
        cable = f"feed.{feed.name}" if feed.name in show.runs else feed.name
        words = ", ".join(filter(None, ["feed", f"{volts:g} V", wire]))
        fuse = _fuse_before(state.taps[feed.name][0]) if feed.fuse is None else f"fuse {feed.fuse:g} A"
        says = f"{words}, {fuse}"
        yield Label(cable, "feed", 1, ends, source, first_few(places, 3), says, volts, wire, fuse, box)
        for number, (join, place, tap) in enumerate(zip(joins, places, state.taps[feed.name], strict=True), start=2):
            before = source if number == 2 else f"{places[number - 3]}; {source}"
            behind = tap.needed is False and tap.given is None
            fuse = _fuse_before(tap) if behind else f"tap fuse {tap_fuse(tap)}"
            says = ", ".join(filter(None, [words, fuse, length(join.metres, show.settings.units)]))
            yield Label(cable, "feed", number, ends, place, before, says, volts, wire, fuse, box)


def _fuse_before(tap: TapFuse) -> str:
    """The last fuse on the way to a joint."""
    return f"behind fuse {tap.before:g} A" if tap.behind else "no fuse"


# --- storage ----------------------------------------------------------------------------------------------------------


def tags(wiring: Wiring, data_in: Mapping[str, str], repairs: Mapping[str, Repairs]) -> tuple[Tag, ...]:
    """A tag for each run, hung or not.

    Args:
        wiring: the wiring.
        data_in: of each run, which end the data enters, in words.
        repairs: of runs, what the record says of them.
    """
    show = wiring.show
    props = {run: prop for prop, runs in show.prop_runs().items() for run in runs}
    return tuple(
        Tag(
            name, props[name] if props[name] != name else None, run.pixel, run.pixels, run.nulls, run.batch,
            data_in[name], run.same_data_as or port_name(*wiring.ports[name]), _lead_words(wiring, name),
            power_cuts(run.power_cuts), run.hung, repairs.get(name, Repairs()),
        )
        for name, run in show.runs.items()
    )  # fmt: skip


# --- QR codes ---------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=10_000)
def qr(name: str) -> str:
    """A QR code that reads as a name, as inline SVG without a size of its own, its quiet zone included.

    Source: ISO/IEC 18004; error correction level M, four modules of quiet zone.
    """
    import segno

    code = segno.make(name, error="m", micro=False, boost_error=True)
    return str(code.svg_inline(border=4, omitsize=True, svgclass=None, lineclass=None, dark="#000", light="#fff"))
