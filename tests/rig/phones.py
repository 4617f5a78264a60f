"""An evening of the phone on this machine: a yard that listens, and Patcher's own server, pixels and round in threads.

What a test reads of the yard is what its pixels show, by packets that came over the loopback.
"""

from __future__ import annotations

import http.client
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
from websockets.sync.client import ClientConnection, connect

from patcher.cli.phone_film import film_reader
from patcher.diagnosis import frame_timing
from patcher.diagnosis.frame_timing import frame_goals
from patcher.door.authentication import Authentication
from patcher.door.connections import listen
from patcher.faults import build, parse
from patcher.listener.receiver import Receiver
from patcher.patch.patch import Patch
from patcher.phone.content import Content
from patcher.phone.desk import Desk
from patcher.phone.film_thread import FilmReader, FilmThread
from patcher.phone.pages import Pages
from patcher.phone.session import Session
from patcher.phone.walk_thread import WalkThread
from patcher.placement.allocation import allocate
from patcher.show.show_file import read_show
from patcher.wiring import Wiring, wire
from patcher.yard.yard import Yard, addresses, ears, near

PATIENCE = 30.0


def until(true: Callable[[], bool], seconds: float = PATIENCE) -> bool:
    """Whether it becomes true in time."""
    give_up = time.monotonic() + seconds
    while not true():
        if time.monotonic() > give_up:
            return False
        time.sleep(0.005)
    return True


@dataclass
class Rig:
    """An evening as it runs.

    Attributes:
        arrived: when packets came.
        lights: when the number of pixels that are lit has changed, and to what.
    """

    path: Path
    plan: Content
    desk: Desk
    entry: Authentication
    walks: WalkThread
    yard: Yard
    arrived: list[float] = field(default_factory=list)
    lights: list[tuple[float, int]] = field(default_factory=list)
    watch: threading.Lock = field(default_factory=threading.Lock)

    @property
    def url(self) -> str:
        return self.entry.url

    @property
    def port(self) -> int:
        return int(self.entry.host.rpartition(":")[2])

    def lit(self) -> set[str]:
        """The pixels that are lit, as RUN/PIXEL."""
        with self.watch:
            return {
                f"{run}/{pixel + 1}"
                for run, lamps in self.yard.pixels.items()
                for pixel in np.flatnonzero(lamps.any(axis=1)).tolist()
            }

    def cookie(self) -> str:
        status, headers, _ = self.ask("POST", "/enter", self.entry.secret)
        assert status == 204
        return headers["set-cookie"].split(";")[0]

    def ask(self, method: str, path: str, body: str | None = None, **headers: str) -> tuple[int, dict[str, str], bytes]:
        """A request as the page makes it, but for the headers that are given; an empty one is left out."""
        own = {"Host": self.entry.host, "Origin": self.entry.origin} | headers
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=4 * PATIENCE)
        try:
            line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in own.items():
                if value:
                    line.putheader(name.replace("_", "-"), value)
            octets = (body or "").encode()
            if body is not None:
                line.putheader("Content-Length", str(len(octets)))
            line.endheaders(octets)
            answer = line.getresponse()
            return answer.status, {key.lower(): value for key, value in answer.getheaders()}, answer.read()
        finally:
            line.close()

    @contextmanager
    def page(self, cookie: str | None = None, origin: str | None = None) -> Iterator[ClientConnection]:
        """A page's socket without a browser."""
        headers = {"Cookie": self.cookie() if cookie is None else cookie}
        with connect(
            f"ws://{self.entry.host}/state", origin=origin or self.entry.origin, additional_headers=headers,  # type: ignore[arg-type]
            compression=None, proxy=None, close_timeout=1,
        ) as socket:  # fmt: skip
            yield socket


laid: dict[bytes, tuple[Wiring, Patch]] = {}
"""Wirings and patches by the text of their show file."""


@cache
def pages_of(text: bytes, hold: float) -> Pages:
    """What the evenings of a show have in common: its page is made once."""
    return Pages(yard=True, hold=hold)


