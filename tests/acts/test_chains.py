"""Runs on ports: each hangs in one place at most, in the order that was asked for."""

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.acts.act import read_act
from patcher.acts.acting import acted, acted_together
from patcher.errors import PatcherError
from rig.act_shows import names_of, parsed, texts
from rig.examples import examples


def chains(text: str) -> dict[tuple[str, int], list[str]]:
    """The runs of every port that has some."""
    show = parsed(text)
    every = {(name, port): [*runs] for name, box in show.controllers.items() for port, runs in box.port.items()}
    return {place: runs for place, runs in every.items() if runs}


@examples(40, 400)
@given(texts(), st.data())
def test_a_run_hangs_where_it_is_hung_and_nowhere_else(text: str, data: Any) -> None:
    # Source: the same done to plain lists
    run = data.draw(st.sampled_from(names_of(text, "run")))
    box = data.draw(st.sampled_from(names_of(text, "controller")))
    port = data.draw(st.integers(1, 7))
    before = chains(text)
    on_it = [name for name in before.get((box, port), []) if name != run]
    behind = data.draw(st.sampled_from([None, *on_it]))
    act = read_act({"act": "hang", "run": run, "box": box, "port": port, "behind": behind})
    if port == 7 or parsed(text).runs[run].same_data_as is not None:
        with pytest.raises(PatcherError):
            acted(text, act)
        return
    meant = {place: [name for name in runs if name != run] for place, runs in before.items()}
    chain = meant.setdefault((box, port), [])
    chain.insert(0 if behind is None else chain.index(behind) + 1, run)
    new = acted(text, act)
    assert chains(new) == {place: runs for place, runs in meant.items() if runs}
    assert acted(new, act) == new
    off = acted(new, read_act({"act": "unhang", "run": run}))
    assert chains(off) == {place: rest for place, runs in meant.items() if (rest := [r for r in runs if r != run])}
    assert acted(off, read_act({"act": "unhang", "run": run})) == off


@examples(10, 60)
@given(texts(), st.data())
def test_a_run_cannot_hang_behind_what_is_not_there(text: str, data: Any) -> None:
    run, other = data.draw(st.permutations(names_of(text, "run")))[:2]
    others = {name for (box, port), runs in chains(text).items() if (box, port) == ("box0", 6) for name in runs}
    behind = data.draw(st.sampled_from([run, other]))
    if behind not in others or behind == run:
        with pytest.raises(PatcherError):
            acted(text, read_act({"act": "hang", "run": run, "box": "box0", "port": 6, "behind": behind}))


PINNED = """\
[show]
title = "T"
[pixel.p]
colour_order = "RGB"
[run.a]
pixel = "p"
pixels = 5
[controller.k]
address = "192.0.2.1"
ports = 2
start_per = "run"
[controller.k.port]
1 = ["a"] # first
[controller.k.start]
a = "20/1" # painted on
[controller.m]
address = "192.0.2.2"
ports = 2 # spare one
# it stands in the shed
"""


def test_a_pin_goes_with_its_run_where_that_leaves_the_box() -> None:
    here = acted(PINNED, read_act({"act": "hang", "run": "a", "box": "k", "port": 2, "behind": None}))
    assert tomllib.loads(here)["controller"]["k"]["start"] == {"a": "20/1"}
    there = acted(PINNED, read_act({"act": "hang", "run": "a", "box": "m", "port": 2, "behind": None}))
    boxes = tomllib.loads(there)["controller"]
    assert (boxes["k"]["start"], boxes["k"]["port"], boxes["m"]["port"]) == ({}, {"1": []}, {"2": ["a"]})
    assert there.endswith('# it stands in the shed\n\n[controller.m.port]\n2 = ["a"]\n')
    assert all(mark in there for mark in ("# first", "# painted on", "# spare one"))


@examples(25, 200)
@given(texts(), st.data())
def test_acts_together_come_to_the_same_as_one_after_the_other(text: str, data: Any) -> None:
    # Source: each of them alone; only what stands at the end must be sound
    asked = []
    for _ in range(data.draw(st.integers(1, 4))):
        run = data.draw(st.sampled_from(names_of(text, "run")))
        box = data.draw(st.sampled_from(names_of(text, "controller")))
        port = data.draw(st.integers(1, 6))
        asked.append(read_act({"act": "hang", "run": run, "box": box, "port": port, "behind": None}))
        asked.append(read_act({"act": "set", "thing": run, "key": "lead", "value": data.draw(st.integers(1, 9)) / 2}))
    one = text
    try:
        for act in asked:
            one = acted(one, act)
    except PatcherError:
        return
    assert parsed(acted_together(text, asked)) == parsed(one)


def test_what_is_wrong_only_in_between_does_not_count() -> None:
    # Source: a lead may not end before its null pixels; here both change
    text = """
[show]
title = "x"
[pixel.p]
colour_order = "RGB"
[controller.a]
address = "192.0.2.1"
ports = 1
[controller.a.port]
1 = ["one"]
[run.one]
pixel = "p"
pixels = 9
nulls = 1
nulls_at = [2.0]
lead = 3.0
"""
    keys = ({"key": "lead", "value": 1.0}, {"key": "nulls_at", "value": [0.5]})
    asked = [read_act({"act": "set", "thing": "one", **each}) for each in keys]
    with pytest.raises(PatcherError):
        acted(text, asked[0])
    run = parsed(acted_together(text, asked)).runs["one"]
    assert (run.lead, run.nulls_at) == (1.0, (0.5,))
    with pytest.raises(PatcherError):
        acted_together(text, asked[:1])
