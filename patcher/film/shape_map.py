"""The map of a clip by the shape of its lights alone, whatever they play: where so much is wired wrongly that no words
are where the plan has them, each light still hangs at some place of it.

Source: P. J. Besl and N. D. McKay, "A method for registration of 3-D shapes", IEEE Transactions on Pattern Analysis and
Machine Intelligence 14, 1992 (each point goes with the nearest; the map is fitted to those pairs, and again).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from scipy.spatial import cKDTree

from patcher.clip.registration import Points
from patcher.film.camera_map import FEWEST, CameraMap, fitted

ROUNDS, PAIRED, PLACED = 12, (0.7, 0.35), 0.25
"""So often lights and places are paired anew; of the distance from light to light: what is further apart is no pair, at
first and then; a light that is nearer is at the place. (In a grid no light is further from a place than 0.71.)"""
AT_PLACES, LIT_PLACES = 0.93, 0.8
"""Of the lights so many must be at places, and of the places in the picture so many must have a light."""
BESIDE = 0.5
"""A map that lies by one pixel to a side must bring so many lights less to places, in pixels of the shorter side."""


def shape_map(
    places: Mapping[str, Points], lights: Points, shape: tuple[int, int], spacing: float, near: float
) -> CameraMap | None:
    """The map that brings lights to places, upright; None where there is none, or where it might lie by a pixel to a
    side.

    Args:
        places: of each run, in metres.
        lights: points of the picture.
        shape: height and width of the picture.
        spacing: points from a light to the next.
        near: points by which a light is off that does not count in full.
    """
    every = np.unique(np.round(np.concatenate(list(places.values())), 3), axis=0)
    if min(len(lights), len(every)) < FEWEST:
        return None
    found = _begun(every, lights, shape)
    if found is None:
        return None
    for number in range(ROUNDS):
        off, at = cKDTree(found.picture(every)).query(lights)
        paired = off < PAIRED[number >= ROUNDS // 2] * spacing
        if paired.sum() < AT_PLACES / 2 * len(lights):
            return None
        found = fitted(found, every[at[paired]], lights[paired], near, lens=number >= ROUNDS // 2)
    there = found.picture(every)
    here = _at_places(there, lights, PLACED * spacing)
    inside = ((there > 0) & (there < np.array(shape[::-1]))).all(axis=1)
    lit = cKDTree(lights).query(there[inside])[0] < PLACED * spacing
    if here < AT_PLACES * len(lights) or lit.mean() < LIT_PLACES or not found.upright():
        return None
    least = here - BESIDE * np.sqrt(len(every)) / 2
    moved = (found.picture(every + step) for step in _steps(places))
    return found if all(_at_places(there, lights, PLACED * spacing) < least for there in moved) else None


def _begun(every: Points, lights: Points, shape: tuple[int, int]) -> CameraMap | None:
    """The map that takes the four corners of the plan to those of the lights."""
    import cv2

    here, there = _corners(every), _corners(lights * [1, -1]) * [1, -1]
    if any(np.linalg.matrix_rank(three - three[0], tol=1e-6) < 2 for four in (here, there) for three in _threes(four)):
        return None
    matrix = cv2.getPerspectiveTransform(here.astype(np.float32), there.astype(np.float32))
    high, wide = shape
    middle, size = np.array([wide - 1, high - 1]) / 2, float(np.hypot(wide, high)) / 2
    return CameraMap(np.asarray(matrix, dtype=np.float64), middle, size)


def _corners(points: Points) -> Points:
    """The points that lie furthest to the four corners."""
    return np.array([points[(points @ way).argmax()] for way in ([-1, -1], [1, -1], [1, 1], [-1, 1])])


def _threes(four: Points) -> Iterator[Points]:
    for left_out in range(4):
        yield np.delete(four, left_out, axis=0)


def _at_places(there: Points, lights: Points, limit: float) -> int:
    """How many lights are at places, of which these are the points."""
    return int((cKDTree(there).query(lights)[0] < limit).sum())


def _steps(places: Mapping[str, Points]) -> Iterator[Points]:
    """By how much a map may lie beside the right one, to either side: the commonest steps from pixel to pixel."""
    every = np.concatenate([np.diff(own, axis=0) for own in places.values()])
    kinds, counts = np.unique(np.round(every, 2), axis=0, return_counts=True)
    for step in kinds[np.argsort(-counts)][:4]:
        yield from (step, -step)
    _, near = cKDTree(stacked := np.concatenate(list(places.values()))).query(stacked[: len(stacked) // 2], k=5)
    beside = stacked[near[:, 1:]] - stacked[near[:, :1]]
    kinds, counts = np.unique(np.round(beside.reshape(-1, 2), 2), axis=0, return_counts=True)
    for step in kinds[np.argsort(-counts)][:4]:
        yield from (step, -step)
