"""Where the pixels of a run hang that is not drawn: its lights, by the map that the drawn runs give.

A map knows one plane, that of the drawn runs. What hangs before or behind them is seen beside its place, and one clip
alone cannot tell: two clips from different places do, and so does a string that would be longer than it is. Places are
given for all of a run or not at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from patcher.clip.lights import Lights, direct
from patcher.clip.registration import Points
from patcher.faults import departure, in_words
from patcher.film.evidence import Evidence
from patcher.film.faults_seen import Explained
from patcher.film.fit import CLOSE
from patcher.film.slack import beyond, unsure
from patcher.frames.film_code import Channels

Metres = NDArray[np.float64]
Bits = NDArray[np.bool_]

MOST_UNSEEN = 3
"""So many pixels in a row that are not seen are put between their neighbours."""
OF_TEN = 95.0
"""In percent: so many pixels are within the error that is said."""
BESIDE = 2.0
"""Points of the picture by which a light may be beside the place of a run that is drawn, and still be that run's."""
REACH, BUNCHED = 5.0, 10.0
"""Two pixels beside each other hang no further apart than so many times the distance that their string has from pixel
to pixel, or that most of them have; and, where the show does not say the first, than so many times the second: what is
further off is a reflection, or another run's. Strings are spliced longer over a drainpipe, and bunched in a hedge."""
LONGER = 1.25
"""A string seen so many times as long as it is does not hang in the plane of the drawn runs."""
APART, MANY = 3.0, 0.1
"""Two clips contradict each other about a pixel that they see so many times the error apart; about a run, where they do
so about such a part of its pixels."""


@dataclass(frozen=True, eq=False)
class Sight:
    """Where a clip shows the pixels of a run.

    Attributes:
        at: of each pixel, in metres; not a number where it was not seen, or in several places: shape (pixels, 2).
        error: metres by which 19 of 20 are off at most, if they hang in the plane of the drawn runs: shape (pixels,).
        against: why its lights tell no places; empty where they do.
    """

    at: Points
    error: Metres
    against: str = ""


@dataclass(frozen=True, eq=False)
class Measured:
    """The places of a run as clips show them, or why there are none.

    Attributes:
        run: the run.
        places: of each pixel, in metres: shape (pixels, 2); empty where they are refused.
        error: metres by which 19 of 20 are off at most, if they hang in the plane of the drawn runs.
        unseen: pixels, from 1, that were not seen, and are put between their neighbours.
        against: why the run is not measured; empty where it is.
        todo: what to do about that.
    """

    run: str
    places: Points
    error: float = 0.0
    unseen: tuple[int, ...] = ()
    against: str = ""
    todo: str = ""


def sights(seen: Evidence, found: Explained, read: Lights) -> dict[str, Sight]:
    """Where a clip shows the pixels of every run that hangs and is not drawn.

    Args:
        seen: what the clip shows of the plan.
        found: the faults in it.
        read: the lights as they were read without the plan: each where it is, and not where it is planned.
    """
    show = seen.plan.wiring.show
    every = replace(seen, lights=read)
    here, there, usual = _drawn(every, found)
    if not len(here):
        return {}
    changed = departure(seen.plan, found.faults).takes
    faults = in_words(found.faults, seen.plan.wiring)
    sighted = {}
    for run in show.runs:
        if not show.runs[run].hung or run in seen.places:
            continue
        at = _places(every, found, run)
        known = np.isfinite(at[:, 0])
        error = np.full(len(at), usual)
        if known.any():
            off = unsure(seen.map, here, there, at[known]) + beyond(here, at[known])
            error[known] = np.hypot(usual, off)
        against = f"does not take the data that is planned for it: {faults}" if run in changed else ""
        sighted[run] = Sight(at, error, against or _shared(every, run) or _exchanged(every, found, run, at[known]))
    return sighted


