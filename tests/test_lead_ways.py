"""The ways of leads, against another geometry, another graph, and what must hold of any ways."""

from __future__ import annotations

import math
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
import tomli_w
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher.errors import Finding
from patcher.lead_ways import MOST_CORNERS, MOST_JOINTS, STRAIGHT, LeadWays, lead_ways
from patcher.show.parser import read
from patcher.wiring import problems, wire
from rig.examples import examples
from rig.route_judge import judged

EAVES = ((0.0, 3.0), (10.0, 3.0), (10.0, 0.0))
"""Along a roof and down its right side."""

steps = st.integers(-8, 8).map(float)
spots = st.tuples(steps, steps)
places = st.tuples(st.floats(-9, 9), st.floats(-9, 9))


@st.composite
def paths(draw: st.DrawFn) -> list[tuple[float, float]]:
    drawn = draw(st.lists(spots, min_size=2, max_size=5))
    path = [drawn[0], *(here for before, here in pairwise(drawn) if here != before)]
    assume(len(path) > 1)
    return path


many = st.lists(paths(), min_size=1, max_size=4)


def ways(*routes: object) -> LeadWays:
    return LeadWays(tuple(np.array(route, dtype=float) for route in routes))


def apart(routes: list[list[tuple[float, float]]]) -> bool:
    """Whether no two routes come near each other without touching: there shapely and a person differ."""
    from shapely.geometry import LineString, Point

    lines = [LineString(route) for route in routes]
    for route in routes:
        for at, line in ((Point(spot), line) for spot in route for line in lines):
            if 1e-9 < at.distance(line) < 0.11:
                return False
    return True


@pytest.mark.parametrize(
    ("begin", "end", "metres", "corners"),
    [
        # Source: a pencil and squared paper
        ((0.0, 2.0), (10.0, 1.0), 13.0, [(0.0, 2.0), (0.0, 3.0), (10.0, 3.0), (10.0, 1.0)]),
        ((1.0, 3.0), (10.0, 2.0), 10.0, [(1.0, 3.0), (10.0, 3.0), (10.0, 2.0)]),
        ((2.0, 2.0), (3.0, 2.0), 1.0, [(2.0, 2.0), (3.0, 2.0)]),  # a hop between neighbours
        # a metre off the routes counts as three: 9 and 2 × 3 + 3 are alike, and then the shorter one; 9.3 and 9.1
        ((2.0, 2.0), (5.0, 2.0), 3.0, [(2.0, 2.0), (5.0, 2.0)]),
        ((2.0, 2.0), (5.1, 2.0), 5.1, [(2.0, 2.0), (2.0, 3.0), (5.1, 3.0), (5.1, 2.0)]),
        ((8.0, 0.5), (12.0, 0.5), 4.0, [(8.0, 0.5), (12.0, 0.5)]),  # across the downpipe
        ((3.0, 3.0), (8.0, 3.0), 5.0, [(3.0, 3.0), (8.0, 3.0)]),
        ((11.0, 4.0), (-3.0, 3.0), 10 + math.sqrt(2) + 3, [(11.0, 4.0), (10.0, 3.0), (-3.0, 3.0)]),
    ],
)
def test_a_cable_goes_to_the_eaves_along_them_and_off(
    begin: tuple[float, float], end: tuple[float, float], metres: float, corners: list[tuple[float, float]]
) -> None:
    way = ways(EAVES).way(begin, end)
    assert way.metres == pytest.approx(metres)
    assert [*way.corners] == corners
    assert way.is_straight == (len(corners) == 2)


@examples(200, 2000)
@given(many, st.lists(places, min_size=2, max_size=4))
def test_any_way_is_as_long_as_shapely_and_networkx_say(
    routes: list[list[tuple[float, float]]], some: list[tuple[float, float]]
) -> None:
    # Judge: shapely's union, distances and projections; networkx's shortest paths
    assume(apart(routes))
    metres, found = judged(routes), ways(*routes).between(np.array(some), np.array(some))
    for row, begin in enumerate(some):
        for column, end in enumerate(some):
            assert found[row, column] == pytest.approx(metres(begin, end), abs=1e-5), (begin, end)


