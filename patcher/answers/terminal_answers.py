"""Who answers a walk-through: a person while pixels stay lit, or a file of answers."""

from __future__ import annotations

import math
import re
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from patcher.diagnosis import frame_timing
from patcher.dialogue.answerer import AGAIN, BACK, Deed, Reply, Word
from patcher.errors import choose_from, refuse
from patcher.stream.player import LONGEST_WAIT
from patcher.terminal.folds import choices
from patcher.terminal.screen import order
from patcher.trade import CHANNELS

if TYPE_CHECKING:
    from patcher.diagnosis.case import Question
    from patcher.diagnosis.frame_timing import Play
    from patcher.diagnosis.hypotheses import Hypothesis
    from patcher.diagnosis.question_frame import Frame
    from patcher.frames.levels import Levels
    from patcher.stream.sender import Sender
    from patcher.terminal.key_source import Typed
    from patcher.walk.step import Step
    from patcher.wiring import Wiring

KEYS: dict[str, Word] = {
    "y": "yes", "n": "no", "c": "cannot tell", "b": "back", "s": "skip", "t": "note", "q": "stop",
}  # fmt: skip
DEEDS: dict[str, Deed] = {"m": "mended", "w": "write", "l": "leave", "\n": "leave", "\r": "leave"}
DONE: dict[Deed, str] = {"mended": "fixed"}
"""How a deed is written in a file of answers, where that is another word."""
HELP = "y yes · n no · c can't tell · b previous · s skip · t note · q stop"
UNKNOWN = "?"
"""In place of what is wrong: something is, and they cannot tell which."""
LAST_KEYS: dict[str, Word] = {"y": "yes", "n": "no", "q": "stop"}
LAST_HELP = "y yes · n no · q stop"


