"""A step of a walk-through: what is lit, what a person should see of it, and what an eye would say."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from patcher import eye
from patcher.frames.looks import Look
from patcher.walk.items import Item
from patcher.wiring import Wiring

Pixels = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Check:
    """What an eye says of a sound run in one look.

    Attributes:
        run: where it looks.
        ask: what it is asked, or None: how many pixels are lit.
        answer: what it says.
        pixels: the pixels that it looks at, from 0; None: all.
        look: in which of the step's looks, from 0.
    """

    run: str
    ask: eye.Ask | None
    answer: str
    pixels: Pixels | None = None
    look: int = 0

    def chance(self, seen: eye.Eye, shades: eye.Shades) -> float:
        """How likely the eye says so, of the run's pixels: shape (pixels,)."""
        return float(self.chances(seen, shades[None])[0])

    def chances(self, seen: eye.Eye, shades: eye.Shades) -> NDArray[np.float64]:
        """The same for each of some ways that the run could show: shades of shape (ways, pixels)."""
        looked = shades if self.pixels is None else shades[:, self.pixels]
        if self.ask is None:
            counted: NDArray[np.float64] = ((looked != eye.DARK).sum(axis=1) == int(self.answer)).astype(np.float64)
            return counted
        found: NDArray[np.float64] = seen.sees(self.ask, [looked])[:, self.ask.answers.index(self.answer)]
        return found


@dataclass(frozen=True, eq=False)
class Subject:
    """One of the things that a step is about.

    Attributes:
        thing: the port, run or prop.
        says: what should be seen of it.
        proves: the items that a yes proves.
        checks: the same for an eye.
    """

    thing: str
    says: str
    proves: tuple[Item, ...]
    checks: tuple[Check, ...]


@dataclass(frozen=True, eq=False)
class Step:
    """One step of a walk-through.

    Attributes:
        name: as it is named in a file of answers: `colours lockhouse`, `ports lockhouse`, `parts gable`.
        box: the box to stand at.
        where: where to look, and for what.
        looks: what is lit; of several one after the other, a few seconds each, and at last the last one for longer,
            growing brighter and dimmer. A yes then counts only once all of it was shown.
        subjects: what it is about.
        where_of: the same as `where` for some of its things alone; None: it is the same for any of them.
    """

    name: str
    box: str
    where: str
    looks: tuple[Look, ...]
    subjects: tuple[Subject, ...]
    where_of: Callable[[Sequence[str]], str] | None = None

    @property
    def proves(self) -> tuple[Item, ...]:
        """The items that a yes proves."""
        return tuple(item for subject in self.subjects for item in subject.proves)

    @property
    def runs(self) -> set[str]:
        """The runs that light."""
        return {glow.run for look in self.looks for glow in look.glows}

    def only(self, things: Collection[str], wiring: Wiring) -> Step:
        """The same for some of its things alone."""
        kept = [subject for subject in self.subjects if subject.thing in things]
        runs = {wiring.source(check.run) for subject in kept for check in subject.checks}
        looks = [replace(look, glows=tuple(glow for glow in look.glows if glow.run in runs)) for look in self.looks]
        lit = [number for number, look in enumerate(looks) if look.glows]
        subjects = tuple(
            replace(subject, checks=tuple(replace(check, look=lit.index(check.look)) for check in subject.checks))
            for subject in kept
        )
        where = self.where_of([subject.thing for subject in kept]) if self.where_of else self.where
        return replace(self, where=where, looks=tuple(looks[number] for number in lit), subjects=subjects)


def as_said(step: Step, wiring: Wiring, shades: Sequence[Mapping[str, eye.Shades]], seen: eye.Eye) -> dict[str, float]:
    """How likely an eye finds each of a step's things right.

    Args:
        step: the step.
        wiring: the wiring as planned.
        shades: for each of its looks what the pixels of each run of the show show: shape (pixels,).
        seen: the eye.

    Returns:
        By thing; under the empty name whether all else is dark.
    """
    found: dict[str, float] = {}
    for subject in step.subjects:
        chances = [check.chance(seen, shades[check.look][check.run]) for check in subject.checks]
        found[subject.thing] = float(np.prod(chances))
    others = (
        pixels for look, each in zip(step.looks, shades, strict=True)
        for run, pixels in each.items() if run not in meant_in(look, wiring)
    )  # fmt: skip
    found[""] = float(not any((pixels != eye.DARK).any() for pixels in others))
    return found


def meant_in(look: Look, wiring: Wiring) -> set[str]:
    """The runs that a look lights, with those on their data."""
    return {name for glow in look.glows for name in (glow.run, *wiring.tees(glow.run))}
