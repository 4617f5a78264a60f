"""Names: another one everywhere, and a thing that is taken out is named nowhere."""

import json
import re
import tomllib
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher.acts.act import read_act
from patcher.acts.acting import acted
from patcher.errors import PatcherError
from patcher.shapes import positions
from rig.act_shows import KINDS, names_of, parsed, texts
from rig.comments import MARK
from rig.examples import examples
from rig.shipped import SHOWS


def done(text: str, **act: Any) -> str:
    return acted(text, read_act(act))


def with_name(value: Any, old: str, new: str) -> Any:
    """A value of JSON in which every text that is a name, or begins a place with it, has another."""
    if isinstance(value, dict):
        return {with_name(key, old, new): with_name(part, old, new) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [with_name(part, old, new) for part in value]
    if isinstance(value, str):
        found = re.fullmatch(rf"({'|'.join(KINDS)})\.{re.escape(old)}(\..*)?", value)
        return f"{found[1]}.{new}{found[2] or ''}" if found else new if value == old else value
    return value


@examples(25, 250)
@given(texts(), st.data())
def test_a_new_name_changes_nothing_but_names_and_the_old_one_brings_all_back(text: str, data: Any) -> None:
    # Source: the same words exchanged in the models, wherever they stand
    name = data.draw(st.sampled_from([*names_of(text, *KINDS), "kind-RGB"]))
    new = done(text, act="rename", thing=name, name="another")
    before, after = parsed(text), parsed(new)
    was, now = (show.model_dump(mode="json", serialize_as_any=True) for show in (before, after))
    assert json.dumps(now) == json.dumps(with_name(was, name, "another"))
    assert list(after.runs) == with_name(list(before.runs), name, "another")
    assert re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", "\n".join(without_comments(new))) is None
    assert MARK.findall(new) == MARK.findall(text)
    assert new.count("\n") == text.count("\n")
    back = done(new, act="rename", thing="another", name=name)
    assert parsed(back) == before
    assert tomllib.loads(back) == tomllib.loads(text)


def without_comments(text: str) -> list[str]:
    """Its lines without comments; no text in these shows holds a #."""
    return [line.split("#")[0] for line in text.split("\n")]


@examples(40, 400)
@given(texts(), st.data())
def test_what_is_taken_out_is_named_nowhere_and_what_is_left_stays_as_it_is(text: str, data: Any) -> None:
    # Source: the text as a whole; the pixels of all that is left
    name = data.draw(st.sampled_from(names_of(text, *KINDS)))
    new = done(text, act="take-out", thing=name)
    assert re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", "\n".join(without_comments(new))) is None
    before, after = parsed(text), parsed(new)
    bands = {run.name for run in before.bands.get(name, [])}
    assert before.runs.keys() - after.runs.keys() == ({name} | bands) & before.runs.keys()
    for run in after.runs:
        was, now = before.runs[run], after.runs[run]
        tee = {"same_data_as"} if was.same_data_as == name else set()
        kept = {key: value for key, value in was.model_dump(exclude=tee).items() if key not in _DRAWN}
        assert now.model_dump(include=set(kept)) == kept
        here, there = positions(before, was), positions(after, now)
        assert (here is None) == (there is None)
        if here is not None and there is not None:
            assert np.abs(here - there).max() < 1e-5
    for feed, table in after.feeds.items():
        kept_taps = [(tap.run, tap.pixel, tap.every) for tap in before.feeds[feed].taps if tap.run in after.runs]
        assert [(tap.run, tap.pixel, tap.every) for tap in table.taps] == kept_taps


_DRAWN = ("path", "corners", "feet", "area", "at", "data_in", "height")


@examples(25, 250)
@given(texts(), st.data())
def test_the_first_of_those_that_are_like_a_run_takes_over(text: str, data: Any) -> None:
    runs = tomllib.loads(text)["run"]
    sources = list(dict.fromkeys(run["like"] for run in runs.values() if "like" in run))
    assume(sources)
    name = data.draw(st.sampled_from(sources))
    heir, *others = [copy for copy, run in runs.items() if run.get("like") == name]
    after = tomllib.loads(done(text, act="take-out", thing=name))["run"]
    assert after[heir].get("like") == runs[name].get("like")
    assert all(after[other]["like"] in (heir, runs[name].get("like")) for other in others if "like" in after[other])


TWO_COPIES = """\
[show]
title = "T"

[pixel.p]
colour_order = "RGB"

[run.a]
pixel = "p"
shape = "line"
path = [[0.0, 0.0], [1.0, 0.5]]
pixels = 5
lead = 1.5

# the near one
[run.b]
like = "a"
moved = [2.0, 0.0] # across
mirrored = true

[run.c]
like = "a"
moved = [2.0, 3.0]
"""


def test_the_others_are_like_the_first_of_the_copies_from_then_on() -> None:
    # Source: plane geometry by hand
    new = done(TWO_COPIES, act="take-out", thing="a")
    runs = tomllib.loads(new)["run"]
    assert runs["b"] == {"pixel": "p", "shape": "line", "path": [[3.0, 0.0], [2.0, 0.5]], "pixels": 5, "lead": 1.5}
    assert runs["c"] == {"like": "b", "moved": [0.0, 3.0], "mirrored": True}
    assert "# the near one\n[run.b]" in new
    assert "# across" in new


BRANCHES = """\
[show]
title = "T"
[pixel.p]
colour_order = "RGB"
[run.a]
pixel = "p"
pixels = 5
[run.b]
pixel = "p"
pixels = 5
[supply.s]
volts = 12.0
amps = 5.0
[feed.one]
supply = "s"
awg = 14
taps = [
  { run = "a", pixel = 1, length = 2.0 }, # near
  { run = "b", pixel = 1, length = 3.0 }, # far
  { run = "b", pixel = 5, length = 4.0 },
]
[feed.two]
from = "one"
tap = 2
awg = 14
taps = [{ run = "b", pixel = 3, length = 1.0 }]
"""


@pytest.mark.parametrize(("number", "lengths", "branch"), [
    (1, [5.0, 4.0], {"from": "one", "tap": 1, "length": 1.0}),
    (2, [2.0, 7.0], {"from": "one", "tap": 1, "length": 4.0}),
    (3, [2.0, 3.0], {"from": "one", "tap": 2, "length": 1.0}),
])  # fmt: skip
def test_where_a_tap_goes_the_wire_stays(number: int, lengths: list[float], branch: dict) -> None:
    # Source: lengths added by hand
    new = done(BRANCHES, act="untap", feed="one", number=number)
    feeds = tomllib.loads(new)["feed"]
    assert [tap["length"] for tap in feeds["one"]["taps"]] == lengths
    two = feeds["two"]
    assert (two["from"], two["tap"], two["taps"][0]["length"]) == tuple(branch.values())
    assert "# near" in new
    assert "# far" in new


def test_a_branch_at_the_first_tap_comes_from_the_supply_then() -> None:
    text = BRANCHES.replace("tap = 2", "tap = 1")
    two = tomllib.loads(done(text, act="untap", feed="one", number=1))["feed"]["two"]
    assert (two["supply"], two["taps"][0]["length"]) == ("s", 3.0)
    assert not two.keys() & {"from", "tap"}
    gone = tomllib.loads(done(text, act="take-out", thing="one"))["feed"]
    assert gone == {"two": two}
    assert "feed" not in tomllib.loads(done(text, act="take-out", thing="s"))
    assert tomllib.loads(done(text, act="take-out", thing="a"))["feed"]["one"]["taps"][0]["length"] == 5.0


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_a_tap_comes_in_before_a_number_and_branches_stay_on_theirs(number: int) -> None:
    tap = {"run": "a", "pixel": "last", "length": 0.5}
    feeds = tomllib.loads(done(BRANCHES, act="tap", feed="one", number=number, tap=tap))["feed"]
    assert feeds["one"]["taps"][number - 1] == tap
    assert feeds["one"]["taps"][feeds["two"]["tap"] - 1] == {"run": "b", "pixel": 1, "length": 3.0}
    with pytest.raises(PatcherError):
        done(BRANCHES, act="tap", feed="one", number=5, tap=tap)


@pytest.mark.parametrize("thing", ["lockhouse", "gate", "weir", "footbridge-rail", "gate-5v", "roof-wire", "cottage"])
def test_a_shipped_show_can_be_read_without_a_thing(thing: str) -> None:
    text = (SHOWS / "heron-lock.toml").read_text(encoding="utf-8")
    new = done(text, act="take-out", thing=thing)
    assert re.search(rf"(?<![\w-]){thing}(?![\w-])", "\n".join(without_comments(new))) is None
    assert "\n\n\n" not in new


MIRRORED = (
    TWO_COPIES.replace("# the near one", '[prop.tree]\nruns = ["a", "x"]').replace(
        "mirrored = true", 'mirrored = true\nabout = "tree"\nturned = 20.0'
    )
    + """
[run.x]
pixel = "p"
shape = "line"
path = [[5.0, 1.0], [7.0, 4.0]]
pixels = 4
"""
)


@pytest.mark.parametrize("thing", ["tree", "x", "a"])
def test_what_is_turned_about_a_prop_stays_where_the_prop_or_a_part_of_it_goes(thing: str) -> None:
    # Source: the pixels, before and after
    new = done(MIRRORED, act="take-out", thing=thing)
    before, after = parsed(MIRRORED), parsed(new)
    for run in after.runs:
        here, there = positions(before, before.runs[run]), positions(after, after.runs[run])
        assert here is not None
        assert there is not None
        assert np.abs(here - there).max() < 1e-5
    assert ("about" in tomllib.loads(new)["run"]["b"]) == (thing == "x")


@pytest.mark.parametrize("thing", ["weir", "gate", "weirside", "gate-5v", "roof-wire", "footbridge-rail", "bulb-12v"])
def test_a_new_name_changes_only_words_in_their_lines(thing: str) -> None:
    # Source: the name exchanged as a word in front of every comment
    text = (SHOWS / "heron-lock.toml").read_text(encoding="utf-8")
    lines = [line.partition("#") for line in text.split("\n")]
    word = re.compile(rf"(?<![\w-]){thing}(?![\w-])")
    meant = "\n".join(word.sub("another", line) + mark + comment for line, mark, comment in lines)
    assert done(text, act="rename", thing=thing, name="another") == meant
