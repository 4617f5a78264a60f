"""What the page shows of a show file: where everything is in metres, what the program knows, what is wrong and where.

A file with mistakes is shown as far as it can be read: the page is where they are mended.
"""

from __future__ import annotations

import math
import tomllib
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np

from patcher.draw.draft import read_picture
from patcher.errors import Finding, PatcherError
from patcher.lead_ways import lead_ways
from patcher.limits import findings, refresh
from patcher.limits.lengths import too_short
from patcher.patch.changes import run_changes, start_changes
from patcher.patch.patch import Patch
from patcher.patch.patch_file import read_patch
from patcher.phone.state import in_words
from patcher.photo_map import PhotoMap, agreement, photo_map
from patcher.picture_size import picture_size
from patcher.power import shortfalls
from patcher.power.flow import Power, power
from patcher.power.stretches import taken_pixels
from patcher.shapes import Positions, positions
from patcher.show.likeness import expanded, sources
from patcher.show.line_numbers import located
from patcher.show.parser import read
from patcher.show.run_tables import ArchRun, BandRun, GridRun, LineRun, LoopRun, PathRun, PointsRun, Run
from patcher.show.schema import GridProp, Show
from patcher.show.show_file import read_points
from patcher.units import METRES_PER
from patcher.wiring import Wiring, port_name, problems, wire

MILLI = 3
"""Decimals of a metre that a page is told."""
VOLTS = 40
"""So many stretches of a run are coloured by their volts."""
TENSE = 0.5
"""Volts above the least that are few."""
PLACES = {LineRun: "path", LoopRun: "corners", ArchRun: "feet", GridRun: "area", PointsRun: "at"}
"""The key of each shape that holds its places."""
Json = dict[str, Any]


def view(path: Path, text: str) -> Json:
    """All that a page is told of a text of the show file at `path`."""
    folder = path.resolve().parent
    try:
        parsed = read(text, lambda name: read_points(folder, name), path.name)
    except PatcherError as error:
        return {"readable": False, "findings": [_finding(one, None) for one in error.findings]}
    show, found = parsed.show, list(parsed.findings)
    raw = tomllib.loads(text)
    whole, _ = expanded(raw, lambda name: read_points(folder, name))
    if show is None:
        return {"readable": False, "findings": [_finding(one, None) for one in found]}
    wiring = wire(show)
    found += problems(wiring, complete=not found)
    kept, patch, state = _kept(path), None, None
    if not found:
        with suppress(PatcherError):
            state = power(wiring) if shortfalls.described(show) else None
        patch, found = findings.check(wiring, kept, state=state)
    edges = _edges(patch)
    return {
        "readable": True, "title": show.settings.title, "units": show.settings.units,
        "metre": METRES_PER[show.settings.units], "kinds": [*show.pixel_types],
        "pitches": {name: kind.pitch for name, kind in show.pixel_types.items() if kind.pitch},
        "runs": {
            name: _run(show, name, raw, edges.get(name, []), state) | {"has": _table(whole, "run", name)}
            for name in show.runs
        },
        "props": {name: _prop(show, name, raw) | {"has": _table(whole, "prop", name)} for name in show.props},
        "boxes": {name: _box(wiring, name, raw) for name in show.controllers},
        "supplies": {name: _table(raw, "supply", name) for name in show.supplies},
        "feeds": {name: _table(raw, "feed", name) for name in show.feeds},
        "routes": {name: _route(show, name) for name in show.routes},
        "ports": [*_ports(wiring)] if patch is not None else [],
        "photo": _photo(show, folder), "leads": [*leads(wiring)], "wires": [*_wires(show)],
        "findings": [_finding(one, show) for one in located(found, text)],
        "patch": _changes(kept, patch, show),
        "pixels": sum(run.pixels for run in show.runs.values() if not isinstance(run, BandRun) or run.has_grid),
    }  # fmt: skip


def _photo(show: Show, folder: Path) -> Json | None:
    """The photograph: its size, how its points become metres, and how well the measured spans agree with that.

    Before anything is known of its scale a hundred points are taken for a metre.
    """
    photo = show.settings.photo
    if photo is None:
        return None
    try:
        octets, _ = read_picture(folder, photo.file)
    except PatcherError as error:
        return {"file": photo.file, "problem": in_words(error)}
    wide, high = size = picture_size(octets)
    found = photo_map(photo, size)
    matrix = found.matrix if found is not None else np.array([[0.01, 0, 0], [0, -0.01, 0.01 * high], [0, 0, 1.0]])
    corners = PhotoMap(matrix).metres(np.array([[0.0, 0.0], [wide, 0.0], [wide, high], [0.0, high]]))
    return {
        "file": photo.file, "size": [wide, high], "matrix": [float(part) for part in matrix.ravel()],
        "known": found is not None, "stamp": zlib.crc32(octets),
        "corners": [_spot(corner) for corner in corners if np.isfinite(corner).all()],
        "table": photo.model_dump(by_alias=True, exclude_none=True, mode="json"),
        "spans": [
            {
                "at": [_spot(end) for end in PhotoMap(matrix).metres(np.array([span.begin, span.end]))],
                "length": span.length, "percent": round(own.percent, 1) if math.isfinite(own.percent) else None,
            }
            for span, own in zip(photo.spans, agreement(photo, size), strict=False)
        ],
    }  # fmt: skip


