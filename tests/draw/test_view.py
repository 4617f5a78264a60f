"""What the page is told of a show file, held against the program's own commands and geometry of the test's own."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from patcher.draw.server import _news
from patcher.draw.view import view
from rig.draw_pages import EMPTY
from rig.shipped import Patcher

LINE = '\n[run.eaves]\npixel = "bead"\nshape = "line"\npath = [[1.0, 3.0], [4.0, 3.0], [4.0, 5.0]]\npixels = 51\n'
LOOP = """
[run.window]
pixel = "bead"
shape = "loop"
corners = [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]]
pixels = 60
"""


def seen(tmp_path: Path, text: str) -> dict:
    path = tmp_path / "ferry.toml"
    path.write_text(text, encoding="utf-8")
    found = view(path, text)
    json.dumps(found, allow_nan=False)  # a browser reads no NaN
    return found


def test_a_length_and_a_pitch_are_those_of_the_way_drawn(tmp_path: Path) -> None:
    # Judge: shapely's lengths
    runs = seen(tmp_path, EMPTY + LINE + LOOP)["runs"]
    length = LineString([(1, 3), (4, 3), (4, 5)]).length
    assert runs["eaves"]["way"] == {"length": length, "pitch": pytest.approx(length / 50)}
    around = Polygon([(0, 0), (2, 0), (2, 1), (0, 1)]).length
    assert runs["window"]["way"] == {"length": around, "pitch": pytest.approx(around / 60)}


def test_each_entry_is_where_pixel_1_is_once_the_file_says_so(tmp_path: Path) -> None:
    text = EMPTY + LINE + LOOP + (
        '\n[run.net]\npixel = "bead"\nshape = "grid"\narea = [[0, 2], [3, 4]]\ncolumns = 7\nrows = 5\nlines = "rows"\n'
        'turns = "serpentine"\ndata_in = "bottom-left"\n'
    )  # fmt: skip
    before = seen(tmp_path, text)["runs"]
    for name, run in before.items():
        assert [entry["now"] for entry in run["entries"]].count(True) == 1
        for entry in run["entries"]:
            table, rest = text.split(f"[run.{name}]")[1].split("\n\n")[0], json.dumps(entry["value"])
            said = table.replace('data_in = "bottom-left"\n', "") if name == "net" else table
            changed = text.replace(table, f"{said.rstrip()}\ndata_in = {rest}\n")
            after = seen(tmp_path, changed)["runs"][name]
            assert math.dist(after["at"][:2], entry["at"]) < 0.101, (name, entry)  # a loop's pixel is near its corner
            assert [one["at"] for one in after["entries"]] == [one["at"] for one in run["entries"]]
            assert [one["value"] for one in after["entries"] if one["now"]] == [entry["value"]]


def test_what_is_wrong_is_what_check_says(patcher: Patcher, heron_lock: Path) -> None:
    text = heron_lock.read_text(encoding="utf-8").replace("lead = 2.6", "lead = 0.3")
    heron_lock.write_text(text, encoding="utf-8")
    said = json.loads(patcher("check", heron_lock, "--json").stdout)["findings"]
    told = view(heron_lock, text)["findings"]
    key = lambda one: (one["severity"], one["where"], one["says"])  # noqa: E731
    assert said
    assert sorted(map(key, told)) == sorted(map(key, said))
    assert {one["thing"] for one in told} == {"gable"}


@pytest.mark.parametrize("text", ["", "[show", "show = 3", "[run.a]\nshape = 1", EMPTY + "[run.a]\nshape = 'line'\n"])
def test_a_file_with_mistakes_is_shown_as_far_as_it_can_be_read(tmp_path: Path, text: str) -> None:
    found = seen(tmp_path, text)
    assert found["findings"]
    assert all(one["says"] and one["severity"] == "error" for one in found["findings"])


def test_places_that_a_page_knows_are_not_told_again(tmp_path: Path) -> None:
    before = seen(tmp_path, EMPTY + LINE + LOOP)
    after = seen(tmp_path, EMPTY + LINE.replace("5.0", "6.0") + LOOP)
    told = _news(after, before)["runs"]
    assert "at" in told["eaves"]
    assert "at" not in told["window"]
    assert _news(after, {}) == after


def test_volts_along_a_run_are_those_that_power_works_out(patcher: Patcher, heron_lock: Path) -> None:
    told = view(heron_lock, heron_lock.read_text(encoding="utf-8"))["runs"]
    lowest = {
        one["run"]: one["lowest_volts"] for one in json.loads(patcher("power", heron_lock, "--json").stdout)["runs"]
    }
    drawn = {name: min(volts for _, _, volts in run["volts"]) for name, run in told.items() if run["volts"]}
    assert drawn
    for name, volts in drawn.items():
        assert lowest[name] - 0.006 <= volts <= lowest[name] + 0.3, name  # of some pixels only
    assert np.mean([abs(drawn[name] - lowest[name]) for name in drawn]) < 0.02
