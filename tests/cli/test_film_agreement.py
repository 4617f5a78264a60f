"""Who plays the film's code and who reads a clip of it work out the same: which pixels change late, and every slot."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import tomli_w
import typer

from patcher.cli import playback
from patcher.cli.film import film
from patcher.cli.inputs import load, load_patch
from patcher.cli.yard_film import _planned
from patcher.clip import video
from patcher.film import proofs
from patcher.frames.film_code import Code
from patcher.frames.levels import Levels
from patcher.patch.patch_file import dump, patch_path
from patcher.phone.content import Content
from patcher.placement.allocation import allocate
from rig.any_show import any_show
from rig.loopback import HOST

GRID = {
    "pixel": "dot", "shape": "grid", "area": [[0.0, 0.0], [1.16, 0.6]], "columns": 30, "rows": 16, "lines": "rows",
    "turns": "serpentine", "data_in": "bottom-left",
}  # fmt: skip
SHOW = {
    "show": {"title": "a lock gate and a bush"},
    "pixel": {"dot": {"colour_order": "RGB"}},
    "run": {"gate": GRID, "bush": {"pixel": "dot", "pixels": 5}},
    "controller": {"box": {"address": "192.0.2.1", "ports": 2, "port": {"1": ["gate"], "2": ["bush"]}}},
}


@pytest.fixture
def both(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The frames that `film` plays of a show, and the code by which `film --read` reads."""

    def run(tables: dict, on: str | None) -> tuple[Path, list[Levels], Code]:
        show, kept = tmp_path / "show.toml", SimpleNamespace()
        show.write_text(tomli_w.dumps(tables))
        patch_path(show).write_text(dump(allocate(load(show)).patch))

        def play(steps: Any, *_: Any, **__: Any) -> None:
            kept.frames = [steps.look(step) for step in range(steps.steps)]

        def reads(show: Path, plan: Any, clips: Any, code: Code, *_: Any, **__: Any) -> None:
            kept.code = code
            raise typer.Exit

        monkeypatch.setattr(playback, "play_steps", play)
        monkeypatch.setattr(proofs, "read_and_save", reads)
        monkeypatch.setattr(video, "extra", lambda: None)
        film(show, on=on, to=HOST, level=1.0)
        with pytest.raises(typer.Exit):
            film(show, on=on, clips=[show])
        return show, kept.frames, kept.code

    return run


def played_late(frames: list[Levels], code: Code) -> np.ndarray:
    """Which pixels change in bins with odd numbers, from the slots."""
    universes = frames[0].universes
    slots = np.stack([frame.slots for frame in frames]).astype(int)
    turned = (slots != np.roll(slots, 1, axis=0))[1::2].any(axis=0)
    row = np.searchsorted(universes, code.first // 512 + 1)
    return np.array([
        turned[at, first % 512 : first % 512 + width].any()
        for at, first, width in zip(row, code.first, code.width, strict=True)
    ])  # fmt: skip


@pytest.mark.parametrize(("on", "late"), [("gate", True), (None, False), ("bush", False)])
def test_what_is_played_is_what_is_read(on: str | None, late: bool, both: Any) -> None:
    # Source: the slots that are played: where the bush is lit too, which is not drawn, all change together
    _, frames, code = both(SHOW, on)
    assert code.late.any() == late
    assert np.array_equal(played_late(frames, code), code.late & code.lit)


@pytest.mark.parametrize(("most", "seed"), [(60, 57), (60, 126), (300, 8)])
def test_whoever_asks_is_told_the_same(most: int, seed: int, both: Any) -> None:
    # Source: the same show file: the command, the reader, the demonstration and the phone
    show, frames, code = both(any_show(seed, most), None)
    assert np.array_equal(played_late(frames, code), code.late & code.lit)
    wiring = load(show)
    others = _planned(show, None)[1], Content(1, show, wiring, load_patch(show, wiring)).code
    for other in others:
        assert np.array_equal(other.late, code.late)
        assert np.array_equal(other.symbols, code.symbols)
