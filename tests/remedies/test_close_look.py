"""What is said to tell faults apart that look the same from afar, against the pixels of the yard."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from patcher.diagnosis.hypotheses import likeliest_first, singles
from patcher.dialogue.consultation import Consulting
from patcher.ends import of_run
from patcher.faults import Built, codes, departure, parse, planned
from patcher.frames.levels import levels
from patcher.frames.looks import COLOURS, Glow, Look
from patcher.patch.patch import Patch
from patcher.remedies.close_look import close_look, dark_by_address, take_the_same
from patcher.remedies.remedies import remedy
from patcher.stream.sender import targets
from patcher.wiring import Wiring
from patcher.yard.yard import Yard
from rig.diagnosed_shows import tables
from rig.examples import later
from rig.packets import e131
from rig.shipped import laid


def strings(nulls: int = 0, **box: object) -> dict:
    """Two runs on a port, one on another, and one on its data."""
    runs = {"bow": 9, "stern": 7, "far": 8}
    return tables(
        {name: {"pixels": count} | ({"nulls": nulls} if nulls else {}) for name, count in runs.items()}
        | {"near": {"pixels": 8, "same_data_as": "far", "nulls": nulls}},
        {"1": ["bow", "stern"], "2": ["far"]}, **box,
    )  # fmt: skip


def steady(
    wiring: Wiring, patch: Patch, run: str, built: Built, own: dict[str, tuple[int, ...]], shown: str = ""
) -> np.ndarray:
    """Which pixels of a run, or of another one, light in the yard where all of it is sent white, each box the universes
    that it is given.
    """
    yard = Yard(wiring, patch, built)
    source = wiring.source(run)
    look = Look((Glow(source, np.arange(wiring.show.runs[source].pixels), COLOURS["white"]),), ())
    sent = levels(look, wiring, patch, patch.universes, 1.0)
    for box, universes in own.items():
        for universe in universes:
            slots = sent.slots[sent.universes.index(universe)].tobytes() if universe in sent.universes else bytes(512)
            yard.receive([box], e131(universe, slots, 1), "192.0.2.200:5000", 0.0)
    return np.asarray(yard.pixels[shown or run].any(axis=1))


LOOKS = [
    ["dark:bow/1", "shift:bow=1"], ["dark:stern/1", "shift:stern=1"], ["shift:far=1", "dark:near/1", "dark:far/1"],
    ["shift:far=-1", "count:box/2=-1", "dark:far/8", "cut:far/8", "missing:far/1", "missing:far/8"],
    ["shift:stern=-3", "cut:stern/5", "count:box/1=-3"], ["shift:bow=-2", "cut:stern/6"],
]  # fmt: skip


# Judge: the yard's pixels, lit by packets; the pixels that are cut out, put down by hand.
@pytest.mark.parametrize("texts", LOOKS, ids=" ".join)
@pytest.mark.parametrize("nulls", [0, 1, 3])
def test_the_last_pixel_at_an_end_is_as_it_is_said(texts: list[str], nulls: int) -> None:
    # Source: found in use: "no test frame can tell them apart", of a first pixel that is dark or lit
    wiring, patch = laid(strings(nulls))
    plan = planned(wiring, patch)
    same = [(parse(text, wiring),) for text in texts]
    look = close_look(plan, same)
    assert not take_the_same(plan, same)
    if look is None:
        return
    assert {*look.dark, *look.lit} == {*same}
    for faults in same:
        lit = steady(wiring, patch, look.run, Built(faults), dict(patch.box_universes))
        gone = {pixel for fault in faults for pixel in cut_out(str(fault), look.run, nulls)}
        left = [pixel for pixel in range(len(lit)) if pixel + 1 not in gone]
        assert bool(lit[left[0 if look.first else -1]]) is (faults in look.lit), faults


def cut_out(text: str, run: str, nulls: int) -> list[int]:
    """The pixels of a run, from 1, that a fault takes off the string: of a shift first the nulls before it go, then
    what hangs before those, and last its own first pixels.
    """
    kind, _, rest = text.partition(":")
    if kind == "missing":
        return [int(rest.partition("/")[2])] if rest.partition("/")[0] == run else []
    if kind != "shift" or "=-" not in rest:
        return []
    where, _, amount = rest.partition("=-")
    left = max(0, int(amount) - nulls)
    if where == "stern":
        return [9 - number for number in range(left)] if run == "bow" else []
    return [*range(1, left + 1)] if where == run else []


def test_every_two_that_an_eye_cannot_tell_apart_have_a_close_look() -> None:
    assert all(close_look(planned(*laid(strings())), parsed(texts)) for texts in LOOKS[:5])


def parsed(texts: list[str]) -> list[tuple]:
    wiring, _ = laid(strings())
    return [(parse(text, wiring),) for text in texts]


class Nobody:
    """Somebody who is asked nothing."""


# Judge: what pixels take: only where that is the same no frame tells faults apart.
@pytest.mark.parametrize("nulls", [0, *later(1)])
@pytest.mark.parametrize("texts", [*LOOKS, ["swapped-ports:box/1,box/2"], ["dead:box/2", "cut:far/1"]], ids=" ".join)
def test_that_no_frame_tells_is_said_only_where_it_is_so(texts: list[str], nulls: int) -> None:
    wiring, patch = laid(strings(nulls))
    plan = planned(wiring, patch)
    own = [(parse(text, wiring),) for text in texts]
    every = [(fault,) for fault, differs in singles(plan, ["bow", "stern", "far"]) if differs.takes]
    takes = [departure(plan, one).takes for one in own]
    same = [
        *own,
        *(one for one in every if one not in own and any(equal(departure(plan, one).takes, t) for t in takes)),
    ]
    said: list[str] = []
    consulting = Consulting(Path("quay.toml"), plan, Nobody(), said.append)  # type: ignore[arg-type]
    consulting._say_alike(likeliest_first(wiring, same))
    alike = all(equal(departure(plan, one).takes, takes[0]) for one in same)
    text = "\n".join(said).lower()
    assert ("no test frame can tell" in text) is (alike and len(same) > 1)
    assert ("from ten metres" in text) is not alike
    if "to tell which" in text:
        run = next(run for run in wiring.show.runs if f"--on {run}:" in text)
        assert any(str(end) in "\n".join(said) for end in of_run(wiring.show, run))


def equal(one: dict, other: dict) -> bool:
    return one.keys() == other.keys() and all(np.array_equal(one[run], other[run]) for run in one)


@pytest.mark.parametrize("nulls", [0, 2])
def test_where_no_null_is_planned_the_last_pixel_is_thought_of_before_the_first(nulls: int) -> None:
    # Source: found in use: of a dead last pixel it was said to check nulls, in a show that has none, and the first one
    wiring, _ = laid(strings(nulls))
    every = [
        (parse(text, wiring),)
        for text in ("shift:far=-1", "missing:far/1", "cut:far/8", "dark:far/8", "count:box/2=-1")
    ]
    texts = [codes(faults) for faults in likeliest_first(wiring, every)]
    assert (texts[0] == "count:box/2=-1") is (not nulls)
    if not nulls:
        assert {*texts[1:3]} == {"cut:far/8", "dark:far/8"}
        assert texts[-1] == "shift:far=-1"


@pytest.mark.parametrize("amount", [-2, -1, 1, 2])
@pytest.mark.parametrize("nulls", [0, 1, 2])
def test_causes_of_more_are_not_those_of_fewer(amount: int, nulls: int) -> None:
    # Source: found in use: behind "2 pixels more" stood "a first pixel cut off", which gives fewer
    wiring, _ = laid(strings(nulls))
    todo = remedy("quay.toml", wiring, parse(f"shift:bow={amount}", wiring))
    words = " ".join((todo.says, *todo.causes))
    assert ("cut off" in words) is (amount < 0)
    assert ("more" in todo.says) is (amount > 0)
    assert ("fewer" in todo.says) is (amount < 0)
    assert f"{nulls or 'no'} null pixel" in todo.says
    assert nulls or "not set in the box" not in words


@pytest.mark.parametrize("delivery", ["unicast", "multicast"])
def test_exchanged_starts_stay_dark_where_each_box_is_sent_its_own(delivery: str) -> None:
    # Judge: the yard, each box of which is sent what `send` sends it, by its targets.
    show = tables({"a": {"pixels": 5}, "b": {"pixels": 5}}, {"1": ["a"]})
    own = show["controller"]["box"] | {"delivery": delivery}
    show["controller"] = {"one": own, "two": own | {"address": "192.0.2.2", "port": {"1": ["b"]}}}
    wiring, patch = laid(show)
    plan = planned(wiring, patch)
    same = [(parse(f"swapped-{what}:one/1,two/1", wiring),) for what in ("ports", "starts")]
    assert take_the_same(plan, same)
    sent: dict[str, tuple[int, ...]] = {}
    for goal in targets(wiring.show, patch, patch.boxes, {}):
        for box, table in wiring.show.controllers.items():
            if delivery == "multicast" or table.address == goal.host:
                sent[box] = (*sent.get(box, ()), goal.universe)
    dark = tuple(
        run for run in ("a", "b")
        if not any(steady(wiring, patch, lit, Built(same[1]), sent, run).any() for lit in ("a", "b"))
    )  # fmt: skip
    assert dark_by_address(plan, same) == dark
    assert bool(dark) is (delivery == "unicast")