def _kept(path: Path) -> Patch | None:
    with suppress(PatcherError):
        return read_patch(path)
    return None


def _rounded(places: Any) -> list[float]:
    return [float(value) for value in np.round(np.asarray(places, dtype=float), MILLI).ravel()]


def _spot(place: Sequence[float]) -> list[float]:
    return [round(float(part), MILLI) for part in place]


def _table(raw: Mapping[str, Any], kind: str, name: str) -> Json:
    """What a table says itself, as plain values."""
    own = raw.get(kind, {}).get(name, {})
    return {key: value for key, value in own.items() if isinstance(value, str | int | float | bool)}


def _run(show: Show, name: str, raw: Mapping[str, Any], edges: list[list[int]], state: Power | None) -> Json:
    run = show.runs[name]
    at = positions(show, run)
    corners = places_of(run)
    return {
        "shape": run.shape_name, "model": type(run).__name__, "own": _table(raw, "run", name),
        "like": sources(raw, "run").get(name), "hung": run.hung,
        "of": run.of if isinstance(run, BandRun) else None,
        "at": [] if at is None else _rounded(at), "corners": [_spot(corner) for corner in corners],
        "pixels": 0 if isinstance(run, BandRun) and not run.has_grid else run.pixels,
        "tall": run.height if isinstance(run, ArchRun) else None,
        "entries": _entries(run, at), "way": _way(run, corners), "edges": edges,
        "volts": _volts(show, run, state),
    }  # fmt: skip


def _entries(run: Run, at: Positions | None) -> list[Json]:
    """Where data may enter a run: the word for it in the file, where that is, and whether it is so now."""
    if at is None or not len(at):
        return []
    if isinstance(run, GridRun | BandRun):
        (x0, y0), (x1, y1) = at.min(axis=0), at.max(axis=0)
        where = {"bottom-left": (x0, y0), "bottom-right": (x1, y0), "top-left": (x0, y1), "top-right": (x1, y1)}
        return [_entry(corner, place, now=corner == run.data_in) for corner, place in where.items()]
    if isinstance(run, LoopRun):
        every = zip(run.corner_places, run.corners, strict=True)
        return [_entry(place, corner, now=place == run.entry) for place, corner in every]
    if isinstance(run, PathRun):
        ends = (at[0], at[-1]) if run.data_in == "first" else (at[-1], at[0])
        return [_entry(word, end, now=word == run.data_in) for word, end in zip(("first", "last"), ends, strict=True)]
    return []


def _entry(value: str | int, at: Any, *, now: bool) -> Json:
    return {"value": value, "at": _spot(at), "now": now}


def places_of(run: Any) -> Sequence[tuple[float, float]]:
    """The places that a run's or grid's table holds, in metres; none of a points file."""
    if isinstance(run, PointsRun) and run.file is not None:
        return ()
    key = next((key for kind, key in PLACES.items() if isinstance(run, kind)), None)
    return getattr(run, key) if key else ()


def _way(run: Run, corners: Sequence[tuple[float, float]]) -> Json | None:
    """How long a run along a path is, and how far its pixels are apart, in metres."""
    if not isinstance(run, LineRun | LoopRun):
        return None
    path = np.array([*corners, corners[0]] if isinstance(run, LoopRun) else corners)
    length = float(np.hypot(*np.diff(path, axis=0).T).sum())
    steps = run.drawn if isinstance(run, LoopRun) else run.drawn - 1
    return {"length": round(length, MILLI), "pitch": round(length / steps, 4) if steps else None}


def _edges(patch: Patch | None) -> dict[str, list[list[int]]]:
    """For each run the pixels with which a universe begins inside it, with that universe."""
    found: dict[str, list[list[int]]] = {}
    for span in patch.spans() if patch is not None else ():
        found.setdefault(span.run, []).append([span.first_pixel, span.universe])
    return found


def _volts(show: Show, run: Run, state: Power | None) -> list[list[float]]:
    """Volts along a run: the pixel with which each stretch begins, from 1, and how far it is above the least, as 0 for
    too few, 1 for few, 2 for enough.
    """
    least = show.type_of(run).min_volts
    if state is None or least is None or not run.hung or run.name not in state.circuit.runs:
        return []
    volts = state.volts(run.name)
    if np.isnan(volts).any():
        return []
    begins = np.unique(np.linspace(0, len(volts) - 1, min(VOLTS, len(volts))).astype(int))
    found: list[list[float]] = []
    for at in begins.tolist():
        value = float(volts[at])
        grade = 0 if value < least else 1 if value < least + TENSE else 2
        found.append([at + 1, grade, round(value, 2)])
    return found


