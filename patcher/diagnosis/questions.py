"""Questions that could be asked: test frames, each with what an eye can be asked of it.

Two families. The *fixed* one of a run: all of it in one colour, its ends in four colours, what lies behind its ends, a
universe off, each port its own colour, a grid's corner. The *narrowing* one follows the belief over places: stretches
in four colours, and two pixels side by side in four passes (`moving_questions.py`), cut where the belief is split
evenly, down to one pixel a colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from patcher import eye
from patcher.diagnosis.hypotheses import UNIVERSES_OFF
from patcher.diagnosis.moving_questions import IN_TURN, Moving, quarters
from patcher.diagnosis.place_words import listed
from patcher.diagnosis.question_frame import (
    BEHIND,
    Candidate,
    Channels,
    Frame,
    Pixels,
    fed_frame,
    joined,
    span_words,
)  # fmt: skip
from patcher.diagnosis.scene import Scene
from patcher.eye import Ask
from patcher.shapes import cells
from patcher.trade import CHANNELS


class Repertoire(Moving):
    """All frames that may be asked about a scene."""

    def __init__(self, scene: Scene) -> None:
        super().__init__(scene)
        self._fixed: dict[str, list[Candidate]] = {}
        self._ports: list[Frame] = []

    def fixed(self, run: str) -> list[Candidate]:
        """The frames of a run that ask always the same; made once."""
        if run not in self._fixed:
            self._fixed[run] = list(self._of_run(run))
        return self._fixed[run]

    def _of_run(self, run: str) -> Iterator[Candidate]:
        count, colours = self.scene.variants[run].pixels, self.painter.colours(run)
        every = np.arange(count)
        asks = (eye.whole(run), eye.flicker(run))
        for colour in colours:
            frame = Frame(f"Lit: all of {run}, {colour}", (self.painter.channels(run, every, colour),))
            yield Candidate(frame, (*asks, eye.gap(run, (colour,)), eye.odd(run, (colour,))))
        yield self.blocks(run, [0, 1, 2, 3, 4])
        yield self.blocks(run, [count - 4, count - 3, count - 2, count - 1, count])
        yield self.blocks(run, quarters(0, count))
        yield self.blocks(run, [count, count + 1, count + 2, count + 3, count + BEHIND], outside=True)
        yield self.blocks(run, [-BEHIND, -3, -2, -1, 0], outside=True)
        for colour in (IN_TURN, *colours):
            yield from self.twos(run, quarters(0, count), colour)
        yield from self._before(run)
        for off in UNIVERSES_OFF if colours else ():
            yield from self._moved(run, off, {colours[-1]: every}, (eye.whole(run),))
        for frame in self._by_port():
            yield Candidate(frame, (eye.whole(run), eye.outer(run, 0), eye.outer(run, -1)))
        yield from self._corner(run)

    def _before(self, run: str) -> Iterator[Candidate]:
        """Single channels just before a run's first: a start that is off by few channels shows one of them."""
        begin = int(self.scene.plan.takes[run][0].min())
        for channel in range(begin - 1, max(begin - 4, -1), -1):
            named = f"universe {channel // CHANNELS + 1}, channel {channel % CHANNELS + 1}"
            says = f"Sent: only {named}, just before the first of {run}; {run} should stay dark"
            frame = Frame(says, (np.array([channel], dtype=np.int64),))
            yield Candidate(frame, (eye.outer(run, 0), eye.whole(run)))

    def ends_off(self, run: str) -> list[Candidate]:
        """A run's ends and halves, each in a colour, on the channels some universes off."""
        count, colours = self.scene.variants[run].pixels, self.painter.colours(run)
        ends = sorted({0, 1, count // 2, count - 1, count})
        parts = {colour: np.arange(a, b) for colour, a, b in zip(colours, ends, ends[1:], strict=False)}
        asks = (eye.outer(run, 0), eye.outer(run, -1), eye.missing(run, tuple(parts)))
        return [one for off in UNIVERSES_OFF for one in self._moved(run, off, parts, asks)]

    def _moved(self, run: str, off: int, parts: dict[str, Pixels], asks: tuple[Ask, ...]) -> Iterator[Candidate]:
        moved = self.painter.paint(run, parts) + off * CHANNELS
        if len(moved) and moved.min() >= 0:
            side = "above" if off > 0 else "below"
            by = f"{abs(off)} universe{'s' * (abs(off) > 1)} {side}"
            says = f"Sent: {listed(list(parts))} to the channels {by} those of {run}; {run} should stay dark"
            yield Candidate(Frame(says, (moved,)), asks)

    def _by_port(self) -> list[Frame]:
        """Frames with each port in a colour of its own, and with each run of a port."""
        if not self._ports:
            wiring = self.scene.plan.wiring
            boxes = dict.fromkeys(wiring.ports[run][0] for run in self.scene.variants)
            groups: list[list[tuple[str, tuple[str, ...]]]] = []
            for box in boxes:
                chains = {f"{box}/{port}": chain for port, chain in wiring.of_controller(box).items()}
                groups.append(list(chains.items()))
                groups += [[(run, (run,)) for run in chain] for chain in chains.values() if len(chain) > 1]
            self._ports = [self._coloured(group[at : at + 4]) for group in groups for at in range(0, len(group), 4)]
        return self._ports

    def _coloured(self, group: Sequence[tuple[str, tuple[str, ...]]]) -> Frame:
        lit, says = [], []
        for colour, (name, runs) in zip(eye.COLOURS, group, strict=False):
            own = [run for run in runs if self.scene.plan.wiring.show.runs[run].hung and run in self.scene.variants]
            shown = [run for run in own if colour in self.painter.colours(run)]
            lit += [self.painter.channels(r, np.arange(self.scene.variants[r].pixels), colour) for r in shown]
            says.append(f"{name} {colour}")
        return Frame(f"Lit: {', '.join(says)}", (joined(lit),))

    def _corner(self, run: str) -> Iterator[Candidate]:
        """A grid's first line red at its begin and blue at its end, the second line green at its begin."""
        show = self.scene.plan.wiring.show
        own, quarter = cells(show, show.runs[run]), self.scene.quarters[run]
        if own is None or quarter is None or not {"red", "green", "blue"} <= set(self.painter.colours(run)):
            return
        along = own[:, 1] if len(own) > 1 and own[0, 1] == own[1, 1] else own[:, 0]
        second = int(np.flatnonzero(along != along[0])[0]) if (along != along[0]).any() else len(own)
        part = max(1, min(second // 4, (len(own) - second) // 4 or 1))
        if second >= len(own):
            return
        parts = {
            "red": np.arange(part), "blue": np.arange(second - part, second),
            "green": np.arange(second, min(second + part, len(own))),
        }  # fmt: skip
        line = "row" if own[0, 1] == own[1, 1] else "column"
        says = (
            f"Lit on {run}: red where the first {line} of its wiring begins, blue where it ends, green where the "
            f"second {line} begins"
        )
        asks = tuple(eye.where(run, colour, quarter, eye.QUARTERS) for colour in parts)
        yield Candidate(Frame(says, (self.painter.paint(run, parts),)), asks)

    def but_for(self, runs: Sequence[str], taken: Channels) -> Frame:
        """Every channel of every universe of the show, but for those that some runs take as is believed."""
        universes = self.scene.plan.patch.universes
        every = ((np.array(universes, dtype=np.int64)[:, None] - 1) * CHANNELS + np.arange(CHANNELS)).ravel()
        says = f"Lit: everything but {listed(list(runs))}; nothing there should be lit"
        return Frame(says, (every[~np.isin(every, taken)],))

    def blocks(self, run: str, bounds: Sequence[int], *, outside: bool = False) -> Candidate:
        """A stretch in up to four colours, each from one bound to the next; outside: behind the run's ends."""
        count = self.scene.variants[run].pixels
        colours = self.painter.colours(run)
        cut = list(dict.fromkeys(bounds if outside else np.clip(bounds, 0, count).tolist()))
        while len(cut) - 1 > len(colours):
            del cut[len(cut) // 2]
        parts = {colour: np.arange(a, b) for colour, a, b in zip(colours, cut, cut[1:], strict=False)}
        return self.shown(run, parts)

    def shown(self, run: str, parts: dict[str, Pixels]) -> Candidate:
        """Some pixels of a run in up to four colours."""
        shown = {colour: p for colour, p in parts.items() if len(p)}
        says = f"Lit on {run}: {', '.join(f'{span_words(int(p[0]), int(p[-1]))} {c}' for c, p in shown.items())}"
        count = self.scene.variants[run].pixels
        if any(p[0] < 0 or p[-1] >= count for p in shown.values()):
            side = "before the first" if any(p[0] < 0 for p in shown.values()) else "behind the last"
            says = f"Sent: the channels just {side} pixel of {run}, in {listed(list(shown))}; nothing should light"
        asks = [eye.outer(run, 0), eye.outer(run, -1)]
        if len(parts) > 1:
            asks.append(eye.missing(run, tuple(parts)))
        asks.append(eye.gap(run, tuple(parts)))
        if all(len(p) > eye.COUNTS_TO for p in parts.values()):
            asks.append(eye.odd(run, tuple(parts)))
        few = sum(len(p) for p in parts.values()) <= eye.COUNTS_TO
        return Candidate(Frame(says, (self.painter.paint(run, parts),)), tuple(asks), (run,) if few else ())

    def proving(self, run: str) -> list[Candidate]:
        """Few frames that tell much of a run that is fed as is believed: its ends, all of it."""
        count = self.scene.variants[run].pixels
        colours = [colour for colour in ("red", "white", "blue", "green") if colour in self.painter.colours(run)]
        ends = dict.fromkeys((0, min(1, count - 1), max(count - 2, 0), count - 1))
        pixels = list(ends) if len(colours) >= len(ends) else [0, count - 1][: len(colours)]
        chosen = colours if len(pixels) == len(colours) else [*colours[: len(pixels) - 1], colours[-1]]
        found = [self.shown(run, {c: np.array([pixel]) for c, pixel in zip(chosen, pixels, strict=False)})]
        every = Frame(f"Lit: all of {run}, {colours[-1]}", (self.painter.channels(run, np.arange(count), colours[-1]),))
        return [*found, Candidate(every, (eye.whole(run), eye.flicker(run), eye.gap(run, (colours[-1],))))]

    def several(self, takes: dict[str, Channels], pixels: dict[str, Pixels]) -> Candidate | None:
        """Few pixels on each of some runs, each in another colour where the run has so many.

        Args:
            takes: for each run the channels of its pixels, as planned or as is believed: shape (pixels, channels).
            pixels: for each run those that are to light, at most four.
        """
        plain, lit, words = [], [], []
        for run, own in pixels.items():
            colours = self.painter.colours(run)
            if not colours or not len(own):
                continue
            letters, named = self.painter.letters(run), []
            for number, pixel in enumerate(own.tolist()):
                colour = colours[number % len(colours)]
                on = self.painter.on(letters, colour)
                lit.append(takes[run][pixel, on])
                plain.append(self.scene.plan.takes[run][pixel, on])
                named.append(f"{span_words(pixel, pixel)} {colour}")
            words.append(f"on {run}: {', '.join(named)}")
        if not lit:
            return None
        frame = fed_frame(f"Lit {'; '.join(words)}", [joined(plain)], [joined(lit)])
        return Candidate(frame, (), tuple(takes))


def narrowing(
    repertoire: Repertoire,
    run: str,
    places: NDArray[np.int64],
    single: NDArray[np.bool_],
    weight: NDArray[np.float64],
    moved: float = 0.0,
) -> Iterator[Candidate]:
    """The frames that split the belief over places.

    Args:
        repertoire: what can be shown.
        run: the run to look at.
        places: for each class the first of the run's pixels that would take something else than planned.
        single: whether it is the only one.
        weight: the belief in each class.
        moved: by which part of a colour some cuts are moved, so that a gap that was missed is looked for anew.
    """
    count = repertoire.scene.variants[run].pixels
    colours = [*repertoire.painter.colours(run), IN_TURN]
    for chosen in (single, ~single):
        if weight[chosen].sum() <= 0.0:
            continue
        own = np.bincount(places[chosen], weights=weight[chosen], minlength=count).astype(float)
        where = np.flatnonzero(own > 0)
        low, high = int(where[0]), int(where[-1])
        if len(colours) < 2:
            continue
        four, five = quantiles(own, 4), quantiles(own, 5)
        yield repertoire.blocks(run, [low, *four, high + 1])
        yield repertoire.blocks(run, [low - 1, *four, high + 2])
        yield repertoire.blocks(run, [*five, high + 1])
        yield repertoire.blocks(run, [low - 1, *quantiles(own, 4, moved), high + 2])
        yield repertoire.blocks(
            run, [low - 1, *quantiles(np.where(np.arange(count) <= four[1], own, 0), 3), four[1] + 1]
        )
        if high - low < count // 2:
            yield repertoire.blocks(run, [0, *four, count])
        for colour in colours:
            if chosen is single:
                yield from repertoire.twos(run, [low - 1, *four, high + 1], colour)
    best = np.argsort(-weight, kind="stable")[:400]
    top = list(dict.fromkeys(places[best].tolist()))[:4]
    yield from _near(repertoire, run, top, colours)


def _near(repertoire: Repertoire, run: str, top: list[int], colours: list[str]) -> Iterator[Candidate]:
    """The pixels of the likeliest classes, one by one and with their neighbours."""
    few = sorted(top)
    if len(few) > 1 and few[-1] - few[0] > 3:
        named = zip([c for c in colours if c != IN_TURN], few, strict=False)
        yield repertoire.shown(run, {colour: np.array([pixel]) for colour, pixel in named})
    for place in top[:2]:
        for first in {max(0, place - 2), max(0, place - 1), place}:
            yield repertoire.blocks(run, range(first, first + 5))


def quantiles(weight: NDArray[np.float64], parts: int, moved: float = 0.0) -> list[int]:
    """Where to cut places so that each of so many parts has as much weight as the others, as far as it can; `moved`
    moves every cut by that part of a part.
    """
    summed = np.cumsum(weight)
    shares = [(part + moved) / parts for part in range(1, parts)]
    return [int(np.searchsorted(summed, summed[-1] * share - 1e-12)) + 1 for share in shares]


def ends_of(takes: Channels) -> Pixels:
    """The first two and the last two of the pixels that light."""
    lit = np.flatnonzero((takes >= 0).all(axis=1))
    return lit if len(lit) <= 4 else lit[[0, 1, -2, -1]]
