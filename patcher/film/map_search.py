"""The map of a clip: the one on which most lights are where the plan has them, upright and not mirrored.

Most runs are wired as planned, and agree on it. Where they do not, single faults of whole runs are tried first: one
panel that is entered at another corner would else be taken for a picture in a mirror.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from patcher.clip.lights import Lights
from patcher.clip.registration import Points, moved
from patcher.faults import Takes
from patcher.film.camera_map import FEWEST, CameraMap, camera_map
from patcher.film.shape_map import shape_map
from patcher.frames.film_code import Code

TWICE = 6
"""So many words that play in two places tell which of the two is a reflection."""
ENOUGH = 0.7
"""The part of all words of drawn pixels whose lights must agree, so that nothing else is tried."""
MIRRORED = 0.8
"""Of the words of reflections, such a part at least is seen directly, too."""
MOST_LIKELY = 12
"""So many wirings are tried whole."""


def pairs(
    takes: Mapping[str, Takes], places: Mapping[str, Points], code: Code, lights: Lights
) -> tuple[Points, Points, NDArray[np.bool_]]:
    """The places of pixels that take this, the points at which their words light, and which lights those are; words of
    two pixels are left out.
    """
    at = np.full((len(code.first), 2), np.nan)
    count = np.zeros(len(code.first), dtype=int)
    for run, own in places.items():
        pixel = code.word_of(takes[run])
        has = pixel >= 0
        at[pixel[has]] = own[has]
        np.add.at(count, pixel[has], 1)
    at[count != 1] = np.nan
    there = at[lights.pixel]
    known = ~np.isnan(there[:, 0])
    return there[known], lights.at[known], known


def best_map(
    wirings: Iterable[Mapping[str, Takes]],
    places: Mapping[str, Points],
    code: Code,
    lights: Lights,
    shape: tuple[int, int],
) -> CameraMap | None:
    """The best map under any of some wirings, the first of which is the plan; else the one by the lights' shape; None
    where there is none.
    """
    near = max(1.5, 0.35 * spacing(lights))
    best, most = None, 0
    for takes in _likely(wirings, places, code, lights, near):
        here, there, known = pairs(takes, places, code, lights)
        found, agree = _direct(here, there, lights.of(known), shape, near)
        if found is not None and agree > most:
            best, most = found, agree
        if most > ENOUGH * len(np.unique(lights.pixel[known])):
            break
    return best or shape_map(places, lights.at, shape, spacing(lights), near)


def _direct(
    here: Points, there: Points, lights: Lights, shape: tuple[int, int], near: float
) -> tuple[CameraMap | None, int]:
    """The map of some lights, upright and of no reflection, and how many agree on it. As many may be mirrored in a wet
    ground as are seen: where those agree on a map, that of all others is made.
    """
    least = 0.0
    while True:
        found = camera_map(here, there, shape, near)
        if found is None:
            return None, 0
        close = np.hypot(*(found.picture(here) - there).T) < 2 * near
        if close.sum() < least:
            return None, 0
        if found.upright() and not _reflected(lights, close):
            return found, int(close.sum())
        if least or np.isin(lights.pixel[close], lights.pixel[~close]).mean() < MIRRORED:
            return None, 0
        least = MIRRORED * float(close.sum())
        here, there, lights = here[~close], there[~close], lights.of(np.flatnonzero(~close))


def _likely(
    wirings: Iterable[Mapping[str, Takes]],
    places: Mapping[str, Points],
    code: Code,
    lights: Lights,
    near: float,
) -> Iterator[Mapping[str, Takes]]:
    """The first wiring, and those others with which most lights lie as a quick look has it: a whole map of each of a
    thousand would take minutes.
    """
    each = iter(wirings)
    yield from islice(each, 1)
    counted: list[tuple[int, int, Mapping[str, Takes]]] = []
    for number, takes in enumerate(each):
        here, there, _ = pairs(takes, places, code, lights)
        counted.append((-_agree(here, there, near), number, takes))
    yield from (takes for _, _, takes in sorted(counted, key=lambda one: one[:2])[:MOST_LIKELY])


def _agree(here: Points, there: Points, near: float) -> int:
    """How many lights agree on a projective map, about: of some of them, without a lens."""
    import cv2

    if len(here) < FEWEST or np.linalg.matrix_rank(here - here.mean(axis=0), tol=1e-3) < 2:
        return 0
    some = slice(None, None, max(1, len(here) // 400))
    found, close = cv2.findHomography(here[some], there[some], cv2.RANSAC, 4 * near, maxIters=500)[0], np.empty(0, bool)
    for limit in (4 * near, 2 * near, 2 * near):
        if found is None:
            return 0
        close = np.hypot(*(moved(np.asarray(found, dtype=np.float64), here) - there).T) < limit
        if close.sum() < FEWEST:
            return 0
        found = cv2.findHomography(here[close], there[close], 0)[0]
    return int(close.sum())


def _reflected(lights: Lights, agree: NDArray[np.bool_]) -> bool:
    """Whether lights that agree on a map are the reflections of brighter ones with the same words."""
    others = np.zeros(int(lights.pixel.max(initial=-1)) + 1)
    np.maximum.at(others, lights.pixel[~agree], lights.flux[~agree])
    rival = others[lights.pixel[agree]]
    twice = rival > 0
    return bool(twice.sum() >= TWICE and np.median(lights.flux[agree][twice] / rival[twice]) < 1)


def spacing(lights: Lights) -> float:
    """Points from a light to the next, the median."""
    from scipy.spatial import cKDTree

    if len(lights) < 2:
        return 4.0
    away = cKDTree(lights.at).query(lights.at, k=2)[0][:, 1]
    return float(np.median(away[away > 0.5])) if (away > 0.5).any() else 4.0
