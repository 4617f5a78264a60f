"""Fewest taps on a rail, held against every subset of pixels and a dense solver of the whole two-wire network."""

from itertools import combinations
from math import inf

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from patcher.power.injection import fewest
from patcher.power.rail import Rail, Source, voltages
from patcher.power.thevenin import Labels, useful
from rig.examples import examples

often = examples(60, 200)
NEAR = 1e-7
"""Volts or amperes: a case that is decided by less is left out."""


class Net:
    """Judge: modified nodal analysis by numpy.linalg.solve; written for these tests, with no loop ohms in it."""

    def __init__(self) -> None:
        self.nodes: dict = {"0": -1}
        self.branches: list = []  # from, to, ohms, volts: a resistor in series with a source
        self.loads: list = []

    def branch(self, a, b, ohms: float, volts: float = 0.0) -> int:
        for node in (a, b):
            self.nodes.setdefault(node, len(self.nodes) - 1)
        self.branches.append((self.nodes[a], self.nodes[b], ohms, volts))
        return len(self.branches) - 1

    def load(self, a, b, amps: float) -> None:
        for node in (a, b):
            self.nodes.setdefault(node, len(self.nodes) - 1)
        self.loads.append((self.nodes[a], self.nodes[b], amps))

    def solve(self):
        """Volts of every node, and amperes through every branch from its first node to its second."""
        n, m = len(self.nodes) - 1, len(self.branches)
        table, right = np.zeros((n + m, n + m)), np.zeros(n + m)
        for k, (a, b, ohms, volts) in enumerate(self.branches):
            for node, sign in ((a, 1.0), (b, -1.0)):
                if node >= 0:
                    table[node, n + k] += sign
                    table[n + k, node] += sign
            table[n + k, n + k] -= ohms
            right[n + k] -= volts
        for a, b, amps in self.loads:
            if a >= 0:
                right[a] -= amps
            if b >= 0:
                right[b] += amps
        x = np.linalg.solve(table, right)
        return {node: 0.0 if k < 0 else x[k] for node, k in self.nodes.items()}, x[n:]


def dense(rail: Rail, sources, plus: float = 0.5):
    """Volts between V+ and ground of each pixel, fed with 5 V; of all ohms, V+ has the part `plus`."""
    net = Net()
    for k, amps in enumerate(rail.amps):
        net.load(("+", k), ("-", k), amps)
    for k, ohms in enumerate(rail.ohms):
        net.branch(("+", k), ("+", k + 1), ohms * plus)
        net.branch(("-", k), ("-", k + 1), ohms * (1 - plus))
    for s in sources:
        net.branch("0", ("+", s.pixel), s.ohms * plus, 5.0)
        net.branch(("-", s.pixel), "0", s.ohms * (1 - plus))
    node, _ = net.solve()
    return np.array([node["+", k] - node["-", k] for k in range(len(rail.amps))])


def margin(rail: Rail, sources, plus: float = 0.5) -> float:
    """Volts by which everything holds; negative where it does not."""
    return (dense(rail, sources, plus) - rail.least).min() if sources else -inf


def parts(draw, low: int, high: int, zero: bool = False) -> float:
    return 0.0 if zero and not draw(st.integers(0, 3)) else draw(st.integers(low, high)) / 100


@st.composite
def jobs(draw, most: int = 7):
    """A rail, what a tap at each pixel would have in ohms, and the taps that are there."""
    n = draw(st.integers(1, most))
    rail = Rail(
        np.array([parts(draw, 1, 60) for _ in range(n - 1)]),
        np.array([parts(draw, 5, 90, zero=True) for _ in range(n)]),
        np.array([5 - draw(st.sampled_from((20, 40, 41, 70, 130, 240))) / 100 - 1e-5 * k for k in range(n)]),
    )
    stay = tuple(Source(k, parts(draw, 1, 60, zero=True)) for k in draw(st.sets(st.integers(0, n - 1), max_size=2)))
    return rail, np.array([parts(draw, 1, 60) for _ in range(n)]), stay