@examples(60, 600)
@given(many, st.lists(places, min_size=3, max_size=5))
def test_a_way_is_symmetric_never_shorter_than_straight_and_its_corners_are_as_long_as_it(
    routes: list[list[tuple[float, float]]], some: list[tuple[float, float]]
) -> None:
    every = ways(*routes)
    at = np.array(some)
    found, straight = every.between(at, at), STRAIGHT.between(at, at)
    assert found == pytest.approx(found.T, abs=1e-9)
    assert (found >= straight).all()
    for begin, end, metres in zip(some, some[1:], np.diag(found, 1), strict=False):
        way = every.way(begin, end)
        assert way.metres == pytest.approx(metres, abs=1e-9)
        assert sum(math.dist(*two) for two in pairwise(way.corners)) == pytest.approx(metres, abs=1e-5)
        assert (way.corners[0], way.corners[-1]) == (begin, end)


@given(st.lists(places, min_size=2, max_size=6))
def test_without_routes_every_way_is_straight(some: list[tuple[float, float]]) -> None:
    at = np.array(some)
    expected = [[math.dist(begin, end) for end in some] for begin in some]
    assert STRAIGHT.between(at, at) == pytest.approx(np.array(expected))
    assert STRAIGHT.way(some[0], some[1]).corners == (some[0], some[1])


@given(places, places, st.lists(st.floats(0, 1), max_size=4))
def test_a_route_along_the_straight_way_changes_nothing(
    begin: tuple[float, float], end: tuple[float, float], parts: list[float]
) -> None:
    assume(math.dist(begin, end) > 0.5)
    inner = [
        (begin[0] + part * (end[0] - begin[0]), begin[1] + part * (end[1] - begin[1]))
        for part in sorted({*parts} - {0.0, 1.0})
    ]  # fmt: skip
    way = ways([begin, *inner, end]).way(begin, end)
    assert way.metres == pytest.approx(math.dist(begin, end))
    assert way.is_straight


@examples(60, 600)
@given(many, st.lists(places, min_size=2, max_size=4), paths())
def test_a_route_that_lies_elsewhere_changes_nothing(
    routes: list[list[tuple[float, float]]], some: list[tuple[float, float]], other: list[tuple[float, float]]
) -> None:
    at = np.array(some)
    far = [(x + 100.0, y) for x, y in other]
    assert ways(*routes, far).between(at, at) == pytest.approx(ways(*routes).between(at, at), abs=1e-9)


@examples(60, 600)
@given(many, st.lists(places, min_size=2, max_size=4), st.randoms(use_true_random=False))
def test_how_routes_are_divided_and_in_which_order_they_stand_changes_nothing(
    routes: list[list[tuple[float, float]]], some: list[tuple[float, float]], chance: object
) -> None:
    at = np.array(some)
    pieces = [list(two) for route in routes for two in pairwise(route)]
    chance.shuffle(pieces)  # type: ignore[attr-defined]
    turned = [piece[:: chance.choice((1, -1))] for piece in pieces]  # type: ignore[attr-defined]
    assume(apart(routes))
    assert ways(*turned).between(at, at) == pytest.approx(ways(*routes).between(at, at), abs=1e-5)


STREET = [[*EAVES], [(-4.0, 0.0), (12.0, 0.0)], [(3.0, 3.0), (3.0, -4.0), (-2.0, -4.0), (-2.0, 1.0)]]
"""One network with two rings."""
SAMPLE = 0.02


@pytest.fixture(scope="module")
def net() -> tuple[np.ndarray, nx.Graph]:
    """Points along the street, joined to all that are no farther than one step: turns are cut by less than a step."""
    points = []
    for a, b in (two for route in STREET for two in pairwise(route)):
        count = math.ceil(math.dist(a, b) / SAMPLE)
        points += [(a[0] + (b[0] - a[0]) * n / count, a[1] + (b[1] - a[1]) * n / count) for n in range(count + 1)]
    at = np.array(points)
    near = np.argwhere(np.triu(np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) < SAMPLE * 1.01, 1))
    graph = nx.Graph()
    graph.add_weighted_edges_from((int(a), int(b), float(np.hypot(*(at[a] - at[b])))) for a, b in near)
    return at, graph


@examples(30, 100)
@given(places, places)
def test_a_way_is_what_it_is_along_finely_sampled_routes(
    net: tuple[np.ndarray, nx.Graph], begin: tuple[float, float], end: tuple[float, float]
) -> None:
    # Judge: networkx, from point to point; 5 cm are what the sampling leaves
    at, graph = net
    away = [np.hypot(*(at - np.array(place)).T) for place in (begin, end)]
    for each in away:  # two points far apart that are nearest alike: there the sampling may take the other one
        least = float(each.min())
        beside = np.hypot(*(at[each < least + 0.05] - at[each.argmin()]).T).max()
        assume(beside < 0.05 + 1.1 * math.sqrt(0.1 * least + 0.0025))
    ends, straight = sum(float(each.min()) for each in away), math.dist(begin, end)
    along = nx.shortest_path_length(graph, int(away[0].argmin()), int(away[1].argmin()), weight="weight")
    assume(abs(3 * straight - 3 * ends - along) > 0.3)
    expected = straight if 3 * straight < 3 * ends + along else ends + along
    assert ways(*STREET).way(begin, end).metres == pytest.approx(expected, abs=0.05)


