"""Added feeds, fitted to what they carry in the whole show: their fuses and wires, and those of what branches off."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.power import shortfalls
from patcher.power.feed_plan import plan
from patcher.power.flow import power
from patcher.power.planned_feeds import fitted
from patcher.power.stretches import roots
from patcher.power.strip import strip_of
from patcher.power.wire_trees import Rig, Stock
from patcher.power.wires import AWG_BEARS, BLADES, Wire
from rig.examples import examples
from rig.feed_lines import AT_BOX
from rig.power_show import fed, show, tap
from rig.shipped import wired

GAUGES = tuple(Wire(awg=awg) for awg in (20, 18, 16, 14, 12, 10))
SIZES = (Wire(awg=24), Wire(awg=22), *GAUGES)
AMPS = 0.06
"""Of one pixel. Source: three channels of 20 mA (`rig.power_show`); it draws no less at fewer volts."""


@st.composite
def trees(draw: st.DrawFn) -> tuple[dict, dict[str, float], frozenset[str]]:
    """Runs apart from each other with one tap each, on a trunk or on a branch of it; what each feed carries by
    arithmetic; and which feeds a person had already."""
    pixels = {f"run-{number}": draw(st.integers(1, 80)) for number in range(draw(st.integers(1, 5)))}
    runs = {name: {"pixels": size, "power_joined": False} for name, size in pixels.items()}
    of = {name: draw(st.sampled_from(["trunk", "branch", "twig"])) for name in pixels}
    of["run-0"] = "trunk"
    on = {feed: [run for run, its in of.items() if its == feed] for feed in ("trunk", "branch", "twig")}
    sources = {"branch": "trunk", "twig": "branch" if on["branch"] else "trunk"}
    awg = {feed: draw(st.sampled_from([20, 18, 14, 10])) for feed in on}
    feeds: dict[str, dict] = {}
    for feed, its in on.items():
        if not its:
            continue
        taps = [tap(run, 1, 0.5) for run in its]
        most = max(size for size in BLADES if size <= min(AWG_BEARS[awg[each]] for each in on if on[each]))
        fuse = draw(st.sampled_from([size for size in BLADES if size <= most]))
        feeds[feed] = fed(*taps, awg=awg[feed], fuse=fuse)
        if feed != "trunk":
            feeds[feed] = {"from": sources[feed], "tap": draw(st.integers(1, len(on[sources[feed]]))),
                           "awg": awg[feed], "taps": taps}  # fmt: skip
    own = {feed: AMPS * sum(pixels[run] for run in its) for feed, its in on.items()}
    carries = dict(own)
    for feed in ("twig", "branch"):
        carries[sources[feed]] += carries[feed]
    given_ = draw(st.sampled_from([frozenset(), frozenset(), frozenset({"trunk"}), frozenset(feeds)]))
    tables = show(runs, feeds, supplies={"s": {"volts": 48.0, "amps": 200.0}}, level=1.0,
                  kinds={"lamp": {"volts": 48.0, "channel_ma": 20.0, "idle_ma": 0.0, "min_volts": 1.0}})  # fmt: skip
    return tables, {feed: carries[feed] for feed in feeds}, given_


@examples(40, 300)
@given(trees())
def test_what_is_added_bears_what_it_carries_and_has_the_fuse_for_its_weakest_branch(drawn: tuple) -> None:
    # Source: arithmetic, and the rules: the current is at most 80 % of a fuse (NEC 210.20(A), from memory), and the
    # fuse no more than the weakest wire behind it bears;
    # a wire bears what it carries; what a person had stays
    tables, carries, given_ = drawn
    before = power(wired(tables))
    after = fitted(before, given_, GAUGES)
    assert after.show.feeds.keys() == before.show.feeds.keys()
    bears = {name: AWG_BEARS[int(feed.awg or 0)] for name, feed in after.show.feeds.items()}
    for name, feed in after.show.feeds.items():
        was = before.show.feeds[name]
        assert (feed.supply, feed.source, feed.tap, feed.taps) == (was.supply, was.source, was.tap, was.taps)
        assert bears[name] >= AWG_BEARS[int(was.awg or 0)]
        if name in given_:
            assert feed == was
    for load in after.feeds:
        assert np.isclose(load.amps, carries[load.feed.name])
        assert load.feed.name in given_ or bears[load.feed.name] >= carries[load.feed.name] - 1e-9
    if given_:
        return
    trunk = after.show.feeds["trunk"]
    assert {root.name for root in roots(after.show).values()} == {"trunk"}
    assert carries["trunk"] <= 0.8 * trunk.fuse + 1e-9
    assert trunk.fuse <= min(bears.values())
    assert trunk.fuse == min(size for size in BLADES if carries["trunk"] <= 0.8 * size + 1e-9)
    wrong = {(finding.rule, finding.where) for finding in shortfalls.findings(after.wiring, after)}
    assert not {(rule, where) for rule, where in wrong if where.startswith("feed.") and rule in ("fuse", "wire")}


def test_what_is_thickened_hangs_on_the_feed_that_wants_it() -> None:
    # By hand: 15 pixels take 0.9 A, 125 take 7.5 A, 75 % of a blade of 10 A: AWG 16 bears that, AWG 20 does not
    runs = {name: {"pixels": size, "power_joined": False} for name, size in
            {"few": 10, "fewer": 5, "many": 120, "more": 5}.items()}  # fmt: skip
    feeds = {
        "sound": fed(tap("few", 1, 0.5), awg=20, fuse=2),
        "sound-branch": {"from": "sound", "tap": 1, "awg": 20, "taps": [tap("fewer", 1, 0.5)]},
        "heavy": fed(tap("many", 1, 0.5), awg=14, fuse=2),
        "heavy-branch": {"from": "heavy", "tap": 1, "awg": 20, "taps": [tap("more", 1, 0.5)]},
    }
    before = power(wired(show(runs, feeds, supplies={"s": {"volts": 12.0, "amps": 90.0}}, level=1.0)))
    after = fitted(before, frozenset(), GAUGES).show.feeds
    assert {name: feed.awg for name, feed in after.items()} == {
        "sound": 20, "sound-branch": 20, "heavy": 14, "heavy-branch": 16
    }  # fmt: skip
    assert {name: feed.fuse for name, feed in after.items() if feed.fuse} == {"sound": 2, "heavy": 10}


@pytest.mark.parametrize("milliamperes", [100.0, 200.0, 300.0])
def test_a_branch_for_little_is_as_thick_as_the_fuse_of_its_trunk_wants(milliamperes: float) -> None:
    # Source: the rule; a heavy run near the supply, light ones off to two sides: wire for the light ones' amperes
    # alone would be AWG 24, and burn behind a fuse for the heavy one
    light = {"channel_ma": milliamperes, "idle_ma": 0.0, "min_volts": 11.4, "awg": 18, "pitch": 0.05}
    lead = {"lead_awg": 26, "shape": "points"}
    runs = {
        "left": {"pixel": "light", "shape": "points", "at": [[1.5, -3.0], [1.55, -3.0]]},
        "mid": {"pixel": "heavy", "at": [[1.0 + 0.05 * number, 0.0] for number in range(4)], "lead": 4.0} | lead,
        "right": {"pixel": "light", "at": [[1.0, 8.0], [1.05, 8.0]], "lead": 9.0} | lead,
    }
    kinds = {"light": light, "heavy": light | {"channel_ma": 700.0, "awg": 8}}
    tables = show(runs, {}, kinds=kinds, box={"at": [0.0, 0.0]}, supplies=AT_BOX)
    found = plan(wired(tables), gauges=SIZES, margin=0.0)
    assert found.open == ()
    feeds, root = found.after.show.feeds, roots(found.after.show)
    assert any(feed.supply is None for feed in feeds.values()), "a branch"
    for load in found.after.feeds:
        fuse = root[load.feed.name].fuse
        assert load.amps <= 0.8 * fuse
        assert fuse <= AWG_BEARS[load.feed.awg]
    # and so at the first go, before the whole show is looked at
    state = found.before
    [part] = state.stretches
    strip = strip_of(state, part, np.full(8, 11.4))
    rig = Rig(strip, 12.0, np.zeros(2), Stock(SIZES, 0.15, 0.1), 1.0, 20.0, 0.0)
    trunks = rig.wired((0, 2, 7))
    assert trunks is not None
    assert [trunk.start is None for trunk in trunks] == [True, False]
    assert trunks[0].amps <= 0.8 * trunks[0].fuse
    assert trunks[0].fuse <= min(trunk.wire.bears for trunk in trunks)
