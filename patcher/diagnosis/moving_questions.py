"""Questions about what moves or changes: two pixels or a dot along runs, and all of some runs in each colour.

What moves takes a minute at most; where a stretch is too long for that, parts of it are offered.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher import eye
from patcher.diagnosis.frame_timing import MOST_STEPS
from patcher.diagnosis.place_words import listed
from patcher.diagnosis.question_frame import (
    Candidate,
    Channels,
    Frame,
    Painter,
    Pixels,
    asked_of,
    fed_frame,
    joined,
    span_words,
)  # fmt: skip
from patcher.diagnosis.scene import Scene
from patcher.frames.looks import COLOURS
from patcher.trade import COLOUR_LETTERS

IN_TURN = "each colour in turn"
PASSES = 4
MOST_OF = 0.9
"""What goes along less than this part of a run goes along a part of it, for a person."""
SHOWN = 20
"""Steps for which two pixels are shown that do not go along."""
HELD = 30
"""Steps for which a colour is held, where several are shown one after the other."""
MOVING = {1: "one pixel at a time", 2: "two pixels at a time"}


def quarters(low: int, high: int) -> list[int]:
    """Where a stretch is cut into four parts, with both of its ends."""
    return [low + round((high - low) * part / 4) for part in range(5)]


class Moving:
    """The frames of a scene that change while they are shown."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.painter = Painter(scene.plan)

    def two(self, run: str, bounds: Sequence[int], colour: str, *, back: bool = False) -> Candidate | None:
        """Two pixels side by side along a stretch, in up to four passes, the first of the two from one bound to the
        next; back: from its last pixels to its first. None where none stand so, or where it would take too long.
        """
        return self._moves(run, self.passes(run, bounds, back=back), colour)

    def passes(self, run: str, bounds: Sequence[int], *, back: bool = False) -> list[Pixels]:
        """The first of the two pixels, at each step of each pass of `two`, from 0."""
        cut = list(dict.fromkeys(np.clip(bounds, 0, self.scene.variants[run].pixels).tolist()))
        beside = self._beside(run)
        found = [own for a, b in pairwise(cut) if len(own := beside[(a <= beside) & (beside < b)])]
        return [own[::-1] for own in reversed(found)] if back else found

    def twos(self, run: str, bounds: Sequence[int], colour: str) -> Iterator[Candidate]:
        """The same, or where that would take too long its parts: its halves, their halves."""
        if found := self.two(run, bounds, colour):
            yield found
            return
        cut = list(dict.fromkeys(np.clip(bounds, 0, self.scene.variants[run].pixels).tolist()))
        if len(cut) == 2 and cut[1] - cut[0] > MOST_STEPS // PASSES:
            cut.insert(1, sum(cut) // 2)
        if len(cut) > 2:
            middle = len(cut) // 2
            yield from self.twos(run, cut[: middle + 1], colour)
            yield from self.twos(run, cut[middle:], colour)

    def _beside(self, run: str) -> Pixels:
        """The pixels of a run that stand beside the next one."""
        return np.flatnonzero(np.isin(np.abs(np.diff(self.scene.places[run])), (1, eye.LINE)))

    def alike(self, takes: dict[str, Channels]) -> Candidate | None:
        """All of some runs in one colour after the other, each held for a while; None where they have no colours. The
        second ask is of what is lit and steady alone.

        Args:
            takes: for each run the channels of its pixels, as planned or as is believed: shape (pixels, channels).
        """
        letters = {run: self.painter.letters(run) for run in takes}
        colours = [c for c in eye.COLOURS if COLOUR_LETTERS[c] in "".join(letters.values())]
        steps, plain, counts = [], [], []
        for colour in colours:
            at = {run: np.flatnonzero(np.array([*own]) == COLOUR_LETTERS[colour]) for run, own in letters.items()}
            lit = [takes[run][:, own].ravel() for run, own in at.items()]
            counts.append(tuple(int((channels >= 0).sum()) for channels in lit))
            steps.append(joined([channels[channels >= 0] for channels in lit]))
            plain.append(
                joined([self.scene.plan.takes[run][:, own].ravel().astype(np.int64) for run, own in at.items()])
            )
        if not any(map(any, counts)):
            return None
        goes = tuple(np.repeat(np.arange(len(colours)), HELD).tolist())
        says = f"Lit: all of {listed(list(takes))}: {', then '.join(colours)}"
        said = tuple(takes), tuple(colours), tuple(counts)
        asks = eye.alike(*said), eye.alike(*said, steady=True)
        if all(map(np.array_equal, map(np.sort, steps), map(np.sort, plain))):
            steps = plain
        held, should = ([step for step in each for _ in range(HELD)] for each in (steps, plain))
        return Candidate(fed_frame(says, should, held, goes), asks)

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
        planned, along = ([*np.concatenate([each[place] for each in steps.values()])] for place in (0, 1))
        of = eye.goes_of([len(piece) for piece in np.array_split(along, PASSES) if len(piece)])
        takes, runs = self.scene.plan.takes, tuple(steps)
        parts = tuple(run for run, (own, _) in steps.items() if len(np.unique(own)) < MOST_OF * takes[run].size)
        named = []
        for run, (own, _) in steps.items():
            pixels = np.flatnonzero(np.isin(takes[run], own).any(axis=1))
            named.append(f"{run}, {span_words(int(pixels[0]), int(pixels[-1]))}" if run in parts else run)
        says = f"Lit on {', then '.join(named)}: {MOVING[len(along[0])]}, {IN_TURN}"
        asked = asked_of(runs, of, self.scene.joined(runs) if len(along[0]) > 1 else None, parts)
        return Candidate(fed_frame(says, planned, along, tuple(of.tolist())), (asked,))

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
        asked = asked_of((run,), of, self.scene.joined((run,)), (run,))
        return Candidate(fed_frame(says, [*planned], [*along], tuple(of.tolist())), (asked,))

    def _moves(self, run: str, goes: Sequence[Pixels], colour: str) -> Candidate | None:
        """Two pixels side by side along some pixels in up to four passes, the first of them on each; None where they
        cannot, or where it would take too long.
        """
        chips = [c for c in self.painter.colours(run) if c != "white" or "W" in self.painter.letters(run)]
        colours = chips if colour == IN_TURN else [colour]
        if not goes or not colours or colours[0] not in chips:
            return None
        along = np.concatenate(list(goes))
        each = [
            np.concatenate([self.painter.steps(run, along + n, COLOURS[c]) for n in (0, 1)], axis=1) for c in colours
        ]
        kept = in_turn(along, len(colours))
        steps = np.stack(each, axis=1)[kept]
        if len(steps) > MOST_STEPS:
            return None
        ends = np.cumsum([0, *(len(go) for go in goes)])
        of = eye.goes_of([int(kept[a:b].sum()) for a, b in pairwise(ends.tolist())])
        words = "; ".join(span_words(int(go[0]), int(go[-1]) + 1) for go in goes)
        says = f"Lit on {run}: {MOVING[2]}, {colour}: {words}"
        parts = (run,) if len(along) < MOST_OF * self.scene.variants[run].pixels - 1 else ()
        asked = asked_of((run,), of, self.scene.joined((run,)), parts)
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
