"""Names that one table uses of another: each must be there, tell which thing is meant, and fit.

What hangs on which port is the wiring's business; here stands only what the file says of itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

import networkx as nx

from patcher.errors import Finding, choose_from, nearest
from patcher.show.mains_tables import Socket, rcd_names
from patcher.show.run_tables import BandRun, Run
from patcher.show.schema import Controller, Feed, GridProp, Show
from patcher.trade import ADDRESSES, UNIVERSE_0, is_address

_NAMED = ("controller", "run", "prop", "supply", "feed", "socket", "route")
_MOST_COMPARED = 200_000
"""Pairs of names that are compared to say which was meant: about a second's work."""
Declared = Mapping[str, Collection[str]]


_NAMES: tuple[tuple[tuple[str, ...], str], ...] = (
    (("controller", "*", "port", "*", "[]"), "run"),
    (("controller", "*", "logic", "supply"), "supply"),
    (("run", "*", "pixel"), "pixel"),
    (("run", "*", "same_data_as"), "run"),
    (("run", "*", "like"), "run"),
    (("run", "*", "of"), "prop"),
    (("prop", "*", "like"), "prop"),
    (("prop", "*", "runs", "[]"), "run"),
    (("supply", "*", "box"), "controller"),
    (("supply", "*", "socket"), "socket"),
    (("feed", "*", "supply"), "supply"),
    (("feed", "*", "from"), "feed"),
    (("feed", "*", "taps", "[]", "run"), "run"),
)
"""Where a file names another table, and which table that must be."""


def declared(raw: Mapping[str, Any]) -> dict[str, Collection[str]]:
    """Every name that the file gives, by table, whether its table could be read or not."""
    return {table: raw[table].keys() if isinstance(raw.get(table), dict) else () for table in ("pixel", *_NAMED)}


def _wrong(rule: str, where: str, says: str, remedy: str) -> Finding:
    return Finding("error", rule, "file", where, says, remedy)


def _texts_at(node: Any, path: tuple[str, ...], where: str = "") -> Iterator[tuple[str, str]]:
    """Every text that stands at `path` below `node`, with its place; what has another form is the schema's to say."""
    if not path:
        if isinstance(node, str):
            yield where, node
    elif path[0] == "[]":
        for number, item in enumerate(node if isinstance(node, list) else (), start=1):
            yield from _texts_at(item, path[1:], f"{where}[{number}]")
    elif isinstance(node, dict):
        for key in node if path[0] == "*" else node.keys() & {path[0]}:
            yield from _texts_at(node[key], path[1:], f"{where}.{key}" if where else key)


def unknown_names(raw: Mapping[str, Any]) -> Iterator[Finding]:
    """Every name that no table has, whether the table that uses it could be read or not."""
    names = declared(raw)
    compared = 0
    for path, table in _NAMES:
        for where, name in _texts_at(raw, path):
            if name in names[table]:
                continue
            compared += len(names[table])
            weighed = names[table] if compared <= _MOST_COMPARED else ()
            elsewhere = [other for other in names if name in names[other]]
            if elsewhere and not nearest(name, weighed):
                says = f"“{name}” is a {elsewhere[0]}, not a {table}"
                yield _wrong("unknown-name", where, says, f"name a {table}")
            else:
                known = weighed or not names[table]
                remedy = choose_from(name, weighed) if known else f"correct it, or write [{table}.{name}]"
                yield _wrong("unknown-name", where, f"no {table} is named “{name}”", remedy)


def misfits(show: Show, names: Declared) -> Iterator[Finding]:
    """Everything that does not fit what it names, among the tables that could be read."""
    yield from _shared_names(show, names)
    for controller in show.controllers.values():
        yield from _pins(controller)
    for run in show.runs.values():
        yield from _run(run, show)
    yield from _props(show)
    for feed in show.feeds.values():
        yield from _feed(feed, show)
    yield from _feed_loops(show)
    yield from _circuits(show)


