"""Small signs of the page in a real browser: that more is lit, which keys have no meaning now, what was saved."""

import re
from pathlib import Path

import pytest

from patcher.phone.state import Act
from rig.hands import browser, key, opened, tap_run
from rig.phones import evening, until


@pytest.mark.long
def test_the_page_shows_more_than_it_has_room_for_and_what_its_keys_mean(heron_lock: Path) -> None:
    # Source: found in use: what is lit was cut at three lines with no sign of it; a colour marked that nothing had
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        drawing = page.locator("#drawing svg")
        assert "grayscale" in drawing.evaluate("svg => getComputedStyle(svg).filter"), "it glows only where it is lit"
        page.get_by_role("button", name="everything", exact=True).tap()
        page.locator("#thing").wait_for()
        assert not page.locator("#more").is_visible()
        key(page, "steady")
        says = page.locator("#says")
        cut = "list => list.scrollHeight > list.clientHeight + 2"
        page.locator("#more").wait_for()
        assert says.evaluate(cut)
        page.locator("#more").tap()
        assert not says.evaluate(cut) or says.evaluate("list => getComputedStyle(list).overflowY") == "auto"
        assert page.locator("#more").inner_text() == "Less"
        page.locator("#more").tap()
        assert page.locator("#more").inner_text() == "More"
        assert not page.locator("#speed").is_visible(), "what stands still has no speed"
        key(page, "primaries")
        page.get_by_text("Colour (primaries has its own)").wait_for()
        assert page.locator("#speed").is_visible()
        assert page.locator("[data-colour][aria-pressed=true]").count() == 0
        rig.desk.tap(Act("find", "weir"))
        rig.desk.tap(Act("pattern", "steady"))
        for _ in range(3):
            rig.desk.tap(Act("brighter"))
        page.get_by_text("Too bright for weir-12v").wait_for()
        assert says.get_attribute("class") == "", "for another thing the head is short again"
        page.get_by_text("run, 480 pixels, on weirside/1, 20/1 to 23/384").wait_for()
        back = page.locator("#thing").get_by_role("link", name="Back to the drawing")
        page.evaluate("() => { document.getElementById('name-of-thing').textContent = 'long '.repeat(20); }")
        assert back.evaluate("link => link.getClientRects().length") == 1
        assert back.bounding_box()["height"] < 60  # type: ignore[index]  # one line


def test_a_note_is_saved_where_it_was_written(heron_lock: Path) -> None:
    # Source: found in use: after a save the field read "Saved." on every other thing too
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        tap_run(page, "gable")
        note = page.locator("#note-of-thing")
        note.fill("a loose clip")
        page.locator("#thing").get_by_role("button", name="Save").tap()
        assert note.get_attribute("placeholder") == "Saved."
        assert until(lambda: rig.desk.record > 0)
        assert note.get_attribute("placeholder") == "Saved."
        rig.desk.tap(Act("find", "eaves"))
        page.get_by_role("heading", name="eaves", exact=True).wait_for()
        assert note.get_attribute("placeholder") == ""


@pytest.mark.long
def test_wrong_with_nothing_chosen_says_so_and_looks_off(heron_lock: Path) -> None:
    # Source: found in use: "These are wrong" did nothing and said nothing; "Yes, in 21 s" looked like a live key
    with browser() as context, evening(heron_lock, quicker=1.0) as rig, opened(context, rig) as page:
        page.get_by_role("link", name="Walk-through").tap()
        key(page, "Start the walk-through")
        yes = page.get_by_role("button", name=re.compile("^Yes, in"))
        yes.wait_for()
        assert float(yes.evaluate("key => getComputedStyle(key).opacity")) < 0.6
        key(page, "No")
        these = page.get_by_role("button", name="These are wrong")
        assert these.get_attribute("aria-disabled") == "true"
        these.tap(force=True)
        page.get_by_role("alert").get_by_text("Nothing is chosen").wait_for()
        screen = rig.desk.screen
        page.locator("#keys").get_by_role("button", name="gable", exact=True).tap()
        assert these.get_attribute("aria-disabled") == "false"
        assert not page.get_by_role("alert").is_visible()
        these.tap()
        assert until(lambda: rig.desk.screen is not screen)


@pytest.mark.long
def test_a_stopped_walk_through_says_how_to_go_on(heron_lock: Path) -> None:
    # Source: found in use: "run the same command to continue. The walk-through is finished: … 51 open"
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        page.get_by_role("link", name="Walk-through").tap()
        key(page, "Start the walk-through")
        page.get_by_role("button", name=re.compile("^Yes")).wait_for()
        key(page, "Stop")
        page.get_by_text("Tap “Start the walk-through” to go on.").wait_for()
        assert "finished" not in page.locator("#round").inner_text()
        assert "command" not in page.locator("#round").inner_text()


@pytest.mark.long
def test_an_answer_is_said_of_its_own_step_and_not_of_the_next_one_that_is_answered(heron_lock: Path) -> None:
    # Source: found in use: after a tap on No at step 2, "Your answer: yes: proved" stood there, which was of step 1
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        page.get_by_role("link", name="Walk-through").tap()
        key(page, "Start the walk-through")
        page.get_by_role("button", name=re.compile("^Yes")).wait_for()
        assert rig.desk.screen is not None
        first = rig.desk.screen.title.partition(" · ")[2]
        key(page, "Can’t tell")
        told = page.locator("#told").get_by_text(f"Step 1, {first}: can't tell, still open", exact=True)
        told.wait_for()
        key(page, "No")
        page.get_by_text("What is wrong? Tap all that are.").wait_for()
        assert not told.is_visible()


@pytest.mark.long
def test_what_could_not_be_done_stands_on_no_other_part_of_the_page(heron_lock: Path) -> None:
    # Source: found in use: a wrong name in Find stayed in red above Boxes, Progress, Film and Walk-through
    with browser() as context, evening(heron_lock) as rig, opened(context, rig) as page:
        wrong = page.locator("#problem")
        for _ in range(2):
            page.locator("#name").fill("gable/9999")
            key(page, "Find")
            wrong.get_by_text("gable/9999").wait_for()
            page.get_by_role("link", name="Boxes").tap()
            page.locator("#boxes").wait_for()
            assert until(lambda: not rig.desk.state.problem)
            rig.desk.tap(Act("colour", "red"))
            rig.desk.tap(Act("colour", "white"))
            assert not wrong.is_visible()
            page.locator("#boxes").get_by_role("link", name="Back to the drawing").tap()
            page.locator("#home").wait_for()
            assert not wrong.is_visible()
