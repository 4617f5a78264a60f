"""The phone's page in a real browser, against a yard on this machine: from the first tap to the report."""

import itertools
import json
import re
import threading
import time
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, WebSocketRoute

from patcher.cli.phone_film import film_reader
from patcher.diagnosis import case, frame_timing
from patcher.diagnosis.question_frame import Frame
from patcher.eye import Eye, few, goes_of, together
from patcher.phone import frame_thread
from patcher.phone.content import Content
from patcher.phone.film_thread import FilmVerdict
from patcher.phone.state import Act
from patcher.walk.items import items
from rig.hands import SCREEN, Answerer, browser, key, opened, tap_run
from rig.phones import evening, until
from rig.shipped import Patcher

AT = frame_timing.Play.at


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """What moves is played much faster than an eye could follow, forty moments at a time; the looks of a step are held
    for a third of their time.
    """
    monkeypatch.setattr(frame_thread, "FRAME", 0.03)
    clock = itertools.count()

    def at(play: frame_timing.Play, now: float) -> int | None:
        return [AT(play, next(clock)) for _ in range(40)][-1]

    monkeypatch.setattr(frame_timing.Play, "at", at)


def begin(page: Page) -> None:
    page.get_by_role("link", name="Walk-through").tap()
    key(page, "Start the walk-through")


def yes(page: Page) -> Locator:
    return page.get_by_role("button", name=re.compile("^Yes"))


def test_a_run_is_found_on_the_drawing_and_a_dot_walked_lamp_by_lamp(heron_lock: Path) -> None:
    # Source: the design: find a run, walk a dot, and the yard has lit exactly those pixels
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        assert "#" not in page.url
        assert rig.entry.secret not in page.content()
        tap_run(page, "footbridge-rail")
        assert not rig.lit(), "finding something lights nothing"
        key(page, "dot")
        lamps = [1, 2, 3, 4, 3]
        for lamp, move in zip(lamps, ["Next", "Next", "Next", "Previous", ""], strict=True):
            both = {f"footbridge-rail/{lamp}", f"footbridge-back/{lamp}"}
            assert until(lambda both=both: rig.lit() == both)
            page.locator("#says").get_by_text(f"footbridge-rail/{lamp} ").wait_for()
            if move:
                key(page, move)
        key(page, "Blackout")
        assert until(lambda: not rig.lit())
        page.locator("#state").get_by_text("All pixels are dark").wait_for()


@pytest.mark.long
def test_the_first_page_says_up_to_which_level_the_whole_show_holds(heron_lock: Path, here: Patcher) -> None:
    # Judge: `patcher power`, run for itself
    [line] = [line for line in here("power", heron_lock).stdout.splitlines() if "the limit is" in line]
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        assert page.locator("#whole-level").inner_text() == line


def test_a_held_key_runs_and_stops_when_it_is_let_go_or_its_page_is_gone(heron_lock: Path) -> None:
    # Source: the design: hold to run; the phone gone
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        tap_run(page, "towpath")
        key(page, "dot")
        assert until(lambda: rig.lit() == {"towpath/1"})
        page.locator("#hold").wait_for()
        at = page.locator("#hold").bounding_box()
        assert at is not None
        page.mouse.move(at["x"] + 20, at["y"] + 20)
        page.mouse.down()
        assert until(lambda: "towpath/6" in rig.lit())
        page.mouse.up()
        assert until(lambda: rig.desk.state.runs_until == 0)
        step = rig.desk.state.step
        time.sleep(0.5)
        assert rig.desk.state.step == step
        page.mouse.down()
        assert until(lambda: rig.desk.state.step > step)
        page.close()
        assert until(lambda: rig.desk.state.runs_until < time.monotonic())
        step = rig.desk.state.step
        time.sleep(0.5)
        assert rig.desk.state.step == step


