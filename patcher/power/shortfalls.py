"""Findings of `check` about a show's power, one for each problem.

A hazard is an error: a wire that carries, or whose fuse lets it carry, more than it bears; two supplies on one V+; a
supply asked for more than it is rated for. What only looks bad is a warning.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise
from math import ceil

import numpy as np

from patcher.errors import Finding, first_few
from patcher.power.circuit import lead_wire
from patcher.power.drop import Drop, solve
from patcher.power.flow import LOADED, SLIGHT, TINY, Power, RunVolts, highest_level, power
from patcher.power.fuse_findings import PLAN, fuses, no_tap_fuse, tap_fuses
from patcher.power.other_volts import other_volts, where_volts_change
from patcher.power.stretches import Stretch, cut_at, tapped
from patcher.power.wires import thicker, wire_of
from patcher.show.schema import PixelType, Show
from patcher.units import apart
from patcher.wiring import Wiring

HOT = "a wire too thin gets hot and can burn: {}; local code comes first"


def findings(wiring: Wiring, state: Power | None = None) -> list[Finding]:
    """Everything about the power of a sound wiring that does not hold.

    Args:
        wiring: the wiring.
        state: its power, where another level or temperature than the show's and 20 °C is meant.
    """
    show = wiring.show
    if not described(show):
        return []
    state = state or power(wiring)
    parts = list(state.stretches)
    return [
        *_unfed(show, parts),
        *_joined(show, parts),
        *other_volts(show, parts),
        *_spares(show),
        *_unsaid(show),
        *_next_to_nothing(show),
        *_loads(state),
        *_sagging(state),
        *_wires(state),
        *fuses(state),
        *tap_fuses(state),
    ]


ANY_LEVEL = {
    "joined-supplies": "supplies joined on one V+", "other-volts": "a supply of other volts",
    "fuse": "a fuse too large for its wire", "no-fuse": "a missing fuse",
    "tap-fuse": "a string too thin for any blade fuse",
}  # fmt: skip
"""Rules whose breach is a hazard at any level, in words."""


def at_any_level(state: Power) -> dict[str, list[str]]:
    """The hazards that no lower level takes away: for each, in words, the places."""
    large = (finding for finding in fuses(state) if not _blows(finding) and finding.severity != "note")
    thin = no_tap_fuse(state, (tap for tap in state.tap_fuses if tap.too_thin))
    places: dict[str, list[str]] = {}
    parts = list(state.stretches)
    for finding in (*_joined(state.show, parts), *other_volts(state.show, parts), *large, *thin):
        named = places.setdefault(ANY_LEVEL[finding.rule], [])
        if (where := finding.where.removesuffix(".fuse")) not in named:
            named.append(where)
    return places


def too_bright(state: Power) -> list[Finding]:
    """What does not hold at the level of a state, and may hold at a lower one; a fuse that is too large for its wire is
    so at any.
    """
    taps = no_tap_fuse(state, (tap for tap in state.tap_fuses if tap.overloaded))
    return [*_loads(state), *_sagging(state), *_wires(state), *filter(_blows, fuses(state)), *taps]


def _blows(finding: Finding) -> bool:
    """Whether a finding about a fuse is that it blows, or may in time, which depends on the level."""
    return finding.rule == "fuse-reserve" or (finding.rule == "fuse" and finding.severity == "warning")


def described(show: Show) -> bool:
    """Whether the file says anything of power; if not, nothing is known of currents and voltages."""
    return bool(show.feeds) or not all(supply.spare for supply in show.supplies.values())


def _part(run: str, first: int, last: int) -> str:
    return f"{run}/{first}" + (f"–{last}" if last > first else "")


def _unfed(show: Show, parts: list[Stretch]) -> Iterator[Finding]:
    for part in parts:
        if not part.trees:
            run, first, _ = part.parts[0]
            what = ", ".join(_part(*piece) for piece in part.parts)
            says = f"no feed reaches {what}: it stays dark"
            remedy = f'give a feed a tap there, {{ run = "{run}", pixel = {first}, length = … }}; {PLAN}'
            if gaps := where_volts_change(show, part):
                remedy = f"{cut_at(show, gaps)}, for the volts differ there; then {remedy}"
            yield Finding("error", "unfed", "power", f"run.{run}", says, remedy)


def _joined(show: Show, parts: list[Stretch]) -> Iterator[Finding]:
    """Stretches that two supplies feed, with the gaps at which their V+ must be cut."""
    for part in parts:
        supplies = sorted(part.supplies)
        if len(supplies) < 2:
            continue
        taps = sorted(
            (number, pixel, str(show.feeds[tree].supply))
            for tree, at, pixel in tapped(show)
            for number, (run, first, last) in enumerate(part.parts)
            if run == at and first <= pixel <= last
        )
        pairs = [(one[:2], two[:2]) for one, two in pairwise(taps) if one[2] != two[2]]
        meet = dict.fromkeys(f"{part.parts[one[0]][0]}/{one[1]}" for one, two in pairs if one == two)
        changes = [run for run, _ in where_volts_change(show, part)]
        gaps = [_gap(part, changes, one, two) for one, two in pairs if one != two]
        what = ", ".join(_part(*piece) for piece in part.parts)
        says = f"{' and '.join(supplies)} are joined on the V+ of {what}; each would push current into the "
        says += "other, so currents and volts there are not known"
        move = f"at {' and '.join(meet)} move all taps but those of one supply elsewhere, then check again"
        cut = f"{cut_at(show, gaps)}; leave the ground whole, the data needs it"
        if meet and gaps:
            cut = f"where two still meet then, {cut}"
        remedy = "; ".join([move] * bool(meet) + [cut] * bool(gaps))
        yield Finding("error", "joined-supplies", "power", f"run.{part.parts[0][0]}", says, remedy)


def _gap(part: Stretch, changes: list[str], one: tuple[int, int], two: tuple[int, int]) -> tuple[str, int]:
    """The run and pixel before which V+ is cut between two taps: halfway on one run, or at the lead of a later one,
    which has other volts than the run before it (`changes`) if there is one.
    """
    (first, pixel), (second, other) = one, two
    if first == second:
        return part.parts[first][0], (pixel + other) // 2 + 1
    between = {run for run, _, _ in part.parts[first + 1 : second + 1]}
    return next((run for run in changes if run in between), part.parts[(first + second + 1) // 2][0]), 1


def _spares(show: Show) -> Iterator[Finding]:
    """Supplies that are said to lie on the shelf, and that a feed or a controller hangs on."""
    for supply in (supply for supply in show.supplies.values() if supply.spare):
        feeds = [feed.name for feed in show.feeds.values() if feed.supply == supply.name]
        boxes = [box.name for box in show.controllers.values() if box.logic and box.logic.supply == supply.name]
        if feeds or boxes:
            says = f"is marked as a spare, yet {', '.join([*feeds, *boxes])} hangs on it, and its load is not counted"
            remedy = "take spare = true out, or name another supply there"
            yield Finding("warning", "spare", "power", f"supply.{supply.name}", says, remedy)


def _unsaid(show: Show) -> Iterator[Finding]:
    """What the file does not say and the voltages need."""
    for kind in show.pixel_types.values():
        runs = [run.name for run in show.runs.values() if run.pixel == kind.name and run.hung]
        missing = unsaid(kind)
        if runs and missing:
            says = f"lacks {', '.join(missing)}, so whether {first_few(runs, 4)} gets enough voltage is not known"
            remedy = "take it from the data sheet, or measure it"
            yield Finding("note", "not-said", "power", f"pixel.{kind.name}", says, remedy)
    for feed in show.feeds.values():
        if wire_of(feed.awg, feed.mm2) is None:
            says = "has no wire size, so nothing that it feeds can be calculated"
            yield Finding("note", "not-said", "power", f"feed.{feed.name}", says, "write awg or mm2")


LEAST_FULL = 1.0
"""Milliamperes that a pixel draws more at full white than dark, at least. Common practice, no source."""


def _next_to_nothing(show: Show) -> Iterator[Finding]:
    """Pixels that hardly draw more at full white than dark: amperes were typed for milliamperes, most likely."""
    used = {run.pixel for run in show.runs.values() if run.hung}
    for kind in (kind for kind in show.pixel_types.values() if kind.name in used and kind.channel_ma is not None):
        full, idle = (kind.channel_ma or 0.0) * kind.channels, kind.idle_ma or 0.0
        if full < max(idle, LEAST_FULL):
            says = f"is {kind.channel_ma:g} mA: a pixel at full white draws only {full:g} mA more than a dark one"
            says += f", which draws {idle:g} mA" * (kind.idle_ma is not None)
            remedy = "correct it in milliamperes (0.02 A is 20), or idle_ma; no wire and no fuse is right before"
            yield Finding("warning", "current", "power", f"pixel.{kind.name}.channel_ma", says, remedy)


def unsaid(kind: PixelType) -> list[str]:
    """The keys of a kind of pixel that are needed for its voltages and are not there."""
    said = {
        "volts": kind.volts, "channel_ma": kind.channel_ma, "idle_ma": kind.idle_ma, "min_volts": kind.min_volts,
        "pitch": kind.pitch, "awg or mm2": wire_of(kind.awg, kind.mm2),
    }  # fmt: skip
    return [key for key, value in said.items() if value is None]


def _loads(state: Power) -> Iterator[Finding]:
    if all(amps >= -SLIGHT for amps in state.left.values()):
        return  # before all supplies are solved at other levels too
    feeds = state.show.feeds.values()
    for load in (load for load in state.supplies if load.is_over):
        supply = load.supply
        where, over = f"supply.{supply.name}", load.amps > supply.amps + SLIGHT
        gives, limit, _ = apart(load.amps, load.limit, supply.amps)
        says = f"gives {gives} A at level {state.level:g}, and is rated for {supply.amps:g} A"
        if not over:
            says += f": more than 80 % of it, {limit} A"
        remedy = f"use a supply of {ceil(load.amps / LOADED * 10 - 1e-6) / 10:g} A or more"
        remedy += ", move a feed to another supply" * (sum(feed.supply == supply.name for feed in feeds) > 1)
        if load.max_level is not None:
            remedy += f", or run the show at level {load.max_level:g}"
        yield Finding("error" if over else "warning", "overload", "power", where, says, remedy)


def _sagging(state: Power) -> Iterator[Finding]:
    yield from _collapsed(state)
    for found in state.runs:
        if found.holds is False and not found.other:
            kind = state.show.runs[found.run].pixel
            says = (
                f"has {_volts(found)} at pixel {found.pixel}, all white at level {state.level:g}, "
                f"and {kind} needs {found.least:g} V"
            )
            remedy = f"tap it at more points; {PLAN}"
            gives = state.rails[found.run]
            if found.least is not None and found.least >= gives:
                remedy = (
                    f"min_volts = {found.least:g} is not below its supply's {gives:g} V, and every wire takes some: "
                )
                remedy += f"correct it in [pixel.{kind}]"
            yield Finding("warning", "low-volts", "power", f"run.{found.run}", says, remedy)


def _volts(found: RunVolts) -> str:
    """The lowest volts in words; where a steady current would drive them below nothing, none is left."""
    return f"{apart(found.lowest, found.least or 0.0, decimals=2)[0]} V" if found.lowest > 0 else "no voltage left"


def _collapsed(state: Power) -> Iterator[Finding]:
    """The runs at which the voltage collapses.

    All that hangs together is without a solution then, however well most of it is fed. So what sags too far already at
    the highest level that has a solution is named; where that tells nothing, all of it.
    """
    net = state.circuit
    left = {name: where for name, where in net.runs.items() if state.drop.collapsed[where].any()}
    while left:
        level = highest_level(net, _stands(next(iter(left.values()))))
        together, sagging = _together(state, left, level)
        most = "at no level" if not level else f"only up to level {level:g}"
        for name in (name for name in sagging if name not in state.other_volts):
            says = f"asks for more power at level {state.level:g} than its wires can bring: the voltage collapses"
            remedy = f"tap it at more points; {PLAN}; as wired now, it works {most}"
            yield Finding("warning", "collapse", "power", f"run.{name}", says, remedy)
        left = {name: where for name, where in left.items() if name not in together}


def _together(state: Power, left: Mapping[str, slice], level: float | None) -> tuple[list[str], list[str]]:
    """The runs that collapse together above a level, and those of them whose pixels have too little already at it."""
    net = state.circuit
    after = solve(net, 0.0 if level is None else level + 0.01)
    together = [name for name, where in left.items() if after.collapsed[where].any()]
    if level is None:
        return together, together
    before = Power(state.wiring, level, state.celsius, net, solve(net, level))
    together = [name for name in together if not before.drop.collapsed[left[name]].any()]
    low = (found.run for found in before.runs if found.holds is False and not found.other)
    return together, [name for name in low if name in together] or together


def _stands(points: slice) -> Callable[[Drop], bool]:
    return lambda drop: not drop.collapsed[points].any()


def _wires(state: Power) -> Iterator[Finding]:
    """Wires that carry more than they bear: of feeds, of strings, of leads."""
    net = state.circuit
    amps = np.fmax(np.abs(state.drop.amps), np.abs(state.drop.ground_amps))
    over = amps > net.bears + TINY

    def hot(where: str, place: str, wire: int, kind: str, relief: str) -> Finding:
        carries, _ = apart(float(amps[wire]), float(net.bears[wire]))
        says = f"carries {carries} A {place} at level {state.level:g}, and {kind} is rated {net.bears[wire]:g} A"
        return Finding("error", "wire", "power", where, says, HOT.format(relief))

    for name, joins in net.joins.items():
        if over[[join.wire for join in joins]].any():
            worst, feed = max(joins, key=lambda join: float(amps[join.wire])), state.show.feeds[name]
            own = wire_of(feed.awg, feed.mm2)
            size = thicker(own, float(amps[worst.wire])) if own and _feeds_alone(state, name) else None
            relief = f"use {f'{size} or thicker' if size else 'a thicker one'}, or a second feed for a part of it"
            yield hot(f"feed.{name}", f"before {worst.run}/{worst.pixel}", worst.wire, str(own), relief)
    for name, string in net.strings.items():
        if over[string].any():
            at, kind = int(np.nanargmax(amps[string])), state.show.type_of(state.show.runs[name])
            gauge = f"its {wire_of(kind.awg, kind.mm2)}"
            place = f"between pixels {at + 1} and {at + 2}"
            yield hot(f"run.{name}", place, string.start + at, gauge, f"tap {name} at more points")
    for name, lead in net.leads.items():
        if over[lead]:
            gauge = str(lead_wire(state.show, state.show.runs[name]))
            yield hot(f"run.{name}.lead", "in its lead", lead, gauge, f"use a thicker one, or tap {name} itself")


def _feeds_alone(state: Power, name: str) -> bool:
    """Whether a feed comes from a supply and alone feeds what it taps: thicker, it takes over no current."""
    mine = [part for part in state.stretches if name in part.trees]
    return state.show.feeds[name].source is None and all(len(part.trees) == 1 for part in mine)
