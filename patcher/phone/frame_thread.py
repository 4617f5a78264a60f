"""The one thread that sends: it plays the state, and says what is on the wire once it is there.

However it ends, the pixels end dark: the `Sender` sees to that. Growing dark never waits. Growing brighter does, where
taps come so fast that it would be the fourth time within a second.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from threading import Thread

from patcher.diagnosis.frame_timing import FRAME, Play
from patcher.frames.film_code import BIN
from patcher.frames.levels import Levels, levels
from patcher.frames.patterns import Pattern
from patcher.phone.content import Content
from patcher.phone.desk import Desk, Moment, PhoneScreen, Shown
from patcher.phone.state import State, pattern_of, runs
from patcher.stream.player import LONGEST_WAIT, SLIVER
from patcher.stream.sender import DARK, Sender, Target
from patcher.trade import FASTEST_FLASH

SMALL = 8
"""Slots that may grow brighter without being a flash: a pixel or two."""
LONGEST_GAP = 0.5
"""Seconds between two frames; after more than that nothing was shown meanwhile."""
SAID_A_SECOND = 12.0
"""How often at most pages are told of steps that go by themselves."""


@dataclass(frozen=True, eq=False)
class SentPicture:
    """One thing to show.

    Attributes:
        key: equal for pictures that are the same.
        levels: what is sent.
        shown: what pages are told.
        by_itself: whether it follows the one before without a tap.
        brightens: whether more than a pixel or two grow brighter by itself.
        of_code: whether it is a bin of the film's code, which keeps time: it flashes no more than an eye bears, as a
            whole, and none of it may wait.
    """

    key: object
    levels: Levels
    shown: Shown
    by_itself: bool = False
    brightens: bool = False
    of_code: bool = False


class Flashes:
    """How often it may grow brighter: `FASTEST_FLASH` times in any second."""

    def __init__(self) -> None:
        self._at: deque[float] = deque(maxlen=FASTEST_FLASH)

    def wait(self, now: float) -> float:
        """Seconds until it may grow brighter."""
        return max(0.0, self._at[0] + 1.0 - now) if len(self._at) == FASTEST_FLASH else 0.0

    def add(self, now: float) -> None:
        """It grows brighter."""
        self._at.append(now)


def rising(new: Levels, old: Levels) -> int:
    """How many slots are brighter than before."""
    before = dict(zip(old.universes, old.slots, strict=True))
    rows = zip(new.universes, new.slots, strict=True)
    return sum(int((row > before.get(universe, 0)).sum()) for universe, row in rows)


class FramePlayer:
    """Plays what a desk asks, on one sender."""

    def __init__(self, desk: Desk, sender: Sender, universes: list[int], boxes: Mapping[str, str]) -> None:
        """Args: the desk, the sender to play on, the universes that it sends, the name of the box at each address."""
        self._desk, self._plan, self._sender, self._boxes = desk, desk.plan, sender, boxes
        self._universes = universes
        self._flashes = Flashes()
        self._key: object = None
        self._levels = DARK
        self._step_at: float | None = None
        self._bin_at: float | None = None
        self._working_out: Thread | None = None
        self._own_step: object = None
        self._played: tuple[int, int] = (0, 0)
        self._play = Play((), ())
        self._screen = 0
        self._lit_for, self._lit_at = 0.0, 0.0
        self._said_at = -1.0
        self._picture: SentPicture | None = None

    def play(self, stopped: Callable[[], bool]) -> None:
        """Until it is stopped."""
        desk = self._desk
        while not stopped():
            version = desk.version
            desk.pass_time()
            self._advance(desk.now())
            left = self._show(self._wanted(desk.now()), desk.now())
            desk.wait(version, left)

    def _advance(self, now: float) -> None:
        """The next step, where it steps by itself and the time has come; none is left out."""
        state = self._desk.state
        if not runs(state, now):
            self._step_at = None
            return
        pattern = pattern_of(state, self._plan)
        if pattern.steps < 2:
            return
        if self._step_at is None:
            self._step_at = now + 1 / pattern.rate
        elif now >= self._step_at and self._key == self._key_of(state):
            self._step_at = max(self._step_at + 1 / pattern.rate, now)
            after = replace(state, step=(state.step + 1) % pattern.steps)
            self._own_step = self._key_of(after)
            self._desk.follow(state, after)

    def _key_of(self, state: State) -> tuple[object, ...]:
        return (state.thing, state.pattern, state.colour, state.by, state.rate, state.level, state.step)

    def _wanted(self, now: float) -> SentPicture:
        state, screen = self._desk.state, self._desk.screen
        self._bin_at = None
        if state.mode == "round":
            if state.dark or screen is None or not screen.moments:
                self._play.again()
                return SentPicture("dark", DARK, Shown())
            if screen.looks:
                return self._of_looks(screen, now)
            return self._of_screen(screen, now)
        self._play.again()
        pattern = pattern_of(state, self._plan)
        if state.dark:
            return SentPicture("dark", DARK, Shown((), (), state.step, pattern.steps))
        if state.mode == "film":
            return self._of_film(state, pattern, now)
        return self._of_pattern(state, pattern)

    def _of_screen(self, screen: PhoneScreen, now: float) -> SentPicture:
        """What a screen of the walk-through shows now: what moves is played once, again when that is asked for."""
        replays, moments = self._desk.replays, screen.moments
        if self._played[0] != screen.number:
            self._play = Play([one.of_pass for one in moments], [one.levels is not None for one in moments])
        elif self._played[1] != replays:
            self._play.again()
        self._played = (screen.number, replays)
        at = self._play.at(now)
        moment = moments[at] if at is not None else Moment(None, ())
        shown = Shown(
            screen.says, moment.lit, at or 0, len(moments),
            go=self._play.says, screen=screen.number, begun=self._play.begun, whole=self._play.whole,
        )  # fmt: skip
        return SentPicture((screen.number, at), moment.levels or DARK, shown)

    def _of_looks(self, screen: PhoneScreen, now: float) -> SentPicture:
        """The look of a step whose turn it is. Only what is lit counts as shown: a blackout stops the time."""
        if self._screen != screen.number:
            self._screen, self._lit_for = screen.number, 0.0
        lit, self._lit_at = self._lit_at, now
        if self._levels is not DARK and 0 <= now - lit < LONGEST_GAP:
            self._lit_for += now - lit
        whole = len(screen.moments) * FRAME
        at = int(self._lit_for / FRAME) % len(screen.moments)
        moment, look = screen.moments[at], screen.looks[at]
        if self._lit_for >= whole:
            self._desk.whole = screen.number
        left = ceil(max(0.0, whole - self._lit_for))
        shown = Shown((moment.go,), moment.lit, look, max(screen.looks) + 1, go=moment.go, left=left)
        same_look = isinstance(self._key, tuple) and self._key[:2] == (screen.number, look)
        return SentPicture((screen.number, look, at), moment.levels or DARK, shown, by_itself=same_look)

    def _of_film(self, state: State, pattern: Pattern, now: float) -> SentPicture:
        """The bin of the code whose turn it is by the clock: what comes late is left out, since a camera counts too."""
        frames = self._plan.film_frames.get(state.level)
        if frames is None:
            self._work_out(state.level)
            return SentPicture("dark", DARK, Shown(("Working out the film’s code …",)))
        number = int(now / BIN + SLIVER)
        self._bin_at = (number + 1) * BIN
        begun = isinstance(self._key, tuple) and self._key[:2] == ("film", state.level)
        shown = Shown(("The film’s code: every pixel flickers",), self._plan.lit(pattern.look(0)))
        return SentPicture(
            ("film", state.level, number), frames[number % len(frames)], shown, begun, brightens=True, of_code=True
        )

    def _work_out(self, level: float) -> None:
        """Work out the code beside the frames, so that a blackout need not wait for it."""
        if self._working_out is None or not self._working_out.is_alive():
            self._working_out = Thread(target=self._plan.work_out_film, args=(level,), name="code", daemon=True)
            self._working_out.start()

    def _of_pattern(self, state: State, pattern: Pattern) -> SentPicture:
        key = self._key_of(state)
        if key == self._key and self._picture is not None:
            return self._picture
        plan, look = self._plan, pattern.look(state.step)
        sent = levels(look, plan.wiring, plan.patch, self._universes, state.level)
        says = look.says or self._desk.shown.says
        shown = Shown(says, plan.lit(look), state.step, pattern.steps)
        return SentPicture(key, sent, shown, key == self._own_step, state.step in pattern.brightens)

    def _show(self, picture: SentPicture, now: float) -> float:
        """Send it, unless it must wait; seconds until there may be something to do."""
        new = picture.key != self._key
        if new and self._grows(picture):
            if not (picture.of_code and picture.by_itself) and (wait := self._flashes.wait(now)):
                self._sender.keep_alive()
                return min(wait, LONGEST_WAIT)
            self._flashes.add(now)
        self._sender.send(picture.levels)
        if new:
            self._key, self._picture, self._own_step = picture.key, picture, None
            self._levels = picture.levels
        self._say(picture, now)
        next_at = [at - self._desk.now() for at in (self._step_at, self._bin_at) if at is not None]
        return min(LONGEST_WAIT, max(0.001, min(next_at, default=LONGEST_WAIT)))

    def _grows(self, picture: SentPicture) -> bool:
        """Whether more than a pixel or two grow brighter."""
        if picture.by_itself:
            return picture.brightens
        return rising(picture.levels, self._levels) > SMALL

    def _say(self, picture: SentPicture, now: float) -> None:
        """Tell the pages, but of steps that go by themselves not more often than an eye could read."""
        lost = tuple(
            f"{self._boxes.get(host, host)} ({host}): {self._sender.reached.lost[host, port]}"
            for host, port in sorted(self._sender.reached.gone)
        )
        if picture.by_itself and now - self._said_at < 1 / SAID_A_SECOND:
            return
        shown = replace(picture.shown, lost=lost)
        if shown != self._desk.shown:
            self._said_at = now
            self._desk.show(shown)


def play(
    desk: Desk, goals_of: Callable[[Content], list[Target]], interface: str | None, stopped: Callable[[], bool]
) -> None:
    """Send what the desk asks until it is stopped; where the show is read again, to the boxes that it then has."""
    while not stopped():
        plan = desk.plan
        goals = goals_of(plan)
        universes = sorted({goal.universe for goal in goals})
        with Sender(goals, interface=interface) as sender:
            FramePlayer(desk, sender, universes, boxes_at(plan, goals)).play(lambda: stopped() or desk.plan is not plan)  # noqa: B023


def boxes_at(plan: Content, goals: Sequence[Target]) -> dict[str, str]:
    """The box at each host that is sent to: the one most of whose universes go there first, as `frame_goals` has it."""
    of_box = plan.patch.box_universes
    sent: dict[str, dict[int, None]] = {}
    for goal in goals:
        sent.setdefault(goal.host, {})[goal.universe] = None

    def part(box: str, universes: dict[int, None]) -> float:
        first = list(universes)[: len(of_box[box])]
        return len(set(of_box[box]).intersection(first)) / len(of_box[box])

    return {host: max(of_box, key=lambda box: part(box, universes)) for host, universes in sent.items()}
