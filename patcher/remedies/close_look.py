"""What tells faults apart that look the same from ten metres: a pixel seen from close by, or a box's own addresses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from patcher.diagnosis.hypotheses import Hypothesis
from patcher.faults import RANDOM, Fault, Planned, Takes, departure
from patcher.trade import CHANNELS


@dataclass(frozen=True)
class CloseLook:
    """The last pixel at an end of a run, as it hangs, which is lit under some hypotheses and dark under the others,
    where all of the run is lit.

    Attributes:
        run: the run.
        first: whether it is the end at which its first pixel is planned; else that of its last.
        dark: the hypotheses under which it is dark, in their order.
        lit: those under which it is lit.
    """

    run: str
    first: bool
    dark: tuple[Hypothesis, ...]
    lit: tuple[Hypothesis, ...]

    @property
    def end(self) -> str:
        """Which pixel it is, in words."""
        return f"the {'first' if self.first else 'last'} pixel of {self.run}"


def take_the_same(plan: Planned, same: Iterable[Hypothesis]) -> bool:
    """Whether all pixels take the same under each of these: then no frame at all tells them apart."""
    first, *others = [departure(plan, faults).takes for faults in same]
    return all(
        takes.keys() == first.keys() and all(np.array_equal(takes[run], first[run]) for run in takes)
        for takes in others
    )  # fmt: skip


def close_look(plan: Planned, same: Sequence[Hypothesis]) -> CloseLook | None:
    """The pixel at an end of a run that tells some of these from the others; None where none does."""
    every = [departure(plan, faults).takes for faults in same]
    for run in dict.fromkeys(run for takes in every for run in takes):
        both = [_at_ends(plan, run, faults, takes) for faults, takes in zip(same, every, strict=True)]
        for end in (0, 1):
            lit = [ends[end] for ends in both]
            if True in lit and False in lit and None not in lit:
                dark = tuple(faults for faults, on in zip(same, lit, strict=True) if not on)
                return CloseLook(run, end == 0, dark, tuple(faults for faults in same if faults not in dark))
    return None


def _at_ends(plan: Planned, run: str, faults: Hypothesis, changed: Mapping[str, Takes]) -> list[bool | None]:
    """Whether the first and the last pixel of a run that hang there are lit, where every channel that is planned for it
    is; None for one that is not steady. Of pixels that were cut out nobody sees that they are dark.
    """
    takes, there = changed.get(run, plan.takes[run]), np.ones(len(plan.takes[run]), dtype=bool)
    for fault in filter(_takes_out, faults):
        there &= (departure(plan, (fault,)).takes.get(run, plan.takes[run]) >= 0).any(axis=1)
    pixels = np.flatnonzero(there)
    if not len(pixels):
        return [None, None]
    on = plan.takes[run][plan.takes[run] >= 0]
    return [
        None if RANDOM in takes[pixel] else bool(np.isin(takes[pixel], on).any()) for pixel in (pixels[0], pixels[-1])
    ]


def _takes_out(fault: Fault) -> bool:
    """Whether a fault is that pixels were cut out; those are then as dark as none."""
    return fault.kind == "missing" or (fault.kind == "shift" and fault.amount < 0)


def dark_by_address(plan: Planned, same: Sequence[Hypothesis]) -> tuple[str, ...]:
    """The runs that stay dark where each box is sent its own universes alone, if starts of two boxes are typed in each
    other's place, and light under others of these: a diagnosis sends a box those of its neighbours too.
    """
    typed = [faults for faults in same if any(fault.kind == "swapped-starts" for fault in faults)]
    if len(typed) == len(same):
        return ()
    return tuple(dict.fromkeys(run for faults in typed for run in _not_sent(plan, faults)))


def _not_sent(plan: Planned, faults: Hypothesis) -> list[str]:
    """The runs none of whose channels are sent to their box, where it is sent to by its own address."""
    controllers, found = plan.wiring.show.controllers, []
    for run, takes in departure(plan, faults).takes.items():
        box = plan.boxes[run]
        universes = np.unique(takes[takes >= 0] // CHANNELS) + 1
        sent = np.isin(universes, plan.patch.box_universes[box]).any()
        if controllers[box].delivery == "unicast" and len(universes) and not sent:
            found.append(run)
    return found
