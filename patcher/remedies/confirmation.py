"""The last look: of the looks of a round the one that a fault would make wrong, so that a yes says it is mended."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from patcher.diagnosis.hypotheses import Hypothesis
from patcher.diagnosis.question_frame import Painter
from patcher.eye import COUNTS_TO, Eye, Shades, missing
from patcher.faults import LitChannels, Planned, Takes, departure
from patcher.faults.fault import AT_A_LAMP
from patcher.frames.levels import levels
from patcher.frames.looks import COLOURS, Glow, Look
from patcher.walk.items import items
from patcher.walk.round_plan import plan
from patcher.walk.step import Check, Step, Subject, as_said

MOST = 12
"""Of so many hypotheses that look alike it is seen whether a look tells them from a sound thing."""


def steps_of(sound: Planned) -> tuple[Step, ...]:
    """The whole round of a show."""
    return plan(sound.wiring, items(sound.wiring))


def confirming(sound: Planned, steps: Sequence[Step], hypotheses: Sequence[Hypothesis]) -> Step | None:
    """The look that shows best that none of these is there any more: the first of those that an eye is least likely to
    find as it should be under any of them; where each may pass, a pixel with its neighbours. None where all would pass.
    """
    departures = [departure(sound, faults) for faults in hypotheses[:MOST] if faults]
    touched = {run for differs in departures for run in differs.takes}
    best, least = None, 1.0
    for step in sorted(steps, key=lambda step: len(step.looks) > 1):  # one look is seen sooner than several
        if not (step.runs & touched):
            continue
        passes = max(
            (passed(step, sound, sound.takes | differs.takes) for differs in departures if differs.takes), default=1.0
        )
        if passes < least:
            best, least = step, passes
        if not least:
            break
    if least and (near := _near(sound, hypotheses[0])):
        return near
    return best


def _near(sound: Planned, faults: Hypothesis) -> Step | None:
    """A pixel with its next ones, each in a colour: of so few an eye sees every one."""
    fault = next((fault for fault in faults if fault.kind in AT_A_LAMP), None)
    if fault is None:
        return None
    (run, lamp), show = fault.lamp, sound.wiring.show
    source = sound.wiring.source(run)
    lamps = show.runs[run].pixels
    shown = Painter(sound).colours(run)
    if lamps < 2 or not shown:
        return None
    first = max(0, min(lamp - 1, lamps - COUNTS_TO))
    pixels = np.arange(first, min(first + COUNTS_TO, lamps))
    own = next((colour for colour in shown if colour[0].upper() == fault.value), shown[0])
    turn = shown.index(own) - int(lamp - first)
    glows = [Glow(source, pixels[at : at + 1], COLOURS[shown[(turn + at) % len(shown)]]) for at in range(len(pixels))]
    colours = tuple(dict.fromkeys(glow.colour.name for glow in glows))
    says = f"{run}/{first + 1} to {run}/{pixels[-1] + 1}: {', '.join(glow.colour.name for glow in glows)}"
    checks = (Check(run, None, str(len(pixels))), Check(run, missing(run, colours), "none is missing"))
    where = f"Look at {run}: {len(pixels)} pixels are lit, and nothing else."
    subject = Subject(run, says, (), checks)
    return Step(f"pixel {fault.where}", sound.wiring.ports[run][0], where, (Look(tuple(glows), (says,)),), (subject,))


def passed(step: Step, sound: Planned, takes: Mapping[str, Takes]) -> float:
    """How likely an eye finds a step as it should be, where the pixels take this."""
    shades = [shown(look, sound, takes) for look in step.looks]
    return float(np.prod(list(as_said(step, sound.wiring, shades, Eye()).values())))


def shown(look: Look, sound: Planned, takes: Mapping[str, Takes]) -> dict[str, Shades]:
    """What each run's pixels show of a look, where they take this."""
    sent, show = levels(look, sound.wiring, sound.patch, sound.patch.universes, 1.0), sound.wiring.show
    lit = LitChannels.of_slots(sent.universes, sent.slots)
    return {run: lit.shades(taken, show.type_of(show.runs[run]).colour_order) for run, taken in takes.items()}
