"""[show.photo]: what may stand there, what is refused and in which words, and that edits leave it as it is."""

import json
import math
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from patcher.errors import Finding
from patcher.show.parser import read
from patcher.show.photo_tables import Photo, PhotoWall
from patcher.show.schema import Show, json_schema
from patcher.show.show_file import path_beside, read_show
from patcher.show.text_edits import edited, with_feeds, with_points
from rig.examples import examples
from rig.good_show import GOOD
from rig.shipped import Patcher

PHOTO = """\
[show.photo]            # taken from the towpath
file = "house.jpg"
origin = [312.0, 940.0] # the foot of the door
spans = [
  { from = [100.0, 400.0], to = [400.0, 402.0], length = 3.2 }, # the long sill
]
wall = { corners = [[100, 800], [620, 810], [615, 300], [95, 310]], width = 6.2, height = 4.1 }
"""
WALL = "[[100, 800], [620, 810], [615, 300], [95, 310]]"


def text(photo: str = PHOTO, units: str = "m") -> str:
    """The good file, with places listed, and with a photograph."""
    good = GOOD.replace('file = "willow.csv"', "at = [[0.5, 1.0], [0.7, 1.2]]")
    return good.replace("frame_rate = 40\n", f'frame_rate = 40\nunits = "{units}"\n\n{photo}')


def changed(old: str, new: str) -> str:
    assert PHOTO.count(old) == 1
    return text(PHOTO.replace(old, new))


def photo_in(written: str) -> Photo:
    reading = read(written)
    assert reading.findings == ()
    assert reading.show is not None
    assert reading.show.settings.photo is not None
    return reading.show.settings.photo


def test_a_photograph_is_read_as_it_is_written() -> None:
    # Source: the table above
    photo = photo_in(text())
    assert photo.file == "house.jpg"
    assert photo.origin == (312.0, 940.0)
    (span,) = photo.spans
    assert (span.begin, span.end, span.length) == ((100.0, 400.0), (400.0, 402.0), 3.2)
    assert photo.wall is not None
    assert photo.wall.corners == ((100, 800), (620, 810), (615, 300), (95, 310))
    assert (photo.wall.width, photo.wall.height) == (6.2, 4.1)


def test_only_the_file_must_be_given() -> None:
    # Source: the design of the table: nothing may be known of the scale
    photo = photo_in(text('[show.photo]\nfile = "pictures/house.png"\n'))
    assert (photo.origin, photo.spans, photo.wall) == (None, (), None)
    plain = read(text("")).show
    assert plain is not None
    assert plain.settings.photo is None


def test_lengths_are_in_the_shows_units_and_points_of_the_picture_are_not() -> None:
    # Source: international yard and pound agreement, 1959: 1 ft = 0.3048 m
    metres, feet = photo_in(text()), photo_in(text(units="ft"))
    assert metres.wall is not None
    assert feet.wall is not None
    assert feet.spans[0].length == pytest.approx(3.2 * 0.3048, rel=1e-15)
    assert (feet.wall.width, feet.wall.height) == pytest.approx((6.2 * 0.3048, 4.1 * 0.3048), rel=1e-15)
    assert feet.wall.corners == metres.wall.corners
    assert feet.origin == metres.origin
    assert (feet.spans[0].begin, feet.spans[0].end) == (metres.spans[0].begin, metres.spans[0].end)


# --- what is refused --------------------------------------------------------------------------------------------------

