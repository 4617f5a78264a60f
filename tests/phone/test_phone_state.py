"""What a tap makes of the state, and what the wire then carries: whatever is tapped, in whatever order."""

import json
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from importlib.resources import files
from math import inf
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.cli.phone_film import film_reader
from patcher.diagnosis.frame_timing import frame_goals
from patcher.diagnosis.question_frame import Painter
from patcher.dialogue.consultation import Consulting
from patcher.dialogue.remedy_words import CAUTION
from patcher.door.authentication import Authentication
from patcher.door.connections import listen
from patcher.faults import parse, planned
from patcher.frames.looks import COLOURS
from patcher.frames.patterns import SWEEPS
from patcher.frames.request import PatternName
from patcher.patch.thing import spans_of
from patcher.phone.content import Content, _thinned, rows
from patcher.phone.desk import Desk, Moment, Shown
from patcher.phone.film_thread import FilmThread
from patcher.phone.frame_thread import Flashes, boxes_at
from patcher.phone.pages import Pages
from patcher.phone.session import Session
from patcher.phone.state import (
    COLOUR_KEYS,
    DOES,
    LEVELS,
    RATES,
    Act,
    State,
    darkened,
    pattern_of,
    read_act,
    runs,
    tap,
    warning,
)
from patcher.phone.walk_thread import LOOK_KEYS, WalkThread
from patcher.placement.allocation import allocate
from patcher.power.flow import power
from patcher.reference import topics
from patcher.stream.sender import Target
from patcher.visible import argument
from patcher.wiring import port_name
from rig.examples import examples, later
from rig.phones import Inline, plan_of
from rig.shipped import SHOWS, wired

PLAN = plan_of(SHOWS / "heron-lock.toml")
THINGS = [
    *PLAN.wiring.show.runs, *PLAN.wiring.show.controllers, *PLAN.wiring.show.props,
    "everything", "gable/17", "gable/3-9", "mooring/2", "3/100", "", "gate/1", "no-such", "gable/999", "64000/1",
    "1/511",
]  # fmt: skip
TEXTS = st.sampled_from([*THINGS, *PatternName, *COLOUR_KEYS, *SWEEPS, "dark", "ultraviolet"])
ACTS = st.builds(Act, st.sampled_from(sorted(DOES)), TEXTS, TEXTS, st.integers(0, 9))


@examples(50, 150)
@given(st.lists(st.tuples(ACTS, st.floats(0, 3)), max_size=30))
def test_whatever_is_tapped_the_state_can_be_played_and_flashes_no_more_than_an_eye_bears(
    taps: list[tuple[Act, float]],
) -> None:
    # Source: the design: what is on it; WCAG 2.2, 2.3.1: three flashes a second
    state, now = State(), 0.0
    for act, pause in taps:
        now += pause
        before, state = state, tap(state, act, PLAN, now)
        pattern = pattern_of(state, PLAN)
        assert 0 <= state.step < pattern.steps
        assert pattern.flashes <= 3
        assert state.level in LEVELS
        assert state.rate is None or state.rate in RATES or state.pattern == "ramp"
        assert PLAN.find(state.thing).parts
        pattern.look(state.step)
        if act.do == "dark":
            assert state.dark
            assert not runs(state, now)
        if not state.dark:
            assert not before.dark or act.do in ("light", "pattern", "film")
        if state.problem:
            assert replace(state, problem="") == replace(before, problem="")


@given(st.text(max_size=1100) | st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from(["do", "text", "thing", "number", "x"]), inner),
).map(json.dumps))  # fmt: skip
def test_a_message_is_an_act_or_a_value_error(text: str) -> None:
    # Source: the design: malformed messages close their connection and nothing else
    try:
        act = read_act(text)
    except ValueError:
        return
    assert act.do in DOES
    assert len(act.text) <= 200
    assert len(act.thing) <= 200