def _prop(show: Show, name: str, raw: Mapping[str, Any]) -> Json:
    prop = show.props[name]
    return {
        "runs": list(show.prop_runs().get(name, ())), "own": _table(raw, "prop", name),
        "like": sources(raw, "prop").get(name),
        "corners": [_spot(corner) for corner in prop.area] if isinstance(prop, GridProp) else [],
    }  # fmt: skip


def _box(wiring: Wiring, name: str, raw: Mapping[str, Any]) -> Json:
    box = wiring.show.controllers[name]
    chains = _chains(wiring, name)
    return {
        "at": None if box.at is None else _spot(box.at), "ports": box.ports, "spare": box.spare,
        "chains": [list(chains.get(port, ())) for port in range(1, box.ports + 1)],
        "own": _table(raw, "controller", name),
    }  # fmt: skip


def _route(show: Show, name: str) -> Json:
    path = np.array(show.routes[name].path)
    length = round(float(np.hypot(*np.diff(path, axis=0).T).sum()), MILLI)
    return {"corners": [_spot(corner) for corner in path], "length": length}


def _chains(wiring: Wiring, box: str) -> dict[int, tuple[str, ...]]:
    """The chains of a box; none where the file hangs runs in a ring."""
    return wiring.of_controller(box) if nx.is_directed_acyclic_graph(wiring.graph) else {}


def _ports(wiring: Wiring) -> Iterator[Json]:
    for time in refresh.port_times(wiring):
        box = wiring.show.controllers[time.controller]
        yield {
            "port": port_name(time.controller, time.port), "pixels": time.pixels, "most": box.port_pixels,
            "frame_ms": round(time.frame_ms, 2), "period_ms": round(1000 / wiring.show.settings.frame_rate, 2),
        }  # fmt: skip


def leads(wiring: Wiring) -> Iterator[Json]:
    """Every lead of which both ends have a place: the corners of its way, how long it is, how far that is."""
    show, ways = wiring.show, lead_ways(wiring.show)
    drawn = {name: at for name, run in show.runs.items() if (at := positions(show, run)) is not None}
    for name, box in show.controllers.items():
        for port, chain in _chains(wiring, name).items():
            before = box.at
            for run in chain:
                if run in drawn and before is not None:
                    end = float(drawn[run][0][0]), float(drawn[run][0][1])
                    way, lead = ways.way(before, end), show.runs[run].lead
                    yield {
                        "run": run, "port": port_name(name, port), "from": _spot(before), "to": _spot(end),
                        "places": [_spot(place) for place in way.corners], "length": round(lead, MILLI),
                        "way": round(way.metres, MILLI), "short": too_short(lead, way.metres),
                    }  # fmt: skip
                before = (float(drawn[run][-1][0]), float(drawn[run][-1][1])) if run in drawn else None


def _wires(show: Show) -> Iterator[Json]:
    """Every feed, with the places of its taps."""
    for name, feed in show.feeds.items():
        supply = show.supplies.get(feed.supply or "")
        box = show.controllers.get(supply.box or "") if supply is not None else None
        places = [] if box is None or box.at is None else [_spot(box.at)]
        joints: list[list[float]] = []
        for tap in feed.taps:
            run = show.runs.get(tap.run)
            at = None if run is None else positions(show, run)
            pixels = [pixel for pixel in taken_pixels(tap, len(at)) if pixel <= len(at)] if at is not None else []
            if at is not None and pixels:  # from tap to tap the wire follows the run
                places += [_spot(place) for place in at[pixels[0] - 1 : pixels[-1]]]
                joints += [_spot(at[pixel - 1]) for pixel in pixels]
        yield {"feed": name, "places": places, "joints": joints, "runs": [*dict.fromkeys(tap.run for tap in feed.taps)]}


def _finding(finding: Finding, show: Show | None) -> Json:
    """A finding, and the thing of the show that it is about."""
    parts = finding.where.split(".")
    known = () if show is None else (show.runs, show.props, show.controllers, show.supplies, show.feeds, show.routes)
    names = [part.split("/")[0] for part in (*parts[1:2], *parts[:1])]
    thing = next((name for name in names if any(name in tables for tables in known)), "")
    return {
        "severity": finding.severity, "where": finding.where, "says": finding.says, "try": finding.remedy,
        "accepted": finding.accepted, "line": finding.line, "thing": thing,
    }  # fmt: skip


def _changes(kept: Patch | None, patch: Patch | None, show: Show) -> Json:
    """What a new patch would change of what is kept."""
    if patch is None:
        return {"kept": kept is not None, "type": [], "tell": 0, "universes": 0}
    boxes = dict.fromkeys(change.controller for change in start_changes(kept, patch, show))
    return {
        "kept": kept is not None, "type": [*boxes], "tell": len(run_changes(kept, patch)),
        "universes": len(patch.universes),
    }  # fmt: skip
