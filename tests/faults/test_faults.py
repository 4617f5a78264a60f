"""Faults against a slow world of its own: a box that reads its table pixel by pixel and pushes octets down a wire, and
chips on that wire that each take the first few and pass on the rest. It shares no code with the faults.
"""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from patcher.diagnosis.hypotheses import singles
from patcher.errors import PatcherError
from patcher.faults import DARK, KINDS, RANDOM, Built, Departures, build, departure, parse, planned, slot_index
from patcher.placement.allocation import allocate
from patcher.wiring import Wiring
from patcher.yard.yard import Yard
from rig.any_show import any_show
from rig.examples import examples, seeds
from rig.packets import artnet, e131
from rig.shipped import laid, wired
from rig.slow_world import GARBAGE, MEMORY, ORDERS, Address, a_fault, some_shows, world


def receive_all(yard: Yard, wiring: Wiring, memories: dict[str, dict[Address, int]], sequence: int = 1) -> None:
    for box, memory in memories.items():
        make = e131 if wiring.show.controllers[box].protocol == "e131" else artnet
        for universe in yard.boxes[box].universes:  # one that is missing there leaves pixels dark that should not be
            slots = bytes(memory[universe, channel] for channel in range(1, 513))
            yard.receive([box], make(universe, slots, sequence), "192.0.2.200:5000", 0.0)


@examples(20, 500)
@given(st.data())
def test_the_yards_lamps_are_those_of_the_slow_world(data: st.DataObject) -> None:
    """A random show with one to three random faults, in the yard with real packets and in the slow world."""
    # Source: WS2811 and WS2812B data sheets: a pixel takes the first octets that reach it and passes on the rest.
    tables = data.draw(some_shows())
    wiring = wired(tables)
    patch = allocate(wiring).patch
    texts = [a_fault(data.draw, tables) for _ in range(data.draw(st.integers(1, 3)))]
    faults = [parse(text, wiring) for text in texts if text]
    try:
        built = build(wiring, faults)
    except PatcherError:
        assume(False)
    for fault in faults:
        event(fault.kind)
    memories = dict.fromkeys(tables["controller"], MEMORY)
    wanted = world(tables, patch, memories, faults)
    yard = Yard(wiring, patch, built)
    receive_all(yard, wiring, memories)
    plan = planned(wiring, patch)
    takes = plan.takes | departure(plan, faults).takes
    for (run, pixel), lamp in wanted.items():
        shown = dict(zip(ORDERS[tables["run"][run]["pixel"]], yard.pixels[run][pixel - 1].tolist(), strict=True))
        taken = dict(zip(ORDERS[tables["run"][run]["pixel"]], takes[run][pixel - 1].tolist(), strict=True))
        for letter, value in lamp.items():
            assert (taken[letter] == RANDOM) is (value == GARBAGE), (run, pixel, letter, faults)
            if value != GARBAGE:
                assert shown[letter] == value, (run, pixel, letter, faults)


@examples(20, 40)
@given(st.data())
def test_a_departure_names_what_changes_and_nothing_else(data: st.DataObject) -> None:
    # Source: the design: a difference between the wiring as planned and as built.
    tables = data.draw(some_shows())
    wiring = wired(tables)
    plan = planned(wiring, allocate(wiring).patch)
    text = a_fault(data.draw, tables)
    assume(text is not None)
    fault = parse(text, wiring)
    found = departure(plan, [fault])
    assert all(not np.array_equal(taken, plan.takes[run]) for run, taken in found.takes.items())
    assert all(box != plan.boxes[run] for run, box in found.boxes.items())
    assert all(universes != plan.patch.box_universes[box] for box, universes in found.universes.items())
    lamps = plan.takes["run-0"]
    assert (lamps >= 0).all()
    again = departure(plan, [])
    assert (again.takes, again.boxes, again.universes) == ({}, {}, {})


@pytest.mark.parametrize("seed", seeds(2, 20))
def test_what_is_kept_of_one_set_of_faults_is_wrong_for_no_other(seed: int) -> None:
    # Source: each set by itself, with nothing kept
    wiring, patch = laid(any_show(seed, 60))
    plan, chance = planned(wiring, patch), random.Random(seed)
    every = [fault for fault, _ in singles(plan, list(plan.takes))]
    kept, tried = Departures(plan), 0
    while tried < 100:
        faults = tuple(chance.sample(every, min(len(every), chance.choice([1, 2, 3]))))
        try:
            build(wiring, faults)
            alone = departure(plan, faults)
        except PatcherError:
            continue
        tried, found = tried + 1, kept.of(faults)
        assert (found.boxes, found.universes, found.takes.keys()) == (alone.boxes, alone.universes, alone.takes.keys())
        assert all(np.array_equal(own, alone.takes[run]) for run, own in found.takes.items()), faults


