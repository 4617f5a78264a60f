"""What a person could write into the show file instead of fixing a fault: the plan changed to what hangs.

The rule of this file: an edit says only what is true of the yard, one fault after the other, or it is refused with the
reason. Whether it does what it should is not taken on trust; `rewrite.py` proves it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from patcher.errors import PatcherError, refuse
from patcher.faults import Fault
from patcher.faults.fault import first_run, starts_of, wired_so
from patcher.faults.sent import exchanged, port_of
from patcher.patch.patch import Patch, Start, written
from patcher.shapes import Lattice, data_order, lattice, pixels_at
from patcher.show.run_tables import BandRun, GridRun, LoopRun, PathRun, PlainRun, Run
from patcher.show.schema import Feed, Show, Tap
from patcher.show.tables import Corner
from patcher.trade import CHANNELS
from patcher.wiring import wire

K = TypeVar("K")
V = TypeVar("V")

CORNERS: tuple[Corner, ...] = ("bottom-left", "bottom-right", "top-left", "top-right")
STARTS = ("universe-shift", "channel-shift", "swapped-starts")
"""Kinds that are starts typed into a box otherwise than planned."""
NUMBERS = (*STARTS, "count")
"""Kinds that are numbers typed into a box."""
OF_A_LEAD = ("lead", "lead_awg", "lead_mm2", "lead_via", "nulls", "nulls_at", "power_joined")
"""What stays where it is when two runs hang in each other's place."""

NEVER = {
    "dark": "the pixel is there, and the file does not say which pixels are dead",
    "dark-channel": "the pixel is there, and the file does not say which pixels are dead",
    "replaced": "in the file all pixels of a run are of one type",
    "cut": "the pixels behind it hang where they should; they only need data",
    "flicker": "the pixels behind it hang where they should",
    "dead": "what hangs there hangs where it should; it only needs its box back",
    "count": "the pixels hang where they should; correct the number in the box",
}
"""Kinds of fault that no edit can make true, and why."""

UNSAID = "cannot be said in the show file: "


def cannot(fault: Fault, why: str) -> PatcherError:
    """The refusal of an edit, with its reason behind `UNSAID`."""
    remedy = "correct the number in the box" if fault.kind in NUMBERS else "fix it at the pixels"
    return refuse(str(fault), f"{UNSAID}{why}", remedy, rule="unsaid")


def changed(show: Show, patch: Patch, faults: Iterable[Fault]) -> Show:
    """The show as it hangs: the plan changed so that these faults are none.

    Args:
        show: as planned.
        patch: what is typed into its boxes.
        faults: what differs from it, together.

    Raises:
        PatcherError: no edit says one of them honestly; it has the reason.
    """
    planned = show
    for fault in sorted(faults, key=lambda fault: list(_EDITS).index(fault.kind)):
        _refuse_pinned(planned, patch, fault)
        if fault.kind in STARTS and not all(_hangs(show, name) for name in fault.places):
            raise cannot(fault, "nothing hangs there once the other fault is in the file; fix one, then ask again")
        show = _EDITS[fault.kind](show, patch, fault)
    return show


def _refuse_pinned(show: Show, patch: Patch, fault: Fault) -> None:
    """PatcherError where a start that is typed in wrongly is pinned: the person has said where it is to be."""
    if fault.kind not in STARTS:
        return
    wiring = wire(show)
    for run in (run for name in fault.places for run in starts_of(wiring, name)):
        start = patch.start_of(run)
        box = show.controllers[start.controller]
        if start.chain.key in box.pins:
            raise cannot(fault, f"{start.chain.name} is pinned to {start.address} there; correct the number in the box")
        if fault.kind != "swapped-starts" and start.address == f"{box.first_universe}/1":
            says = f"{box.name} is pinned to universe {box.first_universe} there (first_universe)"
            raise cannot(fault, f"{says}; correct the number in the box")


def _hangs(show: Show, where: str) -> bool:
    """Whether anything hangs on a port, or on any port of a box; of a run it is said so."""
    box, _, port = where.rpartition("/")
    if not box:
        return where in show.runs or bool(wire(show).of_controller(where))
    return (box, int(port)) in wire(show).chains


def _never(show: Show, patch: Patch, fault: Fault) -> Show:
    raise cannot(fault, NEVER[fault.kind])


def _with_run(show: Show, name: str, **update: object) -> Show:
    run = show.runs[name].model_copy(update=update)
    return show.model_copy(update={"runs": show.runs | {name: run}})


def _with_box(show: Show, name: str, **update: object) -> Show:
    box = show.controllers[name].model_copy(update=update)
    return show.model_copy(update={"controllers": show.controllers | {name: box}})


def _missing(show: Show, patch: Patch, fault: Fault) -> Show:
    run, pixel = fault.pixel
    return _without(show, fault, run, [pixel])


