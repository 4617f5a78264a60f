"""A yard that answers: a frame goes as real packets into simulated boxes, and an eye says what their pixels show."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import numpy as np

from patcher.diagnosis.case import Question
from patcher.diagnosis.hypotheses import Hypothesis
from patcher.diagnosis.question_frame import Frame
from patcher.dialogue.answerer import Deed, Reply
from patcher.eye import BROKEN, NOBODY, SEVERAL, Ask, Chances, Eye, Shades
from patcher.faults import Built, Fault, shades
from patcher.frames.levels import Levels
from patcher.patch.patch import Patch
from patcher.remedies.rewrite import same_pixels
from patcher.trade import CHANNELS, FRAME_RATE, UDP_PORTS
from patcher.walk.step import Step, as_said
from patcher.wire import artnet, e131
from patcher.wiring import Wiring
from patcher.yard.pixels import PixelValues
from patcher.yard.yard import LOOPBACK, Yard

if TYPE_CHECKING:
    from patcher.listener.receiver import Ear, Receiver
    from patcher.stream.sender import Sender

GLANCES = 3
"""How often a frame is sent and looked at: what changes meanwhile flickers."""
PATIENCE = 5.0
"""Seconds to wait for the packets of one frame on the loopback."""


class Carrier(Protocol):
    """How frames come to a yard."""

    yard: Yard

    def send(self, levels: Levels) -> None:
        """Bring one frame to the boxes, and wait until they show it."""


@dataclass
class Loopback:
    """Packets go to a yard through sockets of this machine.

    Attributes:
        yard: the boxes and pixels as built.
        sender: sends to them.
        source: its name in E1.31 packets; what others send to the same groups is none of this yard's business.
        receiver: hears for them.
        heard_by: which boxes hear what.
        stopped: whether something has asked to stop.
        heard: how many packets have come.
    """

    yard: Yard
    sender: Sender
    source: str
    receiver: Receiver
    heard_by: Mapping[Ear, list[str]]
    stopped: Callable[[], bool]
    heard: int = 0

    def send(self, levels: Levels) -> None:  # noqa: D102
        self.sender.send(levels)
        give_up = time.monotonic() + PATIENCE
        while self.heard < self.sender.packets and time.monotonic() < give_up and not self.stopped():
            for datagram in self.receiver.poll(PATIENCE):
                if datagram.ear.port == UDP_PORTS["e131"] and self.source.encode() not in datagram.octets:
                    continue
                self.heard += 1
                self.yard.receive(self.heard_by[datagram.ear], datagram.octets, datagram.sender, time.monotonic())


@dataclass
class Direct:
    """Packets go straight into the boxes of a yard, with every universe that a box listens to as built, dark where the
    frame does not light it: a box would keep showing what it heard last, and throw away all others, which are most.

    Attributes:
        yard: the boxes and pixels as built.
        wiring: the wiring as planned.
    """

    yard: Yard
    wiring: Wiring
    _packets: dict[tuple[str, int], bytearray] = field(default_factory=dict)
    _sent: int = 0

    def send(self, levels: Levels) -> None:  # noqa: D102
        row_of = {universe: row for row, universe in enumerate(levels.universes)}
        datagrams = []
        for box, own in self.yard.universes.items():
            wire = e131 if self.wiring.show.controllers[box].protocol == "e131" else artnet
            for universe in own:
                packet = self._packet(box, universe)
                slots = levels.slots[row_of[universe]].tobytes() if universe in row_of else bytes(CHANNELS)
                wire.write_levels(packet, self._sent, slots)
                datagrams.append(([box], bytes(packet), LOOPBACK))
        self.yard.hear(datagrams, self._sent / FRAME_RATE)
        self._sent += 1

    def _packet(self, box: str, universe: int) -> bytearray:
        if (box, universe) not in self._packets:
            self._packets[box, universe] = (
                e131.data_packet(cid=bytes(16), source="Patcher", universe=universe)
                if self.wiring.show.controllers[box].protocol == "e131"
                else artnet.dmx_packet(port_address=universe)
            )
        return self._packets[box, universe]


class Witness:
    """Answers steps and questions from what the pixels of a yard show, as built.

    Attributes:
        says: the wiring whose looks are shown: as planned, or as a changed show has it.
    """

    def __init__(
        self, wiring: Wiring, patch: Patch, built: Built, *, eye: Eye | None = None, seed: int = 0,
        mends: bool = False, steps: Carrier | None = None, stopped: Callable[[], bool] = lambda: False,
    ) -> None:  # fmt: skip
        """A yard of its own.

        Args:
            wiring: the wiring as planned.
            patch: what is typed into its boxes.
            built: what differs.
            eye: what looks at the pixels.
            seed: of what the eye misses, and of the colours of broken data.
            mends: whether what is found is fixed.
            steps: another yard, built alike, to which the steps of a round are sent.
            stopped: whether something has asked to stop.
        """
        self._wiring = wiring
        self._patch = patch
        self._built = built
        self._eye = eye or Eye()
        self._chance = np.random.default_rng(seed)
        self._chance_of_steps = np.random.default_rng(seed)
        self._seed = seed
        self._mends = mends
        self._stopped = stopped
        self._direct = self._made()
        self._steps = steps
        self.says = wiring

    def _made(self) -> Direct:
        yard = Yard(self._wiring, self._patch, self._built, seed=self._seed)
        return Direct(yard, self._wiring)

    def question(self, question: Question) -> str | None:
        """The key of what the eye sees."""
        return None if self._stopped() else self.answer(question)

    def deed(self, *, writable: bool) -> Deed:
        """What is done about what was found."""
        return "mended" if self._mends and self._built.faults else "leave"

    def take_up(self, things: Sequence[str]) -> str | None:
        """Nothing is stopped but by whoever ends it all."""
        return None

    def goes_on(self, wiring: Wiring, mended: Sequence[Hypothesis], boxes: Sequence[str]) -> bool:
        """Take the faults that were mended out of the yard, or count its pixels as a changed show does. What would have
        to be typed into a box, nobody types here.
        """
        built = {_written_either_way(fault): fault for fault in self._built.faults}
        each = [{*map(_written_either_way, faults)} for faults in mended]
        named = next((faults for faults in each if faults and faults <= built.keys()), set())
        if named:
            self._built = Built(tuple(fault for key, fault in built.items() if key not in named))
            self._direct = self._made()
        self.says = wiring
        return not boxes and bool(named or not mended)

    def point(self, run: str, pixels: int, question: Question) -> int | None:
        """An eye at ten metres knows no pixel's number."""
        return None

    def step(self, step: Step, sent: Sequence[Levels]) -> Reply:
        """What the eye says of the step: no, where any of its things is not as it should be."""
        shown = self.shown(sent)
        chances = as_said(step, self.says, shown, self._eye)
        sound = {thing: bool(self._chance_of_steps.random() < chance) for thing, chance in chances.items()}
        if self._stopped():
            return Reply("stop")
        if all(sound.values()):
            return Reply("yes")
        wrong = tuple(thing for thing, is_sound in sound.items() if thing and not is_sound)
        checks = [check for subject in step.subjects if subject.thing in wrong for check in subject.checks]
        look = min(checks, key=lambda one: one.chance(self._eye, shown[one.look][one.run])).look if checks else 0
        named = wrong or tuple(subject.thing for subject in step.subjects)[: 1 if len(step.subjects) == 1 else 0]
        return Reply("no", named, look=look)

    def shown(self, sent: Sequence[Levels]) -> list[dict[str, Shades]]:
        """What the pixels of each run show of each of some levels: shape (pixels,)."""
        runs, carrier = [*self.says.show.runs], self._steps or self._direct
        looks = [_glances(carrier, levels, runs) for levels in sent]
        return [{run: self._shades(run, [glance[run] for glance in look]) for run in runs} for look in looks]

    def answer(self, question: Question) -> str:
        """The key of the answer."""
        chances = self._chances(question.frame, question.ask)[0]
        return question.answers[int(self._chance.choice(len(chances), p=chances))].key

    def _chances(self, frame: Frame, ask: Ask) -> Chances:
        if ask.kind == "alike":
            return self._compared(frame, ask)
        if frame.goes:
            pixels = [self._pixels(frame, step, ask.runs) for step in range(len(frame.steps))]
            return self._eye.watches(ask, np.array([pixels], dtype=np.int32))
        return self._eye.sees(ask, [shown[None] for shown in self._shown(frame, 0, ask.runs)])

    def _compared(self, frame: Frame, ask: Ask) -> Chances:
        each = []
        for place in range(len(ask.colours)):
            shown = zip(ask.runs, self._shown(frame, frame.goes.index(place), ask.runs), strict=True)
            each.append(np.prod([self._eye.evenly(ask, place, run, own[None]) for run, own in shown], axis=0))
        return self._eye.compares(np.stack(each, axis=1))

    def _pixels(self, frame: Frame, step: int, runs: Sequence[str]) -> list[int]:
        """The pixels of some runs that are lit at a step, and steady, counted on through the runs."""
        looks = self._looked(frame, step, runs)
        steady = [np.all([look[run] == looks[0][run] for look in looks], axis=(0, 2)) for run in runs]
        shown = [looks[0][run].any(axis=1) & own for run, own in zip(runs, steady, strict=True)]
        lit, many = np.flatnonzero(np.concatenate(shown)).tolist(), len(frame.steps[step])
        return [*lit, *[NOBODY] * many][:many] if len(lit) <= many else [SEVERAL] * many

    def _shown(self, frame: Frame, step: int, runs: Sequence[str]) -> list[Shades]:
        """What the pixels of some runs show of a step of a frame."""
        looks = self._looked(frame, step, runs)
        return [self._shades(run, [look[run] for look in looks]) for run in runs]

    def _looked(self, frame: Frame, step: int, runs: Sequence[str]) -> list[dict[str, PixelValues]]:
        """A step of a frame, sent to every box: all its universes, and those that the frame lights besides."""
        universes = sorted({*frame.universes()}.union(*self._patch.box_universes.values()))
        return _glances(self._direct, frame.levels(universes, step), runs)

    def _shades(self, run: str, looks: Sequence[PixelValues]) -> Shades:
        """What the pixels show, as `says` counts them, from what they showed at each glance: shape (pixels,)."""
        first, letters = looks[0], self._direct.yard.letters[run]
        flickers = np.any([(look != first).any(axis=1) for look in looks[1:]], axis=0)
        lit = np.where(flickers[:, None], BROKEN, first > 0).astype(np.uint8)
        index = np.arange(lit.size, dtype=np.int32).reshape(lit.shape).T
        return shades(lit.ravel(), index, letters)[same_pixels(self._wiring.show, self.says.show, run)]


def _written_either_way(fault: Fault) -> tuple[str, frozenset[str], str]:
    """The same for a fault about two things in whichever order they are written."""
    return fault.kind, frozenset(fault.places), fault.value


def _glances(carrier: Carrier, levels: Levels, runs: Sequence[str]) -> list[dict[str, PixelValues]]:
    """What the pixels of some runs show at each of several glances: shape (pixels, channels), 0 to 255."""
    looks = []
    for _ in range(GLANCES):
        carrier.send(levels)
        looks.append({run: carrier.yard.pixels[run].copy() for run in runs})
    return looks
