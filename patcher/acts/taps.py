"""Taps of feeds. Where one goes, its wire stays: the next tap is by its length farther from the one before."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from patcher.acts.act import AddTap, Untap
from patcher.acts.measures import WRITTEN_OUT, keys_in_file
from patcher.acts.things import Raw, kind_of, listed, tables
from patcher.errors import refuse


def tap_put_in(raw: Raw, act: AddTap) -> Raw:
    """The tables with one more tap before another; branches stay on the taps that they are on."""
    kind_of(raw, act.feed, "feed")
    new = deepcopy(raw)
    taps = listed(new["feed"][act.feed].get("taps"))
    if act.number > len(taps) + 1:
        raise refuse(f"feed.{act.feed}.taps", f"has no tap {act.number}", f"it has {len(taps)}, counted from 1")
    taps.insert(act.number - 1, keys_in_file(act.tap, raw))
    new["feed"][act.feed]["taps"] = taps
    for branch in _branches(new, act.feed):
        branch["tap"] += branch["tap"] >= act.number
    return new


def tap_taken_out(raw: Raw, act: Untap) -> Raw:
    """The tables with one tap less."""
    kind_of(raw, act.feed, "feed")
    taps = listed(raw["feed"][act.feed].get("taps"))
    if act.number > len(taps):
        raise refuse(f"feed.{act.feed}.taps", f"has no tap {act.number}", f"it has {len(taps)}, counted from 1")
    if len(taps) == 1:
        raise refuse(f"feed.{act.feed}.taps", "would have no tap left", "take out the feed")
    new = deepcopy(raw)
    cut_tap(new, act.feed, act.number - 1)
    return new


def cut_tap(raw: Raw, feed: str, at: int) -> None:
    """Take a tap, from 0, out of a feed. A branch at it joins the tap before, or what the feed comes from."""
    table = raw["feed"][feed]
    gone = table["taps"].pop(at)
    length = gone.get("length") if isinstance(gone, dict) else None
    if at < len(table["taps"]):
        _lengthen(table["taps"][at], length)
    for branch in _branches(raw, feed):
        if branch["tap"] == at + 1:
            _lengthen(next(iter(listed(branch.get("taps"))), None), length)
            if at == 0:
                _join_source(branch, table)
        if branch.get("from") == feed and branch["tap"] > at:
            branch["tap"] = max(branch["tap"] - 1, 1)


def _join_source(branch: Raw, table: Raw) -> None:
    """Let a branch come from what its feed comes from."""
    for key in ("from", "tap"):
        del branch[key]
    branch.update({key: table[key] for key in ("supply", "from", "tap") if key in table})


def _branches(raw: Raw, feed: str) -> list[Raw]:
    every = tables(raw, "feed").values()
    return [table for table in every if table.get("from") == feed and type(table.get("tap")) is int]


def _lengthen(tap: Any, length: Any) -> None:
    if isinstance(tap, dict) and type(length) in (int, float) and type(tap.get("length")) in (int, float):
        tap["length"] = round(tap["length"] + length, WRITTEN_OUT)
