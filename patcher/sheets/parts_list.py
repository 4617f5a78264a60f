"""What a show is made of, to be bought or counted: pixels, cable, connectors, fuses, supplies, boxes.

Counted is what hangs this season, as the show file says it; nothing is added but the spares.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, isnan

from patcher.power.circuit import lead_wire
from patcher.power.flow import Power
from patcher.power.fuse_findings import OTHER_FUSE
from patcher.power.tap_fuse import TapFuse
from patcher.sheets.figures import NO_POWER, powered_lead, tap_fuse
from patcher.show.run_tables import Run
from patcher.show.schema import Show
from patcher.wiring import Wiring

SPARES = 5.0
"""Percent of pixels and fuses to have in hand besides. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Need:
    """One row of the list.

    Attributes:
        section: what it belongs to: `pixels`, `cable`, `connectors`, `fuses`, `supplies`, `boxes`.
        what: the thing.
        count: how many; of cable, how many pieces.
        spare: how many besides.
        metres: metres of cable, one way; None for what is counted.
        note: what to know of it.
    """

    section: str
    what: str
    count: int
    spare: int = 0
    metres: float | None = None
    note: str = ""


def shopping(wiring: Wiring, state: Power, *, spares: float = SPARES) -> tuple[Need, ...]:
    """All that hangs this season, and spares.

    Args:
        wiring: the wiring.
        state: its solved power, which knows the wire of every feed.
        spares: percent of pixels and fuses to have besides, rounded up.
    """
    show = wiring.show
    hung = [run for run in show.runs.values() if run.hung]
    return (
        *_pixels(show, hung, spares),
        *_cable(wiring, hung, state),
        *_connectors(show, state, hung),
        *_fuses(show, spares),
        *_tap_fuses(state, spares),
        *_supplies(show),
        *_not_given(state),
        *_boxes(show),
    )  # fmt: skip


def _more(count: int, percent: float) -> int:
    return ceil(count * percent / 100 - 1e-9)


def _pixels(show: Show, hung: Iterable[Run], spares: float) -> Iterator[Need]:
    pixels: Counter[str] = Counter()
    nulls: Counter[str] = Counter()
    batches: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for run in hung:
        pixels[run.pixel] += run.pixels
        nulls[run.pixel] += run.nulls
        batches[run.pixel][run.batch or "no batch given"] += run.pixels
    for kind, number in pixels.items():
        table = show.pixel_types[kind]
        note = table.colour_order + ("" if table.volts is None else f", {table.volts:g} V")
        if batches[kind].keys() != {"no batch given"}:
            note += "; batches: " + ", ".join(f"{batch} × {count}" for batch, count in batches[kind].items())
        yield Need("pixels", kind, number, _more(number, spares), note=note)
        if nulls[kind]:
            note = "same kind of pixel; stays dark and passes the data on"
            yield Need("pixels", f"{kind}, as null pixel", nulls[kind], _more(nulls[kind], spares), note=note)


def _cable(wiring: Wiring, hung: Iterable[Run], state: Power) -> Iterator[Need]:
    show = wiring.show
    leads: defaultdict[tuple[str, bool], list[float]] = defaultdict(list)
    for run in hung:
        if run.lead > 0:
            wire = lead_wire(show, run)
            size, joined = "wire not given" if wire is None else str(wire), wiring.lead_has_power(run.name)
            powered = run.lead if joined else powered_lead(run)
            for has, part in ((True, powered), (False, run.lead - powered)):
                if part > 0:
                    leads[size, has].append(part)
    for (size, joined), each in leads.items():
        what = "lead" if joined else "lead for data and ground"
        note = "one core for data, " + ("two for V+ and ground" if joined else f"one for ground; {NO_POWER}")
        yield Need("cable", f"{what}, {size}", len(each), metres=round(sum(each), 6), note=note)
    feeds: defaultdict[str, list[float]] = defaultdict(list)
    number: Counter[str] = Counter()
    for load in state.feeds:
        size = "wire not given" if load.wire is None else str(load.wire)
        feeds[size] += [join.metres for join in state.circuit.joins[load.feed.name]]
        number[size] += 1
    for size, metres in feeds.items():
        told = [each for each in metres if not isnan(each)]
        note = "two cores"
        if len(metres) != number[size]:
            note += f"; {number[size]} feed{'s' * (number[size] != 1)} in {len(metres)} pieces, from tap to tap"
        note += "" if len(told) == len(metres) else "; without those along runs whose pitch is not given"
        yield Need("cable", f"feed, {size}", len(metres), metres=round(sum(told), 6), note=note)


def _connectors(show: Show, state: Power, hung: Sequence[Run]) -> Iterator[Need]:
    tees = sum(run.same_data_as is not None for run in hung)
    leads = sum(run.lead > 0 for run in hung)
    if leads:
        note = "one pair at each end of each lead; its V+ pole stays empty where V+ is not connected"
        yield Need("connectors", "plug and socket, 3-pole, one pair", 2 * leads, note=note)
    if tees:
        yield Need("connectors", "tee for data and ground", tees, note="where a run shares another run’s data")
    for via, what in (("booster", "data booster"), ("differential", "differential sender and receiver")):
        if number := sum(run.lead_via == via for run in hung):
            yield Need("connectors", what, number)
    if show.feeds:
        at_supply = sum(feed.supply is not None for feed in show.feeds.values())
        branches = len(show.feeds) - at_supply
        yield Need("connectors", "pair of terminals at a supply", at_supply, note="one for V+, one for ground")
        if branches:
            yield Need("connectors", "branch joint between feeds", branches, note="where one feed leaves another")
        taps = sum(map(len, state.circuit.joins.values()))
        yield Need("connectors", "tap joint, feed to run", taps, note="one for V+ and ground together")


