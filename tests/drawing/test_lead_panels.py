"""Wirings side by side: each lead from where it begins to where it ends, all panels at one scale."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from patcher.chains.instance import instance
from patcher.drawing.drawn_leads import drawn_leads
from patcher.drawing.lead_panels import lead_panels
from patcher.propose.proposal import propose
from patcher.shapes import positions
from patcher.wiring import Wiring
from rig.unhung_shows import hung, unhung, wiring_of, with_routes


def two() -> list[tuple[str, Wiring]]:
    """A show whose box is far from some runs, hung in two ways."""
    tables = unhung(4, runs=5, boxes=1, ports=4, width=30.0)
    given = instance(wiring_of(tables))
    plans = [propose(given, kind).places for kind in ("least cable", "best frame rate")]
    return [(f"plan {number}", wiring_of(hung(tables, plan))) for number, plan in enumerate(plans)]


def drawn(panel: ET.Element) -> dict[str, np.ndarray]:
    """Of each run the two ends of its lead, in millimetres."""
    found = {}
    for group in panel.iter():
        if group.get("class") == "lead":
            path = next(each for each in group if each.tag.endswith("path"))
            numbers = [float(number) for number in re.findall(r"-?[\d.]+", str(path.get("d")))]
            found[str(group.get("data-to"))] = np.array(numbers).reshape(-1, 2)
    return found


def meant(wiring: Wiring) -> dict[str, np.ndarray]:
    """The same in metres, off the wiring."""
    found = {}
    for (box, _), chain in wiring.chains.items():
        here = np.array(wiring.show.controllers[box].at)
        for run in chain:
            places = positions(wiring.show, wiring.show.runs[run])
            assert places is not None
            found[run] = np.array([here, places[0]])
            here = places[-1]
    return found


def test_each_lead_is_drawn_where_it_goes_at_one_scale() -> None:
    # Source: the places of the show; one map from metres to millimetres for all leads of a panel
    panels = two()
    whole = ET.fromstring(lead_panels(panels))
    groups = [each for each in whole.iter() if each.get("class") == "panel"]
    assert len(groups) == 2
    scales = []
    for group, (_, wiring) in zip(groups, panels, strict=True):
        on_paper, in_metres = drawn(group), meant(wiring)
        assert on_paper.keys() == in_metres.keys()
        paper = np.concatenate([on_paper[run] for run in on_paper])
        metres = np.concatenate([in_metres[run] for run in on_paper])
        (scale, x), *_ = np.linalg.lstsq(np.column_stack([metres[:, 0], np.ones(len(metres))]), paper[:, 0])
        assert scale * metres[:, 0] + x == pytest.approx(paper[:, 0], abs=0.02)
        (down, y), *_ = np.linalg.lstsq(np.column_stack([metres[:, 1], np.ones(len(metres))]), paper[:, 1])
        assert down * metres[:, 1] + y == pytest.approx(paper[:, 1], abs=0.02)
        assert down == pytest.approx(-scale, rel=1e-2)
        scales.append(scale)
    assert scales[0] == pytest.approx(scales[1], rel=1e-3)


def test_a_lead_that_needs_help_has_its_mark_and_a_show_without_places_words() -> None:
    # Source: the file's own lead_via
    panels = two()
    helped = sum(run.lead_via != "cable" for _, wiring in panels for run in wiring.show.runs.values())
    text = lead_panels(panels)
    assert helped
    assert ("booster, or differential" in text) == (helped > 0)
    bare = {"show": {"title": "x"}, "pixel": {"p": {"colour_order": "RGB"}}, "run": {"r": {"pixel": "p", "pixels": 3}}}
    assert "No run has a picture." in lead_panels([("now", wiring_of(bare))])


def test_leads_go_round_the_corners_of_their_ways_over_the_routes_with_their_names() -> None:
    # Source: the ways themselves; one map from metres to millimetres
    tables = with_routes(unhung(12, runs=5, boxes=1, ports=4, width=20.0), 12, 20.0)
    wiring = wiring_of(hung(tables, propose(instance(wiring_of(tables)), "least cable").places))
    whole = ET.fromstring(lead_panels([("now", wiring)]))
    (group,) = [each for each in whole.iter() if each.get("class") == "panel"]
    on_paper, ways = drawn(group), {lead.run: np.array(lead.way.corners) for lead in drawn_leads(wiring)}
    assert on_paper.keys() == ways.keys()
    assert any(len(corners) > 3 for corners in ways.values())
    routes = {
        each.get("data-route"): np.array([float(n) for n in re.findall(r"-?[\d.]+", str(each.get("d")))]).reshape(-1, 2)
        for each in group.iter() if each.get("class") == "route"
    }  # fmt: skip
    paper = np.concatenate([*(on_paper[run] for run in ways), *routes.values()])
    metres = np.concatenate([*ways.values(), *(np.array(each.path) for each in wiring.show.routes.values())])
    fit, *_ = np.linalg.lstsq(np.column_stack([metres, np.ones(len(metres))]), paper, rcond=None)
    assert np.column_stack([metres, np.ones(len(metres))]) @ fit == pytest.approx(paper, abs=0.02)
    assert [*routes] == [*wiring.show.routes]
    _, _, wide, high = map(float, str(whole.get("viewBox")).split())
    assert paper.min() >= 0
    assert (paper <= [wide, high]).all()
    words = [each.text for each in whole.iter() if each.tag.endswith("text")]
    assert {*routes, "route for leads"} <= {*words}
    above = [each.get("class") for each in group]
    assert max(n for n, css in enumerate(above) if css == "route") < min(
        n for n, css in enumerate(above) if css == "run"
    )
