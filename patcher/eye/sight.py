"""The eye: what a person can tell apart from ten metres away in the dark, and how often they miss it.

Whatever answers a question answers through this room: the yard's pixels, what a diagnosis predicts, the tests. It knows
no show and no fault; pixels come to it as *shades*. **It is a proposal, not measured on people**: the issue that asked
for it fixed what an eye can do, the figures are from there, and no one has yet stood in a garden and counted.

An eye

- tells red, green, blue, white and dark; a pixel of another mixture is *odd*; a pixel whose data is broken *flickers*;
- counts to four: where at most four pixels of a run are lit it sees each of them, and every gap between them;
- calls a colour seen in a longer stretch where two pixels or more show it;
- sees a dark pixel in a longer stretch only between lit ones, and misses it three times in ten;
- where all that is lit on a run should be one stretch of one colour, and it is asked whether that is so, sees a single
  pixel of another colour at once (what stands out needs no search; from memory: A. Treisman and G. Gelade, 1980), and a
  dark one as above; and surely that more than a tenth of it is dark, at an end of it too;
- tells behind which colour of several stretches a single pixel of another one is, and misses it one time in ten;
- tells whether the first pixel that flickers comes before all that are steady, from the first one on;
- names an end, a quarter of a run or of a grid, the outermost pixel; never a pixel's number;
- sees a single dot go along a run, and on along the next, and in which of up to four passes it vanished; and two
  pixels side by side, and in which pass one of them was dark or a dark pixel was between them: two it counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.eye.asks import FLICKERS, GAP, MANY, QUARTER, Ask, even
from patcher.eye.shades import COLOURS, DARK, FLICKER, LINE, NOBODY, ODD, Shades

Chances = NDArray[np.float64]
"""How likely each answer is: shape (variants, answers); the rows sum to 1."""
COUNTS_TO = 4
SEEN_FROM = 2
"""So many pixels must show a colour for it to be seen in a longer stretch."""
MISSES = 0.3
"""How often a gap in a longer stretch is missed."""
MISSES_ODD = 0.1
"""How often a pixel of another colour is missed among several stretches."""
MOST = 0.75
"""This part of a run must show a shade for the run to be called by it."""
MOST_LIT = 0.9
"""Where this part of what should all be lit is not lit, that is seen, wherever it is dark. Common practice, no source:
who looks whether a pixel is dark sees that a tenth of a run is missing at its end, and may miss a few pixels there."""


@dataclass(frozen=True)
class Eye:
    """An eye.

    Attributes:
        gaps: whether it sees gaps at all. The eye that does not is a second proposal, for whoever's string hangs in
            leaves: what is told through gaps alone, it cannot tell.
    """

    gaps: bool = True

    def sees(self, ask: Ask, shades: Sequence[Shades]) -> Chances:
        """How likely each answer is, where nothing but the eye's own misses goes wrong.

        Args:
            ask: what is asked; not `vanish`.
            shades: for each of the ask's runs, its pixels.

        Returns:
            Shape (variants, answers); "can't tell" is never likely: when an eye says it is not known.
        """
        first = shades[0]
        match ask.kind:
            case "whole":
                return _surely(_whole(first), ask)
            case "outer":
                return _surely(_outer(first, ask.end), ask)
            case "colours":
                return _surely(_missing(first, ask.colours), ask)
            case "gap":
                return self._gap(first, ask)
            case "even":
                return self._even(first, ask)
            case "odd":
                return self._odd(first, ask)
            case "where":
                assert ask.quarters is not None  # noqa: S101  (`where` makes it so)
                return _surely(_where(first, ask.colours[0], ask.quarters), ask)
            case "few":
                return _surely(self._few(shades, ask), ask)
            case "flicker":
                broken = (first == FLICKER).sum(axis=1)
                return _surely(np.where(broken == 0, 0, np.where(broken < first.shape[1], 1, 2)), ask)
            case _:
                raise ValueError(ask.kind)

    def evenly(self, ask: Ask, place: int, run: str, shades: Shades) -> NDArray[np.float64]:
        """How likely all that is lit on a run in one of the colours of `alike`, by its place, is found alike: shape
        (variants,); NaN where something flickers, and that is asked about.
        """
        colour, count = ask.colours[place], ask.counts[place][ask.runs.index(run)]
        if not count:
            return np.ones(len(shades))
        if ask.steady:
            other = _is_steady(shades) & (shades != COLOURS.get(colour, ODD))
            return np.where(other.any(axis=1), 0.0, 1.0)
        found: NDArray[np.float64] = self._even(shades, even(run, colour, count))[:, 0]
        found[(shades == FLICKER).any(axis=1)] = np.nan
        return found

    def compares(self, each: NDArray[np.float64]) -> Chances:
        """How likely each answer to `alike` is.

        Args:
            each: how likely all is found alike in each colour, as by `evenly`: shape (variants, colours).
        """
        flickers = np.asarray(np.isnan(each).any(axis=1))
        each = np.where(flickers[:, None], 1.0, each)
        others = np.stack([np.delete(each, place, axis=1).prod(axis=1) for place in range(each.shape[1])], axis=1)
        found = np.column_stack([each.prod(axis=1), (1.0 - each) * others])
        found = np.column_stack([found, np.maximum(1.0 - found.sum(axis=1), 0.0)])
        found[flickers] = 0.0
        return np.column_stack([found, flickers, np.zeros(len(found))])

    def holds(self, ask: Ask, pixels: NDArray[np.int32]) -> NDArray[np.bool_]:
        """Whether a step is right: the dot is there, or two pixels are side by side.

        Args:
            ask: `vanish` or `together`.
            pixels: the pixel that each lit channel of each step lights, counted on through the runs; `NOBODY` and
                `SEVERAL`: shape (variants, steps, channels).

        Returns:
            Shape (variants, steps).
        """
        if ask.places is None:
            return np.asarray((pixels != NOBODY).any(axis=2))
        first, second = pixels[:, :, 0], pixels[:, :, 1]
        two = (first >= 0) & (second >= 0)
        if self.gaps:
            apart = np.abs(ask.places.take(first, mode="clip") - ask.places.take(second, mode="clip"))
            two &= (apart == 1) | (apart == LINE)
        return two

    def follows(self, ask: Ask, first: NDArray[np.int64], some: NDArray[np.bool_]) -> Chances:
        """How likely each answer is to `vanish` and `together`.

        Args:
            ask: what is asked.
            first: for each variant the first step that does not hold; the number of steps where all do.
            some: whether any holds.
        """
        assert ask.goes is not None  # noqa: S101  (both make it so)
        passes = int(ask.goes.max()) + 1
        return _surely(np.where(some, np.append(ask.goes, passes)[first], passes + 1), ask)

    def watches(self, ask: Ask, pixels: NDArray[np.int32]) -> Chances:
        """The same from the pixels that each step lights: shape (variants, steps, channels)."""
        return self.follows(ask, *parted(self.holds(ask, pixels)))

    def reads(self, shades: Shades, quarters: NDArray[np.int8] | None = None) -> list[tuple[int, ...]]:
        """What is read off a run on which few pixels are lit, for each variant.

        Args:
            shades: its pixels.
            quarters: the quarter of each pixel, where it is a grid.
        """
        steady = _is_steady(shades)
        count, flickers = steady.sum(axis=1), (shades == FLICKER).any(axis=1)
        rows, pixels = np.nonzero(steady & (count <= COUNTS_TO)[:, None])
        read = shades[rows, pixels].astype(np.int64)
        if quarters is not None:
            read += QUARTER * (quarters[pixels].astype(np.int64) + 1)
        elif self.gaps and len(rows) > 1:
            # Dark pixels before each pixel; where much flickers, no gap between few is seen.
            dark = np.cumsum(shades == DARK, axis=1)[rows, pixels]
            follows = (rows[1:] == rows[:-1]) & (dark[1:] > dark[:-1])
            counted = ((shades != DARK).sum(axis=1) <= COUNTS_TO)[rows[:-1]]
            read[:-1] += GAP * (follows & counted)
        # On a grid nothing is read in order, so what flickers comes last
        leads = flickers & (quarters is None) & ((shades == FLICKER).argmax(axis=1) < steady.argmax(axis=1))
        flat, ends = read.tolist(), np.cumsum(np.where(count <= COUNTS_TO, count, 0)).tolist()
        return [
            (FLICKERS,) * before + (MANY,) * many + tuple(flat[begin:end]) + (FLICKERS,) * behind
            for begin, end, many, before, behind in zip(
                [0, *ends], ends, (count > COUNTS_TO).tolist(), leads.tolist(), (flickers & ~leads).tolist(),
                strict=False,
            )
        ]  # fmt: skip

    def _few(self, shades: Sequence[Shades], ask: Ask) -> NDArray[np.int64]:
        each = [self.reads(own, quarters) for own, quarters in zip(shades, ask.grids, strict=True)]
        places = {sight: number for number, sight in enumerate(ask.sights)}
        return np.array([places.get(sight, len(places)) for sight in zip(*each, strict=True)], dtype=np.int64)

    def _even(self, shades: Shades, ask: Ask) -> Chances:
        """Another colour, too few, or of few not as many as there should be: surely not alike; a gap: as it is seen."""
        on, (_, gaps, count) = shades != DARK, _gaps(shades)
        surely = (on & (shades != COLOURS.get(ask.colours[0], ODD))).any(axis=1) | (count < MOST_LIT * ask.count)
        if ask.count <= COUNTS_TO:
            surely |= count != ask.count
        alike = np.where((gaps > 0) & self.gaps, np.where(count > COUNTS_TO, MISSES, 0.0), 1.0) * ~surely
        return np.column_stack([alike, 1.0 - alike, np.zeros(len(alike))])

    def _gap(self, shades: Shades, ask: Ask) -> Chances:
        """A gap is called by the steady pixel before it."""
        before, gaps, count = _gaps(shades)
        return _after(ask, gaps * self.gaps, before, np.where(count > COUNTS_TO, MISSES, 0.0))

    def _odd(self, shades: Shades, ask: Ask) -> Chances:
        """A pixel of another colour than those on both sides of it is called by the one before it; to an eye that sees
        no gaps the next lit one is beside it.
        """
        lit = _is_steady(shades)
        before = _beside(shades, lit | self.gaps)
        behind = _beside(shades[:, ::-1], lit[:, ::-1] | self.gaps)[:, ::-1]
        among = (before != DARK) | (behind != DARK)
        alone = lit & among & (shades != before) & (shades != behind)
        follows = before[np.arange(len(shades)), alone.argmax(axis=1)]
        missed = np.full(len(shades), MISSES_ODD if len(ask.colours) > 1 else 0.0)
        return _after(ask, alone.sum(axis=1), follows, missed)


def _after(ask: Ask, count: NDArray[np.int64], before: NDArray[np.integer], missed: NDArray[np.float64]) -> Chances:
    """The answers to `gap` and `odd`: none, one that comes after a colour, or several; it is missed this often."""
    answer = np.full(len(count), len(ask.colours) + 1)
    for number, colour in enumerate(ask.colours, start=1):
        answer[(count == 1) & (before == COLOURS[colour])] = number
    answer[count == 0] = 0
    found = _surely(answer, ask) * (1.0 - missed)[:, None]
    found[:, 0] += missed
    return found


def _beside(shades: Shades, counted: NDArray[np.bool_]) -> Shades:
    """For each pixel the shade of the nearest one before it that is counted; dark where there is none."""
    last = np.where(counted, np.arange(1, shades.shape[1] + 1), 0)
    last = np.maximum.accumulate(last, axis=1)[:, :-1]
    rows = np.arange(len(shades))[:, None]
    found = np.full_like(shades, DARK)
    found[:, 1:] = np.where(last > 0, shades[rows, last - 1], DARK)
    return found


def parted(holds: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """For each variant the first step that does not hold, their number where all do; and whether any holds."""
    first = np.where(holds.all(axis=1), holds.shape[1], (~holds).argmax(axis=1))
    return first, np.asarray(holds.any(axis=1))


def _surely(answer: NDArray[np.int64], ask: Ask) -> Chances:
    found = np.zeros((len(answer), len(ask.answers)))
    found[np.arange(len(answer)), answer] = 1.0
    return found


def _whole(shades: Shades) -> NDArray[np.int64]:
    found = np.full(len(shades), 7, dtype=np.int64)
    least = MOST * shades.shape[1]
    for shade in range(7):
        found[(shades == shade).sum(axis=1) >= least] = shade
    return found


def _outer(shades: Shades, end: int) -> NDArray[np.int64]:
    seen = shades[:, ::-1] if end else shades
    steady = _is_steady(seen)
    found = seen[np.arange(len(seen)), steady.argmax(axis=1)].astype(np.int64)
    return np.where(steady.any(axis=1), found, np.where((seen == FLICKER).any(axis=1), FLICKER, DARK))


def _is_steady(shades: Shades) -> NDArray[np.bool_]:
    return np.asarray((shades != DARK) & (shades != FLICKER))


def _visible(shades: Shades, colour: str) -> NDArray[np.bool_]:
    """Whether a colour is seen: a single pixel of it only where few are lit."""
    count, steady = (shades == COLOURS[colour]).sum(axis=1), _is_steady(shades).sum(axis=1)
    return np.asarray((count >= SEEN_FROM) | ((count > 0) & (steady <= COUNTS_TO)))


def _missing(shades: Shades, colours: tuple[str, ...]) -> NDArray[np.int64]:
    gone = np.column_stack([~_visible(shades, colour) for colour in colours])
    count = gone.sum(axis=1)
    found = np.where(count == 0, 0, np.where(count == 1, gone.argmax(axis=1) + 1, len(colours) + 1))
    return np.where(_is_steady(shades).any(axis=1), found, len(colours) + 2)


def _where(shades: Shades, colour: str, quarters: NDArray[np.int8]) -> NDArray[np.int64]:
    own = shades == COLOURS[colour]
    inside = np.column_stack([own[:, quarters == quarter].any(axis=1) for quarter in range(4)])
    found = np.where(inside.sum(axis=1) > 1, 4, inside.argmax(axis=1))
    return np.where(_visible(shades, colour), found, 5)


def _gaps(shades: Shades) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """For each variant the shade before its first gap, the number of gaps, and the number of lit pixels."""
    on = shades != DARK
    count = on.sum(axis=1)
    ends = on.copy()
    ends[:, :-1] &= ~on[:, 1:]
    stretches = ends.sum(axis=1)
    first = ends.argmax(axis=1)
    behind = shades[np.arange(len(shades)), first].astype(np.int64)
    return behind, np.maximum(stretches - 1, 0), count
