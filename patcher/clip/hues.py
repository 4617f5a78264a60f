"""In which colour each light plays each segment, as the camera sees it.

A camera mixes colours, and the more so the brighter a light is: its red may be nearly white. So colours are held
against each other. What it sees of each letter is learned from all lights, most of which are as planned; and of one
light only the differences between its segments count, for light around it tints them all alike. How deep they are in
all counts for little: a light that is paler than others is as red in its red as they are, against its own green.
"""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from patcher.clip.decode import Numbers
from patcher.clip.lights import Lights

Hues = NDArray[np.int8]

DARK, UNKNOWN = -1, -2
"""In place of the number of a letter: nothing plays; not to be told."""
SEEN = "RGBW"
"""The letters that a camera tells apart."""
PURE = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1 / 3, 1 / 3, 1 / 3]])
"""What a camera without any cross-talk would see of each."""
PLAYS, SILENT = 0.4, 0.3
"""How well a segment goes with its word where it plays for sure, and where it is dark."""
FAINT, FAINTER, STRONG, NEIGHBOURS = 0.2, 0.1, 0.2, 10
"""A segment is dark where it has less than such a part of what it has in so many lights nearby, or less than such a
part of what it has in all, against the light's own other segments, and these are not much weaker than those of the
lights nearby."""
UNLIKE, LEAST_UNLIKE = 3.0, 0.08
"""It goes worse with its word than those do: by so many times what they differ by, and by how much they differ at
least."""
LEAST_ERROR = 0.3
"""Grey levels by which noise lets a swing be off at least."""
AGAINST, LEAST_PART = 0.2, 0.1
"""Such a part of a light's brightness that goes against its word is much; with less than such a part of the brightest
segment, one does not play for sure."""
PLANNED, SURE = 8.0, 4.0
"""What speaks against any other colours than the planned ones, as a logarithm; by how much less than against all others
must speak against those that are held to be true."""
APART = 14.0
"""How much must speak against other letters in a light that looks just as it should, so that anything is told."""
UNLIKELY, UNLIKELY_OF_TWO = 60.0, 30.0
"""Where so much speaks against the likeliest colours, too, the light goes with none; where two segments are all that is
known of it, less does."""
UNSURE, UNSURE_PART = 10.0, 0.25
"""Where so much speaks against colours that are not the planned ones, and such a part of what speaks against those,
neither is told."""
WIDER = 1.3
"""By how much more lights are held to differ than most of them do."""
NARROW = 0.012
"""Parts of red, green and blue, each 0 to 1, by which lights of one colour differ at least."""
PALEST, DEEPEST, FOR_DEPTH = 0.5, 1.5, 3
"""A light's colours may be so many times as deep as those of most; with fewer segments that is not to be told."""
UNKNOWN_SPREAD = 0.1
"""Parts by which lights of one colour differ where too few say how much."""
ROUNDS = 6
CLEARLY = 0.03
"""Parts of red, green and blue by which the right naming of colours must be better than any other."""
FEW = 8
"""With fewer lights of a letter, it is held to be what a camera without cross-talk would see."""


def hues(lights: Lights, planned: Hues, letters: str) -> Hues:
    """The letter, as its number in `SEEN`, that each light plays in each segment: shape (lights, segments).

    Args:
        lights: what was read.
        planned: the letters that the word of each is planned to play, or `DARK` or `UNKNOWN`: shape (lights, segments).
        letters: those that the show has.
    """
    level = np.maximum(lights.swing, 0)
    total = level.sum(axis=2)
    plays = (lights.parts > PLAYS) & (total > 0)
    mix = _mix(level, plays, planned)
    own = [number for number, letter in enumerate(SEEN) if letter in letters]
    found, strange = np.full(lights.parts.shape, UNKNOWN, dtype=np.int8), np.zeros(len(plays), dtype=bool)
    if not own or not len(found):
        return found
    centres = _centres(mix, plays, planned, own)
    if centres is None:
        return found
    known = plays.all(axis=1) & np.isin(planned, own).all(axis=1)
    noise = _noise(lights, total, plays) ** 2
    # Noise beyond the usual one adds to what lights of one colour differ by: variances add.
    more = np.maximum(0, noise - (np.median(noise[known], axis=0) if known.any() else 0.0))
    for pattern in np.unique(np.hstack([plays, planned]), axis=0):
        rows = np.flatnonzero((np.hstack([plays, planned]) == pattern).all(axis=1))
        segments, meant = np.flatnonzero(pattern[: plays.shape[1]]), pattern[plays.shape[1] :]
        if len(segments) > 1 and np.isin(meant, own).all():
            some = np.ix_(rows, segments)
            spread = _spread(mix[np.ix_(known, segments)], planned[np.ix_(known, segments)], centres, own)
            found[some], easy = _told(
                mix[some], spread, more[some].reshape(len(rows), -1), meant[segments], centres, own
            )  # fmt: skip
            weak = total[some] < LEAST_PART * total[some].max(axis=1, keepdims=True)
            found[np.ix_(rows[weak.any(axis=1)], segments)] = UNKNOWN
            strange[rows] = (easy & (found[some] == UNKNOWN)).any(axis=1)
    # A light whose other colours are strange lacks none for sure: something else is wrong with what is seen of it. Nor
    # does one of which another segment hardly plays, or whose light goes against its word.
    dark = _dark(lights, total, plays, planned) & ~strange[:, None]
    due = np.isin(planned, own)
    against = np.maximum(0, -lights.swing).max(axis=2) > AGAINST * _strength(total, plays)[:, None]
    dark &= (plays | dark | ~due).all(axis=1, keepdims=True) & ~against
    found[dark] = DARK
    return found


