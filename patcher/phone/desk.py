"""The one place where the state is kept: taps come in from pages, what is on the wire comes back from the pixels.

Pages, frames and the walk-through run in threads beside each other; whatever they share is here, behind one lock.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal

from patcher.errors import PatcherError
from patcher.frames.levels import Levels
from patcher.patch.thing import Thing
from patcher.phone.content import WHOLE, Content, Lit
from patcher.phone.state import COLOURED, Act, Mode, State, darkened, in_words, pattern_of, runs, tap, warning

FILM_HOLD = 180.0
"""Seconds that the code plays without any page: a phone may put its page to sleep while its camera films."""
FEW = 12
"""Lines of what should be lit that a page is given."""


def hold_of(mode: Mode, hold: float) -> float:
    """Seconds without any page after which all goes dark in a mode, where it is `hold` in the others."""
    return max(hold, FILM_HOLD) if mode == "film" else hold


@dataclass(frozen=True, slots=True)
class Moment:
    """One of the pictures that a screen shows in turn: its levels, None for dark, what it lights, which pass of what
    moves it belongs to, from 1 (0 where nothing moves), and which look of a step it is, in words.
    """

    levels: Levels | None
    lit: tuple[Lit, ...]
    of_pass: int = 0
    go: str = ""


@dataclass(frozen=True, eq=False)
class PhoneScreen:
    """What the walk-through asks, or says.

    Attributes:
        number: which screen of all; an answer names it, so that none is taken for the next one's.
        kind: a look to say yes or no to, a question of the diagnosis, what to do about what was found, a wait while
            it is worked out, or the end.
        title: which look.
        where: the box to stand at.
        told: what was said since the last answer.
        asks: what is asked, line by line.
        keys: the answers: key and words.
        things: after a no, what can be named.
        moments: what is lit meanwhile, in turn; none: dark.
        says: what should be lit, in words.
        needs: for each key how many passes must have begun before it can be answered, as in `Ask.needs`.
        marks: places that are named: the run, the pixel to begin at, one towards which it is read.
        looks: for each moment the look of a step that it belongs to, where a yes counts only once all were shown.
        points: the run at one of whose pixels may be pointed.
    """

    number: int
    kind: Literal["look", "question", "deed", "wait", "over"]
    title: str = ""
    where: str = ""
    told: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    keys: tuple[tuple[str, str], ...] = ()
    things: tuple[str, ...] = ()
    moments: tuple[Moment, ...] = ()
    says: tuple[str, ...] = ()
    needs: tuple[int, ...] = ()
    marks: tuple[tuple[str, int, int], ...] = ()
    looks: tuple[int, ...] = ()
    points: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """What is on the wire now.

    Attributes:
        says: what should be lit, in words.
        lit: which pixels.
        step: which step of how many.
        steps: how many.
        lost: boxes that cannot be reached.
        go: which pass of what moves runs, or which look of a step, in words.
        screen: the number of the screen that it belongs to; 0 for none.
        begun: how many passes of that have begun.
        whole: whether all of it was shown.
        left: seconds until all of a step was shown, so that a yes counts.
    """

    says: tuple[str, ...] = ()
    lit: tuple[Lit, ...] = ()
    step: int = 0
    steps: int = 1
    lost: tuple[str, ...] = ()
    go: str = ""
    screen: int = 0
    begun: int = 0
    whole: bool = True
    left: int = 0


@dataclass(frozen=True, slots=True)
class FilmProgress:
    """How far a clip of the film is, and what it says.

    Attributes:
        stage: whether it is uploaded, read, or was read and says something; failed: there is nothing to read.
        part: how much of the stage is done, from 0 to 1.
        says: what it says, or why it failed, in lines.
        picture: the number of its picture; 0 for none.
        good: whether nothing is wrong, with the show or with the clip.
    """

    stage: Literal["none", "upload", "read", "said", "failed"] = "none"
    part: float = 0.0
    says: tuple[str, ...] = ()
    picture: int = 0
    good: bool = False


@dataclass
class Desk:
    """The state and whoever follows it.

    Attributes:
        plan: the show.
        hold: seconds without any page after which all goes dark; more while the film's code plays (`hold_of`).
        now: seconds of a clock that only rises.
        state: what is asked of the pixels.
        screen: what the walk-through asks; None where there is none.
        shown: what is on the wire.
        whole: the number of the screen all of which was shown.
        record: counts the changes of the record.
        film: the clip that is uploaded or read, or was read last.
        version: counts all changes.
        failed: why there is no light any more, and never will be.
        changed: notified at every change.
    """

    plan: Content
    hold: float
    now: Callable[[], float] = time.monotonic
    state: State = field(default_factory=State)
    screen: PhoneScreen | None = None
    shown: Shown = field(default_factory=Shown)
    whole: int = 0
    record: int = 0
    film: FilmProgress = FilmProgress()
    failed: str = ""
    version: int = 0

    def __post_init__(self) -> None:
        self.changed = threading.Condition()
        self._heard = self.now()
        self._document: tuple[int, str] = (-1, "")
        self._listeners: dict[int, Callable[[], None]] = {}
        self._listener = 0
        self.replays = 0

    def tap(self, act: Act) -> None:
        """A page was tapped, or only says that it is there."""
        with self.changed:
            self._heard = self.now()
            if act.do == "here":
                return
            if act.do in ("resume", "round"):
                self._become(replace(self.state, mode="round", dark=False, why="", runs_until=0.0, problem=""))
            else:
                self._become(tap(self.state, act, self.plan, self.now()))

    def alter(self, change: Callable[[State], State]) -> None:
        """Change the state otherwise than by a tap."""
        with self.changed:
            self._become(change(self.state))

    def _become(self, state: State) -> None:
        if state != self.state:
            self.state = state
            self._tell()

    def _tell(self) -> None:
        self.version += 1
        self.changed.notify_all()
        for listener in self._listeners.values():
            listener()

    def put(self, screen: PhoneScreen | None) -> None:
        """The walk-through asks something else."""
        with self.changed:
            self.screen = screen
            self._tell()

    def replay(self) -> None:
        """Show what moves from its beginning."""
        with self.changed:
            self.replays += 1
            self._tell()

    def show(self, shown: Shown) -> None:
        """Something else is on the wire."""
        with self.changed:
            if shown != self.shown:
                if shown.whole and not self.shown.whole:  # what was refused as too early can be said now
                    self.state = replace(self.state, problem="")
                self.shown = shown
                self._tell()

    def tell_film(self, film: FilmProgress) -> None:
        """A clip is farther than it was."""
        with self.changed:
            self.film = film
            self._tell()

    def recorded(self) -> None:
        """The record was changed."""
        with self.changed:
            self.record += 1
            self._tell()

    def replan(self, plan: Content) -> None:
        """The show was read again."""
        with self.changed:
            self.plan = plan
            self.state = replace(self.state, thing=WHOLE, step=0)
            self._tell()

    def say_problem(self, error: PatcherError) -> None:
        """Something that a page asked for could not be done."""
        self.alter(lambda state: replace(state, problem=in_words(error)))

    def fail(self, why: str) -> None:
        """There will be no light any more."""
        with self.changed:
            self.failed = why
            self._become(darkened(self.state, why))
            self._tell()

    def pass_time(self) -> None:
        """Go dark where no page was heard for too long: the code plays on while the phone's camera hides the page."""
        with self.changed:
            hold = hold_of(self.state.mode, self.hold)
            if not self.state.dark and self.now() - self._heard > hold:
                self._become(darkened(self.state, f"no phone was heard for {hold:g} s"))

    def follow(self, state: State, after: State) -> None:
        """One state behind another, unless that has become a third one meanwhile; pages are told when it is shown."""
        with self.changed:
            if self.state is state:
                self.state = after

    def wait(self, version: int, seconds: float) -> None:
        """Until something has changed since that version, at most so long."""
        with self.changed:
            self.changed.wait_for(lambda: self.version != version, seconds)

    def listen(self, listener: Callable[[], None]) -> Callable[[], None]:
        """Call `listener` at every change, until what is returned is called. It must only wake somebody up."""
        with self.changed:
            self._listener += 1
            number = self._listener
            self._listeners[number] = listener

        def end() -> None:
            with self.changed:
                self._listeners.pop(number, None)

        return end

    def document(self) -> str:
        """All that a page is told, as JSON."""
        with self.changed:
            if self._document[0] != self.version:
                self._document = (self.version, json.dumps(self._told(), ensure_ascii=False, separators=(",", ":")))
            return self._document[1]

    def _told(self) -> dict[str, Any]:
        state, shown, plan = self.state, self.shown, self.plan
        thing = plan.find(state.thing)
        of_round = state.mode == "round"
        says = list(shown.says[:FEW])
        if len(shown.says) > FEW:
            says.append(f"… and {len(shown.says) - FEW} more")
        pattern = pattern_of(state, plan)
        rate = state.rate or pattern.rate
        return {
            "plan": plan.number, "mode": state.mode, "dark": state.dark, "why": state.why, "problem": state.problem,
            "thing": state.thing, "called": _called(state.thing, thing), "kind": thing.kind, "pixels": thing.pixels,
            "place": plan.place(state.thing), "warns": warning(state, plan), "coloured": state.pattern in COLOURED,
            "moves": pattern.steps > 1,
            "runs": list(dict.fromkeys(part.run for part in thing.parts)),
            "pattern": str(state.pattern), "colour": state.colour, "by": state.by, "level": state.level, "rate": rate,
            "own_rate": state.rate is None, "runs_itself": runs(state, self.now()) and state.runs_until == float("inf"),
            "go": shown.go, "begun": shown.begun, "whole": shown.whole, "left": shown.left, "step": shown.step,
            "steps": shown.steps, "says": says, "lit": shown.lit,
            "lost": shown.lost, "record": self.record, "failed": self.failed, "film": asdict(self.film),
            "screen": _screen(self.screen) if self.screen else None, "in_round": of_round,
        }  # fmt: skip


def _screen(screen: PhoneScreen) -> dict[str, Any]:
    return {
        "number": screen.number, "kind": screen.kind, "title": screen.title, "where": screen.where,
        "told": screen.told, "asks": screen.asks, "keys": screen.keys, "things": screen.things,
        "needs": screen.needs, "marks": screen.marks,
        "timed": bool(screen.looks), "points": screen.points,
    }  # fmt: skip


def _called(name: str, thing: Thing) -> str:
    """What a thing is called on the page: of an address also which pixel has it, `7/20: basin/5`."""
    if thing.kind != "channel":
        return name
    return f"{name}: {', '.join(part.in_words for part in thing.parts)}"
