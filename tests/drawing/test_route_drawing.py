"""Routes and the leads along them in the drawings on paper: where they lie, and what is said of them."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from patcher.drawing.drawn_leads import drawn_leads
from patcher.drawing.show_drawing import box_drawing, show_drawing
from patcher.wiring import Wiring
from rig.shipped import laid

ROUTES = {
    "gutter": {"path": [[1.0, 0.0], [1.0, 5.0], [9.0, 5.0]]},
    "quay-edge": {"path": [[-2.0, 0.0], [40.0, 0.0]]},
}


def tables(routes: dict) -> dict:
    """Two boxes along a quay, a run under a gutter, one at its end and two far along the quay."""

    def run(begin: tuple[float, float], end: tuple[float, float], **more: object) -> dict:
        return {"pixel": "bead", "shape": "line", "path": [[*begin], [*end]], "pixels": 31, "lead": 20.0, **more}

    return {
        "show": {"title": "quay"}, "pixel": {"bead": {"colour_order": "RGB"}},
        "controller": {
            "post": {"address": "192.0.2.1", "ports": 2, "at": [0.0, 0.5], "port": {"1": ["under", "beyond"]}},
            "crane": {"address": "192.0.2.2", "ports": 2, "at": [20.0, 0.5], "port": {"1": ["rail"], "2": ["bollard"]}},
        },
        "run": {
            "under": run((2.0, 4.5), (5.0, 4.5)), "beyond": run((9.0, 4.0), (9.0, 1.0)),
            "rail": run((30.0, 0.6), (33.0, 0.6), lead_via="booster"), "bollard": run((38.0, 0.4), (38.0, 3.4)),
        },
        "route": routes,
    }  # fmt: skip


def numbers(path: ET.Element) -> np.ndarray:
    return np.array([float(number) for number in re.findall(r"-?[\d.]+", str(path.get("d")))]).reshape(-1, 2)


def of(drawing: str, kind: str) -> list[ET.Element]:
    return [each for each in ET.fromstring(drawing).iter() if each.get("class") == kind]


@pytest.fixture(scope="module")
def quay() -> tuple[Wiring, str]:
    wiring, patch = laid(tables(ROUTES))
    return wiring, show_drawing(wiring, patch, None, wide=180.0)


def test_leads_on_paper_go_round_the_corners_of_their_ways(quay: tuple[Wiring, str]) -> None:
    # Source: the ways in metres; the scale off the run that is 3 m long
    wiring, drawing = quay
    ways = {lead.run: np.array(lead.way.corners) for lead in drawn_leads(wiring)}
    assert ways["under"].tolist() == [[0.0, 0.5], [0.0, 0.0], [1.0, 0.0], [1.0, 5.0], [2.0, 5.0], [2.0, 4.5]]
    assert len(ways["rail"]) == 4
    drawn = {str(path.get("data-to")): numbers(path) for path in of(drawing, "lead")}
    for run in ("under", "beyond"):
        steps, on_paper = np.diff(ways[run], axis=0), np.diff(drawn[run], axis=0)
        assert len(steps) == len(on_paper)
        scale = on_paper[np.abs(steps) > 1e-9] / steps[np.abs(steps) > 1e-9]
        assert np.ptp(np.abs(scale)) < 0.05


def test_routes_lie_under_all_else_and_have_their_names(quay: tuple[Wiring, str]) -> None:
    _, drawing = quay
    bands = of(drawing, "route")
    assert {band.get("data-route") for band in bands} == {"gutter", "quay-edge"}
    order = [each.get("class") for each in ET.fromstring(drawing).iter()]
    assert max(n for n, css in enumerate(order) if css == "route") < order.index("run")
    assert {each.get("data-of") for each in of(drawing, "label route")} == {"gutter", "quay-edge"}
    assert "route for leads" in drawing


@pytest.mark.parametrize("wide", [60.0, 120.0, 180.0])
def test_whatever_of_a_route_is_drawn_lies_on_the_paper(wide: float) -> None:
    wiring, patch = laid(tables(ROUTES))
    for drawing in (show_drawing(wiring, patch, None, wide=wide), box_drawing(wiring, patch, None, "post", wide=wide)):
        _, _, right, bottom = map(float, str(ET.fromstring(drawing).get("viewBox")).split())
        for path in (*of(drawing, "route"), *of(drawing, "lead")):
            at = numbers(path)
            assert at.min() >= 0
            assert (at <= [right, bottom]).all()


def test_without_routes_nothing_is_said_of_them_and_leads_are_straight() -> None:
    wiring, patch = laid(tables({}))
    drawing = show_drawing(wiring, patch, None)
    assert "route" not in drawing
    assert all(len(numbers(path)) == 2 for path in of(drawing, "lead"))
