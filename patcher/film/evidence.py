"""What is known of a display: its plan, and what a clip shows of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from patcher.clip.hues import Hues
from patcher.clip.lights import Lights
from patcher.clip.registration import Grey, Points
from patcher.clip.spots import Series, activity
from patcher.faults import Planned
from patcher.film.camera_map import CameraMap
from patcher.film.map_search import spacing
from patcher.frames.film_code import Channels, Code

STRANGE = 7.0
"""What speaks against a light where it should be dark, at most: the logarithm of how seldom it is."""
BESIDE, BESIDE_EACH, MOST_BESIDE, FEWEST_BESIDE = 12.0, 8, 60, 20
"""Points from a place to what is beside it, at least; so many points around each of so many places are looked at, and
fewer of them say nothing."""
BLINKS, BLINK_PART, SHINE_PART, GLARE_TIMES, CLIPPED = 3.0, 0.25, 0.6, 2.0, 250.0
"""A place blinks that changes by so many grey levels, and by such a part of what those do whose words are read; it
shines where it is so much brighter than what is around it, against them, or brighter than a camera tells. A pixel is
lost where it is as bright around it, and so many times as bright as around them."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What is known of a display: its plan, and what a clip shows of it.

    Attributes:
        plan: the wiring as planned.
        code: what it plays.
        places: where each run's pixels are planned, in metres, of those that are drawn and hang.
        pitch: for each of those, metres from pixel to pixel along its wire, the median.
        lights: of the clip.
        hue: the colour of each in each segment.
        map: from the plan to the picture.
        busy: points of the picture where something blinks, be it read or not: shape (spots, 2).
        look: the light at some points of the picture, the cycle beginning in bin 0.
        mean: the brightest of red, green and blue on the mean: shape (height, width).
        inner: the bins of each segment that count.
        of_all: the map made of the lights of all runs, where `map` is made without one; None: it is `map`.
    """

    plan: Planned
    code: Code
    places: Mapping[str, Points]
    pitch: Mapping[str, float]
    lights: Lights
    hue: Hues
    map: CameraMap
    busy: Points
    look: Callable[[Points], Series]
    mean: Grey
    inner: Sequence[Channels]
    of_all: CameraMap | None = None

    def planned(self, run: str) -> Channels:
        """The pixel whose word each pixel of a run is planned to play; -1 for none: shape (pixels,)."""
        return self.code.word_of(self.plan.takes[run])

    def letters(self, run: str) -> str:
        """The colours of a run's pixels, in the order in which they take them."""
        show = self.plan.wiring.show
        return show.type_of(show.runs[run]).colour_order

    def inside(self, points: Points) -> NDArray[np.bool_]:
        """Which points are in the picture, with a little margin."""
        high, wide = self.mean.shape
        return np.asarray(((points > 1) & (points < np.array([wide, high]) - 2)).all(axis=1), dtype=bool)

    def blinks(self, points: Points) -> NDArray[np.bool_]:
        """At which points of the picture something blinks, be it read or not, a good part as much as lights do; or
        shines: what is too bright for the camera does not blink.
        """
        changes, shines = self._usual if len(self.lights) else (0.0, 255.0)
        shine = _values(self.mean, points)
        clear = shine - _values(self._around, points) > SHINE_PART * (shines - self._beside)
        blinks = self._changes(points) > max(BLINKS, BLINK_PART * changes)
        return np.asarray(blinks | clear | (shine > CLIPPED), dtype=bool)

    def _changes(self, points: Points) -> NDArray[np.float32]:
        """By how many grey levels light changes at some points, in the bins that count."""
        return activity(self.look(points)[:, np.concatenate(self.inner)])

    def glares(self, points: Points) -> NDArray[np.bool_]:
        """Around which points of the picture it is so bright that a pixel is lost there: twice as bright as around most
        lights, and as bright as they shine themselves.
        """
        least = max(GLARE_TIMES * self._beside, SHINE_PART * self._usual[1]) if len(self.lights) else 255.0
        return np.asarray(_values(self._around, points) > least, dtype=bool)

    @cached_property
    def _around(self) -> Grey:
        """How bright it is around each point of the picture."""
        import cv2

        wide = 2 * max(1, round(spacing(self.lights) / 2)) + 1
        return np.asarray(cv2.medianBlur(self.mean.clip(0, 255).astype(np.uint8), wide), dtype=np.float32)

    @cached_property
    def _beside(self) -> float:
        """How bright it is around lights that are read."""
        return float(np.median(_values(self._around, self.lights.at))) if len(self.lights) else 0.0

    @cached_property
    def _usual(self) -> tuple[float, float]:
        """By how much lights that are read change, and how bright they are, in grey levels."""
        some = self.lights.at[:: max(1, len(self.lights) // 500)]
        return float(np.median(self._changes(some))), float(np.median(_values(self.mean, some)))

    def strange(self, run: str) -> float:
        """What speaks against a dark pixel of a run where something blinks: little where all around it does, too. How
        seldom that is, is counted around the run, away from all lights and places.
        """
        if run not in self._strange:
            here = self.map.picture(self.places[run])
            far = max(BESIDE, 3 * spacing(self.lights))
            turn = 2 * np.pi * np.arange(BESIDE_EACH) / BESIDE_EACH
            some = here[:: max(1, len(here) // MOST_BESIDE)]
            beside = (some[:, None] + far * np.column_stack([np.cos(turn), np.sin(turn)])).reshape(-1, 2)
            taken = cKDTree(np.concatenate([self.lights.at, *map(self.map.picture, self.places.values())]))
            beside = beside[self.inside(beside) & (taken.query(beside)[0] > 0.9 * far)]
            changes, _ = self._usual if len(self.lights) else (0.0, 255.0)
            busy = self._changes(beside) > max(BLINKS, BLINK_PART * changes)
            part = float(busy.mean()) if len(busy) >= FEWEST_BESIDE else 0.0
            self._strange[run] = float(min(STRANGE, -np.log(max(part, 1e-9))))
        return self._strange[run]

    @cached_property
    def _strange(self) -> dict[str, float]:
        return {}

    @cached_property
    def busy_at(self) -> Points:
        """Where in the plan something blinks."""
        return self.map.plan(self.busy)

    @cached_property
    def at(self) -> Points:
        """Where in the plan each light is."""
        return self.map.plan(self.lights.at)

    @cached_property
    def lit(self) -> cKDTree | None:
        """The lights by where in the plan they are; None where there is none."""
        return tree_of(self.at)

    @cached_property
    def restless(self) -> cKDTree | None:
        """The places where something blinks; None where nothing does."""
        return tree_of(self.busy_at)

    @cached_property
    def of_pixel(self) -> tuple[Channels, Channels]:
        """Rows of lights by their pixel: where those of each pixel begin, and the rows."""
        order = np.argsort(self.lights.pixel, kind="stable")
        begins = np.searchsorted(self.lights.pixel[order], np.arange(len(self.code.first) + 1))
        return begins, order

    @cached_property
    def scale(self) -> float:
        """Points of the picture for a metre of the plan, on the median."""
        every = np.concatenate(list(self.places.values()))
        step = 1e-3
        here, there = self.map.picture(every), self.map.picture(every + np.array([step, 0.0]))
        return float(np.median(np.hypot(*(there - here).T))) / step

    def rows(self, pixels: Channels) -> tuple[Channels, Channels]:
        """Rows of the lights of some pixels, with the position of each in `pixels`."""
        begins, order = self.of_pixel
        has = np.flatnonzero(pixels >= 0)
        first, count = begins[pixels[has]], begins[pixels[has] + 1] - begins[pixels[has]]
        which = np.repeat(has, count)
        inside = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
        return order[np.repeat(first, count) + inside], which


def _values(picture: Grey, points: Points) -> NDArray[np.float64]:
    """What a picture has at some points."""
    high, wide = picture.shape
    x, y = np.round(points).astype(int).T
    return np.asarray(picture[y.clip(0, high - 1), x.clip(0, wide - 1)], dtype=np.float64)


def tree_of(points: Points) -> cKDTree | None:
    """Some points to be searched; None where there is none."""
    return cKDTree(points) if len(points) else None
