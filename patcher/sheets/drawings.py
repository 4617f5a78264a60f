"""Makes every drawing of a show, and reports which one is being made."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from patcher.charts import cable_chart, universe_map, voltage_plot
from patcher.drawing import show_drawing
from patcher.drawing.voltage_profile import profiles
from patcher.patch.patch import Patch
from patcher.power.flow import Power
from patcher.sheets.page import Drawings
from patcher.wiring import Wiring

Step = Callable[[str, int], Callable[[], None]]
"""Called with what is begun and in how many parts; gives what to call after each part."""
WIDE, HIGH = 180.0, 222.0
"""Millimetres of a page between its margins, and of what stands on it under a heading."""


def draw(wiring: Wiring, patch: Patch, state: Power, begin: Step) -> Drawings:
    """All drawings of a show.

    Args:
        wiring: the wiring.
        patch: its patch.
        state: its solved power.
        begin: told what is drawn.
    """
    show = wiring.show
    props = [prop for prop, runs in show.prop_runs().items() if any(_has_picture(wiring, run) for run in runs)]
    plotted = [run.run for run in state.runs if run.lowest == run.lowest]

    def each(what: str, names: Iterable[str], svg: Callable[[str], str]) -> dict[str, str]:
        every = list(names)
        done = begin(what, len(every))
        found = {}
        for name in every:
            found[name] = svg(name)
            done()
        return found

    return Drawings(
        each("the show", ["show"], lambda _: show_drawing.show_drawing(wiring, patch, state, wide=WIDE))["show"],
        each("boxes", patch.boxes, lambda box: show_drawing.box_drawing(wiring, patch, state, box, wide=WIDE)),
        each("cable charts", patch.boxes, lambda box: cable_chart.cable_chart(wiring, patch, state, box, wide=WIDE)),
        each("props", props, lambda prop: show_drawing.prop_drawing(wiring, patch, state, prop, wide=WIDE)),
        universe_map.universe_bars(wiring, patch, wide=WIDE, high=HIGH),
        each("voltages", plotted, lambda run: voltage_plot.svg("", list(profiles(state, [run])))),
    )


def _has_picture(wiring: Wiring, run: str) -> bool:
    table = wiring.show.runs[run]
    return table.hung and table.shape_name != "none"
