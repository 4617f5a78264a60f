"""How each frame of a clip lies on its first one: the camera shakes, and pixels blink.

Each frame is laid on the one before by phase correlation, and from there on the mean of all so far: around each bright
point a patch tells by how much it is off, whatever its brightness. The mean alone would slip by a pixel on a grid; the
frame before alone would drift.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.clip.video import Picture

Points = NDArray[np.float64]
Matrix = NDArray[np.float64]
Grey = NDArray[np.float32]

MOST_PATCHES = 700
"""So many patches are enough to lay a frame."""
RADIUS = 3
"""Points from a patch's middle to its edge."""
FEWEST = 8
"""So many patches lay a frame by a turn, a scale and a shift; `FULL` of them tell its perspective, too."""
FULL = 300
ROUNDS = 2
REACH = 1.5
"""Points; what says that it is off by more is not believed."""
GOOD = 0.35
"""A patch is found where it is off by no more than that in the end; of a good frame so large a part is. (In a dense
grid patches differ much among themselves, for their neighbours blink; their mean does not.)"""
NOISE, LEAST = 7.0, (3.0, 15.0)
"""So many times what most points are brighter or darker than what is around them is no noise; grey levels that this is
held to be at least, and at most: in a dense grid most points are lights."""
NEIGHBOURS, SAME_STEP, SHARED, CLEARLY, COARSE = 8, 1.0, 0.5, 0.02, 5.0
"""So many neighbours of each point are looked at; steps are the same that differ by so many points; such a part of all
points must share one in a grid. By so much better patches must go with a frame, on the mean, if it lies a step beside;
this is asked where they are so many points apart.
"""
FEW, TWICE, FAINT = 6, 2.0, 0.45
"""In the mean of so few frames, where no greater a part of the points is so many times as bright as they must be, the
others are noise."""
MAPS = (1, 6, 24, 90, 240)
"""Frames after which patches are chosen anew."""
EVERY, SOME = 48, 6
"""So many frames are all part of the mean; of those after them every sixth is."""
BANDS = 8
"""Bands, from top to bottom, whose changes are told apart."""
NEARLY = [(0, 0), *((x, y) for x in (-2, 0, 2) for y in (-2, 0, 2) if x or y)]
"""Points by which a frame may lie beside where it is known to lie nearly."""
FINE = 600
"""Points of height from which on a picture is halved, and halved again, before it is laid on the one before."""


@dataclass(frozen=True, slots=True)
class Laid:
    """A frame on the first one.

    Attributes:
        time: seconds.
        matrix: takes points of the first frame to points of this one: shape (3, 3).
        part: how many of the patches are found in it, 0 to 1.
        moved: points by which it has moved since the frame before.
        change: how much its bright points have changed since the frame before, in each of `BANDS` bands from its top to
            its bottom; empty where that is not known.
    """

    time: float
    matrix: Matrix
    part: float
    moved: float
    change: NDArray[np.float64]

    @property
    def good(self) -> bool:
        """Whether it is of use."""
        return self.part >= GOOD


def brightest(picture: Picture) -> Picture:
    """The brightest of red, green and blue at each point: a blue pixel counts as much as a green one."""
    found = np.maximum(picture[..., 0], picture[..., 1])
    return np.maximum(found, picture[..., 2], out=found)


def peaks(grey: Grey, most: int, least: float) -> Points:
    """Bright points of a picture, brightest first: shape (points, 2), x and y, to a part of a point.

    Args:
        grey: shape (height, width).
        most: how many at most.
        least: by how much one must be brighter than what is around it.
    """
    import cv2

    smooth = cv2.GaussianBlur(grey, (0, 0), 0.7)
    above = smooth - cv2.blur(grey, (17, 17))
    top = (cv2.dilate(above, np.ones((3, 3), np.uint8)) == above) & (above >= least)
    top[[0, -1]] = False
    top[:, [0, -1]] = False
    rows, columns = np.nonzero(top)
    strength = above[rows, columns]
    if len(rows) > most:
        kept = np.argpartition(strength, -most)[-most:]
        rows, columns, strength = rows[kept], columns[kept], strength[kept]
    order = np.argsort(-strength, kind="stable")
    rows, columns = rows[order], columns[order]
    return np.column_stack([
        columns + _top_of(above[rows, columns - 1], above[rows, columns], above[rows, columns + 1]),
        rows + _top_of(above[rows - 1, columns], above[rows, columns], above[rows + 1, columns]),
    ])  # fmt: skip