def _shared_names(show: Show, names: Declared) -> Iterator[Finding]:
    """Names of two things that no command could tell apart.

    A box and a run would make `roof/1` a port and a pixel. A run and a prop are both looked at by their names, for a
    run that no prop names is a prop of its own; they may share one where they are the same.
    """
    for name in (name for name in names["run"] if name in names["controller"]):
        says = f"has the name of a box, and {name}/1 would be both its first pixel and the box's port 1"
        yield _wrong("same-name", f"run.{name}", says, f"rename one of them: {name}-2")
    members = {name: set(prop.runs) for name, prop in show.props.items()}
    for run in show.runs.values():
        if isinstance(run, BandRun) and run.of in members:
            members[run.of].add(run.name)
    for name in (name for name in names["prop"] if name in names["run"]):
        if name in show.runs and members.get(name, {name}) != {name}:
            says = "has the name of a run, and is not that run alone"
            yield _wrong("same-name", f"prop.{name}", says, f"rename one of them: {name}-2")


def _pins(controller: Controller) -> Iterator[Finding]:
    where = f"controller.{controller.name}"
    own: dict[str, list[str]] = {
        "port": [str(number) for number in controller.port],
        "run": [run for runs in controller.port.values() for run in runs],
        "controller": [controller.name],
    }
    for key, (universe, channel) in controller.pins.items():
        place = f"{where}.start.{key}"
        if key not in own[controller.start_per]:
            says = f"pins a start address that the box does not have: it has one per {controller.start_per}"
            yield _wrong("pin", place, says, choose_from(key, own[controller.start_per]))
        if not is_address(universe, channel):
            says = f"is {universe}/{channel}; {ADDRESSES}"
            zero = controller.protocol == "artnet" and universe == 0
            yield _wrong("pin", place, says, UNIVERSE_0 if zero else 'write universe/channel: "24/1"')


def _run(run: Run, show: Show) -> Iterator[Finding]:
    where = f"run.{run.name}"
    if isinstance(run, BandRun):
        band_problems = list(_band(run, show))
        yield from band_problems
        if band_problems or not run.has_grid:
            return
        if run.gaps and max(run.gaps) > run.places:
            says = f"names place {max(run.gaps)}, but the band has {run.places}"
            yield _wrong("value", f"{where}.gaps", says, "correct it")
        elif len(run.gaps) == run.places:
            yield _wrong("value", f"{where}.gaps", "leaves no pixel at all", "correct it")
    for pixel in run.power_cuts:
        if not 2 <= pixel <= run.pixels:
            says = f"cuts before pixel {pixel}; the run has {run.pixels}, and a cut lies before the 2nd or later"
            yield _wrong("value", f"{where}.power_cuts", says, "correct it")


def _band(run: BandRun, show: Show) -> Iterator[Finding]:
    where = f"run.{run.name}"
    prop = show.props.get(run.of)
    if prop is None:
        return
    if not isinstance(prop, GridProp):
        says = f"names the prop “{run.of}”, which draws no grid"
        yield _wrong("band", f"{where}.of", says, f"give [prop.{run.of}] area, columns, rows, lines and turns")
    elif run.band[1] > prop.line_count:
        says = f"ends at line {run.band[1]}, but prop {run.of} has {prop.line_count} {prop.lines}"
        yield _wrong("band", f"{where}.band", says, "correct the line numbers")


def _props(show: Show) -> Iterator[Finding]:
    owner: dict[str, str] = {}
    bands = show.bands
    for prop in show.props.values():
        for name in prop.runs:
            if owner.setdefault(name, prop.name) != prop.name:
                says = f"names run {name}, which prop {owner[name]} has already"
                remedy = "a run is part of one prop: take it out of one of them"
                yield _wrong("prop", f"prop.{prop.name}.runs", says, remedy)
        if isinstance(prop, GridProp):
            yield from _grid(prop, show, bands.get(prop.name, []))


