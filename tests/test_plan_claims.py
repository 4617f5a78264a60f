"""What `power --plan` says, held against what the program itself makes of the same show: nothing may contradict it."""

import random
from itertools import combinations

import numpy as np
import pytest
from conftest import wired
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_planning import AT_BOX, BOX, line, shows
from test_power import fed, show, tap

from patcher.limits import feeding, hold
from patcher.limits.places import pixel_places, supply_place
from patcher.limits.planning import Plan, RailPlan, plan
from patcher.limits.power import Power, power
from patcher.limits.wires import Wire
from patcher.show.schema import Feed, Tap
from patcher.wiring import wire

THICK = Wire(awg=10)


def has_margin(state: Power, rail: RailPlan, margin: float) -> bool:
    """Whether each pixel of a rail has its least volts and the margin."""
    for run, first, last in rail.parts:
        kind = state.show.type_of(state.show.runs[run])
        volts = state.volts(run)[first - 1 : last]
        if not (volts >= kind.min_volts + margin * kind.volts - 1e-9).all():
            return False
    return True


def without(state: Power, rail: RailPlan) -> dict[str, Feed]:
    return {name: feed for name, feed in state.show.feeds.items() if name not in rail.feeds}


def rewired(found: Plan, rail: RailPlan, pixels: tuple[tuple[str, int], ...]) -> Power:
    """The show as planned, but for one rail, which has a pair of wires of its own, straight, to each of these pixels."""
    feeds = without(found.after, rail)
    for number, (run, pixel) in enumerate(pixels):
        box, _ = supply_place(found.after.wiring, rail.supply, rail.parts[0][0])
        metres = max(float(np.hypot(*(pixel_places(found.after.wiring, run)[pixel - 1] - box))), 0.1)
        one = Feed(supply=rail.supply, awg=THICK.awg, taps=(Tap(run=run, pixel=pixel, length=metres),))
        one._name = f"try-{number}"
        feeds[one.name] = one
    wiring = wire(found.after.show.model_copy(update={"feeds": feeds}))
    return power(wiring, level=found.after.level, celsius=found.after.celsius)


def sound(state: Power, rail: RailPlan, margin: float) -> bool:
    """Whether a rail so rewired holds: its volts, its wires, and a fuse for each of its feeds."""
    mine = {f"run.{run}{lead}" for run, _, _ in rail.parts for lead in ("", ".lead")}
    tried = [load for load in state.feeds if load.feed.name.startswith("try-")]
    mine |= {f"feed.{load.feed.name}" for load in tried}
    burnt = any(finding.rule == "wire" and finding.where in mine for finding in hold.findings(state.wiring, state))
    return has_margin(state, rail, margin) and not burnt and all(load.blade is not None for load in tried)


# ─── The count ───────────────────────────────────────────────────────────────────────────────────────────────────────


def neighbours(pick: random.Random) -> dict:
    """Short runs on one port whose V+ is cut and whose ground goes on, some of them fed, from one supply or two."""
    ma = round(10 ** pick.uniform(1.5, 3.2), 1)
    kinds = {"lamp": {"channel_ma": ma, "idle_ma": 0.0, "min_volts": round(pick.uniform(8, 11.3), 2), "pitch": 0.5,
                      "awg": pick.choice((18, 22, 24, 26)), "draw": pick.choice(("current", "current", "power"))}}  # fmt: skip
    runs, x = {}, 0.0
    for name in "abc"[: pick.randint(2, 3)]:
        pixels = pick.randint(1, 5)
        at = [[round(x + 0.1 * number, 2), 0.0] for number in range(pixels)]
        runs[name] = {"shape": "points", "at": at, "power_joined": pick.random() < 0.2,
                      "lead": round(pick.uniform(0.01, 0.5), 2), "lead_awg": pick.choice((10, 22))}  # fmt: skip
        x += 0.1 * pixels
    feeds = {}
    if pick.random() < 0.5:
        feeds["f"] = {"supply": "s", "awg": pick.choice((10, 20)), "fuse": 30, "taps": [
            tap(name, pick.choice(("first", "last")), round(pick.uniform(0.1, 3), 1))
            for name in pick.sample(sorted(runs), pick.randint(1, len(runs)))
        ]}  # fmt: skip
    supplies = {"s": {"volts": 12.0, "amps": 400.0, "box": "box"}}
    if pick.random() < 0.3:
        supplies["t"] = {"volts": 12.0, "amps": 400.0, "box": "box"}
    return show(runs, feeds, kinds=kinds, box={"at": [x / 2, 0.0]}, supplies=supplies)


def counted(seed: int) -> str:
    """Hold every claim of a plan about numbers against the solved show; what was claimed."""
    pick = random.Random(seed)
    margin = pick.choice((0.0, 0.05))
    found = plan(wired(neighbours(pick)), gauges=(Wire(awg=18), THICK), slack=0.0, margin=margin)
    claims = []
    for rail in found.rails:
        assert has_margin(found.after, rail, margin)
        assert not has_margin(found.before, rail, margin)
        assert rail.bound <= len(rail.taps)
        assert not sound(rewired(found, rail, ()), rail, margin)
        every = [(run, pixel) for run, first, last in rail.parts for pixel in range(first, last + 1)]
        for pixels in combinations(every, rail.bound - 1) if rail.bound else ():
            fewer = rewired(found, rail, pixels)
            back = min((load.amps for load in fewer.feeds if load.feed.name.startswith("try-")), default=0.0) < -1e-9
            assert back or not sound(fewer, rail, margin), (seed, rail, pixels)
        claims.append(f"{min(rail.bound, 2)}{' proved' if rail.proved else ''}")
    return ", ".join(claims)


@pytest.mark.parametrize("begin", range(0, 120, 20))
def test_no_count_that_is_proved_is_beaten_where_a_neighbour_shares_the_ground(begin: int) -> None:
    for seed in range(begin, begin + 20):
        counted(seed)
