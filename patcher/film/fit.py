"""How well a run as it might be wired goes with the lights of a clip.

A run is a string of known shape. It may hang a little beside its plan, nearer to the camera or further from it, so that
all of it is displaced alike, or a little stretched; its pixels keep their order and their distances. By how much the
plan's map may be off there is known from the other runs: a run that is displaced by a pixel's distance, where the
others are not, is one whose count is off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from patcher.clip import hues
from patcher.clip.registration import Points
from patcher.film.evidence import STRANGE, Evidence, tree_of
from patcher.film.mixed import channels_seen, letters_exchanged
from patcher.film.shown import BROKEN, DARK, MIXED, Shown
from patcher.frames.film_code import Channels

LOOSE = 0.18
"""By how much of the distance from pixel to pixel one hangs beside its place, on the mean of squares."""
BLUR = 0.35
"""Points by which a light is read beside where it is."""
CLOSE = 0.4
"""Of the distance to the next pixel: what is off by less is at its place."""
STRETCH = 0.03
"""By how much of its length a run is stretched, turned or sheared against the map, on the mean of squares."""
ELSEWHERE, UNSEEN, GLARED, WRONG_HUE, RESTLESS = 7.0, 2.6, 0.5, 9.0, 1.5
"""What speaks against a wiring, each as the logarithm of how seldom it is: a light that is not where it should be; one
that is not seen at all; one that is not, before something bright; a segment in another colour; light at a pixel that is
said to have broken data."""

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
"""A pixel with others at their places so many before and behind it, or in something bright, whose word is read so many
distances from pixel to pixel away, is hidden: what is read there is its reflection, or another run on the same data."""


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
    far = off[elsewhere] > FAR * pitch
    lost = far & _lost(seen, moved[elsewhere], limit)
    twice = lost | (far & _between(elsewhere, close, AROUND))
    usual += UNSEEN * int(twice.sum())
    cost = prior + usual + ELSEWHERE * int((~twice).sum())
    missing = np.flatnonzero((wired.pixel >= 0) & ~np.isfinite(off))
    there = seen.map.picture(moved[missing])
    inside, glare = seen.inside(there), _lost(seen, moved[missing], limit)
    due = wired.pixel >= 0
    due[missing], due[elsewhere[lost]] = inside & ~glare, False
    due[close] = seen.inside(seen.map.picture(moved[close]))
    cost += UNSEEN * int((inside & ~glare).sum()) + GLARED * int((inside & glare).sum())
    usual += UNSEEN * int((inside & ~glare & _between(missing, close, 1)).sum()) + GLARED * int((inside & glare).sum())
    dark = moved[wired.pixel == DARK]
    # Where a dark pixel hangs beside a lit one of its run, over and back, there is light.
    alone = dark[~_has_light(tree_of(moved[wired.pixel >= 0]), dark, limit)]
    if len(alone):
        cost += seen.strange(run) * int(_has_light(seen.restless, alone, 0.7 * limit).sum())
    broken = wired.pixel == BROKEN
    if broken.any():
        cost += float(np.where(_has_light(seen.lit, moved[broken], limit), STRANGE, RESTLESS).sum())
        cost += UNSEEN * int((~_has_light(seen.restless, moved[broken], limit)).sum())
    mixed, exchanged = np.flatnonzero(wired.pixel == MIXED), np.zeros(len(close), dtype=bool)
    if wired.mixed is not None and len(mixed):
        each, well, exchanged[mixed] = _mixture(seen, run, mixed, wired, moved)
        cost, usual = cost + each, usual + well
    own, meant = seen.hue[row[close]], wired.hue[close]
    wrong = (own != meant) & (own != hues.UNKNOWN) & (meant != hues.UNKNOWN)
    unclear = UNCLEAR * int((own == hues.UNKNOWN).sum())
    cost, usual = cost + _wrong_hues(int(wrong.sum()) + 2 * int(exchanged.sum())) + unclear, usual + unclear
    return Fit(cost, cost - usual, row, off, close, moved, due, exchanged)


def _lost(seen: Evidence, places: Points, limit: float) -> NDArray[np.bool_]:
    """At which places a pixel is lost in something bright: no light is read there."""
    if not len(places):
        return np.zeros(0, dtype=bool)
    return seen.glares(seen.map.picture(places)) & ~_has_light(seen.lit, places, limit)


def _between(pixels: Channels, close: NDArray[np.bool_], reach: int) -> NDArray[np.bool_]:
    """Which pixels of a run have one at its place no more than so many before them, and one behind them."""
    at = np.flatnonzero(close)
    if not len(at):
        return np.zeros(len(pixels), dtype=bool)
    before, here = np.searchsorted(at, pixels - reach), np.searchsorted(at, pixels)
    behind = np.searchsorted(at, pixels + reach, side="right")
    return np.asarray((before < here) & (here < behind), dtype=bool)


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


def _has_light(lights: cKDTree | None, places: Points, limit: float) -> NDArray[np.bool_]:
    """Which places have a light."""
    if not len(places) or lights is None:
        return np.zeros(len(places), dtype=bool)
    away, _ = lights.query(places, distance_upper_bound=limit)
    near: NDArray[np.bool_] = away < limit
    return near


def _word_at(seen: Evidence, at: Points, limit: float) -> Channels:
    """The word that is read at each point of the picture; -1 for none."""
    if not len(seen.lights):
        return np.full(len(at), -1, dtype=np.int64)
    away, row = cKDTree(seen.lights.at).query(at)
    return np.where(away < limit, seen.lights.pixel[row], -1)


def _mixture(
    seen: Evidence, run: str, mixed: Channels, wired: Shown, moved: Points
) -> tuple[float, float, NDArray[np.bool_]]:
    """What speaks against the channels of several pixels where they should play, and what of it no fault explains; and
    which of those show letters in each other's colour.
    """
    ways = [seen.map.picture(moved[mixed])]
    if seen.of_all is not None:  # no light of these tells where they are: the map of all may know better
        ways.append(seen.of_all.picture(seen.places[run][mixed]))
    some, letters = slice(None, None, max(1, len(mixed) // MOST_MIXED)), seen.letters(run)
    limit = max(1.2, CLOSE * seen.pitch[run] * seen.scale)
    takes = _channels(seen, wired)
    channels, beside = takes[mixed], takes[_in_one_place(moved, mixed, limit / seen.scale)]
    every = [
        channels_seen(seen.look(at[some]), seen.code, seen.inner, channels[some], letters, beside[some]) for at in ways
    ]
    best = int(np.argmax([found.mean() for found in every]))
    badly, at = 1 - every[best], ways[best][some]
    exchanged: NDArray[np.bool_] = np.zeros(len(mixed), dtype=bool)
    if badly.mean() < NOISE:
        exchanged |= letters_exchanged(seen.look(ways[best]), seen.code, seen.inner, channels, letters).any(axis=1)
    here = _word_at(seen, at, limit)
    own = seen.code.pixel_of(np.concatenate([channels, beside], axis=1)[some].astype(np.int64))[0]
    # Another light in the same place spoils how well its own goes with what it plays, but not whose word is read.
    others = (here >= 0) & (own != here[:, None]).all(axis=1)
    cost = LITTLE * badly + np.where(others, ELSEWHERE, UNSEEN) * ((badly - NOISE) / BADLY).clip(0, 1)
    cost = np.where(seen.glares(at) & (here < 0), cost.clip(0, GLARED), cost)
    return float(cost.mean()) * len(mixed), LITTLE * float(badly.mean()) * len(mixed), exchanged


def _channels(seen: Evidence, wired: Shown) -> NDArray[np.int32]:
    """The running channels of all pixels of a run, -1 for what does not play, and in a last row of none at all: shape
    (pixels + 1, letters).
    """
    letters = np.arange(0 if wired.mixed is None else wired.mixed.shape[1])
    whole = seen.code.first[wired.pixel][:, None] + letters
    found = np.where((wired.pixel >= 0)[:, None], whole, -1 if wired.mixed is None else wired.mixed)
    return np.asarray(np.vstack([found, np.full_like(found[:1], -1)]), dtype=np.int32)


def _in_one_place(moved: Points, pixels: Channels, limit: float) -> Channels:
    """For each of some pixels another one of the run that hangs where it does; -1 where none does."""
    if len(moved) < 2:
        return np.full(len(pixels), -1, dtype=np.int64)
    away, near = cKDTree(moved).query(moved[pixels], k=2)
    itself = near[:, 0] == pixels
    which, away = np.where(itself, near[:, 1], near[:, 0]), np.where(itself, away[:, 1], away[:, 0])
    return np.where(away < limit, which, -1)