BESIDE = "is not beside this show file or below it"
OUTSIDE = (
    "/house.jpg",
    "../house.jpg",
    "a/../../house.jpg",
    "C:/house.jpg",
    "C:house.jpg",
    "..",
    "\\\\house.jpg",
)
OUTSIDE += "..\\\\house.jpg", "a\\\\..\\\\..\\\\house.jpg", "\\\\\\\\there\\\\share\\\\house.jpg", "house\\u0000.jpg"
SPAN = "{ from = [100.0, 400.0], to = [400.0, 402.0], length = 3.2 }"
REFUSED = [
    *(('"house.jpg"', f'"{name}"', "file", BESIDE, "put it there") for name in OUTSIDE),
    ('"house.jpg"', '""', "file", "names no file", 'file = "house.jpg"'),
    ('"house.jpg"', '"."', "file", "names no file", 'file = "house.jpg"'),
    ('"house.jpg"', "7", "file", "must be text", 'text in "quotes"'),
    ('file = "house.jpg"\n', "", "file", "is missing", 'file = "house.jpg"'),
    ("origin =", "orign =", "orign", "not a known key", "did you mean “origin”?"),
    ("[312.0, 940.0]", "[312.0]", "origin[2]", "a point is two numbers", "[x, y]"),
    ("[312.0, 940.0]", "[312.0, 940.0, 1.0]", "origin", "has 3 items", "shorten"),
    ("[312.0, 940.0]", '[312.0, "940"]', "origin[2]", "must be a number", "a number"),
    ("[312.0, 940.0]", "[312.0, nan]", "origin[2]", "not an ordinary number", "ordinary"),
    ("[312.0, 940.0]", "[312.0, 2e6]", "origin[2]", "at most 1e+06", "correct the number"),
    ("[312.0, 940.0]", "312.0", "origin", "must be a list", "[brackets]"),
    ("length = 3.2", "length = 0", "spans[1].length", "must be at least 0.001", "correct the number"),
    ("length = 3.2", "length = -3.2", "spans[1].length", "must be at least 0.001", "correct the number"),
    ("length = 3.2", "length = inf", "spans[1].length", "not an ordinary number", "ordinary"),
    ("length = 3.2", "lenght = 3.2", "spans[1].lenght", "not a known key", "did you mean “length”?"),
    (", length = 3.2", "", "spans[1].length", "is missing", "add it"),
    ("from = [100.0, 400.0], ", "", "spans[1].from", "is missing", "add it"),
    ("to = [400.0, 402.0]", "to = [100, 400]", "spans[1]", "are one point", "two points that lie apart"),
    (f"[\n  {SPAN}, # the long sill\n]", SPAN, "spans", "must be a list", "[brackets]"),
    (f"{SPAN},", f"{SPAN},\n  {SPAN.replace('3.2', '0.0')},", "spans[2].length", "must be at least 0.001", "correct"),
    ("width = 6.2", "width = 0.0", "wall.width", "must be at least 0.001", "correct the number"),
    ("width = 6.2, ", "", "wall.width", "is missing", "add it"),
    ("width = 6.2", "width = true", "wall.width", "must be a number", "write a number"),
    ("height = 4.1", "height = -1", "wall.height", "must be at least 0.001", "correct the number"),
    ("height = 4.1", "heigth = 4.1", "wall.heigth", "not a known key", "did you mean “height”?"),
    (WALL, "[[100, 800], [620, 810], [615, 300]]", "wall.corners[4]", "is missing", "[x, y]"),
    (WALL, f"{WALL[:-1]}, [1, 2]]", "wall.corners", "has 5 items", "shorten"),
    (WALL, "[100, 800, 620, 810, 615, 300, 95, 310]", "wall.corners", "list of points", "[[100, 800], [620, 810]"),
    (WALL, "[[100, 800], [620, 810], [95, 310], [615, 300]]", "wall.corners", "crossed", "this order: bottom left"),
    (WALL, "[[620, 810], [100, 800], [615, 300], [95, 310]]", "wall.corners", "crossed", "this order: bottom left"),
    (WALL, "[[95, 310], [615, 300], [620, 810], [100, 800]]", "wall.corners", "in a mirror", "this order"),
    (WALL, "[[620, 810], [100, 800], [95, 310], [615, 300]]", "wall.corners", "in a mirror", "this order"),
    (WALL, "[[95, 310], [100, 800], [620, 810], [615, 300]]", "wall.corners", "begins at another", "this order"),
    (WALL, "[[615, 300], [95, 310], [100, 800], [620, 810]]", "wall.corners", "begins at another", "this order"),
    (WALL, "[[620, 810], [615, 300], [95, 310], [100, 800]]", "wall.corners", "begins at another", "this order"),
    (WALL, "[[0, 100], [50, 100], [100, 100], [0, 0]]", "wall.corners", "in one line", "a wall has four"),
    (WALL, "[[0, 100], [50, 100], [100, 100], [150, 100]]", "wall.corners", "in one line", "a wall has four"),
    (WALL, "[[0, 100], [0, 100], [100, 0], [0, 0]]", "wall.corners", "one point twice", "this order"),
    (WALL, "[[0, 100], [100, 100], [20, 80], [0, 0]]", "wall.corners", "points inwards", "correct it"),
    (f"{{ corners = {WALL}, width = 6.2, height = 4.1 }}", WALL, "wall", "a table of its own", "a table"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "where", "says", "remedy"), REFUSED)