def _drawn(every: Evidence, found: Explained) -> tuple[Points, Points, float]:
    """The lights of the drawn runs: where each is planned, where it is in the picture, and metres by which 19 of 20
    are beside their places, every run with equal weight.
    """
    here, there, off, weight = [np.empty((0, 2))], [np.empty((0, 2))], [np.empty(0)], [np.empty(0)]
    for run, own in found.fits.items():
        rows, which = every.rows(found.wired[run].pixel)
        close = np.hypot(*(every.at[rows] - own.places[which]).T) < max(CLOSE * every.pitch[run], 1.2 / every.scale)
        rows, which = rows[close], which[close]
        here.append(every.places[run][which])
        there.append(every.lights.at[rows])
        off.append(np.hypot(*(every.at[rows] - every.places[run][which]).T))
        weight.append(np.full(len(rows), 1 / max(1, len(rows))))
    away, share = np.concatenate(off), np.concatenate(weight)
    order = np.argsort(away)
    passed = np.cumsum(share[order]) / max(share.sum(), 1e-9)
    usual = float(away[order][np.searchsorted(passed, OF_TEN / 100 - 1e-9)]) if len(away) else 0.0
    return np.concatenate(here), np.concatenate(there), usual


def _planned(seen: Evidence, run: str) -> Channels:
    pixel = seen.planned(run)
    return np.where(seen.code.lit[pixel] & (pixel >= 0), pixel, -1)


def _places(every: Evidence, found: Explained, run: str) -> Points:
    """The place of the one light of each pixel; not a number where there is none, or where there are several."""
    planned = _planned(every, run)
    rows, which = every.rows(planned)
    for other in _same_data(every, run):
        if other in found.fits:
            limit = max(CLOSE * every.pitch[other], BESIDE / every.scale)
            its = np.hypot(*(every.at[rows] - found.fits[other].places[which]).T) < limit
            rows, which = rows[~its], which[~its]
    own = replace(every, lights=direct(every.lights.of(rows)))
    rows, which = own.rows(planned)
    at = np.full((len(planned), 2), np.nan)
    at[which] = own.at[rows]
    at[np.bincount(which, minlength=len(planned)) > 1] = np.nan
    return at


def _same_data(seen: Evidence, run: str) -> list[str]:
    """The other runs that hang and play the same words: they share its data over a tee."""
    wiring = seen.plan.wiring
    show = wiring.show
    return [
        name for name in show.runs
        if name != run and show.runs[name].hung and wiring.source(name) == wiring.source(run)
    ]  # fmt: skip


def _shared(seen: Evidence, run: str) -> str:
    undrawn = [name for name in _same_data(seen, run) if name not in seen.places]
    if not undrawn:
        return ""
    return f"shares its data with {undrawn[0]}, which is not drawn, so nobody can tell their lights apart"


def _exchanged(seen: Evidence, found: Explained, run: str, at: Points) -> str:
    """Whether a run's words play where another one is drawn, whose own do not play there."""
    for other, own in found.fits.items():
        empty = own.places[~own.close]
        if other in _same_data(seen, run) or not len(empty) or not len(at):
            continue
        away, _ = cKDTree(empty).query(at)
        if np.count_nonzero(away < CLOSE * seen.pitch[other]) > max(MOST_UNSEEN, MANY * len(at)):
            return f"lights where {other} is drawn, which does not light there: they may be exchanged"
    return ""


def measured(run: str, pixels: int, pitch: float | None, clips: Sequence[Sight]) -> Measured:
    """The places of a run, as some clips show them together.

    Args:
        run: the run.
        pixels: how many it has.
        pitch: metres from pixel to pixel of its string; None where the show does not say.
        clips: what each shows of it.
    """
    for clip in clips:
        if clip.against:
            todo = "put that right first, then film again"
            return _refused(run, clip.against, todo)
    if not clips:
        return _refused(run, "is in no clip that could be read", "film it together with runs that are drawn")
    at, error, apart = _together(np.stack([clip.at for clip in clips]), np.stack([clip.error for clip in clips]))
    if np.count_nonzero(apart) > MANY * pixels:
        says = "is seen in different places by two clips: it hangs before or behind the drawn runs"
        return _refused(run, says, "measure from one clip alone, filmed from where the audience stands, far away")
    known = np.isfinite(at[:, 0])
    if not known.any():
        return _refused(run, "was not seen", "film it from nearer, together with runs that are drawn")
    step = _step(at)
    most = float(error[known].max())
    if pitch is not None and (step - LONGER * pitch) * (pixels - 1) > 2 * most:
        says = (
            f"is seen {step / pitch:.1f} times as long as its string is: it hangs nearer to the camera than the drawn "
            "runs, or the pitch in the file is wrong"
        )
        return _refused(run, says, "film it from farther away, or correct pitch")
    reach = REACH * max(pitch, step) if pitch is not None else BUNCHED * step
    known &= _hangs_together(at, reach, 2 * most)
    if against := _gaps(known):
        return _refused(run, against, "film it again, all of it in the picture and nothing before it")
    number = np.arange(pixels)
    places = np.column_stack([np.interp(number, number[known], at[known, axis]) for axis in (0, 1)])
    return Measured(run, places, most, tuple((number[~known] + 1).tolist()))


