"""The level at which the whole show holds: what `check` says just above it and not at it, sockets and all."""

import pytest
from hypothesis import Phase, given
from hypothesis import strategies as st

from patcher.mains import circuit_findings
from patcher.mains.whole_level import brightest, named, whole_level, whole_level_words
from patcher.power import shortfalls
from patcher.power.flow import power
from patcher.wiring import Wiring
from rig.any_power import anything, wired_or_none
from rig.examples import examples
from rig.mains_shows import hut
from rig.power_show import fed, show, tap
from rig.shipped import wired

QUIET = {"efficiency": 1.0, "power_factor": 1.0, "inrush_amps": 0.0, "leakage_ma": 0.0}
OF_LEVEL = {"overload", "low-volts", "collapse", "wire", "fuse-reserve", "breaker"}
"""Rules of findings that depend on the level; of two more it depends on what is said."""


def spoken(wiring: Wiring, level: float) -> set[tuple[str, str]]:
    """The findings of power and mains at a level that are there because of it: rule and place."""
    state = power(wiring, level=level)
    found = [*shortfalls.findings(wiring, state), *circuit_findings.findings(wiring, state)]
    return {
        (each.rule, each.where)
        for each in found
        if each.rule in OF_LEVEL
        or (each.rule == "fuse" and "blows" in each.says)
        or (each.rule == "tap-fuse" and "at level" in each.says)
    }


@st.composite
def plugged(draw: st.DrawFn) -> dict:
    """Any show, its supplies on some of two sockets."""
    tables = draw(anything())
    for name in tables["supply"]:
        if draw(st.booleans()):
            tables["supply"][name] |= {"socket": draw(st.sampled_from(["porch", "shed"]))} | draw(
                st.sampled_from([{}, QUIET])
            )
    sizes = st.sampled_from([0.2, 0.5, 1.0, 3.0, 16.0])
    tables["socket"] = {
        name: {"volts": 230.0, "breaker": draw(sizes), "other_amps": draw(st.sampled_from([0.0, 0.1, 2.0]))}
        for name in ("porch", "shed")
    }
    return tables


@examples(40, 400, phases=[Phase.reuse, Phase.generate])  # no shrinking: it takes minutes
@given(plugged())
def test_below_the_level_nothing_speaks_and_just_above_it_what_is_named_does(tables: dict) -> None:
    # Judge: the findings of `check` at these levels, rule by rule; none is asked for the level
    wiring = wired_or_none(tables)
    if wiring is None:
        return
    level, limits = brightest(power(wiring))
    if level is not None:
        for at in {0.0, level / 2, level}:
            assert spoken(wiring, at) == set(), at
    assert bool(limits) == (level != 1.0)
    if limits:
        above = 0.0 if level is None else round(level + 0.01, 2)
        assert {(limit.rule, limit.where) for limit in limits} == spoken(wiring, above)
        assert all(limit.where.split(".")[1] in named(limit) for limit in limits)
        assert all(named(limit) in whole_level(power(wiring)).says for limit in limits[:1]) or "not known" in (
            whole_level(power(wiring)).says
        )


# By hand: 100 pixels take 0.1 + 6 L amperes of 12 V at level L. A breaker of 5 A carries 4 A for hours: 0.1 + 6 × 0.65
# is 4. With a kettle of 1 A beside it 0.48 (2.98 A); one of 4 A is just too much by what the dark pixels take.
@pytest.mark.parametrize(("other", "level"), [(0.0, 0.65), (1.0, 0.48), (3.9, 0.0), (4.0, None)])
def test_a_breaker_limits_the_level_by_what_it_carries_for_hours(other: float, level: float | None) -> None:
    socket = {"volts": 12.0, "breaker": 5.0, "other_amps": other}
    state = power(wired(hut({"gable": 100}, {"gable": QUIET | {"socket": "hut"}}, {"hut": socket})))
    whole = whole_level(state)
    assert whole.level == level
    assert [limit.where for limit in whole.limits] == ["socket.hut"]
    start = "At no level is everything OK" if level is None else f"Everything that is fed is OK up to level {level:g}"
    assert whole.says == f"{start}; the limit is the breaker of hut"
    assert whole.counted == "supplies, fuses and breakers to 80 %, volts and wires"


# By hand: 100 pixels of 61 mA at full white. Supply: 0.1 + 6 L ≤ 0.8 × 5. Fuse: 0.1 + 6 L ≤ 0.8 × 4 → 0.51. AWG 20 at
# one end may carry 5 A and needs a fuse; AWG 12 strings (20 A) need none.
@pytest.mark.parametrize(
    ("supply", "feed", "level", "limit"),
    [
        ({"amps": 5.0}, {}, 0.65, "supply s"),
        ({}, {"fuse": 4}, 0.51, "the fuse of f"),
        ({}, {"awg": 22, "fuse": 3}, 0.38, "the fuse of f"),
        ({}, {}, 1.0, None),
    ],
)
def test_the_limit_is_named(supply: dict, feed: dict, level: float, limit: str | None) -> None:
    tables = show(
        {"a": {"pixels": 100}}, {"f": fed(tap("a", 1, 0.0), **feed)}, kinds={"lamp": {"awg": 10, "min_volts": 1.0}},
        supplies={"s": {"volts": 12.0, "amps": 30.0} | supply},
    )  # fmt: skip
    says = f"Everything that is fed is OK up to level {level:g}" + (f"; the limit is {limit}" if limit else "")
    assert whole_level(power(wired(tables))).says == says
    # Whatever level the show is run at.
    assert whole_level(power(wired(tables), level=0.1)).says == says


def test_wires_volts_and_taps_are_called_what_a_person_calls_them() -> None:
    thin = show({"a": {"pixels": 200}}, {"f": fed(tap("a", 1, 0.0))}, kinds={"lamp": {"awg": 26, "min_volts": 0.001}})
    assert "the tap fuses of f" in whole_level(power(wired(thin))).says
    far = show({"a": {"pixels": 150}}, {"f": fed(tap("a"))}, kinds={"lamp": {"awg": 14, "min_volts": 11.0}})
    assert whole_level(power(wired(far))).says.endswith("; the limit is the volts of a")


def test_hazards_at_any_level_are_named_beside_it_and_a_show_without_power_says_nothing() -> None:
    bare = show({"a": {"pixels": 5}}, {"f": fed(tap("a", 1, 0.5), fuse=30)})
    words = whole_level_words(power(wired(bare)))
    assert words.startswith("Everything that is fed is OK up to level 1; not counted, for it is a hazard at any level:")
    assert words.endswith("a fuse too large for its wire (feed.f).")
    assert whole_level_words(power(wired(show({"a": {"pixels": 5}}, {}, supplies={})))) == ""