def _without(show: Show, fault: Fault, name: str, pixels: Sequence[int]) -> Show:
    """A run that lacks some of its pixels, counted from 0: places without a pixel, or fewer where none is drawn."""
    run = show.runs[name]
    if len(pixels) >= run.pixels:
        raise cannot(fault, f"no pixel of {name} would be left")
    if isinstance(run, PlainRun):
        show = _with_run(show, name, drawn=run.drawn - len(pixels))
    else:
        gone = {int(place) + 1 for place in pixels_at(run)[list(pixels)]}
        show = _with_run(show, name, gaps=tuple(sorted({*run.gap_places, *gone})))
    return _renumbered(show, name, np.delete(np.arange(run.pixels), pixels))


def _renumbered(show: Show, name: str, kept: NDArray[np.int64]) -> Show:
    """Taps and cuts at the same pixels as before, where only these of a run's pixels are left, by their old numbers."""

    def number(pixel: int) -> int:
        return min(int(np.searchsorted(kept, pixel - 1)), len(kept) - 1) + 1

    def moved(tap: Tap) -> Tap:
        if tap.run != name or not isinstance(tap.pixel, int):
            return tap
        return tap.model_copy(update={"pixel": number(tap.pixel)})

    feeds: dict[str, Feed] = {}
    for key, feed in show.feeds.items():
        taps = tuple(moved(tap) for tap in feed.taps)
        feeds[key] = feed if taps == feed.taps else feed.model_copy(update={"taps": taps})
    run = show.runs[name]
    cuts = tuple(dict.fromkeys(cut for cut in map(number, run.power_cuts) if cut > 1))
    show = show if cuts == run.power_cuts else _with_run(show, name, power_cuts=cuts)
    return show.model_copy(update={"feeds": feeds})


def _colour_order(show: Show, patch: Patch, fault: Fault) -> Show:
    """The run's pixel type with the other order: changed where no other run is of it, else one that is there already,
    else a new one.
    """
    name, order = fault.where, fault.value
    pixel_type = show.type_of(show.runs[name])
    wanted = pixel_type.model_copy(update={"colour_order": order})
    if [other.name for other in show.runs.values() if other.pixel == pixel_type.name] == [name]:
        return show.model_copy(update={"pixel_types": show.pixel_types | {pixel_type.name: wanted}})
    for other in show.pixel_types.values():
        if other.model_dump() == wanted.model_dump():
            return _with_run(show, name, pixel=other.name)
    called = f"{pixel_type.name}-{order.lower()}"
    while called in show.pixel_types:
        called += "-2"
    pixel_types = show.pixel_types | {called: wanted.called(called)}
    return _with_run(show.model_copy(update={"pixel_types": pixel_types}), name, pixel=called)


def _data_in(show: Show, patch: Patch, fault: Fault) -> Show:
    if not isinstance(show.runs[fault.where], LoopRun):
        return _grid(show, patch, fault)
    data_in, backwards = fault.entry
    return _with_run(show, fault.where, data_in=data_in, backwards=backwards)


def _grid(show: Show, patch: Patch, fault: Fault) -> Show:
    run = show.runs[fault.where]
    wired = lattice(show, run)
    assert wired is not None  # noqa: S101  (such a fault is about a grid)
    if isinstance(run, BandRun) and fault.kind == "lines":
        raise cannot(fault, f"its lines are drawn on prop.{run.of}, for all of its runs")
    return _rewired(show, run, wired, wired_so(wired, {fault.kind: fault.value}))


def _rewired(show: Show, run: Run, was: Lattice, now: Lattice) -> Show:
    """A grid wired in another way; its places are counted along the wire, so its gaps get other numbers."""
    order, gaps = was.cells().tolist(), []
    if run.gap_places:
        passed = {tuple(cell): place for place, cell in enumerate(now.cells().tolist(), start=1)}
        gaps = sorted(passed[tuple(order[place - 1])] for place in run.gap_places)
    keys: dict[str, object] = {"data_in": now.data_in, "turns": now.turns}
    if isinstance(run, GridRun):
        keys["lines"] = now.lines
    elif isinstance(run, BandRun) and now.turns == show.grid_of(run).turns:
        keys["turns"] = None
    return _with_run(show, run.name, gaps=tuple(gaps), **keys)


def _reversed(show: Show, patch: Patch, fault: Fault) -> Show:
    run = show.runs[fault.where]
    if isinstance(run, LoopRun):
        end = int(data_order(run)[-1]) + 1
        forward = not run.against
        last = forward and end == run.drawn
        entry = "last" if last else "first" if end == 1 and not forward else end
        return _with_run(show, run.name, data_in=entry, backwards=forward and not last)
    if isinstance(run, PathRun):
        return _with_run(show, run.name, data_in="first" if run.data_in == "last" else "last")
    wired = lattice(show, run)
    if wired is None:
        raise cannot(fault, f"the file has no picture of {run.name}, so either end may come first")
    back = wired.cells()[::-1]
    for corner in CORNERS:
        now = replace(wired, data_in=corner)
        if np.array_equal(now.cells(), back):
            return _rewired(show, run, wired, now)
    raise AssertionError(wired)


