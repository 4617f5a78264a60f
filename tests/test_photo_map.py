"""Points of a photograph in metres and back, against OpenCV's maps and cameras, and numpy's least squares."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError

from patcher.photo_map import PhotoMap, agreement, photo_map
from patcher.show.parser import read
from patcher.show.photo_tables import Photo, PhotoSpan, PhotoWall
from rig.examples import examples

SIZE = (1600, 1200)
Points = np.ndarray

spots = st.tuples(st.floats(0, 1600), st.floats(0, 1200))
metres = st.floats(0.05, 60)


@st.composite
def walls(draw: st.DrawFn) -> PhotoWall:
    """An upright wall: corners on a circle, each within 22° of its diagonal, so that they are convex (Euclid III)."""
    angles = [math.radians(base + draw(st.floats(-22, 22))) for base in (225, 315, 45, 135)]
    x, y, size = draw(st.floats(300, 1300)), draw(st.floats(300, 900)), draw(st.floats(50, 700))
    corners = tuple((x + size * math.cos(angle), y - size * math.sin(angle)) for angle in angles)
    up = [corners[3][n] + corners[2][n] - corners[0][n] - corners[1][n] for n in (0, 1)]
    assume(-up[1] > abs(up[0]))
    return PhotoWall(corners=corners, width=draw(metres), height=draw(metres))


def span(begin: tuple[float, float], end: tuple[float, float], length: float) -> PhotoSpan:
    return PhotoSpan.model_validate({"from": begin, "to": end, "length": length})


def of_wall(wall: PhotoWall, origin: tuple[float, float] | None = None, spans: tuple[PhotoSpan, ...] = ()) -> PhotoMap:
    found = photo_map(Photo(file="a.jpg", origin=origin, wall=wall, spans=spans), SIZE)
    assert found is not None
    return found


def rectangle(wall: PhotoWall) -> Points:
    return np.array([[0, 0], [wall.width, 0], [wall.width, wall.height], [0, wall.height]])


def inside(wall: PhotoWall, weights: list[tuple[float, ...]]) -> Points:
    """Points between the corners of a wall."""
    shares = np.array(weights) + 0.01
    return np.asarray(shares / shares.sum(axis=1, keepdims=True) @ np.array(wall.corners))


_weights = st.lists(st.tuples(*[st.floats(0, 1)] * 4), min_size=2, max_size=12)


# --- with a wall ------------------------------------------------------------------------------------------------------


@examples(60, 3000)
@given(walls(), _weights)
def test_a_wall_gives_the_projective_map_of_its_corners(wall: PhotoWall, weights: list[tuple[float, ...]]) -> None:
    # Judge: OpenCV, which solves the same four corners in two ways of its own
    found = of_wall(wall)
    corners, there = np.array(wall.corners), rectangle(wall)
    assert found.metres(corners) == pytest.approx(there, abs=1e-8)
    points = inside(wall, weights)
    exact = cv2.getPerspectiveTransform(corners.astype(np.float32), there.astype(np.float32))
    fitted, _ = cv2.findHomography(corners, there)
    for judged, near in ((exact, 1e-3), (fitted, 1e-6)):  # the first takes single precision only
        wanted = cv2.perspectiveTransform(points[None], judged)[0]
        assert found.metres(points) == pytest.approx(wanted, abs=near * max(wall.width, wall.height))


@examples(60, 3000)
@given(
    st.tuples(st.floats(-0.5, 0.5), st.floats(-0.9, 0.9), st.floats(-0.2, 0.2)), st.floats(8, 40),
    st.tuples(st.floats(1, 12), st.floats(1, 8)), st.lists(st.tuples(st.floats(-2, 3), st.floats(-2, 3)), min_size=2),
)  # fmt: skip
def test_a_wall_that_a_camera_saw_is_measured(
    turned: tuple[float, ...], away: float, sides: tuple[float, float], places: list[tuple[float, float]]
) -> None:
    # Judge: OpenCV's projectPoints: a camera of known place looks at a wall of known size
    lens = np.array([[1300.0, 0, 800], [0, 1300.0, 600], [0, 0, 1]])
    pitch, _ = cv2.Rodrigues(np.array([turned[0], 0, 0]))
    yaw, _ = cv2.Rodrigues(np.array([0, turned[1], 0]))
    roll, _ = cv2.Rodrigues(np.array([0, 0, turned[2]]))
    turn, _ = cv2.Rodrigues(roll @ pitch @ yaw)
    width, height = sides

    def seen(flat: Points) -> tuple[Points, Points]:
        """Where places of the wall's plane stand in the picture, and how far before the camera."""
        at = np.column_stack([flat[:, 0] - width / 2, height / 2 - flat[:, 1], np.zeros(len(flat))])
        points, _ = cv2.projectPoints(at, turn, np.array([0.0, 0.0, away]), lens, None)
        return points[:, 0], at @ cv2.Rodrigues(turn)[0][2] + away

    corners, depths = seen(np.array([[0, 0], [width, 0], [width, height], [0, height]]))
    assume((depths > 1).all())
    wall = PhotoWall(corners=tuple(map(tuple, corners.tolist())), width=width, height=height)
    found = of_wall(wall)
    flat = np.array(places) * sides
    points, depths = seen(flat)
    before = depths > 1
    assert found.metres(points[before]) == pytest.approx(flat[before], abs=1e-6)
    assert found.points(flat[before]) == pytest.approx(points[before], abs=1e-4)
    behind = depths < -0.1
    assert np.isnan(found.metres(points[behind])).all()
    assert np.isnan(found.points(flat[behind])).all()


