"""The person's text: what no act touches stays, whatever ends its lines; what cannot be done is said in words."""

import contextlib
import json
import tomllib
from typing import Any

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.acts.act import Act, read_act
from patcher.acts.acting import acted
from patcher.errors import PatcherError
from patcher.show.parser import read
from rig.act_shows import KINDS, any_act, lines_outside, names_of, parsed, texts
from rig.comments import MARK
from rig.examples import examples
from rig.shipped import SHOWS


def tried(text: str, act: Act) -> str | None:
    """The new text; None where the act is refused."""
    try:
        return acted(text, act)
    except PatcherError as error:
        refused = error
    assert refused.findings
    assert all(finding.says and finding.remedy for finding in refused.findings)
    return None


def touched(text: str, new: str) -> list[str]:
    """The tables that differ, by their headings."""
    before, after = tomllib.loads(text), tomllib.loads(new)
    found = ["show"] if before["show"] != after["show"] else []
    found += ["accept", ""] if before.get("accept") != after.get("accept") else []
    for kind in ("pixel", *KINDS):
        was, now = before.get(kind, {}), after.get(kind, {})
        found += [f"{kind}.{name}" for name in {**was, **now} if was.get(name) != now.get(name)]
    return found


@examples(60, 1500)
@given(texts(), st.data())
def test_an_act_gives_a_text_or_words_and_leaves_all_other_lines(text: str, data: Any) -> None:
    # Source: the lines of all tables that are the same before and after, in their order
    act = data.draw(any_act(text))
    new = tried(text, act)
    if new is None:
        return
    assert read(new).findings == ()
    tables = touched(text, new)
    if not tables:
        assert new == text
    assert lines_outside(new, *tables) == lines_outside(text, *tables)
    gone = [name for name in names_of(text, *KINDS) if name not in names_of(new, *KINDS)]
    marks = MARK.findall(new)
    assert len({*marks}) == len(marks)
    if not gone:
        assert sorted(marks) == sorted(MARK.findall(text))


@examples(40, 600)
@given(texts(), st.data())
def test_lines_end_as_they_did_and_the_byte_order_mark_stays(text: str, data: Any) -> None:
    # Source: the same act on the same text with plain lines
    act = data.draw(any_act(text))
    new = tried(text, act)
    crlf = tried(text.replace("\n", "\r\n"), act)
    marked = tried("\ufeff" + text, act)
    assert crlf == (new and new.replace("\n", "\r\n"))
    assert marked == (new and "\ufeff" + new)


@examples(25, 400)
@given(texts(), st.data())
def test_acts_one_after_the_other_never_spoil_the_show(text: str, data: Any) -> None:
    for _ in range(5):
        new = tried(text, data.draw(any_act(text)))
        text = text if new is None else new
    parsed(text)


@examples(25, 400)
@given(texts(), st.data())
def test_a_show_with_something_wrong_can_be_edited_and_gets_no_worse(text: str, data: Any) -> None:
    tables = tomllib.loads(text)
    kind = data.draw(st.sampled_from(["run", "prop", "controller", "feed", "supply"]))
    name = data.draw(st.sampled_from([*tables[kind]]))
    key = data.draw(st.sampled_from([*tables[kind][name], "like", "about", "extra"]))
    tables[kind][name][key] = data.draw(st.sampled_from([3, "nothing", [], [1], {"a": 1}, [["x"]], True]))
    if data.draw(st.booleans()):
        tables[data.draw(st.sampled_from(["accept", "prop", "show", "supply", "feed"]))] = 3
    text = tomli_w.dumps(tables)
    with contextlib.suppress(PatcherError):
        before = read(text).findings
        new = tried(text, data.draw(any_act(text)))
        assert new is None or len(read(new).findings) <= 2 * len(before)


WRONG = """\
[show]
title = "T"
[pixel.p]
colour_order = "RGB"
[run.a]
pixel = "p"
pixels = 0
[run.b]
like = "a"
[run.c]
pixel = "p"
pixels = 3
"""


@pytest.mark.parametrize("act", [
    {"act": "set", "thing": "c", "key": "lead", "value": 2.0},
    {"act": "set", "thing": "a", "key": "pixels", "value": 5},
    {"act": "rename", "thing": "a", "name": "d"}, {"act": "take-out", "thing": "a"},
])  # fmt: skip
def test_what_was_wrong_before_stops_no_act(act: dict) -> None:
    new = acted(WRONG, read_act(act))
    assert new != WRONG
    assert len(read(new).findings) <= len(read(WRONG).findings) == 1