def _strength(total: Numbers, plays: NDArray[np.bool_]) -> Numbers:
    """How bright each light is, on the mean of the segments that play: shape (lights,)."""
    return np.asarray(np.where(plays, total, 0).sum(axis=1) / np.maximum(plays.sum(axis=1), 1), dtype=np.float32)


def _noise(lights: Lights, total: Numbers, plays: NDArray[np.bool_]) -> Numbers:
    """By how much noise lets each part of a mixture be off: shape (lights, segments, 3).

    No word takes light away. Where much goes against a light's word, its colours may be off by as much.
    """
    own = np.maximum(_strength(total, plays), LEAST_ERROR)[:, None, None]
    against = np.maximum(0, -lights.swing).max(axis=(1, 2), keepdims=True) / own
    error = np.maximum(lights.error, LEAST_ERROR) / own
    return np.asarray(np.where(against > AGAINST, np.maximum(error, against), error), dtype=np.float32)


def _dark(lights: Lights, total: Numbers, plays: NDArray[np.bool_], planned: Hues) -> NDArray[np.bool_]:
    """Which segments of which lights are dark: those in which lights nearby, with the same letter, are not."""
    found = np.zeros(total.shape, dtype=bool)
    strength = _strength(total, plays)
    part = total / np.maximum(strength, LEAST_ERROR)[:, None]
    for segment, letter in product(range(total.shape[1]), range(len(SEEN))):
        some = np.flatnonzero((planned[:, segment] == letter) & plays.any(axis=1))
        if len(some) <= NEIGHBOURS:
            continue
        near = some[cKDTree(lights.at[some]).query(lights.at[some], k=NEIGHBOURS + 1)[1][:, 1:]]
        goes, there = lights.parts[near, segment], part[near, segment]
        usual = np.median(goes, axis=1)
        unlike = 1.48 * np.median(np.abs(goes - usual[:, None]), axis=1)  # as a standard deviation, whatever a few do
        least = usual - UNLIKE * np.maximum(LEAST_UNLIKE, unlike)
        own = lights.parts[some, segment]
        if np.median(own) < PLAYS:  # the clip shows nothing of this segment
            continue
        beside = (own < np.minimum(SILENT, least)) & (part[some, segment] < FAINT * np.median(there, axis=1))
        # Where all of a run lacks it, those nearby do, too.
        least_of_all = np.median(own) - UNLIKE * max(
            LEAST_UNLIKE, 1.48 * float(np.median(np.abs(own - np.median(own))))
        )
        of_all = (own < min(SILENT, least_of_all)) & (part[some, segment] < FAINTER * np.median(part[some, segment]))
        found[some, segment] = (beside | of_all) & (strength[some] > STRONG * np.median(strength[near], axis=1))
    return found


def _mix(level: Numbers, plays: NDArray[np.bool_], planned: Hues) -> Numbers:
    """Red, green and blue of each segment against a light's own brightness on the mean: shape (lights, segments, 3).

    How bright a segment is tells its letter, too. A camera that adapts makes one segment brighter than another in all
    lights; as each letter plays in each segment somewhere, that is known, and taken out.
    """
    total = level.sum(axis=2)
    found = level.copy()
    for segment in range(level.shape[1]):
        ratios = []
        for letter in range(len(SEEN)):
            some, every = plays[:, segment] & (planned[:, segment] == letter), plays & (planned == letter)
            if some.sum() >= FEW:
                ratios.append(float(np.median(total[some, segment]) / np.median(total[every])))
        if ratios:
            found[:, segment] /= max(0.1, float(np.median(ratios)))
    own = _strength(found.sum(axis=2), plays)
    return np.asarray(found / np.maximum(own, 1e-6)[:, None, None], dtype=np.float32)


