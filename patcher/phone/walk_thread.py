"""The walk-through on the phone: in a thread of its own, which waits wherever somebody must look and answer."""

from __future__ import annotations

import queue
import re
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Literal, cast

from patcher.diagnosis import frame_timing
from patcher.diagnosis.case import Question
from patcher.diagnosis.hypotheses import Hypothesis
from patcher.diagnosis.question_words import marks
from patcher.dialogue.answerer import AGAIN, BACK, Deed, Reply, Word
from patcher.dialogue.walk_through import Walk, open_items
from patcher.errors import PatcherError
from patcher.frames.levels import Levels, levels
from patcher.phone.content import Content
from patcher.phone.desk import Desk, Moment, PhoneScreen
from patcher.phone.page_words import on_page
from patcher.phone.state import Act
from patcher.trade import TEST_LEVEL
from patcher.walk.record import states, tally
from patcher.walk.record_file import read_record
from patcher.walk.round_plan import plan as steps_of
from patcher.walk.step import Step
from patcher.wiring import Wiring

LOOK_KEYS: tuple[tuple[Word, str], ...] = (
    ("yes", "Yes"), ("no", "No"), ("cannot tell", "Can’t tell"), ("back", "Previous step"), ("skip", "Skip"),
    ("stop", "Stop"),
)  # fmt: skip
DEED_KEYS: tuple[tuple[Deed, str], ...] = (
    ("mended", "I have fixed it: check it"), ("write", "Change the show file instead, then check"),
    ("leave", "Leave it for now"),
)  # fmt: skip
HEADING = re.compile(r"\s*((?:Diagnosis of|Search for the pixel of) \S+):")
"""What stands over some questions: on the page it is their title."""
ANSWERED = re.compile(r"\s*(yes|no|can't tell|skipped): (.+)")
"""What became of an answer to a step: on the page it stands above the next step, so it names its own."""
POINT = "point"
"""The answer of who taps a pixel on the picture."""
STOP = ("stop", "Stop here")
RESUME = "resume "
"""The key of an answer that takes a stopped diagnosis up again, before the name of its thing."""
LEAVES = ("stop", "skip", "back", BACK)
"""Answers that say nothing of what is lit."""


