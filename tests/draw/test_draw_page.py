"""The page in a real browser: a house drawn by pointer and keys, an editor on the same file, strangers, no eyes."""

import json
import re
from contextlib import closing
from http.client import HTTPConnection
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from patcher.shapes import positions
from patcher.show.parser import read
from rig.draw_pages import EMPTY, Drawn, Pointer, drawing, listening_yard, opened
from rig.phones import until
from rig.shipped import Patcher


@pytest.fixture
def ferry(tmp_path: Path) -> Path:
    path = tmp_path / "ferry.toml"
    path.write_text(EMPTY, encoding="utf-8")
    return path


def fill(page: Page, **values: str) -> None:
    """Answer what a dialog asks."""
    page.locator("#ask[open]").wait_for()
    for name, value in values.items():
        page.locator(f'#ask input[name="{name}"]').fill(value)
    page.get_by_role("button", name="Do it").click()
    page.locator("#ask:not([open])").wait_for(state="attached")


def told(page: Page, text: str) -> None:
    page.locator("#facts").get_by_text(text).wait_for()


def line(page: Page, pointer: Pointer, name: str, *places: tuple[float, float]) -> None:
    pointer.tool("Line")
    pointer.click(*places)
    page.locator("#scene").focus()
    page.keyboard.press("Enter")
    page.locator("#chosen-name").get_by_text(name, exact=True).wait_for()


def show_of(rig: Drawn):  # type: ignore[no-untyped-def]
    found = read(rig.text)
    assert found.show is not None
    return found.show


def test_a_line_is_drawn_moved_by_its_corner_and_by_a_key_counted_and_taken_back(ferry: Path) -> None:
    with drawing(ferry) as rig, opened(rig) as page:
        pointer = Pointer(page)
        line(page, pointer, "line-1", (1.0, 3.0), (4.0, 3.0))
        assert show_of(rig).runs["line-1"].pixels == 31  # 3 m at 0.1 m, both ends lit
        pointer.tool("Move")
        pointer.drag((4.0, 3.0), (4.0, 4.5))
        page.locator("#chosen-about").get_by_text("3.35 m").wait_for()
        assert np.allclose(positions(show_of(rig), show_of(rig).runs["line-1"])[-1], [4.0, 4.5], atol=0.05)
        before = rig.text
        page.locator('[data-handle="corner:0"]').focus()
        page.keyboard.press("ArrowUp")
        assert until(lambda: rig.text != before)
        first = show_of(rig).runs["line-1"].path[0]
        assert first == pytest.approx((1.0, 3.01), abs=0.06)
        page.get_by_role("button", name=re.compile("pixels would fit")).click()
        assert until(lambda: show_of(rig).runs["line-1"].pixels != 31)
        for _ in range(4):
            page.get_by_role("button", name="Undo").click()
        assert until(lambda: rig.text == EMPTY)
        told(page, "0 pixels")
        page.keyboard.press("Control+y")
        assert until(lambda: "line-1" in rig.text)


def test_what_an_editor_saves_shows_at_once_and_neither_loses_anything(ferry: Path) -> None:
    with drawing(ferry) as rig, opened(rig) as page:
        pointer = Pointer(page)
        line(page, pointer, "line-1", (1.0, 3.0), (4.0, 3.0))
        ferry.write_text(rig.text.replace("pixels = 31", "pixels = 25   # counted"), encoding="utf-8")
        told(page, "25 pixels")
        page.locator("#news").get_by_text("saved in an editor").wait_for()
        pointer.tool("Move")
        pointer.drag((1.0, 3.0), (0.5, 3.0))
        assert until(lambda: show_of(rig).runs["line-1"].path[0] == pytest.approx((0.5, 3.0), abs=0.06)), rig.text
        assert "25   # counted" in rig.text
        ferry.write_text("[show", encoding="utf-8")
        told(page, "cannot be read")
        assert rig.text == "[show"
        page.get_by_role("button", name="Undo").click()
        told(page, "25 pixels")


def house(page: Page, pointer: Pointer, rig: Drawn) -> None:
    """Five boxes, each with a supply, and a run on its first port with a feed."""
    for number in range(5):
        x = 1.0 + 2 * number
        line(page, pointer, f"line-{number + 1}", (x, 2.0), (x + 1.5, 2.0))
        pointer.tool("Box")
        pointer.click((x, 0.5))
        fill(page, name=f"post-{number + 1}", address=f"192.0.2.{11 + number}", ports="4")
        page.locator("#chosen-name").get_by_text(f"post-{number + 1}", exact=True).wait_for()
        page.get_by_role("button", name="Add a supply …").click()
        fill(page, volts="12", amps="30")
        page.locator("#chosen-name").get_by_text(f"post-{number + 1}-supply-1").wait_for()
        pointer.tool("Lead")
        pointer.drag((x, 0.5), (x, 2.0))
        assert until(lambda number=number: f'["line-{number + 1}"]' in rig.text)
        pointer.tool("Feed")
        pointer.drag((x, 0.5), (x + 1.5, 2.0))
        fill(page, every="0", awg="14", fuse="5")
        assert until(lambda number=number: f"[feed.line-{number + 1}-feed]" in rig.text)


