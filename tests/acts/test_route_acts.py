"""Routes as the drawing page changes them, and leads that are measured along them: the tables before and after."""

import math
import tomllib
from typing import Any

import pytest

from patcher.acts.act import read_act
from patcher.acts.acting import acted
from patcher.errors import PatcherError

SHED = """\
# the shed by the weir
[show]
title = "Shed"
units = "{units}"

[pixel.bead]
colour_order = "RGB"

[controller.post]  # under the gutter
address = "192.0.2.7"
ports = 2
at = [0.0, 0.0]

[controller.post.port]
1 = ["near"]

[run.near]
pixel = "bead"
shape = "line"
path = [[2.0, 3.0], [4.0, 3.0]]
pixels = 9
lead = 1.0  # to be measured

[run.far]
pixel = "bead"
shape = "line"
path = [[6.0, 1.0], [8.0, 1.0]]
pixels = 9

[run.plain]
pixel = "bead"
pixels = 9

[route.gutter]
# down the left side, along the top
path = [[0.0, 0.0], [0.0, 3.0], [6.0, 3.0], [6.0, 0.0]]
"""
FOOT = 0.3048


def text(units: str = "m") -> str:
    return SHED.replace("{units}", units)


def done(old: str, **act: Any) -> str:
    return acted(old, read_act(act))


def path_of(after: str, name: str = "gutter") -> list[list[float]]:
    found: list[list[float]] = tomllib.loads(after)["route"][name]["path"]
    return found


def lead_of(after: str, run: str) -> float:
    return float(tomllib.loads(after)["run"][run]["lead"])


def test_a_route_is_drawn_named_anew_moved_and_taken_out_and_every_comment_stays() -> None:
    drawn = done(text(), act="route", name="fence", keys={"path": [[9.0, 0.0], [12.0, 0.5]]})
    assert path_of(drawn, "fence") == [[9.0, 0.0], [12.0, 0.5]]
    moved = done(drawn, act="shift", things=["fence", "gutter"], by=[1.0, -0.5])
    assert path_of(moved, "fence") == [[10.0, -0.5], [13.0, 0.0]]
    assert path_of(moved) == [[1.0, -0.5], [1.0, 2.5], [7.0, 2.5], [7.0, -0.5]]
    named = done(moved, act="rename", thing="fence", name="hedge-top")
    assert path_of(named, "hedge-top") == path_of(moved, "fence")
    gone = done(named, act="take-out", thing="hedge-top")
    assert [*tomllib.loads(gone)["route"]] == ["gutter"]
    for comment in ("# the shed by the weir", "# under the gutter", "# to be measured", "# down the left side"):
        assert comment in gone


def test_the_corners_of_a_route_are_moved_put_in_and_taken_out() -> None:
    moved = done(text(), act="corner", thing="gutter", corner=1, to=[0.0, 3.5])
    assert path_of(moved)[1] == [0.0, 3.5]
    more = done(text(), act="corner-in", thing="gutter", before=2, to=[3.0, 4.0])
    assert path_of(more) == [[0.0, 0.0], [0.0, 3.0], [3.0, 4.0], [6.0, 3.0], [6.0, 0.0]]
    assert path_of(done(more, act="corner-out", thing="gutter", corner=2)) == path_of(text())


@pytest.mark.parametrize(
    "act",
    [
        {"act": "route", "name": "near", "keys": {"path": [[0.0, 0.0], [1.0, 0.0]]}},  # a run has the name
        {"act": "route", "name": "wall", "keys": {"path": [[0.0, 0.0]]}},
        {"act": "route", "name": "wall", "keys": {"path": [[0.0, 0.0], [0.0, 0.0]]}},
        {"act": "route", "name": "wall", "keys": {"way": [[0.0, 0.0], [1.0, 0.0]]}},
        {"act": "corner", "thing": "gutter", "corner": 1, "to": [0.0, 0.0]},  # onto the corner before
        {"act": "corner", "thing": "gutter", "corner": 4, "to": [0.0, 0.0]},
        {"act": "set", "thing": "gutter", "key": "lead", "value": 1.0},
    ],
)
def test_what_no_route_can_be_is_refused(act: dict[str, Any]) -> None:
    with pytest.raises(PatcherError):
        done(text(), **act)


def test_a_route_of_two_points_keeps_both() -> None:
    two = done(text(), act="route", name="fence", keys={"path": [[9.0, 0.0], [12.0, 0.5]]})
    with pytest.raises(PatcherError):
        done(two, act="corner-out", thing="fence", corner=0)


@pytest.mark.parametrize("units", ["m", "ft"])
def test_a_lead_is_measured_along_the_gutter_with_a_tenth_up_to_the_next_tenth_of_a_metre(units: str) -> None:
    # Source: 3 up and 2 along; from the last pixel of `near` 2 m on along the gutter and 2 m down it
    unit = FOOT if units == "ft" else 1.0
    near = done(text(units), act="measure-lead", run="near")
    assert lead_of(near, "near") == pytest.approx(math.ceil(5.0 * unit * 11) / 10 / unit, abs=1e-3)
    assert "# to be measured" in near
    behind = done(near, act="hang", run="far", box="post", port=1, behind="near")
    assert lead_of(done(behind, act="measure-lead", run="far"), "far") == pytest.approx(
        math.ceil(4.0 * unit * 11) / 10 / unit, abs=1e-3
    )


def test_without_routes_a_lead_is_measured_straight() -> None:
    # Source: math.dist
    bare = done(text(), act="take-out", thing="gutter")
    after = done(bare, act="measure-lead", run="near")
    assert lead_of(after, "near") == math.ceil(math.dist((0, 0), (2, 3)) * 11) / 10


def test_a_lead_of_which_an_end_has_no_place_stays_as_it_is() -> None:
    assert done(text(), act="measure-lead", run="far") == text()  # it hangs nowhere
    hung = done(text(), act="hang", run="plain", box="post", port=2, behind=None)
    assert done(hung, act="measure-lead", run="plain") == hung
    behind = done(hung, act="hang", run="far", box="post", port=2, behind="plain")
    assert done(behind, act="measure-lead", run="far") == behind
