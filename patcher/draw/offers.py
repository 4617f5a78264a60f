"""Proposals of which run hangs on which port, for the page: searched beside it, shown as ghosts, taken or left.

They are of the file as it was when they were asked for: with any change of it they are gone. A process of its own
searches, so that the page goes on meanwhile, and a search that nobody waits for can be ended.
"""

from __future__ import annotations

import multiprocessing
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any, Literal

from patcher.draw.draft import Draft
from patcher.draw.view import leads
from patcher.errors import PatcherError, refuse
from patcher.offers.comparison import UNHUNG, Comparison, Offer, compared
from patcher.patch.patch import Patch
from patcher.patch.patch_file import read_patch
from patcher.phone.state import in_words
from patcher.reports import propose_report
from patcher.show.parser import read
from patcher.show.show_file import read_points
from patcher.wiring import Wiring, problems, wire

SECONDS = 20.0
"""How long is searched, for all proposals together."""
Json = dict[str, Any]


@dataclass(frozen=True, eq=False)
class _State:
    """What a page is told: nothing, that it is searched, proposals, or why there are none."""

    stage: Literal["none", "searching", "ready"] = "none"
    number: int = 0
    text: str = ""
    says: tuple[str, ...] = ()
    offers: tuple[Offer, ...] = ()


class Offers:
    """The proposals of a draft."""

    def __init__(self, draft: Draft) -> None:
        """None yet."""
        self._draft = draft
        self._state = _State()
        self._process: BaseProcess | None = None
        self._lock = threading.Lock()
        self._listeners: list[Callable[[], None]] = []

    def listen(self, listener: Callable[[], None]) -> Callable[[], None]:
        """Call `listener` at every change, until what is returned is called. It must only wake somebody up."""
        self._listeners.append(listener)
        return lambda: self._listeners.remove(listener)

    def ask(self, *, afresh: bool) -> None:
        """Begin to search, of the file as it is now.

        Raises:
            PatcherError: something is wrong with the file, besides that runs hang nowhere; or it is searched already.
        """
        if self._now().stage == "searching":
            raise refuse(
                "proposals", "are being searched for still", f"wait for {SECONDS:g} seconds at most, or stop it"
            )
        text = self._draft.history.now
        _sound(self._draft.path, text)
        number = self._become(_State("searching", text=text))
        self._end()
        here, there = _PROCESSES.Pipe(duplex=False)
        searching = (there, self._draft.path, text, afresh)
        process = _PROCESSES.Process(target=_search, args=searching, name="proposals", daemon=True)
        with _unbroken():
            process.start()
        there.close()
        self._process = process
        threading.Thread(target=self._wait, args=(process, here, text, number), name="proposals", daemon=True).start()

    def take(self, number: str) -> None:
        """Write a proposal into the file: one change, which can be undone.

        Raises:
            PatcherError: there is no such proposal, or the file has changed since.
        """
        state = self._now()
        offer = next((offer for offer in state.offers if str(offer.number) == number), None)
        if offer is None:
            raise refuse("proposals", "are gone: the show has changed since", "ask for them again")
        self._draft.replace(state.text, offer.rehung.text)
        self.leave()

    def leave(self) -> None:
        """Forget them, and end a search."""
        self._become(_State())
        self._end()

    def document(self) -> Json:
        """What pages are told."""
        state = self._now()
        return {
            "number": state.number, "stage": state.stage, "says": list(state.says),
            "list": [_offer(offer) for offer in state.offers],
        }  # fmt: skip

    def _now(self) -> _State:
        """The state; none where the file has changed since."""
        with self._lock:
            gone = bool(self._state.text) and self._state.text != self._draft.history.now
            if gone:
                self._state = _State(number=self._state.number + 1)
            state = self._state
        if gone:
            self._end()
        return state

    def _become(self, state: _State, behind: int | None = None) -> int:
        """Put a state in the place of the one there is, where that is still the one of a number; the new number."""
        with self._lock:
            if behind in (None, self._state.number):
                self._state = replace(state, number=self._state.number + 1)
            number = self._state.number
        for listener in [*self._listeners]:
            listener()
        return number

    def _wait(self, process: BaseProcess, here: Connection, text: str, number: int) -> None:
        """Wait for what a search finds."""
        try:
            says, offers = here.recv()
        except EOFError:
            says, offers = ("Searching has ended before anything was found.",), ()
        here.close()
        process.join()
        self._become(_State("ready", 0, text, says, offers), behind=number)

    def _end(self) -> None:
        """End a search that is going on; who waits for it sees that it has ended."""
        if self._process is not None:
            self._process.kill()
            self._process = None


