"""Routes on the drawing page: drawn by a pointer in a real browser, and leads that are laid along them."""

from __future__ import annotations

from pathlib import Path

import pytest

from patcher.draw.view import view
from patcher.show.parser import read
from rig.draw_pages import EMPTY, Pointer, drawing, opened
from rig.phones import until

QUAY = (
    EMPTY
    + """
[controller.post]
address = "192.0.2.9"
ports = 2
at = [0.0, 0.0]

[run.top]
pixel = "bead"
shape = "line"
path = [[5.0, 4.0], [7.0, 4.0]]
pixels = 21

[run.beside]
pixel = "bead"
shape = "line"
path = [[7.5, 4.0], [9.0, 4.0]]
pixels = 16
"""
)
GUTTER = "\n[route.gutter]\npath = [[0.0, 0.0], [0.0, 5.0], [5.0, 5.0]]\n"


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    path = tmp_path / "quay.toml"
    path.write_text(QUAY, encoding="utf-8")
    return path


def test_a_route_is_drawn_by_hand_and_a_lead_is_laid_along_it(quay: Path) -> None:
    with drawing(quay) as rig, opened(rig) as page:
        pointer = Pointer(page)
        pointer.tool("Route")
        pointer.click((0.0, 0.05), (0.0, 5.0), (5.0, 5.0))
        page.locator("#scene").focus()
        page.keyboard.press("Enter")
        page.locator("#chosen-name").get_by_text("route-1", exact=True).wait_for()
        page.locator("#chosen-about").get_by_text("along which cables are run").wait_for()
        show = read(rig.text).show
        assert show is not None
        drawn = show.routes["route-1"].path
        assert [*map(list, drawn)] == [pytest.approx(at, abs=0.06) for at in ([0.0, 0.05], [0.0, 5.0], [5.0, 5.0])]
        pointer.tool("Lead")
        pointer.drag((0.0, 0.0), (5.0, 4.0))
        assert until(lambda: "port" in rig.text and "lead = " in rig.text)
        show = read(rig.text).show
        assert show is not None
        # Source: 5 m up, 5 m along, 1 m down, and a tenth, up to the next tenth of a metre
        assert show.runs["top"].lead == pytest.approx(11 * 1.1, abs=0.2)
        lead = page.locator('path[data-lead="top"]')
        lead.wait_for(state="attached")
        assert str(lead.get_attribute("d")).count("L") >= 3
        assert "short" not in str(lead.get_attribute("class"))
        pointer.tool("Move")
        page.locator('#list button[data-thing="route-1"]').click()
        page.locator('[data-handle="corner:2"]').focus()
        page.keyboard.press("Shift+ArrowRight")
        assert until(lambda: "5.1" in rig.text)
        page.get_by_role("button", name="Take out").click()
        assert until(lambda: "[route" not in rig.text)
        page.get_by_role("button", name="Undo").click()
        assert until(lambda: "[route.route-1]" in rig.text)


def test_a_page_is_told_the_corners_of_routes_and_of_the_leads_along_them(quay: Path) -> None:
    # Source: a pencil
    text = QUAY.replace("at = [0.0, 0.0]", 'at = [0.0, 0.0]\nport = { 1 = ["top", "beside"] }') + GUTTER
    told = view(quay, text)
    assert told["routes"] == {"gutter": {"corners": [[0, 0], [0, 5], [5, 5]], "length": 10.0}}
    first, second = told["leads"]
    assert first["places"] == [[0, 0], [0, 5], [5, 5], [5, 4]]
    assert (first["from"], first["to"], first["way"]) == ([0, 0], [5, 4], 11.0)
    assert second["places"] == [[7, 4], [7.5, 4]]  # a hop between neighbours
    assert (first["short"], second["short"]) == (True, True)
    assert [one["thing"] for one in told["findings"] if one["where"] == "run.top.lead"] == ["top"]


def test_what_is_wrong_with_a_route_is_said_of_it(quay: Path) -> None:
    told = view(quay, QUAY + GUTTER + "\n[route.stub]\npath = [[0.0, 0.0]]\n")
    assert [*told["routes"]] == ["gutter"]
    assert any(one["where"] == "route.stub.path" for one in told["findings"])
