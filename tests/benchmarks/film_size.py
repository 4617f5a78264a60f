"""How long a large film takes to be read, and how much memory: against what one waits for beside a display.

    python tests/benchmarks/film_size.py [FOLDER] [SIZE …]

Two films: 1080p of 30 s with 5 000 pixels, and 4K of 60 s with 20 000. Each is made once (minutes), and read by a
process of its own. Goals: 30 s and 1.5 GB; 4 min and 3 GB, on two cores. Ends with 1 where one is missed, or less than
90 % of the pixels in view are proved.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tomli_w

sys.path.insert(0, str(Path(__file__).parent.parent))

from film_camera import film, random_camera, random_scene
from patcher.clip.video import facts
from patcher.faults import Planned, planned
from patcher.film.read import read_clip
from patcher.frames.film_code import BIN, Code, code_of
from patcher.placement.allocation import allocate
from patcher.shapes import positions
from patcher.show.parser import read
from patcher.wiring import wire

SEED, SPACING = 11, 5.0


@dataclass(frozen=True)
class Size:
    """A film and its goals.

    Attributes:
        pixels, wide, seconds: of the display and its film.
        most_seconds, most_gigabytes: to read it.
    """

    pixels: int
    wide: int
    seconds: float
    most_seconds: float
    most_gigabytes: float


SIZES = {"1080p": Size(5000, 1920, 30, 30, 1.5), "4K": Size(20000, 3840, 60, 240, 3.0)}


def wall(pixels: int) -> tuple[Planned, Code]:
    """A wall of panels of 1 000 pixels, four to a box, 5 cm apart."""
    panels = pixels // 1000
    across = 2 if panels <= 5 else 4
    runs, boxes = {}, {}
    for panel in range(panels):
        x, y = (panel % across) * 2.6, (panel // across) * 1.1
        runs[f"panel-{panel}"] = {
            "pixel": "dot", "lead": 0.5, "shape": "grid", "columns": 50, "rows": 20, "lines": "rows",
            "turns": "serpentine", "data_in": "bottom-left", "area": [[x, y], [x + 2.45, y + 0.95]],
        }  # fmt: skip
        box = boxes.setdefault(
            f"box-{panel // 4 + 1}", {"address": f"192.0.2.{panel // 4 + 10}", "ports": 4, "port": {}}
        )
        box["port"][str(panel % 4 + 1)] = [f"panel-{panel}"]
    dot = {"volts": 12.0, "channel_ma": 9.0, "idle_ma": 0.8, "colour_order": "RGB", "pitch": 0.05}
    tables = {"show": {"title": "a wall"}, "pixel": {"dot": dot}, "run": runs, "controller": boxes}
    found = read(tomli_w.dumps(tables))
    assert found.show is not None, found.findings
    wiring = wire(found.show)
    plan = planned(wiring, allocate(wiring).patch)
    return plan, code_of(plan.patch)


def shoot(size: Size, clip: Path, truth: Path) -> None:
    """Film the wall."""
    rng = np.random.default_rng(SEED)
    plan, code = wall(size.pixels)
    show = plan.wiring.show
    places = np.concatenate([positions(show, run) for run in show.runs.values()])
    levels = np.concatenate([code.drive(plan.takes[run].astype(np.int64)) for run in show.runs])
    drive = levels.transpose(2, 0, 1).clip(0, 1)
    camera = random_camera(rng, places, "propped", width=size.wide, height=size.wide * 9 // 16, spacing=SPACING)
    seen = film(
        random_scene(rng, places), camera,
        lambda times: drive[np.floor(np.asarray(times) / BIN + 1e-9).astype(int) % code.bins],
        size.seconds, clip, start=float(rng.uniform(0, code.seconds)), seed=SEED,
    )  # fmt: skip
    with truth.open("wb") as file:
        np.savez(file, visible=seen.visible, spacing=seen.spacing)


def read_one(name: str, folder: Path) -> None:
    """Read a film and print how long that took, how many pixels are proved, and how much memory there was in use."""
    plan, code = wall(SIZES[name].pixels)
    begin = time.perf_counter()
    said = read_clip(facts(folder / f"{name}.mp4"), plan, code)
    taken = time.perf_counter() - begin
    with np.load(folder / f"{name}.npz") as kept:
        visible, spacing = kept["visible"], float(np.median(kept["spacing"]))
    words = [one.word for one in said.verdict.pixels] if said.verdict else []
    proved = sum(word == "proved" and bool(seen) for word, seen in zip(words, visible, strict=False))
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(taken, most, proved, int(visible.sum()), spacing, said.says or "-", sep="\t")


def main() -> int:
    """Film and read each size, and hold it against its goals."""
    given = sys.argv[1:]
    if given[:1] == ["--read"]:
        read_one(given[1], Path(given[2]))
        return 0
    missed = False
    with tempfile.TemporaryDirectory() as own:
        folder = Path(given[0]) if given else Path(own)
        for name in given[1:] or SIZES:
            size = SIZES[name]
            clip, truth = folder / f"{name}.mp4", folder / f"{name}.npz"
            if not truth.exists():
                shoot(size, clip, truth)
            ran = subprocess.run(
                [sys.executable, "-W", "ignore", __file__, "--read", name, str(folder)],
                check=True, capture_output=True, text=True,
            )  # fmt: skip
            taken, most, proved, seen, spacing, says = ran.stdout.strip().split("\t")
            seconds, gigabytes = float(taken), float(most)
            good = seconds <= size.most_seconds and gigabytes <= size.most_gigabytes and int(proved) >= 0.9 * int(seen)
            missed |= not good
            print(
                f"{name}, {size.seconds:.0f} s, {size.pixels} pixels, {float(spacing):.1f} points apart: read in "
                f"{seconds:.1f} s ({seconds / size.most_seconds:.2f} of the goal) with {gigabytes:.2f} GB "
                f"({gigabytes / size.most_gigabytes:.2f} of the goal); proved {proved} of {seen} ({says})",
                flush=True,
            )
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
