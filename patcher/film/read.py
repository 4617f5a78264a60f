"""From a clip to what it says of a show."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from patcher.clip import decode, hues, phase, quality, registration, slips, spots, video
from patcher.clip.cube import Cube, cube, kept_points
from patcher.clip.lights import lights
from patcher.clip.registration import Laid, Points
from patcher.clip.video import Facts, Picture
from patcher.diagnosis.hypotheses import singles
from patcher.faults import DARK, Departures, Fault, Planned, Takes
from patcher.film.close_look import Heard, closely
from patcher.film.evidence import Evidence
from patcher.film.faults_seen import UNEXPLAINED, Explained, Search
from patcher.film.map_search import best_map, spacing
from patcher.film.measured import Sight, sights
from patcher.film.shown import shown
from patcher.film.slack import slacks
from patcher.film.verdict import Verdict, verdict
from patcher.frames.film_code import Code
from patcher.shapes import positions

Known = tuple[frozenset[Fault], frozenset[str]]
MOST_LOOKS, BETTER = 6, 10.0
"""So often are the lights read anew with faults that were found, and once more where so much less spoke against those
found then."""
GLARE, BRIGHTER = 200.0, 1.25
"""Grey levels on the mean, and times as bright as most lights are: where it is brighter than both, a letter that does
not show may be lost in a street light's or a window's light."""
MOST_LAID = 2
"""So often are frames laid anew by what was read of them."""
MOST_SPOTS = 4
"""Times as many spots as pixels are looked at: lit windows and reflections blink, too."""


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


def watch(
    facts: Facts,
    bins: int,
    tell: Progress = lambda part: None,
    *,
    near: Sequence[registration.Matrix] = (),
    beside: bool = False,
) -> Watched:
    """Lay the frames of a clip on each other, and take the mean of each bin.

    Args:
        facts: the clip.
        bins: of a cycle.
        tell: is told how much of it is done.
        near: where each frame is known to lie nearly; none: that is looked for.
        beside: whether it is also looked for a step of a grid beside.
    """
    ground = registration.Ground(beside=beside)
    length = max(facts.seconds, 1.0)
    laid: list[Laid] = []
    for number, (time, picture) in enumerate(video.ahead(video.frames(facts))):
        laid.append(ground.lay(time, picture, near[number] if number < len(near) else None))
        tell(0.45 * min(1.0, time / length))
    shape = ground.mean.shape
    when = phase.phase(laid, shape[0])

    def told() -> Iterator[tuple[float, Picture]]:
        for time, picture in video.ahead(video.frames(facts)):
            yield time, picture
            tell(0.45 + 0.45 * min(1.0, time / length))

    made = cube(told(), laid, when, kept_points(ground.mean), bins)
    return Watched(facts, tuple(laid), when, made, ground.mean)


def watched(facts: Facts, code: Code, tell: Progress = lambda part: None) -> tuple[Watched, Heard]:
    """A clip and its lights. Where its words tell that frames lie elsewhere, or where nothing can be read, they are
    laid anew: the lights that are read best count.
    """
    first = watch(facts, code.bins, tell)
    plainly, slid = _steadied(first, heard(first, code), code)
    if not slid and not _unreadable(*plainly):
        return plainly
    other = watch(facts, code.bins, beside=True)
    return max(plainly, _steadied(other, heard(other, code), code)[0], key=lambda one: _agrees(one[1]))


def _steadied(seen: Watched, read: Heard, code: Code) -> tuple[tuple[Watched, Heard], bool]:
    """A clip, its frames laid anew by its words as long as those are read better then; and whether that was tried."""
    slid = False
    for _ in range(MOST_LAID):
        lights = slips.known(read.lights, code, read.turn.bins, spacing(read.lights))
        if lights is None or not slips.slipped(seen.cube, lights):
            break
        slid = True
        near = slips.relaid(video.ahead(video.frames(seen.facts)), seen.laid, seen.phase, lights)
        again = watch(seen.facts, code.bins, near=near)
        better = heard(again, code)
        if _agrees(better) <= _agrees(read):
            break
        seen, read = again, better
    return (seen, read), slid


def _agrees(read: Heard) -> float:
    return float(read.lights.agrees.sum())


def _unreadable(seen: Watched, read: Heard) -> str:
    """Why no word of a clip can be read; empty where some can."""
    return quality.unreadable(seen.laid, seen.phase, read.turn, seen.cube.missing())


def heard(seen: Watched, code: Code) -> Heard:
    """Read the lights of a clip."""
    own = decode.templates(code)
    at = spots.spots(seen.cube, MOST_SPOTS * int(code.lit.sum()) + 100)
    light = spots.series(seen.cube, at)
    begin = decode.turn(light, own)
    light, shine = np.roll(light, -begin.bins, axis=1), spots.flux(seen.cube, at)
    found = lights(at, light, own, shine)
    away = decode.disturbed(np.roll(spots.series(seen.cube, found.at), -begin.bins, axis=1))
    if away.any():
        own = decode.templates(code, away)
        found = lights(at, light, own, shine)
    return Heard(begin, found, at, own)


def evidence(
    plan: Planned, code: Code, seen: Watched, read: Heard, wired: Mapping[str, Takes] | None = None
) -> Evidence | None:
    """What a clip shows of a plan; None where its lights lie nowhere as the plan has them.

    Args:
        plan: the wiring as planned.
        code: what it plays.
        seen: the clip.
        read: its lights.
        wired: what pixels are known to take; None: the plan, or any single fault of whole runs.
    """
    show = plan.wiring.show
    places = {
        name: at for name, run in show.runs.items() if run.hung and (at := positions(show, run)) is not None
    }  # fmt: skip
    letters = "".join({letter for run in show.runs.values() for letter in show.type_of(run).colour_order})
    meant = planned_hue(plan, code)

    def told(read: Heard) -> hues.Hues:
        found = hues.hues(read.lights, meant[read.lights.pixel], letters)
        high, wide = seen.mean.shape
        x, y = np.round(read.lights.at).astype(int).T
        bright = seen.mean[y.clip(0, high - 1), x.clip(0, wide - 1)]
        glares = bright > max(GLARE, BRIGHTER * float(np.median(bright))) if len(bright) else bright > GLARE
        return np.where((found == hues.DARK) & glares[:, None], np.int8(hues.UNKNOWN), found)

    found = best_map(_wirings(plan, places) if wired is None else [wired], places, code, read.lights, seen.cube.shape)
    if found is None:
        return None
    look = spots.Look(seen.cube, read.turn.bins)
    pitch = {run: _pitch(own) for run, own in places.items()}
    inner = read.templates.inner
    first = Evidence(plan, code, places, pitch, read.lights, told(read), found, read.spots, look, seen.mean, inner)
    read = closely(first, seen.cube, read, plan.takes if wired is None else wired)
    return replace(first, busy=read.spots, lights=read.lights, hue=told(read))


def planned_hue(plan: Planned, code: Code) -> hues.Hues:
    """The letters that each pixel of the code is planned to play: shape (pixels, segments)."""
    show = plan.wiring.show
    found = np.full((len(code.first), code.segments), hues.UNKNOWN, dtype=np.int8)
    for name, run in show.runs.items():
        own = shown(plan.takes[name], show.type_of(run).colour_order, code)
        has = own.pixel >= 0
        found[own.pixel[has]] = own.hue[has]
    return found


def _pitch(places: Points) -> float:
    steps = np.hypot(*np.diff(places, axis=0).T)
    return float(np.median(steps)) if len(steps) else 0.05


def _wirings(plan: Planned, places: Mapping[str, Points]) -> Iterator[Mapping[str, Takes]]:
    yield plan.takes
    for _, differs in singles(plan, list(places), lambda run: ()):
        if differs.takes:
            yield {**plan.takes, **differs.takes}


def explained(plan: Planned, code: Code, seen: Watched, read: Heard) -> tuple[Evidence, Explained] | None:
    """The faults that explain a clip, and how sure they are; None where its lights lie nowhere as the plan has them.

    The map is made anew, and the lights are read anew, once faults are known: with runs that are exchanged the first
    map was made from fewer lights. Where much is left unexplained, that is done without the runs of which much is, or
    with those faults alone that are sure: a run that is off by a pixel draws the map aside, and a word that is wrongly
    held to play is read where it is not.
    """
    first = evidence(plan, code, seen, read)
    if first is None:
        return None
    departures = Departures(plan)
    plainly = _search(first, plan.takes, departures)
    every: list[tuple[Evidence, Explained]] = []
    known: set[Known] = {(frozenset(), frozenset())}
    for together in (False, True):
        found = plainly.explained(together=together)
        every.append((first, found))
        wanted = _known(plainly, found)
        while wanted and len(known) <= MOST_LOOKS:
            faults, odd = held = wanted.pop(0)
            if held in known:
                continue
            known.add(held)
            takes = {**plan.takes, **departures.of(tuple(sorted(faults, key=str))).takes}
            takes |= {run: np.full_like(takes[run], DARK) for run in odd}
            again = evidence(plan, code, seen, read, takes)
            if again is None:
                continue
            search = _search(again, takes, departures)
            found = search.explained()
            if found.left <= UNEXPLAINED:
                wanted = []
            elif found.cost < min(one.cost for _, one in every) - BETTER:
                wanted = [*_known(search, found), *wanted]
            every.append((again, found))
        best = min(every, key=lambda one: one[1].cost)
        if best[1].left <= UNEXPLAINED:
            break
    return best


def _known(search: Search, found: Explained) -> list[Known]:
    """What may be held to be known of the wiring, to read the lights anew: faults, and runs that nobody knows."""
    nowhere: frozenset[str] = frozenset()
    faults = frozenset(found.faults)
    if not found.odd:
        return [(faults, nowhere)]
    wanted = [(faults, found.odd), (frozenset(search.sure(found)), nowhere)]
    if 1 < len(found.odd) == len(found.fits):  # without all of them nothing tells where they hang
        worst = max(sorted(found.odd), key=lambda run: found.fits[run].odd)
        wanted.insert(0, (faults, frozenset({worst})))
    return wanted


def _search(seen: Evidence, takes: Mapping[str, Takes], departures: Departures) -> Search:
    return Search(seen, slacks(seen, seen.mean.shape, max(1.5, 0.35 * spacing(seen.lights)), takes), departures)


@dataclass(frozen=True, eq=False)
class Reading:
    """What one clip says of a show.

    Attributes:
        facts: what the clip is.
        frames: how many of its frames were looked at.
        good: whether anything could be read from it.
        says: what is wrong with the clip, or what would make it better; empty where nothing would.
        verdict: what it says; None where nothing could be read.
        still: its first frame as all others show it, in grey levels: shape (height, width); None where there is none.
        sights: where it shows the runs that are not drawn.
    """

    facts: Facts
    frames: int
    good: bool
    says: str
    verdict: Verdict | None
    still: registration.Grey | None
    sights: Mapping[str, Sight] = field(default_factory=dict)


def read_clip(facts: Facts, plan: Planned, code: Code, tell: Progress = lambda part: None) -> Reading:
    """What a clip says of a show."""
    if short := quality.too_short(facts, code):
        return Reading(facts, 0, False, short, None, None)
    seen, read = watched(facts, code, tell)
    tell(0.93)
    frames, missing = len(seen.laid), seen.cube.missing()
    if why := _unreadable(seen, read):
        return Reading(facts, frames, False, why, None, seen.mean)
    found = explained(plan, code, seen, read)
    if found is None:
        where = (
            "its lights lie nowhere as the plan has them: is it this show, filmed from the front, and the right way up?"
        )
        return Reading(facts, frames, False, where, None, seen.mean)
    white = float((found[0].lights.swing == 0).all(axis=(1, 2)).mean()) if len(found[0].lights) else 0.0
    remarks = quality.remarks(facts, seen.laid, read.lights, missing, white)
    return Reading(facts, frames, True, remarks, verdict(*found), seen.mean, sights(*found, read.lights))