@examples(20, 60)
@given(st.data())
def test_a_fault_is_read_as_it_is_written(data: st.DataObject) -> None:
    # Source: the design: one way to write a fault, KIND:WHERE=VALUE.
    tables = data.draw(some_shows())
    wiring = wired(tables)
    text = a_fault(data.draw, tables)
    assume(text is not None)
    fault = parse(text, wiring)
    assert str(fault) == text
    assert parse(str(fault), wiring) == fault
    kind, _, rest = text.partition(":")
    assert (fault.kind, fault.where, fault.value) == (kind, rest.partition("=")[0], rest.partition("=")[2])


# --- single cases that a person can count on their fingers --------------------------------------------------------


def small(**box: object) -> dict:
    """Two runs of four RGB pixels on port 1, one of four on port 2: channels 1–12 and 13–24, and the next universe."""
    tables = {
        "show": {"title": "small"},
        "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": {
            "box": {"address": "192.0.2.1", "ports": 4, "port": {"1": ["a", "b"], "2": ["c"]}} | box,
            "shelf": {"ports": 2, "spare": True},
        },
        "run": {name: {"pixel": "rgb", "pixels": 4} for name in "abc"},
    }
    tables["run"]["off"] = {"pixel": "rgb", "pixels": 4, "hung": False}
    tables["controller"]["box"]["port"]["3"] = ["off"]
    return tables


def with_loop() -> dict:
    """The same, with a triangle on its tip behind `c`: nobody can say which of its corners is bottom left."""
    tables = small()
    corners = [[0.0, 1.0], [2.0, 1.0], [1.0, 0.0]]
    tables["run"]["o"] = {"pixel": "rgb", "shape": "loop", "corners": corners, "pixels": 8}
    tables["controller"]["box"]["port"]["2"].append("o")
    return tables