@pytest.mark.long
def test_what_is_lit_stands_on_the_drawing_and_in_words(heron_lock: Path) -> None:
    # Source: the design: what should be lit, in words and on the drawing, in step with the wire
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        page.fill("#name", "lockhouse/2")
        key(page, "Find")
        page.get_by_role("heading", name="lockhouse/2").wait_for()
        key(page, "steady")
        key(page, "green")
        wanted = {"window-left", "window-right"}
        assert until(lambda: {lamp.split("/")[0] for lamp in rig.lit()} == wanted)
        page.get_by_role("link", name="Back to the drawing").first.tap()
        page.locator("#drawing .run.lit.green").nth(1).wait_for()
        lit = page.locator("#drawing .run.lit").evaluate_all("all => all.map((one) => one.dataset.run)")
        assert set(lit) == wanted
        assert "green: window-left" in page.locator("#says").inner_text()
        page.fill("#name", "no-such-run")
        key(page, "Find")
        page.get_by_role("alert").get_by_text("no box, run or prop is named").wait_for()


@pytest.mark.long
def test_no_heading_of_the_report_is_left_with_nothing_below(heron_lock: Path) -> None:
    # Source: found in use: read a second time, the report left its empty lists empty
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        in_all = {"proved": 0, "failed": 0, "open": 0}
        page.route("**/report", lambda route: route.fulfill(json=NOTHING | {"in_all": in_all}))
        for visit in range(2):
            in_all["proved"] = visit
            page.get_by_role("link", name="Progress and notes").tap()
            page.locator("#in-all").get_by_text(f"{visit} proved").wait_for()
            lists = page.locator("#report ul")
            assert lists.all_inner_texts() == ["none"] * 6
            page.locator("#report").get_by_role("link", name="Back to the drawing").tap()


NOTHING = {
    "boxes": {},
    "by_hand": [],
    "to_type": [],
    "to_tell": [],
    "failed": [],
    "open": [],
    "unproved": [],
    "notes": [],
}


@pytest.mark.long
def test_an_evening_from_the_first_tap_to_the_report(heron_lock: Path) -> None:
    # Source: the design: a whole verify round with a fault, to its diagnosis; notes; where one stands; the report
    fault = "swapped-ports:gatepost/1,gatepost/2"
    with browser() as context, evening(heron_lock, (fault,)) as rig, opened(context, rig) as page:
        begin(page)
        answerer = Answerer(rig, [fault])
        answerer.walk(page)
        assert answerer.asked > 0
        page.locator("#asks").get_by_text("The walk-through is finished").wait_for()
        over = page.locator("#asks").inner_text()
        page.get_by_role("link", name="Back to the drawing").first.tap()
        page.get_by_role("link", name="Progress and notes").tap()
        page.fill("#note", "the gate's plugs want labels")
        page.locator("#report").get_by_role("button", name="Save").tap()
        page.locator("#notes").get_by_text("want labels").wait_for()
        assert fault in page.locator("#failed").inner_text()
        in_all = page.locator("#in-all").inner_text()
    proved, failed, left = map(int, re.findall(r"\d+", in_all))
    # All else hangs as planned; what hangs on the gate's two ports is not looked at until they are mended. Of the 560
    # pixels of gate-left, on the lead of 440, a fifth is dark: it fails at its colours.
    assert failed == 1
    assert proved + failed + left == len(items(rig.plan.wiring))
    assert over == f"The walk-through is finished: {proved} proved, {failed} failed, {left} open."
    assert left == 8
    record = heron_lock.with_name("heron-lock.checks.toml").read_text()
    assert fault in record
    assert "want labels" in record