@dataclass
class Person:
    """A person at the keys, before pixels that are lit until they answer.

    Attributes:
        keys: what they type.
        sender: sends the frames.
        universes: those that it sends.
        rate: frames a second.
        stopped: whether something else has asked to stop.
        say: prints.
        last: a look only confirms: there is no step before it, and nothing to note or to skip.
    """

    keys: Typed
    sender: Sender
    universes: list[int]
    rate: float
    stopped: Callable[[], bool]
    say: Callable[[str], None]
    last: bool = False
    _frames: int = field(default=0, init=False)
    _told: str = field(default="", init=False)

    def step(self, step: Step, sent: Sequence[Levels]) -> Reply:
        """Keep the step lit until a key is an answer; several looks go round and round, and a yes counts only once all
        of them were shown, and the last one held.
        """
        keys, wanted = (LAST_KEYS, LAST_HELP) if self.last else (KEYS, HELP)
        shown = frame_timing.step_moments(len(sent))
        levels = [sent[look].dimmed(part) for look, part in shown]
        self._frames, self._told = 0, ""
        self.say(f"  {wanted}")
        while (key := self._key(levels, told=lambda at: self._say_part(step, shown, at))) is not None:
            whole, look = self._frames >= len(levels) or len(sent) == 1, shown[self._frames % len(shown)][0]
            word = keys.get(key.lower())
            if word == "yes" and not whole:
                left = math.ceil((len(levels) - self._frames) * frame_timing.FRAME)
                self.say(f"  Wait {left} s: watch all colours and the flicker test first.")
            elif word is not None:
                if (reply := self._of_word(word, step, levels)) is not None:
                    plain = word == "note" or (word == "no" and self.last)
                    return reply if plain else replace(reply, look=look, whole=whole)
                self.say(f"  {wanted}")
            elif key.strip():
                self.say(f"  “{key}” is not an answer. {wanted}")
        return Reply("stop")

    def _of_word(self, word: Word, step: Step, levels: Sequence[Levels]) -> Reply | None:
        """The reply that a word begins; None where its rest was taken back."""
        if word == "note":
            self.say("  Type your note, then Enter:")
            return Reply("note", text=self._line(levels) or "")
        if word == "no" and len(step.subjects) > 1 and not self.last:
            return self._which(step, levels)
        return Reply(word)

    def _say_part(self, step: Step, shown: Sequence[tuple[int, float]], at: int) -> None:
        """Which look of several it is, the first time round."""
        self._frames = at
        if len(step.looks) == 1 or at >= len(shown):
            return
        look, held = shown[at][0], at >= len(step.looks) * frame_timing.EACH
        flicker = "growing brighter and dimmer for 10 s: nothing should flicker"
        what = flicker if held else "; ".join(step.looks[look].says)
        if what != self._told:
            self._told = what
            self.say(f"  now {what}")

    def _which(self, step: Step, levels: Sequence[Levels]) -> Reply | None:
        """Which things of a step are wrong; None: back to the step. A line that names none of them is asked again."""
        things = [subject.thing for subject in step.subjects]
        for number, thing in enumerate(things, start=1):
            self.say(f"    {number} {thing}")
        self.say(
            "  Which is wrong? Type its number or name, or several with spaces, then Enter; "
            f"{UNKNOWN} if you can't tell; b back to the step, q stop."
        )
        while (line := self._line(levels)) is not None and line != "q":
            if line == "b":
                return None
            if line == UNKNOWN:
                return Reply("no")
            if not line:  # from habit, right behind the n
                continue
            words = line.replace(",", " ").split()
            chosen = [_chosen(word, things) for word in words]
            if all(chosen):
                named = {thing for part in chosen for thing in part}
                return Reply("no", tuple(thing for thing in things if thing in named))
            wrong = next(word for word, part in zip(words, chosen, strict=True) if not part)
            lines = f"type 1 to {len(things)}, or a name"
            self.say(f"  “{wrong}” is not a line above: {lines}; b back to the step, q stop.")
        return Reply("stop")

    def point(self, run: str, pixels: int, question: Question) -> int | Literal["stop"] | None:
        """The pixel's number, where they know it; a line that is none is asked again."""
        self.say(
            "     Type its number, counted from where the data comes in, then Enter; Enter alone if you can't tell; "
            "q stop."
        )
        levels = [question.frame.levels(self.universes)]
        while (line := self._line(levels)) is not None and line != "q":
            if not line:
                return None
            if (pixel := _pixel(line.removeprefix(f"{run}/"), pixels)) is not None:
                return pixel
            known = f"{run}: type 1 to {pixels}"
            self.say(f"     “{line}” is not a pixel of {known}; Enter alone if you can't tell; q stop.")
        return "stop"

    def question(self, question: Question) -> str | None:
        """Keep the frame lit until a key is one of the answers."""
        frame = question.frame
        levels, play = self._moments(frame), frame_timing.Play.of(frame)
        needs = {answer.key: question.needs(answer.key) for answer in question.answers}
        keys = [(answer.key, answer.says) for answer in question.answers]
        keys += [(AGAIN, "play it again")] * play.moves + [(BACK, "previous question"), ("q", "stop")]
        if play.moves:
            self.say(f"     {frame_timing.lasts(frame)}")
        self.say("     " + choices(keys))
        while (key := self._key(levels, play)) is not None:
            if key in needs and (early := frame_timing.too_early(needs[key], play.begun, play.whole)):
                self.say(f"     {early}")
            elif key in needs or key == BACK:
                return key
            elif key == AGAIN and play.moves:
                play.again()
            elif key in ("q", "Q"):
                return None
            elif key.strip():
                self.say(f"     “{key}” is not one of the answers. Press one of the keys above; q stops.")
        return None

    def _moments(self, frame: Frame) -> list[Levels | None]:
        """What is sent of a frame, moment after moment; None where all is dark."""
        still = [frame.levels(self.universes, step) for step in range(len(frame.steps))]
        return [None if step is None else still[step] for step in frame_timing.moments(frame)]

    def deed(self, *, writable: bool) -> Deed:
        """Keep all dark until a key says what is done."""
        from patcher.frames.levels import Levels

        dark = Levels((), np.zeros((0, CHANNELS), dtype=np.uint8))
        write = " · w change the show file instead, then check" if writable else ""
        self.say(f"  m I have fixed it: check it{write} · Enter leave it")
        while (key := self._key([dark])) is not None:
            deed = DEEDS.get(key.lower())
            if deed is not None and (deed != "write" or writable):
                return deed
            if key.strip():
                self.say(f"  “{key}” is not an answer. Press one of the keys above.")
        return "leave"

    def take_up(self, things: Sequence[str]) -> str | None:
        """There is a command for it."""
        return None

    def goes_on(self, wiring: Wiring, mended: Sequence[Hypothesis], boxes: Sequence[str]) -> bool:
        """They see it for themselves."""
        return True

    def _key(
        self, levels: Sequence[Levels | None], play: Play | None = None, told: Callable[[int], None] | None = None
    ) -> str | None:
        """The next key, frames being sent meanwhile; None: stop.

        Args:
            levels: what is sent, moment after moment; None where all is dark.
            play: how far a frame that moves was played; what runs is said.
            told: is told each moment by its number; they go on from where the last key found them.
        """
        from patcher.stream.clock import Clock
        from patcher.stream.sender import DARK

        got: list[str] = []
        begin = self._frames if told else 0

        def wait(left: float) -> bool:
            key = self.keys(min(left, LONGEST_WAIT))
            if key is not None:
                got.append(key)
            elif self.keys.ended:
                time.sleep(min(left, LONGEST_WAIT))
            return bool(got) or self.keys.ended or self.stopped()

        for elapsed in Clock(self.rate).frames(wait):
            if got or self.keys.ended or self.stopped():
                break
            if play:
                said = play.says
                at = play.at(time.monotonic())
                if play.says != said:
                    self.say(f"     {play.says}")
            else:
                at = begin + int(elapsed / frame_timing.FRAME)
                if told:
                    told(at)
            self.sender.send((levels[at % len(levels)] if at is not None else None) or DARK)
        return got[0] if got and not self.stopped() else None

    def _line(self, levels: Sequence[Levels]) -> str | None:
        text = ""
        while (key := self._key(levels)) not in (None, "\r", "\n"):
            text = text[:-1] if key in ("\x7f", "\b") else text + str(key)
            if sys.stdin.isatty():
                order("\x1b[A\x1b[2K")
                self.say(f"  {text}")
        return text.strip() if key is not None or text else None


