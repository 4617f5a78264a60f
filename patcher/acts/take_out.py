"""A thing is taken out, and every mention of it; what was like it stays as it is.

What cannot be without it goes too: the bands of a grid, the feeds of a supply, a feed or a prop that has nothing left.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from patcher.acts.act import TakeOut
from patcher.acts.chains import off_ports
from patcher.acts.likes import (
    DRAWN,
    Thing,
    all_spots,
    from_file,
    key_of_places,
    like_of,
    settled,
    whole_of,
    written_out,
)
from patcher.acts.mentions import logics_on, mentions
from patcher.acts.taps import cut_tap
from patcher.acts.things import KINDS, Raw, ReadPoints, kind_of, kinds_of, listed, tables
from patcher.errors import refuse


def taken_out(raw: Raw, act: TakeOut, points: ReadPoints | None, reads: ReadPoints) -> tuple[Raw, dict[str, str]]:
    """The tables without a thing; and the name of what takes its place for those that were like it, by its own.

    Args:
        raw: the tables of the file.
        act: what is taken out.
        points: reads the places of a points file; None where it cannot be read.
        reads: the same, or what stands for it.
    """
    first = kind_of(raw, act.thing, *KINDS)
    kinds = kinds_of(raw, act.thing, DRAWN) if first in DRAWN else [first]
    gone = _going(raw, [(kind, act.thing) for kind in kinds], reads)
    target, whole = all_spots(raw, reads), whole_of(raw, reads)
    new = deepcopy(raw)
    heirs = _handed_on(new, gone, whole, points, reads)
    for kind, name in gone:
        new = _forgotten(new, kind, name)
    _without_abouts(new, gone, whole, reads)
    for kind, name in gone:
        new.get(kind, {}).pop(name, None)
    left = {thing: spots for thing, spots in target.items() if thing not in gone}
    return settled(new, left, reads), heirs


def _going(raw: Raw, things: list[Thing], points: ReadPoints) -> list[Thing]:
    """What is taken out with things: the bands of a grid, and props of which no run is left."""
    props = [name for kind, name in things if kind == "prop"]
    runs = [(kind, name) for (kind, name), table in whole_of(raw, points).items() if table.get("of") in props]
    gone = list(dict.fromkeys([*things, *runs]))
    for prop, table in tables(raw, "prop").items():
        own = listed(table.get("runs"))
        if own and "area" not in table and "like" not in table and all(("run", run) in gone for run in own):
            gone.append(("prop", prop))
    return list(dict.fromkeys(gone))


def _handed_on(
    raw: Raw, gone: list[Thing], whole: dict[Thing, Raw], points: ReadPoints | None, reads: ReadPoints
) -> dict[str, str]:
    """Let the first that is like what goes take over all that it had, and the others be like that one."""
    heirs: dict[str, str] = {}
    for kind, name in (thing for thing in gone if thing[0] in DRAWN):
        own = tables(raw, kind)
        copies = [copy for copy, table in own.items() if table.get("like") == name and (kind, copy) not in gone]
        known = [copy for copy in copies if (kind, copy) in whole]
        for copy in copies:
            if copy not in known:
                raise refuse(f"{kind}.{copy}", f"is like {name}, and cannot be read", "correct it first")
        for copy in known:
            target, like = whole[kind, copy], own[name].get("like") if copy == known[0] else known[0]
            there = isinstance(like, str) and (kind, like) not in gone
            table = like_of(raw, (kind, copy), str(like), target, reads) if there else None
            if table is None:
                if points is None and from_file(raw, kind, copy) and key_of_places(target):
                    raise refuse(f"{kind}.{copy}", f"is like {name}, whose places stand in a file", "give it the file")
                table = written_out(target)
            raw[kind][copy] = table | {key: own[copy][key] for key in ("runs",) if key in own[copy]}
        if known:
            heirs[name] = known[0]
    return heirs


def _without_abouts(raw: Raw, gone: list[Thing], whole: dict[Thing, Raw], points: ReadPoints) -> None:
    """Let no copy be mirrored and turned about what goes, and each stay where it is."""
    names = {name for kind, name in gone if kind in DRAWN}
    left = {name for kind in DRAWN for name in tables(raw, kind) if (kind, name) not in gone}
    for kind in DRAWN:
        for name, table in tables(raw, kind).items():
            about = table.get("about")
            if (kind, name) in gone or not isinstance(about, str) or about not in names - left:
                continue
            own = {key: value for key, value in table.items() if key != "about"}
            target = whole.get((kind, name))
            flat = like_of(raw, (kind, name), str(table.get("like")), target, points) if target else None
            raw[kind][name] = own if flat is None else flat | {key: own[key] for key in own if key not in _TURNS}


_TURNS = ("like", "moved", "mirrored", "turned")


def _forgotten(raw: Raw, kind: str, name: str) -> Raw:
    """The tables in which nothing names a thing any more, but for copies."""
    raw = off_ports(raw, name) if kind == "run" else raw
    for owner, key in (("run", "same_data_as"),) if kind == "run" else (("supply", "box"),):
        for table in tables(raw, owner).values():
            if table.get(key) == name and kind in ("run", "controller"):
                del table[key]
    if kind == "run":
        for prop in tables(raw, "prop").values():
            _drop_from(prop, name)
        _untapped(raw, name)
    elif kind == "supply":
        for logic in logics_on(raw, name):
            box = next(box for box in tables(raw, "controller").values() if box.get("logic") is logic)
            del box["logic"]
        while feeds := [feed for feed, table in tables(raw, "feed").items() if table.get("supply") == name]:
            _cut_feed(raw, feeds[0])
    elif kind == "feed":
        _cut_feed(raw, name)
    return _unaccepted(raw, kind, name)


def _drop_from(prop: Raw, run: str) -> None:
    if isinstance(prop.get("runs"), list) and run in prop["runs"]:
        prop["runs"] = [each for each in prop["runs"] if each != run]
        if not prop["runs"] and "area" in prop:
            del prop["runs"]


def _untapped(raw: Raw, run: str) -> None:
    """Take out every tap on a run, and each feed that has none left."""
    for name, feed in list(tables(raw, "feed").items()):
        taps = listed(feed.get("taps"))
        on = [at for at, tap in enumerate(taps) if isinstance(tap, dict) and tap.get("run") == run]
        for at in reversed(on):
            cut_tap(raw, name, at)
        if on and not feed["taps"]:
            _cut_feed(raw, name)


def _cut_feed(raw: Raw, feed: str) -> None:
    """Take a feed out; its branches come from what it came from."""
    for at in reversed(range(len(listed(raw["feed"][feed].get("taps"))))):
        cut_tap(raw, feed, at)
    del raw["feed"][feed]
    _unaccepted(raw, "feed", feed)


def _unaccepted(raw: Raw, kind: str, name: str) -> Raw:
    """The tables without the judged warnings about a thing."""
    accepts: Any = raw.get("accept")
    if isinstance(accepts, list):
        raw["accept"] = [accept for accept in accepts if not mentions(accept, kind, name)]
    return raw
