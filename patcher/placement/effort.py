"""How much a search may do: work is counted, and no clock is looked at.

So the same show gives the same patch on every machine, however busy it is. Work is counted in the seconds that it took
where it was measured, so that a person can say how long a search may take; on another machine it takes more or less.
"""

from __future__ import annotations

from typing import Any

NODE = 0.5e-3
"""Seconds for a node of an integer programme, besides what each entry of its matrix takes."""
ENTRY = 5e-6
"""Seconds for one entry of such a matrix, at each node."""
BACKSTOP = 10.0
"""So many times longer than was asked for may an integer programme take by the clock, which then ends it after all."""


class Effort:
    """Work that a search may do.

    Attributes:
        left: seconds of it that are left; below 0 once it is spent.
    """

    def __init__(self, seconds: float, of: Effort | None = None) -> None:
        """So many seconds; `of` is the effort that they are a part of, which is spent with them."""
        self.left = seconds
        self._of = of

    @property
    def over(self) -> bool:
        """Whether it is spent."""
        return self.left <= 0

    def spend(self, seconds: float) -> None:
        """Count work that was done."""
        self.left -= seconds
        if self._of is not None:
            self._of.spend(seconds)

    def part(self, share: float, least: float = 0.05) -> Effort:
        """A share of what is left, but no less than `least` seconds."""
        return Effort(max(least, self.left * share), self)

    def milp(self, costs: Any, entries: int, **programme: Any) -> Any:
        """The result of scipy's `milp`, which may follow as many nodes as there is effort left, and at least one.

        Args:
            costs: as for `milp`.
            entries: entries of its matrix that are not zero.
            programme: as for `milp`, `options` too.
        """
        from scipy.optimize import milp

        node = NODE + ENTRY * entries
        left = max(self.left, 0.0)
        limits = {"node_limit": max(1, int(left / node)), "time_limit": BACKSTOP * (left + 1)}
        found = milp(costs, **programme | {"options": programme.get("options", {}) | limits})
        self.spend(node * (1 + (found.get("mip_node_count") or 0)))
        return found