@pytest.mark.parametrize(
    "text",
    ["[" * 1000, '{"do":"on","number":true}', '{"do":"on","number":-1}', '{"do":"on","number":1e9}',
     '{"do":"on","x":1}', '{"do":["on"]}', '{"do":"note","text":"a\\u0000b"}',
     '{"do":"note","text":"\\ud800"}', '{"do":"find","text":7}',
     '{"do":"note","text":"' + "n" * 201 + '"}', "NaN", "", "{}", '{"do":"exec"}'],
)  # fmt: skip
def test_what_is_nearly_an_act_is_none(text: str) -> None:
    # Source: the design: malformed messages close their connection and nothing else
    with pytest.raises(ValueError):  # noqa: PT011  (that it is one is all that is asked)
        read_act(text)


def test_levels_and_speeds_go_by_their_keys_and_end_at_their_ends() -> None:
    # Source: the design: a level and a speed on stepped keys
    state = tap(State(), Act("pattern", "dot"), PLAN, 0.0)
    seen = []
    for _ in LEVELS:
        state = tap(state, Act("brighter"), PLAN, 0.0)
        seen.append(state.level)
    assert seen == [0.5, 0.7, 1.0, 1.0, 1.0, 1.0, 1.0]
    for _ in LEVELS:
        state = tap(state, Act("dimmer"), PLAN, 0.0)
    assert state.level == LEVELS[0]
    for _ in RATES:
        state = tap(state, Act("faster"), PLAN, 0.0)
    assert state.rate == RATES[-1], "a dot is one pixel, and may go fast"
    state = tap(state, Act("pattern", "primaries"), PLAN, 0.0)
    for _ in RATES:
        state = tap(state, Act("faster"), PLAN, 0.0)
    assert state.rate is not None
    assert state.rate <= 3
    assert "seizure" in state.problem


def test_a_speed_that_would_flash_too_much_is_said_to_stay() -> None:
    # Source: found in use: the words named a speed that the key did not show; WCAG 2.2, 2.3.1: three flashes
    state = tap(State(), Act("pattern", "primaries"), PLAN, 0.0)
    while not state.problem:
        before, state = state.rate, tap(state, Act("faster"), PLAN, 0.0)
    assert state.rate == before
    assert f"It stays at {before:g} a second." in state.problem


def test_a_level_that_a_supply_does_not_hold_is_warned_of_and_no_other() -> None:
    # Source: `patcher power`, whose highest level a supply this is
    state = power(PLAN.wiring)
    holds = {load.supply.name: load.max_level for load in state.supplies}
    assert holds["weir-12v"] < 1.0
    for stretch in state.stretches:
        for run in {run for run, _, _ in stretch.parts}:
            fed = {s for other in state.stretches if run in {r for r, _, _ in other.parts} for s in other.supplies}
            for level in (0.3, 0.99, 1.0):
                said = warning(State(thing=run, level=level), PLAN)
                assert bool(said) == any(holds[supply] < level for supply in fed), (run, level)
                assert not warning(State(thing=run, level=level, pattern=PatternName.dot), PLAN)
    assert warning(State(level=1.0), PLAN).startswith("Too bright for weir-12v")
    bare = replace(PLAN, wiring=wired(BARE))
    assert warning(State(level=1.0), replace(bare, patch=allocate(bare.wiring).patch)) == ""


BARE = {
    "show": {"title": "Bare"}, "pixel": {"lamp": {"colour_order": "RGB"}},
    "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["rail"]}}},
    "run": {"rail": {"pixel": "lamp", "pixels": 25}},
}  # fmt: skip


@pytest.mark.parametrize("name", PatternName)
def test_a_page_is_told_which_keys_have_a_meaning(name: PatternName) -> None:
    # Source: `help patterns`: which patterns stand still, and which have colours of their own
    desk = Desk(PLAN, 60.0)
    desk.tap(Act("find", "gate-left"))
    desk.tap(Act("pattern", name))
    told = json.loads(desk.document())
    assert told["moves"] == (name not in ("steady", "ports", "milestones", "edges", "ends"))
    looks = [
        pattern_of(replace(desk.state, colour=colour), PLAN).look(1 if told["moves"] else 0)
        for colour in COLOUR_KEYS[:2]
    ]
    assert told["coloured"] == (PLAN.lit(looks[0]) != PLAN.lit(looks[1]))