ODD = [
    'show = { title = "T" }\nrun = { a = { pixel = "p", pixels = 3 }, b = { like = "a" } }\n'
    'pixel = { p = { colour_order = "RGB" } }\n',
    'show.title = "T"\npixel.p.colour_order = "RGB"\n[run]\na.pixel = "p"\na.pixels = 3\nb = { like = "a" }\n',
    '[show]\ntitle = "T"\n["pixel".p]\ncolour_order = "RGB"\n[ run . "a" ] # first\npixel = "p"\npixels = 3\n'
    "[run.b]\nlike = 'a'",
    '[run.b]\nlike = "a"\n[show]\ntitle = """T\n# no comment\n[run.x]\n"""\n[pixel.p]\ncolour_order = "RGB"\n'
    '[controller.k.port]\n1 = ["a"] # one\n[run.a]\npixel = "p"\npixels = 3\n[controller.k]\naddress = "192.0.2.1"\n'
    "ports = 2\n",
]


@pytest.mark.parametrize("text", ODD)
@pytest.mark.parametrize("act", [
    {"act": "set", "thing": "a", "key": "pixels", "value": 4},
    {"act": "set", "thing": "a", "key": "lead", "value": 4.0},
    {"act": "set", "thing": "show", "key": "title", "value": "Another"},
    {"act": "rename", "thing": "a", "name": "c"},
    {"act": "take-out", "thing": "a"},
    {"act": "take-out", "thing": "b"},
    {"act": "copy", "thing": "a", "by": [1, 0], "count": 2},
    {"act": "draw", "run": "new", "keys": {"pixel": "p", "pixels": 3}},
    {"act": "box", "name": "shed", "at": None, "keys": {"address": "192.0.2.9", "ports": 1, "port": {"1": ["a"]}}},
    {"act": "hang", "run": "a", "box": "k", "port": 2, "behind": None},
])  # fmt: skip
def test_a_file_in_another_form_is_edited_or_refused_in_words(text: str, act: dict) -> None:
    before = read(text)
    assert before.findings == ()
    new = tried(text, read_act(act))
    if new is not None:
        assert read(new).findings == ()
        assert new != text
        marks = ["# one"] + ["# first"] * (act["act"] != "take-out") + ["# no comment"] * (act.get("key") != "title")
        assert all(mark in new for mark in marks if mark in text)


@pytest.mark.parametrize("text", ["run = ", "[show]\ntitle = 1\n[run]\na = 3\n", "", "x = 1\n", "[[run]]\na = 1\n"])
@pytest.mark.parametrize("act", [
    {"act": "draw", "run": "a", "keys": {}}, {"act": "shift", "things": ["a"], "by": [1, 1]},
    {"act": "set", "thing": "show", "key": "title", "value": "T"}, {"act": "take-out", "thing": "a"},
    {"act": "supply", "name": "s", "keys": {"volts": 12.0, "amps": 3.0}},
])  # fmt: skip
def test_what_is_no_show_gives_words_or_is_no_worse(text: str, act: dict) -> None:
    tried(text, read_act(act))


CORNER = {"act": "corner", "thing": "a", "corner": 0, "to": [0, 0]}
COPY = {"act": "copy", "thing": "a", "by": [0, 0], "count": 1}
SET = {"act": "set", "thing": "a", "key": "lead", "value": 1}
NO_ACTS = [
    None, [], 3, "draw", {}, {"act": "fly"}, {"act": "unhang"}, {"act": "unhang", "run": "a", "more": 1},
    {"act": "unhang", "run": "1a"}, {"act": "unhang", "run": "a" * 61}, {"act": "unhang", "run": "a\n"},
    *[CORNER | {"corner": corner} for corner in (-1, 1.0, "0", None)],
    *[CORNER | {"to": to} for to in ([0, float("nan")], [0, float("inf")], [0, 1e9], [0], [True, 0], ["0", 0], None)],
    {"act": "shift", "things": [], "by": [0, 0]}, {"act": "shift", "things": ["a"] * 10_001, "by": [0, 0]},
    *[COPY | {"count": count} for count in (0, 10**6, True, 1.0)], COPY | {"turned": 361.0}, COPY | {"mirrored": 1},
    SET | {"key": "a.b"}, {"act": "draw", "run": "a", "keys": {"x]\n": 1}},
    *[SET | {"value": value} for value in (
        float("nan"), 10**30, [[[[[[0]]]]]], [None], [0] * 20_001, "\ud800", "x" * 1001, object(), {"\ud800": 1}
    )],
    {"act": "hang", "run": "a", "box": "b", "port": 0, "behind": None},
]  # fmt: skip


