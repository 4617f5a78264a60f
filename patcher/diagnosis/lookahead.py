"""Looking ahead: where few classes are left, the whole tree of questions is searched for the lowest mean price."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from patcher.eye import Ask, Chances


class Choice(Protocol):
    """A question that was weighed on some classes."""

    @property
    def chances(self) -> Chances:
        """Of each answer under each class."""

    @property
    def ask(self) -> Ask:
        """What is asked, with its price."""


T = TypeVar("T", bound=Choice)


def best_first(choices: Sequence[T], weight: NDArray[np.float64]) -> T | None:
    """The first question of the tree with the lowest mean price, of those whose answers are certain.

    Args:
        choices: what may be asked.
        weight: the belief in the classes on which they were weighed, at most some twelve.

    Returns:
        None where the certain questions do not tell apart all that any question does.
    """
    splits: dict[tuple[int, ...], tuple[float, T]] = {}
    for choice in choices:
        if not ((choice.chances == 0) | (choice.chances == 1)).all():
            continue
        answers = choice.chances.argmax(axis=1)
        masks = tuple(sorted(int((answers == a) @ (1 << np.arange(len(answers)))) for a in set(answers.tolist())))
        if len(masks) > 1 and (masks not in splits or splits[masks][0] > choice.ask.price):
            splits[masks] = choice.ask.price, choice
    everything = (1 << len(weight)) - 1
    told = _apart(list(splits), everything)
    if told < _apart([_signature(choice) for choice in choices], everything):
        return None
    tree = _Tree({masks: price for masks, (price, _) in splits.items()}, weight)
    first = tree.first(everything)
    return splits[first][1] if first is not None else None


def _signature(choice: Choice) -> tuple[int, ...]:
    rows = [row.tobytes() for row in choice.chances]
    return tuple(sum(1 << n for n, row in enumerate(rows) if row == one) for one in set(rows))


def _apart(splits: Sequence[tuple[int, ...]], everything: int) -> int:
    """Into how many groups they part the classes when all are asked."""
    groups = {everything}
    for masks in splits:
        groups = {group & mask for group in groups for mask in masks} - {0}
    return len(groups)


class _Tree:
    """Lowest prices of sets of classes, each set a number with a bit a class."""

    def __init__(self, prices: dict[tuple[int, ...], float], weight: NDArray[np.float64]) -> None:
        self._prices = sorted(prices.items(), key=lambda item: item[1])
        self._weight = weight.tolist()
        self._known: dict[int, tuple[float, tuple[int, ...] | None]] = {}

    def _sum(self, group: int) -> float:
        return float(sum(weight for number, weight in enumerate(self._weight) if group >> number & 1))

    def cost(self, group: int) -> tuple[float, tuple[int, ...] | None]:
        """The lowest price summed over the classes of a set by weight, and the question to begin with."""
        if group & (group - 1) == 0:
            return 0.0, None
        if group not in self._known:
            best: tuple[float, tuple[int, ...] | None] = (0.0, None)
            own = self._sum(group)
            for masks, price in self._prices:
                parts = [part for mask in masks if (part := group & mask)]
                if len(parts) < 2 or (best[1] is not None and price * own >= best[0]):
                    continue
                total = price * own
                for part in parts:
                    total += self.cost(part)[0]
                    if best[1] is not None and total >= best[0]:
                        break
                else:
                    best = total, masks
            self._known[group] = best
        return self._known[group]

    def first(self, group: int) -> tuple[int, ...] | None:
        """The question to begin with."""
        return self.cost(group)[1]