def _least(grey: Grey) -> float:
    """By how much a point is brighter than what is around it that is no noise."""
    import cv2

    above = cv2.GaussianBlur(grey, (0, 0), 0.7) - cv2.blur(grey, (17, 17))
    return float(np.clip(NOISE * float(np.median(np.abs(above))), *LEAST))


def _top_of(before: Grey, at: Grey, after: Grey) -> Points:
    """Where a parabola through three values has its top, from the middle one."""
    bend = before - 2 * at + after
    found: Points = np.where(bend < 0, (before - after) / np.where(bend < 0, 2 * bend, 1), 0.0).clip(-0.5, 0.5)
    return found


def moved(matrix: Matrix, points: Points) -> Points:
    """Points taken through a projective matrix: shape (points, 2)."""
    x, y = points.T
    below = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
    found: Points = np.empty((len(points), 2))
    found[:, 0] = (matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]) / below
    found[:, 1] = (matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]) / below
    return found


def shifted(x: float, y: float) -> Matrix:
    """The matrix that takes points to those so far beside."""
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


class Ground:
    """The first frame as all others show it, and where the newest lies on it.

    Args:
        beside: whether to look for each frame a step of a grid beside, too. In a steady hand that does harm.

    Attributes:
        mean: of the brightest of red, green and blue of many frames, laid on the first one: shape (height, width).
    """

    def __init__(self, *, beside: bool = False) -> None:
        self._beside = beside
        self.mean: Grey = np.zeros((0, 0), dtype=np.float32)
        self._meant = 0
        self._matrix = self._good = np.eye(3)
        self._middle: Points = np.zeros((1, 2))
        self._patches: _Patches | None = None
        self._small: Grey | None = None
        self._values: Grey | None = None
        self._frames = 0

    def lay(self, time: float, picture: Picture, near: Matrix | None = None) -> Laid:
        """Lay the next frame, from where it is known to lie nearly; None: from where the one before lies."""
        grey = brightest(picture)
        if self._frames == 0:
            self.mean = np.zeros(grey.shape, dtype=np.float32)
            self._middle = np.array([grey.shape[::-1]]) / 2
        guesses = self._guesses(grey) if near is None else [near @ shifted(x, y) for x, y in NEARLY]
        matrix, part = guesses[0], 1.0
        if self._patches is not None:
            matrix, part = self._patches.lay(grey, guesses, beside=self._beside and near is None)
        move = float(np.hypot(*(moved(matrix, self._middle) - moved(self._matrix, self._middle))[0]))
        self._matrix = matrix
        found = Laid(time, matrix, part, move, self._changed(grey))
        self._good = matrix if found.good else self._good
        self._add(grey, found)
        return found

    def _guesses(self, grey: Picture) -> list[Matrix]:
        """Where a frame may lie: moved on as its picture is; as the one before; as the last good one."""
        shift = self._shift(grey)
        return [shifted(*shift) @ self._matrix, self._matrix, self._good]

    def _shift(self, grey: Picture) -> NDArray[np.float64]:
        """By how much the picture has moved since the frame before."""
        import cv2

        fine, scale = grey, 1
        while len(fine) > FINE:
            fine, scale = np.asarray(cv2.pyrDown(fine), dtype=np.uint8), scale * 2
        small = np.sqrt(fine.astype(np.float32))
        small = small - cv2.blur(small, (31, 31))
        before, self._small = self._small, small
        if before is None:
            return np.zeros(2)
        window = cv2.createHanningWindow(small.shape[::-1], cv2.CV_32F)
        (dx, dy), _ = cv2.phaseCorrelate(before, small, window)
        return np.array([dx, dy]) * scale

    def _changed(self, grey: Picture) -> NDArray[np.float64]:
        """How much the middles of the patches have changed, band by band."""
        import cv2

        if self._patches is None:
            return np.empty(0)
        here = moved(self._matrix, self._patches.points).astype(np.float32)
        values = cv2.remap(grey, here[:, None, 0], here[:, None, 1], cv2.INTER_LINEAR)[:, 0].astype(np.float32)
        before, self._values = self._values, values
        if before is None:
            return np.empty(0)
        band = (here[:, 1] * BANDS / len(grey)).astype(int).clip(0, BANDS - 1)
        return np.bincount(band, np.abs(values - before), BANDS).astype(np.float64)

    def _add(self, grey: Picture, found: Laid) -> None:
        import cv2

        self._frames += 1
        if found.good and (self._frames <= EVERY or self._frames % SOME == 0):
            inverse = cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR
            here = cv2.warpPerspective(grey, found.matrix, grey.shape[::-1], flags=inverse)
            self._meant += 1
            self.mean += (here.astype(np.float32) - self.mean) / self._meant
        if self._frames in MAPS:
            least = _least(self.mean)
            points, clear = (peaks(self.mean, MOST_PATCHES, times * least) for times in (1, TWICE))
            if self._meant <= FEW and FEWEST <= len(clear) < FAINT * len(points):
                points = clear
            if len(points) >= FEWEST:
                self._patches, self._values = _Patches(self.mean, points), None