def _fuses(show: Show, spares: float) -> Iterator[Need]:
    sizes = Counter(feed.fuse for feed in show.feeds.values() if feed.fuse is not None)
    for amps, number in sorted(sizes.items()):
        yield Need("fuses", f"fuse {amps:g} A, with holder", number, _more(number, spares), note="near its supply")
    bare = [feed.name for feed in show.feeds.values() if feed.fuse is None and feed.source is None]
    if bare:
        yield Need("fuses", "fuse, size not given", len(bare), note=", ".join(bare))


def _tap_fuses(state: Power, spares: float) -> Iterator[Need]:
    """The fuses of taps: those that the file gives; those of strings whose own wire may carry less than the fuse before
    it passes.
    """
    given = Counter(tap.given for taps in state.taps.values() for tap in taps if tap.given and not tap.needed)
    for amps, number in sorted(given.items()):
        note = "where its tap joins the string"
        yield Need("fuses", f"tap fuse {amps:g} A, with holder", number, _more(number, spares), note=note)
    sizes: defaultdict[tuple[float, str], list[str]] = defaultdict(list)
    for tap in state.tap_fuses:
        if tap.blade is not None and tap.wire is not None:
            sizes[tap.blade, tap_fuse(tap)].append(f"{tap.wire} ({tap.wire.bears:g} A)")
    for (_, words), wires in sorted(sizes.items()):
        thin = ", ".join(dict.fromkeys(wires))
        note = f"for level {state.level:g}: the string’s own wire, {thin}, is rated below what the feed lets through"
        yield Need("fuses", f"tap fuse {words}, with holder", len(wires), _more(len(wires), spares), note=note)
    yield from _no_tap_fuses(state)
    yield from _unknown_fuses(state)


def _no_tap_fuses(state: Power) -> Iterator[Need]:
    """Taps for which no fuse fits."""
    bare = [tap for tap in state.tap_fuses if tap.blade is None]
    if weak := [_place(tap) for tap in bare if tap.too_thin]:
        more = [_place(tap) for tap in bare if tap.too_thin and tap.overloaded]
        note = f"no blade is small enough for the string’s own wire at {', '.join(weak)}: {OTHER_FUSE}"
        note += f"; and add taps: too much goes into {', '.join(more)}" * bool(more)
        yield Need("fuses", "tap fuse: no blade fits", len(weak), note=note)
    if none := [_place(tap) for tap in bare if not tap.too_thin]:
        what = f"at level {state.level:g} the current into {', '.join(none)} is more than a fuse for the string’s own "
        yield Need("fuses", "tap fuse: none fits", len(none), note=f"{what}wire allows: add taps")


def _unknown_fuses(state: Power) -> Iterator[Need]:
    """Taps of which the file does not say whether they need a fuse."""
    unknown = [tap for taps in state.taps.values() for tap in taps if tap.needed is None and tap.given is None]
    if unknown:
        missing = [f"the wire of pixel.{state.show.runs[tap.join.run].pixel}" for tap in unknown if tap.wire is None]
        missing += [f"the fuse before {tap.feed}" for tap in unknown if not tap.fused]
        note = f"{', '.join(map(_place, unknown))}: the file lacks {', '.join(dict.fromkeys(missing))}"
        yield Need("fuses", "tap fuse: not known", len(unknown), note=note)


def _place(tap: TapFuse) -> str:
    return f"{tap.join.run}/{tap.join.pixel}"


def _supplies(show: Show) -> Iterator[Need]:
    rated = Counter((supply.volts, supply.amps) for supply in show.supplies.values() if not supply.spare)
    shelf = Counter((supply.volts, supply.amps) for supply in show.supplies.values() if supply.spare)
    for volts, amps in sorted(rated.keys() | shelf.keys()):
        key = volts, amps
        yield Need("supplies", f"supply {volts:g} V, {amps:g} A", rated[key], shelf[key])


def _not_given(state: Power) -> Iterator[Need]:
    """What is needed besides, and the file says nothing of: supplies, and feeds of runs that none reaches."""
    if not state.supplies:
        yield Need("supplies", "supplies, feeds and fuses: not given", 0, note="the file has none; add them by hand")
    elif bare := list(dict.fromkeys(run for part in state.stretches if not part.trees for run, _, _ in part.parts)):
        what = f"feed{'s' * (len(bare) > 1)} and fuse{'s' * (len(bare) > 1)}: not given"
        yield Need("supplies", what, 0, note=f"no feed reaches {', '.join(bare)}; patcher power --plan proposes some")


def _boxes(show: Show) -> Iterator[Need]:
    ports = Counter(box.ports for box in show.controllers.values() if not box.spare)
    shelf = Counter(box.ports for box in show.controllers.values() if box.spare)
    for number in sorted(ports.keys() | shelf.keys()):
        what = f"box with a controller of {number} port{'s' * (number != 1)}"
        yield Need("boxes", what, ports[number], shelf[number])
