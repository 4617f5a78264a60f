"""Placement `whole`, held by a second program: a constraint model written from the rules, solved by OR-Tools CP-SAT.

The model knows nothing of bin packing, of orders or of groups: each chain's start is a channel, chains do not overlap,
and each rule is a constraint. It lays a chain pixel by pixel, with a pencil.
"""

import random
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from patcher.patch.patch import Patch
from rig.examples import examples
from rig.whole_oracle import a_patch_below, laid, lamps_of, pencil, starts, tables_of

# --- shows --------------------------------------------------------------------------------------------------------


SIZES = {"rgb": (40, 57, 85, 86, 110, 170, 171, 200, 255, 340, 341), "rgbw": (32, 64, 65, 96, 128, 129, 170, 192)}


@st.composite
def shows(draw, *, pins: bool) -> dict:
    """Shows of one to three boxes and at most seven chains, with lengths that almost fill universes together."""
    kinds = draw(st.sampled_from((("rgb",), ("rgb",), ("rgbw",), ("rgb", "rgbw"), ("rgb", "rgbw", "mono", "five"))))
    left = 6
    boxes = {}
    for number in range(draw(st.integers(1, 3))):
        ports = []
        for _ in range(draw(st.integers(1, max(1, min(4, left))))):
            chain = []
            for _ in range(draw(st.sampled_from((1, 1, 1, 2)))):
                kind = draw(st.sampled_from(kinds))
                pixels = draw(st.one_of(st.sampled_from(SIZES.get(kind, (50, 100))), st.integers(1, 300)))
                chain.append((kind, pixels))
            ports.append(chain)
        left -= len(ports)
        keys: dict = {"consecutive": draw(st.booleans())}
        if draw(st.integers(0, 3)) == 0:
            keys["universes"] = draw(st.integers(1, 5))
        if pins and draw(st.booleans()):
            if draw(st.booleans()):
                keys["first_universe"] = draw(st.integers(1, 4))
            for port in range(1, len(ports) + 1):
                if draw(st.integers(0, 2)) == 0:
                    place = f"{draw(st.integers(1, 6))}/{draw(st.sampled_from((1, 1, 4, 100, 256, 301, 400, 490)))}"
                    keys.setdefault("start", {})[str(port)] = place
        boxes[f"box-{'abc'[number]}"] = (keys, ports)
        if left < 1:
            break
    first = draw(st.sampled_from((1, 1, 3)))
    return tables_of(boxes, first_universe=first, share_universes=draw(st.booleans()))


# --- what every laying keeps --------------------------------------------------------------------------------------


def agree(tables: dict) -> None:
    found, patch, broken = laid(tables)
    if broken:
        assert not found.proved
        assert not a_patch_below(tables, 10_000)
        return
    assert found.proved
    assert found.lower_bound == patch.universe_count
    assert found.reason
    assert not a_patch_below(tables, patch.universe_count)


@examples(10, 80)
@given(st.booleans().flatmap(lambda pins: shows(pins=pins)))
def test_no_patch_has_fewer_universes(tables):
    agree(tables)


def spared(tables: dict, patch: Patch, spare: int) -> None:
    """So many pixels, as wide as a chain's last, stay free behind each start."""
    line = []
    for start in patch.starts:
        lamps = lamps_of(tables, [link.run for link in start.chain.links])
        begin = (start.universe - 1) * 512
        line.append((begin + start.channel - 1, begin + pencil(lamps + lamps[-1:] * spare, start.channel - 1)))
    assert all(stop <= after for (_, stop), (after, _) in pairwise(sorted(line)))


@pytest.mark.long
@settings(deadline=None, max_examples=12, suppress_health_check=list(HealthCheck))
@given(shows(pins=False), st.sampled_from((1, 10, 60)))
def test_spare_pixels_stay_free_and_cost_no_more_than_they_must(tables, spare):
    # of more chains, the second program takes minutes to refute a patch with one universe fewer
    assume(sum(len(controller["port"]) for controller in tables["controller"].values()) <= 3)
    tables["show"]["share_universes"] = True
    found, patch, broken = laid(tables, spare_pixels=spare)
    if broken:
        assert not found.proved
        assert not a_patch_below(tables, 10_000, spare)
        return
    spared(tables, patch, spare)
    assert found.proved
    assert found.lower_bound == patch.universe_count
    assert not a_patch_below(tables, patch.universe_count, spare)