def _centres(mix: Numbers, plays: NDArray[np.bool_], planned: Hues, own: list[int]) -> NDArray[np.float64] | None:
    """What the camera sees of each letter: shape (letters of SEEN, 3); None where it cannot be told.

    It is learned from the lights that play all segments, from what they are planned to be and from what they look like;
    the better of the two is kept. Which of those colours is whose, red being the redder one, the camera tells: all
    pixels of a show may take another order.
    """
    whole = plays.all(axis=1)
    if len(own) < 2 or whole.sum() < FEW:
        return PURE.copy()
    some, meant = mix[whole], planned[whole]
    by_plan = PURE.copy()
    for number in own:
        if (meant == number).sum() >= FEW:
            by_plan[number] = np.median(some[meant == number], axis=0)
    mean = some.reshape(-1, 3).mean(axis=0)
    pale = float(np.abs(some.reshape(-1, 3) - mean).mean() / np.abs(PURE[own] - PURE[own].mean(axis=0)).mean())
    by_look = PURE.copy()
    by_look[own] = mean + (PURE[own] - PURE[own].mean(axis=0)) * pale
    return _named(min((_learned(some, begin, own) for begin in (by_plan, by_look)), key=lambda one: one[0])[1], own)


def _learned(some: Numbers, centres: NDArray[np.float64], own: list[int]) -> tuple[float, NDArray[np.float64]]:
    """Colours that fit lights best, from some to begin with, and by how much the lights are off."""
    centres, off = centres.copy(), np.inf
    for _ in range(ROUNDS):
        ways, cost = _ways(some, np.ones(some.shape[:2]), centres, own)
        found = ways[cost.argmin(axis=1)]
        off = float(np.sqrt(cost.min(axis=1)).mean())
        tint = some.mean(axis=1, keepdims=True) - centres[found].mean(axis=1, keepdims=True)
        for number in own:
            if (found == number).sum() >= FEW:
                centres[number] = np.median((some - tint)[found == number], axis=0)
    return off, centres


def _named(centres: NDArray[np.float64], own: list[int]) -> NDArray[np.float64] | None:
    """The same colours, each under the letter that it looks like; None where another naming is nearly as good."""
    mean = centres[own].mean(axis=0)
    orders = list(permutations(own))
    looks = [
        sum(float((centres[n] - mean) @ PURE[name]) for n, name in zip(own, names, strict=True)) for names in orders
    ]
    fits = sorted(zip(looks, orders, strict=True), reverse=True)
    if fits[0][0] - fits[1][0] < CLEARLY:
        return None
    named = centres.copy()
    for number, name in zip(own, fits[0][1], strict=True):
        named[name] = centres[number]
    return named


def _spread(mix: Numbers, planned: Hues, centres: NDArray[np.float64], own: list[int]) -> NDArray[np.float64]:
    """The covariance of the differences between lights that play alike: shape (n, n), n = segments × 3.

    Most lights play what is planned, or all of them the same other order. Some may be wired wrongly: those that are
    furthest off do not count.
    """
    size = mix.shape[1] * 3
    if len(mix) < FEW * 2:
        return np.eye(size) * UNKNOWN_SPREAD**2
    names = np.zeros(len(SEEN), dtype=np.int8)
    tried: list[NDArray[np.float64]] = []
    for order in permutations(own):
        names[own] = order
        meant = _flat(centres[names[planned]])
        tried.append(_flat(mix) / _depth(_flat(mix), meant) - meant)
    flat = min(tried, key=lambda off: float(np.median((off**2).sum(axis=1))))
    # Begun with all, the spread would hold two orders for one that differs much.
    away = (flat**2).sum(axis=1)
    kept = away <= np.median(away)
    spread = np.eye(size)
    for _ in range(ROUNDS):
        spread = flat[kept].T @ flat[kept] / kept.sum() + NARROW**2 * np.eye(size)
        away = np.einsum("ni,ij,nj->n", flat, np.linalg.inv(spread), flat)
        kept = away <= max(float(np.median(away)) * 3, float(np.quantile(away, 0.5)))
    return np.asarray(WIDER**2 * spread, dtype=np.float64)