@pytest.mark.parametrize("thing", ["gable", "gable/17", "gable/3-9", "mooring/2", "footbridge-back", "hedge"])
def test_where_a_thing_hangs_is_told_as_where_has_it(thing: str) -> None:
    # Source: `patcher where`
    desk = Desk(PLAN, 60.0)
    desk.tap(Act("find", thing))
    found = PLAN.find(thing)
    spans, run = spans_of(found, PLAN.wiring, PLAN.patch), PLAN.wiring.source(found.parts[0].run)
    first, last = spans[0], spans[-1]
    address = f"{first.universe}/{first.first_channel} to {last.universe}/{last.last_channel}"
    assert json.loads(desk.document())["place"] == f"{port_name(*PLAN.wiring.ports[run])}, {address}"


def test_an_address_is_found_with_its_pixel_or_with_why_it_has_none() -> None:
    # Source: found in use: 7/20 named no pixel until it was lit, and a free channel seemed not to be allowed
    span = PLAN.patch.run_spans("weir")[0]
    address = f"{span.universe}/{span.first_channel + span.width * 4 + 1}"
    desk = Desk(PLAN, 60.0)
    desk.tap(Act("find", address))
    told = json.loads(desk.document())
    assert (told["thing"], told["called"], told["problem"]) == (address, f"{address}: weir/{span.first_pixel + 4}", "")
    desk.tap(Act("light"))
    assert f"weir/{span.first_pixel + 4}" in desk.document().split("called")[1]
    assert "–" not in json.loads(desk.document())["called"]
    desk.tap(Act("find", "400/1"))
    assert json.loads(desk.document())["problem"].startswith(
        "400/1: has no pixel: no box has universe 400. Give another"
    )
    desk.tap(Act("find", "gable"))
    assert json.loads(desk.document())["called"] == "gable"


