"""`film --read --measure`: places from a clip into the show file and a CSV file beside it, or neither."""

import csv
import json
import shutil
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import typer

from patcher.cli.film import film
from patcher.cli.film_reading import read
from patcher.cli.inputs import examine, load
from patcher.errors import PatcherError
from patcher.film import read as reader
from patcher.film.measured import Sight
from patcher.film.places import Wanted, write_places
from patcher.shapes import positions
from patcher.show.writer import as_read
from rig.film_verdicts import perfect
from rig.heron_lock import heron
from rig.in_process import run

HEDGE = np.column_stack([np.linspace(27.3, 33.0, 150), 0.6 + 0.3 * np.sin(np.linspace(0, 9, 150))]).round(3)
GABLE = np.column_stack([np.linspace(-0.3, 7.3, 89), 3 + np.sin(np.linspace(0, 3, 89))]).round(3)


@pytest.fixture(scope="module")
def nothing(tmp_path_factory) -> Path:
    """A clip of nothing: what it says is put in by each test."""
    path = tmp_path_factory.mktemp("clips") / "nothing.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=Fraction(20))
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for number in range(20):
            frame = av.VideoFrame.from_ndarray(np.full((48, 64, 3), number, np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


@pytest.fixture
def clip(heron_lock: Path, nothing: Path, monkeypatch) -> Callable[..., Path]:
    """A clip that shows runs at these places, to 3 cm."""

    def make(**runs: np.ndarray) -> Path:
        sights = {name: Sight(at, np.full(len(at), 0.03)) for name, at in runs.items()}

        def read_clip(facts, plan, code, tell):
            assert all(plan.wiring.show.runs[name].shape_name == "none" for name in runs)
            verdict = perfect(heron()[2])
            return reader.Reading(facts, 20, True, "", verdict, None, sights)

        monkeypatch.setattr(reader, "read_clip", read_clip)
        return Path(shutil.copyfile(nothing, heron_lock.parent / "clip.mp4"))

    return make


def comments(text: str) -> list[str]:
    return [line.partition("#")[2] for line in text.splitlines() if "#" in line]


def test_a_run_without_a_picture_gets_one_and_every_comment_stays(heron_lock, clip, capsys) -> None:
    before = heron_lock.read_text()
    was, checked = load(heron_lock), run(heron_lock.parent, "check", heron_lock, "--json")
    read(heron_lock, [clip(hedge=HEDGE)], measure=["hedge"])
    wiring, found, _ = examine(heron_lock)
    assert not found
    again = run(heron_lock.parent, "check", heron_lock, "--json")
    assert again.returncode == checked.returncode
    assert json.loads(again.stdout)["findings"] == json.loads(checked.stdout)["findings"]
    now = wiring.show
    assert np.allclose(positions(now, now.runs["hedge"]), HEDGE, atol=1e-4)
    assert {name: own for name, own in now.runs.items() if name != "hedge"} == {
        name: own for name, own in was.show.runs.items() if name != "hedge"
    }
    assert now.runs["hedge"].lead == was.show.runs["hedge"].lead
    assert wiring.chains == was.chains
    assert comments(heron_lock.read_text()) == comments(before)
    with (heron_lock.parent / "hedge.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert np.allclose([[float(row["x"]), float(row["y"])] for row in rows], HEDGE, atol=1e-4)
    out = capsys.readouterr().out
    assert "Measured: hedge: 150 pixels, each to about 3 cm." in out
    assert "How the error is meant" in out


def test_a_run_that_is_drawn_badly_is_drawn_anew_from_its_first_pixel(heron_lock, clip) -> None:
    text = heron_lock.read_text()
    heron_lock.write_text(text.replace("pixels = 89\n", 'data_in = "last"   # from the right\npixels = 89\n'))
    read(heron_lock, [clip(gable=GABLE, hedge=HEDGE)], measure=["gable", "hedge"])
    now = load(heron_lock).show
    assert np.allclose(positions(now, now.runs["gable"]), GABLE, atol=1e-4)
    assert np.allclose(positions(now, now.runs["hedge"]), HEDGE, atol=1e-4)
    assert "# from the right" in heron_lock.read_text()


def test_a_file_in_feet_has_feet_in_its_csv(heron_lock, clip, capsys) -> None:
    text = (
        heron_lock.read_text().replace("[show]\n", '[show]\nunits = "ft"\n').replace("pitch = 0.1\n", "pitch = 0.33\n")
    )
    heron_lock.write_text(text)
    read(heron_lock, [clip(hedge=HEDGE)], measure=["hedge"])
    now = load(heron_lock).show
    assert np.allclose(positions(now, now.runs["hedge"]), HEDGE, atol=1e-4)
    row = (heron_lock.parent / "hedge.csv").read_text().splitlines()[1]
    assert np.allclose([float(value) for value in row.split(",")], HEDGE[0] / 0.3048, atol=1e-4)  # Source: 1 ft, 1959
    assert "to about 0.1 ft" in capsys.readouterr().out


def test_json_says_it(heron_lock, clip, capsys) -> None:
    hidden = HEDGE.copy()
    hidden[9:11] = np.nan
    read(heron_lock, [clip(hedge=hidden)], measure=["hedge"], as_json=True)
    assert json.loads(capsys.readouterr().out)["measured"] == [
        {"run": "hedge", "file": "hedge.csv", "written": True, "pixels": 150, "error_cm": 3.0, "unseen": [10, 11],
         "says": ""},
    ]  # fmt: skip


def test_where_one_run_is_not_seen_nothing_is_written_of_any(heron_lock, clip, capsys) -> None:
    before = heron_lock.read_text()
    cut = GABLE.copy()
    cut[-2:] = np.nan
    with pytest.raises(typer.Exit) as ended:
        read(heron_lock, [clip(gable=cut, hedge=HEDGE)], measure=["hedge", "gable"])
    assert ended.value.exit_code == 1
    assert "Not measured: gable was not seen for sure at 88-89 of its 89 pixels" in capsys.readouterr().out
    assert heron_lock.read_text() == before
    assert not list(heron_lock.parent.glob("*hedge*")) + list(heron_lock.parent.glob("gable*"))


def test_a_file_of_somebody_elses_is_replaced_only_where_it_is_named(heron_lock, clip) -> None:
    own = heron_lock.parent / "hedge.csv"
    own.write_text("x,y\n1,2\n")
    before = heron_lock.read_text()
    film_clip = clip(hedge=HEDGE)
    with pytest.raises(PatcherError, match=r"hedge\.csv"):
        read(heron_lock, [film_clip], measure=["hedge"])
    assert own.read_text() == "x,y\n1,2\n"
    assert heron_lock.read_text() == before
    read(heron_lock, [film_clip], measure=["hedge=hedge.csv"])
    read(heron_lock, [clip(hedge=HEDGE + 1)], measure=["hedge"])
    now = load(heron_lock).show
    assert np.allclose(positions(now, now.runs["hedge"]), HEDGE + 1, atol=1e-4)
    own.write_text(own.read_text().replace("28.", "29."))
    with pytest.raises(PatcherError, match="changed since"):
        read(heron_lock, [film_clip], measure=["hedge"])


def test_a_csv_that_was_measured_for_another_show_is_not_replaced(heron_lock, clip) -> None:
    other = heron_lock.with_name("other.toml")
    shutil.copyfile(heron_lock, other)
    film_clip = clip(hedge=HEDGE)
    read(other, [film_clip], measure=["hedge"])
    before = (heron_lock.parent / "hedge.csv").read_text()
    with pytest.raises(PatcherError, match="not this run's"):
        read(heron_lock, [film_clip], measure=["hedge"])
    assert (heron_lock.parent / "hedge.csv").read_text() == before


@pytest.mark.parametrize(
    ("measure", "says"),
    [
        (["hedge=willow.csv"], "has the places of willow"),
        (["hedge=../hedge.csv"], "beside the show file"),
        (["hedge=hedge.toml"], "beside the show file"),
        (["gate-left"], "part of a grid"),
        (["hedges"], "no run"),
        (["hedge", "hedge=b.csv"], "twice"),
        (["hedge=a.csv", "gable=a.csv"], "twice"),
    ],
)
def test_what_cannot_be_measured_is_refused_before_a_clip_is_read(heron_lock, measure, says: str) -> None:
    with pytest.raises(PatcherError, match=says):
        read(heron_lock, [heron_lock.parent / "absent.mp4"], measure=measure)


def test_a_show_that_was_changed_meanwhile_is_not_written_and_nor_is_the_csv(heron_lock, clip, monkeypatch) -> None:
    film_clip = clip(hedge=HEDGE)
    stub = reader.read_clip

    def read_clip(*given):
        heron_lock.write_text(heron_lock.read_text() + "# mine\n")
        return stub(*given)

    monkeypatch.setattr(reader, "read_clip", read_clip)
    with pytest.raises(PatcherError, match="changed by another program"):
        read(heron_lock, [film_clip], measure=["hedge"])
    assert not (heron_lock.parent / "hedge.csv").exists()
    assert 'shape = "points"' not in heron_lock.read_text().partition("[run.hedge]")[2].partition("[supply")[0]


def test_the_option_needs_a_clip_and_does_not_go_with_write(heron_lock) -> None:
    with pytest.raises(PatcherError, match="belongs to a clip"):
        film(heron_lock, measure=["hedge"])
    with pytest.raises(PatcherError, match="does not go together"):
        film(heron_lock, clips=[Path("a.mp4")], measure=["hedge"], write=True)


FORMS = {
    "inline": 'run.rope = { pixel = "dot", shape = "line", path = [[0, 1], [2, 1]], pixels = 4, gaps = [2] } # a\n',
    "lines": '[run.rope] # a\npixel = "dot"\nshape = "line" # b\n'
    "path = [ # c\n  [0, 1], # d\n  [2, 1],\n]\npixels = 3 # e\n\n# f\n",
    "loop": '[run.rope]\npixel = "dot"\nshape = "loop"\ncorners = [[0, 1], [2, 1], [1, 3]]\npixels = 3\n'
    "data_in = 2 # a\nbackwards = true\n",
    "grid": '[run.rope]\npixel = "dot"\nshape = "grid"\narea = [[0, 1], [2, 1]]\ncolumns = 3\nrows = 1\n'
    'lines = "rows"\nturns = "serpentine"\ndata_in = "bottom-left" # where the box is\n',
    "points": '[run.rope]\npixel = "dot"\nshape = "points"\nat = [[0, 1], [1, 1], [2, 1]] # by tape\n'
    'data_in = "last"\n',
}  # fmt: skip
HEAD = (
    '[show]\ntitle = "a mast"\n[pixel.dot]\ncolour_order = "RGB"\n'
    '[controller.hut]\naddress = "192.0.2.9"\nports = 1\nport = { 1 = ["rope"] }\n'
)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("form", FORMS)
def test_any_way_to_write_a_run_is_changed_and_keeps_its_comments(tmp_path: Path, form: str, ends: str) -> None:
    text = FORMS[form]
    before = (text + HEAD if form == "inline" else HEAD + text).replace("\n", ends)
    show = tmp_path / "mast.toml"
    show.write_bytes(before.encode())
    was = load(show).show.runs["rope"]
    places = np.array([[0.5, 1.0], [1.5, 1.25], [2.5, -1.0]])
    own = [Wanted("rope", "rope.csv", tmp_path / "rope.csv", False)]
    write_places(show, as_read(show, own[0].path), {own[0]: places})
    now = load(show).show.runs["rope"]
    assert (now.shape_name, now.pixels, now.lead, now.pixel) == ("points", 3, was.lead, was.pixel)
    assert np.allclose(positions(load(show).show, now), places)
    after = show.read_bytes().decode()
    assert sorted(word.strip() for word in comments(after)) == sorted(word.strip() for word in comments(before))
    assert after.count("\r\n") == (after.count("\n") if ends == "\r\n" else 0)


def test_a_run_without_a_heading_is_refused_before_a_clip_is_read(tmp_path: Path) -> None:
    show = tmp_path / "mast.toml"
    mast = 'mast = { pixel = "dot", shape = "line", path = [[0, 0], [0, 3]], pixels = 4 }\n'
    text = (HEAD + '[run]\nrope.pixel = "dot"\nrope.pixels = 3\n').replace('["rope"]', '["rope", "mast"]')
    show.write_text(text + mast)
    with pytest.raises(PatcherError, match="cannot be changed here"):
        read(show, [tmp_path / "absent.mp4"], measure=["rope"])
    with pytest.raises(PatcherError, match="leaves no run that is drawn"):
        read(show, [tmp_path / "absent.mp4"], measure=["mast"])
