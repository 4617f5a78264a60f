"""Proposals on the page: searched beside it, shown as ghosts, taken as one change or left."""

import multiprocessing
import re
import time
import tomllib
from pathlib import Path

import pytest
import tomli_w
from axe_playwright_python.sync_playwright import Axe

from patcher.draw.draft import Draft
from patcher.draw.offers import Offers
from patcher.errors import PatcherError
from patcher.show.parser import read
from patcher.wiring import problems, wire
from rig.draw_pages import drawing, opened
from rig.phones import until
from rig.standing_shows import standing
from rig.unhung_shows import unhung


@pytest.fixture
def towpath(tmp_path: Path) -> Path:
    """A show of which no run hangs."""
    path = tmp_path / "towpath.toml"
    path.write_text("# by hand\n" + tomli_w.dumps(unhung(2, runs=5, boxes=2, ports=3, width=12.0)), encoding="utf-8")
    return path


def asked(path: Path, *, afresh: bool = False) -> tuple[Draft, Offers]:
    draft = Draft(path)
    offers = Offers(draft)
    offers.ask(afresh=afresh)
    assert offers.document()["stage"] in ("searching", "ready")
    assert until(lambda: offers.document()["stage"] != "searching", 60)
    return draft, offers


def test_a_proposal_that_is_taken_is_one_change_and_undo_gives_the_file_back(towpath: Path) -> None:
    # Source: the design: the file is the truth, undo to the octet
    before = towpath.read_bytes()
    draft, offers = asked(towpath)
    told = offers.document()
    first = told["list"][0]
    assert towpath.read_bytes() == before
    offers.take(str(first["number"]))
    show = read(towpath.read_text(encoding="utf-8")).show
    assert show is not None
    wiring = wire(show)
    assert problems(wiring) == []
    hung = {run: f"{box}/{port}" for (box, port), chain in wiring.chains.items() for run in chain}
    assert {lead["run"]: lead["port"] for lead in first["leads"]} == hung
    assert {lead["run"]: lead["length"] for lead in first["leads"]} == {
        run: pytest.approx(show.runs[run].lead, abs=1e-3) for run in hung
    }
    assert towpath.read_bytes().startswith(b"# by hand\n")
    assert offers.document()["list"] == []
    draft.undo()
    assert towpath.read_bytes() == before


def test_proposals_are_gone_with_any_change_of_the_file(towpath: Path) -> None:
    # Source: a proposal is of the file as it was
    draft, offers = asked(towpath)
    number = str(offers.document()["list"][0]["number"])
    draft.act({"act": "set", "thing": "run-1", "key": "batch", "value": "2026"})
    after = towpath.read_bytes()
    assert offers.document()["stage"] == "none"
    with pytest.raises(PatcherError, match="gone"):
        offers.take(number)
    assert towpath.read_bytes() == after


def test_what_an_editor_saved_meanwhile_is_never_written_over(towpath: Path) -> None:
    # Source: the design
    _, offers = asked(towpath)
    number = str(offers.document()["list"][0]["number"])
    saved = towpath.read_text(encoding="utf-8") + "# saved by an editor\n"
    towpath.write_text(saved, encoding="utf-8")
    with pytest.raises(PatcherError):
        offers.take(number)
    assert towpath.read_text(encoding="utf-8") == saved


def searches() -> list[str]:
    """The searches that are going on."""
    return [process.name for process in multiprocessing.active_children() if process.name == "proposals"]


def test_a_search_that_is_stopped_ends_and_does_not_come_back(towpath: Path) -> None:
    # Source: a person who has stopped it is done with it, and may ask again at once
    offers = Offers(Draft(towpath))
    offers.ask(afresh=False)
    assert until(lambda: searches() == ["proposals"], 10)
    with pytest.raises(PatcherError, match="still"):
        offers.ask(afresh=False)
    offers.leave()
    assert until(lambda: searches() == [], 10)
    assert offers.document()["stage"] == "none"
    offers.ask(afresh=False)
    assert until(lambda: searches() == ["proposals"], 10)
    assert until(lambda: offers.document()["stage"] == "ready", 60)
    assert offers.document()["list"]