@pytest.mark.long
def test_the_report_says_that_it_is_of_practice(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("patcher.phone.pages.left_open", lambda *_: [])  # it takes seconds, and is not asked about
    # Source: found in use: with --yard it said "in the box: not known" of what was ticked off in earnest
    pages = Pages(yard=True, hold=60)
    for practice in (True, False):
        assert pages.report(replace(PLAN, practice=practice))["practice"] is practice
    page = pages.page(PLAN).body.decode()
    assert 'id="practice"' in page
    assert "typed into them and told to the player does not change" in page


def test_the_help_says_how_soon_a_lost_connection_is_seen() -> None:
    script = (files("patcher.phone") / "page" / "page.js").read_text()
    beat, silent = map(int, re.search(r"BEAT = (\d+), SILENT = (\d+)", script).groups())  # type: ignore[union-attr]
    assert f"after {(beat + silent) // 1000} s at most" in " ".join(topics()["phone"].text.split())


def test_a_dot_goes_round_and_a_held_key_has_a_lease() -> None:
    # Source: the design: big keys for back, on, and hold to run
    state = tap(State(thing="gable"), Act("pattern", "dot"), PLAN, 0.0)
    assert state.runs_until == 0
    assert tap(state, Act("back"), PLAN, 0.0).step == 88
    assert tap(tap(state, Act("back"), PLAN, 0.0), Act("on"), PLAN, 0.0).step == 0
    held = tap(state, Act("hold"), PLAN, 10.0)
    assert held.step == 1, "a short tap of it is one step"
    assert runs(held, 10.5)
    assert not runs(held, 12.0)
    assert tap(held, Act("hold"), PLAN, 10.5).step == 1
    assert not runs(tap(held, Act("let go"), PLAN, 10.5), 10.5)
    assert tap(held, Act("run"), PLAN, 10.5).runs_until == inf
    assert not runs(darkened(tap(held, Act("run"), PLAN, 10.5)), 10.5)


def test_what_does_not_fit_the_next_thing_becomes_steady() -> None:
    # Source: `help patterns`: a sweep by rows needs a grid
    state = tap(tap(State(thing="weir"), Act("pattern", "sweep"), PLAN, 0.0), Act("find", "hedge"), PLAN, 0.0)
    assert (state.thing, state.pattern, state.problem) == ("hedge", "steady", "")


@given(st.sets(st.integers(0, 200)), st.integers(1, 9))
def test_what_is_thinned_out_leaves_something_of_every_stretch(pixels: set[int], every: int) -> None:
    # Source: what is lit is drawn before what is dark: a lone pixel stays, and no hole in a stretch is longer than that
    kept = _thinned(np.array(sorted(pixels), dtype=np.int64), every)
    assert set(kept) <= pixels
    for pixel in pixels:
        near = [other for other in kept if abs(other - pixel) < every]
        assert any(set(range(min(pixel, other), max(pixel, other) + 1)) <= pixels for other in near)


@given(st.sets(st.integers(0, 60)).map(sorted))
def test_rows_of_lamps_are_those_lamps(lamps: list[int]) -> None:
    # Source: the definition of an arithmetic progression
    assert [first + i * step for first, count, step in rows(lamps) for i in range(count)] == lamps


@examples(20, 60)
@given(st.sampled_from(sorted(PLAN.wiring.show.runs)), st.data())
def test_lamps_told_from_channels_are_those_that_were_painted(run: str, data: st.DataObject) -> None:
    # Source: the way back from the channels of a question's frame to its pixels; what is painted is the other way
    painter = Painter(planned(PLAN.wiring, PLAN.patch))
    count = PLAN.wiring.show.runs[run].pixels
    lamps = np.array(sorted(data.draw(st.sets(st.integers(0, count - 1), min_size=1, max_size=12))))
    colour = data.draw(st.sampled_from(painter.colours(run)))
    told = PLAN.lit_by(painter.channels(run, lamps, colour))
    assert {one[0] for one in told} == set(PLAN.with_tees(run))
    for _, name, _, found in told:
        assert name == colour
        assert [first + i * step for first, number, step in found for i in range(number)] == lamps.tolist()


@pytest.mark.parametrize("run", sorted(PLAN.wiring.show.runs))
def test_what_a_look_lights_is_told_of_every_run_on_the_same_data(run: str) -> None:
    # Source: the design: same_data_as: a tee hangs on the same data as another
    pixels = PLAN.wiring.show.runs[run].pixels
    told = PLAN.lit(pattern_of(State(thing=run, colour="red"), PLAN).look(0))
    tees = {"footbridge-rail", "footbridge-back"}
    assert {one[0] for one in told} == (tees if run in tees else {run})
    assert {one[1:] for one in told} == {("red", 1.0, ((0, pixels, 1),))}


@given(st.sampled_from(["dark", "light", "brighter", "run"]), st.sampled_from(["eaves", "gable/3", "lockhouse"]))
def test_finding_something_lights_nothing_and_is_no_brighter_than_a_test(act: str, thing: str) -> None:
    # Source: the design: found by a tap; `help patterns`: a white test of everything overloads no supply at level 0.3
    bright = State(thing="gable", dark=False, level=1.0)
    found = tap(tap(bright, Act(act), PLAN, 0.0), Act("find", thing), PLAN, 0.0)  # type: ignore[arg-type]
    assert (found.thing, found.dark, found.problem) == (thing, True, "")
    assert found.level <= 0.3
    assert not runs(found, 0.0)
    assert tap(replace(bright, level=0.05), Act("find", thing), PLAN, 0.0).level == 0.05


def test_boxes_that_are_lost_are_named_wherever_they_are_sent_to() -> None:
    hosts = {box: f"127.9.0.{number}" for number, box in enumerate(PLAN.wiring.show.controllers, start=1)}
    names = boxes_at(PLAN, frame_goals(PLAN.wiring, PLAN.patch, hosts))
    for box, controller in PLAN.wiring.show.controllers.items():
        if controller.delivery == "unicast" and not controller.spare:
            assert names[hosts[box]] == box


@given(st.lists(st.floats(0, 0.6), max_size=60))
def test_it_grows_brighter_three_times_in_any_second_at_most(pauses: list[float]) -> None:
    # Source: WCAG 2.2, 2.3.1: three flashes in any one second
    flashes, now, at = Flashes(), 0.0, []
    for pause in pauses:
        now += pause
        now += flashes.wait(now)
        assert flashes.wait(now) < 1e-9
        flashes.add(now)
        at.append(now)
    assert all(later - first >= 1 - 1e-6 for first, later in zip(at, at[3:], strict=False))


def test_a_desk_goes_dark_when_no_page_was_heard_for_so_long() -> None:
    # Source: the design: if the phone is gone for --hold seconds, pixels go dark
    now = [100.0]
    desk = Desk(PLAN, 60.0, lambda: now[0])
    desk.tap(Act("light"))
    for _ in range(20):
        now[0] += 59
        desk.pass_time()
        assert not desk.state.dark
        desk.tap(Act("here"))
    now[0] += 60.1
    desk.pass_time()
    assert desk.state.dark
    assert desk.state.why == "no phone was heard for 60 s"
    desk.tap(Act("here"))
    assert desk.state.dark, "only a tap lights"


def test_what_a_page_is_told_is_json_of_a_page_at_most(tmp_path: Path) -> None:
    # Source: the design: what every page shows; RFC 8259
    desk = Desk(PLAN, 60.0)
    for name in PatternName:
        desk.tap(Act("pattern", name))
        told = json.loads(desk.document(), parse_constant=lambda name: pytest.fail(name))
        assert told["pattern"] == name
        assert len(desk.document()) < 4000


def test_a_page_of_a_large_show_is_told_no_more_than_it_can_draw() -> None:
    # Source: MOST_PLACES; a phone on a weak network is told the state at every tap
    tables = {
        "show": {"title": "Village"}, "pixel": {"lamp": {"colour_order": "RGB"}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 8, "port": {str(n): [f"r{n}"] for n in range(1, 9)}}},
        "run": {f"r{n}": {"pixel": "lamp", "pixels": 5000} for n in range(1, 9)},
    }  # fmt: skip
    wiring = wired(tables)
    plan = Content(1, Path("show.toml"), wiring, allocate(wiring).patch)
    desk = Desk(plan, 60.0)
    desk.tap(Act("pattern", "steady"))
    lit = plan.lit(pattern_of(desk.state, plan).look(0))
    told = {(run, first + i * step) for run, _, _, found in lit for first, count, step in found for i in range(count)}
    wanted = {(run, lamp) for run in wiring.show.runs for lamp in range(0, 5000, plan.every)}
    assert told == wanted
    assert len(wanted) <= 6000
    assert plan.lit(pattern_of(tap(desk.state, Act("pattern", "dot"), plan, 0.0), plan).look(3))[0][3] == ((3, 1, 1),)


