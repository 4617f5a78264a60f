"""What is said of a clip that could be better: each remark where its reason is, and nowhere else."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from patcher.clip.decode import templates
from patcher.clip.lights import Lights, lights
from patcher.clip.quality import remarks
from patcher.clip.registration import GOOD, Laid
from patcher.clip.video import LONGEST, Facts
from rig.film_lights import line_code, sent

CLIP = Facts(Path("clip.mp4"), 25.0, 1280, 720, 30.0, 0)
CODE = line_code(30)


def seen(grey: float) -> Lights:
    at = np.column_stack([np.arange(30) * 9.0, np.full(30, 50.0)])
    return lights(at, (grey * sent(CODE)[:30]).astype(np.float32), templates(CODE))


def laid(part: float, many: int = 100) -> list[Laid]:
    return [Laid(number / 30, np.eye(3), part, 0.0, np.empty(0)) for number in range(many)]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({}, ""),
        ({"laid": laid(0.5 * GOOD)}, "too much shake from 0:00 on"),
        ({"missing": 0.2}, "no frame"),
        ({"found": seen(6.0)}, "faint"),
        ({"white": 0.5}, "too bright"),
        ({"clip": Facts(Path("clip.mp4"), LONGEST + 9, 1280, 720, 30.0, 0)}, "only its first 150 s"),
    ],
)
def test_each_remark_has_its_reason(change: dict, says: str) -> None:
    sound = {"clip": CLIP, "laid": laid(1.0), "found": seen(90.0), "missing": 0.0, "white": 0.02}
    found = remarks(**sound | change)
    assert (says in found) if says else found == ""
    assert ";" not in found