def _swapped_runs(show: Show, patch: Patch, fault: Fault) -> Show:
    one, other = fault.places
    swap = {one: other, other: one}
    show = _swapped_with_leads(show, patch, fault)
    leads = {run: show.runs[run].model_dump(include={*OF_A_LEAD}) for run in (one, other)}
    for run, place in swap.items():
        show = _with_run(show, run, **leads[place])
    for tee in [run for run in show.runs.values() if run.same_data_as in swap]:
        show = _with_run(show, tee.name, same_data_as=swap[str(tee.same_data_as)])
    return show


def _swapped_with_leads(show: Show, patch: Patch, fault: Fault) -> Show:
    one, other = fault.places
    swap = {one: other, other: one}
    wiring = wire(show)
    for box, port in dict.fromkeys((wiring.ports[one], wiring.ports[other])):
        chain = tuple(swap.get(run, run) for run in wiring.chains[box, port])
        show = _with_box(show, box, port=show.controllers[box].port | {port: chain})
    return show


def _shift(show: Show, patch: Patch, fault: Fault) -> Show:
    run = show.runs[fault.where]
    if run.nulls + fault.amount >= 0:
        return _with_nulls(show, run.name, run.nulls + fault.amount)
    left = -fault.amount - run.nulls
    show = _with_nulls(show, run.name, 0)
    for name in reversed(_before(show, run)):
        cut = min(left, show.runs[name].pixels)
        if cut:
            show = _without(show, fault, name, range(show.runs[name].pixels - cut, show.runs[name].pixels))
        left -= cut
        fewer = min(left, show.runs[name].nulls)
        show = _with_nulls(show, name, show.runs[name].nulls - fewer) if fewer else show
        left -= fewer
    return _without(show, fault, run.name, range(left)) if left else show


def _with_nulls(show: Show, name: str, nulls: int) -> Show:
    """The show with so many null pixels in a lead. What is more sits at its end as far as anybody knows; which of them
    are gone nobody knows, so where the others sit is then not said.
    """
    run = show.runs[name]
    more = nulls - run.nulls
    nulls_at = (*run.nulls_at, *((run.lead,) * more)) if run.nulls_at and more >= 0 else ()
    return _with_run(show, name, nulls=nulls, nulls_at=nulls_at)


def _before(show: Show, run: Run) -> list[str]:
    """The runs that stand before one on its port and hang this season."""
    if run.same_data_as is not None:
        return []
    wiring = wire(show)
    chain = wiring.chains[wiring.ports[run.name]]
    return [name for name in chain[: chain.index(run.name)] if show.runs[name].hung]


def _swapped_ports(show: Show, patch: Patch, fault: Fault) -> Show:
    """Each chain under the other port, and with it the pin of its start."""
    one, other = (port_of(name) for name in fault.places)
    before, chains = show.controllers, wire(show).chains
    for (box, port), (from_box, from_port) in ((one, other), (other, one)):
        now, source = show.controllers[box], before[from_box]
        chain = chains.get((from_box, from_port), ())
        update: dict[str, object] = {"port": _put(now.port, port, chain)}
        if now.start_per == source.start_per == "port":
            pin = source.start.get(str(from_port)) if chain else None
            update["start"] = _put(now.start, str(port), pin)
        show = _with_box(show, box, **update)
    return show


def _put(table: Mapping[K, V], key: K, value: V | None) -> dict[K, V]:
    """A table with a value under a key, where it stands or at the end; without the key where the value is empty."""
    if not value:
        return {other: held for other, held in table.items() if other != key}
    return {**table, key: value}


def _start_shift(show: Show, patch: Patch, fault: Fault) -> Show:
    """The starts of a box, or the one that feeds a port or a run, pinned where they are typed in."""
    off = fault.amount * (CHANNELS if fault.kind == "universe-shift" else 1)
    if fault.where not in show.controllers:
        start = patch.start_of(first_run(wire(show), fault.where))
        return _pinned(show, start, start.at + off)
    for start in patch.boxes.get(fault.where, ()):
        show = _pinned(show, start, start.at + off)
    return show


def _swapped_starts(show: Show, patch: Patch, fault: Fault) -> Show:
    for run, at in exchanged(wire(show), patch, [fault]).items():
        show = _pinned(show, patch.start_of(run), at)
    return show


def _pinned(show: Show, start: Start, at: int) -> Show:
    """The show with a start pinned at an absolute channel, from 0."""
    box = show.controllers[start.controller]
    key = {"controller": box.name, "run": str(start.chain.run), "port": str(start.chain.port)}[box.start_per]
    return _with_box(show, box.name, start={**box.start, key: "{}/{}".format(*written(at))})


_EDITS: dict[str, Callable[[Show, Patch, Fault], Show]] = {
    **dict.fromkeys(NEVER, _never),
    "missing": _missing,
    "colour-order": _colour_order,
    "data-in": _data_in, "lines": _grid, "turns": _grid,
    "reversed": _reversed,
    "swapped-runs": _swapped_runs,
    "swapped-with-leads": _swapped_with_leads,
    "shift": _shift,
    "swapped-ports": _swapped_ports,
    "universe-shift": _start_shift,
    "channel-shift": _start_shift,
    "swapped-starts": _swapped_starts,
}  # fmt: skip
"""In the order in which several are made: a pixel is named by the plan, what is cut off by where it then stands."""
