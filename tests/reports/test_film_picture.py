"""The picture of a reading."""

import re
from functools import cache
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest

from patcher.clip import video
from patcher.drawing.canvas import Disc, Way, Words, as_png, as_svg
from patcher.errors import PatcherError
from patcher.reports import film_picture
from patcher.reports.pixel_marks import COLOURS, NAMES, mark
from patcher.show.writer import sealed_png, write_png
from rig.examples import later
from rig.film_readings import reading
from rig.film_verdicts import faults_of, perfect
from rig.heron_lock import HERON_LOCK, heron

WIRING, PATCH, PLAN, _ = heron()
FRAME = np.full((360, 640, 3), 90, dtype=np.uint8)
SEEN_FROM = ((20.0, 0.0, 160.0), (0.0, -20.0, 280.0), (0.0, 0.0, 1.0))
FAULTS = ("reversed:eaves", "swapped-ports:mooring/1,mooring/2")
# Source: Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency",
# IEEE TVCG 15 (2009), severity 1.0, on linear light (from memory)
SEEN_BY = {
    "all three cones": np.eye(3),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
}


@cache
def drawn():
    clip_reading = reading(HERON_LOCK, PLAN, perfect(PLAN, faults_of(PLAN, *FAULTS), seen_from=SEEN_FROM))
    return film_picture.canvas(clip_reading, clip_reading.clips[0], FRAME), clip_reading


@cache
def cut_out() -> tuple[float, float, float]:
    """Left, top and scale of what is drawn: it is cut out around all places, and its longer side made 1920."""
    (left, top), part = film_picture.cut(FRAME, [one.at for one in drawn()[1].clips[0].verdict.pixels if one.at])
    return left, top, 1920 / max(part.shape[:2])


def on_picture(canvas, at: tuple[float, float]) -> tuple[float, float]:
    """Where a place of the frame is on the picture."""
    left, top, scale = cut_out()
    return (at[0] - left + 0.5) * scale - 0.5, (at[1] - top + 0.5) * scale - 0.5 + canvas.top


def lab(colour: str, sight: np.ndarray) -> np.ndarray:
    rgb = np.array(list(bytes.fromhex(colour[1:]))) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)  # Source: IEC 61966-2-1
    seen = np.clip(sight @ linear, 0, 1)
    back = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    return cv2.cvtColor(back.astype(np.float32).reshape(1, 1, 3), cv2.COLOR_RGB2LAB).reshape(3)


@pytest.mark.parametrize("sight", SEEN_BY)
def test_what_matters_most_is_told_apart_by_its_colour_in_every_colour_vision(sight: str) -> None:
    # Source: CIE 1976: a distance of 2.3 is just seen; marks are small, so ten times that where the shape helps, too
    main = ["proved", "other", "colour", "dark-or-hidden", "unproved"]
    for one, other in combinations(main, 2):
        assert np.hypot.reduce(lab(COLOURS[one], SEEN_BY[sight]) - lab(COLOURS[other], SEEN_BY[sight])) > 23, (
            one,
            other,
        )


def test_no_two_words_have_the_same_shape() -> None:
    # Source: the marks as white silhouettes: each differs from each other in a tenth of its points
    silhouettes = {}
    for word in NAMES:
        canvas = np.zeros((64, 64), np.uint8)
        for shape in mark(word, 32, 32, 16):
            if isinstance(shape, Disc):
                if shape.fill:
                    cv2.circle(canvas, (32, 32), round(shape.radius), 255 if shape.fill == COLOURS[word] else 0, -1)
                if shape.edge == COLOURS[word]:
                    cv2.circle(canvas, (32, 32), round(shape.radius), 255, round(shape.width))
            else:
                corners = np.array(shape.points).round().astype(np.int32)
                cv2.fillPoly(canvas, [corners], 255 if shape.fill == COLOURS[word] else 0)
                if shape.edge == COLOURS[word]:
                    cv2.polylines(canvas, [corners], True, 255, round(shape.width))
        silhouettes[word] = canvas > 0
    for one, other in combinations(silhouettes.values(), 2):
        assert (one ^ other).sum() > 0.1 * (one | other).sum()


def test_every_pixel_that_has_a_place_has_a_mark_there() -> None:
    # Source: the places, cut out and enlarged as the still is, its middle kept in the middle
    canvas, clip_reading = drawn()
    discs = {(round(shape.x, 1), round(shape.y, 1)) for shape in canvas.shapes if isinstance(shape, Disc)
             and shape.fill == COLOURS["proved"]}  # fmt: skip
    for pixel in clip_reading.joined.verdict.pixels:
        if pixel.word == "proved":
            x, y = on_picture(canvas, pixel.at)
            assert (round(x, 1), round(y, 1)) in discs


