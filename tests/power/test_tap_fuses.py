"""Taps for which no fuse can be had: what is said of them, and that no plan that is called good has one."""

import pytest
import tomli_w
from hypothesis import Phase, given
from hypothesis import strategies as st

from patcher.mains import whole_level
from patcher.placement.allocation import allocate
from patcher.power import shortfalls
from patcher.power.circuit import Join
from patcher.power.feed_plan import plan
from patcher.power.flow import power
from patcher.power.tap_fuse import TapFuse
from patcher.power.wires import Wire
from patcher.reports.feed_plan_report import wrong
from patcher.sheets.contents import show_sheet
from patcher.show.parser import read
from patcher.show.text_edits import with_feeds
from patcher.wiring import wire
from rig.any_power import anything, wired_or_none
from rig.examples import examples
from rig.feed_lines import AT_BOX, BOX, line, shows
from rig.power_show import fed, show, tap
from rig.shipped import wired
from rig.tap_fuses import RATED, unprotected


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


# ─── Fuses that the file gives at a tap ──────────────────────────────────────────────────────────────────────────────


def thin_string(fuse: float | None, *, pixels: int = 40, feed_fuse: float | None = 20) -> dict:
    """Pixels of 61 mA on AWG 20 (5 A, from memory: NFPA 70), fed at pixel 1 by AWG 12 (20 A)."""
    kinds = {"lamp": {"awg": 20, "min_volts": 1.0}}
    at = tap("a", 1, 0.5) | ({} if fuse is None else {"fuse": fuse})
    feed = fed(at)
    feed = {key: value for key, value in feed.items() if key != "fuse"} | ({"fuse": feed_fuse} if feed_fuse else {})
    return show({"a": line(pixels)}, {"f": feed}, kinds=kinds, supplies=AT_BOX, box=BOX)


# By hand: 40 pixels draw 2.44 A. The string may carry 5 A, less than the 20 A before it: it needs a fuse of 4 or 5 A at
# its tap, for 80 % of 4 A are 3.2 A and of 3 A only 2.4 A (ISO 8820-3; NFPA 70, 210.20(A), from memory).
@pytest.mark.parametrize(
    ("fuse", "needed", "rules"),
    [
        (None, 1, []), (5, 0, []), (4, 0, []), (3.5, 0, []), (3, 0, ["warning fuse-reserve"]),
        (2, 0, ["warning fuse"]), (7.5, 1, ["error fuse"]), (25, 1, ["error fuse"]),
    ],
)  # fmt: skip
def test_a_tap_fuse_settles_the_thin_string_if_and_only_if_it_protects_it(
    fuse: float | None, needed: int, rules: list[str]
) -> None:
    state = power(wired(thin_string(fuse)))
    assert len(state.tap_fuses) == needed
    assert bool(state.thinner_strings) == bool(needed)
    found = shortfalls.findings(state.wiring, state)
    assert [f"{each.severity} {each.rule}" for each in found] == rules
    assert all(each.where == "feed.f.taps" and "a/1" in each.says for each in found)
    if rules:
        assert "fit a tap fuse of 4 A there" in found[0].remedy
        # That is what mends it.
        mended = power(wired(thin_string(4)))
        assert not shortfalls.findings(mended.wiring, mended)


@examples(20, 200)
@given(st.integers(1, 90), st.sampled_from([None, 1, 2, 3, 4, 5, 7.5, 10]), st.sampled_from([None, 3, 5, 7.5, 20]))
def test_the_string_is_said_to_be_bare_by_the_smallest_fuse_before_it(
    pixels: int, own: float | None, before: float | None
) -> None:
    # By arithmetic: a string of 5 A behind the smallest of its fuses, or behind a supply of 40 A.
    tables = thin_string(own, pixels=pixels, feed_fuse=before) | {"supply": {"s": {"volts": 12.0, "amps": 40.0}}}
    state = power(wired(tables))
    passes = min(each for each in (own, before, 40.0) if each is not None)
    assert [fuse.feed for fuse in state.tap_fuses] == (["f"] if passes > 5 else [])
    found = {(each.rule, each.where) for each in shortfalls.findings(state.wiring, state)}
    amps = pixels * 0.061
    if abs(amps - 0.8 * (own or 99)) > 1e-6 and abs(amps - (own or 99)) > 1e-6:
        large = own is not None and passes > 5
        blows = own is not None and not large and amps > 0.8 * own
        rules = {rule for rule, where in found if where == "feed.f.taps"}
        assert bool(rules) == (large or blows)
    assert (("no-fuse", "feed.f") in found) == (before is None)