# --- many starts --------------------------------------------------------------------------------------------------


@st.composite
def large_shows(draw, *, pins: bool) -> dict:
    """Shows with more chains than can be tried in every order."""
    random_ = random.Random(draw(st.integers(0, 10**9)))
    kinds = draw(st.sampled_from((("rgb",), ("rgb", "rgbw"), ("mono", "rgb", "rgbw", "five"))))
    boxes = {}
    for number in range(random_.randint(2, 8)):
        ports = []
        for _ in range(random_.randint(1, 9)):
            ports.append([(random_.choice(kinds), random_.randint(1, 400)) for _ in range(random_.choice((1, 1, 2)))])
        keys = {"consecutive": random_.random() < 0.5}
        match draw(st.integers(0, 3)) if pins else None:
            case 0:
                keys["first_universe"] = 1 + 40 * number
            case 1:
                keys["start"] = {"1": f"{5 + 40 * number}/{random_.choice((1, 101))}"}
        boxes[f"box-{number + 1}"] = (keys, ports)
    return tables_of(boxes, share_universes=draw(st.booleans()), first_universe=draw(st.sampled_from((1, 5))))


def rgb(*chains: int | tuple[int, ...]) -> list[list[tuple[str, int]]]:
    """A chain of RGB runs on each port, by their pixels."""
    return [[("rgb", pixels) for pixels in (chain if isinstance(chain, tuple) else (chain,))] for chain in chains]


PINNED_AMONG_OTHERS = tables_of(
    {
        "box-1": ({"consecutive": True, "first_universe": 1}, rgb(153, 122, 386, 119, 155, 273, 338, 381)),
        "box-2": ({"consecutive": False, "first_universe": 41},
                  rgb(33, (78, 126), (380, 349), (374, 8), 256, 313, (228, 94), 194, 399)),
        "box-3": ({"consecutive": False, "start": {"1": "85/101"}},
                  rgb(312, (70, 307), (307, 48), (193, 376), 23, (252, 372), 365)),
        "box-4": ({"consecutive": True, "first_universe": 121}, rgb((258, 27), 57, 340, 183, 253, 316, 148, 118)),
    },
    share_universes=True, first_universe=1,
)  # fmt: skip
"""Two boxes with no gap are pinned; the longer chains of others would fill the universes that they still need."""