def hold_against_every_subset(job, plus: float) -> None:
    rail, ohms, stay = job
    sites = [Source(k, own) for k, own in enumerate(ohms)]
    found = fewest(rail, 5.0, ohms, given=stay)
    for size in range(len(sites) + 1):
        sets = [(some, margin(rail, [*some, *stay], plus)) for some in combinations(sites, size)]
        assume(all(abs(m) > NEAR for _, m in sets))
        if any(m > 0 for _, m in sets):
            assert found is not None
            pixels, bound = found
            assert len(pixels) == size == bound
            assert pixels in {tuple(s.pixel for s in some) for some, m in sets if m > 0}
            return
    assert found is None


@examples(40, 400)
@given(jobs(), st.sampled_from((0.5, 0.2, 0.9)))
def test_no_subset_of_pixels_is_smaller(job, plus):
    hold_against_every_subset(job, plus)


@st.composite
def long_jobs(draw):
    """More pixels, ohms that grow with the distance from a supply: many ways that are nearly as good."""
    n = draw(st.integers(9, 13))
    rail = Rail(
        np.full(n - 1, parts(draw, 2, 12)),
        np.array([parts(draw, 5, 30, zero=True) for _ in range(n)]),
        np.full(n, 5 - parts(draw, 20, 120) - 1e-5),
    )
    return rail, 0.01 + parts(draw, 0, 9) * np.abs(np.arange(n) - draw(st.integers(0, n))), ()


@examples(15, 60)
@given(long_jobs())
def test_no_subset_of_few_is_smaller_where_many_are_nearly_as_good(job):
    rail, ohms, _ = job
    found = fewest(rail, 5.0, ohms)
    sites = [Source(k, own) for k, own in enumerate(ohms)]
    for size in (1, 2, 3):
        margins = [margin(rail, some) for some in combinations(sites, size)]
        assume(all(abs(m) > NEAR for m in margins))
        if max(margins) > 0:
            assert found is not None
            assert len(found[0]) == size
            return
    assert found is None or len(found[0]) > 3


@often
@given(jobs(), st.sampled_from((0.5, 0.2)), st.data())
def test_voltages_are_those_of_the_two_wires(job, plus, data):
    rail, ohms, stay = job
    chosen = data.draw(st.sets(st.integers(0, len(ohms) - 1), min_size=1))
    sources = [*(Source(k, ohms[k]) for k in sorted(chosen)), *stay]
    assert voltages(rail, 5.0, sources) == pytest.approx(dense(rail, sources, plus), abs=1e-9)


# --- which ways are kept ---------------------------------------------------------------------------------------------


def meets(row, rest) -> tuple[bool, float]:
    """Whether a way on the left holds with a rest that takes (V − volts) / ohms from `least` volts on; and i."""
    _, volts, ohms, most = row
    right_volts, right_ohms, least = rest
    if ohms + right_ohms == 0:
        return False, 0.0
    amps = (volts - right_volts) / (ohms + right_ohms)
    there = volts - ohms * amps
    assume(abs(most - amps) > NEAR and abs(there - least) > NEAR)
    return most > amps and there > least, amps


def tenths(low: int, high: int):
    return st.integers(low, high).map(lambda k: k / 10)


ways = st.lists(
    st.tuples(st.integers(0, 1), tenths(46, 50), st.one_of(st.just(0.0), tenths(1, 12)), tenths(-12, 12)).map(
        lambda way: (*way[:3], way[3] + 0.003 if way[2] else inf)  # without ohms there is no limit
    ),
    min_size=2,
    max_size=5,
)
rests = st.lists(st.tuples(tenths(30, 50), tenths(1, 15), tenths(40, 50)), min_size=8, max_size=16)


@examples(80, 250)
@example([(0, 4.7, 0.1, 1.203), (0, 4.6, 1.2, 0.003)], [(5.0, 0.4, 4.8)], (-1e9, 1e9))
@given(ways, rests, st.sampled_from(((-1e9, 1e9), (-1.5, 2.5), (0.0, 1.0))))
def test_whatever_meets_the_rest_has_a_like_among_those_kept(rows, rests, bounds):
    # Source: the definition of a useful row; here each rest is met with each row, one by one
    count, volts, ohms, most = (np.array(column) for column in zip(*rows, strict=True))
    kept = useful(Labels(count, volts, ohms, most, np.arange(len(rows))), 5.0, *bounds)
    left = [rows[k] for k in kept.node]
    for rest in rests:
        rest = (*rest[:2], rest[2] + 0.0007)
        all_met = [(row[0], *meets(row, rest)) for row in rows]
        if not all(bounds[0] <= amps <= bounds[1] for _, _, amps in all_met):
            continue
        for fewest_taps, met, _ in all_met:
            assert not met or any(row[0] <= fewest_taps and meets(row, rest)[0] for row in left)


