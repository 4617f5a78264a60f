"""What a drawing is of, and how much it says."""

from __future__ import annotations

from dataclasses import dataclass

from patcher.drawing.run_facts import Facts
from patcher.drawing.svg import Stroke
from patcher.show.schema import Show
from patcher.wiring import Wiring


@dataclass(frozen=True, eq=False)
class Subject:
    """What is drawn.

    Attributes:
        wiring: the wiring.
        facts: of the runs that are drawn, in their order.
        boxes: which boxes are drawn.
        by_box: whether runs look as their box, or as their port.
        looks: of each port or box, by what `Hanging.look` asks of a run.
        detail: how much is said: 0 marks only, 1 names and addresses, 2 feeds by name and pixels too.
        told: up to which rank a label without room is told under the drawing; others are counted.
        title: of the drawing.
        most: strips at most.
        high: millimetres at most.
        elsewhere: where what is left out is to be read.
    """

    wiring: Wiring
    facts: tuple[Facts, ...]
    boxes: tuple[str, ...]
    by_box: bool
    looks: dict[str, Stroke]
    detail: int
    told: int
    title: str
    most: int
    high: float
    elsewhere: str

    @property
    def show(self) -> Show:
        """The show."""
        return self.wiring.show
