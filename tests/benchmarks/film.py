"""How far a film of a display proves its wiring: random displays, faults and cameras, filmed and read.

    python tests/benchmarks/film.py [SCENES] [FIRST] [FOLDER]

The displays are of seven kinds, with none to five faults each; the camera is that of `film_camera`, which knows nothing
of the reader: two of three are propped up, one is held by hand. To film takes as long as to read: with a folder the
films are kept there, and taken from it the next time. The worst failure is a pixel that is said to be proved and takes
other data. Ends with 1 where there is one, or where less than 90 % of sound pixels is proved.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import tomli_w

sys.path.insert(0, str(Path(__file__).parent.parent))

from film_camera import film, random_camera, random_scene
from patcher.clip.video import facts
from patcher.diagnosis.hypotheses import singles
from patcher.errors import PatcherError
from patcher.faults import Fault, Planned, Takes, build, departure, planned
from patcher.film.read import read_clip
from patcher.film.same_look import same_look
from patcher.frames.film_code import BIN, code_of
from patcher.placement.allocation import allocate
from patcher.shapes import positions
from patcher.show.parser import read
from patcher.wiring import wire
from rig.film_scenes import KINDS, layout

if TYPE_CHECKING:
    from patcher.frames.film_code import Code

WIDTHS = (640, 960, 1280, 1920)
COLOURS = {"R": (1, 0, 0), "G": (0, 1, 0), "B": (0, 0, 1), "W": (1, 1, 1)}
HIDDEN = ("dead", "cut", "dark")
"""Kinds of fault after which pixels are dark: a film says that they are dark or hidden."""


@dataclass
class Scene:
    """What became of one scene.

    Attributes:
        number, kind, hand, spacing, pixels: what it was.
        false: pixels that were said to be proved, and take other data.
        provable, proved: pixels that are as planned and to be seen; of those, the proved ones.
        said_dark: faults that let a pixel be dark and were named, though it was only hidden.
        faults: that could be seen; named: of those; wrong: named ones that are not there.
        says: what was said of a clip that could not be read.
        seconds: to read it, for each second of film.
    """

    number: int
    kind: str
    hand: bool
    spacing: float
    pixels: int
    false: list[str] = field(default_factory=list)
    provable: int = 0
    proved: int = 0
    faults: list[str] = field(default_factory=list)
    named: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    says: str = ""
    seconds: float = 0.0


def some_faults(plan: Planned, rng: np.random.Generator, count: int) -> tuple[Fault, ...]:
    """Faults of a show, of kinds drawn evenly, that make sense together; each changes what some pixel takes."""
    by_kind: dict[str, list[Fault]] = {}
    for fault, differs in singles(plan, list(plan.takes)):
        if differs.takes and fault.kind != "flicker":
            by_kind.setdefault(fault.kind, []).append(fault)
    found: tuple[Fault, ...] = ()
    while len(found) < count:
        of_kind = by_kind[str(rng.choice(sorted(by_kind)))]
        fault = of_kind[int(rng.integers(len(of_kind)))]
        try:
            build(plan.wiring, (*found, fault))
            departure(plan, (*found, fault))
        except PatcherError:
            continue
        found = (*found, fault)
    return found


@dataclass(frozen=True)
class Staged:
    """A show with faults, before a camera.

    Attributes:
        plan: the show as planned.
        faults: how it is wired wrongly.
        code: what it plays.
        kind, hand, spacing: what is filmed, how, and how many points lie between pixels at least.
        rng: chance, for the camera.
    """

    plan: Planned
    faults: tuple[Fault, ...]
    code: Code
    kind: str
    hand: bool
    spacing: float
    rng: np.random.Generator

    @property
    def takes(self) -> dict[str, Takes]:
        """What each run takes, as it is wired."""
        return {**self.plan.takes, **departure(self.plan, self.faults).takes}

    @property
    def where(self) -> list[tuple[str, int]]:
        """Each pixel by its run, from 0."""
        runs = self.plan.wiring.show.runs
        return [(run, pixel) for run in runs for pixel in range(runs[run].pixels)]


def staged(number: int) -> Staged:
    """A random show with faults."""
    rng = np.random.default_rng(number)
    kind = KINDS[number % len(KINDS)]
    show = read(tomli_w.dumps(layout(kind, rng).show)).show
    assert show is not None
    wiring = wire(show)
    plan = planned(wiring, allocate(wiring).patch)
    code = code_of(plan.patch)
    faults = some_faults(plan, rng, int(rng.integers(0, 6)))
    while not _lit(plan, code, faults):  # a plug in an empty port: of what is all dark there is nothing to tell
        faults = some_faults(plan, rng, int(rng.integers(0, 6)))
    spacing, hand = float(rng.uniform(3, 10)), bool(rng.random() < 1 / 3)
    return Staged(plan, faults, code, kind, hand, spacing, rng)


def _lit(plan: Planned, code: Code, faults: tuple[Fault, ...]) -> bool:
    """Whether at least a third of all pixels plays something."""
    takes = {**plan.takes, **departure(plan, faults).takes}
    return float(np.mean(np.concatenate([code.word_of(own) >= 0 for own in takes.values()]))) > 1 / 3


def shoot(here: Staged, number: int, clip: Path, truth: Path) -> None:
    """Film a show: the clip, and which pixels are to be seen in it, how far apart."""
    show, code, takes, rng = here.plan.wiring.show, here.code, here.takes, here.rng
    places = np.concatenate([positions(show, run) for run in show.runs.values()])
    drive = np.concatenate(
        [_drive(code, takes[run], show.type_of(show.runs[run]).colour_order) for run in show.runs], axis=1
    )
    wide = _width(places, here.spacing)
    camera = random_camera(
        rng, places, "hand" if here.hand else "propped", width=wide, height=wide * 9 // 16, spacing=here.spacing
    )
    seen = film(
        random_scene(rng, places), camera,
        lambda times: drive[np.floor(np.asarray(times) / BIN + 1e-9).astype(int) % code.bins],
        code.seconds + float(rng.uniform(1, 4)), clip, start=float(rng.uniform(0, code.seconds)), seed=number,
        threads=1,
    )  # fmt: skip
    with truth.open("wb") as file:  # the clip is there before it: a run that was stopped leaves no half of a pair
        np.savez(file, visible=seen.visible, spacing=seen.spacing)


def scene(number: int, folder: Path | None = None) -> Scene:
    """Make one, film it, or take its film from the folder, and read it."""
    here = staged(number)
    with tempfile.TemporaryDirectory() as own:
        clip, truth = ((folder or Path(own)) / f"{number}{ending}" for ending in (".mp4", ".npz"))
        if not truth.exists():
            shoot(here, number, clip, truth)
        with np.load(truth) as kept:
            visible, apart = kept["visible"], kept["spacing"]
        begin = time.perf_counter()
        known = facts(clip)
        reading = read_clip(known, here.plan, here.code)
        taken = (time.perf_counter() - begin) / known.seconds
    takes, where = here.takes, here.where
    found = Scene(
        number,
        here.kind,
        here.hand,
        _finest(apart, where, here.spacing),
        len(visible),
        says=reading.says,
        seconds=taken,
    )
    sound = np.array([(takes[run][pixel] == here.plan.takes[run][pixel]).all() for run, pixel in where])
    seen = visible & sound
    found.provable = int(seen.sum())
    at = {name: row for row, name in enumerate(where)}
    said = reading.verdict
    for one in said.pixels if said else ():
        row = at[one.run, one.pixel - 1]
        if one.word == "proved":
            found.proved += bool(seen[row])
            if not sound[row]:
                found.false.append(f"{one.run}/{one.pixel}")
    named = {name: bool(v) for name, v in zip(where, visible, strict=True)}
    faults = said.faults if said else ()
    _faults(found, here.plan, here.faults, faults, same_look(here.plan, here.code, faults), named)
    return found


def _finest(apart: np.ndarray, where: list[tuple[str, int]], asked: float) -> float:
    """Points from pixel to pixel of the run whose pixels look closest to each other; what was asked for where each
    pixel hangs in one place with another, as in arches over and back.
    """
    run = np.array([name for name, _ in where])
    runs = [own for name in set(run.tolist()) if len(own := apart[(run == name) & (apart > 0.3)])]
    return min((float(np.median(own)) for own in runs), default=asked)


def _drive(code: Code, takes: np.ndarray, letters: str) -> np.ndarray:
    mixed = np.array([COLOURS[letter] for letter in letters], dtype=np.float32)
    return np.einsum("nlb,lc->bnc", code.drive(takes.astype(np.int64)), mixed).clip(0, 1)


def _width(places: np.ndarray, spacing: float) -> int:
    from scipy.spatial import cKDTree

    apart = cKDTree(places).query(places, k=2)[0][:, 1]
    pitch = float(np.median(apart[apart > 1e-3]))
    need = max(np.ptp(places[:, 0]), np.ptp(places[:, 1]) * 16 / 9) / pitch * spacing * 1.15
    return next((wide for wide in WIDTHS if wide >= need), WIDTHS[-1])


def _faults(
    found: Scene,
    plan: Planned,
    there: tuple[Fault, ...],
    named: tuple[Fault, ...],
    same: dict[Fault, tuple[Fault, ...]],
    visible: dict[tuple[str, int], bool],
) -> None:
    """Count the faults that could be seen, those named, and those named wrongly.

    Two that change the same are one; so is one that is said to look the same in the film, and so are all that concern
    runs of which every pixel in view is said to take what it takes.
    """

    def data(faults: tuple[Fault, ...]) -> dict[str, np.ndarray]:
        return departure(plan, faults).takes

    def alike(one: Fault, other: Fault) -> bool:
        here, over = data((one,)), data((other,))
        return here.keys() == over.keys() and all(np.array_equal(here[run], over[run]) for run in here)

    every, told = data(there), data(named)

    def exactly(fault: Fault) -> bool:
        """Whether all pixels in view of the runs that a fault changes are said to take what they take."""
        runs = [run for run, own in data((fault,)).items() if (own != plan.takes[run]).any()]
        return all(
            (every.get(run, plan.takes[run])[pixel] == told.get(run, plan.takes[run])[pixel]).all()
            for run in runs for pixel in range(len(plan.takes[run])) if visible[run, pixel]
        )  # fmt: skip

    for fault in there:
        others = data(tuple(one for one in there if one != fault))
        shown = {
            (run, int(pixel))
            for run in {*every, *others}
            for pixel in np.flatnonzero(
                (every.get(run, plan.takes[run]) != others.get(run, plan.takes[run])).any(axis=1)
            )
        }
        lights = [
            name for name in shown if visible[name] and (every.get(name[0], plan.takes[name[0]])[name[1]] >= 0).any()
        ]
        if fault.kind in HIDDEN or not lights:
            continue
        found.faults.append(str(fault))
        if exactly(fault) or any(alike(fault, other) for one in named for other in (one, *same.get(one, ()))):
            found.named.append(str(fault))
    for one in named:
        meant = (one, *same.get(one, ()))
        if one.kind in HIDDEN or exactly(one) or any(alike(other, fault) for other in meant for fault in there):
            continue
        found.wrong.append(str(one))


def main() -> int:
    """Run some scenes, and print what became of them."""
    count, first = (int(text) for text in (*sys.argv[1:3], *("14", "1")[len(sys.argv) - 1 :]))
    folder = Path(sys.argv[3]) if len(sys.argv) > 3 else None
    done: list[Scene] = []
    with ProcessPoolExecutor(2) as pool:
        for job in as_completed([pool.submit(scene, number, folder) for number in range(first, first + count)]):
            one = job.result()
            done.append(one)
            print(_line(one), flush=True)
    return _say(done)


def _line(one: Scene) -> str:
    missed = " ".join(fault for fault in one.faults if fault not in one.named)
    return (
        f"{one.number:5} {one.kind:14} {'hand' if one.hand else 'prop'} {one.spacing:5.1f} points {one.pixels:5} pixels"
        ": "
        f"false {len(one.false)}, proved {one.proved} of {one.provable}, named {len(one.named)} of {len(one.faults)} "
        f"(missed {missed or 'none'}), wrong {' '.join(one.wrong) or 'none'}{'; ' + one.says if one.says else ''}"
    )


def _say(done: list[Scene]) -> int:
    false = [one for one in done if one.false]
    print(f"\nscenes with a false proof: {len(false)} of {len(done)} (goal 0): {[one.number for one in false]}")
    fine = [one for one in done if not one.hand and one.spacing >= 4]
    part = {}
    for name, some in (
        ("sound", [one for one in fine if not one.faults]),
        ("1 or 2 faults", [one for one in fine if 1 <= len(one.faults) <= 2]),
        ("3 to 5 faults", [one for one in fine if len(one.faults) >= 3]),
        ("by hand, or below 4 points", [one for one in done if one not in fine]),
    ):
        provable = sum(one.provable for one in some)
        part[name] = sum(one.proved for one in some) / provable if provable else 1.0
        print(f"of provable pixels proved, {name}: {part[name]:.3f} ({len(some)} scenes, {provable} pixels)")
    faults, named, wrong = (sum(len(getattr(one, name)) for one in fine) for name in ("faults", "named", "wrong"))
    print(f"faults named exactly: {named} of {faults}; named wrongly beside them: {wrong}")
    print(f"time to read, of the film's length, the median: {np.median([one.seconds for one in done]):.2f}")
    print("not read:", dict(Counter(one.says for one in done if not one.proved)))
    return int(bool(false) or part["sound"] < 0.9)


if __name__ == "__main__":
    sys.exit(main())
