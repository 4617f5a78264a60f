"""Planned feeds: written into the show, then with fuses and wires fitted to what they carry in the whole of it."""

from __future__ import annotations

from collections.abc import Container
from itertools import count

import numpy as np

from patcher.power.feeds import Feeding
from patcher.power.flow import TINY, FeedLoad, Power
from patcher.power.stretches import roots
from patcher.power.strip import RailStrip
from patcher.power.wires import Wire, wire_of
from patcher.show.schema import Feed, Show, Tap

_ROUNDS = 4
"""How often at least a show is solved and fitted again, besides once for each wire there is."""


def with_feeds(show: Show, supply: str, run: str, strip: RailStrip, found: Feeding) -> Show:
    """The show with a feed for each trunk."""
    taken = {*show.controllers, *show.runs, *show.props, *show.supplies, *show.feeds}
    feeds = dict(show.feeds)
    joined: dict[int, tuple[str, int]] = {}
    for trunk in found.trunks:
        candidates = (f"{run[:50]}-feed{f'-{number}' if number > 1 else ''}" for number in count(1))
        name = next(name for name in candidates if name not in taken and name not in feeds)
        at = [strip.pixels[tap] for tap in trunk.taps]
        taps = tuple(
            Tap(run=tapped, pixel=pixel, length=metres)
            for (tapped, pixel), metres in zip(at, trunk.metres, strict=True)
        )
        source: dict[str, object] = {"supply": supply}
        if trunk.start is not None:
            source = dict(zip(("from", "tap"), joined[trunk.start], strict=True))
        size = {"awg": trunk.wire.awg, "mm2": trunk.wire.mm2}
        feeds[name] = Feed.model_validate({**source, **size, "fuse": trunk.fuse, "taps": taps}).called(name)
        joined |= {tap: (name, number) for number, tap in enumerate(trunk.taps, start=1)}
    return show.model_copy(update={"feeds": feeds})


def fitted(state: Power, given: Container[str], gauges: tuple[Wire, ...]) -> Power:
    """The power of a show whose added feeds have the smallest fuse that holds, and thicker wires where they must.

    Args:
        state: the power of the show.
        given: the feeds that were there before, which stay as they are.
        gauges: the wires to choose from, the thinnest first.
    """
    for _ in range(_ROUNDS + len(gauges)):
        changed: dict[str, Feed] = {}
        for load in state.feeds:
            if load.feed.name not in given:
                changed |= _changed(state, load, gauges)
        if not changed:
            break
        state = state.of(state.show.model_copy(update={"feeds": state.show.feeds | changed}))
    return state


def with_tap_fuses(state: Power, given: Container[str]) -> Power:
    """The power of a show each of whose added feeds has a fuse at every tap into a string that may carry less than what
    gets there, where a blade fits.

    Args:
        state: the power of the show, its feeds fitted.
        given: the feeds that were there before, which stay as they are.
    """
    changed = {}
    for name, fuses in state.taps.items():
        sizes = {fuse.join.tap: fuse.blade for fuse in fuses if fuse.needed}
        if name not in given and any(sizes.values()):
            feed = state.show.feeds[name]
            taps = (tap.model_copy(update={"fuse": sizes.get(at)}) for at, tap in enumerate(feed.taps, start=1))
            changed[name] = feed.model_copy(update={"taps": tuple(taps)})
    return state.of(state.show.model_copy(update={"feeds": state.show.feeds | changed})) if changed else state


def _changed(state: Power, load: FeedLoad, gauges: tuple[Wire, ...]) -> dict[str, Feed]:
    """The feed with another fuse, or it or one behind it with a thicker wire; nothing where it may stay."""
    feed, joins = load.feed, state.circuit.joins[load.feed.name]
    both = np.fmax(
        np.abs(state.drop.amps), np.abs(state.drop.ground_amps)
    )  # others' current may come back in its ground
    over = any(both[join.wire] > state.circuit.bears[join.wire] + TINY for join in joins)
    unfused = feed.supply is not None and load.smallest_fuse is None and not np.isnan(load.amps)
    if over or unfused:
        return _thicker(feed if over or load.weakest in (None, load.wire) else _thinnest_behind(state, load), gauges)
    if feed.supply is not None and load.smallest_fuse not in (None, feed.fuse):
        return {feed.name: feed.model_copy(update={"fuse": load.smallest_fuse})}
    return {}


def _thinnest_behind(state: Power, load: FeedLoad) -> Feed:
    """The thinnest feed that branches off a feed, directly or through others."""
    behind = (state.show.feeds[name] for name, root in roots(state.show).items() if root.name == load.feed.name)
    return next(feed for feed in behind if wire_of(feed.awg, feed.mm2) == load.weakest)


def _thicker(feed: Feed, gauges: tuple[Wire, ...]) -> dict[str, Feed]:
    """A feed with the next wire that is rated for more; nothing where there is no such wire."""
    now = wire_of(feed.awg, feed.mm2)
    more = [] if now is None else [size for size in gauges if size.bears > now.bears and size.ohms() <= now.ohms()]
    return {feed.name: feed.model_copy(update={"awg": more[0].awg, "mm2": more[0].mm2})} if more else {}
