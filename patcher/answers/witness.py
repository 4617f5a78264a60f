"""A yard that answers: a frame goes as real packets into simulated boxes, and an eye says what their pixels show."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from patcher.diagnosis.case import Question
from patcher.diagnosis.hypotheses import Hypothesis
from patcher.diagnosis.question_frame import Frame
from patcher.eye import BROKEN, NOBODY, SEVERAL, Ask, Chances, Eye, Shades, shade_table
from patcher.faults import Built
from patcher.frames.levels import Levels
from patcher.patch.patch import Patch
from patcher.remedies.rewrite import same_lamps
from patcher.trade import CHANNELS, FRAME_RATE, Protocol
from patcher.walk.step import Step, as_said
from patcher.wire import artnet, e131
from patcher.wiring import Wiring
from patcher.yard.yard import Yard

if TYPE_CHECKING:
    from patcher.dialogue.answerer import Deed, Reply

GLANCES = 3
"""How often a still frame is sent and looked at: what changes meanwhile flickers."""
NAME = "127.0.0.1"


class Witness:
    """Answers questions from what the pixels of a yard show, as built.

    Attributes:
        says: the wiring whose looks are shown: as planned, or as a changed show has it.
    """

    def __init__(
        self, wiring: Wiring, patch: Patch, built: Built, *, eye: Eye | None = None, seed: int = 0, mends: bool = False
    ) -> None:
        self._wiring = wiring
        self._patch = patch
        self._yard = Yard(wiring, patch, built, seed=seed)
        self._eye = eye or Eye()
        self._chance = np.random.default_rng(seed)
        self._universes = patch.box_universes
        self._packets: dict[tuple[str, int], bytearray] = {}
        self._sent = 0
        self._mends = mends
        self._built = built
        self._seed = seed
        self.says = wiring

    def question(self, question: Question) -> str | None:
        """The key of what the eye sees."""
        return self.answer(question)

    def deed(self, *, writable: bool) -> Deed:
        """What is done about what was found."""
        return "mended" if self._mends and self._built.faults else "leave"

    def goes_on(self, wiring: Wiring, mended: Sequence[Hypothesis], boxes: Sequence[str]) -> bool:
        """Take the faults that were mended out of the yard, or count its pixels as a changed show does. What would have
        to be typed into a box, nobody types here.
        """
        built = self._built.faults
        named = next((set(faults) for faults in mended if faults and set(faults) <= set(built)), set())
        if named:
            self._built = Built(tuple(fault for fault in built if fault not in named))
            self._yard = Yard(self._wiring, self._patch, self._built, seed=self._seed)
        self.says = wiring
        return not boxes and bool(named or not mended)

    def point(self, run: str, question: Question) -> int | None:
        """An eye at ten metres knows no pixel's number."""
        return None

    def step(self, step: Step, sent: Sequence[Levels]) -> Reply:
        """Whether the eye finds a step as it should be."""
        from patcher.dialogue.answerer import Reply

        said = as_said(step, self.says, self.shown(sent), self._eye)
        return Reply("yes" if all(self._chance.random() < chance for chance in said.values()) else "no")

    def shown(self, sent: Sequence[Levels]) -> list[dict[str, Shades]]:
        """What the pixels of each run show of each of some levels: shape (pixels,)."""
        shades = []
        for levels in sent:
            looks = []
            for _ in range(GLANCES):
                self._send(levels)
                looks.append({run: lamps.copy() for run, lamps in self._yard.pixels.items()})
            shades.append({run: self._shades(run, [look[run] for look in looks])[0] for run in self.says.show.runs})
        return shades

    def answer(self, question: Question) -> str:
        """The key of the answer."""
        chances = self._chances(question.frame, question.ask)[0]
        return question.answers[int(self._chance.choice(len(chances), p=chances))].key

    def _chances(self, frame: Frame, ask: Ask) -> Chances:
        if ask.kind == "alike":
            return self._compared(frame, ask)
        if frame.goes:
            lamps = [self._lamps(frame, step, ask.runs) for step in range(len(frame.steps))]
            return self._eye.watches(ask, np.array([lamps], dtype=np.int32))
        looks = []
        for _ in range(GLANCES):
            self._send_frame(frame, 0)
            looks.append({run: self._yard.pixels[run].copy() for run in ask.runs})
        return self._eye.sees(ask, [self._shades(run, [look[run] for look in looks]) for run in ask.runs])

    def _compared(self, frame: Frame, ask: Ask) -> Chances:
        each = np.ones((1, len(ask.colours)))
        for place, (colour, counts) in enumerate(zip(ask.colours, ask.counts, strict=True)):
            looks = []
            for _ in range(GLANCES):
                self._send_frame(frame, frame.goes.index(place))
                looks.append({run: self._yard.pixels[run].copy() for run in ask.runs})
            for run, count in zip(ask.runs, counts, strict=True):
                if count:
                    shades = self._shades(run, [look[run] for look in looks])
                    each[:, place] *= self._eye.evenly(ask, run, colour, count, shades)
        return self._eye.compares(each)

    def _lamps(self, frame: Frame, step: int, runs: Sequence[str]) -> list[int]:
        """The pixels of some runs that are lit at a step, and steady, counted on through the runs."""
        looks = []
        for _ in range(GLANCES):
            self._send_frame(frame, step)
            looks.append({run: self._yard.pixels[run].copy() for run in runs})
        steady = [np.all([look[run] == looks[0][run] for look in looks], axis=(0, 2)) for run in runs]
        shown = [looks[0][run].any(axis=1) & own for run, own in zip(runs, steady, strict=True)]
        lit, many = np.flatnonzero(np.concatenate(shown)).tolist(), len(frame.steps[step])
        return [*lit, *[NOBODY] * many][:many] if len(lit) <= many else [SEVERAL] * many

    def _shades(self, run: str, looks: Sequence[Shades]) -> Shades:
        """What the pixels show, as `says` counts them, from what they showed at each glance: shape (1, pixels)."""
        letters = self._yard.letters[run]
        bits = (looks[0] > 0) @ (1 << np.arange(len(letters)))
        flickers = np.any([(look != looks[0]).any(axis=1) for look in looks[1:]], axis=0)
        found: Shades = shade_table(letters)[np.where(flickers, BROKEN, bits)][None, :]
        return found[:, same_lamps(self._wiring.show, self.says.show, run)]

    def _send_frame(self, frame: Frame, step: int) -> None:
        """One frame to every box: all its universes, and those that the frame lights besides."""
        self._send(frame.levels(sorted({*frame.universes()}.union(*self._universes.values())), step))

    def _send(self, levels: Levels) -> None:
        row_of = {universe: row for row, universe in enumerate(levels.universes)}
        datagrams = []
        for box, own in self._universes.items():
            protocol = self._wiring.show.controllers[box].protocol
            wire = e131 if protocol == "e131" else artnet
            for universe in sorted({*own, *levels.universes}):
                packet = self._packet(box, protocol, universe)
                slots = levels.slots[row_of[universe]].tobytes() if universe in row_of else bytes(CHANNELS)
                wire.write_levels(packet, self._sent, slots)
                datagrams.append(([box], bytes(packet), NAME))
        self._yard.hear(datagrams, self._sent / FRAME_RATE)
        self._sent += 1

    def _packet(self, box: str, protocol: Protocol, universe: int) -> bytearray:
        if (box, universe) not in self._packets:
            self._packets[box, universe] = (
                e131.data_packet(cid=bytes(16), source="Patcher", universe=universe)
                if protocol == "e131"
                else artnet.dmx_packet(port_address=universe)
            )
        return self._packets[box, universe]
