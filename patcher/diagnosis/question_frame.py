"""Test frames: which channels are lit, the words for them, what could be asked of them, and their levels for the wire.

A frame names the pixels that it means by where the plan has them; what truly lights is what the eye is asked about. It
may also light channels behind a chain's last pixel, or a universe off, where no pixel should be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher import eye
from patcher.eye import Ask
from patcher.faults import Planned, wire_letters
from patcher.frames.levels import Levels
from patcher.frames.looks import COLOURS, Colour
from patcher.patch.patch import pixel_places
from patcher.trade import CHANNELS, HIGHEST_UNIVERSE, TEST_LEVEL, plain_colours

BEHIND = 10
"""Pixels beyond a run's ends that may be lit, where a shift is looked for."""

Channels = NDArray[np.int64]
Pixels = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Frame:
    """What is sent for one question.

    Attributes:
        says: what a sound thing would show, for a person.
        steps: for each step the running channels that are lit; a frame that does not move has one.
        goes: where a dot moves, the go, from 0, that each step belongs to; between goes it rests.
        plain: the same for pixels that are fed as planned, where the frame is for pixels that are fed otherwise.
    """

    says: str
    steps: tuple[Channels, ...]
    goes: tuple[int, ...] = ()
    plain: Frame | None = None

    @cached_property
    def key(self) -> int:
        """Equal for frames that light the same."""
        lit = np.concatenate(self.steps) if self.goes else np.unique(self.steps[0])
        return hash((lit.tobytes(), self.goes))

    @cached_property
    def stacked(self) -> Channels:
        """The channels of all steps, where each lights as many: shape (steps, channels)."""
        return np.stack(self.steps)

    @property
    def held(self) -> tuple[Channels, ...]:
        """The first step of each go."""
        return tuple(self.steps[self.goes.index(go)] for go in range(max(self.goes, default=-1) + 1))

    def universes(self) -> tuple[int, ...]:
        """The universes in which anything is lit, rising."""
        return tuple((np.unique(np.concatenate(self.steps) // CHANNELS) + 1).tolist())

    def levels(self, universes: Sequence[int], step: int = 0, level: float = TEST_LEVEL) -> Levels:
        """The slots of some universes, rising, at a step; a lit channel has that part of full."""
        numbers = np.asarray(universes, dtype=np.int64)
        slots = np.zeros((len(numbers), CHANNELS), dtype=np.uint8)
        universe, channel = np.divmod(self.steps[step], CHANNELS)
        own = np.isin(universe + 1, numbers)
        slots[np.searchsorted(numbers, universe[own] + 1), channel[own]] = round(level * 255)
        return Levels(tuple(universes), slots)


@dataclass(frozen=True, eq=False)
class Seen:
    """What was seen of a frame.

    Attributes:
        frame: what was sent.
        ask: what was asked.
        answer: the place of the answer among `ask.answers`.
    """

    frame: Frame
    ask: Ask
    answer: int

    @property
    def asked(self) -> tuple[int, Ask]:
        """Equal where the same was asked of the same."""
        return self.frame.key, self.ask


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


def as_believed(says: str) -> str:
    """The words of a frame that is sent to other addresses than planned."""
    return f"{says}, sent on the addresses that these pixels seem to use so far"


def fed_frame(says: str, planned: Sequence[Channels], fed: Sequence[Channels], goes: tuple[int, ...] = ()) -> Frame:
    """A frame that should light some steps, and lights others where its runs are fed otherwise than planned."""
    plain = Frame(says, tuple(planned), goes)
    if all(map(np.array_equal, planned, fed)):
        return plain
    return Frame(as_believed(says), tuple(fed), goes, plain)


def fed_as(candidate: Candidate, planned: Pixels, believed: Pixels) -> Candidate | None:
    """The same for pixels that take other channels than planned; None where none of it would light.

    Args:
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
        return Candidate(Frame(as_believed(frame.says), (fed,), plain=frame), candidate.asks, candidate.few)
    kept = (fed >= 0).all(axis=1)
    if not kept.any():
        return None
    of = eye.goes_of(np.unique(np.array(frame.goes)[kept], return_counts=True)[1].tolist())
    goes = tuple(of.tolist())
    plain = Frame(frame.says, tuple(lit[kept]), goes)
    asks = tuple(asked_of(ask.runs, of, ask.places, ask.parts) for ask in candidate.asks)
    return Candidate(Frame(as_believed(frame.says), tuple(fed[kept]), goes, plain), asks)


def asked_of(runs: tuple[str, ...], goes: NDArray[np.int8], places: Pixels | None, parts: tuple[str, ...]) -> Ask:
    """What is asked of a dot that goes along some runs, or of two pixels where the places of their pixels are given."""
    return eye.vanish(runs, goes, parts) if places is None else eye.together(runs, goes, places, parts)


class Painter:
    """Colours for pixels as the plan has them."""

    def __init__(self, plan: Planned) -> None:
        self._plan = plan
        self._show = plan.wiring.show
        self._known: dict[tuple[str, str], Channels] = {}

    def letters(self, run: str) -> str:
        """The channels of the run's pixels, in planned colour order."""
        return self._show.type_of(self._show.runs[run]).colour_order

    def colours(self, run: str) -> tuple[str, ...]:
        """The colours that an eye can tell and the run's pixels can show."""
        return plain_colours(self.letters(run))

    @staticmethod
    def on(letters: str, colour: str) -> NDArray[np.int64]:
        """Which of a pixel's channels are lit in a colour."""
        return np.flatnonzero(np.array(COLOURS[colour].on(letters)) > 0)

    def steps(self, run: str, pixels: Pixels, colour: Colour) -> Channels:
        """The running channels that show a colour on each of some pixels of a run, counted from 0: shape (pixels,
        channels of the colour). Pixels up to `BEHIND` beyond its ends are where the box would go on counting.
        """
        key = run, colour.name
        if key not in self._known:
            source = self._plan.wiring.source(run)
            link, at = self._plan.patch.link_of(source)
            box = self._plan.wiring.ports[source][0]
            letters = wire_letters(self._show, box, self._show.runs[source])
            on = np.flatnonzero(np.array(colour.on(letters)) > 0)
            every = np.arange(-BEHIND, self._show.runs[run].pixels + BEHIND)
            self._known[key] = pixel_places(at, every, link.channels)[:, None] + on
        found: Channels = self._known[key][pixels + BEHIND]
        return found

    def channels(self, run: str, pixels: Pixels, colour: str) -> Channels:
        """The running channels of all those pixels in a colour; those that no universe holds are left out."""
        found = self.steps(run, pixels, COLOURS[colour]).ravel()
        inside: Channels = found[(found >= 0) & (found < HIGHEST_UNIVERSE * CHANNELS)]
        return inside

    def paint(self, run: str, parts: Mapping[str, Pixels]) -> Channels:
        """The running channels of pixels of one run in some colours."""
        return joined([self.channels(run, pixels, colour) for colour, pixels in parts.items()])


def joined(channels: Sequence[Channels]) -> Channels:
    """All of them one after the other; none where there are none."""
    return np.concatenate([np.empty(0, dtype=np.int64), *channels])


def span_words(first: int, last: int) -> str:
    """Pixels from and to, counted from 0, as a person counts them: `pixel 7`, `pixels 7–12`."""
    return f"pixel {first + 1}" if first == last else f"pixels {first + 1}–{last + 1}"
