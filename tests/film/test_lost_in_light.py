"""Places before something bright or restless: a lit window, leaves in the wind, a wall that shakes with the camera."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from patcher.clip.decode import templates
from patcher.faults import departure, parse
from patcher.film.evidence import STRANGE, Evidence
from patcher.film.fit import Slack, fit
from patcher.film.shown import DARK, MIXED, shown
from rig.hut import hut
from rig.made_up_film import explained, filmed

NOWHERE = np.array([0.0, -3.0])


def seen_with(faults: str = "") -> Evidence:
    own = hut()
    takes = departure(own.plan, (parse(faults, own.plan.wiring),)).takes if faults else {}
    found = filmed(own, takes, np.random.default_rng(5), 0.0).seen
    assert found is not None
    return found


def test_glare_excuses_no_channels_that_fail_to_play_where_words_are_read() -> None:
    own, seen = hut(), seen_with()
    mean = np.full_like(seen.mean, 10.0)
    x, y = np.round(seen.map.picture(own.places["panel"])).astype(int).T
    mean[y.min() - 9 : y.max() + 9, x.min() - 9 : x.max() + 9] = 250.0
    glared = replace(seen, mean=mean)
    assert glared.glares(seen.map.picture(own.places["panel"])).all()
    takes = departure(own.plan, (parse("channel-shift:box/1=1", own.plan.wiring),)).takes["panel"]
    true, other = (shown(each, own.letters("panel"), own.code) for each in (own.plan.takes["panel"], takes[::-1]))
    assert (other.pixel == MIXED).mean() > 0.9
    costs = [fit(glared, "panel", each, Slack(0.005)).cost for each in (true, other)]
    assert costs[1] > costs[0] + 3 * len(takes)


def test_a_pixel_lost_in_something_bright_is_hidden_though_its_reflection_is_read() -> None:
    """Half an arch before a lit window, mirrored in a wet yard: it says nothing of how that half is wired."""
    own, seen = hut(), seen_with()
    ledge = shown(own.plan.takes["ledge"], own.letters("ledge"), own.code)
    rows, which = seen.rows(ledge.pixel)
    behind = which >= len(ledge.pixel) - 6
    at = seen.lights.at.copy()
    at[rows[behind]] = seen.map.picture(own.places["ledge"][which[behind]] + NOWHERE)
    mirrored = replace(seen, lights=replace(seen.lights, at=at))
    mean = np.full_like(seen.mean, 10.0)
    x, y = np.round(seen.map.picture(own.places["ledge"][-6:])).astype(int).T
    mean[y.min() - 9 : y.max() + 9, x.min() - 3 : x.max() + 9] = 250.0
    plain, bright = (fit(each, "ledge", ledge, Slack(0.005)) for each in (mirrored, replace(mirrored, mean=mean)))
    assert plain.odd > 6 * 5
    assert not plain.goes_well()
    assert bright.odd < 3
    assert bright.goes_well()
    assert not bright.close[-6:].any()


def test_where_all_around_blinks_a_dark_run_is_no_wonder() -> None:
    own, seen = hut(), seen_with("dead:box/3")
    run = next(run for run, (_, port) in own.plan.wiring.ports.items() if port == 3 and run in own.places)
    dark = shown(np.full_like(own.plan.takes[run], DARK), own.letters(run), own.code)
    high, wide = seen.mean.shape
    x, y = np.meshgrid(np.arange(2.0, wide, 3), np.arange(2.0, high, 3))
    every = np.column_stack([x.ravel(), y.ravel()])
    rng = np.random.default_rng(3)

    def restless(points: np.ndarray) -> np.ndarray:
        return rng.normal(60, 30, (len(points), own.code.bins, 3)).astype(np.float32)

    here = seen.map.picture(own.places[run])
    alone, among = replace(seen, busy=here), replace(seen, busy=every, look=restless)
    costs = [fit(each, run, dark, Slack(0.01)).cost for each in (seen, alone, among)]
    assert costs[0] == 0
    assert costs[1] > 0.9 * STRANGE * len(here)
    assert costs[2] < 0.1 * STRANGE * len(here)


def test_no_broken_data_is_named_before_leaves_that_hide_what_is_behind() -> None:
    """Whatever blinks goes with broken data: so it must explain much."""
    own, seen = hut(), seen_with()
    hidden = seen.planned("ledge")[-9:]
    rows, _ = seen.rows(hidden)
    kept = np.setdiff1d(np.arange(len(seen.lights)), rows)
    busy = np.concatenate([seen.busy, seen.map.picture(own.places["ledge"][-9:])])
    leaves = replace(seen, lights=seen.lights.of(kept), hue=seen.hue[kept], busy=busy)
    assert not [fault for fault in explained(leaves).named if fault.kind == "flicker"]


def test_a_car_that_lights_all_for_a_second_lets_no_dark_pixel_blink() -> None:
    own, seen = hut(), seen_with("dead:box/3")
    sweep = 20 + np.arange(10)
    away = np.zeros(own.code.bins, dtype=bool)
    away[sweep] = True

    def with_car(points: np.ndarray) -> np.ndarray:
        found = seen.look(points).copy()
        found[:, sweep] += 150
        return found

    dark = seen.map.picture(own.places["sill"])
    passed = replace(seen, look=with_car)
    assert passed.blinks(dark).all()
    assert not replace(passed, inner=templates(own.code, away).inner).blinks(dark).any()
    assert replace(passed, inner=templates(own.code, away).inner).blinks(seen.map.picture(own.places["rail"])).all()


def test_a_bright_wall_does_not_shine_and_a_light_before_it_does() -> None:
    """A light too bright for the camera does not blink: but it is brighter than what is around it."""
    own, seen = hut(), seen_with("dead:box/3")
    dark = seen.map.picture(own.places["sill"])
    x, y = np.round(dark).astype(int).T
    lit = np.maximum(seen.mean, 0.8 * float(np.median(seen.mean[seen.mean > 30])))
    assert not replace(seen, mean=lit).blinks(dark).any()
    shining = lit.copy()
    shining[y, x] = 2 * lit.max()
    assert replace(seen, mean=shining.clip(0, 249)).blinks(dark).all()
    assert replace(seen, mean=np.full_like(lit, 255.0)).blinks(dark).all()


def test_own_words_speak_less_against_channels_of_several_pixels_than_others() -> None:
    """Another turn of a tree hangs before half of them: their light is mixed, but a word of their own is read."""
    own, seen = hut(), seen_with("channel-shift:box/1=1")
    takes = departure(own.plan, (parse("channel-shift:box/1=1", own.plan.wiring),)).takes["panel"]
    wired, here = shown(takes, own.letters("panel"), own.code), seen.map.picture(own.places["panel"])
    assert (wired.pixel == MIXED).mean() > 0.9
    noise = np.random.default_rng(2).normal(0, 25, (1, own.code.bins, 3))
    dim = replace(seen, look=lambda points: (seen.look(points) + noise).astype(np.float32))
    rows = np.arange(len(takes)) % len(seen.lights)
    first = own.code.pixel_of(takes[:, 0].astype(np.int64))[0].clip(0)
    elsewhere = np.full(len(takes), seen.planned("ledge")[0])
    costs = [
        fit(replace(dim, lights=replace(seen.lights.of(rows), at=here, pixel=words)), "panel", wired, Slack(0.005)).cost
        for words in (first, elsewhere)
    ]
    assert costs[0] < 0.6 * costs[1]
    assert costs[1] > 2 * len(takes)
