"""From a clip to what it says of a show."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from patcher.faults import Planned, Takes, departure
from patcher.diagnosis.hypotheses import singles
from patcher.film import clip, decode, hues, phase, registration, spots
from patcher.film.spots import Series
from patcher.film.clip import Facts, Picture
from patcher.film.code import Channels, Code
from patcher.film.cube import Cube, cube, kept_points
from patcher.film.decode import Templates, Turn
from patcher.film.faults_seen import Explained, Search
from patcher.film.fit import Evidence, fit
from patcher.film.lights import Lights, lights, strongest, swing, without
from patcher.film.map_search import best_map, spacing
from patcher.film.registration import Laid, Points
from patcher.film.shown import shown
from patcher.film.sites import Sites, parted
from patcher.film.slack import slacks
from patcher.film.verdict import Verdict, verdict
from patcher.shapes import positions

MOST_SPOTS = 4
"""Times as many spots as pixels are looked at: lit windows and reflections blink, too."""
ON_SITE = 2.5
"""Points from a planned place within which a light is read there and nowhere else."""
FAINT, FIRST = 0.42, 0.04
"""A word that is planned at a place is read there where it goes so well with the light, and so much better than any
other."""
AGREES = 0.12
"""By how much better the words must go with the light than if the cycle began elsewhere."""


@dataclass(frozen=True, eq=False)
class Watched:
    """A clip as its bins' mean pictures.

    Attributes:
        facts: what the clip is.
        laid: how each frame lies on the first one.
        phase: when light changes.
        cube: the mean picture of each bin.
        mean: of all frames: shape (height, width).
    """

    facts: Facts
    laid: tuple[Laid, ...]
    phase: phase.Phase
    cube: Cube
    mean: registration.Grey


Progress = Callable[[float], None]


def watch(facts: Facts, bins: int, tell: Progress = lambda part: None) -> Watched:
    """Lay the frames of a clip on each other, and take the mean of each bin."""
    ground = registration.Ground()
    length = max(facts.seconds, 1.0)
    laid: list[Laid] = []
    for time, picture in clip.frames(facts):
        laid.append(ground.lay(time, picture))
        tell(0.45 * min(1.0, time / length))
    shape = ground.mean.shape
    when = phase.phase(laid, shape[0])

    def told() -> Iterator[tuple[float, Picture]]:
        for time, picture in clip.frames(facts):
            yield time, picture
            tell(0.45 + 0.45 * min(1.0, time / length))

    made = cube(told(), laid, when, kept_points(ground.mean), bins)
    return Watched(facts, tuple(laid), when, made, ground.mean)


@dataclass(frozen=True, eq=False)
class Heard:
    """The lights of a clip.

    Attributes:
        turn: where the cycle begins.
        lights: what was read.
        spots: where something blinks.
        templates: the words.
    """

    turn: Turn
    lights: Lights
    spots: Points
    templates: Templates


def heard(seen: Watched, code: Code) -> Heard:
    """Read the lights of a clip."""
    own = decode.templates(code)
    at = spots.spots(seen.cube, MOST_SPOTS * int(code.lit.sum()) + 100)
    light = spots.series(seen.cube, at)
    begin = decode.turn(light, own)
    found = lights(at, np.roll(light, -begin.bins, axis=1), own)
    return Heard(begin, found, at, own)


def evidence(plan: Planned, code: Code, seen: Watched, read: Heard) -> Evidence | None:
    """What a clip shows of a plan; None where its lights lie nowhere as the plan has them."""
    show = plan.wiring.show
    places = {
        name: at for name, run in show.runs.items() if run.hung and (at := positions(show, run)) is not None
    }  # fmt: skip
    letters = "".join({letter for run in show.runs.values() for letter in show.type_of(run).colour_order})
    hue = hues.hues(read.lights.swing, read.lights.parts, letters)
    found = best_map(_wirings(plan, places), places, code, read.lights, seen.cube.shape)
    if found is None:
        return None

    def look(points: Points) -> spots.Series:
        return np.roll(spots.series(seen.cube, points), -read.turn.bins, axis=1)

    pitch = {run: _pitch(own) for run, own in places.items()}
    first = Evidence(plan, code, places, pitch, read.lights, hue, found, read.spots, look)
    read = closely(first, seen, read)
    hue = hues.hues(read.lights.swing, read.lights.parts, letters)
    return replace(first, lights=read.lights, hue=hue)


def closely(seen: Evidence, watched: Watched, read: Heard) -> Heard:
    """The lights once more, now that it is known where the plan's places are in the picture."""
    near = max(1.5, 0.35 * spacing(seen.lights))
    held = slacks(seen, watched.cube.shape, near)
    show = seen.plan.wiring.show
    at: list[Points] = []
    planned: list[Channels] = []
    for run in seen.places:
        own, slack = held[run]
        wired = shown(seen.plan.takes[run], show.type_of(show.runs[run]).colour_order, seen.code)
        at.append(own.map.picture(fit(own, run, wired, slack).places))
        planned.append(wired.pixel)
    sites = parted(watched.cube, np.concatenate(at))
    light, tint = (np.roll(each, -read.turn.bins, axis=1) for each in (sites.light, sites.tint))
    found = lights(sites.at, light, read.templates, tint)
    faint = second_look(np.concatenate(at), np.concatenate(planned), sites, light, tint, found, read.templates)
    away, _ = cKDTree(sites.at).query(read.lights.at)
    return replace(read, lights=strongest(found.and_also(faint).and_also(read.lights.of(away > ON_SITE))))


