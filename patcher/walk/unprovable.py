"""What a walk-through cannot show: the single faults of the model under which an eye says yes to every step.

Worked out from the model, without showing a step: the looks are rendered, the pixels take what they would take under
the fault, and the eye is asked. A fault that changes what any pixel takes and is seen in no step is *unprovable*;
one that an eye may overlook, since it shows as nothing but a dark pixel among lit ones, is *overlooked* with a chance.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.hypotheses import singles
from patcher.eye import DARK, Eye
from patcher.faults import Departure, Fault, LitChannels, Planned
from patcher.frames.levels import levels
from patcher.frames.looks import Glow, Look
from patcher.trade import CHANNELS
from patcher.walk.step import Check, Step, meant_in

AT_A_TIME = 400_000
"""Pixels of all variants that are looked at together, for memory."""
MANY = 6_000
"""Of a show of more pixels not each is tried."""
NEAR = 4
"""So far from a change of colour, or from an end, a pixel is one of many: an eye counts no further."""


@dataclass(frozen=True)
class Passed:
    """A single fault under which an eye says yes to every step.

    Attributes:
        fault: the fault.
        runs: the runs of which a pixel takes something else than planned; none: it shows in no frame at all.
        chance: how likely the eye says so; 1: always, it is unprovable.
    """

    fault: Fault
    runs: tuple[str, ...]
    chance: float

    @property
    def unprovable(self) -> bool:
        """Whether no eye can see it."""
        return self.chance == 1.0


def passing(sound: Planned, steps: Sequence[Step], departures: Sequence[Departure]) -> NDArray[np.float64]:
    """How likely an eye says yes to every step, under each of some departures from the plan: shape (departures,)."""
    rendered, found = _Rendered(sound, steps), np.ones(len(departures))
    groups: dict[tuple[str, ...], list[int]] = {}
    for number, differs in enumerate(departures):
        groups.setdefault(tuple(differs.takes), []).append(number)
    for runs, numbers in groups.items():
        many = max(1, AT_A_TIME // max(1, sum(len(sound.takes[run]) for run in runs)))
        for begin in range(0, len(numbers) if runs else 0, many):
            some = numbers[begin : begin + many]
            found[some] = rendered.chances({run: np.stack([departures[n].takes[run] for n in some]) for run in runs})
    return found


def passed(sound: Planned, steps: Sequence[Step], faults: Iterable[tuple[Fault, Departure]]) -> list[Passed]:
    """Those of some single faults under which an eye may say yes to every step, each with its chance."""
    tried = list(faults)
    chances = passing(sound, steps, [differs for _, differs in tried]).tolist()
    return [
        Passed(fault, tuple(sorted(differs.takes)), chance)
        for (fault, differs), chance in zip(tried, chances, strict=True)
        if chance > 0
    ]


def unseen(sound: Planned, steps: Sequence[Step], boxes: Iterable[str] | None = None) -> list[Passed]:
    """Those of all single faults at some boxes, or all, under which an eye may say yes to every step, box by box.

    Of a show of more than `MANY` pixels the faults of single pixels are tried at one pixel of each kind: of those that
    have the same colours in all looks, and lie as near to where a colour begins or ends.
    """
    wiring, kinds = sound.wiring, _Kinds(sound, steps)
    many = sum(len(taken) for taken in sound.takes.values()) > MANY
    found: dict[str, Passed] = {}
    for box in wiring.show.controllers if boxes is None else boxes:
        runs = [run for run, table in wiring.show.runs.items() if table.hung and wiring.ports[run][0] == box]
        faults = singles(sound, runs, kinds.pixels if many else None) if runs else []
        found |= {str(fault.fault): fault for fault in passed(sound, steps, faults)}
    return list(found.values())


class _Kinds:
    """The pixels of a run by what the looks of the steps ask of them and of those beside them."""

    def __init__(self, sound: Planned, steps: Sequence[Step]) -> None:
        self._sound = sound
        self._glows: dict[str, dict[tuple[int, int], list[Glow]]] = {}
        for number, step in enumerate(steps):
            for place, look in enumerate(step.looks):
                for glow in look.glows:
                    self._glows.setdefault(glow.run, {}).setdefault((number, place), []).append(glow)
        self._known: dict[str, list[int]] = {}

    def pixels(self, run: str) -> list[int]:
        """One pixel, from 1, of each kind."""
        if run not in self._known:
            self._known[run] = self._of(self._sound.wiring.source(run), len(self._sound.takes[run]))
        return self._known[run]

    def _of(self, run: str, count: int) -> list[int]:
        names: dict[str, int] = {}
        rows = np.zeros((len(self._glows.get(run, {})), count), dtype=np.int64)
        for row, glows in zip(rows, self._glows.get(run, {}).values(), strict=True):
            for glow in glows:
                row[glow.pixels] = names.setdefault(glow.colour.name, len(names) + 1)
        changes = np.flatnonzero((rows[:, 1:] != rows[:, :-1]).any(axis=0)) + 1
        bounds = np.concatenate([[0], changes, [count]])
        at = np.arange(count)
        stretch = np.searchsorted(bounds, at, side="right") - 1
        before = np.minimum(at - bounds[stretch], NEAR)
        behind = np.minimum(bounds[stretch + 1] - 1 - at, NEAR)
        near_end = np.minimum(np.minimum(at, NEAR), np.minimum(count - 1 - at, NEAR) + NEAR + 1)
        columns = np.vstack([rows, before, behind, near_end])
        _, first = np.unique(columns, axis=1, return_index=True)
        return sorted((first + 1).tolist())


class _Rendered:
    """The looks of some steps as the channels that they light, found by the runs that they light."""

    def __init__(self, sound: Planned, steps: Sequence[Step]) -> None:
        self._sound = sound
        self._steps = steps
        self._of_run: dict[str, set[tuple[int, int]]] = {}
        self._meant: dict[tuple[int, int], set[str]] = {}
        self._lit: dict[tuple[int, int], LitChannels] = {}
        last = max(sound.patch.universes, default=0)
        self._owner = np.full(last * CHANNELS, -1, dtype=np.int32)
        self._names = list(sound.takes)
        for number, taken in enumerate(sound.takes.values()):
            if sound.wiring.source(self._names[number]) == self._names[number]:
                self._owner[taken[taken >= 0]] = number
        for number, step in enumerate(steps):
            for place, look in enumerate(step.looks):
                key = (number, place)
                self._meant[key] = meant_in(look, sound.wiring)
                for run in self._meant[key]:
                    self._of_run.setdefault(run, set()).add(key)
        self._checks: dict[tuple[int, int, str], list[Check]] = {}
        for number, step in enumerate(steps):
            for subject in step.subjects:
                for check in subject.checks:
                    self._checks.setdefault((number, check.look, check.run), []).append(check)

    def chances(self, takes: Mapping[str, NDArray[np.int32]]) -> NDArray[np.float64]:
        """How likely an eye says yes to every step, for each variant of what some runs take: shape (variants,).

        Args:
            takes: for each run, what its pixels take in each variant: shape (variants, pixels, channels).
        """
        count, show = len(next(iter(takes.values()))), self._sound.wiring.show
        found, eye = np.ones(count), Eye()
        left, now = np.arange(count), dict(takes)
        for key in self._looks(takes):
            alive = found[left] > 0
            if not alive.all():
                left = left[alive]
                now = {run: taken[alive] for run, taken in now.items()}
            if not len(left):
                break
            for run, taken in now.items():
                shades = self._lights(key).shades(taken, show.type_of(show.runs[run]).colour_order)
                if run not in self._meant[key]:
                    found[left] *= ~(shades != DARK).any(axis=1)
                    continue
                for check in self._checks.get((*key, run), ()):
                    found[left] *= check.chances(eye, shades)
        return found

    def _looks(self, takes: Mapping[str, NDArray[np.int32]]) -> list[tuple[int, int]]:
        """The looks that light some of the runs, or whose channels they take, one of each step at first."""
        owns = np.zeros(len(self._names) + 1, dtype=bool)  # the last one stands for no run
        for taken in takes.values():
            inside = taken[(taken >= 0) & (taken < len(self._owner))]
            owns[self._owner[inside]] = True
        runs = {*takes, *(self._names[owner] for owner in np.flatnonzero(owns[:-1]).tolist())}
        keys = {key for run in runs for key in self._of_run.get(run, ())}
        return sorted(keys, key=lambda key: (key[1], key[0]))

    def _lights(self, key: tuple[int, int]) -> LitChannels:
        """What a look lights."""
        if key not in self._lit:
            self._lit[key] = _lit(self._sound, self._steps[key[0]].looks[key[1]])
        return self._lit[key]


def _lit(sound: Planned, look: Look) -> LitChannels:
    boxes = {sound.wiring.ports[glow.run][0] for glow in look.glows}
    universes = sorted({universe for box in boxes for universe in sound.patch.box_universes[box]})
    return LitChannels.of_slots(universes, levels(look, sound.wiring, sound.patch, universes, 1.0).slots)
