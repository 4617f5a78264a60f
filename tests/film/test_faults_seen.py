"""Which faults explain what is seen: places, slips and dark pixels, over evidence that is made up without a picture."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher.clip import hues
from patcher.clip.decode import templates
from patcher.faults import departure, parse
from patcher.film.evidence import Evidence
from patcher.film.faults_seen import Explained
from patcher.film.fit import Slack, fit
from patcher.film.mixed import channels_seen, letters_exchanged
from patcher.film.shown import DARK, Shown, shown
from patcher.film.slack import slacks
from rig.examples import later
from rig.hut import hut
from rig.made_up_film import alike, explained, filmed

NEAR = 1.5


@cache
def seen_with(text: str = "", seed: int = 5, lost: float = 0.0) -> Evidence:
    own = hut()
    takes = departure(own.plan, (parse(text, own.plan.wiring),)).takes if text else {}
    found = filmed(own, takes, np.random.default_rng(seed), lost).seen
    assert found is not None
    return found


@cache
def explained_with(text: str, seed: int = 5, lost: float = 0.0) -> Explained:
    return explained(seen_with(text, seed, lost))


def found(text: str, seed: int = 5, lost: float = 0.0) -> bool:
    """Whether what is named looks like this fault, pixel for pixel."""
    own = hut()
    return alike(own.plan, (parse(text, own.plan.wiring),), explained_with(text, seed, lost).named, own.places)


QUICK = ["reversed:ledge", "swapped-ports:box/3,box/4", "missing:sill/5"]
SLOW = [
    "cut:sill/8", "colour-order:rail=RGB",
    "data-in:panel=top-left", "turns:panel=same-way", "shift:hatch=2", "lines:panel=columns", "dead:box/3",
    "replaced:panel/20=RGB", "flicker:ledge/7", "swapped-runs:rail,hatch",
    "count:box/2=-5", "data-in:hatch=top-right", "universe-shift:box/2=1",
]  # fmt: skip


@pytest.mark.parametrize("text", [*QUICK, *later(*SLOW)])
def test_a_single_fault_is_named_where_every_light_is_read(text: str) -> None:
    assert found(text)


TOGETHER = [
    # the right words at the right places, all in other colours: worth more than no words of theirs at all
    "swapped-ports:box/3,box/4+colour-order:ledge=BRG",
    "swapped-starts:box/3,box/4+reversed:sill+missing:ledge/6",
    # two that hide each other in one run: where the pixel is missing is known once the corner is
    "data-in:panel=top-left+missing:panel/12",
    # a pixel with white among those without: all behind it take channels of two, by words that are read all the same
    "replaced:panel/20=RGBW+universe-shift:box/2=1",
    # neither the words without their colours nor the colours without their words explain anything
    "shift:panel=4+colour-order:panel=BRG",
    # another order among pixels that all take channels of two: its light goes with them, in each other's colours
    "replaced:panel/8=GRBW+replaced:panel/24=BGR",
]


@pytest.mark.parametrize("texts", [TOGETHER[0], *later(*TOGETHER[1:])])
def test_several_faults_in_one_place_are_named(texts: str) -> None:
    own = hut()
    faults = tuple(parse(text, own.plan.wiring) for text in texts.split("+"))
    seen = filmed(own, departure(own.plan, faults).takes, np.random.default_rng(5), 0.0).seen
    assert seen is not None
    named = explained(seen)
    assert alike(own.plan, faults, named.named, own.places), named.named


@pytest.mark.parametrize("seed", [1, *later(2, 3, 4)])
def test_a_run_whose_data_is_in_no_order_is_said_to_be_strange_and_no_fault_is_named(seed: int) -> None:
    own, rng = hut(), np.random.default_rng(seed)
    takes = {"panel": rng.permutation(own.plan.takes["panel"])}
    seen = filmed(own, takes, rng, 0.0).seen
    assert seen is not None
    result = explained(seen)
    assert result.strange == {"panel"}
    assert not result.named
    assert result.unsure["panel"].all()


@pytest.mark.parametrize("seed", [1, *later(2, 3, 4)])
def test_beside_a_strange_run_a_fault_of_others_is_named(seed: int) -> None:
    own, rng = hut(), np.random.default_rng(seed)
    fault = parse("swapped-ports:box/3,box/4", own.plan.wiring)
    takes = {**departure(own.plan, (fault,)).takes, "panel": rng.permutation(own.plan.takes["panel"])}
    seen = filmed(own, takes, rng, 0.0).seen
    assert seen is not None
    result = explained(seen)
    assert "panel" in result.strange
    assert alike(own.plan, (fault,), result.named, own.places)


@pytest.mark.parametrize("seed", [1, *later(2, 3, 4)])
def test_a_fault_that_explains_most_of_a_strange_run_is_named_and_none_of_it_is_sure(seed: int) -> None:
    own, rng = hut(), np.random.default_rng(seed)
    fault = parse("data-in:panel=top-left", own.plan.wiring)
    panel = departure(own.plan, (fault,)).takes["panel"].copy()
    some = rng.choice(len(panel), 7, replace=False)
    panel[some] = panel[np.roll(some, 1)]
    seen = filmed(own, {"panel": panel}, rng, 0.0).seen
    assert seen is not None
    result = explained(seen)
    assert result.strange == {"panel"}
    assert alike(own.plan, (fault,), result.named, own.places)
    assert result.unsure["panel"].all()


@given(st.integers(0, 10**6), st.floats(0.5, 2.0))
def test_light_goes_with_its_own_channels_though_it_is_too_bright_and_with_no_others(seed: int, bright: float) -> None:
    """The camera mixes colours and clips what is too bright, so that it looks white: most are known all the same."""
    own, rng = hut(), np.random.default_rng(seed)
    last = len(own.sent) - 2
    channels = rng.choice(own.plan.takes["panel"], 12, replace=False) + int(rng.integers(1, 3))
    light = (bright * own.light(channels, "RGB", rng)).clip(0, 1) * 200
    light = light + rng.normal(0, 8, light.shape)
    lit = own.sent[channels].std(axis=2).max(axis=1) > 0
    inner = templates(own.code).inner
    well = channels_seen(light.astype(np.float32), own.code, inner, channels.astype(np.int32), "RGB")
    others = (channels + 60).clip(0, last).astype(np.int32)
    apart = channels_seen(light.astype(np.float32), own.code, inner, others, "RGB")
    assert np.median(well[lit]) > 0.55
    assert np.median(apart[lit]) < np.median(well[lit]) - 0.2
    assert np.median(apart) < 0.4


@given(st.integers(0, 10**6))
def test_light_goes_with_its_channels_in_spite_of_another_pixel_in_its_place_and_of_a_car(seed: int) -> None:
    """An arch that is strung over and back; headlights sweep over it for a second."""
    own, rng = hut(), np.random.default_rng(seed)
    every = own.plan.takes["panel"]
    row, other = rng.choice(len(every) - 3, 2, replace=False)
    mixed, beside = every[[row]] + 1, every[[other]]
    light = 120 * (own.light(mixed, "RGB", rng) + own.light(beside, "RGB", rng))
    sweep = rng.integers(2, own.code.bins - 12) + np.arange(10)
    light[:, sweep] += rng.uniform(200, 500, (1, 10, 1))
    light = (light + rng.normal(0, 1, light.shape)).astype(np.float32)
    away = np.zeros(own.code.bins, dtype=bool)
    away[sweep] = True
    inner, whole = templates(own.code, away).inner, templates(own.code).inner
    both, one = beside.astype(np.int32), mixed.astype(np.int32)
    assert channels_seen(light, own.code, inner, one, "RGB", both)[0] > 0.85
    assert channels_seen(light, own.code, inner, one, "RGB")[0] < 0.8
    assert channels_seen(light, own.code, whole, one, "RGB", both)[0] < 0.8
    assert channels_seen(light, own.code, inner, (one + 30).astype(np.int32), "RGB", both)[0] < 0.5


@given(st.integers(0, 10**6), st.permutations(range(3)))
def test_letters_in_each_others_colour_are_told_where_the_channels_are_of_several_pixels(
    seed: int, order: list[int]
) -> None:
    own, rng = hut(), np.random.default_rng(seed)
    channels = rng.choice(own.plan.takes["panel"], 14, replace=False) + int(rng.integers(1, 3))
    assume((own.code.pixel_of(channels[5].astype(np.int64))[0] >= 0).all())  # what does not play tells nothing
    takes = channels.copy()
    takes[5] = takes[5][order]
    light = own.light(takes, "RGB", rng) * 160 + rng.normal(0, 1.5, (len(takes), own.sent.shape[1], 3))
    found = letters_exchanged(
        light.astype(np.float32), own.code, templates(own.code).inner, channels.astype(np.int32), "RGB"
    )
    assert found[5].tolist() == [letter != place for place, letter in enumerate(order)]
    assert not np.delete(found, 5, axis=0).any()


@pytest.mark.parametrize("text", [*later("dark-channel:panel/13=B"), "dark-channel:hatch/9=R"])
def test_one_dark_letter_is_named(text: str) -> None:
    """Of which all is seen: the letter's segment is dark, the others play."""
    own = hut()
    run, pixel = text.split(":")[1].split("=")[0].split("/")
    result = explained_with(text)
    assert (seen_with(text).hue[result.fits[run].row[int(pixel) - 1]] == -1).sum() == 1
    assert alike(own.plan, (parse(text, own.plan.wiring),), result.named, own.places)