@pytest.mark.long
def test_a_five_box_house_is_drawn_from_nothing_and_every_command_agrees_with_a_file_by_hand(
    ferry: Path, tmp_path: Path, patcher: Patcher
) -> None:
    with drawing(ferry) as rig, opened(rig) as page:
        page.evaluate("document.getElementById('scene').focus()")
        for _ in range(3):
            page.keyboard.press("-")
        pointer = Pointer(page)
        house(page, pointer, rig)
        told(page, "no error")
        page.screenshot(path=str(tmp_path / "house.png"))
    by_hand = tmp_path / "hand" / "ferry.toml"
    by_hand.parent.mkdir()
    show = show_of(rig)
    lines = [EMPTY]
    for number in range(1, 6):
        run, box = show.runs[f"line-{number}"], show.controllers[f"post-{number}"]
        feed = show.feeds[f"line-{number}-feed"]
        lines += [
            f'[controller.post-{number}]\naddress = "192.0.2.{10 + number}"\nports = 4\nat = {list(box.at)}',
            f'[controller.post-{number}.port]\n1 = ["line-{number}"]',
            f'[run.line-{number}]\npixel = "bead"\nshape = "line"\npath = {[list(at) for at in run.path]}',
            f"pixels = 16\nlead = {run.lead}",
            f'[supply.post-{number}-supply-1]\nvolts = 12\namps = 30\nbox = "post-{number}"',
            f'[feed.line-{number}-feed]\nsupply = "post-{number}-supply-1"\nawg = 14\nfuse = 5',
            f'taps = [{{ run = "line-{number}", pixel = "last", length = {feed.taps[0].length} }}]',
        ]
        ends = positions(show, run)[[0, -1]]
        x = 1.0 + 2 * (number - 1)
        assert np.allclose(ends, [[x, 2.0], [x + 1.5, 2.0]], atol=0.06)
        assert run.lead == pytest.approx(1.5 * 1.1, abs=0.15)
    by_hand.write_text("\n".join(lines), encoding="utf-8")
    for call in (["check"], ["patch"], ["power"]):
        said = [json.loads(patcher(*call, path, "--json").stdout) for path in (ferry, by_hand)]
        for one in said:
            one.pop("show", None)
        assert said[0] == said[1], call
    assert not [
        one for one in json.loads(patcher("check", ferry, "--json").stdout)["findings"] if one["severity"] == "error"
    ]


def test_a_run_that_is_drawn_lights_on_the_yard_and_goes_dark_with_the_page(heron_lock: Path) -> None:
    with listening_yard(heron_lock) as lit, drawing(heron_lock) as rig:
        with opened(rig) as page:
            Pointer(page).choose("gable")
            page.get_by_role("button", name="Light it").click()
            assert until(lambda: lit() == {"gable"})
            heron_lock.write_text(rig.text + "# it may hang elsewhere now\n", encoding="utf-8")
            assert until(lambda: not lit(), 20), "what is lit goes dark with any change"
            page.get_by_role("button", name="Light it").click()
            assert until(lambda: lit() == {"gable"})
            page.wait_for_timeout(6000)
            assert lit(), "a page that is there keeps it lit"
        assert until(lambda: not lit(), 20)


def test_the_page_has_no_place_where_a_reader_by_ear_or_a_keyboard_is_lost(heron_lock: Path) -> None:
    # Judge: axe-core's rules for WCAG 2 A and AA
    with drawing(heron_lock) as rig, opened(rig) as page:
        Pointer(page).choose("gable")
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]})
        assert found.violations_count == 0, found.generate_report()
        page.locator('[data-handle="corner:1"]').focus()
        assert "Corner 2 of gable" in str(page.evaluate("document.activeElement.getAttribute('aria-label')"))


def test_strangers_see_and_change_nothing(heron_lock: Path) -> None:
    before = heron_lock.read_bytes()
    with drawing(heron_lock) as rig:
        host, port = rig.entry.host.split(":")
        for path in ("/show", "/schema.json", "/photo", "/draw.js", "/scene.js", "/tools.js", "/panel.js"):
            with closing(HTTPConnection(host, int(port), timeout=5)) as ask:
                ask.request("GET", path)
                assert ask.getresponse().status == 403, path
        with pytest.raises(InvalidStatus):
            connect(f"ws://{rig.entry.host}/state", origin=rig.entry.origin)
    assert heron_lock.read_bytes() == before


