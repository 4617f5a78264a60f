"""Planned feeds with the fuses and wires that what they carry in the whole show wants, not on their rail alone."""

from __future__ import annotations

from collections.abc import Container

import numpy as np

from patcher.power.flow import TINY, FeedLoad, Power
from patcher.power.stretches import roots
from patcher.power.wires import Wire, wire_of
from patcher.show.schema import Feed

_ROUNDS = 4
"""How often at least a show is solved and fitted again, besides once for each wire there is."""


def fitted(state: Power, given: Container[str], gauges: tuple[Wire, ...]) -> Power:
    """The power of a show whose added feeds have larger fuses, and then thicker wires, where they carry too much.

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


def _changed(state: Power, load: FeedLoad, gauges: tuple[Wire, ...]) -> dict[str, Feed]:
    """The feed with another fuse, or it or one behind it with a thicker wire; nothing where it may stay."""
    feed, joins = load.feed, state.circuit.joins[load.feed.name]
    over = any(abs(state.drop.amps[join.wire]) > state.circuit.bears[join.wire] + TINY for join in joins)
    unfused = feed.supply is not None and load.blade is None and not np.isnan(load.amps)
    if over or unfused:
        return _thicker(feed if over or load.weakest in (None, load.wire) else _thinnest_behind(state, load), gauges)
    if feed.supply is not None and load.blade is not None and load.amps >= (feed.fuse or 0.0):
        return {feed.name: feed.model_copy(update={"fuse": load.blade})}
    return {}


def _thinnest_behind(state: Power, load: FeedLoad) -> Feed:
    """The thinnest feed that branches off a feed, at any remove."""
    behind = (state.show.feeds[name] for name, root in roots(state.show).items() if root.name == load.feed.name)
    return next(feed for feed in behind if wire_of(feed.awg, feed.mm2) == load.weakest)


def _thicker(feed: Feed, gauges: tuple[Wire, ...]) -> dict[str, Feed]:
    """A feed with the next wire that is rated for more; nothing where there is no such wire."""
    now = wire_of(feed.awg, feed.mm2)
    more = [] if now is None else [size for size in gauges if size.bears > now.bears and size.ohms() <= now.ohms()]
    return {feed.name: feed.model_copy(update={"awg": more[0].awg, "mm2": more[0].mm2})} if more else {}
