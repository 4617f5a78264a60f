"""A display as a perfect reader of a film would know it, without any picture.

What each pixel does is worked out here from the slots that the boxes send and the channels that it takes: no word, no
colour and no place of a light is asked of the reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree

from patcher.clip import hues
from patcher.clip.decode import templates
from patcher.clip.lights import lights
from patcher.diagnosis.hypotheses import singles
from patcher.faults import RANDOM, Fault, Planned, Takes, departure, planned
from patcher.film.camera_map import CameraMap
from patcher.film.evidence import Evidence
from patcher.film.faults_seen import Explained, Search
from patcher.film.map_search import best_map, spacing
from patcher.film.read import planned_hue
from patcher.film.slack import slacks
from patcher.film.verdict import Verdict
from patcher.frames.film_code import Code, code_of
from patcher.patch.patch import Patch
from patcher.shapes import positions
from patcher.wiring import Wiring

CAMERA = {"R": (0.75, 0.2, 0.05), "G": (0.15, 0.7, 0.15), "B": (0.05, 0.2, 0.75), "W": (0.34, 0.33, 0.33)}
"""What a camera sees of each letter: it mixes them."""
BRIGHT, NOISE = 160.0, 1.5
"""Grey levels of a pixel at full, and of the noise of a bin."""
SAME = 1e-3
"""Metres within which pixels light in one place."""


@dataclass(frozen=True, eq=False)
class Stage:
    """A show that is filmed.

    Attributes:
        plan, code: its wiring, and what it plays.
        places: of each run that hangs and is drawn.
        sent: what the boxes send, 0 to 1: shape (channels, bins); the last row is dark.
    """

    plan: Planned
    code: Code
    places: Mapping[str, np.ndarray]
    sent: np.ndarray
    _faults: list[tuple[Fault, Mapping[str, Takes]]] = field(default_factory=list)

    def coarse(self) -> list[tuple[Fault, Mapping[str, Takes]]]:
        """Single faults of whole runs, ports and boxes that change what a drawn pixel takes, with what is taken."""
        if not self._faults:
            every = singles(self.plan, list(self.places), lambda run: ())
            self._faults.extend((fault, differs.takes) for fault, differs in every if self._changes(differs.takes))
        return self._faults

    def at_pixels(self, rng: np.random.Generator, count: int) -> list[tuple[Fault, Mapping[str, Takes]]]:
        """The same of faults at some pixels by chance."""
        some = {
            run: sorted({int(rng.integers(1, len(at) + 1)) for _ in range(count)}) for run, at in self.places.items()
        }
        every = singles(self.plan, list(self.places), lambda run: some.get(run, ()))
        return [(f, d.takes) for f, d in every if f.kind in AT_PIXELS and "/" in f.places[0] and self._changes(d.takes)]

    def _changes(self, takes: Mapping[str, Takes]) -> bool:
        return any((takes[run] != self.plan.takes[run]).any() for run in takes.keys() & self.places.keys())

    def light(self, takes: Takes, letters: str, rng: np.random.Generator) -> np.ndarray:
        """What a camera sees of pixels, 0 to 1: shape (pixels, bins, 3)."""
        rows = np.where((takes >= 0) & (takes < len(self.sent) - 1), takes, len(self.sent) - 1)
        level = self.sent[rows]
        broken = (takes == RANDOM).any(axis=1)
        level[broken] = rng.random(level[broken].shape)
        colours = np.array([CAMERA.get(letter, (0.3, 0.3, 0.3)) for letter in letters])
        return np.einsum("plb,lc->pbc", level, colours)

    def letters(self, run: str) -> str:
        show = self.plan.wiring.show
        return show.type_of(show.runs[run]).colour_order


AT_PIXELS = ("dark", "missing", "cut", "flicker", "dark-channel", "replaced")


def stage(wiring: Wiring, patch: Patch) -> Stage:
    """A show, ready to be filmed."""
    plan, code, show = planned(wiring, patch), code_of(patch), wiring.show
    places = {name: at for name, run in show.runs.items() if run.hung and (at := positions(show, run)) is not None}
    last = max((universe for own in patch.box_universes.values() for universe in own), default=1)
    frames = code.frames(range(1, last + 2), 1.0)
    sent = np.stack([each.slots.reshape(-1) for each in frames], axis=1).astype(np.float32) / 255
    return Stage(plan, code, places, np.vstack([sent, np.zeros((1, code.bins), dtype=np.float32)]))


def camera(stage: Stage, rng: np.random.Generator, pitch_points: float = 6.0) -> tuple[CameraMap, tuple[int, int]]:
    """A camera that sees all, from somewhere in front: a little turned, with some perspective and a lens."""
    every = np.concatenate(list(stage.places.values()))
    pitch = min(float(np.median(np.hypot(*np.diff(at, axis=0).T))) for at in stage.places.values() if len(at) > 2)
    scale = pitch_points / max(pitch, 0.02)
    low, high = every.min(axis=0), every.max(axis=0)
    wide, tall = ((high - low) * scale * 1.25 + 80).astype(int)
    turn, (dx, dy) = rng.uniform(-0.08, 0.08), (low + high) / 2
    tilt = rng.uniform(-0.08, 0.08, 2) / (high - low).max()
    flat = np.array([[scale, 0, 0], [0, -scale, 0], [tilt[0], tilt[1], 1]])
    about = np.array([[1, 0, -dx], [0, 1, -dy], [0, 0, 1]])
    roll = np.array([[np.cos(turn), -np.sin(turn), wide / 2], [np.sin(turn), np.cos(turn), tall / 2], [0, 0, 1]])
    size = float(np.hypot(wide, tall)) / 2
    bend = (float(rng.uniform(-0.03, 0.03)), 0.0)
    return CameraMap(roll @ flat @ about, np.array([wide - 1, tall - 1]) / 2, size, bend), (int(tall), int(wide))


@dataclass(frozen=True, eq=False)
class Filmed:
    """What is known of a display, and what its pixels show in truth.

    Attributes:
        seen: what is known; None where no map was found.
        other: for each run the pixels that take other data than planned, if no pixel in the same place takes theirs: no
            film can tell which of the two it is.
    """

    seen: Evidence | None
    other: Mapping[str, np.ndarray]


def filmed(own: Stage, takes: Mapping[str, Takes], rng: np.random.Generator, lost: float = 0.1) -> Filmed:
    """The display wired so, with a part of its lights lost: half of those hidden, half too faint to be read."""
    true, shape = camera(own, rng)
    every, light = [], []
    for run, at in own.places.items():
        pitch = float(np.median(np.hypot(*np.diff(at, axis=0).T))) if len(at) > 1 else 0.05
        every.append(at + rng.normal(0, 0.06 * pitch, at.shape) + rng.normal(0, 0.08 * pitch, 2))
        seed = int(rng.integers(1 << 30))
        light.append(own.light(takes.get(run, own.plan.takes[run]), own.letters(run), np.random.default_rng(seed)))
    group = _grouped(np.concatenate(list(own.places.values())))
    first = np.unique(group, return_index=True)[1]
    summed = _summed(np.concatenate(light), group)
    ends = np.cumsum([len(at) for at in own.places.values()])[:-1]
    other = dict(zip(own.places, np.split(_others(own, takes, group), ends), strict=True))

    fate = rng.random(len(first))
    hidden, faint = fate < lost / 2, (fate >= lost / 2) & (fate < lost)
    grey = BRIGHT * summed * np.where(hidden, 0.0, rng.uniform(0.6, 1.2, len(first)))[:, None, None]
    grey = (grey + rng.normal(0, NOISE / 5, grey.shape)).astype(np.float32)
    at = true.picture(np.concatenate(every)[first]) + rng.normal(0, 0.08, (len(first), 2))
    return Filmed(_evidence(own, at, grey, ~(hidden | faint), shape), other)


def _grouped(places: np.ndarray) -> np.ndarray:
    """The same number for places that are one."""
    number = np.arange(len(places))
    for one, two in sorted(cKDTree(places).query_pairs(SAME)):
        number[two] = min(number[two], number[one])
    return np.unique(number, return_inverse=True)[1]


def _others(own: Stage, takes: Mapping[str, Takes], group: np.ndarray) -> np.ndarray:
    """The pixels whose planned data nobody takes in their place: shape (pixels,)."""
    meant = [tuple(row) for run in own.places for row in own.plan.takes[run].tolist()]
    true = [tuple(row) for run in own.places for row in takes.get(run, own.plan.takes[run]).tolist()]
    here = set(zip(group.tolist(), true, strict=True))
    return np.array([(place, row) not in here for place, row in zip(group.tolist(), meant, strict=True)])


def _summed(light: np.ndarray, group: np.ndarray) -> np.ndarray:
    found = np.zeros((group.max() + 1, *light.shape[1:]), dtype=np.float32)
    np.add.at(found, group, light)
    return found


def _evidence(
    own: Stage, at: np.ndarray, grey: np.ndarray, read: np.ndarray, shape: tuple[int, int]
) -> Evidence | None:
    found = lights(at[read], grey[read], templates(own.code))
    plan, code, show = own.plan, own.code, own.plan.wiring.show
    meant = planned_hue(plan, code)[found.pixel]
    hue = hues.hues(found, meant, "".join({c for run in show.runs for c in own.letters(run)}))
    map_ = best_map(_wirings(own), own.places, code, found, shape)
    if map_ is None:
        return None
    tree = cKDTree(at)

    def look(points: np.ndarray) -> np.ndarray:
        away, near = tree.query(points, k=3)
        weight = np.exp(-(away**2) / (2 * 1.4**2))
        return np.einsum("nk,nkbc->nbc", weight, grey[near]).astype(np.float32)

    mean = np.zeros(shape, dtype=np.float32)
    x, y = np.round(at).astype(int).T
    for dx in (-1, 0, 1):
        for dy in (-1, 0, 1):
            mean[(y + dy).clip(0, shape[0] - 1), (x + dx).clip(0, shape[1] - 1)] = grey.mean(axis=1).max(axis=1)
    busy = at[np.sqrt(grey.var(axis=1).sum(axis=1)) > 2]
    pitch = {run: float(np.median(np.hypot(*np.diff(each, axis=0).T))) for run, each in own.places.items()}
    return Evidence(plan, code, own.places, pitch, found, hue, map_, busy, look, mean, templates(code).inner)


def _wirings(own: Stage) -> Iterator[Mapping[str, Takes]]:
    yield own.plan.takes
    yield from ({**own.plan.takes, **takes} for _, takes in own.coarse())


def explained(seen: Evidence) -> Explained:
    """The faults that explain it."""
    held = slacks(seen, seen.mean.shape, max(1.5, 0.35 * spacing(seen.lights)), seen.plan.takes)
    return Search(seen, held).explained()


def alike(plan: Planned, one: tuple[Fault, ...], other: tuple[Fault, ...], runs: Mapping[str, np.ndarray]) -> bool:
    """Whether pixels of some runs take the same with some faults as with others."""
    first, second = ({**plan.takes, **departure(plan, each).takes} for each in (one, other))
    return all(np.array_equal(first[run], second[run]) for run in runs)


def falsely_proved(found: Verdict, other: Mapping[str, np.ndarray]) -> list[tuple[str, int]]:
    """Pixels that are said to be proved though they take other data."""
    return [
        (p.run, p.pixel) for p in found.pixels if p.word == "proved" and p.run in other and other[p.run][p.pixel - 1]
    ]