_PROCESSES = multiprocessing.get_context("spawn")


@contextmanager
def _unbroken() -> Iterator[None]:
    """What is begun meanwhile is not broken off by Ctrl-C: who began it ends it, without a word."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _search(there: Connection, path: Path, text: str, afresh: bool) -> None:
    """Search, in a process of its own, and tell what was found: words and offers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    folder = path.resolve().parent
    says: tuple[str, ...]
    offers: tuple[Offer, ...]
    try:
        found = compared(
            text, _sound(path, text), _kept(path), lambda name: read_points(folder, name),
            afresh=afresh, seconds=SECONDS,
        )  # fmt: skip
        says, offers = _left(found), found.offers
    except PatcherError as error:
        says, offers = (in_words(error),), ()
    except Exception as error:
        says, offers = (f"Searching has failed: {type(error).__name__}: {error}",), ()
    there.send((says, offers))


def _sound(path: Path, text: str) -> Wiring:
    """The wiring of a text with which nothing is wrong but that runs hang nowhere."""
    folder = path.resolve().parent
    reading = read(text, lambda name: read_points(folder, name), path.name)
    found = list(reading.findings)
    if reading.show is not None:
        wiring = wire(reading.show)
        found += problems(wiring, complete=not found)
        if not (wrong := [finding for finding in found if finding.rule != UNHUNG]):
            return wiring
        found = wrong
    raise PatcherError(*found)


def _kept(path: Path) -> Patch | None:
    with suppress(PatcherError):
        return read_patch(path)
    return None


def _left(found: Comparison) -> tuple[str, ...]:
    """What is said of all of them together."""
    left = [f"Not decided about: {each.name}: {each.why}." for each in found.left_out]
    if found.offers:
        return tuple(left)
    if found.decided:
        return (propose_report.nothing_found(found), *left)
    return ("Nothing to decide: every run that has a picture hangs on a port.", *left)


def _offer(offer: Offer) -> Json:
    """A proposal: its words and its leads."""
    return {
        "number": offer.number, "title": _capital(" and ".join(offer.kinds)),
        "says": [*_figures(offer), *_proofs(offer)],
        "leads": [*leads(offer.rehung.wiring)],
        "moved": list(offer.rehung.moved),
        "boxes": [{"name": box, "at": [*at]} for box, at in offer.rehung.stood.items() if at is not None],
    }  # fmt: skip


def _figures(offer: Offer) -> Sequence[str]:
    show = offer.rehung.wiring.show
    over = [f"Left over: {run}: {says}." for run, (says, _) in offer.left_over.items()]
    units = show.settings.units
    places = (
        f"{box}: to stand at {propose_report.place_in_words(at, units)}."
        for box, at in offer.rehung.stood.items()
        if at
    )
    work = len(offer.rehung.moved)
    return (
        _capital(f"{propose_report.figures_in_words(offer.tally, units)}."),
        f"{work} to hang or to move; settings change in {', '.join(offer.boxes) or 'no box'}.",
        *places,
        *over,
        *(f"Not placed: {box}: {says}." for box, (says, _) in offer.not_placed.items()),
        *(f"{_capital(each.severity)}: {each.where} {each.says}." for each in offer.findings),
    )


def _proofs(offer: Offer) -> list[str]:
    return [_capital(f"{propose_report.proof(made)}.") for made in (offer.made, *offer.others)]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
