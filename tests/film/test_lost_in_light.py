"""Places before something bright or restless: a lit window, leaves in the wind, a wall that shakes with the camera."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

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
