"""The eye: what a person can tell apart from ten metres away in the dark, and how often they miss it.

Whatever answers a question answers through this file: the yard's lamps, what a diagnosis predicts, the tests. It knows
no show and no fault; lamps come to it as *shades*. **It is a proposal, not measured on people**: the issue that asked
for it fixed what an eye can do, the figures are from there, and no one has yet stood in a garden and counted.

An eye

- tells red, green, blue, white and dark; a lamp of another mixture is *odd*; a lamp whose data is broken *flickers*;
- counts to four: where at most four lamps of a run are lit it sees each of them, and every gap between them;
- calls a colour seen in a longer stretch where two lamps or more show it;
- sees a dark lamp in a longer stretch only between lit ones, and misses it three times in ten;
- where all that is lit on a run should be one stretch of one colour, and it is asked whether that is so, sees a single
  pixel of another colour at once (what stands out needs no search; from memory: A. Treisman and G. Gelade, 1980), and a
  dark one as above;
- tells behind which colour of several stretches a single pixel of another one is, and misses it one time in ten;
- tells whether the first pixel that flickers comes before all that are steady, from the first one on;
- names an end, a quarter of a run or of a grid, the outermost lamp; never a pixel's number;
- sees a single dot go along a run, and on along the next, and in which of up to four goes it vanished; and two lamps
  side by side, and in which go one of them was dark or a dark lamp was between them: two it counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from patcher.trade import colour_name

Shades = NDArray[np.uint8]
"""What each lamp shows: shape (variants, lamps)."""
Chances = NDArray[np.float64]
"""How likely each answer is: shape (variants, answers); the rows sum to 1."""

DARK, RED, GREEN, BLUE, WHITE, ODD, FLICKER = range(7)
COLOURS = {"red": RED, "green": GREEN, "blue": BLUE, "white": WHITE}
"""The shades that a frame may ask for, by name."""
BROKEN = 0x80
"""The bit that says that a lamp's data is broken, in place of which of its channels are lit."""

COUNTS_TO = 4
SEEN_FROM = 2
"""So many lamps must show a colour for it to be seen in a longer stretch."""
MISSES = 0.3
"""How often a gap in a longer stretch is missed."""
MISSES_ODD = 0.1
"""How often a lamp of another colour is missed among several stretches."""
MOST = 0.75
"""This part of a run must show a shade for the run to be called by it."""

CANNOT_TELL = "can't tell"
NEVER_DARK, NEVER_APART = "it never vanished", "they never came apart"
NEVER = (NEVER_DARK, NEVER_APART)
"""Answers that say of a frame that moves that all of it was as it should be."""
WHOLE = 1 << 20
"""In place of a number of passes: all of them, to the end."""
NOBODY, SEVERAL = -1, -2
"""In place of a lamp that a channel lights: it lights none, or more than one."""

AskKind = Literal[
    "whole", "outer", "colours", "gap", "where", "flicker", "few", "vanish", "together", "even", "alike", "odd"
]
PRICES: dict[AskKind, float] = {
    "whole": 1.0, "outer": 1.0, "colours": 1.0, "flicker": 1.0, "where": 1.0, "few": 1.0, "gap": 1.5, "vanish": 2.0,
    "together": 2.0, "even": 1.0, "alike": 1.5, "odd": 1.5,
}  # fmt: skip
"""What a look costs a person, in looks at one place. A proposal too: a gap wants searching, a dot wants waiting."""
FURTHER = 0.15
"""What each further run costs where few lamps are read off several."""
QUARTERS = ("bottom left", "bottom right", "top left", "top right")

LINE = 1 << 20
"""Between the places of lamps that are side by side on two lines of a grid; no run has so many lamps."""

Sight = tuple[tuple[int, ...], ...]
"""What is read off some runs on which few lamps are lit: for each run its steady lamps in order, each as a number of
its shade and, on a grid, its quarter, else whether a dark lamp follows before the next. `MANY` and `FLICKERS` stand
for what cannot be counted.
"""
MANY, FLICKERS = -1, -2
_GAP, _QUARTER = 8, 16