@pytest.mark.parametrize("text", [QUICK[1], *later(*QUICK, *SLOW)])
def test_what_is_seen_speaks_less_against_the_true_wiring_than_against_the_plan(text: str) -> None:
    own, seen = hut(), seen_with(text, 7)
    takes = departure(own.plan, (parse(text, own.plan.wiring),)).takes
    held = slacks(seen, seen.mean.shape, NEAR, seen.plan.takes)
    for run in takes:
        evidence, slack = held[run]
        assert evidence.map.bend == seen.map.bend, "a map without the run knows no lens of its own"
        true, plan = (
            fit(evidence, run, shown(each, own.letters(run), own.code), slack).cost
            for each in (takes[run], own.plan.takes[run])
        )
        assert true < plan


def test_a_run_that_hangs_a_little_aside_costs_little_and_one_that_slips_a_pixel_costs_much() -> None:
    """The sill displaced along itself: by a fifth of a pitch it hangs so, by a whole one its count is off."""
    own, seen = hut(), seen_with()
    slack = Slack(0.005)
    wired = shown(own.plan.takes["sill"], own.letters("sill"), own.code)
    along = np.diff(own.places["sill"], axis=0)[0]
    costs = [
        fit(replace(seen, places={**seen.places, "sill": own.places["sill"] + part * along}), "sill", wired, slack).cost
        for part in (0.0, 0.15, 1.0)
    ]
    assert costs[1] < costs[0] + 8
    assert costs[2] > costs[0] + 25


