"""How far each run may hang beside its place on the map: known from the other runs, as well as they know it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from patcher.clip.registration import Points
from patcher.faults import Takes
from patcher.film.camera_map import CameraMap, camera_map
from patcher.film.evidence import Evidence
from patcher.film.fit import Slack
from patcher.frames.film_code import Channels

LEAST = 0.2
"""Of the distance from pixel to pixel: no run is held to hang nearer to its place."""
UNKNOWN = Slack(0.12, 0.12)
"""Where nothing else tells where a run should be: it may be anywhere near, and a little turned."""
AS_STRAIGHT = 0.25
"""Of the distance from pixel to pixel: a map of others that bends a run by more does not reach as far as that run."""
FEWEST = 5
"""So many lights of a run say how it is displaced."""
SHARE = 0.08
"""A run with a greater share of all lights is left out of the map that it is held against."""
OTHERS = 40
"""So many lights of other runs make such a map."""
BEYOND = 0.03
"""By how much a map is off beyond its lights, as a part of the distance to them."""
UNEVEN, OFF = 4.0, 0.6
"""By how much a map is less sure than its lights would make it, for they are not off independently of each other;
points by which each is off at least, for no lens is as simple as its model."""


def slacks(
    seen: Evidence, shape: tuple[int, int], near: float, takes: Mapping[str, Takes]
) -> dict[str, tuple[Evidence, Slack]]:
    """For each run the evidence that it is held against, and how far it may be off there, as all take these data."""
    pixels = {run: seen.code.word_of(takes[run]) for run in seen.places}
    rows = {run: seen.rows(own)[0] for run, own in pixels.items()}
    total = sum(len(own) for own in rows.values())
    found: dict[str, tuple[Evidence, Slack]] = {}
    displaced = {run: _displaced(seen, run, pixels[run]) for run in seen.places}
    known = {run: off for run, off in displaced.items() if off is not None}
    for run in seen.places:
        others = [off for name, off in known.items() if name != run]
        here, there = _of_others(seen, pixels, run)
        own = _held_against(seen, here, there, shape, near, needed=len(rows[run]) > SHARE * total)
        if len(others) < 2 or own is None:
            found[run] = seen, UNKNOWN
            continue
        if _bent(own, seen, run) > AS_STRAIGHT * seen.pitch[run]:
            found[run] = seen, Slack(UNKNOWN.shift)
            continue
        usual = 1.5 * float(np.median(np.hypot(*np.array(others).T)))
        middle = seen.places[run].mean(axis=0, keepdims=True)
        off = float(unsure(own.map, here, there, middle)[0]) + float(beyond(here, seen.places[run]).max())
        least = LEAST * seen.pitch[run]
        found[run] = own, Slack(float(np.hypot(np.hypot(least, usual), off)))
    return found


def _held_against(
    seen: Evidence, here: Points, there: Points, shape: tuple[int, int], near: float, *, needed: bool
) -> Evidence | None:
    """The evidence with a map of other runs' lights, where one is needed; None where those give none."""
    if len(here) < OTHERS:
        return None
    if not needed:
        return seen
    without = camera_map(here, there, shape, near, seen.map.bend)
    return None if without is None or not without.upright() else replace(seen, map=without, of_all=seen.map)


def _bent(own: Evidence, seen: Evidence, run: str) -> float:
    """By how many metres, on the mean of squares, two maps put a run into two shapes, be it displaced, stretched or
    turned.
    """
    places = seen.places[run]
    there = own.map.plan(seen.map.picture(places))
    table = np.column_stack([np.ones(len(places)), places])
    off = there - table @ np.linalg.lstsq(table, there, rcond=None)[0]
    return float(np.sqrt((off**2).sum(axis=1).mean()))


def _displaced(seen: Evidence, run: str, pixels: Channels) -> Points | None:
    """By how much most lights of a run are beside their places; None where too few tell."""
    rows, which = seen.rows(pixels)
    if len(rows) < FEWEST:
        return None
    away = seen.at[rows] - seen.places[run][which]
    near = away[np.hypot(*away.T) < 20 * seen.pitch[run]]
    return np.asarray(np.median(near, axis=0)) if len(near) >= FEWEST else None


def _of_others(seen: Evidence, pixels: Mapping[str, Channels], run: str) -> tuple[Points, Points]:
    """Places and points of the lights of all other runs that are about where they are planned."""
    here: list[Points] = [np.empty((0, 2))]
    there: list[Points] = [np.empty((0, 2))]
    for name, own in pixels.items():
        if name != run:
            rows, which = seen.rows(own)
            close = np.hypot(*(seen.at[rows] - seen.places[name][which]).T) < 0.5
            here.append(seen.places[name][which[close]])
            there.append(seen.lights.at[rows[close]])
    return np.concatenate(here), np.concatenate(there)


def unsure(found: CameraMap, here: Points, there: Points, at: Points) -> NDArray[np.float64]:
    """By how many metres a map may be off at some places, as its own lights leave it unsure: shape (places,).

    Args:
        found: the map.
        here, there: of its lights, in metres and in points of the picture.
        at: the places.
    """
    off = found.picture(here) - there
    spread = max(OFF, float(np.median(np.hypot(*off.T))))
    middle, size = here.mean(axis=0), float(here.std()) or 1.0
    table = _quadratic((here - middle) / size)
    normal = table.T @ table + 1e-6 * np.eye(table.shape[1])
    where = _quadratic((at - middle) / size)
    error = spread * np.sqrt(np.einsum("ni,ij,nj->n", where, np.linalg.inv(normal), where))
    step = 1e-3
    scale = np.hypot(*(found.picture(at + np.array([step, 0.0])) - found.picture(at)).T) / step
    return np.asarray(UNEVEN * error / np.maximum(1e-6, scale), dtype=np.float64)


def beyond(here: Points, at: Points) -> NDArray[np.float64]:
    """By how many metres a map may be off at each of some places, for they lie outside the box around its lights."""
    low, high = here.min(axis=0), here.max(axis=0)
    return np.asarray(BEYOND * np.maximum(np.maximum(low - at, at - high), 0).max(axis=1), dtype=np.float64)


def _quadratic(at: Points) -> Points:
    """What a projective map may do, as far as it is small: a shift, a linear map, and two quadratic terms."""
    x, y = at.T
    return np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
