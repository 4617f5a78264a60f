"""Channels that are taken, as stretches of running channels that do not touch each other."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator

from patcher.trade import CHANNELS


class Taken:
    """Stretches of running channels, each from its first channel to just behind its last.

    Universes are counted from 0 here, as running channels are: universe `u` is channels 512 u to 512 u + 511.
    """

    def __init__(self, stretches: Iterable[tuple[int, int]] = ()) -> None:
        self._firsts: list[int] = []
        self._stops: list[int] = []
        self.add(stretches)

    def __iter__(self) -> Iterator[tuple[int, int]]:
        return zip(self._firsts, self._stops, strict=True)

    def add(self, stretches: Iterable[tuple[int, int]]) -> None:
        """Take more of them; those that touch or overlap become one."""
        every = sorted([*stretches, *self])
        self._firsts, self._stops = [], []
        for first, stop in every:
            if self._stops and first <= self._stops[-1]:
                self._stops[-1] = max(self._stops[-1], stop)
            else:
                self._firsts.append(first)
                self._stops.append(stop)

    def add_universes(self, universes: Iterable[range]) -> None:
        """Take whole universes."""
        self.add((piece.start * CHANNELS, piece.stop * CHANNELS) for piece in universes)

    def behind(self, first: int, stop: int) -> int | None:
        """The running channel behind what takes any of these channels; None where they are free."""
        found = bisect_left(self._firsts, stop) - 1
        return self._stops[found] if found >= 0 and self._stops[found] > first else None

    def free(self, universes: range) -> bool:
        """Whether nothing of these universes is taken."""
        return self.behind(universes.start * CHANNELS, universes.stop * CHANNELS) is None

    def between(self, first: int, stop: int) -> list[tuple[int, int]]:
        """The stretches that take any of these channels, in order."""
        low = bisect_right(self._stops, first)
        high = bisect_left(self._firsts, stop)
        return list(zip(self._firsts[low:high], self._stops[low:high], strict=True))

    def gap(self, at: int) -> tuple[int, int | None]:
        """From where to where channels are free around a free one; None where nothing is taken behind it."""
        behind = bisect_right(self._firsts, at)
        low = self._stops[behind - 1] if behind else 0
        return low, self._firsts[behind] if behind < len(self._firsts) else None

    def hole(self, length: int, first: int) -> int:
        """The first universe, from `first` on, from which so many universes are free."""
        while (stop := self.behind(first * CHANNELS, (first + length) * CHANNELS)) is not None:
            first = -(-stop // CHANNELS)
        return first