def _told(
    mix: Numbers,
    spread: NDArray[np.float64],
    more: NDArray[np.float64],
    planned: Hues,
    centres: NDArray[np.float64],
    own: list[int],
) -> tuple[Hues, NDArray[np.bool_]]:
    """The letters that some lights play in some segments, `UNKNOWN` where they cannot be told; and which of them can be
    told of lights without noise of their own.

    Args:
        mix: of each light: shape (lights, segments, 3).
        spread: as `_spread` gives it.
        more: the variance of each light's parts beyond that: shape (lights, n).
        planned: the letters that are planned, of all of them alike: shape (segments,).
        centres: what the camera sees of each.
        own: the letters that there are.
    """
    ways = _ways_of(planned, own)
    meant, seen = _flat(centres[ways]), _flat(mix)
    as_planned = meant[(ways == planned).all(axis=1)]
    depth = _depth(seen, as_planned)
    meant, seen, more = meant / _depth(meant, as_planned), seen / depth, more / depth**2
    count = mix.shape[1]
    flat = np.kron(np.eye(count) - 1 / count, np.eye(3))
    clear = np.linalg.inv(spread)
    inverse = np.linalg.inv(spread + np.einsum("ik,nk,jk->nij", flat, more, flat))

    def against(off: NDArray[np.float64], inverse: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.einsum("nwi,nij,nwj->nw", off, inverse, off, optimize=True) / 2, dtype=np.float64)

    off = against(seen[:, None] - meant[None], inverse)
    cost = off + PLANNED * (ways != planned).any(axis=1)
    best = cost.argmin(axis=1)
    found: Hues = ways[best].copy()
    easy = np.zeros(found.shape, dtype=bool)
    apart_by = meant[best][:, None] - meant[None]
    between, at_best = against(apart_by, inverse), against(apart_by, np.broadcast_to(clear, inverse.shape))
    every = np.arange(len(mix))
    for segment in range(count):
        other = ways[None, :, segment] != found[:, None, segment]
        rival = np.where(other, cost, np.inf).min(axis=1)
        # Where little would speak against other letters in a light that looks just as it should, one that plays other
        # letters may look like it by chance.
        apart = np.where(other, between, np.inf).min(axis=1)
        easy[:, segment] = np.where(other, at_best, np.inf).min(axis=1) >= APART
        found[(rival - cost[every, best] < SURE) | (apart < APART), segment] = UNKNOWN
    least, as_meant = off[every, best], (ways == planned).all(axis=1)
    neither = ~as_meant[best] & (least > np.maximum(UNSURE, UNSURE_PART * off[:, as_meant][:, 0]))
    found[neither | (least > (UNLIKELY if count > 2 else UNLIKELY_OF_TWO))] = UNKNOWN
    return found, easy


def _ways_of(planned: Hues, own: list[int]) -> Hues:
    """How a pixel that is planned to play these letters may play others: each letter another one: (ways, segments)."""
    names = np.zeros(len(SEEN), dtype=np.int8)
    ways = []
    for order in permutations(own):
        names[own] = order
        ways.append(names[planned])
    return np.unique(np.array(ways, dtype=np.int8), axis=0)


def _flat(mix: NDArray[np.generic]) -> NDArray[np.float64]:
    """Differences between segments of lights as bright as each other, laid side by side: shape (…, segments × 3)."""
    level = np.asarray(mix, dtype=np.float64)
    level = level / np.maximum(level.sum(axis=2).mean(axis=1), 1e-6)[:, None, None]
    return np.asarray((level - level.mean(axis=1, keepdims=True)).reshape(len(level), -1), dtype=np.float64)


def _depth(flat: NDArray[np.float64], usual: NDArray[np.float64]) -> NDArray[np.float64]:
    """How deep the colours of lights are against the usual: shape (…, 1); 1 where all segments play the same letter."""
    own, size = (np.linalg.norm(each, axis=-1, keepdims=True) for each in (flat, usual))
    if flat.shape[-1] < 3 * FOR_DEPTH:
        return np.ones_like(own)
    depth = np.divide(own, size, out=np.ones_like(own), where=size > 1e-9)
    return np.asarray(np.clip(depth, PALEST, DEEPEST), dtype=np.float64)


def _ways(
    mix: Numbers, width: NDArray[np.float64], centres: NDArray[np.float64], own: list[int]
) -> tuple[Hues, NDArray[np.float64]]:
    """Every way in which lights may play their segments, and what speaks against each: shape (lights, ways)."""
    ways = np.array(list(product(own, repeat=mix.shape[1])), dtype=np.int8)
    seen = mix - mix.mean(axis=1, keepdims=True)
    meant = centres[ways] - centres[ways].mean(axis=1, keepdims=True)
    cost = np.zeros((len(mix), len(ways)))
    for segment in range(mix.shape[1]):
        off = ((seen[:, None, segment] - meant[None, :, segment]) ** 2).sum(axis=2)
        cost += off / (2 * width[:, segment, None] ** 2)
    return ways, cost
