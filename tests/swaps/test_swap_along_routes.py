"""A dead box's new cables where the show draws routes: their lengths, what is said of them, how chains are joined."""

from __future__ import annotations

import pytest

from patcher.limits.findings import check
from patcher.placement.allocation import allocate
from patcher.swaps.box_swap import BoxSwap, swap_box
from patcher.swaps.swap_steps import box_steps
from patcher.wiring import wire
from rig.shipped import wired

WALL = {"wall": {"path": [[0.0, 0.0], [0.0, 3.0], [6.0, 3.0], [6.0, 0.0]]}}


def line(begin: tuple[float, float], end: tuple[float, float]) -> dict:
    return {"pixel": "bead", "shape": "line", "path": [[*begin], [*end]], "pixels": 50, "lead": 30.0}


def yard(routes: dict, units: str = "m") -> dict:
    """Three runs on a box of three ports, and a spare with two. Straight, the third begins nearest to the end of the
    first; round the wall it is nearest to that of the second.
    """
    runs = {
        "left": line((0.0, 3.0), (0.2, 0.5)), "top": line((1.0, 12.0), (6.0, 8.0)),
        "right": line((5.8, 0.5), (9.0, 0.5)),
    }  # fmt: skip
    return {
        "show": {"title": "yard", "units": units}, "pixel": {"bead": {"colour_order": "RGB"}}, "run": runs,
        "controller": {
            "dead": {"address": "192.0.2.1", "ports": 3, "at": [0.0, 0.0],
                     "port": {str(n): [name] for n, name in enumerate(runs, 1)}},
            "spare": {"spare": True, "ports": 2, "port_pixels": 300},
        },
        "route": routes,
    }  # fmt: skip


def swapped(tables: dict) -> tuple[BoxSwap, str]:
    """The swap, and the words of its steps."""
    wiring = wired(tables)
    found = swap_box(wiring, allocate(wiring).patch, "dead", "spare")
    assert isinstance(found, BoxSwap)
    return found, " ".join(line for step in box_steps(found, wiring, "yard.toml") for line in step)


def test_a_new_cable_is_as_long_as_its_way_along_the_routes() -> None:
    # Source: a pencil: from (6, 8) 5 m to the wall, 2.5 m down it, 0.2 m off it; the other way 11.4 m
    found, words = swapped(yard(WALL))
    (cable,) = found.cables
    assert (cable.run, cable.behind) == ("right", "top")
    assert cable.metres == pytest.approx(7.5 + 0.2)
    assert not cable.straight
    assert "7.7 m along the routes (add slack), from the data-out of top" in words
    assert "straight" not in words
    assert [each for each in check(wire(found.show))[1] if each.rule == "lead-reach"] == []


def test_without_routes_it_is_straight() -> None:
    found, words = swapped(yard({}))
    (cable,) = found.cables
    assert (cable.run, cable.behind) == ("right", "left")
    assert cable.metres == pytest.approx(5.6)
    assert cable.straight
    assert "in a straight line (add slack)" in words