def first_channels(tables: dict, *texts: str) -> dict[str, list[int]]:
    """The running channel of each pixel's first channel, in pixels: 0 for the first of its universe."""
    wiring = wired(tables)
    plan = planned(wiring, allocate(wiring).patch)
    faults = build(wiring, [parse(text, wiring) for text in texts]).faults
    takes = plan.takes | departure(plan, faults).takes
    return {
        run: [int(c) if c < 0 else int(c) // 512 * 1000 + int(c) % 512 // 3 for c in takes[run][:, 0]] for run in "abc"
    }


@pytest.mark.parametrize(
    ("texts", "a", "b", "c"),
    [
        ([], [0, 1, 2, 3], [4, 5, 6, 7], [1000, 1001, 1002, 1003]),
        (["shift:b=1"], [0, 1, 2, 3], [5, 6, 7, DARK], [1000, 1001, 1002, 1003]),
        (["shift:a=2"], [2, 3, 4, 5], [6, 7, DARK, DARK], [1000, 1001, 1002, 1003]),
        (["shift:b=-1"], [0, 1, 2, DARK], [3, 4, 5, 6], [1000, 1001, 1002, 1003]),
        (["shift:a=-1"], [DARK, 0, 1, 2], [3, 4, 5, 6], [1000, 1001, 1002, 1003]),
        (["missing:a/2"], [0, DARK, 1, 2], [3, 4, 5, 6], [1000, 1001, 1002, 1003]),
        (["cut:a/3"], [0, 1, DARK, DARK], [DARK] * 4, [1000, 1001, 1002, 1003]),
        (["cut:b/1", "reversed:b"], [0, 1, 2, 3], [DARK, 6, 5, 4], [1000, 1001, 1002, 1003]),
        (["flicker:b/3"], [0, 1, 2, 3], [4, 5, RANDOM, RANDOM], [1000, 1001, 1002, 1003]),
        (["dark:a/1", "dark:b/4"], [DARK, 1, 2, 3], [4, 5, 6, DARK], [1000, 1001, 1002, 1003]),
        (["swapped-runs:a,b"], [4, 5, 6, 7], [0, 1, 2, 3], [1000, 1001, 1002, 1003]),
        (["swapped-ports:box/1,box/2"], [1000, 1001, 1002, 1003], [DARK] * 4, [0, 1, 2, 3]),
        (["swapped-ports:box/2,box/4"], [0, 1, 2, 3], [4, 5, 6, 7], [DARK] * 4),
        (["dead:box/1"], [DARK] * 4, [DARK] * 4, [1000, 1001, 1002, 1003]),
        (["dead:box"], [DARK] * 4, [DARK] * 4, [DARK] * 4),
        (["universe-shift:box=2"], [2000, 2001, 2002, 2003], [2004, 2005, 2006, 2007], [3000, 3001, 3002, 3003]),
        (["channel-shift:box/1=3"], [1, 2, 3, 4], [5, 6, 7, 8], [1000, 1001, 1002, 1003]),
        (["count:box/1=-3"], [0, 1, 2, 3], [4, DARK, DARK, DARK], [1000, 1001, 1002, 1003]),
        (["count:box/1=-3", "flicker:b/1"], [0, 1, 2, 3], [RANDOM, DARK, DARK, DARK], [1000, 1001, 1002, 1003]),
        (["count:box/1=2", "shift:b=1"], [0, 1, 2, 3], [5, 6, 7, 8], [1000, 1001, 1002, 1003]),
        (["missing:a/2", "shift:b=1"], [0, DARK, 1, 2], [4, 5, 6, 7], [1000, 1001, 1002, 1003]),
        (["swapped-runs:b,c"], [0, 1, 2, 3], [1000, 1001, 1002, 1003], [4, 5, 6, 7]),
        (["universe-shift:box/1=2"], [2000, 2001, 2002, 2003], [2004, 2005, 2006, 2007], [1000, 1001, 1002, 1003]),
        (["swapped-starts:box/1,box/2"], [1000, 1001, 1002, 1003], [1004, 1005, 1006, 1007], [0, 1, 2, 3]),
        (["swapped-starts:box/1,box/2", "channel-shift:box/2=3"], [1000, 1001, 1002, 1003],
         [1004, 1005, 1006, 1007], [1, 2, 3, 4]),
    ],
)  # fmt: skip
def test_faults_on_the_fingers(texts: list[str], a: list[int], b: list[int], c: list[int]) -> None:
    # Source: counted by hand: channels 1–3 are pixel 0 of the first universe.
    assert first_channels(small(), *texts) == {"a": a, "b": b, "c": c}


def test_a_wider_pixel_moves_all_behind_it_by_an_octet() -> None:
    # Source: WS2811 and WS2812B data sheets: a pixel takes the first octets and passes on the rest.
    wiring = wired(small())
    plan = planned(wiring, allocate(wiring).patch)
    found = departure(plan, [parse("replaced:a/2=GRBW", wiring)]).takes
    assert found["a"].tolist() == [[0, 1, 2], [4, 3, 5], [7, 8, 9], [10, 11, 12]]
    assert found["b"][-1].tolist() == [22, 23, DARK]
    found = departure(plan, [parse("replaced:a/4=BG", wiring)]).takes
    assert found["a"][3].tolist() == [DARK, 10, 9]
    assert found["b"][0].tolist() == [11, 12, 13]


def test_nulls_go_along_with_their_leads() -> None:
    # Source: counted by hand: b's null takes the third pixel's data where its lead stays, the first's where it goes.
    tables = small()
    tables["run"]["b"] |= {"nulls": 1, "pixels": 2}
    without, along = (first_channels(tables, f"swapped-{how}:a,b") for how in ("runs", "with-leads"))
    assert (without["b"], without["a"]) == ([0, 1], [3, DARK, 4, 5])
    assert (along["b"], along["a"]) == ([1, 2], [3, DARK, 4, 5])


@pytest.mark.parametrize(
    ("value", "order"),
    [
        ("3", [7, 8, 1, 2, 3, 4, 5, 6]), ("3-backwards", [3, 2, 1, 8, 7, 6, 5, 4]), ("last", [8, 7, 6, 5, 4, 3, 2, 1]),
        ("top-right", [6, 7, 8, 1, 2, 3, 4, 5]), ("top-right-backwards", [4, 3, 2, 1, 8, 7, 6, 5]),
    ],
)  # fmt: skip
def test_a_loop_entered_elsewhere(value: str, order: list[int]) -> None:
    # Source: counted by hand: sides of 2, √2 and √2 m; eight places of 0.604 m, the second corner nearest to the fourth
    wiring = wired(with_loop())
    plan = planned(wiring, allocate(wiring).patch)
    found = departure(plan, [parse(f"data-in:o={value}", wiring)]).takes["o"]
    assert (found[:, 0] - plan.takes["o"][0, 0] == (np.array(order) - 1) * 3).all()


def test_a_count_moves_the_next_port_where_ports_follow_on() -> None:
    # Source: the design: with start_per = "controller" the ports follow on inside one chain.
    tables = small(start_per="controller")
    tables["controller"]["box"]["port"].pop("3")
    tables["run"].pop("off")
    assert first_channels(tables)["c"] == [8, 9, 10, 11]
    found = first_channels(tables, "count:box/1=-3")
    assert (found["b"], found["c"]) == ([4, DARK, DARK, DARK], [5, 6, 7, 8])
    assert first_channels(tables, "count:box/1=2")["c"] == [10, 11, 12, 13]
    assert first_channels(tables, "channel-shift:box=6")["c"] == [10, 11, 12, 13]


def test_a_run_that_is_not_up_this_season_is_dark() -> None:
    # Source: the design: hung = false: not up this season; its addresses stay reserved.
    wiring = wired(small())
    plan = planned(wiring, allocate(wiring).patch)
    assert (plan.takes["off"] == DARK).all()


def test_where_slots_stand() -> None:
    # Source: the design: universe and channel count from 1; a running channel from 0.
    takes = np.array([[0, 1], [511, 512], [1024, DARK], [RANDOM, 1536]], dtype=np.int32)
    assert slot_index(takes, (1, 3)).tolist() == [[0, 1], [511, 1024], [512, 1024], [1024, 1024]]
    assert slot_index(takes, ()).tolist() == [[0, 0]] * 4


# --- what cannot be -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "reversed", "reversed:", "reversed:d", "reversed:a=1", "reversed:a=", "reversed:off", "reversed:box",
        "data-in:a=top-left", "colour-order:a=RGBW", "colour-order:a", "colour-order:a=",
        "swapped-ports:box/1", "swapped-ports:box/1,box/1", "swapped-ports:box/1,box/01", "swapped-ports:box/1,box/9",
        "swapped-ports:box/4,box/3x", "swapped-ports:box/1,nowhere/1", "swapped-ports:box/1,box", "swapped-ports:,",
        "swapped-ports:box/1,box/2,box/3", "swapped-ports:box/1,shelf/1", "swapped-ports:box/1,box/²",
        "swapped-runs:a", "swapped-runs:a,a", "swapped-with-leads:a,a", "swapped-with-leads:a",
        "swapped-runs:a,off", "swapped-runs:a,b,c",
        "shift:a", "shift:a=0", "shift:a=x", "shift:a=1.5", "shift:a=-4", "shift:b=-8", "shift:a=99999999999",
        "shift:a=100000", "shift:a=--1", "shift:a=１",
        "dark:a", "dark:a/0", "dark:a/5", "dark:a/1-2", "dark:d/1", "dark:a/1=G", "dark:a/x", "dark:a/", "dark:a/01",
        "dark-channel:a/1", "dark-channel:a/1=W", "dark-channel:a/1=RG", "missing:off/1", "cut:a/-1", "flicker:/1",
        "dead:a", "dead:box/4", "dead:box/9", "dead:shelf", "dead:", "dead:box=1",
        "universe-shift:box", "universe-shift:box=0", "universe-shift:box/4=1", "universe-shift:a=1",
        "universe-shift:box=64000",
        "swapped-starts:box/1,box/1", "swapped-starts:box,box/1", "swapped-starts:box/1", "swapped-starts:a,b",
        "swapped-starts:box/1,box/4", "swapped-starts:box/1,shelf", "replaced:a/1", "replaced:a/1=RGB",
        "replaced:a/1=RR", "replaced:a/9=GRB", "replaced:a=GRB", "replaced:a/1=grb", "data-in:o=9", "data-in:o=0",
        "data-in:o=middle", "data-in:o=last-backwards", "data-in:o=3-forwards", "data-in:o", "data-in:o=bottom-left",
        "channel-shift:box=3", "channel-shift:a=3", "channel-shift:box/1=0", "channel-shift:box/1=512",
        "channel-shift:box/4=3", "count:box/1", "count:box/1=-9", "count:box=1", "count:box/4=1", "count:box/1=0",
        "sideways:a", "", ":", "=", "dark", "\0",
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_in_words(text: str) -> None:
    # Source: the design: messages name the place, what is wrong, and what to do.
    with pytest.raises(PatcherError) as caught:
        parse(text, wired(with_loop()))
    (finding,) = caught.value.findings
    assert finding.where == text
    assert finding.says
    assert finding.remedy


@examples(66, 200)
@given(st.sampled_from(KINDS), st.text(max_size=12), st.text(max_size=6))
def test_rubbish_is_refused_and_never_more(kind: str, where: str, value: str) -> None:
    # Source: the design: no traceback ever reaches a person.
    for text in (f"{kind}:{where}={value}", f"{kind}:a/{where}={value}", f"{kind}:box/{where}={value}"):
        try:
            fault = parse(text, SMALL)
        except PatcherError:
            continue
        assert parse(str(fault), SMALL) == fault


SMALL: Wiring = wired(with_loop())


def test_a_number_is_written_in_one_way() -> None:
    assert parse("shift:a=+02", SMALL) == parse("shift:a=2", SMALL)
    assert str(parse("shift:b=-03", SMALL)) == "shift:b=-3"


@pytest.mark.parametrize(
    ("texts", "sense"),
    [
        (["reversed:a", "reversed:b"], True),
        (["reversed:a", "reversed:a"], False),
        (["shift:a=1", "shift:a=2"], False),
        (["shift:a=1", "shift:b=2"], True),
        (["dark:a/1", "dark:a/2"], True),
        (["dark:a/1", "missing:a/1"], False),
        (["cut:a/1", "flicker:a/1"], False),
        (["cut:a/1", "flicker:b/1"], True),
        (["dark-channel:a/1=R", "dark-channel:a/1=G"], True),
        (["dark-channel:a/1=R", "dark-channel:a/1=R"], False),
        (["dark-channel:a/1=R", "dark:a/1"], False),
        (["swapped-ports:box/1,box/2", "swapped-ports:box/2,box/3"], False),
        (["swapped-runs:a,b", "swapped-runs:b,a"], False),
        (["swapped-ports:box/1,box/2", "swapped-runs:a,b"], True),
        (["swapped-runs:a,b", "swapped-with-leads:b,c"], False),
        (["swapped-with-leads:a,b", "swapped-runs:c,o"], True),
        (["data-in:o=2", "data-in:o=3"], False),
        (["data-in:o=2", "reversed:o"], True),
        (["swapped-starts:box/1,box/2", "swapped-starts:box/2,box/1"], False),
        (["universe-shift:box/1=1", "universe-shift:box/1=2"], False),
        (["universe-shift:box/1=1", "universe-shift:box=2"], True),
        (["replaced:a/1=GRB", "dark:a/1"], False),
        (["replaced:a/1=GRB", "dark:a/2"], True),
        (["dead:box", "dead:box/1"], False),
        (["dead:box/1", "dead:box"], False),
        (["dead:box/1", "dead:box/1"], False),
        (["dead:box/1", "dead:box/2"], True),
        (["count:box/1=1", "count:box/1=2"], False),
        (["count:box/1=1", "count:box/2=2"], True),
        (["universe-shift:box=1", "channel-shift:box/1=2"], True),
        (["universe-shift:box=1", "universe-shift:box=1"], False),
        (["channel-shift:box/1=1", "channel-shift:box/2=1"], True),
    ],
)
def test_what_makes_no_sense_together_is_refused(texts: list[str], sense: bool) -> None:
    # Source: the design: messages name the place, what is wrong, and what to do; plain reason: one pixel, one harm.
    faults = [parse(text, SMALL) for text in texts]
    if sense:
        assert build(SMALL, faults) == Built(tuple(faults))
        return
    with pytest.raises(PatcherError) as caught:
        build(SMALL, faults)
    assert caught.value.findings[0].where == texts[1]


@pytest.mark.parametrize(
    ("text", "protocol"),
    [
        ("universe-shift:box=-1", "e131"),
        ("channel-shift:box/1=-3", "e131"),
        ("universe-shift:box=63997", "e131"),
        ("universe-shift:box=32765", "artnet"),
    ],
)
def test_a_box_cannot_begin_before_the_first_universe_nor_end_behind_the_last(text: str, protocol: str) -> None:
    # Source: ANSI E1.31-2018 6.2.7: universes 1 to 63999; Art-Net 4: Port-Addresses to 32767. The box has
    # three starts, on universes 1 to 3.
    wiring = wired(small(protocol=protocol))
    last = parse("universe-shift:box=63996" if protocol == "e131" else "universe-shift:box=32764", wiring)
    departure(planned(wiring, allocate(wiring).patch), [last])
    plan = planned(wiring, allocate(wiring).patch)
    with pytest.raises(PatcherError) as caught:
        departure(plan, [parse(text, wiring)])
    assert caught.value.findings[0].where == text


def test_every_kind_of_the_design_is_there() -> None:
    # Source: the design: the kinds of faults
    assert set(KINDS) == {
        "reversed", "data-in", "lines", "turns", "colour-order", "swapped-ports", "swapped-runs", "swapped-with-leads",
        "swapped-starts", "shift", "dark", "dark-channel", "replaced", "missing", "cut", "flicker", "dead",
        "universe-shift", "channel-shift", "count",
    }  # fmt: skip