def second_look(
    at: Points, planned: Channels, sites: Sites, light: Series, tint: Series, found: Lights, own: Templates
) -> Lights:
    """Lights too faint to be read among all words, whose planned word goes best with what is there nevertheless.

    Args:
        at: where each planned place is in the picture.
        planned: its pixel.
        sites, light, tint: the sites and their light, the cycle beginning in bin 0.
        found: what was read there.
        own: the words.
    """
    away, site = cKDTree(sites.at).query(at)
    _, of = cKDTree(sites.at).query(found.at)
    read = {(int(one), int(pixel)) for one, pixel in zip(of, found.pixel, strict=True)}
    wanted = [
        (int(where), int(pixel)) for where, pixel, far in zip(site, planned, away, strict=True)
        if far < 1 and pixel >= 0 and (int(where), int(pixel)) not in read
    ]  # fmt: skip
    words: dict[int, list[int]] = {}
    for one, pixel in read:
        words.setdefault(one, []).append(pixel)
    rows = np.array([where for where, _ in wanted], dtype=np.int64)
    pixels = np.array([pixel for _, pixel in wanted], dtype=np.int64)
    left = without(light[rows], [words.get(int(row), []) for row in rows], own)
    again = decode.decode(decode.clear(left, own), own)
    sure = (again.pixel == pixels) & (again.agrees > FAINT) & (again.agrees - again.next_best > FIRST)
    return Lights(
        sites.at[rows[sure]],
        pixels[sure],
        again.agrees[sure],
        swing(tint[rows[sure]], own, pixels[sure]),
        again.parts[sure],
    )


def _pitch(places: Points) -> float:
    steps = np.hypot(*np.diff(places, axis=0).T)
    return float(np.median(steps)) if len(steps) else 0.05


def _wirings(plan: Planned, places: Mapping[str, Points]) -> Iterator[Mapping[str, Takes]]:
    yield plan.takes
    for _, differs in singles(plan, list(places), lambda run: ()):
        if differs.takes:
            yield {**plan.takes, **differs.takes}


def explained(seen: Evidence, shape: tuple[int, int]) -> Explained:
    """The faults that explain a clip, and how sure they are."""
    return Search(seen, slacks(seen, shape, max(1.5, 0.35 * spacing(seen.lights)))).explained()


def read_clip(facts: Facts, plan: Planned, code: Code, tell: Progress = lambda part: None) -> Verdict | None:
    """What a clip says of a show; None where it cannot be laid on the plan."""
    seen = watch(facts, code.bins, tell)
    read = heard(seen, code)
    if read.turn.agrees - read.turn.next_best < AGREES:
        return None
    shown_here = evidence(plan, code, seen, read)
    if shown_here is None:
        return None
    return verdict(shown_here, explained(shown_here, seen.cube.shape), seen.cube.shape)


__all__ = ["Heard", "Watched", "departure", "evidence", "explained", "heard", "read_clip", "replace", "shown", "watch"]