def shade_table(letters: str) -> Shades:
    """From the bits of a pixel's lit channels, its first letter's lowest, to its shade; 256 of them.

    White is the white chip alone, or red, green and blue together.
    """
    table = np.full(256, FLICKER, dtype=np.uint8)
    named = COLOURS | {"dark": DARK}
    for bits in range(BROKEN):
        lit = {letter for number, letter in enumerate(letters) if bits >> number & 1}
        table[bits] = named.get(colour_name(lit) or "", ODD)
    return table


@dataclass(frozen=True)
class Ask:
    """One thing that is asked of an eye before a frame.

    Attributes:
        kind: what is asked: the shade of a run as a whole; the shade of the outermost steady lamp at an end; which
            colour is missing; behind which colour is a gap; where is a colour; does it flicker; in which go did the dot
            vanish; in which did two lamps not stand together; which of some sights do few lamps give; has all that
            should be lit one colour; the same in several colours, one after the other, of several runs; behind
            which colour is a single pixel of another one.
        runs: the runs to look at: one, but for `few` and what goes on along others.
        answers: what can be said, for a person, "can't tell" last.
        colours: those of the frame, as far as they are asked about.
        end: for `outer`: −1 for the last lamp, 0 for the first.
        quarters: for `where`: the quarter, 0 to 3, that each lamp is in.
        goes: for `vanish` and `together`: the go, from 0, that each step of the frame belongs to.
        places: for `together`: where the lamps of the runs are, 1 or `LINE` apart where side by side: shape (lamps,).
        sights: for `few`: those that are offered.
        grids: for `few`: for each run the quarter of each lamp, None where it is no grid.
        count: for `even`: how many pixels should be lit.
        counts: for `alike`: how many pixels of each run should be lit in each colour: one tuple for each colour.
        needs: for each answer how many passes must have begun before it can be true: one that names a pass needs that
            pass, one about the whole frame all of it, `WHOLE`. Empty where nothing moves: all can be said at once.
        parts: for `vanish` and `together`: the runs along which it goes only a part of the way.
        steady: for `alike`: what is dark or flickers is not asked about.
    """

    kind: AskKind
    runs: tuple[str, ...]
    answers: tuple[str, ...]
    colours: tuple[str, ...] = ()
    end: int = 0
    quarters: NDArray[np.int8] | None = field(default=None, compare=False, repr=False)
    goes: NDArray[np.int8] | None = field(default=None, compare=False, repr=False)
    places: NDArray[np.int64] | None = field(default=None, compare=False, repr=False)
    sights: tuple[Sight, ...] = ()
    grids: tuple[NDArray[np.int8] | None, ...] = field(default=(), compare=False, repr=False)
    count: int = 0
    counts: tuple[tuple[int, ...], ...] = ()
    needs: tuple[int, ...] = ()
    parts: tuple[str, ...] = ()
    steady: bool = False

    @property
    def price(self) -> float:
        """What it costs."""
        return PRICES[self.kind] + (FURTHER * (len(self.runs) - 1) if self.kind == "few" else 0.0)


def whole(run: str) -> Ask:
    """What does the run look like as a whole?"""
    said = ("dark", *COLOURS, "another colour", "it flickers", "several colours", CANNOT_TELL)
    return Ask("whole", (run,), said)


def outer(run: str, end: int) -> Ask:
    """What colour is the outermost lamp that is lit and steady, from the first lamp (0) or the last (−1)?"""
    said = ("nothing is lit", *COLOURS, "another colour", "lit ones only flicker", CANNOT_TELL)
    return Ask("outer", (run,), said, end=end)


def even(run: str, colour: str, count: int) -> Ask:
    """So many pixels should be lit, in one colour (any but those of `COLOURS` is another one): are they all alike?"""
    said = ("all alike", "not all: one is dark, dimmer or of another colour", CANNOT_TELL)
    return Ask("even", (run,), said, (colour,), count=count)