def test_no_pixel_is_close_whose_light_is_half_a_pitch_away() -> None:
    own, seen = hut(), seen_with()
    wired = shown(own.plan.takes["ledge"], own.letters("ledge"), own.code)
    found_fit = fit(seen, "ledge", wired, Slack(0.01))
    pitch = seen.pitch["ledge"]
    assert found_fit.close.mean() > 0.9
    lights = seen.at[found_fit.row[found_fit.close]]
    off = np.hypot(*(lights - found_fit.places[found_fit.close]).T)
    assert off == pytest.approx(found_fit.off[found_fit.close])
    assert off.max() < 0.5 * pitch
    planned = own.code.word_of(own.plan.takes["ledge"])
    assert (seen.lights.pixel[found_fit.row[found_fit.close]] == planned[found_fit.close]).all()


def test_a_run_keeps_its_order_and_its_distances() -> None:
    """However freely it may hang, its places are those of the plan, displaced and a little stretched."""
    own, seen = hut(), seen_with()
    wired = shown(own.plan.takes["hatch"], own.letters("hatch"), own.code)
    loose = fit(seen, "hatch", wired, Slack(0.12, 0.12)).places
    here = own.places["hatch"]
    table = np.column_stack([here, np.ones(len(here))])
    left = loose - table @ np.linalg.lstsq(table, loose, rcond=None)[0]
    assert np.abs(left).max() < 1e-9
    steps = np.hypot(*np.diff(loose, axis=0).T) / np.hypot(*np.diff(here, axis=0).T)
    assert np.abs(steps - 1).max() < 0.15