class _Patches:
    """Patches of the mean around its bright points.

    Light of a patch is held to be gain × (mean + shift · slope of the mean) + offset; those four are solved for each
    patch, so that a shift does not depend on how bright its pixel is. Source: B. D. Lucas and T. Kanade, "An iterative
    image registration technique", IJCAI 1981, with gain and offset of each patch.
    """

    def __init__(self, mean: Grey, points: Points) -> None:
        import cv2
        from scipy.spatial import cKDTree

        side = np.arange(-RADIUS, RADIUS + 1, dtype=np.float64)
        self.points = points
        self._off = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2)
        smooth = np.asarray(cv2.GaussianBlur(mean, (0, 0), 0.7), dtype=np.float32)
        slope_x, slope_y = (
            np.asarray(cv2.Sobel(smooth, cv2.CV_32F, dx, 1 - dx, scale=1 / 8), dtype=np.float32) for dx in (1, 0)
        )
        held = [self._sampled(each, np.eye(3)) for each in (smooth, slope_x, slope_y)]
        apart = float(np.median(cKDTree(points).query(points, k=2)[0][:, 1]))
        round_window = np.exp(-(self._off**2).sum(axis=1) / (2 * np.clip(0.35 * apart, 0.9, 1.8) ** 2))
        columns = np.stack([held[0], np.ones_like(held[0]), held[1], held[2]], axis=2)
        weighed = columns * round_window[None, :, None]
        normal = np.einsum("npi,npj->nij", weighed, columns)
        normal += np.eye(4) * 1e-6 * np.trace(normal, axis1=1, axis2=2)[:, None, None]
        self._solve = np.linalg.solve(normal, weighed.transpose(0, 2, 1))
        self._window = round_window
        self._unit = _unit(held[0], round_window)
        # In a dense grid a patch shows its neighbours, and how they blink, rather than where the grid ends.
        self._steps = grid_steps(points) if apart >= COARSE else np.empty((0, 2))

    def _sampled(self, image: NDArray[np.uint8] | Grey, matrix: Matrix) -> Grey:
        """An image around each point: shape (points, side²)."""
        import cv2

        near = (self.points[:, None] + self._off).reshape(-1, 2)
        here = moved(matrix, near).astype(np.float32).reshape(len(self.points), -1, 2)
        x, y = np.ascontiguousarray(here[..., 0]), np.ascontiguousarray(here[..., 1])
        return np.asarray(cv2.remap(image, x, y, cv2.INTER_LINEAR), dtype=np.float32)

    def lay(self, grey: Picture, guesses: Sequence[Matrix], *, beside: bool) -> tuple[Matrix, float]:
        """The matrix that takes the mean to a frame, from the best of some guesses, and how many of the patches are
        found there. Where light changes everywhere at once, the frame before tells nothing.

        Args:
            grey: the frame.
            guesses: where it may lie.
            beside: whether to look a step of a grid beside, too.
        """
        import cv2

        smooth = np.asarray(cv2.GaussianBlur(grey, (0, 0), 0.7), dtype=np.uint8)
        found, part = self._finely(smooth, max(guesses, key=lambda each: self._alike(smooth, each)))
        if len(self._steps) and part and beside:
            # On a grid what lies a pixel beside looks nearly the same: but for its edges.
            ways = [found, *(found @ shifted(*step) for step in self._steps)]
            alike = [self._alike(smooth, each) for each in ways]
            if max(alike) > alike[0] + CLEARLY * len(self.points):
                found, part = self._finely(smooth, ways[int(np.argmax(alike))])
        return found, part

    def _alike(self, smooth: Picture, matrix: Matrix) -> float:
        """How much patches of a frame look like those of the mean, if it lies so."""
        return float((_unit(self._sampled(smooth, matrix), self._window) * self._unit).sum())

    def _finely(self, smooth: Picture, guess: Matrix) -> tuple[Matrix, float]:
        """Where a frame lies, from where it lies about, and how many of the patches are found there."""
        matrix = guess
        for _ in range(ROUNDS):
            values = self._sampled(smooth, matrix)
            gain, _, x, y = np.einsum("nip,np->in", self._solve, values)
            shift = -np.column_stack([x, y]) / np.maximum(gain, 1e-6)[:, None]
            use = (gain > 0.1) & (np.hypot(*shift.T) < REACH)
            if use.sum() < FEWEST:
                return guess, 0.0
            use &= np.hypot(*(shift - np.median(shift[use], axis=0)).T) < REACH / 2
            if use.sum() < FEWEST:
                return guess, 0.0
            own = self.points[use]
            matrix = matrix @ corrected(own, own + shift[use], np.sqrt(np.minimum(gain[use], 1)))
        values = self._sampled(smooth, matrix)
        gain, _, x, y = np.einsum("nip,np->in", self._solve, values)
        shift = np.column_stack([x, y]) / np.maximum(gain, 1e-6)[:, None]
        return matrix, float(((gain > 0.1) & (np.hypot(*shift.T) < REACH)).mean())


