"""A small show for films that are really made and read: few pixels, and so are the points of its pictures."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from patcher.cli import yard_film

SHOW = """\
# The boathouse below the weir; x runs right from its left post, y up from the water, in metres.
[show]
title = "Boathouse"        # for the regatta's last evening

[pixel.dot]                # what was left over from the hut
colour_order = "GRB"
volts = 12.0
channel_ma = 9.0
idle_ma = 0.8
min_volts = 9.0
awg = 18
pitch = 0.05

[controller.loft]          # behind the oars
address = "192.0.2.31"
start_per = "port"
ports = 4

[controller.loft.port]
1 = ["board"]
2 = ["post", "hatch"]
3 = ["sill", "rope"]       # the rope goes on from the sill
4 = ["beam"]

[run.board]                # the club's sign
pixel = "dot"
shape = "grid"
area = [[0.0, 0.0], [0.35, 0.15]]
columns = 8
rows = 4
lines = "rows"
turns = "serpentine"
data_in = "bottom-left"

[run.post]
pixel = "dot"
shape = "line"
path = [[0.6, 0.0], [0.6, 0.75]]
pixels = 16

[run.hatch]
pixel = "dot"
shape = "loop"
corners = [[0.05, 0.5], [0.05, 0.75], [0.35, 0.75], [0.35, 0.5]]
pixels = 22

[run.sill]
pixel = "dot"
shape = "line"
path = [[0.8, 0.05], [1.5, 0.15]]
pixels = 15

[run.beam]
pixel = "dot"
shape = "line"
path = [[0.8, 0.72], [1.5, 0.8]]
pixels = 15

[run.rope]                 # hangs as it likes
pixel = "dot"
"""
COUNTED = "pixels = 18                # counted twice\n"
ROPE = np.column_stack([np.linspace(0.8, 1.5, 18), 0.45 - 0.12 * np.sin(np.linspace(0, np.pi, 18))]).round(3)
"""Where the rope hangs."""


def boathouse(folder: Path, *, beam: str = "path = [[0.8, 0.72], [1.5, 0.8]]", rope: str = COUNTED) -> Path:
    """The show in a folder, its beam drawn so, and its rope with a shape or only counted."""
    text = SHOW.replace("path = [[0.8, 0.72], [1.5, 0.8]]", beam)
    assert beam in text
    folder.mkdir(exist_ok=True)
    show = folder / "boathouse.toml"
    show.write_text(text + rope, encoding="utf-8")
    return show


def filmed(show: Path, clip: Path, faults: Iterable[str] = ()) -> Path:
    """A clip of it by the yard's own camera: small, so that it takes seconds."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in {"WIDTH": 480, "HEIGHT": 270, "RATE": 20}.items():
            patch.setattr(yard_film, name, value)
        yard_film.film_yard(show, clip, fault=tuple(faults))
    return clip