@examples(60, 3000)
@given(walls(), _weights)
def test_lengths_along_the_wall_are_those_of_the_mapped_points(
    wall: PhotoWall, weights: list[tuple[float, ...]]
) -> None:
    # Judge: OpenCV's arcLength over the points that its own map moves
    points = inside(wall, weights)
    judged, _ = cv2.findHomography(np.array(wall.corners), rectangle(wall))
    moved = cv2.perspectiveTransform(points[None], judged)[0]
    wanted = cv2.arcLength(moved.astype(np.float32), False)
    steps = np.diff(of_wall(wall).metres(points), axis=0)
    assert np.hypot(*steps.T).sum() == pytest.approx(wanted, rel=1e-4, abs=1e-4)


@examples(60, 3000)
@given(walls(), _weights)
def test_points_come_back_from_metres(wall: PhotoWall, weights: list[tuple[float, ...]]) -> None:
    # Source: a map and its inverse
    found, points = of_wall(wall), inside(wall, weights)
    assert found.points(found.metres(points)) == pytest.approx(points, abs=1e-5)
    places = rectangle(wall) * 0.9 + 0.01
    assert found.metres(found.points(places)) == pytest.approx(places, rel=1e-7, abs=1e-7)


@examples(40, 1000)
@given(walls(), st.tuples(*[st.floats(0.1, 0.9)] * 2))
def test_the_origin_is_shifted_to_0_0_and_nothing_is_turned(wall: PhotoWall, part: tuple[float, float]) -> None:
    # Source: metres on one plane differ by the same step everywhere
    plain = of_wall(wall)
    assert plain.metres(np.array([wall.corners[0]]))[0] == pytest.approx([0, 0], abs=1e-9)
    place = np.array([part]) * [wall.width, wall.height]
    shifted = of_wall(wall, tuple(plain.points(place)[0].tolist()))
    corners = np.array(wall.corners)
    assert shifted.metres(corners) == pytest.approx(plain.metres(corners) - place, abs=1e-6)


def test_points_on_the_horizon_and_beyond_it_are_nowhere() -> None:
    # Source: a wall that narrows upwards from 400 to 200 points over 200: its sides meet 200 above its top, at y = 0
    wall = PhotoWall(corners=((0, 400), (400, 400), (300, 200), (100, 200)), width=4.0, height=3.0)
    found = of_wall(wall)
    places = found.metres(np.array([[200, 400], [200, 1], [900, 1.0], [200, -1], [200, -1e6], [900, -1.0]]))
    assert np.isfinite(places[:3]).all()
    assert np.isnan(places[3:]).all()
    assert (found.metres(np.array([[200.0, 1.0]]))[0, 1]) > 100
    on = found.metres(np.array([[200.0, 0.0]]))[0]
    assert np.isnan(on).all() or np.abs(on).max() > 1e9  # to the last bit, nobody can say on which side it lies
    assert np.isnan(PhotoMap(np.array([[1.0, 0, 0], [0, 1, 0], [0, 1, 0]])).metres(np.array([[5.0, 0.0]]))).all()


@examples(60, 3000)
@given(walls(), st.tuples(*[st.floats(-20_000, 20_000)] * 2))
def test_an_origin_is_taken_where_it_lies_on_the_walls_side_of_the_horizon(
    wall: PhotoWall, origin: tuple[float, float]
) -> None:
    # Judge: what OpenCV's map divides by, with the sign that it has inside the wall
    judged, _ = cv2.findHomography(np.array(wall.corners), rectangle(wall))
    here, middle = (judged[2] @ [*at, 1] for at in (origin, np.mean(wall.corners, axis=0)))
    assume(abs(here / middle) > 1e-6)
    if here * middle > 0:
        assert of_wall(wall, origin).metres(np.array([origin]))[0] == pytest.approx([0, 0], abs=1e-3)
    else:
        with pytest.raises(ValidationError, match="horizon"):
            Photo(file="a.jpg", origin=origin, wall=wall)
        assert np.isnan(of_wall(wall).metres(np.array([origin]))).all()


