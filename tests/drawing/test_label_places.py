"""Where labels find a place, held against plain geometry: rectangles and straight lines, no cells."""

from itertools import combinations
from math import hypot

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from patcher.drawing.label_places import Leader, Paper, Rect
from rig.examples import examples

WITHIN = (5.0, 5.0, 75.0, 55.0)
CELL = 0.5
"""Millimetres: what the cells of a paper may be off by, and less than the air round a label and its leader."""


def over(one: Rect, two: Rect, by: float = 0.0) -> bool:
    """Whether two rectangles lie over each other by more than so much."""
    across, down = min(one[2], two[2]) - max(one[0], two[0]), min(one[3], two[3]) - max(one[1], two[1])
    return across > by and down > by


def cross(one: Leader, two: Leader) -> bool:
    """Whether two straight lines cross between their ends."""

    def turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    (a, b), (c, d) = one, two
    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


def along(leader: Leader) -> list[tuple[float, float]]:
    """Places on a leader, its ends left out."""
    (x, y), (u, v) = leader
    return [(x + (u - x) * part, y + (v - y) * part) for part in np.linspace(0, 1, 40)[2:-2]]


def inside(at: tuple[float, float], rect: Rect, by: float = 0.0) -> bool:
    return rect[0] + by < at[0] < rect[2] - by and rect[1] + by < at[1] < rect[3] - by


SPOTS = st.tuples(st.integers(8, 72), st.integers(8, 52))
CROWD = st.tuples(st.integers(32, 46), st.integers(24, 36))
SIZES = st.tuples(st.integers(4, 24), st.integers(2, 5), st.booleans())
LABELS = st.tuples(
    st.lists(st.tuples(CROWD, SIZES), min_size=6, max_size=20), st.lists(st.tuples(SPOTS, SIZES), max_size=12)
).map(lambda both: [*both[0], *both[1]])
"""Many round one place, whose leaders go far, and then some that might lie over those."""
MARKS = st.lists(SPOTS, max_size=6)


@examples(20, 300)
@given(LABELS, MARKS, st.sampled_from([3.0, 12.0, 50.0]))
def test_a_label_is_on_the_paper_over_nothing_and_near_and_its_leader_crosses_none(
    labels: list, marks: list, reach: float
) -> None:
    paper = Paper(80.0, 60.0)
    taken: list[Rect] = [(x - 1.0, y - 1.0, x + 1.0, y + 1.0) for x, y in marks]
    for mark in taken:
        paper.take(mark)
    placed, leaders = [], []
    for anchor, (wide, high, above) in labels:
        found = paper.place([anchor], wide, high, WITHIN, reach=reach, above=above)
        if found is None:
            continue
        left, top, right, bottom = found.rect
        assert abs(right - left - wide) < 1e-9
        assert abs(bottom - top - high) < 1e-9
        assert left >= WITHIN[0]
        assert top >= WITHIN[1]
        assert right <= WITHIN[2]
        assert bottom <= WITHIN[3]
        assert not any(over(found.rect, other) for other in [*taken, *(rect for rect, _ in placed)])
        # all the label's room is round its anchor: no farther than its own size and the reach
        assert hypot(max(left - anchor[0], anchor[0] - right, 0), max(top - anchor[1], anchor[1] - bottom, 0)) <= reach
        if found.leader is not None:
            leaders.append(found.leader)
            assert not any(inside(at, other, CELL) for at in along(found.leader) for other in taken)
        placed.append((found.rect, found.leader))
    assert not any(cross(one, two) for one, two in combinations(leaders, 2))
    for rect, own in placed:
        assert not any(inside(at, rect) for leader in leaders if leader != own for at in along(leader))


@examples(15, 200)
@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(60, 100)), min_size=6, max_size=20), st.lists(SPOTS, max_size=6),
    st.integers(3, 20), st.sampled_from([1.5, 4.0, 9.0]),
)  # fmt: skip
def test_a_leader_with_an_owner_begins_on_its_line_and_crosses_no_other(
    labels: list, marks: list, wide: int, apart: float
) -> None:
    # Lines lie level, one above the other; a label's anchor is a place on the line of its owner.
    levels = [20 + number * apart for number in range(4)]
    paper = Paper(80.0, 60.0)
    for number, y in enumerate(levels):
        paper.cross(np.array([[6.0, y], [74.0, y]]), owner=f"line-{number}")
    for x, y in marks:
        paper.take((x - 2.0, y - 2.0, x + 2.0, y + 2.0))
    leaders = []
    for number, half in labels:
        y, x = levels[number], half / 2
        found = paper.place([(x, y)], wide, 3.0, WITHIN, owner=f"line-{number}")
        if found is None or found.leader is None:
            continue
        leaders.append(found.leader)
        (begin, end), low, high = found.leader, *sorted((found.leader[0][1], found.leader[1][1]))
        assert hypot(begin[0] - x, begin[1] - y) < 0.3
        assert inside(end, found.rect, -1e-6)
        assert [at for at in levels if low + CELL < at < high - CELL and at != y] == []
    assert not any(cross(one, two) for one, two in combinations(leaders, 2))


@examples(30, 200)
@given(st.integers(8, 20), st.integers(20, 60), st.floats(0.2, 0.8), st.integers(2, 12))
def test_a_label_stands_clear_of_lines_and_no_other_stands_on_its_leader(
    broad: int, x: int, part: float, wide: int
) -> None:
    # A broad line lies over the anchor, so that the label goes far; the next one may be crossed as much as it will.
    paper = Paper(80.0, 60.0)
    paper.cross(np.array([[6.0, 30.0], [74.0, 30.0]]), float(broad))
    first = paper.place([(x, 30)], 12, 3, WITHIN)
    assert first is not None
    crossed = min(first.rect[3], 30 + broad / 2) - max(first.rect[1], 30 - broad / 2)
    assert crossed <= 3 * 0.05 + 2 * CELL
    assert first.leader is not None
    (begin_x, begin_y), (end_x, end_y) = first.leader
    beside = begin_x + (end_x - begin_x) * part, begin_y + (end_y - begin_y) * part
    second = paper.place([beside], wide, 3, WITHIN, crossing=1.0, pay=0.0)
    assert second is not None
    assert not over(first.rect, second.rect)
    assert not any(inside(at, second.rect) for at in along(first.leader))


def test_a_label_goes_where_it_is_crossed_least_and_to_the_best_anchor() -> None:
    paper = Paper(80.0, 60.0)
    assert paper.place([(40, 30)], 10, 3, WITHIN).rect[0] >= 40.0  # to the right first
    assert Paper(80.0, 60.0).place([(40, 30)], 10, 3, WITHIN, above=True).rect[3] <= 30.0
    assert Paper(80.0, 60.0).place([(40, 30), (10, 10)], 10, 3, WITHIN).rect[0] >= 40.0
    assert Paper(80.0, 60.0).place([(40, 30)], 71, 3, WITHIN) is None  # wider than all there is
    full = Paper(80.0, 60.0)
    full.take((0.0, 0.0, 80.0, 60.0))
    assert full.place([(40, 30)], 10, 3, WITHIN) is None
    covered = Paper(80.0, 60.0)
    covered.cross(np.array([[0.0, 30.0], [80.0, 30.0]]), 60.0)
    assert covered.place([(40, 30)], 10, 3, WITHIN) is None
    assert covered.place([(40, 30)], 10, 3, WITHIN, crossing=1.0) is not None
