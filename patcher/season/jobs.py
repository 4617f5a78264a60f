"""Jobs of the hands: what there is to test on the bench, to hang, to join, to power; what each depends on; its words.

A job depends on what hands would have to do again if it changed. A title, a level, an address, a colour that the box
puts in order are no work for hands. A thing with a new name is another thing: its labels are to be changed too.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from patcher.errors import first_few
from patcher.patch.player import drawing
from patcher.power.circuit import lead_wire
from patcher.power.stretches import roots, taken_pixels
from patcher.power.wires import wire_of
from patcher.shapes import positions
from patcher.sheets.figures import count, power_cuts, without_power
from patcher.show.run_tables import Run
from patcher.show.schema import Feed, Show, Supply, Tap
from patcher.units import length
from patcher.walk.items import hung_chain, with_tees
from patcher.wiring import Wiring, port_name

ByHand = Literal["bench", "hang", "leads", "power"]
BY_HAND: tuple[ByHand, ...] = get_args(ByHand)
Step = Literal["bench", "hang", "leads", "power", "type", "tell", "prove"]
STEPS: tuple[Step, ...] = get_args(Step)
"""A box's work, in the order in which it is done."""
Kind = Literal["run", "supply", "feed"]
MOST_TAPS = 6
"""Taps that the words of a feed name."""


@dataclass(frozen=True, slots=True, order=True)
class Job:
    """One job of the hands: what is done to which run, supply or feed."""

    step: ByHand
    kind: Kind
    name: str


@dataclass(frozen=True, slots=True)
class Plan:
    """What the plan says of a job.

    Attributes:
        box: the box at which it is done.
        against: a digest of all that it depends on: equal as long as none of it changes.
        says: what it is, for a person.
    """

    box: str
    against: str
    says: str


def jobs(wiring: Wiring) -> dict[Job, Plan]:
    """All jobs of the hands that a sound wiring has this season, box by box in the file's order, in the day's order."""
    found = [each for box in wiring.show.controllers for each in _of_runs(wiring, box)]
    found += _of_power(wiring)
    boxes = {box: number for number, box in enumerate(wiring.show.controllers)}
    found.sort(key=lambda each: (boxes[each[1].box], BY_HAND.index(each[0].step)))
    return dict(found)


def _of_runs(wiring: Wiring, box: str) -> Iterator[tuple[Job, Plan]]:
    for port in wiring.of_controller(box):
        for name in (run for first in hung_chain(wiring, (box, port)) for run in with_tees(wiring, first)):
            yield Job("bench", "run", name), _bench(wiring, box, name)
            yield Job("hang", "run", name), _hang(wiring, box, name)
            yield Job("leads", "run", name), _lead(wiring, box, name)
            if cuts := wiring.show.runs[name].power_cuts:
                says = f"{power_cuts(cuts)}: never join two supplies"
                yield Job("power", "run", name), Plan(box, _digest(sorted(set(cuts))), says)


def _digest(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, ensure_ascii=False).encode()).hexdigest()[:16]


def _bench(wiring: Wiring, box: str, name: str) -> Plan:
    run = wiring.show.runs[name]
    kind = wiring.show.type_of(run)
    batch = f", batch {run.batch}" * bool(run.batch)
    says = f"{count(run.pixels, 'pixel')} of {run.pixel}{batch}: every colour, both ends"
    return Plan(box, _digest([kind.colour_order, kind.volts, run.pixels, run.batch]), says)


def _hang(wiring: Wiring, box: str, name: str) -> Plan:
    run = wiring.show.runs[name]
    places = positions(wiring.show, run)
    at = None if places is None else np.round(places * 1000).astype(np.int64).tolist()
    begins = drawing(wiring, name)
    where = "not drawn" if begins is None else f"data-in at {begins.begin}"
    return Plan(box, _digest([run.pixels, at]), f"{count(run.pixels, 'pixel')}, {where}")


