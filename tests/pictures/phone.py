"""Draws the pages of the phone as a real browser shows them, from evenings on this machine.

python tests/pictures/phone.py            the two that README shows, into this folder
python tests/pictures/phone.py FOLDER     all of them, into that one
"""

import itertools
import shutil
import sys
import tempfile
from pathlib import Path

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS.parent)]

from playwright.sync_api import Page  # noqa: E402

from patcher.diagnosis import frame_timing  # noqa: E402
from patcher.phone import frame_thread  # noqa: E402
from rig.hands import Answerer, browser, key, opened, tap_run  # noqa: E402
from rig.phones import evening, until  # noqa: E402

FAULT = "swapped-ports:gatepost/1,gatepost/2"
IN_README = ("phone-dot", "phone-round")


def draw(folder: Path, show: Path, wanted: tuple[str, ...] | None) -> None:
    """One evening, and its pictures."""
    with browser(dense=1 if wanted else 2) as context, evening(show, (FAULT,)) as rig, opened(context, rig) as page:

        def picture(name: str) -> None:
            page.wait_for_timeout(300)
            if wanted is None or name in wanted:
                page.screenshot(path=folder / f"{name}.png")

        picture("phone-drawing")
        tap_run(page, "footbridge-arch")
        key(page, "dot")
        for _ in range(26):
            page.locator("#walk").get_by_role("button", name="Next", exact=True).tap()
        assert until(lambda: rig.lit() == {"footbridge-arch/27"})
        picture("phone-dot")
        page.locator("#colours").scroll_into_view_if_needed()
        page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
        picture("phone-keys")
        to_the_drawing(page)
        picture("phone-lit")
        key(page, "Blackout")
        page.get_by_role("link", name="Boxes").tap()
        picture("phone-boxes")
        to_the_drawing(page)
        page.get_by_role("link", name="Walk-through").tap()
        picture("phone-begin")
        key(page, "Start the walk-through")
        answerer = Answerer(rig, [FAULT])
        page.get_by_role("button", name="Yes").wait_for()
        answerer.look(page, "colours lockhouse")
        page.locator("#title-of-round").get_by_text("2 of").wait_for()
        picture("phone-round")
        answerer.walk(page, "question")
        picture("phone-question")
        answerer.walk(page, "deed")
        picture("phone-found")
        context.set_offline(True)
        page.get_by_text("No connection").wait_for()
        picture("phone-lost")
        context.set_offline(False)
        page.get_by_text("Connected", exact=True).wait_for()
        to_the_drawing(page)
        page.get_by_role("link", name="Progress and notes").tap()
        picture("phone-report")


def to_the_drawing(page: Page) -> None:
    page.get_by_role("link", name="Back to the drawing").and_(page.locator(":visible")).tap()


def main() -> None:
    """Draw them; what moves is played fast, and steps of several looks are held for a third of their time."""
    clock, at = itertools.count(), frame_timing.Play.at
    frame_timing.Play.at = lambda play, now: [at(play, next(clock)) for _ in range(40)][-1]  # type: ignore[method-assign]
    frame_thread.FRAME = 0.03
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    with tempfile.TemporaryDirectory() as own:
        for name in ("heron-lock.toml", "willow.csv"):
            shutil.copyfile(TESTS.parent / "shows" / name, Path(own) / name)
        draw(folder, Path(own) / "heron-lock.toml", None if len(sys.argv) > 1 else IN_README)


if __name__ == "__main__":
    main()