@pytest.mark.long
def test_answers_that_are_sights_are_drawn_beside_their_words(heron_lock: Path) -> None:
    # Source: the design: answers as big keys or as pictures to tap; the words are those of the eye
    dark, red, green, blue, white, odd, flickers = range(7)
    chain = [np.array([lamps], dtype=np.uint8) for lamps in ([red, dark, odd], [dark, dark, dark])]
    grid = np.array([[blue, white, dark, green]], dtype=np.uint8)
    quarters = np.array([0, 0, 1, 3], dtype=np.int8)
    sights = [
        (("eaves", "gable"), tuple(Eye().reads(run)[0] for run in chain)),
        (("net",), (Eye().reads(grid, quarters)[0],)),
        (("eaves",), (Eye().reads(np.array([[flickers, red, green]], dtype=np.uint8))[0],)),
    ]
    asks = [few(runs, (sight,), (None,) * len(runs)) for runs, sight in sights]
    said = [*(ask.answers[0] for ask in asks), "red is missing", "after green", "top left", "red", "nothing"]
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        begin(page)
        yes(page).wait_for()
        rig.walks._put("question", title="Diagnosis", keys=tuple((str(n), words) for n, words in enumerate(said)))
        page.get_by_role("button", name=said[0]).wait_for()
        drawn = {
            words: [
                [mark.get_attribute("class") for mark in line.locator("> :not(b)").all()]
                for line in page.get_by_role("button", name=words, exact=True).locator(".sight > span").all()
            ]
            for words in said
        }
        in_words = page.get_by_role("button", name=said[2], exact=True).locator(".sight > span").inner_text()
        corner = [cell.get_attribute("class") for cell in page.locator(".corners").first.locator("i").all()]
    assert said[:3] == [
        "eaves: red, gap, another colour; gable: nothing",
        "blue and white bottom left, green top right",
        "some flicker, red, green",
    ]
    assert drawn.pop(said[0]) == [["dot red", "gap", "dot other"], []]
    assert drawn.pop(said[1]) == [["dot blue", "dot white", "place corners", "dot green", "place corners"]]
    assert drawn.pop(said[2]) == [["dot red", "dot green"]]
    assert in_words == "some flicker"
    assert corner == ["", "", "here", ""], "row by row from the top: bottom left"
    assert not any(drawn.values()), "no other answer is drawn so"


@pytest.mark.long
def test_what_is_asked_about_lamps_is_not_answered_in_the_dark(heron_lock: Path) -> None:
    # The project's own rule: a look is proved by what was seen, so not by a tap while all is dark.
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        begin(page)
        yes(page).wait_for()
        screen = rig.desk.screen
        assert screen is not None
        key(page, "Blackout")
        yes(page).wait_for(state="detached")
        assert page.get_by_role("button", name="Skip").is_visible()
        with rig.page() as other:
            other.send(json.dumps({"do": "answer", "text": "yes", "number": screen.number}))
            page.get_by_role("alert").get_by_text("tap “Lights on”, look, then answer").wait_for()
        assert rig.desk.screen is screen
        key(page, "Lights on")
        assert until(lambda: bool(rig.lit()))
        key(page, "Yes")
        assert until(lambda: rig.desk.screen is not None and rig.desk.screen.number > screen.number)


@pytest.mark.long
def test_a_question_is_drawn_as_what_should_be_seen_and_its_last_answer_taken_back(heron_lock: Path) -> None:
    # Source: the design: what should be lit, on the drawing; where two runs are swapped, the other run's pixels. They
    # have as many pixels, so that neither is dark in part.
    fault = "swapped-runs:window-left,window-right"
    with browser() as context, evening(heron_lock, (fault,)) as rig, opened(context, rig) as page:
        begin(page)
        answerer, plan, drawn, swapped = Answerer(rig, [fault]), rig.plan, [], 0
        put = rig.walks._put

        def kept(kind: str, **more: object) -> object:
            screen = put(kind, **more)
            if kind == "question":
                drawn.append((answerer.question, screen))
            return screen

        rig.walks._put = kept  # type: ignore[method-assign, assignment]
        answerer.walk(page, "question")
        first = page.locator("#asks").inner_text()
        page.locator("#keys button").first.tap()
        page.wait_for_function("text => document.querySelector('#asks').innerText !== text", arg=first)
        key(page, "Previous question")
        page.wait_for_function("text => document.querySelector('#asks').innerText === text", arg=first)
        answerer.walk(page, "deed")
        assert fault in page.locator("#told").inner_text()
        assert drawn[0][0].frame is not drawn[1][0].frame is not drawn[2][0].frame
        assert drawn[0][0].frame is drawn[2][0].frame
    for question, screen in drawn:
        frame = question.frame
        shown = [moment.lit for moment in screen.moments if moment.levels is not None]
        assert shown == [plan.lit_by(channels) for channels in (frame.plain or frame).steps]
        swapped += shown != [plan.lit_by(channels) for channels in frame.steps]
    assert swapped, "where the program believes the swap, what it sends is not what should be seen"


