"""The confirming step: the step of a walk-through that a fault would make wrong, so that a yes says it is fixed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from patcher.diagnosis.hypotheses import Hypothesis
from patcher.diagnosis.question_frame import Painter
from patcher.eye import COUNTS_TO, missing
from patcher.faults import Planned, departure
from patcher.faults.fault import AT_A_PIXEL
from patcher.frames.looks import COLOURS, Glow, Look
from patcher.walk.items import items
from patcher.walk.round_plan import plan
from patcher.walk.step import Check, Step, Subject
from patcher.walk.unprovable import passing

MOST = 12
"""So many hypotheses that look alike are tried at most."""


def steps_of(sound: Planned) -> tuple[Step, ...]:
    """All steps of a show."""
    return plan(sound.wiring, items(sound.wiring))


def confirming(sound: Planned, steps: Sequence[Step], hypotheses: Sequence[Hypothesis]) -> Step | None:
    """The step that shows best that none of these is there any more: the first of those that an eye is least likely to
    pass under any of them; where each may pass, a pixel with its neighbours. None where all would pass.
    """
    departures = [differs for faults in hypotheses[:MOST] if (differs := departure(sound, faults)).takes]
    touched = {run for differs in departures for run in differs.takes}
    best, least = None, 1.0
    for step in sorted(steps, key=lambda step: len(step.looks) > 1):  # one look is seen sooner than several
        if step.runs & touched and least:
            chance = float(passing(sound, [step], departures).max())
            if chance < least:
                best, least = step, chance
    return (_near(sound, hypotheses[0]) or best) if least else best


def _near(sound: Planned, faults: Hypothesis) -> Step | None:
    """A step that lights a pixel and those beside it, each in a colour: of so few an eye sees every one."""
    fault = next((fault for fault in faults if fault.kind in AT_A_PIXEL), None)
    if fault is None:
        return None
    (run, pixel), source = fault.pixel, sound.wiring.source(fault.pixel[0])
    count, shown = sound.wiring.show.runs[run].pixels, Painter(sound).colours(run)
    if count < 2 or not shown:
        return None
    first = max(0, min(pixel - 1, count - COUNTS_TO))
    pixels = np.arange(first, min(first + COUNTS_TO, count))
    colour = next((colour for colour in shown if colour[0].upper() == fault.value), shown[0])
    turn = shown.index(colour) - int(pixel - first)
    glows = [Glow(source, pixels[at : at + 1], COLOURS[shown[(turn + at) % len(shown)]]) for at in range(len(pixels))]
    colours = tuple(dict.fromkeys(glow.colour.name for glow in glows))
    says = f"{run}/{first + 1} to {run}/{pixels[-1] + 1}: {', '.join(glow.colour.name for glow in glows)}"
    checks = (Check(run, None, str(len(pixels))), Check(run, missing(run, colours), "none is missing"))
    where = f"Look at {run}: {len(pixels)} pixels are lit. Nothing else should be lit."
    subject = Subject(run, says, (), checks)
    return Step(f"pixel {fault.where}", sound.wiring.ports[run][0], where, (Look(tuple(glows), (says,)),), (subject,))