def test_more_light_than_is_wired_and_less_both_speak_against_a_wiring() -> None:
    own, seen = hut(), seen_with()
    plan = own.plan.takes["ledge"]
    half = np.where(np.arange(15)[:, None] < 8, plan, -1)
    costs = {
        name: fit(seen, "ledge", shown(takes, own.letters("ledge"), own.code), Slack(0.01)).cost
        for name, takes in (("plan", plan), ("dark", np.full_like(plan, -1)), ("half", half))
    }
    assert costs["plan"] < costs["half"] < costs["dark"]


def test_a_dark_pixel_that_hangs_on_a_lit_one_of_its_run_is_no_wonder() -> None:
    """Over and back: the back half is dark, and every place of it is lit by the front half."""
    seen = seen_with()
    out = seen.places["sill"]
    there = replace(seen, places={**seen.places, "sill": np.concatenate([out, out[::-1]])})
    sill = shown(hut().plan.takes["sill"], hut().letters("sill"), hut().code)
    dark = np.full_like(sill.pixel, DARK)
    both = Shown(np.concatenate([sill.pixel, dark]), np.concatenate([sill.hue, np.full_like(sill.hue, hues.DARK)]))
    held = slacks(seen, seen.mean.shape, NEAR, seen.plan.takes)["sill"][1]
    assert fit(there, "sill", both, held).cost == pytest.approx(fit(seen, "sill", sill, held).cost, abs=1)


def test_what_is_out_of_the_picture_speaks_against_no_wiring() -> None:
    """As if the picture ended in the middle of a run: the lights behind its edge are not read."""
    whole = seen_with()
    at = whole.map.picture(whole.places["sill"])
    edge = int(at[9, 0] + at[8, 0]) // 2
    kept = np.flatnonzero(whole.lights.at[:, 0] < edge - 3)
    cut = replace(whole, mean=whole.mean[:, :edge], lights=whole.lights.of(kept), hue=whole.hue[kept])
    sill = shown(hut().plan.takes["sill"], hut().letters("sill"), hut().code)
    slack = Slack(0.02)
    assert fit(cut, "sill", sill, slack).cost < fit(replace(cut, mean=whole.mean), "sill", sill, slack).cost - 10


def test_other_runs_tell_where_a_run_hangs() -> None:
    """The more lights of others, and the nearer, the less a run may float; alone it may be anywhere."""
    seen = seen_with()
    held = slacks(seen, seen.mean.shape, NEAR, seen.plan.takes)
    assert set(held) == set(seen.places)
    for run, (evidence, slack) in held.items():
        assert slack.shift > 0
        if len(hut().places[run]) / len(seen.lights) > 0.15 and evidence is not seen:
            # A run with many of all lights is held against a map that knows nothing of them.
            other = evidence.map.picture(hut().places[run])
            assert not np.allclose(other, seen.map.picture(hut().places[run]), atol=1e-9)
    few = replace(seen, lights=seen.lights.of(np.arange(0, len(seen.lights), 6)), hue=seen.hue[::6])
    loose = slacks(few, seen.mean.shape, NEAR, seen.plan.takes)
    assert all(loose[run][1].shift >= held[run][1].shift for run in held)


@pytest.mark.parametrize(
    "texts",
    [
        ["reversed:rail", "data-in:panel=top-right"],
        *later(["reversed:sill", "reversed:ledge", "reversed:rail", "data-in:panel=top-right"]),
    ],
)
def test_runs_that_are_known_to_be_wired_wrongly_tell_where_another_hangs(texts: list[str]) -> None:
    own = hut()
    takes = {**own.plan.takes, **departure(own.plan, tuple(parse(text, own.plan.wiring) for text in texts)).takes}
    seen = filmed(own, takes, np.random.default_rng(5), 0.0).seen
    assert seen is not None
    known, planned = (slacks(seen, seen.mean.shape, NEAR, each)["hatch"] for each in (takes, own.plan.takes))
    assert known[1].shift < 0.5 * planned[1].shift
    here = own.places["hatch"]
    off = known[0].map.plan(seen.map.picture(here)) - here
    assert np.hypot(*off.T).max() < 0.5 * seen.pitch["hatch"]


