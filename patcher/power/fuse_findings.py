"""Findings about fuses: those that blow or protect no wire, feeds with none, and taps for which none can be had."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from patcher.errors import Finding, first_few
from patcher.power.flow import FeedLoad, Power
from patcher.power.stretches import roots
from patcher.power.tap_fuse import TapFuse
from patcher.power.wires import BLADES, FUSE_LOADED, Wire, carries, most_carried, most_into
from patcher.units import apart

PLAN = "patcher power SHOW --plan proposes feeds"
LOCAL = "local code comes first"
OTHER_FUSE = "fit a fuse of another kind, of no more than its wire may carry, or use a string of thicker wire"
"""What to do where a string's wire is thinner than the smallest blade fuse allows."""


def fuses(state: Power) -> Iterator[Finding]:
    """Fuses that blow, have no reserve, or let a wire behind them burn; feeds with none behind which something can."""
    yield from _bare(state)
    yield from _given(state)
    for load in state.feeds:
        feed, weakest = load.feed, load.weakest
        if weakest is None or feed.fuse is None:
            continue
        where = f"feed.{feed.name}"
        rated = f"{weakest} behind it is rated {weakest.bears:g} A"
        fits = _fitting(load)
        if feed.fuse > weakest.bears:
            says = f"has a fuse of {feed.fuse:g} A, and {rated}: the wire would burn first"
            remedy = f"{fits}, or give the thin branch a fuse of its own where it begins; local code comes first"
            if weakest == load.wire:
                remedy = f"{fits}; local code comes first"
            yield Finding("error", "fuse", "power", f"{where}.fuse", says, remedy)
        elif not np.isnan(load.amps) and load.amps >= feed.fuse:
            amps, _ = apart(load.amps, feed.fuse, decimals=2)
            says = f"carries {amps} A at level {state.level:g}, so its fuse of {feed.fuse:g} A blows"
            yield Finding("warning", "fuse", "power", f"{where}.fuse", says, fits)
        elif not np.isnan(load.amps) and not carries(feed.fuse, load.amps):
            amps, most = apart(load.amps, most_carried(feed.fuse), decimals=2)
            says = (
                f"carries {amps} A at level {state.level:g}: more than {FUSE_LOADED * 100:g} % of its fuse of "
                f"{feed.fuse:g} A, {most} A, so the fuse may blow after hours"
            )
            yield Finding("warning", "fuse-reserve", "power", f"{where}.fuse", says, fits)


def _given(state: Power) -> Iterator[Finding]:
    """Fuses of taps that blow, have no reserve, or let the string behind them burn; the worst of each kind a feed."""
    for feed, taps in state.taps.items():
        given = [tap for tap in taps if tap.given is not None]
        large = [tap for tap in given if tap.needed]
        if large:
            worst = max(large, key=lambda tap: (tap.given or 0.0) / tap.bears)
            says = (
                f"has a tap fuse of {worst.given:g} A at {_place(worst)}, and the string’s own {worst.wire} there is "
            )
            says += f"rated {worst.bears:g} A: the string would burn first"
            yield Finding("error", "fuse", "power", f"feed.{feed}.taps", says, f"{_tap_fuse_for(worst)}; {LOCAL}")
        weak = [tap for tap in given if tap not in large and not np.isnan(tap.amps)]
        if weak:
            worst = max(weak, key=lambda tap: tap.amps / (tap.given or np.inf))
            yield from _blowing(state, worst)


def _blowing(state: Power, tap: TapFuse) -> Iterator[Finding]:
    """A tap's own fuse that blows, or may after hours."""
    size = tap.given or np.inf
    where, into = f"feed.{tap.feed}.taps", f"A into {_place(tap)} at level {state.level:g}"
    if tap.amps >= size:
        amps, _ = apart(tap.amps, size, decimals=2)
        says = f"brings {amps} {into}, so the tap fuse of {size:g} A there blows"
        yield Finding("warning", "fuse", "power", where, says, _tap_fuse_for(tap))
    elif not carries(size, tap.amps):
        amps, most = apart(tap.amps, most_carried(size), decimals=2)
        says = (
            f"brings {amps} {into}: more than {FUSE_LOADED * 100:g} % of the tap fuse of {size:g} A there, {most} A, "
        )
        says += "so the fuse may blow after hours"
        yield Finding("warning", "fuse-reserve", "power", where, says, _tap_fuse_for(tap))


