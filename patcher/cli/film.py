"""`film`: a code of light from every pixel, for a phone that films it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.film_reading import Measure, PictureFile, ReadClips, WriteShow, read
from patcher.cli.inputs import load, load_patch, need_yard, together
from patcher.cli.options import (
    AsJson,
    DryRun,
    Faults,
    Interface,
    Level,
    PatternOptions,
    Priority,
    Seconds,
    ShowFile,
    To,
)
from patcher.cli.yard_film import Demo, demo
from patcher.errors import refuse
from patcher.terminal.printed import say_json
from patcher.trade import PRIORITY, TEST_LEVEL

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from patcher.frames.film_code import Code
    from patcher.frames.levels import Levels
    from patcher.patch.thing import Thing
    from patcher.reports.film_report import Filming
    from patcher.stream.sender import Target
    from patcher.wiring import Wiring

FilmYard = Annotated[
    bool,
    typer.Option(
        "--yard", help="Send to `patcher yard`, not to the boxes; with --read: the clip is of it, as practice."
    ),
]
PLAYED = "--to, --interface, --seconds or --dry-run"
FRAMES_A_BIN = 2
"""Frames of a bin at least: what is lost of the first is made up for by the second."""


def film(
    show: ShowFile,
    on: Annotated[
        str | None,
        typer.Option(
            "--on", metavar="THING", help="Light only this box, port, run or prop; with --read: it alone was."
        ),
    ] = None,
    seconds: Seconds = None,
    level: Level = TEST_LEVEL,
    to: To = None,
    yard: FilmYard = False,
    interface: Interface = None,
    priority: Priority = PRIORITY,
    dry_run: DryRun = False,
    clips: ReadClips = None,
    picture: PictureFile = None,
    write: WriteShow = False,
    measure: Measure = None,
    demonstrate: Demo = False,
    fault: Faults = None,
    as_json: AsJson = False,
) -> None:
    """Play a code of light, or read what a phone filmed of it.

    Each pixel plays a word of its own. It says how to film that; at the end all pixels are dark. A clip that is read
    proves which pixel lights where, and names what is wired wrongly. --demo shows all of that on this machine alone.
    """
    played = to or interface or seconds or dry_run
    together(("--read", clips), (PLAYED, played))
    together(("--measure", measure), ("--write", write))
    if demonstrate:
        given = clips or write or measure or yard
        together(("--demo", True), ("--read, --write, --measure or --yard", given), (PLAYED, played))
        demo(show, on=on, fault=fault or (), picture=picture, as_json=as_json)
        return
    if clips:
        read(show, clips, on=on, picture=picture, write=write, measure=measure or (), practice=yard, as_json=as_json)
        return
    _need_clip({"--picture": picture, "--write": write, "--measure": measure})
    _need_demo(fault)
    options = PatternOptions(level=level, seconds=seconds, priority=priority, interface=interface)
    _play(show, on, to, options, yard=yard, dry_run=dry_run, as_json=as_json)


def _play(
    show: Path, on: str | None, to: str | None, options: PatternOptions, *, yard: bool, dry_run: bool, as_json: bool
) -> None:
    """Play the code until it is enough, or say what would be sent."""
    from patcher.cli import playback
    from patcher.frames.film_code import BIN, played
    from patcher.reports import film_report

    together(("--yard", yard), ("--to or --interface", to or options.interface))
    wiring = load(show)
    patch = load_patch(show, wiring)
    thing, code = played(wiring, patch, on, str(show))
    goals = playback.goals_of(show, wiring.show, patch, _boxes(thing, wiring), to, yard=yard)
    filming = filming_of(show, wiring, thing, code)
    if not yard:
        playback.warn_too_bright(show, wiring, options.level)
    film_report.say_warnings(filming)
    if not as_json:
        film_report.say(filming)
    if dry_run:
        _say_goals(goals, filming, code, as_json=as_json)
        return
    if yard:
        need_yard(show)
    steps = _Bins(code.frames(playback.universes_of(goals), options.level))
    playback.play_steps(
        steps, 1 / BIN, lambda levels: levels, _teller(code, as_json), goals, options,
        frames_a_second(options.frames(wiring.show), BIN), keeps_time=True, to_yard=yard, as_json=as_json,
        more={"pixels": filming.pixels, "cycle_seconds": round(code.seconds, 3)},
    )  # fmt: skip


def _need_demo(fault: Sequence[str] | None) -> None:
    """Refuse faults that are put into nothing."""
    if fault:
        raise refuse("--fault", "belongs to the demonstration", "add --demo, or give it to patcher yard")


@dataclass(frozen=True)
class _Bins:
    """The frames of a cycle as steps."""

    frames: Sequence[Levels]

    @property
    def steps(self) -> int:
        """How many there are."""
        return len(self.frames)

    @property
    def look(self) -> Callable[[int], Levels]:
        """The levels of a step."""
        return self.frames.__getitem__


def frames_a_second(show: float, step: float) -> float:
    """Frames a second: as many as a show plays, but whole frames in each step of so many seconds, and two at least.

    Else every other step would begin late.
    """
    return max(FRAMES_A_BIN, int(show * step + 1e-6)) / step


def _need_clip(given: Mapping[str, object]) -> None:
    """Refuse options that say what to do with a clip, where none is read."""
    for option in (name for name, value in given.items() if value):
        raise refuse(option, "belongs to a clip that is read", "add --read CLIP")


def _boxes(thing: Thing, wiring: Wiring) -> list[str]:
    """The boxes that light a thing."""
    return list(dict.fromkeys(wiring.ports[part.run][0] for part in thing.parts))


def filming_of(path: Path, wiring: Wiring, thing: Thing, code: Code) -> Filming:
    """What is played, for the words."""
    from patcher.frames.film_code import BIN
    from patcher.limits.filming import closest_pixels, slow_ports
    from patcher.reports.film_report import Filming
    from patcher.shapes import positions

    runs = {part.run for part in thing.parts}
    slow = slow_ports(wiring, {wiring.source(run) for run in runs}, BIN / 2 * 1000)
    closest = closest_pixels(wiring, runs)
    show = wiring.show
    not_drawn = [run for run in show.runs if run in runs and positions(show, show.runs[run]) is None]
    return Filming(path, show.settings.units, int(code.lit.sum()), code.seconds, closest, BIN * 1000, slow, not_drawn)


def _say_goals(goals: list[Target], filming: Filming, code: Code, *, as_json: bool) -> None:
    """Say where the code would be sent."""
    from patcher.reports import film_report, send_report

    if as_json:
        targets = send_report.goals_document(goals)
        say_json({"steps": code.bins, "says": film_report.advice(filming), "targets": targets})
    else:
        send_report.say_goals(goals)


def _teller(code: Code, as_json: bool) -> Callable[[int, Levels], None]:
    """Says each time that the whole code has been played."""
    from patcher.reports import film_report

    played = -1

    def tell(step: int, _: Levels) -> None:
        nonlocal played
        if step == 0:
            played += 1
            if played and not as_json:
                film_report.say_cycle(played, code.seconds)

    return tell
