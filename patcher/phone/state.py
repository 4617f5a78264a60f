"""What every page shows, and what a tap changes: a state and an act in, a state out.

Finding a thing lights nothing; a pattern or `light` does, and `dark` puts all out from wherever one is.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from math import inf
from typing import Literal, get_args

from patcher.errors import PatcherError, refuse
from patcher.frames.looks import COLOURS
from patcher.frames.patterns import SWEEPS, Pattern
from patcher.frames.request import PatternName
from patcher.patch.thing import without_pixel
from patcher.phone.content import WHOLE, Content
from patcher.trade import FASTEST_FLASH, TEST_LEVEL

LEVELS = (0.05, 0.1, 0.2, TEST_LEVEL, 0.5, 0.7, 1.0)
RATES = (0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
"""Steps a second."""
RAMPS = (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0)
"""Ramps up and down a second."""
COLOUR_KEYS = tuple(name for name in COLOURS if name != "dark")
COLOURED = frozenset(PatternName) - {PatternName.primaries, PatternName.ports, PatternName.edges}
"""Patterns that are in the colour that is chosen."""
FULL = frozenset({PatternName.steady, PatternName.primaries, PatternName.ports, PatternName.edges, PatternName.ramp})
"""Patterns that light all of a thing at once."""
HAND_STEPS = 20
"""A ramp is stepped by hand in so many parts."""
LEASE = 1.2
"""Seconds that a held key runs on after it was last heard of; the page says so three times as often."""
LONGEST_TEXT = 200
LONGEST = 1024
"""Characters of one message."""

Mode = Literal["patterns", "round", "film"]
Do = Literal[
    "here", "find", "pattern", "colour", "by", "brighter", "dimmer", "faster", "slower",
    "on", "back", "hold", "let go", "run", "stop", "dark", "light",
    "round", "resume", "answer", "note", "typed", "told", "done", "film", "turn",
]  # fmt: skip
DOES = frozenset(get_args(Do))


@dataclass(frozen=True, slots=True)
class Act:
    """One tap.

    Attributes:
        do: what; `turn`: another part of the page is opened, where no word of the last tap belongs.
        text: of what; of an answer its key, of a note its words; of a tick `yes`, or `no` to take it away.
        thing: of a note what it is about; of an answer no the things that are not so, a comma between them; of a tick
            the box and the start that is typed in, a space between them, or the run that the player is told of, or
            of a job of the hands its step, kind and name.
        number: of an answer the screen that it answers.
    """

    do: Do
    text: str = ""
    thing: str = ""
    number: int = 0


def read_act(text: str) -> Act:
    """The act that a message is; ValueError where it is none."""
    if len(text) > LONGEST:
        raise ValueError("too long")
    try:
        given = json.loads(text)
    except RecursionError:
        raise ValueError("nested too deeply") from None
    if not isinstance(given, dict) or not given.keys() <= {"do", "text", "thing", "number"}:
        raise ValueError("no act")
    do, number = given.get("do"), given.get("number", 0)
    words, thing = given.get("text", ""), given.get("thing", "")
    if not isinstance(do, str) or do not in DOES:
        raise ValueError("no such act")
    if not isinstance(words, str) or not isinstance(thing, str) or type(number) is not int:
        raise ValueError("of another type")
    if max(len(words), len(thing)) > LONGEST_TEXT or not 0 <= number < 2**31:
        raise ValueError("out of range")
    if any(ord(letter) < 32 or 0xD800 <= ord(letter) < 0xE000 for letter in words + thing):
        raise ValueError("no text")
    return Act(do, words, thing, number)  # type: ignore[arg-type]  # one of DOES


@dataclass(frozen=True, slots=True)
class State:
    """What is asked of the pixels; the same for every page.

    Attributes:
        mode: whether the pixels show a pattern, what the walk-through asks about, or the film's code.
        thing: the thing that was found.
        pattern: the pattern's name.
        colour: the colour's name.
        by: what a sweep goes by.
        level: brightness, 0 to 1.
        rate: steps a second, of a ramp ramps a second; None: the pattern's own.
        dark: whether all is dark, whatever else is asked.
        why: why it is dark, where nobody asked for that.
        step: which step of the pattern.
        runs_until: until when it steps by itself, in the seconds of the clock; infinite: until it is told to stop.
        problem: what of the last tap could not be done, and why.
    """

    mode: Mode = "patterns"
    thing: str = WHOLE
    pattern: PatternName = PatternName.steady
    colour: str = "white"
    by: str = "rows"
    level: float = TEST_LEVEL
    rate: float | None = None
    dark: bool = True
    why: str = ""
    step: int = 0
    runs_until: float = 0.0
    problem: str = ""


def pattern_of(state: State, plan: Content) -> Pattern:
    """The pattern that is asked for; PatcherError where there is none such."""
    found: Pattern = plan.pattern(state.thing, state.pattern, state.colour, state.by, state.rate, state.level)
    return found


def runs(state: State, now: float) -> bool:
    """Whether it steps by itself."""
    return not state.dark and state.mode == "patterns" and state.runs_until > now


def darkened(state: State, why: str = "") -> State:
    """The same, all dark and at rest."""
    return replace(state, dark=True, why=why, runs_until=0.0)


def tap(state: State, act: Act, plan: Content, now: float) -> State:
    """What an act makes of a state; what cannot be done leaves it as it was, and says why."""
    try:
        return _sound(_tapped(replace(state, problem=""), act, plan, now), plan)
    except PatcherError as error:
        return replace(state, problem=in_words(error))


def in_words(error: PatcherError) -> str:
    """What could not be done, why, and what to do."""
    finding = error.findings[0]
    end = "" if finding.remedy.endswith("?") else "."
    return f"{finding.where}: {finding.says}. {finding.remedy[:1].upper()}{finding.remedy[1:]}{end}"


def _tapped(state: State, act: Act, plan: Content, now: float) -> State:
    match act.do:
        case "dark":
            return darkened(state)
        case "light":
            return replace(state, dark=False, why="")
        case "find":
            return _found(state, act.text, plan)
        case "pattern":
            chosen = _patterned(state, act.text)
            return _swept(chosen, plan) if chosen.pattern is PatternName.sweep else chosen
        case "film":
            return filmed(state, plan)
        case "colour":
            if act.text not in COLOUR_KEYS:
                raise refuse("colour", f"there is no colour “{act.text}”", f"choose from: {', '.join(COLOUR_KEYS)}")
            return replace(state, colour=act.text)
        case "by":
            if act.text not in SWEEPS:
                raise refuse("sweep", f"there is no sweep by “{act.text}”", f"choose from: {', '.join(SWEEPS)}")
            return replace(state, by=act.text, step=0)
        case "brighter" | "dimmer":
            return replace(state, level=_stepped(LEVELS, state.level, act.do == "brighter"))
        case "faster" | "slower":
            return _at_rate(state, plan, faster=act.do == "faster")
        case "on" | "back" | "hold" | "let go" | "run" | "stop":
            return _walked(state, act.do, plan, now)
    return state


def _found(state: State, name: str, plan: Content) -> State:
    name = name.strip()
    thing = plan.find(name)
    if thing.kind == "channel" and not thing.parts:
        universe, channel = map(int, name.split("/"))
        why = without_pixel(universe, channel, plan.patch)
        raise refuse(name, f"has no pixel: {why}", "give another address, or name a box, port, run, pixel or prop")
    if not thing.parts:
        raise refuse(name, "has no pixels", "name a box, port, run, pixel or prop")
    # Whoever finds another thing lights it by a tap of its own, and no brighter than pixels are tested.
    level = min(state.level, TEST_LEVEL)
    found = replace(darkened(state), mode="patterns", thing=name, step=0, level=level)
    try:
        return _sound(found, plan)
    except PatcherError:
        return replace(found, pattern=PatternName.steady, rate=None)


def _swept(state: State, plan: Content) -> State:
    """A sweep the way that was chosen last; where the thing has no such, the first way that it has."""
    for by in (state.by, *SWEEPS):
        try:
            return _sound(replace(state, by=by), plan)
        except PatcherError:
            continue
    return state


def _patterned(state: State, name: str) -> State:
    if name not in PatternName.__members__:
        raise refuse("pattern", f"there is no pattern “{name}”", f"choose from: {', '.join(PatternName)}")
    by_hand = name == "dot"
    return replace(
        state, mode="patterns", pattern=PatternName(name), rate=None, step=0, dark=False, why="",
        runs_until=0.0 if by_hand else inf,
    )  # fmt: skip


def filmed(state: State, plan: Content) -> State:
    """The same, playing the film's code on the whole show, no brighter than pixels are tested.

    Raises:
        PatcherError: the show has more pixels than there are words.
    """
    if plan.too_many_to_film:
        raise refuse("film", plan.too_many_to_film, "film it in parts from the computer (film --on)")
    return replace(
        state, mode="film", thing=WHOLE, pattern=PatternName.steady, colour="white", rate=None, step=0, dark=False,
        why="", runs_until=0.0, level=min(state.level, TEST_LEVEL),
    )  # fmt: skip


def _walked(state: State, do: str, plan: Content, now: float) -> State:
    steps = pattern_of(state, plan).steps
    if state.mode != "patterns" or state.dark or steps < 2:
        return replace(state, runs_until=0.0)
    stride = max(1, steps // HAND_STEPS) if state.pattern == "ramp" else 1
    match do:
        case "on":
            return replace(state, step=(state.step + stride) % steps, runs_until=0.0)
        case "back":
            return replace(state, step=(state.step - stride) % steps, runs_until=0.0)
        case "hold" if not runs(state, now):
            return replace(state, step=(state.step + 1) % steps, runs_until=now + LEASE)
        case "hold":
            return replace(state, runs_until=now + LEASE)
        case "run":
            return replace(state, runs_until=inf)
    return replace(state, runs_until=0.0)


def _at_rate(state: State, plan: Content, *, faster: bool) -> State:
    ramp = state.pattern == "ramp"
    now = state.rate or (RAMPS[1] if ramp else pattern_of(state, plan).rate)
    after = replace(state, rate=_stepped(RAMPS if ramp else RATES, now, faster), step=0 if ramp else state.step)
    if faster and (flashes := pattern_of(after, plan).flashes) > FASTEST_FLASH:
        says = f"at {after.rate:g} a second it would flash {flashes} times in one second, which can bring on a seizure"
        raise refuse(state.pattern, says, f"it stays at {now:g} a second")
    return after


def warning(state: State, plan: Content) -> str:
    """That a supply holds less than the level, as far as the show says that; else nothing."""
    held = [plan.highest[part.run] for part in plan.find(state.thing).parts if part.run in plan.highest]
    level, supply = min(held, default=(1.0, ""))
    if state.pattern not in FULL or state.level <= level:
        return ""
    return f"Too bright for {supply} with every pixel white: it holds {level * 100:g} %, as `power` has it."


def _stepped(known: tuple[float, ...], now: float, up: bool) -> float:
    """The next of some values that rise, above or below; the last one there is no step beyond."""
    beyond = [value for value in known if (value > now + 1e-9 if up else value < now - 1e-9)]
    return now if not beyond else beyond[0] if up else beyond[-1]


def _sound(state: State, plan: Content) -> State:
    """The state, if its pattern can be, and would not flash more often than an eye bears."""
    pattern = pattern_of(state, plan)
    if pattern.flashes > FASTEST_FLASH:
        says = f"so fast it would flash {pattern.flashes} times in one second"
        raise refuse(state.pattern, says, f"more than {FASTEST_FLASH} can bring on a seizure; choose a lower speed")
    return state