@pytest.mark.parametrize(
    "message", ["", "{", "[]", '{"do":"act"}', '{"do":"act","act":{"act":"draw","run":"../x","keys":{}}}', "null",
                '{"do":"light","thing":"nowhere"}', '{"do":"undo","id":"x"}', "[" * 3000],
)  # fmt: skip
def test_a_message_that_is_none_is_answered_or_left_and_changes_nothing(heron_lock: Path, message: str) -> None:
    before = heron_lock.read_bytes()
    with drawing(heron_lock) as rig:
        token = rig.entry.guess(rig.entry.secret, "test", 0.0)
        cookie = {"Cookie": f"{rig.entry.cookie}={token}"}
        with connect(f"ws://{rig.entry.host}/state", origin=rig.entry.origin, additional_headers=cookie) as page:
            first = json.loads(page.recv(timeout=10))
            assert first["view"]["readable"]
            page.send(message)
            page.send('{"do":"here","id":7}')
            answers = []
            while not any(one.get("answers") == 7 for one in answers):
                answers.append(json.loads(page.recv(timeout=10)))
    assert heron_lock.read_bytes() == before


def test_runs_become_a_prop_a_grid_bands_and_a_thing_its_own_name(ferry: Path) -> None:
    with drawing(ferry) as rig, opened(rig) as page:
        pointer = Pointer(page)
        line(page, pointer, "line-1", (1.0, 3.0), (4.0, 3.0))
        line(page, pointer, "line-2", (1.0, 4.0), (4.0, 4.0))
        pointer.tool("Grid")
        pointer.click((5.0, 1.0), (6.0, 2.1))
        page.locator("#chosen-name").get_by_text("grid-1").wait_for()
        page.get_by_role("button", name="In bands …").click()
        fill(page, count="3")
        assert until(lambda: "[prop.grid-1]" in rig.text)
        show = show_of(rig)
        assert [show.runs[run].band for run in ("grid-1-a", "grid-1-b", "grid-1-c")] == [(1, 4), (5, 8), (9, 12)]
        assert sum(run.pixels for run in show.runs.values()) == 2 * 31 + 11 * 12
        pointer.choose("line-1")
        page.locator('#list button[data-thing="line-2"]').click(modifiers=["Shift"])
        page.get_by_role("button", name="New prop …").click()
        fill(page, name="eaves")
        assert until(lambda: "[prop.eaves]" in rig.text)
        assert show_of(rig).prop_runs()["eaves"] == ("line-1", "line-2")
        pointer.choose("line-1")
        page.locator('[data-key="name"]').fill("gutter")
        page.locator('[data-key="name"]').press("Enter")
        page.locator("#chosen-name").get_by_text("gutter", exact=True).wait_for()
        assert show_of(rig).prop_runs()["eaves"] == ("gutter", "line-2")


def test_a_dot_lets_data_enter_there_but_not_by_a_click_that_gathers(ferry: Path) -> None:
    with drawing(ferry) as rig, opened(rig) as page:
        pointer = Pointer(page)
        line(page, pointer, "line-1", (1.0, 3.0), (4.0, 3.0))
        pointer.tool("Move")
        dot = page.locator('[data-handle="entry:1"]')
        before = rig.text
        dot.click(modifiers=["Shift"])
        page.wait_for_timeout(300)
        assert rig.text == before
        dot.click()
        assert until(lambda: 'data_in = "last"' in rig.text)
        page.locator("#hint").get_by_text("Data enters line-1 there now").wait_for()


def test_a_copy_shows_what_it_has_from_the_other(ferry: Path) -> None:
    with drawing(ferry) as rig, opened(rig) as page:
        pointer = Pointer(page)
        line(page, pointer, "line-1", (1.0, 3.0), (4.0, 3.0))
        page.get_by_role("button", name="Copy …").click()
        fill(page, count="2", dx="0", dy="0.5")
        assert until(lambda: "line-3" in rig.text)
        pointer.choose("line-3")
        assert page.locator('[data-key="pixels"]').get_attribute("placeholder") == "31"
        assert np.allclose(positions(show_of(rig), show_of(rig).runs["line-3"])[0], [1.0, 4.0], atol=0.06)


@pytest.mark.parametrize("header", [{"Host": "elsewhere.example"}, {"Origin": "http://elsewhere.example"}])
def test_what_comes_by_another_name_or_from_another_page_is_refused(heron_lock: Path, header: dict[str, str]) -> None:
    with drawing(heron_lock) as rig:
        host, port = rig.entry.host.split(":")
        token = rig.entry.guess(rig.entry.secret, "test", 0.0)
        headers = {
            "Cookie": f"{rig.entry.cookie}={token}",
            "Origin": rig.entry.origin,
            "Host": rig.entry.host,
            **header,
        }
        with closing(HTTPConnection(host, int(port), timeout=5)) as ask:
            ask.request("POST", "/enter", rig.entry.secret, headers)
            assert ask.getresponse().status == 421
        if "Origin" in header:
            cookie = {"Cookie": headers["Cookie"]}
            with pytest.raises(InvalidStatus):
                connect(f"ws://{rig.entry.host}/state", origin=header["Origin"], additional_headers=cookie)