def test_a_search_of_a_file_that_has_changed_since_ends(towpath: Path) -> None:
    # Source: proposals are of the file as it was
    draft = Draft(towpath)
    offers = Offers(draft)
    offers.ask(afresh=False)
    draft.act({"act": "set", "thing": "run-1", "key": "batch", "value": "2026"})
    assert offers.document()["stage"] == "none"
    assert until(lambda: searches() == [], 10)


def test_a_show_with_another_fault_gets_words_and_one_with_nothing_to_decide_too(heron_lock: Path) -> None:
    # Source: the words of the file's own findings
    draft, offers = asked(heron_lock)
    assert offers.document()["list"] == []
    assert "Nothing to decide" in offers.document()["says"][0]
    heron_lock.write_text(
        heron_lock.read_text(encoding="utf-8").replace('["towpath"]', '["towpaht"]'), encoding="utf-8"
    )
    draft.reread()
    with pytest.raises(PatcherError, match="towpaht"):
        offers.ask(afresh=False)


def test_ghosts_on_the_page_are_looked_at_taken_and_taken_back(towpath: Path) -> None:
    # Source: the design: ghosts to take or leave; the page goes on meanwhile
    before = towpath.read_bytes()
    with drawing(towpath) as rig, opened(rig) as page:
        page.get_by_role("button", name="Propose", exact=True).click()
        page.get_by_role("button", name="Leave all").wait_for(timeout=60_000)
        assert page.locator("#ghosts [data-ghost]").count() == 5
        assert rig.path.read_bytes() == before
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]})
        assert found.violations_count == 0, found.generate_report()
        page.get_by_role("button", name="Show", exact=True).first.click()
        assert page.locator("#ghosts [data-ghost]").count() == 0
        page.get_by_role("button", name="Show", exact=True).last.click()
        assert page.locator("#ghosts [data-ghost]").count() == 5
        page.get_by_role("button", name="Take", exact=True).first.click()
        page.locator("#wires [data-lead]").nth(4).wait_for(state="attached")
        assert page.locator("#ghosts [data-ghost]").count() == 0
        ports = [box.get("port", {}) for box in tomllib.loads(rig.text)["controller"].values()]
        assert sum(len(chain) for port in ports for chain in port.values()) == 5
        page.get_by_role("button", name="Undo").click()
        assert until(lambda: rig.path.read_bytes() == before)
        page.get_by_role("button", name="Propose", exact=True).click()
        page.get_by_role("button", name=re.compile("Leave all")).click(timeout=60_000)
        page.get_by_role("button", name="Propose", exact=True).wait_for()
        assert page.locator("#ghosts [data-ghost]").count() == 0
        time.sleep(0.2)
        assert rig.path.read_bytes() == before


def test_the_page_shows_where_a_box_is_to_stand_and_undo_takes_it_back(tmp_path: Path) -> None:
    # Source: the design: ghosts to take or leave, one change, undo to the octet; the file's own places
    path = tmp_path / "towpath.toml"
    path.write_text("# by hand\n" + tomli_w.dumps(standing(3, runs=4, boxes=3, places=3)), encoding="utf-8")
    before = path.read_bytes()
    with drawing(path) as rig, opened(rig) as page:
        page.get_by_role("button", name="Propose", exact=True).click()
        page.get_by_role("button", name="Leave all").wait_for(timeout=60_000)
        ghosts = page.locator("#ghosts [data-ghost-box]")
        drawn = {}
        for name in ghosts.evaluate_all("all => all.map((each) => each.dataset.ghostBox)"):
            box = page.locator(f'#ghosts [data-ghost-box="{name}"] rect')
            x, y, wide = (float(box.get_attribute(key)) for key in ("x", "y", "width"))
            drawn[name] = [round(x + wide / 2, 3), round(-y - wide / 2, 3)]
        assert drawn
        assert page.get_by_text("to stand at [").count() >= len(drawn)
        page.get_by_role("button", name="Take", exact=True).first.click()
        assert until(lambda: rig.path.read_bytes() != before)
        after = tomllib.loads(rig.text)["controller"]
        assert drawn == {name: box["at"] for name, box in after.items() if "stands" in box and "at" in box}
        assert until(lambda: ghosts.count() == 0)
        page.get_by_role("button", name="Undo").click()
        assert until(lambda: rig.path.read_bytes() == before)
