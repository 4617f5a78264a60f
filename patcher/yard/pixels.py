"""All pixels of a yard, lit from the slots of its boxes, and every colour that each has shown.

Pixels that hang on one box and have as many channels as each other are a *bank*: their channels lie together in memory.
Which slots set which of them is worked out once; then a frame costs a few numpy operations a bank.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from patcher.faults import RANDOM, Takes, slot_index
from patcher.trade import CHANNELS

PixelValues = NDArray[np.uint8]
Index = NDArray[np.int64]

KEPT = 8
"""Colours that are kept of each pixel; a pixel that shows more, as in a fade, keeps its first."""


class Bank:
    """Pixels of one box with as many channels as each other.

    Attributes:
        shown: what each pixel shows: shape (pixels, channels), 0 to 255.
        runs: for each run, where its pixels are among them.
    """

    def __init__(self, takes: Mapping[str, Takes], universes: Sequence[int]) -> None:
        """Dark pixels of runs that take these running channels from a box with these universes."""
        taken = np.concatenate(list(takes.values()))
        ends = np.cumsum([len(channels) for channels in takes.values()]).tolist()
        self.runs = {
            run: range(end - len(channels), end) for (run, channels), end in zip(takes.items(), ends, strict=True)
        }
        self.shown: PixelValues = np.zeros(taken.shape, dtype=np.uint8)
        self._source: Index = slot_index(taken, universes)
        self._broken = taken == RANDOM
        self._noisy = bool(self._broken.any())
        rows = self._source // CHANNELS
        self._of_row = {row: np.flatnonzero((rows == row).any(axis=1)) for row in np.unique(rows).tolist()}
        self._count = np.zeros(len(taken), dtype=np.int64)
        self._colours = np.zeros((KEPT, len(taken), -(-taken.shape[1] // 8)), dtype=np.uint64)

    def light(
        self, slots: PixelValues, rows: Collection[int], dimmer: PixelValues | None, chance: np.random.Generator
    ) -> Index | None:
        """Show what the box holds now.

        Args:
            slots: its slots, laid end to end, with a dark one behind them all.
            rows: which universes of it changed, by row.
            dimmer: what the box makes of each value; None: leaves it.
            chance: where broken data gets its values from.

        Returns:
            The pixels that had never been lit before, if any.
        """
        changed = [row for row in rows if row in self._of_row]
        if not changed and not self._noisy:
            return None
        if self._noisy or len(changed) * 2 > len(self._of_row):
            return self._show(slice(None), self._values(slots, slice(None), dimmer, chance))
        pixels = [self._of_row[row] for row in changed]
        chosen = pixels[0] if len(pixels) == 1 else np.unique(np.concatenate(pixels))
        return self._show(chosen, self._values(slots, chosen, dimmer, chance))

    def _values(
        self, slots: PixelValues, chosen: Index | slice, dimmer: PixelValues | None, chance: np.random.Generator
    ) -> PixelValues:
        values: PixelValues = slots.take(self._source[chosen])
        if dimmer is not None:
            values = dimmer.take(values)
        if self._noisy:
            values[self._broken] = chance.integers(0, 256, int(self._broken.sum()), dtype=np.uint8)
        return values

    def _show(self, chosen: Index | slice, values: PixelValues) -> Index | None:
        new = _any(self.shown[chosen] != values)
        self.shown[chosen] = values
        new &= _any(values != 0)
        new &= self._count[chosen] < KEPT
        if not new.any():
            return None
        pixels = np.flatnonzero(new) if isinstance(chosen, slice) else chosen[new]
        return self._note(pixels, values[new])

    def _note(self, pixels: Index, values: PixelValues) -> Index | None:
        """Keep the colours that pixels have not shown before; those that had shown none."""
        octets = np.zeros((len(values), self._colours.shape[2] * 8), dtype=np.uint8)
        octets[:, : values.shape[1]] = values
        words = octets.view(np.uint64)
        count = self._count[pixels]
        for place in range(int(count.max())):
            # A pixel that has shown fewer has 0 there, and dark is never noted.
            new = _any(self._colours[place, pixels] != words)
            if not new.all():
                pixels, words, count = pixels[new], words[new], count[new]
        self._colours[count, pixels] = words
        self._count[pixels] += 1
        first: Index = pixels[count == 0]
        return first if len(first) else None

    def colours(self, pixel: int) -> list[tuple[int, ...]]:
        """The colours but dark that a pixel has shown, in order."""
        kept = np.ascontiguousarray(self._colours[: self._count[pixel], pixel]).view(np.uint8)[:, : self.shown.shape[1]]
        return [tuple(colour) for colour in kept.tolist()]


def _any(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether any in each row of a few is set: quicker than numpy's own `any` where rows are short."""
    found: NDArray[np.bool_] = mask[:, 0].copy()
    for column in range(1, mask.shape[1]):
        found |= mask[:, column]
    return found


class PixelBlock:
    """All pixels of a yard.

    Attributes:
        of: for each run, what each of its pixels shows: shape (pixels, channels), 0 to 255.
    """

    def __init__(
        self, takes: Mapping[str, Takes], boxes: Mapping[str, str], universes: Mapping[str, Sequence[int]], seed: int
    ) -> None:
        """Dark pixels.

        Args:
            takes: what each run's pixels take.
            boxes: which box feeds it.
            universes: for each box, the universes that it listens to, rising.
            seed: of the colours of broken data.
        """
        self._chance = np.random.default_rng(seed)
        self._banks: dict[str, list[Bank]] = {box: [] for box in universes}
        self._lit: list[tuple[Bank, Index]] = []
        found: dict[str, PixelValues] = {}
        by_bank = sorted(takes, key=lambda run: (boxes[run], takes[run].shape[1]))
        for (box, _), runs in groupby(by_bank, key=lambda run: (boxes[run], takes[run].shape[1])):
            bank = Bank({run: takes[run] for run in runs}, universes.get(box, ()))
            self._banks.setdefault(box, []).append(bank)
            found |= {run: bank.shown[pixels.start : pixels.stop] for run, pixels in bank.runs.items()}
        self.of = {run: found[run] for run in takes}

    def light(self, box: str, slots: PixelValues, rows: Collection[int], dimmer: PixelValues | None) -> None:
        """Show what a box holds now; see `Bank.light`."""
        for bank in self._banks[box]:
            if (first := bank.light(slots, rows, dimmer, self._chance)) is not None:
                self._lit.append((bank, first))

    def ever_lit(self) -> int:
        """How many pixels were ever lit."""
        return sum(len(pixels) for _, pixels in self._lit)

    def seen(self) -> Iterator[tuple[tuple[str, int], list[tuple[int, ...]]]]:
        """Every pixel that ever was lit, by run and number from 1, in the order in which they first lit, with every
        colour but dark that it showed; of many, the first `KEPT`.
        """
        for bank, pixels in self._lit:
            runs = list(bank.runs)
            begins = [bank.runs[run].start for run in runs]
            at = np.searchsorted(begins, pixels, "right") - 1
            for pixel, place in zip(pixels.tolist(), at.tolist(), strict=True):
                yield (runs[place], pixel - begins[place] + 1), bank.colours(pixel)