@pytest.mark.parametrize("run", ["panel", *later("hatch"), "sill"])
def test_a_run_says_nothing_of_where_it_should_be(run: str) -> None:
    """Its lights all moved by a pitch: what it is held against stays where it is."""
    own, seen = hut(), seen_with()
    rows, _ = seen.rows(own.code.word_of(own.plan.takes[run]))
    at = seen.lights.at.copy()
    at[rows] += [6.0, 0.0]
    moved = replace(seen, lights=replace(seen.lights, at=at))
    before, after = (slacks(each, each.mean.shape, NEAR, each.plan.takes)[run] for each in (seen, moved))
    assert before[0] is not seen
    here = own.places[run]
    assert after[0].map.picture(here) == pytest.approx(before[0].map.picture(here), abs=0.05)
    assert after[1].shift == pytest.approx(before[1].shift, rel=0.05)


def test_where_too_few_others_tell_a_run_may_hang_anywhere_near() -> None:
    own, seen = hut(), seen_with()
    few = []
    for run in ("panel", "rail", "ledge"):
        rows, _ = seen.rows(own.code.word_of(own.plan.takes[run]))
        few.append(rows[:12])
    kept = np.sort(np.concatenate(few))
    held = slacks(
        replace(seen, lights=seen.lights.of(kept), hue=seen.hue[kept]), seen.mean.shape, NEAR, seen.plan.takes
    )
    for run in ("panel", "rail", "ledge"):
        # Two pixels' distance and more: a slip cannot be told from how it hangs.
        assert held[run][1].shift > 2 * seen.pitch[run]


def test_nothing_is_sure_in_a_run_of_which_a_third_is_not_read() -> None:
    own, seen = hut(), seen_with()
    rows, which = seen.rows(own.code.word_of(own.plan.takes["ledge"]))
    kept = np.setdiff1d(np.arange(len(seen.lights)), rows[np.isin(which, [1, 4, 5, 8, 11, 13])])
    result = explained(replace(seen, lights=seen.lights.of(kept), hue=seen.hue[kept]))
    assert result.unsure["ledge"].all()
    assert not result.unsure["sill"].all()


@pytest.mark.parametrize("text", ["reversed:sill", *later("shift:rail=-2")])
def test_what_is_named_explains_more_than_the_plan(text: str) -> None:
    named = explained_with(text)
    seen = seen_with(text)
    held = slacks(seen, seen.mean.shape, NEAR, seen.plan.takes)
    plan = sum(
        fit(held[run][0], run, shown(takes, hut().letters(run), hut().code), held[run][1]).cost
        for run, takes in hut().plan.takes.items()
    )
    assert named.cost < plan
    assert named.named


def dead_though_lit(text: str, seed: int) -> list[str]:
    """Runs that are said to be dark though half of their words and more are read in the clip."""
    own = hut()
    takes = {**own.plan.takes, **departure(own.plan, (parse(text, own.plan.wiring),)).takes}
    seen, named = seen_with(text, seed), explained_with(text, seed)
    return [
        run for run, wired in named.wired.items()
        if (wired.pixel == -1).mean() > 0.5
        and np.isin(own.code.pixel_of(takes[run][:, 0].astype(np.int64))[0], seen.lights.pixel).mean() > 0.5
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "seed"),
    [
        ("reversed:sill", 5),
        *later(("data-in:hatch=top-right", 5), ("missing:rail/5", 5), ("reversed:sill", 9), ("shift:rail=-2", 6)),
    ],
)
def test_no_run_is_named_dark_whose_words_are_read(text: str, seed: int) -> None:
    assert dead_though_lit(text, seed) == []


def test_a_pixel_hidden_between_two_that_are_read_is_nothing_for_a_fault_to_explain() -> None:
    """It costs all the same; at the end of a run it may be cut off."""
    own, seen = hut(), seen_with()
    sill = shown(own.plan.takes["sill"], own.letters("sill"), own.code)

    def without(*pixels: int) -> tuple[float, float]:
        rows, _ = seen.rows(sill.pixel[list(pixels)])
        kept = np.setdiff1d(np.arange(len(seen.lights)), rows)
        part = replace(seen, lights=seen.lights.of(kept), hue=seen.hue[kept])
        found = fit(part, "sill", sill, Slack(0.01))
        return found.cost, found.odd

    whole, middle, end = without(), without(6), without(len(sill.pixel) - 1)
    assert middle[0] > whole[0] + 1
    assert end[0] > whole[0] + 1
    assert middle[1] == pytest.approx(whole[1], abs=0.5)
    assert end[1] > whole[1] + 1
