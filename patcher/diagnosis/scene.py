"""The scene: the classes of hypotheses about a thing, and what each lets every run show of a frame.

Many hypotheses let a run show the same; what a run takes under them is kept once, as a *variant* of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.hypotheses import Hypothesis, runs_of, singles, weights
from patcher.eye import BROKEN, LINE, Shades
from patcher.faults import RANDOM, Departure, Planned, Takes, shades
from patcher.shapes import Cells, cells

Index = NDArray[np.int32]
Channels = NDArray[np.int64]
"""Running channels that a frame lights."""


@dataclass(frozen=True, eq=False)
class Variants:
    """What a run could take.

    Attributes:
        letters: its planned colour order.
        index: for each channel of a pixel, each variant and each pixel, the channel of the scene that sets it; shape
            (channels, variants, pixels). Variant 0 is the plan.
        of: the variant of each class.
        numbers: how many channels have a place in the scene; behind them are dark and broken data.
    """

    letters: str
    index: Index
    of: Index
    numbers: int

    @property
    def pixels(self) -> int:
        """How many pixels the run has."""
        return int(self.index.shape[2])

    @cached_property
    def differs(self) -> NDArray[np.bool_]:
        """Which pixels take something else than planned: shape (variants, pixels)."""
        found: NDArray[np.bool_] = (self.index != self.index[:, :1]).any(axis=0)
        return found

    @cached_property
    def first(self) -> NDArray[np.int64]:
        """The first pixel of each variant that takes something else; −1 where none does."""
        return np.where(self.differs.any(axis=1), self.differs.argmax(axis=1), -1)

    @cached_property
    def count(self) -> NDArray[np.int64]:
        """How many pixels of each variant take something else."""
        found: NDArray[np.int64] = self.differs.sum(axis=1)
        return found

    @cached_property
    def loses(self) -> NDArray[np.bool_]:
        """Whether all pixels of a variant that take something else take nothing, or broken data: shape (variants,)."""
        nothing = self.index >= self.numbers
        found: NDArray[np.bool_] = ((self.index == self.index[:, :1]) | nothing).all(axis=(0, 2))
        return found

    def shades(self, on: Shades, index: Index) -> Shades:
        """What the pixels show where these channels of the scene are lit, for some of the variants' indices.

        Args:
            on: which channels are lit, of one frame or of each of some: shape (…, channels).
            index: shape (channels, variants, pixels).

        Returns:
            Shape (…, variants, pixels).
        """
        return shades(on, index, self.letters)


@dataclass(frozen=True, eq=False)
class Scene:
    """What could be wrong with a thing, and how it would look.

    Attributes:
        plan: the wiring as planned.
        runs: the runs of the thing.
        classes: hypotheses that look alike in every frame, the likeliest of a class first; class 0 holds the one
            without a fault.
        prior: how likely each class is; sums to 1.
        variants: for each run that some hypothesis changes, and those of the thing, what it could take.
        numbers: the running channels that pixels of the scene could take, rising.
        looks: what each run could take, each once.
        look_of: the look of each class.
    """

    plan: Planned
    runs: tuple[str, ...]
    classes: tuple[tuple[Hypothesis, ...], ...]
    prior: NDArray[np.float64]
    variants: dict[str, Variants]
    numbers: Channels
    looks: Looks
    look_of: tuple[Look, ...]

    @cached_property
    def quarters(self) -> dict[str, NDArray[np.int8] | None]:
        """For each run that is a grid, the quarter that each of its pixels is in."""
        show = self.plan.wiring.show
        return {run: quarters_of(cells(show, show.runs[run])) for run in self.variants}

    @cached_property
    def places(self) -> dict[str, NDArray[np.int64]]:
        """For each run where its pixels are, 1 or `LINE` apart where side by side: by column and row, or along it."""
        show, found = self.plan.wiring.show, {}
        for run, variants in self.variants.items():
            placed = cells(show, show.runs[run])
            found[run] = np.arange(variants.pixels) if placed is None else placed @ np.array([1, LINE])
        return found

    def joined(self, runs: Sequence[str]) -> NDArray[np.int64]:
        """Where the pixels of some runs are, those of one far from those of another."""
        return np.concatenate([self.places[run] + number * LINE * LINE for number, run in enumerate(runs)])

    def on(self, channels: Channels) -> Shades:
        """Which channels of the scene are lit, where these running channels are; behind them dark and broken data."""
        found = np.zeros(len(self.numbers) + 2, dtype=np.uint8)
        found[self.numbered(channels)] = 1
        found[-2:] = 0, BROKEN
        return found

    def numbered(self, channels: Channels) -> NDArray[np.int64]:
        """The places of running channels among the numbers of the scene; of those that are not there, their count."""
        at = np.minimum(np.searchsorted(self.numbers, channels), len(self.numbers) - 1)
        at[self.numbers[at] != channels] = len(self.numbers)
        return at


def quarters_of(placed: Cells | None) -> NDArray[np.int8] | None:
    """The quarter of a grid, 0 to 3, that each of its pixels is in, from their columns and rows; None without."""
    if placed is None:
        return None
    low, high = placed.min(axis=0), placed.max(axis=0)
    found: NDArray[np.int8] = (((placed - low) * 2 > (high - low)) @ np.array([1, 2])).astype(np.int8)
    return found


def scene_of(plan: Planned, thing: str) -> Scene:
    """All that could be wrong with a run, a port, a box or a prop, one fault at a time.

    Raises:
        PatcherError: there is no such thing, or nothing of it hangs.
    """
    runs = runs_of(plan.wiring, plan.patch, thing)
    found = singles(plan, runs)
    return build_scene(plan, runs, [(), *((fault,) for fault, _ in found)], [None, *(differs for _, differs in found)])


def build_scene(
    plan: Planned, runs: Sequence[str], hypotheses: Sequence[Hypothesis], changes: Sequence[Departure | None],
    beside: Iterable[str] = (),
) -> Scene:  # fmt: skip
    """The scene of some hypotheses, the first of them without a fault, and what each changes (None: nothing); `beside`
    are other runs that are asked about.
    """
    looks = Looks(plan, [*runs, *beside])
    of = [looks.of(differs.takes if differs else {}) for differs in changes]
    return scene_from(plan, runs, hypotheses, weights(plan.wiring, hypotheses), looks, of)


Look = frozenset[tuple[str, int]]
"""The variant of every run that does not show its planned one."""


class Looks:
    """What each run could take, each once: variant 0 is the plan."""

    def __init__(self, plan: Planned, runs: Sequence[str]) -> None:
        self._plan = plan
        self._known: dict[str, dict[bytes, int]] = {}
        self.takes: dict[str, list[Takes]] = {}
        for run in runs:
            self._begin(run)

    def _begin(self, run: str) -> dict[bytes, int]:
        if run not in self._known:
            self._known[run] = {self._plan.takes[run].tobytes(): 0}
            self.takes[run] = [self._plan.takes[run]]
        return self._known[run]

    def of(self, takes: Mapping[str, Takes]) -> Look:
        """The look of a hypothesis, from what the runs that it changes take."""
        look = []
        for run, taken in takes.items():
            known = self._begin(run)
            variant = known.setdefault(taken.tobytes(), len(known))
            if variant == len(self.takes[run]):
                self.takes[run].append(taken)
            if variant:
                look.append((run, variant))
        return frozenset(look)

    def known(self, takes: Mapping[str, Takes]) -> Look | None:
        """The look of a hypothesis, where each of its runs takes what it takes under one that was looked at before."""
        if all(taken.tobytes() in self._known.get(run, {}) for run, taken in takes.items()):
            return self.of(takes)
        return None


def scene_from(
    plan: Planned, runs: Sequence[str], hypotheses: Sequence[Hypothesis], each: Sequence[float],
    looks: Looks, look_of: Sequence[Look],
) -> Scene:  # fmt: skip
    """The scene of some hypotheses with their weights and their looks."""
    show, takes = plan.wiring.show, looks.takes
    classes: dict[Look, list[int]] = {}
    for number, look in enumerate(look_of):
        classes.setdefault(look, []).append(number)
    prior = np.array([sum(each[number] for number in members) for members in classes.values()])
    of = {run: np.zeros(len(classes), dtype=np.int32) for run in takes}
    for number, own in enumerate(classes):
        for run, variant in own:
            of[run][number] = variant
    numbers, index = _numbered(takes)
    return Scene(
        plan, tuple(runs),
        tuple(tuple(hypotheses[n] for n in sorted(members, key=lambda n: -each[n])) for members in classes.values()),
        prior,
        {
            run: Variants(show.type_of(show.runs[run]).colour_order, index[run], of[run], len(numbers))
            for run in takes
        },
        numbers, looks, tuple(classes),
    )  # fmt: skip


def _numbered(takes: Mapping[str, Sequence[Takes]]) -> tuple[Channels, dict[str, Index]]:
    """The running channels in all of them, rising, and each run's variants with its channels as places among those."""
    stacked = {run: np.stack(each) for run, each in takes.items()}
    most = max(int(each.max()) for each in stacked.values())
    used = np.zeros(max(most, 0) + 1, dtype=bool)
    for each in stacked.values():
        used[each[each >= 0]] = True
    numbers = np.flatnonzero(used)
    place = np.zeros(len(used) + 2, dtype=np.int32)
    place[numbers] = np.arange(len(numbers))
    place[-1], place[-2] = len(numbers), len(numbers) + 1
    assert RANDOM == -2  # noqa: S101  (places are looked up from the end)
    return numbers, {run: np.ascontiguousarray(place[each].transpose(2, 0, 1)) for run, each in stacked.items()}
