"""The page on which a show is drawn, served in a thread, and a real browser's pointer on it."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Page

from patcher.diagnosis.frame_timing import frame_goals
from patcher.door.authentication import Authentication
from patcher.door.connections import listen
from patcher.draw.draft import Draft
from patcher.draw.lamps import Lamps
from patcher.draw.session import go
from patcher.faults import build
from patcher.listener.receiver import Receiver
from patcher.yard.yard import Yard, addresses, ears, near
from rig.browser import chromium
from rig.phones import plan_of

EMPTY = """\
# the ferry house, 2026
[show]
title = "Ferry house"

[pixel.bead]   # from the sheet in the drawer
colour_order = "RGB"
volts = 12.0
channel_ma = 9.0
idle_ma = 0.8
min_volts = 9.0
awg = 18
pitch = 0.1
"""


@dataclass(frozen=True)
class Drawn:
    """A page that is served.

    Attributes:
        path: the show file.
        draft: the file as the page knows it.
        entry: who is let in.
    """

    path: Path
    draft: Draft
    entry: Authentication

    @property
    def text(self) -> str:
        """What the file says now."""
        return self.path.read_text(encoding="utf-8")


@contextmanager
def drawing(path: Path) -> Iterator[Drawn]:
    """The page of a show file, with the yard's addresses to send to."""
    draft = Draft(path)
    sock = listen("127.0.0.1", 0)
    entry = Authentication("127.0.0.1", sock.getsockname()[1])
    lamps = Lamps(
        lambda: plan_of(path),
        lambda plan: frame_goals(plan.wiring, plan.patch, near(path, plan.wiring.show)),
        "127.0.0.1",
    )
    stop = threading.Event()
    serving = threading.Thread(target=go, args=(draft, entry, lamps, sock, stop.is_set))
    serving.start()
    try:
        yield Drawn(path, draft, entry)
    finally:
        stop.set()
        serving.join(20)
    assert not serving.is_alive()


@contextmanager
def listening_yard(path: Path) -> Iterator[Callable[[], set[str]]]:
    """The yard of a show on this machine; what it gives says which runs are lit."""
    plan = plan_of(path)
    yard = Yard(plan.wiring, plan.patch, build(plan.wiring, []))
    heard_by = ears(plan.wiring.show, plan.patch, addresses(path, plan.wiring.show))
    stop, watch = threading.Event(), threading.Lock()

    def hear(receiver: Receiver) -> None:
        while not stop.is_set():
            got, at = receiver.poll(0.02), time.monotonic()
            with watch:
                yard.hear([(heard_by[one.ear], one.octets, one.sender) for one in got], at)
                yard.expire(at)

    def lit() -> set[str]:
        with watch:
            return {run for run, pixels in yard.pixels.items() if pixels.any()}

    with Receiver(heard_by) as receiver:
        hearing = threading.Thread(target=hear, args=(receiver,))
        hearing.start()
        try:
            yield lit
        finally:
            stop.set()
            hearing.join(10)


@contextmanager
def opened(rig: Drawn) -> Iterator[Page]:
    """The page; whatever a script complains of fails the test."""
    with chromium().new_context(viewport={"width": 1280, "height": 800}) as context:
        context.set_default_timeout(15_000)
        page, complaints = context.new_page(), list[str]()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
        page.goto(rig.entry.url)
        page.locator("#facts:not(:empty)").wait_for()
        yield page
    found = [text for text in complaints if "net::ERR_" not in text]
    assert not found, found


class Pointer:
    """A mouse on the picture, moved in metres."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def at(self, place: tuple[float, float]) -> tuple[float, float]:
        """Points of the screen."""
        x, y = self.page.evaluate(
            """([x, y]) => {
                const svg = document.getElementById("scene"), box = svg.viewBox.baseVal;
                const frame = svg.getBoundingClientRect(), scale = frame.width / box.width;
                return [frame.left + (x - box.x) * scale, frame.top + (-y - box.y) * scale];
            }""",
            list(place),
        )
        return x, y

    def tool(self, name: str) -> None:
        """Choose what a click does."""
        self.page.get_by_role("button", name=name, exact=True).click()

    def click(self, *places: tuple[float, float]) -> None:
        """Click at some places, one after the other."""
        for place in places:
            self.page.mouse.move(*self.at(place))
            self.page.mouse.down()
            self.page.mouse.up()

    def drag(self, begin: tuple[float, float], end: tuple[float, float]) -> None:
        """Press, move, let go."""
        self.page.mouse.move(*self.at(begin))
        self.page.mouse.down()
        self.page.mouse.move(*self.at(end), steps=6)
        self.page.mouse.up()

    def choose(self, name: str) -> None:
        """Choose a thing in the list."""
        self.page.locator(f'#list button[data-thing="{name}"]').click()
        self.page.locator("#chosen-name").get_by_text(name, exact=True).wait_for()