def test_of_a_large_show_what_is_lit_is_told_whole_and_a_run_has_all_its_places() -> None:
    # Source: found in use: the words named 67 pixels, the picture showed 4; dots where nothing was lit
    tables = {
        "show": {"title": "Village"}, "pixel": {"lamp": {"colour_order": "RGB"}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 8, "port": {str(n): [f"r{n}"] for n in range(1, 9)}}},
        "run": {
            f"r{n}": {"pixel": "lamp", "pixels": 5000, "shape": "line", "path": [[0.0, n], [500.0, n]]}
            for n in range(1, 9)
        },
    }  # fmt: skip
    wiring = wired(tables)
    plan = Content(1, Path("show.toml"), wiring, allocate(wiring).patch)
    for thing, name in [("r2", "milestones"), ("r2", "ends"), ("everything", "milestones"), ("r2", "steady")]:
        look = pattern_of(tap(State(thing=thing), Act("pattern", name), plan, 0.0), plan).look(0)
        told = {
            (run, first + i * by) for run, _, _, found in plan.lit(look) for first, n, by in found for i in range(n)
        }
        assert told == {(glow.run, pixel) for glow in look.glows for pixel in glow.pixels.tolist()}
    assert plan.places()["r2"]["every"] == plan.every > 1
    places = plan.places(["r2", "no-such"])
    assert list(places) == ["r2"]
    assert places["r2"]["every"] == 1
    x = places["r2"]["at"][::2]  # type: ignore[index]
    assert x == [round(pixel * 50000 / 4999) for pixel in range(5000)]


