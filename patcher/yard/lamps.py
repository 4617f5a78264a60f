"""All lamps of a yard, lit from the slots of its boxes, and every colour that each has shown.

All lamps' channels lie in one block of octets, run after run. Which slots set which of them is worked out once; then a
frame costs a few numpy operations for the universes that it changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from patcher.faults import RANDOM, Takes, slot_index
from patcher.show.tables import CHANNELS

Lamps = NDArray[np.uint8]
Index = NDArray[np.int64]

KEPT = 12
"""Colours that are kept of each lamp; a lamp that shows more, as in a fade, keeps its first."""


@dataclass(frozen=True, eq=False)
class _Group:
    """Lamps with one number of channels on one box; each row of the indices is a lamp.

    Attributes:
        number: each lamp's number among all.
        into: where its channels lie in the block of all lamps.
        source: the box's slots that set them.
        by_row: which of these lamps each row of the box's slots sets.
        random: which channels get broken data.
    """

    number: Index
    into: Index
    source: Index
    by_row: Mapping[int, Index]
    random: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class _Seen:
    """Colours that lamps with one number of channels have shown: a key a colour, `KEPT` a lamp."""

    keys: NDArray[np.void]
    count: Index


@dataclass(eq=False)
class LampBlock:
    """The lamps.

    Attributes:
        of: for each run, what each of its lamps shows: shape (pixels, channels), 0 to 255.
        random: where broken data gets its colours from.
    """

    letters: Mapping[str, str]
    of: dict[str, Lamps] = field(default_factory=dict)
    random: np.random.Generator = field(default_factory=np.random.default_rng)

    def __init__(
        self,
        letters: Mapping[str, str],
        takes: Mapping[str, Takes],
        boxes: Mapping[str, str],
        universes: Mapping[str, Sequence[int]],
        seed: int,
    ) -> None:
        """Dark lamps.

        Args:
            letters: each run's planned colour order.
            takes: what its lamps take.
            boxes: which box feeds it.
            universes: for each box, the universes that it listens to, rising.
            seed: of the colours of broken data.
        """
        self.letters = letters
        self.random = np.random.default_rng(seed)
        self.of = {}
        sizes = [taken.size for taken in takes.values()]
        ends = np.cumsum([0, *sizes])
        self._block: Lamps = np.zeros(int(ends[-1]), dtype=np.uint8)
        self._first: dict[str, int] = {}
        self._runs = list(takes)
        lamps = 0
        for (run, taken), begin, end in zip(takes.items(), ends[:-1], ends[1:], strict=True):
            self.of[run] = self._block[begin:end].reshape(taken.shape)
            self._first[run] = lamps
            lamps += len(taken)
        self._firsts = np.array([*self._first.values(), lamps])
        self._begins = dict(zip(takes, ends[:-1].tolist(), strict=True))
        self._lit_order: list[Index] = []
        widths = sorted({taken.shape[1] for taken in takes.values()})
        self._seen = {
            width: _Seen(np.zeros((lamps, KEPT), dtype=f"V{width}"), np.zeros(lamps, dtype=np.int64))
            for width in widths
        }
        self._groups: dict[str, list[_Group]] = {}
        for box, numbers in universes.items():
            own = [run for run in takes if boxes[run] == box]
            for width in widths:
                alike = [run for run in own if takes[run].shape[1] == width and takes[run].size]
                if alike:
                    self._groups.setdefault(box, []).append(self._group(alike, takes, numbers))

    def _group(self, runs: Sequence[str], takes: Mapping[str, Takes], universes: Sequence[int]) -> _Group:
        number = np.concatenate([self._first[run] + np.arange(len(takes[run])) for run in runs])
        into = np.concatenate(
            [self._begins[run] + np.arange(takes[run].size).reshape(takes[run].shape) for run in runs]
        )
        source = np.concatenate([slot_index(takes[run], universes) for run in runs])
        random = np.concatenate([takes[run] == RANDOM for run in runs])
        rows = source // CHANNELS
        by_row = {row: np.flatnonzero((rows == row).any(axis=1)) for row in np.unique(rows).tolist()}
        return _Group(number, into, source, by_row, random)

    def light(self, box: str, slots: NDArray[np.uint8], rows: Iterable[int], dimmer: NDArray[np.uint8] | None) -> None:
        """Show what a box holds now.

        Args:
            box: the box.
            slots: its slots, laid end to end, with a dark one behind them all.
            rows: which universes of it changed, by row.
            dimmer: what the box makes of each value; None: leaves it.
        """
        changed = set(rows)
        for group in self._groups.get(box, ()):
            noisy = bool(group.random.any())
            found = [group.by_row[row] for row in changed if row in group.by_row]
            if noisy:
                found.append(np.flatnonzero(group.random.any(axis=1)))
            if not found:
                continue
            chosen = found[0] if len(found) == 1 else np.unique(np.concatenate(found))
            values = slots[group.source[chosen]]
            if dimmer is not None:
                values = dimmer[values]
            if noisy:
                broken = group.random[chosen]
                values[broken] = self.random.integers(0, 256, int(broken.sum()), dtype=np.uint8)
            self._set(group.number[chosen], group.into[chosen], values)

    def _set(self, number: Index, into: Index, values: Lamps) -> None:
        changed = (self._block[into] != values).any(axis=1)
        if not changed.any():
            return
        self._block[into[changed]] = values[changed]
        lit = changed & values.any(axis=1)
        if lit.any():
            self._note(number[lit], np.ascontiguousarray(values[lit]))

    def _note(self, number: Index, values: Lamps) -> None:
        """Keep the colours that lamps have not shown before."""
        seen = self._seen[values.shape[1]]
        keys = values.view(f"V{values.shape[1]}").ravel()
        count = seen.count[number]
        new = np.flatnonzero(count < KEPT)
        for place in range(int(count[new].max(initial=0))):
            new = new[(seen.keys[number[new], place] != keys[new]) | (count[new] <= place)]
        if not len(new):
            return
        lamps = number[new]
        if len(first := lamps[count[new] == 0]):
            self._lit_order.append(first)
        seen.keys[lamps, count[new]] = keys[new]
        seen.count[lamps] += 1

    def seen(self) -> dict[tuple[str, int], dict[tuple[int, ...], None]]:
        """Every colour that each lamp, by run and number from 1, ever showed but dark, in the order in which they first
        lit; of each lamp at most the first `KEPT`.
        """
        found: dict[tuple[str, int], dict[tuple[int, ...], None]] = {}
        for lamps in self._lit_order:
            for lamp, at in zip(lamps.tolist(), np.searchsorted(self._firsts, lamps, "right").tolist(), strict=True):
                run = self._runs[at - 1]
                seen = self._seen[len(self.letters[run])]
                colours = seen.keys[lamp, : seen.count[lamp]]
                found[run, lamp - self._first[run] + 1] = {tuple(bytes(colour)): None for colour in colours}
        return found

    def ever_lit(self) -> int:
        """How many lamps were ever lit."""
        return sum(len(lamps) for lamps in self._lit_order)