MARKED = """canvas => {
  const { data, width } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  const found = [];
  for (let i = 0; i < data.length; i += 4)
    if (data[i] > 240 && Math.abs(data[i + 1] - 225) < 8 && Math.abs(data[i + 2] - 74) < 8) 
      found.push((i / 4) % width / width);
  return found;
}"""
"""How far across the picture each point is that has the colour of a mark."""


@pytest.mark.long
def test_a_moving_question_says_its_pass_marks_its_place_and_keys_come_on_when_they_can_be_said(
    heron_lock: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Source: found in use: no answer before it can be known; the drawing shows the place that is named
    monkeypatch.setattr(frame_timing, "FRAME", 0.05)
    monkeypatch.setattr(frame_timing.Play, "at", AT)
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        page.get_by_role("link", name="Walk-through").tap()
        rig.desk.tap(Act("resume"))
        _, at = rig.plan.patch.link_of("towpath")
        goes = goes_of([12, 12])
        frame = Frame("Lit on towpath", tuple(np.array([at + 3 * step]) for step in range(24)), tuple(goes.tolist()))
        asked = case.question(rig.plan.wiring, frame, together(("towpath",), goes, np.arange(101)))
        answers: list[str | None] = []
        thread = threading.Thread(target=lambda: answers.append(rig.walks.question(asked)))
        thread.start()
        never = page.get_by_role("button", name="they never came apart")
        never.wait_for()
        assert never.get_attribute("aria-disabled") == "true"
        assert page.get_by_role("button", name="can't tell").get_attribute("aria-disabled") is None
        page.get_by_text("Pause; next: pass 2 of 2").wait_for()
        assert page.get_by_role("button", name="pass 1", exact=True).get_attribute("aria-disabled") is None
        never.tap(force=True)
        page.get_by_role("alert").get_by_text("only once the last pass has finished").wait_for()
        marked = page.locator("#round-picture").evaluate(MARKED)
        page.get_by_text("Finished: all 2 passes were shown.").wait_for()
        assert not page.get_by_role("alert").is_visible()
        never.tap()
        thread.join(10)
        assert answers == ["3"]
    assert len(marked) > 20
    assert min(marked) > 0.8, "towpath is fed from its right end: shows/heron-lock.toml"


@pytest.mark.long
def test_the_show_file_is_changed_instead_and_every_page_follows(heron_lock: Path) -> None:
    # Source: `help diagnose`: what is found may be written into the show file; the design: two phones see one state
    fault = "swapped-ports:gatepost/1,gatepost/2"
    with (
        browser() as context,
        evening(heron_lock, (fault,)) as rig,
        opened(context, rig) as one,
        opened(context, rig) as other,
    ):
        one.get_by_role("link", name="Walk-through").tap()
        key(one, "Start the walk-through")
        answerer = Answerer(rig, [fault])
        answerer.walk(one, "deed")
        key(one, "Change the show file instead, then check")
        for page in (one, other):
            page.locator("body[data-plan='2']").wait_for(timeout=30_000)
            page.get_by_text("Connected", exact=True).wait_for()
        assert '1 = ["gate-right"]' in heron_lock.read_text()
        one.get_by_role("button", name="Yes", exact=True).wait_for()
        assert until(lambda: {lamp.split("/")[0] for lamp in rig.lit()} == {"gate-left", "gate-right"})


def test_a_connection_that_is_cut_is_said_at_once_and_comes_back_with_the_true_state(heron_lock: Path) -> None:
    # Source: the design: the page says so at once, comes back by itself, and shows the true state
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        tap_run(page, "gable")
        key(page, "steady")
        assert until(lambda: len(rig.lit()) == 89)
        context.set_offline(True)
        page.get_by_text("No connection").wait_for(timeout=8_000)
        page.get_by_role("button", name="Blackout").tap()
        page.get_by_role("alert").get_by_text("Not sent").wait_for()
        assert len(rig.lit()) == 89
        with rig.page() as other:
            other.send(json.dumps({"do": "find", "text": "eaves"}))
            other.send(json.dumps({"do": "light"}))
            assert until(lambda: {lamp.split("/")[0] for lamp in rig.lit()} == {"eaves"})
        context.set_offline(False)
        page.get_by_text("Connected", exact=True).wait_for()
        page.get_by_role("heading", name="eaves", exact=True).wait_for()


@pytest.mark.long
def test_a_line_that_only_falls_silent_is_a_lost_one(heron_lock: Path) -> None:
    # Source: the design: the page says so at once; a phone out of range hears no end of its connection
    with browser() as context, evening(heron_lock) as rig:
        page, deaf = context.new_page(), [False]

        def between(line: WebSocketRoute) -> None:
            server = line.connect_to_server()
            server.on_message(lambda message: None if deaf[0] else line.send(message))

        page.clock.install()
        page.route_web_socket("**/state", between)
        page.goto(rig.url)
        page.get_by_text("Connected", exact=True).wait_for()
        deaf[0] = True
        page.clock.fast_forward(9_000)
        page.get_by_text("No connection").wait_for()
        deaf[0] = False
        page.get_by_text("Connected", exact=True).wait_for()
        page.close()


@pytest.mark.long
def test_a_page_of_an_evening_that_is_over_is_told_to_scan_again(heron_lock: Path) -> None:
    # Source: the design: a fresh secret; the page says so at once
    with browser() as context, evening(heron_lock) as rig:
        page = context.new_page()
        page.goto(rig.url)
        page.get_by_text("Connected", exact=True).wait_for()
        context.set_offline(True)
        page.get_by_text("No connection").wait_for()
        rig.entry._token = "another"
        context.set_offline(False)
        page.get_by_text("Scan the new code in its terminal").wait_for()
        page.goto(f"{rig.entry.origin}/")
        page.get_by_label("The code behind the #").fill("2222-2222-2222-2222")
        key(page, "Open")
        page.get_by_text("That is not the code.").wait_for()
        page.get_by_label("The code behind the #").fill(rig.entry.secret.upper())
        key(page, "Open")
        page.get_by_text("Connected", exact=True).wait_for()
        page.close()


@pytest.mark.long
def test_without_any_phone_it_goes_dark_and_says_why_to_the_next(heron_lock: Path) -> None:
    # Source: the design: if the phone is gone for --hold seconds, pixels go dark
    with browser() as context, evening(heron_lock, hold=1.5) as rig:
        with opened(context, rig) as page:
            tap_run(page, "gable")
            key(page, "steady")
            assert until(lambda: len(rig.lit()) == 89)
            gone = time.monotonic()
            page.close()
        assert until(lambda: not rig.lit())
        assert 1.0 <= time.monotonic() - gone < 4.0
        with opened(context, rig) as page:
            page.get_by_text("All pixels are dark: no phone was heard for 1.5 s").first.wait_for()
            key(page, "Lights on")
            assert until(lambda: len(rig.lit()) == 89)


@pytest.mark.long
def test_two_phones_see_one_state(heron_lock: Path) -> None:
    # Source: the design: two phones: both see one state
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as one, opened(context, rig) as other:
        tap_run(one, "hedge")
        key(one, "dot")
        key(one, "Next")
        other.locator("#says").get_by_text("hedge/2 ").wait_for()
        key(other, "Blackout")
        assert until(lambda: not rig.lit())
        one.locator("#state").get_by_text("All pixels are dark").wait_for()


def check_accessible(page: Page, section: str) -> None:
    page.locator(f"#{section}").wait_for()
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, a, input")].map((one) => [one, one.getBoundingClientRect()])
            .filter(([one, at]) => at.width && (at.height < 48 || at.width < 48)).map(([one]) => one.outerHTML)"""
    )
    assert small == [], section
    assert page.evaluate("document.documentElement.scrollWidth") <= SCREEN["width"]
    dark = page.get_by_role("button", name="Blackout").bounding_box()
    assert dark is not None
    assert dark["y"] + dark["height"] <= SCREEN["height"]


def test_what_hands_have_done_is_ticked_off_box_by_box_and_taken_back(heron_lock: Path) -> None:
    # Source: the file beside the show, read as any TOML reader reads it
    kept = heron_lock.with_name("heron-lock.done.toml")

    def done() -> list[tuple[str, str]]:
        return [(one["step"], one["name"]) for one in tomllib.loads(kept.read_text())["done"]] if kept.exists() else []

    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        page.get_by_role("link", name="Progress and notes").tap()
        boxes = page.locator("#by_hand summary")
        boxes.first.wait_for(timeout=60_000)  # the first report works out what no yes proves
        assert [text.partition(":")[0] for text in boxes.all_inner_texts()] == [
            "lockhouse", "gatepost", "weirside", "mooring",
        ]  # fmt: skip
        boxes.nth(1).tap()
        box = page.get_by_label("Hang gate-left")
        box.tap()
        assert until(lambda: done() == [("hang", "gate-left")])
        page.get_by_text("gatepost: 8 to do").wait_for()
        assert box.is_checked()
        box.tap()
        assert until(lambda: done() == [])
        page.get_by_text("gatepost: 9 to do").wait_for()


@pytest.mark.long
def test_no_violation_of_accessibility_and_keys_for_gloves(heron_lock: Path) -> None:
    # Judge: axe-core, by axe-playwright-python; Source: the design: gloves (keys of 48 px at least), a screen of 360 px
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        # The lists of a report that has something to say of everything; to work a real one out takes its time.
        ticked = [{"thing": "gatepost 1", "name": "1", "says": "in the box: 1/1; type in 2/1; pixels 170"}]
        lists = {name: [f"gable: {name}"] for name in ("failed", "open", "unproved", "notes")}
        hands = {"box": "gatepost", "last": "hang 40 min", "rows": [ticked[0] | {"name": "Hang gate-left"}]}
        full = NOTHING | lists | {"to_type": ticked, "to_tell": ticked, "in_all": {"proved": 1, "failed": 1, "open": 1}}
        full |= {"by_hand": [hands]}
        page.route("**/report", lambda route: route.fulfill(json=full))
        for section in ("home", "boxes", "report"):
            page.goto(f"{rig.entry.origin}/show#{section}")
            check_accessible(page, section)
        rig.walks.begin(again=False)
        assert until(lambda: rig.desk.screen is not None and rig.desk.screen.kind == "look")
        page.goto(f"{rig.entry.origin}/show#round")
        page.get_by_role("button", name="Continue the walk-through").tap()
        yes(page).wait_for()
        check_accessible(page, "round")
        page.goto(f"{rig.entry.origin}/show#home")
        tap_run(page, "gate-left")
        key(page, "sweep")
        check_accessible(page, "thing")


def test_all_can_be_done_with_a_keyboard(heron_lock: Path) -> None:
    # Source: the design: with a screen reader and a keyboard
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        page.focus("#name")
        page.keyboard.type("gable")
        page.keyboard.press("Enter")
        page.get_by_role("heading", name="gable", exact=True).wait_for()
        page.focus("[data-pattern=dot]")
        page.keyboard.press("Enter")
        assert until(lambda: rig.lit() == {"gable/1"})
        page.keyboard.press("ArrowRight")
        assert until(lambda: rig.lit() == {"gable/2"})
        page.locator("#spoken").get_by_text("gable/2").wait_for(state="attached")
        page.focus("#hold")
        page.keyboard.down("Space")
        assert until(lambda: "gable/5" in rig.lit())
        page.keyboard.up("Space")
        page.keyboard.press("Escape")
        assert until(lambda: not rig.lit())


def test_it_loads_in_few_requests_nothing_from_outside_and_never_white(heron_lock: Path) -> None:
    # Source: the design: one request or few, nothing from outside, under 150 kB; a dark page, no white flash
    with browser() as context, evening(heron_lock) as rig:
        page, asked, octets = context.new_page(), [], []
        page.on("request", lambda request: asked.append(request.url))
        page.on("response", lambda answer: octets.append(len(answer.body())) if answer.status == 200 else None)
        page.goto(rig.url)
        page.get_by_text("Connected", exact=True).wait_for()
        page.wait_for_load_state("networkidle")
        assert all(url.startswith(rig.entry.origin) for url in asked)
        assert len(asked) <= 10
        assert sum(octets) < 150_000
        for name in ("html", "body"):
            assert (
                page.evaluate(f"getComputedStyle(document.querySelector('{name}')).backgroundColor")
                == "rgb(11, 13, 17)"
            )


def test_the_command_refuses_what_cannot_be(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: exit 2, the call is wrong
    ran = here("phone", heron_lock, "--yard", "--port", "0")
    assert ran.returncode == 2
    assert "no yard is running" in ran.stderr
    ran = here("phone", heron_lock, "--address", "203.0.113.9")
    assert ran.returncode == 2
    assert "this machine has no address" in ran.stderr


@pytest.mark.long
def test_a_yes_to_every_colour_waits_until_all_were_shown_and_a_blackout_stops_the_time(heron_lock: Path) -> None:
    # Source: the design: it cannot be answered "yes, all fine" before the ten seconds are over, on the phone either
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        begin(page)
        yes = page.get_by_role("button", name=re.compile("^Yes, in [0-9]+ s$"))
        yes.wait_for()
        assert yes.is_disabled()
        page.locator("#stands").get_by_text("Now green").wait_for()
        screen, answers = rig.desk.screen, rig.walks._answers
        assert screen is not None
        with rig.page() as other:
            other.send(json.dumps({"do": "answer", "text": "yes", "number": screen.number}))
            page.get_by_role("alert").get_by_text("Wait").wait_for()
            assert rig.desk.screen is screen
            assert answers.empty()
        key(page, "Blackout")
        assert until(lambda: not rig.lit())
        left = rig.desk.shown.left
        time.sleep(1.2)
        key(page, "Lights on")
        assert until(lambda: bool(rig.lit()))
        assert until(lambda: rig.desk.shown.left > 0)
        assert rig.desk.shown.left >= left - 1, "while it is dark no time counts"
        page.locator("#stands").get_by_text("nothing should flicker").wait_for()
        key(page, "Yes")
        assert until(lambda: rig.desk.screen is not None and rig.desk.screen.title.startswith("2 of"))


@pytest.mark.long
def test_a_pixel_is_pointed_at_on_the_picture(heron_lock: Path) -> None:
    # Source: the design: "which run?", then pointed at on the phone's drawing until the pixel is known
    fault = "dark-channel:gable/57=G"
    with browser() as context, evening(heron_lock, (fault,)) as rig, opened(context, rig) as page:
        begin(page)
        answerer = Answerer(rig, [fault])
        yes(page).wait_for()
        answerer.look(page, "colours lockhouse")
        page.get_by_role("heading", name="Search for the pixel of gable").wait_for()
        assert answerer.question is not None
        wanted = answerer.witness.answer(answerer.question)
        words = next(answer.says for answer in answerer.question.answers if answer.key == wanted)
        page.locator("#keys").get_by_role("button", name=words, exact=True).tap()
        page.get_by_role("heading", name="Which pixel of gable?").wait_for()
        assert until(lambda: len(rig.lit()) >= 88)
        page.wait_for_function("() => drawn && drawn.runs.includes('gable')")
        at = page.evaluate("() => drawn.put('gable', 56)")
        page.locator("#round-picture").tap(position={"x": at[0], "y": at[1] + 1})
        page.get_by_role("heading", name="Search for the pixel of gable").wait_for()
        page.get_by_text(re.compile("Only gable (56–59|57–60) should be lit")).wait_for()
        assert until(lambda: rig.lit() <= {f"gable/{number}" for number in range(56, 60)} and bool(rig.lit()))


def test_the_film_lights_the_code_opens_the_camera_and_says_what_its_clip_says(heron_lock: Path) -> None:
    # Source: the issue: the phone's key Film
    real = film_reader()

    def read(plan: Content, clip: Path, tell: Callable[[float], None]) -> FilmVerdict:
        if clip.read_bytes() != b"a good one":
            return real.read(plan, clip, tell)
        _, png = cv2.imencode(".png", np.zeros((20, 30, 3), np.uint8))
        return FilmVerdict(["Proved by film: 2 of 9 pixels."], True, png.tobytes())

    with (
        browser() as context,
        evening(heron_lock, reader=replace(real, read=read)) as rig,
        opened(context, rig) as page,
    ):
        page.get_by_role("link", name="Film").tap()
        page.get_by_text("that can bring on seizures").wait_for()
        assert not rig.lit(), "opening the page lights nothing"
        with page.expect_file_chooser() as camera:
            key(page, "Film: light the code and open the camera")
        assert camera.value.element.evaluate("one => [one.accept, one.getAttribute('capture')]") == [
            "video/*",
            "environment",
        ]
        assert until(lambda: len(rig.lit()) > 100)
        page.locator("#film-stage").get_by_text("The code plays.").wait_for()
        check_accessible(page, "film")
        camera.value.set_files({"name": "clip.mp4", "mimeType": "video/mp4", "buffer": b"this is no video"})
        page.locator("#film-says").get_by_text("The clip: cannot be read as a video. Film it once more").wait_for()
        assert page.evaluate("window.scrollY") == 0, "what it says is in view"
        assert until(lambda: not rig.lit())
        key(page, "Only light the code")
        assert until(lambda: len(rig.lit()) > 100)
        key(page, "Blackout")
        assert until(lambda: not rig.lit())
        with page.expect_file_chooser() as gallery:
            key(page, "Choose a clip that was filmed")
        gallery.value.set_files({"name": "clip.mp4", "mimeType": "video/mp4", "buffer": b"a good one"})
        page.locator("#film-says").get_by_text("Proved by film: 2 of 9 pixels.").wait_for()
        page.locator("#film-picture").wait_for()
        page.route("**/film?size=*", lambda route: route.fulfill(json={"refused": "The clip is too large."}))
        with page.expect_file_chooser() as gallery:
            key(page, "Choose a clip that was filmed")
        gallery.value.set_files({"name": "clip.mp4", "mimeType": "video/mp4", "buffer": b"another"})
        page.get_by_role("alert").get_by_text("The clip is too large.").wait_for()
        page.locator("#film-says").get_by_text("Proved by film: 2 of 9 pixels.").wait_for()
        assert until(lambda: page.evaluate("document.getElementById('film-picture').naturalWidth") == 30)
        check_accessible(page, "film")