@pytest.mark.long
@pytest.mark.parametrize("wide", [640, 1280])
def test_what_lights_in_the_still_is_below_its_mark(wide: int) -> None:
    # Source: a frame that is dark but for one light: where that is, there is its pixel's mark
    clip_reading = reading(HERON_LOCK, PLAN, perfect(PLAN, seen_from=SEEN_FROM))
    for run, number in (("gable", 40), ("weir", 3), ("footbridge-arch", 27)):
        at = next(one.at for one in clip_reading.joined.verdict.pixels if (one.run, one.pixel) == (run, number))
        frame = np.zeros((wide * 9 // 16, wide, 3), np.uint8)
        x, y = (round(value) for value in at)
        frame[y - 1 : y + 2, x - 1 : x + 2] = 255
        canvas = film_picture.canvas(clip_reading, clip_reading.clips[0], frame)
        marked = [(one.x, one.y) for one in canvas.shapes if isinstance(one, Disc) and one.fill == COLOURS["proved"]]
        lit = canvas.still.sum(axis=2).astype(float)
        lit[lit < lit.max() / 2] = 0
        down, across = np.unravel_index(np.arange(lit.size), lit.shape)
        middle = [np.average(axis, weights=lit.ravel()) for axis in (across, down)]
        order = [(one.run, one.pixel) for one in clip_reading.clips[0].verdict.pixels if one.at]
        own = marked[order.index((run, number))]
        scale = 1920 / max(canvas.still.shape[:2])
        assert np.hypot(middle[0] - own[0], middle[1] + canvas.top - own[1]) < 1.5 * max(1, scale), (run, own, middle)


@pytest.mark.parametrize("places", [[(300.0, 200.0)], [(20.0, 100.0), (620.0, 100.0)], [(5.0, 5.0), (8.0, 355.0)],
                                    [(-3.0, 20.0), (700.0, 400.0)], [(100.0, 100.0), (200.0, 180.0)]])  # fmt: skip
def test_the_still_is_cut_to_what_hangs_with_room_around_it(places: list[tuple[float, float]]) -> None:
    # Source: own rule: all that is in the frame stays in, names have room, and no more of the night than that
    (left, top), part = film_picture.cut(FRAME, places)
    high, wide = part.shape[:2]
    for x, y in places:
        assert left <= min(max(x, 0), 639) <= left + wide
        assert top <= min(max(y, 0), 359) <= top + high
    spread = np.ptp(places, axis=0)
    assert min(wide, high) >= min(0.35 * max(spread), 359)
    assert max(wide, high) <= max(1.25 * max(spread), 24)
    assert film_picture.cut(FRAME, [])[1].shape == FRAME.shape


def test_a_name_hides_few_marks_and_where_it_is_far_from_its_place_a_line_leads_there() -> None:
    # Source: own rule, for the demonstration: most names stood over the pixels of other runs
    canvas, clip_reading = drawn()
    marks = np.array([on_picture(canvas, one.at)
                      for one in clip_reading.clips[0].verdict.pixels if one.at])  # fmt: skip
    named = [one for one in canvas.shapes if isinstance(one, Words) and one.rim]
    entries = [(one.x, one.y) for one in canvas.shapes if isinstance(one, Disc) and one.fill == "#ffffff"]
    lines = [one.points for one in canvas.shapes if isinstance(one, Way) and one.colour == "#ffffff"]
    assert len(named) > 8
    hidden = 0
    for words in named:
        box = (words.x, words.y - words.size, words.x + film_picture.long(words.text, words.size), words.y)
        hidden += int(((marks > box[:2]) & (marks < box[2:])).all(axis=1).sum())
        away = min(np.hypot(x - min(max(x, box[0]), box[2]), y - min(max(y, box[1]), box[3])) for x, y in entries)
        led = any(box[0] - 1 <= line[1][0] <= box[2] + 1 and box[1] <= line[1][1] <= box[3] + 40 for line in lines)
        assert led or away < 45, words
    assert hidden < 0.02 * len(marks)
    for one, other in combinations(named, 2):
        apart = max(one.x, other.x) - min(each.x + film_picture.long(each.text, each.size) for each in (one, other))
        assert apart >= one.size / 2 - 0.1 or abs(one.y - other.y) >= one.size, "two names read as one"
    for begin, _ in lines:
        assert min(np.hypot(begin[0] - x, begin[1] - y) for x, y in entries) < 14


def test_the_words_on_it_are_the_title_the_counts_and_the_faults() -> None:
    canvas, clip_reading = drawn()
    texts = [shape.text.replace("\u00a0", "") for shape in canvas.shapes if isinstance(shape, Words)]
    every = [pixel.word for pixel in clip_reading.joined.verdict.pixels]
    assert texts[0] == WIRING.show.settings.title
    assert texts[1] == f"{every.count('proved')} of {len(every)} pixels proved by film"
    assert texts[2:4] == ["eaves is fed from its other end", "the plugs of mooring/1 and mooring/2 are swapped"]
    for word in NAMES:
        assert (f"{every.count(word)} {NAMES[word]}" in texts) == (word in every)
    # Source: on a phone on its side 1920 points are 140 mm; what is smaller than 2 mm is hard to read there
    assert min(shape.size for shape in canvas.shapes if isinstance(shape, Words)) / 1920 * 140 >= 2
    assert all(shape.x >= 0 and shape.x < canvas.wide for shape in canvas.shapes if isinstance(shape, Words))


def test_the_way_of_a_run_is_as_seen_and_not_as_planned() -> None:
    # Source: eaves is fed from its other end, so its data enters where the plan has its last pixel
    canvas, clip_reading = drawn()
    last = [pixel for pixel in clip_reading.joined.verdict.pixels if pixel.run == "eaves"][-1]
    x, y = on_picture(canvas, last.at)
    entries = [(shape.x, shape.y) for shape in canvas.shapes if isinstance(shape, Disc) and shape.fill == "#ffffff"]
    assert min(np.hypot(x - at[0], y - at[1]) for at in entries) < 0.1


@pytest.mark.parametrize(("wide", "high"), [*later((640, 360), (360, 640), (3840, 2160)), (64, 48)])
def test_both_files_are_read_back_by_others(wide: int, high: int) -> None:
    # Judge: OpenCV's and Python's own readers
    clip_reading = reading(HERON_LOCK, PLAN, perfect(PLAN, seen_from=SEEN_FROM))
    canvas = film_picture.canvas(clip_reading, clip_reading.clips[0], np.zeros((high, wide, 3), np.uint8))
    back = cv2.imdecode(np.frombuffer(sealed_png(as_png(canvas)), np.uint8), cv2.IMREAD_COLOR)
    assert back.shape == (canvas.high, canvas.wide, 3)
    assert max(canvas.still.shape[:2]) == 1920
    root = ElementTree.fromstring(as_svg(canvas))
    assert root.get("viewBox") == f"0 0 {canvas.wide} {canvas.high}"
    assert not re.search(r"nan|inf\b", as_svg(canvas).replace("data:image", ""))


@pytest.mark.long
def test_a_picture_goes_in_the_place_of_nothing_but_an_earlier_one(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(video, "frames", lambda facts: iter([(0.0, FRAME)]))
    _, clip_reading = drawn()
    for name in ("out.png", "out.svg"):
        path = tmp_path / name
        for _ in range(2):
            film_picture.draw(clip_reading, clip_reading.clips[0], path)
        foreign = tmp_path / f"own-{name}"
        foreign.write_bytes(b"\x89PNG\r\n\x1a\n" + b"holiday" * 30)
        with pytest.raises(PatcherError):
            film_picture.draw(clip_reading, clip_reading.clips[0], foreign)
        assert b"holiday" in foreign.read_bytes()
    octets = bytearray((tmp_path / "out.png").read_bytes())
    octets[-20] ^= 1  # somebody has changed it
    (tmp_path / "out.png").write_bytes(octets)
    with pytest.raises(PatcherError):
        write_png(tmp_path / "out.png", b"")


def test_a_dark_house_is_seen_before_a_dark_sky_and_stands_back_behind_what_is_drawn() -> None:
    # Source: own rule. What a phone takes at night: eight levels of grey between house and sky, and a lit window
    frame = np.full((90, 160, 3), 10, np.uint8)
    frame[40:, 20:140] = 18
    frame[60:70, 80:90] = 230
    still, scale = film_picture.darkened(frame)
    sky, house, window = (
        int(still[round(y * scale), round(x * scale)].sum()) / 3 for x, y in ((80, 20), (40, 60), (85, 65))
    )
    assert house - sky > 15
    assert sky < house < window < 128
