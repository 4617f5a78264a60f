"""The light of each planned place by itself, though places lie closer than the picture can part them.

Where the plan's places are in the picture is known from the map. What the picture shows is then the sum of their
lights, each spread by the lens: least squares part them. Places that lie on each other are one *site*.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.clip.cube import SCALE, Cube
from patcher.clip.registration import Points
from patcher.clip.spots import Series

SPREADS = (0.7, 0.85, 1.0, 1.2, 1.45, 1.8, 2.2)
"""Points: standard deviations of the spread of a light that are tried."""
TOGETHER = 0.45
"""Points within which places are one site."""
REACH = 3
"""Points around a site that its light reaches."""
DAMPED = 0.02
"""How much a light is held back, as a part of what it would be by itself: so that two very near ones do not swing
against each other."""
SOME_BINS = 24
FULL = 235
"""Grey levels from which on a camera makes a light no brighter, and takes it for whiter than it is."""


@dataclass(frozen=True, eq=False)
class Sites:
    """Sites and their light.

    Attributes:
        at: points of the picture: shape (sites, 2).
        light: of each in each bin: shape (sites, bins, 3).
        tint: the same by those points alone that are never too bright for the camera: there a light has its own colour.
        spread: points by which a light is spread.
    """

    at: Points
    light: Series
    tint: Series
    spread: float


def together(points: Points) -> Points:
    """Points with those that lie on each other as one: shape (sites, 2)."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(points).query_pairs(TOGETHER, output_type="ndarray")
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    count, label = connected_components(graph, directed=False)
    sums = np.stack([np.bincount(label, points[:, axis], count) for axis in (0, 1)], axis=1)
    found: Points = sums / np.bincount(label, minlength=count)[:, None]
    return found


def parted(cube: Cube, points: Points, counted: NDArray[np.int64] | None = None) -> Sites:
    """The light of each of some points of the picture by itself.

    Args:
        cube: the clip.
        points: of the picture.
        counted: the clip's bins that tell where it is too bright; None: all.
    """
    at = together(points[_inside(cube, points)])
    if not len(at):
        none = np.zeros((0, len(cube.values), 3), dtype=np.float32)
        return Sites(at, none, none, SPREADS[0])
    some = np.linspace(0, len(cube.values) - 1, SOME_BINS).astype(int)
    mean = cube.values.mean(axis=0, dtype=np.float32)
    change = (cube.values[some] - mean).transpose(1, 0, 2).reshape(len(mean), -1)
    every = np.ones(len(mean), dtype=bool)
    tried = [(_left(cube, at, spread, change, every), spread) for spread in SPREADS]
    spread = min(tried)[1]
    full = cube.values[slice(None) if counted is None else counted].max(axis=(0, 2)) > FULL * SCALE
    light = _light(cube, at, spread, mean, every)
    return Sites(at, light, _light(cube, at, spread, mean, ~full) if full.any() else light, spread)


def _light(cube: Cube, at: Points, spread: float, mean: NDArray[np.float32], use: NDArray[np.bool_]) -> Series:
    """The light of each site in each bin, by those of the kept points that are of use."""
    table, solve = _solver(cube, at, spread, use)
    light = np.zeros((len(at), len(cube.values), 3), dtype=np.float32)
    for number, values in enumerate(cube.values):
        light[:, number] = solve(table.T @ ((values - mean) / SCALE))
    return light


def _inside(cube: Cube, points: Points) -> NDArray[np.bool_]:
    high, wide = cube.shape
    return (points[:, 0] > 1) & (points[:, 1] > 1) & (points[:, 0] < wide - 2) & (points[:, 1] < high - 2)


def _left(cube: Cube, at: Points, spread: float, change: NDArray[np.float32], use: NDArray[np.bool_]) -> float:
    """What is left of some changes of the picture once the sites have taken theirs."""
    table, solve = _solver(cube, at, spread, use)
    return float(((change - table @ solve(table.T @ change)) ** 2).sum())


def _solver(cube: Cube, at: Points, spread: float, use: NDArray[np.bool_]):  # type: ignore[no-untyped-def]
    """How each site's light falls on the kept points, and what solves for the lights."""
    from scipy.sparse import csr_matrix, identity
    from scipy.sparse.linalg import splu

    side = np.arange(-REACH, REACH + 1)
    high, wide = cube.shape
    near = np.round(at).astype(int)
    x = (near[:, 0, None, None] + side[None, None, :]).clip(0, wide - 1)
    y = (near[:, 1, None, None] + side[None, :, None]).clip(0, high - 1)
    x, y = np.broadcast_arrays(x, y)
    which = cube.number[y, x].reshape(len(at), -1)
    off = (x - at[:, 0, None, None]) ** 2 + (y - at[:, 1, None, None]) ** 2
    falls = np.exp(-off / (2 * spread**2)).reshape(len(at), -1)
    has = (which >= 0) & use[which]
    site = np.repeat(np.arange(len(at)), has.sum(axis=1))
    table = csr_matrix((falls[has], (which[has], site)), shape=(len(cube.rows), len(at)))
    normal = (table.T @ table).tocsc()
    own = float(normal.diagonal().mean()) or 1.0
    return table, splu(normal + DAMPED * own * identity(len(at), format="csc")).solve