@examples(60, 250)
@given(
    tenths(46, 50), tenths(1, 12), tenths(46, 50), tenths(1, 12), st.integers(0, 10), st.sampled_from([0.01, 0.4]),
    st.integers(0, 1), st.permutations(range(3)),
)  # fmt: skip
def test_a_way_that_gives_nowhere_more_than_the_better_of_two_is_left_out(
    volts: float, ohms: float, volts_2: float, ohms_2: float, part: int, less: float, more_taps: int, order: list[int]
) -> None:
    # Source: the definition; the third way's current at any volts is some of the first's and the rest of the second's,
    # and a little less: so one of the two gives more.
    assume((volts, ohms) != (volts_2, ohms_2))
    share, rest = part / 10 / ohms, (1 - part / 10) / ohms_2
    third = (share * volts + rest * volts_2 - less) / (share + rest), 1 / (share + rest)
    rows = [(0, volts, ohms), (0, volts_2, ohms_2), (more_taps, *third)]
    count, e, r = (np.array(column)[order] for column in zip(*rows, strict=True))
    kept = useful(Labels(count, e, r, np.full(3, 1e9), np.array(order)), 5.0, -1e9, 1e9)
    assert 2 not in kept.node


# --- what a tap more, and wires of its own, do -----------------------------------------------------------------------


@often
@given(jobs(), st.data())
def test_a_tap_more_lowers_no_pixel(job, data):
    rail, ohms, stay = job
    n = len(ohms)
    stay = stay or (Source(data.draw(st.integers(0, n - 1)), 0.2),)
    after = dense(rail, [*stay, Source(q := data.draw(st.integers(0, n - 1)), ohms[q])])
    assert (after >= dense(rail, stay) - 1e-9).all()


@st.composite
def trunks(draw):
    """A rail, and a tree from the supply to some of its pixels: of each branch its parent and ohms, then its pixel."""
    rail, _, stay = draw(jobs(6))
    n = len(rail.amps)
    tree = [(draw(st.integers(-1, k - 1)), parts(draw, 1, 60)) for k in range(draw(st.integers(1, 6)))]
    at = {draw(st.integers(0, n - 1)): draw(st.integers(0, len(tree) - 1)) for _ in range(draw(st.integers(1, 3)))}
    return rail, stay, tree, at


def through_trunk(rail, stay, tree, at):
    """Volts of each pixel, and amperes that each tap brings to the rail."""
    net = Net()
    for k, amps in enumerate(rail.amps):
        net.load(k, "0", amps)
    for k, ohms in enumerate(rail.ohms):
        net.branch(k, k + 1, ohms)
    for s in stay:
        net.branch("0", s.pixel, s.ohms, 5.0)
    for k, (parent, ohms) in enumerate(tree):
        net.branch("0" if parent < 0 else ("t", parent), ("t", k), ohms, 5.0 if parent < 0 else 0.0)
    taps = [net.branch(("t", twig), pixel, 0.0) for pixel, twig in at.items()]
    node, amps = net.solve()
    return np.array([node[k] for k in range(len(rail.amps))]), amps[taps]


def path_ohms(tree, twig: int) -> float:
    return 0.0 if twig < 0 else tree[twig][1] + path_ohms(tree, tree[twig][0])


@often
@given(trunks(), st.sampled_from((1.0, 0.7)))
def test_wires_of_their_own_are_no_worse_than_any_trunk_whose_taps_all_give(drawn, part):
    rail, stay, tree, at = drawn
    try:
        shared, amps = through_trunk(*drawn)
    except np.linalg.LinAlgError:
        assume(False)
    assume((amps >= 0).all())
    own = dense(rail, [*stay, *(Source(pixel, part * path_ohms(tree, twig)) for pixel, twig in at.items())])
    assert (own >= shared - 1e-7).all()