def _refused(run: str, against: str, todo: str) -> Measured:
    return Measured(run, np.empty((0, 2)), against=against, todo=todo)


def _together(at: NDArray[np.float64], error: NDArray[np.float64]) -> tuple[Points, Metres, Metres]:
    """The places and errors of several clips as one, and metres by which two of them contradict each other, else 0.

    Args:
        at: shape (clips, pixels, 2).
        error: shape (clips, pixels).
    """
    has = np.isfinite(at[..., 0])
    trust = np.where(has, 1 / np.maximum(error, 1e-4) ** 2, 0.0)
    total = trust.sum(axis=0)
    with np.errstate(invalid="ignore"):
        mean = (np.where(has, trust, 0)[..., None] * np.nan_to_num(at)).sum(axis=0) / total[:, None]
    spread = np.where(has, np.hypot(*np.moveaxis(at - mean, -1, 0)), 0.0).max(axis=0)
    worst = np.where(has, error, 0.0).max(axis=0)
    against = spread * 2 > APART * worst
    mean[against] = np.nan
    return mean, np.maximum(worst, spread), np.where(against, 2 * spread, 0.0)


def _step(at: Points) -> float:
    """Metres from one pixel to the next that was seen, the median; of less than two, none."""
    number = np.flatnonzero(np.isfinite(at[:, 0]))
    if len(number) < 2:
        return 0.0
    return float(np.median(np.hypot(*np.diff(at[number], axis=0).T) / np.diff(number)))


def _hangs_together(at: Points, reach: float, error: float) -> Bits:
    """Which pixels hang together with the most of the others: what lies elsewhere is a reflection, or another's."""
    number = np.flatnonzero(np.isfinite(at[:, 0]))
    kept = np.zeros(len(at), dtype=bool)

    def near(one: int, other: int) -> bool:
        return bool(np.hypot(*(at[one] - at[other])) <= abs(one - other) * reach + error)

    breaks = [place + 1 for place in range(len(number) - 1) if not near(int(number[place]), int(number[place + 1]))]
    blocks = np.split(number, breaks)
    largest = max(range(len(blocks)), key=lambda place: len(blocks[place]))
    kept[blocks[largest]] = True
    last = int(blocks[largest][-1])
    for block in blocks[largest + 1 :]:
        if near(last, int(block[0])):
            kept[block] = True
            last = int(block[-1])
    last = int(blocks[largest][0])
    for block in blocks[:largest][::-1]:
        if near(last, int(block[-1])):
            kept[block] = True
            last = int(block[0])
    return kept


def _gaps(known: Bits) -> str:
    """What of a run is not seen, where that is too much; empty where it is not."""
    which = [
        [place for place, _ in group]
        for has, group in groupby(enumerate(known.tolist()), lambda one: one[1])
        if not has
    ]
    last = len(known) - 1
    words = [
        _numbers(gap) for gap in which if len(gap) > MOST_UNSEEN or gap[0] == 0 or gap[-1] == last
    ]  # fmt: skip
    if not words:
        return ""
    return (
        f"was not seen for sure at {', '.join(words[:4])}{' and more' if words[4:] else ''} of its {len(known)} pixels"
    )


def _numbers(gap: Sequence[int]) -> str:
    return f"{gap[0] + 1}" if len(gap) == 1 else f"{gap[0] + 1}-{gap[-1] + 1}"