def test_what_is_wrong_is_said_with_its_place_and_what_to_do(
    old: str, new: str, where: str, says: str, remedy: str
) -> None:
    # Source: the design: messages name the place, what is wrong, and what to do
    (found,) = read(changed(old, new)).findings
    assert found.where == f"show.photo.{where}"
    assert says in found.says
    assert remedy in found.remedy
    assert found.severity == "error"
    written = changed(old, new).splitlines()
    assert found.line is not None
    assert written[found.line - 1].startswith(("[show.photo]", where.partition("[")[0].partition(".")[0]))


@pytest.mark.parametrize(
    "name", ["house.jpg", "pictures/house.jpg", "a/../house.jpg", "häuser am Kanal.PNG", "./x.png"]
)
def test_a_file_beside_or_below_is_taken(name: str) -> None:
    # Judge: the folder itself: such a path stays inside it
    assert photo_in(changed("house.jpg", name)).file == name


@pytest.mark.parametrize("written", ['"house.jpg"', "[]", "7", '[{ file = "house.jpg" }]'])
def test_a_photograph_is_a_table(written: str) -> None:
    # Source: the design: no traceback ever reaches a person
    (found,) = read(text(f"photo = {written}\n")).findings
    assert (found.where, found.remedy) == ("show.photo", "write a table of its own")


def test_an_origin_beyond_the_walls_horizon_is_refused() -> None:
    # Source: a wall that narrows upwards from 400 to 200 points over 200: its sides meet 200 above its top
    wall = "wall = { corners = [[0, 400], [400, 400], [300, 200], [100, 200]], width = 4.0, height = 3.0 }"

    def found(y: float) -> tuple[Finding, ...]:
        return read(text(f'[show.photo]\nfile = "a.png"\norigin = [50, {y}]\n{wall}\n')).findings

    assert found(0.5) == ()
    assert found(900) == ()
    for y in (0, -0.5, -900):
        (finding,) = found(y)
        assert finding.where == "show.photo"
        assert "horizon" in finding.says
        assert "foot of the wall" in finding.remedy


def test_a_wrong_photograph_leaves_the_other_settings_as_they_are() -> None:
    # Source: a table that cannot be read is set aside, and the others are still checked
    reading = read(changed("length = 3.2", "length = 0").replace("frame_rate = 40", "frame_rate = 33"))
    assert len(reading.findings) == 1
    assert reading.show is not None
    assert (reading.show.settings.title, reading.show.settings.frame_rate) == ("Mill weir", 33)
    assert reading.show.settings.photo is None


def test_a_point_written_as_three_numbers_is_no_list_of_points() -> None:
    # Source: found here: the words for a list of points were said of a single one
    box = text("").replace("ports = 4", "ports = 4\nat = [1.0, 2.0, 3.0]")
    (found,) = read(box).findings
    assert (found.where, found.remedy) == ("controller.mill.at", "shorten it")


@pytest.mark.parametrize(
    ("name", "inside"),
    [("house.jpg", True), ("a/house.jpg", True), ("../x/house.jpg", True), ("../house.jpg", False), ("link", False)],
)
def test_a_files_place_is_where_it_truly_stands(tmp_path: Path, name: str, inside: bool) -> None:
    # Judge: the file system itself: a link out of the folder leads out of it
    folder = tmp_path / "x"
    folder.mkdir()
    (folder / "link").symlink_to(tmp_path / "house.jpg")
    if inside:
        assert path_beside(folder, name).is_relative_to(folder)
    else:
        with pytest.raises(ValueError, match="not beside"):
            path_beside(folder, name)


