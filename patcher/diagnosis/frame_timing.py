"""What is sent while a person is asked: where frames go, and the steps of a frame in time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from patcher.diagnosis.hypotheses import BOXES_OFF
from patcher.diagnosis.question_frame import Frame
from patcher.eye import WHOLE
from patcher.patch.patch import Patch
from patcher.stream.sender import Target, targets
from patcher.trade import LAST_UNIVERSE
from patcher.wire import e131
from patcher.wiring import Wiring

FRAME = 0.1
"""Seconds from one frame to the next; what moves stays as long on each pixel. Common practice, no source: an eye
follows ten steps a second; a pixel or two that move are no flash.
"""
REST = 10
"""Dark frames before each pass of what moves, for a person to see where one ends and the next begins."""
LONGEST = 60.0
"""Seconds that a frame takes at most. Common practice, no source: nobody looks closely for longer."""
MOST_STEPS = round(LONGEST / FRAME) - 4 * REST
"""Steps of a frame that moves, at most."""
EACH = 30
"""Frames that each look of a step with several is shown: 3 s, far from the three flashes a second that an eye bears."""
HELD = 100
"""Frames that the last of them is held for, growing brighter and dimmer: 10 s."""
UP_OR_DOWN, DIMMEST = 25, 1 / 3
"""Frames in which it grows dimmer, and how dim it gets, as a part of what it began with."""


def frame_goals(wiring: Wiring, patch: Patch, hosts: Mapping[str, str]) -> list[Target]:
    """Where frames go: every box, its universes, those two up and down, for what may be off, and those of boxes near it
    in the file, for starts that may be typed into the wrong box.

    Args:
        wiring: what hangs where.
        patch: its patch.
        hosts: an address for boxes that are not to be sent to by their own.

    Returns:
        The boxes' own universes first.
    """
    tables = wiring.show.controllers
    boxes = patch.box_universes
    found = dict.fromkeys(sorted(targets(wiring.show, patch, boxes, hosts)))
    others = set[Target]()
    names = list(boxes)
    for number, (box, own) in enumerate(boxes.items()):
        near = names[max(number - BOXES_OFF, 0) : number + BOXES_OFF + 1]
        of_others = {universe for name in near for universe in boxes[name]}
        host = hosts.get(box) or tables[box].address or ""
        for universe in {one + off for one in own for off in (-2, -1, 1, 2)} | of_others:
            if 1 <= universe <= LAST_UNIVERSE[tables[box].protocol] and universe not in own:
                multicast = tables[box].delivery == "multicast"
                goal = e131.multicast_group(universe) if multicast else host
                others.add(Target(tables[box].protocol, universe, goal))
    return list(found | dict.fromkeys(sorted(others)))


def moments(frame: Frame) -> list[int | None]:
    """The steps of a frame in the order in which they are sent; None: dark, before a pass."""
    found: list[int | None] = []
    for step in range(len(frame.steps)):
        if frame.goes and (step == 0 or frame.goes[step] != frame.goes[step - 1]):
            found += [None] * REST
        found.append(step)
    return found


def passes_of(frame: Frame) -> tuple[int, ...]:
    """For each moment of a frame the pass that it belongs to, counted from 1, a pause to the pass that comes; zeros
    where nothing moves.
    """
    if not frame.goes:
        return (0,) * len(frame.steps)
    found: list[int] = []
    for number in sorted(set(frame.goes)):
        found += [number + 1] * (REST + frame.goes.count(number))
    return tuple(found)


def seconds(frame: Frame) -> float:
    """How long a frame takes to be played once; 0 where nothing moves."""
    return len(moments(frame)) * FRAME if frame.goes else 0.0


def lasts(frame: Frame) -> str:
    """How long it takes, said before it starts; nothing where nothing moves."""
    if not frame.goes:
        return ""
    passes, whole = frame.goes[-1] + 1, max(1, round(seconds(frame)))
    often = "1 pass" if passes == 1 else f"{passes} passes, a pause before each"
    return f"This takes about {whole} s: {often}."


@dataclass
class Play:
    """How far a frame was played: one moment after the other, none left out; then dark, until it is asked for again.

    It goes on only where `at` is asked for: what was not sent was not played.

    Attributes:
        passes: for each moment its pass, from 1; 0 where nothing moves: then it stays lit.
        lit: for each moment whether anything is; else it is the pause before its pass.
        begun: how many passes have begun to be shown.
        whole: whether all of it was shown, at least once.
    """

    passes: Sequence[int]
    lit: Sequence[bool]
    begun: int = 0
    whole: bool = False
    _place: int = -1
    _due: float = 0.0

    @classmethod
    def of(cls, frame: Frame) -> Play:
        """The play of a frame."""
        return cls(passes_of(frame), [step is not None for step in moments(frame)])

    def __post_init__(self) -> None:
        self.whole = not self.moves

    @property
    def moves(self) -> bool:
        """Whether it is over after a while."""
        return any(self.passes)

    @property
    def over(self) -> bool:
        """Whether it was played to its end, and was not begun again."""
        return self._place >= len(self.passes)

    def at(self, now: float) -> int | None:
        """The moment to show now, by a clock in seconds that only rises; None: it is over."""
        if not self.moves:
            self._place = 0
        elif self._place < 0:
            self._place, self._due = 0, now + FRAME
        elif not self.over and now >= self._due:
            self._place, self._due = self._place + 1, max(self._due, now - FRAME / 2) + FRAME
        if self.over:
            self.whole = True
            return None
        if self.lit[self._place]:
            self.begun = max(self.begun, self.passes[self._place])
        return self._place

    def again(self) -> None:
        """Play it from its beginning."""
        self._place = -1

    @property
    def says(self) -> str:
        """What runs, for a person: `Pass 2 of 4`; nothing where nothing moves."""
        if not self.moves or self._place < 0:
            return ""
        last = max(self.passes)
        if self.over:
            return f"Finished: all {last} passes were shown." if last > 1 else "Finished."
        of = f"pass {self.passes[self._place]} of {last}"
        return of.capitalize() if self.lit[self._place] else f"Pause; next: {of}"


def too_early(needs: int, begun: int, whole: bool) -> str:
    """Why an answer cannot be given yet; empty where it can.

    Args:
        needs: how many passes must have begun, or `WHOLE`, as in `Ask.needs`.
        begun: how many have.
        whole: whether all was shown.
    """
    if whole or needs <= begun:
        return ""
    if needs == WHOLE:
        return "That can be said only once the last pass has finished. Watch to the end, then answer."
    return f"Pass {needs} has not begun yet. Watch it, then answer."


def step_moments(looks: int) -> list[tuple[int, float]]:
    """What a step shows, frame by frame: the look, from 0, and its part of full brightness. Once round is all of it.

    Each frame of the part that is held has other levels than the one before, in every channel: as much as the data
    lines of a box ever carry.
    """
    if looks == 1:
        return [(0, 1.0)]
    ramp = [abs(frame % (2 * UP_OR_DOWN) - UP_OR_DOWN) / UP_OR_DOWN for frame in range(HELD)]
    held = [(looks - 1, DIMMEST + (1 - DIMMEST) * part) for part in ramp]
    return [(number, 1.0) for number in range(looks) for _ in range(EACH)] + held