def _grid(prop: GridProp, show: Show, bands: list[BandRun]) -> Iterator[Finding]:
    """What a grid's prop names that is no band of it, and lines that two bands take."""
    for name in prop.runs:
        known = show.runs.get(name)
        if known is not None and not (isinstance(known, BandRun) and known.of == prop.name):
            says = f"names run {name}, which is not a band of this grid"
            remedy = f'give [run.{name}] shape = "band" and of = "{prop.name}"'
            yield _wrong("band", f"prop.{prop.name}.runs", says, remedy)
    taken: dict[int, str] = {}
    for band in sorted((band for band in bands if band.same_data_as is None), key=lambda band: band.band):
        for line in range(band.band[0], min(band.band[1], prop.line_count) + 1):
            if other := taken.get(line):
                says = f"takes line {line} of {prop.name}, which {other} has already"
                yield _wrong("band", f"run.{band.name}.band", says, "each line of a grid is in one band")
                break
            taken[line] = band.name


def _feed(feed: Feed, show: Show) -> Iterator[Finding]:
    where = f"feed.{feed.name}"
    if feed.source is not None:
        source = show.feeds.get(feed.source)
        if source is not None and feed.tap is not None and feed.tap > len(source.taps):
            says = f"branches off at tap {feed.tap}, but feed {feed.source} has {len(source.taps)}"
            yield _wrong("tap", f"{where}.tap", says, "taps count from 1, from the supply outwards")
    for number, tap in enumerate(feed.taps, start=1):
        run = show.runs.get(tap.run)
        if run is None or (isinstance(run, BandRun) and run._line_length is None):
            continue
        if isinstance(tap.pixel, int) and tap.pixel > run.pixels:
            says = f"joins pixel {tap.pixel}, but run {run.name} has {run.pixels}"
            yield _wrong("tap", f"{where}.taps[{number}].pixel", says, f'write a pixel up to {run.pixels}, or "last"')


def _feed_loops(show: Show) -> Iterator[Finding]:
    branches = nx.DiGraph((feed.source, feed.name) for feed in show.feeds.values() if feed.source is not None)
    for loop in nx.simple_cycles(branches):
        says = f"feeds branch off each other in a ring: {' → '.join([*loop, loop[0]])}"
        yield _wrong("feed-ring", f"feed.{loop[0]}.from", says, "let one of them come from a supply")


def _circuits(show: Show) -> Iterator[Finding]:
    """Sockets of one circuit, or behind one residual-current device, of which different things are said that those have
    only once.
    """
    said: dict[tuple[str, str, str], tuple[Socket, Any]] = {}
    devices = rcd_names(show.sockets.values())
    for socket in show.sockets.values():
        circuit, device = socket.circuit_name, devices[socket.circuit_name]
        has_rcd = None if socket.rcd is None and socket.rcd_ma is None else bool(socket.rcd or socket.rcd_ma)
        own = {
            ("circuit", circuit, "volts"): socket.volts, ("circuit", circuit, "breaker"): socket.breaker,
            ("circuit", circuit, "rcd_name"): socket.rcd_name,
            ("device", device, "rcd_ma"): socket.rcd_ma, ("device", device, "rcd"): has_rcd,
        }  # fmt: skip
        for shared, value in ((shared, value) for shared, value in own.items() if value is not None):
            other, first = said.setdefault(shared, (socket, value))
            if first != value:
                same = other.circuit_name == circuit
                where = f"on the same circuit, {circuit}," if same else f"behind the same device, {device},"
                says = f"is {_word(value)}, and socket {other.name} {where} has {_word(first)}"
                remedy = "a circuit has one breaker and one residual-current device: correct one, or the circuit"
                yield _wrong("circuit", f"socket.{socket.name}.{shared[2]}", says, remedy)


def _word(value: float | bool | str) -> str:
    return value if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else f"{value:g}"