def test_no_points_are_no_points() -> None:
    # Source: shape (n, 2), n = 0
    wall = PhotoWall(corners=((0, 400), (400, 400), (300, 200), (100, 200)), width=4.0, height=3.0)
    assert of_wall(wall).metres(np.empty((0, 2))).shape == (0, 2)
    assert of_wall(wall).points(np.empty((0, 2))).shape == (0, 2)


# --- with spans alone -------------------------------------------------------------------------------------------------

spans_of_a_picture = st.lists(
    st.tuples(spots, spots, metres).filter(lambda each: math.dist(each[0], each[1]) > 1), min_size=1, max_size=8
)


@examples(60, 3000)
@given(spans_of_a_picture, st.one_of(st.none(), spots), st.lists(spots, min_size=1))
def test_spans_give_one_scale_of_least_squares_without_a_turn(
    spans: list, origin: tuple[float, float] | None, points: list
) -> None:
    # Judge: numpy's least squares
    photo = Photo(file="a.jpg", origin=origin, spans=tuple(span(*each) for each in spans))
    found = photo_map(photo, SIZE)
    assert found is not None
    long = np.array([[math.dist(begin, end)] for begin, end, _ in spans])
    (scale,), *_ = np.linalg.lstsq(long, np.array([length for *_, length in spans]))
    x, y = origin or (0, 1200)
    wanted = [[scale * (px - x), scale * (y - py)] for px, py in points]
    assert found.metres(np.array(points)) == pytest.approx(np.array(wanted), rel=1e-9, abs=1e-9)
    assert found.points(np.array(wanted)) == pytest.approx(np.array(points), abs=1e-6)


def test_agreement_says_how_far_a_span_is_off() -> None:
    # Source: arithmetic: 100 and 300 points, 1 m and 3.2 m: (100 × 1 + 300 × 3.2) / (100² + 300²) = 0.0106 m a point
    photo = Photo(file="a.jpg", spans=(span((0, 0), (100, 0), 1.0), span((0, 0), (0, 300), 3.2)))
    one, other = agreement(photo, SIZE)
    assert (one.metres, other.metres) == pytest.approx((1.06, 3.18))
    assert (one.percent, other.percent) == pytest.approx((6.0, -0.625))
    alone = Photo(file="a.jpg", spans=(span((3, 4), (103, 44), 2.5),))
    assert agreement(alone, SIZE)[0].percent == pytest.approx(0, abs=1e-12)


@examples(40, 1000)
@given(walls(), st.floats(0.1, 9))
def test_a_wall_decides_and_spans_only_check_it(wall: PhotoWall, typed: float) -> None:
    # Source: the wall's own width and diagonal
    a, b, c, _ = wall.corners
    spans = (span(a, b, wall.width), span(a, c, typed))
    assert (of_wall(wall, spans=spans).matrix == of_wall(wall).matrix).all()
    one, other = agreement(Photo(file="a.jpg", wall=wall, spans=spans), SIZE)
    across = math.hypot(wall.width, wall.height)
    assert one.metres == pytest.approx(wall.width)
    assert one.percent == pytest.approx(0, abs=1e-6)
    assert other.metres == pytest.approx(across)
    assert other.percent == pytest.approx(100 * (across - typed) / typed, abs=1e-6)


def test_a_span_beyond_the_horizon_has_no_length() -> None:
    # Source: the wall above
    wall = PhotoWall(corners=((0, 400), (400, 400), (300, 200), (100, 200)), width=4.0, height=3.0)
    photo = Photo(file="a.jpg", wall=wall, spans=(span((0, 300), (0, -50), 2.0), span((0, 400), (100, 400), 1.0)))
    lost, known = agreement(photo, SIZE)
    assert math.isnan(lost.metres)
    assert math.isnan(lost.percent)
    assert known.percent == pytest.approx(0, abs=1e-9)


def test_nothing_is_known_without_a_wall_and_without_spans() -> None:
    # Source: the design: None where neither is known
    photo = Photo(file="a.jpg", origin=(3, 4))
    assert photo_map(photo, SIZE) is None
    assert agreement(photo, SIZE) == ()
    wall = PhotoWall(corners=((0, 400), (400, 400), (300, 200), (100, 200)), width=4.0, height=3.0)
    assert agreement(Photo(file="a.jpg", wall=wall), SIZE) == ()


def test_a_photo_of_a_show_in_feet_is_mapped_to_metres() -> None:
    # Source: 1 ft = 0.3048 m; 100 points are 10 ft
    written = '[show]\ntitle = "x"\nunits = "ft"\n[show.photo]\nfile = "a.jpg"\norigin = [10, 20]\n'
    show = read(written + "spans = [{ from = [0, 0], to = [100, 0], length = 10 }]\n").show
    assert show is not None
    assert show.settings.photo is not None
    found = photo_map(show.settings.photo, SIZE)
    assert found is not None
    assert found.metres(np.array([[110.0, 20.0], [10.0, -80.0]])) == pytest.approx(np.array([[3.048, 0], [0, 3.048]]))
