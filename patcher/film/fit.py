"""How well a run as it might be wired goes with the lights of a clip.

A run is a string of known shape. It may hang a little beside its plan, nearer to the camera or further from it, so that
all of it is displaced alike, or a little stretched; its pixels keep their order and their distances. By how much the
plan's map may be off there is known from the other runs: a run that is displaced by a pixel's distance, where the
others are not, is one whose count is off.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from patcher.clip import hues
from patcher.clip.hues import Hues
from patcher.clip.lights import Lights
from patcher.clip.registration import Grey, Points
from patcher.clip.spots import Series, activity
from patcher.faults import Planned
from patcher.film.camera_map import CameraMap
from patcher.film.map_search import spacing
from patcher.film.mixed import channels_seen, letters_exchanged
from patcher.film.shown import BROKEN, DARK, MIXED, Shown
from patcher.frames.film_code import Channels, Code

LOOSE = 0.18
"""By how much of the distance from pixel to pixel one hangs beside its place, on the mean of squares."""
BLUR = 0.35
"""Points by which a light is read beside where it is."""
CLOSE = 0.4
"""Of the distance to the next pixel: what is off by less is at its place."""
STRETCH = 0.03
"""By how much of its length a run is stretched, turned or sheared against the map, on the mean of squares."""
ELSEWHERE, UNSEEN, GLARED, STRANGE, WRONG_HUE, RESTLESS = 7.0, 2.6, 0.5, 7.0, 9.0, 1.5
"""What speaks against a wiring, each as the logarithm of how seldom it is: a light that is not where it should be; one
that is not seen at all; one that is not, before something bright; a light where it should be dark; a segment in another
colour; a pixel that is said to have broken data; light that does not go at all with the channels of two pixels."""

ONE_BY_ONE, ALL_WRONG = 12, 1.5
"""So many segments of a run in another colour count each by itself; more of them have one cause, another order, and
count less: words that all play where they should say more than their colours."""
BAD_SHARE, LEAST_READ = 0.15, 0.5
"""Of a run's pixels: where more are read elsewhere than at their places, something is wrong with it; where fewer are
read there at all, too little is known of it."""
NOISE, BADLY, LITTLE = 0.25, 0.3, 0.5
"""By so much light fails to go with its own channels for a camera's noise, and that says little; what fails by so much
more does not go with them at all."""
UNCLEAR = 0.3
"""What speaks against a segment at its place of which nobody can tell the colour: it may not be its word that plays."""
MOST_MIXED = 40
"""Of pixels that show the channels of two, so many are looked at."""
AROUND, FAR = 3, 4.0
"""A pixel with others at their places so many before and behind it, whose word is read so many distances from pixel to
pixel away, is hidden: what is read there is its reflection, or another run on the same data."""
BLINKS, BLINK_PART, SHINE_PART, GLARE_TIMES = 3.0, 0.25, 0.6, 2.0
"""A place blinks that changes by so many grey levels, and by such a part of what those do whose words are read; it
shines where it is so bright against them, and a pixel is lost where it is around it, and so many times as bright as
around them."""


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
        """At which points of the picture something blinks or shines, be it read or not, a good part as much as lights
        do: what is too bright for the camera does not blink.
        """
        changes, shines = self._usual if len(self.lights) else (0.0, 255.0)
        blinks = activity(self.look(points)) > max(BLINKS, BLINK_PART * changes)
        return np.asarray(blinks | (_values(self.mean, points) > SHINE_PART * shines), dtype=bool)

    def glares(self, points: Points) -> NDArray[np.bool_]:
        """Around which points of the picture it is as bright as lights are, so that a pixel is lost in it."""
        around, least = self._around
        return np.asarray(_values(around, points) > least, dtype=bool)

    @cached_property
    def _around(self) -> tuple[Grey, float]:
        """How bright it is around each point of the picture, and how bright it must be so that a pixel is lost there:
        twice as bright as around most lights, and as bright as they shine themselves.
        """
        import cv2

        wide = 2 * max(1, round(spacing(self.lights) / 2)) + 1
        around = np.asarray(cv2.medianBlur(self.mean.clip(0, 255).astype(np.uint8), wide), dtype=np.float32)
        usual = float(np.median(_values(around, self.lights.at))) if len(self.lights) else 255.0
        return around, max(GLARE_TIMES * usual, SHINE_PART * (self._usual[1] if len(self.lights) else 255.0))

    @cached_property
    def _usual(self) -> tuple[float, float]:
        """By how much lights that are read change, and how bright they are, in grey levels."""
        some = self.lights.at[:: max(1, len(self.lights) // 500)]
        return float(np.median(activity(self.look(some)))), float(np.median(_values(self.mean, some)))

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
        return _tree(self.at)

    @cached_property
    def restless(self) -> cKDTree | None:
        """The places where something blinks; None where nothing does."""
        return _tree(self.busy_at)

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


@dataclass(frozen=True, slots=True)
class Slack:
    """How far a run may hang beside its place on the map.

    Attributes:
        shift: metres by which all of it is displaced, on the mean of squares.
        stretch: by how much it is stretched, turned or sheared.
    """

    shift: float
    stretch: float = STRETCH


@dataclass(frozen=True, eq=False)
class Fit:
    """How a wiring of a run goes with the lights.

    Attributes:
        cost: what speaks against it: the logarithm of how seldom it would look so.
        odd: what of it a fault could explain: not that pixels hang a little beside their places, nor that one is hidden
            between two that are read.
        row: for each pixel the light of the word that it should play, at its place or nearest to it; -1 for none.
        off: metres from its place to that light; infinite for none.
        close: whether that is at its place.
        places: where its pixels are, displaced as they seem to be: shape (pixels, 2), metres.
        due: which of its pixels should be read: lit, in the picture, and not lost in something bright.
        exchanged: which of those that play the channels of several show some of them in each other's colour.
    """

    cost: float
    odd: float
    row: Channels
    off: NDArray[np.float64]
    close: NDArray[np.bool_]
    places: Points
    due: NDArray[np.bool_]
    exchanged: NDArray[np.bool_]

    def goes_well(self) -> bool:
        """Whether most of the pixels that should be read are at their places, and few are read elsewhere."""
        if not self.due.any():
            return False
        read = self.due & np.isfinite(self.off)
        return bool(self.close[self.due].mean() >= LEAST_READ and self.close[read].mean() >= 1 - BAD_SHARE)


def fit(seen: Evidence, run: str, wired: Shown, slack: Slack) -> Fit:
    """How well a run that plays this goes with the lights."""
    places, pitch = seen.places[run], seen.pitch[run]
    spread = float(np.hypot(LOOSE * pitch, BLUR / seen.scale))
    rows, which = seen.rows(wired.pixel)
    starts = [np.zeros(2)]
    if len(rows) and np.hypot(*(agreed := _mode(seen.at[rows] - places[which], 2 * spread))) > spread:
        starts.append(agreed)
    found = [_placed(seen, places, rows, which, spread, slack, start) for start in starts]
    shift, prior = min(found, key=lambda one: _sum(seen, places, rows, which, spread, *one))
    moved = places + shift
    row, off = _nearest(seen, moved, rows, which)
    limit = max(CLOSE * pitch, 1.2 / seen.scale)
    close = off < limit
    usual = float(np.minimum(off[close] ** 2 / (2 * spread**2), ELSEWHERE).sum())
    elsewhere = np.flatnonzero(~close & np.isfinite(off))
    twice = _between(elsewhere, close, AROUND) & (off[elsewhere] > FAR * pitch)
    usual += UNSEEN * int(twice.sum())
    cost = prior + usual + ELSEWHERE * int((~twice).sum())
    missing = np.flatnonzero((wired.pixel >= 0) & ~np.isfinite(off))
    there = seen.map.picture(moved[missing])
    inside, glare = seen.inside(there), seen.glares(there) & ~_has_light(seen.lit, moved[missing], limit)
    due = wired.pixel >= 0
    due[missing] = inside & ~glare
    due[close] = seen.inside(seen.map.picture(moved[close]))
    cost += UNSEEN * int((inside & ~glare).sum()) + GLARED * int((inside & glare).sum())
    usual += UNSEEN * int((inside & ~glare & _between(missing, close, 1)).sum()) + GLARED * int((inside & glare).sum())
    dark = moved[wired.pixel == DARK]
    # Where a dark pixel hangs beside a lit one of its run, over and back, there is light.
    cost += STRANGE * _strange(seen, dark[~_has_light(_tree(moved[wired.pixel >= 0]), dark, limit)], 0.7 * limit)
    broken = wired.pixel == BROKEN
    if broken.any():
        cost += float(np.where(_has_light(seen.lit, moved[broken], limit), STRANGE, RESTLESS).sum())
        cost += UNSEEN * int((~_has_light(seen.restless, moved[broken], limit)).sum())
    mixed, exchanged = np.flatnonzero(wired.pixel == MIXED), np.zeros(len(close), dtype=bool)
    if wired.mixed is not None and len(mixed):
        each, well, exchanged[mixed] = _mixture(seen, run, mixed, wired.mixed[mixed], moved)
        cost, usual = cost + each, usual + well
    own, meant = seen.hue[row[close]], wired.hue[close]
    wrong = (own != meant) & (own != hues.UNKNOWN) & (meant != hues.UNKNOWN)
    unclear = UNCLEAR * int((own == hues.UNKNOWN).sum())
    cost, usual = cost + _wrong_hues(int(wrong.sum()) + 2 * int(exchanged.sum())) + unclear, usual + unclear
    return Fit(cost, cost - usual, row, off, close, moved, due, exchanged)


def _between(pixels: Channels, close: NDArray[np.bool_], reach: int) -> NDArray[np.bool_]:
    """Which pixels of a run have one at its place no more than so many before them, and one behind them."""
    at = np.flatnonzero(close)
    if not len(at):
        return np.zeros(len(pixels), dtype=bool)
    before, here = np.searchsorted(at, pixels - reach), np.searchsorted(at, pixels)
    behind = np.searchsorted(at, pixels + reach, side="right")
    return np.asarray((before < here) & (here < behind), dtype=bool)


def _values(picture: Grey, points: Points) -> NDArray[np.float64]:
    """What a picture has at some points."""
    high, wide = picture.shape
    x, y = np.round(points).astype(int).T
    return np.asarray(picture[y.clip(0, high - 1), x.clip(0, wide - 1)], dtype=np.float64)


def _wrong_hues(count: int) -> float:
    """What speaks against a wiring with which so many segments have another colour: many of them have one cause."""
    return WRONG_HUE * min(count, ONE_BY_ONE) + ALL_WRONG * max(0, count - ONE_BY_ONE)


def _sum(
    seen: Evidence, places: Points, rows: Channels, which: Channels, spread: float, shift: Points, prior: float
) -> float:
    _, off = _nearest(seen, places + shift, rows, which)
    return prior + float(np.minimum((off[np.isfinite(off)] / spread) ** 2 / 2, ELSEWHERE).sum())


def _nearest(seen: Evidence, moved: Points, rows: Channels, which: Channels) -> tuple[Channels, NDArray[np.float64]]:
    """For each place the nearest of its lights, and how far that is."""
    row, off = np.full(len(moved), -1, dtype=np.int64), np.full(len(moved), np.inf)
    away = np.hypot(*(seen.at[rows] - moved[which]).T)
    order = np.argsort(-away, kind="stable")
    row[which[order]], off[which[order]] = rows[order], away[order]
    return row, off


def _placed(
    seen: Evidence,
    places: Points,
    rows: Channels,
    which: Channels,
    spread: float,
    slack: Slack,
    start: NDArray[np.float64],
) -> tuple[Points, float]:
    """By how much each place is displaced, and what speaks against that much; begun from a displacement of all."""
    middle = places.mean(axis=0)
    size = float(np.hypot(*(places - middle).T).max()) or 1.0
    out = (places - middle) / size
    table = np.column_stack([np.ones(len(places)), out])
    weight = 1 / np.array([slack.shift, slack.stretch * size, slack.stretch * size]) ** 2
    values = np.zeros((3, 2))
    values[0] = start
    away = seen.at[rows] - places[which]
    for limit in (6.0, 4.0, 3.0, 3.0):
        left = away - (table @ values)[which]
        near = np.hypot(*left.T) < limit * spread
        if not near.any():
            break
        part = table[which[near]]
        trust = 1 / (1 + (np.hypot(*left[near].T) / (2 * spread)) ** 2) / spread**2
        normal = part.T @ (part * trust[:, None]) + np.diag(weight)
        values = np.linalg.solve(normal, part.T @ (away[near] * trust[:, None]))
    return table @ values, float((weight[:, None] * values**2).sum() / 2)


def _mode(away: Points, near: float) -> NDArray[np.float64]:
    """The displacement on which most agree."""
    some = away[:: max(1, len(away) // 150)]
    across, up = some.T
    agree = ((across[:, None] - across) ** 2 + (up[:, None] - up) ** 2 < near**2).sum(axis=1)
    best = some[int(agree.argmax())]
    found: NDArray[np.float64] = away[np.hypot(*(away - best).T) < near].mean(axis=0)
    return found


def _strange(seen: Evidence, dark: Points, limit: float) -> int:
    """How many places blink though they should be dark."""
    return int(_has_light(seen.restless, dark, limit).sum())


def _tree(points: Points) -> cKDTree | None:
    return cKDTree(points) if len(points) else None


def _has_light(lights: cKDTree | None, places: Points, limit: float) -> NDArray[np.bool_]:
    """Which places have a light."""
    if not len(places) or lights is None:
        return np.zeros(len(places), dtype=bool)
    away, _ = lights.query(places, distance_upper_bound=limit)
    near: NDArray[np.bool_] = away < limit
    return near


def _mixture(
    seen: Evidence, run: str, mixed: Channels, channels: NDArray[np.int32], moved: Points
) -> tuple[float, float, NDArray[np.bool_]]:
    """What speaks against the channels of several pixels where they should play, and what of it no fault explains; and
    which of those show letters in each other's colour.
    """
    ways = [seen.map.picture(moved[mixed])]
    if seen.of_all is not None:  # no light of these tells where they are: the map of all may know better
        ways.append(seen.of_all.picture(seen.places[run][mixed]))
    some, letters = slice(None, None, max(1, len(mixed) // MOST_MIXED)), seen.letters(run)
    every = [channels_seen(seen.look(at[some]), seen.code, channels[some], letters) for at in ways]
    best = int(np.argmax([found.mean() for found in every]))
    badly, at = 1 - every[best], ways[best][some]
    exchanged: NDArray[np.bool_] = np.zeros(len(mixed), dtype=bool)
    if badly.mean() < NOISE:
        exchanged |= letters_exchanged(seen.look(ways[best]), seen.code, channels, letters).any(axis=1)
    read = _has_light(_tree(seen.lights.at), at, max(1.2, CLOSE * seen.pitch[run] * seen.scale))
    cost = LITTLE * badly + np.where(read, ELSEWHERE, UNSEEN) * ((badly - NOISE) / BADLY).clip(0, 1)
    cost = np.where(seen.glares(at) & ~read, cost.clip(0, GLARED), cost)
    return float(cost.mean()) * len(mixed), LITTLE * float(badly.mean()) * len(mixed), exchanged
