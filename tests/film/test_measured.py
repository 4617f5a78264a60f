"""The places of runs that are not drawn, from lights that are made up: no film is read.

Judge: `cv2.projectPoints`, OpenCV's own camera, says where each pixel is in the picture.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.random import Generator

from patcher.clip.decode import templates
from patcher.clip.lights import Lights
from patcher.faults import parse, planned
from patcher.film.evidence import Evidence
from patcher.film.faults_seen import Explained
from patcher.film.fit import Slack, fit
from patcher.film.map_search import best_map
from patcher.film.measured import Sight, measured, sights
from patcher.film.shown import shown
from patcher.frames.film_code import code_of
from patcher.placement.allocation import allocate
from patcher.shapes import positions
from patcher.show.parser import read
from patcher.wiring import wire

SHOW = """
[show]
title = "a shed"
[pixel.dot]
colour_order = "GRB"
pitch = 0.1
[controller.shed]
address = "192.0.2.1"
ports = 4
port = { 1 = ["ridge"], 2 = ["sill"], 3 = ["post"], 4 = ["vine"] }
[run]
ridge = { pixel = "dot", shape = "line", path = [[0.0, 2.0], [2.0, 3.0], [4.0, 2.0]], pixels = 46 }
sill = { pixel = "dot", shape = "line", path = [[0.0, 0.2], [4.0, 0.2]], pixels = 41 }
post = { pixel = "dot", shape = "line", path = [[0.1, 0.3], [0.1, 1.9]], pixels = 17 }
vine = { pixel = "dot", pixels = 40 }
"""
SIZE = (720, 1280)
PITCH = 0.1
ALONG = np.arange(40) * 0.08
VINE = np.column_stack([0.5 + ALONG, 1.2 + 0.3 * np.sin(2 * ALONG)])


def points(places, depth=0.0, *, turn=0.15):
    """Where places are in a picture taken from 8 m away; `depth` metres before the wall."""
    solid = np.column_stack([places[:, 0] - 2, 1.5 - places[:, 1], np.full(len(places), -depth)])
    lens = np.array([[1500.0, 0, 640], [0, 1500.0, 360], [0, 0, 1]])
    found, _ = cv2.projectPoints(
        solid, np.array([0.05, turn, 0.02]), np.array([0.1, 0.05, 8.0]), lens, (-0.08, 0.01, 0, 0)
    )
    return found[:, 0]


def plan_of(text: str = SHOW):
    wiring = wire(read(text).show)
    return planned(wiring, allocate(wiring).patch)


class Filmed:
    """A display as a clip shows it: a list of lights, to which a test may add others or take some away."""

    def __init__(self, rng: Generator, text: str = SHOW, *, blur: float = 0.3, hung: float = 0.01, turn: float = 0.15):
        self.plan, self.rng, self.turn = plan_of(text), rng, turn
        self.code = code_of(self.plan.patch)
        self.blur = blur
        self.rows: list[tuple[str, int, np.ndarray, float]] = []
        self.places = {
            name: at for name, run in self.plan.wiring.show.runs.items()
            if (at := positions(self.plan.wiring.show, run)) is not None
        }  # fmt: skip
        for name, at in self.places.items():
            self.light(name, at + rng.normal(0, hung, at.shape))

    def light(self, run: str, places, *, first: int = 1, flux: float = 100.0, depth: float = 0.0) -> None:
        at = points(places, depth, turn=self.turn) + self.rng.normal(0, self.blur, (len(places), 2))
        self.rows += [(run, first + number, point, flux) for number, point in enumerate(at)]

    def sights(self, faults=()) -> dict[str, Sight]:
        pixel = [
            int(self.code.pixel_of(self.plan.takes[run][number - 1].astype(np.int64))[0][0])
            for run, number, _, _ in self.rows
        ]
        count, segments = len(pixel), self.code.segments
        lights = Lights(
            np.array([at for _, _, at, _ in self.rows]), np.array(pixel), np.ones(count, np.float32),
            np.ones((count, segments, 3), np.float32), np.ones((count, segments, 3), np.float32),
            np.ones((count, segments), np.float32),
            np.array([flux for *_, flux in self.rows], np.float32),
        )  # fmt: skip
        found = best_map([self.plan.takes], self.places, self.code, lights, SIZE)
        assert found is not None
        hue = np.zeros((count, segments), np.int8)
        seen = Evidence(
            self.plan, self.code, self.places, dict.fromkeys(self.places, PITCH), lights, hue, found, lights.at,
            lambda at: np.zeros((len(at), self.code.bins, 3), np.float32), np.zeros(SIZE, np.uint8),
            templates(self.code).inner,
        )  # fmt: skip
        wired = {run: shown(self.plan.takes[run], "GRB", self.code) for run in self.places}
        fits = {run: fit(seen, run, own, Slack(0.05)) for run, own in wired.items()}
        explained = Explained(tuple(faults), tuple(faults), wired, fits, {}, 0.0, 0.0)
        # Once the plan is known, lights are read where it has them: where each truly is must not be lost by that.
        close = replace(seen, lights=replace(lights, at=found.picture(found.plan(lights.at).round(1))))
        return sights(close, explained, lights)


def of(clip: Filmed, run: str = "vine", faults=()):
    return measured(run, clip.plan.wiring.show.runs[run].pixels, PITCH, [clip.sights(faults)[run]])


@pytest.mark.parametrize("seed", range(6))
def test_places_are_right_within_the_error_that_is_said(seed: int) -> None:
    rng = np.random.default_rng(seed)
    hung = rng.choice([0.0, 0.01, 0.03])
    clip = Filmed(rng, hung=hung, turn=rng.uniform(-0.5, 0.5))
    clip.light("vine", VINE)
    found = of(clip)
    off = np.hypot(*(found.places - VINE).T)
    assert not found.against
    assert not found.unseen
    assert np.mean(off <= found.error) >= 0.95
    assert found.error < 0.05 + 2.5 * hung


def test_the_error_grows_with_what_the_drawn_runs_are_off_and_away_from_them() -> None:
    errors = []
    for hung, moved in ((0.0, 0.0), (0.04, 0.0), (0.0, 6.0)):
        clip = Filmed(np.random.default_rng(1), hung=hung, turn=0.0)
        clip.light("vine", VINE * 0.2 + np.array([0.8 - moved, 0.9]))
        errors.append(measured("vine", 40, None, [clip.sights()["vine"]]).error)
    assert errors[1] > 2 * errors[0]
    assert errors[2] > 2 * errors[0]


def test_one_drawn_run_that_hangs_aside_counts_as_one_run_however_few_its_pixels() -> None:
    clip = Filmed(np.random.default_rng(1), hung=0.0)
    clip.rows = [row for row in clip.rows if row[0] != "post"]
    clip.light("post", clip.places["post"][:4] + np.array([0.08, 0.0]))
    clip.light("vine", VINE)
    assert of(clip).error > 0.06


def test_short_gaps_are_filled_and_said() -> None:
    clip = Filmed(np.random.default_rng(2))
    clip.light("vine", VINE[:10])
    clip.light("vine", VINE[13:30], first=14)
    clip.light("vine", VINE[31:], first=32)
    found = of(clip)
    assert found.unseen == (11, 12, 13, 31)
    assert np.hypot(*(found.places - VINE).T).max() < found.error + 0.02
    assert len(found.places) == 40


@pytest.mark.parametrize(
    ("unseen", "words"),
    [
        ([1], "1 of"),
        ([40], "40 of"),
        ([1, 2, 3, 40], "1-3, 40 of"),
        ([11, 12, 13, 14], "11-14 of"),
        (range(1, 41), "not seen"),
    ],
)
def test_ends_and_long_gaps_that_are_not_seen_are_refused(unseen, words: str) -> None:
    clip = Filmed(np.random.default_rng(3))
    for number in {*range(1, 41)} - {*unseen}:
        clip.light("vine", VINE[number - 1 : number], first=number)
    found = of(clip)
    assert words in found.against
    assert found.todo
    assert len(found.places) == 0


def test_a_reflection_is_not_taken_even_where_the_pixel_itself_is_hidden() -> None:
    below = VINE * [1, -1] - [0, 0.4]
    clip = Filmed(np.random.default_rng(4))
    clip.light("vine", VINE)
    clip.light("vine", below, flux=40.0)
    assert not of(clip).unseen
    half = Filmed(np.random.default_rng(4))
    half.light("vine", VINE[:20])
    half.light("vine", below[18:], first=19, flux=40.0)
    assert "21-40" in of(half).against
    few = Filmed(np.random.default_rng(4))
    few.light("vine", np.concatenate([VINE[:20], below[20:22], VINE[22:]]))
    assert of(few).unseen == (21, 22)


def test_a_pixel_that_is_as_bright_in_two_places_is_not_known() -> None:
    clip = Filmed(np.random.default_rng(5))
    clip.light("vine", VINE)
    clip.light("vine", VINE[4:6] + np.array([0, 0.25]), first=5, flux=90.0)
    assert of(clip).unseen == (5, 6)


TEE = SHOW + 'twin = { pixel = "dot", same_data_as = "vine", '


def test_the_lights_of_a_tee_are_not_taken() -> None:
    twin = np.column_stack([np.linspace(0.6, 3.6, 40), np.full(40, 0.6)])
    path = 'shape = "line", path = [[0.6, 0.6], [3.6, 0.6]], pixels = 40 }\n'
    clip = Filmed(np.random.default_rng(6), TEE + path)
    clip.rows = [row if row[0] != "twin" else (*row[:3], 150.0) for row in clip.rows]
    clip.light("vine", VINE, flux=70.0)
    found = of(clip)
    assert not found.against
    assert np.hypot(*(found.places - VINE).T).max() < 0.1
    clip = Filmed(np.random.default_rng(6), TEE + "pixels = 40 }\n")
    clip.light("vine", VINE)
    clip.light("twin", twin, flux=50.0)
    assert "shares its data with twin" in of(clip).against


def test_a_run_that_takes_other_data_is_not_measured() -> None:
    clip = Filmed(np.random.default_rng(7))
    clip.light("vine", VINE)
    fault = parse("swapped-ports:shed/3,shed/4", clip.plan.wiring)
    assert "planned for it" in of(clip, faults=[fault]).against


def test_a_run_that_plays_where_another_is_drawn_is_not_measured() -> None:
    clip = Filmed(np.random.default_rng(8))
    clip.rows = [row for row in clip.rows if row[0] != "sill"]
    sill = clip.places["sill"]
    clip.light("vine", sill[:40])
    assert "where sill is drawn" in of(clip).against


def test_what_hangs_nearer_to_the_camera_is_refused_by_its_length() -> None:
    clip = Filmed(np.random.default_rng(9), hung=0.0)
    clip.light("vine", np.column_stack([0.2 + np.arange(40) * PITCH, np.full(40, 1.4)]), depth=4.0)
    assert "times as long as its string" in of(clip).against


def test_two_clips_that_see_it_elsewhere_tell_that_it_hangs_before_the_wall() -> None:
    seen = []
    for turn in (-0.4, 0.4):
        clip = Filmed(np.random.default_rng(10), turn=turn, hung=0.0)
        clip.light("vine", VINE, depth=1.0)
        seen.append(clip.sights()["vine"])
    assert "different places by two clips" in measured("vine", 40, PITCH, seen).against


def test_two_clips_together_show_what_neither_does() -> None:
    seen = []
    for begins, ends in ((0, 25), (20, 40)):
        clip = Filmed(np.random.default_rng(11), turn=0.1 * begins / 20)
        clip.light("vine", VINE[begins:ends], first=begins + 1)
        seen.append(clip.sights()["vine"])
    found = measured("vine", 40, PITCH, seen)
    assert not found.unseen
    assert np.mean(np.hypot(*(found.places - VINE).T) <= found.error) >= 0.95
    assert "no clip" in measured("vine", 40, PITCH, []).against
