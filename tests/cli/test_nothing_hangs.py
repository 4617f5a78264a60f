"""A show of which nothing hangs yet, and one in which there is nothing: where to go on from there."""

from pathlib import Path

import tomli_w

from rig.shipped import Patcher

SHOW = {"show": {"title": "Boathouse"}}
LINE = {"pixel": "bulb", "shape": "line", "pixels": 30, "path": [[1.0, 0.0], [4.0, 0.0]]}


def save(folder: Path, tables: dict) -> Path:
    file = folder / "boathouse.toml"
    file.write_text(tomli_w.dumps(tables))
    return file


def test_check_says_who_finds_ports_for_runs_that_hang_nowhere(tmp_path: Path, here: Patcher) -> None:
    show = save(tmp_path, SHOW | {"pixel": {"bulb": {"colour_order": "RGB"}}, "run": {"eaves": LINE}})
    checked = here("check", show)
    assert "patcher propose SHOW finds ports for runs that are drawn" in checked.stdout


def test_where_there_is_no_run_it_is_not_said_that_none_has_a_picture(tmp_path: Path, here: Patcher) -> None:
    assert here("propose", save(tmp_path, SHOW)).stdout == "Nothing to decide: the file has no run.\n"
    not_drawn = {"pixel": {"bulb": {"colour_order": "RGB"}}, "run": {"eaves": {"pixel": "bulb", "pixels": 9}}}
    said = here("propose", save(tmp_path, SHOW | not_drawn)).stdout
    assert said.startswith("Nothing to decide: no run has a picture.\n")