def test_a_show_of_other_colours_is_told_too() -> None:
    # Source: the design: a pixel takes as many channels as its colour order has letters
    tables = {
        "show": {"title": "Amber"}, "pixel": {"amber": {"colour_order": "A"}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["rail"]}}},
        "run": {"rail": {"pixel": "amber", "pixels": 25}},
    }  # fmt: skip
    wiring = wired(tables)
    plan = Content(1, Path("show.toml"), wiring, allocate(wiring).patch)
    state = tap(State(), Act("pattern", "milestones"), plan, 0.0)
    told = plan.lit(pattern_of(state, plan).look(0))
    assert told
    assert {name for _, name, _, _ in told}.isdisjoint(COLOURS)


def test_a_hostile_title_is_a_title(tmp_path: Path) -> None:
    # Source: the design: no inline exception; HTML, 13.1.2: a title's < and & are escaped
    hostile = "<script>alert(1)</script><b onclick=x style=y>&\"'</title>"
    tables = {
        "show": {"title": hostile}, "pixel": {"lamp": {"colour_order": "RGB"}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["rail"]}}},
        "run": {"rail": {"pixel": "lamp", "pixels": 25, "shape": "line", "path": [[0, 0], [1, 0]]}},
    }  # fmt: skip
    wiring = wired(tables)
    plan = Content(1, tmp_path / "show.toml", wiring, allocate(wiring).patch)
    page = bytes(Pages(yard=False, hold=60).page(plan).body).decode()
    parser = Inline()
    parser.feed(page)
    assert parser.found == []
    assert parser.titles[0] == f"{hostile} · Patcher"
    assert parser.titles[1] == hostile


@pytest.mark.parametrize("lost", ["mooring", "gatepost"])
@pytest.mark.parametrize("says", ["yes", "no"])
def test_a_yes_is_not_taken_of_pixels_whose_box_cannot_be_reached(lost: str, says: str) -> None:
    # Source: a reader whose thumb slipped: proved, while the same page said that the box was not to be reached
    desk = Desk(PLAN, 60.0)
    walks = WalkThread(desk, lambda number: PLAN)
    desk.alter(lambda state: replace(state, mode="round", dark=False))
    moment = Moment(None, (("towpath", "red", 1.0, ()), ("hedge", "red", 1.0, ())))
    screen = walks._put("look", keys=LOOK_KEYS, things=("towpath", "hedge"), moments=(moment,))
    desk.show(Shown(lost=(f"{lost} (192.0.2.9): no route to host",)))
    walks.take(Act("answer", says, "towpath" if says == "no" else "", screen.number))
    refused = (lost, says) == ("mooring", "yes")  # both runs hang on mooring
    assert walks._answers.empty() == refused
    assert ("mooring cannot be reached" in desk.state.problem) == refused


def test_lamps_that_cannot_be_sent_to_end_the_evening_and_say_why() -> None:
    # Source: the design: nothing crashed; the design: no traceback ever reaches a person
    def nowhere(plan: Content) -> list[Target]:
        raise OSError(101, "Network is unreachable")

    desk = Desk(PLAN, 60.0)
    desk.tap(Act("light"))
    own = listen("127.0.0.1", 0)
    entry = Authentication("127.0.0.1", own.getsockname()[1])
    walks, films = WalkThread(desk, lambda number: PLAN), FilmThread(desk, film_reader())
    session = Session(desk, entry, walks, films, Pages(yard=False, hold=60), nowhere)
    with ThreadPoolExecutor(1) as thread:  # of its own: a browser that other tests keep open has a loop in this one
        thread.submit(session.go, own, lambda: False, lambda: None).result(timeout=30)
    assert desk.state.dark
    assert "Network is unreachable" in desk.failed
    assert json.loads(desk.document())["failed"] == desk.failed


