"""Hands on the phone: a real browser, taps on its page, and somebody who looks at the yard and answers the round."""

import time
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from playwright.sync_api import BrowserContext, Page

from patcher.answers.witness import Witness
from patcher.diagnosis.case import Question
from patcher.eye import Eye, shade_table
from patcher.faults import build, parse
from patcher.frames.levels import levels
from patcher.frames.looks import Look
from patcher.trade import TEST_LEVEL
from patcher.walk.items import items
from patcher.walk.round_plan import plan as steps_of
from patcher.walk.step import as_said
from rig.browser import chromium
from rig.phones import Rig, until

SCREEN = {"width": 360, "height": 740}


@contextmanager
def browser(dense: float = 2) -> Iterator[BrowserContext]:
    """Judge: Debian's Chromium, as a phone of 360 × 740 with touch."""
    phone = {"viewport": SCREEN, "has_touch": True, "is_mobile": True, "device_scale_factor": dense}
    with chromium().new_context(**phone) as context:
        context.set_default_timeout(15_000)
        yield context


@contextmanager
def opened(context: BrowserContext, rig: Rig) -> Iterator[Page]:
    """The page as it is after scanning; whatever a script complains of fails the test."""
    page, complaints = context.new_page(), []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    page.goto(rig.url)
    page.wait_for_url("**/show**")
    page.get_by_text("Connected", exact=True).wait_for()
    yield page
    gone = "net::ERR_"  # what the browser itself says of a connection that the test has cut
    assert [text for text in complaints if gone not in text] == []


def tap_run(page: Page, run: str) -> None:
    """Tap a run on the drawing, a gloved finger's breadth beside its middle."""
    at = page.evaluate(
        """(run) => {
            const path = document.querySelector(`#drawing .run[data-run="${run}"] .string`);
            path.scrollIntoView({ block: "center" });
            const middle = path.getPointAtLength(path.getTotalLength() / 2).matrixTransform(path.getScreenCTM());
            return [middle.x, middle.y];
        }""",
        run,
    )
    page.touchscreen.tap(at[0] + 1, at[1] + 1)
    page.locator("#thing").wait_for()
    page.get_by_role("heading", name=run, exact=True).wait_for()


def key(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).tap()


class Answerer:
    """Looks at the yard's pixels with the eye, and taps what it saw."""

    def __init__(self, rig: Rig, faults: list[str]) -> None:
        plan = rig.plan
        built = build(plan.wiring, [parse(fault, plan.wiring) for fault in faults])
        self.rig, self.asked = rig, 0
        self.steps = {step.name: step for step in steps_of(plan.wiring, set(items(plan.wiring)))}
        self.witness = Witness(plan.wiring, plan.patch, built)
        self.question: Question | None = None
        asks = rig.walks.question

        def question(question: Question) -> str | None:
            self.question = question
            return asks(question)

        rig.walks.question = question  # type: ignore[method-assign]

    def walk(self, page: Page, until_kind: str = "over") -> None:
        """Until the round is over, or shows a screen of that kind. A tap that came too early is nobody's: whoever sees
        nothing happen taps again.
        """
        last, again = "", 0.0
        while True:
            page.locator("#keys button, #begin button:visible").first.wait_for(timeout=60_000)
            screen = self.rig.desk.screen
            assert screen is not None
            if screen.kind in ("over", until_kind):
                return
            if screen.kind == "wait" or (str(screen.number) == last and time.monotonic() < again):
                time.sleep(0.01)
                continue
            self.asked += screen.kind == "question" and str(screen.number) != last
            last = str(screen.number)
            if screen.kind == "look":
                self.look(page, screen.title.partition(" · ")[2])
            elif screen.kind == "question":
                assert self.question is not None
                wanted = self.witness.answer(self.question)
                words = next(answer.says for answer in self.question.answers if answer.key == wanted)
                page.locator("#keys").get_by_role("button", name=words, exact=True).tap()
            else:
                page.get_by_role("button", name="Leave it for now").tap()
            again = time.monotonic() + 5.0

    def look(self, page: Page, name: str) -> None:
        """Yes, where the pixels that are lit are those of the look; else no, with every thing that has others. A step
        of several looks is watched in a yard that does not take their time.
        """
        step, plan = self.steps[name], self.rig.plan
        wiring = plan.wiring
        if len(step.looks) == 1:
            seen = [self._shades(step.looks[0])]
        else:
            sent = [levels(look, wiring, plan.patch, plan.patch.universes, TEST_LEVEL) for look in step.looks]
            seen = self.witness.shown(sent)
        said = as_said(step, wiring, seen, Eye())
        wrong = [thing for thing, chance in said.items() if thing and chance < 0.5]
        if all(chance >= 0.5 for chance in said.values()):
            page.get_by_role("button", name="Yes", exact=True).tap(timeout=60_000)
            return
        key(page, "No")
        if len(step.subjects) > 1:
            for thing in wrong:
                page.locator("#keys").get_by_role("button", name=thing, exact=True).tap()
            key(page, "These are wrong" if wrong else "Can’t tell which")

    def _lamps(self) -> dict[str, np.ndarray]:
        with self.rig.watch:
            return {run: lamps.copy() for run, lamps in self.rig.yard.pixels.items()}

    def _shades(self, look: Look) -> dict[str, np.ndarray]:
        """What the yard's pixels show of a look, once it has come."""
        wiring = self.rig.plan.wiring
        meant = {
            f"{run}/{lamp + 1}"
            for glow in look.glows
            for run in (glow.run, *wiring.tees(glow.run))
            for lamp in glow.pixels.tolist()
        }
        its_turn = lambda: self.rig.desk.shown.step == 0 and bool(self.rig.desk.shown.lit)  # noqa: E731
        while True:
            until(its_turn, 60.0)
            come = len(self.rig.arrived)
            until(lambda: len(self.rig.arrived) >= come + 4, 1.0)  # noqa: B023  (the same pixels in another colour)
            until(lambda: self.rig.lit() == meant or not its_turn(), 0.4)
            shades, later = self._lamps(), None
            while its_turn() and (
                later is None or any(((later[run] > 0) != (shades[run] > 0)).any() for run in shades)
            ):
                shades = self._lamps() if later is None else later
                time.sleep(0.2)  # what came late, of the look before, has gone by then
                later = self._lamps()
            if its_turn():
                break
        return {
            run: shade_table(self.rig.yard.letters[run])[((lamps > 0) << list(range(lamps.shape[1]))).sum(axis=1)]
            for run, lamps in shades.items()
        }