@examples(20, 30)
@example((PINNED_AMONG_OTHERS, 0), 0.001)
@given(
    st.one_of(st.tuples(large_shows(pins=True), st.just(0)), st.tuples(large_shows(pins=False), st.just(7))),
    st.sampled_from((0.001, 0.5)),
)
def test_large_shows_keep_the_rules_and_an_honest_bound(drawn, seconds):
    tables, spare = drawn
    found, patch, broken = laid(tables, seconds=seconds, spare_pixels=spare)
    assert broken == []
    spared(tables, patch, spare)
    assert found.lower_bound <= patch.universe_count
    assert found.proved == (found.lower_bound == patch.universe_count)
    # by arithmetic: the channels alone
    lamps = [lamps_of(tables, runs) for keys in tables["controller"].values() for runs in keys["port"].values()]
    assert found.lower_bound >= -(-sum(map(sum, lamps)) // 512)


# --- by hand ------------------------------------------------------------------------------------------------------


def test_the_order_of_the_file_is_kept_where_it_costs_nothing():
    # By hand: 100 + 70 fill a universe; 170 fills one; 340 fills two; the patch begins at first_universe
    tables = tables_of({"box-a": ({}, rgb(100, 70, 170, 340))}, first_universe=4)
    assert starts(tables) == {"box-a/1": "4/1", "box-a/2": "4/301", "box-a/3": "5/1", "box-a/4": "6/1"}
    two = {"box-a": ({}, rgb(10)), "box-b": ({}, rgb(10))}
    assert starts(tables_of(two)) == {"box-a/1": "1/1", "box-b/1": "2/1"}
    assert starts(tables_of(two, share_universes=True)) == {"box-a/1": "1/1", "box-b/1": "1/31"}


def test_a_long_chain_begins_part_way_into_a_universe():
    # By hand: 200 = 170 + 30 behind 100: 70 in universe 1 and 130 in 2, where 40 more fit: 370 pixels, but 2 universes
    # hold 340; so three, and with 100 + 200 + 40 = 340 two
    tables = tables_of({"box-a": ({}, rgb(100, 200, 40))})
    assert starts(tables) == {"box-a/1": "1/1", "box-a/2": "1/301", "box-a/3": "2/391"}
    # By hand: a chain that fits into one universe is never cut, though 120 + 120 + 100 would fill two
    found, patch, broken = laid(tables_of({"box-a": ({}, rgb(120, 120, 100))}))
    assert (broken, patch.universe_count, found.proved) == ([], 3, True)


def test_the_room_around_pins_is_filled():
    # By hand: 2/151 to 2/300 is pinned (50 pixels); 50 before it and 70 behind it fit exactly
    keys = {"start": {"1": "2/151"}}
    tables = tables_of({"box-a": (keys, rgb(50, 70, 50))})
    assert starts(tables) == {"box-a/1": "2/151", "box-a/2": "2/301", "box-a/3": "2/1"}


def test_a_pinned_box_may_lie_before_the_patch_begins():
    # By hand: two that fill universe 1 together, though the show begins at 9
    boxes = {"box-a": ({"first_universe": 1}, rgb(85, 85)), "box-b": ({}, rgb(85))}
    tables = tables_of(boxes, first_universe=9)
    assert starts(tables) == {"box-a/1": "1/1", "box-a/2": "1/256", "box-b/1": "9/1"}


def test_a_pinned_chain_that_is_cut_leaves_room_on_both_sides():
    # By hand: 100 from 1/301 lie as 70 and 30; 100 fill the front of 1, and 140 the rest of 2. As if it were whole,
    # 100, 100 and 140 would need three.
    tables = tables_of({"box-a": ({"start": {"1": "1/301"}}, rgb(100, 100, 140))})
    found, patch, broken = laid(tables)
    assert (broken, patch.universe_count, found.lower_bound, found.proved) == ([], 2, 2, True)


def test_boxes_that_share_may_run_side_by_side():
    # By hand: each universe is filled by one chain of each box (85 + 85; 100 + 70); neither box has a gap
    boxes = {
        "box-a": ({"consecutive": True}, rgb(85, 100)),
        "box-b": ({"consecutive": True}, rgb(85, 70)),
    }
    _, patch, broken = laid(tables_of(boxes, share_universes=True))
    assert (broken, patch.universe_count) == ([], 2)


def test_the_same_show_gives_the_same_places():
    # Source: the design: the same show and kept patch give the same patch, to the byte
    random_ = random.Random(8)
    ports = rgb(*(random_.randint(1, 300) for _ in range(60)))
    boxes = {f"box-{n}": ({}, ports[6 * n : 6 * n + 6]) for n in range(10)}
    tables = tables_of(boxes, share_universes=True)
    assert laid(tables, seconds=60.0)[0] == laid(tables, seconds=60.0)[0]


def test_nothing_to_lay():
    found, _, broken = laid(tables_of({"box-a": ({}, [])}))
    assert (found.places, found.lower_bound, found.proved, broken) == ((), 0, True, [])


def ring(*boxes: str) -> dict:
    """Three boxes, of whose runs only three pairs fill a universe, each pair of two boxes: a ring."""
    sizes = {"a": (100, 68), "b": (70, 101), "c": (69, 102)}
    assert sizes["a"][0] + sizes["b"][0] == sizes["b"][1] + sizes["c"][0] == sizes["c"][1] + sizes["a"][1] == 170
    return tables_of(
        {f"box-{name}": ({"consecutive": name in boxes}, rgb(*sizes[name])) for name in "abc"},
        first_universe=1,
        share_universes=True,
    )


@pytest.mark.parametrize(("consecutive", "universes"), [("", 3), ("a", 3), ("ab", 3), ("abc", 4)])
def test_a_ring_of_boxes_is_cut_somewhere(consecutive, universes):
    # Source: the design: `consecutive`: the universes in which a controller has pixels have no gap
    # Judge: OR-Tools CP-SAT 9.15 (a_patch_below)
    tables = ring(*consecutive)
    found, patch, broken = laid(tables)
    assert broken == []
    assert (patch.universe_count, found.lower_bound, found.proved) == (universes, universes, True)
    assert not a_patch_below(tables, universes)
