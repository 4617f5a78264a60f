"""Whether a clip is good enough, and what to do better: how it was filmed, said to the person who films again."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

import numpy as np

from patcher.clip.decode import Turn
from patcher.clip.lights import Lights
from patcher.clip.phase import CLEAR, Phase
from patcher.clip.registration import GOOD, Laid
from patcher.clip.video import LONGEST, SLOWEST, Facts
from patcher.frames.film_code import Code

AGREES = 0.12
"""By how much better the words must go with the light than if the cycle began elsewhere."""
SHAKEN = 0.2
"""Of the frames: where so many cannot be laid on the others, the clip was shaken."""
DIM = 10.0
"""Grey levels by which lights change, on the median; in a clip with less many are too faint."""
GLARING = 0.1
"""Of the lights: where so many are too bright for the camera, the clip is too bright."""
MISSES = 0.05
"""Of a cycle's bins: so many may be without a frame."""


def too_short(clip: Facts, code: Code) -> str:
    """Why a clip cannot hold the code, before it is looked at; empty where it can."""
    if clip.rate and clip.rate < SLOWEST:
        return f"has {clip.rate:.3g} frames a second: film with 24 or more"
    if clip.seconds and clip.seconds < code.seconds:
        return f"lasts {clip.seconds:.0f} s: film for at least {ceil(code.seconds)} s, better twice as long"
    return ""


def unreadable(laid: Sequence[Laid], when: Phase, turn: Turn, missing: float) -> str:
    """Why no word of a clip can be read; empty where some can."""
    if turn.agrees - turn.next_best >= AGREES and missing <= 0.5:
        return ""
    if not laid or not any(one.good for one in laid[1:]):
        return "has no lights in it that stay in their place: film the display in the dark, from a prop"
    if when.clear < CLEAR:
        return "shows nothing that changes as the code does: start the code first, then film"
    return "cannot be read: film again, propped up and closer, with the exposure locked"


def remarks(clip: Facts, laid: Sequence[Laid], found: Lights, missing: float, white: float = 0.0) -> str:
    """What would make a clip that can be read better; empty where nothing would.

    Args:
        clip: what it is.
        laid: its frames.
        found: its lights.
        missing: the part of a cycle that no frame shows.
        white: the part of the lights that are too bright for the camera to tell their colours.
    """
    says: list[str] = []
    shaken = [one.time for one in laid if one.part < GOOD]
    if len(shaken) > SHAKEN * len(laid):
        says.append(f"too much shake from {_clock(shaken[0])} on: prop the phone up")
    if missing > MISSES:
        says.append("some of the code is on no frame: film for two cycles")
    if len(found) and float(np.median(found.swing.max(axis=(1, 2)))) < DIM:
        says.append("the lights are faint: lock the exposure while all is lit, or go closer")
    if white > GLARING:
        says.append("too bright, many lights have no colour: lock the exposure darker, or play at a lower --level")
    if clip.seconds > LONGEST:
        says.append(f"only its first {LONGEST:.0f} s were read")
    return "; ".join(says)


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