def alike(
    runs: tuple[str, ...], colours: tuple[str, ...], counts: tuple[tuple[int, ...], ...], *, steady: bool = False
) -> Ask:
    """All of some runs in one colour after the other: is any pixel dark, dimmer or of another colour? Steady: is any of
    another colour, of those that are lit and steady?
    """
    said = (
        "all are alike",
        *(f"not in {colour}" for colour in colours),
        "not in several colours",
        "something flickers",
    )
    needs = (WHOLE,) * (len(said) - 1) + (0, 0)
    return Ask("alike", runs, (*said, CANNOT_TELL), colours, counts=counts, needs=needs, steady=steady)


def missing(run: str, colours: tuple[str, ...]) -> Ask:
    """Which of the frame's colours is missing?"""
    said = ("none is missing", *(f"{colour} is missing" for colour in colours), "several are missing", "nothing is lit")
    return Ask("colours", (run,), (*said, CANNOT_TELL), colours)


def gap(run: str, colours: tuple[str, ...]) -> Ask:
    """Is there a gap, and which colour is just before it, coming from the first lamp?"""
    said = ("no gap", *(f"after {colour}" for colour in colours), "several gaps, or elsewhere", CANNOT_TELL)
    return Ask("gap", (run,), said, colours)


def odd(run: str, colours: tuple[str, ...]) -> Ask:
    """Is there a single lamp of another colour in a stretch, and which colour is just before it?"""
    said = ("none", *(f"after {colour}" for colour in colours), "several, or elsewhere", CANNOT_TELL)
    return Ask("odd", (run,), said, colours)


def where(run: str, colour: str, quarters: NDArray[np.int8], names: Sequence[str]) -> Ask:
    """In which quarter is the light of that colour?"""
    said = (*names, "in more than one", f"no {colour} anywhere", CANNOT_TELL)
    return Ask("where", (run,), said, (colour,), quarters=quarters)


def flicker(run: str) -> Ask:
    """Does anything on the run flicker?"""
    return Ask("flicker", (run,), ("nothing", "a part of it", "all of it", CANNOT_TELL))


def vanish(runs: tuple[str, ...], goes: NDArray[np.int8], parts: tuple[str, ...] = ()) -> Ask:
    """A single dot goes along in up to four passes, with a rest between: in which did it first vanish? It may go on
    along other runs.
    """
    said = (*_passes(goes), NEVER_DARK, "I never saw one", CANNOT_TELL)
    return Ask("vanish", runs, said, goes=goes, needs=_needs(goes), parts=parts)


def together(
    runs: tuple[str, ...], goes: NDArray[np.int8], places: NDArray[np.int64], parts: tuple[str, ...] = ()
) -> Ask:
    """The same with two pixels side by side: in which pass were they first not so, one dark or another between them?"""
    said = (*_passes(goes), NEVER_APART, "I never saw two", CANNOT_TELL)
    return Ask("together", runs, said, goes=goes, places=places, needs=_needs(goes), parts=parts)


def _passes(goes: NDArray[np.int8]) -> tuple[str, ...]:
    return tuple(f"pass {number + 1}" for number in range(int(goes.max()) + 1))


def _needs(goes: NDArray[np.int8]) -> tuple[int, ...]:
    return (*range(1, int(goes.max()) + 2), WHOLE, WHOLE, 0)


def few(runs: tuple[str, ...], sights: tuple[Sight, ...], grids: tuple[NDArray[np.int8] | None, ...]) -> Ask:
    """Where few lamps are lit on some runs: which of these do they give?"""
    lit = any(lamps for sight in sights for lamps in sight)
    said = (*(in_words(runs, sight) for sight in sights), "none of these" if lit else "something is lit", CANNOT_TELL)
    return Ask("few", runs, said, sights=sights, grids=grids)


def in_words(runs: Sequence[str], sight: Sight) -> str:
    """A sight for a person, each run from its first lamp on: `eaves: red, gap, blue; gable: nothing`; `nothing`
    where nothing is lit on any of them.
    """
    of_runs = [", ".join(_lamp_words(lamps)) or "nothing" for lamps in sight]
    if len(runs) == 1 or set(of_runs) == {"nothing"}:
        return of_runs[0]
    return "; ".join(f"{run}: {words}" for run, words in zip(runs, of_runs, strict=True))


