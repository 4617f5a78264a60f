"""A yard that answers: a frame goes as real packets into simulated boxes, and an eye says what their lamps show."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from patcher.address.patch import Patch
from patcher.eye import BROKEN, Ask, Chances, Eye, Shades, shade_table
from patcher.faults import Built
from patcher.stream.sender import box_universes
from patcher.verify import Frame, Question
from patcher.wire import artnet, e131
from patcher.wiring import Wiring
from patcher.yard.yard import Yard

GLANCES = 3
"""How often a still frame is sent and looked at: what changes meanwhile flickers."""
NAME = "127.0.0.1"


class Witness:
    """Answers questions from what the lamps of a yard show, as built."""

    def __init__(self, wiring: Wiring, patch: Patch, built: Built, *, eye: Eye | None = None, seed: int = 0) -> None:
        self._wiring = wiring
        self._yard = Yard(wiring, patch, built, seed=seed)
        self._eye = eye or Eye()
        self._chance = np.random.default_rng(seed)
        self._universes = box_universes(patch)
        self._packets: dict[tuple[str, int], bytearray] = {}
        self._sent = 0

    def answer(self, question: Question) -> str:
        """The key of the answer."""
        chances = self._chances(question.frame, question.ask)[0]
        return question.answers[int(self._chance.choice(len(chances), p=chances))].key

    def _chances(self, frame: Frame, ask: Ask) -> Chances:
        if ask.kind == "vanish":
            steps = []
            for step in range(len(frame.steps)):
                self._send(frame, step)
                steps.append(self._yard.lamps[ask.runs[0]].any())
            return self._eye.follows(ask, np.array([steps]))
        looks = []
        for _ in range(GLANCES):
            self._send(frame, 0)
            looks.append({run: self._yard.lamps[run].copy() for run in ask.runs})
        return self._eye.sees(ask, [self._shades(run, [look[run] for look in looks]) for run in ask.runs])

    def _shades(self, run: str, looks: Sequence[Shades]) -> Shades:
        """What the lamps show, from what they showed at each glance: shape (1, lamps)."""
        letters = self._yard.letters[run]
        bits = (looks[0] > 0) @ (1 << np.arange(len(letters)))
        flickers = np.any([(look != looks[0]).any(axis=1) for look in looks[1:]], axis=0)
        found: Shades = shade_table(letters)[np.where(flickers, BROKEN, bits)][None, :]
        return found

    def _send(self, frame: Frame, step: int) -> None:
        """One frame to every box: all its universes, and those that the frame lights besides."""
        lit = set(frame.universes())
        everything = sorted(lit.union(*self._universes.values()))
        levels = frame.levels(everything, step)
        row_of = {universe: row for row, universe in enumerate(levels.universes)}
        datagrams = []
        for box, own in self._universes.items():
            protocol = self._wiring.show.controllers[box].protocol
            wire = e131 if protocol == "e131" else artnet
            for universe in sorted({*own, *lit}):
                packet = self._packet(box, protocol, universe)
                wire.write_levels(packet, self._sent, levels.slots[row_of[universe]].tobytes())
                datagrams.append(([box], bytes(packet), NAME))
        self._yard.hear(datagrams, self._sent / 40)
        self._sent += 1

    def _packet(self, box: str, protocol: str, universe: int) -> bytearray:
        if (box, universe) not in self._packets:
            self._packets[box, universe] = (
                e131.data_packet(cid=bytes(16), source="Patcher", universe=universe)
                if protocol == "e131"
                else artnet.dmx_packet(port_address=universe)
            )
        return self._packets[box, universe]
