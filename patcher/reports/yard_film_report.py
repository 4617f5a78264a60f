"""What `yard --film` and `film --demo` print: what was filmed, and whether the reading says what was put in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from patcher.errors import first_few
from patcher.faults import Fault, Planned, departure, in_words
from patcher.terminal.printed import count
from patcher.visible import argument
from patcher.wiring import Wiring

if TYPE_CHECKING:
    from patcher.film.proofs import Reading
    from patcher.yard.night_picture import Camera

MOST_RUNS = 6
NO_PROOF = "The yard and its camera are simulated: it shows how the film works, and is no proof of a phone or a house."


@dataclass(frozen=True)
class Told:
    """What a reading says, held against what was put in.

    Attributes:
        named: those faults that were put in and are named.
        missed: those that are not.
        other: what is named and was not put in.
        false: how many pixels are called proved, though they take other data than planned.
        read: whether the clip could be laid on the plan.
    """

    named: tuple[Fault, ...]
    missed: tuple[Fault, ...]
    other: tuple[Fault, ...]
    false: int
    read: bool

    @property
    def good(self) -> bool:
        """Whether it says all of that and nothing else."""
        return self.read and not (self.missed or self.other or self.false)


def held_against(reading: Reading, built: Sequence[Fault]) -> Told:
    """What a reading says, held against the faults that the yard had; those that look alike are the same."""
    plan, verdict = reading.plan, reading.joined.verdict
    left = list(verdict.faults)
    named = []
    for fault in built:
        match = next((other for other in left if _is(reading, other, fault)), None)
        if match is not None:
            left.remove(match)
            named.append(fault)
    missed = tuple(fault for fault in built if fault not in named)
    if (missed or left) and _same(plan, verdict.faults, built):
        named, missed, left = list(built), (), []
    takes = departure(plan, built).takes
    false = sum(
        pixel.word == "proved" and pixel.run in takes
        and not np.array_equal(takes[pixel.run][pixel.pixel - 1], plan.takes[pixel.run][pixel.pixel - 1])
        for pixel in verdict.pixels
    )  # fmt: skip
    return Told(tuple(named), missed, tuple(left), false, any(clip.verdict is not None for clip in reading.clips))


def _is(reading: Reading, named: Fault, built: Fault) -> bool:
    """Whether a fault that is named is one that was put in, or is said to look the same."""
    meant = (named, *reading.same_look.get(named, ()))
    return built in meant or _same(reading.plan, [named], [built])


def _same(plan: Planned, one: Sequence[Fault], other: Sequence[Fault]) -> bool:
    """Whether every pixel takes the same with some faults as with others."""
    here, there = departure(plan, one), departure(plan, other)
    return here.boxes == there.boxes and here.takes.keys() == there.takes.keys() and all(
        np.array_equal(takes, there.takes[run]) for run, takes in here.takes.items()
    )  # fmt: skip


def begins(camera: Camera, built: Sequence[Fault]) -> list[str]:
    """What is filmed, before it is."""
    faults = [f"Its faults: {', '.join(map(str, built))}."] if built else ["It has no faults."]
    return [_films(camera), *faults, *_left_out(camera)]


def _films(camera: Camera) -> str:
    shot = camera.shot
    return (
        f"The yard is filmed, on this machine only: {count(len(camera.filmed.places), 'pixel')}, {shot.seconds:.1f} s, "
        f"{shot.width} × {shot.height}."
    )


def _left_out(camera: Camera) -> list[str]:
    runs = camera.filmed.left_out
    return [f"Not filmed, for it has no picture: {first_few(runs, MOST_RUNS)}."] if runs else []


def ends(told: Told, wiring: Wiring) -> list[str]:
    """Whether the reading says what was put in, and what that is worth."""
    every = len(told.named) + len(told.missed)
    lines = []
    if told.missed:
        lines.append(f"Put in, but not named: {in_words(told.missed, wiring)}.")
    if told.other:
        lines.append(f"Named, but not put in: {in_words(told.other, wiring)}.")
    if told.false:
        lines.append(f"Falsely proved: {count(told.false, 'pixel')}. That must not be.")
    if told.good:
        lines.append(
            f"It names all that was put in ({every}), and proves no pixel that is wired otherwise." if every
            else "Nothing was put in, and it names nothing."
        )  # fmt: skip
    return [*lines, f"Nothing of this is kept. {NO_PROOF}"]


def lines(show: Path, clip: Path, camera: Camera, built: Sequence[Fault], on: str | None, wiring: Wiring) -> list[str]:
    """What was filmed, and what to do with it."""
    thing = f" --on {argument(on)}" if on else ""
    return [
        _films(camera),
        *_left_out(camera),
        *([f"With {in_words(built, wiring)}."] if built else []),
        f"Written: {clip}. {NO_PROOF}",
        f"Read it as practice: patcher film {argument(show)}{thing} --read {argument(clip)} --yard",
    ]


def document(clip: Path, camera: Camera, built: Sequence[Fault]) -> dict[str, Any]:
    """The same for scripts."""
    shot = camera.shot
    return {
        "clip": str(clip), "seconds": round(shot.seconds, 3), "frames": shot.frames, "width": shot.width,
        "height": shot.height, "pixels": len(camera.filmed.places), "filmed": list(camera.filmed.runs),
        "not_filmed": list(camera.filmed.left_out), "faults": [str(fault) for fault in built],
    }  # fmt: skip


def demo_document(told: Told, built: Sequence[Fault]) -> dict[str, Any]:
    """What the document of a demonstration has beside the reading's."""
    return {
        "demonstration": True, "faults": [str(fault) for fault in built],
        "missed": [str(fault) for fault in told.missed], "not_put_in": [str(fault) for fault in told.other],
        "falsely_proved": told.false,
    }  # fmt: skip