class WalkThread:
    """One walk-through at a time, for all pages.

    It is whoever answers, an `Answering`: a screen is put up, and the thread waits for its answer.
    """

    def __init__(self, desk: Desk, read: Callable[[int], Content]) -> None:
        """Args: the desk, and what reads the show again with the number that it is given."""
        self._desk, self._read = desk, read
        self._answers: queue.Queue[Act | None] = queue.Queue(maxsize=64)
        self._thread: threading.Thread | None = None
        self._numbers = 0
        self._told: list[str] = []
        self._heading = ""
        self._answered = ""
        self._walk: Walk | None = None
        self._ended = False

    @property
    def walking(self) -> bool:
        """Whether one runs."""
        return self._thread is not None and self._thread.is_alive()

    def begin(self, *, again: bool) -> None:
        """Begin one, unless one runs already; `again`: also what is proved."""
        if self.walking:
            return
        self._answers = queue.Queue(maxsize=64)
        self._put("wait", asks=("Planning the steps …",))
        self._thread = threading.Thread(target=self._go, args=(again,), name="walk-through", daemon=True)
        self._thread.start()

    def take(self, act: Act) -> None:
        """An answer came; one to a screen that is gone, or that is none of its keys, is nobody's. What is asked about
        pixels is answered while they are lit.
        """
        screen = self._desk.screen
        if screen is None or act.number != screen.number or not self._answers_it(act, screen):
            return
        problem = self._refusal(act, screen)
        self._desk.alter(lambda state: replace(state, problem=problem))
        if problem:
            return
        if act.text == AGAIN and screen.kind == "question":
            self._desk.replay()
            return
        with suppress(queue.Full):
            self._answers.put_nowait(act)

    def _refusal(self, act: Act, screen: PhoneScreen) -> str:
        """Why an answer cannot be taken yet; empty where it can."""
        state, shown = self._desk.state, self._desk.shown
        if screen.kind in ("look", "question") and act.text not in LEAVES and (state.dark or state.mode != "round"):
            return "Blackout: tap “Lights on”, look, then answer."
        if act.text == "yes" and screen.kind == "look" and (away := self._away(screen)):
            return f"{' and '.join(away)} cannot be reached: what is lit there does not come from here."
        if act.text == "yes" and screen.looks and self._desk.whole != screen.number:
            left = f"{shown.left} s" if shown.left else "a moment"
            return f"Wait {left}: watch all colours and the flicker test first."
        begun, whole = (shown.begun, shown.whole) if shown.screen == screen.number else (0, False)
        needs = {key: needs for (key, _), needs in zip(screen.keys, screen.needs, strict=False)}
        return frame_timing.too_early(needs.get(act.text, 0), begun, whole)

    def _away(self, screen: PhoneScreen) -> list[str]:
        """The boxes of what a screen lights that cannot be reached."""
        ports, lost = self._desk.plan.wiring.ports, self._desk.shown.lost
        boxes = dict.fromkeys(ports[lit[0]][0] for moment in screen.moments for lit in moment.lit if lit[0] in ports)
        return [box for box in boxes if any(one.startswith(f"{box} (") for one in lost)]

    def end(self) -> None:
        """Stop, and wait until it has."""
        self._ended = True
        if self._thread is not None:
            with suppress(queue.Full):  # whoever is waited for finds the end behind what is waiting
                self._answers.put_nowait(None)
            self._thread.join()

    @staticmethod
    def _answers_it(act: Act, screen: PhoneScreen) -> bool:
        known = {key for key, _ in screen.keys}
        if act.text == POINT and screen.points:
            return act.thing.rpartition("/")[0] == screen.points and act.thing.rpartition("/")[2].isdecimal()
        named = [name for name in act.thing.split(",") if name]
        return (act.text in known and set(named) <= set(screen.things)) if screen.keys else False

    def _go(self, again: bool) -> None:
        over = "The walk-through is finished."
        try:
            while self._walked(again=again):
                self._desk.replan(self._read(self._desk.plan.number + 1))
                again = False
            plan = self._desk.plan
            stands = tally(states(read_record(plan.path, practice=plan.practice), plan.digests).values())
            counts = ", ".join(f"{count} {state}" for state, count in stands.items())
            over = f"The walk-through is finished: {counts}."
            if self._walk is not None and self._walk.stopped:
                over = f"Stopped; every answer so far is saved: {counts}. Tap “Start the walk-through” to go on."
        except PatcherError as error:
            self._told += [f"{finding.where}: {finding.says}. {finding.remedy}" for finding in error.findings]
        self._put("over", asks=(over,))

    def _walked(self, *, again: bool) -> bool:
        """One walk; whether the show file was changed, so that it goes on with what is open by that."""
        plan = self._desk.plan
        record = read_record(plan.path, practice=plan.practice)
        wanted = set(plan.digests) if again else open_items(record, plan.digests)
        steps = steps_of(plan.wiring, wanted)
        if not steps:
            self._told.append(
                "Practice: everything has passed already." if plan.practice else "Everything is proved already."
            )
            return False
        walk = Walk(
            plan.path, plan.wiring, plan.patch, plan.digests, steps, self,
            lambda look: levels(look, plan.wiring, plan.patch, plan.universes, TEST_LEVEL), self._tell,
            practice=plan.practice,
        )  # fmt: skip
        self._walk = walk
        walk.go()
        self._desk.recorded()
        return walk.written

    def _tell(self, line: str) -> None:
        if headed := HEADING.fullmatch(line):
            self._heading = headed[1]
            return
        if said := ANSWERED.fullmatch(line):
            wrong = "wrong: " * (said[1] == "no")
            line = f"{self._answered}: {said[1]}, {wrong}{said[2]}"
        self._told += [
            told for part in on_page(line).splitlines() if (told := part.strip()) and not told.startswith("──")
        ]

    def _put(self, kind: str, **more: object) -> PhoneScreen:
        self._numbers += 1
        told, self._told = tuple(self._told), []
        screen = replace(PhoneScreen(self._numbers, "wait"), kind=kind, told=told, **more)  # type: ignore[arg-type]
        self._desk.put(screen)
        return screen

    def _asked(self, screen: PhoneScreen) -> Act | None:
        """The answer to a screen; None: stop."""
        while True:
            act = None if self._ended else self._answers.get()
            if act is None or act.number == screen.number:
                self._desk.recorded()
                self._put("wait", asks=("Working it out …",))
                return act

    def step(self, step: Step, sent: Sequence[Levels]) -> Reply:
        """What a page says of a step."""
        says, things = tuple(s.says for s in step.subjects), tuple(s.thing for s in step.subjects)
        self._drop((step.where, *says), f"   {step.name}")
        self._answered = self._called(step)
        looks = tuple(look for look, _ in frame_timing.step_moments(len(sent))) if len(sent) > 1 else ()
        act = self._asked(self._put(
            "look", title=f"{self._place_of(step)} · {step.name}", where=step.box,
            asks=(step.where, *(() if looks else says)), keys=self._look_keys(step), things=things,
            moments=self._moments(step, sent), says=says, looks=looks,
        ))  # fmt: skip
        if act is None:
            return Reply("stop")
        if act.text.startswith(RESUME):
            return Reply("resume", (act.text.removeprefix(RESUME),))
        if act.text != "no":
            return Reply(cast(Word, act.text))
        about = tuple(thing for thing in act.thing.split(",") if thing in things)
        whole = not looks or self._desk.whole == act.number
        return Reply(
            "no", about or things * (len(things) == 1), look=self._desk.shown.step if looks else 0, whole=whole
        )

    def _look_keys(self, step: Step) -> tuple[tuple[str, str], ...]:
        """The keys of a step; back from a part of it leads to the whole, and what was stopped may go on."""
        steps, paused = (self._walk.steps, self._walk.paused) if self._walk is not None else ((step,), ())
        back = {"back": "The whole step"} if step not in steps else {}
        keys = [(str(key), back.get(key, words)) for key, words in LOOK_KEYS]
        return (*keys, *((f"{RESUME}{thing}", f"Go on with {thing}") for thing in paused))

    def _drop(self, lines: Sequence[str], end: str) -> None:
        """Leave out the lines, and those with that end, that a screen says by itself."""
        self._told = [line for line in self._told if line not in lines and not line.endswith(end)]

    def _place_of(self, step: Step) -> str:
        names = self._names
        return f"{names.index(step.name) + 1} of {len(names)}" if step.name in names else "Check that it is fixed"

    def _called(self, step: Step) -> str:
        names = self._names
        return f"Step {names.index(step.name) + 1}, {step.name}" if step.name in names else step.name

    @property
    def _names(self) -> list[str]:
        return [step.name for step in self._walk.steps] if self._walk is not None else []

    def _moments(self, step: Step, sent: Sequence[Levels]) -> tuple[Moment, ...]:
        """What is lit in turn: of several looks one after the other, and the last one growing brighter and dimmer."""
        lit = [self._desk.plan.lit(look) for look in step.looks]
        if len(sent) == 1:
            return (Moment(sent[0], lit[0]),)
        says = ["; ".join(look.says) for look in step.looks]
        shown = frame_timing.step_moments(len(sent))
        held = {part: sent[-1].dimmed(part) for _, part in shown}
        return tuple(
            Moment(sent[look], lit[look], go=f"Now {says[look]}")
            if at < frame_timing.EACH * len(sent)
            else Moment(held[part], lit[look], go="Now brighter and dimmer: nothing should flicker")
            for at, (look, part) in enumerate(shown)
        )

    def point(self, run: str, pixels: int, question: Question) -> int | Literal["stop"] | None:
        """The pixel that is tapped on the picture."""
        frame, plan = question.frame, self._desk.plan
        lit = Moment(frame.levels(plan.universes), plan.lit_by(frame.steps[0]))
        keys = (("halves", "I can’t point at it: narrow it down"), STOP)
        act = self._asked(self._put(
            "question", title=f"Which pixel of {run}?", asks=(f"Tap the wrong pixel in the picture of {run}.",),
            keys=keys, moments=(lit,), says=(f"Lit: {frame.says}",), points=run,
        ))  # fmt: skip
        if act is None or act.text == STOP[0]:
            return "stop"
        if act.text != POINT:
            return None
        pixel = int(act.thing.rpartition("/")[2][:9]) - 1
        return pixel if 0 <= pixel < pixels else None

    def question(self, question: Question) -> str | None:
        """The key that a page gives to a question of the diagnosis."""
        frame, plan = question.frame, self._desk.plan
        universes = sorted({*plan.universes, *frame.universes()})
        still = [
            (frame.levels(universes, number), plan.lit_by(channels))
            for number, channels in enumerate((frame.plain or frame).steps)
        ]
        shown = tuple(
            Moment(None, (), of_pass) if number is None else Moment(*still[number], of_pass)
            for number, of_pass in zip(frame_timing.moments(frame), frame_timing.passes_of(frame), strict=True)
        )
        self._drop((question.asks,), frame.says)
        again = ((AGAIN, "Play it again"),) if frame.goes else ()
        keys = (*((answer.key, answer.says) for answer in question.answers), *again, (BACK, "Previous question"), STOP)
        act = self._asked(self._put(
            "question", title=self._heading, asks=tuple(filter(None, (question.asks, frame_timing.lasts(frame)))),
            keys=keys, moments=shown, says=(frame.says,),
            needs=tuple(question.needs(answer.key) for answer in question.answers),
            marks=marks(plan.wiring.show, question.ask),
        ))  # fmt: skip
        return None if act is None or act.text == "stop" else act.text

    def deed(self, *, writable: bool) -> Deed:
        """What was done about it."""
        keys = tuple(key for key in DEED_KEYS if writable or key[0] != "write")
        act = self._asked(self._put("deed", title="Found", keys=keys))
        return "leave" if act is None else cast(Deed, act.text)

    def take_up(self, things: Sequence[str]) -> str | None:
        """The thing whose diagnosis goes on, at the end of the walk-through."""
        keys = tuple((f"{RESUME}{thing}", f"Go on with {thing}") for thing in things)
        act = self._asked(self._put("deed", title="All steps were shown", keys=(*keys, ("stop", "Leave it for now"))))
        return act.text.removeprefix(RESUME) if act is not None and act.text.startswith(RESUME) else None

    def goes_on(self, wiring: Wiring, mended: Sequence[Hypothesis], boxes: Sequence[str]) -> bool:
        """Whoever holds the phone sees it for themselves."""
        return True
