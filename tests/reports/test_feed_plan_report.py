"""What a plan of feeds says besides its table: what is so with the plan alone, and why a pixel gets a second wire."""

import re

from hypothesis import given
from hypothesis import strategies as st

from patcher.power import shortfalls
from patcher.power.feed_plan import MARGIN, Plan, plan
from patcher.power.flow import power
from patcher.reports.feed_plan_report import document, second_wires, wrong
from rig.examples import examples
from rig.power_show import LAMP, fed, show, tap
from rig.shipped import wired

LINE = {"shape": "line", "path": [[0.0, 1.0], [9.0, 1.0]]}


def sagging(pixels: int, awg: int, metres: float, fuse: float, *, every: bool) -> dict:
    """A string with a long thin feed to its first pixel, and perhaps to its last one too."""
    taps = [tap("a", 1, metres), *([tap("a", "last", 9.0)] if every else [])]
    kinds = {"lamp": {"min_volts": 10.0, "awg": 14, "pitch": 0.05, "channel_ma": 12.0}}
    supplies = {"s": {"volts": 12.0, "amps": 60.0, "box": "box"}}
    runs = {"a": LINE | {"pixels": pixels}}
    feeds = {"f": fed(*taps, awg=awg, fuse=fuse)}
    return show(runs, feeds, kinds=kinds, box={"at": [0.0, 0.0]}, supplies=supplies, level=1.0)


SAGGING = st.builds(
    sagging, st.integers(40, 140), st.sampled_from([20, 18, 16, 14]), st.sampled_from([2.0, 6.0, 12.0]),
    st.sampled_from([2, 5, 10]), every=st.booleans(),
)  # fmt: skip


def lowest(tables: dict) -> float:
    return float(power(wired(tables)).volts("a").min())


def joints(made: Plan, *names: str) -> set[tuple[str, int]]:
    return {(join.run, join.pixel) for name in names for join in made.after.circuit.joins[name]}


@examples(12, 100)
@given(SAGGING)
def test_a_second_wire_to_a_pixel_says_why_and_the_thicker_wire_that_is_named_does_instead(tables: dict) -> None:
    # Source: found by a reader: two feeds at one pixel, and no word why. The show solved again with the wire that is
    # named; the next thinner one of the same kind does not do.
    made = plan(wired(tables))
    twice = joints(made, "f") & joints(made, *made.feeds)
    said = list(second_wires(made))
    assert len(said) == len(twice)
    for words in said:
        named = re.search(r"Or use AWG (\d+) for f, and leave", words)
        assert re.match(r"a/\d+ has a tap of f already: ", words)
        if named is None:
            continue
        gauge = int(named[1])
        assert gauge < tables["feed"]["f"]["awg"]
        for thinner in (0, 2):
            again = tables | {"feed": {"f": tables["feed"]["f"] | {"awg": gauge + thinner}}}
            assert (lowest(again) >= 10.0 + MARGIN * LAMP["volts"]) == (thinner == 0)


@examples(12, 100)
@given(SAGGING)
def test_what_is_so_with_the_plan_alone_says_so(tables: dict) -> None:
    # Source: found by a reader: `check` said a fuse of 10 A, and `power --plan`, for the same feed, one of 5 A
    wiring = wired(tables)
    made = plan(wiring)
    before = [(each.rule, each.where, each.remedy) for each in shortfalls.findings(wiring)]
    for each in wrong(made):
        marked = each.remedy.startswith("with this plan: ")
        assert marked == ((each.rule, each.where, each.remedy) not in before)
    assert [each["try"] for each in document(made)["findings"]] == [each.remedy for each in wrong(made)]


def test_the_fuse_of_a_feed_that_a_plan_relieves() -> None:
    tables = sagging(100, 18, 12.0, 10, every=False)
    made = plan(wired(tables))
    (then,) = [each for each in wrong(made) if each.where == "feed.f.fuse"]
    (now,) = [each for each in shortfalls.findings(wired(tables)) if each.where == "feed.f.fuse"]
    assert now.remedy.startswith("fit a blade fuse of 5 A;")
    # The new tap is at the end that has none, and leaves the feed so much that 2 A would blow and 3 A do not.
    (load,) = [load for load in made.after.feeds if load.feed.name == "f"]
    assert 0.8 * 2 < load.amps <= 0.8 * 3
    assert then.remedy.startswith("with this plan: fit a blade fuse of 3 A;")
