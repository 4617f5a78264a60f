"""In which colour each light plays each segment, as the camera sees it.

A camera mixes colours, and the more so the brighter a light is: its red may be nearly white. So colours are held
against each other. What it sees of each letter is learned from all lights, most of which are as planned; and of one
light only the differences between its segments count, for light around it tints them all alike.
"""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from patcher.clip.decode import Numbers

Hues = NDArray[np.int8]

DARK, UNKNOWN = -1, -2
"""In place of the number of a letter: nothing plays; not to be told."""
SEEN = "RGBW"
"""The letters that a camera tells apart."""
PURE = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1 / 3, 1 / 3, 1 / 3]])
"""What a camera without any cross-talk would see of each."""
PLAYS, SILENT = 0.4, 0.3
"""How well a segment goes with its word where it plays for sure, and where it is dark."""
FAINT = 0.2
"""A segment is dark where it has less than this part of the least that a letter has in other lights, against its
own other segments."""
PLANNED, SURE = 8.0, 4.0
"""What speaks against any other colours than the planned ones, as a logarithm; by how much less than against all others
must speak against those that are held to be true."""
APART = 14.0
"""How much must speak against other letters in a light that looks just as it should, so that anything is told."""
WIDER = 1.3
"""By how much more lights are held to differ than most of them do."""
NARROW = 0.012
"""Parts of red, green and blue, each 0 to 1, by which lights of one colour differ at least."""
ROUNDS = 6
CLEARLY = 0.03
"""Parts of red, green and blue by which the right naming of colours must be better than any other."""
FEW = 8
"""With fewer lights of a letter, it is held to be what a camera without cross-talk would see."""


def hues(swing: Numbers, parts: Numbers, planned: Hues, letters: str) -> Hues:
    """The letter, as its number in `SEEN`, that each light plays in each segment.

    Args:
        swing: by how much red, green and blue go with the word: shape (lights, segments, 3).
        parts: how well each segment goes with it: shape (lights, segments).
        planned: the letters that the word is planned to play, or `DARK` or `UNKNOWN`: shape (lights, segments).
        letters: those that the show has.
    """
    level = np.maximum(swing, 0)
    total = level.sum(axis=2)
    plays = (parts > PLAYS) & (total > 0)
    mix = _mix(level, plays, planned)
    own = [number for number, letter in enumerate(SEEN) if letter in letters]
    found = np.full(parts.shape, UNKNOWN, dtype=np.int8)
    if not own or not len(found):
        return found
    centres = _centres(mix, plays, planned, own)
    if centres is None:
        return found
    known = plays.all(axis=1) & np.isin(planned, own).all(axis=1)
    noise = np.where(plays, _noise(parts), 0).sum(axis=1) / np.maximum(plays.sum(axis=1), 1)
    more = np.maximum(0, noise**2 - (float(np.median(noise[known])) ** 2 if known.any() else 0.0))
    for pattern in np.unique(np.hstack([plays, planned]), axis=0):
        rows = np.flatnonzero((np.hstack([plays, planned]) == pattern).all(axis=1))
        segments, meant = np.flatnonzero(pattern[: plays.shape[1]]), pattern[plays.shape[1] :]
        if len(segments) > 1 and np.isin(meant, own).all():
            some = np.ix_(rows, segments)
            white = _whitening(mix[np.ix_(known, segments)], planned[np.ix_(known, segments)], centres, own)
            # Noise beyond the usual one adds to what lights of one colour differ by: variances add.
            usual_variance = float(np.trace(np.linalg.inv(white @ white.T))) / len(white)
            rough = np.sqrt(1 + more[rows] / usual_variance)
            found[some] = _told(mix[some], white, rough, meant[segments], centres, own)
    strength = np.where(plays, total, 0).sum(axis=1) / np.maximum(plays.sum(axis=1), 1)
    usual = [
        float(np.median((total / np.maximum(strength, 1e-6)[:, None])[some])) for n in own if (some := found == n).any()
    ]
    weak = (total < FAINT * min(usual, default=1.0) * strength[:, None]) & plays.any(axis=1)[:, None]
    found[(parts < SILENT) & weak] = DARK
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
    own = np.where(plays, found.sum(axis=2), 0).sum(axis=1) / np.maximum(plays.sum(axis=1), 1)
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


def _noise(parts: Numbers) -> NDArray[np.float64]:
    """By how much noise alone would change the mixture of a segment, from how well it goes with its word."""
    clean = np.clip(parts, 0.2, 0.999)
    found: NDArray[np.float64] = np.sqrt(1 / clean**2 - 1) / np.sqrt(30)
    return found


def _whitening(mix: Numbers, planned: Hues, centres: NDArray[np.float64], own: list[int]) -> NDArray[np.float64]:
    """What makes the differences between lights that play alike one in each direction: shape (n, n), n = segments × 3.

    Most lights play what is planned, or all of them the same other order. Some may be wired wrongly: those that are
    furthest off do not count.
    """
    size = mix.shape[1] * 3
    if len(mix) < FEW * 2:
        return np.eye(size) / 0.1
    names = np.zeros(len(SEEN), dtype=np.int8)
    tried: list[NDArray[np.float64]] = []
    for order in permutations(own):
        names[own] = order
        tried.append(_flat(mix) - _flat(centres[names[planned]]))
    flat = min(tried, key=lambda off: float(np.median((off**2).sum(axis=1))))
    kept = np.ones(len(flat), dtype=bool)
    spread = np.eye(size)
    for _ in range(ROUNDS):
        spread = flat[kept].T @ flat[kept] / kept.sum() + NARROW**2 * np.eye(size)
        away = np.einsum("ni,ij,nj->n", flat, np.linalg.inv(spread), flat)
        kept = away <= max(float(np.median(away)) * 3, float(np.quantile(away, 0.5)))
    return np.asarray(np.linalg.cholesky(np.linalg.inv(WIDER**2 * spread)), dtype=np.float64)


def _told(
    mix: Numbers,
    white: NDArray[np.float64],
    rough: NDArray[np.float64],
    planned: Hues,
    centres: NDArray[np.float64],
    own: list[int],
) -> Hues:
    """The letters that some lights play in some segments; `UNKNOWN` where they cannot be told.

    Args:
        mix: of each light: shape (lights, segments, 3).
        white: as `_whitening` gives it.
        rough: by how much more than others each light differs from what it should look like: shape (lights,).
        planned: the letters that are planned, of all of them alike: shape (segments,).
        centres: what the camera sees of each.
        own: the letters that there are.
    """
    ways = _ways_of(planned, own)
    meant = _flat(centres[ways]) @ white
    seen = _flat(mix) @ white
    data = ((seen[:, None] - meant[None]) ** 2).sum(axis=2) / (2 * rough[:, None] ** 2)
    cost = data + PLANNED * (ways != planned).any(axis=1)
    best = cost.argmin(axis=1)
    found: Hues = ways[best].copy()
    between = ((meant[:, None] - meant[None]) ** 2).sum(axis=2) / 2
    every = np.arange(len(mix))
    for segment in range(mix.shape[1]):
        other = ways[None, :, segment] != found[:, None, segment]
        rival = np.where(other, cost, np.inf).min(axis=1)
        # Where little would speak against other letters in a light that looks just as it should, one that plays other
        # letters may look like it by chance.
        apart = np.where(ways[None, :, segment] != ways[:, None, segment], between, np.inf).min(axis=1)
        unsure = (rival - cost[every, best] < SURE) | (apart[best] / rough**2 < APART)
        found[unsure, segment] = UNKNOWN
    return found


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
