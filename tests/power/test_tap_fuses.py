"""Taps for which no fuse can be had: what is said of them, and that no plan that is called good has one."""

import tomli_w
from hypothesis import Phase, given
from hypothesis import strategies as st

from patcher.mains import whole_level
from patcher.power import shortfalls
from patcher.power.feed_plan import plan
from patcher.power.flow import power
from patcher.reports.feed_plan_report import wrong
from patcher.show.parser import read
from patcher.wiring import wire
from rig.any_power import anything, wired_or_none
from rig.examples import examples
from rig.feed_lines import AT_BOX, BOX, line, shows
from rig.power_show import fed, show, tap
from rig.shipped import wired
from rig.tap_fuses import unprotected


@examples(25, 400)
@given(anything(), st.sampled_from([16, 22, 28, 30]))
def test_a_tap_is_named_if_and_only_if_no_blade_protects_its_string(tables: dict, awg: int) -> None:
    # Judge: rig/tap_fuses.py, from the gauges that the file gives and the amperes that its feeds bring.
    kinds = {name: kind | {"awg": awg} if kind.get("awg") == 16 else kind for name, kind in tables["pixel"].items()}
    wiring = wired_or_none(tables | {"pixel": kinds})
    if wiring is None:
        return
    state = power(wiring)
    named = {finding.where for finding in shortfalls.findings(wiring, state) if finding.rule == "tap-fuse"}
    assert named == {f"feed.{feed}" for feed, _ in unprotected(state, blades_only=True)}


@examples(3, 60, phases=[Phase.reuse, Phase.generate])  # no shrinking: an example takes long
@given(shows(), st.sampled_from([18, 20, 22, 24]), st.sampled_from([5, 20, 30]))
def test_no_plan_that_is_called_good_has_a_tap_that_no_fuse_fits(tables: dict, awg: int, fuse: int) -> None:
    # Judge: rig/tap_fuses.py. A stretch of which it finds one is said not to be planned, and its feed is warned of.
    kinds = {name: kind | {"awg": awg} for name, kind in tables["pixel"].items()}
    feeds = {name: feed | {"fuse": fuse} for name, feed in tables["feed"].items()}
    found = plan(wire(read(tomli_w.dumps(tables | {"pixel": kinds, "feed": feeds})).show))
    lacking = unprotected(found.after)
    first = {f"{run}/{pixel}": part.parts[0][0]
             for part in found.after.stretches for run, a, b in part.parts for pixel in range(a, b + 1)}  # fmt: skip
    assert {f"run.{first[place]}" for _, place in lacking} <= {finding.where for finding in found.open}
    assert {f"feed.{feed}" for feed, _ in lacking} == {each.where for each in wrong(found) if each.rule == "tap-fuse"}
    if not any(finding.severity == "warning" for finding in found.open):
        assert not lacking


def test_a_run_gets_as_many_taps_as_fuses_for_its_string_ask_for() -> None:
    # By hand: 100 pixels of 61 mA are 6.1 A. AWG 18 may carry 7 A (from memory: NFPA 70, 240.4(D)), a blade of 5 A is
    # the largest below that (ISO 8820-3), and carries 4 A for hours (210.20(A)): one tap is not enough, two are.
    # Without a least voltage that asks for more. AWG 14, 15 A, takes it all at one.
    for awg, taps in ((18, 2), (14, 1)):
        kinds = {"lamp": {"awg": awg, "min_volts": 1.0}}
        found = plan(wired(show({"a": line(100)}, {}, supplies=AT_BOX, box=BOX, kinds=kinds)), margin=0.0)
        assert found.open == ()
        [rail] = found.rails
        assert (len(rail.taps), rail.proved) == (taps, True)


def test_a_feed_whose_taps_no_fuse_fits_is_relieved() -> None:
    # By hand: 5.03 A into the middle of an AWG 20 string: its volts are enough, a fuse of 5 A carries 4 A.
    kinds = {"lamp": {"awg": 20, "min_volts": 1.0}}
    tables = show({"a": line(82)}, {"f": fed(tap("a", 41, 0.5))}, kinds=kinds, supplies=AT_BOX, box=BOX)
    assert unprotected(power(wired(tables))) == {("f", "a/41")}
    found = plan(wired(tables), margin=0.0)
    assert found.open == ()
    assert len(found.rails[0].taps) == 1
    assert not unprotected(found.after)
    assert shortfalls.findings(found.after.wiring, found.after) == []


def test_two_feeds_at_one_pixel_are_one_tap_to_the_string() -> None:
    # By hand: 66 pixels of 61 mA are 4.03 A. Two feeds with 2 A each at one pixel put as much into it as one with 4 A.
    kinds = {"lamp": {"awg": 20, "min_volts": 1.0}}
    feeds = {name: fed(tap("a", 1, 0.5)) for name in ("f", "g")}
    tables = show({"a": line(66)}, feeds, kinds=kinds, supplies=AT_BOX, box=BOX)
    state = power(wired(tables))
    assert unprotected(state) == {("f", "a/1"), ("g", "a/1")}
    found = [each for each in shortfalls.findings(state.wiring, state) if each.rule == "tap-fuse"]
    assert [each.where for each in found] == ["feed.f", "feed.g"]
    assert all("brings, with others there, 4.03 A into a/1" in each.says for each in found)


def test_a_level_at_which_all_is_ok_is_one_at_which_every_tap_has_a_fuse() -> None:
    # By hand: 66 pixels draw 66 mA dark and 60 mA each besides at full: 4 A at level 0.9934.
    kinds = {"lamp": {"awg": 20, "min_volts": 1.0}}
    state = power(wired(show({"a": line(66)}, {"f": fed(tap("a", 1, 0.5))}, kinds=kinds)))
    level, ends = whole_level.brightest(state)
    assert level == 0.99
    assert [end.rule for end in ends] == ["tap-fuse"]
    thin = power(wired(show({"a": line(5)}, {"f": fed(tap("a", 1, 0.5))}, kinds={"lamp": {"awg": 28}})))
    assert whole_level.brightest(thin)[0] == 1.0
    assert shortfalls.at_any_level(thin) == {"a string too thin for any blade fuse": ["feed.f"]}
