"""The yard as a camera films it: a clip's pictures, as PyAV decodes them, against what is sent to each pixel."""

import json
import os
import signal
import time
from itertools import pairwise
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
import tomli_w

from patcher.cli.inputs import load, load_patch
from patcher.faults import build, parse, planned
from patcher.frames.film_code import BIN, code_of
from patcher.yard.clip_file import write_clip
from patcher.yard.filmed import filmed, telling_faults
from patcher.yard.night_picture import MARGIN, Camera, Shot, mapped, seen_from
from rig.heron_lock import heron
from rig.one_run import show_file
from rig.yard_process import PATIENCE, running

WIDTH, HEIGHT, RATE, BEGIN = 320, 180, 30, 5.25
SHED = {
    "show": {"title": "a shed"},
    "pixel": {"dot": {"colour_order": "GRB"}, "cool": {"colour_order": "GRBW"}},
    "controller": {
        "shed": {"address": "192.0.2.1", "ports": 3, "port": {"1": ["ridge"], "2": ["sill"], "3": ["bush"]}}
    },
    "run": {
        "ridge": {"pixel": "dot", "shape": "line", "path": [[0.0, 2.0], [2.0, 3.0], [4.0, 2.0]], "pixels": 30},
        "sill": {"pixel": "cool", "shape": "line", "path": [[0.0, 1.0], [4.0, 1.0]], "pixels": 30},
        "bush": {"pixel": "dot", "pixels": 10},
    },
}  # fmt: skip


@pytest.fixture
def shed(tmp_path: Path) -> Path:
    path = tmp_path / "shed.toml"
    path.write_text(tomli_w.dumps(SHED))
    return path


def plan_of(show: Path):
    wiring = load(show)
    plan = planned(wiring, load_patch(show, wiring))
    return plan, code_of(plan.patch)


