"""`film --read`: clips in, words or a document out, the picture, the record and the show file."""

import json
import shutil
from collections.abc import Callable
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
import tomli_w
import typer

from patcher.cli.film_reading import progress, read
from patcher.cli.inputs import load, load_patch
from patcher.clip.video import digest
from patcher.errors import PatcherError
from patcher.faults import departure, parse, planned
from patcher.film import read as reader
from patcher.frames.film_code import BIN, code_of
from patcher.patch.patch_file import dump, patch_path
from patcher.shapes import positions
from patcher.walk.items import digests, items
from patcher.walk.record import states
from patcher.walk.record_file import checks_path, read_record
from rig.film_verdicts import faults_of, perfect
from rig.heron_lock import heron

WIRING_FAULT = "swapped-ports:mooring/1,mooring/2"


@pytest.fixture(scope="module")
def nothing(tmp_path_factory) -> Path:
    """A clip of nothing that lasts 30 s: what it says is put in by each test."""
    path = tmp_path_factory.mktemp("clips") / "nothing.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=Fraction(20))
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for number in range(600):
            frame = av.VideoFrame.from_ndarray(np.full((48, 64, 3), number % 50, np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


@pytest.fixture
def says(heron_lock: Path, tmp_path: Path, nothing: Path, monkeypatch) -> Callable[..., list[Path]]:
    """Clips that say what a perfect reader would; each argument is the keywords of one."""
    _, patch, plan, _ = heron()
    patch_path(heron_lock).write_text(dump(patch))
    verdicts = {}
    why = "the code was not found in it; film again"

    def reading(facts, plan, code, tell) -> reader.Reading:
        verdict = verdicts[facts.path]
        return reader.Reading(facts, 600, verdict is not None, "" if verdict else why, verdict, None)

    monkeypatch.setattr(reader, "read_clip", reading)

    def make(*clips: dict | None) -> list[Path]:
        for number, given in enumerate(clips):
            path = Path(shutil.copyfile(nothing, tmp_path / f"clip-{number}.mp4"))
            given = given and {**given, "faults": faults_of(plan, *given.get("faults", ()))}
            verdicts[path] = None if given is None else perfect(plan, **given)
        return list(verdicts)

    make.plan = plan  # type: ignore[attr-defined]
    return make


def standing(show: Path, *, practice: bool = False) -> dict:
    wiring = load(show)
    every = digests(wiring, load_patch(show, wiring), items(wiring))
    return {
        (item.thing, item.what): state for item, state in states(read_record(show, practice=practice), every).items()
    }


def test_what_is_proved_is_in_the_record_by_film_and_the_rest_is_left_to_the_walk(heron_lock, says, capsys) -> None:
    clips = says({"hidden": [("gable", 20)]})
    read(heron_lock, clips)
    found = standing(heron_lock)
    undrawn = {run.name for run in says.plan.wiring.show.runs.values() if run.shape_name == "none"}
    for (thing, what), state in found.items():
        if what in ("colours", "ends", "direction"):
            assert (state == "proved") == (thing != "gable" and thing not in undrawn)
    assert found["gable", "ends"] == "open"
    answers = read_record(heron_lock).answers.values()
    assert {answer.film for answer in answers} == {(digest(clips[0]),)}
    assert {answer.says for answer in answers} == {"yes"}
    text = capsys.readouterr().out
    left = sum(state != "proved" for state in found.values())
    assert f"Saved in the record: {len(found) - left} checks proved by film." in text
    assert f"Still to check: {left}; patcher verify" in text


def test_practice_proves_nothing_of_the_boxes(heron_lock, says) -> None:
    read(heron_lock, says({}), practice=True)
    assert not checks_path(heron_lock).exists()
    assert "proved" in standing(heron_lock, practice=True).values()


def test_a_clip_that_proves_nothing_writes_no_record(heron_lock, says, capsys) -> None:
    with pytest.raises(typer.Exit) as ended:
        read(heron_lock, says(None))
    assert ended.value.exit_code == 1
    assert not checks_path(heron_lock).exists()
    assert "the code was not found in it; film again" in capsys.readouterr().out


def test_json_is_one_document_and_the_words_stay_off_it(heron_lock, says, capsys) -> None:
    with pytest.raises(typer.Exit):
        read(heron_lock, says({"faults": ["reversed:eaves"]}, {"faults": ["reversed:eaves"]}), as_json=True)
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert found["found"] == ["reversed:eaves"]
    assert [clip["frames"] for clip in found["clips"]] == [600, 600]
    assert "Found: eaves is fed from its other end" in err


def test_write_changes_the_show_file_to_what_hangs(heron_lock, says, capsys) -> None:
    before = heron_lock.read_text()
    with pytest.raises(typer.Exit):
        read(heron_lock, says({"faults": [WIRING_FAULT]}), write=True)
    after = load(heron_lock)
    assert after.chains["mooring", 1] == says.plan.wiring.chains["mooring", 2]
    assert [line for line in before.splitlines() if "#" in line] == [
        line for line in heron_lock.read_text().splitlines() if "#" in line
    ]
    assert "Changed: " in capsys.readouterr().out


def test_write_is_refused_where_the_file_cannot_say_it(heron_lock, says) -> None:
    before = heron_lock.read_text()
    with pytest.raises(PatcherError, match="cannot say it"):
        read(heron_lock, says({"faults": ["cut:gable/40"]}), write=True)
    assert heron_lock.read_text() == before


@pytest.mark.long
def test_a_picture_for_each_clip(heron_lock, says, tmp_path: Path) -> None:
    read(heron_lock, says({}), picture=tmp_path / "out.png")
    assert cv2.imread(str(tmp_path / "out.png")) is not None
    read(heron_lock, says({}, {}), picture=tmp_path / "out.svg")
    assert {path.name for path in tmp_path.glob("out*.svg")} == {"out-1.svg", "out-2.svg"}


@pytest.mark.parametrize("name", ["out.jpg", "out", "out.toml"])
def test_a_picture_of_another_kind_is_refused_before_anything_is_read(heron_lock, tmp_path: Path, name: str) -> None:
    with pytest.raises(PatcherError, match="picture"):
        read(heron_lock, [tmp_path / "none.mp4"], picture=tmp_path / name)


def test_what_is_no_video_is_named_and_nothing_is_kept(heron_lock, tmp_path: Path) -> None:
    for name, octets in (("empty.mp4", b""), ("text.mp4", b"not a film\n" * 900)):
        (tmp_path / name).write_bytes(octets)
        with pytest.raises(PatcherError, match=name):
            read(heron_lock, [tmp_path / name])
    with pytest.raises(PatcherError, match=r"absent\.mp4"):
        read(heron_lock, [tmp_path / "absent.mp4"])
    assert not checks_path(heron_lock).exists()


def test_only_what_was_lit_is_counted(heron_lock, says, capsys) -> None:
    read(heron_lock, says({}), on="gable", as_json=True)
    found = json.loads(capsys.readouterr().out)
    assert {pixel["run"] for pixel in found["pixels"]} == {"gable"}
    assert found["of"] == says.plan.wiring.show.runs["gable"].pixels


SMALL = {
    "show": {"title": "a shed"}, "pixel": {"dot": {"colour_order": "GRB", "pitch": 0.1}},
    "controller": {"shed": {"address": "192.0.2.1", "ports": 2, "port": {"1": ["ridge"], "2": ["sill"]}}},
    "run": {
        "ridge": {"pixel": "dot", "shape": "line", "path": [[0.0, 2.0], [2.0, 3.0], [4.0, 2.0]], "pixels": 44},
        "sill": {"pixel": "dot", "shape": "line", "path": [[0.0, 1.0], [4.0, 1.0]], "pixels": 40},
    },
}  # fmt: skip


@pytest.mark.long
def test_a_film_from_the_camera_to_the_record(tmp_path: Path, capsys) -> None:
    """Nothing is proved that is wired otherwise; see the benchmark for how much is."""
    from film_camera import film, random_camera, random_scene

    show = tmp_path / "shed.toml"
    show.write_text(tomli_w.dumps(SMALL))
    wiring = load(show)
    plan = planned(wiring, load_patch(show, wiring))
    code, rng = code_of(plan.patch), np.random.default_rng(4)
    takes = {**plan.takes, **departure(plan, [parse("reversed:sill", wiring)]).takes}
    light = {"G": (0, 1, 0), "R": (1, 0, 0), "B": (0, 0, 1)}
    colours = np.array([light[letter] for letter in "GRB"], dtype=np.float32)
    drive = np.concatenate([np.einsum("nlb,lc->bnc", code.drive(takes[run]), colours) for run in takes], axis=1)
    places = np.concatenate([positions(wiring.show, run) for run in wiring.show.runs.values()])
    clip = tmp_path / "shed.mp4"
    film(
        random_scene(rng, places), random_camera(rng, places, "propped", width=480, height=270),
        lambda times: drive[np.floor(np.asarray(times) / BIN + 1e-9).astype(int) % code.bins],
        code.seconds + 1.5, clip, start=3.3, seed=4,
    )  # fmt: skip
    with suppress(typer.Exit):
        read(show, [clip], picture=tmp_path / "shed.png", as_json=True)
    found = json.loads(capsys.readouterr().out)
    for pixel in found["pixels"]:
        run, at = pixel["run"], pixel["pixel"] - 1
        assert pixel["verdict"] != "proved" or np.array_equal(takes[run][at], plan.takes[run][at])
    assert found["found"] in ([], ["reversed:sill"])
    assert found["proved"] >= 30
    assert standing(show)["sill", "direction"] == "open"


def test_off_a_terminal_the_reading_is_told_in_a_few_lines(capsys: pytest.CaptureFixture[str]) -> None:
    # Source: a newcomer who waited for minutes and could not tell work from a standstill
    tell = progress()
    for part in range(101):
        tell(Path("gate.mp4"), part / 100)
    lines = capsys.readouterr().err.splitlines()
    assert [line.split("%")[0] for line in lines] == [f"Reading gate.mp4: {part}" for part in (0, 25, 50, 75, 93)]
    assert lines[-1].endswith("looking for what is wrong")
    tell = progress(reads=False)
    tell(Path("gate.mp4"), 0.5)
    assert capsys.readouterr().err == ""
