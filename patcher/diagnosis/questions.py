"""Questions that could be asked: test frames, each with what an eye can be asked of it.

Two families. The *fixed* one of a run: all of it in one colour, its ends in four colours, what lies behind its ends, a
universe off, each port its own colour, a grid's corner. The *narrowing* one follows the belief over places: stretches
in four colours, and two pixels side by side in four passes, cut where the belief is split evenly, down to one pixel a
colour. What moves takes a minute at most; where a stretch is too long for that, parts of it are offered.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher import eye
from patcher.diagnosis.frame_timing import MOST_STEPS
from patcher.diagnosis.hypotheses import UNIVERSES_OFF
from patcher.diagnosis.place_words import listed
from patcher.diagnosis.question_frame import BEHIND, Channels, Frame, Painter, Pixels, span_words
from patcher.diagnosis.scene import Scene
from patcher.eye import Ask
from patcher.shapes import cells
from patcher.trade import CHANNELS, COLOUR_LETTERS

IN_TURN = "each colour in turn"
PASSES = 4
MOST_OF = 0.9
"""What goes along less than this part of a run goes along a part of it, for a person."""
"""The letter that alone shows a colour."""
SHOWN = 20
"""Steps for which two pixels are shown that do not go along."""
HELD = 30
"""Steps for which a colour is held, where several are shown one after the other."""
MOVING = {1: "one pixel at a time", 2: "two pixels at a time"}


@dataclass(frozen=True, eq=False)
class Candidate:
    """A frame with what could be asked of it.

    Attributes:
        frame: the frame.
        asks: what could be asked.
        few: the runs on which it lights few pixels, which could be read off.
    """

    frame: Frame
    asks: tuple[Ask, ...]
    few: tuple[str, ...] = ()


def as_believed(says: str, runs: Sequence[str]) -> str:
    """The words of a frame that is sent to other addresses than planned."""
    return f"{says}, sent to the addresses where {listed(list(runs))} seem{'s' * (len(runs) == 1)} to be"


def fed_as(run: str, candidate: Candidate, planned: Pixels, believed: Pixels) -> Candidate | None:
    """The same for pixels that take other channels than planned; None where none of it would light.

    Args:
        run: the run.
        candidate: a frame for one run, as planned.
        planned: the running channels that the run's pixels should take.
        believed: for each of those the one that its pixel takes; negative where it takes none.
    """
    frame = candidate.frame
    lit = frame.stacked if frame.goes else frame.steps[0]
    table = np.full(max(int(planned.max()), int(lit.max(initial=0))) + 1, -1, dtype=np.int64)
    table[planned[planned >= 0]] = believed[planned >= 0]
    fed = table[lit]
    if not frame.goes:
        fed = fed[fed >= 0]
        if not len(fed):
            return None
        return Candidate(Frame(as_believed(frame.says, (run,)), (fed,), plain=frame), candidate.asks, candidate.few)
    kept = (fed >= 0).all(axis=1)
    if not kept.any():
        return None
    of = eye.goes_of(np.unique(np.array(frame.goes)[kept], return_counts=True)[1].tolist())
    goes = tuple(of.tolist())
    plain = Frame(frame.says, tuple(lit[kept]), goes)
    asks = tuple(_asked(ask.runs, of, ask.places, ask.parts) for ask in candidate.asks)
    return Candidate(Frame(as_believed(frame.says, (run,)), tuple(fed[kept]), goes, plain), asks)


def _asked(runs: tuple[str, ...], goes: NDArray[np.int8], places: Pixels | None, parts: tuple[str, ...]) -> Ask:
    return eye.vanish(runs, goes, parts) if places is None else eye.together(runs, goes, places, parts)


class Repertoire:
    """All frames that may be asked about a scene."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.painter = Painter(scene.plan)
        self._fixed: dict[str, list[Candidate]] = {}
        self._ports: list[tuple[Frame, frozenset[str]]] | None = None

    def fixed(self, run: str) -> list[Candidate]:
        """The frames of a run that ask always the same; made once."""
        if run not in self._fixed:
            self._fixed[run] = list(self._of_run(run))
        return self._fixed[run]

    def _of_run(self, run: str) -> Iterator[Candidate]:
        count, colours = self.scene.variants[run].lamps, self.painter.colours(run)
        every = np.arange(count)
        asks = (eye.whole(run), eye.flicker(run))
        for colour in colours:
            frame = Frame(f"Lit: all of {run}, {colour}", (self.painter.channels(run, every, colour),))
            yield Candidate(frame, (*asks, eye.gap(run, (colour,)), eye.odd(run, (colour,))))
        yield self.blocks(run, [0, 1, 2, 3, 4])
        yield self.blocks(run, [count - 4, count - 3, count - 2, count - 1, count])
        yield self.blocks(run, [round(count * part / 4) for part in range(5)])
        yield self.blocks(run, [count, count + 1, count + 2, count + 3, count + BEHIND], outside=True)
        yield self.blocks(run, [-BEHIND, -3, -2, -1, 0], outside=True)
        for colour in (IN_TURN, *colours):
            yield from self.twos(run, [round(count * part / 4) for part in range(5)], colour)
        yield from self._before(run)
        for off in UNIVERSES_OFF:
            yield from self._universe_off(run, off)
        for frame, runs in self._by_port():
            if run in runs:
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

    def _universe_off(self, run: str, off: int) -> Iterator[Candidate]:
        count, colours = self.scene.variants[run].lamps, self.painter.colours(run)
        for one in colours[-1:]:
            yield from self._moved(run, off, {one: np.arange(count)}, (eye.whole(run),))

    def ends_off(self, run: str) -> list[Candidate]:
        """A run's ends and halves, each in a colour, on the channels some universes off."""
        count, colours = self.scene.variants[run].lamps, self.painter.colours(run)
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

    def _by_port(self) -> list[tuple[Frame, frozenset[str]]]:
        """Frames with each port in a colour of its own, and with each run of a port."""
        if self._ports is None:
            wiring = self.scene.plan.wiring
            boxes = dict.fromkeys(wiring.ports[run][0] for run in self.scene.variants)
            groups: list[list[tuple[str, tuple[str, ...]]]] = []
            for box in boxes:
                chains = {f"{box}/{port}": chain for port, chain in wiring.of_controller(box).items()}
                groups.append(list(chains.items()))
                groups += [[(run, (run,)) for run in chain] for chain in chains.values() if len(chain) > 1]
            self._ports = [self._coloured(group[at : at + 4]) for group in groups for at in range(0, len(group), 4)]
        return self._ports

    def _coloured(self, group: Sequence[tuple[str, tuple[str, ...]]]) -> tuple[Frame, frozenset[str]]:
        lit, says = [], []
        for colour, (name, runs) in zip(eye.COLOURS, group, strict=False):
            own = [run for run in runs if self.scene.plan.wiring.show.runs[run].hung and run in self.scene.variants]
            shown = [run for run in own if colour in self.painter.colours(run)]
            lit += [self.painter.channels(r, np.arange(self.scene.variants[r].lamps), colour) for r in shown]
            says.append(f"{name} {colour}")
        frame = Frame(f"Lit: {', '.join(says)}", (np.concatenate(lit) if lit else np.empty(0, dtype=np.int64),))
        return frame, frozenset(self.scene.variants)

    def _corner(self, run: str) -> Iterator[Candidate]:
        """A grid's first line red at its begin and blue at its end, the second line green at its begin."""
        show = self.scene.plan.wiring.show
        own = cells(show, show.runs[run])
        quarters = self.scene.quarters[run]
        if own is None or quarters is None or not {"red", "green", "blue"} <= set(self.painter.colours(run)):
            return
        steps = np.abs(np.diff(own[:, 0])) + np.abs(np.diff(own[:, 1]))
        along = own[:, 1] if len(own) > 1 and own[0, 1] == own[1, 1] else own[:, 0]
        second = int(np.flatnonzero(along != along[0])[0]) if (along != along[0]).any() else len(own)
        part = max(1, min(second // 4, (len(own) - second) // 4 or 1))
        if second >= len(own) or not len(steps):
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
        asks = tuple(eye.where(run, colour, quarters, eye.QUARTERS) for colour in parts)
        yield Candidate(Frame(says, (self.painter.paint(run, parts),)), asks)

    def but_for(self, runs: Sequence[str], taken: Channels) -> Frame:
        """Every channel of every universe of the show, but for those that some runs take as is believed."""
        universes = self.scene.plan.patch.universes
        every = ((np.array(universes, dtype=np.int64)[:, None] - 1) * CHANNELS + np.arange(CHANNELS)).ravel()
        says = f"Lit: everything but {listed(list(runs))}; nothing there should be lit"
        return Frame(says, (every[~np.isin(every, taken)],))

    def blocks(self, run: str, bounds: Sequence[int], *, outside: bool = False) -> Candidate:
        """A stretch in up to four colours, each from one bound to the next; outside: behind the run's ends."""
        count = self.scene.variants[run].lamps
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
        count = self.scene.variants[run].lamps
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

    def two(self, run: str, bounds: Sequence[int], colour: str, *, back: bool = False) -> Candidate | None:
        """Two pixels side by side along a stretch, in up to four passes, the first of the two from one bound to the
        next; back: from its last pixels to its first. None where none stand so, or where it would take too long.
        """
        return self._moves(run, self.passes(run, bounds, back=back), colour)

    def passes(self, run: str, bounds: Sequence[int], *, back: bool = False) -> list[Pixels]:
        """The first of the two pixels, at each step of each pass of `two`, from 0."""
        cut = list(dict.fromkeys(np.clip(bounds, 0, self.scene.variants[run].lamps).tolist()))
        beside = self._beside(run)
        found = [own for a, b in pairwise(cut) if len(own := beside[(a <= beside) & (beside < b)])]
        return [own[::-1] for own in reversed(found)] if back else found

    def twos(self, run: str, bounds: Sequence[int], colour: str) -> Iterator[Candidate]:
        """The same, or where that would take too long its parts: its halves, their halves."""
        if found := self.two(run, bounds, colour):
            yield found
            return
        cut = list(dict.fromkeys(np.clip(bounds, 0, self.scene.variants[run].lamps).tolist()))
        if len(cut) == 2 and cut[1] - cut[0] > MOST_STEPS // PASSES:
            cut.insert(1, sum(cut) // 2)
        if len(cut) > 2:
            middle = len(cut) // 2
            yield from self.twos(run, cut[: middle + 1], colour)
            yield from self.twos(run, cut[middle:], colour)

    def _beside(self, run: str) -> Pixels:
        """The pixels of a run that stand beside the next one."""
        return np.flatnonzero(np.isin(np.abs(np.diff(self.scene.places[run])), (1, eye.LINE)))

    def proving(self, run: str) -> list[Candidate]:
        """Few frames that tell much of a run that is fed as is believed: its ends, all of it."""
        count = self.scene.variants[run].lamps
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
        planned, channels = np.concatenate(plain).astype(np.int64), np.concatenate(lit).astype(np.int64)
        says = f"Lit {'; '.join(words)}"
        if np.array_equal(planned, channels):
            return Candidate(Frame(says, (channels,)), (), tuple(takes))
        fed = Frame(as_believed(says, tuple(takes)), (channels,), plain=Frame(says, (planned,)))
        return Candidate(fed, (), tuple(takes))

    def alike(self, takes: dict[str, Channels]) -> Candidate | None:
        """All of some runs in one colour after the other, each held for a while; None where they have no colours. The
        second ask is of what is lit and steady alone.

        Args:
            takes: for each run the channels of its pixels, as planned or as is believed: shape (pixels, channels).
        """
        colours = [c for c in eye.COLOURS if any(COLOUR_LETTERS[c] in self.painter.letters(run) for run in takes)]
        steps, plain, counts = [], [], []
        for colour in colours:
            own = {run: self.painter.letters(run).find(COLOUR_LETTERS[colour]) for run in takes}
            lit = {run: takes[run][:, at] if at >= 0 else np.empty(0, dtype=np.int64) for run, at in own.items()}
            should = [self.scene.plan.takes[run][:, at].astype(np.int64) for run, at in own.items() if at >= 0]
            counts.append(tuple(int((channels >= 0).sum()) for channels in lit.values()))
            channels = np.concatenate(list(lit.values())).astype(np.int64)
            steps.append(channels[channels >= 0])
            plain.append(np.concatenate(should) if should else np.empty(0, dtype=np.int64))
        if not any(any(count) for count in counts):
            return None
        goes = tuple(np.repeat(np.arange(len(colours)), HELD).tolist())
        says = f"Lit: all of {listed(list(takes))}: {', then '.join(colours)}"
        said = tuple(takes), tuple(colours), tuple(counts)
        asks = eye.alike(*said), eye.alike(*said, steady=True)
        as_planned = Frame(says, tuple(step for step in plain for _ in range(HELD)), goes)
        if all(np.array_equal(np.sort(one), np.sort(two)) for one, two in zip(steps, plain, strict=True)):
            return Candidate(as_planned, asks)
        fed = tuple(step for step in steps for _ in range(HELD))
        return Candidate(Frame(as_believed(says, tuple(takes)), fed, goes, as_planned), asks)

    def along(self, run: str, takes: Channels) -> tuple[Channels, Channels]:
        """The steps of two pixels side by side along a run, as far as both light, or of a dot where none do.

        Args:
            run: the run.
            takes: the channels of its pixels, negative where they take none: shape (pixels, channels).

        Returns:
            What they should take, and what they do: shape (steps, pixels).
        """
        planned, first = self.scene.plan.takes[run].astype(np.int64), self._beside(run)
        should, do = (np.stack([each[first], each[first + 1]], axis=2) for each in (planned, takes))
        kept = np.asarray((do >= 0).all(axis=2))
        if kept.any():
            kept &= in_turn(np.where(kept.all(axis=1), first, -1), kept.shape[1])
            return should[kept], do[kept]
        one = takes.ravel() >= 0
        return planned.ravel()[one, None], takes.ravel()[one, None]

    def followed(self, steps: dict[str, tuple[Channels, Channels]]) -> list[Candidate]:
        """What moves along some runs, one after the other, from its steps along each: two pixels, or a dot. As many
        frames as are needed for none to take longer than a person watches.
        """
        found: list[Candidate] = []
        part: dict[str, tuple[Channels, Channels]] = {}
        for run, (planned, along) in steps.items():
            pieces = -(-len(along) // MOST_STEPS)
            for own in zip(np.array_split(planned, pieces), np.array_split(along, pieces), strict=True):
                if part and sum(len(each) for each, _ in part.values()) + len(own[0]) > MOST_STEPS:
                    found.append(self._followed(part))
                    part = {}
                part[run] = own
        return [*found, self._followed(part)] if part else found

    def _followed(self, steps: dict[str, tuple[Channels, Channels]]) -> Candidate:
        planned, along = (np.concatenate([each[place] for each in steps.values()]) for place in (0, 1))
        of = eye.goes_of([len(piece) for piece in np.array_split(along, PASSES) if len(piece)])
        takes, runs = self.scene.plan.takes, tuple(steps)
        parts = tuple(run for run, (own, _) in steps.items() if len(np.unique(own)) < MOST_OF * takes[run].size)
        named = []
        for run, (own, _) in steps.items():
            pixels = np.flatnonzero(np.isin(takes[run], own).any(axis=1))
            named.append(f"{run}, {span_words(int(pixels[0]), int(pixels[-1]))}" if run in parts else run)
        says = f"Lit on {', then '.join(named)}: {MOVING[along.shape[1]]}, {IN_TURN}"
        plain = Frame(says, tuple(planned), tuple(of.tolist()))
        asked = _asked(runs, of, self.scene.joined(runs) if along.shape[1] > 1 else None, parts)
        if np.array_equal(planned, along):
            return Candidate(plain, (asked,))
        frame = Frame(as_believed(says, runs), tuple(along), plain.goes, plain)
        return Candidate(frame, (asked,))

    def over(self, run: str, takes: Channels, twos: Sequence[tuple[int, int]]) -> Candidate:
        """Some twos of pixels, each for a moment in a pass of its own: whether they are side by side is seen.

        Args:
            run: the run.
            takes: the channels of its pixels, as planned or as is believed: shape (pixels, channels).
            twos: the pixels, from 0.
        """
        pixels = np.repeat(np.array(twos), SHOWN, axis=0)
        planned, along = self.scene.plan.takes[run][pixels, 0].astype(np.int64), takes[pixels, 0]
        of = eye.goes_of([SHOWN] * len(twos))
        words = "; ".join(f"pixels {one + 1} and {two + 1}" for one, two in twos)
        says = f"Lit on {run}: {MOVING[2]}: {words}"
        asked = _asked((run,), of, self.scene.joined((run,)), (run,))
        plain = Frame(says, tuple(planned), tuple(of.tolist()))
        if np.array_equal(planned, along):
            return Candidate(plain, (asked,))
        return Candidate(Frame(as_believed(says, (run,)), tuple(along), plain.goes, plain), (asked,))

    def _moves(self, run: str, goes: Sequence[Pixels], colour: str) -> Candidate | None:
        """Two pixels side by side along some pixels in up to four passes, the first of them on each; None where they
        cannot, or where it would take too long.
        """
        chips = [c for c in self.painter.colours(run) if c != "white" or "W" in self.painter.letters(run)]
        colours = chips if colour == IN_TURN else [colour]
        if not goes or not colours or colours[0] not in chips:
            return None
        along = np.concatenate(list(goes))
        each = [np.concatenate([self.painter.steps(run, along + n, c) for n in (0, 1)], axis=1) for c in colours]
        kept = in_turn(along, len(colours))
        steps = np.stack(each, axis=1)[kept]
        if len(steps) > MOST_STEPS:
            return None
        ends = np.cumsum([0, *(len(go) for go in goes)])
        of = eye.goes_of([int(kept[a:b].sum()) for a, b in pairwise(ends.tolist())])
        words = "; ".join(span_words(int(go[0]), int(go[-1]) + 1) for go in goes)
        says = f"Lit on {run}: {MOVING[2]}, {colour}: {words}"
        parts = (run,) if len(along) < MOST_OF * self.scene.variants[run].lamps - 1 else ()
        asked = _asked((run,), of, self.scene.joined((run,)), parts)
        return Candidate(Frame(says, tuple(steps), tuple(of.tolist())), (asked,))


def in_turn(first: Pixels, colours: int) -> NDArray[np.bool_]:
    """In which colours each two pixels side by side are lit, so that every pixel is lit in every colour, and every two
    at least once: two that share a pixel share its colours out.

    Args:
        first: the first pixel of each two, rising; one that is negative shares with none.
        colours: how many there are.

    Returns:
        Shape (twos, colours).
    """
    known = first[first >= 0]
    shares = (first >= 0) & np.isin(first - 1, known) & np.isin(first + 1, known)
    own = (first[:, None] + np.arange(colours)) % 2 == 0
    found: NDArray[np.bool_] = own | ~shares[:, None] | np.array(colours == 1)
    return found


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
    count = repertoire.scene.variants[run].lamps
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
