"""From the yard's camera to a show file that is drawn: what `--measure` takes from a clip that is really read."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from patcher.cli.inputs import load
from patcher.shapes import positions
from rig.boathouse import ROPE, boathouse, filmed


@pytest.mark.long
def test_runs_that_are_drawn_badly_or_not_at_all_are_drawn_where_they_hang(tmp_path: Path, here) -> None:
    # Source: the places at which the yard hung the pixels; 19 of 20 lie within the error that is said
    drawn = "".join(f"[{x}, {y}], " for x, y in ROPE.tolist())
    hung = boathouse(tmp_path / "hung", rope=f'shape = "points"\nat = [{drawn.removesuffix(", ")}]\n')
    clip = filmed(hung, tmp_path / "clip.mp4")
    show = boathouse(tmp_path, beam="path = [[0.7, 0.9], [1.5, 1.0]] # by eye")
    before = show.read_text(encoding="utf-8")
    ran = here("film", show, "--read", clip, "--measure", "rope", "--measure", "beam", "--yard", "--json")
    found = json.loads(ran.stdout)
    assert found["clips"][0]["good"], ran.stderr
    assert [(one["run"], one["written"], one["unseen"]) for one in found["measured"]] == [
        ("rope", True, []), ("beam", True, []),
    ]  # fmt: skip
    was, now = load(hung).show, load(show).show
    for one in found["measured"]:
        places, true = (positions(each, each.runs[one["run"]]) for each in (now, was))
        off = np.hypot(*(places - true).T) * 100
        assert 0 < one["error_cm"] < 2.5, "half the pitch"
        assert np.quantile(off, 0.95) <= one["error_cm"], off
        assert off.max() <= 3 * one["error_cm"], off
    for name, run in now.runs.items():
        if name not in ("rope", "beam"):
            assert np.allclose(positions(now, run), positions(was, was.runs[name]))
    after = show.read_text(encoding="utf-8")
    assert [line.partition("#")[2] for line in after.splitlines() if "#" in line] == [
        line.partition("#")[2] for line in before.splitlines() if "#" in line
    ]
    for line in ('shape = "points"', 'file = "rope.csv"', 'file = "beam.csv"'):
        assert line in after
    assert here("check", show).returncode == here("check", hung).returncode == 0
    shutil.copyfile(clip, tmp_path / "again.mp4")
    again = json.loads(here("film", show, "--read", tmp_path / "again.mp4", "--yard", "--json").stdout)
    proved = {pixel["run"] for pixel in again["pixels"] if pixel["verdict"] == "proved"}
    assert {"rope", "board", "post"} <= proved, "what is drawn by its clip is proved by it"