def before(show: Path, *faults: str, seconds: float = 2.0, width: int = WIDTH) -> Camera:
    plan, code = plan_of(show)
    built = build(plan.wiring, [parse(text, plan.wiring) for text in faults]).faults
    return Camera(filmed(plan, code, built), Shot(width, width * 9 // 16, RATE, seconds, BEGIN))


def frames_of(clip: Path) -> tuple[list[float], np.ndarray]:
    """Times and pictures of a clip. Judge: PyAV's own decoder."""
    with av.open(str(clip)) as container:
        found = [(float(frame.time), frame.to_ndarray(format="rgb24")) for frame in container.decode(video=0)]
    return [time for time, _ in found], np.stack([picture for _, picture in found])


def sent(show: Path, run: str, begin: float, frames: int) -> np.ndarray:
    """What is sent to each pixel of a run while each frame is taken, from 0 to 1: shape (frames, pixels, channels).

    Source: the frames that `film` plays, one a bin of 0.1 s; a run's channels follow each other from its first.
    Frames in which the light changes are left out: NaN.
    """
    plan, code = plan_of(show)
    levels = code.frames(plan.patch.universes, 1.0)
    found = np.full((frames, *plan.takes[run].shape), np.nan)
    for number in range(frames):
        first = int((begin + number / RATE) / BIN + 1e-6)
        last = int((begin + number / RATE + 1 / 60) / BIN - 1e-6)
        if first == last:
            own = levels[first % code.bins]
            slots = dict(zip(own.universes, own.slots, strict=True))
            for pixel, channels in enumerate(plan.takes[run]):
                found[number, pixel] = [slots[c // 512 + 1][c % 512] / 255 for c in channels]
    return found


def seen(pictures: np.ndarray, at: np.ndarray) -> np.ndarray:
    """How bright the picture is where pixels are, as light: shape (frames, pixels, 3)."""
    x, y = np.round(at).astype(int).T
    around = [pictures[:, y + dy, x + dx].astype(float) for dy in (-1, 0, 1) for dx in (-1, 0, 1)]
    return (np.mean(around, axis=0) / 255) ** 2


def test_the_file_has_the_frames_that_are_stated(shed: Path, tmp_path: Path) -> None:
    camera = before(shed, seconds=1.0)
    parts: list[float] = []
    write_clip(camera, tmp_path / "out.mp4", parts.append)
    times, pictures = frames_of(tmp_path / "out.mp4")
    assert pictures.shape == (30, HEIGHT, WIDTH, 3)
    assert np.allclose(np.diff(times), 1 / RATE, atol=1e-4)
    assert len(parts) == 30
    assert parts[-1] == 1
    assert all(one < other for one, other in pairwise(parts))
    assert {path.name for path in tmp_path.iterdir()} == {"shed.toml", "out.mp4"}


def test_the_light_of_a_pixel_goes_with_what_is_sent_to_it(shed: Path, tmp_path: Path) -> None:
    camera = before(shed)
    write_clip(camera, tmp_path / "out.mp4")
    light = seen(frames_of(tmp_path / "out.mp4")[1], camera.at)
    # Source: a letter's own light falls mostly on its own colour; white falls on all three
    letters = {"ridge": "GRB", "sill": "GRBW"}
    start = 0
    for run, order in letters.items():
        drive = sent(shed, run, BEGIN, len(light))
        clear = ~np.isnan(drive[:, 0, 0])
        assert clear.sum() >= 30
        own = light[clear, start : start + 30]
        meant = np.stack([drive[clear][..., order.index(each)] for each in "RGB"], axis=-1)
        if "W" in order:
            meant += drive[clear][..., [order.index("W")]]
        agrees = [np.corrcoef(own[:, pixel].ravel(), meant[:, pixel].ravel())[0, 1] for pixel in range(30)]
        assert min(agrees) > 0.85, (run, agrees)
        # each with its own word, not with its neighbour's
        beside = [np.corrcoef(own[:, p].ravel(), meant[:, (p + 1) % 30].ravel())[0, 1] for p in range(30)]
        assert np.mean(beside) < 0.6
        start += 30


def test_pixels_without_a_picture_are_not_filmed(shed: Path) -> None:
    camera = before(shed)
    assert camera.filmed.runs == ("ridge", "sill")
    assert camera.filmed.left_out == ("bush",)
    assert len(camera.filmed.places) == 60


def test_faults_show_as_they_do_on_the_cable(shed: Path) -> None:
    as_planned = before(shed).filmed.light.astype(float)
    swapped = before(shed, "reversed:ridge", "dark-channel:sill/7=W", "cut:sill/20").filmed.light.astype(float)
    assert np.array_equal(swapped[:, :30], as_planned[:, :30][:, ::-1])
    assert not swapped[:, 30 + 19 :].any()
    differs = (swapped != as_planned).any(axis=(0, 2))
    assert differs[30 + 6]
    assert not differs[30:49][np.arange(19) != 6].any()
    assert (swapped[:, 36] <= as_planned[:, 36]).all()
    broken = before(shed, "flicker:ridge/3").filmed.light.astype(float)
    assert np.array_equal(broken[:, :2], as_planned[:, :2])
    assert abs(np.corrcoef(broken[:, 10, 0], as_planned[:, 10, 0])[0, 1]) < 0.5


@pytest.mark.parametrize("delivery", ["unicast", "multicast"])
def test_a_box_shows_nothing_that_is_not_sent_to_it(tmp_path: Path, delivery: str) -> None:
    # Source: by unicast a box is sent the universes of its patch; by multicast it hears whatever it is set to
    line = {"shape": "line", "path": [[0.0, 0.0], [2.0, 0.0]], "pixels": 20}
    boxes = {"near": {"chains": [["one"]], "delivery": delivery}, "far": {"chains": [["two"]], "delivery": delivery}}
    show = show_file(tmp_path / "two.toml", {"one": line, "two": line | {"path": [[0.0, 1.0], [2.0, 1.0]]}}, **boxes)
    sound, shifted = before(show).filmed.light, before(show, "universe-shift:near=1").filmed.light
    assert sound.any(axis=(0, 2)).all()
    assert np.array_equal(shifted[:, 20:], sound[:, 20:])
    assert np.array_equal(shifted[:, :20], sound[:, 20:] if delivery == "multicast" else 0 * sound[:, 20:])


@pytest.mark.parametrize("places", [
    [[0.0, 0.0]], [[1.0, 1.0], [1.0, 9.0]], [[-3.0, 2.0], [40.0, 2.0]], [[0.0, 0.0], [1.0, 8.0], [30.0, -2.0]],
])  # fmt: skip
def test_all_of_a_display_is_in_the_picture_upright_and_in_perspective(places: list) -> None:
    every = np.array(places)
    own = seen_from(every, 1280, 720)
    at = mapped(own, every)
    size = np.array([1280, 720])
    assert (at >= MARGIN * size - 1).all()
    assert (at <= (1 - MARGIN) * size).all()
    here = every.mean(axis=0)
    x, y = mapped(own, here + np.diag([0.1, 0.1])) - mapped(own, here[None])
    assert x[0] > 10 * abs(x[1])
    assert -y[1] > 10 * abs(y[0])
    # Judge: OpenCV's own projective maps
    corners = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 3.0], [0.0, 3.0]], dtype=np.float32)
    judged = cv2.getPerspectiveTransform(corners, mapped(own, corners).astype(np.float32))
    assert np.allclose(mapped(judged, every), at, atol=0.5)
    assert abs(own[2, 0]) > 0


def test_what_it_chooses_shows_and_is_three_faults_at_most(shed: Path) -> None:
    for plan, code in ((plan_of(shed)), (heron()[2], code_of(heron()[1]))):
        chosen = telling_faults(plan, code)
        assert 2 <= len(chosen) <= 3
        assert len({fault.kind for fault in chosen}) == len(chosen)
        sound, faulty = filmed(plan, code, ()), filmed(plan, code, chosen)
        assert all(not np.array_equal(filmed(plan, code, [fault]).light, sound.light) for fault in chosen)
        assert faulty.runs == sound.runs


def test_a_clip_is_whole_or_not_there(shed: Path, tmp_path: Path) -> None:
    class Ended(BaseException):
        pass

    def tell(part: float) -> None:
        if part > 0.9:
            raise Ended

    with pytest.raises(Ended):
        write_clip(before(shed), tmp_path / "out.mp4", tell)
    assert {path.name for path in tmp_path.iterdir()} == {"shed.toml"}


def test_the_command_says_what_it_filmed(shed: Path, tmp_path: Path, here, monkeypatch) -> None:
    from patcher.cli import yard_film

    monkeypatch.setattr(yard_film, "WIDTH", 64)
    monkeypatch.setattr(yard_film, "HEIGHT", 36)
    ran = here("yard", shed, "--film", "out.mp4", "--fault", "reversed:ridge", "--json")
    found = json.loads(ran.stdout)
    assert (found["pixels"], found["filmed"], found["not_filmed"]) == (60, ["ridge", "sill"], ["bush"])
    assert found["faults"] == ["reversed:ridge"]
    times, _ = frames_of(tmp_path / "out.mp4")
    # Source: a cycle with four colours lasts 24.8 s, and 3 s more
    assert (len(times), found["frames"], found["seconds"]) == (834, 834, 27.8)
    again = here("yard", shed, "--film", "out.mp4")
    assert again.returncode == 2
    assert "exists already" in again.stderr


@pytest.mark.long
def test_whoever_stops_it_leaves_no_file(shed: Path, tmp_path: Path) -> None:
    with running("yard", shed, "--film", tmp_path / "out.mp4") as filming:
        limit = time.monotonic() + PATIENCE
        while not (tmp_path / ".out.mp4.part").exists() and time.monotonic() < limit:
            time.sleep(0.01)
        os.kill(filming.pid, signal.SIGTERM)
        _, errors = filming.communicate(timeout=PATIENCE)
    assert filming.returncode == 1, errors
    assert errors.endswith("Aborted.\n")
    assert {path.name for path in tmp_path.iterdir()} == {"shed.toml"}


@pytest.mark.parametrize(("options", "says"), [
    (["--film", "out.avi"], "no clip's name"),
    (["--film", "none/out.mp4"], "folder is not there"),
    (["--film", "out.mp4", "--seconds", "5"], "does not go together"),
    (["--film", "out.mp4", "--loss", "0.1"], "does not go together"),
    (["--film", "out.mp4", "--on", "bush"], "no picture"),
    (["--film", "out.mp4", "--on", "ridge/1-3"], "whole runs"),
    (["--film", "out.mp4", "--fault", "reversed:none"], "none"),
])  # fmt: skip
def test_what_cannot_be_filmed_is_refused_in_words(shed: Path, tmp_path: Path, here, options: list, says: str) -> None:
    ran = here("yard", shed, *options)
    assert ran.returncode == 2
    assert says in ran.stderr
    assert not list(tmp_path.glob("*.mp4"))