def grid_steps(points: Points) -> Points:
    """The steps from a point to others nearby that many points share, as in a grid: shape (steps, 2)."""
    from scipy.spatial import cKDTree

    if len(points) <= NEIGHBOURS:
        return np.empty((0, 2))
    near = cKDTree(points).query(points, k=NEIGHBOURS + 1)[1][:, 1:]
    steps = (points[near] - points[:, None]).reshape(-1, 2)
    alike = cKDTree(steps).query_ball_point(steps, SAME_STEP, return_length=True)
    found: list[NDArray[np.float64]] = []
    for row in np.argsort(-alike, kind="stable"):
        if alike[row] < SHARED * len(points) or len(found) == NEIGHBOURS:
            break
        if all(np.hypot(*(steps[row] - other)) > 2 * SAME_STEP for other in found):
            found.append(np.median(steps[np.hypot(*(steps - steps[row]).T) < SAME_STEP], axis=0))
    return np.array(found).reshape(-1, 2)


def _unit(values: Grey, window: NDArray[np.float64]) -> Grey:
    """Patches with weighted mean 0 and size 1: the product of two is how well they correlate."""
    weight = window / window.sum()
    level = (values - (values @ weight)[:, None]) * np.sqrt(weight)
    found: Grey = level / np.maximum(np.sqrt((level**2).sum(axis=1, keepdims=True)), 1e-6)
    return found


def corrected(here: Points, there: Points, weight: NDArray[np.float64]) -> Matrix:
    """The matrix that takes points best to others near to them; projective where there are many, else a turn, a scale
    and a shift.
    """
    middle, size = here.mean(axis=0), float(here.std()) or 1.0
    (x, y), (u, v) = ((here - middle) / size).T, ((there - middle) / size).T
    zero, one = np.zeros_like(x), np.ones_like(x)
    twice = np.concatenate([weight, weight])
    aim = np.concatenate([u, v]) * twice
    if len(here) >= FULL:
        rows = np.vstack([
            np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y]),
            np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y]),
        ])  # fmt: skip
        inner = np.append(_least_squares(rows * twice[:, None], aim), 1.0).reshape(3, 3)
    else:
        rows = np.vstack([np.column_stack([x, -y, one, zero]), np.column_stack([y, x, zero, one])])
        a, b, dx, dy = _least_squares(rows * twice[:, None], aim)
        inner = np.array([[a, -b, dx], [b, a, dy], [0, 0, 1]])
    out = np.array([[size, 0, middle[0]], [0, size, middle[1]], [0, 0, 1]])
    back = np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]])
    found: Matrix = out @ inner @ back
    return found


def _least_squares(rows: NDArray[np.float64], aim: NDArray[np.float64]) -> NDArray[np.float64]:
    normal = rows.T @ rows
    found: NDArray[np.float64] = np.linalg.solve(normal + np.eye(len(normal)) * 1e-9 * np.trace(normal), rows.T @ aim)
    return found