def plan_of(path: Path, number: int = 1) -> Content:
    text = path.read_bytes()
    if text not in laid:
        show = read_show(path).show
        assert show is not None
        wiring = wire(show)
        laid[text] = wiring, allocate(wiring).patch
    return Content(number, path, *laid[text])


@contextmanager
def evening(
    path: Path, faults: tuple[str, ...] = (), hold: float = 60.0, quicker: float = 3.0, reader: FilmReader | None = None
) -> Iterator[Rig]:
    """Everything running, a step of several looks so many times quicker than for people; at its end every pixel of the
    yard must be dark.
    """
    before, paces = set(threading.enumerate()), (frame_timing.EACH, frame_timing.HELD)
    frame_timing.EACH, frame_timing.HELD = (round(pace / quicker) for pace in paces)
    plan = plan_of(path)
    show = plan.wiring.show
    built = build(plan.wiring, [parse(fault, plan.wiring) for fault in faults])
    yard = Yard(plan.wiring, plan.patch, built)
    hosts = addresses(path, show)
    heard_by = ears(show, plan.patch, hosts)
    for ear, boxes in ears(show, plan.patch, hosts, yard.universes).items():
        heard_by[ear] = list(dict.fromkeys([*heard_by.get(ear, []), *boxes]))
    desk = Desk(plan, hold)
    own = listen("127.0.0.1", 0)
    entry = Authentication("127.0.0.1", own.getsockname()[1])
    walks = WalkThread(desk, lambda number: plan_of(path, number))
    rig = Rig(path, plan, desk, entry, walks, yard)
    stop, stop_yard, ready = threading.Event(), threading.Event(), threading.Event()

    def hear(receiver: Receiver) -> None:
        while not stop_yard.is_set():
            got = receiver.poll(0.02)
            at = time.monotonic()
            if got:
                rig.arrived.append(at)
            with rig.watch:
                yard.hear([(heard_by[one.ear], one.octets, one.sender) for one in got], at)
                yard.expire(at)
                if got and (not rig.lights or rig.lights[-1][1] != yard.lit()):
                    rig.lights.append((at, yard.lit()))

    goals = lambda plan: frame_goals(plan.wiring, plan.patch, near(path, plan.wiring.show))  # noqa: E731
    films = FilmThread(desk, reader or film_reader())
    whole = Session(desk, entry, walks, films, pages_of(path.read_bytes(), hold), goals, "127.0.0.1")
    with Receiver(heard_by) as receiver:
        listening = threading.Thread(target=hear, args=(receiver,))
        serving = threading.Thread(target=whole.go, args=(own, stop.is_set, ready.set))
        listening.start()
        serving.start()
        try:
            assert ready.wait(30)
            yield rig
        finally:
            frame_timing.EACH, frame_timing.HELD = paces
            stop.set()
            serving.join(30)
            dark = until(lambda: not rig.lit())
            stop_yard.set()
            listening.join(10)
    assert not serving.is_alive()
    left = [
        thread for thread in set(threading.enumerate()) - before if thread.name in ("walk-through", "frames", "film")
    ]
    assert left == []
    assert dark, "pixels stayed lit after the end"
    assert desk.failed == ""


class Inline(HTMLParser):
    """Finds whatever would want an exception of the Content-Security-Policy."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.titles: list[str] = []
        self._in_title = False

    def handle_data(self, data: str) -> None:
        if self._in_title:
            self.titles[-1] += data

    def handle_endtag(self, tag: str) -> None:
        self._in_title = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        if tag == "title":
            self._in_title = True
            self.titles.append("")
        if tag == "style" or (tag == "script" and "src" not in names):
            self.found.append(tag)
        self.found += [name for name in names if name == "style" or name.startswith("on")]
        for name in ("src", "href", "action"):
            if re.match(r"(?i)https?:|//|javascript:", names.get(name) or ""):
                self.found.append(str(names[name]))
