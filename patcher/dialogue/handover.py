"""What a walk-through has shown already, as answers to the diagnosis, so that a person is not asked the same twice.

A yes to a step says what an eye would have said of every thing in it. Of that, whatever the diagnosis could have asked
of the same frame is an answer to it: the colours that are there, the gap that is not, the outermost pixel.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from patcher.diagnosis.question_frame import Frame, Painter, Seen, joined
from patcher.faults import Planned
from patcher.frames.looks import Look
from patcher.walk.step import Check, Step

KINDS = ("whole", "outer", "colours", "gap", "flicker", "even")
"""What a diagnosis asks of a whole run in a frame that stands still."""


def seen_of(sound: Planned, step: Step, things: Collection[str]) -> tuple[Seen, ...]:
    """The questions of a diagnosis that a yes to a step has answered.

    Args:
        sound: the wiring as planned.
        step: the step.
        things: those of its things that were right.
    """
    frames = [_frame(sound, look) for look in step.looks]
    checks = [check for subject in step.subjects if subject.thing in things for check in subject.checks]
    found: dict[tuple[int, str, str, int], Seen] = {}
    for check in checks:
        ask = check.ask
        if ask is None or ask.kind not in KINDS or not _of_all(check, sound):
            continue
        key = (check.look, check.run, ask.kind, ask.end)
        found.setdefault(key, Seen(frames[check.look], ask, ask.answers.index(check.answer)))
    return tuple(found.values())


def _frame(sound: Planned, look: Look) -> Frame:
    painter = Painter(sound)
    lit = [painter.steps(glow.run, glow.pixels, glow.colour).ravel() for glow in look.glows]
    return Frame(", ".join(look.says), (joined(lit),))


def _of_all(check: Check, sound: Planned) -> bool:
    return check.pixels is None or len(check.pixels) == sound.wiring.show.runs[check.run].pixels


def about(seen: Iterable[Seen], runs: Collection[str]) -> tuple[Seen, ...]:
    """Those that are about some runs."""
    return tuple(answer for answer in seen if set(answer.ask.runs) <= set(runs))