def _tap_fuse_for(tap: TapFuse) -> str:
    """The fuse to put in at a tap, or what to do where none fits."""
    return f"tap it at more points; {PLAN}" if tap.blade is None else f"fit a tap fuse of {tap.blade:g} A there"


def _place(tap: TapFuse) -> str:
    return f"{tap.join.run}/{tap.join.pixel}"


def _bare(state: Power) -> Iterator[Finding]:
    """Feeds without a fuse: a warning where the supply gives more than a wire or a string behind it may carry."""
    root = roots(state.show)
    strings: dict[str, TapFuse] = {}
    for tap in (tap for tap in state.tap_fuses if not tap.fused):
        name = root[tap.feed].name
        strings[name] = min(strings.get(name, tap), tap, key=lambda each: each.bears)
    for load in state.feeds:
        feed, wire, string = load.feed, load.weakest, strings.get(load.feed.name)
        supply = state.show.supplies[load.supply]
        thin = _thin(wire, string, supply.amps)
        if feed.fuse is not None or feed.supply is None:
            continue
        says = f"has no fuse; {supply.name} can give {supply.amps:g} A" + (f", and {thin}" if thin else "")
        fits = "fit a fuse that protects its wire" if wire is None else _fitting(load)
        remedy = f"{fits} near the supply (fuse = …)"
        if not thin:
            yield Finding("note", "no-fuse", "power", f"feed.{feed.name}", says, f"{remedy}, or say which one it has")
            continue
        if string is not None and not (load.smallest_fuse or np.inf) <= string.bears:
            remedy += (
                ", and one at each tap into a string that may carry less (fuse = … in its tap): patcher sheet says "
            )
            remedy += "which"
        yield Finding("warning", "no-fuse", "power", f"feed.{feed.name}", says, remedy)


def _thin(wire: Wire | None, string: TapFuse | None, amps: float) -> str:
    """What behind a feed may carry less than so many amperes, in words; empty where nothing is known to."""
    if string is not None and (wire is None or string.bears < wire.bears):
        at = f"{string.join.run}/{string.join.pixel}"
        return f"the string’s own {string.wire} at {at} is rated {string.bears:g} A"
    return f"{wire} behind it is rated {wire.bears:g} A" if wire is not None and amps > wire.bears else ""


def tap_fuses(state: Power) -> Iterator[Finding]:
    """Taps that need a fuse of their own and for which no blade fits."""
    yield from no_tap_fuse(state, [tap for tap in state.tap_fuses if tap.blade is None])


def no_tap_fuse(state: Power, among: Iterable[TapFuse]) -> Iterator[Finding]:
    """Some of the taps that need a fuse of their own and for which no blade fits; those alike of a feed together.

    A warning, like a feed without a fuse: nothing protects the string from a fault, but no wire is overloaded.
    """
    found: dict[tuple[str, Wire, bool], list[TapFuse]] = {}
    for tap in among:
        if tap.wire is not None:
            found.setdefault((tap.feed, tap.wire, tap.overloaded), []).append(tap)
    for (feed, wire, overloaded), taps in found.items():
        places = first_few([f"{tap.join.run}/{tap.join.pixel}" for tap in taps], 4)
        says = f"needs a fuse at the tap {places}, and none is small enough for"
        remedies = [OTHER_FUSE] if taps[0].too_thin else []
        if overloaded:
            amps, most = apart(max(tap.together for tap in taps), most_into(wire.bears), decimals=2)
            brings = "brings" if all(tap.amps == tap.together for tap in taps) else "brings, with others there,"
            brings += " up to" * (len(taps) > 1)
            says = f"{brings} {amps} A into {places} at level {state.level:g}: more than {most} A, the most that a "
            says += "fuse carries for hours and still protects"
            remedies = [f"tap it at more points; {PLAN}", *remedies]
        says += f" the string’s own {wire}, rated {wire.bears:g} A"
        remedy = "; ".join([*remedies, "local code comes first"])
        yield Finding("warning", "tap-fuse", "power", f"feed.{feed}", says, remedy)


def _fitting(load: FeedLoad) -> str:
    """The fuse to put into a feed; where its current is not known, the largest that protects its wires."""
    assert load.weakest is not None  # noqa: S101  (the caller has looked)
    if load.smallest_fuse is not None:
        return f"fit a blade fuse of {load.smallest_fuse:g} A"
    most = max((size for size in BLADES if size <= load.weakest.bears), default=None)
    if most is not None and (np.isnan(load.amps) or not load.all_said):
        return f"fit a blade fuse of at most {most:g} A"
    return "use a thicker wire and a blade fuse to match"