@pytest.mark.parametrize(("awg", "amps", "size"), [
    (20, 2.0, 3), (20, 4.0, 5), (20, 4.1, None),
    (20, float("nan"), 5), (28, float("nan"), None), (14, float("nan"), 15),
])  # fmt: skip
def test_the_tap_fuse_of_a_thin_string_is_the_smallest_that_carries_its_amperes(
    awg: int, amps: float, size: float | None
) -> None:
    # By hand: AWG 20 may carry 5 A, AWG 28 0.8 A, AWG 14 15 A (from memory: NFPA 70). 2 A wants a blade of 2.5 A and
    # more, 4 A one of 5 A, 4.1 A is too much for any; of unknown amperes it is the largest that protects the string.
    at = Join(1, "a", 1, 0.5, 0, 0)
    fuse = TapFuse("f", at, Wire(awg), before=20.0, given=None, behind=True, amps=amps, together=amps)
    assert fuse.blade == size
    assert fuse.needed
    assert not TapFuse("f", at, Wire(awg), 0.8, None, behind=True, amps=amps, together=amps).needed


def test_the_level_of_all_names_a_tap_fuse() -> None:
    # By hand: 40 pixels take 0.04 + 2.4 L amperes; a tap fuse of 2 A carries 1.6 A for hours: L = 0.65.
    whole = whole_level.whole_level(power(wired(thin_string(2))))
    assert whole.says == "Everything that is fed is OK up to level 0.65; the limit is a tap fuse of f"


def test_a_plan_gives_its_taps_the_fuses_that_their_strings_need_and_writes_them() -> None:
    # By hand: 82 pixels of 61 mA are 5 A. A string of AWG 20 takes 4 A at a tap, so two taps: 2.5 A each wants 4 A, and
    # the feed one of 7.5 A (80 % are 6 A), which passes more than the 5 A of the string. From 30 m away one wire
    # to both is the shortest.
    kinds = {"lamp": {"awg": 20, "min_volts": 1.0}}
    tables = show({"a": line(82)}, {}, kinds=kinds, supplies=AT_BOX, box={"at": [-30.0, 0.0]})
    found = plan(wired(tables), margin=0.0, gauges=(Wire(12),))
    fuses = {name: [each.fuse for each in found.after.show.feeds[name].taps] for name in found.feeds}
    assert found.open == ()
    for load in found.after.feeds:
        for at, own in zip(load.into, fuses[load.feed.name], strict=True):
            assert (own is None) == (load.feed.fuse <= 5)
            assert own is None or (1.25 * at <= own <= 5)
    assert any(own is not None for each in fuses.values() for own in each)
    assert found.after.tap_fuses == ()
    text = with_feeds(tomli_w.dumps(tables), found.before.show, map(found.after.show.feeds.get, found.feeds), "planned")
    written = power(wire(read(text).show))
    assert {name: [each.fuse for each in written.show.feeds[name].taps] for name in found.feeds} == fuses
    assert not shortfalls.findings(written.wiring, written)


@examples(4, 60, phases=[Phase.reuse, Phase.generate])  # no shrinking: an example takes long
@given(shows(), st.sampled_from([18, 20, 22]))
def test_no_tap_that_is_planned_lacks_its_fuse(tables: dict, awg: int) -> None:
    # By arithmetic, from the gauges and the fuses of the file alone.
    kinds = {name: kind | {"awg": awg} for name, kind in tables["pixel"].items()}
    found = plan(wire(read(tomli_w.dumps(tables | {"pixel": kinds})).show))
    loads = {load.feed.name: load for load in found.after.feeds}
    for name in found.feeds:
        feed = root = found.after.show.feeds[name]
        while root.fuse is None and root.source is not None:
            root = found.after.show.feeds[root.source]
        for each, into in zip(feed.taps, loads[name].into, strict=True):
            if root.fuse is not None and root.fuse > RATED[awg] and not found.open:
                assert each.fuse is not None
                assert 1.25 * abs(into) <= each.fuse + 1e-8 <= RATED[awg] + 1e-7
            elif root.fuse is not None and root.fuse <= RATED[awg]:
                assert each.fuse is None


def test_a_tap_fuse_stands_on_every_paper() -> None:
    # By hand: the file's 5 A, in the place of the 4 A that would be the smallest.
    wiring = wired(thin_string(5))
    state = power(wiring)
    sheet = show_sheet(wiring, allocate(wiring).patch, None, state)
    assert [each.fuse for each in sheet.feeds[0].taps] == ["5 A"]
    [need] = [need for need in sheet.shopping if need.what.startswith("tap fuse")]
    assert (need.what, need.count, need.spare) == ("tap fuse 5 A, with holder", 1, 1)
    assert any("tap fuse 5 A" in label.says for label in sheet.labels)
    large = wired(thin_string(10))
    sheet = show_sheet(large, allocate(large).patch, None, power(large))
    assert [each.fuse for each in sheet.feeds[0].taps] == ["4 A"]
    assert [need.what for need in sheet.shopping if need.what.startswith("tap fuse")] == ["tap fuse 4 A, with holder"]
