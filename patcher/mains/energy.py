"""Energy of a season, and its price."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from patcher.mains.circuits import MainsCircuit, Takes, total


@dataclass(frozen=True, slots=True)
class Season:
    """How long a show plays.

    Attributes:
        hours: hours a day.
        days: days.
        price: of a kilowatt-hour, in any money; None where it is not known.
    """

    hours: float
    days: int
    price: float | None

    def energy(self, circuits: Iterable[MainsCircuit]) -> Takes:
        """Kilowatt-hours of all supplies on the circuits, were the show so bright all the time."""
        return total(circuit.watts for circuit in circuits).times(self.hours * self.days / 1000)

    def cost(self, circuits: Iterable[MainsCircuit]) -> Takes | None:
        """The price of that; None where a kilowatt-hour has none."""
        return None if self.price is None else self.energy(circuits).times(self.price)
