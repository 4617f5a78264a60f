"""Routes in a show file: what is read, and what is refused, in words with its place and a remedy."""

from __future__ import annotations

import pytest

from patcher.show.parser import read
from patcher.wiring import problems, wire

SHOW = """\
[show]
title = "quay"
units = "ft"
[pixel.bead]
colour_order = "RGB"
[controller.post]
address = "192.0.2.9"
ports = 1
port = { 1 = ["top"] }
[run.top]
pixel = "bead"
pixels = 3
"""


def test_a_route_is_read_in_metres() -> None:
    # Source: 1 ft is 0.3048 m
    show = read(SHOW + "[route.eaves]\npath = [[0, 0], [0.0, 10.0]]\n").show
    assert show is not None
    assert show.routes["eaves"].name == "eaves"
    assert show.routes["eaves"].path == ((0.0, 0.0), (0.0, pytest.approx(3.048)))
    assert problems(wire(show)) == []


@pytest.mark.parametrize(
    ("table", "where", "says", "remedy"),
    [
        ("[route.eaves]\npath = [[0, 0]]", "route.eaves.path", "has 1 item, but needs at least 2", "add to it"),
        ("[route.eaves]\npath = [[0, 0], [1, 0], [1, 0]]", "route.eaves", "the same point twice, as its point 2 and 3",
         "take one of them out"),
        ("[route.eaves]\npath = [[0, 0], [0, 0]]", "route.eaves", "the same point twice", "take one of them out"),
        ("[route.eaves]\n", "route.eaves.path", "is missing", "add it"),
        ("[route.eaves]\npath = [0, 0, 1, 0]", "route.eaves.path", "must be a list of points", "[[0, 0], [1, 0]]"),
        ("[route.eaves]\npaths = [[0, 0], [1, 0]]", "route.eaves.paths", "is not a known key", "did you mean “path”?"),
        ('[route."left eaves"]\npath = [[0, 0], [1, 0]]', 'route."left eaves"', "is not a name", "rename it"),
        ("[route.1st]\npath = [[0, 0], [1, 0]]", "route.1st", "is not a name", "rename it"),
        ("[route]\npath = [[0, 0], [1, 0]]", "route.path", "a table of its own", "a table of its own"),
        ("[routes.eaves]\npath = [[0, 0], [1, 0]]", "routes", "is not a known key", "did you mean “route”?"),
        ('[run.side]\npixel = "bead"\nlike = "eaves"\n[route.eaves]\npath = [[0, 0], [1, 0]]', "run.side.like",
         "is a route, not a run", "name a run"),
    ],
)  # fmt: skip
def test_what_is_no_route_is_refused_in_words(table: str, where: str, says: str, remedy: str) -> None:
    found = read(f"{SHOW}{table}\n").findings
    of = [finding for finding in found if finding.where.startswith(where.split(".path")[0].split('"')[0])]
    assert any(
        says in each.says and remedy in each.remedy and each.where in (where, where.replace('"', "")) for each in of
    ), found


def test_what_else_is_right_is_read_beside_a_route_that_is_not() -> None:
    parsed = read(SHOW + "[route.eaves]\npath = [[0, 0]]\n[route.wall]\npath = [[0, 0], [1, 0]]\n")
    assert parsed.show is not None
    assert [*parsed.show.routes] == ["wall"]
    assert [*parsed.show.runs] == ["top"]