def _chosen(word: str, things: Sequence[str]) -> tuple[str, ...]:
    """The things that a word means: the one of that number, from 1, or of that name; fewer than ten are also typed as
    their keys come, 12 for the first and the second. Empty: none.
    """
    if not (word.isascii() and word.isdecimal()):
        return (word,) if word in things else ()
    numbers = [int(key) for key in word] if len(things) < 10 else [int(word[:9])]
    return tuple(things[number - 1] for number in numbers) if all(1 <= n <= len(things) for n in numbers) else ()


def _pixel(text: str, pixels: int) -> int | None:
    """The pixel of that number, from 0, of a run of so many; None where it has none."""
    number = int(text[:9]) if text.isascii() and text.isdecimal() else 0
    return number - 1 if 1 <= number <= pixels else None


def _nothing(line: str) -> None:
    """Nothing is said of what is asked."""


@dataclass
class Written:
    """Answers from a file, one a line; an empty line and what follows # say nothing.

    In a round each line names what it answers: the step's name, a colon, and the answer. A no may name what is not so.
    A line `ask: 2` answers the diagnosis with a key of its next question, or with the words of an answer;
    `then: fixed` says what was done, `pixel: 57` which one it is. Where only a diagnosis is answered, a line is an
    answer alone.
    """

    path: Path
    lines: list[tuple[int, str | None, str]]
    """Number, name where there is one, and answer."""
    say: Callable[[str], None] = _nothing

    @classmethod
    def read(cls, path: Path, say: Callable[[str], None] = _nothing, *, named: bool = True) -> Written:
        """The answers of a file; PatcherError names the line that is none."""
        from patcher.show.show_file import read_text

        lines: list[tuple[int, str | None, str]] = []
        for number, line in enumerate(read_text(path).splitlines(), start=1):
            if not (text := line.partition("#")[0].strip()):
                continue
            name, _, answer = (part.strip() for part in text.partition(":"))
            if not named:
                lines.append((number, None, text))
            elif name and answer:
                lines.append((number, name, answer))
            else:
                says = f"is not an answer: “{text}”"
                remedy = "write the step's name, a colon and the answer: parts gable: yes"
                raise refuse(f"{path}, line {number}", says, remedy)
        return cls(path, lines, say)

    def _next(self, name: str) -> tuple[str, str]:
        """Where the next line stands, and its answer, if it answers that or names nothing; else nothing at all."""
        if not self.lines or self.lines[0][1] not in (name, None):
            return "", ""
        number, _, answer = self.lines.pop(0)
        return f"{self.path}, line {number}", answer

    def point(self, run: str, pixels: int, question: Question) -> int | None:
        """The next line, if it names the pixel: `pixel: 57`."""
        where, answer = self._next("pixel") if self.lines and self.lines[0][1] else ("", "")
        pixel = _pixel(answer, pixels)
        if where and pixel is None:
            raise refuse(where, f"“{answer}” is not a pixel of {run}", f"write its number, 1 to {pixels}: pixel: 1")
        return pixel if where else None

    def step(self, step: Step, sent: Sequence[Levels]) -> Reply:
        """The next line, which must be about this step; at the file's end: stop."""
        if not self.lines:
            return Reply("stop")
        number, name, _ = self.lines[0]
        if name not in (step.name, None):
            says = f"answers “{name}”, but the step is “{step.name}”"
            raise refuse(f"{self.path}, line {number}", says, f"begin the line with {step.name}:")
        where, answer = self._next(step.name)
        first, _, rest = answer.partition(" ")
        if first == "note":
            return Reply("note", text=rest.strip())
        things = [subject.thing for subject in step.subjects]
        if first == "no":
            about = tuple(rest.replace(",", " ").split())
            if unknown := next((thing for thing in about if thing not in things), None):
                raise refuse(where, f"names “{unknown}”, which is not in this step", choose_from(unknown, things))
            return Reply("no", about or (tuple(things) if len(things) == 1 else ()))
        spelled = re.sub("^can['’]t ", "cannot ", answer)  # as the program itself writes it
        words = [word for key, word in KEYS.items() if spelled in (key, word)]
        if not words:
            raise refuse(where, f"“{answer}” is not an answer", choose_from(answer, KEYS.values()))
        return Reply(words[0])

    def question(self, question: Question) -> str | None:
        """The next line, if it answers a question; else the diagnosis stops there."""
        self.say("     " + choices((answer.key, answer.says) for answer in question.answers))
        where, answer = self._next("ask")
        known = [word for one in question.answers for word in (one.key, one.says)]
        if where and answer not in known:
            says = f"“{answer}” is not one of the answers to “{question.asks}”"
            raise refuse(where, says, choose_from(answer, known, most=20))
        return answer or None

    def deed(self, *, writable: bool) -> Deed:
        """The next line, if it says what was done: `then: fixed`, `then: write` or `then: leave`; an
        older file says mended for fixed.
        """
        where, answer = self._next("then")
        deeds = {DONE.get(deed, deed): deed for deed in DEEDS.values() if writable or deed != "write"}
        found = next((deed for said, deed in deeds.items() if answer in (said, deed)), None)
        if where and found is None:
            raise refuse(where, f"“{answer}” cannot be done here", choose_from(answer, [*deeds]))
        return found or "leave"

    def take_up(self, things: Sequence[str]) -> str | None:
        """A file stops where its answers end."""
        return None

    def goes_on(self, wiring: Wiring, mended: Sequence[Hypothesis], boxes: Sequence[str]) -> bool:
        """Its next line says what is seen."""
        return True