# --- where routes join ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("gap", [0.0, 0.05, 0.099])
def test_an_end_within_ten_centimetres_of_a_route_joins_it(gap: float) -> None:
    # Source: 5 m to the joint, the gap and 4 m up, 3 m back
    both = ways([(0, 0), (10, 0)], [(5, gap), (5, 4), (2, 4)])
    assert both.way((0, 0), (2, 4)).metres == pytest.approx(12.0)
    assert both.way((0, 0), (2, 4)).corners == ((0, 0), (5, 0), (5, 4), (2, 4))


def test_an_end_farther_from_a_route_does_not_join_it() -> None:
    both = ways([(0, 0), (10, 0)], [(5, 0.5), (5, 4), (2, 4)])
    assert both.way((0, 0), (2, 4)).corners == ((0, 0), (2, 4))
    assert both.way((0, 0), (5, 0.5)).corners == ((0, 0), (5, 0), (5, 0.5))


def test_routes_that_cross_join_there() -> None:
    cross = ways([(0, 0), (10, 0)], [(5, -5), (5, 5)])
    assert cross.way((0, 0), (5, 5)).corners == ((0, 0), (5, 0), (5, 5))


def test_a_route_that_ends_on_itself_is_a_ring() -> None:
    ring = ways([(0, 0), (10, 0), (10, 2), (0, 2), (0, 0)])
    assert ring.way((1, 0), (0, 2)).metres == pytest.approx(3.0)
    six = ways([(0, 0), (4, 0), (4, 3), (2, 3), (2, 0)])  # a 6: it ends on its own beginning
    assert six.way((2, 3), (0, 0)).metres == pytest.approx(5.0)


def test_of_points_that_are_nearest_alike_the_one_with_the_shorter_way_is_taken() -> None:
    fork = ways([(0, 0), (0, 9), (4, 9), (4, 0)])
    assert fork.way((2, 0), (4, 5)).metres == pytest.approx(2 + 5)
    assert fork.way((2, 0), (0, 5)).metres == pytest.approx(2 + 5)


def test_the_network_is_taken_that_is_shortest_with_three_metres_for_each_off_it() -> None:
    low, high = [(0, 0), (10, 0)], [(0, 2), (0, 3), (10, 3), (10, 2)]
    assert ways(low, high).way((0, 1.5), (10, 1.5)).metres == pytest.approx(0.5 + 1 + 10 + 1 + 0.5)
    assert ways(low, high).way((0, 0.9), (10, 0.9)).metres == pytest.approx(0.9 + 10 + 0.9)
    assert ways(low, high).way((0, 0.5), (10, 0.5)).metres == pytest.approx(0.5 + 10 + 0.5)


# --- in a show file ---------------------------------------------------------------------------------------------------


def show_of(*routes: list[list[float]]) -> dict:
    run = {"pixel": "lamp", "shape": "line", "path": [[0.0, 0.0], [1.0, 0.0]], "pixels": 3}
    box = {"address": "192.0.2.1", "ports": 1, "at": [0.0, 0.0], "port": {"1": ["a"]}}
    return {
        "show": {"title": "routes"}, "pixel": {"lamp": {"colour_order": "RGB"}}, "run": {"a": run},
        "controller": {"box": box}, "route": {f"route-{n}": {"path": path} for n, path in enumerate(routes)},
    }  # fmt: skip


def wrong(tables: dict) -> list[Finding]:
    reading = read(tomli_w.dumps(tables))
    assert reading.show is not None
    assert lead_ways(reading.show) is STRAIGHT
    return [*reading.findings, *problems(wire(reading.show))]


def test_routes_with_too_many_corners_or_joints_are_refused_in_words() -> None:
    zigzag = [[[float(n), float(n % 2 * 40)] for n in range(60)], [[float(n % 2 * 60), n * 0.7] for n in range(60)]]
    (finding,) = wrong(show_of(*zigzag))
    assert finding.where == "route"
    assert f"{MOST_JOINTS} are the most" in finding.says
    long = [[[float(n), 0.0] for n in range(MOST_CORNERS // 2 + 1)]] * 2
    (finding,) = wrong(show_of(*long))
    assert f"{MOST_CORNERS} are the most" in finding.says