def _lamp_words(lamps: Sequence[int]) -> Iterator[str]:
    names = {shade: name for name, shade in COLOURS.items()} | {ODD: "another colour"}
    for quarter, group in groupby(lamps, lambda lamp: max(lamp, 0) // _QUARTER):
        said: list[str] = []
        for lamp in group:
            said += [names[lamp % _GAP]] if lamp >= 0 else ["more than four" if lamp == MANY else "some flicker"]
            said += ["gap"] * (lamp >= 0 and bool(lamp & _GAP))
        in_quarter = " and ".join(filter(None, (", ".join(said[:-1]), said[-1])))
        yield f"{in_quarter} {QUARTERS[quarter - 1]}" if quarter else ", ".join(said)


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
            shades: for each of the ask's runs, its lamps.

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

    def evenly(self, ask: Ask, run: str, colour: str, count: int, shades: Shades) -> NDArray[np.float64]:
        """How likely all that is lit on a run is found alike, where so many pixels should be: shape (variants,); NaN
        where something flickers, and that is asked about.
        """
        if ask.steady:
            other = (shades != DARK) & (shades != FLICKER) & (shades != COLOURS.get(colour, ODD))
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

    def holds(self, ask: Ask, lamps: NDArray[np.int32]) -> NDArray[np.bool_]:
        """Whether a step is as it should be: the dot is there, or two lamps are side by side.

        Args:
            ask: `vanish` or `together`.
            lamps: the lamp that each lit channel of each step lights, counted on through the runs; `NOBODY` and
                `SEVERAL`: shape (variants, steps, channels).

        Returns:
            Shape (variants, steps).
        """
        if ask.places is None:
            return np.asarray((lamps != NOBODY).any(axis=2))
        first, second = lamps[:, :, 0], lamps[:, :, 1]
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
        goes = int(ask.goes.max()) + 1
        return _surely(np.where(some, np.append(ask.goes, goes)[first], goes + 1), ask)

    def watches(self, ask: Ask, lamps: NDArray[np.int32]) -> Chances:
        """The same from the lamps that each step lights: shape (variants, steps, channels)."""
        return self.follows(ask, *parted(self.holds(ask, lamps)))

    def reads(self, shades: Shades, quarters: NDArray[np.int8] | None = None) -> list[tuple[int, ...]]:
        """What is read off a run on which few lamps are lit, for each variant.

        Args:
            shades: its lamps.
            quarters: the quarter of each lamp, where it is a grid.
        """
        steady = (shades != DARK) & (shades != FLICKER)
        count, flickers = steady.sum(axis=1), (shades == FLICKER).any(axis=1)
        rows, lamps = np.nonzero(steady & (count <= COUNTS_TO)[:, None])
        read = shades[rows, lamps].astype(np.int64)
        if quarters is not None:
            read += _QUARTER * (quarters[lamps].astype(np.int64) + 1)
        elif self.gaps and len(rows) > 1:
            # Dark lamps before each lamp; where much flickers, no gap between few is seen.
            dark = np.cumsum(shades == DARK, axis=1)[rows, lamps]
            follows = (rows[1:] == rows[:-1]) & (dark[1:] > dark[:-1])
            counted = ((shades != DARK).sum(axis=1) <= COUNTS_TO)[rows[:-1]]
            read[:-1] += _GAP * (follows & counted)
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
        surely = (on & (shades != COLOURS.get(ask.colours[0], ODD))).any(axis=1) | (count < MOST * ask.count)
        if ask.count <= COUNTS_TO:
            surely |= count != ask.count
        alike = np.where((gaps > 0) & self.gaps, np.where(count > COUNTS_TO, MISSES, 0.0), 1.0) * ~surely
        return np.column_stack([alike, 1.0 - alike, np.zeros(len(alike))])

    def _gap(self, shades: Shades, ask: Ask) -> Chances:
        """A gap is called by the steady lamp before it."""
        found = np.zeros((len(shades), len(ask.answers)))
        if not self.gaps:
            found[:, 0] = 1.0
            return found
        behind, gaps, count = _gaps(shades)
        answer = np.full(len(shades), len(ask.colours) + 1)
        for number, colour in enumerate(ask.colours):
            answer[(gaps == 1) & (behind == COLOURS[colour])] = number + 1
        answer[gaps == 0] = 0
        missed = np.where((count > COUNTS_TO) & (gaps > 0), MISSES, 0.0)
        found[np.arange(len(shades)), answer] = 1.0 - missed
        found[:, 0] += missed
        return found

    def _odd(self, shades: Shades, ask: Ask) -> Chances:
        """A lamp of another colour than those on both sides of it is called by the one before it; to an eye that sees
        no gaps the next lit one is beside it.
        """
        found = np.zeros((len(shades), len(ask.answers)))
        lit = (shades != DARK) & (shades != FLICKER)
        before = _beside(shades, lit | self.gaps)
        behind = _beside(shades[:, ::-1], lit[:, ::-1] | self.gaps)[:, ::-1]
        among = (before != DARK) | (behind != DARK)
        alone = lit & among & (shades != before) & (shades != behind)
        count, first = alone.sum(axis=1), alone.argmax(axis=1)
        follows = before[np.arange(len(shades)), first]
        answer = np.full(len(shades), len(ask.colours) + 1)
        for number, colour in enumerate(ask.colours):
            answer[(count == 1) & (follows == COLOURS[colour])] = number + 1
        answer[count == 0] = 0
        missed = np.where((count > 0) & (len(ask.colours) > 1), MISSES_ODD, 0.0)
        found[np.arange(len(shades)), answer] = 1.0 - missed
        found[:, 0] += missed
        return found


def _beside(shades: Shades, counted: NDArray[np.bool_]) -> Shades:
    """For each lamp the shade of the nearest one before it that is counted; dark where there is none."""
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
    steady = (seen != DARK) & (seen != FLICKER)
    found = seen[np.arange(len(seen)), steady.argmax(axis=1)].astype(np.int64)
    return np.where(steady.any(axis=1), found, np.where((seen == FLICKER).any(axis=1), FLICKER, DARK))


def _steady(shades: Shades) -> NDArray[np.int64]:
    found: NDArray[np.int64] = ((shades != DARK) & (shades != FLICKER)).sum(axis=1)
    return found


def _visible(shades: Shades, colour: str, steady: NDArray[np.int64]) -> NDArray[np.bool_]:
    count = (shades == COLOURS[colour]).sum(axis=1)
    seen: NDArray[np.bool_] = (count >= SEEN_FROM) | ((count > 0) & (steady <= COUNTS_TO))
    return seen


def _missing(shades: Shades, colours: tuple[str, ...]) -> NDArray[np.int64]:
    steady = _steady(shades)
    gone = np.column_stack([~_visible(shades, colour, steady) for colour in colours])
    count = gone.sum(axis=1)
    found = np.where(count == 0, 0, np.where(count == 1, gone.argmax(axis=1) + 1, len(colours) + 1))
    return np.where(steady == 0, len(colours) + 2, found)


def _where(shades: Shades, colour: str, quarters: NDArray[np.int8]) -> NDArray[np.int64]:
    own = shades == COLOURS[colour]
    inside = np.column_stack([own[:, quarters == quarter].any(axis=1) for quarter in range(4)])
    found = np.where(inside.sum(axis=1) > 1, 4, inside.argmax(axis=1))
    return np.where(_visible(shades, colour, _steady(shades)), found, 5)


def _gaps(shades: Shades) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """For each variant the shade before its first gap, the number of gaps, and the number of lit lamps."""
    on = shades != DARK
    count = on.sum(axis=1)
    ends = on.copy()
    ends[:, :-1] &= ~on[:, 1:]
    stretches = ends.sum(axis=1)
    first = ends.argmax(axis=1)
    behind = shades[np.arange(len(shades)), first].astype(np.int64)
    return behind, np.maximum(stretches - 1, 0), count


def goes_of(lengths: Sequence[int]) -> NDArray[np.int8]:
    """The go that each step belongs to, for goes of so many steps each."""
    return np.repeat(np.arange(len(lengths), dtype=np.int8), lengths)