@pytest.mark.parametrize("document", NO_ACTS)
def test_what_is_no_act_is_refused(document: Any) -> None:
    with pytest.raises((ValueError, PatcherError)):
        read_act(document)


@examples(60, 600)
@given(st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
), st.sampled_from(["draw", "corner", "shift", "set", "feed", "hang", "nothing"]))  # fmt: skip
def test_any_json_is_an_act_or_no_value(document: Any, act: str) -> None:
    for asked in (
        document,
        {"act": act, "thing": "a", "key": "lead", "value": document},
        {"act": act, "run": document},
    ):
        with contextlib.suppress(ValueError, PatcherError):
            read_act(json.loads(json.dumps(asked)))


def test_lengths_are_written_in_the_units_of_the_file() -> None:
    # Source: 1 ft is 0.3048 m
    text = '[show]\ntitle = "T"\nunits = "ft"\n\n[pixel.p]\ncolour_order = "RGB"\n'
    keys = {"pixel": "p", "shape": "line", "path": [[0, 0.3048], [3.048, 0]], "pixels": 5, "lead": 1.0, "nulls": 1}
    new = acted(text, read_act({"act": "draw", "run": "a", "keys": keys}))
    assert tomllib.loads(new)["run"]["a"] == {**keys, "path": [[0.0, 1.0], [10.0, 0.0]], "lead": 3.2808}
    assert list(tomllib.loads(new)["run"]["a"]) == list(keys)
    wider = acted(new, read_act({"act": "set", "thing": "p", "key": "pitch", "value": 0.03048}))
    assert tomllib.loads(wider)["pixel"]["p"]["pitch"] == 0.1
    box = {"address": "192.0.2.1", "ports": 2, "port": {"1": ["a"]}, "logic": {"supply": "s", "amps": 0.4}}
    more = acted(wider, read_act({"act": "supply", "name": "s", "keys": {"volts": 12.0, "amps": 3.048}}))
    more = acted(more, read_act({"act": "box", "name": "k", "at": [0.6096, 0], "keys": box}))
    assert tomllib.loads(more)["controller"]["k"] == {**box, "at": [2.0, 0.0]}
    assert tomllib.loads(more)["supply"]["s"]["amps"] == 3.048
    taps = [{"run": "a", "pixel": 1, "length": 0.3048}]
    fed = acted(more, read_act({"act": "feed", "name": "f", "keys": {"supply": "s", "mm2": 1.5}, "taps": taps}))
    assert tomllib.loads(fed)["feed"]["f"]["taps"][0]["length"] == 1.0
    assert parsed(fed).runs["a"].pixels == 5


def test_a_new_run_stands_behind_the_last_and_before_what_is_said_of_the_next() -> None:
    text = (SHOWS / "heron-lock.toml").read_text(encoding="utf-8")
    keys = {"pixel": "bulb-12v", "pixels": 5}
    new = acted(text, read_act({"act": "draw", "run": "porch", "keys": keys}))
    assert 'lead_via = "booster"\n\n[run.porch]\npixel = "bulb-12v"\npixels = 5\n\n# ─── Power' in new
    assert new.replace('[run.porch]\npixel = "bulb-12v"\npixels = 5\n\n', "") == text
    for name in ("gable", "gate", "lockhouse", "gate-5v", "roof-wire", "show"):
        with pytest.raises(PatcherError, match="has the name of a"):
            acted(text, read_act({"act": "draw", "run": name, "keys": keys}))
    with pytest.raises(PatcherError):
        acted(text, read_act({"act": "draw", "run": "porch", "keys": {"pixel": "bulb-12v", "pixles": 5}}))


def test_a_key_that_is_none_is_refused_with_the_nearest() -> None:
    text = (SHOWS / "heron-lock.toml").read_text(encoding="utf-8")
    with pytest.raises(PatcherError) as refused:
        acted(text, read_act({"act": "set", "thing": "gable", "key": "leed", "value": 1.0}))
    assert "lead" in refused.value.findings[0].remedy
    same = {"act": "set", "thing": "gable", "key": "lead", "value": 2.6}
    assert acted(text, read_act(same)) == text
    with pytest.raises(PatcherError, match="is no key"):
        acted(text, read_act({"act": "set", "thing": "gable", "key": "leed", "value": None}))


def test_a_new_key_stands_behind_the_others_and_before_the_blank_line() -> None:
    text = (SHOWS / "heron-lock.toml").read_text(encoding="utf-8")
    new = acted(text, read_act({"act": "set", "thing": "gable", "key": "nulls", "value": 1}))
    assert new.replace("lead = 2.6\nnulls = 1\n\n[run.eaves]", "lead = 2.6\n\n[run.eaves]") == text
    assert new != text
