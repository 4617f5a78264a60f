"""The faults that step 8 brought: each is named by the diagnosis, before an eye that makes no mistake but its own."""

from __future__ import annotations

import random

import pytest

from patcher.answers.witness import Witness
from patcher.diagnosis.case import Diagnosis
from patcher.diagnosis.hypotheses import likeliest_first, other_chips, other_orders
from patcher.diagnosis.scene import scene_of
from patcher.faults import build, codes, in_words, parse, planned
from patcher.placement.allocation import allocate
from patcher.remedies.remedies import remedy
from rig.any_show import any_show
from rig.diagnosed_shows import before_class, class_of
from rig.examples import later
from rig.heron_lock import heron
from rig.one_run import string
from rig.shipped import wired

KINDS = ("data-in", "replaced", "universe-shift", "swapped-starts", "swapped-runs", "swapped-with-leads")


QUICK = [
    ("window-right", "data-in:window-right=30-backwards"),
]
SLOW = [
    ("window-left", "data-in:window-left=top-right"),
    ("footbridge-rail", "universe-shift:footbridge-rail=-1"),
    ("window-left", "data-in:window-left=2"),
    ("footbridge-rail", "swapped-with-leads:footbridge-arch,footbridge-rail"),
    ("narrowboat", "data-in:narrowboat=bottom-left-backwards"),
    ("mooring/2", "universe-shift:mooring/2=1"),
    ("mooring/2", "swapped-starts:lockhouse/1,mooring/2"),
    ("mooring", "swapped-starts:mooring/1,mooring/4"),
    ("lockhouse", "swapped-starts:lockhouse,mooring"),
    ("gatepost", "swapped-starts:gatepost,mooring/3"),
    ("mooring/3", "swapped-with-leads:narrowboat,willow"),
    ("mooring", "swapped-runs:narrowboat,hedge"),
    ("gable", "replaced:gable/40=RGBW"),
    ("gate-left", "replaced:gate-left/183=BRG"),
    ("weir", "replaced:weir/99=GRB"),
]


# Source: found in use: these ended sure of something else, or that it is not the wiring.
@pytest.mark.parametrize(("thing", "text"), [*QUICK, *later(*SLOW)])
def test_each_new_fault_is_named_on_heron_lock(thing: str, text: str) -> None:
    scene = scene_of(heron()[2], thing)
    true = class_of(scene, text)
    engine = before_class(scene, true, 1)
    assert engine.done is not None
    assert engine.done.tolist() == [true]
    assert engine.sure


@pytest.mark.long
@pytest.mark.parametrize("seed", range(12))
def test_each_new_fault_is_named_on_random_shows(seed: int) -> None:
    # Source: the design: the diagnosis names the kinds that the model has.
    chance, wiring = random.Random(seed), wired(any_show(seed))
    plan = planned(wiring, allocate(wiring).patch)
    scene = scene_of(plan, chance.choice([*wiring.show.runs, *wiring.show.controllers]))
    kind = KINDS[seed % len(KINDS)]
    own = [n for n, members in enumerate(scene.classes) if members[0] and members[0][0].kind == kind]
    for true in chance.sample(own, min(len(own), 2)):
        engine = before_class(scene, true, 1)
        assert engine.done is not None
        assert engine.done.tolist() == [true]


@pytest.mark.parametrize("letters", ["W", "RG", "RGB", "GRBW", "RGBWA", "ABCDEFGHI", "ACDERGBWY", "ABCDEFGHIJKL"])
def test_few_orders_are_thought_of_however_many_letters_there_are(letters: str) -> None:
    # Source: found in use: all orders of nine letters took 8 GB. For up to four letters all 23 are there.
    orders, chips = other_orders(letters), other_chips(letters)
    assert len({*orders, letters}) == len(orders) + 1
    assert all(sorted(order) == sorted(letters) for order in orders)
    assert len(orders) == {"W": 0, "RG": 1, "RGB": 5, "GRBW": 23}.get(letters, len(orders))
    assert len(orders) <= 67
    assert letters not in chips
    assert len(chips) <= 10
    assert chips or len(letters) == 12
    assert all(len(set(chip)) == len(chip) > 0 for chip in chips)
    tables = string(2)
    tables["pixel"]["rgb"]["colour_order"] = letters
    wiring = wired(tables)
    assert all(parse(f"replaced:line/1={chip}", wiring) for chip in chips)
    if letters == "RGB":
        assert set(chips) == {*orders, "RGBW", "GRBW"}


@pytest.mark.parametrize("ports", [2, 3])
def test_a_dead_box_is_named_before_a_plug_in_a_port_that_should_be_empty(ports: int) -> None:
    # Source: found in use: of a dead box with one used port it was said to swap its plug with that of an empty port
    wiring = wired(string(12, ports=ports))
    patch = allocate(wiring).patch
    witness = Witness(wiring, patch, build(wiring, [parse("dead:box", wiring)]))
    diagnosis = Diagnosis.start(wiring, patch, "line")
    while (question := diagnosis.ask()) is not None:
        diagnosis.tell(witness.answer(question))
    same = diagnosis.same_look
    swaps = [faults for faults in same if faults[0].kind == "swapped-ports"]
    assert [codes(faults) for faults in same[: ports + 1]] == ["dead:box", "dead:box/1", *map(codes, swaps)]
    assert [in_words(faults, wiring) for faults in swaps] == [
        f"the lead of line is in box/{port}, not in box/1 (swapped-ports:box/1,box/{port})"
        for port in range(2, ports + 1)
    ]
    assert remedy("a.toml", wiring, swaps[0][0]).says == (
        "unplug the lead of line from box/2, which should be empty, and plug it into box/1"
    )


@pytest.mark.parametrize(("nulls", "first"), [(0, "dark:line/1"), (1, "shift:line=1")])
def test_a_dead_first_pixel_is_named_before_a_null_pixel_where_none_is_planned(nulls: int, first: str) -> None:
    # Source: found in use: of a dead first pixel it was said to check the nulls in the box, in a show that has none
    tables = string(12, ports=1)
    tables["run"]["line"]["nulls"] = nulls
    wiring = wired(tables)
    every = [(parse(text, wiring),) for text in ("shift:line=1", "reversed:line", "dark:line/1")]
    assert codes(likeliest_first(wiring, every)[0]) == first
    if nulls:
        return
    patch = allocate(wiring).patch
    witness = Witness(wiring, patch, build(wiring, [parse("dark:line/1", wiring)]))
    diagnosis = Diagnosis.start(wiring, patch, "line")
    while (question := diagnosis.ask()) is not None:
        diagnosis.tell(witness.answer(question))
    assert [codes(faults) for faults in diagnosis.same_look[:2]] == ["dark:line/1", "shift:line=1"]