def _lead(wiring: Wiring, box: str, name: str) -> Plan:
    show = wiring.show
    run, joined = show.runs[name], wiring.lead_has_power(name)
    before = run.same_data_as or _before(wiring, name)
    parts = [
        f"{length(run.lead, show.settings.units) if run.lead else 'no cable'} from {before}",
        str(lead_wire(show, run) or "") if run.lead and joined else "",
        run.lead_via if run.lead_via != "cable" else "",
        count(run.nulls, "null pixel") if run.nulls else "",
        without_power(run, joined=joined),
    ]
    depends = [before, run.lead, run.lead_awg, run.lead_mm2, run.lead_via, run.nulls, run.nulls_at, joined]
    return Plan(box, _digest(depends), ", ".join(filter(None, parts)))


def _before(wiring: Wiring, run: str) -> str:
    """The port or the run from which the lead of a run comes, of those that hang."""
    port = wiring.ports[run]
    chain = hung_chain(wiring, port)
    at = chain.index(run)
    return chain[at - 1] if at else port_name(*port)


def _of_power(wiring: Wiring) -> list[tuple[Job, Plan]]:
    """Feeds that join a run which hangs, and the supplies that are then in use."""
    show, trunks = wiring.show, roots(wiring.show)
    found: list[tuple[Job, Plan]] = []
    needed: dict[str, str] = {}
    places = _feed_places(wiring)
    for feed in show.feeds.values():
        supply = trunks[feed.name].supply
        if feed.name in places and supply is not None:
            box = show.supplies[supply].box or places[feed.name]
            needed.setdefault(supply, box)
            found.append((Job("power", "feed", feed.name), _feed(show, feed, box)))
    for controller in show.controllers.values():
        if controller.logic is not None and wiring.of_controller(controller.name):
            needed.setdefault(controller.logic.supply, show.supplies[controller.logic.supply].box or controller.name)
    supplies = [(Job("power", "supply", name), _supply(show.supplies[name], box)) for name, box in needed.items()]
    return [*supplies, *found]


def _feed_places(wiring: Wiring) -> dict[str, str]:
    """The feeds that a run which hangs needs, through branches too: of each the box of the first such run."""
    show = wiring.show
    found: dict[str, str] = {}
    for feed in show.feeds.values():
        box = next((wiring.ports[tap.run][0] for tap in feed.taps if show.runs[tap.run].hung), None)
        before: str | None = feed.name
        while box is not None and before is not None:
            found.setdefault(before, box)
            before = show.feeds[before].source
    return found


def _supply(supply: Supply, box: str) -> Plan:
    parts = [f"{supply.volts:g} V, {supply.amps:g} A", f"on socket {supply.socket}" if supply.socket else ""]
    says = f"set it up, unplugged: {', '.join(filter(None, parts))}"
    return Plan(box, _digest([supply.volts, supply.amps, supply.box, supply.socket]), says)


def _feed(show: Show, feed: Feed, box: str) -> Plan:
    # a tap without a fuse has no fourth part, so ticks of before tap fuses counted still hold
    taps = [
        [tap.run, taken_pixels(tap, show.runs[tap.run].pixels), tap.length, *([tap.fuse] if tap.fuse else [])]
        for tap in feed.taps
        if show.runs[tap.run].hung
    ]
    wire = wire_of(feed.awg, feed.mm2)
    source = feed.supply or f"{feed.source}, tap {feed.tap}"
    fuse = f"fuse {feed.fuse:g} A" if feed.fuse else ""
    joins = _tap_words([tap for tap in feed.taps if show.runs[tap.run].hung], show.runs)
    says = ", ".join(filter(None, [f"from {source}", str(wire or ""), fuse]))
    depends = [feed.supply, feed.source, feed.tap, feed.awg, feed.mm2, feed.fuse, taps]
    return Plan(box, _digest(depends), f"{says}; joins {joins}")


def _tap_words(taps: Sequence[Tap], runs: Mapping[str, Run]) -> str:
    """The pixels that a feed joins, each with its tap fuse: `gable/1, eaves/77 (tap fuse 4 A)`."""
    pixels = [
        f"{tap.run}/{pixel}" + (f" (tap fuse {tap.fuse:g} A)" if tap.fuse else "")
        for tap in taps
        for pixel in taken_pixels(tap, runs[tap.run].pixels)
    ]
    return first_few(pixels, MOST_TAPS)