@pytest.mark.parametrize(
    "fault",
    ["cut:gable/40", "cut:gable/1", "flicker:gable/40", "dark:gable/7", "dark-channel:gable/57=G", "missing:gable/9",
     "dead:mooring", "dead:mooring/3", "universe-shift:mooring=1", "channel-shift:lockhouse/1=3",
     "replaced:gable/9=GRBW", "count:lockhouse/1=-20", "swapped-ports:gatepost/1,gatepost/2",
     "colour-order:gable=GRB", "reversed:towpath",
     "shift:gable=1"],
)  # fmt: skip
@pytest.mark.parametrize(
    ("name", "practice"), [*later(("heron-lock.toml", False), ("a b's/show.toml", False)), ("b.toml", True)]
)
def test_what_is_said_of_a_fault_begins_with_the_caution_and_names_no_command(
    fault: str, name: str, practice: bool
) -> None:
    # Source: found in use: the caution came last, behind "open the joint"; a command is for no phone
    parsed = parse(fault, PLAN.wiring)
    walks = WalkThread(Desk(PLAN, 60.0), lambda number: PLAN)
    talk = Consulting(SHOWS / "heron-lock.toml", planned(PLAN.wiring, PLAN.patch), walks, walks._tell, practice)
    path = argument(SHOWS / "heron-lock.toml")
    talk.say = lambda line: walks._tell(line.replace(path, argument(name)))
    talk.say_remedies([(parsed,)])
    talk.say_not_wiring("gable")
    # what is typed into a box, or into the file, takes no hand to a wire
    typed = ("universe-shift", "channel-shift", "count", "swapped-starts", "colour-order")
    assert (walks._told[0] == CAUTION) is not fault.startswith(typed)
    assert fault.startswith(typed) == (CAUTION not in walks._told)
    if fault.startswith(typed):
        said = walks._told[walks._told.index(next(line for line in walks._told if line.startswith("To fix it"))) :]
        assert not re.search(r"\b(joint|plugs?|wires?|leads?|swap|replace|rewire|feed|fuse)\b", said[0]), said[0]
    assert not [line for line in walks._told if "patcher " in line or "--" in line.replace("power --plan", "")]


def test_the_page_names_its_own_keys_and_no_command_of_the_terminal() -> None:
    # The project's own rule: a message says what to do, and whoever holds a phone has no key b and types no command
    walks = WalkThread(Desk(PLAN, 60.0), lambda number: PLAN)
    for line in (
        "  Saved as failed. Once it is fixed, press b to check again.",
        "  Saved as failed. gable and eaves are left out until they are fixed; press b for the whole step.",
        "  The diagnosis stops here. To continue it: patcher diagnose '/a b/show.toml' eaves",
        "  The diagnosis stops here. To continue it: patcher diagnose show.toml --yard eaves",
        "\nStopped here. Every answer so far is saved; run the same command to continue.",
        "     → nothing",
        "    then patcher patch '/a b/show.toml'; patcher todo '/a b/show.toml' lists what to change:",
        "    then patcher patch '/a b/show.toml'",
        "  Before you check: change the settings of mooring (patcher todo show.toml)",
    ):
        walks._tell(line)
    assert walks._told == [
        "Saved as failed. Once it is fixed, tap “Previous step” to check again.",
        "Saved as failed. gable and eaves are left out until they are fixed; tap “The whole step”.",
        "The diagnosis stops here. “Go on with eaves” continues it.",
        "The diagnosis stops here. “Go on with eaves” continues it.",
        "Your answer: nothing",
        "then see “Progress and notes” for what to change:",
        "then see “Boxes: what to type in”",
        "Before you check: change the settings of mooring (see “Progress and notes”)",
    ]


def test_a_sweep_of_what_is_no_grid_goes_the_first_way_that_it_can() -> None:
    # Source: found in use: a run of one line has no rows, and the keys for the other ways stand under a sweep only
    state = tap(State(thing="willow"), Act("pattern", "sweep"), PLAN, 0.0)
    assert (state.pattern, state.by, state.problem) == ("sweep", "x", "")
    assert tap(state, Act("by", "y"), PLAN, 0.0).by == "y"
    refused = tap(state, Act("by", "rows"), PLAN, 0.0)
    assert (refused.by, "left to right (--by x)" in refused.problem) == ("x", True)
    assert tap(State(thing="weir"), Act("pattern", "sweep"), PLAN, 0.0).by == "rows"