def test_check_says_it(here: Patcher, tmp_path: Path) -> None:
    # Source: the design: check says every problem at once; exit 2: the file cannot be read
    (tmp_path / "weir.toml").write_text(changed("length = 3.2", "length = 0").replace("width = 6.2", "width = 0"))
    ran = here("check", "weir.toml", "--json")
    found = {finding["where"]: finding for finding in json.loads(ran.stdout)["findings"]}
    assert {"show.photo.spans[1].length", "show.photo.wall.width"} == {w for w in found if w.startswith("show")}
    assert found["show.photo.wall.width"]["says"] == "is 0, but must be at least 0.001"
    (tmp_path / "weir.toml").write_text(text())
    found = json.loads(here("check", "weir.toml", "--json").stdout)["findings"]
    assert not [finding for finding in found if "photo" in finding["where"]]


# --- walls of any form ------------------------------------------------------------------------------------------------

_ANGLES = st.tuples(*[st.floats(-0.6, 0.6)] * 4)


def _corners(off: tuple[float, ...], middle: tuple[float, float], size: float) -> list[tuple[float, float]]:
    """Corners of a wall on a circle, each within 34° of its diagonal; such a figure is convex (Euclid III)."""
    angles = [math.radians(base) + each for base, each in zip((225, 315, 45, 135), off, strict=True)]
    return [(middle[0] + size * math.cos(angle), middle[1] - size * math.sin(angle)) for angle in angles]


def _taken(corners: list[tuple[float, float]]) -> bool:
    try:
        PhotoWall(corners=tuple(corners), width=1.0, height=1.0)
    except ValidationError:
        return False
    return True


@examples(60, 2000)
@given(_ANGLES, st.tuples(*[st.floats(-2000, 2000)] * 2), st.floats(1, 4000))
def test_any_upright_wall_is_taken_and_no_other_order_of_its_corners(
    off: tuple[float, ...], middle: tuple[float, float], size: float
) -> None:
    # Source: the corners are made in that order; every other order crosses, mirrors or turns it
    corners = _corners(off, middle, size)
    up = [(corners[3][n] + corners[2][n]) - (corners[0][n] + corners[1][n]) for n in (0, 1)]
    assert _taken(corners) == (-up[1] > abs(up[0]))
    a, b, c, d = corners
    for other in ([b, a, c, d], [a, b, d, c], [a, c, b, d], [d, c, b, a], [b, a, d, c], [a, d, c, b], [c, d, a, b]):
        assert not _taken(other)


# --- schema and edits -------------------------------------------------------------------------------------------------


def test_editors_know_the_table() -> None:
    # Judge: jsonschema
    judge = jsonschema.Draft202012Validator(json_schema())
    good = {"title": "x", "photo": {"file": "a.jpg", "origin": [1, 2], "spans": [
        {"from": [0, 0], "to": [1, 1], "length": 1.0}], "wall": {"corners": [[0, 1], [1, 1], [1, 0], [0, 0]],
        "width": 1, "height": 1}}}  # fmt: skip
    assert judge.is_valid({"show": good})
    for key, wrong in {"file": 7, "origin": [1], "spans": [{"from": [0, 0], "length": 1}], "wal": {}}.items():
        assert not judge.is_valid({"show": good | {"photo": good["photo"] | {key: wrong}}})


def shows() -> tuple[Show, Show]:
    """A show with a photograph, and the same with a lead and a box changed."""
    before = read(text(units="ft")).show
    assert before is not None
    towpath, mill = before.runs["towpath"], before.controllers["mill"]
    return before, before.model_copy(
        update={
            "runs": before.runs | {"towpath": towpath.model_copy(update={"lead": 3.048}).called("towpath")},
            "controllers": before.controllers | {"mill": mill.model_copy(update={"level": 0.5}).called("mill")},
        }
    )


def test_edits_of_the_text_leave_the_photograph_as_it_is() -> None:
    # Source: the text before, line by line
    before, after = shows()
    new = edited(text(units="ft"), before, after, "")
    assert new != text(units="ft")
    assert "lead = 10.0" in new
    feed = before.feeds["bank"].model_copy(update={"taps": before.feeds["bank"].taps[:1]}).called("more")
    for other in (new, with_points(new, "towpath", "t.csv"), with_feeds(new, before, [feed], "proposed")):
        assert PHOTO in other
    assert photo_in(new) == before.settings.photo


def test_a_show_with_a_photograph_is_a_file_like_any_other(tmp_path: Path) -> None:
    # Source: whether the picture exists is not the reader's matter
    (tmp_path / "weir.toml").write_text(text())
    reading = read_show(tmp_path / "weir.toml")
    assert reading.findings == ()
