"""A second look at a clip, once it is known where the plan's places are in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from patcher.clip.cube import Cube
from patcher.clip.decode import Numbers, Templates, Turn, clear, decode
from patcher.clip.lights import Lights, direct, lights, strongest, swing, without
from patcher.clip.registration import Points
from patcher.clip.spots import Series, activity, flux, series
from patcher.faults import Takes
from patcher.film.evidence import Evidence
from patcher.film.fit import fit
from patcher.film.map_search import spacing
from patcher.film.shown import shown
from patcher.film.sites import Sites, parted
from patcher.film.slack import slacks
from patcher.frames.film_code import Channels

ON_SITE = 2.5
"""Points from a planned place within which a light is read there and nowhere else."""
ALONE, OWN, BY_WORD = 3.5, 0.4, 1e4
"""Points between sites from which on a spot is one site's alone, and the part of their distance within which it is:
further on it may be two sites' light together; points between words, so that the nearest light has the same.
"""
BUSY, STILL = 2.5, 0.2
"""A place blinks that changes by so many grey levels, and by such a part of what places do whose words are read."""
FAINT, FIRST = 0.42, 0.04
"""A word that is planned at a place is read there where it goes so well with the light, and so much better than any
other."""


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


def closely(seen: Evidence, cube: Cube, read: Heard, takes: Mapping[str, Takes]) -> Heard:
    """The lights read once more, each planned place by itself.

    Args:
        seen: what is known so far.
        cube: the clip.
        read: the lights that were read without the plan.
        takes: what each run's pixels are known to take.
    """
    at, planned = _places(seen, cube.shape, takes)
    counted = (np.concatenate(read.templates.inner) + read.turn.bins) % len(cube.values)
    sites = parted(cube, at, counted)
    light, tint = (np.roll(each, -read.turn.bins, axis=1) for each in (sites.light, sites.tint))
    shine = flux(cube, sites.at)
    found = lights(sites.at, light, read.templates, shine, tint)
    found = found.and_also(second_look(at, planned, sites, light, tint, found, read.templates, shine))
    tree = cKDTree(sites.at)
    away, _ = tree.query(read.lights.at)
    busy, least = _unread(light, tree.query(found.at)[1], found.pixel, read.templates)
    elsewhere = read.spots[tree.query(read.spots)[0] > ON_SITE]
    restless = np.concatenate([sites.at[busy], elsewhere])
    restless = restless[activity(series(cube, restless)[:, counted]) > least]  # a lit window has noise
    every = strongest(_as_read(found, read.lights, tree).and_also(read.lights.of(away > ON_SITE)))
    return replace(read, lights=direct(every, tree.query(every.at)[0] < ON_SITE), spots=restless)


def _as_read(found: Lights, before: Lights, sites: cKDTree) -> Lights:
    """Lights at the points where their words were read before, if that is near, and no other site beside it: a run that
    is wired wrongly does not hang as its sites have it.
    """
    if not len(before) or sites.n < 2:
        return found
    here, there = (np.column_stack([each.at, BY_WORD * each.pixel]) for each in (found, before))
    away, row = cKDTree(there).query(here)
    beside = sites.query(found.at, k=2)[0][:, 1]
    near = (beside > ALONE) & (away < np.minimum(ON_SITE, OWN * beside))
    return replace(found, at=np.where(near[:, None], before.at[row], found.at))


def _places(seen: Evidence, shape: tuple[int, int], takes: Mapping[str, Takes]) -> tuple[Points, Channels]:
    """Where every planned place is in the picture, as its run seems to hang, and whose word it should play."""
    held = slacks(seen, shape, max(1.5, 0.35 * spacing(seen.lights)), takes)
    show = seen.plan.wiring.show
    at: list[Points] = []
    planned: list[Channels] = []
    for run in seen.places:
        own, slack = held[run]
        wired = shown(takes[run], show.type_of(show.runs[run]).colour_order, seen.code)
        at.append(own.map.picture(fit(own, run, wired, slack).places))
        planned.append(wired.pixel)
    return np.concatenate(at), np.concatenate(planned)


def _unread(light: Series, site: Channels, pixel: Channels, own: Templates) -> tuple[NDArray[np.bool_], float]:
    """Which sites blink though nothing is read there that explains it; and by how much a place changes that blinks.

    Args:
        light: of each site.
        site, pixel: of each word that was read, where and whose it is.
        own: the words.
    """
    words: list[list[int]] = [[] for _ in light]
    for where, one in zip(site.tolist(), pixel.tolist(), strict=True):
        words[where].append(one)
    counted = np.concatenate(own.inner)
    whole, left = (activity(each[:, counted]) for each in (light, without(light, words, own)))
    has = np.array([bool(each) for each in words])
    usual = float(np.median(whole[has])) if has.any() else 0.0
    least = max(BUSY, STILL * usual)
    return (left > least) & (~has | (left > 0.5 * whole)), least


def second_look(
    at: Points,
    planned: Channels,
    sites: Sites,
    light: Series,
    tint: Series,
    found: Lights,
    own: Templates,
    shine: Numbers,
) -> Lights:
    """Lights too faint to be read among all words, whose planned word goes best with what is there nevertheless.

    Args:
        at: where each planned place is in the picture.
        planned: its pixel.
        sites, light, tint: the sites and their light, the cycle beginning in bin 0.
        found: what was read there.
        own: the words.
        shine: how much light comes from around each site.
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
    again = decode(clear(left, own), own)
    sure = (again.pixel == pixels) & (again.agrees > FAINT) & (again.agrees - again.next_best > FIRST)
    return Lights(
        sites.at[rows[sure]],
        pixels[sure],
        again.agrees[sure],
        *swing(tint[rows[sure]], own, pixels[sure]),
        again.parts[sure],
        shine[rows[sure]],
    )
