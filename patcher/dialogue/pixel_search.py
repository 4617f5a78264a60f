"""Which pixel is it: after a no to a run in one colour, its pixels are narrowed down until one is left.

Half of what is left is lit in that colour, and whether all of that is alike is asked; or the person points at it. The
diagnosis understands every answer, so that nothing is asked twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from patcher import eye
from patcher.diagnosis.case import Question, question
from patcher.diagnosis.question_frame import Frame, Painter, Seen, span_words
from patcher.dialogue.answerer import BACK, Answering
from patcher.eye import COUNTS_TO, even, whole
from patcher.faults import Planned
from patcher.frames.looks import Colour
from patcher.walk.colour_steps import shade_name

NOT_ALIKE = 1
"""The place, among the answers, of the one that something is not as the rest."""


class _Back(Exception):  # noqa: N818  (it is no error)
    """The last answer is taken back."""


@dataclass
class Narrowing:
    """The search in one run.

    Attributes:
        sound: the wiring as planned.
        run: the run.
        answering: who answers.
        say: prints a line.
        pixel: the pixel, from 0, once it is known.
        seen: what was answered, for the diagnosis.
        stopped: who answers has stopped.
    """

    sound: Planned
    run: str
    answering: Answering
    say: Callable[[str], None]
    pixel: int | None = None
    seen: list[Seen] = field(default_factory=list)
    stopped: bool = False
    _given: list[str | int | None] = field(default_factory=list, init=False)
    _known: list[str | int | None] = field(default_factory=list, init=False)

    def narrow(self, colours: Sequence[Colour]) -> None:
        """Ask until one pixel is left, or until it is no matter of one pixel; by the first colour that shows it. Who
        takes the last answer back is led to its question again, by the answers before it.
        """
        again = True
        while again:
            try:
                self._narrow(colours)
                again = False
            except _Back:
                self._known, self.seen, self._given = self._given[:-1], [], []

    def _narrow(self, colours: Sequence[Colour]) -> None:
        pixels = self.sound.wiring.show.runs[self.run].pixels
        for colour in colours:
            name = shade_name(colour)
            said = self._asked(self._question(colour, 0, pixels, overall=True))
            if said is None or (said != name and name in eye.COLOURS):
                return
            for first, last in self._begin(colour, pixels):
                self.pixel = self._within(colour, first, last)
                if self.pixel is not None or self.stopped:
                    return
            if self.stopped:
                return

    def _begin(self, colour: Colour, pixels: int) -> Iterator[tuple[int, int]]:
        """Stretches to look into: round the pixel that is pointed at, then the halves of the run."""
        pointed = self._pointed(self._question(colour, 0, pixels))
        if self.stopped:
            return
        if pointed is not None:
            first = max(0, min(pointed - 1, pixels - COUNTS_TO))
            yield first, min(first + COUNTS_TO, pixels)
        yield 0, (pixels + 1) // 2
        if pixels > 1:
            yield (pixels + 1) // 2, pixels

    def _within(self, colour: Colour, first: int, last: int) -> int | None:
        """The pixel of a stretch that is not as the others; None where all are alike, or nobody can tell."""
        if not self._wrong(colour, first, last):
            return None
        while last - first > 1 and not self.stopped:
            middle = (first + last + 1) // 2
            if self._wrong(colour, first, middle):
                last = middle
            elif self.stopped or not self._wrong(colour, middle, last):
                return None
            else:
                first = middle
        return None if self.stopped else first

    def _wrong(self, colour: Colour, first: int, last: int) -> bool:
        asked = self._question(colour, first, last)
        return self._asked(asked) == asked.ask.answers[NOT_ALIKE]

    def _question(self, colour: Colour, first: int, last: int, *, overall: bool = False) -> Question:
        source = self.sound.wiring.source(self.run)
        lit = Painter(self.sound).steps(source, np.arange(first, last), colour).ravel()
        frame = Frame(
            f"{self.run} {span_words(first, last - 1)} {colour.name}, and nothing else", (lit.astype(np.int64),)
        )
        all_of_it = (first, last) == (0, self.sound.wiring.show.runs[self.run].pixels)
        part = None if all_of_it else (first + 1, last)
        ask = whole(self.run) if overall else even(self.run, shade_name(colour), last - first, part)
        return question(self.sound.wiring, frame, ask)

    def _pointed(self, asked: Question) -> int | None:
        pixels = self.sound.wiring.show.runs[self.run].pixels
        pixel = self._known.pop(0) if self._known else self.answering.point(self.run, pixels, asked)
        if pixel == "stop":
            self.stopped = True
            return None
        self._given.append(pixel)
        return pixel if isinstance(pixel, int) else None

    def _asked(self, asked: Question) -> str | None:
        """What is said, in words; None: stop."""
        known = bool(self._known)
        if not known:
            self.say(f"     Lit: {asked.frame.says}")
            self.say(f"     {asked.asks}")
        key = self._known.pop(0) if known else self._key(asked)
        if key is None:
            self.stopped = True
            return None
        place = next(n for n, answer in enumerate(asked.answers) if key in (answer.key, answer.says))
        said = asked.ask.answers[place]
        self._given.append(asked.answers[place].key)
        self.seen.append(Seen(asked.frame, asked.ask, place))
        if not known:
            self.say(f"     → {said}")
        return said

    def _key(self, asked: Question) -> str | None:
        """The key that is given; there is nothing to take back before the first answer."""
        key = self.answering.question(asked)
        while key == BACK:
            while self._given and not isinstance(self._given[-1], str):
                self._given.pop()  # where they pointed belongs to the answer before it
            if self._given:
                raise _Back
            key = self.answering.question(asked)
        return key