def test_a_trunk_that_takes_current_back_may_be_better_than_wires_of_their_own() -> None:
    # Source: the judge; current goes from the given tap at pixel 1 through the trunk to pixel 0
    rail = Rail(np.array([10.0]), np.array([1.0, 0.0]), np.zeros(2))
    stay, tree, at = (Source(1, 0.1),), [(-1, 1.0), (0, 0.1), (0, 0.1)], {0: 1, 1: 2}
    shared, amps = through_trunk(rail, stay, tree, at)
    own = dense(rail, [*stay, Source(0, 1.1), Source(1, 1.1)])
    assert amps.min() < 0
    assert shared[0] > own[0] + 0.5


# --- ladders that are known ------------------------------------------------------------------------------------------

# Common practice, no source: 100 pixels of 60 mA, 0.0508 m apart on AWG 20 of 0.03331 ohm a metre of one wire.
LOOP = 2 * 0.0508 * 0.03331


def ladder(pixels: int, least: float, amps: float = 0.06) -> Rail:
    return Rail(np.full(pixels - 1, LOOP), np.full(pixels, amps), np.full(pixels, least))


@pytest.mark.parametrize(("fed", "lowest"), [((1,), 3.99426), ((1, 100), 4.75095), ((1, 50, 100), 4.93632)])
def test_the_worked_ladder(fed: tuple[int, ...], lowest: float) -> None:
    # Judge: ngspice 39, run by hand. There the supply had 0.1 mΩ: here each tap has, which differs by less than 1 mV.
    volts = voltages(ladder(100, 0.0), 5.0, [Source(pixel - 1, 1e-4) for pixel in fed])
    assert volts.min() == pytest.approx(lowest, abs=4e-4)


@examples(20, 60)
@given(st.integers(1, 300), st.floats(0, 1), st.floats(0, 0.2))
def test_a_ladder_fed_at_one_end(pixels: int, ohms: float, amps: float) -> None:
    # Source: arithmetic: the link behind k pixels carries n − k loads, and 1 + 2 + … + (n − 1) = n (n − 1) / 2
    volts = voltages(ladder(pixels, 0.0, amps), 5.0, [Source(0, ohms)])
    assert volts[-1] == pytest.approx(5 - ohms * pixels * amps - LOOP * amps * pixels * (pixels - 1) / 2, abs=1e-8)


@pytest.mark.parametrize(("least", "taps"), [(3.99, 1), (4.74, 1), (4.75, 2), (4.93, 2), (4.9363, 3)])
def test_fewest_on_the_worked_ladder(least: float, taps: int) -> None:
    # Source: arithmetic: from its middle, half a ladder of 50 links drops 0.06 LOOP 50 · 51 / 2 = 0.259 V; from the
    # middles of two halves 0.06 LOOP 25 · 26 / 2 = 0.066 V
    found = fewest(ladder(100, least), 5.0, np.full(100, 1e-4))
    assert found is not None
    assert len(found[0]) == taps


def test_out_of_time_what_is_found_is_told_from_what_is_proved() -> None:
    # Source: arithmetic: the ladder above wants two taps; one is the most that is known without a search
    found = fewest(ladder(100, 4.75), 5.0, np.full(100, 1e-4), seconds=0)
    assert found is not None
    pixels, bound = found
    assert bound <= 2 <= len(pixels)
    assert margin(ladder(100, 4.75), [Source(pixel, 1e-4) for pixel in pixels]) >= 0


@pytest.mark.long
def test_what_is_common_practice_is_never_beaten_by_more_taps() -> None:
    # Common practice, no source: 5 V strings are fed every 100 pixels and at both ends
    fed = [*range(0, 1000, 100), 999]
    lowest = float(voltages(ladder(1000, 0.0), 5.0, [Source(pixel, 0.01) for pixel in fed]).min()) - 1e-6
    found = fewest(ladder(1000, lowest), 5.0, np.full(1000, 0.01))
    assert found is not None
    assert len(found[0]) <= len(fed)
    assert voltages(ladder(1000, 0.0), 5.0, [Source(pixel, 0.01) for pixel in found[0]]).min() >= lowest
